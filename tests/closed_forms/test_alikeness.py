"""Evenness and direction against closed forms; circular variance against SciPy's."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate
from shapely import affinity

from carvegen import geometry
from carvegen.geometry import alikeness
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
from tests.strategies import blobs


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


def test_measures_of_outlines_by_which_twins_are_known() -> None:
    """A square's corners lie sqrt(2) from their mean, 2, sqrt(8) and 2 from the next; a triangle's one by one."""
    corners = np.array([(0.0, 0.0), (3.0, 0.0), (1.0, 2.5)])
    square_, triangle = alikeness._signatures(shapes(box(4, 5, 2, 2), shapely.Polygon(corners)))
    lie = (2.0**0.5, 2.0**0.5, 8**0.5, 8**0.5, 8**0.5)
    np.testing.assert_allclose(square_, (4000, *lie, 4, 8, 32**0.5, 128**0.5, 4, 8))
    off = np.hypot(*(corners - corners.mean(axis=0)).T)
    spread = np.sqrt((off**2).mean())
    expected = [3000, off.max(), off.min(), *(3**0.5 * (off**k).mean() ** (1 / k) for k in (2, 4, 1))]
    for k in (1, 2, 0):
        away = np.hypot(*(np.roll(corners, -k, axis=0) - corners).T)
        both = off**2 + np.roll(off, -k) ** 2
        expected += [3**0.5 * away.mean(), 3**0.5 * (both * away).mean() / spread**2]
    np.testing.assert_allclose(triangle, expected, atol=1e-9)


def test_resultant_length_of_angles() -> None:
    """The length of the mean of the doubled angles' unit vectors; crossed boxes cancel out."""
    rng = np.random.default_rng(3)
    angles = rng.normal(40, 12, 50)
    boxes = shapes(*(shapely.affinity.rotate(box(0, 0, 6, 2), angle) for angle in angles))
    measured, count = combing(boxes)
    assert count == 50
    assert measured == pytest.approx(abs(np.exp(2j * np.radians(angles)).mean()), abs=1e-9)
    assert combing(shapes(box(0, 0, 6, 2), box(0, 9, 2, 6)))[0] == pytest.approx(0, abs=1e-9)
    assert combing(shapes(disc(0, 0, 1))) == (0.0, 0)


@given(blobs(hole=False), st.floats(0, 360), st.booleans(), st.floats(0, 150), st.floats(0, 100))
def test_a_copy_is_a_twin(shape, turn, mirror, x, y) -> None:
    copy = affinity.scale(affinity.rotate(shape, turn, origin=(0, 0)), -1 if mirror else 1, 1, origin=(0, 0))
    moved = affinity.translate(copy, x, y)
    assert alikeness.have_twins(shapes(shape, moved)).all()
    assert not alikeness.have_twins(shapes(shape, affinity.scale(moved, 1.02, 1.0))).any()
    assert not alikeness.have_twins(shapes(shape, affinity.scale(moved, 1.01, 1.01))).any()


@given(blobs(hole=False), st.floats(0, 360), st.floats(0.2, 5))
def test_runs_and_axes_turn_and_grow_with_the_shape(shape, turn, scale) -> None:
    other = affinity.scale(affinity.rotate(shape, turn, origin=(0, 0)), scale, scale, origin=(0, 0))
    runs, _ = alikeness.straight_runs(shapes(shape, other))
    assert runs[0] == pytest.approx(runs[1], abs=1e-6)
    ratio, doubled = alikeness.elongations(shapes(shape, other))
    assert ratio[0] == pytest.approx(ratio[1], rel=1e-6)
    if ratio[0] > 1.01:
        off = np.exp(1j * (doubled[1] - doubled[0] - 2 * np.radians(turn)))
        assert off == pytest.approx(1, abs=1e-4)


def test_no_twins_among_none_and_one() -> None:
    assert alikeness.have_twins(geometry.empty()).shape == (0,)
    assert not alikeness.have_twins(shapes(disc(0, 0, 1))).any()


@pytest.mark.parametrize(("off", "twins"), [(0.001, True), (0.0033, False)])
def test_what_differs_by_more_than_the_grid_is_no_twin(off: float, twins: bool) -> None:
    """One corner of a hexagon moved outwards: by the grid's 1 µm it is the same shape."""
    one = disc(0, 0, 3, points=6)
    xy = shapely.get_coordinates(one)[:-1]
    xy[2] *= 1 + off / 3
    other = affinity.rotate(affinity.translate(shapely.Polygon(xy), 9, 1), 33)
    assert alikeness.have_twins(shapes(one, other, disc(20, 0, 3, points=7))).tolist() == [twins, twins, False]


def test_a_shape_that_comes_three_times_and_one_near_to_none_of_them() -> None:
    """Twins are told apart from shapes with as many points, as far from the middle, in another order."""
    reach = np.array([3, 2, 2.5, 1.5, 2.8, 1.7])
    angle = np.arange(6) * np.pi / 3
    one, other = (
        shapely.Polygon(np.column_stack([each * np.cos(angle), each * np.sin(angle)]))
        for each in (reach, reach[[0, 1, 2, 4, 3, 5]])
    )
    some = shapes(one, affinity.translate(one, 9, 0), affinity.scale(affinity.translate(one, 18, 3), -1, 1), other)
    assert alikeness.have_twins(some).tolist() == [True, True, True, False]


@pytest.mark.parametrize(("longer", "counts"), [(1.49, 0), (1.51, 1), (7.9, 1), (8.1, 0)])
def test_elongated_is_half_as_long_again_as_wide_and_no_stroke(longer: float, counts: int) -> None:
    assert combing(shapes(box(0, 0, longer, 1)))[1] == counts


@pytest.mark.parametrize("scale", [1e-3, 1e4])
def test_how_even_a_pattern_is_does_not_depend_on_its_size(scale: float) -> None:
    xy = np.random.default_rng(3).uniform(0, 1, (40, 2))
    for apart in (0.0, 0.05):
        plain, other = spacing(xy, apart), spacing(scale * xy, scale * apart)
        assert other == pytest.approx(plain, rel=1e-9)
    assert np.isnan(spacing(scale * np.array([[0, 0], [1, 1.0]]))[0])
    assert spacing(scale * np.array([[0, 0], [1, 0], [0, 1.0]]))[0] > 0
