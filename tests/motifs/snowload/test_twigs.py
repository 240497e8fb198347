"""Lines of snow on thin twigs, pads on needles, level notches, and summits without specks."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from carvegen.motifs.snowload import twigs as twigs_module
from carvegen.motifs.snowload.growing import _going_on, _level_in_notches, _lines, _over_tips, _twigs, _without_crumbs
from carvegen.motifs.snowload.ledges import ledges_of
from carvegen.motifs.snowload.scene import Grid, columns_of, tangled
from carvegen.motifs.snowload.snow_shapes import Canvas
from carvegen.motifs.snowload.twigs import on_twigs
from tests.cases import disc, limits, shapes

FACE = shapely.box(0, 0, 30, 24)
LIMITS = limits(0.5, 0.4)
TWIG = shapely.LineString([(4, 10), (14, 12), (24, 11)]).buffer(0.25)


def white(on: shapely.Geometry, preset: str = "deep", **changed) -> shapely.Geometry:
    settings = snowload.Settings(**{**snowload.PRESETS[preset], "patchy": 0.0, "twigs": 1.0, **changed})
    place = Place(area=FACE, shapes=shapes(*geometry.parts(on)))
    return shapely.union_all(snowload.grow(settings, place, LIMITS, stream(1, "twigs")).cuts)


def lines_on(
    twig: shapely.Geometry, *, fallen_mm: float = 7.0, seen: float = 1.0, seed: int = 1
) -> tuple[Grid, np.ndarray]:
    """Smooth lines on each twig that snow comes to, on a page of 14 by 10 mm without heaps: cover of cells."""
    page = Grid.of((0, 0, 14, 10))
    size, canvas = (page.high, page.wide), Canvas.blank(page)
    on_twigs(
        canvas, columns_of(geometry.parts(twig), page), snowload.Settings(fallen_mm=fallen_mm, lumpy=0.0, twigs=1.0),
        LIMITS, heaps=np.zeros(size, dtype=bool), air_mm2=np.full(size, 100.0),
        seen=lambda ledges: np.full(len(ledges), seen), rng=stream(seed, "twigs"),
    )  # fmt: skip
    return page, canvas.cover


def thick_on(twig: shapely.Geometry, **changed) -> tuple[np.ndarray, np.ndarray]:
    """Middles of the columns in which a line lies, and how thick it is there, mm both."""
    page, cover = lines_on(twig, **changed)
    thick = cover.sum(axis=0) * page.step
    return page.x[thick > 0], thick[thick > 0]


def test_a_twig_of_half_a_millimetre_carries_a_line_on_its_top_or_none_if_that_is_refused() -> None:
    """Over four fifths of its length, no thinner than the cut, no thicker than 1.2 mm; none hangs below it."""
    lying = white(TWIG)
    high = [shapely.intersection(lying, shapely.LineString([(x, 0), (x, 24)])).length for x in np.arange(4.5, 24, 0.5)]
    assert (np.array(high) > 0.3).mean() > 0.8
    assert max(high) < 1.2
    below = shapely.LineString([(4, 9.4), (14, 11.4), (24, 10.4)]).buffer(0.3)
    assert shapely.intersection(lying, below).area == 0
    assert white(TWIG, twigs=0.0).area == 0


@pytest.mark.parametrize(("thick", "lean"), [(0.35, 0.0), (0.5, 0.3)])
def test_every_nearly_level_twig_however_thin_bears_a_broken_line(thick, lean) -> None:
    """Four of 22 mm, wherever they lie on the grid, one above another: four fifths white, nowhere bare for 5 mm."""
    left, right = (4, 3.1 - 11 * lean), (26, 3.1 + 11 * lean)
    line = shapely.affinity.translate(shapely.LineString([left, right]), 0, 5.5 * lean)
    twigs = [shapely.affinity.translate(line, 0, 4.07 * k) for k in range(4)]
    lying = white(shapely.union_all([each.buffer(thick / 2, cap_style="flat") for each in twigs]), "fresh", twigs=0.75)
    over = [shapely.affinity.translate(each, 0, thick * np.hypot(1, lean) / 2 + 0.2) for each in twigs]
    bare = shapely.difference(np.array(over), lying)
    runs = shapely.length(shapely.get_parts(bare))
    assert runs.sum() < 0.2 * sum(each.length for each in over)
    assert (shapely.length(bare) < 0.3 * over[0].length).all()
    assert runs.max() < 5


def test_a_steep_twig_carries_none_and_a_needle_none() -> None:
    """A twig at 68 degrees; a level needle 0.2 mm thick."""
    steep = shapely.LineString([(10, 4), (16, 19)]).buffer(0.25)
    needle = shapely.LineString([(4, 10), (24, 10)]).buffer(0.1)
    assert white(steep).area == 0
    assert white(needle).area == 0


def test_a_line_lies_under_no_twig_so_near_that_no_sky_is_left() -> None:
    """Two level twigs: 0.7 mm of air between them has room for no line, 3 mm have."""
    for apart, lies in ((0.7, False), (3.0, True)):
        pair = shapely.union_all([shapely.box(4, y, 24, y + 0.6) for y in (10, 10.6 + apart)])
        between = shapely.box(6, 10.65, 22, 10.55 + apart)
        assert (shapely.intersection(white(pair), between).area > 1) == lies


@pytest.mark.parametrize("long", [2.3, 2.8])
def test_a_short_line_is_thinner_than_a_long_one(long) -> None:
    """From a seventh to a quarter of its length, and what is sunk into the twig; one twice as long is thicker."""
    short, twice = (thick_on(shapely.box(2, 4, 2 + of, 4.6))[1].max() - 0.06 for of in (long, 2 * long))
    assert long / 7 < short < 0.26 * long
    assert twice > short


@pytest.mark.parametrize("fallen_mm", [1.5, 7.0])
def test_a_fork_of_steep_limbs_is_filled_by_what_has_fallen(fallen_mm) -> None:
    """0.4 mm and 0.15 of what has fallen at the most, in the fork alone, highest in its middle; on one limb none."""
    limb = shapely.LineString([(4, 9.6), (7, 4)]).buffer(0.4)
    fork = shapely.union(limb, shapely.affinity.scale(limb, -1, 1, origin=(7, 4)))
    x, thick = thick_on(fork, fallen_mm=fallen_mm)
    assert 0.78 < thick.max() / (0.4 + 0.15 * fallen_mm) < 1.04
    top = thick + 1.87 * np.abs(x - 7)
    assert top.max() - top[np.abs(x - 7) < 0.2].mean() < 0.45
    assert np.abs(x - 7).max() < 1.2
    assert len(thick_on(limb, fallen_mm=fallen_mm)[0]) == 0


def test_the_acute_corner_under_a_rising_twig_is_filled_and_sky_is_left_further_out() -> None:
    """Where twigs are 0.2…0.8 mm apart no 0.2 mm stay dark, where they are 1.5…2.2 mm apart half a millimetre does."""
    level = shapely.box(1, 3, 12, 3.6)
    rising = shapely.Polygon([(9, 3), (9, 3.6), (2, 6.4), (2, 7.9), (9, 5.1), (12, 3.6)])
    page, cover = lines_on(shapely.union(level, rising))
    gap = 0.4 * (9 - page.x)
    under = (np.arange(page.high) + 0.5)[:, None] * page.step < 3.6 + gap
    air = gap - np.where(under, cover, 0).sum(axis=0) * page.step
    assert air[(gap > 0.2) & (gap < 0.8)].max() < 0.2
    assert air[(gap > 1.5) & (gap < 2.2)].min() > 0.5


@pytest.mark.parametrize("seed", [1, 2])
def test_what_sees_less_than_a_fifth_of_the_sky_stays_bare(seed) -> None:
    """All of three twigs; of what sees little more some is white by chance, of what sees all of it hardly any not."""
    twigs = shapely.union_all([shapely.box(1, y, 13, y + 0.6) for y in (1, 4, 7)])
    bare, some, white = (len(thick_on(twigs, seen=seen, seed=seed)[0]) * 0.15 for seen in (0.19, 0.21, 1.0))
    assert bare == 0
    assert some > 0
    assert white > 11


@pytest.mark.parametrize("seed", range(3))
def test_a_line_is_a_wedge_that_thins_out_upwards_or_to_both_tips_and_thickens_at_what_stands_there(seed) -> None:
    """No thinner than a cut until it ends within 0.9 mm: on a level twig thickest between its tips, or at its foot."""
    twig = shapely.box(2.1, 4, 12, 4.6)
    x, thick = thick_on(twig, seed=seed)
    assert (thick[[0, -1]] < 0.67 * thick.max()).all()
    assert 4 < x[thick.argmax()] < 10
    assert thick[np.abs(x - 7) < 4].min() > 0.4
    assert max(thick[np.abs(x - side) < 0.2].min() for side in (3.3, 10.8)) < 0.97 * thick.max()
    foot = thick_on(shapely.union(twig, shapely.box(10, -1, 15, 11)), seed=seed)[1]
    assert (np.diff(foot[-8:]) > 0).all()
    assert foot[-1] > 1.04 * foot[-20]
    for rises in (0.3, -0.3):
        x, thick = thick_on(shapely.affinity.skew(twig, 0, np.degrees(np.arctan(rises)), origin=(7, 4)), seed=seed)
        low, high = (thick[np.abs(x - 7 + np.sign(rises) * by) < 1.2].mean() for by in (3, -3))
        assert low > 1.2 * high > 0.48


def test_left_tips_run_out_over_as_much_as_right_ones() -> None:
    """From where it is half as thick as in the middle, the mean of forty twigs, wherever they begin in a column."""
    bare = []
    for seed, left in enumerate(np.linspace(1, 3, 40)):
        x, thick = thick_on(shapely.box(left, 4, left + 7.53, 4.9), seed=seed)
        lies = x[thick > np.median(thick) / 2]
        bare.append((lies[0] - left, left + 7.53 - lies[-1]))
    assert np.diff(np.mean(bare, axis=0))[0] == pytest.approx(0, abs=0.1)


def test_a_heap_runs_out_along_its_twig() -> None:
    """A limb that thins from 2.4 to 0.4 mm: one body of snow from end to end, not a heap and dashes beyond it."""
    limb = shapely.Polygon([(3, 10), (3, 12.4), (27, 11.4), (27, 11.0)])
    bodies = geometry.parts(white(limb))
    assert len(bodies) == 1
    assert bodies[0].bounds[2] > 25.5


def test_lines_are_told_from_dots_and_from_uprights() -> None:
    line, dot, upright = (
        shapely.affinity.scale(disc(x, 10, 0.6), 1 / k, k) for x, k in ((5, 0.45), (10, 1.0), (15, 1 / 0.45))
    )
    pieces = shapes(line, dot, upright, shapely.affinity.translate(line, 20))
    assert _lines(pieces, shapely.box(0, 0, 20, 20)).tolist() == [True, False, False, False]


def test_needles_are_no_tangle_and_crossing_twigs_are() -> None:
    """A comb of pointed needles on a bough, and bars 0.7 mm thick across one another."""
    bough = shapely.box(2, 9, 28, 10)
    comb = [shapely.Polygon([(x, 10), (x + 0.4, 10), (x + 0.9, 13)]) for x in np.arange(2, 27, 0.7)]
    bars = [shapely.LineString([(x, 6), (x + lean, 14)]).buffer(0.35) for x in range(4, 24, 2) for lean in (-8, 8)]
    page = Grid.of(FACE.bounds)
    for on, least, most in (([bough, *comb], 0.9, 1.0), (bars, 0.0, 0.1)):
        drawn = columns_of(geometry.parts(shapely.union_all(on)), page).raster
        solid = columns_of(geometry.parts(shapely.union_all(on).buffer(0.6).buffer(-0.6)), page).raster
        cross, needles = (each[round(10.5 / page.step), page.wide // 2] for each in tangled(drawn, solid, page))
        assert cross == 1
        assert least <= needles <= most


@pytest.mark.parametrize("seed", range(2))
def test_a_notch_between_firs_is_filled_level(seed) -> None:
    """Snow of uneven depth in a V: its surface differs by a fifth of what it did; its sum is kept."""
    page = Grid.of(FACE.bounds)
    firs = shapely.Polygon([(1, -5), (1, 20), (15, 4), (29, 20), (29, -5)])
    columns = columns_of(shapes(firs), page)
    ledges = ledges_of(columns, columns, cliff_mm=2)
    off = np.abs(ledges.x - 15)
    depth = np.clip(4 - off, 0, None) * (1 + 0.4 * np.sin(3 * ledges.x + seed))
    even, thin = (
        _level_in_notches(ledges, depth, 0 * depth + 1, 0 * depth, np.full(len(depth), of)) for of in (20.0, 5.0)
    )
    middle = off < 2
    before, after = (np.ptp((ledges.base + each)[middle]) for each in (depth, even))
    assert after < 0.2 * before
    assert (thin == depth).all()  # a fork of limbs
    assert even.sum() == pytest.approx(depth.sum(), rel=0.02)
    swollen = _level_in_notches(ledges, depth, 0 * depth + 1, 0.3 * np.sin(2 * off), np.full(len(depth), 20.0))
    assert 0.3 < np.ptp((swollen - even)[middle]) < 0.7
    assert (swollen[even == 0] == 0).all()


def test_no_dark_tip_crowns_a_white_summit() -> None:
    """The tip that the white leaves is white too; so small a piece elsewhere stays, and so does a large one."""
    peak = shapely.Polygon([(4, 0), (10, 20), (16, 0)])
    snow = shapely.box(0, 10, 30, 19)
    tips = geometry.dots(np.array([[10.0, 19.8]]))
    covered = _over_tips(snow, peak, tips)
    assert shapely.difference(peak, covered).intersection(shapely.box(0, 18, 30, 24)).is_empty
    assert _over_tips(snow, peak, geometry.dots(np.array([[12.2, 19.5]]))).equals(snow)
    assert _over_tips(shapely.box(0, 10, 30, 12), peak, tips).equals(shapely.box(0, 10, 30, 12))


def test_no_crumb_of_a_buried_twig_stays_beside_a_cap_and_longer_tips_needles_and_dots_do() -> None:
    """Twigs 0.4 mm broad that the cap cuts off, 0.3 mm and 2 mm of them out of it; a needle; a knob; a dot in air."""
    cap = shapely.box(0, 0, 10, 5)
    crumb, tip, dot = shapely.box(9, 2, 10.3, 2.4), shapely.box(-2, 2, 1, 2.4), shapely.box(14, 2, 14.3, 2.4)
    needle = shapely.Polygon([(5, 4.9), (5.2, 4.9), (5.1, 5.7)])
    limb, knob = shapely.box(-5, -3, 15, 0.5), shapely.box(2, 4, 4, 6)
    others = shapely.union_all([tip, dot, needle, limb, knob])
    drawn = shapely.union(crumb, others)
    more = shapely.difference(_without_crumbs(cap, drawn, LIMITS), cap)
    assert shapely.covers(more, shapely.box(10, 2, 10.3, 2.4))
    assert not shapely.intersects(more, others)


def test_a_cap_goes_on_past_twigs_that_part_it_small_as_its_pieces_are() -> None:
    limb = shapely.LineString([(1, 7), (8, 9), (20, 9.5), (29, 8)]).buffer(0.7)
    uprights = np.arange(3, 28, 2.6)
    on = shapely.union_all([limb, *shapely.box(uprights, 3, uprights + 0.55, 14)])
    pieces = geometry.parts(white(on, detail_kept=1.0, detail_mm=0.7))
    between = shapely.box(uprights[:-1] + 0.55, 6, uprights[1:], 14)
    assert shapely.STRtree(pieces).query(between, predicate="intersects")[0].tolist() == list(range(len(between)))


def test_what_goes_on_from_a_cap_stands_beside_it_and_is_no_crumb() -> None:
    """A cap, two smaller pieces and a crumb beside it; one too far, one over it, one far lower, one past the crumb."""
    pieces = shapes(
        shapely.box(20, 10, 26, 12), shapely.box(18, 10, 19.5, 11.8), shapely.box(16, 10, 17.5, 11.5),
        shapely.box(14.4, 10, 15.5, 11), shapely.box(27.5, 10, 29, 12), shapely.box(21, 12.5, 24, 13.5),
        shapely.box(18.5, 8, 19.5, 10.3), shapely.box(12.2, 10, 13.8, 11.5),
    )  # fmt: skip
    reads = np.arange(len(pieces)) == 0
    assert _going_on(pieces, reads, 0.8).tolist() == [True] * 3 + [False] * 5
    assert not _going_on(pieces, reads & False, 0.8).any()


@pytest.mark.parametrize(("share", "much"), [(0.0, 1.0), (0.5, 1.0), (0.7, 0.6), (0.8, 0.4), (0.9, 0.3), (2.0, 0.3)])
def test_a_line_thins_from_half_the_slope_of_repose_on_to_three_tenths(share: float, much: float) -> None:
    """0.29 mm for one mm fallen, growing by the power 0.6; never more than the twig bears."""
    n = 20
    ledges = SimpleNamespace(x=np.zeros(n), base=np.zeros(n))
    for bears in (9.0, 0.5):
        twigs: Any = SimpleNamespace(ledges=ledges, lean=np.full(n, 0.8 * share), repose=0.8, bears=np.full(n, bears))
        full = twigs_module._full(twigs, snowload.Settings(fallen_mm=5.0, lumpy=0.0), stream(1, "twigs"))
        assert full == pytest.approx(np.full(n, much * min(bears, 0.29 * 5**0.6)))


@pytest.mark.parametrize(
    ("wide", "long", "heap_mm2", "seen"),
    [
        (0.14, 7.0, 40.0, False), (0.17, 7.0, 40.0, True), (0.9, 7.0, 40.0, True), (1.1, 7.0, 40.0, False),
        (0.3, 2.6, 40.0, False), (0.3, 2.8, 40.0, True), (0.2, 7.0, 29.0, False), (0.2, 7.0, 31.0, True),
    ],
)  # fmt: skip
def test_what_a_large_heap_buries_is_a_twig_if_it_is_thin_long_and_no_shred(wide, long, heap_mm2, seen) -> None:
    """Detail is 1 mm: no thinner than 0.17 of it on average, no less than six times it round about."""
    settings = snowload.Settings(detail_mm=1.0, detail_kept=1.0)
    heap = shapely.box(-2, 0, 18, heap_mm2 / 20)
    twigs = _twigs(settings, shapely.box(1, 0.2, 1 + long, 0.2 + wide), heap, limits(0.5, 0.4), stream(1, "twigs"))
    assert len(twigs) == seen
    if seen:
        left, low, right, high = shapely.bounds(twigs[0])
        assert high - low == pytest.approx(max(0.5, wide) + 0.04, abs=0.11)
        assert right - left > long
