"""Small firs that are drawn as stacks of jagged triangles: a pad on a tier, dark below it, none on what is no fir."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from carvegen.motifs.snowload.firs.pads import _caps, _fronts, _Pads, _seen, _shoulders, on_tiers
from carvegen.motifs.snowload.firs.tiers import Tiers, _peaks, _tiered, tiers_of
from carvegen.motifs.snowload.growing import _padded, _Scene
from tests.strategies import few, takes_long

LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)


def fir(x: float, low: float = 5.0, *, tiers: int = 5, tall: float = 3.0, deg: float = 63.0) -> shapely.Polygon:
    """Tiers so high with sides so steep, each from half the breadth of the one above on, and a trunk."""
    top, inner, side = low + tiers * tall, 0.0, [(0.0, low + tiers * tall)]
    for _ in range(tiers):
        top, outer = top - tall, inner + tall / np.tan(np.radians(deg))
        inner = outer / 2
        side += [(outer, top), (inner, top + 0.1 * outer)]
    side[-1] = (0.5, top)
    right = [*side, (0.5, low - 3)]
    return shapely.Polygon([(x + dx, y) for dx, y in right] + [(x - dx, y) for dx, y in right[:0:-1]])


def on_stem(gap: float, blunt: float) -> shapely.Polygon:
    """Five tiers round x = 0 with a bit of upright stem between them; their tips end in a bit of upright edge."""
    right = [(0.6, 2.0)]
    for k in range(5):
        y, out = 5 + k * (3 + gap), 2.4 - 0.2 * k
        right += [(0.6, y), (out, y - 0.3), (out, y - 0.3 + blunt), (0.6, y + 3)]
    right[-1] = (0.0, right[-1][1])
    return shapely.Polygon(right + [(-x, y) for x, y in right[-2::-1]]).simplify(0)


@pytest.mark.parametrize(
    ("values", "begin", "end"),
    [
        ([0, 2, 2, 0, 1], [1], [2]),  # no end is a peak
        ([0, 5, 4.9, 5, 3, -1], [1, 3], [1, 3]),  # as high as the next: both stand out as far
        ([0, 5, 4.9, 4.95, 3, 6, 0], [1, 5], [1, 5]),  # falls too little before a higher one
        ([0, 5, 4.9, 4.95, 4.7, 4.8, 3, 6, -1], [1, 7], [1, 7]),
        ([3, 2.8, 2.95, 0, 2, 1.75, 1.9], [4], [4]),
        ([-np.inf, 1, -np.inf, 1.2, 1.1, -np.inf], [1, 3], [1, 3]),  # apart
        ([], [], []),  # no line at all
        ([1], [], []),
        ([2, 2], [], []),
    ],
)
def test_a_turn_is_told_by_how_far_it_stands_out(values: list[float], begin: list[int], end: list[int]) -> None:
    low, high = _peaks(np.array(values), 0.25)
    assert (low.tolist(), high.tolist()) == (begin, end)
    back = _peaks(np.array(values[::-1]), 0.25)
    assert [len(values) - 1 - k for k in back[0][::-1].tolist()] == end


def stack(shoulder=(), under=(), *, wider=-0.3) -> shapely.Polygon:
    """Five tiers round x = 0, each so much wider than the one below; further corners from each tip and notch."""
    right = [(2.0, 2.0)]
    for k in range(5):
        out, y = 4 + wider * k, 5 + 3 * k
        notch = out - 1.3
        right += [(out, y), *((out + dx, y + dy) for dx, dy in shoulder), (notch, y + 3)]
        right += [(notch + dx, y + 3 + dy) for dx, dy in under if k < 4]
    return shapely.Polygon(right + [(-x, y) for x, y in right[::-1]])


def found(*shapes: shapely.Geometry) -> Tiers | None:
    drawn = shapely.union_all(shapes)
    return tiers_of(geometry.parts(drawn), lambda where: shapely.contains_xy(drawn, where), 20)


def pads(*shapes: shapely.Geometry, preset: str = "fresh", seed: int = 1, **changed) -> geometry.PolygonArray:
    drawn = shapely.union_all(shapes)
    return on_tiers(
        geometry.parts(drawn), snowload.Settings(**{**snowload.PRESETS[preset], **changed}), LIMITS,
        stands=lambda where: shapely.contains_xy(drawn, where), comes=lambda where: np.ones(len(where)),
        share=lambda where: np.ones(len(where)), rng=stream(seed, "firs"),
    )  # fmt: skip


@pytest.mark.parametrize("deg", [50, 63, 75])
@pytest.mark.parametrize("tall", [2.0, 3.0, 5.0])
def test_every_tier_of_a_small_fir_is_seen_on_both_sides_whatever_stands_before_its_foot(deg, tall) -> None:
    hill = shapely.box(-30, -20, 30, 5 + tall / 2)
    for tiers, many in ((found(fir(0, tall=tall, deg=deg)), 10), (found(fir(0, tall=tall, deg=deg), hill), 8)):
        assert tiers is not None
        assert len(tiers) == many
        assert tiers.top.sum() == 2
        assert np.bincount(tiers.side + 1).tolist() == [many / 2, 0, many / 2]
        assert np.allclose(tiers.fir, (0, 5 + 5 * tall))


@pytest.mark.parametrize(("gap", "blunt"), [(0.0, 0.0), (0.3, 0.0), (1.0, 0.0), (0.6, 0.1), (0.0, 0.3)])
def test_a_stem_between_tiers_and_blunt_tips_are_read_alike_on_both_sides(gap, blunt) -> None:
    """The stem's lower end was the notch on the right, its upper one on the left: pads lay on the left only."""
    tiers = found(on_stem(gap, blunt))
    assert tiers is not None
    assert len(tiers) == 10
    seen = [np.hstack([tiers.tip, tiers.notch, tiers.over])[tiers.side == side] for side in (1, -1)]
    right, left = (each[np.argsort(each[:, 1])] for each in seen)
    assert np.allclose(right, left * [-1, 1, -1, 1, -1, 1], atol=1e-9)


def test_twigs_roofs_and_needles_are_no_firs() -> None:
    """Thin twigs that hang from a stem, low roofs in a stack, three tiers without a top on a thin stem, a lamp, saws.

    A saw has teeth on one side alone; behind another it has them on both, but far away, or in another outline.
    """
    line, sides = shapely.LineString, (-1, 1)
    twigs = [line([(0, y), (4 * side, y - 4)]).buffer(0.15) for y in range(5, 20, 2) for side in sides]
    stem = line([(0, 0), (0, 22)]).buffer(0.15)
    roofs = [shapely.Polygon([(-9, y), (9, y), (0, y + 5)]) for y in range(0, 20, 2)]
    few = shapely.union(shapely.difference(fir(0, deg=75), shapely.box(-9, 15, 9, 30)), shapely.box(-0.4, 5, 0.4, 40))
    teeth = [(6 + 2 * (k % 2), 1.5 * k - 1.2 * (k % 2)) for k in range(17)]
    saw = shapely.Polygon([(0, 0), *teeth, (0, 24)])
    other_saw = shapely.transform(saw, lambda xy: xy * [-1, 1])
    hill = shapely.box(-16, 0, 16, 9)
    apart = [shapely.affinity.translate(saw, 1), shapely.affinity.translate(other_saw, -1)]
    broad = [shapely.affinity.translate(saw, 15), shapely.affinity.translate(other_saw, -15), hill]
    low = [saw, shapely.affinity.translate(other_saw, 0, -26), shapely.box(-4, -6, 4, 6)]
    for other in ([stem, *twigs], roofs, [few], [fir(0, tiers=2)], [saw], [other_saw], apart, broad, low):
        assert found(*other) is None


def test_stacks_with_slits_or_wider_upwards_and_needles_on_a_stem_are_no_firs() -> None:
    """A stack without any of these is one."""
    assert found(stack()) is not None
    assert found(stack([(-0.6, 2.0), (-0.7, 0.4), (-1.0, 2.6)])) is None
    assert found(stack(under=[(0.1, 0.0), (0.2, 1.2), (0.3, 0.0)])) is None
    assert found(stack(wider=1.0)) is None
    assert found(shapely.affinity.scale(on_stem(0.0, 0.0), 0.4), shapely.box(-0.1, 2, 0.1, 60)) is None


def test_a_fir_without_its_top_is_one() -> None:
    tiers = found(shapely.difference(fir(0, tiers=7), shapely.box(-9, 21.5, 9, 30)))
    assert tiers is not None
    assert not tiers.top.any()
    assert np.bincount(tiers.side + 1).tolist() == [5, 0, 5]


def test_tiers_below_a_line_that_crosses_a_fir_are_its_own_and_bear_pads() -> None:
    """Three of seven, below a far shore: all tiers are of one fir, and snow lies on the lower ones, too."""
    drawn = shapely.union(fir(0, tiers=7, tall=5), shapely.box(-40, 18, 40, 18.8))
    tiers = found(drawn)
    assert tiers is not None
    assert np.unique(tiers.number).tolist() == [0]
    for side in (1, -1):
        low = tiers.tip[tiers.side == side, 1]
        assert np.unique(low.round(1)).tolist() == pytest.approx([5, 10, 15, 20, 25, 30, 35], abs=1.0)
    place = Place(area=shapely.box(-30, 0, 30, 60), shapes=geometry.parts(drawn))
    snow = shapely.union_all(snowload.grow(snowload.Settings(patchy=0), place, LIMITS, stream(1, "t")).cuts)
    for low in (5, 10):
        assert shapely.intersection(snow, shapely.box(-30, low - 1, 30, low + 4)).area > 2


@pytest.mark.parametrize(
    ("changed", "tier"),
    [
        ({}, True),
        ({"reaches": 1.9}, True),
        ({"reaches": 2.1}, False),  # it is another thing
        ({"reaches": 0.15, "notch": 0.35, "slope": 4.0}, True),
        ({"reaches": 0.115, "notch": 0.35, "slope": 4.0}, False),
        ({"low": 6.5}, True),
        ({"low": 5.5}, False),  # too far down
        ({"stem": 20.0}, False),  # nothing joins the two
        ({"hollow": 1.4}, False),  # a roof over air
    ],
)
def test_a_shoulder_far_below_a_fir_is_a_tier_of_it_where_it_lies_in_line(changed, tier: bool) -> None:
    """Four tiers, 12 mm in all; under a line one more."""
    top = fir(0, 30.0, tiers=4, deg=75)
    tiers = found(top)
    assert tiers is not None
    low, stem = changed.get("low", 10.0), changed.get("stem", 30.0)
    wide = changed.get("reaches", 1.0) * (42 - low) * np.median(np.abs(tiers.tip[:, 0]) / (42 - tiers.tip[:, 1]))
    notch = changed.get("notch", 3.0)
    high = low + changed.get("slope", 1.5) * (wide - notch)
    half = [(wide, low), (notch, high), (0.3, high), (0.3, stem)]
    lower = shapely.Polygon([*half, *((-x, y) for x, y in half[::-1])])
    hollow = changed.get("hollow", 0.0)
    air = shapely.union_all([shapely.box(side * 1.5, 12, side * (1.5 + hollow), 13.6) for side in (1, -1)])
    lower = shapely.difference(lower, air) if hollow else lower
    both = found(shapely.union_all([top, lower, shapely.box(-30, high, 30, high + 0.8)]))
    assert both is not None
    assert (np.abs(both.tip[:, 1] - low) < 0.1).sum() == 2 * tier


@pytest.mark.parametrize("preset", snowload.PRESETS)
def test_most_shoulders_bear_a_pad_with_dark_below_it_and_no_fir_is_white_all_over(preset) -> None:
    tree, wind = fir(0, tall=4.0), preset == "windblown"
    white = [shapely.union_all(pads(tree, preset=preset, seed=seed)) for seed in few(range(6), 3)]
    tiers = found(tree)
    assert tiers is not None
    outer = shapely.buffer(shapely.linestrings(tiers.shoulder[~tiers.top, :14]), 0.4)
    snowy = np.array([shapely.area(shapely.intersection(outer, each)) > 0.3 for each in white])
    assert snowy.mean() > (0.55 if wind else 0.75)
    assert max(shapely.area(shapely.intersection(tree, each)) for each in white) < 0.42 * tree.area
    below = shapely.points(tiers.tip[~tiers.top] - np.column_stack([0.4 * tiers.side, 0 * tiers.side])[~tiers.top])
    assert np.mean([shapely.contains(each, below) for each in white]) < 0.2
    if wind:
        lee = tiers.side[~tiers.top] > 0
        assert snowy[:, lee].mean() > snowy[:, ~lee].mean() + 0.15


def test_of_tiers_close_together_only_every_other_bears_a_pad() -> None:
    tiers = found(fir(0, tall=1.2, deg=60, tiers=8))
    assert tiers is not None
    settings, ones = snowload.Settings(patchy=0.0, wind=0.0), np.ones(len(tiers))
    for number in (0.2, 0.7):
        chances = np.full((len(tiers), 13), number)
        laid = _Pads.of(tiers, settings, LIMITS, lies=ones, own=chances, fir=chances)
        assert laid.close.sum() > 10
        for side in (1, -1):
            mine = np.flatnonzero((tiers.side == side) & laid.close & ~tiers.top)
            on = laid.on[mine[np.argsort(tiers.tip[mine, 1])]]
            assert (on[1:] != on[:-1]).all()


def test_fronts_bear_snow_inside_the_crown_where_boughs_are_asked_for() -> None:
    tree = fir(0, tall=8.0)
    inside = shapely.buffer(tree, -1.0)
    bare, laden = (
        sum(
            shapely.area(shapely.intersection(shapely.union_all(pads(tree, boughs=of, seed=k)), inside))
            for k in range(6)
        )
        for of in (0.0, 1.0)
    )
    assert laden > bare + 2


def test_pads_differ_from_tier_to_tier_and_more_lies_where_more_has_fallen() -> None:
    light, deep = (shapely.area(pads(fir(0), preset=preset)) for preset in ("dusting", "deep"))
    assert deep.sum() > 2 * light.sum()
    assert deep.std() > 0.2 * deep.mean()


def test_the_top_bears_a_cap_and_a_tier_nothing_where_none_is_wanted() -> None:
    cap = shapely.Point(0, 20).buffer(0.7)
    assert shapely.area(shapely.intersection(shapely.union_all(pads(fir(0))), cap)) > 0.4 * cap.area
    assert len(pads(fir(0), scale="far")) == 0


def test_a_fir_drawn_anew_changes_nothing_on_another() -> None:
    one = [pads(fir(0), fir(40, tall=tall)) for tall in (3.0, 4.0)]
    kept, anew = (shapely.union_all([each for each in some if each.bounds[2] < 20]) for some in one)
    assert kept.area > 5
    assert shapely.symmetric_difference(kept, anew).area < 1e-6
    others = [shapely.union_all([each for each in some if each.bounds[0] > 20]) for some in one]
    assert shapely.symmetric_difference(*others).area > 1


@pytest.mark.parametrize("sticky", [0.0, 0.5, 1.0])
def test_boughs_of_crowns_hold_the_more_the_wetter_and_never_all_of_what_falls_off_elsewhere(sticky) -> None:
    """All of it dry, half of it half wet, and a fifth as wet as may be."""
    where = np.column_stack([np.linspace(0, 60, 400), np.full(400, 10.0)])
    twigs = SimpleNamespace(thick=np.zeros(400))
    settings = snowload.Settings(patchy=0.5, sticky=sticky)
    bough, other = (
        _Scene._bare(SimpleNamespace(settings=settings, crown=np.full(400, of), ledges=twigs), where, stream(1, "bare"))
        for of in (0.6, 0.0)
    )
    assert other.max() == 1
    assert np.allclose(bough, max(1 - sticky, 0.2) * other)


def test_a_tier_sees_at_its_front_half_of_what_its_own_fir_sees_anywhere() -> None:
    """What hides all sky on the right of one of two firs; on the right of the other it hides nothing."""
    tiers = found(fir(0), fir(40))
    assert tiers is not None
    shaded = (tiers.side > 0) & (tiers.fir[:, 0] < 20)
    seen = _seen(tiers, lambda where: ((where[:, 0] < 0) | (where[:, 0] > 20)).astype(float))
    assert (seen == np.where(shaded, 0.5, 1.0)).all()
    assert (_seen(tiers, lambda where: (where[:, 0] > 20) * 0.25) == (tiers.fir[:, 0] > 20)).all()


def test_what_holds_a_pad_of_a_fir_is_told_from_other_snow() -> None:
    pieces = geometry.polygon_array([shapely.box(0, 0, 2, 1), shapely.box(5, 0, 7, 1), shapely.box(9, 0, 11, 1)])
    some = geometry.polygon_array([shapely.box(1, 0.5, 3, 2), shapely.box(9.5, 0.2, 10, 0.6)])
    assert _padded(pieces, some).tolist() == [True, False, True]
    assert _padded(pieces, geometry.empty()).tolist() == [False] * 3


# ── how thick a pad is, and how far it goes: one tier alone ──────────────────────────────────────────────────────

#: A wide tier with a long gentle shoulder, 4 mm from the next one; after a usual fall without wind, all chances even.
TIER: dict[str, float] = {"wide": 10.0, "tall": 20.0, "long": 20.0, "apart": 4.0, "half": 20.0, "side": 1, "top": 0}
CALM = {"fallen_mm": 3.5, "wind": 0.0, "wind_towards_deg": 0.0, "sticky": 0.5, "patchy": 0.0}


def one_pad(*, own: dict | None = None, fir: dict | None = None, lies: float = 1.0, **changed) -> SimpleNamespace:
    tier = TIER | {key: value for key, value in changed.items() if key in TIER}
    tip, up = np.array([[tier["side"] * tier["wide"], 0.0]]), np.array([[0.0, tier["apart"]]])
    tiers = SimpleNamespace(
        tip=tip, over=tip + up, notch=np.array([[0.0, tier["tall"]]]), long=np.array([tier["long"]]),
        half=np.array([tier["half"]]), side=np.array([tier["side"]]), top=np.array([bool(tier["top"])]),
        number=np.array([0]),
    )  # fmt: skip
    settings = snowload.Settings(**CALM | {key: value for key, value in changed.items() if key not in TIER})
    chances = np.full((2, 1, 13), 0.5)
    for k, some in enumerate((own, fir)):
        for which, chance in (some or {}).items():
            chances[k, 0, which] = chance
    laid = _Pads.of(tiers, settings, LIMITS, lies=np.array([lies]), own=chances[0], fir=chances[1])
    return SimpleNamespace(**{name: getattr(laid, name)[0] for name in _Pads.__dataclass_fields__})


@pytest.mark.parametrize(
    ("changed", "over", "under"),
    [
        ({}, 0.5, 0.62),
        ({"fallen_mm": 7.0}, 0.5 * 2**0.6, 0.62 * 2**0.6),
        ({"lies": 0.8}, 0.4, 0.8 * 0.62),
        ({"sticky": 0.0}, 0.5, 0.75 * 0.62),
        ({"sticky": 1.0}, 0.5, 1.25 * 0.62),
        # as each fir and each tier has it: four fifths to six, three quarters to five
        ({"fir": {0: 0.0}}, 0.4, 0.8 * 0.62),
        ({"fir": {0: 1.0}}, 0.6, 1.2 * 0.62),
        ({"own": {0: 0.0}}, 0.375, 0.75 * 0.62),
        ({"own": {0: 1.0}}, 0.625, 1.25 * 0.62),
        # three tenths more in the lee, and less where it blows
        ({"wind": 1.0}, 0.65, 1.3 * 0.62),
        ({"wind": 1.0, "side": -1}, 0.35, 0.7 * 0.62),
        # under the next tier about a quarter of the room, and below the shoulder three tenths of it
        ({"apart": 1.5}, 0.36, 0.45),
        ({"apart": 1.5, "own": {0: 0.0}}, 0.252, 0.315),
        ({"apart": 1.5, "top": 1}, 0.5, 0.62),
        ({"half": 0.25, "wide": 1.0}, 0.5, 0.48),
        # more on tiers that are further apart than 4 mm, but no more than 2.2 times as much, and not on tops
        ({"apart": 8.0}, 0.5 * 2**0.8, 0.62 * 2**0.8),
        ({"apart": 12.0}, 1.1, 1.364),
        ({"apart": 12.0, "top": 1}, 0.5, 0.62),
        # no thinner in all than can be cut with some to spare
        ({"fallen_mm": 0.2}, 0.54 * 0.5 / 1.12, 0.54 * 0.62 / 1.12),
    ],
)  # fmt: skip
def test_so_thick_a_pad_lies_over_a_shoulder_and_below_it(changed, over: float, under: float) -> None:
    each = one_pad(**changed)
    assert (each.over, each.under) == pytest.approx((over, under))


@pytest.mark.parametrize(
    ("changed", "begins", "ends"),
    [
        ({}, 0, 1),
        ({"own": {2: 0.0}}, 0, 0.68),
        ({"own": {2: 0.22}}, 0, 0.79),
        ({"own": {2: 0.26}}, 0, 1),  # from four fifths on it goes on to the notch
        ({"own": {2: 0.0}, "sticky": 0.0}, 0, 0.53),
        ({"own": {2: 0.0}, "fallen_mm": 1.75}, 0, 0.54),
        ({"own": {2: 0.0}, "wind": 0.5}, 0, 0.78),
        ({"own": {2: 0.0}, "wind": 0.5, "side": -1}, 0, 0.58),
        ({"own": {2: 0.0, 3: 0.1}}, 0.075, 0.68),  # the tip pokes out
        ({"own": {2: 0.0, 3: 0.29}}, 0.1415, 0.68),
        ({"own": {2: 0.0, 3: 0.31}}, 0, 0.68),
        ({"own": {2: 0.0}, "sticky": 0.0, "fallen_mm": 0.35, "long": 4.0}, 0, 1.7 / 4),
        ({"own": {2: 0.0, 3: 0.2}, "sticky": 0.0, "fallen_mm": 0.35, "long": 4.0}, 0.11, 0.11 + 1.7 / 4),
        # on a steep one a hem stays dark, of a land and a quarter and 0.15 mm
        ({"tall": 25.5}, 0, 1 - 0.775 / 20),
        ({"tall": 24.5}, 0, 1),
        # a top's ends two lands below its stem, or below its cap where that reaches further
        ({"top": 1}, 0, 1 - 3.4 / 20),
        ({"top": 1, "long": 4.0}, 0, 1 - 3.0 / 4),
    ],
)
def test_so_far_a_pad_lies_along_a_shoulder(changed, begins: float, ends: float) -> None:
    each = one_pad(**changed)
    assert (each.begins, each.ends) == pytest.approx((begins, ends))


@pytest.mark.parametrize(
    ("changed", "bears"),
    [
        ({"lies": 0.29}, False),
        ({"lies": 0.31}, True),
        ({"patchy": 1.0, "own": {1: 0.59}}, True),
        ({"patchy": 1.0, "own": {1: 0.61}}, False),
        ({"own": {1: 0.99}}, True),
        ({"wind": 1.0, "side": -1, "own": {1: 0.49}}, True),
        ({"wind": 1.0, "side": -1, "own": {1: 0.51}}, False),
        ({"wind": 1.0, "patchy": 1.0, "own": {1: 0.61}}, False),
        ({"long": 0.95}, True),
        ({"long": 0.85}, False),
        ({"apart": 0.01, "fir": {4: 1.0}}, True),
        ({"apart": 0.0, "fir": {4: 1.0}}, False),  # the outline comes back to the tip: nothing has room to lie
    ],
)
def test_a_tier_bears_a_pad_where_enough_comes_and_it_is_no_crumb(changed, bears: bool) -> None:
    assert one_pad(**changed).on == bears


@pytest.mark.parametrize(("apart", "close"), [(1.68, True), (1.7, False)])
def test_tiers_are_close_where_no_hem_stays_dark_between_their_pads(apart: float, close: bool) -> None:
    """0.54 of the way to the next one is snow, and 0.775 mm are to stay dark."""
    assert one_pad(apart=apart).close == close


@pytest.mark.parametrize(
    ("changed", "cap"),
    [
        ({}, 0),
        ({"top": 1}, 1.14),
        ({"top": 1, "fallen_mm": 1.0}, 1.04),
        ({"top": 1, "fallen_mm": 7.0}, 1.28),
        ({"top": 1, "fallen_mm": 7.0, "fir": {2: 0.0}}, 0.75 * 1.28),
        ({"top": 1, "fir": {2: 1.0}}, 1.25 * 1.14),
        ({"top": 1, "long": 2.0}, 1.0),
        ({"top": 1, "long": 2.0, "fir": {2: 0.0}}, 0.96),  # what a cutter of 0.4 mm makes, and no less
        ({"top": 1, "long": 1.47, "fir": {2: 0.0}}, 0.96),
        ({"top": 1, "long": 1.45, "fir": {2: 0.0}}, 1.45),  # less than land would be left below: all is white
        ({"top": 1, "lies": 0.2}, 0),
    ],
)
def test_so_far_down_a_top_the_cap_reaches(changed, cap: float) -> None:
    assert one_pad(**changed).cap == pytest.approx(cap)


@pytest.mark.parametrize(
    ("changed", "full"), [({}, 1), ({"fallen_mm": 7.0}, 1), ({"fallen_mm": 0.875}, 0.5), ({"lies": 0.5}, 0.5)]
)
def test_so_full_a_tier_is(changed, full: float) -> None:
    assert one_pad(**changed).full == pytest.approx(full)


@pytest.mark.parametrize(
    ("tall", "deg", "tier"),
    [(0.65, 63, False), (0.75, 63, True), (12.8, 45, True), (13.2, 45, False), (4, 83.3, True), (4, 84, False)],
)
def test_shoulders_that_are_too_low_too_wide_or_upright_are_no_tiers(tall: float, deg: float, tier: bool) -> None:
    """At least 0.7 mm high, at the most 13 mm wide, and no steeper than nine times as high as wide."""
    assert (found(fir(0, tall=tall, deg=deg)) is not None) == tier


# ── the outlines of one pad: a tier 5 mm wide and high, 0.5 mm over its shoulder and 0.6 below it ────────────────


@pytest.mark.parametrize(
    ("changed", "tier"),
    [
        ({}, True),
        # the tip above hangs no lower than 0.9 of the shoulder below its notch, rises no more than 0.6 over it
        ({"over": (1.9, 0.31)}, True),
        ({"over": (1.9, 0.29)}, False),
        ({"over": (1.9, 4.79)}, True),
        ({"over": (1.9, 4.81)}, False),
        # and lies no further out than the lower one by 0.6 of its width
        ({"over": (3.19, 2.0)}, True),
        ({"over": (3.21, 2.0)}, False),
        # a shoulder is 0.7 to 20 mm high, 0.2 to 13 mm wide, and 0.7 to 9 times as high as wide
        ({"tip": (0.5, 2.29), "over": (0.4, 2.9)}, True),
        ({"tip": (0.5, 2.31), "over": (0.4, 2.9)}, False),
        ({"tip": (8.0, -16.99)}, True),
        ({"tip": (8.0, -17.01)}, False),
        ({"tip": (0.21, 1.2), "over": (0.2, 2.9)}, True),
        ({"tip": (0.19, 1.4), "over": (0.1, 2.9)}, False),
        ({"tip": (12.99, -7.0)}, True),
        ({"tip": (13.01, -7.0)}, False),
        ({"tip": (4.2, 0.0)}, True),
        ({"tip": (4.4, 0.0)}, False),
        ({"tip": (0.34, 0.0), "over": (0.4, 2.0)}, True),
        ({"tip": (0.33, 0.0), "over": (0.4, 2.0)}, False),
        # it, and what hangs over it, bend little
        ({"bent": (1.29, 1.69)}, True),
        ({"bent": (1.31, 1.0)}, False),
        ({"bent": (1.0, 1.71)}, False),
        # and are of one outline
        ({"outlines": (0.0, 0.0, 5.0)}, False),
    ],
)
def test_what_a_tier_looks_like(changed, tier: bool) -> None:
    """Its tip at (2, 0), its notch at (0, 3), the tip above at (1.9, 2); on the left in the mirror."""
    for side in (1, -1):
        xy = np.array([changed.get("tip", (2.0, 0.0)), (0.0, 3.0), changed.get("over", (1.9, 2.0))]) * [side, 1]
        bent = dict(zip((0, 1), changed.get("bent", (1.0, 1.0)), strict=True))
        line: Any = SimpleNamespace(
            xy=xy, first=np.array(changed.get("outlines", (0.0, 0.0, 0.0))), straight=lambda a, _, bent=bent: bent[a[0]]
        )
        tip, notch, over = (np.array([k]) for k in range(3))
        assert _tiered(line, side, tip, notch, over).tolist() == [tier]


def straight(side: int = 1, *, top: bool = False, half: float = 4.0) -> Tiers:
    share = np.linspace(0, 1, 20)[:, None]
    tip, notch = np.array([6.0 * side, 0.0]), np.array([1.0 * side, 5.0])
    return Tiers(
        tip=tip[None], notch=notch[None], over=np.array([[5.0 * side, 8.0]]), side=np.array([side]),
        top=np.array([top]), fir=np.zeros((1, 2)), half=np.array([half]), shoulder=(tip + (notch - tip) * share)[None],
        under=(tip - np.array([5.0 * side, 0]) * share)[None],
    )  # fmt: skip


def laid_on(**changed: float) -> _Pads:
    usual = {
        "on": True,
        "over": 0.5,
        "under": 0.6,
        "begins": 0.0,
        "ends": 1.0,
        "cap": 0.0,
        "close": False,
        "large": 1.0,
    }
    usual["full"] = 1.0
    return _Pads(**{name: np.array([value]) for name, value in (usual | changed).items()})


def chances(**numbers: float) -> np.ndarray:
    """Even chances but for some, by number: `o8` is the eighth."""
    return np.array([[numbers.get(f"o{k}", 0.5) for k in range(13)]])


PLAIN = snowload.Settings(lumpy=0.0, boughs=1.0)


@pytest.mark.parametrize(
    ("changed", "own", "over", "below"),
    [
        ({}, {}, 2.870, 3.673),
        ({"over": 1.0}, {}, 5.094, 3.590),
        ({"under": 1.2}, {}, 2.870, 6.534),
        ({"begins": 0.2}, {}, 2.218, 3.110),
        ({"ends": 0.6}, {}, 1.775, 1.750),
        ({"begins": 0.2, "ends": 0.6}, {}, 1.149, 1.460),
        ({}, {"o5": 0.0}, 2.870, 3.549),
        ({}, {"o7": 0.0}, 2.870, 3.617),
        ({}, {"o3": 0.0}, 2.833, 3.673),
        ({}, {"o3": 1.0}, 2.907, 3.673),
    ],
)
def test_so_much_lies_over_a_shoulder_and_on_the_front_below_it(changed, own, over: float, below: float) -> None:
    """In mm², on both sides of the fir alike; it hangs a little out over the tip."""
    for side in (1, -1):
        pair = _shoulders(straight(side), laid_on(**changed), LIMITS, PLAIN, chances(**own))
        assert [one[0].area for one in pair] == pytest.approx((over, below), rel=0.006)
        far = [max(abs(each[0].bounds[0]), abs(each[0].bounds[2])) for each in pair]
        assert far[1] == pytest.approx(6.02, abs=0.01)
        assert 5.99 < far[0] < 6.4


@pytest.mark.parametrize(
    ("half", "changed", "own", "area", "bounds"),
    [
        (4, {}, {}, 1.881, (-2.60, 3.59, 2.08, 4.97)),
        (4, {}, {"o8": 0.3}, 1.372, (-1.64, 3.59, 1.79, 4.97)),
        (4, {}, {"o8": 0.1}, 0.873, (-0.68, 3.59, 1.50, 4.98)),
        (4, {}, {"o8": 0.3, "o9": 1.0}, 1.729, (-1.64, 3.24, 1.79, 4.97)),
        (4, {}, {"o8": 0.3, "o11": 1.0}, 1.372, (-1.64, 3.59, 1.79, 5.22)),
        (4, {"full": 0.5}, {"o8": 0.54}, 1.982, (-2.79, 3.59, 2.14, 4.97)),
        # heaps further in
        (4, {}, {"o8": 0.8}, 5.109, (-3.84, 1.57, 0.75, 3.83)),
        (4, {}, {"o8": 0.8, "o10": 1.0}, 6.169, (-4.25, 1.00, 0.75, 4.35)),
        (4, {}, {"o8": 0.8, "o9": 1.0}, 5.109, (-3.84, 1.07, 0.75, 3.33)),
        (4, {"full": 0.52}, {"o8": 0.56}, 5.109, (-3.84, 1.57, 0.75, 3.83)),
        (2, {}, {"o8": 0.8}, 1.967, (-2.09, 2.13, 0.75, 3.57)),
    ],
)
def test_so_much_lies_on_a_tiers_front(half, changed, own, area: float, bounds) -> None:
    (each,) = _fronts(straight(half=float(half)), laid_on(**changed), LIMITS, PLAIN, chances(**own))
    assert each.area == pytest.approx(area, rel=0.006)
    assert each.bounds == pytest.approx(bounds, abs=0.012)


@pytest.mark.parametrize(
    ("tier", "changed", "own", "boughs"),
    [
        ({}, {"close": True}, {"o8": 0.8}, 1.0),  # no room for a heap
        ({"half": 1.8}, {}, {"o8": 0.8}, 1.0),
        ({}, {"full": 0.5}, {"o8": 0.56}, 1.0),  # too little has come
        ({}, {"ends": 0.9}, {"o8": 0.3}, 1.0),  # no tongue but from a notch that snow reaches
        ({"half": 0.75}, {}, {"o8": 0.3}, 1.0),  # it would be a dot
        ({"top": True}, {}, {}, 1.0),
        ({}, {}, {}, 0.49),
    ],
)
def test_a_tiers_front_stays_bare(tier, changed, own, boughs: float) -> None:
    settings = snowload.Settings(lumpy=0.0, boughs=boughs)
    assert len(_fronts(straight(**tier), laid_on(**changed), LIMITS, settings, chances(**own))) == 0
    assert len(_fronts(straight(), laid_on(), LIMITS, snowload.Settings(boughs=0.51), chances())) == 1


def test_the_front_of_a_large_tier_bears_a_heap_where_its_shoulder_bears_no_tongue_and_a_longer_one() -> None:
    bare = chances(o8=0.3)
    assert len(_fronts(straight(), laid_on(ends=0.9), LIMITS, PLAIN, bare)) == 0
    assert len(_fronts(straight(), laid_on(ends=0.9, large=1.1), LIMITS, PLAIN, bare)) == 1
    for large, long in ((1.0, 5.0), (1.1, 5.5), (2.0, 6.34)):
        (each,) = _fronts(straight(half=6.0), laid_on(large=large), LIMITS, PLAIN, chances(o8=0.8))
        left, _, right, _ = each.bounds
        assert right - left == pytest.approx(long, abs=0.15)


@pytest.mark.parametrize(
    ("changed", "own", "fir", "over", "on", "down"),
    [
        ({"cap": 1.5}, {}, {}, 0.518, 0.674, (3.92, 3.73)),
        ({"cap": 3.0}, {}, {}, 1.010, 2.580, (2.86, 2.62)),
        ({"cap": 6.0}, {}, {}, 1.731, 8.934, (1.23, 0.29)),
        ({"cap": 1.5, "over": 1.0}, {}, {}, 1.103, 0.674, (3.92, 3.73)),
        ({"cap": 1.5}, {"o2": 0.0}, {}, 0.406, 0.512, (4.18, 3.78)),
        ({"cap": 1.5}, {"o4": 0.0}, {}, 0.608, 0.674, (3.92, 3.73)),
        ({"cap": 1.5}, {"o5": 0.0}, {}, 0.518, 0.671, (3.92, 3.69)),
        ({"cap": 1.5}, {"o6": 0.0}, {}, 0.518, 0.699, (3.92, 3.73)),
        ({"cap": 1.5}, {}, {"o3": 1.0}, 0.518, 0.903, (3.92, 3.37)),
    ],
)
def test_so_large_is_half_the_cap_of_a_top(changed, own, fir, over: float, on: float, down) -> None:
    """What lies over it and what lies on it, mm², and how far down both go; they meet their other half."""
    pair = _caps(straight(top=True), laid_on(**changed), chances(**own), chances(**fir))
    assert [each[0].area for each in pair] == pytest.approx((over, on), rel=0.008)
    assert [one[0].bounds[1] for one in pair] == pytest.approx(down, abs=0.012)
    assert [item[0].bounds[0] for item in pair] == pytest.approx((0.95, 0.95), abs=0.01)
    assert pair[0][0].bounds[3] == pytest.approx(5 + 1.1 * changed.get("over", 0.5), abs=0.01)


@pytest.mark.parametrize("preset", few(["fresh", "deep"], 1))
def test_firs_of_a_few_millimetres_have_caps_on_their_tips_that_hold(preset: str) -> None:
    """Three to five tiers of 0.7 to 1.7 mm: what would be too narrow below a cap is white too."""
    sizes = [(3, 1.0), (4, 0.9), (4, 1.1), (5, 0.7), (3, 1.3), (3, 1.5), (3, 1.7)]
    firs = [fir(6 + 9 * k, 12, tiers=tiers, tall=tall) for k, (tiers, tall) in enumerate(sizes)]
    place = Place(area=shapely.box(0, 0, 66, 30), shapes=geometry.parts(shapely.union_all(firs)))
    for seed in few((1, 2), 1):
        settings = snowload.Settings(**snowload.PRESETS[preset])
        cuts = snowload.grow(settings, place, LIMITS, stream(seed, "firs")).cuts
        tips = geometry.dots(np.array([[6 + 9 * k, 12 + tiers * tall - 0.2] for k, (tiers, tall) in enumerate(sizes)]))
        capped = np.unique(shapely.STRtree(cuts).query(tips, predicate="dwithin", distance=0.1)[0])
        assert capped.tolist() == list(range(len(sizes)))


@takes_long  # test_recorded.py has firs with caps
@pytest.mark.parametrize(("tall", "cut"), few([(7.5, 0.8), (7.5, 1.0), (9.0, 2.0)], 1))
def test_the_top_of_a_large_fir_stays_mostly_dark_whatever_cuts_it(tall: float, cut: float) -> None:
    tree, limits = fir(30, 8, tiers=4, tall=tall), Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=cut, dot_mm=1.5)
    place = Place(area=shapely.box(0, 0, 60, 60), shapes=geometry.parts(tree))
    top = shapely.intersection(tree, shapely.box(0, 8 + 3 * tall, 60, 60))
    for seed in few((1, 3), 1):
        cuts = snowload.grow(snowload.Settings(), place, limits, stream(seed, "firs")).cuts
        assert shapely.area(shapely.intersection(shapely.union_all(cuts), top)) < 0.5 * top.area


@takes_long  # test_recorded.py has firs with caps
@pytest.mark.parametrize("preset", few(["deep", "wet"], 1))
def test_below_a_small_cap_a_dark_stem_shows_up_to_near_the_tip(preset: str) -> None:
    """Of the top two millimetres of firs; the tip itself is white."""
    firs = [fir(8 + 14 * k, 4, tiers=4, tall=4.5 + 0.25 * size) for k, size in enumerate(few(range(8), 2))]
    place = Place(area=shapely.box(0, 0, 2 + 14 * len(firs), 36), shapes=geometry.parts(shapely.union_all(firs)))
    settings = snowload.Settings(**snowload.PRESETS[preset])
    cuts = shapely.union_all(snowload.grow(settings, place, LIMITS, stream(1, "firs")).cuts)
    for one in firs:
        high = one.bounds[3]
        top, tip = (shapely.intersection(one, shapely.box(0, high - down, 114, high)) for down in (2, 0.6))
        assert 0.3 < shapely.difference(top, cuts).area / top.area < 0.9
        assert shapely.difference(tip, cuts).area < 0.1 * tip.area


@pytest.mark.parametrize("tall", [3.0, 5.0])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_narrow_tiers_near_the_top_are_not_eaten_to_a_post(tall: float, seed: int) -> None:
    drawn = fir(20, tall=tall)
    dark = drawn - shapely.union_all(pads(drawn, preset="deep", seed=seed, boughs=0.0))
    for below in (0.3, 0.6, 0.9):  # the notches of the two upper tiers, mm
        for tier in (1, 2):
            row = shapely.box(0, 5 + (5 - tier) * tall - below, 40, 5 + (5 - tier) * tall - below + 0.05)
            assert (dark & row).area > 0.4 * (drawn & row).area


@pytest.mark.parametrize(("apart", "lower"), [(4.2, 6.3), (4.6, 6.3), (5.0, 4.3), (5.0, 5.3)])
def test_a_fir_hemmed_in_by_two_others_bears_a_pad_on_every_tier_that_is_seen(apart: float, lower: float) -> None:
    """The tips of its lower tiers lie in its neighbours: what is seen of those begins in a valley between the two."""
    three = [fir(0, tiers=6), *(fir(x, 5 - lower, tiers=6) for x in (-apart, apart))]
    tiers = found(*three)
    assert tiers is not None
    middle = np.abs(tiers.fir[:, 0]) < 0.01
    assert np.bincount(tiers.side[middle] + 1).tolist() == [6, 0, 6]
    lying = pads(*three, patchy=0.0)
    near = shapely.STRtree(lying).query(geometry.dots(tiers.tip[middle]), predicate="dwithin", distance=0.6)[0]
    assert len(np.unique(near)) >= 11
