"""Orders against every other order for few stops, and against bounds that are not ours for many."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.sparse.csgraph import minimum_spanning_tree
from scipy.spatial.distance import cdist

from carvegen.toolpaths.paths import Paths, no_paths, picked
from carvegen.toolpaths.sequence import tours
from carvegen.toolpaths.sequence.order import (
    cooled,
    ordered,
    travel_mm,
    turned,
)
from carvegen.toolpaths.sequence.tours import length_mm, tour
from tests.strategies import few

HOME = np.zeros(2)


def points(seed: int, count: int, side: float = 1.0) -> np.ndarray:
    return np.random.default_rng(seed).uniform(0, side, (count, 2))


def twice(xy: np.ndarray) -> np.ndarray:
    return np.repeat(xy, 2, axis=0)


def strokes(seed: int, count: int, side: float = 50.0, long: float = 3.0) -> Paths:
    """Open paths of two points."""
    begin = points(seed, count, side)
    end = begin + points(seed + 1, count, long)
    xyz = np.concatenate([np.stack([begin, end], axis=1), np.zeros((count, 2, 1))], axis=2).reshape(-1, 3)
    return Paths(xyz, 2 * np.arange(count + 1), np.zeros(count, dtype=bool))


def shortest(ends: np.ndarray) -> float:
    """Every order and every turning of every stop, one after another."""
    count = len(ends) // 2
    best = np.inf
    for order in itertools.permutations(range(count)):
        for side in itertools.product((0, 1), repeat=count) if count < 6 else [(0,) * count]:
            best = min(best, length_mm(2 * np.array(order) + side, ends, HOME))
    return best


@pytest.mark.parametrize("count", few([1, 2, 3, 5, 7], 3))
def test_a_few_stops_are_near_to_the_shortest_of_all_orders(count):
    for seed in range(4):
        ends = twice(points(seed, count))
        assert length_mm(tour(ends, HOME), ends, HOME) <= 1.08 * shortest(ends) + 1e-9


def test_a_few_strokes_are_near_to_the_shortest_of_all_orders_and_turnings():
    for seed in range(3):
        ends = strokes(seed, 4).xyz[:, :2]
        assert length_mm(tour(ends, HOME), ends, HOME) <= 1.08 * shortest(ends) + 1e-9


@pytest.mark.parametrize("count", [60, 300])
def test_a_way_is_little_longer_than_the_spanning_tree_that_no_way_can_undercut(count):
    # A way through all stops is a spanning tree, so the least of these is a lower bound; on random points the
    # best way is about 1.12 times it (Johnson and McGeoch, 1997: 0.7124 over 0.6331, from memory).
    xy = points(count, count)
    ends = twice(xy)
    result = length_mm(tour(ends, xy[0]), ends, xy[0])
    tree = minimum_spanning_tree(cdist(xy, xy)).sum()
    assert tree <= result <= 1.3 * tree


def test_many_random_stops_come_near_the_constant_of_beardwood_halton_and_hammersley():
    # Best ways through n random points of an area A near 0.7124 sqrt(n A) (1 + 0.33 / n) (Johnson, McGeoch and
    # Rothberg, 1996, from memory); 2-opt with neighbour lists is said to end about 5 % above, greedy 14 to 20 %.
    count = 5000
    ends = twice(points(1, count, np.sqrt(count)))
    assert length_mm(tour(ends, HOME), ends, HOME) <= 1.09 * 0.7124 * count


@given(st.integers(0, 2**32), st.integers(4, 30), st.booleans())
def test_every_change_shortens_the_way_by_as_much_as_it_says(seed, count, closed):
    """Twin: the change is made alone, and the whole way measured before and after."""
    ends = twice(points(seed, count)) if closed else strokes(seed, count).xyz[:, :2]
    rng = np.random.default_rng(seed)
    side = np.append(2 * count, 2 * rng.permutation(count) + rng.integers(0, 2, count))
    at = np.concatenate([ends, [HOME, HOME]])
    away, near = tours._nearest(at, 12)
    near = np.where(near >> 1 == (np.arange(len(at)) >> 1)[:, None], -1, near)
    moves = tours._best_moves(tours._Look(side, at), near, away, np.arange(count + 1))
    assert len(moves.gain) > 0
    before = length_mm(side[1:], ends, HOME)
    columns = (moves.first, moves.last, moves.cut, moves.turned, moves.forward, moves.gain)
    for first, last, cut, turned_, forward, gain in zip(*map(np.ndarray.tolist, columns), strict=True):
        after = side.copy()
        tours._change(after, first, last, cut, turned=turned_, forward=forward)
        assert before - length_mm(after[1:], ends, HOME) == pytest.approx(gain, abs=1e-9)


@given(st.integers(0, 2**32), st.integers(0, 40), st.integers(1, 4))
def test_every_path_comes_once_whole_and_by_its_rank(seed, count, ranks):
    paths = strokes(seed, count)
    rank = np.random.default_rng(seed).integers(0, ranks, count)
    back = ordered(paths, rank=rank)
    key = {tuple(sorted(map(tuple, pair.tolist()))): k for k, pair in enumerate(paths.xyz.reshape(-1, 2, 3))}
    order = [key[tuple(sorted(map(tuple, pair.tolist())))] for pair in back.xyz.reshape(-1, 2, 3)]
    assert sorted(order) == list(range(count))
    assert (np.diff(rank[order]) >= 0).all()


def test_paths_that_may_not_be_turned_keep_their_direction():
    paths = strokes(3, 30)
    back = ordered(paths, turn=False).xyz.reshape(-1, 2, 3)
    assert (back[:, 1] > back[:, 0]).any(axis=1).all()


def test_no_path_makes_no_order():
    assert no_paths().xyz.shape == (0, 3)
    assert len(ordered(no_paths())) == 0
    assert len(cooled(no_paths(), 2.0)) == 0


def test_turned_paths_run_the_other_way_round():
    paths = strokes(5, 3)
    which = np.array([True, False, True])
    back = turned(paths, which)
    assert np.array_equal(back.entries, np.where(which[:, None], paths.exits, paths.entries))
    assert np.array_equal(turned(back, which).xyz, paths.xyz)


def test_heat_is_kept_apart_and_the_way_grows_no_more_than_that_needs():
    """Followers at least `rest` apart need a way of at least ``rest (n - 1)`` from middle to middle."""
    paths = ordered(strokes(7, 400, side=20.0, long=0.3))
    calm = picked(paths, cooled(paths, 2.0))

    def near(strokes) -> float:
        """The share of strokes that follow one whose middle is nearer than the rest."""
        middles = strokes.xyz[:, :2].reshape(-1, 2, 2).mean(axis=1)
        return (np.hypot(*np.diff(middles, axis=0).T) < 2.0).mean()

    assert near(paths) > 0.5
    assert near(calm) < 0.03
    assert travel_mm(calm).sum() < max(2.2 * 2.0 * 400, travel_mm(paths).sum())


def test_ranks_are_kept_where_heat_is_kept_apart():
    paths = strokes(9, 60)
    rank = np.sort(np.random.default_rng(9).integers(0, 3, 60))
    assert (np.diff(rank[cooled(paths, 5.0, rank=rank)]) >= 0).all()


def test_of_1200_stops_the_way_is_improved_until_nothing_is_gained(monkeypatch) -> None:
    """That takes more rounds than very many stops get."""
    ends = twice(points(1, 1200))
    side = tour(ends, HOME)
    monkeypatch.setattr(tours, "_FEW_ROUNDS", tours._ROUNDS)
    assert (tour(ends, HOME) == side).all()


def test_along_the_curve_one_quarter_follows_another_and_so_on_in_each() -> None:
    """The middles of 8 x 8 fields, in any order: each quarter's, each of its quarters', lie in a run."""
    xy = np.random.default_rng(1).permutation(np.argwhere(np.ones((8, 8))).astype(float))
    order = xy[tours.along_curve(xy)]
    for side in (4, 2):
        runs = np.floor_divide(order, side).reshape(-1, side**2, 2)
        assert (runs == runs[:, :1]).all()


def test_a_tour_of_no_stop_has_no_length() -> None:
    assert length_mm(np.empty(0, dtype=np.int64), np.empty((0, 2)), HOME) == 0
    assert length_mm(np.array([1]), np.array([[3.0, 4], [6, 8]]), HOME) == 10  # 6, 8, 10 (Pythagoras)


@pytest.mark.parametrize(
    ("away", "waits"), [((1.6, 0), True), ((0, 1.6), True), ((1.5, 1.5), False), ((0, 2.1), False)]
)
def test_a_path_waits_while_its_middle_is_nearer_than_the_rest_in_any_direction(away, waits: bool) -> None:
    xyz = np.array([(0, 0, 0), (*away, 0), (30, 30, 0)], dtype=float)
    dots = Paths(xyz, np.arange(4), np.zeros(3, dtype=bool))
    assert cooled(dots, 2.0).tolist() == ([0, 2, 1] if waits else [0, 1, 2])


@pytest.mark.parametrize("kind", [np.int32, np.int64])
def test_numbers_of_any_width_lie_beyond_a_route_below_0_too(kind) -> None:
    numbers = np.array([-1, 0, 3, 4], dtype=kind)
    assert tours._beyond(numbers, 4).tolist() == [True, False, False, True]
    assert tours._beyond(numbers, -2).all()
