"""Local width of a region along its outline: the largest disc inside that touches each place.

At a place p of an edge with inward normal n the disc touches the outline at p and somewhere else first. A line
at distance d from p, with the unit normal m from it towards p, is touched by the disc of radius
``r = d / (1 - n·m)``; a point q by ``r = |q - p|² / (2 n·(q - p))``. The smallest over all edges is the
disc: closed forms, no iteration (the shrinking ball takes points instead, source: shrinking-ball).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from carvegen.geometry import counted, lines
from carvegen.geometry.edges import (
    Edges,
    Outline,
    cross,
    dot,
    near_pairs,
)

if TYPE_CHECKING:
    import shapely

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        Rings,
    )

__all__ = ["FINE", "Widths", "first_narrow", "local_widths", "local_widths_of"]

_CHUNK = 100_000  #: places measured at a time, to bound memory
_PAIRS = 16_384  #: of a place and an edge, at a time: they stay in the processor's cache
_LEVEL = 1e-9  #: what is no farther off, or stands no more askew, is level
_COARSE = 3  #: places to a limit
_FIRST_FEW = 4  #: places alike that are measured first, then twice as many
_LONG_LIMITS = 8  #: limits: of longer edges only the stretches near others are measured
FINE = 32  #: parts of a piece between narrow and wide
_MOST_FINE = 200_000  #: of such parts in all: a block full of narrow places needs no finer lengths
_ALIKE = 1.004  #: of discs no larger than this against the smallest, the one across the region counts


@dataclass(frozen=True)
class Widths:
    """Places on an outline where the region is narrower than a limit; arrays of one length."""

    at: Floats  #: places, mm, (n, 2)
    across: Floats  #: where the disc touches on the other side, (n, 2)
    centre: Floats  #: of the disc, (n, 2)
    width: Floats  #: the disc's diameter
    facing_deg: Floats  #: angle at the centre between the two touching points: 180 between parallel walls
    edge: Indices  #: the edge that the place lies on
    other: Indices  #: the edge that it faces
    length: Floats  #: length of outline that the place stands for, mm
    piece: Indices  #: number of the piece of outline; only of use while measuring

    def __len__(self) -> int:
        return len(self.width)

    def chosen(self, which: Indices | Mask) -> Widths:
        """Some of the places."""
        return Widths(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    def with_more(self, other: Widths) -> Widths:
        """These places, then the others."""
        pairs = {name: (getattr(self, name), getattr(other, name)) for name in self.__dataclass_fields__}
        return Widths(**{name: np.concatenate(pair) for name, pair in pairs.items()})

    @property
    def direction_deg(self) -> Floats:
        """The direction in which the narrow piece runs: square to the line between the touching points."""
        away = self.across - self.at
        return np.asarray(np.degrees(np.arctan2(away[:, 1], away[:, 0])) + 90)


def local_widths(
    outlines: Rings,
    limit: float,
    *,
    limit_at: Callable[[Floats], Floats] | None = None,
    sharper_deg: float = 90.0,
) -> Widths:
    """Places where the region on the left of `outlines` is narrower than it may be; may be empty.

    Parameters
    ----------
    limit
        The largest width that is asked anywhere, mm.
    limit_at
        The width asked of a piece that runs in a direction in degrees; `limit` everywhere if not given.
    sharper_deg
        Corners of the region at least this blunt are no narrow places: walls that meet at an angle a face
        each other by 180° - a.

    Notes
    -----
    Places lie a third of the limit apart, and where narrow meets wide much closer: the lengths of narrow
    stretches are right to a hundredth of the limit.
    """
    return local_widths_of(Outline(outlines), limit, limit_at=limit_at, sharper_deg=sharper_deg)


def local_widths_of(
    outline: Outline,
    limit: float,
    *,
    limit_at: Callable[[Floats], Floats] | None = None,
    sharper_deg: float = 90.0,
    fine: int = FINE,
) -> Widths:
    """The same for an outline that is measured in other ways too.

    A piece between narrow and wide is measured in so many `fine` parts.
    """
    edges = outline.edges
    turns = np.pi - np.radians(sharper_deg)
    rings = outline.near(limit) | outline.bends_more(turns - 1e-6)
    ruler = _Ruler(edges, np.flatnonzero(rings[edges.ring]), limit, limit_at, sharper_deg)
    coarse = ruler.in_reach(_cut_up(edges, ruler.chosen, limit / _COARSE))
    result = ruler.measured(coarse)
    narrow = np.zeros(len(coarse), dtype=bool)
    narrow[result.piece] = True
    limits = _beside_other(coarse, edges, narrow)
    times = _parts_of_each(int(limits.sum()), fine)
    parts = coarse.split(limits, times)
    return result.chosen(~limits[result.piece]).with_more(ruler.measured(parts, run=times))


def _parts_of_each(count: int, fine: int) -> int:
    """In how many parts each of so many pieces is measured: `fine`; of many pieces fewer, but no fewer than one."""
    return min(max(_MOST_FINE // max(count, 1), 1), fine)


def first_narrow(outlines: Rings, limit: float, alike: Callable[[Floats, Floats], Indices]) -> Widths:
    """Of places on the outlines that are alike, the first at which the region is narrower than `limit`; may be empty.

    Places are measured only until one of their like is narrow: in a block full of thin land few are.

    Parameters
    ----------
    alike
        Numbers from 0, of places and unit normals into the region, (n, 2) each: those of one number are alike; (n,).

    Notes
    -----
    Places lie a third of the limit apart, and narrow is as in `local_widths`.
    """
    outline = Outline(outlines)
    edges = outline.edges
    rings = outline.near(limit) | outline.bends_more(np.pi / 2 - 1e-6)
    ruler = _Ruler(edges, np.flatnonzero(rings[edges.ring]), limit, None, 90.0)
    pieces = ruler.in_reach(_cut_up(edges, ruler.chosen, limit / _COARSE))
    kind = alike(*ruler.places(pieces, np.arange(len(pieces))))
    order = np.argsort(kind, kind="stable")
    nth = np.empty_like(order)
    nth[order] = counted(np.bincount(kind))
    wanted = np.ones(kind.max(initial=-1) + 1, dtype=bool)
    result = ruler.measured(pieces.chosen(np.empty(0, dtype=np.int64)))
    low, high = 0, _FIRST_FEW
    while (left := wanted[kind] & (nth >= low)).any():
        part = np.flatnonzero(left & (nth < high))
        narrow = ruler.measured(pieces.chosen(part))
        piece = part[narrow.piece]
        first = np.unique(kind[piece], return_index=True)[1]
        result = result.with_more(replace(narrow, piece=piece).chosen(first))
        wanted[kind[piece]] = False
        low, high = high, high << 1
    return result.chosen(np.argsort(result.piece))


@dataclass(frozen=True)
class _Pieces:
    """Pieces of edges, one after another along each ring."""

    edge: Indices
    low: Floats  #: start, as a share of the edge
    high: Floats

    def __len__(self) -> int:
        return len(self.edge)

    def chosen(self, which: Indices) -> _Pieces:
        """Some of the pieces."""
        return _Pieces(self.edge[which], self.low[which], self.high[which])

    def split(self, which: Mask, times: int) -> _Pieces:
        """Each of some of the pieces in `times` equal parts."""
        edge = np.repeat(self.edge[which], times)
        low, high = np.repeat(self.low[which], times), np.repeat(self.high[which], times)
        part = np.tile(np.arange(times), int(which.sum()))
        step = (high - low) / times
        return _Pieces(edge, low + part * step, low + (part + 1) * step)


def _cut_up(edges: Edges, chosen: Indices, step: float) -> _Pieces:
    """The chosen edges in equal pieces no longer than `step`."""
    whole = np.hypot(*(edges.b[chosen] - edges.a[chosen]).T)
    pieces = np.maximum(np.ceil(whole / step), 1).astype(np.int64)
    edge: Indices = np.repeat(chosen, pieces).astype(np.int64)
    place, count = counted(pieces), np.repeat(pieces, pieces)
    return _Pieces(edge, place / count, (place + 1) / count)


def _beside_other(pieces: _Pieces, edges: Edges, narrow: Mask) -> Mask:
    """Pieces that are narrow beside one that is not, or the other way round, along the ring."""
    ring = edges.ring[pieces.edge]
    first = np.flatnonzero(np.diff(ring, prepend=-1))
    after = np.arange(1, len(ring) + 1)
    after[np.append(first[1:], len(ring))[: len(first)] - 1] = first
    differs = narrow != narrow[after]
    beside: Mask = differs.copy()
    beside[after[differs]] = True
    return beside


@dataclass(frozen=True)
class _Ruler:
    """Measures the discs at places of the chosen edges against all of them."""

    edges: Edges
    chosen: Indices
    limit: float
    limit_at: Callable[[Floats], Floats] | None
    sharper_deg: float

    @cached_property
    def tree(self) -> shapely.STRtree:
        return self.edges.tree(self.chosen)

    @cached_property
    def _ends(self) -> tuple[Floats, Floats]:
        """Both ends of the chosen edges."""
        return self.edges.a[self.chosen], self.edges.b[self.chosen]

    def in_reach(self, pieces: _Pieces) -> _Pieces:
        """The pieces without those of long edges beside which nothing lies, within the limit and one piece more."""
        edges, limit = self.edges, self.limit
        along = edges.b - edges.a
        length = np.sqrt(along[:, 0] ** 2 + along[:, 1] ** 2)
        own = pieces.edge[np.flatnonzero(np.diff(pieces.edge, prepend=-1))]
        long = own[length[own] > _LONG_LIMITS * limit]
        if len(long) == 0:
            return pieces
        which, near = self.tree.query(lines(edges.a[long], edges.b[long]), predicate="dwithin", distance=limit)
        one, other = long[which], self.chosen[near]
        one, other = one[one != other], other[one != other]
        direction = along[one] / length[one, None]
        share = np.stack([dot(end[other] - edges.a[one], direction) for end in (edges.a, edges.b)])
        first = np.searchsorted(pieces.edge, np.arange(len(length) + 1))
        count = np.diff(first)
        step = length[one] / count[one]
        low = np.floor((share.min(axis=0) - limit) / step).astype(np.int64) - 1
        high = np.ceil((share.max(axis=0) + limit) / step).astype(np.int64) + 1
        change = np.zeros(len(pieces) + 1, dtype=np.int64)
        np.add.at(change, first[one] + np.clip(low, 0, count[one]), 1)
        np.add.at(change, first[one] + np.clip(high, 0, count[one]), -1)
        kept = (np.cumsum(change[:-1]) > 0) | (length[pieces.edge] <= _LONG_LIMITS * limit)
        return pieces.chosen(np.flatnonzero(kept))

    def places(self, pieces: _Pieces, part: Indices) -> tuple[Floats, Floats]:
        """The middles of some of the pieces, and the unit normals into the region there; (n, 2) each."""
        edges, edge = self.edges, pieces.edge[part]
        along = edges.b[edge] - edges.a[edge]
        return edges.a[edge] + ((pieces.low + pieces.high)[part] / 2)[:, None] * along, edges.inward(edge)

    def measured(self, pieces: _Pieces, run: int = 1) -> Widths:
        """The narrow ones of the pieces, each measured in its middle; every `run` of them lie one after another."""
        chunk = _CHUNK - _CHUNK % run
        result = [
            self._measured(pieces, np.arange(start, min(start + chunk, len(pieces))), run)
            for start in range(0, max(len(pieces), 1), chunk)
        ]
        every = result[0]
        for more in result[1:]:
            every = every.with_more(more)
        asked = self.limit if self.limit_at is None else self.limit_at(every.direction_deg)
        return every.chosen((every.width < asked) & (every.facing_deg > 180 - self.sharper_deg + 1e-6))

    def _measured(self, pieces: _Pieces, part: Indices, run: int) -> Widths:
        edges, edge = self.edges, pieces.edge[part]
        along = edges.b[edge] - edges.a[edge]
        at, inward = self.places(pieces, part)
        half = self.limit / 2
        place, near = self._near(at + inward * half, edge, run)
        radius = self._radii(at, inward, place, near)
        smallest = np.full(len(at), np.inf)
        np.minimum.at(smallest, place, radius)
        small = (radius <= np.minimum(smallest[place] * _ALIKE, half)) & (smallest[place] < half)
        place, near = place[small], near[small]
        touch = _disc(at[place], inward[place], edges.a[near], edges.b[near])[1]
        middle = _centre(at, inward, smallest, place)
        facing = _angle(at[place] - middle, touch - middle)
        order = np.lexsort((-facing, place))
        first = order[np.flatnonzero(np.diff(place[order], prepend=-1))]
        which = place[first]
        return Widths(
            at=at[which],
            across=touch[first],
            centre=_centre(at, inward, smallest, which),
            width=2 * smallest[which],
            facing_deg=facing[first],
            edge=edge[which],
            other=near[first],
            length=((pieces.high - pieces.low)[part] * np.hypot(*along.T))[which],
            piece=part[which],
        )

    @cached_property
    def _sides(self) -> tuple[Floats, ...]:
        """Of each edge x and y of both ends and of the direction, and the length."""
        along = self.edges.b - self.edges.a
        length = np.hypot(along[:, 0], along[:, 1])
        along /= np.maximum(length, 1e-30)[:, None]
        ends = (side.copy() for each in (self.edges.a, self.edges.b, along) for side in each.T)
        return (*ends, length)

    def _radii(self, at: Floats, inward: Floats, place: Indices, near: Indices) -> Floats:
        """`_disc`'s radius for each pair of a place and an edge, some pairs at a time."""
        places = [side.copy() for each in (at, inward) for side in each.T]
        radius = np.empty(len(place))
        for first in range(0, len(place), _PAIRS):
            some = slice(first, first + _PAIRS)
            of_place = [side.take(place[some]) for side in places]
            radius[some] = _radius(of_place, [side.take(near[some]) for side in self._sides])
        return radius

    def _near(self, centres: Floats, own: Indices, run: int) -> tuple[Indices, Indices]:
        """Which other edges the largest disc at each place may reach: any that one of its run reaches."""
        first, half = slice(None, None, run), self.limit / 2
        which, near = near_pairs(
            self.tree, self._ends, (centres[first], centres[run - 1 :: run] if run > 1 else None), half
        )
        near = self.chosen[near]
        other = near != own[first][which]
        which, near = which[other], near[other]
        return (which[:, None] * run + np.arange(run)).ravel(), np.repeat(near, run)


def _centre(at: Floats, inward: Floats, radius: Floats, which: Indices) -> Floats:
    return np.asarray(at[which] + inward[which] * radius[which, None])


def _radius(places: Sequence[Floats], sides: Sequence[Floats]) -> Floats:
    """`_disc`'s radius alone, digit for digit: each axis by itself.

    Parameters
    ----------
    places
        x and y of places, and of their normals.
    sides
        x and y of both ends of the edge beside each place, and of its direction, and its length.
    """
    x, y, to_x, to_y = places
    ax, ay, bx, by, along_x, along_y, length = sides
    away = (x - ax) * -along_y + (y - ay) * along_x
    below = away < 0
    mx, my = np.where(below, along_y, -along_y), np.where(below, -along_x, along_x)
    away = np.abs(away)
    slope = 1 - (to_x * mx + to_y * my)
    with np.errstate(divide="ignore", invalid="ignore"):
        line = away / slope
        share = (x + (to_x - mx) * line - ax) * along_x + (y + (to_y - my) * line - ay) * along_y
        on = (slope > _LEVEL) & (away > _LEVEL) & (share >= 0) & (share <= length)
    radius = np.where(on, line, np.inf)
    for end_x, end_y in ((ax, ay), (bx, by)):
        to_end_x, to_end_y = end_x - x, end_y - y
        ahead = to_end_x * to_x + to_end_y * to_y
        reach = (to_end_x * to_end_x + to_end_y * to_end_y) / (2 * np.maximum(ahead, _LEVEL))
        np.minimum(radius, reach, out=radius, where=ahead > _LEVEL)
    return radius


def _disc(p: Floats, n: Floats, a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Radius of the disc that touches p along normal n and the edge from a to b, and where; inf if none does."""
    along = b - a
    length = np.hypot(along[:, 0], along[:, 1])
    along /= np.maximum(length, 1e-30)[:, None]
    side = np.column_stack([-along[:, 1], along[:, 0]])
    away = dot(p - a, side)
    m = np.where(away[:, None] < 0, -side, side)
    slope = 1 - dot(n, m)
    with np.errstate(divide="ignore", invalid="ignore"):
        line = np.abs(away) / slope
        touch = p + (n - m) * line[:, None]
        share = dot(touch - a, along)
        on = (slope > _LEVEL) & (np.abs(away) > _LEVEL) & (share >= 0) & (share <= length)
        radii = np.stack([np.where(on, line, np.inf), _corner(p, n, a), _corner(p, n, b)])
    best = radii.argmin(axis=0)
    where = np.stack([touch, a, b])[best, np.arange(len(p))]
    return radii[best, np.arange(len(p))], where


def _corner(p: Floats, n: Floats, q: Floats) -> Floats:
    away = q - p
    ahead = dot(away, n)
    return np.asarray(np.where(ahead > _LEVEL, dot(away, away) / (2 * np.maximum(ahead, _LEVEL)), np.inf))


def _angle(one: Floats, other: Floats) -> Floats:
    return np.asarray(np.degrees(np.abs(np.arctan2(cross(one, other), dot(one, other)))))
