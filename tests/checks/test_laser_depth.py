"""How thick a laser cuts through and how deep it lowers, from both sides of the profile's limits."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from carvegen.base.findings import Severity
from carvegen.checks import checked
from carvegen.facts import cutting
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.paths import Work
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.unmade.shortfalls import with_plan
from tests.cases import SHELF, block, box, setup


def job(thickness: float = 6.0, depth: float = 1.0, **changed):
    each = block(box(5, 5, 10, 10), cut_outs=(box(25, 10, 8, 8),))
    setup_ = setup("cherry", "laser-fine", thickness=thickness, depth=depth, material_values={"floor_mm": 1.0})
    return dataclasses.replace(setup_, machine=dataclasses.replace(setup_.machine, **changed)).on(each)


def found(each) -> list[tuple[Severity, float, float]]:
    return [(one.severity, one.measured, one.limit) for one in checked(each) if one.rule == "laser-depth"]


def test_a_sheet_thicker_than_the_profile_allows_gets_no_line_through_it() -> None:
    assert found(job(6.0)) == []
    assert found(job(6.01)) == [(Severity.BREAKS, 6.01, 6.0)]
    assert found(job(6.0, through_most_mm=None)) == [(Severity.RISK, 6.0, 0.0)]
    settings = PathSettings(cut_edge=True)
    thin, thick = (plan_for(job(deep), settings) for deep in (6.0, 19.1))
    assert {Work.CUT_THROUGH, Work.CUT_BLOCK} <= {step.work for step in thin.operations}
    assert not {Work.CUT_THROUGH, Work.CUT_BLOCK} & {each.work for each in thick.operations}
    assert [finding.rule for finding in thick.findings] == ["not-cut"]
    assert "NOTHING IS CUT THROUGH" in " ".join(thick.remarks)


def test_an_area_deeper_than_the_laser_lowers_breaks() -> None:
    assert found(job(6.0, 3.0)) == []
    assert found(job(6.0, 3.01)) == [(Severity.BREAKS, 3.01, 3.0)]


def test_no_kerf_is_carried_on_beyond_where_it_was_measured() -> None:
    """The fine laser's: 0.20 mm at the face, 0.15 mm measured 1.6 mm below it; the straight line is 0 at 6.4 mm."""
    laser = SHELF.cutter("laser-fine")
    half = cutting.half_width_mm(laser, np.array([0.0, 0.8, 1.6, 6.4, 19.1]), 19.1)
    assert 2 * half == pytest.approx([0.2, 0.175, 0.15, 0.15, 0.15])
    said = " ".join(plan_for(job(6.0), PathSettings()).remarks)
    assert "0.15 mm 1.6 mm below it" in said
    assert "deeper it is not known" in said


def test_the_wall_is_no_risk_where_the_plan_slopes_it() -> None:
    each = job()
    assert "wall-angle" in {finding.rule for finding in checked(each)}
    sloped, steep = (plan_for(each, PathSettings(shoulder_steps=steps)) for steps in (2, 0))
    assert "wall-angle" not in {one.rule for one in with_plan(checked(each), sloped)}
    assert "wall-angle" in {item.rule for item in with_plan(checked(each), steep)}
