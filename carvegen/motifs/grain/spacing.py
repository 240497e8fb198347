"""Room for strokes: which parts of lines can be cut, and how wide, so that the land between them holds.

Two lines share the room between them: if segments i and j lie d apart, their half-widths are held to
``h_i + h_j <= d - land``, each taking as much more than the smallest cut as it wants against the other. What
is drawn about a segment stays within its half-width of it, so the land holds exactly, not on average.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.strokes import Strokes, spans

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["FLARE", "Rules", "fitted"]

_BLUNT = np.sin(np.radians(50))  #: a line may run over the edge if it meets it at this angle at least
_HAIRPIN = 1.25
_LOT = 20_000  #: pieces asked of their neighbours in one call, which can't be interrupted
_CLAIM = 0.75
FLARE = 0.005  #: half-width that a cut gains for each mm where it runs out: a quarter of a degree
_ROUNDS = 60  #: of settling which of two lines that are too close goes on


@dataclass(frozen=True, kw_only=True)
class Rules:
    """What strokes have to keep, mm."""

    land_mm: float  #: between any two, and between the parts of one
    cut_mm: float  #: narrowest cut
    shortest_mm: float  #: shortest stroke
    break_mm: float  #: least break between two strokes of one line, between the middles of their tips
    taper: float  #: half-width gained for each mm along the stroke, at most
    over_edge: bool  #: whether strokes may run out over the area's edge


def fitted(wanted: Strokes, rank: Floats, area: BaseGeometry, rules: Rules) -> tuple[Strokes, Indices, Indices]:
    """The strokes with the half-widths at which they fit, and the first and last point of each that is cut.

    Parameters
    ----------
    wanted
        Lines with wanted half-widths; points not much further apart than a land.
    rank
        Where two lines are too close for both, the one that ranks higher there goes on; (n,).
    area
        Strokes stay a land from its edge, or run out over it for the caller to cut off
        (see `carvegen.motifs.grain.edge_exits`).
    """
    if len(wanted) < 2:
        return wanted, np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    pieces = _Pieces(wanted, rank)
    near = _near(pieces, rules)
    room = np.minimum(pieces.half, _room_at_edge(pieces, area, rules))
    fits = room >= rules.cut_mm / 2
    first = _settled(pieces, near, fits, rules)
    scraps = first & ~_long_enough(pieces, first, rules)
    alive = _long_enough(pieces, _settled(pieces, near, fits & ~scraps, rules), rules)
    alive = _long_enough(pieces, _broken(pieces, alive, rules), rules)
    room = np.minimum(room, _share(near, alive, room, rules))
    tips = shapely.contains_xy(area, wanted.xy[:, 0], wanted.xy[:, 1])
    return wanted.with_half(_tapered(pieces, alive, room, tips, rules)), *spans(wanted, alive)


class _Pieces:
    """The segments of strokes: piece k leads from point k to the next; only the linked ones count."""

    def __init__(self, strokes: Strokes, rank: Floats) -> None:
        self.strokes, self.linked = strokes, strokes.linked
        self.index = np.flatnonzero(self.linked)
        self.a, self.b = strokes.xy[:-1], strokes.xy[1:]
        self.half = np.where(self.linked, np.minimum(strokes.half[:-1], strokes.half[1:]), 0.0)
        self.rank = (rank[:-1] + rank[1:]) / 2
        self.along = strokes.along
        self.line = strokes.line[:-1]

    def __len__(self) -> int:
        return len(self.half)

    def lines(self, which: Indices) -> geometry.PolygonArray:
        return geometry.lines(self.a[which], self.b[which])


@dataclass(frozen=True)
class _Near:
    """Pairs of pieces that lie near one another: i, j and how far apart."""

    i: Indices
    j: Indices
    apart: Floats


def _near(pieces: _Pieces, rules: Rules) -> _Near:
    """Pairs of pieces less apart than the land and both half-widths, of different lines or far apart along one.

    Each piece asks as far as its own width reaches twice, so that of each pair the wider one finds the other.
    Along one line only pieces count that lie `_HAIRPIN` times that far apart: a hairpin brings them near, no
    gentle bend does.
    """
    live = np.flatnonzero(pieces.half >= rules.cut_mm / 2)
    shapes, half = pieces.lines(live), pieces.half[live]
    tree, reach = shapely.STRtree(shapes), rules.land_mm + 2 * half
    lots = [slice(at, at + _LOT) for at in range(0, len(shapes), _LOT)]
    pairs = [
        tree.query(shapes[lot], predicate="dwithin", distance=reach[lot]) + np.array([[lot.start], [0]]) for lot in lots
    ]
    i, j = np.concatenate([np.empty((2, 0), dtype=np.int64), *pairs], axis=1)
    once = (half[i] > half[j]) | ((half[i] == half[j]) & (i < j))
    i, j = live[i[once]], live[j[once]]
    bend = _HAIRPIN * (rules.land_mm + pieces.half[i] + pieces.half[j])
    before, after = np.minimum(i, j), np.maximum(i, j)
    strange = (pieces.line[i] != pieces.line[j]) | (pieces.along[after] - pieces.along[before + 1] > bend)
    i, j = i[strange], j[strange]
    return _Near(i, j, np.asarray(shapely.distance(pieces.lines(i), pieces.lines(j)), dtype=np.float64))


def _room_at_edge(pieces: _Pieces, area: BaseGeometry, rules: Rules) -> Floats:
    """The half-width that the area's edge leaves each piece; edges that it meets at a blunt angle don't count."""
    area = geometry.prepared(area)
    shapes = np.full(len(pieces), None, dtype=object)
    shapes[pieces.index] = pieces.lines(pieces.index)
    room = np.where(shapely.intersects(area, shapes), np.inf, 0.0)
    rim = geometry.rings(geometry.parts(area))
    ends = rim.xy[rim.edge_ends]
    edges = geometry.lines(rim.xy, ends)
    reach = rules.land_mm + float(pieces.half.max(initial=0))
    k, edge = shapely.STRtree(edges).query(shapes, predicate="dwithin", distance=reach)
    gap = np.asarray(shapely.distance(shapes[k], edges[edge])) - rules.land_mm
    counts = ~(_blunt(pieces, k, rim.xy, ends, edge) & rules.over_edge)
    np.minimum.at(room, k[counts], gap[counts])
    return room


def _blunt(pieces: _Pieces, k: Indices, start: Floats, end: Floats, edge: Indices) -> Mask:
    ahead, rim = (pieces.b - pieces.a)[k], (end - start)[edge]
    cross = np.abs(ahead[:, 0] * rim[:, 1] - ahead[:, 1] * rim[:, 0])
    return np.asarray(cross >= _BLUNT * np.hypot(*ahead.T) * np.hypot(*rim.T))


def _settled(pieces: _Pieces, near: _Near, alive: Mask, rules: Rules) -> Mask:
    """The pieces that go on where two are too close, settled from the highest rank down.

    Too close is less than the land and the smallest cut, and less than the land and `_CLAIM` of the width that
    both want: broad lines keep the hair lines away.
    """
    width = np.maximum(rules.cut_mm, _CLAIM * (pieces.half[near.i] + pieces.half[near.j]))
    close = (near.apart < rules.land_mm + width) & alive[near.i] & alive[near.j]
    i, j = near.i[close], near.j[close]
    ahead = (pieces.rank[i] > pieces.rank[j]) | ((pieces.rank[i] == pieces.rank[j]) & (i < j))
    better, worse = np.where(ahead, i, j), np.where(ahead, j, i)
    open_, won = alive.copy(), np.zeros(len(alive), dtype=bool)
    for _ in range(_ROUNDS):
        beaten = np.zeros(len(alive), dtype=bool)
        beaten[worse[open_[better] & open_[worse]]] = True
        new = open_ & ~beaten
        won |= new
        open_ &= ~new
        open_[worse[new[better]]] = False
        if not open_.any():
            break
    return won


def _broken(pieces: _Pieces, alive: Mask, rules: Rules) -> Mask:
    """The pieces left when strokes that follow one another along one line keep a break between them."""
    first, last = spans(pieces.strokes, alive)
    if len(first) == 0:
        return alive
    same = pieces.strokes.line[last[:-1]] == pieces.strokes.line[first[1:]]
    ends, begins = pieces.along[last[:-1]], pieces.along[first[1:]]
    short = np.where(same, np.maximum(rules.break_mm - (begins - ends), 0) / 2, 0.0)
    stop = np.concatenate([np.where(short > 0, ends - short, np.inf), [np.inf]])
    start = np.concatenate([[-np.inf], np.where(short > 0, begins + short, -np.inf)])
    size = last - first
    piece = np.repeat(first, size) + geometry.counted(size)
    low, high = np.repeat(start, size), np.repeat(stop, size)
    left = alive.copy()
    left[piece] = (pieces.along[piece] >= low) & (pieces.along[piece + 1] <= high)
    return left


def _long_enough(pieces: _Pieces, alive: Mask, rules: Rules) -> Mask:
    """The pieces in runs that are long enough to be a stroke."""
    first, last = spans(pieces.strokes, alive)
    kept = pieces.along[last] - pieces.along[first] >= rules.shortest_mm
    step = np.zeros(len(alive) + 1, dtype=np.int64)
    step[first[kept]] += 1
    step[last[kept]] -= 1
    return np.asarray(np.cumsum(step)[:-1] > 0)


def _share(near: _Near, alive: Mask, half: Floats, rules: Rules) -> Floats:
    """The half-width that its neighbours leave each piece."""
    both = alive[near.i] & alive[near.j]
    i, j, apart = near.i[both], near.j[both], near.apart[both]
    least = rules.cut_mm / 2
    spare = apart - rules.land_mm - 2 * least
    wish_i, wish_j = half[i] - least + 1e-3, half[j] - least + 1e-3
    room = np.full(len(half), np.inf)
    np.minimum.at(room, i, least + spare * wish_i / (wish_i + wish_j))
    np.minimum.at(room, j, least + spare * wish_j / (wish_i + wish_j))
    return room


def _tapered(pieces: _Pieces, alive: Mask, room: Floats, tips: Mask, rules: Rules) -> Floats:
    """Half-widths at the points: within the room of both pieces, rising and falling no faster than the taper.

    Strokes that end where `tips` is true end in a tip as wide as the smallest cut; the others, which run out over
    an edge, widen a little there, so that the land beside them has no corner sharper than a right angle.
    """
    room = np.where(alive, room, np.inf)
    half = np.minimum(np.concatenate([room, [np.inf]]), np.concatenate([[np.inf], room]))
    first, last = spans(pieces.strokes, alive)
    ends = np.concatenate([first, last])
    half[ends[tips[ends]]] = rules.cut_mm / 2
    size = last - first + 1
    run = np.repeat(np.arange(len(first)), size)
    point = np.repeat(first, size) + geometry.counted(size)
    rise = rules.taper * pieces.along[point]
    low = _running_least(half[point] - rise, run) + rise
    back = _running_least((low + rise)[::-1], run[::-1].max(initial=0) - run[::-1])[::-1] - rise
    tapered = np.zeros(len(half))
    tapered[point] = np.maximum(back, rules.cut_mm / 2)
    for end, inner in ((first, first + 1), (last, last - 1)):
        flared = tapered[inner] + FLARE * np.abs(pieces.along[end] - pieces.along[inner])
        tapered[end] = np.where(tips[end], tapered[end], np.maximum(tapered[end], flared))
    return tapered


def _running_least(values: Floats, run: Indices) -> Floats:
    """The least value so far within each run."""
    drop = 2 * (np.ptp(values) + 1) if len(values) else 1.0
    return np.asarray(np.minimum.accumulate(values - drop * run) + drop * run)
