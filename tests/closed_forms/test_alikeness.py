"""Evenness and direction against closed forms; circular variance against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from scipy import integrate

from carvegen.geometry.alikeness import (
    combing,
    distance_spread,
    elongations,
    nearest_distances,
    size_spread,
    spacing,
    straight_runs,
)
from tests.cases import box, disc, shapes


def square(n: int) -> np.ndarray:
    x, y = np.meshgrid(np.arange(n), np.arange(n))
    return np.column_stack([x.ravel(), y.ravel()]).astype(float)


def test_chance_among_shapes_that_take_room() -> None:
    """The mean of the tail exp(-pi d (x² - h²)) above h, integrated numerically; a lattice's mean distance over it."""
    points, h = square(60), 0.6
    tail, _ = integrate.quad(lambda x: np.exp(-np.pi * (x * x - h * h)), h, np.inf)
    assert spacing(points, h)[0] == pytest.approx(1 / (h + tail), rel=0.03)


def test_distances_by_chance_spread_like_a_rayleigh_law() -> None:
    """Nearest neighbours of a Poisson process: coefficient of variation sqrt(4 / pi - 1) = 0.5227."""
    rng = np.random.default_rng(2)
    nearest = nearest_distances(rng.uniform(0, 1, (4000, 2)))
    assert distance_spread(nearest) == pytest.approx(np.sqrt(4 / np.pi - 1), rel=0.05)


def test_spread_of_sizes() -> None:
    assert size_spread(shapes(disc(0, 0, 1), disc(9, 0, 3))) == pytest.approx(0.5)
    assert size_spread(shapes(box(0, 0, 2, 2), box(9, 0, 1, 4))) == pytest.approx(0)


def test_longest_sides() -> None:
    """Square: side over diagonal, 0.7071; box 3 x 4: 4 / 5; a disc has none."""
    turned = shapely.affinity.rotate(box(0, 0, 3, 4), 30)
    runs, direction = straight_runs(shapes(box(0, 0, 2, 2), box(5, 5, 3, 4), turned, disc(20, 20, 3, points=720)))
    np.testing.assert_allclose(runs[:3], (0.5**0.5, 0.8, 0.8), atol=1e-6)
    assert runs[3] < 0.15
    np.testing.assert_allclose(direction[:3], (0, 0, 30), atol=1e-6)


@pytest.mark.parametrize(("bow", "longest"), [(0.0019, 10.0), (0.0021, 5.0)])
def test_a_side_that_bows_by_less_than_the_eye_sees_is_straight(bow: float, longest: float) -> None:
    """Long sides that bow out by a share of the extent, 0.002 of it (our own choice) from both sides; Pythagoras."""
    extent = np.hypot(10, 2)
    off = bow * extent
    bowed = shapely.Polygon([(0, 0), (5, -off), (10, 0), (10, 2), (5, 2 + off), (0, 2)])
    assert straight_runs(shapes(bowed))[0] == pytest.approx(longest / extent, rel=1e-3)


def test_long_axes_of_boxes() -> None:
    ratio, doubled = elongations(shapes(box(0, 0, 6, 2), box(3, 3, 1, 4), box(0, 0, 2, 2)))
    np.testing.assert_allclose(ratio, (3, 4, 1), atol=1e-9)
    np.testing.assert_allclose(np.exp(1j * doubled[:2]), (1, -1), atol=1e-9)


def test_resultant_length_of_angles() -> None:
    """Against SciPy's circular variance: 1 - R of the doubled angles; crossed boxes cancel out."""
    from scipy.stats import circvar  # slow to import: only where it is asked

    rng = np.random.default_rng(3)
    angles = rng.normal(40, 12, 50)
    boxes = shapes(*(shapely.affinity.rotate(box(0, 0, 6, 2), angle) for angle in angles))
    measured, count = combing(boxes)
    assert count == 50
    assert measured == pytest.approx(1 - circvar(2 * np.radians(angles)), abs=1e-9)
    assert combing(shapes(box(0, 0, 6, 2), box(0, 9, 2, 6)))[0] == pytest.approx(0, abs=1e-9)
    assert combing(shapes(disc(0, 0, 1))) == (0.0, 0)
