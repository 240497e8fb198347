"""Checks of the setup: wall, depth, bed. Each limit is tried from both sides."""

from __future__ import annotations

import dataclasses

import pytest

from carvegen.base.findings import Severity
from carvegen.checks import checked
from tests.cases import SHELF, block, box, setup

BLANK = block(box(10, 10, 6, 6))
BEAM = {"quality": 1.2, "wavelength_um": 10.6, "focal_length_mm": 50.8, "beam_diameter_mm": 6.0}


def found(rule: str, its_setup, its_block=BLANK) -> list:
    return [finding for finding in checked(its_setup.on(its_block)) if finding.rule == rule]


def beam(focus_below_mm: float, depth: float = 1.5):
    values = {**BEAM, "focus_below_mm": focus_below_mm}
    return setup("basswood", "laser-fine", depth=depth, cutter_values={"values": values})


def kerf(top: float, bottom: float):
    values = {"kerf_top_mm": top, "kerf_bottom_mm": bottom, "kerf_thickness_mm": 3.0}
    return setup("basswood", "laser-fine", cutter_values={"values": values})


def test_v_tool_of_60_degrees_leaves_30() -> None:
    assert setup().wall.steepest_deg == pytest.approx(30)
    assert found("wall-angle", setup(material_values={"wall_deg": 29.999})) == []
    (each,) = found("wall-angle", setup(material_values={"wall_deg": 30.001}))
    assert (each.severity, each.measured, each.at) == (Severity.RISK, pytest.approx(30), None)


def test_flat_cutter_is_upright_a_risk_and_no_break() -> None:
    (each,) = found("wall-angle", setup(cutter="flat-1"))
    assert (each.severity, each.measured) == (Severity.RISK, 0.0)
    assert found("wall-angle", setup(cutter="flat-1", material_values={"wall_deg": 0})) == []


def test_laser_kerf() -> None:
    # 0.30 over 0.20 mm in 3 mm: 0.9548 degrees, a little slope; the other way round it leans in.
    (each,) = found("wall-angle", kerf(0.30, 0.20))
    assert (each.severity, each.measured) == (Severity.RISK, pytest.approx(0.9548, abs=1e-4))
    (each,) = found("wall-angle", kerf(0.20, 0.30))
    assert (each.severity, each.measured) == (Severity.BREAKS, pytest.approx(-0.9548, abs=1e-4))
    # 0.01 degree over 3 mm is 1.047 µm of kerf: leaning in by less counts as upright.
    assert found("wall-angle", kerf(0.2, 0.2 + 0.9 * 0.001047))[0].severity is Severity.RISK
    assert found("wall-angle", kerf(0.2, 0.2 + 1.1 * 0.001047))[0].severity is Severity.BREAKS


def test_beam_focused_on_the_face_undercuts() -> None:
    assert found("wall-angle", beam(0.0))[0].severity is Severity.BREAKS
    assert found("wall-angle", beam(0.75))[0].severity is Severity.BREAKS
    (each,) = found("wall-angle", beam(1.5))  # at the floor: it only narrows on its way down
    assert each.severity is Severity.RISK
    assert each.measured >= 0


@pytest.mark.parametrize(("depth", "breaks"), [(2.399, False), (2.4, False), (2.401, True)])
def test_depth_of_linoleum(depth, breaks) -> None:
    """Linoleum of 3.2 mm, 0.8 mm must stay over the jute: 2.4 mm."""
    each = found("depth", setup(depth=depth))
    assert [(one.severity, one.measured, one.limit) for one in each] == (
        [(Severity.BREAKS, depth, pytest.approx(2.4))] if breaks else []
    )


def test_thin_block_leaves_too_thin_a_floor() -> None:
    assert found("depth", setup(depth=1.2, thickness=2.0)) == []
    (each,) = found("depth", setup(depth=1.2, thickness=1.999))
    assert each.limit == pytest.approx(1.199)


def test_shallow_v() -> None:
    # A V of 60 degrees with a flat of 0.1 mm is 0.1 + 2 (0.3 - 0.005) tan 30 = 0.4406 mm wide where it lacks 0.005 mm.
    assert found("depth", setup(), block(box(10, 10, 3, 0.442))) == []
    (each,) = found("depth", setup(), block(box(10, 10, 3, 0.439), box(20, 10, 6, 6)))
    assert each.severity is Severity.RISK
    assert each.measured == pytest.approx((0.439 - 0.1) / (2 * 0.57735), rel=0.01)
    assert 10 <= each.at[0] <= 13
    assert found("depth", setup(cutter="ball-1"), block(box(10, 10, 3, 0.439))) == []  # no V, no such depth


@pytest.mark.parametrize(
    ("size", "sides"),
    [((600, 400), 0), ((400, 600), 0), ((600.1, 400), 1), ((400, 600.1), 1), ((500, 401), 1), ((700, 500), 2)],
)
def test_bed(size, sides) -> None:
    """The shipped router table has 600 × 400 mm; a block may lie either way round."""
    assert len(found("bed-size", setup(cutter="flat-3"), block(size=size))) == sides


def test_hand_has_no_bed() -> None:
    router = SHELF.machine("router-bed")
    assert found("bed-size", setup(), block(size=(1500, 900))) == []
    endless = dataclasses.replace(router, bed_width_mm=None)
    assert found("bed-size", setup(cutter="flat-3", machine=endless), block(size=(1500, 900))) == []


def test_report_counts_and_orders() -> None:
    report = checked(setup(depth=3.0, cutter="flat-1").on(block(box(10, 10, 6, 6), box(16.1, 10, 6, 6))))
    severities = [each.severity for each in report]
    assert severities == sorted(severities)
    assert report.breaks == severities.count(Severity.BREAKS) >= 2
    assert report.to_dict()["breaks"] == report.breaks
    assert all(one.why and one.remedy and one.unit for one in report)
