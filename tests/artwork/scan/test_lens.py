"""A lens that bends lines: closed forms, and a photograph through one."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image
from skimage.transform import ProjectiveTransform

from carvegen.artwork.on_plan import laid_on, plan_of, read_laid
from carvegen.artwork.on_plan.lens import Lens, solved
from carvegen.artwork.scan import ScanOptions
from carvegen.artwork.scan.pixels import ScanPicture
from tests.artwork.scan import on_plan_pictures as made
from tests.strategies import few

PX = (4000, 3000)
PLAN_MM = (300.0, 200.0)
BOX = np.array([[0, 0], [300, 0], [300, 200], [0, 200]], float)
#: A slanting view, by scikit-image.
PLACE = ProjectiveTransform.from_estimate(BOX, np.array([[420, 380], [3590, 330], [3660, 2640], [350, 2590]], float))


def through(matrix, xy):
    there = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
    return there[:, :2] / there[:, 2:]


def of_strength(strength):
    plain = Lens.none(PX)
    return Lens(strength, plain.middle, plain.reach)


def test_a_lens_moves_the_corners_by_its_strength_and_the_middle_not():
    """By the formula: at the corners r = 1, so a barrel of 5 % draws them in by 5 % of half the diagonal."""
    lens = of_strength(-0.05)
    corner, half, middle = np.array([[4000.0, 3000.0]]), np.array([[3000.0, 2250.0]]), np.array([[2000.0, 1500.0]])
    assert lens.bent(corner) == pytest.approx(np.array([[3900.0, 2925.0]]))
    assert lens.bent(half) == pytest.approx(middle + (half - middle) * (1 - 0.05 / 4))
    assert lens.bent(middle) == pytest.approx(middle)


@pytest.mark.parametrize("strength", [-0.05, -0.01, 0.03, 0.05])
def test_straight_is_the_inverse_of_bent(strength):
    lens = of_strength(strength)
    xy = np.random.default_rng(0).uniform((0, 0), PX, (200, 2))
    assert np.abs(lens.straight(lens.bent(xy)) - xy).max() < 1e-3
    smaller = lens.within(4.0, (400.0, 200.0))
    assert smaller.bent((xy - (400, 200)) / 4) == pytest.approx((lens.bent(xy) - (400, 200)) / 4)


def seen_from(place, lens, at):
    """How far from where a straight picture would show them places are seen, on the plan; mm."""
    return through(np.linalg.inv(place), lens.bent(through(PLACE.params, at))) - at


@pytest.mark.parametrize("strength", few([-0.05, -0.02, 0.02, 0.05], 2))
def test_lens_and_place_are_solved_from_where_things_are_seen(strength):
    """Places seen exactly by a known lens and view; some of them elsewhere, as cuts that differ are."""
    at = np.random.default_rng(1).uniform((5, 5), (295, 195), (200, 2))
    lens = of_strength(strength)
    near = PLACE.params @ np.array([[1.002, 0, 0.3], [0, 0.999, -0.2], [0, 0, 1]])
    move = seen_from(near, lens, at)
    move[:10] += 1.5
    place, result = solved(at, move, near, Lens.none(PX), PLAN_MM)
    assert result.strength == pytest.approx(strength, abs=2e-4)
    off = through(np.linalg.inv(place), result.straight(lens.bent(through(PLACE.params, at)))) - at
    assert np.abs(off).max() < 0.02


@pytest.mark.parametrize("rough", [0.0, 0.15])
def test_where_no_lens_bends_none_is_taken(rough):
    """Edges cut by hand lie off this way and that: no lens is made of it."""
    rng = np.random.default_rng(2)
    at = rng.uniform((5, 5), (295, 195), (120, 2))
    move = seen_from(PLACE.params, Lens.none(PX), at) + rng.normal(0, rough, at.shape)
    assert solved(at, move, PLACE.params, Lens.none(PX), PLAN_MM) is None


def test_a_photograph_through_a_telephones_lens_is_read_where_it_lies():
    """A barrel of 5 %, by scikit-image's warp: without the lens edges lie 0.9 mm off at the corners."""
    size, sky = (640, 480), made.sky()
    seen, true = made.photographed(made.painted(sky), size=size, lens=-0.05)
    result = laid_on(plan_of(sky, made.SIZE), ScanPicture(Image.fromarray(seen), None))
    assert not result.fit.fault
    x, y = np.meshgrid(np.linspace(4, 116, 7), np.linspace(4, 76, 5))
    at = np.column_stack([x.ravel(), y.ravel()])
    there = result.lens.straight(made.bent(through(true, at), size, -0.05))
    assert np.hypot(*(through(np.linalg.inv(result.place), there) - at).T).max() < 0.08
    unlike = shapely.symmetric_difference(shapely.union_all(read_laid(result, ScanOptions()).shapes), sky)
    assert shapely.buffer(unlike, -0.12).area < 0.5
