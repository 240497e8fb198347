"""Cuts that run out over a side of the face: they meet it square, so that no sliver of land is left along it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import held, opened

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.motifs.shared.minimum_width import Standing

__all__ = ["ground_over", "held_over", "run_on", "strip_mm", "supported"]

_OVER_MM = 3.0  #: so far cuts run on past the face while they are shaped: no corner lies on its edge
_ROUND_MM = 7.0  #: so far the ground runs on round them: their ends stand in it
_STRIP_MM = 0.04  #: wider than the land is the strip along the edge in which cuts run straight on
_ALIKE_MM = 0.06  #: an outline may be simplified by so much on both sides
_SLIM_MM = 0.01  #: what meets the strip by so much less than a cut is broad is still drawn out
_LOOSE_MM2 = 0.002  #: so little of a piece may lie otherwise
_ROUNDS = 4
_NEAR = 4.0  #: lands: what lies further from cuts that are drawn out straight stays as it is


def strip_mm(limits: Limits) -> float:
    """How wide the strip along a face's edge is in which cuts run straight on over it, mm; on the grid."""
    return float(np.ceil((limits.land_mm + _STRIP_MM) / geometry.GRID_MM) * geometry.GRID_MM)


def ground_over(shape: BaseGeometry, frame: Polygon) -> BaseGeometry:
    """Ground within the frame, drawn out over its sides so far that it lies round whatever `run_on` draws out."""
    return run_on(shape, frame, over=_ROUND_MM)


def run_on(
    shape: BaseGeometry, frame: Polygon, strip: float = 0.0, *, over: float = _OVER_MM, least: float = 0.0,
    slimmest: float = 0.0,
) -> BaseGeometry:  # fmt: skip
    """The shape within the frame less a strip, and straight on over each of its sides from there.

    Parameters
    ----------
    strip
        How far within the frame it begins to run straight on, mm.
    over
        How far it runs on past the frame, mm.
    least
        Narrower gaps in what meets a side are not drawn out: the end of a thing that just reaches it.
    slimmest
        Nor is what meets a side less broadly: a round end that just reaches it.
    """
    left, bottom, right, top = shapely.bounds(frame) + np.array([strip, strip, -strip, -strip])
    by, inner = strip + over, shapely.box(left, bottom, right, top)
    pieces = geometry.parts(shape)
    alone = shapely.contains_properly(inner, pieces)  # and stay so: nothing is drawn out inwards
    if alone.all():
        return shape
    whole = shapely.intersection(shapely.disjoint_subset_union_all(pieces[~alone]), inner)
    for axis, sides in ((0, ((left, left - by), (right, right + by))), (1, ((bottom, bottom - by), (top, top + by)))):
        drawn_out = [_beside(whole, *side, axis, least=least, slimmest=slimmest) for side in sides]
        if not shapely.is_empty(drawn_out).all():
            whole = shapely.union_all([whole, *drawn_out])
    return shapely.disjoint_subset_union_all([*pieces[alone], whole])


def _beside(
    shape: BaseGeometry, side: float, end: float, axis: int, *, least: float, slimmest: float
) -> BaseGeometry:  # fmt: skip
    """What of the shape meets the line at `side`, drawn out to `end`, gaps under `least` too; axis 0 is sideways."""
    low, high = shapely.bounds(shape)[[1 - axis, 3 - axis]]
    if not np.isfinite(low):
        return shapely.Polygon()
    ends = [(side, low - 1), (side, high + 1)]
    line = shapely.LineString([at[:: 1 - 2 * axis] for at in ends])
    pieces = shapely.get_parts(shapely.intersection(shape, line))
    lines = pieces[(shapely.get_dimensions(pieces) == 1) & (shapely.length(pieces) >= slimmest)]
    bounds = shapely.bounds(lines)
    bounds = bounds[np.argsort(bounds[:, 1 - axis], kind="stable")]
    near = bounds[1:, 1 - axis] - bounds[:-1, 3 - axis] < least
    bounds[:-1, 3 - axis][near] = bounds[1:, 1 - axis][near]
    bounds[:, axis], bounds[:, axis + 2] = min(side, end), max(side, end)
    return shapely.union_all(shapely.box(*bounds.T))


def held_over(
    cuts: BaseGeometry, area: BaseGeometry, frame: Polygon, limits: Limits, *,
    ground: BaseGeometry | None = None, printed: Standing | None = None,
) -> PolygonArray:  # fmt: skip
    """As `held`, but cuts in the strip along the frame run straight on over it, and past it.

    Parameters
    ----------
    area
        Where cuts may lie, as `ground_over` makes it.
    ground
        What stands but for the cuts, drawn out as the area is; by default the area.
    printed
        Shapes that print, drawn out as the area is.
    """
    strip = strip_mm(limits)
    pieces = held(_straight(cuts, frame, area, limits), area, limits, ground=ground, printed=printed)
    inner = shapely.buffer(frame, -strip, join_style="mitre")
    for k in range(_ROUNDS):
        over = ~shapely.covers(inner, pieces)
        now = shapely.union_all(pieces[over])
        straight = _straight(now, frame, area, limits)
        differ = opened(shapely.intersection(shapely.symmetric_difference(straight, now), frame), _ALIKE_MM)
        tips = _tips(straight, frame, limits)
        if shapely.is_empty(differ) and len(tips) == 0:
            return np.concatenate([pieces[~over], geometry.snapped(geometry.parts(straight))])
        if k > 0 or len(tips):  # where it won't lie still, or is too thin, the cut ends within the face
            back = shapely.union_all([differ, *tips] if k > 0 else tips)
            around = shapely.buffer(back, _NEAR * limits.land_mm / 2, quad_segs=4)
            straight = _straight(shapely.difference(now, around), frame, area, limits)
        far = ~over & (shapely.distance(pieces, straight) > _NEAR * limits.land_mm)
        again = shapely.union_all([straight, *pieces[~over & ~far]])
        pieces = np.concatenate([pieces[far], held(again, area, limits, ground=ground, printed=printed)])
    return held(shapely.intersection(shapely.union_all(pieces), inner), area, limits, ground=ground, printed=printed)


def supported(pieces: PolygonArray, frame: Polygon, strip: float) -> PolygonArray:
    """The pieces without those that lie at a side otherwise than straight on from where the strip begins.

    What was cut back further out leaves there what is thinner than any cut.
    """
    at_side = ~shapely.covers(shapely.buffer(frame, -strip, join_style="mitre"), pieces)
    straight = run_on(shapely.union_all(pieces[at_side]), frame, strip)
    at_side[at_side] = shapely.area(shapely.difference(pieces[at_side], straight)) > _LOOSE_MM2
    return pieces[~at_side]


def _tips(cuts: BaseGeometry, frame: Polygon, limits: Limits) -> PolygonArray:
    """Tips that the frame leaves of cuts which it cuts off: too narrow for the cutter over more than its own width.

    None is left where the strip, in which cuts as broad as the cutter run straight on, is as wide as it.
    """
    if strip_mm(limits) >= limits.cut_mm:
        return geometry.empty()
    pieces = geometry.parts(shapely.intersection(cuts, frame))
    pieces = pieces[shapely.dwithin(shapely.boundary(frame), pieces, geometry.GRID_MM)]
    reached = opened(pieces, limits.cut_mm)
    tips, whose = shapely.get_parts(shapely.difference(pieces, reached), return_index=True)
    long = shapely.is_empty(reached)[whose] | (geometry.farthest(tips, reached[whose]) > limits.cut_mm - _SLIM_MM)
    return np.asarray(tips[long & (shapely.get_dimensions(tips) == 2)], dtype=object)


def _straight(cuts: BaseGeometry, frame: Polygon, area: BaseGeometry, limits: Limits) -> BaseGeometry:
    strip = strip_mm(limits)
    least, slimmest = limits.land_mm + _STRIP_MM, limits.cut_mm - _SLIM_MM
    return shapely.intersection(run_on(cuts, frame, strip, least=least, slimmest=slimmest), area)
