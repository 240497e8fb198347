"""Groups of what is linked, held against scipy's connected components."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from carvegen.geometry import linked_groups


@pytest.mark.parametrize("links", [0, 1, 40, 150, 900])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_groups_are_those_of_scipy(links: int, seed: int) -> None:
    left, right = np.random.default_rng(seed).integers(0, 300, (2, links))
    pairs = coo_array((np.ones(links, dtype=bool), (left, right)), shape=(300, 300))
    assert linked_groups(300, left, right).tolist() == connected_components(pairs, directed=False)[1].tolist()


def test_a_long_chain_in_any_order_is_one_group() -> None:
    order = np.random.default_rng(4).permutation(5000)
    assert not linked_groups(5000, order[:-1], order[1:]).any()
