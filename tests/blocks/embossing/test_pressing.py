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
from scipy.optimize import minimize

from carvegen import geometry
from carvegen.base.findings import Severity
from carvegen.blocks.embossing import pressing
from carvegen.blocks.embossing.paper_strain import (
    bridged,
    strain,
    taut,
    taut_band,
)
from carvegen.blocks.embossing.pressing import (
    Pressing,
    counter_holes,
    die_for,
    edge_offset,
    findings,
    wall_rings,
)
from tests.cases import SHELF, disc
from tests.strategies import examples, few

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
    result = [finding for finding in findings(_die(deep), geometry.empty()) if finding.rule == "emboss-strain"]
    assert result
    assert result[0].measured > result[0].limit
    bearable = float(result[0].remedy.split(" mm")[0].rpartition(" ")[2])
    assert bearable < deep.relief_mm
    assert not [
        each
        for each in findings(_die(replace(deep, relief_mm=bearable)), geometry.empty())
        if each.rule == "emboss-strain"
    ]


#: What a strip of a paper bore; a die that asks for just so much is held.
BORE = replace(SHELF.paper("cotton-300"), relief_largest_mm=0.5, bevel_least_deg=40.0, corner_least_mm=0.5)


@pytest.mark.parametrize(
    ("rule", "field", "value", "limit"),
    [("", "relief_mm", 0.5, 0.5), ("emboss-depth", "relief_mm", 0.51, 0.5), ("emboss-bevel", "bevel_deg", 39.0, 40.0),
     ("emboss-corner", "corner_mm", 0.49, 0.5)],
)  # fmt: skip
def test_more_than_a_measured_paper_bore_breaks_and_just_as_much_is_held(rule, field, value, limit) -> None:
    how = replace(Pressing(relief_mm=0.5, bevel_deg=40.0, corner_mm=0.5, bears=BORE), **{field: value})
    report = [
        (finding.rule, finding.severity, finding.measured, finding.limit)
        for finding in findings(_die(how), geometry.empty())
    ]
    beyond = [each for each in report if each[0] in ("emboss-depth", "emboss-bevel", "emboss-corner")]
    assert beyond == ([(rule, Severity.BREAKS, value, limit)] if rule else [])


def _die(how: Pressing) -> pressing.Die:
    return die_for(geometry.polygon_array([shapely.box(5, 5, 45, 45)]), how, clear_mm=0.4, least_mm=0.6)


@given(bevel=st.floats(30, 45), edge=st.floats(0, 0.3), depth=st.floats(0.31, 1.5), share=st.floats(0, 1))
def test_depth_and_offset_of_a_wall_undo_one_another(bevel: float, edge: float, depth: float, share: float) -> None:
    how = Pressing(relief_mm=depth, bevel_deg=bevel, edge_mm=edge)
    offset = edge_offset(how, depth * share)
    assert float(pressing.depth_under_edge(how, np.array(offset))) == pytest.approx(depth * share, abs=1e-9)


def test_wall_of_45_degrees_runs_out_as_far_as_it_is_deep() -> None:
    how = Pressing(relief_mm=1.0, bevel_deg=45, edge_mm=0)
    die = die_for(geometry.polygon_array([shapely.box(0, 0, 40, 40)]), how, clear_mm=0.5, least_mm=0.6)
    assert shapely.distance(shapely.boundary(die.face), shapely.boundary(die.foot)) == pytest.approx(1.0, abs=0.003)


@settings(examples(4), deadline=None)
@given(turn=st.floats(0, 90), bevel=st.floats(30, 45), corner=st.floats(0.3, 1.2), clear=st.floats(0, 0.8))
def test_no_corner_is_sharper_than_asked_and_no_ink_is_pressed(
    turn: float, bevel: float, corner: float, clear: float
) -> None:
    """A disc of the radius reaches all of the face from within, and all of the floor beside the foot from without."""
    how = Pressing(relief_mm=0.8, bevel_deg=bevel, corner_mm=corner)
    shape = shapely.affinity.rotate(STAR, turn)
    die = die_for(geometry.polygon_array([shape]), how, clear_mm=clear, least_mm=0.6)
    least = corner - pressing.TOLERANCE_MM
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


@pytest.mark.parametrize("weight", few([500.0, 150.0, 300.0], 1))
def test_no_corner_of_the_counter_sheet_is_sharper_than_asked_however_thick_the_paper(weight: float) -> None:
    """A disc of the radius rolls along the sheet beside the hole: closing by it changes nothing."""
    how = replace(HOW, paper_g_m2=weight)
    die = die_for(geometry.polygon_array([STAR]), how, clear_mm=0.3, least_mm=0.6)
    hole = shapely.union_all(counter_holes(die))
    rolled = hole.buffer(how.corner_mm, quad_segs=64).buffer(-how.corner_mm, quad_segs=64)
    assert shapely.hausdorff_distance(hole, rolled) < 2 * pressing.TOLERANCE_MM
    assert shapely.distance(shapely.boundary(hole), die.foot) == pytest.approx(how.sheet_mm, abs=0.003)


@pytest.mark.parametrize(("apart", "between"), [(1.2, 1.4), (0.7, None)])
def test_holes_nearer_than_two_corners_are_one(apart: float, between: float | None) -> None:
    """Feet lie 0.5 inside the shapes, holes 0.4 outside the feet; a disc of 0.5 mm passes between them or does not."""
    wanted = geometry.polygon_array([disc(15, 15, 7), disc(27 + apart, 15, 5)])
    die = die_for(wanted, replace(HOW, paper_mm=0.4), clear_mm=0.4, least_mm=0.6)
    holes = counter_holes(die)
    if between is None:
        assert len(holes) == 1 and shapely.contains(holes[0], shapely.Point(22 + apart / 2, 15))
    else:
        assert shapely.distance(holes[0], holes[1]) == pytest.approx(between, abs=0.02)


def test_what_is_too_small_to_be_pressed_is_told_at_its_place() -> None:
    dot = shapely.Point(80, 30).buffer(0.8)
    wanted = geometry.polygon_array([shapely.box(5, 5, 45, 45), dot])
    die = die_for(wanted, HOW, clear_mm=0.4, least_mm=0.6)
    report = [finding for finding in findings(die, wanted) if finding.rule == "emboss-small"]
    assert len(report) == 1
    assert report[0].at == pytest.approx((80, 30), abs=0.8)
    assert report[0].measured < report[0].limit


def test_two_raised_shapes_closer_than_the_paper_allows_are_told() -> None:
    wanted = geometry.polygon_array([shapely.box(0, 0, 20, 20), shapely.box(20.05, 0, 40, 20)])
    die = die_for(wanted, replace(HOW, corner_mm=0.2), clear_mm=0.2, least_mm=0.6)
    report = [finding for finding in findings(die, wanted) if finding.rule == "emboss-gap"]
    assert len(report) == 1
    assert report[0].measured == pytest.approx(0.45, abs=0.01)


def _shortest_mm(how: Pressing, steps: int = 160) -> float:
    """The shortest way of the sheet's middle between die and counter-sheet, by minimising (scipy, L-BFGS-B).

    It lies at least half the paper above every place of the die, and as far below the counter-sheet's rim; its
    length as heights over level steps is convex.
    """
    half, level = how.sheet_mm / 2, how.run_mm + how.sheet_mm
    x = np.linspace(0, level, steps + 1)
    place = np.linspace(-half, level + half, 4000)
    die = -pressing.depth_under_edge(how, place - how.round_mm)
    off = half**2 - (x[:, None] - place) ** 2
    low = np.where(off >= 0, die + np.sqrt(np.maximum(off, 0)), -9).max(axis=1)
    near = half**2 - (level - x) ** 2
    high = np.where(near >= 0, how.sheet_mm - how.relief_mm - np.sqrt(np.maximum(near, 0)), 9)
    high[0], low[-1] = half, half - how.relief_mm

    def length(z):
        steep = np.hypot(level / steps, np.diff(z))
        pull = np.diff(z) / steep
        return steep.sum(), np.concatenate([[0], pull]) - np.concatenate([pull, [0]])

    bounds = list(zip(np.minimum(low, high), high, strict=True))
    start = np.clip(np.linspace(half, half - how.relief_mm, steps + 1), *np.array(bounds).T)
    result = minimize(
        length, start, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 20000, "ftol": 1e-14}
    )
    return float(result.fun)


@pytest.mark.parametrize(("relief", "bevel", "edge"), few([(0.6, 40, 0.2), (1.2, 45, 0.3), (0.3, 30, 0.1)], 2))
def test_the_taut_band_is_the_shortest_way_between_die_and_counter_sheet(relief, bevel, edge) -> None:
    how = Pressing(relief_mm=relief, bevel_deg=bevel, edge_mm=edge)
    level = how.run_mm + how.sheet_mm
    assert (1 + taut(how).down) * level == pytest.approx(_shortest_mm(how), rel=2e-3)


@given(
    relief=st.floats(0.1, 1.5), bevel=st.floats(20, 60), edge=st.floats(0, 0.4), weight=st.floats(150, 500),
    corner=st.floats(0.1, 5),
)  # fmt: skip
def test_what_is_least_is_no_more_than_what_is_most_and_corners_never_pass_the_wall(
    relief: float, bevel: float, edge: float, weight: float, corner: float
) -> None:
    """The straight line is the shortest way, over a longer run; rings grow by no more than the band."""
    how = Pressing(relief_mm=relief, bevel_deg=bevel, edge_mm=edge, paper_g_m2=weight, corner_mm=corner)
    least, most = bridged(how), taut(how)
    assert 0 <= least.down <= most.down
    assert 0 <= most.outward <= most.down + 1e-6 and 0 <= most.inward <= most.down + 1e-6
    now, before = taut_band(how)
    assert (np.diff(now[:, 0]) >= -1e-12).all() and before[-1] == pytest.approx(how.run_mm + how.sheet_mm)


def test_a_sharper_corner_stretches_more_along_the_wall_and_a_straight_wall_not_at_all() -> None:
    result = [taut(replace(HOW, corner_mm=corner)) for corner in (0.6, 1.5, 6.0, 1e6)]
    assert sorted((item.outward for item in result), reverse=True) == [each.outward for each in result]
    assert sorted((entry.inward for entry in result), reverse=True) == [one.inward for one in result]
    assert result[-1].along == pytest.approx(0, abs=1e-5)
    assert len({round(this.down, 12) for this in result}) == 1


def test_a_bound_that_passes_what_paper_bears_is_told_as_advice_with_both_figures() -> None:
    report = [finding for finding in findings(_die(HOW), geometry.empty()) if finding.rule == "emboss-stretch"]
    assert len(report) == 1 and report[0].severity is Severity.ADVICE
    assert report[0].measured == pytest.approx(100 * taut(HOW).area)
    gentle = Pressing(relief_mm=0.3, bevel_deg=45, corner_mm=3)
    assert not [each for each in findings(_die(gentle), geometry.empty()) if each.rule.startswith("emboss-str")]
