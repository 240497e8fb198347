"""How frost begins: where on a pane feathers, needles and stars stand, and how long they are meant to be.

What is drawn at random is held to the law that it is drawn by; lengths are mm.
"""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen.motifs.frost import Settings, growing, seeding
from carvegen.motifs.frost.branching import BranchingHabit
from carvegen.motifs.frost.contours import Contour
from carvegen.motifs.frost.growing import Pane
from carvegen.motifs.frost.seeding import Sowing
from carvegen.motifs.growth import Place
from tests.cases import limits, shapes

FACE = shapely.box(0, 0, 40, 30)
COUNT = 4000
HABIT = BranchingHabit(
    land=0.5, least=0.2, step=0.2, branching=1.0, breadth=0.5, plumes=0.5, curve=0.0, flare=True, reach=60.0,
    density=lambda xy: np.ones(len(xy)),
)  # fmt: skip


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def edge_of(count: int, spacing: float) -> Contour:
    """A straight edge along x, the pane above it."""
    up = np.tile([0.0, 1.0], (count, 1))
    return Contour(np.column_stack([spacing * np.arange(count), np.zeros(count)]), up, up, np.zeros(count, dtype=bool))


def pane(count: int = COUNT, spacing: float = 0.1, density: float = 1.0, **settings: float) -> Any:
    return SimpleNamespace(
        settings=Settings(**settings), edge=edge_of(count, spacing), spacing=spacing, least=0.2, land=0.5,
        place=SimpleNamespace(density_at=lambda xy: np.full(len(xy), density)), habit=HABIT, sowing=None,
        bed=SimpleNamespace(region=None),
    )  # fmt: skip


def sown_by(monkeypatch) -> list[Any]:
    """What is sown: where, how long, and how."""
    lots = list[Any]()
    monkeypatch.setattr(
        growing, "sown", lambda _, __, at, planned, ___, **how: lots.append((at, planned, SimpleNamespace(**how)))
    )
    return lots


@pytest.mark.parametrize(
    ("free", "inside", "gap", "inset"),
    [(False, False, 1.012, None), (True, False, 0.0, 0.0), (True, True, 1.012, 1.012), (False, True, 1.012, None)],
)
def test_a_pane_keeps_a_little_more_than_the_limits(free: bool, inside: bool, gap, inset) -> None:
    """Between arms what snapping takes; an arm's half is two in a hundred more, for its polygon."""
    place = Place(area=FACE, shapes=shapes(shapely.box(10, 10, 20, 20)) if inside else shapes())
    settings = Settings(free=free, front_mm=40.0, reach_mm=60.0)
    one = Pane(settings, place, limits(1.0, 0.4), growing.region_of(settings, place))
    assert (one.land, one.least) == pytest.approx((1.012, 0.216))
    assert one.step == pytest.approx((0.432 + 1.012) / 4)
    assert one.spacing == pytest.approx(one.step / 2)
    assert one.sowing.patch_mm == 60.0
    assert (one.wall_gap, one.sowing.inset_mm) == (pytest.approx(gap), inset and pytest.approx(inset))
    assert np.hypot(*np.diff(one.walls[:50], axis=0).T).max() <= one.spacing + 1e-9


def test_frost_starts_at_the_panes_outline_or_at_its_shapes_and_near_no_corner() -> None:
    holed = shapely.box(0, 0, 40, 30).difference(shapely.box(15, 10, 25, 20))
    one = Pane(Settings(), Place(area=holed), limits(1.0, 0.4), holed)
    assert shapely.distance(FACE.exterior, shapely.points(one.edge.xy)).max() < 1e-6
    corner = shapely.distance(shapely.multipoints(list(FACE.exterior.coords)), shapely.points(one.edge.xy))
    assert 2.0 < corner.min() < 4.0  # the smoothed direction turns within three lands and halves of an arm
    place = Place(area=FACE, shapes=shapes(shapely.box(15, -5, 25, 20)))
    one = Pane(Settings(), place, limits(1.0, 0.4), growing.region_of(Settings(), place))
    on = shapely.distance(shapely.box(15, -5, 25, 20).exterior, shapely.points(one.edge.xy))
    assert len(on) > 0
    assert on.max() < 0.01
    inward = Settings(inward=True)
    assert growing.region_of(inward, place).equals(shapely.box(15, 0, 25, 20))
    assert growing.region_of(Settings(), place).equals(FACE.difference(shapely.box(15, 0, 25, 20)))


def test_feathers_are_longer_where_the_front_swells_and_vary_as_asked() -> None:
    for variety, high in ((0.5, 0.6), (0.5, 1.0), (1.0, 0.1)):
        long = growing._lengths(Settings(variety=variety, reach_mm=500.0, feather_mm=5.0), np.full(COUNT, high), rng())
        log = np.log(long / 5)
        assert np.median(log) == pytest.approx(1.6 * variety * (high - 0.6) - 0.1, abs=0.06)
        assert log.std() == pytest.approx(0.15 + 0.75 * variety, rel=0.05)
    reach = growing._lengths(Settings(reach_mm=20.0, feather_mm=400.0), np.ones(COUNT), rng()) / 20
    assert reach.min() >= 0.75 - 0.01
    assert reach.max() == pytest.approx(1.0, abs=0.01)
    assert np.median(reach) == pytest.approx(0.875, abs=0.01)


def test_feathers_stand_in_fans_as_close_as_asked_and_the_longest_come_first(monkeypatch) -> None:
    lots, asked = sown_by(monkeypatch), list[Any]()
    at, out = np.arange(0, COUNT, 10), np.tile([-1.0, 0.0, 0.5, 0.0], COUNT // 40)

    def fans(chance, wanted, apart, _):
        asked.append((chance, wanted, apart))
        return at, out

    monkeypatch.setattr(growing, "fans", fans)
    monkeypatch.setattr(growing, "noise_at", lambda xy, _, patch_mm, octaves: xy[:, 0] * (patch_mm == 45) * octaves)
    one = pane(density=0.5)
    for density, stem, apart, share in ((1.0, 1.8, 2.3, 1.0), (0.5, 0.05, 0.9, 1 / 2.5)):
        one.settings = Settings(variety=0.0, gaps=0.2, density=density, stem_mm=stem, reach_mm=500.0)
        list(growing._feathers(one, rng()))
        chance, wanted, feet = asked.pop()
        assert wanted == pytest.approx(400 / apart * share / 1.6)
        assert feet == pytest.approx(1.1 * apart / 0.1)
        assert (chance == 0).mean() == pytest.approx(0.2, abs=0.001)
        assert np.unique(chance).tolist() == [0, 0.5]
        (early, long, first), (late, short, then) = lots[-2:]
        assert len(early) == pytest.approx(0.2 * len(at), abs=1)
        assert long.min() >= short.max()
        assert sorted([*early, *late]) == at.tolist()
        assert (first.shy, then.shy, first.splay, then.splay) == (0.6, 0.2, 0.4, 0.4)
        assert first.out.tolist() == out[np.isin(at, early)].tolist()
    log = np.empty(len(at))  # without variety: 15 % about the usual, and in a fan's flanks up to 35 % less
    log[np.searchsorted(at, np.concatenate([early, late]))] = np.log(np.concatenate([long, short]) / 26)
    assert log[out == 0].mean() == pytest.approx(-0.1, abs=0.04)
    assert log[out == 0].std() == pytest.approx(0.15, rel=0.15)
    assert log[out == 0.5].mean() == pytest.approx(-0.1 + np.log(1 - 0.175), abs=0.05)
    assert log[out == -1].mean() == pytest.approx(-0.1 + np.log(0.65), abs=0.05)


def test_feathers_are_short_beside_the_gaps(monkeypatch) -> None:
    """The swelling begins there with 0 and is 1 where the front is highest."""
    lots = sown_by(monkeypatch)
    monkeypatch.setattr(growing, "fans", lambda chance, *_: (np.flatnonzero(chance), np.zeros(int((chance > 0).sum()))))
    monkeypatch.setattr(growing, "noise_at", lambda xy, _, **__: xy[:, 0])
    monkeypatch.setattr(growing, "_lengths", lambda _, high, __: high)
    list(growing._feathers(pane(gaps=0.2), rng()))
    high = np.sort(np.concatenate([lot[1] for lot in lots]))
    assert high == pytest.approx(np.linspace(0, 1, len(high)), abs=0.001)


def test_needles_stand_in_tufts_on_stretches_of_the_edge(monkeypatch) -> None:
    lots = sown_by(monkeypatch)
    height = {15.0: lambda x: x, 7.0: lambda x: np.where(x % 2 < 1, -0.29, -0.31)}
    monkeypatch.setattr(growing, "noise_at", lambda xy, _, patch_mm, octaves: height[patch_mm](xy[:, 0]))
    one = pane(40_000, rime=0.35)
    growing._rime(one, rng())
    at, long, how = lots.pop()
    x = one.edge.xy[at, 0]
    assert (how.splay, how.shy) == (0.8, 0.0)
    assert x.min() == pytest.approx(0.65 * 4000, abs=5)
    assert (x % 2 < 1).all()  # where it is higher than -0.3
    assert len(at) / len(one.edge) == pytest.approx(0.35 / 2 * 0.64, rel=0.05)  # the edge is gone round many times
    log = np.log(long / 3.5) + 0.1 - 1.2 * -0.29 - 1.2 * (x / 4000 - 0.6)
    assert log.mean() == pytest.approx(0, abs=0.04)
    assert log.std() == pytest.approx(0.3, rel=0.1)
    one.place = SimpleNamespace(density_at=lambda xy: np.full(len(xy), 0.5))
    growing._rime(one, rng())
    assert len(lots.pop()[0]) == pytest.approx(len(at) / 2, rel=0.15)


def test_stars_stand_in_the_open_but_not_far_from_frost(monkeypatch) -> None:
    """Small ones: no longer than a quarter of the reach, no shorter than half as long again as the shortest arm."""
    asked, at = list[Any](), np.column_stack([np.linspace(0, 30, COUNT), np.zeros(COUNT)])
    monkeypatch.setattr(growing, "strewn", lambda _, *how: asked.append(how[:2]) or at)
    monkeypatch.setattr(growing, "stars", lambda _, at, span, __: (at, span))
    frost: Any = SimpleNamespace(room=lambda xy: xy[:, 0])  # it is as far off as they lie to the right
    one = pane(stars=0.5, reach_mm=100.0, front_mm=40.0)
    place, span = growing._stars(one, frost, rng())
    assert asked == [(0.0225, 20.0)]
    assert place[:, 0].max() == pytest.approx(20.0, abs=0.05)
    far = span[place[:, 0] > 10]
    assert np.median(np.log(far / 3.5)) == pytest.approx(0.2, abs=0.05)
    assert np.log(far / 3.5).std() == pytest.approx(0.4, rel=0.06)
    assert (place[:, 0] > 0.45 * span + 0.9).all()
    assert (place[:, 0] - 0.45 * span).min() < 1.2
    one.settings = Settings(stars=0.5, reach_mm=20.0, needle_mm=50.0)
    assert growing._stars(one, frost, rng())[1] == pytest.approx(5.0)
    one.settings = Settings(stars=0.5, reach_mm=100.0, needle_mm=0.2)
    assert growing._stars(one, frost, rng())[1] == pytest.approx(1.5 * 1.28)
    one.place = SimpleNamespace(density_at=lambda xy: np.full(len(xy), 0.5))
    assert len(growing._stars(one, frost, rng())[1]) == pytest.approx(COUNT / 3, rel=0.1)


# ── first arms ───────────────────────────────────────────────────────────────────────────────────────────────────


def sown(planned: float, *, out: float = 0.0, inset: float | None = None, noise: float = 0.0, stem: float = 9.0, **how):
    """First arms of an edge whose neighbours all lean as far as `noise` says."""
    sowing = Sowing(habit=HABIT, stem_mm=stem, patch_mm=20.0, inset_mm=inset)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(seeding, "noise_at", lambda xy, _, **__: np.full(len(xy), noise))
        return seeding.sown(
            sowing, edge_of(COUNT, 1.0), np.arange(COUNT), np.full(COUNT, planned), rng(),
            **{"splay": 1.0, "shy": 0.0, "out": np.full(COUNT, out), **how},
        )  # fmt: skip


def test_a_stem_is_the_stouter_the_longer_it_is_to_be() -> None:
    root = sown(30.0)[1].root - 0.2
    assert np.median(root) == pytest.approx(0.034 * 30, rel=0.02)
    assert np.log(root).std() == pytest.approx(0.25, rel=0.05)
    assert sown(300.0, stem=2.0)[1].root.max() == 1.0
    assert sown(300.0, stem=0.1)[1].root == pytest.approx(0.2)


def test_feet_lean_by_chance_with_their_neighbours_and_out_of_their_fan() -> None:
    """Of 66 degrees a quarter by chance, 0.6 of what all lean about there, 1.2 of how far out they stand."""
    for more, lean in (({}, 0.0), ({"noise": 0.5}, 0.3), ({"out": -0.2}, -0.24)):
        each = sown(30.0, **more)[0]
        share = (each.axis - each.square) / np.radians(66)
        assert np.median(share) == pytest.approx(lean, abs=0.02)
        assert np.clip(share, -1, 1) == pytest.approx(share)
        assert share.std() == pytest.approx(0.25, rel=0.06)
    assert sown(30.0, splay=0.0)[0].axis == pytest.approx(np.pi / 2)
    assert (sown(30.0, out=1.0)[0].axis.max() - np.pi / 2) == pytest.approx(np.radians(66))


@pytest.mark.parametrize(
    ("inset", "deep"), [(None, 0.0), (0.0, np.hypot(1.0, 0.1) + 0.01), (0.5, np.hypot(1.5, 0.1) + 0.01)]
)
def test_feet_stand_on_the_edge_or_so_far_inside_that_their_root_is(inset, deep: float) -> None:
    crystals = sown(300.0, stem=2.0, inset=inset)[0]
    assert crystals.foot[:, 1] == pytest.approx(deep, abs=0.001)
    assert crystals.foot[:, 0] == pytest.approx(np.arange(COUNT))


def test_arms_keep_away_from_others_more_or_less_and_some_have_more_chance() -> None:
    arms = sown(30.0, shy=0.6)[1]
    shy = (arms.shy - 1) / 0.6
    assert shy.max() == pytest.approx(2.0)
    assert (shy == shy.max()).mean() == pytest.approx(np.exp(-2), abs=0.02)
    assert np.median(shy) == pytest.approx(np.log(2), abs=0.04)
    assert (sown(30.0)[1].shy == 1).all()
    assert np.sqrt(arms.chance).mean() == pytest.approx(0.5, abs=0.02)
    assert np.sqrt(arms.chance).std() == pytest.approx(12**-0.5, rel=0.03)
    assert (arms.phase.min(), arms.phase.max()) == pytest.approx((-1, 0.5), abs=0.01)
    first = arms.sprouts_at / 0.9
    assert first.max() - first.min() == pytest.approx(1.2, abs=0.01)
    assert first.min() == pytest.approx(seeding.TURNED, abs=0.01)


def test_crystals_waver_over_as_much_as_they_are_long_give_or_take_two_fifths() -> None:
    for long, over in ((30.0, 30.0), (5.0, 12.0)):
        each = sown(long)[0]
        pitch = np.hypot(*each.wave.T) * over / (2 * np.pi)
        assert (pitch.min(), pitch.max()) == pytest.approx((0.6, 1.4), abs=0.01)
        assert np.abs(each.wave.mean(axis=0)).max() < 0.05
    curved = seeding._crystals(edge_of(COUNT, 1.0), np.zeros(COUNT), np.ones(COUNT), 0.5, rng())
    assert (curved.sway.min(), curved.sway.max()) == pytest.approx((0, 0.1), abs=0.001)
    assert (curved.sweep.min(), curved.sweep.max()) == pytest.approx((0, 0.07), abs=0.001)
