"""Flake outlines: reach, roundness, direction, no two alike."""

from __future__ import annotations

import numpy as np
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen.motifs.snowfall.chance import Draws, keys
from carvegen.motifs.snowfall.outlines import (
    SMALLEST_REACH,
    outlines,
    rounded_until,
    superellipse,
)


def outlined(count, points, *, round_share, rng, longer=0.0, along_deg=0.0, large=0.0):
    draws = Draws(keys(int(rng.integers(2**62)), np.arange(count)))
    longer = np.full(count, longer)
    return outlines(draws, points, round_share=round_share, longer=longer, along_deg=along_deg, large=large)


SEEDS = st.integers(0, 2**32)


@given(
    SEEDS, st.integers(0, 30), st.sampled_from([24, 36, 84]), st.floats(0, 1), st.floats(0, 1), st.floats(-180, 180),
    st.floats(0, 1),
)  # fmt: skip
def test_reach_and_validity(seed, count, points, round_share, longer, along, large) -> None:
    xy = outlined(count, points, round_share=round_share, rng=np.random.default_rng(seed), longer=longer,
                  along_deg=along, large=large)  # fmt: skip
    assert xy.shape == (count, points, 2)
    reach = np.hypot(xy[..., 0], xy[..., 1])
    assert np.all(reach.max(axis=1) <= 1 + 1e-9)
    assert np.all(reach.max(axis=1) >= 1 - 1e-9)
    assert np.all(reach.min(axis=1) >= SMALLEST_REACH - 0.3 * large)
    flakes = shapely.polygons(xy)
    assert shapely.is_valid(flakes).all()
    assert shapely.is_ccw(shapely.get_exterior_ring(flakes)).all()


def test_no_two_alike() -> None:
    xy = outlined(500, 36, round_share=0.6, rng=np.random.default_rng(2))
    assert len(np.unique(np.round(xy, 6).reshape(500, -1), axis=0)) == 500


def test_large_flakes_are_no_plain_discs_and_no_plain_squares_and_few_small_ones_are() -> None:
    """A plain disc is nowhere off a circle by a twentieth of its radius; a plain square all but fills its box.

    Of small ones 8 % are plain discs: it was 13 % when few were oval.
    """

    def plain(large: float) -> tuple[float, float]:
        flakes = shapely.polygons(outlined(1500, 60, round_share=0.6, rng=np.random.default_rng(5), large=large))
        hull, hold = shapely.minimum_rotated_rectangle(flakes), shapely.minimum_bounding_radius(flakes)
        disc = shapely.area(flakes) > 0.95**2 * np.pi * hold**2
        return float(np.mean(disc)), float(np.mean(shapely.area(flakes) > 0.94 * shapely.area(hull)))

    small, large = plain(0.0), plain(1.0)
    assert 0.02 < small[0] < 0.1
    assert max(large) < 0.02


def test_squarish_flakes_fill_more_of_their_box() -> None:
    """A square fills its turned bounding box wholly, a circle by pi/4."""

    def fill(round_share: float) -> float:
        flakes = shapely.polygons(outlined(400, 84, round_share=round_share, rng=np.random.default_rng(1)))
        return float(np.mean(shapely.area(flakes) / shapely.area(shapely.minimum_rotated_rectangle(flakes))))

    assert fill(0.0) > fill(1.0) + 0.02


def test_wind_draws_out_along_itself() -> None:
    xy = outlined(600, 36, round_share=1.0, rng=np.random.default_rng(4), longer=1.0, along_deg=40.0)
    direction = np.array([np.cos(np.radians(40)), np.sin(np.radians(40))])
    along = np.ptp(xy @ direction, axis=1)
    across = np.ptp(xy @ [-direction[1], direction[0]], axis=1)
    assert np.mean(along / across) > 1.2


def test_superellipse_passes_through_its_axes() -> None:
    angle = np.array([0.0, 0.5, 1.0, 1.5]) * np.pi
    for exponent in (1.8, 2.0, 6.0):
        np.testing.assert_allclose(superellipse(np.exp(1j * angle), np.float64(exponent)), 1.0)


@given(SEEDS, st.floats(0, 1), st.floats(0.1, SMALLEST_REACH))
def test_a_disc_passes_all_through_what_was_rounded_for_it(seed, round_share, least) -> None:
    """By shrinking with a plain buffer at several widths: nothing falls apart."""
    rough = outlined(40, 24, round_share=round_share, rng=np.random.default_rng(seed))
    flakes = shapely.polygons(rounded_until(rough, np.full(40, least)))
    for share in (0.3, 0.6, 0.8, 0.97):
        left = shapely.buffer(flakes, -share * least, quad_segs=16)
        assert (shapely.get_num_geometries(left) == 1).all()
        assert not shapely.is_empty(left).any()


def test_only_outlines_that_a_disc_does_not_pass_are_rounded() -> None:
    rough = outlined(3000, 24, round_share=0.3, rng=np.random.default_rng(1))
    small, large = (rounded_until(rough, np.full(3000, least)) == rough for least in (0.2, 0.58))
    assert small.all()
    assert 0.05 < large.all(axis=(1, 2)).mean() < 0.95


def test_large_flakes_are_soft_and_of_several_kinds() -> None:
    """No corners, no discs; some hollow, some long.

    Over four of its sixty edges a circle turns by 24 degrees. Nine tenths of the flakes nowhere turn by more than 63;
    when they were cut in straight strokes it was 112, and they looked like gravel.
    """
    edges = outlined(1000, 60, round_share=0.6, rng=np.random.default_rng(5), large=1.0)
    side = np.roll(edges, -1, axis=1) - edges
    direction = side[..., 0] + 1j * side[..., 1]
    turn = np.angle(np.roll(direction, -1, axis=1) / direction, deg=True)
    sharpest = sum(np.roll(turn, k, axis=1) for k in range(4)).max(axis=1)
    assert np.quantile(sharpest, 0.9) < 75
    assert np.quantile(sharpest, 0.1) > 32
    assert 0.25 < (turn < -2).any(axis=1).mean() < 0.65
    box = shapely.get_coordinates(shapely.minimum_rotated_rectangle(shapely.polygons(edges))).reshape(-1, 5, 2)
    sides = np.hypot(*np.moveaxis(np.diff(box, axis=1)[:, :2], -1, 0))
    assert 1.35 < np.quantile(sides.max(axis=1) / sides.min(axis=1), 0.9) < 2
