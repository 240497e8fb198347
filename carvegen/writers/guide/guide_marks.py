"""Marks on the guide: rings round what the checks found, lettered by kind, hatching, and the grain's arrow."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.base.finding_groups import NEAR_MM, grouped, letter_of, sentence
from carvegen.base.findings import Severity
from carvegen.checks import land_width
from carvegen.writers.sheet import MARGIN_MM

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sequence

    from carvegen.base.finding_groups import Group, Spot
    from carvegen.base.findings import Finding
    from carvegen.blocks.views import Seen
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.writers.guide.ring_room import RingRoom

__all__ = [
    "BREAKS_MM",
    "LETTERS_MM",
    "RISK_MM",
    "GuideMark",
    "arrow",
    "hatching",
    "letter_lines",
    "level_lines",
    "rings",
]

LETTERS_MM = 2.83  #: of a ring's letter: 8 points

BREAKS_MM, RISK_MM = 0.3, 0.15  #: width of a ring's line

_HATCH_MM = 1.6  #: between hatching lines
_LEVEL_MM = 2.4  #: between level lines
_AROUND_MM = 1.6  #: from a finding to its ring
_MOST_TIPS = 5  #: spots of land's tips that are a risk only: more would hide what is to be decided; our own choice
_FEW_TIPS = f" Only the {_MOST_TIPS} worst spots are ringed; all are on proof.html. So short a tip may stay as it is."
_RINGS = (
    "The letter at a ring is that of its line here. A thick ring breaks a limit, a thin one is a risk. Rings are drawn "
    "on land, on floors and in the margin only, so that no edge is hidden: what is missing of a ring lies over one."
)


@dataclass(frozen=True, kw_only=True, eq=False)
class GuideMark:
    """A ring about findings as far as it crosses no edge, and the box of its letter; mm, in the guide's view."""

    at: tuple[float, float]
    radius: float
    lines: Floats  #: of the ring, and from it to its letter; (n, 4) as x, y, x, y
    label: str
    box: tuple[float, float, float, float]  #: left, bottom, width, height
    breaks: bool
    count: int  #: of findings that the ring takes in

    @property
    def line_mm(self) -> float:
        """How wide its lines are."""
        return BREAKS_MM if self.breaks else RISK_MM


@dataclass(frozen=True, kw_only=True)
class _Ring:
    """A circle round findings that lie together."""

    at: tuple[float, float]
    radius: float
    groups: tuple[int, ...]  #: the lines that it belongs to, from 0
    count: int
    breaks: bool

    @property
    def label(self) -> str:
        """The letters of its lines."""
        return ", ".join(map(letter_of, self.groups))


def rings(findings: Sequence[Finding], room: RingRoom, shown: Seen, *, most: int) -> list[GuideMark]:
    """At most `most` rings for what has a place, the most pressing first, with labels where they hide nothing.

    Letters are those of `letter_lines` of the same findings.
    """
    drawn: list[_Ring] = []
    for ring in _alone(findings, shown):
        k = next((k for k, earlier in enumerate(drawn) if _near(earlier, ring)), None)
        if k is None:
            drawn.append(ring)
        else:
            drawn[k] = _both(drawn[k], ring)
    return _labelled(drawn[:most], room)


def letter_lines(findings: Sequence[Finding], drawn: Sequence[GuideMark]) -> list[str]:
    """What the letters of the rings that are drawn mean, a line for each kind of finding; none if nothing was found."""
    groups = grouped(findings)
    left = sum(finding.at is not None for finding in findings) - sum(mark.count for mark in drawn)
    lines = [_RINGS, *(f"{letter_of(k)}: {_kind_line(group)}" for k, group in enumerate(groups))] if groups else []
    return [*lines, f"The worst are ringed; {left} more places are on proof.html."] if left > 0 else lines


def _kind_line(group: Group) -> str:
    places = "the whole block" if group.worst.at is None else f"{group.count} place{'s' if group.count > 1 else ''}"
    how = "breaks the limit" if group.severity is Severity.BREAKS else "a risk"
    worst = f"{', at worst' if group.count > 1 else ','} {group.worst.numbers}" if group.worst.numbers else ""
    few = _FEW_TIPS if _runs_out(group) and len(group.spots) > _MOST_TIPS else ""
    return f"{group.title}, {how}: {places}{worst}. {sentence(group.worst.remedy)}{few}"


def _runs_out(group: Group) -> bool:
    """Whether a kind is of land's tips, and none breaks a limit; a cut's ask for a knife, so each is ringed."""
    return (group.worst.rule, group.worst.kind) == (land_width.RULE, "tip") and group.severity is not Severity.BREAKS


def _alone(findings: Iterable[Finding], shown: Seen) -> Iterator[_Ring]:
    """A ring for each spot: what breaks a limit first, then of each line its worst spot, its second, and so on."""
    spots = [
        (group.severity, nth, place, spot)
        for place, group in enumerate(grouped(findings))
        for nth, spot in enumerate(group.spots[: _MOST_TIPS if _runs_out(group) else None])
        if spot.worst.at is not None
    ]
    for _, _, place, spot in sorted(spots, key=lambda entry: entry[:3]):
        yield _round(spot, place, shown)


def _round(spot: Spot, group: int, shown: Seen) -> _Ring:
    findings = [entry.finding for entry in spot.places]
    ends = [place for finding in findings for place in (finding.at, finding.to or finding.at) if place]
    xy = shown.places(ends)
    centre = (xy.min(axis=0) + xy.max(axis=0)) / 2
    return _Ring(
        at=(float(centre[0]), float(centre[1])),
        radius=_AROUND_MM + float(np.hypot(*(xy - centre).T).max()),
        groups=(group,),
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
    groups = tuple(sorted({*one.groups, *other.groups}))
    return replace(one, at=at, radius=radius, groups=groups, count=one.count + other.count)


def _size(label: str) -> tuple[float, float]:
    return len(label) * LETTERS_MM * 0.57 + 0.8, LETTERS_MM + 0.5


def _labelled(drawn: Sequence[_Ring], room: RingRoom) -> list[GuideMark]:
    rings = [room.ring(ring.at, ring.radius) for ring in drawn]
    boxes = [(x - r, y - r, x + r, y + r) for ring, (r, _) in zip(drawn, rings, strict=True) for x, y in [ring.at]]
    marks, boxed = [], room.cells(boxes)
    for ring, (radius, lines) in zip(drawn, rings, strict=True):
        box = room.label(ring.at, _size(ring.label), boxed)
        if box is None:
            continue  # `letter_lines` counts it among those that are not ringed
        left, bottom, right, top = np.round(box, 3).tolist()
        marks.append(
            GuideMark(
                at=(round(ring.at[0], 3), round(ring.at[1], 3)), radius=round(radius, 3), label=ring.label,
                lines=np.concatenate([lines, room.leader(ring.at, radius, box)]), breaks=ring.breaks, count=ring.count,
                box=(left, bottom, round(right - left, 3), round(top - bottom, 3)),
            )
        )  # fmt: skip
    return marks


def hatching(shapes: PolygonArray, slope: int) -> Floats:
    """Slanting lines over `shapes`, through each: rising (1), or falling and twice as close (-1); (n, 4)."""
    if len(shapes) == 0:
        return np.empty((0, 4))
    left, bottom, right, top = shapely.total_bounds(shapes).tolist()
    height = top - bottom
    foot = np.arange(left - height, right, _HATCH_MM * math.sqrt(2) * (1 if slope > 0 else 0.5))
    begin, end = (bottom, top) if slope > 0 else (top, bottom)
    lines = np.column_stack([foot, np.full_like(foot, begin), foot + height, np.full_like(foot, end)])
    common = _inside(shapes, lines)
    small = shapes[_without(shapes, common)]
    middle = shapely.get_coordinates(shapely.point_on_surface(small))
    reach = shapely.length(small)[:, None] * np.array([1.0, slope])
    ends = np.hstack([middle - reach, middle + reach])
    own = [_inside(small[k : k + 1], ends[k : k + 1]) for k in range(len(small))]
    return np.concatenate([common, *own])


def _without(shapes: PolygonArray, lines: Floats) -> Mask:
    """Which shapes no line goes through."""
    met = shapely.STRtree(shapes).query(
        shapely.linestrings(lines.reshape(-1, 2, 2)), predicate="dwithin", distance=0.01
    )
    without = np.ones(len(shapes), dtype=bool)
    without[met[1]] = False
    return without


def level_lines(shapes: PolygonArray) -> Floats:
    """Level lines over `shapes`, far apart; (n, 4)."""
    if len(shapes) == 0:
        return np.empty((0, 4))
    left, bottom, right, top = shapely.total_bounds(shapes).tolist()
    y = np.arange(bottom + _LEVEL_MM / 2, top, _LEVEL_MM)
    return _inside(shapes, np.column_stack([np.full_like(y, left), y, np.full_like(y, right), y]))


def _inside(shapes: PolygonArray, ends: Floats) -> Floats:
    """Lines as far as they lie inside; (n, 4)."""
    lines = shapely.linestrings(ends.reshape(-1, 2, 2))
    cut = shapely.get_parts(shapely.intersection(lines, shapely.multipolygons(shapes)))
    straight = cut[(shapely.get_type_id(cut) == 1) & ~shapely.is_empty(cut)]
    first, last = shapely.get_point(straight, 0), shapely.get_point(straight, -1)
    xy = [shapely.get_x(first), shapely.get_y(first), shapely.get_x(last), shapely.get_y(last)]
    return np.asarray(np.round(np.column_stack(xy), 3), dtype=np.float64)


def arrow(direction_deg: float) -> Floats:
    """A double arrow in the lower left margin; (n, 4)."""
    turn = math.radians(direction_deg)
    along = np.array([math.cos(turn), math.sin(turn)])
    across = np.array([-along[1], along[0]])
    middle = np.array([7.0, -MARGIN_MM / 2])
    tips = [middle - 6 * along, middle + 6 * along]
    lines = [(tips[0], tips[1])]
    for tip, inward in zip(tips, (along, -along), strict=True):
        lines += [(tip, tip + 2 * inward + side * across) for side in (1.0, -1.0)]
    return np.asarray(np.round(np.array(lines).reshape(-1, 4), 3), dtype=np.float64)
