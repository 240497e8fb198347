"""Cuts that the cutter can't make: too small for it, with a part too narrow, or with corners too sharp."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import TOLERANCE_MM, Survey
from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["RULE", "find", "mostly_tips"]

RULE = "cut-width"

_CLOSE_MM = TOLERANCE_MM / 8  #: so near is the width found at which a shape parts
_MOST = 0.5  #: tips that run so great a share of a cut's edge leave less than half of its drawing; our own choice


def find(survey: Survey) -> Iterator[Finding]:
    """Cuts that vanish or fall apart where the smallest cut does not pass, and tips that stay uncut."""
    limit = survey.job.face_limits.cut_mm
    narrow = survey.white[survey.broken]
    places = _left_standing(narrow, survey.reach.reached[survey.reach.broken])
    for at, width in zip(places, _passes(narrow, limit).tolist(), strict=True):
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=at,
            measured=width,
            limit=limit,
            unit="mm",
            kind="vanishes",
            why="the cutter does not fit: what it can't reach stays standing and prints",
            remedy="make the shape larger there, leave it out, or take a finer cutter",
        )
    yield from _tips(survey)


def _tips(survey: Survey) -> Iterator[Finding]:
    """Tips and inlets of cuts that are otherwise made which the cutter leaves standing over more than its own width.

    A corner of the angle a leaves ``r / sin(a / 2) - r`` between its point and the circle of the radius r that goes
    furthest into it (plane geometry): more than 2 r below 39 degrees. That is a risk. It breaks where such tips are
    most of what a cut has of an edge.
    """
    limit = survey.job.face_limits.cut_mm
    pieces, owner, length, share = _tips_of(survey)
    width = shapely.area(pieces) / np.maximum(length, limit)
    for k, at in enumerate(_inner_points(pieces)):
        most = bool(share[owner[k]] > _MOST)
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS if most else Severity.RISK,
            at=at,
            measured=float(width[k]),
            limit=limit,
            unit="mm",
            length_mm=float(length[k]),
            kind="tip",
            why=f"too narrow for a cutter of {limit:g} mm over {length[k]:.1f} mm, to its end: so much stays standing "
            f"and prints{_narrow_share(float(share[owner[k]])) if most else ''}",
            remedy="round the tip off or make it wider, finish it with a knife, or take a finer cutter",
        )


def mostly_tips(survey: Survey) -> Indices:
    """Numbers of those of `Survey.white` which the cutter makes in one piece, but of whose edge tips are most."""
    reach = survey.reach
    around = shapely.length(reach.uncut)  # of all that stays uncut: at least twice its tips' length
    some = np.flatnonzero(around > _MOST * shapely.length(reach.shapes))
    _, owner, _, share = _tips_of(survey, some)
    return np.unique(survey.doubtful[owner[share[owner] > _MOST]])


def _tips_of(survey: Survey, some: Indices | None = None) -> tuple[PolygonArray, Indices, Floats, Floats]:
    """Tips longer than the cutter is wide, which of the doubtful each is of, how long they are, each one's share; (n,).

    The last for all that are doubtful: how much of its edge is tips. `some` of the doubtful are looked at, or all.
    """
    limit = survey.job.face_limits.cut_mm
    reach = survey.reach
    some = np.arange(len(reach.uncut)) if some is None else some
    pieces, owner = shapely.get_parts(reach.uncut[some], return_index=True)
    owner = some[owner]
    kept = (shapely.get_dimensions(pieces) == 2) & ~reach.broken[owner]
    pieces, owner = pieces[kept], owner[kept]
    length = geometry.farthest(pieces, reach.reached[owner])  # 0 where only one narrower by a hair passes
    long = length > limit + TOLERANCE_MM
    long[long] = shapely.is_empty(geometry.offset(pieces[long], -limit / 2))  # where the cutter fits, it cuts
    pieces, owner, length = pieces[long], owner[long], length[long]
    walls = np.bincount(owner, weights=2 * length, minlength=len(reach.shapes))  # a tip has two, each as long
    return pieces, owner, length, walls / np.maximum(shapely.length(reach.shapes), TOLERANCE_MM)


def _narrow_share(share: float) -> str:
    return f". It is no tip alone: {100 * share:.0f} % of this cut's outline is so narrow"


def _left_standing(shapes: PolygonArray, reached: PolygonArray) -> list[tuple[float, float]]:
    """A place in each of the shapes that is not reached: in a neck between what is, if there is one."""
    pieces, owner = shapely.get_parts(shapely.difference(shapes, reached), return_index=True)
    parts, whose = shapely.get_parts(reached, return_index=True)
    part, piece = shapely.STRtree(pieces).query(parts, predicate="dwithin", distance=TOLERANCE_MM)  # prepares parts
    met = np.bincount(piece[owner[piece] == whose[part]], minlength=len(pieces))
    order = np.lexsort((shapely.area(pieces), met > 1, owner))
    places = shapes.copy()
    places[owner[order]] = pieces[order]  # the last of each one's stays: the largest of those that part it, if any do
    return _inner_points(places)


def _inner_points(shapes: PolygonArray) -> list[tuple[float, float]]:
    return [(x, y) for x, y in shapely.get_coordinates(shapely.point_on_surface(shapes)).tolist()]


def _passes(shapes: PolygonArray, limit: float) -> Floats:
    """The widest disc, in mm, that passes through all of each shape; at most `limit`; (n,)."""
    low, high = np.zeros(len(shapes)), np.full(len(shapes), limit)
    for _ in range(math.ceil(math.log2(max(limit / _CLOSE_MM, 1)))):
        middle = (low + high) / 2
        left = shapely.buffer(shapes, -middle / 2, quad_segs=4)
        whole = ~shapely.is_empty(left) & (shapely.get_num_geometries(left) == 1)
        low, high = np.where(whole, middle, low), np.where(whole, high, middle)
    return low
