"""Corners that blur has rounded, put back where the straight sides beside them meet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.artwork.scan.sampling import tones_at

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["edge_blur", "restored", "sharp_turns"]

_CORNER_DEG = 40.0
#: By how much blur of 1 draws back a tip, times the tangent of half its angle: from 20 to 150 degrees.
_RECESSION = (np.radians((10, 20, 30, 45, 75)), (0.685, 0.713, 0.742, 0.771, 0.795))
_MORE, _GRAIN_PX = 1.3, 0.4  # a tip that lies further back than blur explains is round
_SLIMMEST_DEG = 12.0
_ROUNDED = 1.5  # how far from a right angle its sides are bent, times the blur
_STEPS = 40  # points looked at to each side
_LENGTHS_PX = (24.0, 14.0, 8.0, 5.0, 3.0, 2.0)  # of the straight runs tried, the longest first
_STRAIGHT_PX = (0.25, 0.22, 0.2, 0.16, 0.16, 0.16)  # how far their points may stray, root mean square
_FEWEST = 3
_AT_ONCE = 20_000
_LOOKS, _FAR_PX = 4000, 5.0  # profiles across edges, and how far each reaches to both sides
_SHARPEST, _SOFTEST = 0.3, 4.0


def sharp_turns(xy: Floats, before: Indices, after: Indices, reach: int) -> Mask:
    """Points where the outline turns by more than 40 degrees within `reach` points, and more than anywhere near."""
    back, ahead = np.arange(len(xy)), np.arange(len(xy))
    for _ in range(reach):
        back, ahead = before[back], after[ahead]
    come, go = xy - xy[back], xy[ahead] - xy
    cross = come[:, 0] * go[:, 1] - come[:, 1] * go[:, 0]
    turn = np.abs(np.arctan2(cross, (come * go).sum(axis=1))) + 1e-9 * np.arange(len(xy)) / max(len(xy), 1)
    most = turn
    for _ in range(reach // 2):
        most = np.maximum(most, np.maximum(most[before], most[after]))
    return np.asarray((turn >= np.radians(_CORNER_DEG)) & (turn >= most))


def edge_blur(tone: Bytes, shapes: PolygonArray) -> float:
    """How blurred the picture's edges are: standard deviation in pixels, from tones across the outlines of `shapes`.

    A step of height A blurred by s has the slope A / (s sqrt(2 pi)) in its middle; the median over some thousand
    places is told. The pixels' own size is in it, and that the slope is taken over one pixel.
    """
    rings = geometry.rings(shapes)
    if len(rings.xy) == 0:
        return _SHARPEST
    place = np.unique(np.linspace(0, len(rings.xy) - 1, _LOOKS).astype(int))
    ahead = rings.edge_ends[rings.edge_ends[place]]
    along = rings.xy[ahead] - rings.xy[place]
    across = np.column_stack([-along[:, 1], along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    middle = (rings.xy[ahead] + rings.xy[place]) / 2
    far, low, high, other = (_tones(tone, middle + by * across) for by in (-_FAR_PX, -0.5, 0.5, _FAR_PX))
    step, slope = np.abs(other - far), np.abs(high - low)
    clear = step >= np.median(step) / 2
    steepness = np.median(slope[clear] / np.maximum(step[clear], 1e-9))
    return float(np.clip(1 / (max(float(steepness), 1e-6) * np.sqrt(2 * np.pi)), _SHARPEST, _SOFTEST))


def _tones(tone: Bytes, xy: Floats) -> Floats:
    return tones_at(tone, xy[:, 1] - 0.5, xy[:, 0] - 0.5)


@dataclass(frozen=True, eq=False)
class _Side:
    """The points to one side of each corner: which, how far along the outline, and whether they count."""

    which: Indices  #: (corners, steps)
    along: Floats
    free: Mask  #: no other corner up to here
    end: Floats  #: how far away the next corner is; (corners,)

    @classmethod
    def of(cls, xy: Floats, at: Indices, step: Indices, corner: Mask) -> _Side:
        which = np.empty((len(at), _STEPS), dtype=np.int64)
        here = at
        for k in range(_STEPS):
            here = which[:, k] = step[here]
        path = np.diff(np.concatenate([xy[at][:, None], xy[which]], axis=1), axis=1)
        along = np.cumsum(np.hypot(path[..., 0], path[..., 1]), axis=1)
        free = np.cumsum(corner[which], axis=1) == 0
        end = np.where(free.all(axis=1), np.inf, np.where(free, np.inf, along).min(axis=1))
        return cls(which, along, free, end)

    def line(self, xy: Floats, skip: Floats, blur_px: float) -> tuple[Floats, Floats, Mask]:
        """A point and the way outwards of the longest straight run behind `skip`, and whether there is one."""
        centre, outwards = np.zeros((len(skip), 2)), np.tile([1.0, 0.0], (len(skip), 1))
        done = np.zeros(len(skip), dtype=bool)
        usable = self.free & (self.along >= skip[:, None]) & (self.along <= (self.end - _ROUNDED * blur_px)[:, None])
        for length, most in zip(_LENGTHS_PX, _STRAIGHT_PX, strict=True):
            taken = usable & (self.along <= (skip + length)[:, None])
            c, u, stray = _fitted(xy[self.which], taken)
            good = ~done & (taken.sum(axis=1) >= _FEWEST) & (stray <= most)
            centre[good], outwards[good], done = c[good], u[good], done | good
        return centre, outwards, done

    def nearest(self, xy: Floats, tip: Floats) -> Floats:
        """How close the points of each side come to a point; (corners,)."""
        rest = xy[self.which] - tip[:, None]
        return np.asarray(np.where(self.free, np.hypot(rest[..., 0], rest[..., 1]), np.inf).min(axis=1))


def restored(xy: Floats, seen: Floats, steps: tuple[Indices, Indices], corner: Mask, blur_px: float) -> Floats:
    """The points `xy`, their corners moved to where the straight runs of `seen` on both sides meet.

    A corner is moved only as far as blur draws it back: 0.8 / tan(half its angle) times the blur at most, from the
    integral of a blurred wedge along its middle (the tests hold it to that). What lies further back was round.

    Parameters
    ----------
    xy, seen
        Smoothed points and those that were traced; (n, 2), pixels.
    steps
        For each point the one before it and the one after it on its ring; (n,) each.
    blur_px
        Standard deviation of all blur there is.
    """
    moved = xy.copy()
    spots = np.flatnonzero(corner)
    for first in range(0, len(spots), _AT_ONCE):
        at = spots[first : first + _AT_ONCE]
        _restore(moved, seen, at, [_Side.of(seen, at, step, corner) for step in steps], blur_px)
    return moved


def _restore(moved: Floats, seen: Floats, at: Indices, sides: Sequence[_Side], blur_px: float) -> None:
    """Put corners back, of those at the points `at`, in `moved`."""
    skip = np.full(len(at), _ROUNDED * blur_px)
    for _ in range(2):  # a slimmer tip is rounded over a longer way
        (c, u, one), (d, v, other) = (side.line(seen, skip, blur_px) for side in sides)
        half = np.arccos(np.clip((u * v).sum(axis=1), -1, 1)) / 2
        slim = np.maximum(np.sin(np.minimum(2 * half, np.pi / 2)), 0.25)
        skip = np.where(one & other, _ROUNDED * blur_px / slim, skip)
    tip, meets = _meeting(c, u, d, v)
    back = np.minimum(np.hypot(*(tip - seen[at]).T), np.minimum(*(side.nearest(seen, tip) for side in sides)))
    slim = np.maximum(half, np.radians(_SLIMMEST_DEG))
    most = _MORE * np.interp(slim, *_RECESSION) * blur_px / np.tan(slim) + _GRAIN_PX
    good = one & other & meets & (half >= np.radians(_SLIMMEST_DEG)) & (back <= most)
    good &= (((c - tip) * u).sum(axis=1) > 0) & (((d - tip) * v).sum(axis=1) > 0)
    for side, outwards in zip(sides, (u, v), strict=True):
        near = good[:, None] & side.free & (side.along < np.minimum(skip, side.end / 2)[:, None])
        row, column = np.nonzero(near)
        which = side.which[row, column]
        rest = ((seen[which] - tip[row]) * outwards[row]).sum(axis=1)
        moved[which] = tip[row] + np.maximum(rest, 0)[:, None] * outwards[row]
    moved[at[good]] = tip[good]


def _fitted(points: Floats, taken: Mask) -> tuple[Floats, Floats, Floats]:
    """Centre and way of the line through the points that are taken, and how far they stray from it."""
    weight = taken / np.maximum(taken.sum(axis=1, keepdims=True), 1)
    centre = (points * weight[..., None]).sum(axis=1)
    rest = points - centre[:, None]
    xx, yy, xy = ((rest[..., i] * rest[..., j] * weight).sum(axis=1) for i, j in ((0, 0), (1, 1), (0, 1)))
    angle = np.arctan2(2 * xy, xx - yy) / 2
    direction = np.column_stack([np.cos(angle), np.sin(angle)])
    last = np.take_along_axis(rest, (taken * np.arange(1, taken.shape[1] + 1)).argmax(axis=1)[:, None, None], axis=1)
    direction *= np.where((last[:, 0] * direction).sum(axis=1) < 0, -1.0, 1.0)[:, None]
    stray = np.sqrt(np.maximum((xx + yy - np.hypot(xx - yy, 2 * xy)) / 2, 0))
    return centre, direction, stray


def _meeting(c: Floats, u: Floats, d: Floats, v: Floats) -> tuple[Floats, Mask]:
    """Where the lines c + t u and d + t v meet, and whether they do."""
    cross = u[:, 0] * v[:, 1] - u[:, 1] * v[:, 0]
    meets = np.abs(cross) > np.sin(np.radians(2 * _SLIMMEST_DEG))
    rest = d - c
    t = (rest[:, 0] * v[:, 1] - rest[:, 1] * v[:, 0]) / np.where(meets, cross, 1.0)
    return c + t[:, None] * u, meets
