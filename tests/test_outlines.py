"""Flake outlines: reach, roundness, direction, no two alike."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen.nature.outlines import SMALLEST_REACH, outlines, superellipse

SEEDS = st.integers(0, 2**32)


@given(SEEDS, st.integers(0, 30), st.sampled_from([24, 36, 84]), st.floats(0, 1), st.floats(0, 1), st.floats(-180, 180))
def test_reach_and_validity(seed, count, points, round_share, longer, along) -> None:
    xy = outlines(count, points, round_share=round_share, rng=np.random.default_rng(seed), longer=longer,
                  along_deg=along)  # fmt: skip
    assert xy.shape == (count, points, 2)
    reach = np.hypot(xy[..., 0], xy[..., 1])
    assert np.all(reach.max(axis=1) <= 1 + 1e-9)
    assert np.all(reach.max(axis=1) >= 1 - 1e-9)
    assert np.all(reach.min(axis=1) >= SMALLEST_REACH)
    flakes = shapely.polygons(xy)
    assert shapely.is_valid(flakes).all()
    assert shapely.is_ccw(shapely.get_exterior_ring(flakes)).all()


def test_no_two_alike() -> None:
    xy = outlines(500, 36, round_share=0.6, rng=np.random.default_rng(2))
    assert len(np.unique(np.round(xy, 6).reshape(500, -1), axis=0)) == 500


def test_squarish_flakes_fill_more_of_their_box() -> None:
    """A square fills its turned bounding box wholly, a circle by pi/4."""

    def fill(round_share: float) -> float:
        flakes = shapely.polygons(outlines(400, 84, round_share=round_share, rng=np.random.default_rng(1)))
        return float(np.mean(shapely.area(flakes) / shapely.area(shapely.minimum_rotated_rectangle(flakes))))

    assert fill(0.0) > fill(1.0) + 0.02


def test_wind_draws_out_along_itself() -> None:
    xy = outlines(600, 36, round_share=1.0, rng=np.random.default_rng(4), longer=1.0, along_deg=40.0)
    way = np.array([np.cos(np.radians(40)), np.sin(np.radians(40))])
    along = np.ptp(xy @ way, axis=1)
    across = np.ptp(xy @ [-way[1], way[0]], axis=1)
    assert np.mean(along / across) > 1.2


def test_superellipse_passes_through_its_axes() -> None:
    angle = np.array([0.0, 0.5, 1.0, 1.5]) * np.pi
    for exponent in (1.8, 2.0, 6.0):
        np.testing.assert_allclose(superellipse(angle, np.float64(exponent)), 1.0)
