"""A hand tool leaned sideways: one wall flatter, the other steeper; plane geometry."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen.base.errors import InputError
from carvegen.base.findings import Severity
from carvegen.blocks.block import Block
from carvegen.blocks.job import setups_for
from carvegen.checks import checked
from carvegen.facts import cutting
from carvegen.facts.profiles import Library
from carvegen.geometry import polygon_array
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.note.block_note import machine_note
from tests.cases import block, box

V_60 = Library().cutter("v-60")


@pytest.mark.parametrize(("lean", "near", "far"), [(0, 30, 30), (10, 40, 20), (30, 60, 0), (35, 65, -5)])
def test_a_leaned_v_has_walls_of_half_its_angle_more_and_less(lean, near, far):
    wall = cutting.wall(V_60, 1.5, lean_deg=lean)
    assert wall.near_deg == pytest.approx(near)
    assert wall.far_deg == pytest.approx(far)
    assert wall.steepest_deg == pytest.approx(far)


def test_the_foot_gains_depth_times_tangent_on_the_side_that_gains_least():
    """B = w + d tan t a side."""
    wall = cutting.wall(V_60, 1.5, lean_deg=10)
    assert wall.foot_gain_mm == pytest.approx(1.5 * math.tan(math.radians(20)))


@pytest.mark.parametrize(("lean", "breaks"), [(29.5, False), (30.5, True)])
def test_a_lean_beyond_half_the_angle_undercuts_one_side(lean, breaks):
    (setup_,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"], lean_deg=lean)
    cuts = polygon_array([shapely.Point(30, 20).buffer(5)])
    report = checked(setup_.on(Block(name="x", width_mm=60, height_mm=40, cuts=cuts)))
    walls = [result for result in report if result.rule == "wall-angle"]
    assert [wall.severity is Severity.BREAKS for wall in walls] == [breaks]


def test_a_machine_does_not_lean():
    setups = setups_for(Library(), material="linoleum", cutter="v-60", lean_deg=15)
    assert {setup_.machine.kind: setup_.lean_deg for setup_ in setups} == {"hand": 15, "laser": 0, "router": 0}


def test_leaning_narrows_the_foot_that_the_land_must_keep():
    (setup_,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"])
    leaned = replace(setup_, lean_deg=33)
    assert leaned.lasting_limits.land_mm == pytest.approx(setup_.material.foot_mm + 2 * 1.5 * math.tan(math.radians(3)))
    assert leaned.lasting_limits.land_mm > setup_.lasting_limits.land_mm


@pytest.mark.parametrize("lean", [61, -61, float("nan"), 1e308])
def test_a_lean_beyond_sense_is_told(lean):
    with pytest.raises(InputError) as raised:
        setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"], lean_deg=lean)
    assert raised.value.fields == ("lean_deg",)


def test_the_guide_reckons_with_the_lean():
    """By w = t + d (tan(30 + 10) + tan(30 - 10)) = 0.1 + 1.2031 d: 1 mm wide is 0.748 deep, 1.5 deep is 1.905 wide."""
    (setup_,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"], lean_deg=-10)
    cuts = polygon_array([shapely.box(5, 5, 35, 35), shapely.box(40, 5, 41, 35)])
    guide = hand_guide(setup_.on(Block(name="x", width_mm=60, height_mm=40, cuts=cuts)), "carbon")
    fine, along, _ = (tool.words for tool in guide.tools)
    assert "leaned by 10 degrees" in fine
    assert "1 mm wide 0.7, 1.5 mm wide 1.2, 1.9 mm and wider 1.5" in fine
    assert "its groove is 1.9 mm wide" in along
    upright = hand_guide(
        replace(setup_, lean_deg=0).on(Block(name="x", width_mm=60, height_mm=40, cuts=cuts)), "carbon"
    )
    assert "1 mm wide 0.8" in upright.tools[0].words
    wide = [shapely.area(each.zones.edges).sum() for each in (guide, upright)]
    assert wide[0] / wide[1] == pytest.approx(1.9047 / 1.8321, rel=0.02), "the groove along the land is as much wider"
    assert any("20 degrees from the vertical on one side of a cut, 40 on the other" in fact for fact in guide.facts)


@given(st.floats(20, 110), st.floats(0, 0.4), st.floats(0.2, 6), st.floats(-60, 60))
def test_a_leaned_groove_is_as_wide_as_its_walls_spread_and_back_again(included, tip, depth, lean):
    """Against the corners of a triangle that is turned about its tip."""
    width = cutting.v_width_mm(included, tip, depth, lean_deg=lean)
    assert cutting.v_depth_mm(included, tip, width, lean_deg=lean) == pytest.approx(depth)
    steep, flat = included / 2 - abs(lean), included / 2 + abs(lean)
    if flat < 85:
        sides = [math.sin(math.radians(wall)) / math.cos(math.radians(wall)) for wall in (steep, flat)]
        assert width - tip == pytest.approx(depth * sum(sides))
    assert width >= cutting.v_width_mm(included, tip, depth) - 1e-9, "leaning never narrows it"


def test_the_note_tells_of_the_leaned_wall():
    (setup_,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"], lean_deg=35)
    job = setup_.on(block(box(5, 5, 10, 10)))
    assert "UNDERCUT by 5.0 degrees" in machine_note(job, checked(job), {})


def found_by(rule: str, setup_, cut: shapely.Polygon):
    report = checked(setup_.on(Block(name="x", width_mm=60, height_mm=40, cuts=polygon_array([cut]))))
    return [each for each in report if each.rule == rule]


def test_the_check_of_depth_reckons_with_the_lean():
    """A depth of (w - t) / (tan(30 + 25) + tan(30 - 25)): a line of 0.5 mm is 0.264 mm leaned, 0.346 upright."""
    (side,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"], lean_deg=25)
    line = shapely.box(5, 5, 35, 5.5)
    assert not found_by("depth", replace(side, lean_deg=0), line)
    for lean in (25, -25):
        (shallow,) = found_by("depth", replace(side, lean_deg=lean), line)
        spread = math.tan(math.radians(55)) + math.tan(math.radians(5))
        assert shallow.measured == pytest.approx((0.5 - 0.1) / spread, abs=0.01)


def test_the_check_of_wide_areas_reckons_with_the_lean():
    """Walls 85 degrees one way and 25 over it the other: 2 mm wide is (2 - 0.1) / (tan 85 - tan 25) = 0.173 deep."""
    (side,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"])
    area = shapely.box(5, 5, 35, 7)
    assert not found_by("clearing", side, area)
    for lean in (55, -55):
        (shallow,) = found_by("clearing", replace(side, lean_deg=lean), area)
        assert shallow.measured == pytest.approx(0.1733, abs=5e-4)


def test_a_wall_that_leans_in_says_to_lean_the_tool_less():
    """Of a V of 60° leaned by 35° one wall leans in by 5°: leaning it less is the first remedy."""
    (setup_,) = setups_for(Library(), material="linoleum", cutter="v-60", kinds=["hand"], lean_deg=35)
    report = checked(
        setup_.on(Block(name="x", width_mm=60, height_mm=40, cuts=polygon_array([shapely.box(9, 9, 19, 19)])))
    )
    (one,) = [result for result in report if result.rule == "wall-angle"]
    assert one.remedy.startswith("lean the tool less, ")
