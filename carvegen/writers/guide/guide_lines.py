"""Lines on the hand guide: hatching over what goes through or is free, and the grain's arrow."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.writers.sheet import MARGIN_MM

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["arrow", "hatching", "level_lines"]

_HATCH_MM = 1.6  #: between hatching lines
_LEVEL_MM = 2.4  #: between level lines


def hatching(shapes: PolygonArray, way: int) -> Floats:
    """Slanting lines over `shapes`, through each: rising (1), or falling and twice as close (-1); (n, 4)."""
    if len(shapes) == 0:
        return np.empty((0, 4))
    left, bottom, right, top = shapely.total_bounds(shapes).tolist()
    height = top - bottom
    foot = np.arange(left - height, right, _HATCH_MM * math.sqrt(2) * (1 if way > 0 else 0.5))
    begin, end = (bottom, top) if way > 0 else (top, bottom)
    lines = np.column_stack([foot, np.full_like(foot, begin), foot + height, np.full_like(foot, end)])
    found = _inside(shapes, lines)
    small = shapes[_without(shapes, found)]
    middle = shapely.get_coordinates(shapely.point_on_surface(small))
    reach = shapely.length(small)[:, None] * np.array([1.0, way])
    ends = np.hstack([middle - reach, middle + reach])
    own = [_inside(small[k : k + 1], ends[k : k + 1]) for k in range(len(small))]
    return np.concatenate([found, *own])


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
