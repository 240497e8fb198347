"""What cutters leave, against closed forms, against shapely's offsets, and against a twin that samples."""

from __future__ import annotations

import dataclasses
import io
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from carvegen.blocks.job import Job
from carvegen.checks import land_width
from carvegen.facts.cutting import half_width_mm
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Plan,
    Work,
)
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.simulation.height_raster import Relief, untouched
from carvegen.toolpaths.simulation.simulated_block import Simulated, simulated
from carvegen.toolpaths.simulation.tool_sweep import Pieces, groove_of
from carvegen.writers.plan.plan_files import extras, simulated_png
from tests.cases import SHELF, block, box, disc, setup
from tests.strategies import examples, few

ROUTER, LASER = SHELF.machine("router-bed"), SHELF.machine("laser-bed")


def way(*points: tuple[float, float, float]) -> Paths:
    return Paths(np.array(points, dtype=float), np.array([0, len(points)]), np.array([False]))


def at(relief: Relief, x: float, y: float) -> float:
    column, row = (round((place - low) / relief.px_mm) for place, low in zip((x, y), relief.corner, strict=True))
    return float(relief.height[row, column])


def followed(paths: Paths, key: str, px: float = 0.02) -> Relief:
    relief = untouched(12.0, 8.0, px)
    relief.cut(paths, SHELF.cutter(key), 1.0)
    return relief


def job_on(each, cutter: str = "v-60", machine=ROUTER, **changed) -> Job:
    return setup("cherry", cutter, machine=machine, depth=changed.pop("depth", 1.0), **changed).on(each)


def result(each, cutter: str = "v-60", machine=ROUTER, px: float = 0.05, **choices) -> Simulated:
    plan = plan_for(job_on(each, cutter, machine), PathSettings(**choices))
    assert plan is not None
    return simulated(plan, px)


@pytest.mark.parametrize("key", ["v-30", "v-60", "v-90", "flat-1", "ball-1", "ball-3", "taper-0.5"])
def test_a_level_way_leaves_the_cutter_s_own_profile(key: str) -> None:
    relief, cutter = followed(way((2, 4, -0.8), (10, 4, -0.8)), key), SHELF.cutter(key)
    for depth in (0.05, 0.3, 0.6):
        half = float(half_width_mm(cutter, np.array([depth]), 0.8)[0])
        inside, outside = at(relief, 6, 4 + half - 0.03), at(relief, 6, 4 + half + 0.03)
        assert inside <= -depth + 0.02
        assert outside >= -depth - 0.02
    area = shapely.area(relief.outlines()).sum()
    half = float(half_width_mm(cutter, np.zeros(1), 0.8)[0])
    assert area == pytest.approx(8 * 2 * half + math.pi * half**2, rel=2e-3)


def test_a_v_on_a_slope_leaves_what_many_cones_leave() -> None:
    """The twin stamps 800 single cones along the way, on every other pixel."""
    a, b = np.array((2.0, 3.0, -0.1)), np.array((9.0, 5.0, -1.4))
    relief, cutter = followed(way(tuple(a), tuple(b)), "v-60", 0.05), SHELF.cutter("v-60")
    tan, blunt = math.tan(math.radians(30)), cutter.values["tip_mm"] / 2
    height = relief.height[::2, ::2]
    rows, columns = 2 * np.indices(height.shape)
    x, y = relief.corner[0] + 0.05 * columns, relief.corner[1] + 0.05 * rows
    twin = np.zeros(height.shape)
    for share in np.linspace(0, 1, 800):
        px, py, pz = a + share * (b - a)
        twin = np.minimum(twin, pz + np.maximum(np.hypot(x - px, y - py) - blunt, 0) / tan)
    assert height == pytest.approx(twin, abs=2e-3)


@pytest.mark.parametrize("key", few(["taper-0.5", "ball-1"], 1))
def test_a_round_end_on_a_slope_leaves_what_many_of_them_leave(key) -> None:
    """The twin stands one cutter beside another, by `cutting`'s half-widths at heights above the tip."""
    a, b, cutter = np.array([2.0, 4, -0.4]), np.array([5.0, 4.7, -1.2]), SHELF.cutter(key)
    relief = followed(way(tuple(a), tuple(b)), key, 0.05)
    above = np.linspace(0, 2, 4000)
    half = np.maximum.accumulate(half_width_mm(cutter, 2 - above, 2.0)) + 1e-12 * np.arange(4000)
    height = relief.height[::2, ::2]
    rows, columns = 2 * np.indices(height.shape)
    x, y = relief.corner[0] + 0.05 * columns, relief.corner[1] + 0.05 * rows
    twin = np.zeros(height.shape)
    for share in np.linspace(0, 1, 800):
        px, py, pz = a + share * (b - a)
        twin = np.minimum(twin, pz + np.interp(np.hypot(x - px, y - py), half, above, right=np.inf))
    assert np.abs(height - twin)[twin < -0.2].max() < 0.02
    assert np.abs(height - twin).mean() < 2e-3


@pytest.mark.parametrize("end", [(5.0, 2.0, -1.4), (5.0, 2.0, -0.1), (-1.0, -3.0, -0.8)])
def test_a_flat_end_on_a_slope_leaves_what_many_of_them_leave(end) -> None:
    """Down, up and level: the twin is the lowest of 4000 discs along the piece over each of 300 places."""
    a, b, radius = np.array([1.0, 1.0, -0.8]), np.array(end), 1.5
    piece = Pieces.of(a[None], b[None])
    x, y = np.random.default_rng(2).uniform(-4, 8, (2, 300))
    edge, height = groove_of(SHELF.cutter("flat-3"), 1.0).passed(x, y, piece, np.zeros(300, dtype=np.int64))
    at = a + np.linspace(0, 1, 4000)[:, None] * (b - a)
    over = np.hypot(x - at[:, :1], y - at[:, 1:2]) <= radius
    twin = np.where(over, at[:, 2:], 0).min(axis=0)
    assert (edge > 1e-3).sum() > 25
    assert height[edge > 1e-3] == pytest.approx(twin[edge > 1e-3], abs=2e-3)
    assert (height[edge < 0] == 0).all()


def test_what_passes_above_a_lower_way_changes_nothing() -> None:
    once, twice = way((2, 4, -1), (8, 4, -1)), way((2, 4, -0.5), (8, 4, -0.5), (8, 4, -1), (2, 4, -1))
    assert followed(twice, "v-60", 0.05).height == pytest.approx(followed(once, "v-60", 0.05).height, abs=1e-6)


def test_straight_down_leaves_one_cone_and_a_point_above_the_face_nothing() -> None:
    relief = followed(way((6, 4, 0), (6, 4, -1)), "v-90")
    assert at(relief, 6, 4) == pytest.approx(-1, abs=0.02)
    assert shapely.area(relief.outlines()).sum() == pytest.approx(math.pi * 1.05**2, rel=2e-3)
    assert len(followed(way((2, 4, 5), (10, 4, 5)), "v-90").outlines()) == 0


def _sharpest(points: list[tuple[float, float]]) -> float:
    """How much farther than it is wide a notch between two sides reaches: 1 / sin of half the sharpest corner."""
    step = np.diff(np.array(points), axis=0)
    turn = np.arctan2(step[:, 1], step[:, 0])
    inner = np.pi - np.abs((np.diff(turn) + np.pi) % (2 * np.pi) - np.pi)
    return 1 / math.sin(max(float(inner.min(initial=np.pi)) / 2, 0.05))


@settings(examples(5), deadline=None)
@given(st.lists(st.tuples(st.floats(2, 10), st.floats(2, 6)), min_size=2, max_size=6, unique=True))
def test_a_flat_cutter_s_way_is_the_buffer_of_its_line(points: list[tuple[float, float]]) -> None:
    relief = followed(way(*((x, y, -1) for x, y in points)), "flat-1", 0.05)
    expected = shapely.LineString(points).buffer(0.5, quad_segs=32)
    results = shapely.union_all(relief.outlines())
    assert shapely.symmetric_difference(results, expected).area < 0.004 * expected.length
    assert shapely.hausdorff_distance(results, expected) < 0.1 * _sharpest(
        points
    )  # two pixels, farther in sharp notches


def test_a_v_plan_leaves_the_land_and_cuts_all() -> None:
    each = result(block(box(5, 4, 20, 0.8), box(5, 8, 20, 12), disc(32, 10, 0.6)))
    assert each.lost.worst_mm <= each.noise_mm
    assert each.missed.area_mm2 < 0.03  # corners, which the blunt tip rounds
    assert len(each.report) == 0
    assert shapely.area(each.block.cuts).sum() == pytest.approx(16 + 240 + math.pi * 0.36, rel=2e-3)
    assert each.relief.height.min() == pytest.approx(-1, abs=1e-6)


def test_a_wide_cutter_misses_corners_by_the_closed_form() -> None:
    """Plane geometry: in a square corner a radius r leaves r (√2 - 1) at its farthest and r² (1 - pi/4) of area."""
    each = result(block(box(5, 5, 12, 10)), "flat-3", px=0.02)
    r = SHELF.cutter("flat-3").values["diameter_mm"] / 2
    assert each.missed.worst_mm == pytest.approx(r * (math.sqrt(2) - 1), abs=0.03)
    assert each.missed.area_mm2 == pytest.approx(4 * r**2 * (1 - math.pi / 4), rel=0.03)
    assert len(each.missed.places) == 4
    assert each.lost.area_mm2 < 0.01


@pytest.mark.parametrize("lowered", few(["shapes", "lines", "contours"], 1))
def test_a_laser_s_plan_leaves_the_land_whichever_way_it_lowers(lowered: str) -> None:
    each = result(block(box(5, 5, 12, 10).difference(box(9, 8, 4, 4))), "laser-fine", LASER, lowered=lowered)
    assert each.lost.worst_mm <= each.noise_mm
    assert each.missed.area_mm2 < 0.1
    assert at(each.relief, 11, 10) == 0
    assert at(each.relief, 7, 10) == pytest.approx(-1)


def test_a_cut_out_falls_out_and_a_tab_holds_nothing_of_it_back() -> None:
    plywood = setup("birch-plywood", "laser-fine", machine=LASER)  # thin enough for the laser to cut through
    plan = plan_for(plywood.on(block(box(5, 5, 4, 4), cut_outs=(box(15, 8, 14, 14),))), PathSettings())
    each = simulated(plan, 0.05)
    assert shapely.area(each.block.cut_outs).sum() == pytest.approx(196, rel=5e-3)
    assert each.lost.worst_mm < 0.05


def test_a_cutter_set_too_deep_loses_land_and_the_checks_say_so() -> None:
    """Two strips across the grain, 0.6 mm of land between; 0.3 mm too deep a 60° V is 0.173 mm wider each side."""
    job = job_on(block(box(5, 5, 1.0, 20), box(6.6, 5, 1.0, 20)))
    plan = plan_for(job, PathSettings())
    assert plan is not None
    deep = [dataclasses.replace(one, paths=dataclasses.replace(one.paths, xyz=one.paths.xyz - (0, 0, 0.3)))
            for one in plan.operations]  # fmt: skip
    each = simulated(dataclasses.replace(plan, operations=tuple(deep)), 0.02)
    assert each.lost.worst_mm == pytest.approx(0.3 * math.tan(math.radians(30)), abs=0.02)
    assert each.lost.area_mm2 == pytest.approx(2 * (42 * 0.173), rel=0.05)
    rules = {finding.rule for finding in each.report}
    assert land_width.RULE in rules
    narrow = min(finding.measured for finding in each.report if finding.rule == land_width.RULE)
    assert narrow == pytest.approx(0.6 - 2 * 0.173, abs=0.02)
    assert len(simulated(plan, 0.05).report) == 0


def test_what_is_not_cut_at_all_is_missed() -> None:
    job = job_on(block(box(5, 5, 20, 1.0), box(5, 16, 20, 1.0)))
    line = way((5.5, 5.5, -0.6), (24.5, 5.5, -0.6))
    one = Operation(
        name="CENTRE LINE V-60", work=Work.CENTRE_LINE, asks="", cutter=job.cutter, paths=line, depth_mm=0.6
    )
    each = simulated(Plan(job=job, operations=(one,)))
    assert each.missed.area_mm2 > 20
    assert 16 < each.missed.worst_at[1] < 17
    assert simulated(Plan(job=job, operations=())).missed.area_mm2 == pytest.approx(40)


def test_the_picture_shows_the_block_as_it_lies_with_lost_and_missed_in_colour() -> None:
    each = result(block(box(2, 2, 10, 10)), "flat-3", px=0.1)
    picture = np.asarray(Image.open(io.BytesIO(simulated_png(each))).convert("RGB")).astype(int)
    assert picture.shape == (300, 400, 3)
    floor, face = picture[300 - 70, 400 - 70], picture[50, 50]  # the print's left is the block's right
    assert floor.sum() < face.sum() - 60
    red, green, blue = np.moveaxis(picture, 2, 0)
    teal = (green > red + 60) & (blue > red + 60)
    assert teal.sum() == pytest.approx(100 * each.missed.area_mm2, rel=0.35)


def test_the_note_tells_the_figures_and_says_what_they_rest_on() -> None:
    plan = plan_for(job_on(block(box(5, 5, 12, 10)), "flat-3"), PathSettings())
    assert plan is not None
    assert extras(plan, PathSettings()).names == ()
    made = extras(plan, PathSettings(simulated=True, program=True))
    assert made.names == ("simulated.png", "program-1.nc")
    assert list(made.files()) == list(made.names)
    note = made.note()
    assert "Land lost: none." in note
    assert "4 places" in note
    assert made.to_dict()["cut_missed"]["places"] == 4
