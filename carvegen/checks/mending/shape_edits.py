"""Shapes that mending lays on or takes away: stretches of land made wider, land too thin to last, cuts opened.

All with coordinates on the grid, so that overlays of them neither fail nor leave slivers.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.geometry import (
    GRID_MM,
    difference,
    free_of_grid,
    intersection,
    parts,
    solid,
    union,
)

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["common", "differ", "lands", "less", "opened", "opening", "plus", "round_about", "runs", "too_thin"]

_SEGMENTS = 16  #: of a quarter of a circle


def less(shape: BaseGeometry, taken: BaseGeometry) -> BaseGeometry:
    """A shape without another."""
    return difference(shape, taken)


def plus(*shapes: BaseGeometry) -> BaseGeometry:
    """Shapes united."""
    return union(*shapes)


def common(*shapes: BaseGeometry) -> BaseGeometry:
    """What shapes have in common."""
    return solid(shapely.intersection_all([solid(shape) for shape in shapes]))


def differ(one: BaseGeometry, other: BaseGeometry, by: float) -> bool:
    """Whether shapes differ by more than an area, mm²."""
    return float(shapely.area(less(one, other)) + shapely.area(less(other, one))) > by


def round_about(shapes: BaseGeometry, by: float) -> BaseGeometry:
    """Everything not further than `by` from a shape; a little more, as its circles are drawn by polygons."""
    wide: BaseGeometry = shapely.buffer(
        free_of_grid(shapes), by / math.cos(math.pi / 4 / _SEGMENTS), quad_segs=_SEGMENTS
    )
    return wide


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
    straightened = shapely.MultiLineString(list(shapely.simplify(twice, tolerance=GRID_MM / 2)))
    return round_about(straightened, width / 2)


def runs(middles: Floats, edge: Indices, gap: float) -> Indices:
    """The line that each of the middles of discs along walls lies on: a new one where edge or place leaps.

    Parameters
    ----------
    middles
        In the order of the walls, (n, 2).
    edge
        The edge of the outline that each disc stands on, (n,).
    gap
        How far apart neighbours of one line are at most, mm.

    Returns
    -------
    Indices
        (n,), from 0, rising.
    """
    if len(middles) == 0:
        return np.empty(0, dtype=np.int64)
    step = np.hypot(*np.diff(middles, axis=0).T)
    leaps = (np.diff(edge) > 1) | (step > gap)
    return np.concatenate([[0], np.cumsum(leaps)])


def too_thin(land: BaseGeometry, width: float) -> PolygonArray:
    """What of a land no disc of this width reaches from inside: thin lands, tips, and the corners of all others."""
    return parts(less(land, opening(land, width)))


def opening(shape: BaseGeometry, width: float) -> BaseGeometry:
    """What discs of this width reach of a shape from inside; a little more, as they are drawn by polygons."""
    return round_about(shapely.buffer(free_of_grid(shape), -width / 2, quad_segs=_SEGMENTS), width / 2)


def opened(shape: BaseGeometry, shrunk: BaseGeometry, width: float) -> BaseGeometry:
    """What a round cutter of this width makes of a cut, `shrunk` being where its middle may go; may be empty."""
    return intersection(shape, round_about(shrunk, width / 2))
