"""What single steps of mending do, beside plane geometry: late rounds, places of land, weak places, slits."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen.checks import checked
from carvegen.checks.mending import _Bench, mended, mended_for_all, mending_words, shape_edits, widening
from carvegen.checks.mending.places import NarrowPlace, places_of
from carvegen.checks.survey import Survey
from carvegen.geometry.narrow import NarrowKind
from tests.cases import block, box, disc, setup, shapes

PAIR = (box(5, 5, 5, 5), box(10.3, 5, 5, 5))  #: 0.3 mm of land between them, of which 0.5 are asked


@pytest.mark.parametrize(
    ("number", "snow", "done"),
    [
        (0, False, "widened"), (0, True, "widened"), (5, True, "widened"), (6, False, "widened"), (6, True, "joined"),
    ],
)  # fmt: skip
def test_from_the_seventh_round_on_land_is_made_ever_wider_but_in_a_print_cut_away(number, snow, done) -> None:
    """So it ends: in a print nothing may be laid into the snow, so what is narrow goes."""
    bench = _Bench(setup().on(block(*PAIR)), frozenset(), box(30, 20, 2, 2) if snow else None)
    assert bench.mend(number)
    assert {its.what for its in bench.changes} == {done}
    left = shapely.union_all(bench.job.block.cuts)
    if done == "widened":
        gap = PAIR[0].intersection(left).distance(PAIR[1].intersection(left))
        assert gap == pytest.approx(0.5 + 0.5 * max(number - 5, 0), abs=0.03)


def test_places_are_told_in_micrometres() -> None:
    for one in mended(setup().on(block(box(5, 5, 5, 5), box(10.32345678, 5, 5, 5)))).changes:
        assert one.at == tuple(np.round(one.at, 3).tolist())
        assert one.at[0] == pytest.approx(10.1617, abs=0.0006)


def test_land_between_cut_outs_is_not_mended_and_told() -> None:
    done = mended(setup().on(block(cut_outs=PAIR)))
    assert done.changes == ()
    assert [its.rule for its in done.left] == ["land-width"]


def test_a_speck_of_snow_is_made_as_large_as_the_cutter_and_the_land_beside_it_is_mended_then() -> None:
    """0.2 mm across, 0.6 beside a cut; 0.4 are the smallest cut, and 0.006 a side are to spare: a round of 0.612."""
    speck, beside = disc(20, 15, 0.1), box(20.7, 12, 5, 6)
    (done,), changes = mended_for_all([setup().on(block(speck, beside))], white=speck)
    assert [its.what for its in changes] == ["filled", "widened", "widened"]
    assert changes[0].white_mm2 == pytest.approx(math.pi * (0.306**2 - 0.1**2), rel=0.01)
    assert list(checked(done)) == []


@pytest.mark.parametrize("turn", [0.0, -45.0, 60.0])
def test_a_slit_however_it_lies_lacks_a_strip_on_either_side(turn: float) -> None:
    """10 mm long and 0.3 wide where 0.42 are asked: 0.06 on either side, and smaller so than filled."""
    plain = shapely.union_all([box(11, 11, 5, 8), box(26, 11, 5, 8), box(16, 14.85, 10, 0.3)])
    cut = affinity.rotate(plain, turn, origin=(21, 15))
    survey = Survey(setup().on(block(cut)))
    (part,) = (its for its in shapely.get_parts(survey.uncut(0)) if its.area > 1)
    (slit,) = widening.slits(survey, 0, shapes(part), 0.42)
    assert slit.is_smaller_widened
    assert slit.gain.area == pytest.approx(10 * 0.12, abs=0.12)  # but for the ends
    strip = affinity.rotate(box(15.7, 14.78, 10.6, 0.44), turn, origin=(21, 15))
    assert slit.gain.difference(strip).area < 1e-3
    assert widening.slits(survey, 0, shapes(), 0.42) == []


def test_weak_are_narrow_lands_vanishing_cuts_and_what_parts_a_cut() -> None:
    neck = shapely.union_all([box(22, 20, 5, 5), box(30, 20, 5, 5), box(27, 22, 3, 0.3)])
    speck, tipped = disc(35, 5, 0.1), shapely.Polygon([(5, 15), (15, 15), (5, 22)])
    weak = widening.weak_places(Survey(setup().on(block(*PAIR, neck, speck, tipped))))
    assert [its.geom_type for its in weak] == ["LineString", "Polygon", "Polygon"]
    land, part, gone = weak
    assert land.length == pytest.approx(0.3)
    assert part.centroid.distance(shapely.Point(28.5, 22.15)) < 0.1
    assert gone.equals(speck)


def place(**changed) -> NarrowPlace:
    """Along a straight land 0.2 mm wide that runs to the right, for 1 mm."""
    x = np.array([5.0, 0.0, 0.2, 0.4, 3.0])
    values = {
        "kind": NarrowKind.NECK, "wanted": 1.0, "gap": 0.5, "start": np.column_stack([x, np.full(5, -0.1)]),
        "end": np.column_stack([x, np.full(5, 0.1)]), "middles": np.column_stack([x, np.zeros(5)]),
        "width": np.full(5, 0.2), "edge": np.array([-2, 0, 0, 0, 0]), "along": np.arange(5) > 0, "is_corner": False,
        "is_short": False, "is_long": False,
    }  # fmt: skip
    return NarrowPlace(**(values | changed))


def test_a_band_runs_along_what_is_wanted_of_the_middles_and_a_tips_chord_counts_only_alone() -> None:
    """A bar 0.4 long with round ends, and a disc 2.6 beyond it, which is too far for one line; 1 mm wide."""
    its, end = place(), math.pi / 4
    assert its.band(1.0).area == pytest.approx(0.4 + 2 * end, rel=0.01)
    assert its.at == pytest.approx((5, 0))
    assert its.band(1.0, np.array([True, True, False, False, False])).area == pytest.approx(end, rel=0.01)
    only = its.band(1.0, np.array([True, False, False, False, False]))
    assert only.centroid.distance(shapely.Point(5, 0)) < 1e-6
    assert its.wall_facing(box(0, 1, 5, 1), 1.0).centroid.y == pytest.approx(-0.1, abs=0.01)
    assert its.wall_facing(box(0, -2, 5, 1), 1.0).centroid.y == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize(("length", "short"), [(0.8, True), (0.95, False)])
def test_a_neck_no_longer_than_twice_what_is_asked_is_short(length: float, short: bool) -> None:
    """0.3 mm between two walls that face each other over so much, for 0.5; it is narrow 0.12 longer."""
    cuts = box(5, 5, 5, 5), box(10.3, 5, 5, length)
    survey = Survey(setup().on(block(*cuts)))
    (one,) = (its for _, its in places_of(survey, np.array([0])))
    assert one.is_short == short == bool(survey.narrow_lands.length[0] <= 1.0)
    assert not one.is_corner


def test_what_is_too_thin_of_a_land_with_a_spur() -> None:
    land = box(0, 0, 5, 5).union(box(5, 2, 2, 0.3))
    thin = shape_edits.too_thin(land, 0.5)
    assert max(shapely.area(thin)) == pytest.approx(0.6, abs=0.05)
    assert len(thin) == 5  # the spur, and four corners


def test_a_cut_is_moved_off_one_that_stays_by_what_is_missing_and_no_more() -> None:
    """0.3 mm of land over 5 mm, of which 0.5 are asked and 0.006 are to spare."""
    done = mended(setup().on(block(*PAIR)), fixed={0})
    assert shapely.distance(*done.job.block.cuts) == pytest.approx(0.506, abs=0.003)
    assert sum(its.white_mm2 for its in done.changes) == pytest.approx(-5 * 0.206, abs=0.02)
    assert done.job.block.cuts[0].equals(PAIR[0])


def test_pieces_of_a_drawing_that_go_whole_are_told_with_the_largest() -> None:
    """Two twigs 0.1 mm wide in white that may not be printed on go; a post stays; none is white twice."""
    twigs, post = [box(10, 10, 0.1, 6), box(20, 10, 0.1, 4)], box(26, 10, 3, 5)
    cut = shapely.difference(box(5, 5, 28, 18), shapely.union_all([*twigs, post]))
    (done,), changes = mended_for_all([setup().on(block(cut))], white=cut)
    gone = sorted((its for its in changes if its.what == "gone"), key=lambda its: its.at)
    assert [its.white_mm2 for its in gone] == pytest.approx([0.6, 0.4])
    assert all(shapely.dwithin(shapely.Point(its.at), twig, 1e-3) for its, twig in zip(gone, twigs, strict=True))
    words = mending_words(changes)
    assert words.endswith("; pieces of your drawing gone whole: 2, the largest 0.6 mm² at x 10.1, y 13.0 mm")
    assert "+1.0 mm² of white" in words
    assert shapely.covers(done.block.land, post)
    rest = [its for its in changes if its.what != "gone"]
    assert "gone" not in mending_words(rest)
