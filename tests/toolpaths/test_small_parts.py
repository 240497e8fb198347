"""Tabs, marks, small measures of plans and of what cutters leave, beside plane geometry; limits from both sides."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen.base.errors import InputError
from carvegen.base.findings import Finding, Severity
from carvegen.base.parameters import parameters
from carvegen.blocks.register_marks import register_for, with_moat
from carvegen.facts.register import RegisterPlan
from carvegen.toolpaths import promises, register_lines
from carvegen.toolpaths.laser import beam, tabs
from carvegen.toolpaths.motion import moves, timing
from carvegen.toolpaths.paths import Paths
from carvegen.toolpaths.router.cut_through import _beyond, _Tab, _tabbed
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.simulation import simulated_block
from carvegen.toolpaths.simulation.height_raster import untouched
from carvegen.toolpaths.simulation.simulated_block import _at_rim, _deviation, _same
from carvegen.toolpaths.simulation.simulated_block import _beyond as outside
from tests.cases import SHELF, block, box, disc, setup, shapes

#: Ends of each setting: what a shop's machines and tools allow; our own choice.
ENDS = {
    "shoulder_steps": (0, 6), "line_spacing_mm": (0.02, 5), "lead_in_mm": (0, 20), "rest_mm": (0, 50),
    "ramp_deg": (0.5, 30), "pass_mm": (0, 50),
}  # fmt: skip


@pytest.mark.parametrize("name", ENDS)
def test_settings_of_paths_from_both_ends(name: str) -> None:
    least, most = ENDS[name]
    step = 1 if name == "shoulder_steps" else 0.001
    for value in (least, most):
        assert getattr(PathSettings(**{name: value}), name) == value
    for value in (least - step, most + step):
        with pytest.raises(InputError):
            PathSettings(**{name: value})


def test_what_is_done_where_nothing_is_asked() -> None:
    """Two steps beside the land, lines a tenth apart, 2 mm off for heat, 5 degrees down a ramp, tabs."""
    each = PathSettings()
    assert (each.shoulder_steps, each.line_spacing_mm, each.rest_mm, each.ramp_deg) == (2, 0.1, 2.0, 5.0)
    assert (each.lead_in_mm, each.pass_mm, each.tabs, each.cut_edge, each.lowered, each.cleared) == (
        0, 0, True, False, "shapes", "rings",
    )  # fmt: skip
    assert {setting.name for setting in parameters(PathSettings) if setting.bounded} == ENDS.keys()


@pytest.mark.parametrize(("thick", "wide"), [(1.0, 0.5), (2.0, 0.5), (3.0, 0.75), (8.0, 2.0), (12.0, 2.0)])
def test_a_lasers_tab_is_a_quarter_of_the_thickness_from_half_a_millimetre_to_two(thick: float, wide: float) -> None:
    assert tabs.tab_mm(thick) == wide


@pytest.mark.parametrize(
    ("length", "count"), [(29.9, 0), (30, 2), (160, 2), (161, 3), (240, 3), (241, 4), (560, 7), (639, 8), (5000, 8)]
)
def test_two_tabs_and_one_for_each_eighty_millimetres_more_up_to_eight(length: float, count: int) -> None:
    assert tabs.tab_count(length) == count


def closed(shape: shapely.Polygon) -> Paths:
    xy = shapely.get_coordinates(shape)[:-1]
    return Paths(np.column_stack([xy, np.zeros(len(xy))]), np.array([0, len(xy)]), np.array([True]))


@pytest.mark.parametrize("gap", [1.0, 3.0])
def test_gaps_for_tabs_lie_on_straight_stretches_and_are_as_wide_as_asked(gap: float) -> None:
    """Of an oblong of 50 x 30 mm one in the middle of each long side, or as near as 24 places come to a stretch's."""
    ring = box(0, 0, 50, 30)
    pieces = tabs.tabbed(closed(ring), gap)
    assert len(pieces) == 2
    assert not pieces.closed.any()
    assert pieces.lengths.sum() == pytest.approx(160 - 2 * gap)
    lines = [shapely.LineString(pieces.xyz[a:b, :2]) for a, b in zip(pieces.start[:-1], pieces.start[1:], strict=True)]
    left = ring.exterior.difference(shapely.union_all(lines).buffer(1e-9))
    holes = shapely.get_parts(shapely.line_merge(left))
    assert [hole.length for hole in holes] == pytest.approx([gap, gap], abs=1e-6)
    assert min(each.distance(shapely.MultiPoint(ring.exterior.coords)) for each in holes) >= gap / 2


def test_a_line_too_short_for_tabs_stays_closed() -> None:
    short = closed(box(0, 0, 7, 7))
    assert tabs.tabbed(short, 1.0) is short


def test_a_line_is_begun_in_what_falls_out_where_that_has_room() -> None:
    """Off to the left of the first corner, half-way between its sides: 2 mm into a square; a sliver has none."""
    square, sliver = box(0, 0, 10, 10), box(20, 0, 0.5, 10)
    both = [closed(each) for each in (square, sliver)]
    outlines = Paths(np.concatenate([one.xyz for one in both]), np.array([0, 4, 8]), np.array([True, True]))
    led = tabs.led_in(outlines, shapes(square, sliver), 2.0)
    assert led.closed.tolist() == [False, True]
    begin, first, last = led.xyz[0, :2], led.xyz[1, :2], led.exits[0, :2]
    assert first.tolist() == last.tolist() == outlines.xyz[0, :2].tolist()
    assert math.dist(begin, first) == pytest.approx(2)
    assert np.abs(begin - first) == pytest.approx([math.sqrt(2)] * 2)
    assert square.contains(shapely.Point(begin))


TAB = _Tab(10.0, 10.2, 3.0)  #: a board 10 mm thick, cut 10.2 mm deep by 3 mm


def test_a_routers_tab_keeps_three_tenths_of_the_thickness_up_to_a_millimetre_and_a_half() -> None:
    assert _Tab(3.0, 3.2, 3.0).top_mm == pytest.approx(-2.1)
    assert _Tab(5.0, 5.2, 3.0).top_mm == pytest.approx(-3.5)
    assert TAB.top_mm == pytest.approx(-8.5)
    assert TAB.side_mm == pytest.approx(1.7 / math.tan(math.radians(30)))  # it comes down at 30 degrees
    assert TAB.least_round_mm == pytest.approx(2 * (1 + 3 + 2 * TAB.side_mm))


@pytest.mark.parametrize(("round_mm", "count"), [(100, 3), (180, 3), (181, 4), (300, 5), (301, 6)])
def test_three_tabs_and_more_so_that_they_lie_sixty_millimetres_apart(round_mm: float, count: int) -> None:
    """4 mm wide at their top, and the cutter's width besides."""
    assert TAB.sizes(round_mm) == (count, 3.5)


def test_on_a_short_way_round_fewer_tabs_stay_and_half_of_it_is_cut() -> None:
    each = 4 * (3.5 + TAB.side_mm)
    assert TAB.sizes(2.01 * each) == (2, 3.5)
    assert TAB.sizes(1.99 * each) == (1, 3.5)
    count, half = TAB.sizes(0.9 * each)
    assert (count, 2 * (half + TAB.side_mm)) == (1, pytest.approx(0.45 * each))


def test_the_cutter_stays_up_over_each_tab_and_comes_down_beside_it() -> None:
    """Round a square of 40 mm at full depth: three tabs, on each of which 7 mm of the way lie at its top."""
    ring = np.array([(0, 0), (40, 0), (40, 40), (0, 40), (0, 0)], dtype=float)
    path = Paths(np.column_stack([ring, np.full(5, -10.2)]), np.array([0, 5]), np.array([False]))
    xyz = _tabbed(path, 160.0, TAB).xyz
    at = np.append(0, np.cumsum(np.linalg.norm(np.diff(xyz[:, :2], axis=0), axis=1)))
    z = np.interp(every := np.linspace(0, 160, 16001), at, xyz[:, 2])
    assert at[-1] == pytest.approx(160)
    assert z.min() == -10.2
    assert z.max() == pytest.approx(TAB.top_mm)
    assert (z > TAB.top_mm - 1e-6).mean() == pytest.approx(3 * 7 / 160, abs=0.001)
    middles = [every[part].mean() for part in np.split(np.arange(16001), np.flatnonzero(np.diff(z > -10.19)) + 1)]
    assert middles[1::2] == pytest.approx([160 / 6, 80, 160 * 5 / 6], abs=0.05)
    assert np.abs(np.diff(z) / 0.01).max() == pytest.approx(math.tan(math.radians(30)), rel=0.01)
    assert _beyond(np.array([0.0, 9, 10.5, 14, 30]), np.array([10.0, 20]), 1.0).tolist() == [9, 0, 0, 3, 9]


def finding(rule: str = "land-width", at=(1.0, 1.0), measured: float = 0.3) -> Finding:
    return Finding(
        rule=rule, severity=Severity.BREAKS, at=at, measured=measured, limit=0.5, unit="mm", why="", remedy=""
    )


@pytest.mark.parametrize(
    ("expected", "same"),
    [
        (finding(), True), (finding(at=(1.99, 1.0)), True), (finding(at=(2.01, 1.0)), False), (finding(at=None), False),
        (finding(rule="small-island"), False), (finding(measured=0.271), True), (finding(measured=0.269), False),
    ],
)  # fmt: skip
def test_a_finding_of_what_is_left_is_the_plans_own_where_it_is_no_worse(expected: Finding, same: bool) -> None:
    """Of one rule, within a millimetre, and narrower by no more than 0.03 mm."""
    assert _same(expected, finding()) == same
    assert not _same(finding(), finding(at=None))


@pytest.mark.parametrize(
    ("at", "measured", "rim"),
    [((0.09, 10.0), 0.09, True), ((0.11, 10.0), 0.09, False), ((0.09, 10.0), 0.11, False), (None, 0.01, False)],
)
def test_at_the_blocks_edge_land_of_two_pixels_is_no_finding(at, measured: float, rim: bool) -> None:
    of = SimpleNamespace(relief=SimpleNamespace(px_mm=0.05), block=block())
    assert _at_rim(finding(at=at, measured=measured), of) == rim


def test_how_far_what_is_cut_reaches_beyond_what_was_to_be() -> None:
    """A strip 0.3 mm wide on one side; slivers narrower than the noise are none; without a plan all is nowhere."""
    plan = shapes(box(5, 5, 10, 5), disc(30, 20, 2))
    wider = shapes(box(5, 5, 10.3, 5), disc(30, 20, 2.005))
    each = _deviation(wider, plan, 0.02)
    assert len(each.places) == 1
    assert each.area_mm2 == pytest.approx(1.5, rel=0.01)
    assert each.worst_mm == pytest.approx(0.3, abs=0.002)
    assert each.worst_at[0] == pytest.approx(15.29, abs=0.002)
    assert each.to_dict()["worst_mm"] == round(each.worst_mm, 3)
    none = _deviation(plan, plan, 0.02)
    assert (len(none.places), none.worst_mm, none.worst_at, none.to_dict()["worst_at_mm"]) == (0, 0, None, None)
    assert _deviation(plan, shapes(), 0.02).worst_mm > 9000
    assert outside(plan, plan, 0.02).tolist() == []
    assert len(outside(wider, plan, 0.02)) == 1


@pytest.mark.parametrize(
    ("size", "asked", "px"),
    [((40, 30), None, 0.05), ((40, 30), 0.2, 0.2), ((200, 190), None, 0.05), ((400, 360), None, 0.0949)],
)
def test_a_block_of_more_than_sixteen_million_pixels_is_looked_at_more_coarsely(size, asked, px, monkeypatch) -> None:
    """They are what memory holds; pixels of 0.05 mm on a smaller block, or as fine as asked."""
    seen: list[float] = []
    monkeypatch.setattr(
        simulated_block, "untouched", lambda wide, high, fine: seen.append(fine) or untouched(wide, high, 1.0)
    )
    plan = SimpleNamespace(job=setup().on(block(box(5, 5, 9, 9), size=size)), operations=())
    each = simulated_block.simulated(plan, asked)
    assert seen == [pytest.approx(px, abs=1e-4)]
    assert each.noise_mm == pytest.approx(0.4 * each.relief.px_mm)
    assert len(each.block.cuts) == 0
    assert each.missed.area_mm2 == pytest.approx(81)


def ways(*lines: list[tuple[float, float, float]]) -> Paths:
    return Paths(
        np.array([place for line in lines for place in line], dtype=float),
        np.cumsum([0, *map(len, lines)]),
        np.zeros(len(lines), dtype=bool),
    )


@pytest.mark.parametrize(
    ("second", "count"),
    [
        ([(0, 0, 0), (5, 0, 0)], 1), ([(5, 0, 0), (0, 0, 0)], 1), ([(0, 0, -1), (5, 0, -1)], 0),
        ([(0, 0, 0), (5, 0.002, 0)], 0), ([(0, 0, 0), (5, 0.0004, 0)], 1), ([(0, 0, 0), (0, 5, 0)], 0),
        ([(2, 3, 0), (2, 9, 0), (2, 3, 0)], 1), ([(0, 0, 0), (5, 0, 0), (0, 0, 0)], 2),
    ],
)  # fmt: skip
def test_lines_followed_twice_are_counted_whichever_way_they_are_followed(second, count: int) -> None:
    """On the grid of 1 µm and at one height; pieces no longer than a speck aren't."""
    assert promises.doubled(ways([(0, 0, 0), (5, 0, 0)], second)) == count
    assert promises.doubled(ways([(0, 0, 0), (5, 0, 0)], second), 6.1) == 0


def test_lines_up_and_aslant_followed_back_are_counted_too() -> None:
    rng = np.random.default_rng(1)
    ends = rng.uniform(-9, 9, (40, 2, 3)).round(3)
    some = [line.tolist() for line in ends] + [line[::-1].tolist() for line in ends[:13]]
    some += [[(1, 1, 0), (1, 1, -2)], [(1, 1, -2), (1, 1, 0)], [(3, 4, 0), (3, 1, 0)], [(3, 1, 0), (3, 4, 0)]]
    assert promises.doubled(ways(*some)) == 15


def test_what_lies_at_the_boards_edge_or_outside_it() -> None:
    bounds, hair = (0.0, 0.0, 40.0, 30.0), promises.TOLERANCE_MM
    for side in range(4):
        for off, edge in ((hair - 1e-6, True), (hair + 1e-6, False), (-3.0, True)):
            at = ((off, 9), (9, off), (40 - off, 9), (9, 30 - off))[side]
            assert promises._at_edge(np.array([at]), bounds).tolist() == [edge]
            assert promises.outside_mm(ways([(*at, 0), (20, 20, 0)]), bounds) == max(0, -off)


def test_samples_lie_no_farther_apart_than_asked_and_hold_each_corner() -> None:
    side = ways([(0, 0, 0), (1, 0, 0), (1, 0.35, -0.2)], [(7, 7, 0)])
    points = promises.sampled(side, 0.1)
    assert len(points) == 10 + 5 + 1 + 1
    assert np.linalg.norm(np.diff(points[:16], axis=0), axis=1).max() <= 0.1 + 1e-9
    assert {(0, 0, 0), (1, 0, 0), (1, 0.35, -0.2), (7, 7, 0)} <= set(map(tuple, points.round(9).tolist()))


def test_crosses_lie_seven_millimetres_off_the_middle_of_each_side_with_arms_of_five() -> None:
    assert register_lines.register_places(40, 30) == [(20, -7), (47, 15), (20, 37), (-7, 15)]
    plain = register_lines.register_lines(block())
    assert len(plain) == 8
    assert plain.lengths == pytest.approx([10] * 8)
    assert plain.xyz[:4].tolist() == [[15, -7, 0], [25, -7, 0], [20, -12, 0], [20, -2, 0]]  # to the right, then up


@pytest.mark.parametrize(("moat", "off"), [(1.4, None), (2.0, 2.5), (3.0, 3.5), (6.0, 6.5), (6.1, None)])
def test_arms_end_half_a_millimetre_off_the_groove_unless_it_takes_their_middles(
    moat: float, off: float | None
) -> None:
    size = (80.0, 60.0)
    register = with_moat(register_for(RegisterPlan(method="pins"), size, "1 sky"), size, moat)
    lines = register_lines.register_lines(dataclasses.replace(block(size=size), register=register))
    inward = shapely.distance(shapely.box(0, 0, *size), shapely.points(lines.xyz[:, :2])).min()
    assert inward == pytest.approx(2.0 if off is None else off)


@pytest.mark.parametrize(
    ("size", "around", "fits", "unturned"),
    [((600, 400), 0, True, True), ((400, 600), 0, True, False), ((601, 10), 0, False, False),
     ((500, 401), 0, False, False), ((596, 396), 2, True, True),
     ((597, 396), 2, False, True), ((596, 397), 2, False, True)],
)  # fmt: skip
def test_a_block_with_a_rim_on_the_bed(size, around: float, fits: bool, unturned: bool) -> None:
    machine = dataclasses.replace(SHELF.machine("laser-bed"), bed_width_mm=600.0, bed_height_mm=400.0)
    job = setup("birch-plywood", "laser-fine", machine=machine).on(block(size=size))
    assert (beam.fits_bed(job, around), beam.lies_unturned(job)) == (fits, unturned)
    for changed in ({"bed_width_mm": None}, {"bed_height_mm": None}):
        free = dataclasses.replace(job, machine=dataclasses.replace(machine, **changed))
        assert (beam.fits_bed(free, around), beam.lies_unturned(free)) == (True, True)


def test_feeds_are_rounded_down_to_tens_and_slower_where_it_goes_down() -> None:
    """600 mm/min along, 120 down: at a slope of 30 degrees it falls half as fast as it goes, so 240."""
    start = SimpleNamespace(feed_mm_min=607.0, plunge_mm_min=120.0)
    to = np.array([(0, 0, 1), (0, 0, 0), (9, 0, 0), (9 + math.cos(math.pi / 6), 0, -0.5), (20, 0, -0.5), (20, 0, 10)])
    kind = np.array([moves.HEIGHT, moves.DOWN, moves.CUT, moves.CUT, moves.CUT, moves.HEIGHT])
    assert moves._feeds(to, kind, start).tolist() == [np.inf, 120, 600, 240, 600, np.inf]
    slow = SimpleNamespace(feed_mm_min=7.0, plunge_mm_min=4.0)
    assert moves._feeds(to, kind, slow)[1:4].tolist() == [4, 7, 7]


@pytest.mark.parametrize(("off", "onward"), [(0.0009, True), (0.0011, False)])
def test_a_path_that_begins_where_the_last_one_ended_goes_on(off: float, onward: bool) -> None:
    paths = ways([(0, 0, -1), (5, 0, -1)], [(5 + off, 0, -1), (9, 0, -1)])
    operation = SimpleNamespace(paths=paths, passes=1)
    each = moves.moves_of([operation], SimpleNamespace(feed_mm_min=600.0, plunge_mm_min=120.0), 8.0)
    assert (each.kind == moves.DOWN).sum() == (1 if onward else 2)
    assert each.to[0].tolist() == [0, 0, 8]
    assert each.to[1].tolist() == [0, 0, 1]  # fast to a millimetre above the face
    assert each.to[-1].tolist() == [9, 0, 8]


def test_a_corner_is_passed_two_hundredths_of_a_millimetre_off() -> None:
    """A right angle: r = 0.02 cos 45° / (1 - cos 45°) = 0.0483 mm; at 1000 mm/s², sqrt(a r)."""
    assert timing.corner_mm_s(np.array([math.pi / 2]), 1000.0) == pytest.approx([math.sqrt(48.28)], rel=1e-3)
