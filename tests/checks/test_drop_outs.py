"""What falls out of cut-outs, and what tears the block apart."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.findings import Severity
from carvegen.checks import checked, drop_outs
from carvegen.checks.survey import Survey
from tests.cases import block, box, disc, setup, shapes

RING = box(5, 5, 22, 20).difference(box(10, 10, 8, 6))


def found(*cut_outs, cuts=(), cutter="laser-fine", size=(40.0, 30.0)):
    job = setup("cherry", cutter).on(block(*cuts, cut_outs=cut_outs, size=size))
    return list(drop_outs.find(Survey(job)))


def test_nothing_cut_out_nothing_falls() -> None:
    assert found(cuts=(RING,)) == []


def test_an_island_in_a_cut_out_falls_out() -> None:
    (one,) = found(RING)
    assert one.severity is Severity.BREAKS
    assert one.rule == drop_outs.RULE == "drop-out"
    assert "island as large as a square of 6.9 mm" in one.why  # 48 mm²
    assert math.dist(one.at, one.to) == pytest.approx(5)  # from x 10 to x 5, or from y 10 to y 5
    assert shapely.distance(RING, shapely.Point(one.at)) == 0


def test_the_same_island_in_a_lowered_area_is_held_by_the_floor() -> None:
    assert found(box(32, 5, 0.5, 12), cuts=(RING,)) == []


def test_an_island_that_a_bridge_holds_stays() -> None:
    bridged = RING.difference(box(0, 12, 11, 1))
    assert found(bridged) == []
    assert found(RING.difference(box(6, 12, 5, 1)))  # a bridge that ends short of the land


def test_an_island_between_two_cut_outs_that_only_meet() -> None:
    """Two halves of a ring that share their ends free the island; a gap of 1 µm does not."""
    left, right = RING.intersection(box(0, 0, 14, 30)), RING.intersection(box(14, 0, 26, 30))
    (one,) = found(left, right)
    assert "square of 6.9 mm" in one.why
    apart = RING.intersection(box(14.001, 0, 26, 30))
    assert found(left, apart) == []


def test_a_block_sawn_in_two() -> None:
    (one,) = found(box(30, 0, 2, 30))
    assert "sever the block" in one.why
    assert "square of 15 mm" in one.why  # 240 mm²
    assert {one.at[0], one.to[0]} == {30.0, 32.0}
    assert found(box(30, 0, 2, 29.99)) == []


def test_two_cut_outs_and_the_edge_sever_it() -> None:
    corner = (box(30, 0, 2, 12), box(30, 12, 10, 2))
    (one,) = found(*corner)
    assert "square of 9.8 mm" in one.why  # 96 mm²
    assert found(corner[0]) == []
    assert found(corner[1]) == []


@pytest.mark.parametrize("turn", [0, 90, 180, 270])
def test_one_cut_out_over_one_edge_severs_what_it_goes_round(turn) -> None:
    """A hook whose ends run out over the right edge, and the same turned to each other edge."""
    hook = box(24, 8, 9, 14).difference(box(26, 10, 7, 10))
    assert len(found(shapely.affinity.rotate(hook, turn, origin=(15, 15)), size=(30.0, 30.0))) == 1


def test_parts_are_bridged_to_larger_ones_until_all_hold() -> None:
    """An island in an island: each is told of, and with both bridges cut the land is one piece."""
    outer = box(2, 2, 26, 26).difference(box(4, 4, 22, 22))
    inner = box(8, 8, 14, 14).difference(box(10, 10, 10, 10))
    two = found(outer, inner)
    assert len(two) == 2
    bridges = [shapely.LineString([one.at, one.to]).buffer(0.3, cap_style="square") for one in two]
    left = shapely.union_all([outer, inner]).difference(shapely.union_all(bridges))
    each = block(cut_outs=tuple(left.geoms))
    assert len(drop_outs.land_parts(each)) == 1


@pytest.mark.parametrize(("width", "expected"), [(9.99, True), (10.01, False)])
def test_small_loose_parts(width, expected) -> None:
    hole = disc(20, 15, width / 2)
    assert bool(found(hole)) == expected
    if expected:
        (one,) = found(hole)
        assert one.severity is Severity.RISK
        assert (one.measured, one.limit) == (pytest.approx(width), 10.0)


def test_words_name_the_machine() -> None:
    hole = disc(20, 15, 3)
    assert "grid" in found(hole)[0].why
    assert "thrown" in found(hole, cutter="flat-1")[0].why
    assert found(hole, cutter="v-60") == []


def test_tabs_keep_away_from_thin_land() -> None:
    """Land of 0.5 mm lies right of the hole: the tabs are on its other sides, well apart."""
    hole, beside = box(15, 10, 6, 6), box(21.5, 5, 3, 16)
    places = drop_outs.tabs(hole, shapes(beside), shapely.box(0, 0, 40, 30))
    assert (shapely.distance(beside, shapely.points(places)) > 3).all()
    assert (shapely.distance(shapely.get_exterior_ring(hole), shapely.points(places)) < 1e-9).all()
    assert math.dist(*places) > 4


def test_a_stencil_lists_the_smallest() -> None:
    holes = [box(2 * k + 0.5, 2, 0.5 + k / 200, 1) for k in range(60)]
    every = found(*holes, size=(130, 30))
    assert len(every) == drop_outs.MOST
    assert "10 more such parts" in every[0].why
    assert max(one.measured for one in every) == pytest.approx(math.hypot(0.5 + 49 / 200, 1))


def test_a_block_wholly_cut_out() -> None:
    assert [one.severity for one in found(box(0, 0, 40, 30))] == []


def test_checked_lists_it() -> None:
    assert "drop-out" in {
        finding.rule for finding in checked(setup("cherry", "laser-fine").on(block(cut_outs=(RING,))))
    }


@given(st.integers(0, 2**32), st.integers(1, 14))
def test_parts_are_those_of_the_whole_difference(seed, count) -> None:
    """Leaving out the cut-outs that can't part anything changes no part."""
    rng = np.random.default_rng(seed)
    rough = [box(*rng.integers(-3, 36, 2), *rng.integers(1, 18, 2)) for _ in range(count)]
    cut_outs = geometry.parts(shapely.intersection(geometry.joined(shapes(*rough)), shapely.box(0, 0, 40, 30)))
    each = block(cut_outs=tuple(cut_outs))
    whole = geometry.parts(shapely.difference(each.face, shapely.union_all(cut_outs)))
    parts = drop_outs.land_parts(each)
    assert len(parts) == len(whole)
    assert (np.diff(shapely.area(parts)) <= 0).all()
    assert len(list(drop_outs.find(Survey(setup("cherry", "v-60").on(each))))) == max(len(whole) - 1, 0)
