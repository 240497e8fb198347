"""Windows and the points in them."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from carvegen.motifs.shared.points import Window, poisson

WINDOW = Window(10.0, -5.0, 40.0, 15.0)


def test_window() -> None:
    assert WINDOW.area == 600
    assert WINDOW.grown(2) == Window(8.0, -7.0, 42.0, 17.0)
    assert WINDOW.at(np.array([[0.0, 1.0], [0.5, 0.5]])).tolist() == [[10, 15], [25, 5]]
    assert WINDOW.within(np.array([[11.0, 0.0], [9.0, 0.0], [20.0, 15.0]])).tolist() == [[11, 0]]


def test_depth_is_to_the_nearest_of_four_sides_and_below_nothing_outside() -> None:
    inside = np.array([[12.0, 5.0], [37.0, 5.0], [25.0, -4.0], [25.0, 11.0], [42.0, 5.0], [25.0, 16.0]])
    assert WINDOW.depth(inside).tolist() == [2, 3, 1, 4, -2, -1]


@given(st.integers(0, 2**32), st.floats(0, 0.2))
def test_points_lie_in_the_window_and_follow_the_seed(seed, density) -> None:
    points, again = (poisson(WINDOW, density, np.random.default_rng(seed)) for _ in range(2))
    assert points.shape[1] == 2
    assert len(WINDOW.within(points)) == len(points)
    np.testing.assert_array_equal(points, again)


def test_no_points_where_none_are_asked() -> None:
    rng = np.random.default_rng(0)
    assert poisson(WINDOW, 0.0, rng).shape == (0, 2)
