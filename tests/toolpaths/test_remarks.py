"""What the operator of a router is told of a plan: each sentence from both sides of what calls for it."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Report
from carvegen.facts import feeds
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.cutter_centre_region import Fit
from carvegen.toolpaths.paths import Operation, Work, from_rings
from carvegen.toolpaths.router import remarks
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.unmade.shortfalls import with_plan
from tests.cases import SHELF, block, box, setup, shapes
from tests.sentences import slowed

JOB = setup("linoleum", "flat-3", depth=1.0).on(block(box(10, 10, 5, 5), box(30, 10, 5, 5)))


def step(shape: shapely.Polygon, *, work: Work = Work.CLEAR, cutter: str = "flat-3", **more) -> Operation:
    paths = from_rings(geometry.rings(geometry.polygon_array([shape])), -1.0)
    return Operation(name="A", work=work, asks="", cutter=SHELF.cutter(cutter), paths=paths, depth_mm=3.4, **more)


def ways(*steps: Operation, fits: tuple[Fit, ...] = (), **chosen) -> str:
    return " ".join(remarks.about_paths(JOB, steps, PathSettings(**chosen), fits))


@pytest.mark.parametrize(
    ("shape", "out"),
    [
        (box(0.1, 0.1, 39.8, 29.8), None), (box(-0.7, 5, 5, 5), "0.7"), (box(5, -0.8, 5, 5), "0.8"),
        (box(36, 5, 4.9, 5), "0.9"), (box(5, 26, 5, 4.6), "0.6"),
    ],
)  # fmt: skip
def test_how_far_a_cutter_runs_out_over_the_block(shape, out) -> None:
    """The block is 40 × 30 mm; where it is cut out of its sheet the cutter is outside anyway."""
    report = ways(step(box(5, 5, 5, 5)), step(shape))
    assert ("runs out" in report) == (out is not None)
    assert out is None or f"by up to {out} mm" in report
    assert "runs out" not in ways(step(shape, work=Work.CUT_BLOCK))


@pytest.mark.parametrize(
    ("hours", "cutter", "expected"),
    [(1.99, "v-60", False), (2.01, "v-60", True), (18.6, "v-60", True), (9, "flat-3", False)],
)  # fmt: skip
def test_more_than_two_hours_by_a_point_are_a_finding_with_a_straight_cutter_as_remedy(hours, cutter, expected) -> None:
    findings = list(with_plan(Report.of([]), slowed(hours, cutter=cutter)))
    slow = [finding for finding in findings if finding.rule == "slow-cut"]
    assert len(slow) == expected
    if expected:
        assert slow[0].measured == pytest.approx(hours)
        assert f'more_cutters = ["{JOB.machine.usual_straight_cutter}"]' in slow[0].remedy


@pytest.mark.parametrize(
    ("side", "passes", "expected"), [(199, 1, False), (201, 1, True), (399, 2, False), (401, 2, True)]
)
def test_a_wide_floor_by_a_point_is_told(side, passes, expected) -> None:
    """Our own choice: from 400 mm² on; a ring of four sides times 0.5 mm, each pass over the same floor."""
    fits = [
        Fit(cutter=SHELF.cutter("v-60"), face_mm=1.0, floor_mm=floor_mm, inset_mm=0.0, walls=True)
        for floor_mm in (0.7, 0.5)
    ]
    direction = step(box(0, 0, side, side), cutter="v-60", passes=passes)
    words = ways(direction, fits=tuple(fits))
    assert ("A point clears" in words) == (f"such as {JOB.machine.usual_straight_cutter}," in words) == expected
    assert SHELF.cutter(JOB.machine.usual_straight_cutter).form == "flat"
    assert "A point clears" not in ways(step(box(0, 0, 900, 900)), fits=tuple(fits))
    assert "A point clears" not in ways(step(box(0, 0, 900, 900), work=Work.WALL, cutter="v-60"), fits=tuple(fits))


def test_how_flat_cutters_go_down_and_how_long_flutes_must_be() -> None:
    flat, through = step(box(5, 5, 5, 5)), step(box(5, 5, 5, 5), work=Work.CUT_THROUGH)
    assert "at 7 degrees" in ways(flat, ramp_deg=7)
    assert "straight down here" in ways(flat, plunge=True)
    assert "degrees" not in ways(step(box(5, 5, 5, 5), cutter="v-60"))
    assert "longer than 3.4 mm" in ways(through)
    assert "longer" not in ways(flat)


@pytest.mark.parametrize(
    ("depth", "expected"), [(1.0, None), (0.9, "Cut 0.9 mm deep and not 1 mm"), (-0.1, "Cut 0 mm")]
)
def test_a_floor_that_is_kept_is_told(depth, expected) -> None:
    assert [each[: len(expected or "")] for each in remarks.about_depth(JOB, depth)] == ([expected] if expected else [])


@pytest.mark.parametrize(("gap", "cuts"), [(6.1, None), (5.9, "1 cut lies"), (-16, "2 cuts lie")])
def test_cuts_beside_a_clamp_are_counted(gap, cuts) -> None:
    """Within twice the widest cutter, here 3 mm; the clamp comes from the right."""
    clamp = PathSettings(no_go=shapes(box(35 + gap, 10, 30, 5)))
    report = list(remarks.about_barred(JOB, clamp, 3.0))
    assert [each.partition(" so near")[0] for each in report[1:]] == ([cuts] if cuts else [])
    assert list(remarks.about_barred(JOB, PathSettings(), 3.0)) == []


def test_what_is_not_reached_is_counted_and_measured() -> None:
    def told(count: int, not_through: int) -> list[str]:
        left = shapes(*(box(3 * k, 0, 1, 0.5) for k in range(count)))
        return [" ".join(each.split()[:4]) for each in remarks.about_unreached(left, not_through)]

    assert told(0, 0) == []
    assert told(1, 1) == ["1 place, 0.50 mm²", "1 cut-out is not"]
    assert told(3, 2) == ["3 places, 1.50 mm²", "2 cut-outs are not"]
    assert [remarks.in_passes(count) for count in np.arange(1, 3)] == ["in one pass", "in 2 passes"]


def test_the_caution_stands_after_the_feeds_wherever_something_is_cut() -> None:
    plan = plan_for(JOB, PathSettings())
    assert list(remarks.about_feeds(plan))[-1] == feeds.CAUTION
    assert list(remarks.about_feeds(dataclasses.replace(plan, operations=()))) == []
