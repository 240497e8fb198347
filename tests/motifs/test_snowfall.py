"""Snowfall's own settings: what each does to the snow."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen.checks import checked
from carvegen.errors import InputError
from carvegen.motifs import motif, summaries
from carvegen.motifs.snowfall import PRESETS, Settings
from carvegen.parameters import parameters
from tests.cases import disc, grown, limits, setup, shapes


def snow(seed: int = 1, *, size=(90.0, 70.0), its_limits=None, ground=None, **settings):
    return grown("snowfall", Settings(**settings), its_limits or limits(), seed, size=size, **(ground or {})).cuts


def across(cuts) -> np.ndarray:
    """Each flake's size: the longer side of its turned box."""
    corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(cuts)).reshape(-1, 5, 2)
    return np.hypot(*np.moveaxis(np.diff(corners, axis=1)[:, :2], -1, 0)).max(axis=1)


def test_presets_are_settings_and_differ() -> None:
    made = [Settings(**preset) for preset in PRESETS.values()]
    assert len(set(made)) == len(PRESETS) >= 3
    assert "snowfall" in summaries()


def test_unknown_motif_is_refused_with_the_list() -> None:
    with pytest.raises(InputError) as caught:
        motif("sandstorm")
    assert "snowfall" in caught.value.hint


@pytest.mark.parametrize("its", list(parameters(Settings)), ids=lambda its: its.name)
def test_out_of_range_is_refused(its) -> None:
    if its.unit == "flag":
        return
    for value in (its.at_least - 0.01, its.at_most + 0.01, float("nan")):
        with pytest.raises(InputError) as caught:
            Settings(**{its.name: value})
        assert caught.value.where == its.option


def test_smallest_above_largest_is_refused() -> None:
    with pytest.raises(InputError, match="larger"):
        Settings(smallest_mm=3, largest_mm=2)


def test_sizes_lie_between_smallest_and_largest() -> None:
    sizes = across(snow(smallest_mm=1.5, largest_mm=4, grown_together=0))
    assert len(sizes) > 20
    assert sizes.max() <= 2 * 4 / 2 * 2**0.5  # a flake lies in its disc; its box may be turned
    assert sizes.min() >= 1.5 * 0.6  # and reaches at least that share of it


def test_near_and_far_flakes_differ_in_size_more_than_alike() -> None:
    def spread(**settings) -> float:
        sizes = across(snow(smallest_mm=0.8, largest_mm=8, grown_together=0, **settings))
        return float(np.median(sizes))

    assert spread(near_far=1.0) < spread(near_far=0.0)


def test_grown_together_makes_lumps() -> None:
    def solidity(share: float) -> float:
        cuts = snow(2, grown_together=share)
        return float(np.quantile(shapely.area(cuts) / shapely.area(shapely.convex_hull(cuts)), 0.1))

    assert solidity(1.0) < solidity(0.0) - 0.01


def test_calm_makes_the_sky_uneven() -> None:
    """Variance over mean of the flakes counted in squares of 25 mm (quadrat counts): 1 by chance."""

    def uneven(calm: float, seed: int) -> float:
        xy = shapely.get_coordinates(shapely.centroid(snow(seed, size=(200.0, 150.0), calm=calm, clumping=0.0)))
        counts = np.histogram2d(*xy.T, bins=[8, 6], range=[[0, 200], [0, 150]])[0]
        return float(counts.var() / counts.mean())

    # Eight seeds measured: 4.9 without calm (4.1 to 5.9), 7.4 with a calm of 0.8 (6.2 to 9.8).
    assert np.mean([uneven(0.8, seed) for seed in range(4)]) > 1.25 * np.mean([uneven(0.0, seed) for seed in range(4)])


def test_wind_draws_the_flakes_out() -> None:
    way = np.array([np.cos(np.radians(-25)), np.sin(np.radians(-25))])

    def drawn_out(wind: float) -> float:
        cuts = snow(4, wind=wind, wind_towards_deg=-25, grown_together=0, round=1)
        axes = np.column_stack([way, [-way[1], way[0]]])
        spans = [np.ptp(np.array(cut.exterior.coords) @ axes, axis=0) for cut in cuts]
        return float(np.mean([along / over for along, over in spans]))

    assert drawn_out(1.0) > drawn_out(0.0) + 0.15


def test_cut_at_edge_reaches_the_edge() -> None:
    edge = shapely.box(0, 0, 90, 70).exterior
    assert (shapely.distance(snow(5, cut_at_edge=True, snow=0.2), edge) < 1e-6).any()
    assert (shapely.distance(snow(5, cut_at_edge=False, snow=0.2), edge) >= 0.7 - 1e-9).all()


def test_margin_and_clearance_stay_free() -> None:
    kept = disc(45, 35, 12)
    cuts = snow(6, ground={"margin_mm": 6.0, "keep_clear": shapes(kept), "clearance_mm": 3.0})
    assert shapely.box(6, 6, 84, 64).buffer(1e-6).contains(shapely.union_all(cuts))
    assert shapely.distance(cuts, kept).min() >= 3.0 - 0.01


def test_no_room_is_refused() -> None:
    with pytest.raises(InputError, match="nothing of the block is left"):
        snow(ground={"keep_clear": shapes(shapely.box(0, 0, 90, 70))})


def test_opening_is_cut_out_with_a_land_round_it() -> None:
    block = grown("snowfall", Settings(), limits(), 7, size=(90, 70), openings=shapes(disc(45, 35, 8)))
    assert shapely.area(block.cut_outs).sum() == pytest.approx(disc(45, 35, 8).area, rel=1e-3)
    assert shapely.distance(block.cuts, block.cut_outs[0]).min() >= 0.7 - 1e-6
    with pytest.raises(InputError, match="inside the block"):
        snow(ground={"openings": shapes(disc(3, 35, 8))})


@pytest.mark.parametrize("preset", sorted(PRESETS))
def test_flakes_cut_off_at_the_edge_leave_land_that_every_check_passes(preset) -> None:
    way = setup("linoleum", "laser-fine")
    block = grown("snowfall", Settings(**PRESETS[preset], cut_at_edge=True), way.limits, 2, size=(120, 90))
    at_side = shapely.distance(block.cuts, block.face.exterior) == 0
    assert at_side.any(), "some are cut off"
    assert [its for its in checked(way.on(block)) if its.rule == "land-width"] == []
