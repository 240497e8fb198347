"""What the checks decide close by a limit that no other test tries from both sides, and where two of them meet."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen.base.findings import Severity
from carvegen.checks import checked, drop_outs, look
from carvegen.checks import survey as survey_module
from carvegen.checks.depths import clearing
from carvegen.checks.slenderness import stout_source, stout_width
from carvegen.checks.survey import Survey
from carvegen.facts.printing import Printing
from carvegen.geometry import empty
from tests.cases import block, box, disc, setup, shapes
from tests.checks.test_both_sides import beam_job, moat, undercut
from tests.checks.test_look import found as looked

THICK = Printing(margin_mm=2.9)  #: so much more than any cut is deep that every gap asks for more


def gaps(wide: float, *, printing: Printing = THICK, **changed) -> list:
    job = setup(cutter="laser-fine", printing=printing, **changed).on(block(box(10, 10, wide, 60), size=(120.0, 90.0)))
    return list(clearing.find(Survey(job)))


@pytest.mark.parametrize(("wide", "island"), [(9.9, False), (10.1, True)])
def test_a_gap_ten_millimetres_wide_has_room_for_a_support_island(wide: float, island: bool) -> None:
    (one,) = gaps(wide)
    assert ("support island" in one.remedy) == island


@pytest.mark.parametrize(("wide", "expected"), [(0.045, False), (0.06, True)])
def test_no_gap_below_a_twentieth_of_a_millimetre_is_looked_at(wide: float, expected: bool) -> None:
    assert bool(gaps(wide)) == expected


def test_what_is_left_under_a_cut_bounds_how_deep_it_is_asked_for() -> None:
    """Linoleum 2 mm thick, of which 0.8 must stay: 1.2 mm; of a sheet thinner than that, nothing."""
    for thick, depth, deepest in ((2.0, 1.0, "1.2"), (0.5, 0.4, "0.0")):
        (one,) = gaps(20.0, depth=depth, thickness=thick)
        assert f"{deepest} mm is the most" in one.why
        assert "deep" not in one.remedy


@pytest.mark.parametrize(("needs", "offered"), [(1.999, "2.0 mm deep"), (2.0, "2.0 mm deep"), (2.001, "2.1 mm deep")])
def test_a_depth_that_is_offered_is_rounded_up_to_a_tenth(needs: float, offered: str) -> None:
    """The paper sinks by 0.12 of a gap under a firm press; the roller is too large to reach the floor."""
    (one,) = gaps(needs / 0.12, printing=Printing(roller_radius_mm=200, indentation_mm=0, margin_mm=0))
    assert offered in one.remedy


def test_a_block_whose_floor_nothing_reaches_has_no_least_gap_and_a_die_is_not_looked_at() -> None:
    small = setup(cutter="laser-fine", depth=2.3).on(block(box(1, 1, 8, 8), size=(10.0, 10.0)))
    assert clearing.least_gap_mm(small) == math.inf
    wide = setup(cutter="laser-fine").on(block(disc(20, 15, 9)))
    die = dataclasses.replace(wide, block=dataclasses.replace(wide.block, inked=False))
    assert [bool(list(clearing.find(Survey(job)))) for job in (wide, die)] == [True, False]


def test_a_gap_as_wide_as_the_least_that_is_asked_for_is_measured() -> None:
    areas = shapes(box(0, 0, 4, 12), box(10, 0, 3.99, 12))
    for least, count in ((3.98, 2), (3.9955, 1), (4.01, 0)):
        assert len(clearing.widest_gaps(areas, least, most=4)[1]) == count
    assert len(clearing.widest_gaps(empty(), 1.0, most=4)[1]) == 0


def test_the_waste_beside_a_die_is_told_of_to_nobody() -> None:
    job = moat(2.0)
    die = dataclasses.replace(job, block=dataclasses.replace(job.block, inked=False))
    assert ["moat" in {finding.rule for finding in checked(each)} for each in (job, die)] == [True, False]


@pytest.mark.parametrize(
    ("face", "expected"), [(0.2, {"foot-width"}), (0.1993, {"foot-width"}), (0.196, {"land-width"})]
)
def test_of_land_too_narrow_at_its_face_the_foot_is_not_told_besides(face: float, expected: set[str]) -> None:
    """0.2 mm are asked of the face; a micrometre less may be the grid's."""
    assert {finding.rule for finding in checked(undercut(face))} & {"land-width", "foot-width"} == expected


def test_land_ten_millimetres_wide_holds_a_tab_as_well_as_any() -> None:
    """Beside the right end lie 11 mm, elsewhere 25: so far apart as can be, one tab is there; beside 3 mm none is."""
    hole = box(25, 25, 40, 4)
    for room, apart in ((11, True), (3, False)):
        one, other = drop_outs.tabs(hole, empty(), shapely.box(0, 0, 65 + room, 54))
        assert (max(one[0], other[0]) > 64.9) == apart
        assert math.dist(one, other) > (39.9 if apart else 30)


@pytest.mark.parametrize(
    ("focus", "said"), [(0.0, "set the focus at the floor"), (1.5, "have paths made with shoulder")]
)
def test_a_lasers_wall_is_mended_by_its_focus_or_its_paths(focus: float, said: str) -> None:
    (one,) = [finding for finding in checked(beam_job(focus)) if finding.rule == "wall-angle"]
    assert one.remedy.startswith(said)


def test_a_router_s_wall_gets_a_shoulder_by_another_tool() -> None:
    job = setup(cutter="flat-1").on(block(box(10, 10, 6, 6)))
    (one,) = [finding for finding in checked(job) if finding.rule == "wall-angle"]
    assert one.remedy.startswith("ask for a sloped shoulder")


@pytest.mark.parametrize(
    ("along", "across", "said"),
    [
        (2.0, 2.0, "keep land wider than 0.75 mm"),
        (3.0, 2.0, "keep land wider than 0.50 mm along the grain and 0.75 mm across it"),
        (None, 2.0, "keep land wider than the minimum"),
        (2.0, None, "keep land wider than the minimum"),
    ],
)
def test_how_wide_is_stout_is_said_as_far_as_the_profile_knows(along, across, said: str) -> None:
    """An upright wall, 1.5 mm deep, over the ratio of depth to mean width."""
    setup_ = setup(cutter="flat-1", depth=1.5, material_values={"slender_along": along, "slender_across": across})
    job = setup_.on(block(box(10, 10, 6, 6)))
    assert stout_width(job) == said
    assert bool(stout_source(job)) == (None not in (along, across))


def strewn(count: int) -> list[tuple[float, float]]:
    rng = np.random.default_rng(8)
    return [(x, y) for x, y in (rng.uniform(0.1, 0.9, (count, 2)) * (200, 150)).tolist()]


@pytest.mark.parametrize(("off_deg", "boxed"), [(-0.7, True), (0.7, True), (-1.4, False), (1.4, False)])
def test_boxes_turned_by_up_to_a_degree_look_boxed(off_deg: float, boxed: bool) -> None:
    rng = np.random.default_rng(8)
    boxes = [affinity.rotate(box(x, y, *rng.uniform(1, 4, 2)), off_deg) for x, y in strewn(40)]
    assert ("boxed" in looked(boxes)["look-straight"].why) == boxed


@pytest.mark.parametrize(
    ("cut_off", "longer", "expected"),
    [(0.15, 1.0, False), (0.10, 1.0, True), (0.0, 7.9, True), (0.0, 8.2, False)],
    ids=["short sides", "sides of 0.62", "longish", "strokes"],
)
def test_sides_of_six_tenths_of_a_shape_are_straight_and_strokes_are_none(cut_off, longer, expected) -> None:
    """A square less its corners: its side over the diameter of what holds it, t / sqrt(1 + t²) with t = 1 - 2 c."""
    rng = np.random.default_rng(3)
    c = cut_off
    outline = [(c, 0), (1 - c, 0), (1, c), (1, 1 - c), (1 - c, 1), (c, 1), (0, 1 - c), (0, c)]
    square = affinity.scale(shapely.Polygon(outline).normalize().simplify(0), longer, 1, origin=(0, 0))
    cuts = [
        affinity.translate(affinity.rotate(affinity.scale(square, each, each), rng.uniform(10, 80)), x, y)
        for each, (x, y) in zip(rng.uniform(0.5, 2, 40), strewn(40), strict=True)
    ]
    assert ("look-straight" in looked(cuts)) == expected


@pytest.mark.parametrize(("straight", "expected"), [(9, False), (11, True)])
def test_more_than_a_quarter_with_straight_sides_is_told(straight: int, expected: bool) -> None:
    rng = np.random.default_rng(5)
    cuts = [
        affinity.rotate(box(x, y, *rng.uniform(1, 4, 2)), rng.uniform(10, 80))
        if k < straight
        else disc(x, y, rng.uniform(0.5, 2), phase=k)
        for k, (x, y) in enumerate(strewn(40))
    ]
    assert ("look-straight" in looked(cuts)) == expected


@pytest.mark.parametrize(("share", "expected"), [(0.7, True), (0.9, False)])
def test_a_side_most_of_which_runs_along_the_drawing_is_the_drawings(share: float, expected: bool) -> None:
    line = shapely.linestrings([[(0, 0), (20, 0)]])
    post = shapes(box(-5, 0.3, 5 + 20 * share - 0.6, 9))
    assert look._along(line, post).tolist() == [not expected]


def test_only_what_breaks_counts_as_a_break() -> None:
    assert {finding.severity for finding in checked(moat(2.0))} == {Severity.RISK}


@pytest.mark.parametrize(
    ("along", "across", "bevelled", "measured"),
    [(1.0, 1.0, False, False), (1.1, 1.0, False, True), (1.0, 1.1, False, True), (1.1, 1.1, True, False)],
)
def test_slender_land_is_measured_where_stout_asks_for_more_than_what_lasts(
    along: float, across: float, bevelled: bool, measured: bool, monkeypatch
) -> None:
    monkeypatch.setattr(survey_module, "narrow_spread", lambda *_, **__: "measured")
    lasts = SimpleNamespace(land_along_mm=1.0, land_across_mm=1.0)
    job = SimpleNamespace(
        face_limits=lasts, stout_limits=SimpleNamespace(land_along_mm=along, land_across_mm=across),
        block=SimpleNamespace(bevelled=bevelled, land_rings=None), limits=SimpleNamespace(land_mm=1.0),
    )  # fmt: skip
    own = SimpleNamespace(job=job, _fine=None)
    assert (Survey._slender_spread.func(own) == "measured") == measured
