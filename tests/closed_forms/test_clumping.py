"""Chance that belongs to places, and flurries, against published values and closed forms."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.spatial import cKDTree

from carvegen.motifs.snowfall.chance import mixed
from carvegen.motifs.snowfall.weather import (
    CELL_MM,
    Cells,
    Octave,
    counts,
    covariance,
    field,
    in_cells,
)

SIDE = 200  # cells


def test_splitmix64_has_its_published_values() -> None:
    # Seed 1234567; test values of the public-domain C code by S. Vigna (from memory).
    golden = 0x9E3779B97F4A7C15
    states = np.array([(1234567 + k * golden) % 2**64 for k in range(3)], dtype=np.uint64)
    assert mixed(states).tolist() == [6457827717110365317, 3203168211198807973, 9817491932198370423]


def test_counts_are_poisson() -> None:
    chance = (np.arange(100_000) + 0.5) / 100_000
    result = counts(np.full(100_000, 1.3), chance)
    # P(0) = exp(-1.3) = 0.27253, P(1) = 1.3 P(0) = 0.35429; mean and variance 1.3 (S. D. Poisson 1837).
    assert (result == 0).mean() == pytest.approx(0.27253, abs=1e-4)
    assert (result == 1).mean() == pytest.approx(0.35429, abs=1e-4)
    assert (result.mean(), result.var()) == pytest.approx((1.3, 1.3), rel=1e-3)


def test_pair_correlation_of_the_points_is_exp_of_the_covariance() -> None:
    """J. Møller, A. R. Syversveen & R. P. Waagepetersen 1998: g(r) = exp C(r) of a log-Gaussian Cox process.

    The estimate is that of the stationary process, pairs over all skies against those of chance (from memory).
    """
    middles = np.array([2.0, 4.0, 8.0, 16.0])
    cells = Cells(0, 0, SIDE, SIDE)
    pairs, count = np.zeros(len(middles)), 0.0
    width = 1.0
    skies = 20
    for seed in range(skies):
        octave = Octave(key=seed, size_mm=4.0, height=0.8)
        mean = 0.05 * np.exp(field(octave, cells.middle) - 0.32) * CELL_MM**2 * 4
        rng = np.random.default_rng(seed)
        number = counts(mean, rng.random(len(mean)))
        xy = np.repeat(cells.middle, number, axis=0) + CELL_MM * (rng.random((number.sum(), 2)) - 0.5)
        inner = xy[((xy > 17) & (xy < SIDE * CELL_MM - 17)).all(axis=1)]
        reach = np.sort(np.concatenate([middles - width / 2, middles + width / 2]))
        result = cKDTree(inner).count_neighbors(cKDTree(xy), reach)
        pairs += result[1::2] - result[::2]
        count += len(inner)
    density = 0.2
    rings = np.pi * ((middles + width / 2) ** 2 - (middles - width / 2) ** 2)
    area = skies * (SIDE * CELL_MM - 34) ** 2
    measured = pairs / (density**2 * area * rings)
    assert measured == pytest.approx(np.exp(covariance(Octave(0, 4.0, 0.8), middles)), rel=0.12)


def test_a_field_belongs_to_its_places() -> None:
    octave = Octave(key=3, size_mm=5.0, height=1.0, stretch=3.0, along_deg=25.0)
    here = Cells(-20, 10, 40, 30).middle
    np.testing.assert_array_equal(field(octave, here)[:100], field(octave, here[:100]))


def test_large_patches_are_asked_for_in_few_places_and_lie_the_same_in_every_window() -> None:
    """Between, by cubic convolution (source: keys-1981): off by no more than a fortieth of the field's deviation."""
    large, part = Cells(-7, 13, 160, 120), Cells(20, 40, 33, 50)
    for size in (2.5, 6.0, 14.0):
        octave = Octave(key=5, size_mm=size, height=1.0, stretch=2.0, along_deg=30.0)
        whole = in_cells(octave, large)
        assert 0 < np.abs(whole - field(octave, large.middle)).max() < 0.025
        here = whole.reshape(120, 160)[40 - 13 :, 20 + 7 :][:50, :33]
        np.testing.assert_allclose(in_cells(octave, part).reshape(50, 33), here, rtol=0, atol=1e-12)
