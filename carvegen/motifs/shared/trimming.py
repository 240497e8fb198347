"""Strokes trimmed to their place: cut off at its edge, on the grid, and the few left out that don't hold."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import NarrowKind, narrow_places
from carvegen.geometry.necks import necks

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Indices, PolygonArray, Rings

__all__ = ["apart", "cut_off", "firm"]

_SIMPLE_MM = 0.002
_NEARLY = 0.995  #: GEOS smooths an outline by up to 1 % of the offset before it shrinks it


def cut_off(shapes: PolygonArray, area: BaseGeometry, *, cut_mm: float) -> PolygonArray:
    """The shapes cut off by the area, with few points, on the grid; none that a disc of the smallest cut can't pass."""
    plain = shapely.simplify(shapes, _SIMPLE_MM)
    inside = shapely.contains_properly(area, plain)
    pieces = geometry.parts(shapely.intersection(plain[~inside], area))
    trimmed = geometry.snapped(np.concatenate([plain[inside], pieces]))
    whole = np.ones(len(trimmed), dtype=bool)
    for width in (_NEARLY * cut_mm, _NEARLY**2 * cut_mm - _SIMPLE_MM):  # a part lost at the first shows at the second
        inner = geometry.offset(trimmed, -width / 2, quad_segs=16)
        whole &= (shapely.get_num_geometries(inner) == 1) & ~shapely.is_empty(inner)
    return np.asarray(trimmed[whole])


def apart(shapes: PolygonArray, area: BaseGeometry, *, land_mm: float) -> PolygonArray:
    """The shapes without the smaller of any two that leave too narrow a neck of land between them (exact).

    Looked for within the area, where its edge bounds the land too, and between the shapes wherever they lie: also
    across a narrow gap in the area.
    """
    while len(shapes):
        ground = geometry.parts(shapely.difference(area, shapely.union_all(shapes)))
        worse = np.concatenate([_worse(shapes, geometry.rings(ground), land_mm), _between(shapes, land_mm)])
        if len(worse) == 0:
            break
        shapes = np.delete(shapes, np.unique(worse))
    return shapes


def firm(shapes: PolygonArray, frame: Polygon, *, land_mm: float) -> PolygonArray:
    """The shapes without those that leave land too narrow at the frame that cut them off: a neck, an island, a tip.

    A tip that is no longer than the land is wide is but a corner, and stays; also where half as much land is asked,
    as the end of a tip between bent walls is its sharpest.
    """
    while len(shapes):
        at_side = shapes[shapely.distance(shapes, shapely.boundary(frame)) < land_mm]
        ground = geometry.parts(shapely.difference(frame, shapely.union_all(at_side)))
        across = np.concatenate([_narrow(geometry.rings(ground), width) for width in (land_mm, land_mm / 2)])
        beside = shapely.STRtree(shapes).query(across, predicate="dwithin", distance=geometry.GRID_MM)[1]
        if len(beside) == 0:
            break
        shapes = np.delete(shapes, np.unique(beside))
    return shapes


def _narrow(land: Rings, width: float) -> PolygonArray:
    """Lines across the places where the land is narrower, but for its corners."""
    narrow = narrow_places(land, width - geometry.GRID_MM)
    weak = narrow.chosen(np.flatnonzero((narrow.kind != NarrowKind.TIP) | (narrow.length > width)))
    return geometry.lines(weak.at, weak.to)


def _between(shapes: PolygonArray, land_mm: float) -> Indices:
    return _worse(shapes, geometry.reversed_rings(geometry.rings(shapes)), land_mm)


def _worse(shapes: PolygonArray, land: Rings, land_mm: float) -> Indices:
    """Of the shapes at both ends of each narrow neck the smaller one, or the only one."""
    narrow = necks(land, land_mm - geometry.GRID_MM)
    ends = geometry.dots(np.concatenate([narrow.start, narrow.end]))
    end, beside = shapely.STRtree(shapes).query(ends, predicate="dwithin", distance=geometry.GRID_MM)
    pairs = np.full((2, len(narrow)), -1)
    pairs[end // max(len(narrow), 1), end % max(len(narrow), 1)] = beside
    size = np.concatenate([shapely.area(shapes), [np.inf]])
    smaller = np.where(size[pairs[0]] < size[pairs[1]], *pairs)
    return np.asarray(smaller[smaller >= 0])
