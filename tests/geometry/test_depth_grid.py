"""Distances to an outline on a grid, against shapely's."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen.geometry.depth_grid import Depths, _normals, _to_edge, depths, pitch_mm

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


def test_how_deep_the_middle_of_a_cell_lies_is_told_by_its_share():
    """The plane cuts the cell's square; its area by overlay, from whole to empty, whichever way it faces."""
    rng = np.random.default_rng(6)
    angle, depth = rng.uniform(0, 2 * np.pi, 150), rng.uniform(-0.72, 0.72, 150)
    angle[:8] = np.arange(8) * np.pi / 4
    up, right = np.sin(angle), np.cos(angle)
    planes = [
        affinity.rotate(shapely.box(-each, -9, 9, 9), turn, origin=(0, 0), use_radians=True)
        for each, turn in zip(depth.tolist(), angle.tolist(), strict=True)
    ]
    share = shapely.area(shapely.intersection(planes, shapely.box(-0.5, -0.5, 0.5, 0.5)))
    some = (share > 1e-6) & (share < 1 - 1e-6)
    assert some.sum() > 80
    assert _to_edge(up[some], right[some], share[some]) == pytest.approx(depth[some], abs=1e-3)


@pytest.mark.parametrize("slope", [(0.02, 0.0), (0.0, -0.03), (0.02, 0.05)])
def test_a_normal_points_to_where_it_grows_denser_at_the_rim_too(slope):
    y, x = np.mgrid[0:9, 0:7]
    share = 0.5 + slope[0] * (y - 4) + slope[1] * (x - 3)
    cells = np.array([0, 6, 7 * 4 + 3, 7 * 8, 7 * 9 - 1, 3])
    up, right = _normals(share, cells)
    size = np.hypot(*slope)
    inner = cells == 7 * 4 + 3
    assert up[inner] == pytest.approx(slope[0] / size, abs=1e-3)
    assert right[inner] == pytest.approx(slope[1] / size, abs=1e-3)
    assert (up * slope[0] + right * slope[1] > 0.85 * size).all()


@pytest.mark.parametrize("over", [0.1, 0.35, 0.6, 0.85])
def test_the_grids_cells_cover_the_face_but_for_less_than_one_at_each_side(over):
    """And three millimetres beyond it on all sides."""
    wide, high = (40 + over) * 0.08, (25 + over) * 0.08
    grid = depths(shapely.box(-9, -9, 1, 99), wide, high)
    beyond = 38  # cells of 0.08 mm
    for n, side in ((0, wide), (1, high)):
        first = grid.corner[n] + (beyond - 0.5) * 0.08
        last = grid.corner[n] + (grid.values.shape[1 - n] - beyond - 0.5) * 0.08
        assert 0 <= first < 0.08
        assert side - 0.08 < last <= side + 1e-9


def test_between_the_grids_values_it_is_straight_and_beyond_as_at_the_rim():
    values = np.array([[0.0, 1.0, 4.0], [10.0, 13.0, 20.0]], dtype=np.float32)
    grid = Depths(values=values, corner=(1.0, 2.0), pitch_mm=0.5, size=SIZE)
    x, y = np.array([1.0, 1.25, 1.5, 1.75, 1.125, -9, 99]), np.array([2.0, 2.0, 2.25, 2.125, 2.4, -9, 99])
    wanted = [0, 0.5, 7, 2.5 + 0.25 * 14, 0.25 + 0.8 * (10.75 - 0.25), 0, 20]
    assert grid.at(x, y) == pytest.approx(wanted, abs=0.03)


def test_near_an_outline_it_is_straight_and_two_cells_on_round():
    """From the corner of a quarter plane: the distance beside it is that to the corner, from outside."""
    grid = depths(shapely.box(3, 2, 99, 99), 6.0, 5.0)
    out = np.array([0.3, 0.6, 1.2])
    assert grid.at(3 - out, 2 - out) == pytest.approx(-out * np.sqrt(2), abs=0.05)
    assert grid.at(3 + out, 2 + 2 * out) == pytest.approx(out, abs=0.02)
