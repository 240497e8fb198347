"""Windows and the points in them."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.motifs.shared.points import (
    Window,
    offspring,
    poisson,
    thomas,
)

WINDOW = Window(10.0, -5.0, 40.0, 15.0)


def test_window() -> None:
    assert WINDOW.area == 600
    assert WINDOW.grown(2) == Window(8.0, -7.0, 42.0, 17.0)
    assert WINDOW.diagonal == pytest.approx(np.hypot(30, 20))
    assert WINDOW.at(np.array([[0.0, 1.0], [0.5, 0.5]])).tolist() == [[10, 15], [25, 5]]
    assert WINDOW.within(np.array([[11.0, 0.0], [9.0, 0.0], [20.0, 15.0]])).tolist() == [[11, 0]]


@given(st.integers(0, 2**32), st.floats(0, 0.2), st.floats(1, 5), st.floats(-180, 180))
def test_points_lie_in_the_window_and_follow_the_seed(seed, density, stretch, along) -> None:
    def draw():
        rng = np.random.default_rng(seed)
        even = poisson(WINDOW, density, rng)
        return even, thomas(WINDOW, parents_per_mm2=density / 4, mean_count=4, spread_mm=3.0, rng=rng,
                            stretch=stretch, along_deg=along)  # fmt: skip

    for points, again in zip(draw(), draw(), strict=True):
        assert points.shape[1] == 2
        assert len(WINDOW.within(points)) == len(points)
        np.testing.assert_array_equal(points, again)


def test_no_points_where_none_are_asked() -> None:
    rng = np.random.default_rng(0)
    assert poisson(WINDOW, 0.0, rng).shape == (0, 2)
    assert thomas(WINDOW, parents_per_mm2=0.0, mean_count=4, spread_mm=2, rng=rng).shape == (0, 2)


def test_offspring_belong_to_their_parents() -> None:
    parents = np.array([[0.0, 0.0], [1000.0, 0.0]])
    xy = offspring(parents, np.array([3, 5]), 1.0, np.random.default_rng(1))
    assert (xy[:3, 0] < 500).all()
    assert (xy[3:, 0] > 500).all()
    assert len(xy) == 8


def test_stretch_draws_out_along_its_direction_and_keeps_the_area() -> None:
    xy = offspring(np.zeros((1, 2)), np.array([40000]), 2.0, np.random.default_rng(1), stretch=4.0, along_deg=30.0)
    spread, axes = np.linalg.eigh(np.cov(xy.T))
    # Standard deviations s sqrt(stretch) and s / sqrt(stretch); of 40 000 points known to 1 %.
    assert np.sqrt(spread) == pytest.approx([1.0, 4.0], rel=0.02)
    along = np.degrees(np.arctan2(axes[1, 1], axes[0, 1])) % 180
    assert along == pytest.approx(30.0, abs=1)
