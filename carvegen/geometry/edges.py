"""The edges of many rings as flat arrays, and the little vector algebra that goes with them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.geometry import lines

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        Rings,
    )

__all__ = ["Edges", "Outline", "counted", "cross", "foot", "unit"]

_MANY = 64  #: points of a ring that is sought through a tree of its own


@dataclass(frozen=True)
class Edges:
    """Edges of rings with the region on their left; edge k starts at point k of the rings."""

    a: Floats  #: starts, mm, (n, 2)
    b: Floats  #: ends, mm, (n, 2)
    ring: Indices  #: (n,)
    next: Indices  #: the edge that follows
    before: Indices  #: the edge that precedes
    juts: Mask  #: whether the corner at `a` juts into the region (interior angle over 180°)

    @property
    def inward(self) -> Floats:
        """Unit normals into the region; (n, 2)."""
        along = unit(self.b - self.a)
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
        ring = np.repeat(np.arange(len(self.rings)), np.diff(self.rings.start))
        return Edges(a, a[following], ring, following, before, cross(along[before], along) < 0)

    def near(self, limit: float) -> Mask:
        """Whether each ring comes within `limit` of another."""
        if limit not in self._near:
            near = np.zeros(len(self.rings), dtype=bool)
            loops = np.asarray(shapely.linearrings(self.edges.a, indices=self.edges.ring), dtype=object)
            i, j = self._bounds_near(loops, limit)
            shapely.prepare(loops[np.diff(self.rings.start) > _MANY])  # of few points all are looked at as fast
            met = shapely.dwithin(loops[i], loops[j], limit)
            near[i[met]] = near[j[met]] = True
            self._near[limit] = near
        return self._near[limit]

    def _bounds_near(self, loops: NDArray[np.object_], limit: float) -> tuple[Indices, Indices]:
        """Pairs of rings, each once, whose bounds come within `limit` of one another; of two the larger ring first."""
        size, start = np.diff(self.rings.start), self.rings.start[:-1]
        if not len(size):
            return np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
        low = np.minimum.reduceat(self.rings.xy, start, axis=0) - limit
        high = np.maximum.reduceat(self.rings.xy, start, axis=0) + limit
        i, j = shapely.STRtree(loops).query(shapely.box(*low.T, *high.T))
        larger = (size[i] > size[j]) | ((size[i] == size[j]) & (i < j))
        return i[larger], j[larger]

    @cached_property
    def bends(self) -> Floats:
        """The most that any stretch of each ring turns left, in radians; (rings,).

        The largest sum of a run of the turns, with each ring walked twice so that runs may pass its start.
        """
        edges = self.edges
        along = edges.b - edges.a
        turn = np.arctan2(cross(along[edges.before], along), (along[edges.before] * along).sum(axis=1))
        size = np.diff(self.rings.start)
        twice = np.repeat(self.rings.start[:-1], 2 * size) + counted(2 * size) % np.repeat(size, 2 * size)
        ring = np.repeat(np.arange(len(size)), 2 * size)
        total = np.cumsum(turn[twice])
        apart = 4 * (np.abs(turn).sum() + 1)  # so far below all earlier rings that each starts afresh
        before = np.concatenate([[0.0], total[:-1]]) - apart * ring
        rise = total - apart * ring - np.minimum.accumulate(before)
        return np.maximum.reduceat(rise, 2 * self.rings.start[:-1]) if len(size) else np.empty(0)


def counted(sizes: Indices) -> Indices:
    """0, 1, … for each of the runs of these sizes, one after another."""
    return np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)


def foot(point: Floats, a: Floats, b: Floats) -> Floats:
    """Where on the edge from `a` to `b` each point is nearest, as a share of its length 0…1; (n,)."""
    along = b - a
    length2 = np.maximum((along**2).sum(axis=1), 1e-30)
    return np.asarray(np.clip(((point - a) * along).sum(axis=1) / length2, 0, 1))


def unit(vector: Floats) -> Floats:
    """Vectors of length 1; those without length stay as they are."""
    return np.asarray(vector / np.maximum(np.hypot(vector[..., 0], vector[..., 1]), 1e-30)[..., None])


def cross(one: Floats, other: Floats) -> Floats:
    """The z component of the cross product: positive where `other` is to the left of `one`."""
    return np.asarray(one[..., 0] * other[..., 1] - one[..., 1] * other[..., 0])
