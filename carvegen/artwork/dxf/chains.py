"""Open lines that meet end to end, joined into rings."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["GAP_MM", "Chained", "chained", "places"]

GAP_MM = 0.05  #: ends not further apart than this are taken for one
_SAME_MM = 1e-4  #: ends not further apart than this are the same point
_LISTED = 4


@dataclass(frozen=True, eq=False)
class Chained:
    """What open lines make together."""

    rings: list[Floats]
    bridged: int = 0  #: gaps that were closed
    open: list[Floats] = field(default_factory=list)  #: lines that are part of no ring


def chained(lines: list[Floats]) -> Chained:
    """Closed rings made of `lines`, each (n, 2) in mm, and the lines that close none.

    What hangs on a ring by one end is taken off it; where several rings share a corner it is not known which lines
    belong together, and all of them stay open.
    """
    lines = [line for line in lines if len(line) > 1 and (line != line[0]).any()]
    if not lines:
        return Chained([])
    ends = np.concatenate([np.stack([line[0], line[-1]]) for line in lines])
    knot = geometry.near_groups(np.asarray(shapely.points(ends)), _SAME_MM)
    loose = np.bincount(knot)[knot] == 1
    if loose.any():
        knot = knot.copy()
        knot[loose] = knot.max() + 1 + geometry.near_groups(np.asarray(shapely.points(ends[loose])), GAP_MM)
    closed = _closing(knot.reshape(-1, 2))
    kept = np.repeat(closed, 2)
    return Chained(
        rings=_walked([lines[k] for k in np.flatnonzero(closed)], knot[kept]) if closed.any() else [],
        bridged=int((kept & loose).sum()) // 2,
        open=[lines[k] for k in np.flatnonzero(~closed)],
    )


def _closing(knots: Indices) -> Mask:
    """Which lines, by the knots of their two ends, (n, 2), make rings that touch no other line at a corner."""
    count = int(knots.max()) + 1
    kept = _without_loose(knots, count)
    degree = np.bincount(knots[kept].ravel(), minlength=count)
    part = geometry.linked_groups(count, *knots[kept].T)
    tangled = np.bincount(part, weights=degree > 2) > 0
    return np.asarray(kept & ~tangled[part[knots[:, 0]]])


def _without_loose(knots: Indices, count: int) -> Mask:
    """The lines that are left when those with a free end are taken away, one after the other."""
    at: list[set[int]] = [set() for _ in range(count)]
    for line, pair in enumerate(knots.tolist()):
        for knot in pair:
            at[knot].add(line)
    kept = np.ones(len(knots), dtype=bool)
    waiting = [knot for knot in range(count) if len(at[knot]) == 1 and not _is_loop(at[knot], knots)]
    while waiting:
        knot = waiting.pop()
        for line in list(at[knot]):
            kept[line] = False
            for other in knots[line].tolist():
                at[other].discard(line)
                if len(at[other]) == 1 and not _is_loop(at[other], knots):
                    waiting.append(other)
    return kept


def _is_loop(lines: set[int], knots: Indices) -> bool:
    """Whether the only line at a knot comes back to it."""
    (line,) = lines
    return bool(knots[line, 0] == knots[line, 1])


def _walked(lines: list[Floats], knot: Indices) -> list[Floats]:
    """Follow the knots around; end 2k is the start of line k, 2k + 1 its finish."""
    order = np.argsort(knot, kind="stable").reshape(-1, 2)
    partner = np.empty(len(knot), dtype=np.int64)
    partner[order[:, 0]], partner[order[:, 1]] = order[:, 1], order[:, 0]
    chains, done = [], np.zeros(len(lines), dtype=bool)
    for first in range(len(lines)):
        end, run = 2 * first, []
        while not done[end // 2]:
            done[end // 2] = True
            run.append(lines[end // 2] if end % 2 == 0 else lines[end // 2][::-1])
            end = int(partner[end ^ 1])
        if run:
            chains.append(np.concatenate(run))
    return chains


def places(lines: list[Floats]) -> str:
    """Where lines lie, by their ends: the first few."""
    listed = "; ".join("{:.2f}, {:.2f} to {:.2f}, {:.2f}".format(*line[0], *line[-1]) for line in lines[:_LISTED])
    return f"{listed}{f' and {len(lines) - _LISTED} more' if len(lines) > _LISTED else ''} (mm)"
