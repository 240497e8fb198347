"""How often outlines cross and shapes lie over one another, told before anything is joined."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    from carvegen.artwork.bounds import Budget
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["crossings", "edges_of", "take_overlaps"]

_CHUNK = 32  #: shapes looked at together at first; twice as many while few pairs are found
_FEW_LOOKS = 100_000
_MOST_LOOKS = 4_000_000  #: pairs that are looked at; with more of them the rest is estimated from those


def edges_of(rings: Sequence[Floats]) -> Floats:
    """The edges of closed rings, (n, 2, 2), without those of no length."""
    edges = np.concatenate([np.empty((0, 2, 2)), *(np.stack([xy, np.roll(xy, -1, axis=0)], axis=1) for xy in rings)])
    return np.asarray(edges[(edges[:, 0] != edges[:, 1]).any(axis=1)], dtype=np.float64)


def crossings(edges: Floats, most: float = np.inf) -> int:
    """How many pairs of edges cross or touch elsewhere than at a common end; about, if there are very many.

    Edges are looked at in a mixed order, each with all whose boxes meet its own, until every one or enough pairs have
    been, or more than `most` are certain: what those have found stands for the rest in proportion.

    Parameters
    ----------
    edges
        (n, 2, 2).
    most
        More than these need no exact number, but more than these are always said.
    """
    if len(edges) < 2:
        return 0
    lines = np.asarray(shapely.linestrings(edges), dtype=object)
    met = done = 0
    for left, right, more in _meeting(lines):
        done += more
        met += int(_cross(edges[left], edges[right]).sum())
        if met > 2 * most + 2:  # each pair is met from one edge or from both
            break
    return met * len(edges) // done // 2


def _meeting(shapes: NDArray[np.object_]) -> Iterator[tuple[Indices, Indices, int]]:
    """Pairs of shapes whose boxes meet, in chunks, until all or enough are seen; and how many shapes each chunk was of.

    The shapes come in a mixed order, so that those that are done stand for all.
    """
    tree = shapely.STRtree(shapes)
    order = np.random.Generator(np.random.PCG64(1)).permutation(len(shapes))
    looks = done = 0
    size = _CHUNK
    while done < len(shapes) and looks < _MOST_LOOKS:
        chunk = order[done : done + size]
        left, right = tree.query(shapes[chunk])
        looks += len(left)
        done += len(chunk)
        size *= 1 + (len(left) < _FEW_LOOKS)
        yield chunk[left], right, len(chunk)


def _cross(one: Floats, other: Floats) -> Mask:
    """Whether two edges meet, but not where they have an end in common; (n,)."""
    (a, b), (c, d) = np.moveaxis(one, 1, 0), np.moveaxis(other, 1, 0)
    shared = np.zeros(len(one), dtype=bool)
    for p in (a, b):
        for q in (c, d):
            shared |= (p == q).all(axis=1)
    apart = (_side(a, b, c) * _side(a, b, d) > 0) | (_side(c, d, a) * _side(c, d, b) > 0)
    return np.asarray(~shared & ~apart)


def _side(a: Floats, b: Floats, p: Floats) -> Floats:
    u, v = b - a, p - a
    return np.asarray(np.sign(u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]))


def take_overlaps(shapes: PolygonArray, budget: Budget) -> None:
    """Count what joining these shapes, of any validity, takes."""
    pairs, meeting = _overlapping(shapes, budget.left("overlaps"))
    budget.take("overlaps", pairs)
    rings = geometry.rings(meeting)
    edges = np.stack([rings.xy, rings.xy[rings.edge_ends]], axis=1)
    budget.take("crossings", crossings(edges, budget.left("crossings")))


def _overlapping(shapes: PolygonArray, most: float) -> tuple[int, PolygonArray]:
    """How many pairs of shapes have boxes that meet, about if there are very many; and the shapes that are in one."""
    if len(shapes) < 2:
        return 0, geometry.empty()
    meets, pairs, done = np.zeros(len(shapes), dtype=bool), 0, 0
    for left, right, more in _meeting(shapes):
        done += more
        others = left != right
        meets[right[others]] = True
        pairs += int(others.sum())
        if pairs > 2 * most + 2:
            break
    return pairs * len(shapes) // done // 2, shapes[meets] if done == len(shapes) else shapes
