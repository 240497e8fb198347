"""Land kept between flakes that have fallen: two that come too near merge, or the smaller shrinks or goes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.necks import necks
from carvegen.motifs.shared.minimum_width import closed, opened
from carvegen.motifs.snowfall.chance import Draws, keys
from carvegen.motifs.snowfall.flakes import Flakes

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
        Rings,
    )

__all__ = ["FINE_MM", "SLACK_MM", "met", "parted", "without_specks"]

SLACK_MM = 0.012  #: so much more is kept than must hold: arcs are polygons and coordinates lie on a grid
_MERGES = 0.5  #: chance that two that come near merge
_MUCH = 0.3  #: of more white than this
_MERGES_MORE = 1.3  #: so many more merge for each share
_SPECK = 1.9  #: smaller ones than so many cuts, from the middle, are pecks of the tool: they don't merge
_DEEP = 0.34  #: two that overlap by so much of the smaller one's reach are one
_SHRINKS = 0.55  #: a flake that must shrink further goes
_BODY = 0.84  #: a flake's mean reach over its largest
_FILLS = 1.4  #: gaps and bays inside a clump are filled up to so many lands
FINE_MM = 0.006  #: outlines may be simplified so far
_ROUNDS = 5
_MENDS = 9  #: rounds in which a clump is mended, the gaps that are filled wider each time; then it is its hull
_MASS = 12.0  #: what is larger than so many lands squared does not go for the sake of a larger one


def met(flakes: Flakes, limits: Limits, snow: float) -> Flakes:
    """Flakes after each has met those larger than itself: moved into one, shrunk beside them, or gone.

    Where the larger ones end up does not matter: what happens at a place depends on no more than a flake and a land
    around it.
    """
    small, large, gap = _pairs(flakes, limits.land_mm + SLACK_MM)
    chance = Draws(keys(flakes.key[small], flakes.key[large])).random(2)
    speck = flakes.reach[large] < _SPECK * limits.cut_mm
    deep = ~speck & (_sunk(flakes, small, large) > _DEEP)
    merges = ~deep & ~speck & (chance[:, 0] < _MERGES + _MERGES_MORE * max(snow - _MUCH, 0))
    beside = ~deep & ~merges
    need = np.zeros(len(flakes))
    np.maximum.at(need, small[beside], np.where(gap > 0, limits.land_mm + 2 * SLACK_MM - gap, np.inf)[beside])
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
    small, large, _ = _pairs(flakes, limits.land_mm + SLACK_MM / 2)
    speck = flakes.reach[large] < 0.8 * _SPECK * limits.cut_mm
    deep = ~speck & (_sunk(flakes, small, large) > 0.9 * _DEEP)
    near = np.flatnonzero(~deep)
    kin = _share_a_neighbour(len(flakes), small[deep], large[deep], small[near], large[near])
    gone = np.zeros(len(flakes), dtype=bool)
    gone[small[near[~kin]]] = True
    shapes, merged = _merged(flakes.shape[~gone], flakes.torn[~gone], limits)
    return _apart(shapes, merged, limits)


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
    """The shapes smoothed, every land inside them that is too narrow filled, and each neck of theirs widened."""
    work, done = _smooth(shapes, limits), geometry.empty()
    for nth in range(_MENDS):
        rings = geometry.rings(work)
        owner, patches = _patches(rings, limits)
        bad = np.zeros(len(work), dtype=bool)
        bad[owner] = True
        done = np.concatenate([done, work[~bad]])
        if not bad.any():
            return done
        for k in np.unique(owner).tolist():
            work[k] = shapely.union_all(np.append(patches[owner == k], work[k]))
        work = _smooth(work[bad], limits, fuller=1 + nth / 3)
    return np.concatenate([done, geometry.filled(geometry.parts(shapely.convex_hull(work)))])


def _patches(rings: Rings, limits: Limits) -> tuple[Indices, PolygonArray]:
    """What fills narrow land inside shapes and widens their own necks, and which shape each is for."""
    lands = necks(geometry.reversed_rings(rings), limits.land_mm)
    cuts = necks(rings, limits.cut_mm + SLACK_MM)
    radius = np.repeat([0.7 * limits.land_mm, 0.7 * limits.cut_mm], [len(lands), len(cuts)])
    across = np.concatenate([geometry.lines(its.start, its.end) for its in (lands, cuts)])
    ends = [np.concatenate([getattr(lands, end), getattr(cuts, end)]) for end in ("first", "second")]
    patches = np.asarray(shapely.buffer(across, radius, quad_segs=4), dtype=object)
    return rings.owner[np.concatenate(ends)], np.concatenate([patches, patches])


def _smooth(shapes: PolygonArray, limits: Limits, *, fuller: float = 1.0) -> PolygonArray:
    """Gaps, bays and small holes filled, tips that the cutter does not reach taken off."""
    full = geometry.snapped(geometry.parts(closed(shapes, fuller * _FILLS * limits.land_mm)))
    reached = opened(full, limits.cut_mm + 2 * SLACK_MM)
    return geometry.snapped(without_specks(geometry.parts(shapely.simplify(reached, FINE_MM)), limits))


def without_specks(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes without holes whose islands can't stand."""
    shapes = shapes.copy()
    for k in np.flatnonzero(shapely.get_num_interior_rings(shapes) > 0).tolist():
        rings = np.asarray(shapely.get_rings(shapes[k]))
        room = 2 * shapely.length(shapely.maximum_inscribed_circle(shapely.polygons(rings[1:]), tolerance=0.02))
        shapes[k] = shapely.polygons(rings[0], rings[1:][room > 1.1 * max(limits.dot_mm, limits.land_mm)])
    return shapes


def _apart(shapes: PolygonArray, merged: Mask, limits: Limits) -> PolygonArray:
    """The shapes a land apart, where merged ones have come nearer: large ones are one, else the smaller goes."""
    for _ in range(_ROUNDS):
        i, j = shapely.STRtree(shapes).query(shapes[merged], predicate="dwithin", distance=limits.land_mm)
        i = np.flatnonzero(merged)[i]
        i, j = i[i != j], j[i != j]
        if len(i) == 0:
            return shapes
        size = shapely.area(shapes)
        smaller = np.where(size[i] < size[j], i, j)
        large = size[smaller] > _MASS * limits.land_mm**2
        gone = np.unique(smaller[~large])
        both = np.setdiff1d(np.concatenate([i[large], j[large]]), gone)
        kept = np.setdiff1d(np.arange(len(shapes)), np.concatenate([gone, both]))
        united, _ = _merged(shapes[both], np.ones(len(both), dtype=bool), limits)
        shapes = np.concatenate([shapes[kept], united])
        merged = np.arange(len(shapes)) >= len(kept)
    return np.delete(shapes, np.unique(smaller))
