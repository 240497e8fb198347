"""What chains of ledges measure, and the wind's shares, beside plain loops and what is said of them."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.motifs import snowload
from carvegen.motifs.snowload import wind
from carvegen.motifs.snowload.ledges import Ledges, ledges_of
from carvegen.motifs.snowload.scene import Grid, columns_of

FACE = shapely.box(0, 0, 60, 40)
STEPS = shapely.union_all([shapely.box(5, 5, 25, 12), shapely.box(25, 5, 40, 12.8), shapely.box(45, 5, 58, 30)])


@pytest.fixture(scope="module")
def chains() -> Ledges:
    columns = columns_of(geometry.parts(STEPS), Grid.of(FACE.bounds))
    return ledges_of(columns, columns, cliff_mm=1.0)


@pytest.fixture(scope="module")
def rough(chains: Ledges) -> np.ndarray:
    return np.random.default_rng(3).uniform(0, 4, len(chains))


def test_ledges_within_a_cliff_are_one_chain_as_thick_and_as_broad_as_what_is_drawn(chains: Ledges) -> None:
    """A step of 0.8 mm is no end, a gap of 5 mm is; the tower's cap lies 30 mm up."""
    assert len(np.unique(chains.first)) == 2
    for left, right, base, thick in ((5, 25, 12, 7), (25, 40, 12.8, 7.8), (45, 58, 30, 25)):
        here = (chains.x > left + 0.5) & (chains.x < right - 0.5)
        assert chains.base[here] == pytest.approx(np.full(here.sum(), base), abs=chains.step)
        assert chains.thick[here] == pytest.approx(np.full(here.sum(), thick), abs=2 * chains.step)
    tower = (chains.x > 49) & (chains.x < 54)
    assert chains.breadth[tower].min() == pytest.approx(9, abs=2.2)  # of discs no more than 5 mm down
    assert not chains.bridged.any()
    assert not chains.ground.any()
    low = chains.x < 24
    assert chains.below_tip[low & (chains.x > 6)] == pytest.approx(0.8, abs=0.1)
    assert np.isinf(chains.ceiling).all()
    assert np.median(chains.slope) == 0


@pytest.mark.parametrize("within", [0.5, 2.0, 7.3])
def test_highest_near_by_and_hollows_are_those_of_a_plain_search(
    chains: Ledges, rough: np.ndarray, within: float
) -> None:
    reach = int(within / chains.step)
    highest, hollow = np.empty(len(chains)), np.empty(len(chains))
    gentle = np.empty(len(chains))
    for k in range(len(chains)):
        low, high = max(chains.first[k], k - reach), min(chains.last[k], k + reach)
        highest[k] = rough[low : high + 1].max()
        hollow[k] = min(rough[low : k + 1].max(), rough[k : high + 1].max()) - rough[k]
        away = np.abs(chains.x[low : high + 1] - chains.x[k])
        gentle[k] = (rough[low : high + 1] + 0.7 * away).min()
    assert chains.highest(rough, within) == pytest.approx(highest)
    assert chains.hollow(rough, within) == pytest.approx(hollow)
    assert chains.rising_gently(rough, 0.7, within) == pytest.approx(gentle)


def test_snow_that_is_spread_is_neither_more_nor_less_on_each_chain(chains: Ledges, rough: np.ndarray) -> None:
    chain = np.unique(chains.first, return_inverse=True)[1]
    for values in (
        chains.smoothed(rough, 2.0),
        chains.calmed(rough, 1.0, 0.0),
        chains.reshaped(0.5 * rough, rough, 1.5),
    ):
        assert np.bincount(chain, values) == pytest.approx(np.bincount(chain, rough), rel=1e-3)
    spike = np.zeros(len(chains))
    spike[k := int(np.argmin(np.abs(chains.x - 15)))] = 1
    spread = chains.smoothed(spike, 2.0)
    assert spread[k] == spread.max() < 0.2
    wide = np.sqrt((spread * (chains.x - chains.x[k]) ** 2).sum())
    assert wide == pytest.approx(2.0, rel=0.03)  # its deviation is what is asked
    short = np.where(np.arange(len(chains)) == k, -0.5, 1.0)
    filled = chains.filled(short)
    assert filled.min() >= 0
    assert filled.sum() == pytest.approx(short.sum(), rel=1e-3)


@pytest.mark.parametrize(
    ("over", "land", "room"), [(10.0, 0.5, 9.0), (10.0, 3.0, 7.0), (2.2, 0.5, 1.2), (1.9, 0.5, 0.0), (2.2, 3.0, 0.0)]
)
def test_under_what_hangs_above_air_stays_and_a_slit_stays_bare(chains: Ledges, over, land, room) -> None:
    """A millimetre at least, or the land; no wider than two it is a slit."""
    each = SimpleNamespace(ceiling=chains.base + over, base=chains.base, highest=chains.highest)
    assert Ledges.room(each, land) == pytest.approx(np.full(len(chains), room))


def test_a_chance_hangs_on_the_place_alone(chains: Ledges) -> None:
    rng = np.random.default_rng
    every = chains.chance(rng(1))
    assert chains.chance(rng(1), np.array([7, 3])).tolist() == every[[7, 3]].tolist()
    assert (every.min(), every.max(), every.mean()) == (
        pytest.approx(0, abs=0.02), pytest.approx(1, abs=0.02), pytest.approx(0.5, abs=0.06),
    )  # fmt: skip
    assert (chains.chance(rng(2)) != every).all()


# ── wind ─────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("towards", "blows"), [(0, 0.8), (180, -0.8), (90, 0.0), (60, 0.4)])
def test_the_wind_blows_along_the_page_by_its_share(towards: float, blows: float) -> None:
    assert wind.strength(snowload.Settings(wind=0.8, wind_towards_deg=towards)) == pytest.approx(blows)


def test_what_stands_upwind_shelters_ever_less_up_to_four_reaches() -> None:
    assert wind._sheltered(np.array([0, 5, 10, 20, 50.0]), 5.0) == pytest.approx([1, 0.75**4, 0.5**4, 0, 0])
    settings = snowload.Settings(fallen_mm=4.0)
    reach = 2.5 + 1.1 * 4
    clear = np.full((4, 3), 1e3)
    clear[:, 1], clear[0, 2] = 0, 0
    assert wind.exposed(clear, settings) == pytest.approx([1, 0, 0.65])  # the lowest ray counts 0.35
    assert wind.exposed(np.full((4, 1), 2 * reach), settings) == pytest.approx([1 - 0.5**4])
    assert wind._WEIGHT.sum() == pytest.approx(1)
    assert (np.diff(wind._WEIGHT) < 0).all()


@pytest.mark.parametrize("step", [0.25, 0.5])
def test_what_is_carried_comes_down_within_forty_five_millimetres(step: float) -> None:
    """Ever less, as the square of what is left of the way; none upwind."""
    loose = np.zeros(400)
    loose[100] = 1
    carried = wind._carried(loose, step)
    assert (carried[:100] == 0).all()
    assert carried[100] == 1
    reach = int(45 / step)
    assert carried[100 + reach // 2] == pytest.approx(0.25, abs=0.01)
    assert carried[100 + reach - 2] > 0
    assert (carried[100 + reach :] == 0).all()


@pytest.mark.parametrize("sign", [1, -1])
def test_a_cornice_grows_at_the_free_edge_in_the_lee_of_long_things(chains: Ledges, sign: int) -> None:
    brink = wind._lee_brink(chains, sign, 4.0)
    right = chains.x > 44
    edge = chains.x[right].max() if sign > 0 else chains.x[right].min()
    away = np.abs(edge - chains.x[right])
    assert brink[right] == pytest.approx(np.clip(1 - away / 4, 0, 1), abs=1e-6)
    assert (wind._lee_brink(chains, sign, 14.0)[right] == 0).all()  # 13 mm are less than four thirds of 14


def test_the_wind_takes_no_more_than_it_brings_and_leaves(chains: Ledges) -> None:
    """Scoured is what lies bare, most where it is steep; drifts are no deeper than 2.5 times what fell."""
    settings = snowload.Settings(fallen_mm=4.0, wind=1.0, wind_towards_deg=0.0)
    depth, sky = np.full(len(chains), 4.0), np.ones(len(chains))
    free, lost = wind.drifted(chains, depth, settings, clear=np.full((4, len(chains)), 1e3), sky=sky)
    inner = (chains.x > 46) & (chains.x < 49)  # far from the lee brink
    assert free[inner] == pytest.approx(4 * (1 - 0.75), abs=0.12)
    assert lost == pytest.approx((depth - free).sum())
    assert lost > 0.4 * depth.sum()
    clear = np.full((4, len(chains)), 1e3)
    clear[:, chains.x < 40] = 8.0  # all of the lower chain lies in the lee
    lee, kept = wind.drifted(chains, depth, settings, clear=clear, sky=sky)
    assert kept < lost
    assert lee[chains.x < 40].mean() > free[chains.x < 40].mean() + 0.5
    assert lee.max() <= 2.5 * 4
    none, nothing = wind.drifted(chains, depth, settings, clear=clear, sky=0 * sky)
    assert (none <= depth + 1e-9).all()
    assert nothing > kept


@pytest.mark.parametrize("mirror", [False, True])
def test_snow_at_a_slot_that_is_filled_beside_a_wall_falls_into_the_slot(mirror: bool) -> None:
    """A post, a slot 2 mm wide, a wall, on ground 2 mm high: at the post's end no snow leans on what hangs there."""
    parts = [(0, 0, 30, 2), (10, 2, 14, 20), (16, 2, 20, 35)]
    drawn, filled = (
        shapely.union_all([shapely.box(30 - c if mirror else a, b, 30 - a if mirror else c, d) for a, b, c, d in boxes])
        for boxes in (parts, [*parts, (14, 19, 16, 20)])
    )
    page = Grid.of((0, 0, 30, 40))
    each = ledges_of(columns_of(geometry.parts(filled), page), columns_of(geometry.parts(drawn), page), cliff_mm=1.0)
    at = 30 - 12 if mirror else 12
    on_post = np.flatnonzero((np.abs(each.x - at) < 1) & (np.abs(each.base - 20) < 0.2))[0]
    side, ends = (0, each.first) if mirror else (1, each.last)
    under = each.free[side, ends[on_post]]
    assert under >= 0
    assert each.base[under] == pytest.approx(2, abs=0.2)
    assert each.wall[side, ends[on_post]] == -1
    assert each.hung.any()
