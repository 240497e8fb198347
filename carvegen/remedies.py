"""Shapes that mending lays on or takes away: stretches of land made wider, land too thin to last, cuts opened.

All with coordinates on the grid, so that overlays of them neither fail nor leave slivers.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.geometry import GRID_MM, parts

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["common", "lands", "less", "opened", "plus", "round_about", "too_thin"]

_MULTIPOLYGON = 6
_SEGMENTS = 16  #: of a quarter of a circle


def less(shape: BaseGeometry, taken: BaseGeometry) -> BaseGeometry:
    """A shape without another."""
    return _solid(shapely.difference(_solid(shape), _solid(taken), grid_size=GRID_MM))


def plus(*shapes: BaseGeometry) -> BaseGeometry:
    """Shapes united."""
    return _solid(shapely.union_all([_solid(its) for its in shapes], grid_size=GRID_MM))


def common(*shapes: BaseGeometry) -> BaseGeometry:
    """What shapes have in common."""
    return _solid(shapely.intersection_all([_solid(its) for its in shapes]))


def _solid(shape: BaseGeometry) -> BaseGeometry:
    """A shape without the lines and points in which others touched it."""
    if shapely.get_type_id(shape) <= _MULTIPOLYGON:
        return shape
    return shapely.MultiPolygon(parts(shape).tolist())


def round_about(shapes: BaseGeometry, by: float) -> BaseGeometry:
    """Everything not further than `by` from a shape; a little more, as its circles are drawn by polygons."""
    return shapely.buffer(shapes, by / math.cos(math.pi / 4 / _SEGMENTS), quad_segs=_SEGMENTS)


def lands(middles: Floats, run: Indices, width: float) -> BaseGeometry:
    """Land of a given width, mm, along its middle lines.

    Parameters
    ----------
    middles
        Points on the middle lines, (n, 2), one line after another.
    run
        The number of the line that each lies on, rising; a line may be a single point.
    """
    twice = np.asarray(shapely.linestrings(np.repeat(middles, 2, axis=0), indices=np.repeat(run, 2)), dtype=object)
    straightened = shapely.MultiLineString(list(shapely.simplify(twice, GRID_MM / 2)))
    return round_about(straightened, width / 2)


def too_thin(land: BaseGeometry, width: float) -> PolygonArray:
    """What of a land no disc of this width reaches from inside: thin lands, tips, and the corners of all others."""
    inner = shapely.buffer(land, -width / 2, quad_segs=_SEGMENTS)
    return parts(less(land, round_about(inner, width / 2)))


def opened(shape: BaseGeometry, shrunk: BaseGeometry, width: float) -> BaseGeometry:
    """What a round cutter of this width makes of a cut, `shrunk` being where its middle may go; may be empty."""
    return _solid(shapely.intersection(shape, round_about(shrunk, width / 2), grid_size=GRID_MM))
