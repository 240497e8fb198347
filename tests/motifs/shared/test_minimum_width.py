"""Cuts made to hold: gaps closed, by a closed form, and a fringe cut back where it is too narrow, round by round."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.motifs.shared import minimum_width
from carvegen.motifs.shared.minimum_width import (
    Corners,
    Standing,
    _broken,
    _broken_round,
    _closed_apart,
    _round_cuts,
    _shrunk,
    _slivers,
    _thin,
    _weak,
    closed,
    loosened,
    opened,
    standing,
    tiles_of,
)
from carvegen.motifs.shared.trimming import firm
from tests.cases import box, limits, shapes

LAND = 0.5
LIMITS = limits(LAND, 0.4)
FACE = shapely.box(0, 0, 60, 30)
BAR = shapely.box(4, 11, 26, 12)  #: prints, and is as wide as two lands
SNOW = shapely.box(5, 5, 25, 9)
#: Over the bar, of which it would leave 0.3 mm, and where nothing is in its way.
FRINGE, FAR = shapely.box(5, 9, 25, 11.7), shapely.box(40, 9, 55, 11)


@pytest.mark.parametrize(("gap", "high"), [(0.3, 4.0), (0.9, 4.0), (0.99, 8.0)])
def test_a_gap_narrower_than_asked_is_closed_but_for_its_rounded_ends(gap, high) -> None:
    """A disc of radius r dips in at both ends by a circular segment of the chord `gap` (own derivation)."""
    r, half = 0.5, gap / 2
    pair = shapely.union(shapely.box(0, 0, 3, high), shapely.box(3 + gap, 0, 6 + gap, high))
    segment = r**2 * np.arcsin(half / r) - half * np.sqrt(r**2 - half**2)
    filled = closed(pair, 2 * r, quad_segs=64).area - pair.area
    assert filled == pytest.approx(gap * high - 2 * segment, abs=2e-3)


def test_a_gap_wider_than_asked_stays_open() -> None:
    pair = shapely.union(shapely.box(0, 0, 3, 4), shapely.box(4.02, 0, 7, 4))
    assert closed(pair, 1.0, quad_segs=64).area == pytest.approx(pair.area, abs=1e-3)


@pytest.mark.parametrize("seed", [1, 2])
def test_gaps_are_closed_piece_by_piece_as_they_are_at_once(seed) -> None:
    """Groups of discs 8 mm apart, each with gaps of its own, some round an island."""
    rng = np.random.default_rng(seed)
    xy = 8 * rng.integers(0, 4, (60, 2)) + rng.uniform(0, 5, (60, 2))
    white = shapely.union_all(shapely.buffer(geometry.dots(xy), rng.uniform(0.5, 1, 60), quad_segs=8))
    apart = _closed_apart(white, LAND)
    assert len(apart) > 8
    assert (shapely.get_type_id(apart) == shapely.GeometryType.POLYGON).all()
    assert shapely.is_valid(shapely.MultiPolygon(list(apart)))
    assert shapely.symmetric_difference(shapely.union_all(apart), closed(white, LAND)).area < 1e-6


def fringe_on(*more: shapely.Geometry) -> geometry.PolygonArray:
    cuts = shapes(SNOW, shapely.box(40, 5, 55, 9))
    printed = standing(BAR, LAND, near=shapely.union_all([*cuts, FRINGE]))
    return loosened(cuts, shapely.union_all([FAR, *more]), FACE, LIMITS, printed=printed)


@pytest.mark.parametrize("by", [0.2, 0.6, 5.0])
def test_shapes_shrunk_piece_by_piece_are_the_very_ones_that_shrink_whole(by) -> None:
    rng = np.random.default_rng(8)
    discs = shapely.buffer(shapely.points(rng.random((60, 2)) * 20), rng.uniform(0.3, 2.0, 60), quad_segs=5)
    whole = [shapely.union_all(lot) for lot in np.split(discs, 4)]
    every = shapely.normalize(geometry.polygon_array([*whole, discs[0], shapely.Polygon(), shapely.MultiPolygon()]))
    once, apart = (shapely.normalize(each) for each in (shapely.buffer(every, -by, quad_segs=2), _shrunk(every, by, 2)))
    assert shapely.to_wkb(apart).tolist() == shapely.to_wkb(once).tolist()


#: A wedge with a blunt corner, which GEOS 3.14 thins out so much that it leaves a rim of 0.11 mm for 0.16.
BLUNT = [
    (53.75, 30.3), (53.75, 31.1), (54.04696, 30.59342), (54.11877, 30.44763), (54.11683, 30.4423),
    (54.11491, 30.43782), (54.11173, 30.43146), (54.11074, 30.42965), (54.17975, 30.3),
]  # fmt: skip


@pytest.mark.parametrize("quad_segs", [2, 4, 8])
def test_no_rim_is_slimmer_than_asked_and_what_is_opened_stays_within_its_shape(quad_segs) -> None:
    """By a chord of one and a half steps a rim is slimmer at the most: cos(1.5 * 45° / steps) (plane geometry)."""
    shape = shapely.normalize(shapely.Polygon(BLUNT))
    less = _shrunk(shapes(shape), 0.16, quad_segs)[0]
    slimmest = 0.16 * np.cos(1.5 * np.pi / 4 / quad_segs)
    assert slimmest - 0.002 < shape.boundary.distance(less.boundary) <= 0.16 + 1e-9
    assert not less.is_empty
    assert opened(shape, 0.32, quad_segs=quad_segs).difference(shape).area < 1e-4


def test_a_fringe_that_would_leave_a_sliver_is_cut_back_from_it_and_not_left_out() -> None:
    """What is left of the bar then is as wide as the land; more than half of the patch stays."""
    loose = shapely.intersection(shapely.union_all(fringe_on(FRINGE)), shapely.box(0, 0, 30, 30))
    left = shapely.difference(BAR, loose)
    thin = shapely.difference(left, left.buffer(-0.98 * LAND / 2).buffer(0.6 * LAND))
    assert thin.area < 0.05, "corners of the bar; a sliver would have 6 mm²"
    assert loose.area > 0.5 * FRINGE.area


def test_what_is_cut_back_in_one_place_changes_nothing_in_another() -> None:
    near, alone = (
        {it.wkb for it in shapely.normalize(fringe_on(*more)) if it.bounds[0] > 30} for more in ([FRINGE], [])
    )
    assert near == alone != set()


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_round_finds_near_its_places_what_asking_everything_finds_there(seed) -> None:
    """Rows of cuts whose gaps are too narrow near one place alone, over a bar of which they leave too little there."""
    rng = np.random.default_rng(seed)
    gaps = rng.uniform(0.8, 2.0, 10)
    gaps[4] = 0.3
    left = 2 + np.cumsum(gaps) + 4 * np.arange(10)
    high = np.where(np.arange(10) == 5, 11.7, rng.uniform(9, 10.9, 10))
    cuts = np.asarray(shapely.box(left, 6, left + 4, high), dtype=object)
    printed = standing(shapely.box(1, 11, 59, 12), LAND, near=shapely.union_all(cuts))
    places = shapes(shapely.box(left[4] - 1, 5, left[5] + 5, 13))
    whole = _broken(cuts, FACE, LIMITS, printed)
    near = whole[shapely.dwithin(whole, places[0], 1.5 * LAND)]
    again = _broken_round(places, cuts, FACE, LIMITS, printed)
    assert shapely.area(near).sum() > 0.5
    apart = shapely.symmetric_difference(shapely.union_all(near), shapely.union_all(again))
    assert apart.buffer(-0.02).area < 1e-3


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_beside_cuts_that_are_good_only_what_has_changed_is_looked_at_and_nothing_is_missed(seed) -> None:
    rng = np.random.default_rng(seed)
    x, y = np.meshgrid(np.arange(2, 58, 3.0), np.arange(2, 28, 3.0))
    good = shapes(*shapely.box(x.ravel(), y.ravel(), x.ravel() + 2, y.ravel() + 2))
    some = rng.choice(len(good), 12, replace=False)
    moved = np.asarray(shapely.transform(good[some], lambda xy: xy + np.array([0.7, 0.1])), dtype=object)
    rest = np.delete(good, some)
    printed = standing(shapely.box(0, 10, 60, 20), LAND, near=FACE)
    assert len(_weak(rest, FACE, LIMITS, printed)) == 0
    beside, whole = (
        _weak(moved, FACE, LIMITS, printed, rest),
        _weak(np.concatenate([moved, rest]), FACE, LIMITS, printed),
    )
    assert len(beside) == len(whole) > 0
    assert shapely.symmetric_difference(shapely.union_all(beside), shapely.union_all(whole)).area < 1e-9


def test_a_neck_between_two_good_cuts_is_not_told_again_but_one_beside_what_has_changed_is() -> None:
    good = shapes(shapely.box(10, 10, 14, 14), shapely.box(14.3, 10, 18, 14), shapely.box(30, 10, 34, 14))
    moved = shapes(shapely.box(12, 5, 16, 9.8))
    weak = shapely.union_all(_weak(moved, FACE, LIMITS, None, good))
    assert shapely.contains(weak, geometry.dots(np.array([[13.0, 9.9], [15.0, 9.9]]))).all()
    assert not shapely.intersects(weak, shapely.box(13, 10.6, 15, 14))


def test_pieces_of_land_in_one_tile_are_asked_each_by_itself() -> None:
    bars = shapely.union_all(shapely.box(2, np.array([2, 5, 8]), 12, np.array([3, 6, 9])))
    printed = standing(bars, LAND, near=shapely.box(0, 0, 13, 13))
    place = shapely.box(4, 4.5, 5, 5.5)
    assert [it.bounds[1] for it in printed.near(shapes(place)).tiles] == pytest.approx([5])
    both = shapes(place, shapely.box(4, 7.5, 5, 8.5))
    assert sorted(it.bounds[1] for it in printed.near(both).tiles) == pytest.approx([5, 8])


def test_of_what_cuts_do_not_touch_no_sliver_is_told_and_of_what_they_touch_all_they_leave() -> None:
    """Of two bars, one too thin from the start, the other left too thin by its cut over 6 mm."""
    tiles = shapes(shapely.box(2, 2, 12, 2.3), shapely.box(2, 5, 12, 7))
    cells = np.full(2, shapely.box(0, 0, 14, 14))
    cut = shapes(shapely.box(4, 5.3, 10, 8))
    result = _slivers(Standing(tiles, cells, np.arange(2), Corners(tiles, LAND)), cut, LAND)
    assert shapely.bounds(result)[:, 1] == pytest.approx(5)
    assert shapely.area(result).sum() == pytest.approx(6 * 0.3, abs=0.15)


@pytest.mark.parametrize("beyond", [0, 3], ids=["inside", "over the edge"])
def test_the_land_round_cuts_has_the_outlines_of_the_face_less_the_cuts(beyond) -> None:
    ring = shapely.box(8, 8, 20, 20).difference(shapely.box(10, 10, 18, 18))
    cuts, window = shapes(ring, shapely.box(30, 8, 57 + 2 * beyond, 20)), shapely.box(1, 1, 58, 29)
    land = _round_cuts(window, cuts)
    asked = geometry.rings(geometry.parts(shapely.difference(window, shapely.union_all(cuts))))
    assert len(land) == len(asked)
    assert np.sort(land.twice_areas) == pytest.approx(np.sort(asked.twice_areas))


def test_where_pieces_are_too_narrow_from_the_start_is_worked_out_once_and_only_if_asked(monkeypatch) -> None:
    looked_at = []
    monkeypatch.setattr(
        minimum_width, "_thin", lambda pieces, width: (looked_at.append(len(pieces)), _thin(pieces, width))[1]
    )
    slim = shapely.union(shapely.box(0, 0, 9, 2), shapely.box(9, 0.9, 12, 1.1))
    corners = Corners(shapes(shapely.box(20, 0, 30, 3), slim, shapely.box(40, 0, 50, 4)), LAND)
    first = corners.of(np.array([1, 0, 1]))
    assert shapely.area(first) == pytest.approx(shapely.area(corners.of(np.array([1, 0, 1]))))
    assert shapely.area(first[0]) > 3 * 0.2 > shapely.area(first[1])
    assert looked_at == [2]


def test_what_is_thin_is_told_with_the_shape_that_it_is_a_part_of() -> None:
    bars = shapely.MultiPolygon([shapely.box(0, 0, 10, 2), shapely.box(0, 4, 10, 4.4)])
    thin, shape = _thin(shapes(shapely.box(20, 0, 30, 3), bars, shapely.box(40, 0, 50, 0.3)), LAND)
    assert [(int(k), round(it.area, 2)) for it, k in zip(thin, shape, strict=True) if it.area > 0.1] == [(1, 4), (2, 3)]


def test_tiles_are_the_shape_cut_off_by_their_bounds() -> None:
    comb = shapely.union_all([shapely.box(0, 0, 60, 2), *shapely.box(np.arange(0, 60, 3), 0, np.arange(1, 61, 3), 40)])
    tiles, cells = tiles_of(comb, 1.5)
    assert len(tiles) == 6
    asked = shapely.intersection(comb, shapely.buffer(cells, 1.5, join_style="mitre"))
    assert shapely.area(shapely.symmetric_difference(tiles, asked)).max() < 1e-9


def test_pieces_are_grouped_again_and_a_group_without_any_is_empty() -> None:
    pair = shapely.MultiPolygon([shapely.box(0, 0, 1, 1), shapely.box(2, 0, 3, 1)])
    pieces = np.array([pair, shapely.Polygon(), shapely.box(5, 0, 6, 1), shapely.box(0, 5, 1, 6)])
    groups = geometry.regrouped(pieces, np.array([0, 0, 2, 2]), 3)
    assert shapely.area(groups).tolist() == [2, 0, 2]
    assert groups[0].equals(pair)
    mixed = geometry.regrouped(pieces[[2, 0, 3, 1]], np.array([2, 0, 2, 0]), 3)  # in any order
    assert [shapely.equals(one, other) for one, other in zip(mixed, groups, strict=True)] == [True] * 3


@pytest.mark.parametrize(
    ("strokes", "stays"),
    [
        ([box(0.49, 5, 9, 1)], 0),  # a neck of land beside the frame
        ([box(0.51, 5, 9, 1)], 1),
        ([box(0, 5, 9, 1), box(0, 6.49, 9, 1)], 0),  # a strip between two that the frame cut off
        ([box(0, 5, 9, 1), box(0, 6.51, 9, 1)], 2),
        ([box(2, 5, 9, 1), box(2, 6.3, 9, 1)], 2),  # further in others see to it
        ([box(0.3, 5, 9, 1), box(0, 20, 5, 1), box(30, 30, 5, 1)], 2),
    ],
)
def test_no_stroke_leaves_narrow_land_at_the_frame_that_cut_it_off(strokes, stays: int) -> None:
    assert len(firm(shapes(*strokes), box(0, 0, 60, 40), land_mm=0.5)) == stays
