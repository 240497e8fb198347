"""Necks: cases with a known answer, a plain slow search, and what must not change them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity

from carvegen import geometry
from carvegen.geometry.edges import Outline
from carvegen.geometry.necks import Necks, _Views, necks
from tests.cases import block, box, disc, shapes
from tests.laws.twins import narrow_places
from tests.strategies import blobs

PHASES = pytest.mark.parametrize("phase", [0.0, 0.1234, 0.7, 2.5])


def of_region(region: shapely.Polygon, limit: float) -> Necks:
    return necks(geometry.rings(shapes(region)), limit)


def of_land(*cuts: shapely.Polygon, limit: float, size=(40.0, 30.0)) -> Necks:
    return necks(block(*cuts, size=size).land_rings, limit)


def chords(expected: Necks) -> set[tuple]:
    """Each chord as its two ends, in order and rounded, so that two searches can be compared."""
    return {tuple(sorted(tuple(np.round(end, 4) + 0.0) for end in ends))
            for ends in zip(expected.start, expected.end, strict=True)}  # fmt: skip


def both_sides(width: float, find) -> Necks:
    """Nothing below a limit just under the width; what is found just over it has the width."""
    assert len(find(width * (1 - 1e-7))) == 0
    findings = find(width * (1 + 1e-7))
    assert len(findings) > 0
    assert findings.width == pytest.approx(width, rel=1e-6)
    return findings


@PHASES
def test_two_discs(phase) -> None:
    one, other = disc(12, 15, 4, points=37, phase=phase), disc(20.8, 16.1, 4, points=41, phase=2 * phase)
    gap = one.distance(other)
    both_sides(gap, lambda limit: of_land(one, other, limit=limit))
    # Circles: distance of the centres less both radii; polygons lie inside by a sagitta of r (1 - cos(pi / n)) each.
    circles = float(np.hypot(8.8, 1.1)) - 8
    assert circles <= gap <= circles + 8 * (1 - np.cos(np.pi / 37))


@pytest.mark.parametrize("turn", [0.0, 11.3, 45.0, 90.0, 161.7])
def test_parallel_walls(turn) -> None:
    pair = [affinity.rotate(each, turn, origin=(20, 15)) for each in (box(12, 12, 7.5, 5), box(20, 13, 6, 5))]
    result = both_sides(0.5, lambda limit: of_land(*pair, limit=limit))
    assert (result.direction_deg - turn) % 180 == pytest.approx(90, abs=1e-4)
    assert set(result.first.tolist() + result.second.tolist()) == {1, 2}  # ring 0 is the block's edge
    middles = (result.start + result.end) / 2
    shared = [affinity.rotate(shapely.Point(19.75, y), turn, origin=(20, 15)).coords[0] for y in (13, 15, 17)]
    assert np.hypot(*(middles[:, None] - shared).T).min(axis=1) == pytest.approx(0, abs=1e-6)  # ends and middle of it


def test_u_shape() -> None:
    cut = box(10, 8, 9, 12).difference(box(14, 10, 1.3, 20))
    result = both_sides(1.3, lambda limit: of_land(cut, limit=limit))
    assert (result.first == result.second).all()


def test_spiral() -> None:
    """An Archimedean spiral cut: the land between two windings is its pitch less the width of the cut, everywhere."""
    angle = np.linspace(2 * np.pi, 8 * np.pi, 400)
    path = np.column_stack([20 + angle / 2 / np.pi * 2 * np.cos(angle), 15 + angle / 2 / np.pi * 2 * np.sin(angle)])
    cut = shapely.LineString(path).buffer(0.6, cap_style="flat")
    assert len(of_land(cut, limit=0.75)) == 0
    result = of_land(cut, limit=0.85)
    assert len(result) > 50
    assert result.width == pytest.approx(0.8, abs=0.03)


def test_ring_and_its_island() -> None:
    ring = disc(20, 15, 6, points=48, phase=0.05).difference(disc(20, 15, 2, points=48, phase=0.05))
    width = 4 * np.cos(np.pi / 48)  # across the flats of a polygon of 48 corners
    both_sides(width, lambda limit: of_land(ring, limit=limit))


def test_dumbbell_island() -> None:
    island = shapely.union_all([box(15, 12, 3, 6), box(22, 12, 3, 6), box(17, 14.7, 6, 0.6)])
    both_sides(0.6, lambda limit: of_land(box(8, 8, 24, 14).difference(island), limit=limit))


def test_touching_corners_leave_no_land() -> None:
    result = of_land(box(10, 10, 5, 5), box(15, 15, 5, 5), limit=0.3)
    assert result.width.min() == pytest.approx(0, abs=1e-9)
    assert result.start[result.width.argmin()] == pytest.approx([15, 15])


@pytest.mark.parametrize(
    ("x", "y"), [(0.4, 12), (20, 0.4), (40 - 5 - 0.4, 12), (20, 30 - 5 - 0.4)], ids=["left", "bottom", "right", "top"]
)
def test_edge_of_the_block(x, y) -> None:
    both_sides(0.4, lambda limit: of_land(box(x, y, 5, 5), limit=limit))


def test_cut_through_the_edge_has_no_land_there() -> None:
    assert len(of_land(box(-1, 10, 6, 5).intersection(box(0, 0, 40, 30)), limit=3.0)) == 0


def test_chord_behind_another_wall_does_not_count() -> None:
    """Between the outer two of three cuts stands the middle one."""
    three = [box(10, 10, 4, 8), box(14.5, 10, 1, 8), box(16, 10, 4, 8)]
    result = of_land(*three, limit=2.2)
    assert result.width == pytest.approx(0.5)
    assert (np.abs(result.first - result.second) == 1).all()


def test_acute_corner_is_no_neck() -> None:
    """A wedge gets narrower to its tip, but no chord in it is shorter than those beside it."""
    assert len(of_region(shapely.Polygon([(0, 0), (10, 1), (10, -1)]), 1.5)) == 0


def test_nothing_in_nothing() -> None:
    assert len(of_land(limit=1.0)) == 0
    assert len(of_land(box(10, 10, 5, 5), limit=1.0)) == 0
    assert len(of_region(shapely.Polygon([(0, 0), (1, 0), (0, 1)]), 1e-6)) == 0


@given(blobs(), st.floats(0.5, 6))
def test_plain_search_finds_the_same(region, limit) -> None:
    expected = narrow_places(region, limit)
    if any(abs(width - limit) < 1e-6 for width, _ in expected):
        return
    result = of_region(region, limit)
    plain = {tuple(sorted(tuple(np.round(end, 4) + 0.0) for end in chord.coords)) for _, chord in expected}
    assert_same(chords(result), plain)


@given(blobs(corners=6, hole=False), blobs(corners=6, hole=False), st.floats(0, 6.28), st.floats(0.1, 2))
def test_narrowest_neck_between_two_shapes_is_their_distance(one, other, way, apart) -> None:
    other = affinity.translate(other, 25 * np.cos(way), 25 * np.sin(way))
    back = one.distance(other) - apart
    other = affinity.translate(other, -back * np.cos(way), -back * np.sin(way))
    gap = one.distance(other)
    if gap < 1e-3:
        return
    outside = geometry.reversed_rings(geometry.rings(shapes(one, other)))
    between = necks(outside, gap * 1.0001)
    across = between.chosen(between.first != between.second)
    assert across.width.min(initial=np.inf) == pytest.approx(gap, rel=1e-9)
    nothing = necks(outside, gap * 0.9999)
    assert (nothing.first == nothing.second).all()


def assert_same(one: set[tuple], other: set[tuple]) -> None:
    """The same chords, each end to a tenth of a micrometre or so."""
    assert len(one) == len(other), (sorted(one - other), sorted(other - one))
    for a, b in zip(sorted(one), sorted(other), strict=True):
        np.testing.assert_allclose(a, b, atol=3e-4)


@given(blobs(), st.floats(1, 5), st.floats(-180, 180), st.floats(0.2, 5))
def test_turned_mirrored_and_scaled(region, limit, turn, scale) -> None:
    widths = np.sort(of_region(region, limit).width)
    if (np.abs(widths - limit) < 1e-6).any():
        return
    turned = affinity.rotate(region, turn, origin=(3, -2))
    mirrored = affinity.scale(region, -1, 1, origin=(0, 0))
    scaled = affinity.scale(region, scale, scale, origin=(0, 0))
    for changed, factor in ((turned, 1.0), (mirrored, 1.0), (scaled, scale)):
        result = np.sort(of_region(changed, limit * factor).width)
        np.testing.assert_allclose(result, widths * factor, rtol=1e-6)


@given(blobs(), st.floats(1, 5))
def test_way_round_and_extra_points_do_not_matter(region, limit) -> None:
    plain = chords(of_region(region, limit))
    assert_same(chords(of_region(region.reverse(), limit)), plain)
    start = shapely.Polygon(np.roll(region.exterior.coords[:-1], 2, axis=0), region.interiors)
    assert_same(chords(of_region(start, limit)), plain)
    assert_same(chords(of_region(region.segmentize(1.7), limit)), plain)


@given(blobs(hole=False))
def test_inside_and_outside_are_told_apart(region) -> None:
    """A convex hull has no neck on its outside, whatever lies within."""
    hull = region.convex_hull
    assert len(necks(geometry.reversed_rings(geometry.rings(shapes(hull))), 100.0)) == 0


def test_rings_that_come_near_another_as_measured_one_by_one() -> None:
    """Few points and many, near and far and inside one another; the distance of every pair is the slow twin."""
    rng = np.random.default_rng(3)
    discs = [
        shapely.Point(rng.uniform(0, 40, 2)).buffer(rng.uniform(0.2, 1.5), quad_segs=int(rng.integers(2, 60)))
        for _ in range(70)
    ]
    outlines = geometry.rings(geometry.polygon_array([*discs, shapely.box(-5, -5, 45, 45)]))
    loops = np.array(
        [shapely.LinearRing(outlines.xy[a:b]) for a, b in itertools.pairwise(outlines.start)], dtype=object
    )
    apart = shapely.distance(loops[:, None], loops[None, :])
    np.fill_diagonal(apart, np.inf)
    for limit in (0.05, 0.3, 1.0):
        near = Outline(outlines).near(limit)
        assert (near == (apart.min(axis=1) <= limit)).all()
        assert 0 < near.sum() < len(near)
    assert len(Outline(geometry.rings(geometry.empty())).near(1.0)) == 0


@pytest.mark.parametrize(("off", "meet"), [(-2e-7, True), (2e-7, False)])
def test_rings_that_reach_as_far_as_their_discs_come_near_by_a_limit(off, meet) -> None:
    """Two squares stand on their corners, tip to tip: there is no room between discs and tips for rounding."""
    square = shapely.Polygon([(2, 0), (0, 2), (-2, 0), (0, -2)])
    both = geometry.rings(shapes(square, affinity.translate(square, 4.3 + off)))
    assert Outline(both).near(0.3).tolist() == [meet, meet]


def test_how_far_each_ring_bends_to_the_left_is_its_largest_run_of_turns() -> None:
    """Stars and holes like them; every run of a ring's turns is the slow twin, and at most all to the left."""
    rng, stars = np.random.default_rng(8), []
    for k, corners in enumerate((5, 9, 4, 7)):
        angle = np.linspace(0, 2 * np.pi, corners, endpoint=False)
        star = rng.uniform(2, 9, (corners, 1)) * np.column_stack([np.cos(angle), np.sin(angle)])
        stars.append(affinity.translate(shapely.Polygon(star, [0.2 * star[::-1]]), 20 * k))
    rings = geometry.rings(geometry.polygon_array(stars))
    bends = []
    for a, b in itertools.pairwise(rings.start):
        along = np.diff(rings.xy[a:b], axis=0, append=rings.xy[a : a + 1]) @ [1, 1j]
        turns = np.tile(np.angle(along / np.roll(along, 1)), 2)
        most = max(turns[i:j].sum() for i in range(len(turns)) for j in range(i + 1, len(turns) + 1))
        bends.append(min(most, turns[turns > 0].sum() / 2))
    for off, more in ((-1e-9, True), (1e-9, False)):
        for k, bend in enumerate(bends):
            assert Outline(rings).bends_more(bend + off)[k] == more


@pytest.mark.parametrize("seed", range(4))
def test_a_wall_is_seen_from_its_own_normal_to_those_of_its_neighbours_at_corners_that_jut_in(seed) -> None:
    """A chord's end may slide round a corner that juts into the land: so far its direction turns; no further."""
    rng = np.random.default_rng(seed)
    angle = np.sort(rng.uniform(0, 2 * np.pi, 9))
    star = np.array([20, 15]) + rng.uniform(3, 12, (9, 1)) * np.column_stack([np.cos(angle), np.sin(angle)])
    edges = Outline(block(shapely.Polygon(star)).land_rings).edges
    every = np.arange(len(edges.a))
    views = _Views.of(edges, every)
    along = edges.b - edges.a
    normal = np.arctan2(along[:, 0], -along[:, 1])

    def off(direction):
        return (direction - views.middle + np.pi) % (2 * np.pi) - np.pi

    before, after, juts = edges.before, edges.next, edges.juts
    assert juts.any() and not juts.all()
    assert views.length == pytest.approx(np.hypot(*along.T))
    ends = [off(normal), off(np.where(juts, normal[before], normal)), off(np.where(juts[after], normal[after], normal))]
    assert np.min(ends, axis=0) == pytest.approx(-views.half, abs=1e-9)
    assert np.max(ends, axis=0) == pytest.approx(views.half, abs=1e-9)


@pytest.mark.parametrize("half", [0.0, 0.4, 1.5, 3.0])
def test_the_bounds_of_a_view_hold_all_that_lies_in_reach_in_its_directions_and_no_more(half: float) -> None:
    """Twin: many directions; of an edge from (1, 2) to (3, 2.5), and of directions beyond half a turn."""
    middle = np.linspace(-1.9 * np.pi, 1.9 * np.pi, 23)
    low, high = np.tile([[1.0, 2.0]], (23, 1)), np.tile([[3.0, 2.5]], (23, 1))
    views = _Views(low, high, np.ones(23), middle, np.full(23, half))
    sides = shapely.bounds(views.boxes(np.arange(23), 5.0))
    for k, side in enumerate(sides):
        direction = 5 * np.exp(1j * (middle[k] + np.linspace(-half, half, 2001)))
        wanted = [1 + min(direction.real.min(), 0), 2 + min(direction.imag.min(), 0), 3 + max(direction.real.max(), 0),
                  2.5 + max(direction.imag.max(), 0)]  # fmt: skip
        assert side == pytest.approx(wanted, abs=0.002)
        assert ((wanted - side) * (1, 1, -1, -1) > -1e-9).all()
