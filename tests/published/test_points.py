"""Point processes against published forms, measured by an estimator that isn't ours (astropy)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.spatial import cKDTree

from carvegen.motifs.shared.points import Window, poisson

WINDOW = Window(0.0, 0.0, 150.0, 100.0)
RADII = np.array([1.0, 2.0, 4.0, 6.0])
SEEDS = range(12)
# Twelve draws of about 1200 points: from one dozen of seeds to another their mean strays from the closed form by
# 0.3 to 3.3 % (five dozens measured, the smallest radius worst).
TOLERANCE = 0.05


def mean_k(draw) -> np.ndarray:
    """Ripley's K at `RADII`, edges corrected by translation, mean over the seeds."""
    from astropy.stats import RipleysKEstimator  # slow to import: only where it is asked

    estimate = RipleysKEstimator(area=WINDOW.area, x_max=150.0, y_max=100.0, x_min=0.0, y_min=0.0)
    draws = (draw(np.random.default_rng(seed)) for seed in SEEDS)
    return np.mean([estimate(xy, RADII, mode="translation") for xy in draws], axis=0)


def test_poisson_process_has_pi_r2() -> None:
    # Complete spatial randomness has K = pi r² (source: ripley-1977).
    measured = mean_k(lambda rng: poisson(WINDOW, 0.08, rng))
    assert measured == pytest.approx(np.pi * RADII**2, rel=TOLERANCE)


def clark_evans(xy: np.ndarray, area: float, *, inner: np.ndarray) -> tuple[float, int]:
    """``R = 2 r sqrt(density)``, r the mean distance to the nearest neighbour, and how many points it rests on.

    Measured from the inner points to all, so that the edge takes
    no neighbour away.
    """
    distance = cKDTree(xy).query(xy[inner], k=2)[0][:, 1]
    return 2 * float(distance.mean()) * math.sqrt(len(xy) / area), int(inner.sum())


def away_from(xy: np.ndarray, width: float, height: float, by: float) -> np.ndarray:
    x, y = xy.T
    return (x > by) & (x < width - by) & (y > by) & (y < height - by)


@pytest.mark.parametrize("seed", range(4))
def test_clark_evans_index_of_chance_is_one(seed) -> None:
    xy = poisson(WINDOW, 0.1, np.random.default_rng(seed))
    index, count = clark_evans(xy, WINDOW.area, inner=away_from(xy, 150, 100, 8))
    # source: clark-evans. The standard error of the mean distance is 0.26136 / sqrt(n density), of R so 0.52272 /
    # sqrt(n); here times 1.2, as neighbours are counted from both ends, and four of these.
    assert index == pytest.approx(1, abs=4 * 1.2 * 0.52272 / math.sqrt(count))
