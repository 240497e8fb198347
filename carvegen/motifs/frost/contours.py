"""Points along outlines, evenly spaced, each with the direction into the region."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["Contour", "walked"]


@dataclass(frozen=True)
class Contour:
    """Points along the rings of a region, region on the left of each ring."""

    xy: Floats  #: (n, 2), mm
    inward: Floats  #: unit vectors into the region, smoothed over a short stretch, (n, 2)
    square: Floats  #: the same, not smoothed, (n, 2)
    hole: Mask  #: whether the point lies on a hole's outline, (n,)

    def __len__(self) -> int:
        return len(self.hole)

    def chosen(self, which: Indices | Mask) -> Contour:
        """Some of the points."""
        return Contour(self.xy[which], self.inward[which], self.square[which], self.hole[which])


def walked(region: PolygonArray, step_mm: float, *, smooth_mm: float) -> Contour:
    """Points not more than `step_mm` apart along every outline and hole of `region`.

    Parameters
    ----------
    smooth_mm
        The smoothed direction is square to the chord that reaches so far before and after each point.
    """
    outlines = geometry.rings(region)
    walks = [_walk(outlines.xy[a:b], step_mm, smooth_mm) for a, b in pairwise(outlines.start.tolist())]
    hole = np.repeat(outlines.hole, np.array([len(xy) for xy, _, _ in walks], dtype=np.int64))
    none = (np.empty((0, 2)),) * 3
    xy, inward, square = (np.concatenate(column) for column in zip(none, *walks, strict=True))
    return Contour(xy, inward, square, hole)


def _walk(xy: Floats, step: float, smooth: float) -> tuple[Floats, Floats, Floats]:
    closed = np.concatenate([xy, xy[:1]])
    total = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    count = max(int(np.ceil(total[-1] / step)), 3)
    along = np.arange(count) * (total[-1] / count)
    half = max(smooth, step)
    inward, square = (
        _inward(along - half, along + half, closed, total),
        _inward(along, along + step / 50, closed, total),
    )
    return _at(along, closed, total), inward, square


def _inward(start: Floats, end: Floats, closed: Floats, total: Floats) -> Floats:
    chord = _at(end, closed, total) - _at(start, closed, total)
    chord /= np.maximum(np.hypot(chord[:, 0], chord[:, 1]), 1e-12)[:, None]
    return np.column_stack([-chord[:, 1], chord[:, 0]])


def _at(along: Floats, closed: Floats, total: Floats) -> Floats:
    wrapped = np.mod(along, total[-1])
    return np.column_stack([np.interp(wrapped, total, closed[:, 0]), np.interp(wrapped, total, closed[:, 1])])
