"""The medial axes of simple shapes, very many at once: all sides move inwards alike until the last has vanished.

Where a side has shrunk to nothing, its two corners meet and go on as one: the corners' ways are the axis, for in a
convex shape it is the straight skeleton (source: straight-skeleton). A corner that juts in moves inwards as an arc,
of which facets stand for, sides that begin with no length; no link runs into it. Where it juts in far, it parts the
shape before a side has vanished: what meets then does not lie as far from all three of its sides, and such a shape is
not sure. Where only small discs count, sides stop when they have moved so far: what has parted by then crosses itself.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part
from carvegen.geometry.diagrams import STEPS_PER_MM
from carvegen.geometry.edges import cross, dot, unit

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
        Rings,
    )

__all__ = ["Skeletons", "are_simple"]

_MOST_SIDES = 120  #: of a shape: each costs a step, which pays where many shapes share it

_OFF_MM = 1e-6  #: a meeting that is no nearer than this to being as far from its three sides is not believed
_BENT_MM = 0.001  #: how far an arc round a corner that juts in may lie from its facets; our own choice
_SAME_MM = 1e-8  #: meetings nearer than this are one
_OPPOSITE = 1e-12  #: how far from opposite two sides are taken to be, in the cosine


def are_simple(shapes: PolygonArray) -> Mask:
    """Which shapes have no hole and at most `_MOST_SIDES` sides; (n,)."""
    sides = shapely.get_num_coordinates(shapes) - 1
    return np.asarray((shapely.get_num_interior_rings(shapes) == 0) & (sides > 2) & (sides <= _MOST_SIDES))


def _jutting(outline: Rings) -> Mask:
    """Which corners of outlines on the diagrams' grid jut in; (points,)."""
    grid, ends = np.rint(outline.xy * STEPS_PER_MM).astype(np.int64), outline.edge_ends
    x, y = np.ascontiguousarray(grid.T)
    x, y = x[ends] - x, y[ends] - y
    on_x, on_y = x[ends], y[ends]
    mask = np.zeros(len(grid), dtype=bool)
    mask[ends[x * on_y - y * on_x < 0]] = True
    return mask


@dataclass(frozen=True)
class _Sides:
    """The sides of shapes and the facets of arcs, which begin with no length, in their order along the outlines."""

    corner: Indices  #: where each begins; (sides,)
    normal: Floats  #: unit, inwards; (sides, 2)
    start: Indices  #: the first side of each shape; (shapes + 1,)

    @classmethod
    def of(cls, outline: Rings, jutting: Mask) -> _Sides:
        """Those of outlines with corners that jut in."""
        ends = outline.edge_ends
        along = unit(outline.xy.take(ends, axis=0) - outline.xy)
        normal, before = np.column_stack([-along[:, 1], along[:, 0]]), np.empty_like(along)
        before[ends] = normal
        turn = np.where(jutting, np.arctan2(cross(before, normal), dot(before, normal)), 0.0)
        facets = np.maximum(np.ceil(np.abs(turn) / _facet(outline)).astype(np.int64), 1)  # with the side itself
        corner, step = np.repeat(np.arange(len(turn)), facets), geometry.counted(facets) + 1
        angle = turn[corner] * (step / facets[corner] - 1)  # back from the side's own normal
        turned = np.column_stack([np.cos(angle), np.sin(angle)])
        x, y = normal.take(corner, axis=0).T
        spread = np.column_stack([x * turned[:, 0] - y * turned[:, 1], x * turned[:, 1] + y * turned[:, 0]])
        start = geometry.starts(facets)[outline.start]
        return cls(corner, np.where((angle != 0)[:, None], spread, normal.take(corner, axis=0)), start)


def _facet(outline: Rings) -> Floats:
    """How far a facet may turn so that it leaves its arc by `_BENT_MM` at most, in rad; (points,).

    A facet that touches an arc of radius r in its middle ends ``r (1 / cos(t / 2) - 1)``, about ``r t² / 8``, off it,
    and no arc in a shape has a radius of more than half the shape's width.
    """
    low, high = (extreme.reduceat(outline.xy, outline.start[:-1], axis=0) for extreme in (np.minimum, np.maximum))
    turn = np.sqrt(8 * _BENT_MM / ((high - low).min(axis=1) / 2))
    return outline.spread(turn)


@dataclass(frozen=True)
class Skeletons:
    """Points of the axes, corners of the shapes among them, and links between them."""

    points: Floats  #: (n, 2)
    corners: int  #: so many of the points are corners of the shapes: the first
    shape: Indices  #: number of the shape of each point; (n,)
    links: Indices  #: (m, 2)
    sure: Mask  #: which shapes' axes may be believed; (shapes,)

    @classmethod
    def of(cls, shapes: PolygonArray, most_mm: float = math.inf) -> Skeletons:
        """The axes of simple shapes, as far as their discs are no larger than `most_mm`."""
        outline = geometry.rings(shapes)
        made = _Meetings(outline.xy, outline.spread(outline.owner), len(shapes))
        jutting = _jutting(outline)
        sides = _Sides.of(outline, jutting)
        front = None
        shapes_of = np.bincount(np.diff(sides.start))[:2:-1]  # by how many sides, the most first
        work = np.cumsum(shapes_of) * np.arange(len(shapes_of) + 2, 2, -1)
        for count, stepping in zip(range(len(shapes_of) + 2, 2, -1), each_part(work.tolist()), strict=True):
            with stepping:
                new = _Front.of(outline, sides, count)
                front = new if front is None else front.with_more(new)
                front = front.stepped(made, most_mm) if count > 3 else front.closed(made, most_mm)
        return made.merged(jutting)


class _Meetings:
    """What is found on the way: points and links, shape by shape in no order."""

    def __init__(self, corners: Floats, shape: Indices, shapes: int) -> None:
        self._points, self._shapes, self._links = [corners], [shape], [np.empty((0, 2), dtype=np.int64)]
        self._count, self._sure = len(corners), np.ones(shapes, dtype=bool)

    def add(self, points: Floats, shape: Indices, ends: Indices, off: Floats) -> Indices:
        """New points with links to those of numbers `ends` (n, k), and how far off they may be; their numbers."""
        number = self._count + np.arange(len(points))
        self._points.append(points)
        self._shapes.append(shape)
        self._links.append(np.stack([ends.ravel(), np.repeat(number, ends.shape[1])], axis=1))
        self._sure[shape[~(off <= _OFF_MM)]] = False
        self._count += len(points)
        return number

    def merged(self, bare: Mask) -> Skeletons:
        """All of it but links to corners that are bare; what met at one place is one point."""
        points, links = np.concatenate(self._points), np.concatenate(self._links)
        hidden = np.zeros(len(points), dtype=bool)
        hidden[: len(bare)] = bare
        links = links.compress(~hidden[links[:, 0]], axis=0)
        step = points.take(links[:, 0], axis=0) - points.take(links[:, 1], axis=0)
        same = np.hypot(step[:, 0], step[:, 1]) < _SAME_MM
        group = geometry.linked_groups(len(points), *links.compress(same, axis=0).T)
        first = np.flatnonzero(np.diff(np.maximum.accumulate(group), prepend=-1))  # groups come by their first points
        links = group[links.compress(~same, axis=0)]
        corners = int(np.searchsorted(first, len(bare)))
        return Skeletons(points.take(first, axis=0), corners, np.concatenate(self._shapes)[first], links, self._sure)


@dataclass(frozen=True)
class _Front:
    """Shapes with the same number of sides left; corner k lies where side k begins, the region on its left."""

    at: Floats  #: where the corners are now, (shapes, sides, 2)
    number: Indices  #: the point that each corner came from, (shapes, sides)
    normal: Floats  #: of each side, unit, inwards; (shapes, sides, 2)
    offset: Floats  #: of each side's first line along its normal, (shapes, sides)
    inset: Floats  #: how far the sides have moved, (shapes,)
    shape: Indices

    @classmethod
    def of(cls, outline: Rings, sides: _Sides, count: int) -> _Front:
        """The shapes with so many sides, facets among them, as they are."""
        those = np.diff(sides.start) == count
        side, shape = sides.start[:-1][those][:, None] + np.arange(count), outline.owner[those]
        number, normal = sides.corner[side], sides.normal.take(side, axis=0)
        at = outline.xy.take(number, axis=0)
        return cls(at, number, normal, dot(normal, at), np.zeros(len(shape)), shape)

    def with_more(self, other: _Front) -> _Front:
        """These and others of as many sides."""
        return _Front(*(np.concatenate([getattr(self, key), getattr(other, key)]) for key in self.__dataclass_fields__))

    def picked(self, which: Mask) -> _Front:
        """Some of the shapes."""
        return _Front(*(getattr(self, key).compress(which, axis=0) for key in self.__dataclass_fields__))

    def stopped(self, made: _Meetings, speed: Floats, most_mm: float) -> None:
        """Until all sides have moved by `most_mm`, before which none vanishes: corners end where they are then."""
        at = self.at + (most_mm - self.inset)[:, None, None] * speed
        left = geometry.closed_polygons(at)
        whole = shapely.is_valid(left) & shapely.is_ccw(shapely.get_exterior_ring(left))
        sides = at.shape[1]
        off = np.repeat(np.where(whole, 0.0, np.inf), sides)
        made.add(at.reshape(-1, 2), np.repeat(self.shape, sides), self.number.reshape(-1, 1), off)

    def stepped(self, made: _Meetings, most_mm: float) -> _Front:
        """Until in each shape the next side has vanished; without those that move by `most_mm` before."""
        speed, shrinks = self._corners()
        step = np.roll(self.at, -1, axis=1) - self.at
        length = np.maximum(step[..., 0] * self.normal[..., 1] - step[..., 1] * self.normal[..., 0], 0.0)
        closing = shrinks + np.roll(shrinks, -1, axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            after = np.where(closing > 0, length / closing, np.inf)
        late = self.inset + after.min(axis=1) > most_mm
        late &= np.isfinite(most_mm)
        if late.any():
            self.picked(late).stopped(made, speed[late], most_mm)
        return self.picked(~late)._met(made, speed[~late], shrinks[~late], after[~late])

    def _met(self, made: _Meetings, speed: Floats, shrinks: Floats, after: Floats) -> _Front:
        """After the side that vanishes first; `after` so much has each."""
        rows, gone = np.arange(len(self.shape)), np.argmin(after, axis=1)
        on = (gone + 1) % self.at.shape[1]
        wait = after[rows, gone]
        parted = ~np.isfinite(wait)  # no side shrinks
        wait[parted] = 0.0
        at = self.at + wait[:, None, None] * speed
        calm = np.where(np.abs(shrinks[rows, gone]) <= np.abs(shrinks[rows, on]), gone, on)
        met, inset = at[rows, calm], self.inset + wait
        off = self._off(met, inset, np.stack([gone - 1, gone, on], axis=1))
        off[parted] = np.inf
        new = made.add(met, self.shape, np.stack([self.number[rows, gone], self.number[rows, on]], axis=1), off)
        at[rows, on], number = met, self.number.copy()
        number[rows, on] = new
        return replace(self, at=at, number=number, inset=inset)._without(gone)

    def closed(self, made: _Meetings, most_mm: float) -> _Front:
        """Triangles to the middles of their inscribed circles."""
        across = np.linalg.norm(np.roll(self.at, 1, axis=1) - np.roll(self.at, -1, axis=1), axis=-1)
        share = across / np.maximum(across.sum(axis=1, keepdims=True), 1e-30)
        met = np.where(across.sum(axis=1)[:, None] > 0, (share[..., None] * self.at).sum(axis=1), self.at[:, 0])
        inset = dot(met, self.normal[:, 0]) - self.offset[:, 0]
        off = self._off(met, inset, np.tile(np.arange(3), (len(met), 1)))
        late = inset > most_mm
        if late.any():
            self.picked(late).stopped(made, self._corners()[0][late], most_mm)
        made.add(met[~late], self.shape[~late], self.number[~late], off[~late])
        return self

    def _corners(self) -> tuple[Floats, Floats]:
        """How fast each corner moves as the sides do, and by how much it shortens each of its two sides."""
        before = np.roll(self.normal, 1, axis=1)
        apart = np.maximum(1 + dot(before, self.normal), _OPPOSITE)
        return (before + self.normal) / apart[..., None], cross(before, self.normal) / apart

    def _off(self, met: Floats, inset: Floats, sides: Indices) -> Floats:
        """By how much places are not `inset` from three sides each, at the worst."""
        rows = np.arange(len(met))[:, None]
        away = dot(met[:, None], self.normal[rows, sides]) - self.offset[rows, sides]
        return np.asarray(np.abs(away - inset[:, None]).max(axis=1))

    def _without(self, gone: Indices) -> _Front:
        """All shapes without one side each."""
        stay = np.flatnonzero(np.arange(self.at.shape[1]) != gone[:, None])
        kept = stay.reshape(len(gone), self.at.shape[1] - 1)
        return replace(
            self, at=self.at.reshape(-1, 2).take(kept, axis=0), number=self.number.take(kept),
            normal=self.normal.reshape(-1, 2).take(kept, axis=0), offset=self.offset.take(kept),
        )  # fmt: skip
