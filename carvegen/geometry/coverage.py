"""How much of each pixel shapes cover: exact areas, no sampling, no loop over pixels or shapes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.geometry import (
        Floats,
        Indices,
        PolygonArray,
        Rings,
    )

__all__ = ["coverage", "ring_coverage"]

_ONE_CUT = 2  #: pieces of an edge that is cut once
_BAND = 32  #: summed up at a time: they stay close to the processor
_AT_ONCE = 32_768  #: edges looked at together: so do they


def coverage(shapes: PolygonArray, size: tuple[int, int]) -> Floats:
    """The share of each pixel that lies in disjoint shapes; as `ring_coverage`."""
    return ring_coverage(geometry.rings(shapes), size)


def ring_coverage(rings: Rings, size: tuple[int, int]) -> Floats:
    """The share of each pixel that lies on the left of rings: outlines run counter-clockwise, holes clockwise.

    Parameters
    ----------
    found
        In pixels: x right, y up, origin at the picture's lower left corner; may reach out of the picture.
    size
        Columns and rows.

    Returns
    -------
    Floats
        0…1, (rows, columns); the first row is the upper one.

    Notes
    -----
    By Green's theorem the area of a shape is the sum over its edges of ``x dy``. Each edge is cut where it
    passes from pixel to pixel; a piece with rise dy at mean distance f from its pixel's left side covers
    ``(1 - f) dy`` of that pixel and ``dy`` of each pixel to the right of it, which a running sum spreads.
    """
    columns, rows = size
    wide, ends = columns + 2, rings.edge_ends
    added = [
        _added(rings.xy[k : k + _AT_ONCE], rings.xy.take(ends[k : k + _AT_ONCE], axis=0), k, size)
        for k in range(0, max(len(ends), 1), _AT_ONCE)
    ]
    cell, here, beyond = (np.concatenate(each) for each in zip(*added, strict=True))
    cells = np.bincount(cell, weights=here, minlength=rows * wide)
    cells += np.bincount(cell + 1, weights=beyond, minlength=rows * wide)
    sums, result = cells.reshape(rows, wide), np.empty((rows, columns))
    for begin in range(0, rows, _BAND):
        band = slice(begin, begin + _BAND)
        np.clip(-np.cumsum(sums[band], axis=1)[:, :columns], 0, 1, out=result[band])
    return result[::-1]


def _added(first: Floats, last: Floats, number: int, size: tuple[int, int]) -> tuple[Indices, Floats, Floats]:
    """Of each piece of edges its pixel, in rows of two more than there are, and what it adds there and to the right."""
    columns, rows = size
    (x, to_x), (y, to_y) = _pieces(first.T, last.T, number)
    rise, x = to_y - y, np.clip((x + to_x) / 2, 0, columns)
    row = np.floor((y + to_y) / 2).astype(np.int64)
    inside = (row >= 0) & (row < rows)
    if not inside.all():
        row, x, rise = row[inside], x[inside], rise[inside]
    column = np.floor(x).astype(np.int64)
    into = x - column
    return row * (columns + 2) + column, (1 - into) * rise, into * rise


def _pieces(first: Floats, last: Floats, number: int) -> list[tuple[Floats, Floats]]:
    """Edges, numbered from `number` on, cut at every whole x and y: both ends of the pieces, edge by edge, x and y."""
    run = last - first
    along = [_crossings(*each) for each in zip(first, run, strict=True)]
    (by_x, _), (by_y, _) = along
    count = np.bincount(by_x, minlength=len(run[0])) + np.bincount(by_y, minlength=len(run[0])) + 1
    begin = geometry.starts(count)[:-1]
    edge = np.repeat(np.arange(len(count)), count)
    share = _cut_shares(along, count, begin, edge, number)
    end = np.append(share[1:], 1.0)
    end[begin[1:] - 1] = 1.0
    pieces = []
    for side, by in zip(first, run, strict=True):
        from_, step = np.repeat(side, count), np.repeat(by, count)
        pieces.append((from_ + share * step, from_ + end * step))
    return pieces


def _cut_shares(
    along: Sequence[tuple[Indices, Floats]], count: Indices, begin: Indices, edge: Indices, number: int
) -> Floats:
    """How far along its edge each piece begins; only the cuts of edges with several are sorted.

    Digits go with the edge's number: it counts on from `number`, so that they are the same however many come at once.
    """
    share = np.zeros(len(edge))
    several = count > _ONE_CUT
    keys = []
    for cut_edge, at in along:
        alone, whole = ~several[cut_edge], cut_edge + number
        key = whole + at
        share[begin[cut_edge[alone]] + 1] = (key - whole)[alone]
        keys.append(key[~alone])
    inner = several[edge]
    inner[begin] = False
    share[inner] = np.sort(np.concatenate(keys)) - (edge[inner] + number)
    return share


def _crossings(start: Floats, run: Floats) -> tuple[Indices, Floats]:
    """Where edges cross whole numbers: the edge, and how far along it as a share below 1."""
    low = np.floor(np.minimum(start, start + run))
    count = np.clip(np.ceil(np.maximum(start, start + run)) - low - 1, 0, None).astype(np.int64)
    edge = np.repeat(np.arange(len(start)), count)
    return edge, np.clip((low[edge] + 1 + geometry.counted(count) - start[edge]) / run[edge], 0, 1 - 1e-9)
