"""Along the walls of cuts, in the direction that leaves them clean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.paths import Paths, from_rings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Indices, Mask, PolygonArray

__all__ = ["along_cleared", "climbing", "walls_near"]

_LINE = 1
_SHORTEST_MM = 0.01


def climbing(shapes: PolygonArray) -> tuple[Paths, Indices]:
    """A path at the face along every ring, with the number of the shape that it belongs to.

    The land lies on the left in print view, so on the right on the block, which is its mirror image: a
    spindle that turns clockwise then cuts downwards into what it takes off (climb milling, handbook).
    """
    rings = geometry.reversed_rings(geometry.rings(shapes))
    return from_rings(rings), rings.owner


def walls_near(parts: PolygonArray, near: NDArray[np.object_]) -> Paths:
    """The parts' outlines near what is left, with the land on the left in print view."""
    some = ~shapely.is_empty(near)
    parts, near = parts[some], near[some]
    outlines = shapely.boundary(shapely.orient_polygons(parts, exterior_cw=True))
    lines = shapely.get_parts(shapely.line_merge(shapely.intersection(outlines, near), directed=True))
    solid = (shapely.get_type_id(lines) == _LINE) & (shapely.length(lines) > _SHORTEST_MM)
    return _lines(lines[solid])


def along_cleared(walls: Paths, cleared: NDArray[np.object_]) -> Mask:
    """Which closed paths lie wholly in one of the shapes; (paths,)."""
    covered = np.zeros(len(walls), dtype=bool)
    closed = np.flatnonzero(walls.closed)
    point = np.flatnonzero(walls.closed[walls.owner])
    rings = np.asarray(shapely.linearrings(walls.xyz[point, :2], indices=np.searchsorted(closed, walls.owner[point])))
    covered[closed[shapely.STRtree(rings).query(cleared, predicate="covers")[1]]] = True
    return covered


def _lines(lines: NDArray[np.object_]) -> Paths:
    xy, owner = shapely.get_coordinates(lines, return_index=True)
    closed = np.asarray(shapely.is_closed(lines), dtype=bool)
    last = np.append(np.diff(owner) > 0, True) if len(owner) else np.zeros(0, dtype=bool)
    kept = ~(last & closed[owner])
    start = np.concatenate([[0], np.cumsum(np.bincount(owner[kept], minlength=len(lines)))])
    return Paths(np.column_stack([xy[kept], np.zeros(kept.sum())]), start, closed)
