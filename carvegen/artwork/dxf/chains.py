"""Open lines that meet end to end, joined into rings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["GAP_MM", "rings"]

GAP_MM = 0.05  #: ends not further apart than this are taken for one
_SAME_MM = 1e-4  #: ends not further apart than this are the same point
_LISTED = 4


def rings(lines: list[Floats]) -> tuple[list[Floats], int]:
    """Closed rings made of `lines`, each (n, 2) in mm, and how many gaps were bridged.

    Raises
    ------
    InputError
        If an end meets none other or more than one; the first few places are listed.
    """
    lines = [line for line in lines if len(line) > 1 and (line != line[0]).any()]
    if not lines:
        return [], 0
    ends = np.concatenate([np.stack([line[0], line[-1]]) for line in lines])
    knot = _clusters(ends, _SAME_MM)
    loose = np.bincount(knot)[knot] == 1
    bridged = int(loose.sum()) // 2
    if loose.any():
        knot = knot.copy()
        knot[loose] = knot.max() + 1 + _clusters(ends[loose], GAP_MM)
    degree = np.bincount(knot)[knot]
    if (degree != 2).any():
        raise _unclosed(ends, degree)
    return _walked(lines, knot), bridged


def _clusters(ends: Floats, reach: float) -> Indices:
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    spots = np.asarray(shapely.points(ends))
    left, right = shapely.STRtree(spots).query(spots, predicate="dwithin", distance=reach)
    links = coo_array((np.ones(len(left), dtype=bool), (left, right)), shape=(len(ends), len(ends)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)


def _walked(lines: list[Floats], knot: Indices) -> list[Floats]:
    """Follow the knots around; end 2k is the start of line k, 2k + 1 its finish."""
    order = np.argsort(knot, kind="stable").reshape(-1, 2)
    partner = np.empty(len(knot), dtype=np.int64)
    partner[order[:, 0]], partner[order[:, 1]] = order[:, 1], order[:, 0]
    found, done = [], np.zeros(len(lines), dtype=bool)
    for first in range(len(lines)):
        end, run = 2 * first, []
        while not done[end // 2]:
            done[end // 2] = True
            run.append(lines[end // 2] if end % 2 == 0 else lines[end // 2][::-1])
            end = int(partner[end ^ 1])
        if run:
            found.append(np.concatenate(run))
    return found


def _unclosed(ends: Floats, degree: Indices) -> InputError:
    bad = ends[degree != 2]
    listed = "; ".join(f"{x:.2f}, {y:.2f}" for x, y in bad[:_LISTED])
    more = f" and {len(bad) - _LISTED} more" if len(bad) > _LISTED else ""
    branches = int((degree > 2).sum())
    what = f"{len(bad)} line ends don't meet just one other" if branches else f"{len(bad)} line ends are loose"
    return InputError(
        f"has outlines that don't close: {what}, at {listed}{more} (mm)",
        hint=f"close the outlines in the drawing program; gaps up to {GAP_MM} mm are closed here",
    )
