"""Noise sampled at points, ranks, turns."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.motifs.shared import fields


def noise(xy, **how):
    return fields.noise_at(xy, np.random.default_rng(3), **how)


@given(st.integers(0, 2**32), st.floats(2, 500), st.floats(1, 5), st.floats(-180, 180))
def test_range_and_repeatability(seed, patch, stretch, along) -> None:
    xy = np.random.default_rng(seed).uniform(0, 60, (50, 2))
    how = {"patch_mm": patch, "stretch": stretch, "along_deg": along}
    values = noise(xy, **how)
    assert np.abs(values).max() <= 1.0
    np.testing.assert_array_equal(values, noise(xy, **how))


def test_no_points_no_values() -> None:
    assert noise(np.empty((0, 2)), patch_mm=5.0).shape == (0,)


def test_value_belongs_to_the_place_not_to_the_other_points() -> None:
    xy = np.random.default_rng(0).uniform(0, 60, (80, 2))
    np.testing.assert_allclose(noise(xy, patch_mm=9.0)[:10], noise(xy[:10], patch_mm=9.0), atol=1e-9)


def test_patches_have_their_size_and_direction() -> None:
    """Neighbours along the stretch are more alike than neighbours across it, as far apart."""
    xy = np.random.default_rng(0).uniform(0, 200, (1500, 2))
    direction = np.array([np.cos(np.radians(30)), np.sin(np.radians(30))])
    how = {"patch_mm": 6.0, "stretch": 4.0, "along_deg": 30.0}
    both = noise(
        np.concatenate([xy, xy + 5 * direction, xy + 5 * np.array([-direction[1], direction[0]])]), **how
    ).reshape(3, -1)
    along, across = np.corrcoef(both)[0, 1:]
    assert along > across + 0.3


@given(st.lists(st.floats(-10, 10), min_size=1, max_size=40))
def test_ranks_are_shares_in_order(values) -> None:
    shares = fields.ranks(np.array(values))
    assert ((shares > 0) & (shares < 1)).all()
    assert shares.mean() == pytest.approx(0.5)
    assert (np.diff(shares[np.argsort(values, kind="stable")]) >= 0).all()


def test_turned() -> None:
    turned = fields.turned(np.array([[1.0, 0.0], [0.0, 2.0]]), 90.0)
    np.testing.assert_allclose(turned, [[0, 1], [-2, 0]], atol=1e-12)
