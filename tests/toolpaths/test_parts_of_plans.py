"""Small parts of plans beside plain loops and on both sides of their limits: words, pieces of a raster, orders."""

from __future__ import annotations

import dataclasses
import itertools
import math
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.toolpaths import cutter_centre_region, plan_for, promises
from carvegen.toolpaths.fewer_points import points_kept
from carvegen.toolpaths.laser import planner as laser_planner
from carvegen.toolpaths.laser import tabs
from carvegen.toolpaths.laser.scanning import scan_lines
from carvegen.toolpaths.laser.tabs import _straightest, _stretch
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.motion.moves import ACROSS, CUT, DOWN, HEIGHT, moves_of
from carvegen.toolpaths.paths import Operation, Paths, Work, from_rings, picked
from carvegen.toolpaths.router.cut_through import _Tab, _tabbed, cut_through
from carvegen.toolpaths.router.floor_clearing import _breaks, _inner_first, _rows, nested
from carvegen.toolpaths.router.pockets import _clear
from carvegen.toolpaths.router.ramps import Descent
from carvegen.toolpaths.sequence.order import turned
from carvegen.toolpaths.sequence.tours import length_mm, tour
from carvegen.toolpaths.settings import MOST_STEPS, PathSettings
from carvegen.toolpaths.simulation import height_raster, simulated_block
from carvegen.toolpaths.simulation.height_raster import untouched
from carvegen.toolpaths.unmade import shortfalls
from carvegen.toolpaths.v_carving import planner as v_planner
from carvegen.toolpaths.v_carving.path_chaining import trails
from tests.cases import SHELF, block, box, disc, setup, shapes
from tests.checks.test_both_sides import moat


def paths_of(*lines: list[tuple[float, ...]], closed: tuple[bool, ...] | None = None) -> Paths:
    xyz = np.array([(*point, 0.0)[:3] for line in lines for point in line], dtype=float).reshape(-1, 3)
    start = np.cumsum([0, *map(len, lines)])
    return Paths(xyz, start, np.array(closed or [False] * len(lines), dtype=bool))


# ── a laser's words ──────────────────────────────────────────────────────────────────────────────────────────────

LASER = setup("cherry", "laser-fine", depth=1.2, material_values={"wall_deg": 60.0}).on(block(box(5, 5, 20, 15)))
SHARES = {word: Fraction(1, k) for k, word in enumerate(
    ("all", "half", "third", "quarter", "fifth", "sixth", "seventh"), start=1)}  # fmt: skip
TIMES = {"two": 2, "three": 3, "four": 4, "five": 5, "six": 6}


@pytest.mark.parametrize("count", range(2, MOST_STEPS + 2))
def test_a_step_beside_the_land_says_its_share_of_the_depth(count: int) -> None:
    for k in range(1, count):
        said = laser_planner._depth_words(LASER, k, count)
        place, _, rest = said.partition(": weaker, to about ")
        share, _, deep = rest.partition(" of the depth, ")
        assert place == ("beside the land" if k == 1 else f"the step below SHOULDER {k - 1} OF {count - 1}")
        words = share.replace(" a ", " ").removeprefix("a ").replace("thirds", "third").split()
        times = 2 if share == "two thirds" else TIMES[words[0]] if len(words) > 1 and words[1] == "times" else 1
        assert times * SHARES[words[-1]] == Fraction(k, count)
        assert (share == "two thirds") == ((k, count) == (2, 3))
        assert float(deep.removesuffix(" mm")) == pytest.approx(1.2 * k / count, abs=0.006)
    assert laser_planner._depth_words(LASER, count, count) == "lower to the full depth, 1.20 mm"


def test_the_floor_comes_first_then_the_steps_beside_the_land_and_it_alone_is_cautioned_against() -> None:
    steps = plan_for(LASER, PathSettings(shoulder_steps=2, line_spacing_mm=0.5)).operations
    steps = [step for step in steps if step.work in (Work.LOWER, Work.SHOULDER)]
    names = [(each.name, each.work) for each in steps]
    assert names == [
        ("LOWER FLOOR", Work.LOWER),
        ("SHOULDER 2 OF 2", Work.SHOULDER),
        ("SHOULDER 1 OF 2", Work.SHOULDER),
    ]
    assert [bool(one.cautions) for one in steps] == [True, False, False]
    assert [item.depth_mm for item in steps] == [1.2, 0.8, 0.4]
    assert [entry.area_lines_mm for entry in steps] == [0.5] * 3


@pytest.mark.parametrize("tabs", [False, True])
def test_a_rule_for_tabs_is_told_where_there_are_some(tabs: bool) -> None:
    each = setup("cherry", "laser-fine", thickness=3.0).on(block(cut_outs=(box(5, 5, 20, 15),)))
    said = list(laser_planner._about_through(each, PathSettings(tabs=tabs)))
    assert [line.startswith("Tabs: ") for line in said] == [False, *[True] * tabs]


@pytest.mark.parametrize("spacing", [0.1, 0.5])
def test_how_wide_the_steps_beside_the_land_are(spacing: float) -> None:
    """All together as wide as the wall leans out, none narrower than lines lie apart."""
    wide = 1.2 * math.tan(math.radians(60))
    for asked in range(MOST_STEPS + 1):
        count, step = laser_planner._shoulder(LASER, PathSettings(shoulder_steps=asked, line_spacing_mm=spacing))
        assert count == min(asked, int(wide / spacing))
        assert step * max(count, 1) == pytest.approx(wide)
    bevelled = dataclasses.replace(LASER, block=SimpleNamespace(bevelled=True))
    assert laser_planner._shoulder(bevelled, PathSettings(shoulder_steps=2)) == (0, 0.0)


# ── a raster ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_a_raster_reaches_three_pixels_beyond_the_block_and_begins_uncut() -> None:
    each = untouched(2.0, 1.0, 0.1)
    assert each.height.shape == each.edge.shape == (16, 26)
    assert each.corner == pytest.approx((-0.25, -0.25))
    assert (each.height == 0).all()
    assert each.edge == pytest.approx(np.full((16, 26), -0.3))


def test_pieces_of_paths_are_their_sides_in_parts_no_longer_than_asked() -> None:
    """A closed path has its closing side; a path of one point is a piece that goes nowhere."""
    lines = [[(0, 0), (3, 0), (3, 4)], [(9, 9, -1), (9, 10, -2)], [(5, 5)]]
    paths = paths_of(*lines, closed=(True, False, False))
    one, other = height_raster._pieces(paths, 0.6)
    length = np.hypot(*(other - one)[:, :2].T)
    assert length.max() <= 0.6 + 1e-9
    assert len(one) == 5 + 7 + 9 + 2 + 1  # 3, 4, 5 and 1 mm, and the point
    whole = np.concatenate([one[:1], other])
    corners = [(3, 0), (3, 4), (0, 0), (9, 10), (5, 5)]
    for number, corner in zip(np.cumsum([5, 7, 9, 2, 1]), corners, strict=True):
        assert whole[number, :2] == pytest.approx(corner)
    assert one[21] == pytest.approx([9, 9, -1])
    assert other[21] == pytest.approx([9, 9.5, -1.5])


def test_of_pieces_over_one_another_the_lowest_is_kept() -> None:
    a = np.array([(0, 0, -1), (0, 0, -3), (0, 0, -2), (5, 0, -1)], dtype=float)
    b = a.copy()
    b[:, 0] += (1, 1, 1, 2)
    kept, ends = height_raster._lowest(a, b)
    assert kept.tolist() == [[0, 0, -3], [5, 0, -1]]
    assert ends.tolist() == [[1, 0, -3], [7, 0, -1]]


def test_a_slope_is_taken_in_level_steps_at_their_middles() -> None:
    a, b = np.array([(0, 0, 0), (9, 9, -1)], dtype=float), np.array([(3, 0, -4), (9, 9, -1.2)], dtype=float)
    one, other = height_raster._stepped(a, b, 1.0)
    assert one[:, 2].tolist() == other[:, 2].tolist()
    assert one[:, 2] == pytest.approx([-0.4, -1.2, -2.0, -2.8, -3.6, -1.1])
    assert one[:5, 0] == pytest.approx([0, 0.6, 1.2, 1.8, 2.4])
    assert other[:5, 0] == pytest.approx([0.6, 1.2, 1.8, 2.4, 3.0])
    assert height_raster._stepped(a, b, 0.0)[0] is a


def test_pieces_are_looked_at_in_runs_of_about_so_many_pixels(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(height_raster, "_CHUNK", 10)
    count = np.array([3, 3, 3, 3, 30, 1, 1])
    runs = list(height_raster._chunks(count))
    assert [k for run in runs for k in range(len(count))[run]] == list(range(len(count)))
    assert max(count[run].sum() for run in runs) < 45
    assert len(runs) == 3
    assert list(height_raster._chunks(count[:0])) == []


def test_the_pixels_that_a_piece_may_touch_lie_within_its_reach_and_on_the_raster() -> None:
    relief = untouched(4.0, 3.0, 0.25)
    a, b = np.array([(1.0, 1, 0), (3.9, 0.1, 0), (-9, -9, 0)]), np.array([(2.0, 1.4, 0), (3.9, 0.1, 0), (-9, -9, 0)])
    half = np.array([0.4, 1.0, 0.5])
    x, y = (relief.corner[k] + 0.25 * np.arange(relief.height.shape[1 - k]) for k in (0, 1))
    low, size = relief._boxes(a, b, half)
    for k in range(3):
        reach = half[k] + 3 * 0.25 + 1e-9
        inside = [
            np.flatnonzero((at >= min(a[k, n], b[k, n]) - reach) & (at <= max(a[k, n], b[k, n]) + reach))
            for n, at in enumerate((x, y))
        ]
        assert size[k].prod() == len(inside[0]) * len(inside[1])
        if size[k].prod():
            assert low[k].tolist() == [inside[0][0], inside[1][0]]
            assert size[k].tolist() == [len(inside[0]), len(inside[1])]


def test_inside_closed_paths_and_not_in_their_holes_all_is_lowered_but_what_is_deeper_stays() -> None:
    relief = untouched(6.0, 5.0, 0.1)
    shape = shapely.difference(disc(3, 2.5, 2, points=9), disc(3, 2.5, 0.9, points=5))
    x, y = np.meshgrid(*(relief.corner[k] + 0.1 * np.arange(relief.height.shape[1 - k]) for k in (0, 1)))
    within = shapely.contains_xy(shape, x, y)
    relief.height[:20] = -2.0
    relief.edge[:20] = 0.4
    outside = relief.height.copy(), relief.edge.copy()
    relief.lower(from_rings(geometry.rings(shapes(shape))), 0.7, 0.2)
    assert relief.height == pytest.approx(np.where(within, np.minimum(outside[0], -0.7), outside[0]))
    assert relief.edge == pytest.approx(np.where(within, np.maximum(outside[1], 0.2), outside[1]))
    assert 500 < within.sum() < 2000


# ── promises ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_paths_as_lines_are_closed_where_they_are_and_a_point_is_a_short_line() -> None:
    lines = [[(0, 0), (3, 0), (3, 4)], [(9, 9), (9, 10)], [(5, 5)], [(1, 1), (2, 1), (2, 2)]]
    each = promises._lines(paths_of(*lines, closed=(True, False, False, False)))
    assert [shapely.get_coordinates(line).tolist() for line in each] == [
        [[0, 0], [3, 0], [3, 4], [0, 0]], [[9, 9], [9, 10]], [[5, 5], [5, 5]], [[1, 1], [2, 1], [2, 2]],
    ]  # fmt: skip


@pytest.mark.parametrize(("over", "expected"), [(-0.1, 0.0), (0.005, 0.0), (0.015, 0.015), (0.3, 0.3)])
def test_how_far_a_cutter_reaches_into_land_is_told_from_half_the_tolerance_on(over: float, expected: float) -> None:
    """Beside a straight wall: a flat cutter 3 mm wide, its middle 1.5 mm less `over` off."""
    job = setup("linoleum", "flat-3", depth=1.0).on(block(box(5, 5, 30, 20)))
    x = 5 + 1.5 - over
    operation = Operation(
        name="A", work=Work.WALL, asks="", cutter=SHELF.cutter("flat-3"), depth_mm=1.0,
        paths=paths_of([(x, 12, -1), (x, 18, -1)]),
    )  # fmt: skip
    assert promises.into_land_mm(SimpleNamespace(job=job), operation) == pytest.approx(expected, abs=1e-6)


# ── floors ───────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("seed", range(3))
def test_inner_rings_come_before_what_is_round_them_each_nest_by_itself(seed: int) -> None:
    """Twin: the nests one after another, of each ring first all that lies in it."""
    rng = np.random.default_rng(seed)
    counts = [3, 5, 6, 4]
    parents = [np.arange(3)] + [np.sort(rng.integers(0, counts[k], counts[k + 1])) for k in range(3)]
    order = []

    def visit(level: int, number: int) -> None:
        if level + 1 < len(counts):
            for child in np.flatnonzero(parents[level + 1] == number).tolist():
                visit(level + 1, child)
        order.append((level, number))

    for number in range(3):
        visit(0, number)
    every = [(level, number) for level, count in enumerate(counts) for number in range(count)]
    assert [every[k] for k in np.argsort(_inner_first(counts, parents))] == order


def test_lines_to_and_fro_are_spread_over_the_height_and_turn_at_each_row() -> None:
    """A U, whose upper rows are in two arms: the left arm's lines come before the right one's."""
    u = shapely.difference(box(0, 0, 10, 6), box(4, 2.5, 2, 9))
    parts = shapes(box(20, 0, 3, 1), u)
    part, row, ends = _rows(parts, 1.2)
    assert part.tolist() == [0] + [1] * 8
    assert row.tolist() == [0, 0, 1, 2, 3, 4, 2, 3, 4]
    assert ends[:, 0, 1] == pytest.approx([0.5, 0.6, 1.8, 3, 4.2, 5.4, 3, 4.2, 5.4])
    assert ends[:, :, 0] == pytest.approx(
        np.array([(20, 23), (0, 10), (10, 0), (0, 4), (4, 0), (0, 4), (6, 10), (10, 6), (6, 10)], dtype=float)
    )
    assert _breaks(parts, part, row, ends).tolist() == [True, True, False, False, False, False, True, False, False]


def test_a_way_between_lines_that_leaves_the_floor_is_not_gone() -> None:
    ends = np.array([[(0, 0.5), (4, 0.5)], [(4, 1.5), (0, 1.5)]], dtype=float)
    none, one = np.zeros(2, dtype=np.int64), np.arange(2)
    notched = shapely.difference(box(0, 0, 4, 2), box(3.5, 0.9, 1, 0.2))
    for shape, begins in ((box(0, 0, 4, 2), False), (notched, True)):
        assert _breaks(shapes(shape), none, one, ends).tolist() == [True, begins]
    assert _breaks(shapes(box(0, 0, 4, 2)), none, 2 * one, ends).tolist() == [True, True]  # a row lies between
    assert _breaks(shapes(box(0, 0, 4, 2), box(0, 0, 4, 2)), one, one, ends).tolist() == [True, True]


# ── where a cutter's centre may go ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("cut_out", "pieces"), [(box(20, 5, 5, 5), 1), (box(26, 5, 5, 5), 1), ((box(30, 5, 5, 5)), 1)])
def test_the_ground_is_the_cuts_with_what_of_the_cut_outs_touches_them(cut_out, pieces: int) -> None:
    each = cutter_centre_region.ground(block(box(5, 5, 15, 5), cut_outs=(cut_out,)))
    touches = cut_out.bounds[0] <= 20
    assert len(each) == pieces
    assert shapely.area(each).sum() == pytest.approx(75 + 25 * touches)
    assert len(cutter_centre_region.ground(block(cut_outs=(cut_out,)))) == 0
    assert len(cutter_centre_region.ground(block(box(5, 5, 15, 5)))) == 1


@pytest.mark.parametrize(("by_mm", "least"), [(0.0, 0.01), (1.5, 0.019)])
def test_what_is_narrower_than_two_hundredths_and_a_buffers_error_was_not_left(by_mm: float, least: float) -> None:
    assert cutter_centre_region.least_mm(by_mm) == pytest.approx(least)
    strips = shapes(box(0, 0, 2 * least - 0.001, 5), box(1, 0, 2 * least + 0.001, 5))
    rest, owner = cutter_centre_region.worth(strips, np.array([7, 9]), by_mm)
    assert (len(rest), owner.tolist()) == (1, [9])


# ── a V's lines ──────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("deep", "lines"), [(0.015, 0), (0.03, 1), (0.28, 1), (0.32, 1)])
def test_a_line_no_deeper_than_two_hundredths_is_left_out_and_one_under_three_tenths_told(deep: float, lines) -> None:
    """A slot as wide as a V of 60 degrees, blunt by 0.1 mm, is at that depth."""
    wide = 0.1 + 2 * deep * math.tan(math.radians(30))
    job = setup("linoleum", "v-60", machine=SHELF.machine("router-bed")).on(block(box(10, 10, 12, wide)))
    plan = plan_for(job, PathSettings())
    done = [step for step in plan.operations if step.work is Work.CENTRE_LINE]
    assert len(done) == lines
    if done:
        assert done[0].depth_mm == pytest.approx(deep, abs=1e-3)
        assert any("shallower than 0.3 mm" in remark for remark in plan.remarks) == (deep < 0.3)


@pytest.mark.parametrize("passes", [1, 2, 3])
def test_the_number_of_a_lines_pass_is_by_its_deepest_place(passes: int) -> None:
    step = 0.6 / passes
    lines = [[(0, 0, 0), (1, 0, -z)] for z in (0.1, 0.2, 0.2000001, 0.3, 0.31, 0.6)]
    wanted = [math.ceil(z / step - 1e-6) for z in (0.1, 0.2, 0.2, 0.3, 0.31, 0.6)]
    assert v_planner._pass_numbers(paths_of(*lines), step).tolist() == wanted


@pytest.mark.parametrize("seed", range(3))
def test_a_net_is_followed_link_by_link_each_once_and_lifted_as_rarely_as_can_be(seed: int) -> None:
    """Half as often as an odd number of links meet at a place, piece by piece; once for a piece without any."""
    rng = np.random.default_rng(seed)
    xyz = np.column_stack([rng.random((30, 2)) * 10, -rng.random(30)])
    links = {tuple(sorted(pair)) for pair in rng.integers(0, 30, (26, 2)).tolist() if pair[0] != pair[1]}
    links |= {(a + 30, b + 30) for a, b in ((0, 1), (1, 2), (0, 2))}
    xyz = np.concatenate([xyz, [(20, 0, -1), (22, 0, -1), (21, 2, -1)]])
    each = trails(xyz, np.array(sorted(links)))
    at = {tuple(point): k for k, point in enumerate(xyz.tolist())}
    number = [at[tuple(point)] for point in each.xyz.tolist()]
    gone = []
    for k in range(len(each)):
        own = number[each.start[k] : each.start[k + 1]]
        own += own[:1] if each.closed[k] else []
        gone += [tuple(sorted(pair)) for pair in itertools.pairwise(own)]
    assert sorted(gone) == sorted(links)
    degree = np.bincount(np.array(sorted(links)).ravel(), minlength=33)
    group = geometry.linked_groups(33, *np.array(sorted(links)).T)
    odd = np.bincount(group, weights=degree % 2 == 1)
    wanted = sum(max(1, odd[k] / 2) for k in set(group[degree > 0].tolist()))
    assert len(each) == wanted


# ── orders ───────────────────────────────────────────────────────────────────────────────────────────────────────


def test_paths_are_turned_that_are_marked() -> None:
    each = turned(paths_of([(0, 0), (1, 0), (2, 5)], [(7, 7), (8, 8)], [(3, 3)]), np.array([True, False, True]))
    assert each.xyz[:, :2].tolist() == [[2, 5], [1, 0], [0, 0], [7, 7], [8, 8], [3, 3]]
    assert each.start.tolist() == [0, 3, 5, 6]


# ── pockets, rings, tabs ─────────────────────────────────────────────────────────────────────────────────────────


def test_a_way_is_clear_that_lies_in_its_part_or_goes_nowhere() -> None:
    room = shapes(box(0, 0, 4, 4), box(10, 0, 4, 4))
    begin = np.array([(1, 1), (1, 1), (1, 1), (9, 9), (11, 1), (1, 1)], dtype=float)
    end = np.array([(3, 2), (3, 5), (1, 9), (9, 9), (13, 3), (3, 2)], dtype=float)
    clear = _clear(room, np.array([0, 0, 0, 0, 1, 1]), begin, end)
    assert clear.tolist() == [True, False, False, True, True, False]


def test_rings_off_the_wall_are_drawn_with_fewer_points_a_twentieth_of_a_step_off() -> None:
    """Chords of a circle: the sag of the longest; the ring at the wall stays as it is."""
    round_ = shapely.Point(0, 0).buffer(20, quad_segs=200)
    rings, _ = nested(shapes(round_), 0.0, 2.0)
    outer, next_ = (rings.xyz[rings.start[k] : rings.start[k + 1], :2] for k in (-2, -3))
    assert len(outer) == 800
    middle = (next_ + np.roll(next_, 1, axis=0)) / 2
    assert 0.03 < 18 - np.hypot(*middle.T).min() < 0.055 * 2.0
    assert len(next_) < 100


def test_gaps_for_tabs_lie_in_the_middle_half_of_each_stretch() -> None:
    """A square whose corners lie at six tenths of each stretch: so far off them as the gap asks is before them."""
    path = paths_of([(24, 0), (40, 0), (40, 40), (0, 40), (0, 0)], closed=(True,))
    xy = np.concatenate([path.xyz, path.xyz[:1]])[:, :2]
    at = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
    at_corner = 16 / 40
    places = np.array(_straightest(xy, at, 4, 10.0)) / 40
    assert (places % 1 >= 0.25).all()
    assert (places % 1 <= 0.75).all()
    assert (np.abs(places % 1 - at_corner) >= 0.25).all()


def uneven_ring(seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Corners of a star-shaped ring, the first once more at the end, and how far along it each lies."""
    rng = np.random.default_rng(seed)
    turn, far = np.sort(rng.uniform(0, 2 * np.pi, 40)), rng.uniform(8, 20, 40)
    xy = np.column_stack([far * np.cos(turn), far * np.sin(turn)])
    xy = np.concatenate([xy, xy[:1]])
    return xy, np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def even_ring() -> tuple[np.ndarray, np.ndarray]:
    """As `uneven_ring`, of 40 even sides; the line heads due west in the middle of its second fifth."""
    turn = 2 * np.pi * (np.arange(41) / 40 - 0.05)
    xy = 15 * np.column_stack([np.cos(turn), np.sin(turn)])
    return xy, np.arange(41) * float(np.hypot(*(xy[1] - xy[0])))


@pytest.mark.parametrize(("xy", "at"), [*map(uneven_ring, range(4)), even_ring()])
def test_a_gap_for_a_tab_lies_where_the_line_turns_least_as_every_place_tried_alone_has_it(xy, at) -> None:
    """Turns by the quotient of complex numbers; of places that turn as much the one nearest to the middle."""
    steps = np.diff(xy, axis=0) @ [1, 1j]
    turn = np.abs(np.angle(steps / np.roll(steps, 1)))
    stretch = at[-1] / 5
    for k, place in enumerate(_straightest(xy, at, 5, 2.0)):
        tried = []
        for share in 0.25 + 0.5 * (np.arange(tabs._PLACES) + 0.5) / tabs._PLACES:
            far = np.abs(at[:-1] - (k + share) * stretch)
            near = np.minimum(far, at[-1] - far) < 2.0
            tried.append((round(turn[near].sum(), 5), abs(share - 0.5), (k + share) * stretch))
        assert place == pytest.approx(min(tried)[2])


@pytest.mark.parametrize("seed", range(4))
def test_a_piece_of_a_closed_line_is_what_lies_along_it_between_two_places(seed: int) -> None:
    xy, at = uneven_ring(seed)
    ring, length = shapely.LineString(xy), at[-1]
    for begin, end in ((0.1, 0.3), (0.6, 0.95), (0.7, 1.4), (0.99, 1.985), (0.02, 0.999)):
        piece = _stretch(np.column_stack([xy, np.full(len(xy), -2.0)]), at, begin * length, end * length)
        points = piece.xyz[:, :2]
        ends = [ring.line_interpolate_point(share % 1, normalized=True).coords[0] for share in (begin, end)]
        assert points[[0, -1]] == pytest.approx(np.array(ends))
        assert shapely.LineString(points).length == pytest.approx((end - begin) * length)
        assert shapely.hausdorff_distance(shapely.intersection(ring.buffer(1e-6), shapely.LineString(points)),
                                          shapely.LineString(points)) < 1e-6  # fmt: skip
        assert (piece.xyz[:, 2] == -2.0).all()
        assert not piece.closed.any()


def test_over_a_tab_earlier_rounds_stay_a_little_higher() -> None:
    """By a twentieth of what they lack in depth; it is three tenths of the thickness high, at most 1.5 mm."""
    square = [(0.0, 0.0), (30.0, 0.0), (30.0, 30.0), (0.0, 30.0), (0.0, 0.0)]
    for thick, top, deep in ((3.0, -2.1, 3.2), (12.0, -10.5, 12.2)):
        rounds = [(*point, z) for z in (0.7 - deep, -deep) for point in square]
        kept = _tabbed(paths_of(rounds, closed=(True,)), 120.0, _Tab(thick, deep, 3.0)).xyz[:, 2]
        half = len(kept) // 2
        assert kept[:half].max() == pytest.approx(top + 0.05 * 0.7)
        assert kept[half + 2 :].max() == pytest.approx(top)


def test_a_loose_piece_too_small_for_a_tab_is_cleared_by_rings_half_a_radius_apart() -> None:
    """2.4 mm from the middle it is 15.1 mm round, a tab asks for 15.6; its core is 0.9 mm large."""
    cutter: Any = SimpleNamespace(face_mm=1.5)
    down = Descent(depth_mm=3.2, passes=1, ramp_deg=80.0)
    paths = cut_through(shapes(disc(0, 0, 2.4, points=200)), cutter, down, 3.0, tabs=True)
    far = [np.hypot(*line.xyz[:, :2].T).max() for line in (picked(paths, np.array([k])) for k in range(len(paths)))]
    assert sorted(far) == pytest.approx([0.15, 0.9, 2.4], abs=0.03)
    for radius, ways in ((2.47, 3), (2.5, 1), (3.0, 1)):
        assert len(cut_through(shapes(disc(0, 0, radius, points=200)), cutter, down, 3.0, tabs=True)) == ways
    assert (paths.xyz[:, 2] <= 0).all()


def test_what_is_followed_twice_is_as_long_as_a_speck_for_a_beam_and_as_its_cut_for_a_cutter(monkeypatch) -> None:
    monkeypatch.setattr(promises, "doubled", lambda _, least: least)
    monkeypatch.setattr(promises, "_widest_mm", lambda _: 3.0)
    for form, least in (("laser", promises._SPECK_MM), ("straight", 3.0), ("v", 3.0)):
        operation = SimpleNamespace(cutter=SimpleNamespace(form=form), paths=None, name="one")
        said = list(promises._twice(SimpleNamespace(operations=[operation]), None))
        assert said == [f"one: {least} lines are followed twice"]


@pytest.mark.parametrize("seed", range(6))
def test_no_piece_of_a_tour_turned_or_moved_makes_it_shorter(seed: int) -> None:
    """Of seven stops, all of which are neighbours: every piece turned, and up to three stops moved anywhere."""
    rng = np.random.default_rng(seed)
    ends, home = rng.random((14, 2)) * 20, np.zeros(2)
    side = tour(ends, home)
    assert sorted((side >> 1).tolist()) == list(range(7))
    least = length_mm(side, ends, home) - 1e-5
    others = [[*side[:i], *(side[i:j][::-1] ^ 1), *side[j:]] for i in range(7) for j in range(i + 1, 8)]
    for i, count in itertools.product(range(7), (1, 2, 3)):
        piece, rest = side[i : i + count], [*side[:i], *side[i + count :]]
        for to in range(len(rest) + 1):
            others += [[*rest[:to], *some, *rest[to:]] for some in (piece, piece[::-1] ^ 1)]
    assert min(length_mm(np.array(other), ends, home) for other in others) >= least


# ── blocks cut out of their sheets ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("thick", "clamp", "asked", "kinds"),
    [
        (3.0, None, True, []),
        (3.0, None, False, []),
        (3.0, box(20, -5, 5, 4.95), True, ["clamp"]),
        (3.0, box(20, -5, 5, 4.4), True, []),
        (60.0, None, True, ["too-thick"]),
        (60.0, box(20, -5, 5, 4.95), True, ["too-thick"]),
    ],
)
def test_what_keeps_a_block_from_being_cut_out_of_its_sheet(thick: float, clamp, asked: bool, kinds) -> None:
    """A beam of 0.2 mm goes round it 0.1 mm off."""
    job = setup("cherry", "laser-fine", thickness=thick, depth=1.0).on(block(box(5, 5, 20, 15)))
    no_go = shapes(clamp) if clamp else geometry.empty()
    report = list(laser_planner._uncut_edge(job, PathSettings(cut_edge=asked, no_go=no_go)))
    assert [each.kind for each in report] == kinds


def test_nothing_lies_outside_a_board_where_there_is_no_path() -> None:
    board = (0.0, 0.0, 40.0, 30.0)
    assert promises.outside_mm(paths_of(), board) == 0
    for point, far in (((20, 15), 0), ((-2, 15), 2), ((43, 15), 3), ((20, -4), 4), ((20, 35), 5), ((41, 33), 3)):
        assert promises.outside_mm(paths_of([(20, 15), point]), board) == far


# ── what is left out, and what is told ───────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("wide", "lines"), [(0.0199, 0), (0.0201, 10), (5.0, 10)])
def test_a_line_shorter_than_two_hundredths_is_a_spot_that_its_neighbours_burn(wide: float, lines: int) -> None:
    each = scan_lines(shapes(box(30, 0, wide, 1)), 0.1)
    assert len(each) == lines
    if lines:
        assert each.entries[:, 0] == pytest.approx(np.where(np.arange(lines) % 2, 30 + wide, 30))
        assert each.exits[:, 0] == pytest.approx(np.where(np.arange(lines) % 2, 30, 30 + wide))
        assert each.entries[:, 1] == pytest.approx(0.05 + 0.1 * np.arange(lines))
    assert len(scan_lines(geometry.empty(), 0.1)) == 0


def test_level_lines_go_shape_by_shape_in_each_row_and_leave_holes_out() -> None:
    holed = shapely.difference(box(0, 0, 6, 2), box(2, 0.2, 1, 1.6))
    each = scan_lines(shapes(holed, box(8, 0, 2, 1)), 1.0)
    ends = np.stack([each.entries[:, 0], each.exits[:, 0]], axis=1).tolist()
    assert ends == [[0, 2], [3, 6], [8, 10], [6, 3], [2, 0]]


@pytest.mark.parametrize("groove", [False, True])
def test_how_round_all_that_is_lowered_is_told_of_the_groove_beside_the_picture_too(groove: bool) -> None:
    job = moat(2.0) if groove else LASER
    for each, wanted in zip(laser_planner._star_radii(job.block), geometry.star_radii(job.block.lowered), strict=True):
        assert each.tolist() == wanted.tolist()
    assert (len(job.block.lowered) > len(job.block.cuts)) == groove


@pytest.mark.parametrize(
    ("measured", "rim", "planned", "expected"),
    [
        (0.46, False, None, True), (0.48, False, None, False), (0.3, True, None, False), (0.3, False, 0.3, False),
        (0.3, False, 0.34, True),
    ],
)  # fmt: skip
def test_land_left_narrower_is_told_from_three_hundredths_on_where_the_plan_s_was_wider(
    measured: float, rim: bool, planned: float | None, expected: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def found(width: float | None) -> list[Finding]:
        return [] if width is None else [Finding(
            rule="land-width", severity=Severity.BREAKS, at=(0.3 if rim else 9.0, 10.0), measured=width, limit=0.5,
            unit="mm", why="", remedy="")]  # fmt: skip

    made, plan = block(), LASER
    monkeypatch.setattr(simulated_block, "checked", lambda job: found(measured if job.block is made else planned))
    of = SimpleNamespace(plan=SimpleNamespace(job=plan), block=made, relief=SimpleNamespace(px_mm=0.2))
    assert bool(list(simulated_block.new_findings(of))) == expected


@pytest.mark.parametrize(("more", "expected"), [(0.0005, False), (0.0015, True)])
def test_a_bed_has_room_to_a_micrometre(more: float, expected: bool) -> None:
    machine = SimpleNamespace(bed_width_mm=30.0, bed_height_mm=50.0)
    operation = SimpleNamespace(paths=paths_of([(0, 0), (40, 30 + more)]))
    plan = SimpleNamespace(job=SimpleNamespace(machine=machine), operations=(operation,))
    assert bool(list(shortfalls._beyond_bed(plan))) == expected
    assert shortfalls.extent_mm((operation, operation)) == pytest.approx((40, 30 + more))
    assert shortfalls.extent_mm(()) == (0, 0)


@pytest.mark.parametrize(("gap", "within", "near"), [(0.019, 0.0, True), (0.021, 0.0, False), (1.019, 1.0, True)])
def test_what_lies_beside_a_clamp(gap: float, within: float, near: bool) -> None:
    each = shapes(box(5, 5, 5, 5), box(10 + gap, 5, 5, 5))
    assert shortfalls.beside(each[:1], each[1:], within).tolist() == [near]
    for one, other in ((each, each[:0]), (each[:0], each), (each[:0], each[:0])):
        assert shortfalls.beside(one, other, within).tolist() == [False] * len(one)


@pytest.mark.parametrize("off", [0.001, 0.002])
def test_a_level_line_that_runs_along_a_closed_one_is_left_out(off: float) -> None:
    ring = paths_of([(20, 0), (30, 0), (30, 8), (20, 8)], closed=(True,))
    lines = paths_of([(21, off), (25, off)], [(21, 3), (29, 3)], [(29, 8 - off), (22, 8 - off)])
    left = laser_planner._off_lines(lines, ring)
    assert left.entries[:, 1].tolist() == ([3] if off < 0.0015 else [off, 3, 8 - off])
    assert laser_planner._off_lines(lines, paths_of()) is lines
    assert len(laser_planner._off_lines(paths_of(), ring)) == 0


START = SimpleNamespace(feed_mm_min=1000.0, plunge_mm_min=300.0)


def test_every_move_of_a_cutter_and_none_between_paths_that_follow_one_another() -> None:
    """A square, an open line that begins where it ended and ends elsewhere, one that goes on, and one beside them."""
    square = [(0, 0, -1), (5, 0, -1), (5, 5, -1)]
    lines = [(0, 0, -1), (0, 9, -1), (2, 9, -1)], [(2, 9, -1), (2, 12, -1)], [(20, 1, -2), (20, 4, -2)]
    paths = paths_of(square, *lines, closed=(True, False, False, False))
    each = moves_of([SimpleNamespace(paths=paths, passes=2)], START, 10.0)
    wanted = [
        (ACROSS, 0, 0, 10), (HEIGHT, 0, 0, 1), (DOWN, 0, 0, -1), (CUT, 5, 0, -1), (CUT, 5, 5, -1), (CUT, 0, 0, -1),
        (CUT, 0, 9, -1), (CUT, 2, 9, -1), (CUT, 2, 12, -1), (HEIGHT, 2, 12, 10),
        (ACROSS, 20, 1, 10), (HEIGHT, 20, 1, 1), (DOWN, 20, 1, -2), (CUT, 20, 4, -2), (HEIGHT, 20, 4, 10),
    ]  # fmt: skip
    assert np.column_stack([each.kind, each.to]).tolist() == [list(map(float, row)) for row in wanted + wanted]
    assert each.fast.tolist() == [row[0] in (ACROSS, HEIGHT) for row in wanted + wanted]
    assert moves_of([SimpleNamespace(paths=paths_of(), passes=1)], START, 10.0).to.shape == (0, 3)


def test_two_operations_are_not_gone_through_without_lifting() -> None:
    one, other = paths_of([(0, 0, -1), (5, 0, -1)]), paths_of([(5, 0, -1), (9, 0, -1)])
    item = moves_of([SimpleNamespace(paths=each, passes=1) for each in (one, other)], START, 10.0)
    assert item.operation.tolist() == [0] * 5 + [1] * 5
    assert item.kind.tolist() == [ACROSS, HEIGHT, DOWN, CUT, HEIGHT] * 2


def test_what_lies_at_the_edge_of_a_board_with_waste_round_it() -> None:
    points = np.array([(-5, 15), (45, 15), (20, -7), (20, 37), (-4.9, 15), (44.9, 15), (20, -6.9), (20, 36.9), (0, 0)])
    assert promises._at_edge(points, (-5.0, -7.0, 45.0, 37.0)).tolist() == [True] * 4 + [False] * 5


@pytest.mark.parametrize("sloped", [False, True])
def test_where_a_plan_slopes_the_wall_its_steepness_is_no_risk(sloped: bool) -> None:
    def one(rule: str, severity: Severity) -> Finding:
        return Finding(rule=rule, severity=severity, at=None, measured=1, limit=2, unit="mm", why="", remedy="")

    rules = ("wall-angle", Severity.RISK), ("wall-angle", Severity.BREAKS), ("bed-size", Severity.RISK)
    report = Report.of([one(*each) for each in rules])
    work = Work.SHOULDER if sloped else Work.LOWER
    plan = SimpleNamespace(
        operations=(SimpleNamespace(work=work, cutter=SHELF.cutter("laser-fine")),), job=LASER,
        findings=(one("not-cut", Severity.BREAKS),),
    )  # fmt: skip
    answer = sorted((item.rule, item.severity) for item in shortfalls.with_plan(report, plan))
    assert len(answer) == 4 - sloped
    assert ("wall-angle", Severity.RISK) not in answer or not sloped


@pytest.mark.parametrize("lobe", [False, True])
def test_points_are_left_out_only_where_the_straight_way_lies_in_the_room(lobe: bool) -> None:
    """Along the side of a room with a bite in it: the way past the bite keeps its points."""
    path = paths_of([(1, 1), (3, 1.05), (5, 1), (7, 1.05), (9, 1)])
    room = shapely.difference(box(0, 0, 10, 5), box(6.9, 0, 0.2, 1.02)) if lobe else box(0, 0, 10, 5)
    kept = points_kept(path, 0.1, room=shapes(room))
    assert kept[3] == lobe
    assert points_kept(path, 0.1).tolist() == [True, False, False, False, True]
    assert points_kept(path, 0.02, room=shapes(room)).all()


@pytest.mark.parametrize(("long", "count"), [(0.009, 0), (0.011, 1), (0.019, 1), (3.0, 1)])
def test_a_piece_followed_twice_counts_from_a_hundredth_on(long: float, count: int) -> None:
    each = paths_of([(0, 0), (long, 0)], [(long, 0), (0, 0)], [(5, 5), (5, 9)])
    assert promises.doubled(each) == count


def test_over_what_a_head_passes_in_an_area_and_between_lines() -> None:
    """Two lines above one another: the way between them leaves the middle of what lies round both alone."""
    paths, clamp = paths_of([(0, 0), (10, 0)], [(10, 8), (0, 8)]), box(3, 3, 2, 2)
    for lines, over in ((None, False), (0.1, True)):
        each = SimpleNamespace(paths=paths, area_lines_mm=lines)
        assert shortfalls._passes_over(each, clamp) == over
        assert shortfalls._passes_over(each, box(9, 3, 2, 2))
        assert not shortfalls._passes_over(SimpleNamespace(paths=paths_of(), area_lines_mm=lines), clamp)


@pytest.mark.parametrize("turn", [0.0, 1.0, 2.5])
def test_at_a_crossing_each_line_goes_straight_on(turn: float) -> None:
    """Four arms that bend later on: what counts is how they leave the crossing."""
    angle = turn + np.array([0, 0.5, 1, 1.45]) * np.pi
    near = np.column_stack([np.cos(angle), np.sin(angle)])
    far = near + np.column_stack([np.cos(angle + 1.2), np.sin(angle + 1.2)])
    xyz = np.column_stack([np.concatenate([np.zeros((1, 2)), near, far]), np.zeros(9)])
    xyz[:, :2] += (40, 25)
    xyz[5:, 2] = (-0.1, -0.2, -0.3, -0.4)
    each = trails(xyz, np.array([(0, 1), (0, 2), (0, 3), (0, 4), (1, 5), (2, 6), (3, 7), (4, 8)]))
    runs = [each.xyz[a:b] for a, b in itertools.pairwise(each.start.tolist())]
    assert [run[[0, -1]].tolist() for run in runs] == [xyz[[5, 7]].tolist(), xyz[[6, 8]].tolist()]


@pytest.mark.parametrize("neck", [0.18, 0.22])
def test_a_cut_in_whose_neck_the_beam_has_no_room_is_in_doubt_however_short_the_neck(neck: float) -> None:
    """Two discs that meet over so much, for a beam of 0.2 mm: no place of it lies far from where the beam goes."""
    apart = 2 * math.sqrt(1 - (neck / 2) ** 2)
    cut = shapely.union(*(shapely.Point(x, 0).buffer(1, quad_segs=64) for x in (0, apart)))
    cuts = shapes(cut)
    room = shapely.buffer(cuts, -0.1, quad_segs=64)
    assert laser_planner._doubtful(cuts, room, 0.1).tolist() == [neck < 0.2]
    assert laser_planner._doubtful(cuts, shapes(shapely.Polygon()), 0.1).tolist() == [True]


@pytest.mark.parametrize(
    ("work", "raster", "usual", "pace"),
    [
        (Work.SCORE, 400.0, 30.0, 30.0), (Work.LOWER, 400.0, 30.0, 400.0), (Work.SHOULDER, None, 30.0, 30.0),
        (Work.SCORE, 400.0, None, 1.0), (Work.LOWER, None, None, 1.0),
    ],
)  # fmt: skip
def test_a_beam_lowers_at_its_fast_pace_and_scores_at_its_own(work: Work, raster, usual, pace: float) -> None:
    machine = dataclasses.replace(LASER.machine, raster_mm_s=raster, work_mm_s=usual)
    operation = SimpleNamespace(work=work, depth_mm=1.0)
    assert timing._laser_mm_s(operation, dataclasses.replace(LASER, machine=machine)) == pace


@pytest.mark.parametrize(("gap", "expected"), [(1.45, True), (1.55, False)])
def test_a_block_is_not_cut_out_by_a_router_where_a_clamp_is_in_the_way(gap: float, expected: bool) -> None:
    """A cutter of 3 mm goes round it 1.5 mm off, and a clamp stays as far off the cutter's middle."""
    job = setup("linoleum", "flat-3", machine=SHELF.machine("router-bed")).on(block(box(10, 10, 12, 8)))
    clamp = shapes(box(20, -5 - 1.5 - gap, 5, 5))
    plan = plan_for(job, PathSettings(cut_edge=True, no_go=clamp))
    assert [finding.kind for finding in plan.findings if finding.rule == "not-cut"] == ["clamp"] * expected
    assert (Work.CUT_BLOCK in {step.work for step in plan.operations}) == (not expected)


@pytest.mark.parametrize(("gap", "covered"), [(1.05, 1), (1.13, 0)])
def test_a_corner_that_a_v_leaves_is_a_clamps_within_half_its_groove(gap: float, covered: int) -> None:
    """One blunt by 1 mm is 2.155 mm wide at 1 mm (60 degrees); three corners stay, as it is round there."""
    values = {"values": SHELF.cutter("v-60").values | {"tip_mm": 1.0}}
    setup_ = setup("linoleum", "v-60", depth=1.0, machine=SHELF.machine("router-bed"), cutter_values=values)
    job = setup_.on(block(shapely.Polygon([(10, 10), (22, 10), (22, 16)])))
    plan = plan_for(job, PathSettings(no_go=shapes(box(6 - gap, 8, 4, 4))))
    assert (len(plan.unreached), len(plan.covered)) == (3 - covered, covered)
