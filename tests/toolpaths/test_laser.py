"""A laser's plan against shapely alone: what the beam touches, in which order, and that nothing is done twice."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import example, given, settings
from hypothesis import strategies as st
from shapely import affinity

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.block import Block
from carvegen.toolpaths import cutter_centre_region, plan_for
from carvegen.toolpaths.laser import planner
from carvegen.toolpaths.laser.planner import laser_plan
from carvegen.toolpaths.laser.scanning import go_round, outlines, ringed_outlines
from carvegen.toolpaths.paths import Paths, Work
from carvegen.toolpaths.promises import broken, doubled, into_land_mm
from carvegen.toolpaths.settings import LOWERED, PathSettings
from tests import cases
from tests.cases import box, disc
from tests.strategies import blobs, examples, takes_long
from tests.toolpaths import twins

TOP_MM = 0.2  # the fine laser's kerf at the face (its profile)


def job_of(block: Block, *, cutter: str = "laser-fine", material: str = "birch-plywood", **changed):
    return cases.setup(material, cutter, **changed).on(block)


def named(plan) -> dict:
    return {operation.name: operation for operation in plan.operations}


@st.composite
def blocks(draw: st.DrawFn) -> Block:
    """Up to four blobs in the quarters of a block, cut, cut out, or reaching over its edge."""
    cuts, outs = [], []
    for x, y in ((10, 10), (30, 10), (10, 30), (30, 30)):
        kind = draw(st.sampled_from(["none", "cut", "cut", "out", "edge"]))
        blob = affinity.translate(affinity.scale(draw(blobs()), 0.8, 0.8), x - (8 if kind == "edge" else 0), y)
        corner = (0.0 if x < 20 else 20.2), (0.0 if y < 20 else 20.2)  # cuts of a block lie apart
        blob = shapely.intersection(blob, shapely.box(*corner, corner[0] + 19.8, corner[1] + 19.8))
        if kind != "none":
            (outs if kind == "out" else cuts).extend(geometry.parts(blob))
    face = {"width_mm": 40.0, "height_mm": 40.0}
    return Block(name="sky", cuts=geometry.polygon_array(cuts), cut_outs=geometry.polygon_array(outs), **face)


@given(blocks(), st.sampled_from(LOWERED), st.integers(0, 4), st.booleans())
@settings(deadline=None)
def test_the_beam_never_enters_land(block, lowered, steps, tabs):
    side = PathSettings(lowered=lowered, shoulder_steps=steps, tabs=tabs, line_spacing_mm=0.4, lead_in_mm=0.6)
    plan = laser_plan(job_of(block), side)
    for operation in plan.operations:
        if operation.work is not Work.SCORE:
            touched = twins.swept(operation.paths, TOP_MM / 2, filled=operation.area_lines_mm is not None)
            assert twins.enters(touched, twins.land(block)) <= 0.02
            assert operation.paths.xyz[:, :2].min() >= -1e-9
            assert operation.paths.xyz[:, :2].max() <= 40 + 1e-9


@given(blocks(), st.sampled_from(LOWERED), st.integers(0, 3))
@settings(deadline=None)
def test_nothing_is_followed_twice_and_every_promise_is_kept(block, lowered, steps):
    side = PathSettings(lowered=lowered, shoulder_steps=steps, line_spacing_mm=0.4)
    plan = laser_plan(job_of(block), side)
    assert broken(plan, side) == ()
    for operation in plan.operations:
        pieces = [
            segment for segment in twins.segments(operation.paths) if math.dist(*segment) > 0.01
        ]  # specks burn once or twice
        assert len(set(pieces)) == len(pieces)
        if operation.work is Work.CUT_THROUGH or lowered != "lines":
            assert all(line.length > 0 for line in twins.lines(operation.paths))


_SHARP = shapely.Polygon(
    [(5.4796, 6.7506), (7.495, 13.0971), (12.1896, 9.5106)],
    [[(9.1531, 9.44), (10.5205, 9.9021), (9.3102, 10.0411)]],
)


@given(blocks(), st.sampled_from(["shapes", "lines", "contours"]), st.integers(0, 3))
@example(Block(name="tip", width_mm=40.0, height_mm=40.0, cuts=geometry.polygon_array([_SHARP])), "contours", 2)
@examples(4)
def test_all_that_is_wide_enough_is_lowered(block, lowered, steps):
    """The planned cuts, less what an opening by the kerf takes away and what is told as not reached."""
    side = PathSettings(lowered=lowered, shoulder_steps=steps, line_spacing_mm=0.15)
    plan = laser_plan(job_of(block), side)
    done = [
        twins.swept(operation.paths, TOP_MM / 2, filled=operation.area_lines_mm is not None)
        for operation in plan.operations
        if operation.work in (Work.LOWER, Work.SHOULDER)
    ]
    whole = shapely.union_all(list(block.cuts))
    left = shapely.difference(shapely.difference(whole, shapely.union_all(done)), shapely.union_all(plan.unreached))
    # nested lines leave specks where they turn sharply: their corners lie farther apart than they do
    assert left.buffer(-0.1 if lowered == "contours" else -0.05).area < 1e-6


def test_an_opening_comes_to_size_inside_and_what_is_kept_comes_to_size_outside():
    # an opening with an island: the middle of the beam runs half a kerf inside the hole and outside the island
    block = cases.block(cut_outs=(disc(20, 15, 10).difference(disc(20, 15, 4)),))
    plan = laser_plan(job_of(block), PathSettings(tabs=False))
    radii = []
    for name in ("CUT-OUT 1 OF 2", "CUT-OUT 2 OF 2"):
        (line,) = twins.lines(named(plan)[name].paths)
        radii.append(math.sqrt(shapely.Polygon(line.coords).area / math.pi))
    assert radii == pytest.approx([4.1, 9.9], abs=0.02)


def test_a_kerf_that_is_wider_at_the_back_keeps_off_the_land_by_that():
    """0.2 mm at the face, 0.5 mm at the back of 3 mm: a line through keeps 0.25 mm off, a floor 1 mm deep 0.15."""
    kerf = {"kerf_top_mm": 0.2, "kerf_bottom_mm": 0.5, "kerf_thickness_mm": 3.0}
    block = cases.block(box(25, 5, 10, 10), cut_outs=(disc(12, 15, 8, points=400),))
    job = job_of(block, thickness=3.0, depth=1.0, cutter_values={"values": kerf})
    plan = laser_plan(job, PathSettings(tabs=False, lowered="contours", shoulder_steps=0))
    (line,) = twins.lines(named(plan)["CUT-OUT"].paths)
    assert math.sqrt(shapely.Polygon(line.coords).area / math.pi) == pytest.approx(8 - 0.25, abs=0.01)
    lowered = [step for step in plan.operations if step.work not in (Work.CUT_THROUGH, Work.SCORE)]
    near = min(each.paths.xyz[:, 0].min() for each in lowered) - 25
    assert near == pytest.approx(0.15, abs=0.01)


@pytest.mark.parametrize(("known", "foot"), [(3.0, "at the back"), (1.6, "1.6 mm below it")])
def test_it_is_said_how_far_down_the_kerf_is_known(known, foot):
    """Through 3 mm: measured to the back nothing is left to ask; measured to 1.6 mm the rest is to be asked for."""
    kerf = {"kerf_top_mm": 0.2, "kerf_bottom_mm": 0.15, "kerf_thickness_mm": known}
    job = job_of(cases.block(cut_outs=(disc(12, 15, 8),)), thickness=3.0, depth=1.0, cutter_values={"values": kerf})
    (said,) = [remark for remark in laser_plan(job, PathSettings()).remarks if remark.startswith("Cut-outs: kerf")]
    assert f"0.20 mm at the face and 0.15 mm {foot}" in said
    assert ("deeper it is not known" in said) == (known < 3)


def test_inner_lines_come_before_outer_and_small_parts_before_large():
    ring, core = disc(30, 25, 12).difference(disc(30, 25, 6)), disc(30, 25, 2)
    others = [disc(60, 10, 1.5), disc(70, 12, 1.5), box(60, 20, 12, 20)]
    block = cases.block(size=(80, 50), cut_outs=(ring, core, *others))
    plan = laser_plan(job_of(block), PathSettings(tabs=False))
    order = [line for name in ("CUT-OUT 1 OF 3", "CUT-OUT 2 OF 3", "CUT-OUT 3 OF 3")
             for line in twins.lines(named(plan)[name].paths)]  # fmt: skip
    shapes = [shapely.Polygon(line.coords) for line in order]
    for k, shape in enumerate(shapes):
        assert not any(later.within(shape) for later in shapes[k + 1 :])
    assert [round(shape.area) for shape in shapes[2:4]] == [6, 6]
    assert len(shapes) == 6


def test_touching_cut_outs_are_cut_once_round_both():
    block = cases.block(cut_outs=(box(5, 5, 10, 10), box(15, 5, 10, 10)))
    (line,) = twins.lines(named(laser_plan(job_of(block), PathSettings(tabs=False)))["CUT-OUT"].paths)
    assert shapely.Polygon(line.coords).area == pytest.approx(19.8 * 9.8, rel=1e-3)


def test_a_cut_out_at_the_edge_is_not_cut_along_the_edge():
    block = cases.block(cut_outs=(box(10, 20, 10, 10),))  # reaches the upper edge at 30
    (line,) = twins.lines(named(laser_plan(job_of(block), PathSettings()))["CUT-OUT"].paths)
    assert line.length == pytest.approx(2 * 9.9 + 9.8, abs=0.01)
    assert not line.is_ring


def test_the_block_is_cut_out_outside_its_edge_if_asked():
    plan = laser_plan(job_of(cases.block()), PathSettings(cut_edge=True, tabs=False))
    (line,) = twins.lines(named(plan)["CUT-OUT BLOCK"].paths)
    assert shapely.Polygon(line.coords).bounds == pytest.approx((-0.1, -0.1, 40.1, 30.1), abs=1e-3)


def test_tabs_hold_what_would_fall_and_are_as_wide_as_told():
    block = cases.block(cut_outs=(box(5, 5, 30, 20),))
    job = job_of(block)
    lines = twins.lines(named(laser_plan(job, PathSettings()))["CUT-OUT"].paths)
    assert len(lines) == 2
    burnt = shapely.union_all([line.buffer(TOP_MM / 2, cap_style="round") for line in lines])
    held = shapely.difference(block.face, burnt)
    assert held.geom_type == "Polygon"  # the part hangs on
    gaps = [shapely.Point(lines[k].coords[-1]).distance(shapely.Point(lines[1 - k].coords[0])) for k in (0, 1)]
    wide = min(2.0, max(0.5, job.thickness_mm / 4))
    assert gaps == pytest.approx([wide + TOP_MM] * 2, abs=0.01)
    for line in lines:  # not in a corner
        for end in (line.coords[0], line.coords[-1]):
            assert min(math.dist(end, corner) for corner in ((5.1, 5.1), (34.9, 5.1), (5.1, 24.9), (34.9, 24.9))) > 2


def test_small_parts_and_those_without_tabs_stay_closed():
    small = laser_plan(job_of(cases.block(cut_outs=(disc(20, 15, 3),))), PathSettings())
    assert named(small)["CUT-OUT"].paths.closed.all()
    large = laser_plan(job_of(cases.block(cut_outs=(box(5, 5, 30, 20),))), PathSettings(tabs=False))
    assert named(large)["CUT-OUT"].paths.closed.all()


def test_a_lead_in_lies_in_what_falls_out():
    hole = disc(20, 15, 3)
    plan = laser_plan(job_of(cases.block(cut_outs=(hole,))), PathSettings(lead_in_mm=1.0))
    paths = named(plan)["CUT-OUT"].paths
    first, second, last = paths.xyz[0, :2], paths.xyz[1, :2], paths.xyz[-1, :2]
    assert np.array_equal(second, last)
    assert math.dist(first, second) == pytest.approx(1.0)
    assert hole.exterior.distance(shapely.Point(first)) == pytest.approx(1.1, abs=0.02)


def test_a_line_begins_where_the_land_beside_it_is_wide():
    # a square opening between a cut on its left, 0.5 mm off, and wide land on its right
    block = cases.block(box(3, 5, 6.5, 20), cut_outs=(box(10, 5, 20, 20),))
    paths = named(laser_plan(job_of(block), PathSettings(tabs=False)))["CUT-OUT"].paths
    assert paths.entries[0, 0] > 20


def test_shoulders_step_down_away_from_the_land():
    # 1.2 mm deep and a wall of 20 degrees lean out 0.437 mm, in two steps of 0.218 mm (tangent)
    job = dataclasses.replace(job_of(cases.block(box(5, 5, 20, 20))), depth_mm=1.2)
    plan = laser_plan(job, PathSettings(shoulder_steps=2))
    lean = 1.2 * math.tan(math.radians(job.material.wall_deg))
    names = list(named(plan))
    assert names[-3:] == ["LOWER FLOOR", "SHOULDER 2 OF 2", "SHOULDER 1 OF 2"]
    floor = twins.area(named(plan)["LOWER FLOOR"].paths)
    assert floor.bounds[0] == pytest.approx(5 + 0.1 + lean, abs=0.004)
    beside = twins.area(named(plan)["SHOULDER 1 OF 2"].paths)
    assert beside.bounds[0] == pytest.approx(5.1, abs=0.004)
    depths = [operation.depth_mm for operation in plan.operations if operation.work is not Work.SCORE]
    assert depths == pytest.approx([1.2, 0.8, 0.4])
    # through the middles of the risers the wall leans at least as far out as the material wants
    assert math.degrees(math.atan2(lean / 2, 0.4)) >= job.material.wall_deg


def test_shoulder_and_floor_as_shapes_share_no_area():
    block = cases.block(box(5, 5, 20, 20).difference(disc(15, 15, 4)))
    plan = laser_plan(job_of(block), PathSettings(shoulder_steps=3))
    areas = [twins.area(step.paths) for step in plan.operations if step.work in (Work.LOWER, Work.SHOULDER)]
    for k, one in enumerate(areas):
        assert all(shapely.intersection(one, other).area < 0.01 for other in areas[k + 1 :])


def test_scan_lines_lie_as_far_apart_as_asked_and_go_there_and_back():
    plan = laser_plan(job_of(cases.block(box(5, 5, 20, 10))), PathSettings(lowered="lines", shoulder_steps=0))
    paths = named(plan)["LOWER FLOOR"].paths
    assert paths.closed.tolist() == [False] * 98 + [True]  # and once round
    ends = paths.xyz[: 2 * 98].reshape(-1, 2, 3)
    assert len(ends) == 98  # 9.8 mm at 0.1 mm
    assert np.diff(ends[:, 0, 1]) == pytest.approx(0.1)
    assert (np.diff(np.sign(ends[:, 1, 0] - ends[:, 0, 0])) != 0).all()


def test_contours_go_from_the_inside_outwards():
    plan = laser_plan(job_of(cases.block(disc(15, 15, 5))), PathSettings(lowered="contours", shoulder_steps=0))
    areas = [shapely.Polygon(line.coords).area for line in twins.lines(named(plan)["LOWER FLOOR"].paths)]
    assert len(areas) == 49
    assert (np.diff(areas) > 0).all()


def test_what_the_beam_is_too_wide_for_is_told():
    block = cases.block(box(5, 5, 10, 10), box(20, 5, 0.1, 10))
    (missed,) = laser_plan(job_of(block), PathSettings()).unreached
    assert missed.area == pytest.approx(1.0, abs=0.01)


def test_nothing_goes_where_nothing_may_go():
    no_go = geometry.polygon_array([box(0, 0, 12, 12)])
    block = cases.block(box(5, 5, 20, 10), cut_outs=(box(8, 18, 10, 8), disc(4, 22, 2)))
    for lowered in LOWERED:
        plan = laser_plan(job_of(block), PathSettings(lowered=lowered, no_go=no_go, tabs=False))
        for operation in plan.operations:
            touched = [line.distance(no_go[0]) for line in twins.lines(operation.paths)]
            assert min(touched) >= 0.099
    assert sum(shape.area for shape in plan.covered) == pytest.approx(7 * 7, rel=0.1)


#: A cut-out in the face, one open to its edge, the block's own outline (kerf 0.2 mm; no line along the block's edge):
#: the clamp, the length of line without it, in how many lines the rest goes on.
CLAMPED = [
    (box(10, 10, 10, 10), {}, box(8, 14, 4, 2), 4 * 9.8, 1),
    (box(10, 20, 10, 10), {}, box(14, 18, 2, 4), 2 * 9.9 + 9.8, 2),
    (shapely.Polygon(), {"cut_edge": True}, box(-2, 10, 4, 2), 2 * (40.2 + 30.2), 1),
]


@pytest.mark.parametrize(("gone", "asked", "clamp", "length", "lines"), CLAMPED)
def test_a_line_through_is_left_out_beside_a_clamp_alone(gone, asked, clamp, length, lines):
    """2 mm of clamp and half a kerf on both sides of it."""
    settings = PathSettings(no_go=geometry.polygon_array([clamp]), tabs=False, **asked)
    plan = laser_plan(job_of(cases.block(cut_outs=() if gone.is_empty else (gone,))), settings)
    (through,) = [step for step in plan.operations if step.work in (Work.CUT_THROUGH, Work.CUT_BLOCK)]
    left = twins.lines(through.paths)
    assert len(left) == lines
    assert sum(line.length for line in left) == pytest.approx(length - 2.2, abs=0.02)
    assert min(line.distance(clamp) for line in left) == pytest.approx(0.1, abs=0.002)


def test_a_cut_out_wholly_under_a_clamp_is_left_out():
    no_go = geometry.polygon_array([box(0, 0, 40, 30)])
    plan = laser_plan(job_of(cases.block(cut_outs=(disc(20, 15, 5),))), PathSettings(no_go=no_go))
    assert list(named(plan)) == ["SCORE REGISTER"]
    assert [each.kind for each in plan.findings].count("clamp-on-cut-out") == 1


def test_a_cross_under_a_clamp_is_left_out_and_told():
    """The block is 40 x 30 mm: the lower cross lies about (20, -7)."""
    plan = laser_plan(
        job_of(cases.block(box(5, 5, 20, 10))), PathSettings(no_go=geometry.polygon_array([box(16, -9, 3, 6)]))
    )
    lines = twins.lines(named(plan)["SCORE REGISTER"].paths)
    assert len(lines) == 6
    assert min(line.bounds[1] for line in lines) > 0
    assert any("under a clamp" in said for said in plan.remarks)
    assert not broken(plan, PathSettings(no_go=geometry.polygon_array([box(16, -9, 3, 6)])))


def test_a_block_that_lies_on_the_bed_only_turned_is_told():
    high = Block(name="sky", width_mm=200.0, height_mm=580.0, cuts=geometry.polygon_array([box(5, 5, 20, 10)]))
    job = job_of(high)
    assert job.machine.bed_height_mm < 580 < job.machine.bed_width_mm
    assert any("quarter turned" in said for said in laser_plan(job, PathSettings()).remarks)
    assert not any(
        "turned" in said for said in laser_plan(job_of(cases.block(box(5, 5, 9, 9))), PathSettings()).remarks
    )


def test_marks_and_block_lie_on_the_bed_or_are_left_out():
    wide = Block(name="sky", width_mm=595.0, height_mm=200.0, cuts=geometry.polygon_array([box(5, 5, 20, 10)]))
    plan = laser_plan(job_of(wide), PathSettings())
    assert "SCORE REGISTER" not in named(plan)
    assert any("no room" in remark for remark in plan.remarks)
    vast = dataclasses.replace(wide, width_mm=700.0)
    plan = laser_plan(job_of(vast), PathSettings())
    assert plan.operations == ()
    assert "larger than the bed" in plan.remarks[0]


@pytest.mark.parametrize("steps", [0, 2])
def test_that_the_drawing_holds_no_shoulder_is_told_where_one_is_made(steps):
    job = dataclasses.replace(job_of(cases.block(box(5, 5, 20, 20))), depth_mm=1.2)
    plan = laser_plan(job, PathSettings(shoulder_steps=steps))
    assert any("SHOULDER" in remark for remark in plan.remarks) == (steps > 0)


def test_the_floor_keeps_what_the_material_must_keep():
    job = dataclasses.replace(job_of(cases.block(box(5, 5, 20, 10))), depth_mm=5.9)
    plan = laser_plan(job, PathSettings(shoulder_steps=0))
    assert named(plan)["LOWER FLOOR"].depth_mm == pytest.approx(job.thickness_mm - job.material.floor_mm)
    assert any("must keep" in remark for remark in plan.remarks)


def test_a_block_thinner_than_the_material_must_keep_has_a_plan_that_goes_no_deeper_than_its_face():
    plan = laser_plan(job_of(cases.block(box(5, 5, 12, 12)), material="cherry", thickness=3.0), PathSettings())
    assert all(step.paths.xyz[:, 2].min() >= 0 for step in plan.operations if len(step.paths))


def test_a_plan_speaks_of_no_power_and_no_speed():
    plan = laser_plan(job_of(cases.block(disc(15, 15, 5), cut_outs=(disc(30, 20, 5),))), PathSettings(cut_edge=True))
    said = " ".join([*plan.remarks, *(o.asks + o.name + "".join(o.cautions) for o in plan.operations)]).lower()
    for word in ("power", "speed", "watt", "mm/s", "ppi", "%"):
        assert word not in said


def test_the_registry_finds_the_lasers_plan_and_none_for_the_hand():
    block = cases.block(disc(15, 15, 5))
    assert plan_for(job_of(block), PathSettings()) is not None
    assert plan_for(cases.setup("linoleum", "v-60").on(block), PathSettings()) is None


@pytest.mark.parametrize(
    "wrong", [{"lowered": "dots"}, {"shoulder_steps": 9}, {"line_spacing_mm": 0.0}, {"lead_in_mm": -1.0}]
)
def test_a_wrong_choice_is_told(wrong):
    with pytest.raises(InputError, match="must"):
        PathSettings(**wrong)


def test_a_path_that_enters_land_is_found():
    block = cases.block(box(5, 5, 20, 10))
    plan = laser_plan(job_of(block), PathSettings(shoulder_steps=0))
    floor = named(plan)["LOWER FLOOR"]
    moved = dataclasses.replace(floor.paths, xyz=floor.paths.xyz + np.array([0.05, 0, 0]))
    bad = dataclasses.replace(plan, operations=(dataclasses.replace(floor, paths=moved),))
    assert into_land_mm(plan, floor) <= 0.001
    assert any("enters the land by 0.05" in said for said in broken(bad, PathSettings(shoulder_steps=0)))


def test_what_a_clamp_covers_is_not_told_as_too_narrow_for_the_beam():
    no_go = geometry.polygon_array([box(0, 0, 12, 12)])
    block = cases.block(box(5, 5, 20, 10), box(30, 5, 0.1, 10), cut_outs=(disc(4, 22, 2), disc(8, 13, 3)))
    plan = laser_plan(job_of(block), PathSettings(no_go=no_go))
    assert shapely.area(plan.covered).sum() == pytest.approx(7 * 7, rel=0.1)
    assert shapely.area(plan.unreached).sum() == pytest.approx(1.0, abs=0.01)
    said = " ".join(plan.remarks)
    assert "uncut under or beside a clamp" in said
    assert "1 cut-out lies wholly or in part under a clamp" in said


@pytest.mark.parametrize(
    ("cut", "clamp"),
    [
        (disc(20, 15, 6), box(20, 0, 20, 30)),  # over half of it
        (disc(20, 15, 6), box(19, 14, 2, 2)),  # in its midst: the room is a ring
        (box(15, 10, 10, 10), box(18, 9, 2, 2)),  # over the middle of a side
    ],
)
def test_what_a_clamp_covers_of_a_compact_cut_is_told(cut, clamp):
    """The room stays in one piece; what is told is what a shapely buffer about the clamp says."""
    no_go = geometry.polygon_array([clamp])
    plan = laser_plan(job_of(cases.block(cut)), PathSettings(no_go=no_go, shoulder_steps=0))
    room = cut.buffer(-TOP_MM / 2).difference(clamp.buffer(TOP_MM / 2))
    assert room.geom_type == "Polygon"
    left = cut.difference(room.buffer(TOP_MM / 2)).buffer(-0.025).buffer(0.025)
    assert shapely.union_all(plan.covered).symmetric_difference(left).area < 0.02 * left.area
    assert [finding.kind for finding in plan.findings] == ["clamp-on-cut"]


def test_ways_over_a_clamp_are_told():
    """Two cuts with a clamp between them: from one to the other the head must pass over it or round it."""
    across = geometry.polygon_array([box(18, 0, 4, 30)])
    beside = geometry.polygon_array([box(0, 25, 40, 5)])
    block = cases.block(box(5, 10, 10, 10), box(25, 10, 10, 10))
    for lowered in LOWERED:
        over, off = (
            laser_plan(job_of(block), PathSettings(lowered=lowered, no_go=no_go)) for no_go in (across, beside)
        )
        assert any("strike a clamp" in said and "LOWER FLOOR" in said for said in over.remarks)
        assert not any("strike a clamp" in said and "LOWER FLOOR" in said for said in off.remarks)


_AT_EDGE = [  # a line of grain that ends at the block's edge: the shoulder's second step has a room 0.4 µm high there
    (1.5, 21.115082881487222), (1.5, 20.369912912912913), (1.379, 20.375), (0.898, 20.39), (0.417, 20.395), (0, 20.393),
    (0, 21.143), (0.666, 21.139), (1.161, 21.129),
]  # fmt: skip


def test_what_is_narrower_than_the_grid_is_not_followed_there_and_back():
    block = cases.block(shapely.Polygon(_AT_EDGE), size=(60.0, 40.0))
    job = job_of(block, material="linoleum")
    plan = laser_plan(job, PathSettings())
    assert [step.name for step in plan.operations if step.work is Work.SHOULDER]
    assert broken(plan, PathSettings()) == ()


_SQUARE = [(0, 0), (2, 0), (2, 2), (0, 2)]
_FOLDED = {  # on the grid of 1 µm: a notch, two points deep, a hole beside the outline, a neck, a tip across
    "notch": (shapely.Polygon([*_SQUARE, (0, 1.0004), (0.04, 1), (0, 0.9996)]), 1),
    "long notch": (shapely.Polygon([*_SQUARE, (0, 1.0004), (0.5, 1.0003), (0.9, 1), (0.5, 0.9997), (0, 0.9996)]), 1),
    "hole": (shapely.Polygon([*_SQUARE, (0, 1.5), (0, 0.5)], [[(0.0004, 0.5), (0.0004, 1.5), (1, 1)]]), 1),
    "neck": (shapely.Polygon([
        *_SQUARE[:3], (1.5, 2), (1.5, 1.0004), (0.5, 1.0004), (0.5, 2), (0, 2), (0, 0.5), (0.5, 0.5), (0.5, 0.9996),
        (1.5, 0.9996), (1.5, 0.5), (0, 0.4)]), 2),
    "tip": (shapely.Polygon([(0, 0), (3, 1), (3, 2), (1.6, 2), (1.5006, 0.50025), (1.4, 2), (0, 2)]), 2),
}  # fmt: skip


@pytest.mark.parametrize("name", _FOLDED)
def test_outlines_on_the_grid_lie_nowhere_on_themselves(name):
    shape, count = _FOLDED[name]
    assert shape.is_valid
    paths, owner = outlines(geometry.polygon_array([box(5, 5, 1, 1), shape, box(8, 5, 1, 1)]))
    assert doubled(paths, 0.0) == 0
    assert owner.tolist() == [0, *[1] * count, 2]
    rings = shapely.polygons([shapely.linearrings(line.coords) for line in twins.lines(paths)])
    assert shapely.is_valid(rings).all()
    assert shapely.area(rings[1:-1]).sum() == pytest.approx(shape.area, abs=0.002)


def test_an_outline_that_goes_round_twice_is_not_taken_for_one_that_goes_round_once():
    """Each side of a five-pointed star drawn in one line leaves the middle on its left, yet the line crosses itself."""
    stars = [np.exp(2j * np.pi * step * np.arange(5) / 5) for step in (1, 2)]
    rings = [shapely.linearrings(np.column_stack([star.real, star.imag])) for star in stars]
    xyz = np.concatenate([shapely.get_coordinates(ring)[:-1] for ring in rings])
    paths = Paths(np.column_stack([xyz, np.zeros(10)]), np.array([0, 5, 10]), np.ones(2, dtype=bool))
    assert go_round(paths).tolist() == shapely.is_simple(rings).tolist() == [True, False]


def test_rings_made_of_both_outlines_are_those_of_the_one_less_the_other():
    """Inside, on the grid upon the outline, over it, beside, in parts, empty, not star-shaped: those told are alike."""
    inner = [
        shapely.Point(2, 2).buffer(1), shapely.box(0.0004, 1, 2, 2), box(3, 3, 2, 2), box(9, 9, 1, 1),
        shapely.Polygon(), shapely.MultiPolygon([box(1, 1, 1, 1), box(2.5, 2.5, 1, 1)]),
        shapely.Polygon([(1, 1), (3, 1), (3, 3), (2.9, 1.1), (1.1, 1.1), (1, 3)]), box(1, 1, 2, 2).reverse(),
    ]  # fmt: skip
    taken, whole = geometry.polygon_array(inner), geometry.polygon_array([box(0, 0, 4, 4)] * len(inner))
    paths, told = ringed_outlines(whole, taken)
    assert told.tolist() == [True, *[False] * 6, True]
    twin, _ = outlines(geometry.without_inner(whole[told], taken[told]))
    assert paths.xyz.tolist() == twin.xyz.tolist()
    assert paths.start.tolist() == twin.start.tolist()
    none, told = ringed_outlines(geometry.empty(), geometry.empty())
    assert len(none) == len(told) == 0
    first = np.arange(len(inner)) == 0
    again, told = ringed_outlines(whole, taken, first)
    assert told.tolist() == [True, *[False] * 6, True]
    assert again.xyz.tolist() == paths.xyz.tolist()


@pytest.mark.parametrize(("at", "step", "clamp", "known"), [
    (5, 0.1, False, True), (0, 0.1, False, False), (5, 0.02, False, False), (5, 0.1, True, False),
])  # fmt: skip
def test_what_is_known_to_lie_in_the_step_before_lies_there_on_the_grid(at, step, clamp, known, monkeypatch) -> None:
    """Not at the block's edge, in very narrow steps or beside a clamp: there both have one side."""
    monkeypatch.setattr(planner, "_shoulder", lambda *_: (1, step))
    job = job_of(Block(name="b", width_mm=20, height_mm=20, cuts=geometry.polygon_array([box(at, 5, 6, 6)])))
    path = PathSettings(no_go=geometry.polygon_array([box(at + 2, 10, 2, 9)] if clamp else []))
    outer, inner = planner._steps(job, path, job.block.cuts, planner.beam_half_mm(job, job.depth_mm))
    assert planner._nested(job, path, outer).tolist() == [known]
    _, told = ringed_outlines(outer, inner)
    assert told.all() or not known


def flowers(seed: int, count: int = 400) -> geometry.PolygonArray:
    """Round, dented, pointed and long shapes 0.3 to 2 mm across, each in a place of its own."""
    rng = np.random.default_rng(seed)
    turn = np.linspace(0, 2 * np.pi, 25)[:-1]
    size, dent, leaves = rng.uniform(0.15, 1, count), rng.uniform(0, 0.9, count), rng.integers(1, 6, count)
    reach = size[:, None] * (1 - dent[:, None] * np.cos(leaves[:, None] * turn + rng.uniform(0, 6, (count, 1))) ** 2)
    xy = np.stack([reach * np.cos(turn), rng.uniform(0.3, 1, (count, 1)) * reach * np.sin(turn)], axis=2)
    places = 3 * np.stack(np.divmod(np.arange(count), 20), axis=1)[:, None]
    result = geometry.closed_polygons(xy + places)
    return result[shapely.is_valid(result)]


@takes_long  # a slow twin; by pixels in test_simulation.py
@pytest.mark.parametrize("seed", [1, 2])
def test_what_the_beam_leaves_is_found_as_by_laying_all_it_reaches_over_all(seed):
    cuts, half = flowers(seed), 0.1
    room = cutter_centre_region.shrunk(cuts, half)
    left = shapely.get_parts(shapely.difference(cuts, cutter_centre_region.grown(room, half)))
    left = geometry.parts(left[~shapely.is_empty(shapely.buffer(left, -0.025, quad_segs=2))])
    result = planner._unreached(cuts, room, half, np.zeros(len(cuts), dtype=bool))
    assert 20 < len(result) == len(left)
    assert shapely.area(result).sum() == pytest.approx(shapely.area(left).sum(), abs=1e-9)


def test_cuts_with_very_many_corners_are_in_doubt_where_one_lies_far_from_the_beam():
    """Twin: GEOS' Hausdorff distance, corner by corner."""
    cuts, half = shapely.segmentize(flowers(3, 8), 0.002), 0.1
    cuts = cuts[shapely.get_num_coordinates(cuts) > geometry.LARGE]
    room = cutter_centre_region.shrunk(cuts, half)
    far = shapely.hausdorff_distance(cuts, room) > half + planner._SPECK_MM
    doubtful = planner._doubtful(cuts, room, half)
    assert 0 < far.sum() < len(cuts)
    assert (doubtful == far | shapely.is_empty(room) | (shapely.get_num_geometries(room) > 1)).all()
