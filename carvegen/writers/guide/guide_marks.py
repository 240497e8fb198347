"""Rings on the guide round what the checks found: one for findings that lie together, numbered by kind."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.finding_groups import NEAR_MM, grouped
from carvegen.base.findings import Severity
from carvegen.writers.block.ring_places import Mark, free_box

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from carvegen.base.finding_groups import Group, Spot
    from carvegen.base.findings import Finding
    from carvegen.blocks.views import Seen

__all__ = ["LETTERS_MM", "found_lines", "rings"]

LETTERS_MM = 2.83  #: of a ring's number: 8 points

_AROUND_MM = 1.6  #: from a finding to its ring
_RINGS = (
    "Rings: the number of the line below; behind the colon what was measured, the worst where a ring takes in several "
    "places. Whole ring: breaks a limit. Broken ring: a risk."
)


@dataclass(frozen=True, kw_only=True)
class _Ring:
    """A circle round findings that lie together."""

    at: tuple[float, float]
    radius: float
    numbers: tuple[int, ...]  #: of the lines that it belongs to
    worst: float
    count: int
    breaks: bool

    @property
    def label(self) -> str:
        """The line's number with what was measured; several numbers stand alone."""
        if len(self.numbers) > 1:
            return ", ".join(map(str, self.numbers))
        return f"{self.numbers[0]}: {self.worst:.2f}"


def rings(findings: Sequence[Finding], shown: Seen, *, most: int) -> list[Mark]:
    """At most `most` rings for what has a place, the most pressing first, with labels where they hide the least.

    Numbers are those of `found_lines` of the same findings.
    """
    drawn: list[_Ring] = []
    for ring in _alone(findings, shown):
        k = next((k for k, its in enumerate(drawn) if _near(its, ring)), None)
        if k is None:
            drawn.append(ring)
        else:
            drawn[k] = _both(drawn[k], ring)
    return _labelled(drawn[:most], shown)


def found_lines(findings: Sequence[Finding], drawn: Sequence[Mark]) -> list[str]:
    """What the numbers of the rings that are drawn mean, a line for each kind of finding; none if nothing was found."""
    groups = grouped(findings)
    left = sum(finding.at is not None for finding in findings) - sum(mark.count for mark in drawn)
    lines = [_RINGS, *(f"{k}. {_told(group)}" for k, group in enumerate(groups, start=1))] if groups else []
    return [*lines, f"The worst are ringed; {left} more places are on proof.html."] if left > 0 else lines


def _told(group: Group) -> str:
    places = "the whole block" if group.worst.at is None else f"{group.count} place{'s' if group.count > 1 else ''}"
    how = "breaks the limit" if group.severity is Severity.BREAKS else "a risk"
    what = _sentence(group.worst.remedy)
    return f"{group.rule}, {how}: {places}, {group.measured} where {group.limit} is the limit. {what}"


def _sentence(text: str) -> str:
    return f"{text[:1].upper()}{text[1:].rstrip('.')}."


def _alone(findings: Iterable[Finding], shown: Seen) -> Iterator[_Ring]:
    """A ring for each spot: what breaks a limit first, then of each line its worst spot, its second, and so on."""
    spots = [
        (group.severity, nth, number, spot)
        for number, group in enumerate(grouped(findings), start=1)
        for nth, spot in enumerate(group.spots)
        if spot.worst.at is not None
    ]
    for _, _, number, spot in sorted(spots, key=lambda its: its[:3]):
        yield _round(spot, number, shown)


def _round(spot: Spot, number: int, shown: Seen) -> _Ring:
    ends = [place for its in spot.places for place in (its.finding.at, its.finding.to or its.finding.at) if place]
    xy = shown.places(ends)
    centre = (xy.min(axis=0) + xy.max(axis=0)) / 2
    return _Ring(
        at=(float(centre[0]), float(centre[1])),
        radius=_AROUND_MM + float(np.hypot(*(xy - centre).T).max()),
        numbers=(number,),
        worst=spot.worst.measured,
        count=len(spot.places),
        breaks=spot.worst.severity is Severity.BREAKS,
    )


def _near(one: _Ring, other: _Ring) -> bool:
    """Whether they hide one another and a common ring is no larger than the larger of them, or than a thumb's tip."""
    apart = math.dist(one.at, other.at)
    larger = max(one.radius, other.radius)
    return apart < larger and (apart + one.radius + other.radius) / 2 <= max(larger, NEAR_MM)


def _both(one: _Ring, other: _Ring) -> _Ring:
    """The smallest circle round both; it keeps what the first one, which is the worse, says."""
    apart = math.dist(one.at, other.at)
    radius = max(one.radius, other.radius, (apart + one.radius + other.radius) / 2)
    at = one.at if one.radius >= other.radius else other.at
    if radius > max(one.radius, other.radius):
        share = (radius - one.radius) / apart
        at = (one.at[0] + share * (other.at[0] - one.at[0]), one.at[1] + share * (other.at[1] - one.at[1]))
    numbers = tuple(sorted({*one.numbers, *other.numbers}))
    return replace(one, at=at, radius=radius, numbers=numbers, count=one.count + other.count)


def _labelled(drawn: Sequence[_Ring], shown: Seen) -> list[Mark]:
    taken = np.array([(x - its.radius, y - its.radius, x + its.radius, y + its.radius)
                      for its in drawn for x, y in [its.at]]).reshape(-1, 4)  # fmt: skip
    labels = np.empty((0, 4))
    marks = []
    for its in drawn:
        width = len(its.label) * LETTERS_MM * 0.57 + 0.8
        box = free_box(np.array(its.at), its.radius, width, taken, letters=LETTERS_MM, labels=labels,
                       within=(-1.0, -1.0, shown.width_mm + 1.0, shown.height_mm + 1.0))  # fmt: skip
        labels = np.vstack([labels, box])
        left, bottom, right, top = np.round(box, 3).tolist()
        marks.append(
            Mark(
                at=(round(its.at[0], 3), round(its.at[1], 3)), radius=round(its.radius, 3), label=its.label,
                box=(left, bottom, round(right - left, 3), round(top - bottom, 3)), breaks=its.breaks, count=its.count,
            )
        )  # fmt: skip
    return marks
