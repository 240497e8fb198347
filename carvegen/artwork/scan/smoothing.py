"""Traced outlines without specks and without the pixels' stairs; corners stay where they are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray, Rings

__all__ = ["Kept", "polygons", "smoothed", "without_specks"]

_REACH = 6  # points to each side over which a turn is measured
_CORNER_DEG = 40.0
_ROUNDS = 10
_SHRINK, _GROW = 0.5, -0.53  # pass band about 0.1: what is shorter than some six points goes
_MOST_PX = 0.5  # how far a point may be moved


@dataclass(frozen=True, eq=False)
class Kept:
    """Shapes that are large enough, and how many were not."""

    shapes: PolygonArray
    specks: int
    pinholes: int


def without_specks(shapes: PolygonArray, least_px2: float) -> Kept:
    """The shapes without those, and without those holes, whose area is smaller; holes are filled."""
    large = shapely.area(geometry.filled(shapes)) >= least_px2 if len(shapes) else np.empty(0, dtype=bool)
    found = geometry.rings(shapes[large])
    hole = found.hole & (_ring_areas(found) < least_px2)
    kept = polygons(_chosen(found, ~hole)) if hole.any() else shapes[large]
    return Kept(kept, int((~large).sum()), int(hole.sum()))


def smoothed(shapes: PolygonArray, corner_reach: int = _REACH) -> PolygonArray:
    """The shapes, in pixels, with smooth outlines and sharp corners.

    A point where the outline turns by more than 40 degrees within some six points to each side is a corner and
    stays; the others are smoothed by steps that shrink and grow in turn, so that round shapes keep their size (G.
    Taubin 1995, SIGGRAPH: a signal processing approach to fair surface design). No point moves more than half a
    pixel.
    """
    if len(shapes) == 0:
        return shapes
    found = geometry.rings(shapes)
    after = found.edge_ends
    before = np.empty_like(after)
    before[after] = np.arange(len(after))
    fixed = _corners(found.xy, before, after, corner_reach)
    xy = found.xy.copy()
    for _ in range(_ROUNDS):
        for step in (_SHRINK, _GROW):
            pull = (xy[before] + xy[after]) / 2 - xy
            pull[fixed] = 0
            xy += step * pull
    moved = np.clip(xy - found.xy, -_MOST_PX, _MOST_PX)
    return polygons(replace(found, xy=found.xy + moved))


def polygons(given: Rings) -> PolygonArray:
    """Polygons of rings; those that cross themselves are made valid."""
    if len(given) == 0:
        return geometry.empty()
    sizes = np.diff(given.start)
    closed = given.start + np.arange(len(given.start))
    ring = np.repeat(np.arange(len(sizes)), sizes + 1)
    place = np.arange(closed[-1]) - closed[ring]
    xy = given.xy[given.start[ring] + np.where(place == sizes[ring], 0, place)]
    first = np.append(np.flatnonzero(~given.hole), len(given))
    made = shapely.from_ragged_array(shapely.GeometryType.POLYGON, xy, (closed, first))
    good = shapely.is_valid(made)
    return geometry.parts(made if good.all() else np.where(good, made, shapely.make_valid(made)))


def _corners(xy: Floats, before: Indices, after: Indices, reach: int) -> Mask:
    """Points where the outline turns sharply, and more than anywhere near."""
    back, ahead = np.arange(len(xy)), np.arange(len(xy))
    for _ in range(reach):
        back, ahead = before[back], after[ahead]
    come, go = xy - xy[back], xy[ahead] - xy
    cross = come[:, 0] * go[:, 1] - come[:, 1] * go[:, 0]
    turn = np.abs(np.arctan2(cross, (come * go).sum(axis=1)))
    most = turn
    for _ in range(reach // 2):
        most = np.maximum(most, np.maximum(most[before], most[after]))
    return np.asarray((turn >= np.radians(_CORNER_DEG)) & (turn >= most))


def _ring_areas(found: Rings) -> Floats:
    if len(found) == 0:
        return np.empty(0)
    x, y = found.xy.T
    ends = found.edge_ends
    return np.asarray(np.abs(np.add.reduceat(x * y[ends] - x[ends] * y, found.start[:-1])) / 2)


def _chosen(found: Rings, which: Mask) -> Rings:
    sizes = np.diff(found.start)
    start = np.concatenate([[0], np.cumsum(sizes[which])])
    return geometry.Rings(found.xy[np.repeat(which, sizes)], start, found.owner[which], found.hole[which])
