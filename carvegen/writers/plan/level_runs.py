"""Paths as drawings hold them: level stretches by themselves, so that only what slopes needs a depth at each point."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.toolpaths.paths import Paths

if TYPE_CHECKING:
    from carvegen.geometry import Indices, Mask

__all__ = ["level_runs"]

_SAME_MM = 0.0005  #: nearer numbers are written alike
_SHORTEST = 4  #: sides of a level stretch that is worth a line of its own beside a slope; our own choice
_RING = 3  #: sides of a closed path at least
_DROP, _LEVEL, _SLOPE = 0, 1, 2


def level_runs(paths: Paths) -> Paths:
    """The same ways in the same order, each path cut where it goes straight down and where long level ways begin.

    What is straight down between two stretches is left out: the next one's height says it. A path that goes
    nowhere but down stays, and so does a closed path.
    """
    if not len(paths):
        return paths
    kind = _kinds(paths)
    first = paths.start[:-1]
    sides = np.flatnonzero(kind >= 0)
    if not len(sides):  # closed paths and single points only
        return paths
    own, its = paths.owner[sides], kind[sides]
    begins = np.append(True, (np.diff(own) != 0) | (np.diff(its) != 0))
    run = np.cumsum(begins) - 1
    short = (its == _LEVEL) & (np.bincount(run)[run] < _SHORTEST) & _beside_slope(own, its, begins)[run]
    its = np.where(short, _SLOPE, its)
    begins = np.append(True, (np.diff(own) != 0) | (np.diff(its) != 0))
    at = np.flatnonzero(begins)
    ends = np.append(at[1:], len(sides)) - 1
    kept = its[at] != _DROP
    begin, end = sides[at[kept]], sides[ends[kept]] + 1
    whole = np.flatnonzero(paths.closed | (np.diff(paths.start) == 1))
    return _stretches(
        paths, np.concatenate([begin, first[whole]]), np.concatenate([end, paths.start[1:][whole] - 1]),
        np.concatenate([np.zeros(len(begin), dtype=bool), paths.closed[whole]]),
    )  # fmt: skip


def _kinds(paths: Paths) -> Indices:
    """What each side is, by its first point: straight down, level or sloped; -1 where no open path's side begins."""
    step = np.abs(np.diff(paths.xyz, axis=0, append=paths.xyz[-1:]))
    down = step[:, :2].max(axis=1) < _SAME_MM
    level = np.round(paths.xyz[:, 2], 3) == np.round(np.append(paths.xyz[1:, 2], paths.xyz[-1, 2]), 3)
    kind = np.where(level, _LEVEL, np.where(down, _DROP, _SLOPE))
    only = np.maximum.reduceat(np.where(np.isin(np.arange(len(kind)), paths.start[1:] - 1), 0, kind), paths.start[:-1])
    kind = np.where((only == _DROP)[paths.owner], _SLOPE, kind)
    kind[paths.start[1:] - 1] = -1
    return np.where(paths.closed[paths.owner], -1, kind)


def _beside_slope(own: Indices, its: Indices, begins: Mask) -> Mask:
    """Which stretches follow a slope of their path or are followed by one; (stretches,)."""
    at = np.flatnonzero(begins)
    path, kind = own[at], its[at]
    after = np.append(False, (path[1:] == path[:-1]) & (kind[:-1] == _SLOPE))
    before = np.append((path[1:] == path[:-1]) & (kind[1:] == _SLOPE), False)
    return np.asarray(after | before)


def _stretches(paths: Paths, begin: Indices, end: Indices, closed: Mask) -> Paths:
    """From point to point, in the order of the paths; what comes back to its first point is closed."""
    order = np.argsort(begin, kind="stable")
    begin, end, closed = begin[order], end[order], closed[order]
    comes_back = ~closed & (end - begin >= _RING) & (np.abs(paths.xyz[begin] - paths.xyz[end]).max(axis=1) < _SAME_MM)
    count = end - begin + 1 - comes_back
    start = np.concatenate([[0], np.cumsum(count)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], count)
    return Paths(paths.xyz[np.repeat(begin, count) + within], start, closed | comes_back)
