"""Plain, slow twins of what the package does fast: other means to the same answer."""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import combinations

import numpy as np
import shapely

from carvegen.geometry import PolygonArray


def nearest(shapes: PolygonArray) -> float:
    """The smallest distance between any two shapes; all pairs, one after another."""
    return min((one.distance(other) for one, other in combinations(shapes, 2)), default=math.inf)


def widest_disc(shape: shapely.Polygon) -> float:
    """The diameter of the largest disc in a shape."""
    return 2 * shapely.maximum_inscribed_circle(shape, tolerance=1e-3).length


def narrow_places(region: shapely.Polygon, limit: float, *, step: int = 2) -> list[tuple[float, shapely.LineString]]:
    """Chords in a polygon, shorter than `limit`, that no small move of their ends makes shorter.

    For every pair of edges that don't meet: the shortest chord; kept if it stays in the region and if it is
    no longer than each of the 25 chords whose ends are moved along the outline, by two small steps either way.
    """
    walls = [np.asarray(ring.coords) for ring in (region.exterior, *region.interiors)]
    ring, place, size = np.array([(k, i, len(xy) - 1) for k, xy in enumerate(walls) for i in range(len(xy) - 1)]).T
    edges = shapely.linestrings(np.concatenate([np.stack([xy[:-1], xy[1:]], axis=1) for xy in walls]))
    one, other = np.triu_indices(len(edges), 1)
    away = place[other] - place[one]
    apart = (ring[one] != ring[other]) | (np.minimum(away % size[one], -away % size[one]) >= step)
    one, other = one[apart], other[apart]
    near = shapely.distance(edges[one], edges[other]) < limit
    result: dict[tuple, tuple[float, shapely.LineString]] = {}
    for a, b in zip(one[near].tolist(), other[near].tolist(), strict=True):
        chord, k, m = shapely.shortest_line(edges[a], edges[b]), ring[a], ring[b]
        if not _stays_inside(region, chord):
            continue
        if _is_shortest_hereabouts(region, chord, k, m):
            key = tuple(sorted(tuple(np.round(end, 5) + 0.0) for end in chord.coords))
            result[key] = (chord.length, chord)
    return sorted(result.values(), key=lambda pair: pair[0])


def _stays_inside(region: shapely.Polygon, chord: shapely.LineString) -> bool:
    inner = shapely.line_interpolate_point(chord, np.linspace(0.02, 0.98, 49), normalized=True)
    return bool(shapely.contains(region, inner).all())


def _is_shortest_hereabouts(region: shapely.Polygon, chord: shapely.LineString, k: int, m: int) -> bool:
    loops = (region.exterior, *region.interiors)
    one, other = shapely.points(chord.coords)
    starts, ends = list(_near(loops[k], one)), list(_near(loops[m], other))
    return all(a.distance(b) >= chord.length - 1e-9 for a in starts for b in ends)


def _near(loop: shapely.LinearRing, point: shapely.Point) -> Iterator[shapely.Point]:
    at = loop.project(point)
    for step in (-1e-2, -1e-3, 0.0, 1e-3, 1e-2):
        yield loop.interpolate((at + step) % loop.length)
