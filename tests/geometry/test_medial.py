"""The medial axis against closed forms and a raster's distance transform."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage
from shapely import affinity
from skimage.draw import polygon2mask

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.geometry import medial
from carvegen.geometry.diagrams import STEPS_PER_MM
from carvegen.geometry.medial import MedialAxis, _rounded, medial_axis, pruned
from carvegen.geometry.skeletons import Skeletons, _facet, _jutting, are_simple
from tests import strategies
from tests.cases import box, disc, shapes
from tests.strategies import examples


def _linked(axis: MedialAxis) -> tuple[np.ndarray, np.ndarray]:
    used = np.unique(axis.links)
    return axis.xy[used], axis.radius[used]


def _net(axis: MedialAxis) -> shapely.Geometry:
    return shapely.union_all(geometry.lines(*axis.xy[axis.links.T]))


def test_a_rectangle_has_the_roof_of_a_house() -> None:
    """Plane geometry: a ridge half the short side from three sides, and four lines at 45° into the corners."""
    axis = medial_axis(shapes(box(3, 5, 20, 6)))
    ridge = shapely.LineString([(6, 8), (20, 8)])
    roof = [shapely.LineString(pair) for pair in (((3, 5), (6, 8)), ((3, 11), (6, 8)), ((23, 5), (20, 8)))]
    last = shapely.LineString([(23, 11), (20, 8)])
    assert shapely.hausdorff_distance(_net(axis), shapely.union_all([ridge, *roof, last])) < 1e-9
    assert axis.radius[axis.links].max() == pytest.approx(3)
    assert sorted(np.round(axis.facing_deg)) == [90, 90, 90, 90, 180]


@pytest.mark.parametrize("alpha_deg", [20.0, 60.0, 110.0])
def test_in_a_wedge_the_radius_grows_by_the_sine_of_half_its_angle(alpha_deg: float) -> None:
    half = np.radians(alpha_deg / 2)
    wedge = shapely.Polygon([(0, 0), (30 * np.cos(half), -30 * np.sin(half)), (30 * np.cos(half), 30 * np.sin(half))])
    xy, radius = _linked(medial_axis(shapes(wedge)))
    on = (np.abs(xy[:, 1]) < 1e-6) & (xy[:, 0] < 10)
    assert on.sum() >= 1
    assert radius[on] == pytest.approx(xy[on, 0] * np.sin(half), abs=0.001)


def test_a_disc_is_all_middle_and_a_ring_is_a_circle_of_one_radius() -> None:
    whole = disc(0, 0, 5, points=256)
    assert len(medial_axis(shapes(whole)).links) == 0
    xy, radius = _linked(medial_axis(shapes(whole.difference(disc(0, 0, 3, points=256)))))
    assert radius == pytest.approx(np.ones(len(radius)), abs=0.01)
    assert np.hypot(*xy.T) == pytest.approx(np.full(len(xy), 4.0), abs=0.01)


def test_between_a_wall_and_a_corner_it_is_a_parabola() -> None:
    """A corner that juts into a trough: as far from it as from the floor, y = (x² + h²) / 2h with the focus at h."""
    trough = shapely.Polygon([(-20, 0), (20, 0), (20, 14), (0.01, 4), (-0.01, 4), (-20, 14)])
    axis = medial_axis(shapes(trough))
    xy, radius = _linked(axis)
    below = (np.abs(xy[:, 0]) < 1.5) & (xy[:, 1] < 4)
    assert below.sum() >= 10
    x = np.maximum(np.abs(xy[below, 0]) - 0.01, 0)
    assert xy[below, 1] == pytest.approx((x**2 + 16) / 8, abs=0.002)
    assert radius[below] == pytest.approx(xy[below, 1], abs=0.002)
    middle = axis.xy[axis.links].mean(axis=1)  # pieces are straight within 2 µm, and no shorter than they need be
    middle = middle[(np.abs(middle[:, 0]) < 1.5) & (middle[:, 1] < 4)]
    off = middle[:, 1] - ((np.abs(middle[:, 0]) - 0.01) ** 2 + 16) / 8
    assert 0.0008 < np.abs(off).max() < 0.0021


def test_an_axis_gets_a_point_wherever_its_radius_passes_one_that_is_asked_for() -> None:
    """The roof of a house: on four rafters, not on its ridge; nothing else of it changes."""
    axis = medial_axis(shapes(box(3, 5, 20, 6)))
    for radius, links, there in ((1.0, 9, 4), (3.0, 5, 2), (5.0, 5, 0)):
        cut = axis.split(radius)
        assert len(cut.links) == links
        assert (np.abs(cut.radius[np.unique(cut.links)] - radius) < 1e-9).sum() == there
        assert cut.lengths.sum() == pytest.approx(axis.lengths.sum())
        assert shapely.hausdorff_distance(_net(cut), _net(axis)) < 1e-9
    foot = axis.split(1.0).xy[axis.split(1.0).radius == 1]
    assert sorted(map(tuple, np.round(foot, 9).tolist())) == [(4, 6), (4, 10), (22, 6), (22, 10)]


@pytest.mark.parametrize(
    "zone", [box(0, 0, 12, 20), box(6, 7, 9, 2), box(0, 0, 40, 40), box(30, 30, 1, 1), box(4, 4, 1, 9)]
)
def test_of_an_axis_what_lies_in_a_zone_stays(zone) -> None:
    axis = medial_axis(shapes(box(3, 5, 20, 6)))
    kept = axis.within(zone)
    there = shapely.intersection(_net(axis), zone)
    assert kept.lengths.sum() == pytest.approx(there.length, abs=1e-9)
    if there.length:
        assert shapely.hausdorff_distance(_net(kept), there) < 1e-9
    deep = np.minimum(
        np.minimum(kept.xy[:, 1] - 5, 11 - kept.xy[:, 1]), np.minimum(kept.xy[:, 0] - 3, 23 - kept.xy[:, 0])
    )
    assert kept.radius[np.unique(kept.links)] == pytest.approx(deep[np.unique(kept.links)])


@pytest.mark.parametrize(("bow", "straight"), [(0.006, True), (0.012, False)])
def test_an_outline_that_bows_by_less_than_eight_micrometres_is_straight(bow: float, straight: bool) -> None:
    """The middle line lies half as far aside as the lower wall bows."""
    bowed = shapely.Polygon([(0, 0), (10, -bow), (20, 0), (20, 2), (0, 2)])
    xy, _ = _linked(medial_axis(shapes(bowed)))
    middle = xy[np.abs(xy[:, 0] - 10) < 5, 1]
    assert (np.abs(middle - 1).max(initial=0) < 1e-6) == straight
    assert straight or middle.min() == pytest.approx(1 - bow / 2, abs=1e-3)


@settings(examples(8), deadline=None)
@given(strategies.blobs())
def test_no_disc_leaves_the_shape_and_together_they_fill_it(blob: shapely.Polygon) -> None:
    axis = medial_axis(shapes(blob))
    xy, radius = _linked(axis)
    reach = shapely.distance(shapely.boundary(blob), shapely.points(xy))
    assert (radius <= reach + 1e-6).all()
    share = np.linspace(0, 1, 8)[1:-1]
    a, b = axis.links.T
    for t in share:
        at = axis.xy[a] * (1 - t) + axis.xy[b] * t
        there = shapely.distance(shapely.boundary(blob), shapely.points(at))
        assert (axis.radius[a] * (1 - t) + axis.radius[b] * t <= there + 0.011).all()
    ends = [shapely.buffer(shapely.points(axis.xy[end]), axis.radius[end] + 0.02, quad_segs=32) for end in (a, b)]
    filled = shapely.union_all(shapely.convex_hull(shapely.union(*ends)))  # a disc that grows along a straight line
    assert shapely.difference(blob, filled).area < 1e-4


@settings(examples(5), deadline=None)
@given(strategies.blobs())
def test_radii_agree_with_the_distance_transform_of_a_raster(blob: shapely.Polygon) -> None:
    """The exact Euclidean distance transform of scipy, of a mask drawn by scikit-image, 20 pixels to a mm."""
    scale, low = 20.0, np.array(blob.bounds[:2]) - 0.5
    size = tuple(np.ceil((np.array(blob.bounds[2:]) - low + 0.5) * scale).astype(int))
    mask = polygon2mask(size, (shapely.get_coordinates(blob.exterior) - low) * scale)
    for hole in blob.interiors:
        mask &= ~polygon2mask(size, (shapely.get_coordinates(hole) - low) * scale)
    distance = ndimage.distance_transform_edt(mask) / scale
    xy, radius = _linked(medial_axis(shapes(blob)))
    there = ndimage.map_coordinates(distance, ((xy - low) * scale).T, order=1)
    deep = radius > 0.3
    assert np.abs(there - radius)[deep].max(initial=0) < 1.5 / scale
    # the middle of the largest disc is on the axis
    assert radius.max(initial=0) == pytest.approx(distance.max(), abs=1.5 / scale)


def test_shapes_that_overlap_keep_their_own_axes() -> None:
    low, high = box(0, 0, 20, 2), box(1, 0, 4, 30)
    axis = medial_axis(shapes(low, high))
    for number, shape in enumerate((low, high)):
        own = axis.shape[axis.links[:, 0]] == number
        alone = medial_axis(shapes(shape))
        assert axis.lengths[own].sum() == pytest.approx(alone.lengths.sum())
        assert axis.radius[axis.links[own]].max() == pytest.approx(alone.radius[alone.links].max())


def test_a_shape_with_very_many_corners_is_measured_like_one_with_few() -> None:
    plain = box(0, 0, 20, 2).difference(disc(6, 1, 0.5))
    rich = shapely.segmentize(plain, 0.02)
    assert shapely.get_num_coordinates(rich) > 1000
    one, other = (medial_axis(shapes(shape)) for shape in (plain, rich))
    assert other.lengths.sum() == pytest.approx(one.lengths.sum(), rel=0.01)
    xy, radius = _linked(other)
    assert radius == pytest.approx(shapely.distance(plain.boundary, shapely.points(xy)), abs=1e-9)


@given(st.integers(0, 2**31))
def test_what_lies_in_a_zone_does_not_depend_on_looking_at_whole_shapes_first(seed: int) -> None:
    """Twin: every link is laid over the zone by itself. The zone has a notch and a hole, shapes lie across both."""
    rng = stream(seed, "zone")
    some = shapes(*(box(*xy, *rng.uniform(0.3, 1, 2)) for xy in rng.uniform(-1, 9, (14, 2))))
    zone = box(0, 0, 9, 9).difference(box(3, -1, 2, 4)).difference(disc(6, 6, 0.7))
    axis = medial_axis(some)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(MedialAxis, "_boxes_in", lambda each, _: np.zeros(each.shape.max() + 1, dtype=bool))
        twin = axis.within(zone)
    ours = axis.within(zone)
    assert ours.lengths.sum() == pytest.approx(twin.lengths.sum(), abs=1e-9)
    assert sorted(map(tuple, ours.xy[ours.links].reshape(-1, 4).tolist())) == sorted(
        map(tuple, twin.xy[twin.links].reshape(-1, 4).tolist())
    )


@given(st.integers(0, 2**31))
def test_points_are_as_far_from_few_sides_as_geos_has_it(seed: int) -> None:
    """Twin: GEOS's distance to each outline by itself; shapes with holes and with unlike numbers of sides."""
    rng = stream(seed, "sides")
    some = [shapely.Point(*rng.uniform(0, 3, 2)).buffer(rng.uniform(0.1, 2), quad_segs=k) for k in (1, 2, 2, 3)]
    some.append(box(0, 0, 5, 4).difference(some[0]).buffer(0))
    some = [each for each in some if each.geom_type == "Polygon"]
    owner, xy = rng.integers(0, len(some), 60), rng.uniform(-1, 5, (60, 2))
    result = medial._to_few_sides(shapes(*some), xy, owner)
    assert result == pytest.approx(
        shapely.distance(shapely.boundary(shapes(*some))[owner], shapely.points(xy)), abs=1e-12
    )


@st.composite
def convex_shapes(draw: st.DrawFn) -> shapely.Polygon:
    """Hulls of some points, slim ones and small ones, on the diagrams' grid; and ones whose sides meet at once."""
    size, slim = draw(st.floats(0.05, 20)), draw(st.floats(0.02, 1))
    if draw(st.booleans()):
        turn = np.arange(count := draw(st.integers(3, 40))) * 2 * np.pi / count
        xy = np.column_stack([np.cos(turn), slim * np.sin(turn)]) * size
    else:
        rng = stream(draw(st.integers(0, 2**31)), "hull")
        xy = rng.normal(size=(draw(st.integers(3, 30)), 2)) * (size, size * slim)
    return shapely.set_precision(shapely.convex_hull(shapely.MultiPoint(xy)), 1 / STEPS_PER_MM)


def _sure_like_the_diagrams(some: geometry.PolygonArray, within_mm: float) -> Skeletons:
    """Axes by the shapes' own sides; each that is sure is as Boost.Polygon's Voronoi diagram of the sides has it."""
    numbers = np.arange(len(some))
    ours, twin = Skeletons.of(some), medial._of_diagrams(some, numbers)
    for k in numbers[ours.sure].tolist():
        own = ours.links[ours.shape[ours.links[:, 0]] == k]
        each = replace(twin, links=twin.links[twin.shape[twin.links[:, 0]] == k])
        net = shapely.union_all(geometry.lines(*ours.points[own.T]))
        assert shapely.hausdorff_distance(net, _net(each)) < within_mm
    return ours


@settings(examples(20), deadline=None)
@given(st.lists(convex_shapes(), min_size=1, max_size=6))
def test_convex_shapes_have_the_axes_that_voronoi_diagrams_give_them(drawn: list[shapely.Polygon]) -> None:
    """Twin: Boost.Polygon's Voronoi diagram of the sides, shape by shape."""
    some = geometry.polygon_array([each for each in drawn if each.geom_type == "Polygon" and each.area > 0])
    if not len(some):
        return
    ours = _sure_like_the_diagrams(some, 1e-4)
    assert ours.sure.mean() > 0.4


def _dented(seed: int, torn: float) -> geometry.PolygonArray:
    """A few stars of 16 corners at random."""
    rng = stream(seed, "torn")
    turn = np.sort(rng.uniform(0, 2 * np.pi, (8, 16)), axis=1)
    reach = rng.uniform(0.1, 2, (8, 1)) * rng.uniform(1 - torn, 1, (8, 16))
    outlines = np.stack([np.cos(turn), np.sin(turn)], axis=-1) * reach[..., None] + 5
    drawn = shapely.set_precision(shapely.polygons(outlines), 1 / STEPS_PER_MM)
    return drawn[are_simple(drawn) & shapely.is_valid(drawn) & (shapely.get_type_id(drawn) == 3)]


@examples(5)
@given(st.integers(0, 2**31), st.floats(0.05, 0.8))
def test_flakes_with_corners_that_jut_in_have_the_axes_that_voronoi_diagrams_give_them(seed: int, torn: float) -> None:
    """Twin: Boost.Polygon's Voronoi diagram; its bends lie within 2 µm of their chords, points of an axis to 8 µm."""
    some = _dented(seed, torn)
    ours = _sure_like_the_diagrams(some, 0.008)
    jutting = shapely.area(shapely.convex_hull(some)) > shapely.area(some)
    assert jutting.any()
    assert torn > 0.2 or ours.sure[jutting].mean() > 0.3


@examples(3)
@given(st.integers(0, 2**31), st.floats(0.05, 0.8), st.floats(0.02, 0.7))
def test_axes_up_to_a_size_of_disc_are_the_same_as_far_as_they_go(seed: int, torn: float, most: float) -> None:
    """Twin: Boost.Polygon's Voronoi diagram, what of it lies nearer to the outline than `most`."""
    some = _dented(seed, torn)
    ours, twin = Skeletons.of(some, most), medial._of_diagrams(some, np.arange(len(some)))
    assert (ours.sure | ~Skeletons.of(some).sure).all()
    for k in np.flatnonzero(ours.sure).tolist():
        own = ours.links[ours.shape[ours.links[:, 0]] == k]
        each = _net(replace(twin, links=twin.links[twin.shape[twin.links[:, 0]] == k]))
        near = shapely.difference(some[k], shapely.buffer(some[k], -most, quad_segs=64))
        net = shapely.union_all(geometry.lines(*ours.points[own.T]))
        if shapely.length(net) > 0.01:
            assert shapely.hausdorff_distance(net, shapely.intersection(each, near)) < 0.008
        assert shapely.length(net) == pytest.approx(
            shapely.length(shapely.intersection(each, near)), rel=0.01, abs=0.03
        )


def test_a_waist_wider_than_the_discs_that_are_asked_for_parts_nothing() -> None:
    """The waist is 0.4 mm: discs up to 0.15 mm in radius do not know of it, those of 0.25 mm do."""
    waist = shapes(shapely.Polygon([(0, 0), (4, 1.8), (8, 0), (8, 4), (4, 2.2), (0, 4)]))
    assert [bool(Skeletons.of(waist, most).sure[0]) for most in (0.15, 0.25, 1.0)] == [True, False, False]
    axis, whole = medial_axis(waist, most_mm=0.1), medial_axis(waist).split(0.1)
    assert len(axis.links) == 4  # each into a corner, from a larger disc on
    low = axis.split(0.1)
    sums = [each.lengths[(each.radius[each.links] <= 0.1 + 1e-9).all(axis=1)].sum() for each in (low, whole)]
    assert sums[0] == pytest.approx(sums[1], abs=1e-6)


def test_a_corner_that_parts_its_shape_is_left_to_the_diagram() -> None:
    """The waist is narrower than the ends: the front falls in two before a side has vanished."""
    waist = shapely.Polygon([(0, 0), (4, 1.8), (8, 0), (8, 4), (4, 2.2), (0, 4)])
    assert Skeletons.of(shapes(box(0, 0, 3, 2), waist)).sure.tolist() == [True, False]
    xy, radius = _linked(medial_axis(shapes(waist)))
    assert radius[np.abs(xy[:, 0] - 4) < 1e-6].min() == pytest.approx(0.2)


def test_a_crumb_smaller_than_the_diagrams_grid_has_no_axis_and_hides_none() -> None:
    """Plane geometry: beside it the ridge of a rectangle stands where it stands alone."""
    crumb = box(9, 9, 3e-6, 3e-6)
    both, alone = medial_axis(shapes(box(0, 0, 4, 2), crumb)), medial_axis(shapes(box(0, 0, 4, 2)))
    assert set(both.shape[both.links].ravel().tolist()) == {0}
    assert _net(both).equals(_net(alone))


def test_points_on_the_diagrams_grid_are_those_of_geos() -> None:
    """Twin: GEOS' own rounding point by point, and what it says are repeated points."""
    near = 0.3 / STEPS_PER_MM
    twice = [(0, 0), (0, near), (4, 0), (4, 0), (4, 2 + near), (4, 2), (0, 2), (near, near)]
    some = shapes(shapely.Polygon(twice), disc(1.0, 7.0, 3.0), shapely.Polygon(twice[:3]))
    twin = shapely.remove_repeated_points(shapely.set_precision(some[:2], 1 / STEPS_PER_MM, mode="pointwise"))
    rounded = medial._on_grid(some)
    assert shapely.equals_exact(rounded[:2], twin).all()
    assert shapely.is_empty(rounded[2])


def test_a_shape_that_begins_where_the_one_before_it_ends_keeps_all_its_points() -> None:
    two = shapes(shapely.Polygon([(0, 0), (4, 0), (4, 3)]), shapely.Polygon([(0, 0), (-4, 0), (-4, -3), (-1, -2)]))
    assert shapely.equals_exact(medial._on_grid(two), two, 1 / STEPS_PER_MM).all()


def test_what_has_a_hole_or_very_many_sides_is_not_simple() -> None:
    dented = shapely.Polygon([(0, 0), (4, 0), (2, 0.5), (2, 3)])
    most, many = disc(0, 0, 5, points=120), disc(0, 0, 5, points=121)
    holed = box(0, 0, 5, 5).difference(box(1, 1, 1, 1))
    assert are_simple(shapes(box(0, 0, 3, 2), dented, most, holed, many)).tolist() == [True] * 3 + [False] * 2


@pytest.mark.parametrize("link", [(0, 1), (1, 0)])
def test_a_link_that_hangs_on_nothing_is_a_twig_of_its_wider_end_whichever_is_named_first(link) -> None:
    """Discs of 0.5 and 1.4 mm, 1 mm apart: without it the shape loses 1 - (1.4 - 0.5) = 0.1 mm."""
    axis = MedialAxis(np.array([(0.0, 0), (1.0, 0)]), np.array([0.5, 1.4]), np.zeros(2, int), np.array([link]))
    assert len(pruned(axis, 0.09).links) == 1
    assert len(pruned(axis, 0.11).links) == 0


@pytest.mark.parametrize("width", [0.5, 20.0])
def test_facets_of_an_arc_in_a_shape_leave_it_by_a_micrometre_at_most(width) -> None:
    """At the largest arc that there may be, half as wide as the shape; each touches the arc in its middle."""
    (turn,) = np.unique(_facet(geometry.rings(shapes(box(0, 0, width, 2 * width)))))
    assert width / 2 * (1 / np.cos(turn / 2) - 1) == pytest.approx(0.001, rel=0.01)


@pytest.mark.parametrize("most", [0.5, 1.0, 2.0])
def test_a_triangles_axis_goes_as_far_into_its_corners_as_discs_are_asked_for(most: float) -> None:
    """Of 3, 4 and 5 times 6 mm, whose inscribed circle has a radius of 6; up to r it is r / sin(a / 2) long."""
    each = medial_axis(shapes(shapely.Polygon([(0, 0), (24, 0), (0, 18)])), most_mm=most)
    assert most < each.radius[each.links].max() < most + 0.05
    within = each.split(most)
    inner = within.radius[within.links].max(axis=1) <= most + 1e-9
    halves = np.array([np.pi / 2, np.arctan2(18, 24), np.arctan2(24, 18)]) / 2
    assert within.lengths[inner].sum() == pytest.approx((most / np.sin(halves)).sum(), rel=1e-3)


def test_an_axis_twenty_metres_off_is_the_one_at_the_origin() -> None:
    """Diagrams are made in whole numbers of 32 bits; a shape with a hole is given to them."""
    holed = box(0, 0, 9, 6).difference(box(3, 2, 2, 2))
    near, far = (medial_axis(geometry.moved(shapes(holed), (off, off))) for off in (0, 20_000))
    assert far.lengths.sum() == pytest.approx(near.lengths.sum(), rel=1e-4)
    assert far.radius.max() == pytest.approx(near.radius.max(), abs=1e-4)


def test_a_shape_that_falls_to_a_line_on_the_grid_is_left_as_it_is() -> None:
    sliver = shapely.Polygon([(0, 0), (1, 0), (1, 1e-6)])
    (each,) = _rounded(shapes(sliver))
    assert len(shapely.get_coordinates(each)) == 4


def test_what_meets_at_one_place_is_one_point_and_no_link_runs_into_corners_that_jut_in() -> None:
    square, bitten = box(0, 0, 4, 4), shapely.Polygon([(0, 0), (4, 0), (4, 4), (2, 3.5), (0, 4)])
    each = Skeletons.of(shapes(square))
    assert each.sure.tolist() == [True]
    assert len(each.links) == 4
    assert len(np.unique(each.links)) == 5
    outline = geometry.rings(shapes(square, bitten, affinity.scale(bitten, -1, 1)))
    assert outline.xy[_jutting(outline)].tolist() == [[2, 3.5], [2, 3.5]]
    bare = Skeletons.of(shapes(bitten))
    assert not (bare.points[np.unique(bare.links)] == (2, 3.5)).all(axis=1).any()


def test_corners_are_not_measured_and_what_is_pruned_leaves_no_points_but_of_shapes_without_a_link(monkeypatch) -> None:
    """Of a rectangle the two ends of its ridge alone are measured; a disc's axis is pruned whole, its points stay."""
    asked, measure = [], medial._to_few_sides
    monkeypatch.setattr(
        medial, "_to_few_sides", lambda some, xy, owner: asked.append(owner) or measure(some, xy, owner)
    )
    axis = medial_axis(shapes(box(0, 0, 20, 2), disc(30, 0, 5, points=48)))
    assert np.bincount(np.concatenate(asked))[0] == 2
    assert sorted(axis.radius[axis.shape == 0].tolist()) == pytest.approx([0, 0, 0, 0, 1, 1], abs=1e-9)
    assert np.unique(axis.links).tolist() == np.flatnonzero(axis.shape == 0).tolist()
    assert axis.radius[axis.shape == 1].max() == pytest.approx(5, abs=0.02)


def test_an_outline_alone_that_loses_nothing_by_it_is_straightened_the_quick_way(monkeypatch) -> None:
    angle = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    wavy = shapely.Polygon(np.column_stack([(3 + 0.2 * np.sin(5 * angle)) * np.cos(angle), 3 * np.sin(angle)]))
    simplify, careful = shapely.simplify, list[int]()

    def spied(some, by, *, preserve_topology):
        careful.extend([len(some)] * preserve_topology)
        return simplify(some, by, preserve_topology=preserve_topology)

    monkeypatch.setattr(shapely, "simplify", spied)
    for each, care in ((wavy, 0), (box(0, 0, 5, 5), 0), (wavy.difference(disc(0, 0, 1)), 1)):
        medial._straightened(shapes(each))
        assert careful.pop() == care
