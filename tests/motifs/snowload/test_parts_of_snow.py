"""What is drawn of snow at one level ledge, part by part: stated in millimetres, so that a slip is noticed."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.snowload import growing, snow_shapes, wind
from carvegen.motifs.snowload.firs import boughs
from carvegen.motifs.snowload.growing import _at_walls, _Scene
from carvegen.motifs.snowload.ledges import Ledges
from carvegen.motifs.snowload.scene import Grid
from carvegen.motifs.snowload.settling import _heads, borne, ends_of
from tests.cases import limits

STEP = 0.1
LIMITS = limits(0.5, 0.4)


def ledge(wide: float = 40.0, *, slope: float = 0.0, **changed: Any) -> Ledges:
    """One chain from x = 20 on, 30 mm up, in the open and with free ends, thick and broad."""
    n = round(wide / STEP)
    column, zeros = np.arange(n) + 200, np.zeros(n)
    usual = {
        "x": 20 + STEP * (np.arange(n) + 0.5), "base": 30 + slope * STEP * np.arange(n), "ceiling": zeros + np.inf,
        "thick": zeros + 60, "breadth": zeros + 60, "ground": zeros > 0, "void": zeros, "slope": zeros + slope,
        "linked": np.arange(n) < n - 1, "first": zeros.astype(int), "last": zeros.astype(int) + n - 1,
        "under": zeros.astype(int) - 1, "free": np.full((2, n), -1), "wall": np.full((2, n), -1), "hung": zeros > 0,
    }  # fmt: skip
    for key, value in changed.items():
        usual[key] = np.full(np.shape(usual[key]), value, dtype=usual[key].dtype)
    return Ledges(step=STEP, column=column, **usual)


def ends(one: Ledges, *, crest: float = np.inf, kind: float = 0.0, free: bool = False, wall: float = 0.0) -> Any:
    n = len(one)
    away = np.stack([np.arange(n), np.arange(n)[::-1]]) * STEP
    return SimpleNamespace(
        crest=np.full(n, crest), kind=np.full((2, n), kind), away=away, free=np.full((2, n), free),
        wall=np.full((2, n), wall),
    )  # fmt: skip


@pytest.fixture
def calm(monkeypatch: pytest.MonkeyPatch) -> None:
    """No chance in what is drawn."""
    monkeypatch.setattr(snow_shapes, "waves_at", lambda place, *_, **__: np.zeros(len(place)))


def drawn(draw, wide: int = 800, high: int = 600) -> np.ndarray:
    """What is covered of a page of 80 x 60 mm."""
    canvas = snow_shapes.Canvas.blank(Grid(0.0, 0.0, wide, high, STEP, 0))
    draw(canvas)
    return canvas.cover


CALM = {"wind": 0.0, "wind_towards_deg": 0.0, "sticky": 0.5, "patchy": 0.0, "reaching_down": 0.4, "bark": 0.5,
        "fields": 0.5, "bridging_mm": 1.2, "scale": "near"}  # fmt: skip


def asked(**changed: Any) -> snowload.Settings:
    return snowload.Settings(**CALM | {"fallen_mm": 4.0} | changed)


# ── what is ground, and what is a field ──────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("thick", "broad", "much"), [(60, 10, 0), (60, 15, 0.5), (60, 20, 1), (15, 30, 0.5), (12, 30, 0), (18, 30, 1)]
)
def test_no_timber_is_as_broad_and_as_thick_as_a_hill(thick: float, broad: float, much: float) -> None:
    assert snow_shapes.massive(ledge(1, thick=thick), np.full(10, float(broad))) == pytest.approx(much)


@pytest.mark.parametrize(
    ("changed", "broad", "far", "ground", "field"),
    [
        ({"ground": True, "free": -2}, 15, False, 0.5, 0.5),
        ({"ground": True, "free": -2}, 25, False, 1, 1),
        ({"ground": True}, 25, False, 0, 0),  # it ends at either side
        ({"free": -2}, 25, False, 0, 0),  # it does not reach the lower edge
        ({"ground": True, "free": -2, "slope": 1.0}, 25, False, 1, 1),
        ({"ground": True, "free": -2, "slope": 4 / 3}, 25, False, 1, 0.5),
        ({"ground": True, "free": -2, "slope": 3**0.5}, 25, False, 1, 0),  # 60°
        ({"thick": 8}, 25, True, 0, 0.5),
        ({"thick": 6}, 25, True, 0, 0),
        ({"thick": 10}, 15, True, 0, 0.5),
    ],
)
def test_a_field_is_ground_that_is_not_steep_or_far_off_all_that_is_broad(changed, broad, far, ground, field) -> None:
    one = ledge(10, **changed)
    mm = np.full(len(one), float(broad))
    assert snow_shapes.lying_ground(one, mm) == pytest.approx(ground, abs=1e-9)
    assert snow_shapes.fielded(one, mm, far=far) == pytest.approx(field, abs=1e-9)


# ── how far the white reaches down ───────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changed", "down"),
    [
        ({}, 1.887),
        ({"depth": 1.0}, 0.414),
        ({"depth": 0.5}, 0.104),
        # never more than half of what lies over it
        ({"reaching_down": 0.8}, 1.945),
        ({"fallen_mm": 8.0}, 1.945),
        # on fields further, the deeper the snow; far off a thin one too
        ({"field": 1.0}, 8.836),
        ({"field": 1.0, "fields": 1.0}, 14.369),
        ({"field": 1.0, "depth": 2.0}, 3.882),
        ({"field": 1.0, "depth": 0.2}, 0.071),
        ({"field": 1.0, "depth": 0.2, "scale": "far"}, 3.885),
        # on steep and on short things less, and on a thin one a land and more stays dark
        ({"slope": 1.0}, 1.887),
        ({"slope": 3.0}, 0.319),
        ({"wide": 3.0}, 0.956),
        ({"wide": 0.8}, 0.386),
        ({"thick": 3.0}, 1.187),
        ({"thick": 1.0}, 0.3),
        ({"thick": 0.8}, 0.1),
        ({"crest": 1.0}, 0.577),
        # a gap that is bridged is filled; no wider one
        ({"void": 1.0}, 2.887),
        ({"void": 1.7}, 3.587),
        ({"void": 1.9}, 2.187),
    ],
)
def test_so_far_the_white_reaches_down_over_what_bears_it(changed, down: float, calm) -> None:
    of_ledge = {key: changed[key] for key in ("slope", "wide", "thick", "void") if key in changed}
    of_asked = {key: changed[key] for key in CALM | {"fallen_mm": 0} if key in changed}
    one = ledge(**of_ledge)
    reaches = snow_shapes.reaching(
        one, np.full(len(one), changed.get("depth", 4.0)), asked(**of_asked),
        ends(one, crest=changed.get("crest", np.inf)), np.full(len(one), changed.get("field", 0.0)),
        patches=np.ones(len(one)), land_mm=0.5, rng=stream(1, "reaching"),
    )  # fmt: skip
    assert reaches == pytest.approx(down, rel=0.01, abs=0.002)


def _hill_with(*foot: float) -> tuple[Ledges, np.ndarray, np.ndarray, np.ndarray]:
    """A level field from x = 20 to 60, but for so much of it; its depth, its white below and where it is a field."""
    one = ledge()
    stands = (one.x > foot[0]) & (one.x < foot[1])
    return one, np.full(len(one), 2.0), np.full(len(one), 3.0), np.where(stands, 0.0, 1.0)


@pytest.mark.parametrize(("broad", "tall", "stem"), [(1.5, 10.0, None), (1.5, 2.0, 0.65), (9.0, 10.0, "none")])
def test_white_of_a_field_runs_on_before_the_foot_of_what_is_slender_and_leaves_small_things_a_stem(broad, tall, stem):
    one, depth, below, field = _hill_with(40 - broad / 2, 40 + broad / 2)
    shape, page = np.zeros((600, 800), dtype=bool), Grid(0.0, 0.0, 800, 600, STEP, 0)
    shape[:300] = True
    shape[300 : 300 + int(tall / STEP), int((40 - broad / 2) / STEP) : int((40 + broad / 2) / STEP)] = True
    column, low, high = snow_shapes.across_feet(one, depth, below, field, shape, page=page, limits=LIMITS)
    before = np.abs((column + 0.5) * STEP - 40) < broad / 2
    if stem == "none":
        assert len(column) == 0
        return
    assert broad - before.sum() * STEP == pytest.approx(stem or 0, abs=0.15)
    assert low[before] == pytest.approx(27, abs=0.1)
    assert high[before] == pytest.approx(30.8, abs=0.1)


@pytest.mark.parametrize(("wave", "slope", "times"), [(0, 0, 1), (9, 0, 1.8), (-9, 0, 0.3), (0, 0.65, 0.5), (9, 1, 0)])
def test_a_field_lies_in_patches_and_not_where_it_is_steep(wave, slope, times, monkeypatch) -> None:
    monkeypatch.setattr(snow_shapes, "waves_at", lambda place, *_, **__: np.full(len(place), float(wave)))
    assert snow_shapes.patched(ledge(slope=slope), stream(1, "p")) == pytest.approx(times)


def test_where_a_heap_runs_out_it_lies_on_top_alone(calm) -> None:
    """From 4 mm to none over 6: the white below ends before the white above, so that it is no lens."""
    one = ledge()
    depth = np.minimum(4.0, one.x[::-1] - one.x[0])
    down = snow_shapes.reaching(
        one,
        depth,
        asked(),
        ends(one),
        np.zeros(len(one)),
        patches=np.ones(len(one)),
        land_mm=0.5,
        rng=stream(1, "reaching"),
    )
    assert down[depth > 3.9][100] > 1.5
    assert (down[(depth < 1) & (depth > 0.6)] < 0.2 * depth[(depth < 1) & (depth > 0.6)]).all()


def test_the_white_of_a_short_field_ends_as_a_bowl(calm) -> None:
    """No steeper than 0.8 mm down for each mm from its end, but for what reaches down anyhow."""
    one = ledge(60)
    field = np.where(one.x < 50, 1.0, 0.0)
    down = snow_shapes.reaching(
        one, np.full(len(one), 4.0), asked(), ends(one), field, patches=np.ones(len(one)), land_mm=0.5,
        rng=stream(1, "reaching"),
    )  # fmt: skip
    near = (one.x > 44) & (one.x < 50)
    assert (down[near] <= 1.9 + 0.8 * (50 - one.x[near]) + 0.3).all()
    assert down[one.x < 32] == pytest.approx(8.8, abs=0.1)


@pytest.mark.parametrize(("kind", "at_end"), [(0.0, 1.887), (0.1, 0.674), (0.2, 0.511), (0.3, 1.887)])
def test_some_free_ends_wrap_round_what_they_lie_on_and_most_run_out(kind: float, at_end: float, calm) -> None:
    one = ledge()
    reaches = snow_shapes.reaching(
        one, np.full(len(one), 4.0), asked(), ends(one, free=True, kind=kind), np.zeros(len(one)),
        patches=np.ones(len(one)), land_mm=0.5, rng=stream(1, "reaching"),
    )  # fmt: skip
    assert reaches[[0, -1]] == pytest.approx(at_end, rel=0.01)
    assert reaches[len(one) // 2] == pytest.approx(1.887, rel=0.01)


@pytest.mark.parametrize(
    ("depth", "slope", "deeper"),
    [(0.18, 0, 0.18), (0.19, 0, 0.475), (0.2, 0, 0.5), (0.4, 0, 0.56), (0.6, 0, 0.6), (0.6, 1, 0.56 * 2**0.5)],
)
def test_snow_that_is_nearly_cut_is_as_deep_as_it_has_to_be(depth: float, slope: float, deeper: float) -> None:
    """Two fifths more than the smallest cut, across; no more than 2.5 times as deep, and a trace stays one."""
    one = ledge(4, slope=slope)
    made = snow_shapes.cuttable(one, np.full(40, depth), np.zeros(40), 0.4)
    assert made == pytest.approx(deeper)


# ── what hangs over ──────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("kind", "blows", "most", "tips"),
    [
        (0.0, 1.0, 99, (0.0072, 0.18, 0.72)),
        (0.5, 1.0, 99, (0.037, 0.884, 3.3)),  # no further than a tenth more than it is thick
        (0.5, 0.5, 99, (0.0185, 0.442, 1.667)),
        (1.0, 1.0, 99, (0.045, 1.436, 3.3)),
        (1.0, 1.0, 2, (0.045, 1.436, 2)),
    ],
)
def test_layers_of_a_cornice_hang_out_one_over_another(kind, blows, most, tips) -> None:
    one = snow_shapes.cornice_tips(np.array([3.0]), np.array([kind]), blows, np.array([float(most)]))
    assert one.shape == (10, 1)
    assert one[[0, 4, 9], 0] == pytest.approx(tips, rel=0.02)


@pytest.mark.parametrize(
    ("changed", "left", "right"),
    [
        ({}, (0.4, 0.808, 0.1), (0.4, 0.808, 0.1)),
        ({"kind": 0.0}, (0, 0, 0), (0, 0, 0)),
        ({"kind": 0.25}, (0.1, 0.118, 0.4), (0.1, 0.118, 0.4)),
        ({"kind": 1.0}, (1.1, 2.245, 0.0), (1.1, 2.245, 0.0)),
        ({"kind": 1.0, "wide": 4.0}, (0.5, 1.036, 0.1), (0.5, 1.036, 0.1)),
        ({"top": 0.29, "kind": 1.0}, (0, 0, 0), (0, 0, 0)),
        ({"top": 0.31, "kind": 1.0}, (0.1, 0.012, 0), (0.1, 0.012, 0)),
        # cornices in the lee
        ({"blows": 0.5}, (0.4, 0.808, 0.1), (1.5, 1.731, 0.5)),
        ({"blows": -0.5}, (1.5, 1.731, 0.5), (0.4, 0.808, 0.1)),
        ({"blows": 1.0}, (0.4, 0.808, 0.1), (3.2, 3.842, 0.2)),
        ({"blows": 1.0, "kind": 0.0}, (0, 0, 0), (0.6, 0.61, 0.8)),
        ({"blows": 1.0, "kind": 1.0, "wide": 4.0}, (0.5, 1.036, 0.1), (1.1, 2.273, 0.2)),
        ({"slope": 1.21}, (0, 0, 0), (0, 0, 0)),
    ],
)
def test_so_much_hangs_out_over_free_ends(changed, left, right) -> None:
    """How far, how much in mm², and how high over the ledge its lower side lies."""
    one = ledge(changed.get("wide", 40.0), slope=changed.get("slope", 0.0))
    depth, free = np.full(len(one), changed.get("top", 3.0)), ends(one, kind=changed.get("kind", 0.5), free=True)
    cover = drawn(lambda canvas: snow_shapes.lips(canvas, one, depth, free, blows=changed.get("blows", 0.0)))
    assert not cover[:, 200 : 200 + len(one)].any()
    for part, (far, area, low) in ((cover[:, :200], left), (cover[:, 200 + len(one) :], right)):
        rows = np.flatnonzero(part.any(axis=1))
        assert part.any(axis=0).sum() * STEP == pytest.approx(far)
        assert part.sum() * STEP**2 == pytest.approx(area, rel=0.02, abs=0.001)
        assert (rows[0] * STEP - 30 if len(rows) else 0) == pytest.approx(low, abs=0.01)


# ── bark, and tongues of white ───────────────────────────────────────────────────────────────────────────────────


def swells(
    seed: int, *, below: float = 3.0, field: float = 0.0, breadth: float = 60.0, bent: float = 1.0, **changed: Any
) -> np.ndarray:
    """How far the white reaches down along 59 mm that bend to and fro by so much."""
    one = ledge(59, breadth=breadth, base=30 + bent * np.sin(0.6 * STEP * np.arange(590)))
    return snow_shapes.shown_bark(
        one, np.full(len(one), below), asked(**changed), np.full(len(one), field), limits=LIMITS,
        rng=stream(seed, "bark"),
    )  # fmt: skip


def test_bark_comes_up_more_often_the_more_is_asked_in_long_swells_joined_along_their_foot() -> None:
    """Of 59 mm a quarter, and more than a third; where a swell begins and ends the white is as deep as beside it.

    Each is up to 16 mm long, half of the white's depth high and more, but no higher than a seventh of its length. The
    white is deeper nowhere: no slit opens below bark.
    """
    some, many = ([3.0 - swells(seed, bark=bark) for seed in range(8)] for bark in (0.5, 1.0))
    shown = [float(np.mean([(high > 0).sum() * STEP for high in each])) for each in (some, many)]
    assert shown == pytest.approx([15.9, 21.5], abs=0.5)
    for high in many:
        assert high.min() == 0
        assert np.abs(np.diff(high)).max() < 1.3 * STEP
        edges = np.flatnonzero(np.diff(np.pad(high > 0, 1)))
        long, apart = np.diff(edges)[::2] * STEP, np.diff(edges)[1::2] * STEP
        most = np.array([high[k:m].max() for k, m in zip(edges[::2], edges[1::2], strict=True)])
        assert ((most > np.minimum(1.64, 0.13 * long)) & (most <= 0.141 * long)).all()
        assert ((long >= 4) & (long <= 16.1)).all()
        assert (apart >= 0.9).all()


#: Bark asks for so much below the base, two fifths of that: of a dot, as wide as a land or wider, and a cut, 1.7 times.
HOLDS = 1.7 * (max(LIMITS.land_mm, LIMITS.dot_mm) + LIMITS.cut_mm)


@pytest.mark.parametrize(
    ("changed", "shows"),
    [
        ({}, True),
        ({"bark": 0.0}, False),
        ({"field": 1.0}, False),
        ({"scale": "far"}, False),
        ({"below": 0.98 * 0.4 * HOLDS}, False),
        ({"below": 1.02 * 0.4 * HOLDS}, True),
        ({"breadth": 0.98 * 1.5 * HOLDS}, False),
        ({"breadth": 1.02 * 1.5 * HOLDS}, True),
        ({"bent": 0.0}, True),
    ],
)
def test_bark_shows_where_it_is_broad_and_white_near_by_straight_or_not_and_on_no_field(changed, shows: bool) -> None:
    below = swells(2, **{"bark": 1.0, **changed})
    assert (below < changed.get("below", 3.0)).any() == shows


def test_tongues_are_three_fifths_long_and_three_lands_and_cuts_apart() -> None:
    share = snow_shapes.tongues(Grid(0.0, 0.0, 800, 600, STEP, 0), LIMITS, stream(1, "tongues"))
    assert len(share) == pytest.approx((80 + 2 * 1.8) / STEP, abs=1)
    assert share.mean() == pytest.approx(0.6, abs=0.03)
    assert (share.min(), share.max()) == (pytest.approx(0.2, abs=0.06), pytest.approx(1, abs=0.05))
    peaks = (share[1:-1] > share[:-2]) & (share[1:-1] >= share[2:])
    assert peaks.sum() == pytest.approx(83.6 / 2.7, abs=3)


@pytest.mark.parametrize(("slow", "fast", "mean"), [(0, 0, 0.6), (1, 0, 0.76), (0, 1, 0.676)])
def test_tongues_are_longer_and_shorter_in_broad_groups_and_a_little_one_by_one(slow, fast, mean, monkeypatch) -> None:
    """Waves at their highest make them as much longer, but no longer than whole."""
    monkeypatch.setattr(
        snow_shapes, "waves_at", lambda at, _, patch_mm: np.full(len(at), float(slow if patch_mm[0] > 5 else fast))
    )
    share = snow_shapes.tongues(Grid(0.0, 0.0, 800, 600, STEP, 0), LIMITS, stream(1, "tongues"))
    assert share.mean() == pytest.approx(mean, abs=0.003)


# ── what is borne, what stands at walls, what is bare ────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changed", "bears"),
    [
        ({}, 5.8),  # as deep as anywhere
        # ground bears four fifths of what has fallen, none where it is steep
        ({"ground": 1.0}, 3.2),
        ({"ground": 0.5}, 4.5),
        ({"ground": 1.0, "slope": 0.8}, 1.6),
        ({"ground": 1.0, "slope": 1.0}, 0.0),
        # a slender thing by its breadth, and from 0.6 mm on more after a deep fall
        ({"breadth": 0.5}, 0.888),
        ({"breadth": 0.8}, 1.279),
        ({"breadth": 1.0}, 1.575),
        ({"breadth": 2.0}, 2.8),
        ({"breadth": 2.0, "fallen_mm": 2.0}, 2.584),
        ({"breadth": 2.0, "fallen_mm": 7.0}, 3.917),
        ({"breadth": 2.0, "fallen_mm": 14.0}, 3.917),
        # a post its cap, between walls no tower and in a slit nothing
        ({"wide": 2.0}, 2.095),
        ({"wide": 4.0}, 3.71),
        ({"wide": 1.2, "free": -2}, 0.0),
        ({"wide": 2.0, "free": -2}, 0.926),
        ({"wide": 2.8, "free": -2}, 3.36),
        ({"wide": 4.0, "free": -2}, 5.16),
        # over air as a net, and between hanging twigs nothing
        ({"hung": True}, 0.0),
        ({"void": 1.0, "breadth": 1.0}, 0.662),
        ({"void": 1.0, "breadth": 0.3}, 0.425),
        ({"void": 1.0, "wide": 2.0}, 0.0),
        ({"void": 0.2, "wide": 2.0}, 2.095),
        ({"void": 1.0, "wide": 2.4}, 2.418),
        ({"void": 1.0, "wide": 2.0, "bridging_mm": 0.5}, 2.095),
    ],
)
def test_so_much_is_borne_at_the_most(changed, bears: float) -> None:
    own = {key: changed[key] for key in ("slope", "breadth", "void", "hung", "free") if key in changed}
    of_asked = {key: changed[key] for key in ("fallen_mm", "bridging_mm") if key in changed}
    one = ledge(changed.get("wide", 40.0), **own)
    most = borne(one, asked(**of_asked), np.full(len(one), changed.get("ground", 0.0)))
    assert most == pytest.approx(bears, abs=0.001)


@pytest.mark.parametrize(
    ("changed", "kind", "right_there"),
    [
        ({}, 0.0, 0.7),
        ({}, 0.2, 0.26),
        ({}, 0.5, -0.4),
        ({"slope": 0.3}, 0.0, 0.35),
        ({"slope": -0.3}, 0.0, 0.35),
        ({"slope": 0.6}, 0.0, 0.0),
        ({"breadth": 3}, 0.0, 0.7),
        ({"breadth": 4.5}, 0.0, 0.35),
        ({"breadth": 6}, 0.0, 0.0),
        ({"fallen_mm": 40.0}, 0.0, 0.382),
        ({"fallen_mm": 60.0}, 0.0, 0.14),
    ],
)
def test_snow_on_a_rail_is_higher_or_lower_right_at_a_post(changed, kind: float, right_there: float) -> None:
    """As a logarithm; less by e at 0.6 mm and two fifths of the depth fallen; none on slopes, ground or short rails."""
    one = ledge(**{"breadth": 1.0} | {key: changed[key] for key in ("slope", "breadth") if key in changed})
    fallen = changed.get("fallen_mm", 4.0)
    higher = _at_walls(one, ends(one, kind=kind), asked(fallen_mm=fallen))
    assert higher[[0, -1]] == pytest.approx(right_there, abs=0.001)
    if fallen == 4:
        assert higher[22] == pytest.approx(right_there / np.e, abs=0.001)
    assert (_at_walls(one, ends(one, kind=kind, free=True, wall=9.0), asked()) == 0).all()


@pytest.mark.parametrize(
    ("slope", "breadth", "wall", "left", "right"),
    [
        (0.6, 1.0, 3.1, 0.9, -3.0),
        (-0.6, 1.0, 3.1, -3.0, 0.9),
        (0.3, 1.0, 3.1, 0.35 + 0.45, 0.35 - 1.5),
        (0.2, 1.0, 3.1, 0.467, 0.467),
        (0.6, 4.5, 3.1, 0.45, -1.5),
        (0.6, 6.0, 3.1, 0.0, 0.0),
        (0.6, 1.0, 2.9, 0.0, 0.0),
    ],
)
def test_snow_on_a_slanting_rail_is_higher_uphill_of_a_tall_post_and_lower_downhill(
    slope: float, breadth: float, wall: float, left: float, right: float
) -> None:
    one = ledge(slope=slope, breadth=breadth)
    higher = _at_walls(one, ends(one, wall=wall), asked(fallen_mm=4.0))
    assert higher[[0, -1]] == pytest.approx([left, right], abs=0.001)


@pytest.mark.parametrize(
    ("changed", "bare"),
    [
        ({}, 0.5),
        ({"patchy": 0.6}, 1.0),
        ({"patchy": 0.55}, 0.751),
        ({"patchy": 0.4}, 0.0),
        ({"patchy": 0.0, "slow": -9.0}, 0.0),
        ({"slow": 0.2}, 0.142),
        ({"slow": -0.2}, 0.858),
        ({"fast": 0.2}, 0.321),
        ({"thick": 8}, 0.5),
        ({"thick": 12}, 0.25),
        ({"thick": 16}, 0.0),
        ({"crown": 1.0, "sticky": 0.3}, 0.35),
        ({"crown": 1.0, "sticky": 0.9}, 0.1),
    ],
)
def test_so_much_is_shaken_off_of_what_is_slender_in_patches_and_less_of_crowns(changed, bare, monkeypatch) -> None:
    waves = {9.0: changed.get("slow", 0.0), 3.5: changed.get("fast", 0.0)}
    monkeypatch.setattr(growing, "waves_at", lambda at, _, patch_mm: np.full(len(at), waves[patch_mm[0]]))
    one = ledge(1.0, thick=changed.get("thick", 1.0))
    settings = asked(patchy=changed.get("patchy", 0.5), sticky=changed.get("sticky", 0.5))
    scene: Any = SimpleNamespace(settings=settings, ledges=one, crown=np.full(len(one), changed.get("crown", 0.0)))
    assert _Scene._bare(scene, np.zeros((len(one), 2)), stream(1, "bare")) == pytest.approx(bare, abs=0.001)


# ── how snow ends ────────────────────────────────────────────────────────────────────────────────────────────────


def roofed(wide: float, falls: float, **changed: Any) -> Ledges:
    """A thing that falls off from its middle to both sides by so many mm."""
    one = ledge(wide, **changed)
    n = len(one)
    return replace(one, base=one.base - falls * np.abs(np.arange(n) - (n - 1) / 2) / ((n - 1) / 2))


@pytest.mark.parametrize(
    ("changed", "at_edge", "rise", "power", "steepest"),
    [
        # by its kind blunt, tapering or broken off; by chance half as large or half as large again
        ({}, (0.321, 0.321), 1.604, 0.55, 1.149),
        ({"kind": 0.39}, (0.321, 0.321), 1.604, 0.55, 1.149),
        ({"kind": 0.41}, (0.053, 0.053), 0.481, 0.95, 1.149),
        ({"kind": 0.79}, (0.053, 0.053), 0.481, 0.95, 1.149),
        ({"kind": 0.81}, (0.641, 0.641), 1.069, 0.75, 1.149),
        ({"steep": 0.0}, (0.16, 0.16), 0.802, 0.55, 0.861),
        ({"steep": 1.0}, (0.481, 0.481), 2.405, 0.55, 1.436),
        # less on short and on slender things
        ({"wide": 2.0}, (0.164, 0.164), 0.822, 0.55, 1.149),
        ({"wide": 1.0}, (0.128, 0.128), 0.641, 0.55, 1.149),
        ({"breadth": 0.3}, (0.16, 0.16), 0.802, 0.55, 1.149),
        ({"breadth": 1.0}, (0.235, 0.235), 1.176, 0.55, 1.149),
        # more of deep and of wet snow, and at the lee edge
        ({"fallen_mm": 1.0}, (0.16, 0.16), 0.854, 0.55, 1.149),
        ({"fallen_mm": 8.0}, (0.454, 0.454), 2.268, 0.55, 1.149),
        ({"fallen_mm": 1.0, "kind": 0.5}, (0.027, 0.027), 0.423, 0.95, 1.149),
        ({"fallen_mm": 8.0, "kind": 0.9}, (0.907, 0.907), 1.512, 0.75, 1.149),
        ({"sticky": 0.0}, (0.241, 0.241), 1.203, 0.55, 0.648),
        ({"sticky": 1.0}, (0.401, 0.401), 2.004, 0.55, 1.98),
        ({"wind": 0.5}, (0.321, 0.841), 1.604, 0.55, 1.149),
        ({"wind": 0.5, "wind_towards_deg": 180.0}, (0.841, 0.321), 1.604, 0.55, 1.149),
        ({"wind": 0.5, "wide": 6.0}, (0.321, 0.581), 1.604, 0.55, 1.149),
        # on what is free on both sides a share of its cap
        ({"wide": 3.0, "free": -1}, (0.23, 0.23), 1.234, 0.55, 1.149),
        ({"wide": 3.0, "free": -1, "kind": 0.9}, (0.633, 0.633), 0.822, 0.75, 1.149),
    ],
)
def test_so_snow_ends_over_an_edge(changed, at_edge, rise, power, steepest, monkeypatch) -> None:
    said = iter([changed.get("kind", 0.2)] * 2 + [changed.get("steep", 0.5)] * 2 + [0.5, 0.5])
    monkeypatch.setattr(Ledges, "chance", lambda entry, *_: np.full(len(entry), next(said)))
    one = ledge(
        changed.get("wide", 40.0), **{"free": -2} | {key: changed[key] for key in changed.keys() & {"breadth", "free"}}
    )
    of_asked = {key: changed[key] for key in changed.keys() & {"fallen_mm", "wind", "wind_towards_deg", "sticky"}}
    so = ends_of(one, asked(**of_asked), stream(1, "ends"))
    assert so.at_edge[:, 0] == pytest.approx(at_edge, abs=0.001)
    assert so.rise[:, 0] == pytest.approx(rise, abs=0.001)
    assert so.power[:, 0] == pytest.approx(power)
    assert so.steepest[:, 0] == pytest.approx(steepest, abs=0.001)
    assert so.rounds_mm == pytest.approx(1.2 * changed.get("fallen_mm", 4.0))


@pytest.mark.parametrize(
    ("wide", "falls", "chance", "crest", "on_tip"),
    [
        (3.0, 0.0, 0.5, 2.302, 1.0),
        (3.0, 0.0, 0.0, 1.938, 1.0),
        (3.0, 0.0, 1.0, 2.665, 1.0),
        (3.0, 2.0, 0.0, 1.454, 0.797),  # pointed
        (3.0, 2.0, 1.0, 3.392, 0.797),
        (3.0, 0.9, 1.0, 2.665, 1.0),
        (13.9, 0.0, 0.5, 5.32, 1.0),
        (14.1, 0.0, 0.5, np.inf, 1.0),
    ],
)
def test_so_high_is_the_dome_on_what_is_free_on_both_sides(wide, falls, chance, crest, on_tip, monkeypatch) -> None:
    """Three and a half times as broad as the snow is deep at the most; off its middle, and less below a tip."""
    monkeypatch.setattr(Ledges, "chance", lambda one, *_: np.full(len(one), chance))
    so = ends_of(roofed(wide, falls), asked(), stream(1, "ends"))
    assert so.crest == pytest.approx(crest, abs=0.001)
    assert so.crest_in[:, 0] == pytest.approx(np.array([0.32 + 0.36 * chance, 0.68 - 0.36 * chance]) * wide)
    assert so.on_tip[0] == pytest.approx(on_tip, abs=0.001)
    walled = ends_of(roofed(wide, falls, free=-2), asked(), stream(1, "ends"))
    assert np.isinf(walled.crest).all()


@pytest.mark.parametrize(
    ("wide", "falls", "head"),
    [(4.0, 1.5, False), (4.0, 1.7, True), (4.0, 3.4, True), (4.0, 3.6, False), (7.9, 4.0, True), (8.1, 4.0, False)],
)
def test_a_pickets_head_is_narrow_and_neither_blunt_nor_a_spire(wide: float, falls: float, head: bool) -> None:
    one, crest = roofed(wide, falls, free=-1), np.ones(round(wide / STEP))
    assert _heads(one, SimpleNamespace(crest=crest)).tolist() == [head] * len(one)
    assert not _heads(one, SimpleNamespace(crest=crest + np.inf)).any()
    assert not _heads(replace(one, void=crest), SimpleNamespace(crest=crest)).any()


def twice(one: Ledges) -> Ledges:
    """The same chain again beside it."""
    n = len(one)
    after = {"column": 400, "x": 40.0, "first": n, "last": n}
    own = {key: value for key, value in vars(one).items() if key != "step"}
    again = {key: value + after[key] if key in after else value for key, value in own.items()}
    return Ledges(step=one.step, **{key: np.concatenate([own[key], again[key]], axis=-1) for key in own})


@pytest.mark.parametrize("wide", [3.0, 24.0])
@pytest.mark.parametrize("free", [-1, -2])
def test_a_chain_bears_the_same_whatever_lies_before_it(wide: float, free: int, monkeypatch) -> None:
    monkeypatch.setattr(Ledges, "chance", lambda this, _, at=None: np.full(len(this if at is None else at), 0.3))
    monkeypatch.setattr(snow_shapes, "waves_at", lambda place, *_, **__: np.zeros(len(place)))
    one, settings = roofed(wide, 1.8, free=free, breadth=2.0), asked(wind=0.5)
    for entry in (one, twice(one)):
        so, zeros = ends_of(entry, settings, stream(1, "ends")), np.zeros(len(entry))
        white = snow_shapes.reaching(
            entry, zeros + 4, settings, so, zeros, patches=zeros + 1, land_mm=0.5, rng=stream(1, "reaching")
        )
        borne_, walls = borne(entry, settings, zeros), _at_walls(entry, so, settings)
        lies = np.stack([borne_, walls, *so.at_edge, *so.crest_in, so.crest, _heads(entry, so), white])
        if entry is one:
            alone = lies
    assert lies[:, : len(one)] == pytest.approx(alone)
    assert lies[:, len(one) :] == pytest.approx(alone)


# ── boughs inside a crown ────────────────────────────────────────────────────────────────────────────────────────


def notched(
    gap: float = 1.0, opens: float = 0.5, *, slope: float = -0.5, free: Any = (-2, -1), **changed: Any
) -> Ledges:
    """A bough that falls off to the right; at its left end another one comes down to it in a wedge."""
    one = ledge(20, slope=slope, free=np.array(free)[:, None], **changed)
    return replace(one, ceiling=one.base + gap + opens * (one.x - 20))


@pytest.mark.parametrize(
    ("changed", "notch"),
    [
        ({}, True),
        ({"gap": 1.9}, True),
        ({"gap": 2.1}, False),
        # half as wide again 3.5 mm further out, but what hangs there does not rise by more than 0.3 of that
        ({"opens": 0.13}, False),
        ({"opens": 0.15}, True),
        ({"opens": 0.79}, True),
        ({"opens": 0.81}, False),
        ({"slope": 0.1, "opens": 0.15}, False),
        # its other end is in the air
        ({"free": (-2, -2)}, False),
        ({"free": (-1, -1)}, False),
    ],
)
def test_what_a_notch_of_a_crown_looks_like(changed, notch: bool) -> None:
    one = notched(**changed)
    assert boughs._notches(one, 0, -1).tolist() == [0] * notch
    assert boughs._notches(one, 1, 1).tolist() == []


@pytest.mark.parametrize(("broad", "thick", "crown"), [(9.1, 4.1, True), (8.9, 4.1, False), (9.1, 3.9, False)])
def test_a_tiers_front_sees_the_sky_from_four_millimetres_out_on(broad: float, thick: float, crown: bool) -> None:
    one = notched(thick=thick)
    least = boughs.in_front(one, np.full(len(one), broad))
    assert least[[0, 20, 40, 80]] == pytest.approx(crown * np.array([0, 0.3, 0.6, 0.6]))


@pytest.mark.parametrize(
    ("changed", "reaches", "area", "thick"),
    [
        ({}, 11.6, 10.362, 1.309),
        ({"own": 0.0}, 11.6, 7.971, 1.007),
        ({"own": 0.99}, 11.6, 15.861, 2.003),
        ({"third": 0.0}, 14.1, 8.042, 1.159),
        ({"third": 1.0}, 9.2, 12.655, 1.384),
        # two in three have a shorter one below, if that is long enough
        ({"other": 0.66}, 11.6, 10.362, 1.309),
        ({"other": 0.64}, 11.6, 13.369, 1.941),
        ({"other": 0.2, "own": 0.0}, 11.6, 10.435, 1.733),
        ({"other": 0.2, "third": 0.0}, 14.1, 8.042, 1.159),
        ({"other": 0.2, "third": 1.0}, 9.2, 16.793, 1.384),
        ({"other": 0.2, "run": 24.0}, 15.0, 7.179, 1.053),
        # by the crown's breadth
        ({"run": 18.0}, None, 0, 0),
        ({"run": 19.0}, 16.1, 6.174, 0.844),
        ({"run": 70.0}, 8.0, 13.763, 1.409),
        # oftener where more is asked or has fallen, and thicker then; on boughs that bear
        ({"boughs": 0.275}, None, 0, 0),
        ({"boughs": 0.29}, 11.6, 10.362, 1.309),
        ({"boughs": 0.54, "patchy": 0.83}, None, 0, 0),
        ({"boughs": 0.58, "patchy": 0.83}, 11.6, 10.362, 1.309),
        ({"fallen_mm": 8.0}, 11.6, 23.805, 3.007),
        ({"boughs": 0.2, "fallen_mm": 14.0, "depth": 9.0}, 11.6, 46.592, 5.885),
        ({"depth": 0.47}, None, 0, 0),
        ({"depth": 0.49}, 11.6, 10.362, 1.309),
        # where something stands behind nearly all of it
        ({"open": 12.0}, 11.6, 10.362, 1.309),
        ({"open": 12.6}, None, 0, 0),
    ],
)
def test_a_stroke_runs_in_along_its_bough(changed, reaches, area, thick, monkeypatch) -> None:
    """How far left it reaches from a notch at 20 mm, its area, and how thick it is 3 mm in."""
    one, solid = notched(), np.ones((600, 800), dtype=bool)
    solid[:, : round(changed.get("open", 0.0) / STEP)] = False
    said = iter([changed.get("own", 0.3), changed.get("other", 0.8), changed.get("third", 0.5)])
    monkeypatch.setattr(Ledges, "chance", lambda _, __, at: np.full(len(at), next(said, 0.0)))
    monkeypatch.setattr(boughs, "waves_at", lambda at, *_, **__: np.zeros(len(at)))
    of_asked = {"boughs": 1.0} | {key: changed[key] for key in changed.keys() & {"boughs", "patchy", "fallen_mm"}}
    cover = drawn(
        lambda canvas: boughs.on_boughs(
            canvas, one, np.full(len(one), changed.get("depth", 4.0)), np.full(len(one), changed.get("run", 40.0)),
            asked(**of_asked), solid=solid, limits=LIMITS, rng=stream(1, "boughs"),
        )
    )  # fmt: skip
    columns = np.flatnonzero(cover.any(axis=0)) * STEP
    assert (columns.min() if len(columns) else None) == (reaches if reaches is None else pytest.approx(reaches))
    assert len(columns) == 0 or columns.max() == pytest.approx(22.9)  # it begins outside
    assert cover.sum() * STEP**2 == pytest.approx(area, abs=0.01)
    assert cover[:, 170].sum() * STEP == pytest.approx(thick, abs=0.002)
    assert np.abs(np.diff(cover[:, 195:].sum(axis=0) * STEP)).max() < 0.2, "no step at the notch"


@pytest.mark.parametrize(
    ("changed", "pairs"),
    [({}, True), ({"lower": 2.9}, True), ({"lower": 3.1}, False), ({"run": 29.0}, False), ({"sign": 1}, False)],
)
def test_of_two_notches_as_high_on_both_sides_of_a_crown_one_is_taken_first(changed, pairs: bool) -> None:
    """They are 30 mm apart; one of the two, and never both, has no echo."""
    one, left, right = ledge(), np.array([0]), np.array([300])
    one.base[300] -= changed.get("lower", 0.0)
    sides = [(changed.get("sign", -1), right), (-changed.get("sign", -1), left)]
    run = np.full(len(one), changed.get("run", 31.0))
    for seed in range(5):
        outdone = [boughs._outdone(one, run, seed, *pair).tolist() for pair in (sides, sides[::-1])]
        assert sorted(outdone) == [[False], [pairs]]


@pytest.mark.parametrize(
    ("changed", "rise", "down"),
    [
        ({}, 10.0, 10.4),
        ({"fields": 1.0}, 10.0, 11.4),
        ({"fallen_mm": 16.0}, 10.0, 11.4),
        ({}, 14.0, 14.4),
        # not below the snow line, nor on what is no crag, no ground, thin, or lies under something
        ({}, -0.5, 0.0),
        ({"slope": 0.0}, 10.0, 0.0),
        ({"ground": False}, 10.0, 0.0),
        ({"ceiling": 60.0}, 10.0, 0.0),
        ({"much": 0.5}, 10.0, 5.2),
    ],
)
def test_heights_of_steep_ground_are_white_as_far_down_as_they_rise_over_the_snow_line(
    changed, rise, down, monkeypatch
) -> None:
    """With no snow that is 0.6 mm; it comes down by the root of what has fallen, times the share of fields."""
    of_ledge = {"slope": 3.0, "ground": True} | {k: changed[k] for k in ("slope", "ground", "ceiling") if k in changed}
    one = ledge(10, **of_ledge)
    monkeypatch.setattr(snow_shapes, "_round_about", lambda ledges, _: ledges.base - rise)
    ground = np.full(len(one), changed.get("much", 1.0))
    settings = asked(**{k: changed[k] for k in ("fields", "fallen_mm") if k in changed})
    assert snow_shapes.summits(one, ground, settings) == pytest.approx(np.full(len(one), down))


# ── wind ─────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("changed", "lies", "lost"),
    [
        ({}, (1.0, 1.0, 1.921, 8.8), 89.41),
        ({"wind": 0.5}, (2.5, 2.5, 2.961, 6.77), 44.37),
        ({"clear": 0.0}, (4, 4, 4, 4), 0),
        ({"clear": 7.0}, (2.61, 3.652, 4.713, 9.044), 2.25),
        ({"clear": 15.0}, (1.143, 1.143, 2.02, 8.857), 84.78),
        # what rises to the wind is scoured to a twentieth, what falls away is drifted upon
        ({"slope": 0.5}, (0.2, 0.2, 1.367, 8.48), 116.54),
        ({"slope": -0.5}, (3.011, 3.714, 4.391, 7.792), 2.61),
        ({"slope": -0.5, "wind_towards_deg": 180.0}, (2.829, 0.2, 0.2, 0.2), 116.54),
        ({"slope": -1.5}, (3.467, 3.884, 4.316, 5.794), 0.61),
        ({"clear": 7.0, "sky": 0.25}, (2.483, 3.288, 3.832, 6.828), 23.37),
    ],
)
def test_so_deep_the_snow_lies_on_a_deck_after_the_wind(changed, lies, lost: float) -> None:
    """5 mm from the left end, in the middle, 6 mm from the right end, at its brink; and mm² carried off the page."""
    one = ledge(slope=changed.get("slope", 0.0))
    n = len(one)
    settings = asked(**{"wind": 1.0} | {key: changed[key] for key in ("wind", "wind_towards_deg") if key in changed})
    depth, gone = wind.drifted(
        one, np.full(n, 4.0), settings, clear=np.full((4, n), changed.get("clear", 1e3)),
        sky=np.full(n, changed.get("sky", 1.0)),
    )  # fmt: skip
    assert depth[[50, n // 2, n - 60, n - 1]] == pytest.approx(lies, rel=0.01)
    assert gone * STEP == pytest.approx(lost, rel=0.01, abs=0.02)


@pytest.mark.parametrize(("wide", "grows"), [(3.9, False), (4.1, True), (7.0, True)])
def test_a_cornice_grows_on_what_is_longer_than_four_thirds_of_it(wide: float, grows: bool) -> None:
    assert (wind._lee_brink(ledge(wide), 1, 3.0).max() > 0) == grows
