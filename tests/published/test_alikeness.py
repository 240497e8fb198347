"""The index of evenness against Clark and Evans (source: clark-evans, from memory)."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.geometry.alikeness import distance_spread, nearest_distances, spacing


def square(n: int) -> np.ndarray:
    x, y = np.meshgrid(np.arange(n), np.arange(n))
    return np.column_stack([x.ravel(), y.ravel()]).astype(float)


def hexagonal(n: int) -> np.ndarray:
    xy = square(n)
    return np.column_stack([xy[:, 0] + 0.5 * (xy[:, 1] % 2), xy[:, 1] * np.sqrt(3) / 2])


@pytest.mark.parametrize(("points", "index"), [(square(60), 2.0), (hexagonal(60), 2.149)])
def test_lattices(points, index) -> None:
    """2.1491 at most, on a hexagonal lattice (source: clark-evans); a square one has 2."""
    assert spacing(points)[0] == pytest.approx(index, rel=0.02)
    assert distance_spread(nearest_distances(points)) == pytest.approx(0, abs=1e-9)


def test_chance_has_index_one_and_the_stated_error() -> None:
    rng = np.random.default_rng(1)
    every = np.array([spacing(rng.uniform(0, 1, (400, 2)) * (3, 2)) for _ in range(60)])
    assert every[:, 0].mean() == pytest.approx(1, abs=0.03)
    assert every[:, 0].std() == pytest.approx(every[:, 1].mean(), rel=0.35)
    assert every[:, 1].mean() == pytest.approx(0.5227 / np.sqrt(400), rel=0.15)  # 0.26136 / sqrt(n density) / mean


def test_the_edge_has_its_share_in_the_error() -> None:
    """Of sixty points, where the edge's term is a quarter of the other (source: donnelly-1978)."""
    rng = np.random.default_rng(1)
    every = np.array([spacing(rng.uniform(0, 1, (60, 2)) * (3, 2)) for _ in range(1500)])
    assert every[:, 0].std() == pytest.approx(every[:, 1].mean(), rel=0.08)
