"""Parts of paths beside plain loops: what cutters leave on slopes, orders, outlines on the grid, depths at once."""

from __future__ import annotations

import dataclasses
import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.facts.feeds import Start
from carvegen.toolpaths import cutter_centre_region, plan_for, promises
from carvegen.toolpaths.laser import planner as laser_planner
from carvegen.toolpaths.laser.scanning import (
    _laid_on_grid,
    _on_grid,
    _whole,
    contours,
    from_leftmost,
    outlines,
    row_crossings,
)  # fmt: skip
from carvegen.toolpaths.paths import Operation, Paths, Work, from_rings, no_paths
from carvegen.toolpaths.router import planner as router_planner
from carvegen.toolpaths.router import pockets, remarks
from carvegen.toolpaths.router.ramps import Descent
from carvegen.toolpaths.sequence.tours import along_curve, length_mm, tour
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.simulation.tool_sweep import _V, Pieces, _Round, _Upright
from carvegen.toolpaths.unmade import shortfalls
from tests.cases import SHELF, block, box, disc, setup, shapes

# ── what a cutter leaves ─────────────────────────────────────────────────────────────────────────────────────────

TAN, BLUNT, RADIUS = math.tan(math.radians(30)), 0.1, 0.6
SHELL = np.linspace(0, 2, 401)
V, END = _V(TAN, BLUNT), _Upright(RADIUS)
BALL = _Round(SHELL, np.sqrt(np.maximum(1 - np.maximum(1 - SHELL, 0) ** 2, 0)))
#: Half-widths at heights above the tip.
SHAPES = {
    "v": (V, lambda d: np.maximum(d - BLUNT, 0) / TAN),
    "flat": (END, lambda d: np.where(d <= RADIUS, 0.0, np.inf)),
    "ball": (BALL, lambda d: np.where(d <= 1, 1 - np.sqrt(np.maximum(1 - d**2, 0)), np.inf)),
}


def pieces_of(*ends: tuple[tuple[float, float, float], tuple[float, float, float]]) -> Pieces:
    a, b = (np.array(side, dtype=float) for side in zip(*ends, strict=True))
    return Pieces.of(a, b)


@pytest.mark.parametrize(
    ("name", "fall"),
    [("ball", 0.0), *((name, fall) for name in ("v", "flat") for fall in (0.0, -0.4, 0.4, -1.0, -6.0))],
)
def test_what_a_cutter_leaves_is_the_lowest_of_it_at_all_places_of_its_way(name: str, fall: float) -> None:
    """On a slope a round one is looked at in level steps: it is asked about level ways alone."""
    groove, height_over = SHAPES[name]
    ends = (1.0, 1.0, -2.0), (2.6, 2.2, -2.0 + fall)
    direction = np.linspace(*map(np.array, ends), 801)
    x, y = (side.ravel() for side in np.meshgrid(np.linspace(0, 4, 15), np.linspace(0, 4, 13)))
    away = np.hypot(x[:, None] - direction[:, 0], y[:, None] - direction[:, 1])
    wanted = np.minimum((direction[:, 2] + height_over(away)).min(axis=1), 0)
    edge, left = groove.passed(x, y, pieces_of(ends), np.zeros(len(x), dtype=np.int64))
    sure = np.abs(edge) > 0.01
    assert ((edge > 0) == (wanted < 0))[sure].all()
    assert left[(edge > 0) & sure] == pytest.approx(wanted[(edge > 0) & sure], abs=0.01)


def test_a_way_above_the_face_cuts_nothing_and_one_straight_down_a_hole() -> None:
    x, y, k = np.array([0.0, 0.05, 3.0]), np.zeros(3), np.zeros(3, dtype=np.int64)
    for name in ("v", "flat", "ball"):
        groove = SHAPES[name][0]
        edge, left = groove.passed(x, y, pieces_of(((0, 0, 1), (5, 0, 1))), k)
        assert (edge <= 0).all()
        assert (left == 0).all()
        edge, left = groove.passed(x, y, pieces_of(((0, 0, -1), (0, 0, -1))), k)
        assert (edge > 0).tolist() == [True, True, False]
        assert left[:2] == pytest.approx([-1, -1], abs=0.01)


@pytest.mark.parametrize(
    ("name", "depth", "half"),
    [("v", 1.0, BLUNT + TAN), ("v", 0.0, 0), ("flat", 1.0, RADIUS), ("flat", 0.0, 0), ("ball", 0.5, 0.75**0.5)],
)
def test_how_wide_a_groove_is_at_the_face(name: str, depth: float, half: float) -> None:
    assert SHAPES[name][0].half_mm(np.array([-depth])) == pytest.approx([half], abs=1e-3)


# ── orders ───────────────────────────────────────────────────────────────────────────────────────────────────────


def test_points_along_a_curve_go_through_quarters_of_quarters() -> None:
    """Twin: the bits of both whole numbers in turn, to the last of sixteen."""
    xy = np.random.default_rng(3).integers(0, 2**16, (400, 2))
    xy[:4] = [(0, 0), (2**16 - 1, 2**16 - 1), (77, 78), (77, 79)]
    code = [sum(((x >> k & 1) << 2 * k) | ((y >> k & 1) << 2 * k + 1) for k in range(16)) for x, y in xy.tolist()]
    assert along_curve(xy.astype(float)).tolist() == np.argsort(code, kind="stable").tolist()
    assert along_curve(np.zeros((3, 2))).tolist() == [0, 1, 2]


def test_a_tour_of_stops_in_a_row_goes_straight_through_them() -> None:
    """Each is left at its other end; drawn backwards they are turned."""
    ends = np.array([[(10 * k, 0), (10 * k + 4, 0)] for k in range(12)], dtype=float)
    mixed = np.random.default_rng(5).permutation(12)
    ends[mixed % 2 == 1] = ends[mixed % 2 == 1][:, ::-1]
    flat = ends[mixed].reshape(-1, 2)
    direction = tour(flat, np.array([-5.0, 0]))
    assert flat[direction, 0].tolist() == [10.0 * k for k in range(12)]
    assert length_mm(direction, flat, np.array([-5.0, 0])) == pytest.approx(5 + 11 * 6)
    assert length_mm(direction[:0], flat, np.zeros(2)) == 0


# ── outlines on the grid ─────────────────────────────────────────────────────────────────────────────────────────

ELL = shapely.Polygon([(0, 0), (4, 0), (4, 1), (1, 1), (1, 4), (0, 4)])
TICK = shapely.Polygon([(0, 0), (4, 0), (4, 4), (2, 0.0004), (0, 4)])
HOLED = shapely.difference(box(0, 0, 9, 9), disc(4, 4, 2, points=17))


def test_shapes_stay_whole_whose_points_may_be_rounded_one_by_one() -> None:
    crumb = shapely.Polygon([(0, 0), (3e-4, 0), (0, 3e-4)])
    values = shapes(disc(5, 5, 3), ELL, HOLED, TICK, crumb)
    rings = geometry.rings(values)
    assert _whole(values, rings, _on_grid(rings)).tolist() == [True, True, True, False, False]


def test_what_rounding_spoils_is_laid_on_the_grid_as_a_whole() -> None:
    """The tick's notch reaches its foot: two shapes are left; others come as they are, each begun at its left."""
    paths, whose = outlines(shapes(ELL, TICK, HOLED))
    assert whose.tolist() == [0, 1, 1, 2, 2]
    assert len(_laid_on_grid(shapes(TICK))) == 2
    for k in range(len(paths)):
        x = paths.xyz[paths.start[k] : paths.start[k + 1], 0]
        assert x[0] == x.min()
    assert from_leftmost(paths).xyz.tolist() == paths.xyz.tolist()
    assert len(from_leftmost(no_paths())) == len(contours(geometry.empty(), 1.0)[0]) == 0


def test_rows_cross_an_outline_where_they_should() -> None:
    """Rows of a tenth lie at .05, .15 and so on; a triangle of height 1 is met twice by ten of them."""
    edge, row, x = row_crossings(np.array([0.0, 2, 1]), np.array([0.0, 0, 1]), np.array([1, 2, 0]), 0.1)
    assert sorted(row.tolist()) == sorted([*range(10)] * 2)
    assert set(edge.tolist()) == {1, 2}
    height = 0.05 + row / 10
    assert x == pytest.approx(np.where(edge == 1, 2 - height, height))


@pytest.mark.parametrize(
    ("cut", "room", "near"),
    [
        (box(0, 0, 4, 4), box(0.1, 0.1, 3.8, 3.8), True),  # 0.141 mm off
        (box(0, 0, 4, 4), box(0.15, 0.15, 3.7, 3.7), False),  # 0.212
        (box(0, 0, 4, 4), shapely.Polygon([(0.1, 0.1), (3.9, 0.1), (0.1, 3.9)]), False),  # fewer corners
        (HOLED, HOLED, False),
        (disc(4, 4, 2, points=8), shapely.difference(box(0, 0, 9, 9), box(3, 3, 1, 1)), False),  # as many, but a hole
        (box(0, 0, 4, 4), shapely.Polygon(), False),
    ],
)
def test_corners_that_lie_near_one_another_say_that_shapes_do(cut, room, near: bool) -> None:
    assert laser_planner._corners_near(shapes(cut), shapes(room), 0.2).tolist() == [near]


# ── depths at once ───────────────────────────────────────────────────────────────────────────────────────────────


def paths_at(*lines: tuple[float, float]) -> Paths:
    """Level lines 3 mm long, each at its x and its height."""
    xyz = np.array([[(x, 0, z), (x, 3, z)] for x, z in lines], dtype=float).reshape(-1, 3)
    return Paths(xyz, np.arange(0, 2 * len(lines) + 1, 2), np.zeros(len(lines), dtype=bool))


def deep(*lines: tuple[float, float]) -> Operation:
    return Operation(
        name="A", work=Work.CLEAR, asks="", cutter=SHELF.cutter("flat-3"), paths=paths_at(*lines), depth_mm=2.0,
        pass_mm=1.0, passes=1,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        ([(0, -1), (0, -2)], False),
        ([(0, -2)], True),
        ([(0, -2), (0, -1)], True),
        ([(0, -0.8), (0, -2)], False),  # within a quarter of a pass
        ([(0, -0.7), (0, -2)], True),
        ([(0, -1), (4, -2)], False),  # beside it: within one and a half of the cutter's width
        ([(0, -1), (9.2, -2)], True),  # beyond twice that
    ],
)
def test_no_place_is_cut_deeper_than_one_pass_at_once(lines, expected: bool) -> None:
    assert len(list(promises._unprepared(SimpleNamespace(operations=[deep(*lines)])))) == expected


def test_what_an_earlier_operation_made_room_for_is_prepared() -> None:
    first, second = deep((0, -1)), deep((0, -2))
    assert list(promises._unprepared(SimpleNamespace(operations=[first, second]))) == []
    assert len(list(promises._unprepared(SimpleNamespace(operations=[second, first])))) == 1


@pytest.mark.parametrize("seed", range(2))
def test_places_of_room_that_came_before_are_sought_in_neighbouring_cells(seed: int) -> None:
    rng = np.random.default_rng(seed)
    xy, room, cell = rng.random((60, 2)) * 20, rng.random((30, 2)) * 20, 1.5
    when, room_when = rng.permutation(60), rng.integers(0, 60, 30)
    low = np.minimum(xy.min(axis=0), room.min(axis=0))
    at, of_room = (np.floor((each - low) / cell) for each in (xy, room))
    near = (np.abs(at[:, None] - of_room).max(axis=2) <= 1) & (room_when < when[:, None])
    assert promises._after(xy, when, room, room_when, cell).tolist() == near.any(axis=1).tolist()
    assert 0 < near.any(axis=1).sum() < 60


# ── what is told ─────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("held", "said"), [("", "at its edge; "), ("the spindle", "held back by the spindle")])
def test_what_holds_a_feed_back_is_told(held: str, said: str, monkeypatch) -> None:
    values = {field.name: 2.0 for field in dataclasses.fields(Start)} | {"held_back": held, "source": "somebody"}
    monkeypatch.setattr(remarks, "starts_of", lambda *_: {"flat-3": SimpleNamespace(**values)})
    (line,) = remarks.about_feeds(SimpleNamespace(job=None, operations=()))
    assert said in line
    assert ("held back" in line) == bool(held)


@pytest.mark.parametrize(
    ("width", "height", "count"),
    [(50, 30, 0), (30, 50, 0), (39, 30, 1), (29, 39, 2), (None, 10, 0), (10, None, 0), (None, None, 0)],
)
def test_paths_that_the_bed_has_no_room_for_are_told_whichever_way_the_block_lies(width, height, count: int) -> None:
    machine = SimpleNamespace(bed_width_mm=width, bed_height_mm=height)
    outline = from_rings(geometry.rings(shapes(box(0, 0, 40, 30))), -1.0)
    operation = dataclasses.replace(deep((0, -1)), paths=outline)
    plan = SimpleNamespace(job=SimpleNamespace(machine=machine), operations=(operation,))
    assert len(list(shortfalls._beyond_bed(plan))) == count


# ── floors ───────────────────────────────────────────────────────────────────────────────────────────────────────


def test_rings_of_a_pocket_begin_where_they_face_the_next_one() -> None:
    """Twin: from the last ring of each part backwards, the point nearest to where the next one begins."""
    rng = np.random.default_rng(8)
    nests = [[disc(20 * k, 0, r, points=int(n), phase=p) for r, n, p in zip(
        (1, 2, 3, 4), rng.integers(5, 12, 4), rng.random(4) * 6, strict=True)][: 4 - k] for k in range(4)]  # fmt: skip
    part = np.repeat(np.arange(4), [len(nest) for nest in nests])
    rings = from_rings(geometry.rings(shapes(*(ring for nest in nests for ring in nest))))
    each = pockets._facing(rings, part)
    begin = rings.entries.copy()
    for k in range(len(part) - 2, -1, -1):
        if part[k] == part[k + 1]:
            own = rings.xyz[rings.start[k] : rings.start[k + 1]]
            begin[k] = own[np.argmin(np.hypot(*(own - begin[k + 1])[:, :2].T))]
    assert each.entries.tolist() == begin.tolist()
    assert each.lengths == pytest.approx(rings.lengths)


@pytest.mark.parametrize(("cleared", "along"), [("lines", True), ("rings", False)])
def test_a_floor_is_cleared_in_level_lines_or_in_rings(cleared: str, along: bool) -> None:
    job = setup("linoleum", "flat-3", depth=1.0).on(block(box(5, 5, 30, 20)))
    (step,) = [each for each in plan_for(job, PathSettings(cleared=cleared)).operations if each.work is Work.CLEAR]
    x, y, _ = np.abs(np.diff(step.paths.xyz, axis=0)).T
    level = x[y < 1e-6].sum() / np.hypot(x, y).sum()
    assert (level > 0.8) == along


@pytest.mark.parametrize("by_mm", [0.01, 0.5, 3.0, 20.0])
def test_arcs_sag_by_no_more_than_is_said(by_mm: float) -> None:
    """A chord of the angle a lies r (1 - cos(a / 2)) inside its arc; of more chords none would do with half."""
    quads = cutter_centre_region._quads(by_mm)
    sag = by_mm * (1 - math.cos(math.pi / (4 * quads)))
    assert sag <= cutter_centre_region.SAG_MM
    if quads > 4:
        assert by_mm * (1 - math.cos(math.pi / (2 * quads))) > cutter_centre_region.SAG_MM


@pytest.mark.parametrize(("passes", "asked"), [(1, 0), (2, 1)])
def test_of_walls_cut_in_one_pass_it_is_not_asked_where_the_floor_is_cleared(passes, asked, monkeypatch) -> None:
    """In more they are followed once only where it is: at full depth, all round a square of 4 mm."""
    seen = list[int]()
    monkeypatch.setattr(router_planner, "along_cleared", lambda flat, _: seen.append(1) or np.ones(len(flat), bool))
    wall = Paths(np.array([(5, 5, 0), (9, 5, 0), (9, 9, 0), (5, 9, 0)], float), np.array([0, 4]), np.array([True]))
    table: Any = SimpleNamespace(_ramped=lambda *_: np.array([False]), _allowance=lambda _: 0.1)
    room, down = shapes(box(4, 4, 6, 6)), Descent(depth_mm=1.0, passes=passes, ramp_deg=5.0)
    done = router_planner._Table._followed(table, wall, room, room, SimpleNamespace(), down)
    assert (len(seen), len(done)) == (asked, 1)
    assert done.xyz[:, 2].min() == -1
    assert np.hypot(*np.diff(done.xyz[:, :2], axis=0).T).sum() == pytest.approx(16)
