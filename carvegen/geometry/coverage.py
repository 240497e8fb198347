"""How much of each pixel shapes cover: exact areas, no sampling, no loop over pixels or shapes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        PolygonArray,
        Rings,
    )

__all__ = ["coverage", "ring_coverage"]


def coverage(shapes: PolygonArray, size: tuple[int, int]) -> Floats:
    """The share of each pixel that lies in disjoint shapes; as `ring_coverage`."""
    return ring_coverage(geometry.rings(shapes), size)


def ring_coverage(found: Rings, size: tuple[int, int]) -> Floats:
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
    first, last = _pieces(found.xy, found.xy[found.edge_ends])
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
    sums = -np.cumsum(cells.reshape(rows, wide), axis=1)[:, :columns]
    return np.asarray(np.clip(sums, 0, 1)[::-1])


def _pieces(first: Floats, last: Floats) -> tuple[Floats, Floats]:
    """Edges cut at every whole x and whole y: the ends of the pieces."""
    run = last - first
    whole = np.arange(len(first), dtype=np.float64)
    along = [_crossings(first[:, axis], run[:, axis]) for axis in (0, 1)]
    keys = np.sort(np.concatenate([whole, *(edge + share for edge, share in along)]))
    edge = np.floor(keys).astype(np.int64)
    share = keys - edge
    same = np.append(edge[1:] == edge[:-1], False)
    end = np.where(same, np.append(share[1:], 1.0), 1.0)
    return first[edge] + share[:, None] * run[edge], first[edge] + end[:, None] * run[edge]


def _crossings(start: Floats, run: Floats) -> tuple[Indices, Floats]:
    """Where edges cross whole numbers: the edge, and how far along it as a share below 1."""
    low = np.floor(np.minimum(start, start + run))
    count = np.clip(np.ceil(np.maximum(start, start + run)) - low - 1, 0, None).astype(np.int64)
    edge = np.repeat(np.arange(len(start)), count)
    nth = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    return edge, np.clip((low[edge] + 1 + nth - start[edge]) / run[edge], 0, 1 - 1e-9)
