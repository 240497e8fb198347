"""Checks of the drawing: land, foot, cut. Each limit is tried from both sides, a few micrometres off."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.base.findings import Severity
from carvegen.checks import checked, cut_width, survey
from carvegen.checks.survey import Survey
from carvegen.geometry.narrow import narrow_spread
from tests.bench import working_size
from tests.cases import block, box, disc, setup, shapes
from tests.strategies import MANY, takes_long

NEAR = 0.004  # mm: twice what the checks let pass for a grid of 1 µm


def found(rule: str, its_setup, *cuts, **changed) -> list:
    report = checked(its_setup.on(block(*cuts, **changed)))
    return [each for each in report if each.rule == rule and each.severity is Severity.BREAKS]


def two(gap: float, *, turn: float = 0.0) -> list[shapely.Polygon]:
    """Two boxes with a straight land between them that runs upwards, then turned."""
    return [affinity.rotate(each, turn, origin=(20, 15)) for each in (box(12, 11, 8, 8), box(20 + gap, 11.3, 8, 7))]


@pytest.mark.parametrize("turn", [0.0, 33.0, 90.0])
def test_land_between_two_cuts(turn) -> None:
    """Linoleum: 0.5 mm in every direction (common practice, no source)."""
    assert found("land-width", setup(), *two(0.5 + NEAR, turn=turn)) == []
    each = found("land-width", setup(), *two(0.5 - NEAR, turn=turn))
    assert len(each) == 1
    assert (each[0].measured, each[0].limit) == (pytest.approx(0.5 - NEAR, abs=1e-6), pytest.approx(0.5))
    assert shapely.LineString([each[0].at, each[0].to]).length == pytest.approx(0.5 - NEAR, abs=1e-6)


def test_land_to_the_edge() -> None:
    assert found("land-width", setup(), box(0.5 + NEAR, 10, 5, 5)) == []
    assert len(found("land-width", setup(), box(0.5 - NEAR, 10, 5, 5))) == 1


@pytest.mark.parametrize("phase", [0.0, 0.31, 1.7])
def test_land_between_a_cut_and_a_cut_out(phase) -> None:
    cut = disc(14, 15, 4, phase=phase)
    opening = disc(22.3, 15.7, 4, phase=2 * phase)
    gap = cut.distance(opening)
    for off, count in ((0.5 + NEAR - gap, 0), (0.5 - NEAR - gap, 1)):
        away = shapely.shortest_line(cut, opening)
        (x0, y0), (x1, y1) = away.coords
        moved = affinity.translate(opening, (x1 - x0) / gap * off, (y1 - y0) / gap * off)
        assert len(found("land-width", setup(), cut, cut_outs=(moved,))) == count


def test_neck_within_one_cut() -> None:
    def arms(gap: float) -> shapely.Polygon:
        return box(10, 8, 9, 12).difference(box(14, 10, gap, 20))

    assert found("land-width", setup(), arms(0.5 + NEAR)) == []
    assert len(found("land-width", setup(), arms(0.5 - NEAR))) == 1


def test_grain_asks_for_more_across() -> None:
    """Cherry: 0.3 mm along and 0.6 mm across the grain (common practice, no source); between them at 60 degrees.

    The land runs upwards. Hankinson's formula, inverse: 0.3 cos² + 0.6 sin².
    """
    for grain, limit in ((90.0, 0.3), (0.0, 0.6), (30.0, 0.3 * 0.25 + 0.6 * 0.75)):
        each = setup("cherry", cutter="v-60", grain_deg=grain, depth=0.5)
        assert found("land-width", each, *two(limit + NEAR)) == []
        (one,) = found("land-width", each, *two(limit - NEAR))
        assert one.limit == pytest.approx(limit)


def test_machines_ask_for_more() -> None:
    """A ball nose: half as much again (land factor 1.5); a laser burns 0.1 mm off each side. Common practice."""
    for each, limit in ((setup(cutter="ball-1"), 0.75), (setup(cutter="laser-fine", depth=1.0), 0.5 + 2 * 0.1)):
        assert found("land-width", each, *two(limit + NEAR)) == []
        (one,) = found("land-width", each, *two(limit - NEAR))
        assert one.limit == pytest.approx(limit)


def test_foot() -> None:
    """Upright walls: the foot is as wide as the face, so a face of 0.9 mm is too narrow for a foot of 1 mm."""
    each = setup(cutter="flat-1", material_values={"foot_mm": 1.0, "land_along_mm": 0.4, "land_across_mm": 0.4})
    assert found("foot-width", each, *two(1.0 + NEAR)) == []
    (one,) = found("foot-width", each, *two(1.0 - NEAR))
    assert (one.measured, one.limit) == (pytest.approx(1.0 - NEAR), 1.0)
    assert found("land-width", each, *two(1.0 - NEAR)) == []


def test_foot_asks_for_more_across_the_grain() -> None:
    """Upright walls: along the grain a foot of 1 mm, across it three times as much, as the land has it."""
    values = {"foot_mm": 1.0, "land_along_mm": 0.2, "land_across_mm": 0.6}
    for grain, limit in ((90.0, 1.0), (0.0, 3.0), (30.0, 0.25 * 1.0 + 0.75 * 3.0)):
        each = setup("cherry", cutter="flat-1", grain_deg=grain, depth=0.5, material_values=values)
        assert found("foot-width", each, *two(limit + NEAR)) == []
        (one,) = found("foot-width", each, *two(limit - NEAR))
        assert one.limit == pytest.approx(limit)
        assert each.limits.land_at(np.array([90.0]))[0] == pytest.approx(limit)


def test_foot_gains_from_a_sloping_wall() -> None:
    """B = w + 2 d tan t: a face of 0.5 mm, 1.5 mm deep at 30 degrees, stands on 2.2321 mm (plane geometry)."""
    for foot, count in ((2.2321 - NEAR, 0), (2.2321 + NEAR, 1)):
        each = setup(depth=1.5, material_values={"foot_mm": foot, "land_along_mm": 0.3, "land_across_mm": 0.3})
        assert len(found("foot-width", each, *two(0.5))) == count


def test_foot_of_an_undercut_land_is_severed() -> None:
    """T = -10 degrees, 1.5 mm deep, a face of 0.5 mm: b = -0.0290 mm."""
    drop = 1.5 * 0.17632698
    kerf = {"kerf_top_mm": 0.2, "kerf_bottom_mm": 0.2 + 2 * drop, "kerf_thickness_mm": 1.5}
    each = setup(
        "basswood",
        "laser-fine",
        depth=1.5,
        cutter_values={"values": kerf, "edge_loss_mm": 0.0},
        material_values={"land_along_mm": 0.4, "land_across_mm": 0.4},
    )
    (one,) = found("foot-width", each, *two(0.5))
    assert one.measured == pytest.approx(-0.0290, abs=5e-5)


@pytest.mark.parametrize("turn", [0.0, 20.0, 77.0])
def test_cut_too_narrow(turn) -> None:
    """Linoleum and a V of 60 degrees: 0.4 mm (common practice, no source); 1 % and the grid are let pass."""

    def slot(width: float) -> shapely.Polygon:
        return affinity.rotate(box(12, 12, 9, width), turn)

    assert found("cut-width", setup(), slot(0.41)) == []
    (one,) = found("cut-width", setup(), slot(0.39))
    assert (one.measured, one.limit) == (pytest.approx(0.39, abs=0.003), 0.4)
    assert shapely.Point(one.at).within(slot(0.39))


def test_neck_in_a_cut() -> None:
    def dumbbell(width: float) -> shapely.Polygon:
        return shapely.union_all([disc(12, 15, 3, phase=0.1), disc(20, 15, 3, phase=0.2), box(12, 14.2, 8, width)])

    assert found("cut-width", setup(), dumbbell(0.41)) == []
    (one,) = found("cut-width", setup(), dumbbell(0.39))
    assert one.measured == pytest.approx(0.39, abs=0.003)


@pytest.mark.parametrize("cutter", ["v-60", "u-1"])
def test_a_flake_that_hangs_on_a_large_cut_by_a_thin_neck_is_told_at_the_neck(cutter) -> None:
    """As on a circle that is marked to come out: the place told was one in the circle, where nothing is narrow."""
    neck = box(22.5, 14.9, 3.5, 0.2)
    hangs = shapely.union_all([disc(15, 15, 8), neck, disc(28, 15, 3)])
    apart, one = disc(50, 15, 5), found("cut-width", setup(cutter=cutter), hangs)[0]
    assert one.measured == pytest.approx(0.2, abs=0.003)
    assert 23 < one.at[0] < 25 and one.at[1] == pytest.approx(15, abs=0.1)
    assert len(found("cut-width", setup(cutter=cutter), hangs, apart)) == 1


def test_cutter_s_own_smallest_cut_counts() -> None:
    slot = box(12, 12, 9, 0.9)
    assert found("cut-width", setup(), slot) == []
    (one,) = found("cut-width", setup(cutter="ball-1"), slot)
    assert one.limit == 1.0


def test_small_cut_out_is_found_too() -> None:
    assert len(found("cut-width", setup(), cut_outs=(box(12, 12, 0.3, 0.3),))) == 1


def narrow_cuts(*cuts) -> list:
    return [finding for finding in checked(setup().on(block(*cuts))) if finding.rule == "cut-width"]


def spike(width: float, length: float, *, x: float = 4.0, y: float = 15.0) -> shapely.Polygon:
    """Runs out from a width to nothing, like a needle of frost."""
    return shapely.Polygon([(x, y - width / 2), (x + length, y), (x, y + width / 2)])


def test_a_needle_of_which_two_thirds_cannot_be_cut_breaks_by_its_length() -> None:
    """0.6 mm running out to 0 over 32 mm: narrower than 0.4 over the last 32 * 0.4 / 0.6 = 21.3 mm.

    By similar triangles; of its edge, 2 walls of 32 mm and 0.6 mm of foot, less its radius; of its edge 65 %.
    """
    (one,) = narrow_cuts(spike(0.6, 32))
    assert (one.severity, one.unit, one.limit) == (Severity.BREAKS, "mm", 0.4)
    assert one.length_mm == pytest.approx(32 * 0.4 / 0.6 - 0.2, abs=0.15)  # the cutter goes in by its radius
    assert one.measured == pytest.approx(0.2, abs=0.01)  # from 0.4 to 0, in the mean
    assert f"over {one.length_mm:.1f} mm" in one.why and "65 % of this cut's outline" in one.why


def test_short_tips_of_a_large_cut_are_normal_and_long_ones_a_risk_in_millimetres() -> None:
    frond = shapely.union_all([box(4, 10, 30, 4), spike(0.6, 3.0, x=34.0, y=12.0)])
    (one,) = narrow_cuts(frond)
    assert (one.severity, one.unit) == (Severity.RISK, "mm")
    assert one.length_mm == pytest.approx(2.0, abs=0.25)
    short = shapely.union_all([box(4, 10, 30, 4), spike(0.6, 0.5, x=34.0, y=12.0)])
    assert narrow_cuts(short) == []


@pytest.mark.parametrize(
    ("angle", "expected"), [(90.0, False), (60.0, False), (40.0, False), (38.0, True), (20.0, True)]
)
def test_a_corner_is_told_where_the_cutter_stops_more_than_its_width_before_its_point(angle, expected) -> None:
    """The stretch r / sin(a / 2) - r is 2 r at sin(a / 2) = 1 / 3, that is at 38.94 degrees (plane geometry)."""
    half = 12 * math.tan(math.radians(angle / 2))
    blunt = shapely.Polygon([(20, 15), (32, 15 - half), (32, 15 + half)])
    corners = [narrow_cut for narrow_cut in narrow_cuts(blunt) if narrow_cut.at[0] < 26]
    assert [corner.severity for corner in corners] == ([Severity.RISK] if expected else [])
    if expected:
        r = 0.2
        assert corners[0].length_mm == pytest.approx(r / math.sin(math.radians(angle / 2)) - r, rel=0.03)


def test_all_that_a_cut_is_too_narrow_by_is_told_in_one_unit() -> None:
    cuts = [spike(0.6, 20), spike(3, 4, y=20), box(4, 4, 9, 0.3), disc(30, 5, 0.1)]
    units = {narrow_cut.unit for narrow_cut in narrow_cuts(*cuts)}
    assert units == {"mm"}


def test_whole_face_is_sound() -> None:
    assert list(checked(setup().on(block()))) == []


@pytest.mark.parametrize(
    ("angle", "expected"), [(88.0, False), (60.0, False), (55.0, False), (51.0, True), (30.0, True)]
)
def test_a_corner_is_no_tip(angle, expected) -> None:
    """A wedge of land is narrower than w over w / (2 tan(a / 2)) of its walls (plane geometry): over w at 53.13°."""
    lean = 10 / math.tan(math.radians(angle))
    cut = shapely.Polygon([(20, 0), (35, 0), (35, 10), (20 - lean, 10)])
    report = checked(setup().on(block(cut)))
    assert [each.severity.label for each in report if each.rule == "land-width"] == (["risk"] if expected else [])


@pytest.mark.parametrize(
    ("material", "cutter", "depth", "said"),
    [
        # upright walls: 1.5 / 2 in lino; 1.5 / 3 and 1.5 / 1.5 in cherry; common practice, no source
        ("linoleum", "flat-1", 1.5, "wider than 0.75 mm"),
        ("cherry", "flat-1", 1.5, "wider than 0.50 mm along the grain and 1.00 mm across it"),
        # a V of 30 degrees: mean width is the face's and 1.5 tan 15° = 0.4019, so 0.75 - 0.40
        ("linoleum", "v-30", 1.5, "wider than 0.35 mm"),
    ],
)  # fmt: skip
def test_a_steep_wall_says_how_wide_a_land_is_stout_enough(material, cutter, depth, said) -> None:
    report = checked(setup(material, cutter, depth=depth).on(block(box(5, 5, 9, 9))))
    (one,) = [each for each in report if each.rule == "wall-angle"]
    assert one.remedy.endswith(said)
    assert "common practice, no source" in one.why


def test_a_material_without_slenderness_says_no_number() -> None:
    plain = {"slender_along": None, "slender_across": None}
    report = checked(setup("linoleum", "flat-1", material_values=plain).on(block(box(5, 5, 9, 9))))
    (one,) = [each for each in report if each.rule == "wall-angle"]
    assert one.remedy.endswith("keep land wider than the minimum")


def strip(width: float, *, lying: bool = False) -> tuple[shapely.Polygon, ...]:
    """Two cuts with a land of `width` mm between them; the land stands, or lies."""
    upright = (box(5, 5, 5, 20), box(10 + width, 5, 5, 20))
    return (box(5, 5, 20, 5), box(5, 10 + width, 20, 5)) if lying else upright


@pytest.mark.parametrize(
    ("material", "cutter", "depth", "lying", "width", "limit"),
    [
        # depth over mean width, upright walls: 1.8 / 2 in lino (common practice, no source)
        ("linoleum", "flat-1", 1.8, False, 0.89, 0.9),
        ("linoleum", "flat-1", 1.8, False, 0.91, None),
        # a V of 30 degrees: 2.4 / 2 less a foot's gain of 2.4 tan 15° = 0.643 on a side
        ("linoleum", "v-30", 2.4, False, 0.55, 2.4 / 2 - 2.4 * math.tan(math.radians(15))),
        ("linoleum", "v-30", 2.4, False, 0.57, None),
        # cherry with its grain along x: 1.5 / 3 along it, 1.5 / 1.5 across
        ("cherry", "flat-1", 1.5, True, 0.49, 0.5),
        ("cherry", "flat-1", 1.5, True, 0.51, None),
        ("cherry", "flat-1", 1.5, False, 0.99, 1.0),
        ("cherry", "flat-1", 1.5, False, 1.01, None),
    ],
)  # fmt: skip
def test_a_land_too_slender_for_the_depth_is_a_risk(material, cutter, depth, lying, width, limit) -> None:
    report = checked(setup(material, cutter, depth=depth).on(block(*strip(width, lying=lying))))
    result = [each for each in report if each.rule == "slenderness"]
    assert [item for item in report if item.rule in ("land-width", "foot-width")] == []
    if limit is None:
        assert result == []
        return
    (one,) = result
    assert one.severity.label == "risk"
    assert (one.measured, one.limit) == (pytest.approx(width), pytest.approx(limit))
    assert one.length_mm == pytest.approx(20, abs=0.6)
    assert one.at is not None and 5 <= one.at[0] <= 25 and 5 <= one.at[1] <= 25
    assert f"wider than {limit:.2f} mm" in one.remedy or f"{limit:.2f} mm across it" in one.remedy
    assert "common practice, no source" in one.why


def test_land_too_narrow_in_itself_goes_on_breaking_and_is_told_once() -> None:
    report = checked(setup("linoleum", "flat-1", depth=1.8).on(block(*strip(0.7))))
    (one,) = [each for each in report if each.at is not None]
    assert (one.rule, one.severity.label, one.limit) == ("land-width", "breaks", pytest.approx(0.75))


def test_a_slender_post_is_told_and_a_shallow_cut_never_is() -> None:
    around = box(5, 5, 20, 20).difference(disc(15, 15, 0.48))
    deep = [finding.rule for finding in checked(setup("linoleum", "flat-1", depth=2.2).on(block(around)))]
    shallow = [each.rule for each in checked(setup("linoleum", "flat-1", depth=1.0).on(block(around)))]
    assert "slenderness" in deep
    assert "slenderness" not in shallow


def test_a_material_without_a_ratio_has_no_slender_land() -> None:
    plain = {"slender_along": None, "slender_across": None}
    setup_ = setup("linoleum", "flat-1", depth=2.4, material_values=plain)
    assert setup_.limits == setup_.lasting_limits
    assert [finding for finding in checked(setup_.on(block(*strip(0.76)))) if finding.rule == "slenderness"] == []


@pytest.mark.parametrize(("gap", "narrow", "slender"), [(0.3, 1, 0), (0.715, 0, 1), (1.5, 0, 0)])
def test_narrow_land_is_the_same_whether_slender_land_is_asked_for_or_not(gap, narrow, slender) -> None:
    """Linoleum under a laser at its usual depth: by a width that lasts but is slender, and by one of either side."""
    surveys = [Survey(setup(cutter="laser-fine").on(block(*strip(gap))), slender=asked) for asked in (True, False)]
    assert [len(each.narrow_lands) for each in surveys] == [narrow, narrow]
    assert [len(one.slender_lands) for one in surveys] == [slender, slender]
    assert surveys[0].narrow_lands.width.tolist() == surveys[1].narrow_lands.width.tolist()


def test_where_no_land_is_slender_none_is_measured_twice(monkeypatch) -> None:
    asked = []
    monkeypatch.setattr(survey, "narrow_spread", lambda *of, **more: asked.append(of) or narrow_spread(*of, **more))
    for gap, times in ((1.5, 1), (0.715, 2)):
        asked.clear()
        assert len(Survey(setup(cutter="laser-fine").on(block(*strip(gap)))).narrow_lands) == 0
        assert len(asked) == times


def test_of_a_die_whose_walls_have_files_of_their_own_no_land_is_slender() -> None:
    """Its cuts are the face; what is slender there stands on a broad foot."""
    setup_ = setup(cutter="laser-fine")
    result = [
        Survey(setup_.on(dataclasses.replace(block(*strip(0.715)), bevelled=bevelled))).slender_lands
        for bevelled in (False, True)
    ]
    assert [len(each) for each in result] == [1, 0]


def flakes_about(count: int) -> np.ndarray:
    """Shapes of all roundness: stars, blobs and splinters, with and without dents."""
    rng = np.random.default_rng(5)
    shapes = []
    for k in range(count):
        corners = int(rng.integers(3, 26))
        angle = (np.arange(corners) + rng.uniform(0.2, 0.8, corners)) * 2 * np.pi / corners
        reach = rng.uniform(rng.uniform(0.05, 1), 1, corners) * rng.uniform(0.1, 1.2)
        xy = reach[:, None] * np.column_stack([np.cos(angle), np.sin(angle) * rng.uniform(0.3, 1)])
        shapes.append(shapely.Polygon(xy + np.array([3 * (k % 100) + 5, 3 * (k // 100) + 5])))
    every = geometry.polygon_array(shapes)
    return every[shapely.is_valid(every)]


@pytest.mark.parametrize(
    ("cut_mm", "count"), [(0.1, 800 if MANY else 100), (0.3, 800 if MANY else 50), (0.5, 800 if MANY else 50)]
)
def test_what_is_not_looked_at_closely_has_nothing_to_tell(cut_mm, count) -> None:
    """A slow twin that opens every shape by the cutter finds what the check finds that opens the doubtful ones."""
    cuts = flakes_about(count)
    job = setup(cutter="laser-fine", cutter_values={"smallest_cut_mm": cut_mm}).on(block(*cuts, size=(310, 100)))
    survey, twin = Survey(job), Survey(job)
    twin.__dict__["doubtful"] = np.arange(len(cuts))
    assert 0.2 < len(survey.doubtful) / len(cuts) < 0.95
    assert job.face_limits.cut_mm >= cut_mm
    assert (survey.broken == twin.broken).all()
    assert list(cut_width.find(survey)) == list(cut_width.find(twin)) != []


@takes_long  # a measure of work
def test_pairs_laid_beside_one_another_grow_with_the_corners_of_cuts_not_with_their_square(monkeypatch) -> None:
    """Tenfold corners, at most twelvefold pairs that the trees of edges are asked for and find."""
    pairs = 0

    def counted(work):
        def counting(*arguments, **how):
            nonlocal pairs
            result = work(*arguments, **how)
            pairs += np.shape(result[0] if isinstance(result, tuple) else result)[-1]
            return result

        return counting

    for name in ("query", "query_nearest"):
        monkeypatch.setattr(shapely.STRtree, name, counted(getattr(shapely.STRtree, name)))
    counts = []
    for corners in (1_500, 15_000):
        (needles,) = working_size.frost(corners)
        low, high = (affinity.scale(needles, 1, 0.48 * side, origin=(0, 100 - 100 * side)) for side in (1, -1))
        pairs = 0
        checked(working_size.setup().on(working_size.block_of(shapes(low, high))))
        counts.append(pairs)
    assert corners < counts[1] <= 12 * counts[0]
