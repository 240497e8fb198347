"""Insets made side by side, beside GEOS's buffers with fine arcs, closed forms, and distances to the outline."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from carvegen import geometry
from carvegen.geometry.insets import insets
from carvegen.toolpaths.cutter_centre_region import SAG_MM, shrunk


def of(shape, by, *, most=SAG_MM):
    """The inset of one shape, and whether it is sure."""
    inner, sure = insets(geometry.polygon_array([shape]), by, most)
    return inner[0], bool(sure[0])


def regular(corners: int, inradius: float):
    """A regular polygon whose sides lie `inradius` from its middle, the middle of one straight below."""
    angles = (2 * np.arange(corners) + 1) * math.pi / corners - math.pi / 2
    at = inradius / math.cos(math.pi / corners)
    return shapely.Polygon(np.column_stack([3 + at * np.cos(angles), 5 + at * np.sin(angles)]))


@pytest.mark.parametrize("corners", [3, 4, 7, 24])
def test_a_regular_polygon_keeps_its_shape_until_the_middle(corners):
    inner, sure = of(regular(corners, 2.0), 1.5)
    assert sure
    assert shapely.area(shapely.symmetric_difference(inner, regular(corners, 0.5))) < 1e-9
    inner, sure = of(regular(corners, 2.0), 2.0 + 1e-6)
    assert sure
    assert inner.is_empty


def test_an_oblong_is_narrowed_and_vanishes_when_it_is_as_narrow_as_the_disc():
    box = affinity.rotate(shapely.box(0, 0, 9, 2), 31)
    for by, area in ((0.5, 8.0), (0.99, (9 - 1.98) * (2 - 1.98))):
        inner, sure = of(box, by)
        assert sure
        assert inner.area == pytest.approx(area, rel=1e-9)
    inner, sure = of(box, 1.01)
    assert sure
    assert inner.is_empty


def test_a_cut_off_corner_comes_back():
    """The short side vanishes, and the two beside it meet: closed form of a square's inset."""
    inner, sure = of(shapely.Polygon([(0, 0), (4, 0), (4, 3.9), (3.9, 4), (0, 4)]), 1.0)
    assert sure
    assert shapely.area(shapely.symmetric_difference(inner, shapely.box(1, 1, 3, 3))) < 1e-9


def test_of_a_triangle_with_a_cut_off_corner_a_triangle_is_left():
    """Its sides lie 1 mm further in than the whole triangle's, whose incircle has the radius (3 + 4 - 5) / 2 = 1."""
    inner, sure = of(
        affinity.scale(shapely.Polygon([(0, 0), (3.95, 0), (3.95, 0.0375), (0, 3)]), 2, 2, origin=(0, 0)), 1.0
    )
    assert sure
    assert shapely.area(shapely.symmetric_difference(inner, shapely.Polygon([(1, 1), (5, 1), (1, 4)]))) < 1e-9


def test_where_walls_meet_in_the_middle_it_is_left_to_geos():
    dumbbell = shapely.union_all(
        [shapely.Point(0, 0).buffer(2), shapely.Point(6, 0).buffer(2), shapely.box(0, -0.3, 6, 0.3)]
    )
    assert not of(dumbbell, 0.4, most=9.0)[1]
    assert len(shapely.get_parts(shrunk(geometry.polygon_array([dumbbell]), 0.4)[0])) == 2


@given(st.integers(0, 10_000), st.integers(3, 40), st.floats(0.05, 3.0))
def test_a_convex_outline_is_sure_and_is_what_lies_so_far_within_each_side(seed, corners, by):
    rng = np.random.default_rng(seed)
    angles = rng.uniform(0, 2 * math.pi, (8, corners))
    drawn = 3 * np.stack([np.cos(angles), rng.uniform(0.3, 1) * np.sin(angles)], axis=2)
    hulls = shapely.convex_hull(shapely.multipoints(drawn))
    hulls = hulls[(shapely.area(hulls) > 0.5) & (shapely.minimum_clearance(hulls) > 1e-4)]
    inner, sure = insets(hulls, by, SAG_MM)
    assert sure.all()
    twins = [half_planes(hull, by) for hull in hulls]
    assert (shapely.area(shapely.symmetric_difference(inner, twins)) < 1e-6).all()


def half_planes(hull, by):
    """What of a convex shape lies `by` within the line through each of its sides: cut off side by side."""
    xy = shapely.get_coordinates(shapely.normalize(hull))[::-1]  # counter-clockwise
    rest = hull
    for begin, end in itertools.pairwise(xy):
        along = (end - begin) / np.linalg.norm(end - begin)
        inwards = np.array([-along[1], along[0]])
        near = [begin + by * inwards + 99 * step for step in (along, -along, -along - inwards, along - inwards)]
        rest = rest.difference(shapely.Polygon(near))
    return rest


@pytest.mark.parametrize(("jut", "sure"), [(0.1, True), (0.2, False)])
def test_a_corner_that_juts_in_is_cut_off_no_farther_than_asked(jut, sure):
    """The inset's corner lies `by / cos(a / 2)` from it, a being the turn, whose half has the tangent `jut`."""
    shape = shapely.Polygon([(0, 0), (10, 0), (10, 10), (5, 10 - 5 * jut), (0, 10)])
    assert of(shape, 2.0, most=0.03)[1] is sure  # 2 (sqrt(1.01) - 1) = 0.01, 2 (sqrt(1.04) - 1) = 0.04


@given(st.integers(0, 10_000), st.floats(0.02, 0.9))
def test_a_wavy_outline_is_as_deep_as_asked_and_no_deeper(seed, by):
    """Everywhere within it is `by` deep, what is `SAG_MM` deeper lies in it: distances and buffers by GEOS."""
    rng = np.random.default_rng(seed)
    angles = np.linspace(0, 2 * math.pi, 48, endpoint=False)
    radius = 1 + sum(rng.uniform(0, 0.2) / k * np.cos(k * angles + rng.uniform(0, 6)) for k in (1, 2, 3, 5, 8))
    shape = shapely.Polygon(np.column_stack([radius * np.cos(angles), radius * np.sin(angles)]))
    inner, sure = of(shape, by)
    if not sure:
        assert inner.is_empty
        return
    assert inner.is_valid
    if not inner.is_empty:
        assert shapely.distance(inner.exterior, shape.exterior) >= by - 1e-9
    assert shape.buffer(-by * 1.02 - SAG_MM, quad_segs=64).difference(inner).area < 1e-9


def test_most_flakes_are_sure_and_the_rest_is_as_before():
    rng = np.random.default_rng(5)
    flakes = geometry.polygon_array(
        affinity.rotate(shapely.Point(2 * k, 0).buffer(rng.uniform(0.2, 0.8), quad_segs=4), rng.uniform(0, 90))
        for k in range(50)
    )
    holed = shapely.box(-5, -5, -1, -1).difference(shapely.Point(-3, -3).buffer(0.5))
    two = shapely.MultiPolygon([shapely.box(0, 9, 2, 11), shapely.box(4, 9, 6, 11)])
    shapes = geometry.stack([flakes, geometry.polygon_array([holed, two])])
    inner = shrunk(shapes, 0.3)
    assert insets(flakes, 0.3, SAG_MM)[1].all()
    fine = shapely.buffer(shapes, -0.3, quad_segs=64)
    assert (shapely.area(shapely.symmetric_difference(inner, fine)) < 0.006 * shapely.length(shapes)).all()
    some = np.flatnonzero(~shapely.is_empty(inner[:50]))
    outlines = (shapely.get_exterior_ring(each[some]) for each in (inner, flakes))
    assert np.allclose(shapely.distance(*outlines), 0.3, atol=1e-9)


@pytest.mark.parametrize("turned", [0.0, 13.0, 45.0])
def test_an_outline_about_to_vanish_vanishes_whole(turned):
    """A square's last sides are as long as rounding leaves them: no polygon of no width is left."""
    inner, sure = of(affinity.rotate(shapely.box(0, 0, 2, 2), turned), 1.0 - 1e-13)
    assert sure
    assert inner.is_empty


@pytest.mark.parametrize(("wide", "left"), [(1.0, 0), (1.0000001, 0), (1.003, 0), (1.005, 1)])
def test_a_cutter_does_not_go_there_and_back_in_a_groove_as_wide_as_itself(wide, left):
    """It would follow both sides, twice in one place; so little farther off it may be that nothing is left."""
    inner = shrunk(geometry.polygon_array([shapely.box(0, 0, wide, 5)]), 0.5)
    assert len(geometry.parts(inner)) == left


def test_of_no_shapes_there_are_no_insets():
    inner, sure = insets(geometry.empty(), 1.0, 0.1)
    assert (len(inner), len(sure)) == (0, 0)
    assert (inner.dtype, sure.dtype) == (object, bool)
