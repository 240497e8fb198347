"""Clumps: how snow on a surface gathers into loads, and each load into lumps; tops round, dips narrow."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.shared.fields import noise_at

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.motifs.snowload.surfaces import Surfaces

__all__ = ["Clumps", "Loads", "clumps", "loads"]

#: Lumps on the loads: their size, in loads, and how high they are, in the loads' own unevenness.
_FINER = ((0.45, 0.6), (0.2, 0.12))
_CREEP = 1.7  #: how much snow on slopes gathers at their feet
_LENGTHS = 2.4  #: how much they differ in length along a surface, as a logarithm
_SHIFT = 0.35  #: how far from its middle a boundary may lie, in clumps


@dataclass(frozen=True, eq=False)
class Clumps:
    """Stretches of surface divided into clumps, no two of one length; arrays over the samples."""

    which: Indices  #: number of the clump
    left: Indices  #: number of the boundary on its left
    right: Indices
    share: Floats  #: 0 at the left boundary … 1 at the right one
    ends_left: Mask  #: whether the left boundary is the stretch's end
    ends_right: Mask
    alone: Mask  #: whether the clump is the whole stretch

    @property
    def count(self) -> int:
        """How many numbers clumps and boundaries may have."""
        return int(self.right.max(initial=-1)) + 1


@dataclass(frozen=True, eq=False)
class Loads:
    """What the clumps make of the snow's depth; arrays over the samples."""

    more: float  #: so many times as much lies where it lies
    swell: Floats  #: factor of the depth, about 1
    bare: Mask  #: left bare
    which: Indices  #: number of the load
    from_left: Floats  #: how fast the load rises from an edge on its left, 1: as usual
    from_right: Floats


def loads(surface: Surfaces, bears: Mask, size: Floats, *, lumpy: float, patchy: float, rng: Generator) -> Loads:
    """Loads along the stretches that bear snow: uneven, some missing, with lumps upon lumps.

    Parameters
    ----------
    bears
        Samples that can bear snow, (n,).
    size
        How long a load is there, about, mm; (n,).
    lumpy
        0: one even layer; 1: lumps that all but part.
    patchy
        Share of loads, and of the gaps between them, that stay bare.
    """
    large = clumps(surface, bears, size * _varied(surface, size, lumpy, rng), rng)
    missing = _missing(large, patchy, rng)
    thinned = _thinned(large, missing, patchy, rng)
    swell = (
        _swelling(large, surface, lumpy, rng, curve=1.0) * np.clip(thinned, 0, 1) * _crept(surface, bears, rng, lumpy)
    )
    for finer, amount in _FINER:
        smaller = clumps(surface, bears, size * finer, rng)
        swell *= _swelling(smaller, surface, lumpy * amount, rng, curve=0.6)
    swell *= np.where(large.alone, np.exp(lumpy * rng.uniform(-0.8, 0.3, large.count))[large.which], 1.0)
    from_left, from_right = np.exp(lumpy * rng.uniform(-0.9, 0.4, (2, large.count)))[:, large.which]
    return Loads(1 + 0.7 * lumpy, swell, missing | (thinned <= 0), large.which, from_left, from_right)


def _varied(surface: Surfaces, size: Floats, lumpy: float, rng: Generator) -> Floats:
    """A factor of the loads' length, (n,): long drifts in some stretches, short ones and crumbs in others."""
    patch = max(3 * float(np.median(size)), 1.0) if len(surface) else 1.0
    return np.asarray(np.exp(np.maximum(_LENGTHS * lumpy * noise_at(surface.xy, rng, patch_mm=patch, octaves=2), -0.4)))


def clumps(surface: Surfaces, bears: Mask, size: Floats, rng: Generator) -> Clumps:
    """The stretches where `bears` holds, divided into clumps about `size` mm long along the surface."""
    stretch, along = _along(surface, bears, size)
    total = np.zeros(int(stretch.max(initial=-1)) + 1)
    np.maximum.at(total, stretch, along)
    parts = np.maximum(np.round(total + rng.uniform(-0.45, 0.45, len(total))), 1)
    first = np.concatenate([[0], np.cumsum(parts + 1)]).astype(np.int64)
    shift = rng.uniform(-_SHIFT, _SHIFT, first[-1])
    shift[first[:-1]] = shift[first[1:] - 1] = 0.0
    place = along / np.maximum(total, 1e-9)[stretch] * parts[stretch]
    number = np.clip(np.floor(place), 0, parts[stretch] - 1).astype(np.int64)
    start = first[stretch] + number
    number += (place >= number + 1 + shift[start + 1]) & (number < parts[stretch] - 1)
    number -= (place < number + shift[first[stretch] + number]) & (number > 0)
    left = first[stretch] + number
    begin, end = number + shift[left], number + 1 + shift[left + 1]
    share = np.clip((place - begin) / np.maximum(end - begin, 1e-9), 0, 1)
    last = number == parts[stretch] - 1
    return Clumps(left, left, left + 1, share, number == 0, last, last & (number == 0))


def _along(surface: Surfaces, bears: Mask, size: Floats) -> tuple[Indices, Floats]:
    """For each sample its stretch (bearing or not, within a run) and how many sizes it lies from its start."""
    if len(surface) == 0:
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    stretch = surface.stretches(bears).run
    starts = np.diff(stretch, prepend=-1) != 0
    step = np.hypot(*np.diff(surface.xy, axis=0, prepend=surface.xy[:1]).T)
    along = np.cumsum(np.where(starts, 0.0, step) / size)
    return stretch, along - along[np.flatnonzero(starts)][stretch]


def _missing(clumps: Clumps, patchy: float, rng: Generator) -> Mask:
    """Whole loads that are not there; what stands alone is spared more often."""
    chance = rng.random(clumps.count)[clumps.which]
    return np.asarray(chance < np.where(clumps.alone, 0.2, 0.5) * patchy)


def _thinned(clumps: Clumps, missing: Mask, patchy: float, rng: Generator) -> Floats:
    """How loads thin out towards bare places beside them: 1 and more well within, 0 and less where it is bare."""
    gone = np.zeros(clumps.count + 1, dtype=bool)
    gone[clumps.which[missing]] = True
    open_ = rng.random(clumps.count + 1) < patchy
    half = np.where(open_, rng.uniform(0.05, 0.3, clumps.count + 1), 0.0)
    ramp = rng.uniform(0.35, 1.0, clumps.count + 1)
    thinned = np.full(len(clumps.share), np.inf)
    for at, share, ends, beside in (
        (clumps.left, clumps.share, clumps.ends_left, clumps.which - 1),
        (clumps.right, 1 - clumps.share, clumps.ends_right, clumps.which + 1),
    ):
        thins = ~ends & (open_[at] | gone[beside])
        rises = np.clip((share - half[at]) / ramp[at], 0, 1)
        thinned = np.where(thins, np.minimum(thinned, rises), thinned)
    return np.where(missing, 0.0, thinned)


def _crept(surface: Surfaces, bears: Mask, rng: Generator, lumpy: float) -> Floats:
    """On slopes snow creeps: thin at their heads, fat at their feet; a factor, (n,)."""
    whole = clumps(surface, bears, np.full(len(surface), 1e9), rng)
    slope = np.sin(np.radians(surface.rise_deg))
    down = np.where(slope > 0, 1 - whole.share, whole.share)
    return np.asarray(1 + _CREEP * lumpy * np.abs(slope) * (2 * down - 0.8))


def _swelling(clumps: Clumps, surface: Surfaces, lumpy: float, rng: Generator, *, curve: float) -> Floats:
    """How high the clumps swell, as a factor: round tops of uneven height, their fat side downhill.

    `curve`: 1: sides as steep as a half circle's; 0: a parabola's.
    """
    dip = rng.uniform(0.3, 1.05, clumps.count) * lumpy
    height = 1 - lumpy * 0.75 * rng.uniform(0.0, 1.0, clumps.count) ** 1.5
    downhill = np.clip(np.sin(np.radians(surface.rise_deg)), -0.8, 0.8)
    top = np.clip(0.5 - 0.42 * downhill + rng.uniform(-0.16, 0.16, clumps.count)[clumps.which], 0.15, 0.85)
    on_left = clumps.share < top
    away = np.where(on_left, 1 - clumps.share / top, (clumps.share - top) / (1 - top))
    fall = curve * (1 - np.sqrt(np.clip(1 - away**2, 0, 1))) + (1 - curve) * away**2
    beside = np.where(on_left, clumps.left, clumps.right)
    ends = np.where(on_left, clumps.ends_left, clumps.ends_right)
    other = np.clip(np.where(on_left, clumps.which - 1, clumps.which + 1), 0, clumps.count - 1)
    own = height[clumps.which]
    low = np.where(ends, own, (own + height[other]) / 2 * (1 - dip[beside]))
    tilt = lumpy * rng.uniform(-0.5, 0.5, clumps.count)[clumps.which] * clumps.alone
    tilted = (1 + tilt * (2 * clumps.share - 1)) / (1 + np.abs(tilt))
    return np.asarray((own + (low - own) * fall) * tilted)
