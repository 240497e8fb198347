"""Down into the block: ramps along a path and the passes that take it to its depth."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.toolpaths.paths import Paths, joined, no_paths, picked

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Descent", "entered", "without_repeats", "worked"]

_SAME_MM = 1e-7  #: nearer points are one


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


def worked(flat: Paths, down: Descent, *, ramped: Mask) -> Paths:
    """Paths at the face as they are followed with all their passes; order kept, one open path for each.

    A closed path goes down along itself, round and round where it is short (a helix), then once round at the
    depth of the pass, and from there on down to the next. An open path goes down to and fro at its start, then
    along; the next pass runs back, and the last one in the path's own direction.

    Parameters
    ----------
    ramped
        Which paths may be gone down along; the others are entered straight down; (paths,).
    """
    if len(flat) == 0:
        return no_paths()
    closed = np.flatnonzero(flat.closed)
    open_ = np.flatnonzero(~flat.closed)
    done = joined(
        [_round(picked(flat, closed), down, ramped[closed]), _along(picked(flat, open_), down, ramped[open_])]
    )
    order = np.empty(len(flat), dtype=np.int64)
    order[np.concatenate([closed, open_])] = np.arange(len(flat))
    return picked(done, order)


def entered(flat: Paths, down: Descent, *, ramped: Mask) -> Paths:
    """Closed paths at the face as their first pass is followed: a ramp that ends where the path begins, and one round.

    Of paths that are not ramped, straight down. Ends where the path begins, at the depth of the pass.
    """
    length = flat.lengths
    ramp = np.where(ramped, down.ramp_mm, 0.0)
    begin = np.ceil(ramp / length - 1e-9) * length - ramp
    count = np.arange(len(flat))
    step = down.depth_mm / down.passes
    marks = np.stack([begin, begin + ramp, begin + ramp + length], axis=1)
    legs = _Legs(
        path=np.repeat(count, 2), begin=marks[:, :2].ravel(), end=marks[:, 1:].ravel(),
        high=np.tile([0.0, -step], len(flat)), low=np.tile([-step, -step], len(flat)),
    )  # fmt: skip
    rounds = np.ceil(marks[:, 2] / length - 1e-9).astype(np.int64)
    return _gone(_unrolled(flat, rounds), legs)


@dataclass(frozen=True, kw_only=True, eq=False)
class _Legs:
    """Pieces of way along tracks, in the order in which they are gone: positions and heights at both ends."""

    path: Indices
    begin: Floats
    end: Floats
    high: Floats
    low: Floats


def _round(flat: Paths, down: Descent, ramped: Mask) -> Paths:
    """Closed paths: a ramp and one round for each pass, along the path unrolled."""
    if len(flat) == 0:
        return no_paths()
    length = flat.lengths
    ramp = np.where(ramped, down.ramp_mm, 0.0)[:, None]
    k = np.arange(down.passes)
    begin = k * (ramp + length[:, None])
    marks = np.stack([begin, begin + ramp], axis=2).reshape(len(flat), -1)
    last = begin[:, -1:] + ramp + length[:, None]
    step = down.depth_mm / down.passes
    high = np.column_stack([-k * step, -(k + 1) * step]).ravel()
    low = np.column_stack([-(k + 1) * step, -(k + 1) * step]).ravel()
    legs = _Legs(
        path=np.repeat(np.arange(len(flat)), 2 * down.passes),
        begin=marks.ravel(), end=np.column_stack([marks[:, 1:], last]).ravel(),
        high=np.tile(high, len(flat)), low=np.tile(low, len(flat)),
    )  # fmt: skip
    rounds = np.ceil(last[:, 0] / length - 1e-9).astype(np.int64)
    return _gone(_unrolled(flat, rounds), legs)


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
    number = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    turn, k = number % each[path], number // each[path]
    along = turn == 2 * folds[path]
    begin = np.where(along | (turn % 2 == 0), 0.0, out[path])
    end = np.where(along, length[path], np.where(turn % 2 == 0, out[path], 0.0))
    back = (down.passes - 1 - k) % 2 == 1
    begin, end = (np.where(back, length[path] - at, at) for at in (begin, end))
    step = -down.depth_mm / down.passes
    high = np.asarray(step * (k + np.minimum(turn / (2 * folds[path]), 1)), dtype=np.float64)
    low = np.asarray(step * (k + np.minimum((turn + 1) / (2 * folds[path]), 1)), dtype=np.float64)
    return _gone(flat, _Legs(path=path, begin=begin, end=end, high=high, low=low))


def _unrolled(flat: Paths, rounds: Indices) -> Paths:
    """Closed paths as open ones that go round several times and end where they began."""
    counts = np.diff(flat.start)
    many = counts * rounds + 1
    start = np.concatenate([[0], np.cumsum(many)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], many)
    point = np.repeat(flat.start[:-1], many) + within % np.repeat(counts, many)
    return Paths(flat.xyz[point], start, np.zeros(len(flat), dtype=bool))


def _gone(track: Paths, legs: _Legs) -> Paths:
    """The points of the legs along open tracks, with their heights; a path's legs follow one another."""
    at = _positions(track)
    base = at[track.start[:-1]]
    top = at[track.start[1:] - 1]
    begin, end = (np.minimum(base[legs.path] + p, top[legs.path]) for p in (legs.begin, legs.end))
    near, far = np.minimum(begin, end), np.maximum(begin, end)
    first = np.searchsorted(at, near + _SAME_MM, side="right")
    inner = np.maximum(np.searchsorted(at, far - _SAME_MM, side="left") - first, 0)
    forward = end >= begin
    counts = inner + 1
    leg = np.repeat(np.arange(len(counts)), counts)
    k = np.arange(len(leg)) - np.repeat(np.cumsum(counts) - counts, counts)
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
    return without_repeats(xyz, legs.path[leg], len(track))


def _positions(track: Paths) -> Floats:
    """Where each point lies along all tracks laid end to end, each a millimetre behind the one before."""
    steps = np.linalg.norm(np.diff(track.xyz[:, :2], axis=0, prepend=track.xyz[:1, :2]), axis=1)
    steps[track.start[:-1]] = 1.0
    return np.cumsum(steps)


def without_repeats(xyz: Floats, path: Indices, count: int) -> Paths:
    """Open paths of points, each with the number of its path, without those that lie on the one before."""
    same = (np.abs(np.diff(xyz, axis=0)).max(axis=1) < _SAME_MM) & (np.diff(path) == 0)
    kept = np.concatenate([[True], ~same])
    start = np.concatenate([[0], np.cumsum(np.bincount(path[kept], minlength=count))])
    return Paths(xyz[kept], start, np.zeros(count, dtype=bool))
