"""Distances to an outline on a grid, against shapely's."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen.geometry.depth_grid import depths, pitch_mm

SIZE = (60.0, 40.0)


def test_depths_are_distances():
    """Against shapely, on straight, slanted and round edges: 0.06 mm at corners, else within 0.03 mm."""
    shape = shapely.union_all([shapely.Point(20, 20).buffer(9, quad_segs=64),
                               affinity.rotate(shapely.box(35, 8, 50, 30), 27)])  # fmt: skip
    grid = depths(shape, *SIZE)
    xy = np.random.default_rng(1).uniform((1, 1), (59, 39), (4000, 2))
    points = shapely.points(xy)
    exact = shapely.distance(points, shapely.boundary(shape)) * np.where(shapely.contains(shape, points), 1, -1)
    near = np.abs(exact) < 2
    wrong = np.abs(grid.at(*xy.T) - exact)[near]
    assert wrong.max() < 0.06
    assert np.quantile(wrong, 0.98) < 0.03
    assert wrong.mean() < 0.006


@pytest.mark.parametrize(("land", "sign"), [(shapely.box(-9, -9, 99, 99), 1), (shapely.Polygon(), -1)])
def test_without_an_outline_all_is_far_off(land, sign):
    """As far as no land or register error reaches, and no further than a float of 32 bits tells well."""
    assert (sign * depths(land, *SIZE).values == 1000).all()


def test_beyond_the_face_a_land_goes_on_as_at_its_rim():
    """A straight edge at x = 20 runs on 3 mm beyond the face, and from there as it is there; a straight line each."""
    x, y = np.meshgrid([12.0, 19.5, 20.5, 28.0], [-2.9, -50.0, 41.0, 90.0])
    grid = depths(shapely.box(-9, -9, 20, 99), *SIZE)
    assert grid.at(x, y) == pytest.approx(20 - x, abs=0.005)
    beside = grid.at(np.array([-2.5, -9.0, 62.5, 90.0]), np.full(4, 20.0))
    assert beside == pytest.approx([22.5, 23.0, -42.5, -43.0], abs=0.1)


@pytest.mark.parametrize(("size", "pitch"), [((60, 40), 0.08), ((190, 200), 0.08), ((600, 400), 0.2)])
def test_faces_beyond_six_million_cells_are_looked_at_more_coarsely(size, pitch):
    """24 MB of them, as floats of 32 bits; on a smaller face two lines of 0.1 mm are told apart."""
    assert pitch_mm(*size) == pytest.approx(pitch)
