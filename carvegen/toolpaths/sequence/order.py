"""The order in which paths are followed: groups one after another, a short way in each, heat kept apart."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.progress import each_part
from carvegen.toolpaths.paths import Paths, picked
from carvegen.toolpaths.sequence.tours import tour

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["cooled", "ordered", "travel_mm", "turned"]

_AHEAD = 12  #: paths looked at for one that lies far enough off


def ordered(
    paths: Paths,
    *,
    rank: Indices | None = None,
    home: tuple[float, float] = (0.0, 0.0),
    turn: bool = True,
) -> Paths:
    """The paths in an order with short ways between them.

    Parameters
    ----------
    rank
        Paths of a lower rank come before all of a higher one; (paths,). None: all alike.
    home
        Where the cutter comes from, mm.
    turn
        Whether an open path may be followed from its other end. If not, the order goes by where paths begin.
    """
    if not len(paths):
        return paths
    rank = np.zeros(len(paths), dtype=np.int64) if rank is None else rank
    place, order, back = np.array(home, dtype=np.float64), [], []
    begins = paths.entries[:, :2]
    ends = np.stack([begins, paths.exits[:, :2] if turn else begins], axis=1)
    levels, counts = np.unique(rank, return_counts=True)
    for level, touring in zip(levels, each_part(counts.tolist()), strict=True):
        group = np.flatnonzero(rank == level)
        with touring:
            entered = tour(ends[group].reshape(-1, 2), place)
        order.append(group[entered >> 1])
        back.append((entered & 1).astype(bool))
        place = ends[order[-1][-1], 1 - int(back[-1][-1])]
    chosen, reverse = np.concatenate(order), np.concatenate(back) & turn
    return turned(picked(paths, chosen), reverse & ~paths.closed[chosen])


def turned(paths: Paths, which: Mask) -> Paths:
    """The paths, those marked followed the other way round; (paths,)."""
    owner = paths.owner
    mirror = paths.start[owner] + paths.start[owner + 1] - 1 - np.arange(len(paths.xyz))
    point = np.where(which[owner], mirror, np.arange(len(owner)))
    return Paths(paths.xyz.take(point, axis=0), paths.start, paths.closed)


def travel_mm(paths: Paths) -> Floats:
    """The straight ways between one path's end and the next one's beginning; (paths - 1,)."""
    step = paths.entries[1:, :2] - paths.exits[:-1, :2]
    return np.hypot(step[:, 0], step[:, 1])


def cooled(paths: Paths, rest_mm: float, *, rank: Indices | None = None) -> Indices:
    """An order near to the given one in which a path follows none whose middle lies within `rest_mm`, if it may.

    A path that comes too early waits while one of the next few is taken instead, so the way grows little.
    Where all of these lie near, the order stays: heat is kept apart where that costs no long way.

    Returns
    -------
    Indices
        Numbers of the paths; ranks are kept.
    """
    rank = np.zeros(len(paths), dtype=np.int64) if rank is None else rank
    x, y = _middles(paths).T.tolist() if len(paths) else ([], [])
    waiting = list(range(min(_AHEAD, len(paths))))
    following, order, last, least = len(waiting), [], -1, rest_mm * rest_mm
    ranks = rank.tolist()
    while waiting:
        chosen = 0
        for k, path in enumerate(waiting):
            if ranks[path] != ranks[waiting[0]]:
                break
            if last < 0 or (x[path] - x[last]) ** 2 + (y[path] - y[last]) ** 2 >= least:
                chosen = k
                break
        last = waiting.pop(chosen)
        order.append(last)
        if following < len(x):
            waiting.append(following)
            following += 1
    return np.array(order, dtype=np.int64)


def _middles(paths: Paths) -> Floats:
    """The middle of each path's points; (paths, 2)."""
    if not len(paths):
        return np.empty((0, 2))
    sums = np.add.reduceat(paths.xyz[:, :2], paths.start[:-1], axis=0)
    return np.asarray(sums / np.diff(paths.start)[:, None], dtype=np.float64)
