"""Findings of one kind gathered into one thing to be told: how many, how bad, and where."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.base.findings import Finding, Severity

__all__ = [
    "DECIDES",
    "ENTRIES",
    "KINDS",
    "NEAR_MM",
    "Group",
    "Numbered",
    "Spot",
    "grouped",
    "letter_of",
    "rest_in_words",
    "sentence",
]

#: Places no further than this from the worst of them are one spot to the eye: the width of a thumb's tip.
NEAR_MM = 10.0
#: So many kinds, the gravest, are told first of all; the rest as a sum.
DECIDES = 3
#: What one and several are called that are told: kinds, or one kind for each block or for some machines apart.
KINDS = ("kind", "kinds")
ENTRIES = ("entry", "entries")


@dataclass(frozen=True, kw_only=True, slots=True)
class Numbered:
    """A finding with its number in the order in which all were given."""

    number: int  #: from 1; the number of its ring
    finding: Finding


@dataclass(frozen=True, kw_only=True, slots=True)
class Spot:
    """Findings of one kind that lie beside one another."""

    places: tuple[Numbered, ...]  #: the worst first; never empty

    @property
    def worst(self) -> Finding:
        """The finding furthest beyond its limit."""
        return self.places[0].finding


@dataclass(frozen=True, kw_only=True, slots=True)
class Group:
    """Findings of one kind: with the same rule, kind, severity and unit."""

    spots: tuple[Spot, ...]  #: the one with the worst finding first; never empty
    apart: Hashable = None  #: what else was the same of all, such as the block

    @property
    def worst(self) -> Finding:
        """The finding furthest beyond its limit."""
        return self.spots[0].worst

    @property
    def rule(self) -> str:
        """The check's name."""
        return self.worst.rule

    @property
    def severity(self) -> Severity:
        """How bad all of them are."""
        return self.worst.severity

    @property
    def places(self) -> tuple[Numbered, ...]:
        """Every finding, spot by spot."""
        return tuple(place for spot in self.spots for place in spot.places)

    @property
    def count(self) -> int:
        """How many findings."""
        return sum(len(spot.places) for spot in self.spots)

    @property
    def measured(self) -> str:
        """What was measured, such as `0.42 mm` or `0.10 to 0.42 mm`."""
        return _span([place.finding.measured for place in self.places], self.worst.unit)

    @property
    def limit(self) -> str:
        """The limit, such as `0.70 mm`; along and across a grain it may span `0.70 to 0.90 mm`."""
        return _span([place.finding.limit for place in self.places], self.worst.unit)

    @property
    def title(self) -> str:
        """What a printmaker calls it."""
        return self.worst.title

    @property
    def sentence(self) -> str:
        """What is wrong, where, and the numbers of the worst, as one sentence."""
        where = "" if self.worst.at is None else f" at {self.worst.place}"
        numbers = f": {self.worst.numbers}" if self.worst.numbers else ""
        others = f" ({'the worst of ' * bool(where)}{self.count} places)" if self.count > 1 else ""
        return sentence(f"{self.title}{where}{numbers}{others}")

    @property
    def beyond(self) -> float:
        """How far the worst is beyond its limit, as a share of it."""
        return _beyond(self.worst)

    @property
    def where(self) -> str:
        """Where the worst is, and how many places it stands for; print view, mm."""
        at = self.worst.at
        worst = self.worst.place
        if self.count == 1:
            return worst
        spread = f" in {len(self.spots)} spots" if 1 < len(self.spots) < self.count else ""
        return f"{self.count} places{spread}, the worst at {worst}" if at else f"{self.count} times, {worst}"


def grouped(findings: Iterable[Finding], apart: Sequence[Hashable] | None = None) -> tuple[Group, ...]:
    """Every finding in exactly one group, and in one spot of it.

    Findings are of one group if rule, kind, severity and unit are the same, and all or none have a place: the words of
    the worst then speak for all. The most pressing group comes first: by severity, then by how far its worst is
    beyond the limit.

    Parameters
    ----------
    apart
        For each finding something that keeps it apart from others that are else alike, such as its block.
    """
    result = [Numbered(number=number, finding=finding) for number, finding in enumerate(findings, start=1)]
    kinds: dict[tuple[Hashable, ...], list[Numbered]] = {}
    for place, own in zip(result, apart or [None] * len(result), strict=True):
        kinds.setdefault((own, *_kind(place.finding)), []).append(place)
    groups = [Group(spots=_spots(alike), apart=key[0]) for key, alike in kinds.items()]
    return tuple(sorted(groups, key=lambda group: (group.severity, -group.beyond, group.rule, group.places[0].number)))


def rest_in_words(counts: Sequence[tuple[str, int]], *, each: tuple[str, str] = KINDS) -> str:
    """A sum of kinds that are not told one by one, each with how bad it is and its places.

    `each`: what one of them and several are called, as `ENTRIES` where one kind may be told more than once.

    >>> rest_in_words([("risk", 12), ("risk", 3), ("advice", 4)])
    '3 more kinds (15 risks, 4 for the eye)'
    """
    sums = {severity: sum(places for bad, places in counts if bad == severity) for severity in _SUMMED}
    words = [f"{places} {_SUMMED[severity][places > 1]}" for severity, places in sums.items() if places]
    return f"{len(counts)} more {each[len(counts) != 1]} ({', '.join(words)})"


_SUMMED = {
    "breaks": ("broken limit", "broken limits"),
    "risk": ("risk", "risks"),
    "advice": ("for the eye", "for the eye"),
}


def letter_of(place: int) -> str:
    """The letter of a group at its place in `grouped`, from 0, as rings and the lines that explain them show it."""
    return f"{chr(ord('A') + place % 26)}{place // 26 or ''}"


def sentence(text: str) -> str:
    """A text with a capital letter and a full stop."""
    return f"{text[:1].upper()}{text[1:].rstrip('.')}." if text else ""


def _kind(finding: Finding) -> tuple[Hashable, ...]:
    return (finding.rule, finding.kind, finding.severity, finding.unit, finding.at is None)


def _spots(alike: Sequence[Numbered]) -> tuple[Spot, ...]:
    """The worst gathers what lies near it, then the worst of the rest, and so on."""
    order = sorted(alike, key=lambda numbered: (-_beyond(numbered.finding), numbered.number))
    xy = np.array([numbered.finding.at or (0.0, 0.0) for numbered in order])
    free = np.ones(len(order), dtype=bool)
    spots = []
    for k in range(len(order)):
        if free[k]:
            mine = free & (np.hypot(*(xy - xy[k]).T) <= NEAR_MM)
            free &= ~mine
            spots.append(Spot(places=tuple(order[j] for j in np.flatnonzero(mine))))
    return tuple(spots)


def _beyond(finding: Finding) -> float:
    limit = abs(finding.limit) or 1.0
    return abs(finding.measured - finding.limit) / limit


def _span(values: Sequence[float], unit: str) -> str:
    least, most = f"{min(values):.2f}", f"{max(values):.2f}"
    return f"{least} {unit}" if least == most else f"{least} to {most} {unit}"
