"""Pairs of discs that come near, beside all pairs; the vector algebra beside plane geometry."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from carvegen.geometry.edges import cross, disc_pairs, dot, either, foot, unit


@pytest.mark.parametrize("apart", [0.0, 0.4, 5.0])
def test_discs_of_all_sizes_that_come_near_are_paired_once(apart: float) -> None:
    rng = np.random.default_rng(4)
    xy, radius = rng.uniform(-30, 30, (60, 2)), np.exp(rng.uniform(np.log(0.05), np.log(12), 60))
    twin = {
        (i, j)
        for i, j in itertools.combinations(range(60), 2)
        if np.hypot(*(xy[i] - xy[j])) < radius[i] + radius[j] + apart
    }
    found = [tuple(sorted(pair)) for pair in np.transpose(disc_pairs(xy, radius, apart)).tolist()]
    assert len(found) == len(set(found))
    assert set(found) == twin


@pytest.mark.parametrize(
    ("point", "share"), [((0, 3), 0.0), ((-2, 0), 0.0), ((1, 1), 0.25), ((3, -5), 0.75), ((9, 9), 1.0)]
)
def test_the_nearest_place_of_an_edge(point: tuple[float, float], share: float) -> None:
    a, b = np.array([[0.0, 0.0]]), np.array([[4.0, 0.0]])
    assert foot(np.array([point], dtype=float), a, b) == pytest.approx([share])
    assert foot(np.array([point], dtype=float), a, a) == pytest.approx([0])


def test_products_of_vectors() -> None:
    one, other = np.array([[3.0, 4.0], [1, 0], [0, 0]]), np.array([[-4.0, 3.0], [0.5, 0.5], [1, 1]])
    assert cross(one, other).tolist() == [25, 0.5, 0]
    assert dot(one, other).tolist() == [0, 0.5, 0]
    assert unit(one).tolist() == [[0.6, 0.8], [1, 0], [0, 0]]
    assert either(np.array([[True, False], [False, False], [False, True]])).tolist() == [True, False, True]
