"""Small firs that are drawn as stacks of jagged triangles: a pad on a tier, dark below it, none on what is no fir."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from carvegen.motifs.snowload.firs.pads import _Pads, _seen, on_tiers
from carvegen.motifs.snowload.firs.tiers import Tiers, tiers_of
from carvegen.motifs.snowload.growing import _padded, _Scene

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


@pytest.mark.parametrize("preset", snowload.PRESETS)
def test_most_shoulders_bear_a_pad_with_dark_below_it_and_no_fir_is_white_all_over(preset) -> None:
    tree, wind = fir(0, tall=4.0), preset == "windblown"
    white = [shapely.union_all(pads(tree, preset=preset, seed=seed)) for seed in range(6)]
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


@pytest.mark.parametrize("preset", ["fresh", "deep"])
def test_firs_of_a_few_millimetres_have_caps_on_their_tips_that_hold(preset: str) -> None:
    """Three to five tiers of 0.7 to 1.7 mm: what would be too narrow below a cap is white too."""
    sizes = [(3, 1.0), (4, 0.9), (4, 1.1), (5, 0.7), (3, 1.3), (3, 1.5), (3, 1.7)]
    firs = [fir(6 + 9 * k, 12, tiers=tiers, tall=tall) for k, (tiers, tall) in enumerate(sizes)]
    place = Place(area=shapely.box(0, 0, 66, 30), shapes=geometry.parts(shapely.union_all(firs)))
    for seed in (1, 2):
        settings = snowload.Settings(**snowload.PRESETS[preset])
        cuts = snowload.grow(settings, place, LIMITS, stream(seed, "firs")).cuts
        tips = geometry.dots(np.array([[6 + 9 * k, 12 + tiers * tall - 0.2] for k, (tiers, tall) in enumerate(sizes)]))
        capped = np.unique(shapely.STRtree(cuts).query(tips, predicate="dwithin", distance=0.1)[0])
        assert capped.tolist() == list(range(len(sizes)))
