"""Lines led square over an edge: a cut that leaves the block at a slant would leave a splinter beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.strokes import Strokes, spans

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["squared"]

_HEADED = np.cos(np.radians(45))  #: a line is led out if it heads for the edge at this angle from square at most
_BEND = 0.35  #: of the way to the edge: half of its bend


def squared(strokes: Strokes, area: BaseGeometry, *, before_mm: float, beyond_mm: float) -> tuple[Strokes, Indices]:
    """The lines as far as they lie `before_mm` inside the area, led out from there by the shortest way if they head so.

    Returns
    -------
    Strokes
        Each stretch inside is a line of its own; what leads out bends, crosses the edge square to it and ends
        `beyond_mm` outside.
    Indices
        For each point the given point that it comes from; (n,).
    """
    inner = shapely.buffer(area, -before_mm, join_style="mitre")
    shapely.prepare(inner)
    inside = np.asarray(shapely.contains_xy(inner, strokes.xy[:, 0], strokes.xy[:, 1]))
    first, last = spans(strokes, inside[:-1] & inside[1:])
    size = last - first + 1
    point = np.repeat(first, size) + geometry.counted(size)
    run = np.repeat(np.arange(len(first)), size)
    lots = [(run, point.astype(float), point, strokes.xy[point])]
    for ends, direction in ((first, -1), (last, 1)):
        leads, path = _out(strokes, area, ends, direction, beyond_mm)
        for step in range(path.shape[1]):
            order = ends[leads] + direction * (step + 1) / (path.shape[1] + 1)
            lots.append((np.flatnonzero(leads), order, ends[leads], path[leads, step]))
    owner, order, source, xy = (np.concatenate(column) for column in zip(*lots, strict=True))
    place = np.lexsort((order, owner))
    return Strokes(xy[place], owner[place], strokes.half[source[place]]), source[place]


def _cut_short(strokes: Strokes, ends: Indices, step: int) -> Mask:
    """Whether the line goes on beyond each of these points."""
    beyond = np.clip(ends + step, 0, len(strokes) - 1)
    return np.asarray((strokes.line[beyond] == strokes.line[ends]) & (beyond != ends))


def _out(strokes: Strokes, area: BaseGeometry, ends: Indices, direction: int, beyond_mm: float) -> tuple[Mask, Floats]:
    """Whether lines go on over the edge at their ends, and the path out: a bend, then straight; (n, points, 2)."""
    xy = strokes.xy[ends]
    heading = _unit(xy - strokes.xy[ends - direction])
    near = shapely.get_coordinates(shapely.shortest_line(geometry.dots(xy), shapely.boundary(area)))[1::2]
    out, far = _unit(near - xy), np.hypot(*(near - xy).T)[:, None]
    leads = _cut_short(strokes, ends, direction) & ((heading * out).sum(axis=1) >= _HEADED)
    bend = _BEND * far
    path = [xy + bend * (2 * t * (1 - t) * heading + t**2 * (heading + out)) for t in (0.25, 0.5, 0.75, 1.0)]
    straight = far - ((path[-1] - xy) * out).sum(axis=1, keepdims=True) + beyond_mm
    return leads, np.stack([*path, path[-1] + straight * out], axis=1)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / np.maximum(np.hypot(vector[:, 0], vector[:, 1]), 1e-12)[:, None])
