"""Strokes of a V-tool: lines with a half-width at each point, drawn as closed shapes with round tips."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, cast

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.fields import waves_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["Strokes", "drawn", "gathered", "own_noise", "spans"]

_APART = 1e3  #: lines so many patches apart in the noise know nothing of one another
_CAP = 5  #: points of a round tip between its two sides


@dataclass(frozen=True)
class Strokes:
    """Many lines as flat arrays; points of one line follow one another."""

    xy: Floats  #: (n, 2), mm
    line: Indices  #: (n,), never falling
    half: Floats  #: half the width of the cut, mm, (n,); 0 = no cut there

    def __len__(self) -> int:
        return len(self.line)

    @property
    def linked(self) -> Mask:
        """Whether each point is followed by one of its own line; (n - 1,)."""
        return np.asarray(self.line[1:] == self.line[:-1])

    @property
    def along(self) -> Floats:
        """How far along its line each point lies, mm; (n,)."""
        step = np.hypot(*np.diff(self.xy, axis=0).T) * self.linked
        total = np.concatenate([[0.0], np.cumsum(step)])[: len(self)]
        first = np.flatnonzero(np.concatenate([[True], ~self.linked]))[: len(self)]
        return np.asarray(total - np.repeat(total[first], np.diff(first, append=len(self))))

    def with_half(self, half: Floats) -> Strokes:
        """The same lines, cut as wide as `half` says."""
        return Strokes(self.xy, self.line, half)


def gathered(lots: Sequence[Strokes]) -> Strokes:
    """Several lots of strokes as one, lines numbered on."""
    shift, lines = 0, []
    for lot in lots:
        lines.append(lot.line + shift)
        shift += int(lot.line.max(initial=-1)) + 1
    return Strokes(
        np.concatenate([np.empty((0, 2)), *(lot.xy for lot in lots)]),
        np.concatenate([np.empty(0, dtype=np.int64), *lines]),
        np.concatenate([np.empty(0), *(lot.half for lot in lots)]),
    )


def own_noise(strokes: Strokes, patch_mm: float, rng: Generator) -> Floats:
    """Smooth noise along each line, its own; standard deviation about 1, (n,)."""
    return waves_at(np.column_stack([_APART * strokes.line, strokes.along]), rng, patch_mm=(1.0, patch_mm))


def spans(strokes: Strokes, cut: Mask) -> tuple[Indices, Indices]:
    """First and last point of each unbroken run of cut segments; `cut` is (n - 1,)."""
    padded = np.concatenate([[False], cut & strokes.linked, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return change[::2], change[1::2]


def drawn(strokes: Strokes, first: Indices, last: Indices) -> PolygonArray:
    """Each run of points as one closed shape: its sides at the half-width, half-discs at its ends; (runs,).

    A shape lies within the discs about its points and the trapezoids between them.
    """
    size = last - first + 1
    run = np.repeat(np.arange(len(first)), size)
    place = geometry.counted(size)
    point = first[run] + place
    xy, half = strokes.xy[point], strokes.half[point]
    ahead = _headings(xy, run)
    side = np.column_stack([-ahead[:, 1], ahead[:, 0]]) * half[:, None]
    begins, ends = np.flatnonzero(place == 0), np.flatnonzero(place == size[run] - 1)
    pieces = [(run, 0.0 + place, xy - side), (run, 2e7 - place, xy + side)]
    for turn in np.pi * (np.arange(1, _CAP + 1) / (_CAP + 1) - 0.5):
        out = np.cos(turn) * ahead * half[:, None]
        across = np.sin(turn) * side
        pieces.append((run[ends], 1e7 + np.full(len(ends), turn), (xy + out + across)[ends]))
        pieces.append((run[begins], 3e7 + np.full(len(begins), turn), (xy - out - across)[begins]))
    owner, order, corner = (np.concatenate(column) for column in zip(*pieces, strict=True))
    sorted_ = np.lexsort((order, owner))
    shapes = np.asarray(shapely.polygons(shapely.linearrings(corner[sorted_], indices=owner[sorted_])), dtype=object)
    crossed = np.flatnonzero(~shapely.is_valid(shapes))
    for k in crossed.tolist():
        shapes[k] = _swept(strokes, int(first[k]), int(last[k]))
    return shapes


def _swept(strokes: Strokes, first: int, last: int) -> BaseGeometry:
    """One run drawn the long way, where it bends more sharply than it is wide: hulls of neighbouring discs."""
    discs = shapely.buffer(geometry.dots(strokes.xy[first : last + 1]), strokes.half[first : last + 1], quad_segs=6)
    pairs = np.column_stack([discs[:-1], discs[1:]])
    hulls = shapely.convex_hull(np.asarray(shapely.union_all(pairs, axis=1)))
    whole = geometry.filled(geometry.parts(shapely.union_all(hulls)))
    return cast("BaseGeometry", whole[np.argmax(shapely.area(whole))])


def _headings(xy: Floats, run: Indices) -> Floats:
    """The direction at each point, as a curve through it and its neighbours has it; unit vectors, (n, 2).

    The directions of both segments, each weighted by one over its length: exact on a parabola.
    """
    step = np.diff(xy, axis=0)
    step = step / np.maximum((step**2).sum(axis=1), 1e-12)[:, None]
    step[run[1:] != run[:-1]] = 0
    both = np.vstack([np.zeros((1, 2)), step]) + np.vstack([step, np.zeros((1, 2))])
    return np.asarray(both / np.maximum(np.hypot(both[:, 0], both[:, 1]), 1e-12)[:, None])
