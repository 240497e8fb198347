"""Land beside a mark: what comes too near is joined, goes, or is taken back; frost grows on from what was cut."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import NarrowKind, narrow_spread
from carvegen.geometry.necks import necks
from carvegen.marking.ends import Habit, cut_back
from carvegen.motifs.frost.regrowing import regrown
from carvegen.motifs.shared.minimum_width import closed, opened

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.motifs.frost.settings import Settings
    from carvegen.motifs.growth import Place

__all__ = ["clear_of", "finding_room", "firm", "grown_on", "joined_to", "taken_back", "weak_places"]

_SLACK_MM = 0.02  #: so much more than the land is left: arcs are polygons and coordinates lie on a grid
_CRUMB = 3.0  #: what is trimmed to less than so many cuts squared goes
_ROUND = 0.85  #: ends that are trimmed are so round, of the piece's breadth
_ROUNDS = 12  #: what is too narrow after so many goes whole
_ARC = 8


def clear_of(
    new: PolygonArray, fixed: PolygonArray, limits: Limits, *, trim: bool = False, least_mm: float = 0.0
) -> PolygonArray:
    """The new shapes a land away from what is fixed: without those that come too near.

    Parameters
    ----------
    trim
        These are trimmed instead, to pieces with round ends that are at least `least_mm` long.
    """
    apart = limits.land_mm + _SLACK_MM
    if len(new) == 0 or len(fixed) == 0:
        return new
    i, j = shapely.STRtree(fixed).query(new, predicate="dwithin", distance=apart)
    met = np.unique(i)
    if len(met) == 0:
        return new
    kept = np.delete(new, met)
    if not trim:
        return kept
    around = shapely.union_all(geometry.offset(fixed[np.unique(j)], apart, quad_segs=_ARC))
    left = geometry.parts(shapely.difference(shapely.union_all(new[met]), around))
    broad = 2 * shapely.length(shapely.maximum_inscribed_circle(left, tolerance=_SLACK_MM))
    left = left[broad > limits.cut_mm + 2 * _SLACK_MM]
    broad = np.maximum(_ROUND * broad[broad > limits.cut_mm + 2 * _SLACK_MM], limits.cut_mm + _SLACK_MM)
    left = shapely.intersection([opened(shape, width) for shape, width in zip(left, broad, strict=True)], left)
    pieces = geometry.snapped(geometry.parts(left))
    low, high = np.hsplit(shapely.bounds(pieces), 2)
    large = (shapely.area(pieces) > _CRUMB * limits.cut_mm**2) & (np.hypot(*(high - low).T) > least_mm)
    return np.concatenate([kept, pieces[large]])


def finding_room(
    shapes: PolygonArray,
    fixed: PolygonArray,
    limits: Limits,
    *,
    moves: Iterable[Floats],
    fits: Callable[[PolygonArray], Mask],
) -> PolygonArray:
    """The shapes moved, the largest first, to where they are a land away from what is fixed and from one another.

    Those that find no room are left out.

    Parameters
    ----------
    moves
        By how much the shapes are moved in each try, mm; each (n, 2).
    fits
        Which of moved shapes may lie where they are; (m,) for (m,).
    """
    placed, known, apart = geometry.empty(), shapely.STRtree(fixed), limits.land_mm + _SLACK_MM
    largest = np.argsort(-shapely.area(shapes), kind="stable")
    for by in moves:
        if len(largest) == 0:
            break
        moved = _each_moved(shapes[largest], by[largest])
        free = np.flatnonzero(fits(moved))
        for others in (known, shapely.STRtree(placed)):
            near = others.query(moved[free], predicate="dwithin", distance=apart)[0]
            free = np.delete(free, np.unique(near))
        free = free[_apart_from_larger(moved[free], apart)]
        placed = np.concatenate([placed, moved[free]])
        largest = np.delete(largest, free)
    return placed


def _each_moved(shapes: PolygonArray, by: Floats) -> PolygonArray:
    """Each shape moved by whole steps of the grid, so that it stays as it is."""
    xy, owner = shapely.get_coordinates(shapes, return_index=True)
    steps = np.round(xy / geometry.GRID_MM) + np.round(by / geometry.GRID_MM)[owner]
    return np.asarray(shapely.set_coordinates(shapes.copy(), steps * geometry.GRID_MM), dtype=object)


def _apart_from_larger(shapes: PolygonArray, apart: float) -> Mask:
    """Which of shapes, the largest first, come too near to none of the larger ones that are kept; (n,)."""
    keeps = np.ones(len(shapes), dtype=bool)
    first, second = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=apart)
    for one, other in sorted(zip(first[first < second].tolist(), second[first < second].tolist(), strict=True)):
        keeps[other] &= not keeps[one]
    return keeps


def firm(new: PolygonArray, fixed: PolygonArray, place: Place, limits: Limits) -> PolygonArray:
    """The new shapes without those beside which the land is too narrow."""
    while len(new):
        weak = weak_places(new, fixed, place, limits)
        beside = shapely.STRtree(new).query(weak, predicate="dwithin", distance=2 * geometry.GRID_MM)[1]
        if len(beside) == 0:
            break
        new = np.delete(new, np.unique(beside))
    return new


def weak_places(new: PolygonArray, fixed: PolygonArray, place: Place, limits: Limits) -> Any:  # noqa: ANN401
    """Lines across the land all along where it is too narrow beside new shapes, but for mere corners; (n,)."""
    if len(new) == 0:
        return geometry.empty()
    land = limits.land_mm
    frame = place.edge
    by = 3 * land * np.array([-1, -1, 1, 1])
    window = shapely.intersection(frame, shapely.box(*(shapely.total_bounds(new) + by)))
    white = np.concatenate([new, fixed[shapely.intersects(fixed, window)] if len(fixed) else fixed])
    ground = geometry.parts(shapely.difference(window, shapely.union_all(white)))
    spread = narrow_spread(geometry.rings(ground), land - 2 * geometry.GRID_MM)
    result, thin = spread.places, spread.thin
    counts = (result.kind != NarrowKind.TIP) | (result.length > land)
    along = np.flatnonzero(spread.place >= 0)
    along = along[counts[spread.place[along]]]
    weak = np.concatenate([
        geometry.lines(result.at[counts], result.to[counts]), geometry.lines(thin.at[along], thin.across[along])
    ])  # fmt: skip
    mine = np.unique(shapely.STRtree(new).query(weak, predicate="dwithin", distance=2 * geometry.GRID_MM)[0])
    return weak[mine]


def joined_to(shapes: PolygonArray, white: BaseGeometry, limits: Limits) -> PolygonArray:
    """The shapes and `white` as one, gaps and notches between them that are narrower than the land filled."""
    land = limits.land_mm + 2 * _SLACK_MM
    every = np.concatenate([shapes, geometry.parts(white)])
    around = shapely.buffer(white, 3 * land, quad_segs=2)
    local = geometry.solid(shapely.intersection(shapely.union_all(every), around))
    near = shapely.buffer(white, land, quad_segs=2)
    fill = geometry.parts(shapely.difference(closed(local, land, quad_segs=_ARC), local))
    fill = fill[shapely.intersects(fill, near)] if len(fill) else fill
    fill = geometry.offset(fill[shapely.area(fill) > geometry.GRID_MM], 2 * geometry.GRID_MM, quad_segs=1)
    return geometry.snapped(geometry.joined(np.concatenate([every, geometry.parts(fill)])))


def taken_back(
    shapes: PolygonArray, fixed: PolygonArray, zone: BaseGeometry, place: Place, limits: Limits, *, but: BaseGeometry
) -> PolygonArray:
    """The shapes with those parts taken back in the zone that are too narrow, or beside which the land is.

    Nothing is taken of `but`, nor outside the zone. Each round takes from what is left, all along each narrow place.
    """
    for last in np.arange(_ROUNDS) == _ROUNDS - 1:
        bite = shapely.difference(shapely.intersection(_bites(shapes, fixed, place, limits, zone), zone), but)
        met = shapely.intersects(shapes, bite)
        if shapely.is_empty(bite) or not met.any():
            break
        before = float(shapely.area(shapes[met]).sum())
        pieces = geometry.snapped(geometry.parts(shapely.difference(shapes[met], bite)))
        inner = shapely.is_empty(geometry.offset(pieces, -limits.cut_mm / 2))
        crumbs = (last | inner | (shapely.area(pieces) < limits.cut_mm**2)) & shapely.within(pieces, zone)
        pieces = pieces[~crumbs | shapely.intersects(pieces, but)]
        if shapely.area(pieces).sum() >= before - geometry.GRID_MM:
            break
        shapes = np.concatenate([shapes[~met], pieces])
    return shapes


def _bites(shapes: PolygonArray, fixed: PolygonArray, place: Place, limits: Limits, zone: BaseGeometry) -> BaseGeometry:
    """What is to be taken back: discs round every place in the zone where land or cut is too narrow."""
    if len(shapes) == 0:
        return shapely.Polygon()
    result = necks(geometry.rings(shapes), limits.cut_mm - 2 * geometry.GRID_MM)
    thin = geometry.lines(result.start, result.end)
    weak = weak_places(shapes, fixed, place, limits)
    thin, weak = (lines[shapely.intersects(lines, zone)] for lines in (thin, weak))
    bites = geometry.offset(weak, limits.land_mm / 2 + _SLACK_MM), geometry.offset(thin, limits.cut_mm / 2)
    whole: BaseGeometry = shapely.union_all(np.concatenate(bites))
    return whole


_BITE_MM = 0.05  #: an end on which nothing has grown is run out from so far about its cut
_TOUCHES_MM = 0.01


def grown_on(
    cuts: PolygonArray, others: PolygonArray, *, mark: BaseGeometry, zone: BaseGeometry, settings: Settings,
    place: Place, limits: Limits, habit: Habit, rng: Generator,
) -> PolygonArray:  # fmt: skip
    """All cuts, those that the mark meets grown anew in it and joined to what has stayed of them."""
    met = np.asarray(shapely.intersects(cuts, mark))
    rest = cuts[~met]
    done = regrown(
        cuts[met], np.concatenate([rest, others]), mark=mark, zone=zone, settings=settings, place=place, limits=limits,
        rng=rng, flake_mm=habit.flake_mm,
    )  # fmt: skip
    ice = geometry.stack(_run_out(shape, done.ends, habit, limits) for shape in done.ice)
    if len(done.new) == 0:
        return np.concatenate([rest, ice])
    new = shapely.union_all(geometry.offset(done.new, _TOUCHES_MM / 2, quad_segs=2))
    joins = np.asarray(shapely.intersects(ice, new))
    grown = joined_to(ice[joins], geometry.solid(shapely.intersection(new, geometry.union(place.area))), limits)
    return np.concatenate([rest, ice[~joins], grown])


def _run_out(shape: BaseGeometry, ends: PolygonArray, habit: Habit, limits: Limits) -> PolygonArray:
    """The shape with each of its cut ends run out, over as much of it as the cut is long."""
    pieces = geometry.parts(shape)
    for end in ends:
        met = np.asarray(shapely.dwithin(pieces, end, _TOUCHES_MM))
        own = replace(habit, flake_mm=float(np.clip(2 * shapely.length(end), _BITE_MM, habit.flake_mm)))
        bite = shapely.buffer(end, _BITE_MM)
        pieces = np.concatenate([pieces[~met], *(cut_back(piece, bite, own, limits) for piece in pieces[met])])
    return pieces
