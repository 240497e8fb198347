"""The noise field beside the package's own values, by a bound of our own."""

from __future__ import annotations

import noise
import numpy as np

from carvegen.motifs.shared.fields import noise_at


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
