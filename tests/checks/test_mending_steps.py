"""What single steps of mending do, beside plane geometry: late rounds, places of land, weak places, slits."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.base.limits import Limits
from carvegen.checks import checked, land_width
from carvegen.checks.mending import (
    CutChange,
    _Bench,
    _off,
    left_over,
    lost_pieces,
    mended,
    mended_for_all,
    mending_words,
    shape_edits,
    widening,
)
from carvegen.checks.mending.places import NarrowPlace, places_of
from carvegen.checks.survey import Reach, Survey
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
    assert {change.what for change in bench.changes} == {done}
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
    assert [each.rule for each in done.left] == ["land-width"]


THICKER = "draw it thicker there, keep the white off it"


@pytest.mark.parametrize(
    ("rule", "measured", "severity", "remedy"),
    [
        ("land-width", 0.41, Severity.BREAKS, f"do; or {THICKER}, or print 1.25 times as large"),
        ("land-width", 0.2, Severity.BREAKS, f"do; or {THICKER}, or print larger"),
        ("land-width", 0.0, Severity.BREAKS, f"do; or {THICKER}, or print larger"),
        ("foot-width", 0.41, Severity.BREAKS, f"do; or {THICKER}, or print larger"),
        ("small-island", 0.41, Severity.BREAKS, f"do; or {THICKER}, or print larger"),
        ("cut-width", 0.4, Severity.BREAKS, "do; or have no white there, or print 1.25 times as large"),
        ("land-width", 0.41, Severity.RISK, "do"),
        ("depth", 0.41, Severity.BREAKS, "do"),
    ],
)  # fmt: skip
def test_what_mending_left_says_why_and_what_can_still_be_done(rule, measured, severity, remedy) -> None:
    """0.5 mm of 0.41 is 1.2195 times as much: rounded up to a twentieth. A foot gains as much on land of any width."""
    one = Finding(
        rule=rule, severity=severity, at=(1.0, 2.0), measured=measured, limit=0.5, unit="mm", why="thin", remedy="do"
    )
    (left,) = left_over(Report.of([one]))
    assert left.remedy == remedy
    assert left.why.startswith("thin. Mending left it: it lays no ink into what must be white") == (remedy != "do")
    assert (left.at, left.measured, left.severity) == (one.at, one.measured, one.severity)


@pytest.mark.parametrize(("long", "left"), [(8.0, 0.0), (3.0, 0.0), (2.0, 0.17), (1.0, 0.34)])
def test_of_a_slit_that_is_wide_enough_at_one_place_alone_no_dot_is_left(long, left) -> None:
    """In a print, a slit 0.3 mm wide with a bulge of 0.46 in the middle, 0.4 are the smallest cut."""
    slit = shapely.union(box(10, 10, long, 0.3), disc(10 + long / 2, 10.15, 0.23))
    (done,), _ = mended_for_all([setup().on(block(slit))], white=shapely.Polygon())
    assert sum(shapely.area(done.block.cuts)) == pytest.approx(left, abs=0.02)


def test_a_speck_of_snow_is_made_as_large_as_the_cutter_and_the_land_beside_it_is_mended_then() -> None:
    """0.2 mm across, 0.6 beside a cut; 0.4 are the smallest cut, and 0.006 a side are to spare: a round of 0.612."""
    speck, beside = disc(20, 15, 0.1), box(20.7, 12, 5, 6)
    (done,), changes = mended_for_all([setup().on(block(speck, beside))], white=speck)
    assert [change.what for change in changes] == ["filled", "widened", "widened"]
    assert changes[0].white_mm2 == pytest.approx(math.pi * (0.306**2 - 0.1**2), rel=0.01)
    assert list(checked(done)) == []


def _slit_of(cut: shapely.Polygon) -> widening.Slit:
    survey = Survey(setup().on(block(cut)))
    (part,) = (each for each in shapely.get_parts(survey.uncut(0)) if each.area > 1)
    (slit,) = widening.slits(survey, 0, shapes(part), 0.42)
    return slit


@pytest.mark.parametrize("turn", [0.0, -45.0, 60.0])
def test_a_slit_however_it_lies_lacks_a_strip_on_either_side(turn: float) -> None:
    """10 mm long and 0.3 wide where 0.42 are asked: 0.06 on either side, and smaller so than filled."""
    plain = shapely.union_all([box(11, 11, 5, 8), box(26, 11, 5, 8), box(16, 14.85, 10, 0.3)])
    cut = affinity.rotate(plain, turn, origin=(21, 15))
    slit, beside = (_slit_of(affinity.translate(cut, x)) for x in (0, 3))
    survey = Survey(setup().on(block(plain)))
    assert slit.is_smaller_widened
    assert slit.gain.area == pytest.approx(beside.gain.area, abs=0.002)
    assert slit.gain.area == pytest.approx(10 * 0.12, abs=0.12)  # but for the ends
    strip = affinity.rotate(box(15.7, 14.78, 10.6, 0.44), turn, origin=(21, 15))
    assert slit.gain.difference(strip).area < 1e-3
    assert widening.slits(survey, 0, shapes(), 0.42) == []


def test_weak_are_narrow_lands_vanishing_cuts_and_what_parts_a_cut() -> None:
    neck = shapely.union_all([box(22, 20, 5, 5), box(30, 20, 5, 5), box(27, 22, 3, 0.3)])
    speck, tipped = disc(35, 5, 0.1), shapely.Polygon([(5, 15), (15, 15), (5, 22)])
    weak = widening.weak_places(Survey(setup().on(block(*PAIR, neck, speck, tipped))))
    assert [each.geom_type for each in weak] == ["LineString", "Polygon", "Polygon"]
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
    each, end = place(), math.pi / 4
    assert each.band(1.0).area == pytest.approx(0.4 + 2 * end, rel=0.01)
    assert each.at == pytest.approx((5, 0))
    assert each.band(1.0, np.array([True, True, False, False, False])).area == pytest.approx(end, rel=0.01)
    only = each.band(1.0, np.array([True, False, False, False, False]))
    assert only.centroid.distance(shapely.Point(5, 0)) < 1e-6
    assert each.wall_facing(box(0, 1, 5, 1), 1.0).centroid.y == pytest.approx(-0.1, abs=0.01)
    assert each.wall_facing(box(0, -2, 5, 1), 1.0).centroid.y == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize(("length", "short"), [(0.8, True), (0.95, False)])
def test_a_neck_no_longer_than_twice_what_is_asked_is_short(length: float, short: bool) -> None:
    """0.3 mm between two walls that face each other over so much, for 0.5; it is narrow 0.12 longer."""
    cuts = box(5, 5, 5, 5), box(10.3, 5, 5, length)
    survey = Survey(setup().on(block(*cuts)))
    (one,) = (each for _, each in places_of(survey, np.array([0])))
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
    assert sum(change.white_mm2 for change in done.changes) == pytest.approx(-5 * 0.206, abs=0.02)
    assert done.job.block.cuts[0].equals(PAIR[0])


@pytest.mark.parametrize(("length", "long"), [(2.8, False), (3.0, True)])
def test_a_neck_longer_than_six_times_what_is_asked_is_a_line_by_itself(length: float, long: bool) -> None:
    """As above; 3 mm are six times 0.5."""
    survey = Survey(setup().on(block(box(5, 5, 5, 5), box(10.3, 5, 5, length))))
    (one,) = (each for _, each in places_of(survey, np.array([0])))
    assert one.is_long == long == bool(survey.narrow_lands.length[0] > 3.0)
    assert not one.is_short


@pytest.mark.parametrize("turn", [0.0, 45.0, -45.0, 170.0])
def test_the_middles_of_a_neck_follow_one_another_along_each_wall_however_it_lies(turn: float) -> None:
    pair = (affinity.rotate(item, turn, origin=(20, 15)) for item in (box(15, 12, 5, 6), box(20.3, 12, 5, 6)))
    (one,) = (each for _, each in places_of(Survey(setup().on(block(*pair))), np.array([0])))
    run = shape_edits.runs(one.middles[1:], one.edge[1:], one.gap)
    assert run[-1] == 1
    for k in (0, 1):
        line = one.middles[1:][run == k]
        along = (line - line[0]) @ (line[-1] - line[0])
        assert (np.diff(along) > 0).all()
    band = affinity.rotate(one.band(0.5), -turn, origin=(20, 15))
    assert band.symmetric_difference(BAND).area < 0.15


BAND = box(19.9, 12, 0.5, 6).union(disc(20.15, 12, 0.25)).union(disc(20.15, 18, 0.25))


def test_where_two_cuts_become_one_the_cutter_passes() -> None:
    """Corner to corner, with a hair of land between: 0.4 mm are the smallest cut, and a little to spare."""
    bench = _Bench(setup().on(block(box(5, 5, 5, 5), box(10.014, 10.014, 5, 5))), frozenset())
    assert bench.mend(0)
    (cut,) = bench.job.block.cuts
    assert [change.what for change in bench.changes] == ["joined"]
    made = [len(shapely.get_parts(cut.buffer(-half).buffer(half))) for half in (0.2005, 0.21)]
    assert made == [1, 2]


def test_mending_ends_after_some_two_dozen_rounds_and_four_turns_of_each_machine(monkeypatch) -> None:
    said, job = [], setup().on(block(*PAIR))
    monkeypatch.setattr(_Bench, "mend", lambda *_: True)
    mended_for_all([job, job], say=said.append)
    assert sum("round" in each for each in said) == 48  # the second time the block is the same
    monkeypatch.setattr("carvegen.checks.mending._worked", _ever_new)
    turns.clear()
    mended_for_all([job, job])
    assert len(turns) == 8


turns: list = []


def _ever_new(job, *_):
    turns.append(job)
    return SimpleNamespace(job=dataclasses.replace(job, block=dataclasses.replace(job.block)), changes=[])


def test_of_a_spike_what_is_thinner_than_half_is_taken_and_no_more() -> None:
    """0.5 mm wide at its foot and 3 long, for 0.5: its upper half is weak, 0.1875 mm² of land, but for its foot."""
    spike = shapely.Polygon([(14.75, 5), (15.25, 5), (15, 8)])
    bench = _Bench(setup().on(block(box(5, 5, 20, 15).difference(spike))), frozenset())
    assert bench.mend(0)
    assert [change.what for change in bench.changes] == ["filled"]
    assert bench.changes[0].white_mm2 == pytest.approx(0.175, abs=0.015)


@pytest.mark.parametrize(("neck", "broken"), [(0.3985, False), (0.3965, False), (0.3955, True), (0.393, True)])
def test_a_neck_is_passed_by_a_cutter_that_is_narrower_by_a_hair(neck: float, broken: bool) -> None:
    """Of 0.4 mm, by 0.004: twice what the grid may be wrong by."""
    cut = shapely.union_all([box(0, 0, 5, 5), box(5, 2, 4, neck), box(9, 0, 5, 5)])
    assert Reach(shapes(cut), 0.4).broken.tolist() == [broken]


def test_words_of_changes_count_them_by_kind_and_tell_where_it_changed_most() -> None:
    changes = [CutChange(what=what, at=at, white_mm2=white) for what, at, white in (
        ("widened", (1.0, 2.0), -0.5), ("joined", (3.04, 4.06), 0.46), ("widened", (5.0, 6.0), -0.6))]  # fmt: skip
    assert mending_words(()) == ""
    assert mending_words(changes) == (
        "cuts joined over thin land: 1, thin land widened: 2; -0.6 mm² of white; the largest at x 5.0, y 6.0 mm"
    )
    for across, widths in ((0.5, "0.5 mm"), (0.72, "0.5 to 0.72 mm, by the grain")):
        limits = Limits(land_along_mm=0.5, land_across_mm=across, cut_mm=0.3, dot_mm=1.0)
        assert f"over thin land: 1, thin land widened to {widths}: 2; " in mending_words(changes, (), limits)
    little = [CutChange(what="rounded", at=(3.0, 4.0), white_mm2=-0.04)]
    assert mending_words(little) == "cuts rounded for the tool: 1; +0.0 mm² of white; the largest at x 3.0, y 4.0 mm"


@pytest.mark.parametrize("severed", [False, True])
def test_what_is_severed_is_not_given_up_as_an_island_may_be(severed: bool) -> None:
    ring = box(10, 10, 12, 12).difference(box(12, 12, 8, 8))
    cut_out = box(15, -1, 3, 40) if severed else ring
    (one,) = [
        finding for finding in checked(setup().on(block(cut_outs=(cut_out,)))) if finding.kind in ("severed", "island")
    ]
    assert one.kind == ("severed" if severed else "island")
    assert one.remedy.endswith(", or give the island up") == (not severed)


@pytest.mark.parametrize(("number", "more"), [(5, 0), (6, 1), (8, 3)])
def test_late_rounds_move_a_cut_ever_farther_off_one_that_stays(number: int, more: int) -> None:
    bench = _Bench(setup().on(block(*PAIR)), frozenset({0}))
    assert bench.mend(number)
    assert shapely.distance(*bench.job.block.cuts) == pytest.approx(0.5 * (1 + more), abs=0.02)


@pytest.mark.parametrize("number", [0, 6])
def test_specks_of_snow_beside_one_another_become_one_in_one_round(number: int) -> None:
    """What is cut round the first takes the second: nothing of it is left to be looked at."""
    specks = disc(20, 15, 0.1), disc(20.35, 15, 0.1)
    bench = _Bench(setup().on(block(*specks)), frozenset(), shapely.union_all(specks))
    assert bench.mend(number)
    (cut,) = bench.job.block.cuts
    assert cut.covers(shapely.union_all(specks).buffer(-0.01))


def test_what_of_the_white_parts_a_cut_is_asked_once_where_nothing_is_widened(monkeypatch) -> None:
    """Two cuts that 0.2 mm of another block's join."""
    cut = shapely.union_all([box(5, 5, 5, 5), box(9, 7, 4, 0.2), box(12, 5, 5, 5)])
    bench, asked = _Bench(setup().on(block(cut)), frozenset(), shapely.Polygon()), []
    bridges = _Bench._bridges
    monkeypatch.setattr(_Bench, "_bridges", lambda *these: asked.append(1) or bridges(*these))
    assert bench.mend(0)
    assert [change.what for change in bench.changes] == ["rounded"]
    assert asked == [1]


@pytest.mark.parametrize(
    ("kind", "length", "corner", "short", "with_spare"),
    [
        (NarrowKind.TIP, 0.49, True, True, True), (NarrowKind.TIP, 0.51, False, True, True),
        (NarrowKind.TIP, 0.7, False, True, True), (NarrowKind.TIP, 0.8, False, True, False),
        (NarrowKind.TIP, 0.99, False, True, False), (NarrowKind.TIP, 1.01, False, False, False),
        (NarrowKind.NECK, 0.1, False, False, False), (NarrowKind.ISLAND, 0.1, False, False, False),
    ],
)  # fmt: skip
def test_tips_that_are_but_corners_or_are_lost_without_harm(kind, length, corner, short, with_spare) -> None:
    """Over one limit of 0.5 mm, or two; the last, if they were half a limit longer."""
    lands, limit = SimpleNamespace(kind=np.array([kind]), length=np.array([length])), np.array([0.5])
    assert land_width.corners(lands, limit).tolist() == [corner]
    assert land_width.short_tips(lands, limit).tolist() == [short]
    assert land_width.short_tips(lands, limit, 0.5).tolist() == [with_spare]


@pytest.mark.parametrize(("high", "counts"), [(0.0018, False), (0.0022, True), (0.5, True)])
def test_white_over_two_thousandths_of_a_square_millimetre_is_missed(high: float, counts: bool) -> None:
    """A shape of 1 mm along its side reaches so far into the white."""
    bench = _Bench(setup().on(block(*PAIR)), frozenset(), box(5, 5, 5, 5))
    assert bench._in_white(box(6, 4, 1, 1 + high)) == counts
    assert not bench._in_white(box(20, 20, 1, 1))


def test_whose_wall_a_point_lies_at() -> None:
    """At a cut open to the edge the wall is the face's own: within five micrometres it is the cut's."""
    bench = _Bench(setup().on(block(box(0, 5, 5, 5), box(20, 5, 5, 5))), frozenset())
    points = np.array([(5, 7), (20, 7), (0, 4.996), (0, 4.994), (0, 20)], dtype=float)
    assert bench._owners(points, np.array([0, 1, -1, -1, -1])) == [0, 1, 0, -1, -1]
    assert bench._owners(points[:0], np.empty(0, dtype=np.int64)) == []
    none = _Bench(setup().on(block()), frozenset())
    assert none._owners(points[:2], np.array([-1, -1])) == [-1, -1]


def test_what_is_put_in_a_cuts_place_is_told_with_the_white_it_makes_unless_nothing_changes() -> None:
    bench = _Bench(setup().on(block(*PAIR, disc(30, 20, 2))), frozenset())
    at = np.array([1.23456, 2.0])
    bench._put(0, shapely.Polygon([(10, 10), (10, 5), (5, 5), (5, 10)]), "widened", at)  # begun elsewhere
    assert bench.changes == []
    bench._put(0, box(5, 5, 5, 6), "joined", at, lost=2.0)
    bench._put(1, box(10.3, 5, 4, 5), "widened", at, at + 1, shares=(0.25, 0.75))
    bench._put(2, shapely.Polygon(), "rounded", at)
    bench._put(2, box(0, 0, 1, 1), "widened", at)  # what has gone stays so
    report = [(change.what, change.at, round(change.white_mm2, 3)) for change in bench.changes]
    assert report == [
        ("joined", (1.235, 2.0), 3.0), ("widened", (1.235, 2.0), -1.25), ("widened", (2.235, 3.0), -3.75),
        ("left out", (1.235, 2.0), round(-disc(30, 20, 2).area, 3)),
    ]  # fmt: skip
    assert bench._latest == {0: 0, 1: 2, 2: 3}


@pytest.mark.parametrize(("gap", "meets"), [(0.009, True), (0.011, False)])
def test_parts_of_a_cut_within_a_hundredth_of_one_another_meet(gap: float, meets: bool) -> None:
    """Between two pieces that the cutter makes: what lies at both parts the cut."""
    left, pieces = shapes(box(5, 5, 1, 0.3)), shapes(box(0, 0, 5 - gap, 9), box(6 + gap, 0, 5, 9))
    survey = SimpleNamespace(
        narrow_lands=Survey(setup().on(block())).narrow_lands, job=setup().on(block()), broken=np.array([True]),
        uncut=lambda _: left[0], reached=lambda _: shapely.MultiPolygon(list(pieces)), white=left,
    )  # fmt: skip
    assert len(widening.weak_places(survey)) == meets


@pytest.mark.parametrize(("fixed", "turns"), [((), 1), ((0,), 1), ((0, 1), 0)])
def test_of_numbers_those_may_be_moved_that_are_cuts_and_not_fixed_each_once(fixed, turns: int) -> None:
    bench = _Bench(setup().on(block(*PAIR)), frozenset(fixed))
    assert bench._movable([1, -1, 0, 1]) == [k for k in (1, 0) if k not in fixed]
    assert bool(bench._movable([1, 0])) == bool(turns)


def test_pieces_of_a_drawing_that_go_whole_are_told_with_the_largest() -> None:
    """Two twigs 0.1 mm wide in white that may not be printed on go; a post stays; none is white twice."""
    twigs, post = [box(10, 10, 0.1, 6), box(20, 10, 0.1, 4)], box(26, 10, 3, 5)
    cut = shapely.difference(box(5, 5, 28, 18), shapely.union_all([*twigs, post]))
    job = setup().on(block(cut))
    (done,), changes = mended_for_all([job], white=cut)
    lost = sorted(lost_pieces(job.block, done.block, changes), key=lambda one: one.at)
    assert [each.area_mm2 for each in lost] == [0.6, 0.4]
    assert all(shapely.dwithin(shapely.Point(item.at), twig, 1e-3) for item, twig in zip(lost, twigs, strict=True))
    assert sum(entry.white_mm2 for entry in changes) == pytest.approx(1.0, abs=0.05)
    words = mending_words(changes, lost)
    assert words.endswith("; pieces of land gone whole: 2, the largest 0.6 mm² at x 10.1, y 13.0 mm")
    assert "+1.0 mm² of white" in words
    assert shapely.covers(done.block.land, post)
    assert "gone" not in mending_words(changes)
    assert words.startswith(mending_words(changes))
    assert lost_pieces(job.block, done.block, [change for change in changes if change.what == "widened"]) == ()


def on_land(*pieces):
    land = shapely.union_all(pieces)
    cuts = geometry.parts((face := box(0, 0, 30, 30)).difference(land))
    return SimpleNamespace(face=face, land=land, cuts=cuts, cut_outs=geometry.empty(), cut_tree=shapely.STRtree(cuts))


@pytest.mark.parametrize("rest", [box(10, 10, 1, 4), box(12.3, 10, 1.7, 4)])
def test_only_of_pieces_that_are_cut_where_they_were_looked_at_is_the_rest_looked_for(monkeypatch, rest) -> None:
    """Of what was 4 x 4 mm an end stands, or all but the end: both are there; what was cut whole is not."""
    before = on_land(box(10, 10, 4, 4), box(20, 10, 2, 2), box(2, 2, 3, 3))
    after, looked = on_land(rest, box(2, 2, 3, 3)), []
    offset = geometry.offset
    monkeypatch.setattr(geometry, "offset", lambda shapes, *by: looked.append(len(shapes)) or offset(shapes, *by))
    lost = lost_pieces(before, after, [CutChange(what="joined", at=(5.0, 5.0), white_mm2=4.0)])
    assert [one.area_mm2 for one in lost] == [4.0]
    assert looked == [2]


def test_a_piece_partly_cut_and_for_the_rest_cut_out_is_gone_whole() -> None:
    before, after = on_land(piece := box(10, 10, 4, 4)), on_land(rest := box(10, 10, 1, 4))
    after.cut_outs = shapes(rest)
    (lost,) = lost_pieces(before, after, [CutChange(what="joined", at=(5.0, 5.0), white_mm2=12.0)])
    assert lost.area_mm2 == shapely.area(piece)


@pytest.mark.parametrize(("long", "expected"), [(0.2, False), (0.9, False), (1.1456789, True)])
def test_of_land_that_is_gone_whole_less_than_a_tenth_of_a_square_millimetre_is_not_told(long, expected: bool) -> None:
    """0.1 mm broad; of what is gone but for its end something stands."""
    piece, kept = box(5, 5, long, 0.1), box(9, 5, 2, 0.1)
    before, after = (on_land(*each) for each in ([piece, kept], [box(9, 5, 0.5, 0.1)]))
    lost = lost_pieces(before, after, [CutChange(what="joined", at=(5.0, 5.0), white_mm2=0.1 * long)])
    assert [one.area_mm2 for one in lost] == [0.11] * expected
    assert all(shapely.covers(piece, shapely.Point(item.at)) for item in lost)
    assert all(item.at == tuple(np.round(item.at, 3).tolist()) for item in lost)


@pytest.mark.parametrize(("fixed", "done"), [((), "joined"), ((1,), "widened"), ((0, 1), None)])
def test_hopeless_land_beside_a_cut_that_must_stay_is_widened_on_the_other_side(fixed, done: str | None) -> None:
    """Narrower than a fifth of what is wanted it goes, but not where that would change the cut that stays."""
    stays = box(10.05, 5, 5, 5)
    bench = _Bench(setup().on(block(box(5, 5, 5, 5), stays)), frozenset(fixed))
    bench.mend(0)
    assert {change.what for change in bench.changes} == ({done} if done else set())
    if fixed:
        assert any(cut.equals(stays) for cut in bench.job.block.cuts)
    if fixed == (1,):
        assert min(each.distance(stays) for each in bench.job.block.cuts if not each.equals(stays)) >= 0.5


@pytest.mark.parametrize(
    ("at", "moved"),
    [((11.0, 5.0), (12.0, 5.0)), ((12.5, 5.0), (12.5, 5.0)), ((5.0, -0.5), (5.0, -2.0)), ((5.0, 5.0), (5.0, 5.0)),
     ((10.3, 10.4), (11.2, 11.6))],
)  # fmt: skip
def test_what_is_too_near_to_white_moves_straight_away_from_it(at, moved) -> None:
    """As far as 2 mm off a square, also from its corner; what lies inside has no such direction."""
    assert _off(np.array([at]), box(0, 0, 10, 10), 2.0)[0] == pytest.approx(moved)


@pytest.mark.parametrize(("by", "differ"), [(0.19, True), (0.21, False)])
def test_shapes_differ_by_what_either_has_alone(by: float, differ: bool) -> None:
    """Two squares of 1 mm², one a tenth of a millimetre beside the other, lack a tenth of one another each."""
    assert shape_edits.differ(box(0, 0, 1, 1), box(0.1, 0, 1, 1), by) == differ


def test_what_a_cutter_makes_is_known_of_the_shapes_of_its_latest_survey_alone() -> None:
    """Not dropped: what is known for a cutter of another width."""
    first, second, third = shapes(box(5, 5, 5, 5), box(12, 5, 5, 0.3), box(20, 5, 5, 5))
    known = {}
    shrunk = Reach(shapes(first, second), 0.4, known).shrunk
    assert Reach(shapes(first), 0.5, known).broken.tolist() == [False]
    again = Reach(shapes(second, third), 0.4, known)
    assert again.broken.tolist() == [True, False]
    assert known.keys() == {(id(again._own[0]), 0.4), (id(again._own[1]), 0.4), (id(first), 0.5)}
    assert again.shrunk[0] is shrunk[1]


def test_land_between_white_on_both_sides_is_not_widened_beside_it() -> None:
    """But where one side is none of the white, there it is."""
    high = block().height_mm
    pair = (box(5, 0, 5, high), box(10.3, 0, 5, high))
    for white, widened in ((shapely.union_all(pair), False), (pair[0], True)):
        bench = _Bench(setup().on(block(*pair)), frozenset(), white)
        [narrow] = [each for _, each in places_of(Survey(bench.job, slender=False), np.arange(1))]
        assert bench._widen_beside_white(narrow) == widened
        assert len(bench._laid) == widened
        assert bench._doomed == []
