"""What was found, as cards on the proof sheet: one for each kind of finding, with its places inside."""

from __future__ import annotations

import math
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

from carvegen.base.finding_groups import DECIDES, ENTRIES, rest_in_words, sentence
from carvegen.base.findings import Severity

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.base.finding_groups import Group, Numbered, Spot
    from carvegen.base.findings import Finding

__all__ = ["Card", "card", "cards_html", "place_count", "rings"]

_RING_MM = 1.6
_MOST_PLACES = 3000  #: shown of all kinds together; the worst of each kind always

_SEVERITY = {"breaks": "breaks a limit", "risk": "a risk", "advice": "for the eye"}


@dataclass(frozen=True, kw_only=True, eq=False)
class Card:
    """Findings of one kind as the page tells them."""

    group: Group
    title: str
    words: str


def card(group: Group, *, block: str = "", kinds: Sequence[str] = ()) -> Card:
    """The card of a group, with the block that it is about and the machines that it holds for."""
    worst = group.worst
    title = f"{block}: {group.title}" if block else f"{group.title[:1].upper()}{group.title[1:]}"
    numbers = f"{', at worst' if group.count > 1 else ','} {worst.numbers}" if worst.numbers else ""
    words = [f"For {', '.join(kinds)}."] if kinds else []
    words += [sentence(worst.why), f"What to do: {sentence(worst.remedy)}"]
    return Card(
        group=group,
        title=f"{title}{numbers}".replace(" mm", "\N{NO-BREAK SPACE}mm"),
        words=" ".join(words),
    )


def place_count(cards: Sequence[Card]) -> int:
    """How many places all cards tell of."""
    return sum(card.group.count for card in cards)


def cards_html(cards: Sequence[Card]) -> str:
    """The list of cards; every place is a button that carries its number.

    The gravest are in sight, and all that break a limit; others lie behind a fold, where they are more than one.
    """
    if not cards:
        return "<p>None: every check that was made is kept.</p>"
    fair = max(1, _MOST_PLACES // len(cards))
    shown = max([DECIDES, *(k for k, each in enumerate(cards, start=1) if each.group.severity is Severity.BREAKS)])
    shown = len(cards) if len(cards) <= shown + 1 else shown
    return _listed(cards[:shown], fair) + _rest(cards[shown:], fair)


def _listed(cards: Sequence[Card], most: int) -> str:
    return f'<ol class="cards">{"".join(_card(card, most) for card in cards)}</ol>'


def _rest(cards: Sequence[Card], most: int) -> str:
    if not cards:
        return ""
    words = rest_in_words([(card.group.severity.label, card.group.count) for card in cards], each=ENTRIES)
    return f'<details class="rest"><summary>and {words}</summary>{_listed(cards, most)}</details>'


def rings(cards: Sequence[Card], height_mm: float) -> list[list[float | str]]:
    """For each place that has one its number, middle and radius, mm from the upper left, and how bad it is."""
    return [
        [place.number, *_circle(place.finding, height_mm), card.group.severity.label]
        for card in cards
        for place in card.group.places
        if place.finding.at is not None
    ]


def _circle(finding: Finding, height_mm: float) -> tuple[float, float, float]:
    at = finding.at or (0.0, 0.0)
    end = finding.to or at
    x, y = (at[0] + end[0]) / 2, height_mm - (at[1] + end[1]) / 2
    return round(x, 2), round(y, 2), round(_RING_MM + math.dist(at, end) / 2, 2)


def _card(card: Card, most: int) -> str:
    group, severity = card.group, card.group.severity.label
    first = _button(group.spots[0].places[0], long=True)
    return (
        f'<li class="card {severity}"><h3><span class="how">{_SEVERITY[severity]}:</span> {escape(card.title)}</h3>'
        f"<p>{escape(card.words)}</p>{first}{_others(group, most)}</li>"
    )


def _others(group: Group, most: int) -> str:
    """All places but the worst, gathered by where they lie, behind a fold."""
    if group.count == 1:
        return ""
    rows, left = [], most - 1
    for spot in group.spots:
        places = [place for place in spot.places if place is not group.spots[0].places[0]][:left]
        left -= len(places)
        if places:
            rows.append(f"<li>{_round(spot)}{''.join(_button(place) for place in places)}</li>")
    hidden = group.count - most
    more = f"<p>and {hidden} more: see report.json.</p>" if hidden > 0 else ""
    others = group.count - 1
    where = f" in {len(group.spots)} spots" if 1 < len(group.spots) < group.count else ""
    return (
        f"<details><summary>{others} other place{'s' if others > 1 else ''}{where}</summary>"
        f'<ul class="spots">{"".join(rows)}</ul>{more}</details>'
    )


def _round(spot: Spot) -> str:
    at = spot.worst.at
    return "" if at is None else f'<span class="near">x {at[0]:.0f}, y {at[1]:.0f}</span> '


def _button(place: Numbered, *, long: bool = False) -> str:
    finding, number = place.finding, place.number
    numbers = f"{finding.numbers}; " if finding.numbers else ""
    label = escape(f"Place {number}: {numbers}{finding.place}", quote=True)
    words, name = (label, "") if long else (str(number), f' aria-label="{label}"')
    return f'<button type="button" data-place="{number}"{name}>{words}</button>'
