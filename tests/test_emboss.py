"""Dies: what the paper bears, rounded corners, bevelled walls, the counter-sheet."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from carvegen import emboss, geometry
from carvegen.emboss import Pressing, counter_holes, die_for, edge_offset, findings, strain, wall_rings

HOW = Pressing(relief_mm=0.8)
STAR = shapely.Polygon(
    [
        (20 + r * math.cos(k * math.pi / 5), 20 + r * math.sin(k * math.pi / 5))
        for k in range(10)
        for r in [15 - 8 * (k % 2)]
    ]
)


@pytest.mark.parametrize(("depth", "run", "share"), [(0.8, 0.8, 0.4142), (0.8, 2.0, 0.0770)])
def test_strain_is_the_slope_beside_its_run(depth: float, run: float, share: float) -> None:
    """By Pythagoras; 0.4142 is the diagonal of a square beside its side, the square root of 2 less 1."""
    assert strain(depth, run) == pytest.approx(share, abs=5e-5)


def test_paper_that_is_stretched_too_far_is_told_and_what_it_bears_is_no_longer_told() -> None:
    """10 to 15 % for damp paper: common practice, no source."""
    deep = Pressing(relief_mm=1.4, bevel_deg=30, paper_g_m2=250)
    found = [its for its in findings(_die(deep), geometry.empty()) if its.rule == "emboss-strain"]
    assert found
    assert found[0].measured > found[0].limit
    bearable = float(found[0].remedy.split(" mm")[0].rpartition(" ")[2])
    assert bearable < deep.relief_mm
    assert not [
        its
        for its in findings(_die(replace(deep, relief_mm=bearable)), geometry.empty())
        if its.rule == "emboss-strain"
    ]


def _die(how: Pressing) -> emboss.Die:
    return die_for(geometry.polygon_array([shapely.box(5, 5, 45, 45)]), how, clear_mm=0.4, least_mm=0.6)


@given(bevel=st.floats(30, 45), edge=st.floats(0, 0.3), depth=st.floats(0.31, 1.5), share=st.floats(0, 1))
def test_depth_and_offset_of_a_wall_undo_one_another(bevel: float, edge: float, depth: float, share: float) -> None:
    how = Pressing(relief_mm=depth, bevel_deg=bevel, edge_mm=edge)
    offset = edge_offset(how, depth * share)
    assert float(emboss.depth_under_edge(how, np.array(offset))) == pytest.approx(depth * share, abs=1e-9)


def test_wall_of_45_degrees_runs_out_as_far_as_it_is_deep() -> None:
    how = Pressing(relief_mm=1.0, bevel_deg=45, edge_mm=0)
    die = die_for(geometry.polygon_array([shapely.box(0, 0, 40, 40)]), how, clear_mm=0.5, least_mm=0.6)
    assert shapely.distance(shapely.boundary(die.face), shapely.boundary(die.foot)) == pytest.approx(1.0, abs=0.003)


@settings(deadline=None, max_examples=8)
@given(turn=st.floats(0, 90), bevel=st.floats(30, 45), corner=st.floats(0.3, 1.2), clear=st.floats(0, 0.8))
def test_no_corner_is_sharper_than_asked_and_no_ink_is_pressed(
    turn: float, bevel: float, corner: float, clear: float
) -> None:
    """A disc of the radius reaches all of the face from within, and all of the floor beside the foot from without."""
    how = Pressing(relief_mm=0.8, bevel_deg=bevel, corner_mm=corner)
    shape = shapely.affinity.rotate(STAR, turn)
    die = die_for(geometry.polygon_array([shape]), how, clear_mm=clear, least_mm=0.6)
    least = corner - emboss.TOLERANCE_MM
    face = shapely.buffer(shapely.buffer(die.face, -least, quad_segs=32), least + 0.006, quad_segs=32)
    floor = shapely.difference(shapely.box(-5, -5, 45, 45), die.foot)
    reached = shapely.buffer(shapely.buffer(floor, -least, quad_segs=32), least + 0.006, quad_segs=32)
    assert shapely.area(shapely.difference(die.face, face)) < 1e-3
    inner = shapely.box(-3, -3, 43, 43)
    assert shapely.area(shapely.difference(shapely.intersection(floor, inner), reached)) < 1e-3
    assert shapely.contains(shapely.buffer(shape, 0.002 - clear), die.foot)


def test_steps_of_the_wall_fill_it_and_lie_on_it_on_average() -> None:
    die = die_for(geometry.polygon_array([STAR]), HOW, clear_mm=0.3, least_mm=0.6)
    rings = wall_rings(die, step_mm=0.1)
    assert [ring.depth_mm for ring in rings] == pytest.approx([0.05 + 0.1 * k for k in range(8)])
    whole = shapely.union_all(np.concatenate([ring.shapes for ring in rings]))
    assert shapely.area(shapely.difference(die.foot, die.face)) <= shapely.area(whole)
    assert shapely.hausdorff_distance(shapely.union(whole, die.face), die.foot) < 0.003
    areas = [shapely.area(shapely.intersection(a.shapes[0], b.shapes[0])) for a, b in itertools.pairwise(rings)]
    assert max(areas) < 1e-3


def test_counter_sheet_clears_the_foot_by_the_paper() -> None:
    die = _die(HOW)
    hole = shapely.union_all(counter_holes(die))
    apart = shapely.distance(shapely.boundary(hole), die.foot)
    assert apart == pytest.approx(300 / 0.55 / 1000, abs=0.003)
    assert shapely.contains(hole, die.foot)


def test_what_is_too_small_to_be_pressed_is_told_at_its_place() -> None:
    dot = shapely.Point(80, 30).buffer(0.8)
    wanted = geometry.polygon_array([shapely.box(5, 5, 45, 45), dot])
    die = die_for(wanted, HOW, clear_mm=0.4, least_mm=0.6)
    told = [its for its in findings(die, wanted) if its.rule == "emboss-small"]
    assert len(told) == 1
    assert told[0].at == pytest.approx((80, 30), abs=0.8)
    assert told[0].measured < told[0].limit


def test_two_raised_shapes_closer_than_the_paper_allows_are_told() -> None:
    wanted = geometry.polygon_array([shapely.box(0, 0, 20, 20), shapely.box(20.05, 0, 40, 20)])
    die = die_for(wanted, replace(HOW, corner_mm=0.2), clear_mm=0.2, least_mm=0.6)
    told = [its for its in findings(die, wanted) if its.rule == "emboss-gap"]
    assert len(told) == 1
    assert told[0].measured == pytest.approx(0.45, abs=0.01)
