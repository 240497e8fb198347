"""A short way through many stops: linked greedily, then improved by turning and moving pieces of it.

A stop has two ends, where it is entered and left; they lie together for a closed path. End ``2 k`` and end
``2 k + 1`` belong to stop k, and a tour is the list of the ends at which its stops are entered: turning a
piece of it is reversing that piece and taking the other end of each.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from carvegen.base.progress import each_part, reached
from carvegen.geometry import linked_groups

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["along_curve", "length_mm", "tour"]

_NEAR, _FEW_NEAR = 7, 3  #: neighbours of an end that are tried; of very many stops the second
_ROUNDS = 400  #: of improvement at most; a few dozen are usual
_MANY, _FEW_ROUNDS = 20_000, 12  #: of so many stops and more the last one or two per cent are left
_PIECES = (1, 2, 3)  #: stops that are moved together
_WORTH_MM = 1e-6  #: a gain below it is none
#: Shares of the time, measured on 50,000 flakes: what lies near each end, links, gains;
_TIMES = (0.4, 0.18, 0.42)
_ROUND = 0.2  #: and a round of improvement, of what is left
_AT_ONCE = 16_384  #: pairs looked at together: so few that what is said of them stays near the processor
_CURVE_BITS = 16  #: of each coordinate, by which stops are laid beside one another


def tour(ends: Floats, home: Floats) -> Indices:
    """The ends at which stops are entered, one after another, from `home` on; there is no way back.

    Greedy linking of near ends (source: bentley-1992),
    then 2-opt (source: croes-1958) and Or-opt (source: or-1976) among near neighbours until nothing is gained.

    Parameters
    ----------
    ends
        (2 n, 2) in mm: end ``2 k`` and ``2 k + 1`` of stop k.
    home
        Where the way begins; (2,).

    Returns
    -------
    Indices
        (n,) numbers of ends, one of each stop; empty for no stop.
    """
    if len(ends) == 0:
        return np.empty(0, dtype=np.int64)
    looking, linking, improving = each_part(_TIMES)
    with looking:
        order = along_curve(ends[::2])
        ends = ends.reshape(-1, 2, 2)[order].reshape(-1, 2)
        at = np.concatenate([ends, [home, home]])
        far, near = _nearest(at, 2 * _neighbours(len(order)) + 2)
    with linking:
        route = _walked(_linked(ends, far, near), at)
    with improving:
        route = _improved(route, at, far, near)
    return np.asarray(2 * order[route[1:] >> 1] + (route[1:] & 1))


def along_curve(xy: Floats) -> Indices:
    """An order in which points that lie near one another mostly follow one another: what is asked of them is at hand.

    The places of a curve that goes through the quarters of a square one after another, and so on in each (source:
    morton-1966): the bits of both coordinates in turn.
    """
    if len(xy) == 0:
        return np.empty(0, dtype=np.int64)
    side = max(float(np.ptp(xy, axis=0).max()), _WORTH_MM)
    bits = ((xy - xy.min(axis=0)) / side * (2**_CURVE_BITS - 1)).astype(np.int64)
    code = np.zeros(len(xy), dtype=np.int64)
    for k in range(_CURVE_BITS):
        code |= ((bits[:, 0] >> k & 1) << (2 * k)) | ((bits[:, 1] >> k & 1) << (2 * k + 1))
    return np.argsort(code, kind="stable")


def length_mm(entered: Indices, ends: Floats, home: Floats) -> float:
    """How far a tour goes between its stops, from `home` to where the last one is left."""
    leaves = np.concatenate([[home], ends[entered[:-1] ^ 1]]) if len(entered) else np.empty((0, 2))
    return float(np.linalg.norm(ends[entered] - leaves, axis=1).sum())


def _neighbours(stops: int) -> int:
    return _NEAR if stops < _MANY else _FEW_NEAR


def _nearest(xy: Floats, count: int) -> tuple[Floats, Indices]:
    """How far the `count` nearest of all ends are from each, itself among them, and which they are; fewer of few."""
    from scipy.spatial import cKDTree

    far, near = cKDTree(xy).query(xy, k=min(len(xy), count))
    return np.asarray(far).reshape(len(xy), -1), np.asarray(near, dtype=np.int64).reshape(len(xy), -1)


def _linked(ends: Floats, far: Floats, near: Indices) -> Indices:
    """For each end the end that follows it on the way, -1 at both ends of the way; `near`: near ones, `far` off."""
    link = np.full(len(ends), -1, dtype=np.int64)
    piece = np.arange(len(ends) // 2)
    free = np.arange(len(ends))
    far, near = far[: len(ends)], near[: len(ends)]
    while len(free) > 2:
        piece = _link_near(free, far, near, link, piece)
        free = np.flatnonzero(link < 0)
        reached(1 - len(free) / len(ends))
        far, near = _nearest(ends[free], 2 * _neighbours(len(ends) // 2))
    return link


def _link_near(free: Indices, far: Floats, near: Indices, link: Indices, piece: Indices) -> Indices:
    """Link the nearest free ends of different pieces, shortest first; `near`: places among the free ones.

    A pair that is the nearest left to both of its ends is linked whatever becomes of the others: all such are linked
    at once, until no pair is left. Returns the number of the piece that each stop belongs to.
    """
    pairs = np.flatnonzero((near > np.arange(len(free))[:, None]) & (near < len(free)))
    a, b = free[pairs // near.shape[1]], free[near.ravel()[pairs]]
    apart = np.flatnonzero(piece[a >> 1] != piece[b >> 1])
    order = apart[np.argsort(far.ravel()[pairs[apart]], kind="stable")]
    a, b = a[order], b[order]
    first = np.empty(len(link), dtype=np.int64)
    while True:
        open_ = (link[a] < 0) & (link[b] < 0) & (piece[a >> 1] != piece[b >> 1])
        a, b = a[open_], b[open_]
        if not len(a):
            return piece
        number = np.arange(len(a))[::-1]
        first[np.stack([b, a], axis=1)[::-1].ravel()] = np.repeat(number, 2)  # the last that is written stays
        both = np.flatnonzero((first[a] == number[::-1]) & (first[b] == number[::-1]))
        both, piece = _without_rounds(both, piece[a[both] >> 1], piece[b[both] >> 1], piece)
        link[a[both]], link[b[both]] = b[both], a[both]


def _without_rounds(pairs: Indices, one: Indices, other: Indices, piece: Indices) -> tuple[Indices, Indices]:
    """The pairs, shortest first, less the longest of each round that they close; and the piece of each stop with them.

    `one` and `other` are the pieces that each pair links: a piece has two ends, so links make lines and rounds.
    """
    count = int(piece.max()) + 1
    group = linked_groups(count, one, other)
    round_ = np.bincount(group[one], minlength=count) == np.bincount(group, minlength=count)
    longest = np.full(count, -1)
    longest[group[one]] = np.arange(len(one))
    return pairs[~(round_[group[one]] & (longest[group[one]] == np.arange(len(one))))], group[piece]


def _walked(link: Indices, at: Floats) -> Indices:
    """The way from home, the stop of the last two of `at`, through all that is linked."""
    loose = np.flatnonzero(link < 0)
    end = int(loose[np.argmin(np.linalg.norm(at[loose] - at[-1], axis=1))])
    follows, route = link[np.arange(len(link)) ^ 1].tolist(), [len(link)]
    while end >= 0:
        route.append(end)
        end = follows[end]
    return np.array(route, dtype=np.int64)


@dataclass(frozen=True, eq=False)
class _Moves:
    """Changes of a tour that may be made: each touches the positions first…last and no other."""

    gain: Floats
    first: Indices
    last: Indices
    cut: Indices  #: a piece is taken over from here: -1 turns the whole
    turned: Mask  #: whether the moved piece is turned
    forward: Mask  #: whether the piece is at the start and goes to the end


def _improved(route: Indices, at: Floats, away: Floats, near: Indices) -> Indices:
    """The tour with every gain made that turning or moving a piece among neighbours can make."""
    route = route.copy()
    near = np.where((near >> 1) == (np.arange(len(at)) >> 1)[:, None], -1, near)
    awake = np.ones(len(route), dtype=bool)  # stops whose neighbourhood has changed
    for k in range(_ROUNDS if len(route) < _MANY else _FEW_ROUNDS):
        reached(1 - (1 - _ROUND) ** k)
        moves = _best_moves(_Look(route, at), near, away, np.flatnonzero(awake))
        awake[:] = False
        if len(moves.gain) == 0:
            break
        _make(moves, route, awake)
    return route


class _Look:
    """Distances along and across a tour."""

    def __init__(self, route: Indices, at: Floats) -> None:
        self.route = route
        self.at = at[:, 0] + 1j * at[:, 1]  # both sides of a place are read at once
        self.place = np.empty(len(route), dtype=np.int64)  #: of each stop
        self.place[route >> 1] = np.arange(len(route))
        self.beside = np.full(len(at), -1)  #: the end that each end is joined with; -1 at both ends of the way
        self.beside[route[1:]], self.beside[route[:-1] ^ 1] = route[:-1] ^ 1, route[1:]
        self.gap = self.far(np.arange(len(at)), self.beside)  #: how far that is

    def far(self, a: Indices, b: Indices) -> Floats:
        """How far ends lie apart; nothing where there is none."""
        step = self.at.take(a)
        step -= self.at.take(b)
        square = step.view(np.float64)
        square *= square
        far = np.sqrt(square[::2] + square[1::2])
        far[(a | b) < 0] = 0.0
        return far


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Ends `a` and `b` of different stops that could be joined: their places on the way, and whether entered there."""

    a: Indices
    b: Indices
    p: Indices
    q: Indices
    enters: Mask
    before: Mask
    gap: Indices  #: the place behind which `b` has its gap; below 0 where there is none
    far: Floats  #: how far apart they are

    @classmethod
    def of(cls, look: _Look, a: Indices, b: Indices, far: Floats) -> _Pairs:
        p, q = look.place.take(a >> 1), look.place.take(b >> 1)
        before = look.route.take(q) == b
        return cls(a, b, p, q, look.route.take(p) == a, before, q - before, far)


def _best_moves(look: _Look, near: Indices, away: Floats, stops: Indices) -> _Moves:
    """The change that gains most by joining each end of `stops` with a near one; the best of all first."""
    ends = np.concatenate([2 * stops, 2 * stops + 1])
    near, away = near.take(ends, axis=0), away.take(ends, axis=0)
    some = np.flatnonzero((near >= 0) & (away < look.gap.take(ends)[:, None]))
    row = some // near.shape[1]
    a, b, far = ends.take(row), near.take(some), away.take(some)
    parts = [slice(k, k + _AT_ONCE) for k in range(0, max(len(a), 1), _AT_ONCE)]
    gains = [_best_gains(look, _Pairs.of(look, a[part], b[part], far[part])) for part in parts]
    gain, kind = (np.concatenate(each) for each in zip(*gains, strict=True))
    good = np.flatnonzero(gain > _WORTH_MM)
    good = good[_first_of_most(gain[good], np.flatnonzero(np.diff(row[good], prepend=-1)))]
    good = good[np.argsort(-gain[good], kind="stable")]
    pairs = _Pairs.of(look, a[good], b[good], far[good])
    moves = [_turned(pairs, gain[good]), *(_shifted(pairs, gain[good], count) for count in _PIECES)]
    names = ("gain", "first", "last", "cut", "turned", "forward")
    return _Moves(*(np.choose(kind[good], [getattr(move, name) for move in moves]) for name in names))


def _first_of_most(values: Floats, start: Indices) -> Indices:
    """Of each of the runs that begin there the place of the largest, the first of those alike."""
    if not len(values):
        return start
    most = np.maximum.reduceat(values, start)
    hits = np.flatnonzero(values == np.repeat(most, np.diff(start, append=len(values))))
    return np.asarray(hits[np.searchsorted(hits, start)])


def _best_gains(look: _Look, pairs: _Pairs) -> tuple[Floats, Indices]:
    """The most that each pair gains, and by which change: 0 by turning, else by moving a piece of `_PIECES`."""
    beyond_a, beyond_b = look.beside.take(pairs.a), look.beside.take(pairs.b)
    gap_a, gap_b = look.gap.take(pairs.a), look.gap.take(pairs.b)
    gain, kind = np.zeros(len(gap_a)), np.zeros(len(gap_a), dtype=np.int64)
    gaps = gap_a + gap_b
    some = np.flatnonzero(_can_turn(pairs) & (gaps - pairs.far > _WORTH_MM))
    gain[some] = gaps.take(some) - (pairs.far.take(some) + look.far(beyond_a.take(some), beyond_b.take(some)))
    for nth, count in enumerate(_PIECES, start=1):
        end, ok = _other_end(look, pairs, count)
        gaps = gap_a + look.gap.take(end) + gap_b
        some = np.flatnonzero(ok & (gaps - pairs.far > np.maximum(gain, _WORTH_MM)))  # of the others none gains more
        end = end.take(some)
        joints = look.far(end, beyond_b.take(some)), look.far(beyond_a.take(some), look.beside.take(end))
        more = gaps.take(some) - (pairs.far.take(some) + joints[0] + joints[1])
        better = more > gain.take(some)
        gain[some[better]], kind[some[better]] = more[better], nth
    return gain, kind


def _can_turn(pairs: _Pairs) -> Mask:
    """Where the piece between two ends can be gone through the other way round, so that they meet."""
    alike = pairs.enters == pairs.before
    return np.asarray(alike & (np.minimum(pairs.p, pairs.q) >= pairs.enters))


def _turned(pairs: _Pairs, gain: Floats) -> _Moves:
    """2-opt."""
    low, high = np.minimum(pairs.p, pairs.q) - pairs.enters, np.maximum(pairs.p, pairs.q) - pairs.enters
    every = np.ones(len(gain), dtype=bool)
    return _Moves(gain, low + 1, high, np.full(len(gain), -1), every, every)


def _span(pairs: _Pairs, count: int) -> tuple[Indices, Indices, Indices]:
    """The first and last of `count` places from end `a` on, and the place behind which end `b` has its gap."""
    first = np.where(pairs.enters, pairs.p, pairs.p - count + 1)
    return first, first + count - 1, pairs.gap


def _other_end(look: _Look, pairs: _Pairs, count: int) -> tuple[Indices, Mask]:
    """The other end of the piece of `count` stops from `a` on, and whether it can go to where `b` is."""
    before = pairs.p - 1 - (count - 1) * ~pairs.enters
    ok = _beyond(before, len(look.route) - count)
    np.logical_not(ok, out=ok)
    ok &= _beyond(pairs.gap - before, count + 1)  # a gap at the piece's ends or within it is none
    ok &= pairs.gap >= 0
    other = before + 1 + (count - 1) * pairs.enters
    return look.route.take(np.where(ok, other, 0)) ^ pairs.enters, ok


def _beyond(numbers: Indices, count: int) -> Mask:
    """Which numbers are none of 0, 1, … below `count`: without a sign, those below 0 are very large."""
    return np.asarray(numbers.view(f"u{numbers.itemsize}") >= max(count, 0))


def _shifted(pairs: _Pairs, gain: Floats, count: int) -> _Moves:
    """Or-opt."""
    first, last, gap = _span(pairs, count)
    forward = gap > last
    return _Moves(
        gain,
        np.where(forward, first, gap + 1),
        np.where(forward, gap, last),
        np.where(forward, last + 1, first),
        pairs.enters == pairs.before,
        forward,
    )


def _make(moves: _Moves, route: Indices, awake: Mask) -> None:
    """Make the changes that touch no place of a better one; wake the stops at the seams of all."""
    made, was = _apart(moves.first, moves.last, len(route)), route.copy()
    columns: list[list[Any]] = [
        column[made].tolist() for column in (moves.first, moves.last, moves.cut, moves.turned, moves.forward)
    ]
    for first, last, cut, turned, forward in zip(*columns, strict=True):
        _change(route, first, last, cut, turned=turned, forward=forward)
    first, last, cut = moves.first, moves.last, moves.cut
    inner = np.where(cut < 0, first, np.where(made, first + last + 1 - cut, cut))
    seams = np.stack([first - 1, first, last, np.minimum(last + 1, len(route) - 1), inner - 1, inner])
    awake[route[seams[:, made]] >> 1] = True
    awake[was[seams[:, ~made]] >> 1] = True


def _apart(first: Indices, last: Indices, places: int) -> Mask:
    """Which stretches meet none that comes before them and is taken, nor lie beside one."""
    taken, made = bytearray(places + 2), np.zeros(len(first), dtype=bool)
    for k, (low, high) in enumerate(zip((first - 1).tolist(), (last + 2).tolist(), strict=True)):
        if taken.find(1, low, high) < 0:
            taken[low:high] = b"\1" * (high - low)
            made[k] = True
    return made


def _change(route: Indices, first: int, last: int, cut: int, *, turned: bool, forward: bool) -> None:
    """Turn the places first…last, or take the piece before `cut` to the end, or that from it on to the start."""
    if cut < 0:
        route[first : last + 1] = route[first : last + 1][::-1] ^ 1
        return
    left, right = route[first:cut].copy(), route[cut : last + 1].copy()
    if turned and forward:
        left = left[::-1] ^ 1
    elif turned:
        right = right[::-1] ^ 1
    route[first : last + 1] = np.concatenate([right, left])
