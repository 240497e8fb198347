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
_ROWS = 32  #: summed up at a time: they stay close to the processor


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
    first, last = _pieces(rings.xy, rings.xy[rings.edge_ends])
    rise = last[:, 1] - first[:, 1]
    x = np.clip((first[:, 0] + last[:, 0]) / 2, 0, columns)
    row = np.floor((first[:, 1] + last[:, 1]) / 2).astype(np.int64)
    inside = (row >= 0) & (row < rows)
    column = np.floor(x[inside]).astype(np.int64)
    into, rise = x[inside] - column, rise[inside]
    wide = columns + 2
    cell = row[inside] * wide + column
    cells = np.bincount(cell, weights=(1 - into) * rise, minlength=rows * wide)
    cells += np.bincount(cell + 1, weights=into * rise, minlength=rows * wide)
    sums, result = cells.reshape(rows, wide), np.empty((rows, columns))
    for begin in range(0, rows, _ROWS):
        band = slice(begin, begin + _ROWS)
        np.clip(-np.cumsum(sums[band], axis=1)[:, :columns], 0, 1, out=result[band])
    return result[::-1]


def _pieces(first: Floats, last: Floats) -> tuple[Floats, Floats]:
    """Edges cut at every whole x and whole y: the ends of the pieces, edge by edge."""
    run = last - first
    along = [_crossings(first[:, axis], run[:, axis]) for axis in (0, 1)]
    (by_x, _), (by_y, _) = along
    count = np.bincount(by_x, minlength=len(first)) + np.bincount(by_y, minlength=len(first)) + 1
    begin = geometry.starts(count)[:-1]
    edge = np.repeat(np.arange(len(first)), count)
    share = _cut_shares(along, count, begin, edge)
    end = np.append(share[1:], 1.0)
    end[begin[1:] - 1] = 1.0
    starts, ends = np.empty((len(edge), 2)), np.empty((len(edge), 2))
    for axis in (0, 1):
        from_, by = first[:, axis][edge], run[:, axis][edge]
        starts[:, axis], ends[:, axis] = from_ + share * by, from_ + end * by
    return starts, ends


def _cut_shares(along: Sequence[tuple[Indices, Floats]], count: Indices, begin: Indices, edge: Indices) -> Floats:
    """How far along its edge each piece begins; only the cuts of edges with several are sorted."""
    share = np.zeros(len(edge))
    several = count > _ONE_CUT
    keys = []
    for cut_edge, at in along:
        alone, key = ~several[cut_edge], cut_edge + at
        share[begin[cut_edge[alone]] + 1] = (key - cut_edge)[alone]
        keys.append(key[~alone])
    inner = several[edge]
    inner[begin] = False
    share[inner] = np.sort(np.concatenate(keys)) - edge[inner]
    return share


def _crossings(start: Floats, run: Floats) -> tuple[Indices, Floats]:
    """Where edges cross whole numbers: the edge, and how far along it as a share below 1."""
    low = np.floor(np.minimum(start, start + run))
    count = np.clip(np.ceil(np.maximum(start, start + run)) - low - 1, 0, None).astype(np.int64)
    edge = np.repeat(np.arange(len(start)), count)
    return edge, np.clip((low[edge] + 1 + geometry.counted(count) - start[edge]) / run[edge], 0, 1 - 1e-9)
