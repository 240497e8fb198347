"""Narrow places between outlines: where two walls face each other across less than a given width.

A neck is a chord inside the region whose ends can't be moved along the outline to make it shorter: at an
edge the chord stands square on it, at a corner that juts into the region it points between the two edges'
squares (a double normal; its middle is a pinch of the medial axis, source: blum-1967). Exact for polygons.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.geometry import lines
from carvegen.geometry.edges import (
    Edges,
    Outline,
    cross,
    dot,
    foot,
    unit,
)

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        Rings,
    )

__all__ = ["Necks", "necks", "necks_of"]

_TOUCH = 1e-9  #: closer than this, mm, two walls touch
_SQUARE = 1e-6  #: how far from square a chord may stand, as a cosine
_BY_BOUNDS = 4.0  #: limits: edges no longer than this are sought by their bounds
_ASKEW = 1e-4  #: room for directions where edges are sought, radians
_ROOM = 1e-6  #: and for places, mm


@dataclass(frozen=True)
class Necks:
    """Narrow places: chord ends, width, and the rings that the ends lie on; arrays of one length."""

    start: Floats  #: (n, 2), mm
    end: Floats  #: (n, 2), mm
    width: Floats  #: mm
    first: Indices  #: ring of the start
    second: Indices  #: ring of the end

    def __len__(self) -> int:
        return len(self.width)

    def chosen(self, which: Indices | Mask) -> Necks:
        """Some of the necks."""
        return Necks(self.start[which], self.end[which], self.width[which], self.first[which], self.second[which])

    @property
    def direction_deg(self) -> Floats:
        """The direction in which the narrow piece runs: square to the chord; (n,)."""
        away = self.end - self.start
        return np.degrees(np.arctan2(away[:, 1], away[:, 0])) + 90


def necks(outlines: Rings, limit: float) -> Necks:
    """All necks narrower than `limit` mm in the region on the left of `outlines`; may be empty."""
    return necks_of(Outline(outlines), limit)


def necks_of(outline: Outline, limit: float) -> Necks:
    """The same for an outline that is measured in other ways too."""
    edges = outline.edges
    chosen = np.flatnonzero(_may_have(outline, limit)[edges.ring])
    if len(chosen) == 0:
        return _none()
    tree = edges.tree(chosen)
    i, j = _facing(edges, chosen, tree, limit)
    apart = (edges.next[i] != j) & (edges.next[j] != i)
    necks = _double_normals(edges, i[apart], j[apart], limit)
    return _one_each(_unobstructed(necks, tree)) if len(necks) else necks


def _none() -> Necks:
    none, ids = np.empty(0), np.empty(0, dtype=np.int64)
    return Necks(np.empty((0, 2)), np.empty((0, 2)), none, ids, ids)


def _facing(edges: Edges, chosen: Indices, tree: shapely.STRtree, limit: float) -> tuple[Indices, Indices]:
    """Pairs of the chosen edges, the lower number first, that a neck may join: no neck is left out.

    A chord leaves an edge between the normals of that edge and of those beside it where the corner juts out. So
    short edges are sought only on that side, and both edges must look at one another.
    """
    views = _Views.of(edges, chosen)
    short = views.length <= _BY_BOUNDS * limit
    near, long = np.flatnonzero(short), np.flatnonzero(~short)
    sought = shapely.STRtree(tree.geometries[near]) if len(long) else tree  # long slanting ones have bounds too wide
    i, j = sought.query(views.boxes(near, limit))
    far, other = tree.query(tree.geometries[long], predicate="dwithin", distance=limit)
    i, j = np.concatenate([near[i], long[far]]), np.concatenate([near[j], other])
    kept = i != j
    i, j = i[kept], j[kept]
    kept = views.meet(i, j)
    i, j = np.sort(np.stack([i[kept], j[kept]]), axis=0)
    pair = _distinct(i * len(chosen) + j)
    i, j = np.divmod(pair, max(len(chosen), 1))
    return chosen[i], chosen[j]


def _distinct(numbers: Indices) -> Indices:
    """The numbers in order, each once."""
    numbers = np.sort(numbers)
    return numbers[np.diff(numbers, prepend=-1) > 0]


@dataclass(frozen=True)
class _Views:
    """Edges and the directions in which a chord may leave each: `half` to either side of `middle`, radians."""

    low: Floats  #: of each edge's bounds, (n, 2)
    high: Floats
    length: Floats
    middle: Floats
    half: Floats

    @classmethod
    def of(cls, edges: Edges, chosen: Indices) -> _Views:
        """The views of the chosen edges."""
        a, b = edges.a[chosen], edges.b[chosen]
        before, after = edges.before[chosen], edges.next[chosen]
        left = np.where(edges.juts[chosen], _turn(edges, before, chosen), 0.0)
        right = np.where(edges.juts[after], _turn(edges, chosen, after), 0.0)
        normal = np.arctan2((b - a)[:, 0], -(b - a)[:, 1])
        length = np.hypot(*(b - a).T)
        return cls(np.minimum(a, b), np.maximum(a, b), length, normal + (left - right) / 2, (left + right) / 2)

    def boxes(self, which: Indices, reach: float) -> NDArray[np.object_]:
        """Lines with the bounds of edges and of all that lies within `reach` of them in their directions."""
        half = self.half[which] + _ASKEW
        low, high = self.low[which] - _ROOM, self.high[which] + _ROOM
        for axis, along in enumerate((0.0, np.pi / 2)):
            off = np.abs((self.middle[which] - along + np.pi) % (2 * np.pi) - np.pi)
            high[:, axis] += reach * np.maximum(np.cos(np.maximum(off - half, 0)), 0)
            low[:, axis] += reach * np.minimum(np.cos(np.minimum(off + half, np.pi)), 0)
        return lines(low, high)

    def meet(self, i: Indices, j: Indices) -> Mask:
        """Whether two edges look at one another, or touch."""
        off = np.abs((self.middle[i] - self.middle[j]) % (2 * np.pi) - np.pi)
        kept = off <= self.half[i] + self.half[j] + _ASKEW
        away = np.flatnonzero(~kept)
        one, other = i[away], j[away]
        apart = (self.low[one] > self.high[other] + _ROOM) | (self.low[other] > self.high[one] + _ROOM)
        kept[away] = ~apart.any(axis=1)
        return np.asarray(kept)


def _turn(edges: Edges, one: Indices, other: Indices) -> Floats:
    """By how much each edge turns from the one before it, radians, either way."""
    before, along = edges.b[one] - edges.a[one], edges.b[other] - edges.a[other]
    return np.asarray(np.abs(np.arctan2(cross(before, along), dot(before, along))))


def _may_have(outline: Outline, limit: float) -> Mask:
    """Rings that may have a neck: near another ring, or bending back on themselves.

    The walls of a neck within one ring face each other, so the stretch of ring between them turns left by
    half a circle, all told: a ring with no such stretch has none.
    """
    return outline.near(limit) | (outline.bends_more(np.pi - 1e-6))


def _double_normals(edges: Edges, i: Indices, j: Indices, limit: float) -> Necks:
    start, end, at_i, at_j = _closest(edges, i, j)
    chord = end - start
    width = np.hypot(chord[:, 0], chord[:, 1])
    stands: Mask = (width <= _TOUCH) | (_stands(edges, i, at_i, chord, width) & _stands(edges, j, at_j, -chord, width))
    kept = stands & (width < limit)
    return Necks(start[kept], end[kept], width[kept], edges.ring[i[kept]], edges.ring[j[kept]])


def _stands(edges: Edges, k: Indices, at: Floats, chord: Floats, width: Floats) -> Mask:
    """Whether a chord leaves edge k at share `at` of its length as a neck's chord does."""
    course = chord / np.maximum(width, _TOUCH)[:, None]
    along = unit(edges.b[k] - edges.a[k])
    inward = cross(along, course) > 0
    square = np.abs(dot(along, course)) < _SQUARE
    corner = np.where(at > 0.5, edges.next[k], k)
    onward = unit(edges.b[corner] - edges.a[corner])
    back = unit(edges.a[edges.before[corner]] - edges.a[corner])
    between = (dot(course, onward) <= _SQUARE) & (dot(course, back) <= _SQUARE) & edges.juts[corner]
    return np.asarray(np.where((at > 0) & (at < 1), inward & square, between | (inward & square)))


def _closest(edges: Edges, i: Indices, j: Indices) -> tuple[Floats, Floats, Floats, Floats]:
    """The closest points of edges i and j, and where on each edge they lie (share of its length).

    Of two parallel edges side by side it is the middle of the stretch that they share.
    """
    a, b, c, d = edges.a[i], edges.b[i], edges.a[j], edges.b[j]
    tries = [
        (np.zeros(len(i)), foot(a, c, d)),
        (np.ones(len(i)), foot(b, c, d)),
        (foot(c, a, b), np.zeros(len(i))),
        (foot(d, a, b), np.ones(len(i))),
    ]
    on_i = np.stack([at for at, _ in tries])
    on_j = np.stack([at for _, at in tries])
    from_i = a + on_i[..., None] * (b - a)
    from_j = c + on_j[..., None] * (d - c)
    gap = np.hypot(*np.moveaxis(from_i - from_j, -1, 0))
    best = gap.argmin(axis=0)
    pick = np.arange(len(i))
    at_i, at_j = on_i[best, pick], on_j[best, pick]
    even = np.abs(gap - gap[best, pick]) < 1e-9
    several = (even.sum(axis=0) > 1) & (np.abs(cross(unit(b - a), unit(d - c))) < 1e-9)
    weight = even / even.sum(axis=0)
    at_i = np.where(several, (on_i * weight).sum(axis=0), at_i)
    at_j = np.where(several, (on_j * weight).sum(axis=0), at_j)
    return a + at_i[:, None] * (b - a), c + at_j[:, None] * (d - c), at_i, at_j


def _unobstructed(necks: Necks, tree: shapely.STRtree) -> Necks:
    """The necks whose chord meets no other wall on its way."""
    open_ = necks.width > 10 * _TOUCH
    inset = 1e-3 * (necks.end - necks.start)[open_]
    chords = lines(necks.start[open_] + inset, necks.end[open_] - inset)
    blocked = np.zeros(len(necks), dtype=bool)
    blocked[np.flatnonzero(open_)[tree.query(chords, predicate="intersects")[0]]] = True
    return necks.chosen(~blocked)


def _one_each(necks: Necks) -> Necks:
    """Each place once: a chord between two corners is met from both edges of each."""
    ends = np.stack([necks.start, necks.end], axis=1) + 0.0
    ends = np.sort(np.round(ends, 6).view(complex)[..., 0], axis=1)  # by x, then by y
    _, first = np.unique(ends, axis=0, return_index=True)
    return necks.chosen(np.sort(first))
