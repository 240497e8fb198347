"""Traced outlines without specks and without the pixels' stairs; corners stay where they are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.scan.contours import corners

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Mask,
        PolygonArray,
        Rings,
    )

__all__ = ["LargeShapes", "polygons", "simplified", "smoothed", "without_specks"]

_REACH = 6  # points to each side over which a turn is measured
_ROUNDS = 10
_SHRINK, _GROW = 0.5, -0.53  # pass band about 0.1: what is shorter than some six points goes
_MOST_PX = 0.5  # how far a point may be moved
_FEWEST = 4  # points of a ring with an area, the first one repeated


@dataclass(frozen=True, eq=False)
class LargeShapes:
    """Shapes that are large enough, and how many were not."""

    shapes: PolygonArray
    specks: int
    pinholes: int


def without_specks(shapes: PolygonArray, least_px2: float) -> LargeShapes:
    """The shapes without those, and without those holes, whose area is smaller; holes are filled."""
    large = shapely.area(geometry.filled(shapes)) >= least_px2 if len(shapes) else np.empty(0, dtype=bool)
    all_rings = geometry.rings(shapes[large])
    hole = all_rings.hole & (_ring_areas(all_rings) < least_px2)
    kept = polygons(_chosen(all_rings, ~hole)) if hole.any() else shapes[large]
    return LargeShapes(kept, int((~large).sum()), int(hole.sum()))


def smoothed(shapes: PolygonArray, *, blur_px: float = 0.0) -> PolygonArray:
    """The shapes, in pixels, with smooth outlines and sharp corners.

    A point where the outline turns by more than 40 degrees within some six points to each side is a corner and
    stays; the others are smoothed by steps that shrink and grow in turn, so that round shapes keep their size (source:
    taubin-1995). No point moves more than half a
    pixel, but for corners that are rounded by a blur of `blur_px` and are put back (`corners.restored`).
    """
    if len(shapes) == 0:
        return shapes
    rings = geometry.rings(shapes)
    after = rings.edge_ends
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    fixed = corners.sharp_turns(rings.xy, before, after, _REACH)
    moved = np.clip(_taubin(rings, fixed) - rings.xy, -_MOST_PX, _MOST_PX)
    smooth = rings.xy + moved
    if blur_px <= 0:
        return polygons(replace(rings, xy=smooth))
    sharp = corners.restored(smooth, rings.xy, (before, after), fixed, blur_px)
    crossed = ~shapely.is_valid(_built(replace(rings, xy=sharp)))[rings.owner]
    sharp = np.where(np.repeat(crossed, np.diff(rings.start))[:, None], smooth, sharp)
    return polygons(replace(rings, xy=sharp))


def _taubin(rings: Rings, fixed: Mask) -> Floats:
    """Every point drawn towards the middle of its neighbours and back, in turn; those that are fixed stay."""
    first, last = rings.start[:-1], rings.start[1:] - 1
    x = np.ascontiguousarray(rings.xy.T)
    free = np.where(fixed, 0.0, 1.0)
    for _ in range(_ROUNDS):
        for step in (_SHRINK, _GROW):
            pull = np.roll(x, 1, axis=1)
            ahead = np.roll(x, -1, axis=1)
            pull[:, first], ahead[:, last] = x[:, last], x[:, first]
            pull += ahead
            pull *= 0.5
            pull -= x
            pull *= step * free
            x += pull
    return np.ascontiguousarray(x.T)


def simplified(shapes: PolygonArray, tolerance: float) -> PolygonArray:
    """The shapes with fewer points, none further than `tolerance` from where it was; valid.

    Douglas and Peucker's way on each ring alone, which is sixteen times quicker than the one that watches over the
    whole; the few shapes whose rings it makes cross are done again with that.
    """
    if len(shapes) == 0:
        return shapes
    rings, owner = shapely.get_rings(shapes, return_index=True)
    thin = shapely.simplify(rings, tolerance, preserve_topology=False)
    size = shapely.get_num_coordinates(thin)
    whole = np.bincount(owner, weights=size < _FEWEST, minlength=len(shapes)) == 0
    kept = whole[owner]
    start = np.concatenate([[0], np.cumsum(size[kept])])
    first = np.concatenate([[0], np.cumsum(np.bincount(owner[kept], minlength=len(shapes))[whole])])
    quick = np.full(len(shapes), None, dtype=object)
    xy = shapely.get_coordinates(thin[kept])
    quick[whole] = shapely.from_ragged_array(shapely.GeometryType.POLYGON, xy, (start, first))
    good = shapely.is_valid(quick)
    quick[~good] = shapely.simplify(shapes[~good], tolerance)
    return quick


def polygons(rings: Rings) -> PolygonArray:
    """Polygons of rings; those that cross themselves are made valid."""
    made = _built(rings)
    good = shapely.is_valid(made)
    return geometry.parts(made if good.all() else np.where(good, made, shapely.make_valid(made)))


def _built(rings: Rings) -> PolygonArray:
    """Polygons of rings, right or wrong."""
    if len(rings) == 0:
        return geometry.empty()
    sizes = np.diff(rings.start)
    closed = rings.start + np.arange(len(rings.start))
    ring = np.repeat(np.arange(len(sizes)), sizes + 1)
    place = np.arange(closed[-1]) - closed[ring]
    xy = rings.xy[rings.start[ring] + np.where(place == sizes[ring], 0, place)]
    first = np.append(np.flatnonzero(~rings.hole), len(rings))
    return shapely.from_ragged_array(shapely.GeometryType.POLYGON, xy, (closed, first))


def _ring_areas(rings: Rings) -> Floats:
    if len(rings) == 0:
        return np.empty(0)
    x, y = rings.xy.T
    ends = rings.edge_ends
    return np.asarray(np.abs(np.add.reduceat(x * y[ends] - x[ends] * y, rings.start[:-1])) / 2)


def _chosen(rings: Rings, which: Mask) -> Rings:
    sizes = np.diff(rings.start)
    start = np.concatenate([[0], np.cumsum(sizes[which])])
    return geometry.Rings(rings.xy[np.repeat(which, sizes)], start, rings.owner[which], rings.hole[which])
