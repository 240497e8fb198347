"""Plain ways to look at what paths leave, knowing nothing of how they were made."""

from __future__ import annotations

import numpy as np
import shapely

from carvegen.toolpaths.paths import Paths


def lines(paths: Paths) -> list[shapely.LineString]:
    """One line a path, a closed one with its closing side."""
    result = []
    for k in range(len(paths)):
        xy = paths.xyz[paths.start[k] : paths.start[k + 1], :2].tolist()
        result.append(shapely.LineString(xy + xy[:1] if paths.closed[k] else xy))
    return result


def swept(paths: Paths, half_mm: float, *, filled: bool = False) -> shapely.Geometry:
    """All that a round cutter of one width touches along the paths; inside their outlines too if `filled`."""
    short = [part for line in lines(paths) for part in _in_parts(line)]
    touched = shapely.union_all(shapely.buffer(np.asarray(short, dtype=object), half_mm, quad_segs=8))
    return shapely.union(touched, area(paths)) if filled else touched


def _in_parts(line: shapely.LineString, points: int = 8) -> list[shapely.LineString]:
    """The line in parts of so many points: a line that lies beside itself many times over is slow to buffer as one."""
    xy = shapely.get_coordinates(line)
    return [shapely.LineString(xy[k : k + points]) for k in range(0, max(len(xy) - 1, 1), points - 1)]


def area(paths: Paths) -> shapely.Geometry:
    """What closed paths enclose, by the even-odd rule."""
    whole = shapely.Polygon()
    for line in lines(paths):
        whole = shapely.symmetric_difference(whole, shapely.Polygon(line.coords))
    return whole


def land(block) -> shapely.Geometry:
    return shapely.difference(block.face, shapely.union_all([*block.cuts, *block.cut_outs]))


def enters(touched: shapely.Geometry, kept: shapely.Geometry) -> float:
    """How far a touched area reaches into what is kept: the largest disc of the overlap, across."""
    both = shapely.intersection(touched, kept)
    parts = [part for part in shapely.get_parts(both) if part.geom_type == "Polygon" and part.area > 1e-9]
    return max((2 * shapely.length(shapely.maximum_inscribed_circle(part)) for part in parts), default=0.0)


def segments(paths: Paths) -> np.ndarray:
    """Both ends of every straight piece, the lower first, to a thousandth of a millimetre."""
    pieces = []
    for line in lines(paths):
        xy = np.round(shapely.get_coordinates(line), 3)
        pieces += [tuple(sorted((tuple(a), tuple(b)))) for a, b in zip(xy[:-1].tolist(), xy[1:].tolist(), strict=True)]
    return pieces
