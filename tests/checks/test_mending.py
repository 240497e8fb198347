"""Mending: what it clears, what it leaves alone, what it says, and that it ends."""

from __future__ import annotations

import dataclasses
import itertools
import math
import time

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy import ndimage
from shapely import affinity

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.job import Job
from carvegen.checks import CHECKS, checked
from carvegen.checks.mending import Mended, _Bench, _with_land, can_mend, mended, mended_for_all
from carvegen.checks.mending.shape_edits import runs
from carvegen.checks.survey import Reached, Survey
from carvegen.motifs import snowfall
from tests.cases import block, box, disc, grown, limits, setup, shapes
from tests.strategies import examples, few, takes_long


def breaks(job: Job) -> list[tuple]:
    return [
        (finding.rule, finding.at, finding.measured) for finding in checked(job) if finding.severity is Severity.BREAKS
    ]


def job_of(*cuts, **how) -> Job:
    return setup().on(block(*cuts, **how))


def white(job: Job) -> float:
    return float(shapely.area(geometry.joined(job.block.cuts)).sum())


def must_hold(job: Job, *, area: float = 0.05) -> Mended:
    """Nothing breaks, nothing overlaps, the areas add up, and a second time nothing is changed."""
    done = mended(job)
    assert breaks(done.job) == []
    assert len(done.left) == 0
    cuts = done.job.block.cuts
    assert shapely.is_valid(cuts).all()
    assert sum(change.white_mm2 for change in done.changes) == pytest.approx(
        shapely.area(cuts).sum() - shapely.area(job.block.cuts).sum(), abs=0.002
    )
    assert len(geometry.close_pairs(cuts, 0.1)[0]) == 0
    if len(job.block.cuts):
        assert abs(white(done.job) / white(job) - 1) < area
    again = mended(done.job)
    assert again.changes == ()
    assert (again.job.block.cuts == cuts).all()
    return done


def boxes(seed: int, count: int = 40, *, apart: float = 0.0, turned: bool = True) -> list[shapely.Polygon]:
    rng = np.random.default_rng(seed)
    result: list[shapely.Polygon] = []
    for _ in range(count * 10):
        x, y, w, h = *rng.uniform(1, 34, 2), *rng.uniform(0.8, 5, 2)
        each = affinity.rotate(box(x, y, w, h), rng.uniform(0, 180) if turned else 0)
        if each.within(shapely.box(0.01, 0.01, 39.9, 39.9)) and all(each.distance(old) > apart for old in result):
            result.append(each)
        if len(result) == count:
            break
    return result


def comb(gap: float, *, teeth: int = 10) -> shapely.Polygon:
    pitch = 1.2 + gap
    return shapely.union_all([box(5, 5, teeth * pitch, 2), *(box(5 + k * pitch, 5, 1.2, 14) for k in range(teeth))])


def wavy(gap: float, *, lines: int = 8, phase: float = 0.0) -> geometry.PolygonArray:
    result = []
    for k in range(lines):
        x = np.linspace(3, 37, 90)
        y = 4 + k * (1.0 + gap) + 0.4 * np.sin(x / 3 + phase) + 0.08 * np.sin(x * 1.7 + k)
        half = 0.45 - 0.08 * np.cos(x / 2 + k)
        walls = np.column_stack([x, y - half]), np.column_stack([x, y + half])[::-1]
        result.append(shapely.Polygon(np.concatenate(walls)))
    return geometry.joined(shapes(*result))


CASES = {  # what is mended, and by how much of its white area at most
    "boxes": (boxes(3, 20), 0.03),
    "comb, a little too narrow": ([comb(0.47, teeth=5)], 0.06),
    "comb, too narrow": ([comb(0.4, teeth=5)], 0.1),
    "comb, hopeless": ([comb(0.1, teeth=5)], 0.1),
    "touching boxes": ([box(5, 5, 5, 5), box(10, 5, 5, 5), box(15, 10, 4, 4), box(5, 10, 5, 3)], 0.02),
    "wavy lines": (list(wavy(0.4, lines=5)), 0.07),
    "pointed inlet": ([shapely.Polygon([(5, 5), (30, 5), (30, 9.8), (15, 10), (30, 10.2), (30, 20), (5, 20)])], 0.02),
    "dot in a ring": ([disc(20, 15, 6).difference(disc(20, 15, 0.2))], 0.01),
    "thin island": ([disc(20, 15, 6).difference(box(17, 14.9, 6, 0.3))], 0.03),
    "at the edge": ([box(0.3, 5, 4, 4), box(10, 0.1, 5, 5), box(35.8, 20, 4, 4)], 0.1),
    "open to the edge": ([box(0, 5, 4, 4), box(0, 9.3, 4, 4)], 0.05),
    "all of the face": ([box(0, 0, 40, 40)], 0.001),
    "nothing": ([], 0.0),
}  # fmt: skip


@pytest.mark.parametrize("name", few(CASES, 5))
def test_mended_then_checked(name) -> None:
    cuts, area = CASES[name]
    must_hold(job_of(*cuts, size=(40.0, 40.0)), area=area)


def test_cuts_too_small_for_the_cutter_go_and_necks_part() -> None:
    small = [disc(5 + 2 * k, 15, 0.1) for k in range(8)]
    dumbbell = shapely.union_all([disc(12, 22, 2), disc(20, 22, 2), box(12, 21.9, 8, 0.15)])
    done = must_hold(job_of(*small, dumbbell), area=0.2)
    assert [change.what for change in done.changes].count("left out") == 8
    assert len(done.job.block.cuts) == 2


def slit(width: float, length: float = 10.0, *, x: float = 16.0, y: float = 15.0) -> list[shapely.Polygon]:
    """Two boxes joined by a strip of cut."""
    ends = [box(x - 5, y - 4, 5, 8), box(x + length, y - 4, 5, 8)]
    return [shapely.union_all([*ends, box(x, y - width / 2, length, width)])]


@pytest.mark.parametrize("width", [0.39, 0.3, 0.25])
def test_a_neck_of_a_cut_is_made_wider_where_that_changes_less(width) -> None:
    """0.4 is asked over 10 mm: widening takes 10 (0.4 - w) of land, filling 10 w of white."""
    done = must_hold(job_of(*slit(width)), area=0.02)
    assert len(done.job.block.cuts) == 1
    assert [change.what for change in done.changes] == ["cut wider"]
    assert done.changes[0].white_mm2 == pytest.approx(10 * (0.4 - width), abs=0.15)
    assert done.job.block.cuts[0].covers(slit(width)[0].buffer(-0.003))


@pytest.mark.parametrize("width", [0.15, 0.05])
def test_a_neck_of_a_cut_is_filled_where_that_changes_less(width) -> None:
    done = must_hold(job_of(*slit(width)), area=0.03)
    assert [change.what for change in done.changes] == ["rounded"]
    assert done.changes[0].white_mm2 == pytest.approx(-10 * width, abs=0.1)  # and eight corners
    assert len(done.job.block.cuts) == 2


@pytest.mark.parametrize("beside", ["cut", "cut-out", "edge", "its own cut", "fixed"])
def test_a_neck_of_a_cut_is_not_widened_into_land_that_must_last(beside) -> None:
    """Land of 0.5 is asked beside it, and there is 0.52: the strip's wall would move by 0.05."""
    cuts, near = slit(0.3), box(17, 15.15 + 0.52, 8, 3)
    if beside == "edge":
        cuts = [slit(0.3, y=30 - 0.52 - 0.15)[0].intersection(shapely.box(0, 0, 40, 30 - 0.52))]
    elif beside == "its own cut":
        cuts = [cuts[0].union(near).union(box(24.9, 16, 1.5, 2))]
    elif beside != "cut-out":
        cuts = [*cuts, near]
    job = job_of(*cuts, cut_outs=(near,) if beside == "cut-out" else ())
    done = mended(job, fixed={1} if beside == "fixed" else ())
    assert breaks(done.job) == []
    assert [change.what for change in done.changes] == ["rounded"]
    assert mended(done.job).changes == ()


@pytest.mark.parametrize("width", [0.3, 0.1])
def test_in_a_print_white_stays_and_no_more_than_white_is_cut(width) -> None:
    """A neck of snow is made wider, however narrow; one where another block prints is filled."""
    cuts = [*slit(width), *slit(width, y=24)]
    (job,), _ = mended_for_all([job_of(*cuts)], white=cuts[0])
    assert breaks(job) == []
    white = shapely.union_all(job.block.cuts)
    assert cuts[0].difference(white).area < 0.01
    assert white.difference(cuts[0].buffer(0.206 - width / 2 + 0.01)).difference(cuts[1]).area < 0.001
    assert not white.intersects(box(17, 20, 8, 8))


@pytest.mark.parametrize("gap", [0.3, 0.497])
def test_no_land_is_laid_into_the_white_beside_a_cut_that_stays(gap) -> None:
    """Two cuts too near for 0.5, the right one snow, the left one fixed: what is between goes, the snow stays whole."""
    cuts = box(5, 5, 5, 5), box(10 + gap, 5, 5, 5)
    job = job_of(*cuts)
    job = dataclasses.replace(job, block=dataclasses.replace(job.block, fixed=frozenset([0])))
    (done,), changes = mended_for_all([job], white=cuts[1])
    assert [change.what for change in changes] == ["filled"]  # no land is left to be mended again and again
    assert cuts[1].difference(shapely.union_all(done.block.cuts)).area < 0.001
    assert shapely.union_all(cuts).convex_hull.buffer(0.3).covers(shapely.union_all(done.block.cuts))


@pytest.mark.parametrize("gap", [0.3, 0.497])
def test_land_beside_white_is_widened_on_its_other_side(gap) -> None:
    """The same, and the left one, where another block prints, may move: the land stands, 0.5 wide, the snow whole."""
    cuts = box(5, 5, 5, 5), box(10 + gap, 5, 5, 5)
    (done,), changes = mended_for_all([job_of(*cuts)], white=cuts[1])
    assert {change.what for change in changes} == {"widened"}
    assert breaks(done) == []
    assert cuts[1].symmetric_difference(done.block.cuts[np.argmax(shapely.bounds(done.block.cuts)[:, 0])]).area < 0.001
    assert done.block.land.covers(box(10.01, 5, gap - 0.02, 5))


@pytest.mark.parametrize(
    "snow",
    [box(29, 18, 5, 5), box(19, 18.4, 12, 2), box(24, 17, 2, 2.5), box(14, 17, 1, 1.15)],
    ids=["end", "on", "across", "foot"],
)
def test_a_twig_that_snow_meets_stands_wherever_no_snow_lies(snow) -> None:
    """0.4 mm of land for 0.5: it used to go along all of its length, for the one place where white lay beside it."""
    twig = shapely.LineString([(12, 18), (33, 18.2)]).buffer(0.2, cap_style="flat").difference(snow)
    drawn = box(8, 2, 6, 26).union(twig)
    cuts = geometry.parts(shapely.union_all([box(2, 2, 36, 26).difference(drawn), snow]))
    (done,), _ = mended_for_all([job_of(*cuts)], white=snow)
    assert breaks(done) == []
    assert done.block.land.intersection(snow).area < 0.001
    assert twig.intersection(done.block.land).area > 0.9 * twig.area


@pytest.mark.parametrize("beside", ["edge", "cut-out"])
def test_land_at_the_edge_is_widened_wherever_no_snow_lies_beside_it(beside) -> None:
    """0.4 mm of land for 0.5 along the page's edge, or a cut-out's: it used to go whole for snow at its foot."""
    left = 0.0 if beside == "edge" else 4.0
    cut, snow = box(left + 0.4, 5, 8, 20), box(left + 0.4, 5, 8, 4)
    job = job_of(cut, cut_outs=() if beside == "edge" else (box(1, 2, 3, 26),))
    (done,), _ = mended_for_all([job], white=snow)
    assert breaks(done) == []
    assert done.block.land.intersection(snow).area < 0.001
    assert done.block.land.covers(box(left + 0.01, 10, 0.48, 14))
    assert not done.block.land.intersects(box(left + 0.01, 6, 0.39, 2))


@pytest.mark.parametrize(("neck", "pieces"), [(0.15, 1), (0.09, 2)])
def test_a_short_neck_is_widened_and_a_fir_keeps_its_top(neck, pieces) -> None:
    """Between two tiers, for land of 0.5: hopeless is less than a fifth of it."""
    half = neck / 2
    top = [(20 - half, 15), (18.7, 14.8), (20, 19), (21.3, 14.8), (20 + half, 15)]
    fir = shapely.Polygon([*top, (22.4, 8), (17.6, 8)])
    done = mended(job_of(box(5, 2, 30, 26).difference(fir)))
    standing = geometry.parts(done.job.block.land.intersection(box(5.1, 2.1, 29.8, 25.8)))
    assert len(standing) == pieces
    assert fir.difference(shapely.union_all(standing)).area < 0.05 * fir.area


def test_no_land_comes_out_beyond_the_flakes_along_a_twig() -> None:
    """A twig of 0.9 mm for 1.2 with flakes of 0.4 all along its top, which leave it 0.7: it grows below alone."""
    twig = box(6, 15, 12, 0.9)
    snow = shapely.union_all([shapely.Point(x, 15.9).buffer(0.2) for x in np.arange(8, 17, 0.9)])
    coarse = setup()
    coarse = dataclasses.replace(
        coarse, material=dataclasses.replace(coarse.material, land_along_mm=1.2, land_across_mm=1.2)
    )
    cuts = geometry.parts(shapely.union_all([box(2, 2, 36, 26).difference(twig), snow]))
    (done,), _ = mended_for_all([coarse.on(block(*cuts))], white=snow)
    pieces = geometry.parts(done.block.land.intersection(box(2.1, 2.1, 35.8, 25.8)))
    assert shapely.intersects(pieces, twig).all()
    assert done.block.land.intersection(box(3, 16.2, 34, 8)).area < 0.01
    assert twig.difference(snow).difference(done.block.land).area < 0.1 * twig.area


def twig_mended(length: float, turned: float) -> tuple[Job, shapely.LineString]:
    """A twig of 0.4 mm that stands by itself in one cut, cut off flat, for land of 0.5; and its axis."""
    axis = affinity.rotate(shapely.LineString([(20 - length / 2, 15), (20 + length / 2, 15)]), turned)
    return mended(job_of(box(5, 2, 30, 26).difference(axis.buffer(0.2, cap_style="flat")))).job, axis


@pytest.mark.parametrize("turned", [0, 20, 77])
@pytest.mark.parametrize("length", [3, 12])
def test_land_laid_on_is_one_strip_without_ears_at_its_ends(length, turned) -> None:
    """What lies within half a width of the axis, carried on, is the strip (plane geometry)."""
    job, axis = twig_mended(length, turned)
    strip = affinity.scale(axis, 2, 2).buffer(0.27, cap_style="flat")
    twig = job.block.land.intersection(box(5.1, 2.1, 29.8, 25.8))
    assert twig.difference(strip).area < 0.001
    assert twig.difference(axis.buffer(0.3)).area < 0.001


@pytest.mark.parametrize("turned", [0, 20])
def test_a_strip_is_nowhere_narrower_than_asked_counted_in_pixels(turned) -> None:
    """The distance to the nearest white pixel, on the axis (general library: scipy's distance transform)."""
    job, axis = twig_mended(4, turned)
    step = 0.02
    x, y = np.meshgrid(np.arange(17, 23, step), np.arange(12, 18, step))
    away = ndimage.distance_transform_edt(shapely.contains_xy(job.block.land, x, y)) * step
    at = shapely.get_coordinates(shapely.line_interpolate_point(axis, np.linspace(0.3, 3.7, 60)))
    column, row = np.round((at - (17, 12)) / step).astype(int).T
    assert away[row, column].min() > 0.25 - 1.5 * step


@pytest.mark.parametrize("stays", [False, True])
def test_land_that_is_to_stay_stands_after_mending_however_narrow(stays) -> None:
    """A strip of 0.3 mm between snow and snow, which has to stand 0.5 mm wide: else it goes."""
    cuts, strip = (box(5, 5, 5, 5), box(10.3, 5, 5, 5)), box(10, 5, 0.3, 5)
    job = job_of(*cuts)
    job = dataclasses.replace(job, block=dataclasses.replace(job.block, stays=shapes(*[strip] * stays)))
    (done,), _ = mended_for_all([job], white=shapely.union_all(cuts))
    assert (strip.intersection(done.block.land).area > 0.99 * strip.area) == stays


def test_what_must_stay_is_put_back_without_hairs_where_outlines_nearly_agree() -> None:
    """Mending took a strip of 0.3 mm, and a rim of 2 µm of what stays as far as the mark goes: that is no land."""
    strip, rim = box(10, 5, 0.3, 5), box(4.998, 5, 0.1, 5)
    before = block(box(5, 5, 5, 5), box(10.3, 5, 5, 5))
    before = dataclasses.replace(before, stays=shapes(box(0, 0, 20, 7.5)))
    cut = shapely.union_all([*before.cuts, strip, rim])
    done = _with_land(dataclasses.replace(before, cuts=shapes(cut)), before)
    left = shapely.difference(cut, box(10, 5, 0.3, 2.5))
    assert shapely.area(shapely.symmetric_difference(shapely.union_all(done.cuts), left)) < 1e-6


def test_all_that_one_cut_took_of_what_must_stay_is_put_back() -> None:
    """Three strips within the only cut: more pieces than there are cuts."""
    strips = [box(x, 6, 0.3, 8) for x in (8, 11, 14)]
    cut = box(5, 5, 15, 10)
    job = job_of(*geometry.parts(shapely.difference(cut, shapely.union_all(strips))))
    job = dataclasses.replace(job, block=dataclasses.replace(job.block, stays=shapes(*strips)))
    (done,), _ = mended_for_all([job], white=cut)
    for strip in strips:
        assert strip.intersection(done.block.land).area > 0.99 * strip.area


def test_what_must_stay_is_put_back_whole_though_outlines_lie_on_a_grid() -> None:
    """By a grid of a micron GEOS makes nothing of this one's 0.81 mm² where it is offset to take hairs off."""
    corners = [(16.121, 19.057), (16.028, 19.107), (16.695, 19.924), (17.289, 19.663), (16.874, 18.726)]
    stays = shapely.Polygon(corners)
    before = dataclasses.replace(block(), stays=shapes(stays))
    cut = shapely.set_precision(box(15, 18, 3, 3), 0.001)
    done = _with_land(dataclasses.replace(before, cuts=shapes(cut)), before)
    assert shapely.area(shapely.intersection(stays, done.land)) == pytest.approx(stays.area, abs=0.001)


def test_cuts_that_stay_are_still_known_after_mending_for_all() -> None:
    job = job_of(box(5, 5, 5, 5), box(10.3, 5, 5, 5))
    job = dataclasses.replace(job, block=dataclasses.replace(job.block, fixed=frozenset({1})))
    (done,), changes = mended_for_all([job])
    assert len(changes) == 1
    assert done.block.fixed == {1}
    assert done.block.cuts[1] == job.block.cuts[1]


@pytest.mark.parametrize(("number", "more"), [(5, 0), (6, 1), (8, 3)])
def test_late_rounds_lay_on_a_land_more_each_time(number, more) -> None:
    """After six rounds: between two squares 0.3 mm apart 0.5 mm of land last, and so much more each round."""
    bench = _Bench(job_of(box(5, 5, 5, 5), box(10.3, 5, 5, 5)), frozenset())
    land = bench.job.limits.land_mm
    assert bench.mend(number)
    assert shapely.distance(*bench.job.block.cuts) == pytest.approx((1 + more) * land, abs=0.03)


def test_a_thin_stroke_is_made_wider_and_a_speck_left_out() -> None:
    angle = np.linspace(0, 4, 60)
    line = shapely.LineString(np.column_stack([20 + 8 * np.cos(angle), 15 + 8 * np.sin(angle)])).buffer(0.16)
    done = must_hold(job_of(line, disc(20, 15, 0.1)), area=0.4)
    assert sorted(change.what for change in done.changes) == ["cut wider", "left out"]
    assert len(done.job.block.cuts) == 1
    assert done.job.block.cuts[0].hausdorff_distance(line) < 0.08


@pytest.mark.parametrize("wide", [0.55, 0.7])
def test_a_cut_that_is_mostly_a_tip_is_rounded_to_what_the_cutter_makes(wide) -> None:
    """A triangle between twigs, 3 mm high: 60 % of the narrow one's outline is tip, which breaks; 47 of the other's."""
    spire = shapely.Polygon([(10, 10), (10 + wide, 10), (10 + wide / 2, 13)])
    job = job_of(spire, box(20, 20, 5, 5))
    assert bool(breaks(job)) == (wide < 0.6)
    done = must_hold(job, area=0.05)
    assert [change.what for change in done.changes] == ["rounded"] * (wide < 0.6)
    if wide < 0.6:
        assert done.job.block.cuts[0].hausdorff_distance(spire) == pytest.approx(2, abs=0.15), "the tip alone is filled"


def test_clean_blocks_stay_byte_for_byte() -> None:
    job = job_of(box(5, 5, 5, 5), disc(15, 15, 3), box(5, 10.51, 5, 4))
    assert breaks(job) == []
    done = mended(job)
    assert done.changes == ()
    assert shapely.to_wkb(done.job.block.cuts).tolist() == shapely.to_wkb(job.block.cuts).tolist()


def test_fixed_cuts_and_cut_outs_stay() -> None:
    cuts = boxes(5, 20, apart=0.1)
    fixed = set(range(0, len(cuts), 3))
    job = job_of(*cuts, size=(40.0, 40.0), cut_outs=(disc(36, 36, 2),))
    done = mended(job, fixed=fixed)
    kept = {shapely.to_wkb(cut) for cut in done.job.block.cuts[sorted(done.job.block.fixed)]}
    assert kept == {shapely.to_wkb(cuts[k]) for k in fixed}
    assert shapely.to_wkb(done.job.block.cut_outs[0]) == shapely.to_wkb(job.block.cut_outs[0])
    between = [set(each.between) for each in done.left]  # only what is fixed on both sides may be left
    names = {f"cut {k + 1}" for k in done.job.block.fixed} | {"edge", "cut-out 1"}
    assert all(one <= names for one in between)
    for change in done.changes:
        assert change.what in ("widened", "filled", "joined", "rounded", "left out")


def test_two_fixed_cuts_too_close_are_left_and_told() -> None:
    done = mended(job_of(box(5, 5, 5, 5), box(10.3, 5, 5, 5)), fixed={0, 1})
    assert done.changes == ()
    assert [(each.rule, round(each.measured, 3)) for each in done.left] == [("land-width", 0.3)]


SQUARE, PRONGS = box(5, 5, 5, 5), box(5, 5, 20, 10)
#: What is done about land (0.5 asked, and 0.012 that polygons fall short of circles) or a cut (0.4), where, and what
#: that takes of the white, mm²: lengths times widths, corners aside, and half a cutter's disc at each end of what goes.
#: Hopeless is less than a fifth between two cuts, than half within one, than a third of a long line there.
DONE = [
    ([SQUARE, box(10.3, 5, 5, 5)], {}, [("widened", 10.15, None, -0.53)] * 2),
    ([SQUARE, box(10.49, 5, 5, 5)], {}, [("widened", 10.245, None, -0.055)] * 2),
    ([SQUARE, box(10.101, 5, 5, 5)], {}, [("widened", 10.0505, None, -1.03)] * 2),
    ([SQUARE, box(10.099, 5, 5, 5)], {}, [("joined", 10.0495, None, 5 * 0.099 + math.pi * 0.206**2)]),
    ([SQUARE, box(10.3, 5, 5, 5)], {"fixed": {0}}, [("widened", 10.15, None, -1.03)]),
    ([SQUARE, box(10.3, 5, 5, 5)], {"fixed": {1}}, [("widened", 10.15, None, -1.03)]),
    ([box(0.3, 5, 5, 5)], {}, [("widened", 0.15, None, -1.03)]),
    ([PRONGS.difference(box(5, 10, 10, 0.18))], {}, [("widened", None, 10.09, -3.32)]),
    ([PRONGS.difference(box(5, 10, 10, 0.16))], {}, [("filled", None, 10.08, 1.6)]),
    ([PRONGS.difference(box(5, 10, 2.5, 0.26))], {}, [("widened", None, 10.13, -0.63)]),
    ([PRONGS.difference(box(5, 10, 2.5, 0.24))], {}, [("filled", None, 10.12, 0.6)]),
    ([disc(20, 15, 5).difference(disc(20, 15, 0.39))], {}, [("filled", 20.0, 15.0, math.pi * 0.39**2)]),
    ([disc(20, 15, 0.1)], {}, [("left out", 20.0, 15.0, -math.pi * 0.1**2)]),
    (slit(0.21), {}, [("cut wider", 21.0, 15.0, 1.9)]),
    (slit(0.19), {}, [("rounded", 21.0, 15.0, -1.9)]),
]


@pytest.mark.parametrize(("cuts", "how", "done"), DONE)
def test_what_is_done_where_and_what_white_it_takes(cuts, how, done) -> None:
    ended = mended(job_of(*cuts), **how)
    assert len(ended.left) == 0
    for change, (what, x, y, white_mm2) in zip(ended.changes, done, strict=True):
        assert change.what == what
        assert change.white_mm2 == pytest.approx(white_mm2, abs=0.02 + 0.1 * abs(white_mm2))
        for report, wanted in zip(change.at, (x, y), strict=True):
            assert wanted is None or report == pytest.approx(wanted, abs=0.02)


@pytest.mark.parametrize("severity", Severity)
@pytest.mark.parametrize("rule", CHECKS)
def test_what_breaks_a_limit_of_land_or_cut_can_be_mended(severity, rule) -> None:
    one = Finding(rule=rule, severity=severity, at=(0, 0), measured=1, limit=2, unit="mm", why="", remedy="")
    mendable = {"land-width", "foot-width", "small-island", "cut-width"}
    assert can_mend([one]) == (severity is Severity.BREAKS and rule in mendable)


def test_same_again() -> None:
    one, other = (mended(job_of(*boxes(9, 20, apart=0.05), size=(40.0, 40.0))) for _ in range(2))
    assert one.changes == other.changes
    assert shapely.to_wkb(one.job.block.cuts).tolist() == shapely.to_wkb(other.job.block.cuts).tolist()


def test_changes_tell_where() -> None:
    job = job_of(*boxes(4, 20), size=(40.0, 40.0))
    done = mended(job)
    differs = shapely.symmetric_difference(shapely.union_all(job.block.cuts), shapely.union_all(done.job.block.cuts))
    differs = differs.buffer(-0.003).buffer(0.003)
    for part in shapely.get_parts(differs):
        assert min(part.distance(shapely.Point(change.at)) for change in done.changes) < 3


@examples(4)
@given(st.integers(0, 10**6), st.sampled_from([0.0, 0.02, 0.3]), st.booleans())
def test_boxes_at_random(seed, apart, turned) -> None:
    must_hold(job_of(*boxes(seed, 15, apart=apart, turned=turned), size=(40.0, 40.0)), area=0.1)


@examples(1)
@given(st.floats(0.02, 0.6), st.floats(0, 6))
def test_wavy_lines_and_combs_at_random(gap, phase) -> None:
    must_hold(job_of(*wavy(gap, lines=4, phase=phase)), area=0.25)
    must_hold(job_of(comb(gap, teeth=4)), area=0.3)


@takes_long  # a measure of time
def test_150_faults_take_a_few_seconds() -> None:
    rng = np.random.default_rng(3)
    cuts, at = [], np.empty((0, 3))
    while len(cuts) < 700:
        x, y, r = *rng.uniform(2.2, 97.8, 2), rng.uniform(0.5, 1.6)
        if (np.hypot(at[:, 0] - x, at[:, 1] - y) > at[:, 2] + r + 0.27).all():
            at = np.vstack([at, (x, y, r)])
            cuts.append(disc(x, y, r, points=32, phase=rng.uniform(0, 6)))
    job = job_of(*cuts, size=(100.0, 100.0))
    assert len(breaks(job)) >= 100
    begin = time.process_time()
    done = mended(job)
    assert time.process_time() - begin < 8
    assert len(done.left) == 0
    assert abs(white(done.job) / white(job) - 1) < 0.01


@takes_long  # a measure of looks
def test_snowfall_grown_for_finer_land_keeps_its_look() -> None:
    setup_ = setup(material_values={"land_along_mm": 0.7, "land_across_mm": 0.7, "dot_mm": 0.8})
    sky = grown("snowfall", snowfall.Settings(), limits(0.4), 11, size=(60.0, 60.0))
    job = setup_.on(sky)
    assert len(breaks(job)) > 5
    done = must_hold(job, area=0.12)
    same = shapely.intersection(shapely.union_all(sky.cuts), shapely.union_all(done.job.block.cuts)).area
    assert same > 0.9 * white(job)


def test_what_was_measured_in_an_earlier_round_is_asked_of_the_bench() -> None:
    job, known = job_of(*boxes(8, 30)), dict[tuple[int, float], Reached]()
    assert _Bench(job, frozenset(), known=known)._known is known
    assert _Bench(job, frozenset())._known == {}


def test_cuts_that_lie_on_the_grid_are_checked_without_a_fault_of_their_offsets():
    """Of one of these, shrunk and grown on the grid that it carries, the outline lies on itself."""
    bench = _Bench(job_of(*boxes(8, 30)), frozenset())
    bench.mend(0)
    cuts = bench.job.block.cuts
    assert shapely.is_valid(cuts).all()
    assert (shapely.get_precision(cuts) > 0).any()
    assert shapely.is_valid(Survey(bench.job).reach.reached).all()
    checked(bench.job)


@pytest.mark.parametrize("seed", few([0, 6, 1, 8], 2))
def test_a_measure_falls_in_each_round(seed):
    """The places that break; where as many break as before, the land: then a hopeless piece of it was cut away."""
    bench, measures = _Bench(job_of(*boxes(seed, 20)), frozenset()), list[tuple[int, float]]()
    for number in range(24):
        left = [
            finding for finding in checked(bench.job) if finding.severity is Severity.BREAKS and can_mend([finding])
        ]
        measures.append((len(left), float(shapely.area(bench.job.block.land))))
        if not bench.mend(number):
            break
    assert measures[0][0] > 0
    assert measures[-1][0] == 0
    assert all(now < before for before, now in itertools.pairwise(measures)), measures


def test_discs_along_walls_fall_into_lines_where_edge_or_place_leaps() -> None:
    middles = np.array([[0, 0], [1, 0], [2, 0], [9, 0], [10, 0]], dtype=float)
    assert runs(middles, np.array([3, 3, 4, 4, 6]), 1.5).tolist() == [0, 0, 0, 1, 2]
    assert runs(np.empty((0, 2)), np.empty(0, dtype=np.int64), 1.5).tolist() == []


def test_tips_that_must_stay_white_are_left_as_they_are_at_once() -> None:
    """Filling them is undone by the white: nothing changes, in either of two turns."""
    spire = shapely.Polygon([(10, 10), (10.55, 10), (10.275, 13)])
    job = job_of(spire, box(20, 20, 5, 5))
    jobs, changes = mended_for_all([job, job], white=spire)
    assert changes == ()
    assert shapely.equals_exact(jobs[0].block.cuts, job.block.cuts).all()
    jobs, changes = mended_for_all([job, job], white=shapely.box(15, 15, 30, 30))
    assert [change.what for change in changes] == ["rounded"]
