"""Strokes trimmed to their place: cut off at its edge, on the grid, and the few left out that don't hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.necks import necks

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["apart", "cut_off"]

_SIMPLE_MM = 0.002
_NEARLY = 0.995  #: GEOS smooths an outline by up to 1 % of the offset before it shrinks it


def cut_off(shapes: PolygonArray, area: BaseGeometry, *, cut_mm: float) -> PolygonArray:
    """The shapes cut off by the area, with few points, on the grid; none that a disc of the smallest cut can't pass."""
    plain = shapely.simplify(shapes, _SIMPLE_MM)
    inside = shapely.contains_properly(area, plain)
    pieces = geometry.parts(shapely.intersection(plain[~inside], area))
    found = geometry.snapped(np.concatenate([plain[inside], pieces]))
    whole = np.ones(len(found), dtype=bool)
    for width in (_NEARLY * cut_mm, _NEARLY**2 * cut_mm - _SIMPLE_MM):  # a part lost at the first shows at the second
        inner = geometry.offset(found, -width / 2, quad_segs=16)
        whole &= (shapely.get_num_geometries(inner) == 1) & ~shapely.is_empty(inner)
    return np.asarray(found[whole])


def apart(shapes: PolygonArray, area: BaseGeometry, *, land_mm: float) -> PolygonArray:
    """The shapes without the smaller of any two that leave too narrow a neck of land between them (exact)."""
    while len(shapes):
        ground = shapely.difference(area, shapely.union_all(shapes))
        found = necks(geometry.rings(geometry.parts(ground)), land_mm)
        ends = geometry.dots(np.concatenate([found.start, found.end]))
        end, beside = shapely.STRtree(shapes).query(ends, predicate="dwithin", distance=geometry.GRID_MM)
        if len(beside) == 0:
            break
        pairs = np.full((2, len(found)), -1)
        pairs[end // len(found), end % len(found)] = beside
        size = np.concatenate([shapely.area(shapes), [np.inf]])
        shapes = np.delete(shapes, np.unique(np.where(size[pairs[0]] < size[pairs[1]], *pairs)))
    return shapes
