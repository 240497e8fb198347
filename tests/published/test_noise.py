"""The noise package against the reference implementation's published value, and what simplex noise must keep."""

from __future__ import annotations

import noise
import numpy as np
import pytest

from carvegen.nature.fields import noise_at

FLOAT32 = 2e-7  # the package computes with 32-bit floats


def test_improved_perlin_noise_has_its_published_value() -> None:
    # K. Perlin 2002, "Improving noise", reference implementation; the value at this point is published with it as a
    # programming task ("Perlin noise", Rosetta Code).
    assert noise.pnoise3(3.14, 42, 7) == pytest.approx(0.13691995878400012, abs=FLOAT32)


def test_gradient_noise_is_zero_on_its_lattice() -> None:
    # K. Perlin 1985 and 2002: every gradient is multiplied by the way to its lattice point.
    assert all(noise.pnoise3(x, y, z) == 0 for x in range(-3, 4) for y in range(-3, 4) for z in (0, 5))


# No table of values is published for simplex noise, which the tool uses (K. Perlin 2001; S. Gustavson 2005,
# "Simplex noise demystified", gives code and the range -1…1). So its properties are held instead.


def simplex(*, octaves: int = 1, step: float = 0.07, count: int = 200) -> np.ndarray:
    line = np.arange(count) * step + 0.013
    return np.array([[noise.snoise2(x, y, octaves) for y in line] for x in line])


def test_simplex_noise_lies_in_its_range_and_uses_it() -> None:
    values = simplex(step=0.31)
    assert np.abs(values).max() <= 1
    assert values.max() > 0.7
    assert values.min() < -0.7


def test_simplex_noise_has_no_bias() -> None:
    # 62 × 62 patches, each with a spread below 0.5: the mean of some 3800 strays by less than 0.01; three of these.
    assert abs(simplex(step=0.31).mean()) < 0.03


def test_simplex_noise_has_no_jumps() -> None:
    # Gustavson 2005: a sum of kernels (0.5 - r²)^4 times a linear ramp, so continuous; slope stays below 10 a patch.
    values = simplex(step=0.005)
    assert max(np.abs(np.diff(values, axis=0)).max(), np.abs(np.diff(values, axis=1)).max()) < 0.05


def test_noise_at_is_the_package_s_noise_between_samples() -> None:
    """Smoothed by cubic B-splines an eighth of a patch apart: off by the curve within them, at most some 0.25 of -1…1.

    The error of such smoothing is ``h² / 6`` times the curvature in each direction (here up to about 30 a patch²).
    """
    xy = np.random.default_rng(5).uniform(0, 40, (500, 2))
    field = noise_at(xy, np.random.default_rng(9), patch_mm=8.0, octaves=1)
    offset = np.random.default_rng(9).uniform(0, 10_000.0, 2)
    exact = np.array([noise.snoise2(x / 8 + offset[0], y / 8 + offset[1], 1) for x, y in xy])
    assert np.abs(field - exact).max() < 0.25
    assert np.corrcoef(field, exact)[0, 1] > 0.993
