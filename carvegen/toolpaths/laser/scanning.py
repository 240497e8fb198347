"""Areas filled with lines: parallel from side to side, or nested along their outlines."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.paths import (
    Paths,
    from_rings,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.sequence.order import ordered

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["begun_at", "contours", "from_leftmost", "go_round", "outlines", "row_crossings", "scan_lines"]

_TURNS_MM2 = 1e-9  #: of a side's triangle with the middle, twice: more than rounding
_SHORTEST_MM = 0.02  #: a line shorter than it burns a spot that its neighbours burn anyway


def scan_lines(shapes: PolygonArray, spacing_mm: float) -> Paths:
    """Level lines inside shapes, row by row upwards, there and back in turn.

    Row k lies at ``(k + 1/2) spacing``. Where an outline is crossed is found for all edges at once, and
    crossings of one row and shape pair up by the even-odd rule.
    """
    if not len(shapes):
        return no_paths()
    rings = geometry.rings(shapes)
    edge, row, x = row_crossings(rings.xy, rings.xy[rings.edge_ends], spacing_mm)
    order = np.lexsort((x, rings.owner[rings.ring[edge]], row))
    row, left, right = row[order][::2], x[order][::2], x[order][1::2]
    long = right - left >= _SHORTEST_MM
    row, left, right = row[long], left[long], right[long]
    back = row % 2 == 1
    order = np.lexsort((np.where(back, -right, left), row))
    begin, end = np.where(back, right, left)[order], np.where(back, left, right)[order]
    y = (row[order] + 0.5) * spacing_mm
    xyz = np.stack([np.column_stack([side, y, np.zeros(len(y))]) for side in (begin, end)], axis=1)
    return Paths(xyz.reshape(-1, 3), 2 * np.arange(len(y) + 1), np.zeros(len(y), dtype=bool))


def row_crossings(one: Floats, other: Floats, spacing: float) -> tuple[Indices, Indices, Floats]:
    """Edge, row and x of each place where edges (n, 2) cross a row; an even number for each row and closed outline."""
    low = np.ceil(np.minimum(one[:, 1], other[:, 1]) / spacing - 0.5).astype(np.int64)
    high = np.ceil(np.maximum(one[:, 1], other[:, 1]) / spacing - 0.5).astype(np.int64)
    count = high - low  # rows with low end <= row < high end: a corner on a row counts once for two edges
    edge = np.repeat(np.arange(len(one)), count)
    row = low[edge] + geometry.counted(count)
    step = other[edge] - one[edge]
    x = one[edge, 0] + ((row + 0.5) * spacing - one[edge, 1]) / step[:, 1] * step[:, 0]
    return edge, row, x


def contours(shapes: PolygonArray, spacing_mm: float, *, most: int = 0) -> tuple[Paths, Indices]:
    """Outlines of the shapes, and inside them outlines `spacing_mm` further in until nothing is left.

    Shape by shape in the order given, in each from the inside outwards; every ring begins at its left. Where a
    shape falls into several on the way, its rings come by a short way instead.

    Parameters
    ----------
    most
        So many times at most; 0: until nothing is left.

    Returns
    -------
    tuple
        The rings, and for each the number of its shape.

    """
    rings, owners, levels = [], [], []
    owner, level = np.arange(len(shapes)), 0
    while len(shapes) and (not most or level < most):
        paths, whose = outlines(shapes)
        rings.append(paths)
        owners.append(owner[whose])
        levels.append(np.full(len(paths), level))
        smaller = geometry.offset(shapes, -spacing_mm)
        pieces, where = shapely.get_parts(smaller, return_index=True)
        whole = shapely.area(pieces) > 0
        shapes, owner, level = pieces[whole], owner[where[whole]], level + 1
    if not rings:
        return no_paths(), np.empty(0, dtype=np.int64)
    all_, level_of = np.concatenate(owners), np.concatenate(levels)
    order = np.lexsort((-level_of, all_))
    return _branches_in_order(picked(joined(rings), order), all_[order], level_of[order])


def _branches_in_order(paths: Paths, owner: Indices, level: Indices) -> tuple[Paths, Indices]:
    """Rings shape by shape; those of a shape with several on one level by a short way."""
    alike = (np.diff(owner) == 0) & (np.diff(level) == 0)
    parts, done = [], 0
    for shape in np.unique(owner[1:][alike]).tolist():
        begin, end = np.searchsorted(owner, [shape, shape + 1]).tolist()
        parts += [picked(paths, np.arange(done, begin)), ordered(picked(paths, np.arange(begin, end)))]
        done = end
    return joined([*parts, picked(paths, np.arange(done, len(paths)))]), owner


def from_leftmost(paths: Paths) -> Paths:
    """Closed paths, each begun at its leftmost point, so that nested ones begin near one another."""
    if not len(paths):
        return paths
    x = paths.xyz[:, 0]
    leftmost = np.minimum.reduceat(x, paths.start[:-1])
    hit = np.flatnonzero(x == leftmost[paths.owner])
    first = hit[np.searchsorted(paths.owner[hit], np.arange(len(paths)))]
    return begun_at(paths, first - paths.start[:-1])


def outlines(shapes: PolygonArray) -> tuple[Paths, Indices]:
    """The rings of shapes on the grid of all files, each begun at its left; and for each the number of its shape.

    Rounded point by point; a shape that doesn't stay whole so (points fall together, edges cross) is laid on the
    grid as a whole, or what of it is narrower than the grid would be followed there and back.
    """
    rings = geometry.rings(shapes)
    paths, kept = _on_grid(from_rings(rings))
    whole = go_round(paths) & (np.bincount(rings.owner)[rings.owner[kept]] == 1)
    paths, whose = picked(paths, np.flatnonzero(whole)), rings.owner[kept][whole]
    rest = np.setdiff1d(np.arange(len(shapes)), whose)
    if len(rest):
        others, of = _laid_on_grid(shapes[rest])
        whose = np.concatenate([whose, rest[of]])
        order = np.argsort(whose, kind="stable")
        paths, whose = picked(joined([paths, others]), order), whose[order]
    return from_leftmost(paths), whose


def _laid_on_grid(shapes: PolygonArray) -> tuple[Paths, Indices]:
    """The same of shapes that may be spoilt, not begun anywhere else."""
    on_grid = shapely.transform(shapes, _to_grid)
    spoilt = ~shapely.is_valid(on_grid)
    on_grid[spoilt] = shapely.set_precision(shapes[spoilt], geometry.GRID_MM)
    pieces, whose = geometry.owned_parts(on_grid)
    rings = geometry.rings(pieces)
    paths, kept = _on_grid(from_rings(rings))
    return paths, whose[rings.owner[kept]]


def go_round(paths: Paths) -> Mask:
    """Which closed paths surely cross themselves nowhere: each side leaves the middle on its left, in one turn.

    Such a path meets every ray from the middle once (star-shaped; plane geometry).
    """
    if not len(paths):
        return np.zeros(0, dtype=bool)
    first, sizes, onward = paths.start[:-1], np.diff(paths.start), paths.onward
    x, y = (side - np.repeat(np.add.reduceat(side, first) / sizes, sizes) for side in paths.xyz[:, :2].T)
    left = np.minimum.reduceat(x * y[onward] - x[onward] * y, first) > _TURNS_MM2
    turns = np.add.reduceat((y < 0) & (y[onward] >= 0), first, dtype=np.int64)
    return np.asarray(left & (turns == 1))


def _to_grid(xy: Floats) -> Floats:
    return np.round(xy / geometry.GRID_MM) * geometry.GRID_MM


def _on_grid(paths: Paths) -> tuple[Paths, Indices]:
    """Paths on the grid of all files, without points that fall together there; and the numbers of those left.

    A path that falls to a point, or a closed one to a line, is left out.
    """
    xyz = _to_grid(paths.xyz)
    before = np.arange(-1, len(xyz) - 1)
    before[paths.start[:-1]] = np.where(paths.closed, paths.start[1:] - 1, -1)
    moved = np.abs(xyz - xyz[before]) > geometry.GRID_MM / 2
    apart = moved[:, 0] | moved[:, 1] | moved[:, 2] | (before < 0)
    count = np.bincount(paths.owner[apart], minlength=len(paths))
    kept = count >= np.where(paths.closed, 3, 2)
    stays = apart & kept[paths.owner]
    start = np.concatenate([[0], np.cumsum(count[kept])])
    return Paths(xyz[stays], start, paths.closed[kept]), np.flatnonzero(kept)


def begun_at(paths: Paths, place: Indices) -> Paths:
    """Closed paths, each begun at the point of this number, counted from where it began; (paths,)."""
    count = np.diff(paths.start)
    within = np.arange(len(paths.xyz)) - np.repeat(paths.start[:-1], count)
    moved = (within + np.repeat(place, count)) % np.repeat(count, count)
    return Paths(paths.xyz[np.repeat(paths.start[:-1], count) + moved], paths.start, paths.closed)
