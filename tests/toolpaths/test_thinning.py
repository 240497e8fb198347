"""Fewer points, within the bound; level stretches by themselves; and no lift where a way goes on."""

from __future__ import annotations

import dataclasses
import itertools

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen.toolpaths import plan_for
from carvegen.toolpaths.fewer_points import thinned
from carvegen.toolpaths.paths import Paths, Work, joined
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.plan.plan_drawing import level_runs
from carvegen.writers.plan.rs274 import programs
from tests.cases import SHELF, block, box, disc, setup


def path(points, *, closed: bool = False) -> Paths:
    xyz = np.asarray(points, dtype=float)
    return Paths(xyz, np.array([0, len(xyz)]), np.array([closed]))


def far_mm(points: np.ndarray, matrix: np.ndarray) -> float:
    """How far the farthest point lies from a way in space: each point against each piece, one by one."""
    worst = 0.0
    for p in points:
        near = np.inf
        for a, b in itertools.pairwise(matrix):
            step = b - a
            t = np.clip((p - a) @ step / max(step @ step, 1e-18), 0, 1)
            near = min(near, float(np.linalg.norm(p - a - t * step)))
        worst = max(worst, near)
    return worst


@given(st.integers(0, 2**32), st.integers(2, 60), st.booleans())
def test_no_point_lies_farther_off_than_the_bound(seed, count, closed) -> None:
    rng = np.random.default_rng(seed)
    count = max(count, 3) if closed else count
    each = path(np.cumsum(rng.normal(scale=0.01, size=(count, 3)), axis=0), closed=closed)
    less = thinned(each, 0.02)
    side = np.concatenate([less.xyz, less.xyz[:1]]) if closed else less.xyz
    assert far_mm(each.xyz, side) <= 0.02 + 1e-12
    assert len(less.xyz) >= (3 if closed else 2)
    assert (less.xyz[0] == each.xyz[0]).all()
    assert closed or (less.xyz[-1] == each.xyz[-1]).all()


@given(st.integers(0, 2**32), st.integers(3, 60))
def test_in_the_plane_it_is_the_thinning_of_geos(seed, count) -> None:
    """GEOS's own Douglas-Peucker, of which an open line in the plane gives the same points."""
    xy = np.cumsum(np.random.default_rng(seed).normal(scale=0.01, size=(count, 2)), axis=0)
    ours = thinned(path(np.column_stack([xy, np.zeros(count)])), 0.02)
    other = shapely.get_coordinates(shapely.simplify(shapely.LineString(xy), 0.02, preserve_topology=False))
    assert ours.xyz[:, :2].tolist() == other.tolist()


def test_many_paths_at_once_are_each_alone() -> None:
    some = [path(np.cumsum(np.random.default_rng(k).normal(scale=0.01, size=(20 + k, 3)), axis=0)) for k in range(9)]
    assert thinned(joined(some), 0.02).xyz.tolist() == joined([thinned(each, 0.02) for each in some]).xyz.tolist()


def test_a_square_gone_round_twice_is_two_closed_level_lines() -> None:
    ring = [(0, 0), (5, 0), (5, 5), (0, 5), (0, 0)]
    runs = level_runs(path([(0, 0, 0), *((x, y, -1) for x, y in ring), *((x, y, -2) for x, y in ring)]))
    assert runs.closed.tolist() == [True, True]
    assert np.diff(runs.start).tolist() == [4, 4]
    assert runs.entries[:, 2].tolist() == [-1, -2]


def test_a_ramp_is_by_itself_and_the_level_way_goes_on_from_it() -> None:
    runs = level_runs(path([(0, 0, 0), (9, 0, -1), (9, 9, -1), (0, 9, -1), (0, 1, -1), (2, 1, -1)]))
    assert np.diff(runs.start).tolist() == [2, 5]
    assert runs.exits[0].tolist() == runs.entries[1].tolist() == [9, 0, -1]


def test_what_only_dips_or_is_a_point_stays() -> None:
    each = joined(
        [path([(1, 1, 0), (1, 1, -1)]), path([(2, 2, 0)]), path([(0, 0, 0), (1, 0, -1), (0, 1, 0)], closed=True)]
    )
    runs = level_runs(each)
    assert runs.xyz.tolist() == each.xyz.tolist()
    assert runs.closed.tolist() == [False, False, True]


def plan(*shapes, cutter: str = "v-60", depth: float = 1.0):
    each = setup("cherry", cutter, machine=SHELF.machine("router-bed"), depth=depth).on(block(*shapes))
    made = plan_for(each, PathSettings())
    assert made is not None
    return made


@pytest.mark.parametrize("cutter", ["v-60", "flat-1"])
def test_a_convex_pocket_is_cleared_without_lifting(cutter) -> None:
    clear = next(
        step for step in plan(box(5, 5, 20, 12), cutter=cutter, depth=2.0).operations if step.work is Work.CLEAR
    )
    assert len(clear.paths) == 1


def test_between_two_pockets_the_cutter_lifts() -> None:
    clear = next(step for step in plan(box(5, 5, 8, 8), disc(25, 12, 4)).operations if step.work is Work.CLEAR)
    assert len(clear.paths) == 2


def test_round_an_island_no_way_crosses_it() -> None:
    island = disc(20, 15, 4)
    made = plan(disc(20, 15, 9).difference(island))
    for step in made.operations:
        for a, b in zip(step.paths.start[:-1], step.paths.start[1:], strict=True):
            assert not shapely.LineString(step.paths.xyz[a:b, :2]).intersects(island)


def test_a_wall_beside_a_cleared_floor_is_followed_once_at_full_depth() -> None:
    wall = next(step for step in plan(box(5, 5, 20, 12), depth=2.4).operations if step.work is Work.WALL)
    clear = next(each for each in plan(box(5, 5, 20, 12), depth=2.4).operations if each.work is Work.CLEAR)
    assert np.unique(np.round(wall.paths.xyz[:, 2], 6)).tolist() == [-2.4, 0]
    assert len(np.unique(np.round(clear.paths.xyz[:, 2], 6))) > 2


def test_a_program_lifts_only_where_a_way_ends() -> None:
    made = plan(box(5, 5, 20, 12))
    one = made.operations[0]
    halves = joined([path(one.paths.xyz[:9]), path(one.paths.xyz[8:])])
    split = dataclasses.replace(made, operations=(dataclasses.replace(one, paths=halves),))
    whole = dataclasses.replace(made, operations=(one,))
    ups = [programs(each)[0].text.count("G0 Z") for each in (whole, split)]
    assert ups[0] == ups[1]


def test_closed_paths_and_single_points_have_no_runs_to_part() -> None:
    ring = Paths(np.array([[0, 0, -1], [4, 0, -1], [4, 4, -1.0]]), np.array([0, 3]), np.array([True]))
    assert level_runs(ring).xyz.tolist() == ring.xyz.tolist()
    point = Paths(np.array([[1, 2, -0.5]]), np.array([0, 1]), np.array([False]))
    assert level_runs(point).xyz.tolist() == point.xyz.tolist()
