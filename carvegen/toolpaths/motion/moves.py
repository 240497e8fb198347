"""The moves of a router's cutter, one by one: what a program writes, and what the time is the sum of."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from carvegen.facts import feeds
from carvegen.toolpaths.paths import joined

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.blocks.job import Job
    from carvegen.facts.feeds import Start
    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.toolpaths.paths import Operation, Paths

__all__ = ["ACROSS", "APPROACH_MM", "CUT", "DOWN", "HEIGHT", "Moves", "by_cutter", "moves_of", "starts_of"]

APPROACH_MM = 1.0  #: down to this height above the face at full speed, from there on at the plunge feed; our own choice

ACROSS, HEIGHT, DOWN, CUT = range(4)  #: fast at the safe height; fast straight up or down; down at a feed; along at one

_FEED_STEP_MM = 10.0  #: feeds are rounded down to this, so that they don't change at every move
_SAME_MM = 0.001  #: a path that begins so near to where the last one ended goes on from it


@dataclass(frozen=True, eq=False)
class Moves:
    """Straight moves, each from where the one before ended; the first begins where it ends, at the safe height."""

    to: Floats  #: (n, 3), mm, as the paths count
    kind: Indices  #: `ACROSS`, `HEIGHT`, `DOWN` or `CUT`; (n,)
    feed_mm_min: Floats  #: of moves that cut; infinite of fast ones; (n,)
    operation: Indices  #: the number of the operation that each belongs to; (n,)

    @property
    def fast(self) -> Mask:
        """Which go as fast as the machine moves; (n,)."""
        return self.kind <= HEIGHT


def by_cutter(operations: Sequence[Operation]) -> list[tuple[Operation, ...]]:
    """The operations that one cutter does without a change: one program each."""
    return [tuple(group) for _, group in groupby(operations, key=lambda operation: operation.cutter.key)]


def starts_of(job: Job, operations: Sequence[Operation]) -> dict[str, Start]:
    """Where each cutter of a plan begins, by its key: by the deepest pass that it really takes."""
    deepest: dict[str, float] = {}
    for operation in operations:
        pass_mm = operation.depth_mm if operation.pass_mm is None else operation.pass_mm
        deepest[operation.cutter.key] = max(deepest.get(operation.cutter.key, 0.0), pass_mm)
    cutters = {operation.cutter.key: operation.cutter for operation in operations}
    return {key: feeds.starting_point(job.material.key, cutters[key], job.machine, deepest[key]) for key in cutters}


def moves_of(operations: Sequence[Operation], start: Start, safe_mm: float) -> Moves:
    """Every move of one cutter: above each path's beginning, down, along, and up again.

    Where a path begins at the end of the one before in its operation, it goes on without lifting. No move goes down
    faster than the plunge feed, whatever its slope.
    """
    rounds = [
        (k, operation.paths)
        for k, operation in enumerate(operations)
        for _ in range(operation.passes)
        if len(operation.paths)
    ]
    paths = joined([each for _, each in rounds])
    if not len(paths):
        return Moves(np.empty((0, 3)), *(np.empty(0, dtype=np.int64), np.empty(0), np.empty(0, dtype=np.int64)))
    first = np.zeros(len(paths), dtype=bool)
    first[np.cumsum([0, *(len(each) for _, each in rounds)])[:-1]] = True
    own = np.repeat([k for k, _ in rounds], [len(each) for _, each in rounds])
    onward = ~first
    onward[1:] &= np.linalg.norm(paths.entries[1:] - paths.exits[:-1], axis=1) < _SAME_MM
    to, kind, count = _rows(paths, onward, safe_mm)
    return Moves(to, kind, _feeds(to, kind, start), np.repeat(own, count))


def _rows(paths: Paths, onward: Mask, safe_mm: float) -> tuple[Floats, Indices, Indices]:
    """Where each move goes and of what kind it is, and how many moves each path takes."""
    lowered, lifted = 2 * ~onward, (~np.append(onward[1:], False)).astype(np.int64)
    points = np.diff(paths.start) + paths.closed
    count = lowered + points - onward + lifted
    begin = np.cumsum(count) - count
    to, kind = np.empty((count.sum(), 3)), np.full(count.sum(), CUT)
    enter = begin[~onward]
    to[enter] = to[enter + 1] = paths.entries[~onward]
    to[enter, 2], to[enter + 1, 2] = safe_mm, APPROACH_MM
    kind[enter], kind[enter + 1], kind[enter + 2] = ACROSS, HEIGHT, DOWN
    owner = np.repeat(np.arange(len(paths)), points - onward)
    along = np.arange(len(owner)) - np.repeat(np.cumsum(points - onward) - (points - onward), points - onward)
    point = paths.start[owner] + (along + onward[owner]) % np.diff(paths.start)[owner]
    to[begin[owner] + lowered[owner] + along] = paths.xyz[point]
    last = (begin + count - 1)[lifted > 0]
    to[last] = paths.exits[lifted > 0]
    to[last, 2], kind[last] = safe_mm, HEIGHT
    return to, kind, count


def _feeds(to: Floats, kind: Indices, start: Start) -> Floats:
    step = np.diff(to, axis=0, prepend=to[:1])
    fall = -step[:, 2] / np.maximum(np.linalg.norm(step, axis=1), 1e-12)
    slowed = np.where(fall > 0, start.plunge_mm_min / np.maximum(fall, 1e-12), np.inf)
    feed = np.minimum(start.feed_mm_min, slowed)
    feed = np.maximum(np.floor(feed / _FEED_STEP_MM + 1e-9) * _FEED_STEP_MM, np.minimum(feed, _FEED_STEP_MM))
    return np.asarray(np.where(kind <= HEIGHT, np.inf, feed), dtype=np.float64)
