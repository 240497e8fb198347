"""Along the walls of cuts, in the direction that leaves them clean."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.paths import Paths, from_rings, no_paths, picked

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = ["along_cleared", "climbing", "let_in", "walls_near"]

_LINE = 1
_SHORTEST_MM = 0.01
_SAME_MM = 1e-6


def climbing(shapes: PolygonArray) -> tuple[Paths, Indices]:
    """A path at the face along every ring, with the number of the shape that it belongs to.

    The land lies on the left in print view, hence on the right on the block, which is its mirror image: a
    spindle that turns clockwise then cuts downwards into what it takes off (climb milling, handbook).
    """
    rings = geometry.reversed_rings(geometry.rings(shapes))
    return from_rings(rings), rings.owner


def walls_near(parts: PolygonArray, near: NDArray[np.object_]) -> Paths:
    """The parts' outlines near what is left, with the land on the left in print view."""
    some = ~shapely.is_empty(near)
    parts, near = parts[some], near[some]
    outlines = shapely.boundary(shapely.orient_polygons(parts, exterior_cw=True))
    ways = shapely.get_parts(shapely.line_merge(shapely.intersection(outlines, near), directed=True))
    solid = (shapely.get_type_id(ways) == _LINE) & (shapely.length(ways) > _SHORTEST_MM)
    return _lines(ways[solid])


def along_cleared(walls: Paths, cleared: NDArray[np.object_]) -> Mask:
    """Which closed paths lie wholly in one of the shapes; (paths,)."""
    found = np.zeros(len(walls), dtype=bool)
    its = np.flatnonzero(walls.closed)
    point = np.flatnonzero(walls.closed[walls.owner])
    rings = np.asarray(shapely.linearrings(walls.xyz[point, :2], indices=np.searchsorted(its, walls.owner[point])))
    found[its[shapely.STRtree(rings).query(cleared, predicate="covers")[1]]] = True
    return found


def let_in(walls: Paths, cleared: Paths, depth_mm: float, room: PolygonArray, *, most_mm: float) -> tuple[Paths, Mask]:
    """Closed paths followed once at full depth, each from a place where the cutter has been at that depth before.

    It goes down there through air, straight on to the path, and once round.

    Parameters
    ----------
    walls
        Closed paths at the face.
    cleared
        What the cutter has followed before.
    room
        Where its middle may go: the way to the path lies in it.
    most_mm
        How long that way may be.

    Returns
    -------
    tuple
        Open paths that begin at that depth, and which of the walls are let in, (walls,): one path for each of them.
    """
    been = cleared.xyz[cleared.xyz[:, 2] < -depth_mm + _SAME_MM, :2]
    if not len(walls) or not len(been):
        return no_paths(), np.zeros(len(walls), dtype=bool)
    xy, first = walls.xyz[:, :2], walls.start[:-1]
    _, nearest = shapely.STRtree(geometry.dots(been)).query_nearest(geometry.dots(xy), all_matches=False)
    far = np.linalg.norm(been[nearest] - xy, axis=1)
    begin = np.lexsort([far, walls.owner])[first]
    ways = geometry.lines(been[nearest[begin]], xy[begin])
    found = walls.closed & (far[begin] <= most_mm) & (far[begin] > _SAME_MM)
    found &= np.isin(np.arange(len(walls)), shapely.STRtree(ways).query(room, predicate="covers")[1])
    its = np.flatnonzero(found)
    return _led(picked(walls, its), begin[its] - first[its], been[nearest[begin[its]]], -depth_mm), found


def _led(rings: Paths, begin: Indices, leads: Floats, z_mm: float) -> Paths:
    """Open paths at one height: from a place of its own each to a point of its ring, and once round."""
    count = np.diff(rings.start)
    start = np.concatenate([[0], np.cumsum(count + 2)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], count + 2)
    own = np.repeat(np.arange(len(rings)), count + 2)
    xy = rings.xyz[rings.start[own] + (within - 1 + begin[own]) % count[own], :2]
    xy[start[:-1]] = leads
    return Paths(np.column_stack([xy, np.full(len(xy), z_mm)]), start, np.zeros(len(rings), dtype=bool))


def _lines(ways: NDArray[np.object_]) -> Paths:
    xy, owner = shapely.get_coordinates(ways, return_index=True)
    closed = np.asarray(shapely.is_closed(ways), dtype=bool)
    last = np.append(np.diff(owner) > 0, True) if len(owner) else np.zeros(0, dtype=bool)
    kept = ~(last & closed[owner])
    start = np.concatenate([[0], np.cumsum(np.bincount(owner[kept], minlength=len(ways)))])
    return Paths(np.column_stack([xy[kept], np.zeros(kept.sum())]), start, closed)
