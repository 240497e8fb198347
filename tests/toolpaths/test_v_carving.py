"""A router's plan with a V on whole blocks."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.blocks.block import Block
from carvegen.blocks.job import Job
from carvegen.geometry.medial import medial_axis
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.paths import Plan, Work
from carvegen.toolpaths.promises import broken
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.v_carving.planner import sharp, unfilled
from tests.cases import SHELF, block, box, disc, setup, shapes


def job_on(each: Block, **changed) -> Job:
    return setup("cherry", "v-60", machine=SHELF.machine("router-bed"), **changed).on(each)


def planned(each: Block, *, no_go=(), **changed) -> Plan:
    plan = plan_for(job_on(each, **changed), PathSettings(no_go=shapes(*no_go)))
    assert plan is not None
    return plan


def works(plan: Plan) -> set[Work]:
    return {operation.work for operation in plan.operations}


def test_narrow_cuts_have_centre_lines_and_wide_ones_a_wall_and_a_floor_too() -> None:
    assert works(planned(block(box(5, 5, 20, 0.8)), depth=1.0)) == {Work.CENTRE_LINE}
    assert works(planned(block(box(5, 5, 20, 12)), depth=1.0)) == {Work.CENTRE_LINE, Work.WALL, Work.CLEAR}
    assert works(planned(block(disc(15, 15, 9, points=400)), depth=1.0)) == {Work.WALL, Work.CLEAR}


def test_a_line_that_ends_at_the_edge_runs_out_over_it_at_its_full_depth() -> None:
    plan = planned(block(box(30, 10, 10, 0.8)), depth=1.0)
    paths = plan.operations[0].paths
    out = paths.xyz[paths.xyz[:, 0] > 40 - 1e-6]
    assert len(out)
    assert out[np.abs(out[:, 1] - 10.4) < 0.1, 2].max() < -0.5
    assert np.abs(out[:, 1] - 10.4).max() < 0.8
    assert broken(plan, PathSettings()) == ()


def test_nothing_goes_near_a_clamp_and_what_it_hides_is_told() -> None:
    clamp = box(10, 0, 5, 30)
    plan = planned(block(box(5, 5, 20, 0.8), box(5, 10, 20, 6)), no_go=[clamp], depth=1.0)
    assert broken(plan, PathSettings(no_go=shapes(clamp))) == ()
    hidden = shapely.union_all(plan.covered)
    assert hidden.contains(shapely.box(10.1, 5.1, 14.9, 5.7))
    assert hidden.contains(shapely.box(10.1, 10.1, 14.9, 15.9))
    assert not hidden.intersects(shapely.box(5.2, 5.2, 8, 5.6))


def test_only_corners_sharper_than_the_tip_is_blunt_are_left() -> None:
    sharp = setup("cherry", "v-60").cutter
    blunt = dataclasses.replace(sharp, values={**sharp.values, "tip_mm": 0.6})
    each = block(box(5, 5, 20, 12))
    whole = planned(each, depth=1.0)
    assert len(whole.unreached) == 0
    worn = plan_for(dataclasses.replace(job_on(each, depth=1.0), cutter=blunt), PathSettings())
    assert worn is not None
    # plane geometry: a round tip of radius r leaves r² (1 - pi/4) in a square corner
    assert shapely.area(worn.unreached) == pytest.approx(np.full(4, 0.3**2 * (1 - np.pi / 4)), rel=0.15)


@given(st.integers(0, 2**31), st.floats(0.02, 0.2), st.floats(0.02, 0.6))
def test_what_the_axis_says_to_be_filled_is(seed: int, blunt: float, torn: float) -> None:
    """Twin: every shape looked at, by buffers, and not those alone whose axis runs far into a corner."""
    rng = np.random.default_rng(seed)
    turn = np.sort(rng.uniform(0, 2 * np.pi, (12, 14)), axis=1)
    reach = rng.uniform(0.15, 0.8, (12, 1)) * rng.uniform(1 - torn, 1, (12, 14))
    flakes = shapely.polygons(np.stack([np.cos(turn), np.sin(turn)], axis=-1) * reach[..., None])
    flakes = flakes[shapely.is_valid(flakes)]
    some = sharp(medial_axis(flakes), len(flakes), blunt)
    every, report = (
        unfilled(flakes, flakes, which, blunt, barred=geometry.empty(), left=None)
        for which in (np.ones(len(flakes), dtype=bool), some)
    )
    assert len(report) == len(every)
    assert shapely.equals_exact(report, every).all()


@pytest.mark.parametrize(("blunt", "expected"), [(0.3, [True, False]), (1.0, [True, True])])
def test_only_shapes_of_whose_corners_a_disc_leaves_something_are_looked_at(blunt: float, expected: list[bool]) -> None:
    """A square and a 12-gon: r (1 / sin(a/2) - 1) is left of a corner of angle a, of 150 degrees 0.011 and 0.035 mm.

    More than 0.02 is worth a word.
    """
    both = shapes(box(0, 0, 10, 10), disc(5, 30, 5, points=12))
    assert sharp(medial_axis(both), 2, blunt).tolist() == expected


def test_a_block_of_many_shapes_keeps_its_promises() -> None:
    rng = np.random.default_rng(5)
    cuts = [
        shapely.affinity.rotate(box(4 + 8 * i, 4 + 8 * j, *rng.uniform(0.5, 5, 2)), rng.uniform(0, 90))
        for i in range(4) for j in range(3)
    ]  # fmt: skip
    plan = planned(block(*cuts), depth=1.4)
    assert broken(plan, PathSettings()) == ()
    depths = [operation.paths.xyz[:, 2].min() for operation in plan.operations]
    assert min(depths) == pytest.approx(-1.4)


def test_it_goes_down_pass_by_pass_never_straight_to_depth() -> None:
    """Along a slot 0.95 mm deep in passes of 0.4 mm at most: no cone cuts more than that below what is cut already."""
    (lines,) = plan_for(job_on(block(box(5, 5, 20, 1.2)), depth=1.0), PathSettings(pass_mm=0.4)).operations
    assert lines.pass_mm <= 0.4
    deepest = -np.minimum.reduceat(lines.paths.xyz[:, 2], lines.paths.start[:-1])
    assert deepest.max() == pytest.approx((1.2 - 0.1) / (2 * np.tan(np.radians(30))), abs=0.01)
    assert deepest[0] <= 0.4
    assert (np.diff(deepest) >= -1e-9).all()
    assert np.diff(deepest).max() <= 0.4
    assert len(np.unique(np.ceil(deepest / lines.pass_mm - 1e-6))) == 3


def test_what_is_cut_through_comes_after_all_that_is_carved() -> None:
    """A part that is loose already can't be carved: the V's lines and floors come first, and the block's edge last."""
    cuts = (box(4, 5, 10, 0.8), box(4, 10, 10, 8))
    straight = SHELF.cutter("flat-1")
    plan = plan_for(
        job_on(block(*cuts, cut_outs=(box(26, 6, 8, 8),)), depth=1.0),
        PathSettings(also_cutters=(straight,), cut_edge=True),
    )
    order = [operation.work for operation in plan.operations]
    through = order.index(Work.CUT_THROUGH)
    assert Work.CENTRE_LINE in order[:through]
    assert set(order[through:]) == {Work.CUT_THROUGH, Work.CUT_BLOCK}
    assert order[-1] is Work.CUT_BLOCK
