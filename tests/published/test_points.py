"""Point processes against closed forms, measured by an estimator that isn't ours (astropy)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from astropy.stats import RipleysKEstimator
from scipy.spatial import cKDTree

from carvegen.nature.points import Window, poisson, thomas

WINDOW = Window(0.0, 0.0, 150.0, 100.0)
RADII = np.array([1.0, 2.0, 4.0, 6.0])
SEEDS = range(12)
# Twelve draws of about 1200 points: from one dozen of seeds to another their mean strays from the closed form by
# 0.3 to 3.3 % (five dozens measured, the smallest radius worst); a spread of 3 mm instead of 2 mm is 9 to 37 % off.
TOLERANCE = 0.05


def mean_k(draw) -> np.ndarray:
    """Ripley's K at `RADII`, edges corrected by translation, mean over the seeds."""
    estimate = RipleysKEstimator(area=WINDOW.area, x_max=150.0, y_max=100.0, x_min=0.0, y_min=0.0)
    draws = (draw(np.random.default_rng(seed)) for seed in SEEDS)
    return np.mean([estimate(xy, RADII, mode="translation") for xy in draws], axis=0)


def thomas_k(parents_per_mm2: float, spread_mm: float, radii: np.ndarray = RADII) -> np.ndarray:
    """``K(r) = pi r² + (1 - exp(-r² / 4 s²)) / k`` (M. Thomas 1949, Biometrika 36:18; B. D. Ripley 1977)."""
    return np.pi * radii**2 + (1 - np.exp(-(radii**2) / (4 * spread_mm**2))) / parents_per_mm2


def test_closed_form_has_its_worked_value() -> None:
    # k = 0.01 per mm², s = 2 mm: K(4) = 50.265 + 63.212 (arithmetic from the formula).
    assert thomas_k(0.01, 2.0, np.array([4.0])) == pytest.approx([113.477], abs=0.001)


def test_thomas_process_clusters_as_its_k_function_says() -> None:
    measured = mean_k(lambda rng: thomas(WINDOW, parents_per_mm2=0.02, mean_count=4, spread_mm=2.0, rng=rng))
    assert measured == pytest.approx(thomas_k(0.02, 2.0), rel=TOLERANCE)
    # The test sees a wrong spread, a wrong number of parents and no clusters at all, at every radius.
    for wrong in (thomas_k(0.02, 3.0), thomas_k(0.03, 2.0), np.pi * RADII**2):
        assert (np.abs(measured / wrong - 1) > TOLERANCE).all()


def test_poisson_process_has_pi_r2() -> None:
    # Ripley 1977 (J. R. Stat. Soc. B 39:172): complete spatial randomness has K = pi r².
    measured = mean_k(lambda rng: poisson(WINDOW, 0.08, rng))
    assert measured == pytest.approx(np.pi * RADII**2, rel=TOLERANCE)


def test_thomas_process_is_as_dense_at_the_rim_as_inside() -> None:
    # Density = parents × mean count (J. Neyman & E. L. Scott 1958); parents outside the window make up the rim.
    draws = [thomas(WINDOW, parents_per_mm2=0.02, mean_count=4, spread_mm=4.0, rng=np.random.default_rng(s))
             for s in range(60)]  # fmt: skip
    xy = np.concatenate(draws)
    rim = np.minimum.reduce([xy[:, 0], xy[:, 1], 150 - xy[:, 0], 100 - xy[:, 1]]) < 3
    rim_mm2 = WINDOW.area - 144 * 94
    # Count of a clustered rim: variance about 1 + mean count times a Poisson count's; four standard deviations.
    for count, area in ((rim.sum(), rim_mm2), ((~rim).sum(), WINDOW.area - rim_mm2)):
        expected = 60 * 0.08 * area
        assert abs(count - expected) < 4 * math.sqrt(5 * expected)


def clark_evans(xy: np.ndarray, area: float, *, inner: np.ndarray) -> tuple[float, int]:
    """``R = 2 r sqrt(density)``, r the mean distance to the nearest neighbour, and how many points it rests on.

    P. J. Clark & F. C. Evans 1954, Ecology 35:445. Measured from the inner points to all, so that the edge takes
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
    # Clark & Evans: the standard error of the mean distance is 0.26136 / sqrt(n density), of R so 0.52272 / sqrt(n);
    # here times 1.2, as neighbours are counted from both ends, and four of these.
    assert index == pytest.approx(1, abs=4 * 1.2 * 0.52272 / math.sqrt(count))


def test_clark_evans_index_of_a_hexagonal_lattice() -> None:
    # Clark & Evans: 2.1491, the largest there is. Proves the measure, not the package.
    row, column = np.mgrid[0:60, 0:60]
    xy = np.column_stack([(column + 0.5 * (row % 2)).ravel(), (row * math.sqrt(3) / 2).ravel()])
    area = 60 * 60 * math.sqrt(3) / 2
    index, _ = clark_evans(xy, area, inner=np.ones(len(xy), dtype=bool))
    assert index == pytest.approx(2.1491, abs=1e-4)
