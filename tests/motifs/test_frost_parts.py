"""Frost before it grows: feet in fans, first arms, stars and side-branches. Ends, means and shares of many.

What is drawn at random is held to the law that it is drawn by; lengths are mm, angles radians where nothing is said.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from carvegen.motifs.frost import branching, seeding, stars
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.branching import SIXTY, BranchingHabit
from carvegen.motifs.frost.crystals import Thicket
from carvegen.motifs.frost.seeding import Sowing, fans, first_arms

HABIT = BranchingHabit(
    land=0.5, least=0.2, step=0.2, branching=1.0, breadth=0.5, plumes=0.5, curve=1.0, flare=True, reach=60.0,
    density=lambda xy: np.ones(len(xy)),
)  # fmt: skip
SOWING = Sowing(habit=HABIT, stem_mm=2.4, patch_mm=20.0, inset_mm=None)
COUNT = 3000


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def crystals(count: int, *, sweep: float = 0.0) -> Crystals:
    still = np.zeros(count)
    return Crystals(
        foot=np.zeros((count, 2)), square=still, axis=still, sway=still, wave=np.zeros((count, 2)),
        sweep=still + sweep, loose=np.zeros(count, dtype=bool),
    )  # fmt: skip


def mothers(count: int = COUNT, *, planned: float = 30.0, length: float = 10.0, curl: float = 0.0) -> Arms:
    """First arms that have grown straight to `length`."""
    arms = first_arms(SOWING, crystals(count), np.full(count, planned), np.full(count, 1.0), rng(7))
    return replace(arms, length=np.full(count, length), curl=np.full(count, curl))


def evenly(values: np.ndarray, low: float, high: float, near: float = 0.01) -> None:
    """Drawn evenly between two ends, as nearly as so many show."""
    assert values.min() == pytest.approx(low, abs=near * (high - low))
    assert values.max() == pytest.approx(high, abs=near * (high - low))
    assert values.mean() == pytest.approx((low + high) / 2, abs=3 * near * (high - low))


def test_arms_keep_the_land_and_short_ones_are_left_out() -> None:
    assert HABIT.apart == pytest.approx(0.9)
    assert HABIT.shortest == pytest.approx(1.28)
    assert pytest.approx(np.radians(60)) == SIXTY


def test_an_arm_is_thick_at_its_foot_and_thinnest_at_its_tip() -> None:
    """Up to 0.11 of its length thicker; it thins by up to 35 % of that, and flares out over its last 0.9 mm."""
    arms, every = mothers(1), np.zeros(1, dtype=np.int64)

    def radius(along: float, *, phase: float, **changed) -> float:
        each = replace(arms, phase=np.array([phase]), **changed)
        return float(branching.radius_at(HABIT, each, every, np.array([along]), np.array([30.0]))[0])

    assert radius(30, phase=0) == pytest.approx(0.2)
    assert radius(15, phase=-np.pi / 2) == pytest.approx(0.2 + 0.8 / 2)  # 15 mm: a whole swell, nothing thinned
    assert radius(15, phase=np.pi / 2) == pytest.approx(0.2 + 0.8 / 2 * 0.65)
    assert radius(7.5, phase=np.pi / 2) == pytest.approx(0.2 + 0.8 * 0.75)  # half a swell on
    assert radius(0, phase=-np.pi / 2) == pytest.approx(1.0 + 0.07 * 0.9)
    assert radius(0, phase=-np.pi / 2, parent=np.zeros(1, dtype=np.int64)) == pytest.approx(1.0)
    thick = {"root": np.array([9.0]), "parent": np.zeros(1, dtype=np.int64)}
    assert radius(0, phase=-np.pi / 2, **thick) == pytest.approx(0.2 + 0.11 * 30)
    assert radius(30, phase=0, end=np.array([0.3])) == pytest.approx(0.5)


def test_arms_that_are_sown_later_spring_from_their_own_mothers() -> None:
    thicket = Thicket(HABIT, np.empty((0, 2)), rng(), wall_gap=0.5, open_feet=True)
    for _ in range(3):
        arms = replace(mothers(2, planned=0.0), parent=np.array([-1, 0]))
        thicket.grow(crystals(2), arms)
    assert thicket.arms.parent.tolist() == [-1, 0, -1, 2, -1, 4]
    assert thicket.arms.crystal.tolist() == [0, 1, 2, 3, 4, 5]


def test_few_tips_end_in_a_plate() -> None:
    """Twelve in a hundred, broader by a third of the thinnest radius to all of it."""
    each = branching.knobs(HABIT, COUNT, rng())
    assert (each > 0).mean() == pytest.approx(0.12, abs=0.02)
    evenly(each[each > 0] / 0.2, 0.3, 1.0)


def test_some_arms_are_combs_and_some_ferns() -> None:
    each = np.log(branching.airiness(COUNT, rng()))
    assert np.median(each) == pytest.approx(np.log(0.12), abs=0.03)
    assert each.std() == pytest.approx(0.5, rel=0.05)


@pytest.mark.parametrize(("wish", "loose"), [(1.0, 0.12), (0.5, 1.12)])
def test_branches_spring_as_close_as_the_land_allows_and_unevenly(wish: float, loose: float) -> None:
    """0.9 mm between axes, 0.1 thicker each, at 60 degrees; six in a hundred leave one to four times that bare."""
    habit = replace(HABIT, branching=wish)
    each = branching.spacing(habit, np.full(COUNT, 0.1), np.full(COUNT, 0.3), rng())
    close = 1.03 * (0.9 + 2 * 0.1) / np.sin(SIXTY)
    assert each.min() == pytest.approx(close, rel=0.01)
    assert each.mean() / close == pytest.approx(1 + loose + 0.06 * 2.5, abs=0.06)
    if wish == 1:
        assert (each > 2 * close).mean() == pytest.approx(0.06, abs=0.015)
    far = branching.spacing(replace(HABIT, branching=1.0), np.full(COUNT, 9.0), np.full(COUNT, 0.3), rng())
    assert far.min() == pytest.approx(0.75 * 9, rel=0.01)


def test_side_branches_fill_a_feathers_outline_and_a_few_become_feathers() -> None:
    """At a third of 30 mm the outline is 1.25 · 0.5 · 30 (0.393)^0.45 (2/3)^0.9; a plume takes half to nine tenths."""
    arms, which = mothers(), np.arange(COUNT)
    plain, plume = branching._planned(HABIT, arms, which, np.zeros(COUNT), rng())
    assert plume.mean() == pytest.approx(0.05, abs=0.015)
    evenly(plain[plume] / 20, 0.5, 0.9, 0.03)
    outline = 1.25 * 0.5 * 30 * (1 / 3 + 0.06) ** 0.45 * (2 / 3) ** 0.9
    others = plain[~plume] / outline
    assert np.median(others) == pytest.approx(0.98, abs=0.04)
    assert (others < 0.6).mean() == pytest.approx(0.08, abs=0.025)  # one in ten stops early
    assert np.log(others[others > 0.65]).std() == pytest.approx(np.hypot(0.13, 0.22 / 2**0.5), rel=0.12)
    inside, none = branching._planned(HABIT, arms, which, np.full(COUNT, 1.0), rng())
    assert np.median(inside) / np.median(plain[~plume]) == pytest.approx(np.exp(-0.45), abs=0.04)
    assert not none.any()
    late = replace(arms, length=np.full(COUNT, 21.5))
    assert not branching._planned(HABIT, late, which, np.zeros(COUNT), rng())[1].any()
    assert branching._planned(HABIT, late, which, np.zeros(COUNT), rng())[0].max() <= 8.5
    branch = replace(arms, order=np.ones(COUNT, dtype=np.int64))
    assert not branching._planned(HABIT, branch, which, np.zeros(COUNT), rng())[1].any()


def test_branches_stand_at_sixty_degrees_and_spring_where_their_mother_has_got_to() -> None:
    arms = mothers(600)
    for side in (1, -1):
        born, apart = branching.branches(
            HABIT, crystals(600, sweep=0.1), arms, np.arange(600), rng(), side=np.full(600, side)
        )
        off = np.degrees(born.turn - side * SIXTY)
        assert np.abs(off).max() == pytest.approx(3, abs=0.05)
        assert (born.sprung_at == 10).all()
        assert born.planned.min() > HABIT.shortest
        assert len(apart) == 600
        order = born.order == 1
        assert (~order).mean() == pytest.approx(0.05, abs=0.03)
        assert (born.pace == np.where(order, 2, 1)).all()
        assert born.curl[order].mean() == pytest.approx(-side * 0.1, abs=0.003)  # they sweep alike
        assert born.curl[order].std() == pytest.approx(0.015, rel=0.12)
        assert (born.coil[order] == 0).all()
        assert born.shy.min() >= 1
        assert born.shy.max() == pytest.approx(1.4)
        assert born.shy.mean() == pytest.approx(1.1, abs=0.02)
        radius = branching.radius_at(HABIT, arms, np.arange(600), arms.length, arms.planned)
        assert born.root.max() <= 0.2 + 0.8 * (radius.max() - 0.2) + 1e-9
        assert (born.root - 0.2 <= 0.055 * born.planned + 1e-9).all()
        assert (born.sprouts_at.min(), born.sprouts_at.max()) == (
            pytest.approx(radius.min() + 0.9, abs=0.03), pytest.approx(radius.max() + 0.9 * 2.6, abs=0.05),
        )  # fmt: skip


def test_plumes_bend_back_or_off() -> None:
    """By -1.6 to 0.8 over their length, towards their own side; half of that at the root."""
    curl, coil = branching._curl(HABIT, np.zeros(COUNT), np.ones(COUNT), np.full(COUNT, 20.0), rng())
    evenly(coil * 20**2, -1.6, 0.8)
    assert curl == pytest.approx(coil * 20 / 2)
    short, _ = branching._curl(HABIT, np.zeros(COUNT), np.ones(COUNT), np.full(COUNT, 4.0), rng())
    assert short == pytest.approx(curl * 2)  # no tighter than one of 10 mm


def test_feet_stand_in_fans_of_one_to_six() -> None:
    """Two or three on average: a geometric law of 0.45; three places or so from foot to foot."""
    at, out = fans(np.ones(100_000), 900, 3.0, rng())
    assert len(at) == len(np.unique(at))
    gaps = np.diff(np.sort(at))
    runs = np.split(gaps, np.flatnonzero(gaps > 12))
    sizes = np.array([len(run) for run in runs[1:]])
    assert len(at) / 900 == pytest.approx(2.6, abs=0.2)
    assert 6 <= sizes.max() <= 14  # fans may lie beside one another
    within = gaps[gaps <= 6]
    assert np.median(within) == pytest.approx(3.7, abs=0.5)
    assert np.abs(out).max() <= 1
    assert out.mean() == pytest.approx(0, abs=0.03)
    assert out.std() == pytest.approx(0.535, abs=0.04)  # measured
    assert len(fans(np.full(100_000, 0.5), 900, 3.0, rng())[0]) == pytest.approx(len(at) / 2, rel=0.1)
    assert len(fans(np.ones(10), 900, 3.0, rng())[0]) <= 10


def test_feet_of_a_fan_stand_evenly_and_look_about_as_far_out_as_they_stand() -> None:
    """From foot to foot one to one and a half times as far as asked; a lone foot looks aside by chance alone.

    By up to a fifth either way, and 0.12 in the normal law: 0.167 in all.
    """
    at, out = fans(np.ones(400_000), 900, 20.0, rng())
    gaps = np.diff(at)
    within = gaps[gaps < 100]
    assert np.median(within) == pytest.approx(25, abs=2)
    alone = np.flatnonzero((gaps[1:] > 100) & (gaps[:-1] > 100)) + 1
    assert out[alone].std() == pytest.approx(np.hypot(0.2 / 3**0.5, 0.12), rel=0.1)
    assert len(fans(np.ones(400_000), 900, 20.0, rng(2))[0]) / 900 == pytest.approx(2.6, abs=0.2)


def test_arms_that_keep_far_apart_bend_no_more_tightly_than_four_times_that() -> None:
    far = replace(SOWING, habit=replace(HABIT, land=2.1))
    curl, coil = seeding._curl(far, np.full(COUNT, 10.0), np.ones(COUNT), rng())
    assert np.abs(curl * 10 + coil * 100).max() == pytest.approx(1.0, rel=0.001)


def test_first_arms_turn_outwards_and_some_curl_up() -> None:
    """Long enough that none is too tight: 150 degrees times 0.1 to 0.9, or in a fifth and more 1.2 to 2."""
    out = np.where(np.arange(COUNT) % 2, 0.5, -0.5)
    curl, coil = seeding._curl(SOWING, np.full(COUNT, 400.0), out, rng())
    whole = np.abs(curl * 400 + coil * 400**2) / np.radians(150)
    curls = whole > 1
    assert curls.mean() == pytest.approx(0.22, abs=0.03)
    evenly(whole[curls], 1.2, 2.0)
    evenly(whole[~curls], 0.1, 0.9)
    assert (np.sign(coil) == np.sign(out)).mean() == pytest.approx(0.8, abs=0.03)
    assert (curl[curls] == 0).all()
    late = np.abs(coil * 400**2 / np.radians(150)) / whole
    evenly(late[~curls], 0.0, 0.9)
    tight_curl, tight_coil = seeding._curl(SOWING, np.full(COUNT, 10.0), out, rng())
    bend = np.abs(tight_curl) + 2 * 10 * np.abs(tight_coil)  # at the tip: the angle's second term grows as the square
    turned = np.abs(tight_curl * 10 + tight_coil * 100) * (1 + late)
    assert turned.max() == pytest.approx(10 / 4.5)
    assert bend.max() <= 2 / 4.5
    none, _ = seeding._curl(replace(SOWING, habit=replace(HABIT, curve=0.0)), np.full(COUNT, 400.0), out, rng())
    assert (none == 0).all()


def test_stars_have_three_to_six_needles_that_stand_on_the_lattice() -> None:
    at = rng().uniform(0, 100, (900, 2))
    each, arms = stars.stars(SOWING, at, np.full(900, 3.0), rng())
    rays = np.bincount(arms.crystal)
    shares = np.bincount(rays, minlength=7)[3:] / 900
    assert shares == pytest.approx([0.2, 0.25, 0.2, 0.35], abs=0.05)
    assert each.loose.all()
    assert arms.planned[arms.side == 0] == pytest.approx(np.full(900, 3.0))
    evenly(arms.planned[arms.side > 0] / 3, 0.45, 1.0)
    assert arms.root == pytest.approx(0.2 + 0.045 * arms.planned)
    off = np.degrees(arms.turn) % 60
    off = np.where(off > 30, off - 60, off)
    assert off.std() == pytest.approx(4, rel=0.06)
    assert np.degrees(arms.curl).std() == pytest.approx(1, rel=0.06)
    second = np.degrees(arms.turn[arms.side == 1])
    assert np.median(second) == pytest.approx(180, abs=1)  # the second needle goes on from the first
    assert (arms.order == 2).all()
    assert (arms.shy == 1.5).all()
    assert arms.sprouts_at.tolist() == [[np.inf, np.inf]] * len(arms)


def test_stars_lie_in_flocks() -> None:
    """Where a noise is higher than 0.15, give or take as much: measured, a third of the places asked."""
    region = shapely.box(0, 0, 200, 200).difference(shapely.box(50, 50, 150, 150))
    at = stars.strewn(region, 0.1, 15.0, rng())
    assert shapely.contains_xy(region, *at.T).all()
    assert len(at) == pytest.approx(0.34 * 3000, rel=0.15)


def test_crystals_waver_by_a_fifth_of_a_radian_over_lengths_of_their_own() -> None:
    arms = first_arms(SOWING, crystals(2), np.full(2, 5.0), np.full(2, 1.0), rng())
    assert (arms.chance >= 0).all()
    each = replace(crystals(1), sway=np.array([0.2]), wave=np.array([[2 * np.pi / 12, 0.0]]), axis=np.array([0.5]))
    turned = each.turned_at(np.zeros(4, dtype=np.int64), np.array([(0, 0), (3, 9), (6, 0), (9, -5.0)]))
    assert turned == pytest.approx([0.5, 0.7, 0.5, 0.3])


# ── which arms may be near one another ───────────────────────────────────────────────────────────────────────────


def family() -> Thicket:
    """A stem, its branches 5 mm out to the left and to the right and 9 mm out to the left, and a stem beside it.

    Their axes are 0.9 mm apart at the least, and roots 0.2 mm thick: a fork reaches 2.2 (0.9 + 0.2 + 0.2) = 2.86 mm.
    """
    thicket = Thicket(HABIT, np.empty((0, 2)), rng(), wall_gap=0.5, open_feet=True)
    thicket.crystals = crystals(2)
    thicket.arms = replace(
        mothers(5), crystal=np.array([0, 0, 0, 0, 1]), parent=np.array([-1, 0, 0, 0, -1]), root=np.full(5, 0.2),
        side=np.array([0, 1, -1, 1, 0]), sprung_at=np.array([0.0, 5.0, 5.0, 9.0, 0.0]),
    )  # fmt: skip
    return thicket


@pytest.mark.parametrize(
    ("one", "length", "other", "along", "kin"),
    [
        # a branch and its stem, near their fork, whichever is asked
        (1, 2.8, 0, 5.0, True), (1, 2.9, 0, 5.0, False), (1, 1.0, 0, 7.8, True), (1, 1.0, 0, 7.9, False),
        (1, 1.0, 0, 2.2, True), (1, 1.0, 0, 2.1, False), (3, 1.0, 0, 5.0, False), (3, 1.0, 0, 9.0, True),
        (0, 5.0, 1, 2.8, True), (0, 5.0, 1, 2.9, False), (0, 7.8, 1, 1.0, True), (0, 7.9, 1, 1.0, False),
        # branches on both sides of it, and none on one side
        (1, 2.8, 2, 2.8, True), (1, 2.9, 2, 2.8, False), (1, 2.8, 2, 2.9, False), (1, 1.0, 3, 1.0, False),
        # an arm and what it has just grown: six times 0.9 + 0.2
        (0, 10.0, 0, 3.5, True), (0, 10.0, 0, 3.3, False), (0, 3.5, 0, 10.0, True), (4, 1.0, 4, 1.0, True),
        # two stems, and the edge
        (0, 1.0, 4, 1.0, False), (0, 0.0, -1, 0.0, False), (1, 0.0, -1, 0.0, False), (1, 1.0, 4, 1.0, False),
    ],
)  # fmt: skip
def test_so_near_to_a_fork_arms_may_be_near_one_another(one, length, other, along, kin: bool) -> None:
    each = np.array([one]), np.array([length]), np.array([other]), np.array([along])
    assert family()._kin(*each).tolist() == [kin]


@pytest.mark.parametrize(
    ("who", "length", "wall", "foot"),
    [
        # three times 0.9 + 0.2 from its foot, along it and across
        (0, 3.2, (0.0, 1.0), True), (0, 3.4, (0.0, 1.0), False), (0, 1.0, (0.0, 3.2), True),
        (0, 1.0, (0.0, 3.4), False), (0, 1.0, (1.1, 0.0), True), (0, 1.0, (1.3, 0.0), False), (1, 1.0, (0, 1), False),
    ],
)  # fmt: skip
def test_the_edge_that_an_arm_has_just_left_is_not_in_its_way_and_what_lies_ahead_is(who, length, wall, foot) -> None:
    """It has come 1 mm out along x."""
    thicket = family()
    thicket._wall(np.array([wall], dtype=float), 0.5)
    at = thicket._at_foot(np.array([who]), np.array([(1.0, 0.0)]), np.array([length]), np.array([0]))
    assert at.tolist() == [foot]
    thicket.crystals.loose[:] = True
    assert not thicket._at_foot(np.array([who]), np.array([(1.0, 0.0)]), np.array([length]), np.array([0])).any()


@pytest.mark.parametrize(
    ("planned", "order", "gap", "beaten"),
    [
        ((30, 20), (0, 0), 0.8, [1]), ((20, 30), (0, 0), 0.8, [0]), ((20, 30), (0, 1), 0.8, [1]),
        ((30, 30), (0, 0), 0.8, [1]), ((30, 20), (0, 0), 1.3, []),
    ],
)  # fmt: skip
def test_of_two_that_ask_for_a_place_the_longer_gets_it_or_the_stem(planned, order, gap, beaten) -> None:
    thicket = family()
    thicket.arms.planned[[0, 4]], thicket.arms.order[[0, 4]] = planned, order
    at = np.array([(0.0, 0.0), (gap, 0.0)])
    lost = thicket._beaten(np.array([0, 4]), at, np.array([9.0, 9.0]), np.array([0.3, 0.3]))
    assert lost.tolist() == beaten


def test_arms_keep_so_far_apart_that_between_their_points_too_the_land_stays() -> None:
    """Points lie 0.2 mm apart; a shy one keeps so many times the land."""
    assert float(family()._clearance(0.3, 0.2, 1.0)) == pytest.approx(np.hypot(1.0, 0.1))
    assert float(family()._clearance(0.3, 0.2, 1.5)) == pytest.approx(np.hypot(1.25, 0.1))
