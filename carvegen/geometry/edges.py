"""The edges of many rings as flat arrays, pairs of discs that come near, and the little vector algebra for both."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.geometry import counted, lines, starts

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        Rings,
    )

__all__ = ["Edges", "Outline", "cross", "disc_pairs", "dot", "either", "foot", "near_pairs", "unit"]

_RATIO = 3.0  #: of the radii within one class: one tree is asked far quicker than two (measured)


def disc_pairs(xy: Floats, radius: Floats, apart: float) -> tuple[Indices, Indices]:
    """All pairs of discs nearer than `apart`, each once, in no order of their own.

    Discs are sought class by class of their sizes, so that few large ones do not widen the search for many small.
    """
    from scipy.spatial import cKDTree

    size = np.floor(np.log(radius / radius.min(initial=np.inf)) / np.log(_RATIO)).astype(int)
    classes = [np.flatnonzero(size == k) for k in np.unique(size)]
    trees = [cKDTree(xy[which], balanced_tree=False, compact_nodes=False) for which in classes]
    result = [(np.empty(0, dtype=np.int64),) * 2]
    for k, (one, tree) in enumerate(zip(classes, trees, strict=True)):
        same = tree.query_pairs(2 * radius[one].max() + apart, output_type="ndarray")
        result.append((one.take(same[:, 0]), one.take(same[:, 1])))
        for other, smaller in zip(classes[:k], trees[:k], strict=True):
            most = radius[one].max() + radius[other].max() + apart
            near = tree.sparse_distance_matrix(smaller, most, output_type="ndarray")
            result.append((one.take(near["i"]), other.take(near["j"])))
    i, j = (np.concatenate(side) for side in zip(*result, strict=True))
    away = xy.take(i, axis=0)
    away -= xy.take(j, axis=0)
    away *= away
    kept = np.flatnonzero(np.sqrt(away[:, 0] + away[:, 1]) < radius.take(i) + radius.take(j) + apart)
    return i.take(kept), j.take(kept)


_MANY_POINTS = 64  #: points of a ring that is sought through a tree of its own
_ROOM = 1e-6  #: for rounding, mm


@dataclass(frozen=True)
class Edges:
    """Edges of rings with the region on their left; edge k starts at point k of the rings."""

    a: Floats  #: starts, mm, (n, 2)
    b: Floats  #: ends, mm, (n, 2)
    ring: Indices  #: (n,)
    next: Indices  #: the edge that follows
    before: Indices  #: the edge that precedes
    juts: Mask  #: whether the corner at `a` juts into the region (interior angle over 180°)

    def inward(self, which: Indices) -> Floats:
        """Unit normals of some of the edges, into the region; (n, 2)."""
        along = unit(self.b[which] - self.a[which])
        return np.column_stack([-along[:, 1], along[:, 0]])

    def tree(self, which: Indices) -> shapely.STRtree:
        """A tree of some of the edges."""
        return shapely.STRtree(lines(self.a[which], self.b[which]))


class Outline:
    """Rings with the region on their left, and what is measured on all of them once."""

    def __init__(self, rings: Rings) -> None:
        self.rings = rings
        self._near: dict[float, Mask] = {}

    @cached_property
    def edges(self) -> Edges:
        """The edges of the rings, in the order of their points."""
        following = self.rings.edge_ends
        before = np.empty_like(following)
        before[following] = np.arange(len(following))
        a = self.rings.xy
        along = a[following] - a
        return Edges(a, a[following], self.rings.ring, following, before, cross(along[before], along) < 0)

    def near(self, limit: float) -> Mask:
        """Whether each ring comes within `limit` of another."""
        if limit not in self._near:
            near = np.zeros(len(self.rings), dtype=bool)
            i, j = self._discs_near(limit)
            asked, loop = np.unique(np.concatenate([i, j]), return_inverse=True)
            loops = self._loops(asked)
            shapely.prepare(loops[self.rings.sizes[asked] > _MANY_POINTS])  # of few points all are looked at as fast
            one, other = np.split(loop, 2)
            met = shapely.dwithin(loops[one], loops[other], limit)
            near[i[met]] = near[j[met]] = True
            self._near[limit] = near
        return self._near[limit]

    def _loops(self, which: Indices) -> NDArray[np.object_]:
        """Some of the rings as lines."""
        size = self.rings.sizes[which]
        point = np.repeat(self.rings.start[which], size) + counted(size)
        return np.asarray(shapely.linearrings(self.rings.xy[point], indices=np.repeat(np.arange(len(which)), size)))

    def _discs_near(self, limit: float) -> tuple[Indices, Indices]:
        """Pairs of rings, each once, whose discs come within `limit` of one another; of two the larger ring first."""
        size, start = self.rings.sizes, self.rings.start[:-1]
        xy = self.rings.xy
        middle = (np.minimum.reduceat(xy, start, axis=0) + np.maximum.reduceat(xy, start, axis=0)) / 2
        away = xy - self.rings.spread(middle)
        reach = np.sqrt(np.maximum.reduceat(away[:, 0] ** 2 + away[:, 1] ** 2, start))
        i, j = disc_pairs(middle, reach, limit + _ROOM)
        larger = size[i] >= size[j]
        return np.where(larger, i, j), np.where(larger, j, i)

    def bends_more(self, than: float) -> Mask:
        """Whether any stretch of each ring turns left by more than so much, radians; (rings,).

        No stretch turns further than all turns to the left together: most rings need no closer look.
        """
        more = self._turns_left > than
        doubtful = np.flatnonzero(more)
        more[doubtful] = self._bends(doubtful) > than
        return more

    @cached_property
    def _turns_left(self) -> Floats:
        """All turns to the left of each ring together, radians; (rings,)."""
        edges = self.edges
        left = np.flatnonzero(~edges.juts)
        before, along = (edges.b[k] - edges.a[k] for k in (edges.before[left], left))
        turn = np.arctan2(cross(before, along), dot(before, along))
        return np.bincount(edges.ring[left], turn, minlength=len(self.rings)).astype(np.float64)

    def _bends(self, which: Indices) -> Floats:
        """The most that any stretch of some of the rings turns left, in radians; (n,).

        The largest sum of a run of the turns, with each ring walked twice so that runs may pass its start.
        """
        edges, size = self.edges, self.rings.sizes[which]
        point = np.repeat(self.rings.start[which], size) + counted(size)
        before, along = (edges.b[k] - edges.a[k] for k in (edges.before[point], point))
        turn = np.arctan2(cross(before, along), dot(before, along))
        start = starts(size)[:-1]
        twice = np.repeat(start, 2 * size) + counted(2 * size) % np.repeat(size, 2 * size)
        ring = np.repeat(np.arange(len(size)), 2 * size)
        total = np.cumsum(turn[twice])
        apart = np.abs(turn[twice]).sum()  # so far below all earlier rings that each starts afresh
        before_it = np.concatenate([[0.0], total[:-1]]) - apart * ring
        rise = total - apart * ring - np.minimum.accumulate(before_it)
        return np.maximum.reduceat(rise, 2 * start)


def near_pairs(
    tree: shapely.STRtree, ends: tuple[Floats, Floats], sought: tuple[Floats, Floats | None], distance: float
) -> tuple[Indices, Indices]:
    """Pairs of places, or of stretches, and edges no further apart than `distance`: numbers of both, places' rising.

    What ``tree.query(..., predicate="dwithin")`` says, without an index of each place's own.

    Parameters
    ----------
    tree
        Of the edges.
    ends
        Both ends of each edge; (edges, 2) each.
    sought
        The places; of stretches their ends, (n, 2) each.
    """
    start, end = sought[0], sought[0] if sought[1] is None else sought[1]
    # a line from corner to corner has a box's bounds, and is made in a fourth of the time
    place, edge = tree.query(lines(np.minimum(start, end) - distance, np.maximum(start, end) + distance))
    c, d = ([side.take(edge) for side in each.T] for each in ends)
    a, b = ([side.take(place) for side in each.T] for each in (start, end))
    away = _from_edge(a, c, d)
    if sought[1] is not None:
        for point, one, other in ((b, c, d), (c, a, b), (d, a, b)):
            np.minimum(away, _from_edge(point, one, other), out=away)
        away[_crossing(a, b, c, d)] = 0
    kept = np.flatnonzero(away <= distance)
    return place[kept], edge[kept]


def _from_edge(point: Sequence[Floats], a: Sequence[Floats], b: Sequence[Floats]) -> Floats:
    """How far points lie from the edges beside them, x and y of each by itself; (n,)."""
    (x, y), (ax, ay), (bx, by) = point, a, b
    along_x, along_y = bx - ax, by - ay
    length2 = along_x * along_x + along_y * along_y
    safe = np.where(length2 > 0, length2, 1.0)
    share = np.where(length2 > 0, ((x - ax) * along_x + (y - ay) * along_y) / safe, 0.0)
    beside = np.abs(((ay - y) * along_x - (ax - x) * along_y) / safe) * np.sqrt(length2)
    end_x, end_y = np.where(share < 1, ax, bx) - x, np.where(share < 1, ay, by) - y
    return np.asarray(np.where((share > 0) & (share < 1), beside, np.sqrt(end_x * end_x + end_y * end_y)))


def _crossing(a: Sequence[Floats], b: Sequence[Floats], c: Sequence[Floats], d: Sequence[Floats]) -> Mask:
    """Whether the stretch from a to b crosses the one from c to d, x and y of each by itself; not of parallel ones."""
    along = b[0] - a[0], b[1] - a[1]
    other = d[0] - c[0], d[1] - c[1]
    apart = a[0] - c[0], a[1] - c[1]
    turn = along[0] * other[1] - along[1] * other[0]
    safe = np.where(turn == 0, np.nan, turn)
    one = (apart[1] * other[0] - apart[0] * other[1]) / safe
    two = (apart[1] * along[0] - apart[0] * along[1]) / safe
    return np.asarray((one >= 0) & (one <= 1) & (two >= 0) & (two <= 1))


def foot(point: Floats, a: Floats, b: Floats) -> Floats:
    """Where on the edge from `a` to `b` each point is nearest, as a share of its length 0…1; (n,)."""
    along = b - a
    length2 = np.maximum(dot(along, along), 1e-30)
    return np.asarray(np.clip(dot(point - a, along) / length2, 0, 1))


def unit(vector: Floats) -> Floats:
    """Vectors of length 1; those without length stay as they are."""
    return np.asarray(vector / np.maximum(np.hypot(vector[..., 0], vector[..., 1]), 1e-30)[..., None])


def cross(one: Floats, other: Floats) -> Floats:
    """The z component of the cross product: positive where `other` is to the left of `one`."""
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])


def either(pairs: Mask) -> Mask:
    """Whether one of two is true, (n, 2); numpy's `any` over so short an axis takes several times as long; (n,)."""
    return np.asarray(pairs[:, 0] | pairs[:, 1])


def dot(one: Floats, other: Floats) -> Floats:
    """The dot product; a sum over so short an axis takes numpy several times as long."""
    return np.asarray(one[..., 0] * other[..., 0] + one[..., 1] * other[..., 1])
