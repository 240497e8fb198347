"""The Voronoi diagrams of outlines' segments: exact, by Boost.Polygon through pyvoronoi, on a fine grid."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import compress, pairwise
from operator import attrgetter
from typing import TYPE_CHECKING, Any

import numpy as np
import pyvoronoi

from carvegen.geometry import starts
from carvegen.geometry.edges import cross, unit

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        Rings,
    )

__all__ = ["STEPS_PER_MM", "Diagrams", "Parabola", "Site"]

#: Diagrams are made in whole numbers, which reach to 21 m so.
STEPS_PER_MM = 100_000.0

_POINT = attrgetter("X", "Y")
_EDGE = attrgetter("start", "end", "is_primary")
_CELL = attrgetter("cell")
_SITE = attrgetter("site", "contains_segment", "source_category")
_SECOND_END = 2  #: source category of a corner that is the second end of its segment


@dataclass(frozen=True)
class Diagrams:
    """The diagrams of many shapes: points, bounded edges between unlike sites, and the site on either side.

    A site is the number of a segment, whether the whole of it is meant, and which end otherwise.
    """

    points: Floats
    points_each: Indices  #: how many points each shape's diagram has
    links: Indices  #: (m, 2)
    one: Indices  #: (m, 3)
    two: Indices

    @classmethod
    def of(cls, outline: Rings, shapes: int) -> Diagrams:
        """The diagram of each of so many shapes."""
        grid = np.rint(outline.xy * STEPS_PER_MM).astype(np.int64)
        segments = np.stack([grid, grid[outline.edge_ends]], axis=1)
        of_segment = outline.spread(outline.owner)
        bounds = np.searchsorted(of_segment, np.arange(shapes + 1))
        result = [_diagram(segments[i:j].tolist()) for i, j in pairwise(bounds.tolist())]
        each = np.array([len(points) for points, _, _, _ in result], dtype=np.int64)
        shift, counts = starts(each)[:-1], [len(links) for _, links, _, _ in result]
        columns = zip(*result, strict=True) if result else ((),) * 4
        points, links, one, two = (_rows(part, count) for part, count in zip(columns, (2, 2, 3, 3), strict=True))
        first = np.repeat(bounds[:-1], counts)[:, None] * (1, 0, 0)
        return cls(points / STEPS_PER_MM, each, links + np.repeat(shift, counts)[:, None], one + first, two + first)


def _rows(parts: Sequence[NDArray[Any]], count: int) -> NDArray[Any]:
    return np.concatenate([np.empty((0, count), dtype=np.int64), *parts])


def _diagram(segments: list[list[list[int]]]) -> tuple[Floats, Indices, Indices, Indices]:
    """Points, edges and the sites on both sides, of one shape; edges come in pairs, one for each direction."""
    voronoi = pyvoronoi.Pyvoronoi(1)
    for segment in segments:
        voronoi.AddSegment(segment)
    voronoi.Construct()
    points = np.array([*map(_POINT, voronoi.GetVertices())], dtype=np.float64).reshape(-1, 2)
    sites = np.array([*map(_SITE, voronoi.GetCells())], dtype=np.int64).reshape(-1, 3)
    edges = voronoi.GetEdges()
    there = np.array([*map(_EDGE, edges[::2])], dtype=np.int64).reshape(-1, 3)
    wanted = (there[:, :2] >= 0).all(axis=1) & (there[:, 2] == 1)
    one, two = ([*map(_CELL, compress(edges[side::2], wanted))] for side in (0, 1))
    return points, there[wanted, :2], sites[one], sites[two]


@dataclass(frozen=True)
class Site:
    """What an edge of a diagram lies as far from as from another: the line from a to b, or the corner `a`."""

    a: Floats
    b: Floats
    is_line: Mask

    @classmethod
    def of(cls, a: Floats, b: Floats, sites: Indices) -> Site:
        """The sites of a diagram, with the ends `a` and `b` of its segments."""
        number, line = sites[:, 0], sites[:, 1] == 1
        corner = np.where((sites[:, 2] == _SECOND_END)[:, None], b[number], a[number])
        return cls(np.where(line[:, None], a[number], corner), b[number], line)


@dataclass(frozen=True)
class Parabola:
    """Points as far from a corner as from a line; only of use where one site is a corner and the other a line."""

    focus: Floats
    along: Floats  #: unit, along the line
    across: Floats  #: unit, from the line towards the corner
    gap: Floats  #: between line and corner

    @classmethod
    def between(cls, one: Site, two: Site) -> Parabola:
        """Those of edges between these sites."""
        first = one.is_line[:, None]
        focus, a, b = np.where(first, two.a, one.a), np.where(first, one.a, two.a), np.where(first, one.b, two.b)
        along = unit(b - a)
        off = cross(along, focus - a)
        across = np.column_stack([-along[:, 1], along[:, 0]]) * np.where(off < 0, -1, 1)[:, None]
        return cls(focus, along, across, np.maximum(np.abs(off), 1e-9))

    def at(self, near: Floats, which: Indices) -> Floats:
        """The points of the parabolas `which` that are as far along their lines as `near`."""
        focus, along, gap = self.focus[which], self.along[which], self.gap[which]
        t = ((near - focus) * along).sum(axis=1)
        high = (t**2 - gap**2) / (2 * gap)
        return np.asarray(focus + t[:, None] * along + high[:, None] * self.across[which])
