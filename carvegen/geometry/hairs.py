"""Hairs: gaps and pieces so narrow that nobody sees them, left by rounded numbers where outlines nearly agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["HAIR_MM", "gaps_closed", "without_hairs"]

HAIR_MM = 0.02  #: what is narrower was not drawn and not asked for: a fifth of what is seen
_LONG_MM = 0.5  #: a gap between two flats is so long
_NOISE_MM = 0.001  #: less is rounding


def gaps_closed(shape: BaseGeometry) -> BaseGeometry:
    """The shape with gaps closed where two flats nearly meet; all other outlines stay, point by point.

    Else what stands between such a gap and snow is too narrow, and mending cuts it away.
    """
    closed = shapely.buffer(shapely.buffer(shape, HAIR_MM / 2, join_style="mitre"), -HAIR_MM / 2, join_style="mitre")
    hairs = geometry.parts(shapely.difference(closed, shape))
    hairs = hairs[(shapely.length(hairs) > 2 * _LONG_MM) & (shapely.area(hairs) > _LONG_MM * _NOISE_MM)]
    if len(hairs) == 0:
        return shape
    whole: BaseGeometry = shapely.union(shape, shapely.union_all(shapely.buffer(hairs, _NOISE_MM, quad_segs=1)))
    return whole


def without_hairs(shape: BaseGeometry) -> PolygonArray:
    """The parts of a shape without what of them, or of the gaps between them, is narrower than a hair."""
    free = geometry.free_of_grid(shape)
    wide = shapely.buffer(shapely.buffer(free, -HAIR_MM / 2, join_style="mitre"), HAIR_MM, join_style="mitre")
    return geometry.parts(shapely.buffer(wide, -HAIR_MM / 2, join_style="mitre"))
