"""Pairs of discs that come near, beside all pairs; the vector algebra beside plane geometry."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
import shapely

from carvegen.geometry import lines
from carvegen.geometry.edges import cross, disc_pairs, dot, either, foot, near_pairs, unit


@pytest.mark.parametrize("apart", [0.0, 0.4, 5.0])
def test_discs_of_all_sizes_that_come_near_are_paired_once(apart: float) -> None:
    rng = np.random.default_rng(4)
    xy, radius = rng.uniform(-30, 30, (60, 2)), np.exp(rng.uniform(np.log(0.05), np.log(12), 60))
    twin = {
        (i, j)
        for i, j in itertools.combinations(range(60), 2)
        if np.hypot(*(xy[i] - xy[j])) < radius[i] + radius[j] + apart
    }
    result = [tuple(sorted(pair)) for pair in np.transpose(disc_pairs(xy, radius, apart)).tolist()]
    assert len(result) == len(set(result))
    assert set(result) == twin


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


@pytest.mark.parametrize("stretches", [False, True])
def test_pairs_that_come_near_are_all_there_are(stretches: bool) -> None:
    """Beside GEOS, pair by pair: edges on a grid meet, touch, cross and lie in line."""
    rng = np.random.default_rng(5)
    a, start = (rng.integers(0, 60, (count, 2)) / 4 for count in (200, 150))
    b, end = (ends + rng.integers(-4, 5, ends.shape) / 4 for ends in (a, start))
    b[0], end[0] = a[0], start[0]  # of no length
    edges, sought = lines(a, b), lines(start, end) if stretches else shapely.points(start)
    for distance in (0.0, 0.25, 0.6):
        pairs = np.transpose(near_pairs(shapely.STRtree(edges), (a, b), (start, end if stretches else None), distance))
        twin = np.argwhere(shapely.dwithin(sought[:, None], edges, distance))
        assert len(twin) > 0
        assert sorted(pairs.tolist()) == twin.tolist()
