"""Down into the block: ramps along a path and the passes that take it to its depth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.fewer_points import THIN_MM, points_kept, with_points
from carvegen.toolpaths.paths import (
    Paths,
    joined,
    no_paths,
    picked,
)

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["Descent", "entered", "without_repeats", "worked"]

_SAME_MM = 1e-7  #: nearer points are one
_CUT_OFF = (
    0.3  #: of a round's half-width: how far short cuts of a ramp lie inside; a circle becomes a square; our choice
)
_CUT_OFF_MM = 0.3  #: and at most; our own choice
_TOUCH_MM = THIN_MM + 1e-6  #: paths on the outline of where the cutter may go lie so far beyond it


@dataclass(frozen=True, kw_only=True)
class Descent:
    """How a cutter gets down: in equal passes, each begun by a ramp along the path."""

    depth_mm: float
    passes: int
    ramp_deg: float

    @property
    def ramp_mm(self) -> float:
        """The way along the path on which one pass is gone down."""
        return self.depth_mm / self.passes / math.tan(math.radians(self.ramp_deg))


def worked(flat: Paths, down: Descent, *, ramped: Mask, room: PolygonArray | None = None) -> Paths:
    """Paths at the face as they are followed with all their passes; order kept, one open path for each.

    A closed path goes down along itself, round and round where it is short (a helix), then once round at the
    depth of the pass, and from there on down to the next. An open path goes down to and fro at its start, then
    along; the next pass runs back, and the last one in the path's own direction.

    Parameters
    ----------
    ramped
        Which paths may be gone down along; the others are entered straight down; (paths,).
    room
        Where the middle of the cutter may go: rounds of a helix take short cuts in it. None: they take none.
    """
    if len(flat) == 0:
        return no_paths()
    closed = np.flatnonzero(flat.closed)
    open_ = np.flatnonzero(~flat.closed)
    done = joined(
        [_round(picked(flat, closed), down, ramped[closed], room), _along(picked(flat, open_), down, ramped[open_])]
    )
    order = np.empty(len(flat), dtype=np.int64)
    order[np.concatenate([closed, open_])] = np.arange(len(flat))
    return picked(done, order)


def entered(flat: Paths, down: Descent, *, ramped: Mask, room: PolygonArray | None = None) -> Paths:
    """Closed paths at the face as their first pass is followed: a ramp that ends where the path begins, and one round.

    Of paths that are not ramped, straight down. Ends where the path begins, at the depth of the pass. The ramp
    takes short cuts in `room`.
    """
    if len(flat) == 0:
        return no_paths()
    ramp = np.where(ramped, down.ramp_mm, 0.0)
    helix = _Helix(flat, ramp, ramped, room)
    end = np.ceil(ramp / helix.coarse_mm - 1e-9) * helix.coarse_mm
    step = down.depth_mm / down.passes
    return helix.gone([(end - ramp, end, np.zeros(len(flat)))], np.array([0.0, -step]))


@dataclass(frozen=True, kw_only=True, eq=False)
class _Legs:
    """Pieces of way along tracks, in the order in which they are gone: positions and heights at both ends."""

    path: Indices  #: whose piece it is
    track: Indices  #: along which it goes
    begin: Floats
    end: Floats
    high: Floats
    low: Floats


class _Helix:
    """Closed paths as tracks to go down along: on short cuts while it slopes, exactly as they are while it is level."""

    def __init__(self, flat: Paths, ramp_mm: Floats, ramped: Mask, room: PolygonArray | None) -> None:
        kept = np.ones(len(flat.xyz), dtype=bool)
        if room is not None and ramped.any():
            kept = _short_cuts(flat, ramped, room)
        coarse, one = with_points(flat, kept), np.ones(len(flat), dtype=np.int64)
        self.coarse_mm, self.fine_mm = coarse.lengths, flat.lengths
        turns = np.ceil(ramp_mm / self.coarse_mm).astype(np.int64) + 2
        self.tracks = joined([_unrolled(coarse, turns), _unrolled(flat, 2 * one)])
        once, whole = _unrolled(coarse, one), _unrolled(flat, one)
        self.at, self.on = _positions(once), _positions(whole)[kept[_points_unrolled(flat, one)[0]]]
        self.first = once.start[:-1]
        self.bent = np.append(np.abs(np.diff(self.at) - np.diff(self.on)) > _SAME_MM, False)

    def stop(self, at_mm: Floats) -> Floats:
        """Where a ramp that is to end at these places of the short cuts ends: on the path itself, or a little later."""
        turn = np.floor(at_mm / self.coarse_mm + 1e-9) * self.coarse_mm
        here = self.at[self.first] + np.clip(at_mm - turn, 0, None)
        side = np.searchsorted(self.at, here + _SAME_MM, side="right") - 1
        off = self.bent[side] & (here - self.at[side] > _SAME_MM)
        later = self.at[np.minimum(side + 1, len(self.at) - 1)] - self.at[self.first]
        return np.where(off, turn + later, at_mm)

    def on_path(self, at_mm: Floats) -> Floats:
        """The places on the paths of places on the short cuts where a ramp may stop; of their first round."""
        return np.asarray(np.interp(self.at[self.first] + at_mm, self.at, self.on) - self.on[self.first])

    def gone(self, passes: list[tuple[Floats, Floats, Floats]], heights: Floats) -> Paths:
        """Passes one after another: from where to where its ramp goes, and where on the path its round begins."""
        count = len(self.fine_mm)
        spans = np.array([[(a, b), (c, c + self.fine_mm)] for a, b, c in passes])  # (passes, 2, 2, paths)
        begin, end = spans.transpose(2, 3, 0, 1).reshape(2, count, -1)
        pairs = 2 * len(passes)
        high, low = np.repeat(heights, 2)[1:-1], np.repeat(heights[1:], 2)
        legs = _Legs(
            path=np.repeat(np.arange(count), pairs),
            track=(np.arange(count)[:, None] + np.tile([0, count], len(passes))).ravel(),
            begin=begin.ravel(), end=end.ravel(), high=np.tile(high, count), low=np.tile(low, count),
        )  # fmt: skip
        return _gone(self.tracks, legs)


def _round(flat: Paths, down: Descent, ramped: Mask, room: PolygonArray | None) -> Paths:
    """Closed paths: a ramp and one round for each pass; a ramp begins where the round before it ended."""
    if len(flat) == 0:
        return no_paths()
    ramp = np.where(ramped, down.ramp_mm, 0.0)
    helix = _Helix(flat, ramp, ramped, room)
    begin, passes = np.zeros(len(flat)), []
    for _ in range(down.passes):
        end = helix.stop(begin + ramp)
        rest = np.clip(end - np.floor(end / helix.coarse_mm + 1e-9) * helix.coarse_mm, 0, None)
        passes.append((begin, end, helix.on_path(rest)))
        begin = rest
    return helix.gone(passes, np.linspace(0.0, -down.depth_mm, down.passes + 1, dtype=np.float64))


def _along(flat: Paths, down: Descent, ramped: Mask) -> Paths:
    """Open paths: to and fro on a ramp, then along, the next pass the other way."""
    if len(flat) == 0:
        return no_paths()
    length = flat.lengths
    half = down.ramp_mm / 2
    folds = np.where(ramped, np.ceil(half / length - 1e-9), 1).astype(np.int64)
    out = np.where(ramped, half / folds, 0.0)
    each = 2 * folds + 1
    count = each * down.passes
    path = np.repeat(np.arange(len(flat)), count)
    number = geometry.counted(count)
    turn, k = number % each[path], number // each[path]
    along = turn == 2 * folds[path]
    begin = np.where(along | (turn % 2 == 0), 0.0, out[path])
    end = np.where(along, length[path], np.where(turn % 2 == 0, out[path], 0.0))
    back = (down.passes - 1 - k) % 2 == 1
    begin, end = (np.where(back, length[path] - at, at) for at in (begin, end))
    step = -down.depth_mm / down.passes
    high = np.asarray(step * (k + np.minimum(turn / (2 * folds[path]), 1)), dtype=np.float64)
    low = np.asarray(step * (k + np.minimum((turn + 1) / (2 * folds[path]), 1)), dtype=np.float64)
    return _gone(flat, _Legs(path=path, track=path, begin=begin, end=end, high=high, low=low))


def _short_cuts(flat: Paths, ramped: Mask, room: PolygonArray) -> Mask:
    """Which points of closed paths a ramp touches: the straight ways between them lie in the room."""
    xy, after = flat.xyz[:, :2], np.arange(1, len(flat.xyz) + 1)
    after[flat.start[1:] - 1] = flat.start[:-1]
    around = xy[:, 0] * xy[after, 1] - xy[after, 0] * xy[:, 1]
    wide = np.abs(np.add.reduceat(around, flat.start[:-1])) / flat.lengths  # of a disc its radius
    off = np.where(ramped, np.clip(_CUT_OFF * wide, 0, _CUT_OFF_MM), 0.0)
    return points_kept(flat, off, room=shapely.buffer(room, _TOUCH_MM, quad_segs=1))


def _unrolled(flat: Paths, rounds: Indices) -> Paths:
    """Closed paths as open ones that go round several times and end where they began."""
    point, start = _points_unrolled(flat, rounds)
    return Paths(flat.xyz[point], start, np.zeros(len(flat), dtype=bool))


def _points_unrolled(flat: Paths, rounds: Indices) -> tuple[Indices, Indices]:
    counts = np.diff(flat.start)
    many = counts * rounds + 1
    start = np.concatenate([[0], np.cumsum(many)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], many)
    return np.repeat(flat.start[:-1], many) + within % np.repeat(counts, many), start


def _gone(track: Paths, legs: _Legs) -> Paths:
    """The points of the legs along open tracks, with their heights; a path's legs follow one another."""
    at = _positions(track)
    base = at[track.start[:-1]]
    top = at[track.start[1:] - 1]
    begin, end = (np.minimum(base[legs.track] + p, top[legs.track]) for p in (legs.begin, legs.end))
    near, far = np.minimum(begin, end), np.maximum(begin, end)
    first = np.searchsorted(at, near + _SAME_MM, side="right")
    inner = np.maximum(np.searchsorted(at, far - _SAME_MM, side="left") - first, 0)
    forward = end >= begin
    counts = inner + 1
    leg = np.repeat(np.arange(len(counts)), counts)
    k = geometry.counted(counts)
    vertex = np.where(forward[leg], first[leg] + k - 1, first[leg] + inner[leg] - k)
    here = np.where(k == 0, begin[leg], at[np.clip(vertex, 0, len(at) - 1)])
    ends = np.flatnonzero(np.diff(legs.path, append=-1))
    stops = np.cumsum(counts)[ends]
    here, leg = np.insert(here, stops, end[ends]), np.insert(leg, stops, ends)
    span = end[leg] - begin[leg]
    share = np.divide(here - begin[leg], span, out=np.zeros(len(here)), where=np.abs(span) > _SAME_MM)
    share[stops + np.arange(len(ends))] = 1.0
    z = legs.high[leg] + share * (legs.low[leg] - legs.high[leg])
    xyz = np.column_stack([np.interp(here, at, track.xyz[:, 0]), np.interp(here, at, track.xyz[:, 1]), z])
    return without_repeats(xyz, legs.path[leg], int(legs.path[-1]) + 1)


def _positions(track: Paths) -> Floats:
    """Where each point lies along all tracks laid end to end, each a millimetre behind the one before."""
    x, y = (np.diff(track.xyz[:, k], prepend=0.0) for k in (0, 1))
    steps = np.sqrt(x * x + y * y)
    steps[track.start[:-1]] = 1.0
    return np.cumsum(steps)


def without_repeats(xyz: Floats, path: Indices, count: int) -> Paths:
    """Open paths of points, each with the number of its path, without those that lie on the one before."""
    same = (np.abs(np.diff(xyz, axis=0)).max(axis=1) < _SAME_MM) & (np.diff(path) == 0)
    kept = np.concatenate([[True], ~same])
    start = np.concatenate([[0], np.cumsum(np.bincount(path[kept], minlength=count))])
    return Paths(xyz[kept], start, np.zeros(count, dtype=bool))
