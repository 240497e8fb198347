"""Simplex noise against the package `noise`, value by value, and without it against values that it gave."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.motifs.shared.simplex import simplex_noise
from tests.strategies import MANY, few

#: ``noise.snoise2(x, y, octaves)`` of noise 1.2.2 on x86-64, written down once.
PACKAGE = {
    (0.886, 0.023, 1): -0.361625075340271,
    (0.952, -0.838, 1): -0.723884105682373,
    (21.471, -24.703, 1): -0.7123217582702637,
    (60.38, -65.094, 1): -0.26274096965789795,
    (7432.705, 878.828, 1): -0.25568491220474243,
    (8044.302, -456.93, 1): -0.6624738574028015,
    (-0.139, 0.578, 3): 0.3161180913448334,
    (0.968, -0.261, 3): 0.43357181549072266,
    (93.787, 85.805, 3): -0.2806594967842102,
    (-64.461, 21.77, 3): -0.2059457004070282,
    (4097.295, 8856.074, 3): -0.2735188901424408,
    (3313.148, -7332.085, 3): 0.15437017381191254,
    (-0.004, -0.013, 5): 0.04109414294362068,
    (0.0, 0.917, 5): -0.25100356340408325,
    (-30.013, -55.246, 5): -0.40282031893730164,
    (4.417, 28.234, 5): 0.2941267490386963,
    (8782.141, 1640.316, 5): -0.5417715311050415,
    (-4643.332, 8595.494, 5): -0.541916012763977,
}


def test_values_of_the_package() -> None:
    for (x, y, octaves), value in PACKAGE.items():
        assert simplex_noise(np.array([[x, y]]), octaves)[0] == value


@pytest.mark.parametrize("octaves", few([1, 2, 3, 4, 5, 6, 7, 8], 2))
@pytest.mark.parametrize("reach", [1.0, 100.0, 10_000.0])
def test_a_million_points_agree_bit_by_bit(octaves: int, reach: float) -> None:
    """24 × 42,000 points, both signs, near and far; a quarter of them where there is less time."""
    noise = pytest.importorskip("noise")
    xy = np.random.default_rng(octaves).uniform(-reach, reach, (42_000 if MANY else 10_500, 2))
    package = np.array([noise.snoise2(x, y, octaves) for x, y in xy.tolist()])
    np.testing.assert_array_equal(simplex_noise(xy, octaves), package)


def test_points_on_the_lattice_and_on_the_edges_of_its_triangles() -> None:
    noise = pytest.importorskip("noise")
    steps = np.arange(-260, 260) / 2
    xy = np.column_stack([np.repeat(steps, 9), np.tile(steps[::58], len(steps))])
    np.testing.assert_array_equal(simplex_noise(xy, 1), [noise.snoise2(x, y, 1) for x, y in xy.tolist()])


def test_a_point_s_value_does_not_depend_on_the_others() -> None:
    xy = np.random.default_rng(0).uniform(-50, 50, (70_000, 2))  # more than are computed at a time
    np.testing.assert_array_equal(simplex_noise(xy, 3)[69_000:], simplex_noise(xy[69_000:], 3))
    assert simplex_noise(np.empty((0, 2)), 3).shape == (0,)
