"""Noise fields over the face, sampled at points."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import map_coordinates

from carvegen.motifs.shared.simplex import simplex_noise

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats

__all__ = ["noise_at", "ranks", "smoothstep", "turned", "turned_sides", "waves_at"]

_PER_PATCH = 8  #: samples over one patch at least, and
_PER_FINEST = 3  #: over one patch of the finest octave: what lies between is smoothed (cubic B-spline)
_REACH = 10_000.0  #: how far into the noise a seed may look, patches


def noise_at(
    xy: Floats, rng: Generator, *, patch_mm: float, stretch: float = 1.0, along_deg: float = 0.0, octaves: int = 3
) -> Floats:
    """Simplex noise with patches of about `patch_mm`, drawn out `stretch` times along `along_deg`.

    Parameters
    ----------
    xy
        Points in mm, (n, 2).

    Returns
    -------
    Floats
        Values in about -1…1, (n,). The same points, settings and generator state give the same values.
    """
    offset = rng.uniform(0, _REACH, 2)
    if len(xy) == 0:
        return np.empty(0)
    place = turned(xy, -along_deg) / [patch_mm * stretch, patch_mm]
    samples = max(_PER_PATCH, _PER_FINEST * 2 ** (octaves - 1))
    low = np.floor(place.min(axis=0) * samples).astype(int) - 2
    high = np.ceil(place.max(axis=0) * samples).astype(int) + 3
    columns, rows = (np.arange(a, b) / samples for a, b in zip(low, high, strict=True))
    grid, wanted = np.zeros((len(columns), len(rows))), np.zeros((len(columns), len(rows)), dtype=bool)
    cell = np.floor(place * samples - low).astype(int)
    for i, j in itertools.product(range(-1, 3), repeat=2):  # a cubic spline asks for four samples each way
        wanted[cell[:, 0] + i, cell[:, 1] + j] = True
    column, row = np.nonzero(wanted)
    ends = np.column_stack([columns[column], rows[row]]) + offset
    grid[column, row] = simplex_noise(ends, octaves)
    return np.asarray(map_coordinates(grid, (place * samples - low).T, order=3, prefilter=False, mode="nearest"))


def waves_at(xy: Floats, rng: Generator, *, patch_mm: tuple[float, float]) -> Floats:
    """A smooth random field: a sum of random waves, mean 0, standard deviation about 1; (n,).

    Parameters
    ----------
    xy
        Points in mm, (n, 2).
    patch_mm
        Size of the patches along x and y: correlation falls as ``exp(-d² / 2 patch²)`` (a
        Gaussian field by cosines of random frequency and phase, source: shinozuka-1971).
    """
    frequency = rng.normal(size=(_WAVES, 2)) / np.asarray(patch_mm)
    phase = rng.uniform(0, 2 * np.pi, _WAVES)
    total = np.zeros(len(xy))
    for wave, shift in zip(frequency, phase, strict=True):  # one at a time: no array of points by waves
        total += np.cos(xy @ wave + shift)
    return np.asarray(total * np.sqrt(2 / _WAVES))


_WAVES = 20


def ranks(values: Floats) -> Floats:
    """Each value's rank as a share: 0 for the lowest, towards 1 for the highest; same shape."""
    _, which, count = np.unique(values, return_inverse=True, return_counts=True)
    middle = np.cumsum(count) - count / 2  # equal values share the mean of their ranks
    return np.asarray(middle[which] / max(len(values), 1))


def smoothstep(share: Floats) -> Floats:
    """From 0 to 1, level at both ends: ``t² (3 - 2 t)``; same shape."""
    return np.asarray(share**2 * (3 - 2 * share))


def turned(xy: Floats, by_deg: float) -> Floats:
    """Points turned about the origin, counter-clockwise; (n, 2).

    By no product of matrices: that calls for threads, whose waiting costs more than all else here.
    """
    return np.stack(turned_sides(xy[:, 0], xy[:, 1], by_deg), axis=-1)


def turned_sides(x: Floats, y: Floats, by_deg: float) -> tuple[Floats, Floats]:
    """The same of x and y, which lie apart."""
    cos, sin = np.cos(np.radians(by_deg)), np.sin(np.radians(by_deg))
    return cos * x - sin * y, sin * x + cos * y
