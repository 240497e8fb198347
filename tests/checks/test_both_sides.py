"""The limit of every check from both sides: a hair inside it nothing is told, a hair beyond it is.

The limits are those of the shipped profiles (linoleum: common practice, no source, unless a row says otherwise) or set
in the row; the widths at which a shape meets them are plane geometry.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable

import numpy as np
import pytest
import shapely

from carvegen.base.findings import Severity
from carvegen.blocks.job import Job
from carvegen.blocks.register_marks import register_for, with_moat
from carvegen.checks import CHECKS, checked
from carvegen.checks.survey import Reach
from carvegen.facts.printing import USUAL
from carvegen.facts.register import RegisterPlan
from tests.cases import block, box, disc, setup, shapes

BREAKS, RISK = Severity.BREAKS, Severity.RISK
NEAR = 0.004  #: mm: twice what the checks let pass for a grid of 1 µm


@dataclasses.dataclass(frozen=True, kw_only=True)
class Row:
    """A job for a measured value; `within` holds, `beyond` does not."""

    rule: str
    what: str
    job: Callable[[float], Job]
    within: float
    beyond: float
    limit: float
    severity: Severity = BREAKS
    measured: Callable[[float], float] = float  #: what is told of the value
    rel: float = 0.01  #: how near to it


def between_two(gap: float, **changed) -> Job:
    """A straight land 7 mm long between two boxes."""
    return setup(**changed).on(block(box(12, 11, 8, 8), box(20 + gap, 11.3, 8, 7)))


def wedge(angle_deg: float) -> Job:
    """Land that runs out to a tip of so many degrees between the face's upper edge and a cut's slanting side."""
    lean = 10 / math.tan(math.radians(angle_deg))
    return setup().on(block(shapely.Polygon([(25, 0), (39, 0), (39, 10), (25 - lean, 10)])))


DROP = 1.5 * math.tan(math.radians(10))


def undercut(gap: float) -> Job:
    """A kerf that widens by 10 degrees on each side over 1.5 mm: the foot is narrower than the face by 0.529 mm."""
    kerf = {"kerf_top_mm": 0.2, "kerf_bottom_mm": 0.2 + 2 * DROP, "kerf_thickness_mm": 1.5}
    return between_two(
        gap, material="basswood", cutter="laser-fine", depth=1.5, cutter_values={"values": kerf, "edge_loss_mm": 0.0},
        material_values={"foot_mm": 0.3, "land_along_mm": 0.2, "land_across_mm": 0.2},
    )  # fmt: skip


def on_waste(side: str, mm: float) -> Job:
    """A face whose board has waste all round it; the shipped router table has 600 × 400 mm."""
    size = {"long": (mm, 200.0), "short": (500.0, mm)}[side]
    face = dataclasses.replace(block(size=size), register=register_for(RegisterPlan(method="stops"), size, "1 sky"))
    return setup(cutter="flat-3").on(face)


def waste_mm() -> float:
    return register_for(RegisterPlan(method="stops"), (200.0, 100.0), "1 sky").waste_mm


def regular_radius(area: float, points: int = 64) -> float:
    """Of a regular polygon of that area."""
    return math.sqrt(area / (points / 2 * math.sin(2 * math.pi / points)))


def island(across: float, hollow: float = 0.0) -> Job:
    """A round island as large as a disc of `across`, in a cut; a cut `hollow` wide inside makes it a ring."""
    outer = disc(20, 15, regular_radius(math.pi / 4 * (across**2 + hollow**2)))
    inner = (disc(20, 15, regular_radius(math.pi / 4 * hollow**2)),) if hollow else ()
    return setup().on(block(disc(20, 15, 8).difference(outer), *inner))


def sharp(angle_deg: float) -> Job:
    """A triangle with one sharp corner: a disc of radius r stops r / sin(a/2) - r before it."""
    half = math.tan(math.radians(angle_deg / 2))
    return setup().on(block(shapely.Polygon([(10, 15), (20, 15 - 10 * half), (20, 15 + 10 * half)])))


def missed_mm(angle_deg: float) -> float:
    """The mean width of what it leaves there: r² (cot(a/2) - (pi - a)/2) over that length."""
    angle = math.radians(angle_deg)
    area = 0.2**2 * (1 / math.tan(angle / 2) - (math.pi - angle) / 2)
    return area / (0.2 / math.sin(angle / 2) - 0.2)


PINS = RegisterPlan(method="pins")


def moat(wide: float, plan: RegisterPlan = PINS) -> Job:
    size = (80.0, 60.0)
    register = with_moat(register_for(plan, size, "1 sky"), size, wide)
    return setup().on(dataclasses.replace(block(size=size), register=register))


def sheet(thickness: float = 6.0, depth: float = 1.0) -> Job:
    each = block(box(5, 5, 10, 10), cut_outs=(box(25, 10, 12, 12),))
    return setup("cherry", "laser-fine", thickness=thickness, depth=depth, material_values={"floor_mm": 1.0}).on(each)


def wall(wanted: float, **changed) -> Job:
    return setup(material_values={"wall_deg": wanted}, **changed).on(block(box(10, 10, 6, 6)))


def leaning_in(deg: float) -> Job:
    bottom = 0.2 + 2 * 3.0 * math.tan(math.radians(deg))
    values = {"kerf_top_mm": 0.2, "kerf_bottom_mm": bottom, "kerf_thickness_mm": 3.0}
    setup_ = setup(
        "basswood", "laser-fine", depth=1.5, cutter_values={"values": values}, material_values={"wall_deg": -1}
    )
    return setup_.on(block(box(10, 10, 6, 6)))


def beam_job(focus_below_mm: float) -> Job:
    """A block lowered by a beam that is narrowest so far below the face."""
    beam = {"quality": 1.2, "wavelength_um": 10.6, "focal_length_mm": 50.8, "beam_diameter_mm": 6.0}
    values = {"values": beam | {"focus_below_mm": focus_below_mm}}
    return setup("basswood", "laser-fine", depth=1.5, cutter_values=values).on(block(box(10, 10, 6, 6)))


#: Depth of a V of 60 degrees, blunt by 0.1 mm, in a slot of that width.
def v_depth(width: float) -> float:
    return (width - 0.1) / (2 * math.tan(math.radians(30)))


DOT = setup().face_limits.dot_mm
FOOT = 0.3 + 2 * DROP
ROWS = [
    Row(rule="land-width", what="neck", job=between_two, within=0.5, beyond=0.5 - NEAR, limit=0.5),
    Row(rule="land-width", what="none", job=between_two, within=0.5, beyond=0.0, limit=0.5),
    Row(rule="land-width", what="edge", job=lambda mm: setup().on(block(box(mm, 10, 5, 5))), within=0.5,
        beyond=0.5 - NEAR, limit=0.5),
    # narrower than w over w / (2 tan(a / 2)): 2 w at 28.07 degrees, w at 53.13
    Row(rule="land-width", what="long tip", job=wedge, within=28.6, beyond=27.6, limit=0.5,
        measured=lambda _: math.nan),
    Row(rule="land-width", what="tip", job=wedge, within=53.7, beyond=52.6, limit=0.5, severity=RISK,
        measured=lambda _: math.nan),
    Row(rule="small-island", what="disc", job=island, within=DOT, beyond=DOT - NEAR, limit=DOT),
    Row(rule="small-island", what="hollowed", job=lambda mm: island(mm, 0.6), within=DOT, beyond=DOT - NEAR,
        limit=DOT),
    Row(rule="cut-width", what="slot", job=lambda mm: setup().on(block(box(12, 12, 9, mm))), within=0.4, beyond=0.394,
        limit=0.4),
    Row(rule="cut-width", what="cut-out", job=lambda mm: setup().on(block(cut_outs=(box(12, 12, 9, mm),))), within=0.4,
        beyond=0.394, limit=0.4),
    # as wide as the cutter is no finding: the disc passes, and what it cuts is what is drawn (opening, plane geometry)
    Row(rule="cut-width", what="neck", job=lambda mm: setup().on(block(
        shapely.union_all([box(8, 10, 6, 6), box(20, 10, 6, 6), box(13, 13, 8, mm)]))), within=0.4, beyond=0.394,
        limit=0.4),
    Row(rule="cut-width", what="corner", job=sharp, within=39.2, beyond=38.6, limit=0.4, severity=RISK,
        measured=missed_mm, rel=0.02),  # r / sin(a/2) - r = 2 r at 38.94 degrees
    Row(rule="slenderness", what="blade", job=lambda mm: between_two(mm, material="linoleum", cutter="laser-fine"),
        within=0.73, beyond=0.72, limit=0.7265625, severity=RISK),  # 1.5 mm deep over 2, less the wall's lean
    Row(rule="wall-angle", what="steep", job=wall, within=29.99, beyond=30.01, limit=30.01, severity=RISK,
        measured=lambda _: 30.0),
    Row(rule="wall-angle", what="undercut", job=leaning_in, within=0.009, beyond=0.011, limit=0.0,
        measured=lambda deg: -deg),
    Row(rule="foot-width", what="undercut", job=undercut, within=FOOT, beyond=FOOT - NEAR, limit=0.3,
        measured=lambda mm: mm - 2 * DROP),
    Row(rule="depth", what="floor", job=lambda mm: setup(depth=mm).on(block()), within=2.4, beyond=2.401, limit=2.4),
    Row(rule="depth", what="largest",
        job=lambda mm: setup(depth=mm, material_values={"depth_largest_mm": 1.9}).on(block()), within=1.9, beyond=1.901,
        limit=1.9),
    Row(rule="depth", what="shallow", job=lambda mm: setup().on(block(box(10, 10, 3, mm))), within=0.4416,
        beyond=0.4396, limit=0.3, severity=RISK, measured=v_depth),
    Row(rule="laser-depth", what="through", job=sheet, within=6.0, beyond=6.001, limit=6.0),
    Row(rule="laser-depth", what="lowered", job=lambda mm: sheet(depth=mm), within=3.0, beyond=3.001, limit=3.0),
    # linoleum, 1.5 mm deep, a firm press: 0.12 of the gap
    Row(rule="clearing", what="gap", job=lambda mm: setup(cutter="laser-fine").on(block(box(10, 5, mm, 20))),
        within=12.49, beyond=12.52, limit=0.12 * 12.52, severity=RISK, measured=lambda _: 1.5),
    Row(rule="moat", what="groove", job=moat, within=USUAL.touched_mm, beyond=USUAL.touched_mm - NEAR,
        limit=USUAL.touched_mm, severity=RISK),
    Row(rule="drop-out", what="loose part", job=lambda mm: setup("cherry", "laser-fine").on(
        block(cut_outs=(disc(20, 15, mm / 2),))), within=10.001, beyond=9.999, limit=10.0, severity=RISK),
    Row(rule="drop-out", what="severed", job=lambda mm: setup("cherry", "laser-fine").on(
        block(cut_outs=(box(30, 0, 2, 30 - mm),))), within=0.001, beyond=0.0,
        limit=setup("cherry", "laser-fine").face_limits.land_mm),
    Row(rule="bed-size", what="bare", job=lambda mm: setup(cutter="flat-3").on(block(size=(mm, 300))), within=600.0,
        beyond=600.01, limit=600.0),
    Row(rule="bed-size", what="waste, long side", job=lambda mm: on_waste("long", mm), within=600 - 2 * waste_mm(),
        beyond=600.01 - 2 * waste_mm(), limit=600.0, measured=lambda mm: mm + 2 * waste_mm()),
    Row(rule="bed-size", what="waste, short side", job=lambda mm: on_waste("short", mm), within=400 - 2 * waste_mm(),
        beyond=400.01 - 2 * waste_mm(), limit=400.0, measured=lambda mm: mm + 2 * waste_mm()),
]  # fmt: skip


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row.rule}: {row.what}")
def test_a_limit_from_both_sides(row: Row) -> None:
    def told(value: float) -> list:
        return [
            finding
            for finding in checked(row.job(value))
            if (finding.rule, finding.severity) == (row.rule, row.severity)
        ]

    assert told(row.within) == []
    (one, *_) = told(row.beyond)
    assert one.limit == pytest.approx(row.limit, rel=1e-3)
    if not np.isnan(measured := row.measured(row.beyond)):
        assert one.measured == pytest.approx(measured, rel=row.rel)


@pytest.mark.parametrize(("gap", "kind"), [(0.0, "none"), (0.001, "none"), (0.004, "neck"), (0.3, "neck")])
def test_where_two_cuts_meet_no_land_is_said_to_be_left(gap: float, kind: str) -> None:
    """No width is said of what has none; between them lies the tolerance for a grid of 1 µm."""
    report = [finding for finding in checked(between_two(gap)) if finding.rule == "land-width"]
    assert {each.kind for each in report} == {kind}
    assert {one.title for one in report} == {"no land left" if kind == "none" else "land too narrow"}
    assert all(("wide" in item.numbers) == (kind == "neck") for item in report)


def test_every_check_is_tried() -> None:
    """What the eye calls contrived has its own: test_look.py."""
    assert {row.rule for row in ROWS} == CHECKS.keys() - {"look"}


@pytest.mark.parametrize(("gap", "meet"), [(2 * DROP - 0.01, True), (2 * DROP + 0.01, False)])
def test_walls_that_meet_under_the_face_are_said_to(gap: float, meet: bool) -> None:
    (one,) = [finding for finding in checked(undercut(gap)) if finding.rule == "foot-width"]
    assert ("two walls meet under the face" in one.why) == meet


def test_the_moat_that_is_asked_for_is_said() -> None:
    """Half the strip that a roller of 25 mm, sunk in by 0.3 mm, touches: sqrt(2 · 25 · 0.3 - 0.3²) = 3.86."""
    (one,) = [finding for finding in checked(moat(2.0)) if finding.rule == "moat"]
    assert "3.9 mm asked" in one.why


@pytest.mark.parametrize(("margin", "wide", "measured"), [(8.0, 2.5, 2.5), (5.0, 4.0, 3.0), (8.0, 4.0, None)])
def test_a_moat_too_narrow_or_narrowed_by_a_stop_is_told(margin: float, wide: float, measured: float | None) -> None:
    """A stop's wall stands 2 mm inside the sheet's edge: of a margin of 5 mm, 3 are left for the groove."""
    report = [
        finding
        for finding in checked(moat(wide, RegisterPlan(method="stops", paper_margin_mm=margin)))
        if finding.rule == "moat"
    ]
    assert [each.measured for each in report] == ([] if measured is None else [pytest.approx(measured, abs=0.002)])


def test_walls_are_told_of_where_this_file_makes_some() -> None:
    """Steeper than is wanted: cuts of a block have walls; of a die they have files of their own, cut-outs have none."""
    steep = wall(30.01)
    die, sawn = (
        dataclasses.replace(steep, block=each)
        for each in (dataclasses.replace(steep.block, bevelled=True), block(cut_outs=(box(10, 10, 6, 6),)))
    )
    report = ["wall-angle" in {one.rule for one in checked(job)} for job in (steep, die, sawn)]
    assert report == [True, False, False]


@pytest.mark.parametrize(("wide", "parts"), [(0.3965, False), (0.3955, True)])
def test_a_strip_narrower_than_the_cutter_by_a_hair_can_be_made(wide: float, parts: bool) -> None:
    """4 µm (our own choice) are the errors of grid and buffers, and no narrow cut: both sides of it."""
    assert Reach(shapes(box(10, 10, 8, wide)), 0.4).broken.tolist() == [parts]


def test_corners_that_a_round_cutter_leaves_are_nothing_and_a_bay_is_what_it_leaves() -> None:
    """Four right angles leave 4 r² (1 - π/4) = 0.03 mm² together; a bay 0.2 mm wide and 2 mm long 0.4 mm² and them."""
    small, bayed = box(5, 5, 0.8, 0.8), shapely.union(box(10, 5, 3, 3), box(13, 6, 2, 0.2))
    assert shapely.area(Reach(shapes(small, bayed), 0.4).uncut) == pytest.approx([0, 0.43], abs=0.01)
