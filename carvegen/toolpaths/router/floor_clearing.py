"""The floor of a cut: nested rings from the inside out, or lines to and fro, so close that nothing is left."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.cutter_centre_region import shrunk
from carvegen.toolpaths.paths import Paths, no_paths
from carvegen.toolpaths.router.wall_passes import climbing
from carvegen.toolpaths.sequence.tours import tour

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Indices, PolygonArray

__all__ = ["by_tour", "nested", "to_and_fro"]


_EASED = 0.05  #: of a step: how far a ring's points may move when some are left out; they move by up to twice that


def nested(region: NDArray[np.object_], first_mm: float, step_mm: float) -> tuple[Paths, Indices]:
    """Rings inside each region, the inner ones before those round them.

    The distance from the outline changes by no more than the way that is gone: every place that is at least
    `first_mm` inside lies within `step_mm` of a ring. With steps of at most the cutter's half-width, nothing is
    left between rings, at corners or in the middle. Rings that are a step off the wall are drawn with fewer points,
    by less than a tenth of a step.

    Returns
    -------
    tuple
        Closed paths at the face, and the number of each one's region.
    """
    levels, parents = [], []
    level, parent = geometry.owned_parts(shrunk(region, first_mm) if first_mm > 0 else region)
    while len(level):
        levels.append(level)
        parents.append(parent)
        level, parent = geometry.owned_parts(shapely.simplify(shrunk(level, step_mm), _EASED * step_mm))
    if not levels:
        return no_paths(), np.empty(0, dtype=np.int64)
    owners = _owners(parents)
    order = np.argsort(_inner_first([len(level) for level in levels], parents), kind="stable")
    paths, polygon = climbing(geometry.stack(levels)[order])
    return paths, np.concatenate(owners)[order][polygon]


def _owners(parents: list[Indices]) -> list[Indices]:
    """For each polygon of each level the number of its region."""
    owners = [parents[0]]
    for parent in parents[1:]:
        owners.append(owners[-1][parent])
    return owners


def _inner_first(counts: list[int], parents: list[Indices]) -> Indices:
    """The place of each polygon, level by level, in an order in which every inner one precedes what is round it."""
    sizes = [np.ones(count, dtype=np.int64) for count in counts]
    for k in range(len(counts) - 1, 0, -1):
        np.add.at(sizes[k - 1], parents[k], sizes[k])
    begins = [np.concatenate([[0], np.cumsum(sizes[0])[:-1]])]
    for k in range(1, len(counts)):
        before = np.cumsum(sizes[k]) - sizes[k]
        _, first, group = np.unique(parents[k], return_index=True, return_inverse=True)
        begins.append(begins[k - 1][parents[k]] + before - before[first][group])
    return np.concatenate([begin + size - 1 for begin, size in zip(begins, sizes, strict=True)])


def to_and_fro(region: NDArray[np.object_], inset_mm: float, step_mm: float) -> tuple[Paths, Indices]:
    """Level lines `step_mm` apart across each region, `inset_mm` inside it, joined at their ends where that is inside.

    Returns
    -------
    tuple
        Open paths at the face, and the number of each one's region.
    """
    parts, owner = geometry.owned_parts(shrunk(region, inset_mm))
    part, row, ends = _rows(parts, step_mm)
    begins = _breaks(parts, part, row, ends)
    xy = ends.reshape(-1, 2)
    start = np.concatenate([2 * np.flatnonzero(begins), [len(xy)]])
    paths = Paths(np.column_stack([xy, np.zeros(len(xy))]), start, np.zeros(len(start) - 1, dtype=bool))
    return paths, owner[part[begins]]


def _rows(parts: PolygonArray, step_mm: float) -> tuple[Indices, Indices, geometry.Floats]:
    """The lines across each part: its number, the line's row, and its ends (n, 2, 2), in the order of working.

    Rows of a part are spread evenly over its height, at most `step_mm` apart; odd ones run to the left.
    """
    x0, y0, x1, y1 = shapely.bounds(parts).reshape(-1, 4).T
    counts = np.maximum(1, np.ceil((y1 - y0) / step_mm).astype(np.int64))
    part = np.repeat(np.arange(len(parts)), counts)
    row = geometry.counted(counts)
    y = y0[part] + (row + 0.5) * ((y1 - y0) / counts)[part]
    across = geometry.lines(np.column_stack([x0[part] - 1, y]), np.column_stack([x1[part] + 1, y]))
    pieces, line = shapely.get_parts(shapely.intersection(across, parts[part]), return_index=True)
    solid = shapely.length(pieces) > 0
    pieces, line = pieces[solid], line[solid]
    ends = shapely.get_coordinates(pieces).reshape(-1, 2, 2)
    order = np.lexsort([ends[:, :, 0].min(axis=1), line])
    ends = np.take_along_axis(ends, np.argsort(ends[:, :, 0], axis=1)[:, :, None], axis=1)
    ends[row[line] % 2 == 1] = ends[row[line] % 2 == 1][:, ::-1]
    rank = np.arange(len(line)) - np.searchsorted(line[order], line[order])
    part, row, ends = part[line[order]], row[line[order]], ends[order]
    order = np.lexsort([row, rank, part])
    return part[order], row[order], ends[order]


def _breaks(parts: PolygonArray, part: Indices, row: Indices, ends: geometry.Floats) -> geometry.Mask:
    """Where a new path begins: the way from one line to the next would leave the part."""
    begins = np.ones(len(part), dtype=bool)
    near = np.flatnonzero((np.diff(part) == 0) & (np.diff(row) == 1))
    links = geometry.lines(ends[near, 1], ends[near + 1, 0])
    begins[near + 1] = ~shapely.covers(shapely.buffer(parts, _TOUCH_MM, quad_segs=1)[part[near]], links)
    return begins


_TOUCH_MM = 1e-6  #: ends of lines lie on the outline only nearly


def by_tour(flat: Paths, group: Indices) -> Indices:
    """An order in which groups follow one another by a short way; the order within a group stays."""
    if not len(flat):
        return np.empty(0, dtype=np.int64)
    groups, first, number = np.unique(group, return_index=True, return_inverse=True)
    at = np.repeat(flat.entries[first, :2], 2, axis=0)
    place = np.empty(len(groups), dtype=np.int64)
    place[tour(at, np.zeros(2)) >> 1] = np.arange(len(groups))
    return np.lexsort([np.arange(len(flat)), place[number]])
