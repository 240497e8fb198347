"""Upper surfaces: the stretches of outlines that face up, as runs of evenly spaced samples."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
        Rings,
    )

__all__ = ["Contours", "Surfaces", "contours", "smoothed", "upper"]


@dataclass(frozen=True, eq=False)
class Contours:
    """Closed outlines as evenly spaced samples, each beginning where it faces down most."""

    xy: Floats  #: (n, 2), mm
    normal: Floats  #: outward unit normals, (n, 2)
    ring: Indices  #: (n,)
    step: float  #: mm, about


@dataclass(frozen=True, eq=False)
class Surfaces:
    """Samples that face up, run by run; x increases along each run, so a run is a height over x."""

    xy: Floats  #: (n, 2), mm
    normal: Floats  #: (n, 2)
    run: Indices  #: (n,), 0, 0, …, 1, 1, …

    def __len__(self) -> int:
        return len(self.run)

    @property
    def left(self) -> Indices:
        """For each sample the one before it in its run, or itself; (n,)."""
        return _neighbours(self.run, -1)

    @property
    def right(self) -> Indices:
        """For each sample the one after it in its run, or itself; (n,)."""
        return _neighbours(self.run, 1)

    @property
    def width(self) -> Floats:
        """The stretch of x that belongs to each sample, mm; (n,)."""
        return np.asarray(np.maximum((self.xy[self.right, 0] - self.xy[self.left, 0]) / 2, 1e-6))

    @property
    def rise_deg(self) -> Floats:
        """The slope at each sample, above 0 where it rises to the right; (n,), within -90…90."""
        return np.asarray(np.degrees(np.arctan2(-self.normal[:, 0], self.normal[:, 1])))

    def eased(self, *, over_mm: float) -> Surfaces:
        """The same places with their slopes smoothed over about `over_mm`."""
        if len(self) == 0:
            return self
        over = min(over_mm / max(float(np.median(self.width)), 1e-3), 8.0)
        normal = smoothed(self.normal, self.left, self.right, over=over)
        return Surfaces(self.xy, normal / np.hypot(*normal.T)[:, None], self.run)

    def stretches(self, where: Mask) -> Surfaces:
        """The same samples with a run for each stretch that `where` holds for, and for each between them."""
        starts = (np.diff(self.run, prepend=-1) != 0) | (np.diff(where.astype(np.int8), prepend=2) != 0)
        return Surfaces(self.xy, self.normal, np.cumsum(starts) - 1)

    def softened(self, values: Floats, *, over_mm: float) -> Floats:
        """Values smoothed along each run, where they are above 0; (n,)."""
        over = over_mm / max(float(np.median(self.width)), 1e-3) if len(self) else 0.0
        return np.where(values > 0, smoothed(values, self.left, self.right, over=min(over, 6.0)), 0.0)


def contours(shapes: PolygonArray, *, step_mm: float, smooth_mm: float) -> Contours:
    """The outlines and holes of `shapes` as samples, smoothed over about `smooth_mm`."""
    outlines = geometry.rings(shapes)
    xy, ring = _resampled(outlines, step_mm)
    after, before = _around(ring)
    xy = smoothed(xy, before, after, over=smooth_mm / step_mm)
    along = xy[after] - xy[before]
    normal = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-12)[:, None]
    order = _from_lowest(normal[:, 1], ring)
    return Contours(xy[order], normal[order], ring, step_mm)


def upper(outlines: Contours) -> Surfaces:
    """The samples of `outlines` that face up."""
    after, before = _around(outlines.ring)
    up = (outlines.normal[:, 1] > 0) & (outlines.xy[after, 0] < outlines.xy[before, 0])
    up &= outlines.xy[:, 0] < outlines.xy[before, 0]
    starts = up & ~np.concatenate([[False], up[:-1] & (np.diff(outlines.ring) == 0)])
    run = (np.cumsum(starts) - 1)[up]
    last = run.max(initial=0)
    return Surfaces(outlines.xy[up][::-1], outlines.normal[up][::-1], (last - run)[::-1])


def smoothed(values: Floats, before: Indices, after: Indices, *, over: float) -> Floats:
    """Values smoothed along a line, as by a bell of standard deviation `over` samples; same shape.

    Repeated averages with weights 1/4, 1/2, 1/4, each of variance 1/2.
    """
    for _ in range(round(2 * over**2)):
        values = (values[before] + 2 * values + values[after]) / 4
    return values


def _resampled(outlines: Rings, step: float) -> tuple[Floats, Indices]:
    edge = np.hypot(*(outlines.xy[outlines.edge_ends] - outlines.xy).T)
    gone = np.concatenate([[0.0], np.cumsum(edge)])
    length = gone[outlines.start[1:]] - gone[outlines.start[:-1]]
    count = np.maximum(np.round(length / step).astype(np.int64), 8)
    ring = np.repeat(np.arange(len(count)), count)
    number = np.arange(len(ring)) - np.repeat(np.cumsum(count) - count, count)
    at = gone[outlines.start[ring]] + length[ring] * (number + 0.5) / count[ring]
    edge_of = np.clip(np.searchsorted(gone, at, side="right") - 1, 0, len(edge) - 1)
    share = ((at - gone[edge_of]) / np.maximum(edge[edge_of], 1e-12))[:, None]
    ends = outlines.edge_ends[edge_of]
    return outlines.xy[edge_of] * (1 - share) + outlines.xy[ends] * share, ring


def _around(ring: Indices) -> tuple[Indices, Indices]:
    """The next and the previous sample of each; they are numbered 0, 0, …, 1, 1, … by ring."""
    first = np.flatnonzero(np.diff(ring, prepend=-1))
    last = np.append(first[1:], len(ring)) - 1
    after, before = np.arange(len(ring)) + 1, np.arange(len(ring)) - 1
    after[last], before[first] = first, last
    return after, before


def _from_lowest(up: Floats, ring: Indices) -> Indices:
    """The order that lets each ring begin at its sample with the least `up`."""
    first = np.flatnonzero(np.diff(ring, prepend=-1))
    count = np.diff(first, append=len(ring))
    lowest = np.lexsort((up, ring))[first] - first
    number = np.arange(len(ring)) - first[ring]
    return np.asarray(first[ring] + (number + lowest[ring]) % count[ring])


def _neighbours(run: Indices, by: int) -> Indices:
    here = np.arange(len(run))
    there = np.clip(here + by, 0, max(len(run) - 1, 0))
    same: Mask = run[there] == run
    return np.where(same, there, here)
