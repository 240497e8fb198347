"""Blur and tones between pixels, held against scipy's."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from carvegen.artwork.scan.sampling import blurred, tones_at


@pytest.mark.parametrize("shape", [(150, 67), (9, 200), (5, 40), (256,)])
@pytest.mark.parametrize("sigma", [0.3, 0.6, 1.5, 2.0, 5.0])
def test_a_blur_is_scipys(shape: tuple[int, ...], sigma: float) -> None:
    values = np.random.default_rng(1).random(shape) * 255
    np.testing.assert_allclose(blurred(values, sigma), ndimage.gaussian_filter(values, sigma), atol=1e-10)
    tone = values.astype(np.uint8)
    seen = blurred(tone, sigma)
    assert seen.dtype == np.float32
    np.testing.assert_allclose(seen, ndimage.gaussian_filter(tone, sigma, output=np.float32), atol=1e-4)


def test_tones_between_pixels_are_scipys() -> None:
    rng = np.random.default_rng(2)
    tone = rng.integers(0, 256, (40, 30)).astype(np.uint8)
    rows, columns = rng.uniform(-3, 43, 500), rng.uniform(-3, 33, 500)
    wanted = ndimage.map_coordinates(tone, [rows, columns], order=1, mode="nearest", output=np.float64)
    np.testing.assert_allclose(tones_at(tone, rows, columns), wanted, atol=1e-9)
