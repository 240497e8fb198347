"""Ramps on random rounds, each step looked at with shapely's own predicates and plain trigonometry."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.toolpaths.fewer_points import THIN_MM
from carvegen.toolpaths.paths import Paths, no_paths, picked
from carvegen.toolpaths.router.ramps import Descent, _positions, entered, worked
from carvegen.toolpaths.router.wall_passes import climbing
from tests.cases import disc


@st.composite
def rooms(draw: st.DrawFn) -> geometry.PolygonArray:
    """Where a cutter's middle may go: uneven rounds, some with an island or two, parts that only just meet parted."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    result = []
    for k in range(draw(st.integers(1, 3))):
        count = int(rng.integers(5, 60))
        angle = np.sort(rng.uniform(0, 2 * np.pi, count))
        radius = rng.uniform(1, 4) * rng.uniform(rng.uniform(0.2, 1), 1, count)
        place = np.array([10.0 * k, 0])
        room = shapely.Polygon(place + np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])).buffer(0)
        for _ in range(int(rng.integers(0, 3))):
            room = room.difference(disc(*(place + rng.uniform(-2, 2, 2)), float(rng.uniform(0.1, 0.6)), points=24))
        result += [part for part in shapely.get_parts(room) if part.geom_type == "Polygon" and part.area > 0.05]
    return geometry.polygon_array(result)


DOWN = st.builds(
    Descent, depth_mm=st.floats(0.3, 4), passes=st.integers(1, 4), ramp_deg=st.sampled_from([2.0, 5.0, 12.0, 30.0])
)


def runs_of(paths: Paths) -> list[np.ndarray]:
    return [paths.xyz[a:b] for a, b in itertools.pairwise(paths.start.tolist())]


def slopes_deg(side: np.ndarray) -> np.ndarray:
    step = np.diff(side, axis=0)
    down = step[:, 2] < 0
    return np.degrees(np.arctan2(-step[down, 2], np.hypot(step[down, 0], step[down, 1])))


def strays(paths: Paths, room: geometry.PolygonArray) -> int:
    """Steps that are not in the room, to the bound of what thinning may take."""
    whole = shapely.buffer(shapely.union_all(room), THIN_MM + 2e-6)
    return sum(
        not whole.covers(shapely.LineString(two)) for run in runs_of(paths) for two in itertools.pairwise(run[:, :2])
    )


@given(rooms(), DOWN)
def test_a_ramp_keeps_to_its_room_and_to_its_angle_and_ends_in_whole_rounds(room, down) -> None:
    flat, _ = climbing(room)
    done = worked(flat, down, ramped=np.ones(len(flat), dtype=bool), room=room)
    assert len(done) == len(flat)
    assert strays(done, room) == 0
    for ring, side in zip(runs_of(flat), runs_of(done), strict=True):
        assert slopes_deg(side).max(initial=0) <= down.ramp_deg + 0.01
        assert (np.diff(side[:, 2]) <= 1e-12).all()
        assert (side[0, 2], side[-1, 2]) == pytest.approx((0, -down.depth_mm))
        for number in range(1, down.passes + 1):
            deep = side[np.abs(side[:, 2] + down.depth_mm * number / down.passes) < 1e-9, :2]
            turn = shapely.LineString(np.concatenate([ring, ring[:1]])[:, :2])
            assert deep[0] == pytest.approx(deep[-1], abs=1e-6), "the round closes"
            assert shapely.LineString(deep).length == pytest.approx(turn.length, abs=1e-5)
            assert shapely.LineString(deep).hausdorff_distance(turn) < 1e-6, "and is the path itself"


@given(rooms(), DOWN)
def test_a_first_pass_ends_where_its_path_begins(room, down) -> None:
    flat, _ = climbing(room)
    done = entered(flat, down, ramped=np.ones(len(flat), dtype=bool), room=room)
    assert strays(done, room) == 0
    for ring, side in zip(runs_of(flat), runs_of(done), strict=True):
        assert slopes_deg(side).max(initial=0) <= down.ramp_deg + 0.01
        step = down.depth_mm / down.passes
        assert side[-1] == pytest.approx((*ring[0, :2], -step), abs=1e-6)
        assert (side[np.abs(side[:, 2] + step) < 1e-9][0, :2]) == pytest.approx(ring[0, :2], abs=1e-6)


@given(rooms(), DOWN)
def test_a_path_that_is_not_ramped_takes_no_short_cut(room, down) -> None:
    flat, _ = climbing(room)
    plain = worked(flat, down, ramped=np.zeros(len(flat), dtype=bool))
    assert worked(flat, down, ramped=np.zeros(len(flat), dtype=bool), room=room).xyz == pytest.approx(plain.xyz)


def test_a_helix_in_a_disc_has_a_few_points_a_turn() -> None:
    """A square in the circle of radius 1 is 4 sqrt 2 long: 0.5 mm down at 2 degrees is 14.3 mm or 10.1 of its sides."""
    room = geometry.polygon_array([disc(0, 0, 1.0, points=64)])
    flat, _ = climbing(room)
    down = Descent(depth_mm=0.5, passes=1, ramp_deg=2.0)
    (side,) = runs_of(worked(flat, down, ramped=np.ones(1, dtype=bool), room=room))
    sides = math.ceil(0.5 / math.tan(math.radians(2.0)) / math.sqrt(2))
    assert (side[:, 2] > -0.5 + 1e-9).sum() == sides
    (fine,) = runs_of(worked(flat, down, ramped=np.ones(1, dtype=bool)))
    assert (fine[:, 2] > -0.5 + 1e-9).sum() > 10 * sides


def test_round_an_island_a_ramp_takes_no_short_cut() -> None:
    room = geometry.polygon_array([shapely.box(-9, -9, 9, 9).difference(disc(0, 0, 1.0, points=64))])
    flat, _ = climbing(room)
    round_it = picked(flat, np.flatnonzero(flat.lengths < 10))
    down = Descent(depth_mm=0.5, passes=1, ramp_deg=2.0)
    (side,) = runs_of(worked(round_it, down, ramped=np.ones(1, dtype=bool), room=room))
    assert np.hypot(side[:, 0], side[:, 1]) == pytest.approx(1.0, abs=0.005)


@pytest.mark.parametrize("long", [0.7, 1.9, 30.0])
def test_an_open_path_shorter_than_the_ramp_goes_to_and_fro_on_it(long: float) -> None:
    """2 mm down at 5° take 2 / tan 5° = 22.9 mm: no step falls steeper, and the floor is reached all along."""
    flat = Paths(np.array([[1.0, 2, 0], [1 + long, 2, 0]]), np.array([0, 2]), np.array([False]))
    down = Descent(depth_mm=2.0, passes=1, ramp_deg=5.0)
    (side,) = runs_of(worked(flat, down, ramped=np.ones(1, dtype=bool)))
    assert slopes_deg(side).max() <= down.ramp_deg + 0.01
    assert (side[:, 0].min(), side[:, 0].max()) == pytest.approx((1, 1 + long))
    assert side[-2:, 2] == pytest.approx([-2, -2]) and side[-2:, 0] == pytest.approx([1, 1 + long])


def test_to_and_fro_an_open_path_with_a_bend_is_kept_to_on_every_leg() -> None:
    """Legs go there and back in turn: each goes round the corner, and none cuts it off (the line, by shapely)."""
    flat = Paths(np.array([[0.0, 0, 0], [1, 0, 0], [1, 1, 0]]), np.array([0, 3]), np.array([False]))
    (side,) = runs_of(worked(flat, Descent(depth_mm=2.0, passes=1, ramp_deg=5.0), ramped=np.ones(1, dtype=bool)))
    assert shapely.LineString([(0, 0), (1, 0), (1, 1)]).buffer(1e-6).covers(shapely.LineString(side[:, :2]))


def test_points_lie_along_tracks_laid_end_to_end_and_no_track_has_none() -> None:
    two = Paths(np.array([[3.0, 0, 0], [5, 0, 0], [9, 9, 0], [9, 6, 0]]), np.array([0, 2, 4]), np.zeros(2, dtype=bool))
    assert _positions(two) == pytest.approx([1, 3, 4, 7])
    assert len(_positions(no_paths())) == 0
