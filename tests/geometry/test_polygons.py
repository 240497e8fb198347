"""Arrays of polygons: parts, unions, rings, the grid."""

from __future__ import annotations

import time

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from carvegen import geometry
from carvegen.geometry.alikeness import elongations
from tests.cases import box, disc, shapes
from tests.strategies import blobs, takes_long

PAIR = shapes(box(0, 0, 2, 1), box(1, 0, 2, 1))
HOLED = box(0, 0, 10, 10).difference(box(2, 3, 4, 4))


def test_parts_takes_polygons_out_of_anything() -> None:
    two = shapely.MultiPolygon([box(2, 0, 1, 1), box(4, 0, 1, 1)])
    mixed = shapely.GeometryCollection([box(0, 0, 1, 1), shapely.LineString([(0, 0), (1, 1)]), two])
    assert shapely.area(geometry.parts(mixed)).tolist() == [1, 1, 1]
    assert len(geometry.parts(shapely.Polygon())) == 0
    assert len(geometry.parts(geometry.empty())) == 0


def test_parts_keep_the_order_and_the_owner_of_what_they_came_from() -> None:
    two = shapely.MultiPolygon([box(2, 0, 1, 1), box(4, 0, 1, 1)])
    mixed = shapely.GeometryCollection([two, shapely.LineString([(0, 0), (1, 1)])])
    whole = geometry.polygon_array([box(0, 0, 1, 1), mixed, shapely.Polygon(), box(6, 0, 1, 1), two])
    result, owner = geometry.owned_parts(whole)
    assert shapely.bounds(result)[:, 0].tolist() == [0, 2, 4, 6, 2, 4]
    assert owner.tolist() == [0, 1, 1, 3, 4, 4]
    assert result[0] is whole[0]


def test_joined_unites_what_touches() -> None:
    apart = shapes(*PAIR, box(5, 5, 1, 1), box(3, 0, 1, 1))
    assert sorted(shapely.area(geometry.joined(apart)).tolist()) == [1, 4]
    assert len(geometry.joined(geometry.empty())) == 0


@given(st.lists(st.tuples(st.floats(0, 20), st.floats(0, 20), st.floats(0.1, 4)), max_size=12))
def test_joined_covers_what_the_union_of_all_covers(discs) -> None:
    given_shapes = shapes(*(disc(x, y, radius, points=12) for x, y, radius in discs))
    result = geometry.joined(given_shapes)
    whole = shapely.union_all(given_shapes)
    assert shapely.area(result).sum() == pytest.approx(whole.area)
    assert len(result) == len(geometry.parts(whole))


def test_close_pairs() -> None:
    first, second, apart = geometry.close_pairs(shapes(box(0, 0, 1, 1), box(1.5, 0, 1, 1), box(9, 0, 1, 1)), 0.5)
    assert (first.tolist(), second.tolist(), apart.tolist()) == ([0], [1], [0.5])
    assert len(geometry.close_pairs(PAIR[:1], 1.0)[0]) == 0


def test_rings_of_outline_and_hole() -> None:
    result = geometry.rings(shapes(box(20, 0, 1, 2), HOLED))
    assert (result.owner.tolist(), result.hole.tolist()) == ([0, 1, 1], [False, False, True])
    assert np.diff(result.start).tolist() == [4, 4, 4]
    assert [signed_area(result, k) for k in range(3)] == [2, 100, -16]


def signed_area(rings: geometry.Rings, k: int) -> float:
    x, y = rings.xy[rings.start[k] : rings.start[k + 1]].T
    return float(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


@given(blobs())
def test_reversed_rings_enclose_the_opposite(shape) -> None:
    there = geometry.rings(shapes(shape))
    back = geometry.reversed_rings(there)
    for k in range(len(there)):
        assert signed_area(back, k) == pytest.approx(-signed_area(there, k))
    np.testing.assert_array_equal(geometry.reversed_rings(back).xy, there.xy)


def test_edge_ends_close_each_ring() -> None:
    result = geometry.rings(shapes(HOLED))
    assert result.edge_ends.tolist() == [1, 2, 3, 0, 5, 6, 7, 4]


def test_stacked_numbers_owners_on() -> None:
    both = geometry.stacked(geometry.rings(shapes(HOLED)), geometry.rings(PAIR))
    assert both.owner.tolist() == [0, 0, 1, 2]
    assert both.start.tolist() == [0, 4, 8, 12, 16]
    none = geometry.rings(geometry.empty())
    assert geometry.stacked(none, geometry.rings(PAIR)).owner.tolist() == [0, 1]


@given(blobs(), st.floats(-3, 3), st.floats(0.1, 2))
def test_moved_scales_then_moves(shape, shift, scale) -> None:
    moved = geometry.moved(shapes(shape), (shift, 2 * shift), scale=scale)[0]
    assert moved.area == pytest.approx(shape.area * scale**2)
    low = np.array(shape.bounds[:2]) * scale + [shift, 2 * shift]
    assert moved.bounds[:2] == pytest.approx(low)


@given(blobs())
def test_mirrored_twice_is_the_same(shape) -> None:
    once = geometry.mirrored(shapes(shape), 40.0)
    assert once[0].bounds[0] == pytest.approx(40 - shape.bounds[2])
    twice = geometry.mirrored(once, 40.0)
    np.testing.assert_allclose(shapely.get_coordinates(twice), shapely.get_coordinates(shape), atol=1e-12)


@given(blobs())
def test_snapped_lies_on_the_grid_and_near(shape) -> None:
    result = geometry.snapped(shapes(shape))
    xy = shapely.get_coordinates(result)
    np.testing.assert_allclose(xy, np.round(xy / geometry.GRID_MM) * geometry.GRID_MM, atol=1e-9)
    assert shapely.is_valid(result).all()
    assert shapely.hausdorff_distance(shapely.union_all(result), shape) < 2 * geometry.GRID_MM


def test_snapped_drops_what_falls_to_nothing() -> None:
    assert len(geometry.snapped(shapes(box(1, 1, 0.0002, 0.0002)))) == 0
    assert len(geometry.snapped(geometry.empty())) == 0


def test_filled_and_offset() -> None:
    assert geometry.filled(shapes(HOLED))[0].area == 100
    grown = geometry.offset(PAIR[:1], 1.0, quad_segs=64)[0]
    # Steiner's formula: area + perimeter r + pi r² (J. Steiner 1840).
    assert grown.area == pytest.approx(2 + 6 + np.pi, rel=1e-3)
    assert shapely.is_empty(geometry.offset(PAIR[:1], -0.51)).all()


def test_empty_arrays_stack() -> None:
    assert len(geometry.stack([])) == 0
    assert len(geometry.stack([PAIR, geometry.empty(), PAIR])) == 4
    assert len(geometry.mirrored(geometry.empty(), 3.0)) == 0


@takes_long  # few holes above
def test_a_plate_with_many_holes_is_snapped_as_one_with_few_and_soon():
    """Against shapely's own way for all, `set_precision`; holes that come to touch on the grid are left to it."""
    rng = np.random.Generator(np.random.PCG64(5))
    xy = np.stack(np.meshgrid(np.arange(30), np.arange(30)), axis=-1).reshape(-1, 2) + rng.uniform(0.3, 0.7, (900, 2))
    plate = shapely.box(0, 0, 30, 30).difference(shapely.MultiPoint(xy).buffer(0.2))
    close = plate.difference(shapely.box(-1, -1, 0.00042, 31)).difference(shapely.box(40, 0, 41, 1))
    small = shapely.box(50, 0, 50.0001234, 9).union(shapely.box(50.5, 0, 51.23456, 1))
    shapes = geometry.parts(geometry.polygon_array([plate, shapely.box(31, 0, 35.12345, 4), close, small]))
    result, plain = geometry.snapped(shapes), geometry.parts(shapely.set_precision(shapes, geometry.GRID_MM))
    assert len(result) == len(plain)
    assert shapely.equals(result, plain).all()
    many = np.stack(np.meshgrid(np.arange(100), np.arange(100)), axis=-1).reshape(-1, 2) * 2.0 + 1
    holes = [shapely.LinearRing(np.add(spot, [[-0.5, 0], [0, 0.5003], [0.5, 0]])) for spot in many]
    begin = time.process_time()
    sieve = shapely.Polygon(shapely.box(0, 0, 200, 200).exterior, holes)
    assert shapely.get_num_interior_rings(geometry.snapped(geometry.polygon_array([sieve]))) == [10_000]
    assert time.process_time() - begin < 2


@given(blobs())
def test_room_inside_is_never_more_than_fits(shape) -> None:
    pieces = geometry.parts(shape)
    room = geometry.room_inside(pieces)
    assert (room <= shapely.length(shapely.maximum_inscribed_circle(pieces, tolerance=1e-4)) + 2e-4).all()


def test_room_inside_of_a_box_a_ring_and_a_bent_shape() -> None:
    bent = shapely.Polygon([(0, 0), (9, 0), (9, 1), (1, 1), (1, 9), (0, 9)])
    assert geometry.room_inside(shapes(box(50, 90, 2, 4), HOLED, bent)).tolist() == pytest.approx([1, 0, 0])
    assert len(geometry.room_inside(geometry.empty())) == 0


@given(blobs(hole=False))
def test_all_of_a_shape_is_in_sight_from_the_disc_of_its_star_radii(shape) -> None:
    """From places on the disc's rim to every corner only the shape lies between; no corner is beyond the far one."""
    pieces = geometry.parts(shape)
    for piece, seen, far in zip(pieces, *geometry.star_radii(pieces), strict=True):
        middle = np.asarray(piece.centroid.coords[0])
        corners = shapely.get_coordinates(piece)
        assert np.hypot(*(corners - middle).T).max() == pytest.approx(far)
        if seen == 0:
            continue
        turn = np.linspace(0, 2 * np.pi, 12, endpoint=False)
        eyes = middle + 0.999 * seen * np.column_stack([np.cos(turn), np.sin(turn)])
        views = [shapely.LineString([eye, corner]) for eye in eyes for corner in corners]
        assert shapely.covers(piece.buffer(1e-6), views).all()


def test_less_what_lies_inside_as_by_overlay() -> None:
    """Inside, touching, over the side, beside, in parts, empty, with holes: GEOS' difference is the slow twin."""
    plate = box(0, 0, 10, 10)
    inner = [
        box(2, 2, 3, 3), box(0, 2, 3, 3), box(8, 8, 5, 5), box(20, 0, 1, 1), shapely.Polygon(),
        shapely.MultiPolygon([box(1, 1, 2, 2), box(6, 6, 2, 2)]), plate, box(2, 2, 3, 3).difference(box(3, 3, 1, 1)),
    ]  # fmt: skip
    outer = geometry.polygon_array([plate] * len(inner) + [shapely.Polygon(), plate.difference(box(4, 4, 1, 1))])
    taken = geometry.polygon_array([*inner, box(2, 2, 3, 3), box(2, 2, 1, 1)])
    inner_disc = shapes(disc(5, 5, 2, points=7))
    result, twin = geometry.without_inner(outer, taken), shapely.difference(outer, taken)
    assert shapely.is_valid(result).all()
    assert (shapely.area(shapely.symmetric_difference(result, twin)) == 0).all()
    assert shapely.area(result).tolist() == pytest.approx(shapely.area(twin).tolist())
    assert len(geometry.without_inner(geometry.empty(), geometry.empty())) == 0
    (only,) = geometry.without_inner(outer[:1], inner_disc)
    for each, own in ((result[0], inner[0]), (only, inner_disc[0])):  # no overlay turns or begins a ring anew
        rings = [shapely.get_coordinates(ring).tolist() for ring in shapely.get_rings(each)]
        assert rings == [shapely.get_coordinates(shape).tolist() for shape in (plate, own)]


def test_gone_is_the_difference_though_holes_that_stay_are_not_looked_at(monkeypatch) -> None:
    island, lake = box(5, 5, 1, 1), box(4, 4, 4, 4)
    before = shapely.MultiPolygon([HOLED.difference(box(8.5, 8.5, 1, 1)), box(12, 0, 2, 2)])
    before = before.difference(lake).union(island)
    after = shapely.normalize(before.difference(shapely.union_all([island, box(0, 0, 1, 20), box(8, 8, 0.7, 0.7)])))
    looked = []
    difference = shapely.difference
    monkeypatch.setattr(shapely, "difference", lambda *two: looked.append(two) or difference(*two))
    for one, other in ((before, after), (after, before), (before, shapely.Polygon()), (shapely.Polygon(), after)):
        assert geometry.gone(one, other).equals(difference(one, other))
    many = shapely.polygons(shapely.linearrings([(0, 0), (20, 0), (20, 20), (0, 20)]))
    many = difference(many, shapely.multipolygons([box(x, y, 0.5, 0.5) for x in range(1, 19) for y in range(1, 19)]))
    assert geometry.gone(many, difference(many, box(0, 0, 0.5, 9))).area == pytest.approx(4.5)
    assert all(shapely.get_num_coordinates(each) < 12 for each in looked[-1])


def test_solid_leaves_polygons_as_they_are_and_takes_them_out_of_all_else() -> None:
    one, other, line = box(0, 0, 2, 2), box(5, 0, 3, 1), shapely.LineString([(0, 0), (9, 9)])
    assert geometry.solid(one) is one
    for each in (shapely.GeometryCollection([one, line, other]), shapes(one, other)):
        assert shapely.equals(geometry.solid(each), shapely.MultiPolygon([one, other]))
    assert geometry.solid(line).is_empty
    assert geometry.solid(two := shapely.MultiPolygon([one, other])) is two


def test_on_the_grid_every_number_is_the_nearest_and_geos_is_not_bound_to_it() -> None:
    """The nearest to a whole number of micrometres, as reading it from a file gives it: not 2.0620000000000003."""
    one, other = box(2.0621, 1.0049, 30.0003, 8.5354), disc(17, 33, 5, points=40)
    each = geometry.on_grid(shapely.MultiPolygon([one, other]))
    xy = shapely.get_coordinates(each)
    assert xy.tolist() == [[float(f"{number:.3f}") for number in row] for row in xy.tolist()]
    assert shapely.get_precision(each) == 0
    assert len(shapely.get_parts(each)) == 2
    assert shapely.hausdorff_distance(each, shapely.MultiPolygon([one, other])) < 0.0008


@pytest.mark.parametrize("count", [None, (1, 2, 1)])
def test_polygons_of_rings_are_those_that_the_rings_were_of(count: tuple[int, ...] | None) -> None:
    given_shapes = shapes(box(20, 0, 1, 2), HOLED, disc(40, 5, 3, points=7)) if count else shapes(*PAIR, disc(9, 9, 2))
    outline = geometry.rings(given_shapes)
    each = geometry.polygons_of(outline.xy, outline.start, None if count is None else np.array(count))
    assert len(each) == len(given_shapes)
    assert shapely.equals_exact(each, given_shapes, normalize=True).all()
    assert len(geometry.polygons_of(np.empty((0, 2)), np.zeros(1, dtype=np.int64))) == 0


def test_shapes_without_a_grid_stay_the_same_objects_and_others_lose_it() -> None:
    plain, snapped = shapes(box(0, 0, 2, 2)), geometry.snapped(shapes(box(0, 0, 2, 2), box(5, 0, 1, 1)))
    assert geometry.free_of_grid(plain) is plain
    mixed = np.concatenate([plain, snapped])
    assert (shapely.get_precision(mixed) > 0).any()
    free = geometry.free_of_grid(mixed)
    assert not shapely.get_precision(free).any()
    assert shapely.equals(free, mixed).all()
    several = shapely.MultiPolygon([*snapped])
    assert shapely.equals(geometry.free_of_grid(several), several)


def test_a_small_shape_far_off_has_the_star_radii_that_it_has_at_the_origin() -> None:
    """A tenth of a millimetre, two metres off: no digits are lost."""
    bent = affinity.scale(shapely.Polygon([(0, 0), (4, 1), (5, 5), (1, 4), (0.9, 2)]), 0.02, 0.02, origin=(0, 0))
    near, far = (geometry.star_radii(shapes(each)) for each in (bent, affinity.translate(bent, 1900, 1300)))
    assert np.concatenate(far) == pytest.approx(np.concatenate(near), abs=1e-11)
    assert near[0][0] > 0


def test_groups_of_what_touches_and_of_what_lies_near() -> None:
    row = shapes(box(0, 0, 1, 1), box(1, 0, 1, 1), box(2.5, 0, 1, 1), box(9, 0, 1, 1), box(3.5, 1, 1, 1))
    assert geometry.touching_groups(row).tolist() == [0, 0, 1, 2, 1]
    assert geometry.near_groups(row, 0.5).tolist() == [0, 0, 0, 1, 0]
    assert geometry.near_groups(row, 0.49).tolist() == [0, 0, 1, 2, 1]


def test_wholly_in_is_inside_and_touches_no_side() -> None:
    some = shapes(box(1, 1, 1, 1), box(0, 1, 1, 1), box(7, 7, 4, 4), box(5, 5, 2, 2), box(20, 1, 1, 1))
    assert geometry.wholly_in(box(0, 0, 10, 10), some).tolist() == [True, False, False, True, False]
    assert geometry.wholly_in(box(0, 0, 10, 10).difference(box(5, 5, 1, 1)), some).tolist() == [True] + [False] * 4
    assert geometry.wholly_in(box(0, 0, 10, 10), geometry.empty()).tolist() == []


def test_overlays_lie_on_the_grid_and_hold_polygons_only() -> None:
    """What only touches leaves lines and points: they go."""
    one, beside = box(0, 0, 2.00049, 2), box(2.00049, 0, 2, 2)
    assert geometry.intersection(one, shapes(beside, box(5, 0, 1, 1))).is_empty
    shared = geometry.intersection(one, box(1.00049, 1, 5, 5))
    assert shared.bounds == pytest.approx((1, 1, 2, 2))
    left = geometry.difference(shapes(one, beside), box(1, 0.5, 9, 9))
    assert left.area == pytest.approx(1 * 2 + 3 * 0.5)
    assert geometry.union(one, shapely.LineString([(0, 0), (9, 9)]), shapes(beside)).area == pytest.approx(8)
    assert geometry.cropped(one, box(-1, -1, 9, 9)) is one
    assert geometry.cropped(one, box(-1, -1, 2, 9)).area == 2
    assert [hole.area for hole in geometry.holes(shapes(one, HOLED, HOLED))] == [16, 16]
    corners = np.array([[(0, 0), (1, 0), (0, 1.0)], [(0, 0), (4, 0), (0, 1.0)]])
    assert shapely.area(geometry.closed_polygons(corners)).tolist() == [0.5, 2]


def test_two_valid_shapes_are_united_by_one_overlay_as_by_many(monkeypatch) -> None:
    one, other = (geometry.solid(shapes(*(box(x, 0, 2.00049, 2) for x in (start, start + 6)))) for start in (0, 1))
    many = geometry.union(one, other)
    monkeypatch.setattr(shapely, "union_all", lambda *_, **__: pytest.fail("laid over one another pair by pair"))
    both = geometry.both(one, shapely.GeometryCollection([other, shapely.Point(9, 9)]))
    assert both.equals(many)
    assert both.bounds == (0, 0, 9, 2)


@pytest.mark.parametrize("side", range(4))
def test_inside_a_box_is_farther_than_the_margin_from_each_of_its_sides(side) -> None:
    """A square 4 mm wide in a box of 10, half a millimetre from one side, less and more by a hair."""
    for off, inside in ((-1e-6, False), (1e-6, True)):
        at = ((0.5 + off, 3), (3, 0.5 + off), (5.5 - off, 3), (3, 5.5 - off))[side]
        assert geometry.inside_box(shapes(box(*at, 4, 4)), np.array([0.0, 0, 10, 10]), 0.5) == [inside]


def test_farthest_from_what_has_very_many_corners_is_as_from_every_side() -> None:
    """GEOS' distance, which looks at every side, is the slow twin; some corners lie inside, in a hole, on the edge."""
    turn = np.linspace(0, 2 * np.pi, 2 * geometry.LARGE, endpoint=False)
    star = np.column_stack([np.cos(turn), np.sin(turn)]) * (5 + np.sin(40 * turn))[:, None]
    large = shapely.Polygon(star, holes=[star[::-1] / 4])
    far_off = box(1, 1, 3, 7), box(-9, 1, 3, 7)
    pieces = shapes(
        box(0, 0, 0.5, 0.5), box(2, 0, 2, 1), box(6, 6, 1, 1), box(5, 0, 9, 1), shapely.Polygon(star[:9]), *far_off
    )
    smaller = [affinity.scale(large, share, share) for share in (0.5, 0.3, 0.7)]
    others = geometry.polygon_array([large, large, large, box(0, 0, 1, 1), *smaller])
    corners, number = shapely.get_coordinates(pieces, return_index=True)
    away = shapely.distance(shapely.points(corners), others[number])
    twin = [float(away[number == k].max()) for k in range(len(pieces))]
    assert geometry.farthest(pieces, others) == pytest.approx(twin, abs=1e-9)
    assert sum(far > 0 for far in twin) > 2


def test_a_corner_is_rounded_by_eight_chords_a_quarter_unless_asked() -> None:
    """A square of 2 mm grown by 1: four strips, and a regular polygon inscribed in the circle."""
    for how, chords in (({}, 32), ({"quad_segs": 3}, 12)):
        (each,) = geometry.offset(shapes(box(0, 0, 2, 2)), 1.0, **how)
        assert each.area == pytest.approx(4 + 8 + chords / 2 * np.sin(2 * np.pi / chords))


def test_a_shape_is_as_elongated_as_the_rectangle_or_ellipse_that_turns_alike() -> None:
    """Of a rectangle length over width, of an ellipse that of its axes; a hole and the place count for nothing."""
    turns = np.arange(0, 180, 15.0)
    for make, ratio in ((lambda: box(-4, -1, 8, 2), 4.0), (lambda: affinity.scale(disc(0, 0, 1), 3, 1), 3.0)):
        every = [affinity.translate(affinity.rotate(make(), turn), 3 * turn - 90, 40 - turn) for turn in turns]
        long, doubled = elongations(shapes(*every))
        assert long == pytest.approx(ratio, rel=1e-3)
        assert np.exp(1j * doubled) == pytest.approx(np.exp(2j * np.radians(turns)), abs=1e-3)
    holed = box(0, 0, 8, 2).difference(box(1, 0.5, 1, 1))
    assert elongations(shapes(holed, box(5, 5, 3, 3)))[0] == pytest.approx([4, 1])
