"""Land kept between flakes that have fallen: two that come too near merge, or the smaller shrinks or goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import Kind, narrow_places
from carvegen.geometry.necks import necks
from carvegen.motifs.shared.minimum_width import closed, opened
from carvegen.motifs.shared.trimming import firm
from carvegen.motifs.snowfall.chance import Draws, chance_at, keys
from carvegen.motifs.snowfall.flakes import Flakes

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
        Rings,
    )
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["bounded", "met", "parted"]

_SLACK_MM = 0.012  #: so much more is kept than must hold: arcs are polygons and coordinates lie on a grid
_MERGES = 0.5  #: chance that two that come near merge
_SPECK = 1.9  #: smaller ones than so many cuts, from the middle, are pecks of the tool: they don't merge
_DEEP = 0.34  #: two that overlap by so much of the smaller one's reach are one
_SHRINKS = 0.55  #: a flake that must shrink further goes
_BODY = 0.84  #: a flake's mean reach over its largest
_FILLS = 1.4  #: gaps and bays inside a clump are filled up to so many lands
_FINE_MM = 0.006  #: outlines may be simplified so far
_ROUNDS = 5


def met(flakes: Flakes, limits: Limits) -> Flakes:
    """Flakes after each has met those larger than itself: moved into one, shrunk beside them, or gone.

    Where the larger ones end up does not matter: what happens at a place depends on no more than a flake and a land
    around it.
    """
    small, large, gap = _pairs(flakes, limits.land_mm + _SLACK_MM)
    chance = Draws(keys(flakes.key[small], flakes.key[large])).random(2)
    speck = flakes.reach[large] < _SPECK * limits.cut_mm
    deep = ~speck & (_sunk(flakes, small, large) > _DEEP)
    merges = ~deep & ~speck & (chance[:, 0] < _MERGES)
    beside = ~deep & ~merges
    need = np.zeros(len(flakes))
    np.maximum.at(need, small[beside], np.where(gap > 0, limits.land_mm + 2 * _SLACK_MM - gap, np.inf)[beside])
    scale = np.maximum(1 - 1.12 * need / (_BODY * flakes.reach), 0)
    stays = (need == 0) | (scale >= np.maximum(_SHRINKS, flakes.slack))
    shift = np.zeros_like(flakes.xy)
    moves = np.flatnonzero(merges & (need[small] == 0))
    moves = moves[np.argsort(flakes.reach[large[moves]], kind="stable")]  # the largest last: it wins
    one, other = small[moves], large[moves]
    away = flakes.xy[other] - flakes.xy[one]
    apart = np.maximum(np.hypot(*away.T), 1e-9)
    wished = _BODY * (flakes.reach[other] + (0.5 - 0.6 * chance[moves, 1]) * flakes.reach[one])
    shift[one] = away * (np.maximum(apart - wished, 0) / apart)[:, None]
    return _changed(flakes, scale, shift).chosen(stays)


def parted(flakes: Flakes, limits: Limits) -> PolygonArray:
    """Shapes a land apart: those that overlap deep are one, of others too near the smaller goes."""
    small, large, _ = _pairs(flakes, limits.land_mm + _SLACK_MM / 2)
    speck = flakes.reach[large] < 0.8 * _SPECK * limits.cut_mm
    deep = ~speck & (_sunk(flakes, small, large) > 0.9 * _DEEP)
    near = np.flatnonzero(~deep)
    kin = _share_a_neighbour(len(flakes), small[deep], large[deep], small[near], large[near])
    gone = np.zeros(len(flakes), dtype=bool)
    gone[small[near[~kin]]] = True
    shapes, merged = _merged(flakes.shape[~gone], flakes.torn[~gone], limits)
    return _apart(shapes, merged, limits)


def bounded(
    shapes: PolygonArray, area: BaseGeometry, frame: Polygon, limits: Limits, settings: Settings
) -> PolygonArray:
    """The shapes cut off by the area; those near the frame run out over it square to it.

    Parameters
    ----------
    area
        Where cuts may lie.
    frame
        Rectangle of the face: land ends there.
    settings
        Whether shapes may be cut off at the edge, and how many go on behind what is kept clear.
    """
    shapely.prepare(area)
    inner = shapely.buffer(frame, -limits.land_mm - _SLACK_MM, join_style="mitre")
    shapely.prepare(inner)
    within = shapely.contains_properly(area, shapes)
    clear = shapely.contains_properly(inner, shapes)
    whole = within & clear & _made(shapes, limits)
    if not settings.cut_at_edge:
        return shapes[whole]
    middle = shapely.get_coordinates(shapely.centroid(shapes))
    goes_on = within | ~clear | (chance_at(middle) < settings.hidden)
    crossing = shapes[~whole & goes_on & shapely.intersects(frame, shapes)]
    if len(crossing) == 0:
        return shapes[whole]
    out = shapely.intersection(_run_out(crossing, frame, limits), frame)
    shut = ~shapely.covers(area, out)
    behind = _one_side(shapely.intersection(out[shut], area), limits)
    pieces = np.concatenate([geometry.parts(out[~shut]), behind])
    edge = _firm(pieces, frame, limits)
    return np.concatenate([shapes[whole], edge[_made(edge, limits)]])


def _made(shapes: PolygonArray, limits: Limits) -> Mask:
    """Whether a cutter makes each in one piece: looked at where one is small or has bays."""
    area, made = shapely.area(shapes), np.ones(len(shapes), dtype=bool)
    small = area < 2.5 * limits.cut_mm**2
    doubtful = np.flatnonzero(small | (area < 0.93 * shapely.area(shapely.convex_hull(shapes))))
    inner = geometry.offset(shapes[doubtful], -(limits.cut_mm - geometry.GRID_MM) / 2)
    back = shapely.area(geometry.offset(inner, limits.cut_mm / 2))
    lost = small[doubtful] & (area[doubtful] - back > 0.3 * limits.cut_mm**2)
    made[doubtful] = (shapely.get_num_geometries(inner) == 1) & ~shapely.is_empty(inner) & ~lost
    return made


def _one_side(cut: PolygonArray, limits: Limits) -> PolygonArray:
    """The pieces of shapes that something stands across; where it is too thin to be cut on both sides, the largest."""
    pieces, whose = shapely.get_parts(cut, return_index=True)
    solid = (shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > 0)
    pieces, whose = pieces[solid], whose[solid]
    i, j, _ = geometry.close_pairs(pieces, limits.land_mm)
    kin = whose[i] == whose[j]
    size = shapely.area(pieces)
    return np.delete(pieces, np.unique(np.where(size[i] < size[j], i, j)[kin]))


def _pairs(flakes: Flakes, apart: float) -> tuple[Indices, Indices, Floats]:
    """Pairs nearer than `apart`: the smaller, the larger (by reach, then by key), and how far apart they are.

    Of those whose discs overlap deep the distance is not measured: 0.
    """
    low, high = flakes.xy - flakes.reach[:, None], flakes.xy + flakes.reach[:, None]
    boxes = np.asarray(shapely.box(*(low - apart).T, *high.T), dtype=object)
    i, j = shapely.STRtree(boxes).query(boxes)
    once = i < j
    i, j = i[once], j[once]
    room = np.hypot(*(flakes.xy[i] - flakes.xy[j]).T) - flakes.reach[i] - flakes.reach[j]
    i, j = i[room < apart], j[room < apart]
    less = (flakes.reach[i] < flakes.reach[j]) | (
        (flakes.reach[i] == flakes.reach[j]) & (flakes.key[i] < flakes.key[j])
    )
    small, large = np.where(less, i, j), np.where(less, j, i)
    gap = np.zeros(len(small))
    asked = np.flatnonzero(_sunk(flakes, small, large) <= _DEEP)
    gap[asked] = shapely.distance(flakes.shape[small[asked]], flakes.shape[large[asked]])
    near = gap < apart
    return small[near], large[near], gap[near]


def _sunk(flakes: Flakes, small: Indices, large: Indices) -> Floats:
    """How deep the smaller reaches into the larger, in its own reaches."""
    apart = np.hypot(*(flakes.xy[small] - flakes.xy[large]).T)
    return np.asarray((_BODY * (flakes.reach[small] + flakes.reach[large]) - apart) / (_BODY * flakes.reach[small]))


def _changed(flakes: Flakes, scale: Floats, shift: Floats) -> Flakes:
    """The flakes shrunk about their middles and moved."""
    shape = flakes.shape.copy()
    which = np.flatnonzero((scale != 1) | (shift != 0).any(axis=1))
    xy, owner = shapely.get_coordinates(shape[which], return_index=True)
    whose = which[owner]
    xy = flakes.xy[whose] + scale[whose, None] * (xy - flakes.xy[whose]) + shift[whose]
    shape[which] = shapely.set_coordinates(shape[which], np.round(xy / geometry.GRID_MM) * geometry.GRID_MM)
    with np.errstate(divide="ignore"):
        slack = flakes.slack / scale
    return Flakes(shape, flakes.xy + shift, flakes.reach * scale, flakes.layer, flakes.key, slack, flakes.torn)


def _share_a_neighbour(count: int, a: Indices, b: Indices, small: Indices, large: Indices) -> Mask:
    """Whether both of each pair are linked (a to b) to a third."""
    from scipy.sparse import coo_array

    if len(small) == 0 or len(a) == 0:
        return np.zeros(len(small), dtype=bool)
    ones = np.ones(2 * len(a), dtype=np.int32)
    links = coo_array((ones, (np.r_[a, b], np.r_[b, a])), shape=(count, count)).tocsr()
    return np.asarray(links[small].multiply(links[large]).sum(axis=1)).ravel() > 0


def _merged(shapes: PolygonArray, torn: Mask, limits: Limits) -> tuple[PolygonArray, Mask]:
    """Those nearer than the land to one another united, and which have been; torn ones smoothed as well."""
    if len(shapes) == 0:
        return shapes, np.zeros(0, dtype=bool)
    group = geometry.near_groups(shapes, limits.land_mm)
    clump = (np.bincount(group)[group] > 1) | torn
    order = np.flatnonzero(clump)[np.argsort(group[clump], kind="stable")]
    starts = np.flatnonzero(np.diff(group[order], prepend=-1))
    united = geometry.polygon_array(
        shapely.union_all(part) for part in np.split(shapes[order], starts[1:]) if len(part)
    )
    merged = _mended(united, limits)
    alone = shapes[~clump]  # on the grid since they were drawn
    alone = alone[shapely.is_valid(alone)]
    return np.concatenate([alone, merged]), np.arange(len(alone) + len(merged)) >= len(alone)


def _mended(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes smoothed, and every land inside them that is too narrow filled."""
    work, done = _smooth(shapes, limits), geometry.empty()
    for _ in range(_ROUNDS):
        rings = geometry.rings(work)
        found = necks(geometry.reversed_rings(rings), limits.land_mm)
        owner = rings.owner[found.first]
        bad = np.zeros(len(work), dtype=bool)
        bad[owner] = bad[rings.owner[found.second]] = True
        done = np.concatenate([done, work[~bad]])
        if not bad.any():
            return done
        chords = geometry.offset(geometry.lines(found.start, found.end), 0.7 * limits.land_mm, quad_segs=4)
        for k in np.unique(owner).tolist():
            work[k] = shapely.union_all(np.append(chords[owner == k], work[k]))
        work = _smooth(work[bad], limits)
    return np.concatenate([done, geometry.filled(geometry.parts(shapely.convex_hull(work)))])


def _smooth(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """Gaps, bays and small holes filled, tips that the cutter does not reach taken off."""
    full = closed(shapes, _FILLS * limits.land_mm)
    reached = opened(full, limits.cut_mm + 2 * _SLACK_MM)
    return geometry.snapped(_without_specks(geometry.parts(shapely.simplify(reached, _FINE_MM)), limits))


def _without_specks(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes without holes whose islands can't stand."""
    shapes = shapes.copy()
    for k in np.flatnonzero(shapely.get_num_interior_rings(shapes) > 0).tolist():
        rings = np.asarray(shapely.get_rings(shapes[k]))
        room = 2 * shapely.length(shapely.maximum_inscribed_circle(shapely.polygons(rings[1:]), tolerance=0.02))
        shapes[k] = shapely.polygons(rings[0], rings[1:][room > 1.1 * max(limits.dot_mm, limits.land_mm)])
    return shapes


def _apart(shapes: PolygonArray, merged: Mask, limits: Limits) -> PolygonArray:
    """The shapes without the smaller of any two nearer than the land; only merged ones may have come nearer."""
    if len(shapes) == 0 or not merged.any():
        return shapes
    i, j = shapely.STRtree(shapes).query(shapes[merged], predicate="dwithin", distance=limits.land_mm)
    i = np.flatnonzero(merged)[i]
    size = shapely.area(shapes)
    smaller = np.where(size[i] < size[j], i, j)[i != j]
    return np.delete(shapes, np.unique(smaller))


def _run_out(shapes: PolygonArray, frame: BaseGeometry, limits: Limits) -> PolygonArray:
    """Shapes near a side of the frame drawn out over it, square to it."""
    left, bottom, right, top = shapely.bounds(frame)
    deep = limits.land_mm + _SLACK_MM
    shapes = shapes.copy()
    for side, way in (
        (shapely.box(left - deep, bottom, left + deep, top), (-1, 0)),
        (shapely.box(right - deep, bottom, right + deep, top), (1, 0)),
        (shapely.box(left, bottom - deep, right, bottom + deep), (0, -1)),
        (shapely.box(left, top - deep, right, top + deep), (0, 1)),
    ):
        strip, whose = shapely.get_parts(shapely.intersection(shapes, side), return_index=True)
        if len(strip) == 0:
            continue
        beyond = geometry.moved(strip, (2.5 * deep * way[0], 2.5 * deep * way[1]))
        swept = shapely.convex_hull(shapely.union(strip, beyond))
        for k in np.unique(whose).tolist():
            shapes[k] = shapely.union_all(np.append(swept[whose == k], shapes[k]))
    return shapes


def _firm(pieces: PolygonArray, frame: Polygon, limits: Limits) -> PolygonArray:
    """The pieces as far as a cutter reaches them and the land between them and to the frame holds (exact).

    What is too narrow is taken back by discs of the land's width, round by round, and does nothing to the rest; a
    piece that in the end still leaves narrow land goes.
    """
    land, done = limits.land_mm, geometry.empty()
    for nth in range(_ROUNDS + 1):
        pieces = _reached(pieces, limits)
        if len(pieces) == 0:
            break
        ground = geometry.parts(shapely.difference(frame, shapely.union_all(pieces)))
        lines = np.concatenate([_narrow(geometry.rings(ground), width) for width in (land, land / 2)])
        beside = np.zeros(len(pieces), dtype=bool)
        beside[shapely.STRtree(pieces).query(lines, predicate="dwithin", distance=_SLACK_MM)[1]] = True
        done, pieces = np.concatenate([done, pieces[~beside]]), pieces[beside]
        if len(pieces) == 0 or nth >= _ROUNDS:
            break
        bites = geometry.offset(lines, (1 + nth / 2) * (land / 2 + _SLACK_MM), quad_segs=8)  # wider each time
        pieces = geometry.parts(shapely.difference(pieces, shapely.union_all(bites)))
    return firm(done, frame, land_mm=land)


def _narrow(ground: Rings, width: float) -> PolygonArray:
    """Lines across the places where the land is narrower, but for its corners."""
    found = narrow_places(ground, width)
    weak = found.chosen(np.flatnonzero((found.kind != Kind.TIP) | (found.length > 0.95 * width)))
    return geometry.lines(weak.at, weak.to)


def _reached(pieces: PolygonArray, limits: Limits) -> PolygonArray:
    """What a round cutter of the smallest cut reaches of each, without crumbs."""
    reached = shapely.simplify(opened(pieces, limits.cut_mm + 2 * _SLACK_MM), _FINE_MM)
    found = geometry.snapped(_without_specks(geometry.parts(reached), limits))
    return found[shapely.area(found) > 1.5 * limits.cut_mm**2]
