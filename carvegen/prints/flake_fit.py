"""Which flakes fit a picture that they fall on: clear of its outlines, or well across them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray

__all__ = ["settled"]

_TOUCHES_MM2 = 1e-3


def settled(flakes: PolygonArray, picture: BaseGeometry, limits: Limits) -> PolygonArray:
    """The flakes that, taken out of the picture, leave no sliver of it and no cut too small.

    A flake stays a land's width away from the outline or crosses it; what it takes of the picture is at least as
    large as the smallest cut, and what it leaves of it is nowhere newly narrower than the land.
    """
    if len(flakes) == 0 or shapely.is_empty(picture):
        return flakes
    outline = shapely.boundary(picture)
    shapely.prepare(outline)
    near = shapely.dwithin(flakes, outline, limits.land_mm)
    kept = ~near
    inner = np.flatnonzero(near)
    kept[inner] = _fits(flakes[inner], picture, outline, limits)
    return flakes[kept]


def _fits(flakes: PolygonArray, picture: BaseGeometry, outline: BaseGeometry, limits: Limits) -> Mask:
    crossing = shapely.intersects(flakes, outline)
    taken = shapely.area(shapely.intersection(flakes, picture))
    outside = taken < _TOUCHES_MM2  # a flake cut off by the outline itself only touches it
    large = (taken > 2 * limits.cut_mm**2) | outside
    grown = 2 * limits.land_mm * np.array([-1.0, -1.0, 1.0, 1.0])
    around = geometry.polygon_array(shapely.clip_by_rect(picture, *(bound + grown)) for bound in shapely.bounds(flakes))
    around = np.asarray(shapely.make_valid(around), dtype=object)
    window = geometry.offset(flakes, 1.5 * limits.land_mm, quad_segs=2)
    new = shapely.difference(_thin(shapely.difference(around, flakes), limits.land_mm), _thin(around, limits.land_mm))
    slivers = shapely.area(shapely.intersection(new, window)) > (limits.land_mm / 4) ** 2
    return np.asarray((outside | crossing) & large & (outside | ~slivers), dtype=bool)


def _thin(shapes: PolygonArray, width: float) -> PolygonArray:
    """Parts narrower than `width`, but not the corners that a disc of that width just doesn't fill; (n,)."""
    wide = geometry.offset(geometry.offset(shapes, -width / 2, quad_segs=4), 0.75 * width, quad_segs=4)
    return np.asarray(shapely.difference(shapes, wide), dtype=object)
