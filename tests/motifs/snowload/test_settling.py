"""Lying snow at rest: what falls is accounted for, and lies no steeper than it stands."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from carvegen.motifs.snowload import growing, snow_shapes
from carvegen.motifs.snowload.growing import _hollows, _level_in_notches, _mantle, _Scene, _share_of
from carvegen.motifs.snowload.ledges import Ledges, ledges_of
from carvegen.motifs.snowload.scene import Grid, columns_of
from carvegen.motifs.snowload.settling import (
    Ends,
    Settled,
    _before_joints,
    _heads,
    _over_edges,
    _past,
    _spread,
    before_brinks,
    borne,
    ends_of,
    leant,
    left_on_slopes,
    settled,
)
from carvegen.motifs.snowload.snow_shapes import lips, reaching
from carvegen.motifs.snowload.snowpack import cap_mm, clinging_mm, repose_deg
from tests.cases import limits, shapes
from tests.strategies import MANY, few, takes_long

LIMITS = limits(0.5, 0.4)
FACE = shapely.box(0, 0, 120, 90)
PLAIN = {"patchy": 0, "lumpy": 0, "wind": 0, "bridging_mm": 0, "detail_mm": 0.1}
SLOPE = shapely.Polygon([(10, 5), (110, 5), (110, 12), (60, 62), (10, 12)])
FORK = shapely.union_all([
    shapely.LineString([(60, 5), (60, 32)]).buffer(2),
    shapely.LineString([(60, 30), (35, 62)]).buffer(1.5),
    shapely.LineString([(60, 30), (85, 62)]).buffer(1.5),
])  # fmt: skip
ROOF_OVER_LEDGE = shapely.union_all([
    shapely.Polygon([(50, 50), (70, 50), (60, 80)]), shapely.box(5, 5, 115, 15), shapely.box(57, 10, 63, 51)
])  # fmt: skip
SUBJECTS = {"slope": SLOPE, "fork": FORK, "roof": ROOF_OVER_LEDGE}


def ledges(on: shapely.Geometry, *, cliff_mm: float = 1.0) -> Ledges:
    columns = columns_of(geometry.parts(on), Grid.of(FACE.bounds))
    return ledges_of(columns, columns, cliff_mm=cliff_mm)


@cache
def at_rest(name: str, preset: str, seed: int = 1) -> tuple[Ledges, Settled]:
    settings = snowload.Settings(**snowload.PRESETS[preset])
    place = Place(area=FACE, shapes=shapes(SUBJECTS[name]))
    scene = _Scene.of(SUBJECTS[name], settings, place)
    assert scene is not None
    ends = ends_of(scene.ledges, settings, stream(seed, "ends"))
    return scene.ledges, scene.snow(_share_of(place, settings), LIMITS, ends, stream(seed, "snow"))


#: Presets take turns; each on every subject where there is time for many.
LYING = [
    (name, preset)
    for k, preset in enumerate(sorted(snowload.PRESETS))
    for m, name in enumerate(sorted(SUBJECTS))
    if MANY or m == k % len(SUBJECTS)
]


@pytest.mark.parametrize(("name", "preset"), few(LYING, 2))
def test_what_falls_lies_or_is_lost(name, preset) -> None:
    """To 1 % of the volume."""
    _, snow = at_rest(name, preset)
    assert snow.fallen > 0
    assert snow.lying + snow.lost == pytest.approx(snow.fallen, rel=0.01)
    assert (snow.depth >= 0).all()


@pytest.mark.parametrize("walls", [(0,), (1,), (0, 1), ()])
@pytest.mark.parametrize(("joint", "lessened"), [(1.1, True), (1.45, False)])
def test_right_at_a_wall_a_thing_is_no_broader_than_a_little_further_out(walls, joint: float, lessened: bool) -> None:
    """Within 1.2 mm of it 9 mm count for 1.5 times the 2 mm that it is broad there, and 1 mm: the joint is broad."""
    table = ledges(shapely.box(0, 0, 120, 10))
    to_end = (np.arange(len(table)) * table.step, np.arange(len(table))[::-1] * table.step)
    breadth = np.where(np.minimum(*to_end) < joint, 9.0, 2.0)
    free = np.array([[-2 if side in walls else -1] * len(table) for side in (0, 1)])
    expected = breadth.copy()
    for side in walls:
        expected[(to_end[side] < joint) & lessened] = 4.0
    np.testing.assert_allclose(_before_joints(replace(table, free=free, breadth=breadth)), expected)


def at_rest_on_a_table(heap_at, sticky: float) -> tuple[Ledges, np.ndarray, Settled]:
    """What has fallen on a table that runs past the page, by x; and what lies there at rest."""
    each = ledges(shapely.box(0, 0, 120, 10))
    settings = snowload.Settings(**{**PLAIN, "sticky": sticky, "fallen_mm": 6})
    heap, zero = heap_at(each.x), np.zeros((2, len(each)))
    none = Ends(
        zero, zero > 0, zero, zero, zero, zero[0] + np.inf, zero + 1, zero, zero[0] + 1, zero + np.inf, zero, 1.0
    )
    rest = settled(each, heap, settings, sky=np.ones(len(each)), ends=none, bears=zero[0] + np.inf, land_mm=0.5)
    return each, heap, rest


def test_deep_snow_keeps_no_slit() -> None:
    each, heap, rest = at_rest_on_a_table(lambda x: np.where(np.abs(x - 60) < 1.5, 0.0, 3.0), 0.5)
    assert rest.lying + rest.lost == pytest.approx(heap.sum())
    assert rest.depth[np.abs(each.x - 60) < 2].min() > 1.5


@pytest.mark.parametrize("sticky", [0.0, 0.3, 0.6])
def test_a_loose_pile_on_level_ground_spreads_to_repose_and_keeps_its_volume(sticky) -> None:
    """A block of snow with upright sides on a table that runs past the page; a thin layer may stand upright."""
    each, heap, rest = at_rest_on_a_table(lambda x: np.where(np.abs(x - 60) < 5, 9.0, 0.0), sticky)
    stands = float(clinging_mm(np.zeros(1), sticky, 6.0)[0])
    loose = np.minimum(rest.depth[:-1], rest.depth[1:]) > stands + 0.5
    steepest = np.degrees(np.arctan(np.abs(np.diff(rest.depth))[loose].max() / each.step))
    assert rest.lying + rest.lost == pytest.approx(heap.sum())
    assert (rest.depth > 0.1).sum() > (heap > 0).sum()
    assert steepest < repose_deg(sticky) + 3


def test_ledges_are_found_exactly_between_the_cells() -> None:
    """A slope of 45 degrees and a ceiling over it, column by column against the shapes' own equations."""
    each = ledges(shapely.union_all([SLOPE, shapely.box(20, 70, 40, 75)]))
    left = (each.x > 10.2) & (each.x < 59.8) & (each.base < 65)
    np.testing.assert_allclose(each.base[left], each.x[left] + 2, atol=1e-6)
    under = (each.x > 20.2) & (each.x < 39.8) & (each.base < 65)
    assert (each.ceiling[under] == pytest.approx(70)) and np.isinf(each.ceiling[left & (each.x > 41)]).all()
    assert np.abs(each.slope[left & (each.x > 11) & (each.x < 59)]) == pytest.approx(1.0)


@pytest.mark.parametrize(("air", "spans"), [(0.04, False), (0.06, True)])
def test_what_lies_a_hair_over_what_is_drawn_bridges_nothing(air, spans) -> None:
    """Outlines are thinned out: as much air is under them as that, 0.05 mm at the most (our own choice)."""
    page = Grid.of(FACE.bounds)
    bearing, drawn = (columns_of(shapes(shapely.box(0, 0, 120, high)), page) for high in (10 + air, 10))
    assert (ledges_of(bearing, drawn, cliff_mm=1.0).bridged == spans).all()


def test_what_stands_close_under_a_rope_makes_it_no_broader() -> None:
    """A rope 1.5 mm thick, half a millimetre over a deck of 7.5: its breadth is its own, the deck's the deck's."""
    each = ledges(shapely.union_all([shapely.box(10, 20, 110, 21.5), shapely.box(5, 12, 115, 19.5)]))
    middle = np.abs(each.x - 60) < 40
    assert each.breadth[middle & (each.base > 21)] == pytest.approx(1.5, abs=0.3)
    assert each.breadth[middle & (each.base < 20)] == pytest.approx(7.5, abs=0.7)


def test_values_rise_gently_from_the_least_near_by() -> None:
    """A step from 4 to 26 half-way along a table: 1 for each mm, as far as it is looked for, on both sides alike."""
    each = ledges(shapely.box(0, 0, 120, 10))
    step = np.where(each.x < 60, 4.0, 26.0)
    for values, away in ((step, each.x - 60), (step[::-1], each.x[::-1] - 60)):
        rises = each.rising_gently(values, 1.0, 6.0)
        assert rises[away < 0] == pytest.approx(4)
        assert rises[(away > 0) & (away < 5)] == pytest.approx(4 + away[(away > 0) & (away < 5)], abs=0.16)
        assert rises[away > 7] == pytest.approx(26)


def test_what_a_steep_roof_sheds_lands_below_its_eaves() -> None:
    on, snow = at_rest("roof", "fresh")
    ground = on.base < 20
    beside = ground & (np.abs(np.abs(on.x - 60) - 11.5) < 2.5)
    away = ground & (np.abs(on.x - 60) > 35)
    assert snow.depth[beside].mean() > 1.1 * snow.depth[away].mean()


@pytest.mark.parametrize(("rise", "uneven"), [(0.7, False), (1.45, True)])
def test_from_a_steep_slope_it_has_slid_off_in_places(rise, uneven) -> None:
    """As much is left all along a roof; on a sail hardly any in one place and twice as much in another."""
    one, settings = ledges(shapely.Polygon([(20, 0), (70, 0), (20, 50 * rise)])), snowload.Settings()
    ends = ends_of(one, settings, stream(1, "ends"))
    left = left_on_slopes(one, settings, ends, stream(2, "slopes"))[(one.x > 24) & (one.x < 66)]
    assert (left.min() < 0.3 * left.mean() and left.max() > 1.6 * left.mean()) == uneven
    assert (np.ptp(left) < 1e-9) != uneven


def test_before_a_brink_it_thins_as_at_an_edge_unless_snow_below_reaches_up_to_it() -> None:
    """A shelf to 60 mm that falls off by 8 mm, three times as steep as a diagonal, and goes on lower."""
    shelf = shapely.Polygon([(10, 0), (100, 0), (100, 20), (62.7, 20), (60, 28), (10, 28)])
    one, settings = ledges(shelf), snowload.Settings()
    ends = ends_of(one, settings, stream(1, "ends"))
    most = before_brinks(one, np.where(one.base > 27.9, 3.0, 0.3), settings, ends)
    away = 60 - one.x
    near, far = (away > 0) & (away < 7.8), (away > 8.2) | (away < -4)
    assert (np.diff(most[near]) <= 0).all()
    assert most[near][-1] < 0.5
    assert most[near][0] > 20, "no step where it begins"
    assert (most[far] > 1e6).all()
    filled = before_brinks(one, np.clip(28.5 - one.base, 3.0, None), settings, ends)
    assert (filled > 1e6).all()


@pytest.mark.parametrize("rise", [0.8, 3.0])
def test_snow_leans_against_a_steep_side_and_ends_on_no_wall(rise) -> None:
    """Level ground, 2 mm of snow on it, between sides that fall to it and rise from it."""
    sides = [(10, 0), (110, 0), (110, 10 + 40 * rise), (70, 10), (50, 10), (10, 10 + 40 * rise)]
    one = ledges(shapely.Polygon(sides), cliff_mm=9.0)
    leans = leant(one, np.where(one.base < 10.01, 2.0, 0.0))
    side = (one.base > 10.2) & (one.base < 11)
    assert (leans[side] > 0.5).all() == (leans[side] > 0).any() == (rise > 1)
    assert (one.base + leans)[side].max() < 12, "no higher than the snow at its foot"
    assert (leans[one.base > 12] == 0).all()


def test_the_mantle_of_a_peak_is_as_thick_round_its_shoulder() -> None:
    """A shoulder 20 mm broad over sides four times as steep as a diagonal, after 10 mm: 1.2 mm, plumb or across."""
    one = ledges(shapely.Polygon([(30, 0), (90, 0), (70, 80), (50, 80)]), cliff_mm=9.0)
    mantle = _mantle(one, snowload.Settings(fallen_mm=10))
    assert (one.base + mantle).max() == pytest.approx(81.2, abs=0.01), "no horn"
    assert mantle[(one.base > 20) & (one.base < 60)] == pytest.approx(1.2 * np.hypot(1, 4), rel=0.08)
    assert mantle[np.abs(one.x - 60) < 8] == pytest.approx(1.2)


def test_snow_that_is_levelled_in_a_notch_runs_out_where_none_lies() -> None:
    """In a notch of rock with snow up to its middle: it stood there as a wall of 2 mm."""
    one = ledges(shapely.Polygon([(10, 0), (110, 0), (110, 60), (60, 10), (10, 60)]), cliff_mm=9.0)
    lies = np.where((one.x > 56) & (one.x < 60), 2.0, 0.0)
    level = _level_in_notches(one, lies, np.ones(len(one)), np.zeros(len(one)), np.full(len(one), 50.0))
    assert np.abs(level - lies).max() > 0.3, "it is levelled"
    assert (level[lies == 0] == 0).all()
    assert np.abs(level - lies)[np.abs(one.x - 59.9) < 0.2].max() < 0.3


def test_a_fork_is_fullest_at_its_bottom() -> None:
    on, snow = at_rest("fork", "deep")
    limbs = (on.base > 33) & (np.abs(on.x - 60) > 12) & (np.abs(on.x - 60) < 22)
    fork = (np.abs(on.x - 60) < 1) & (on.base > 25)
    assert snow.depth[fork].mean() > 1.5 * snow.depth[limbs].mean()


def test_ends_differ() -> None:
    """Of forty posts alike no two ends are cut to one pattern."""
    posts = shapely.union_all([shapely.box(x, 5, x + 2, 40) for x in range(2, 118, 3)])
    each = ledges(posts)
    ends = ends_of(each, snowload.Settings(), stream(3, "ends"))
    rise = np.unique(ends.rise[0])
    assert len(rise) > 30
    assert np.percentile(rise, 90) > 2.5 * np.percentile(rise, 10)


def test_a_step_beside_a_wall_on_either_side_bears_what_a_pocket_bears_and_a_free_post_its_cap() -> None:
    """Of one breadth, 3 mm; left and right are one another's mirror images about the page's middle."""
    post, wall, other = shapely.box(50, 5, 53, 30), shapely.box(53, 5, 60, 60), shapely.box(60, 5, 67, 60)
    scenes = (post, shapely.union(post, wall), shapely.union(shapely.box(67, 5, 70, 30), other))
    settings, deep = snowload.Settings(**PLAIN, fallen_mm=6), []
    for scene in scenes:
        lies = ledges(scene)
        deep.append(borne(lies, settings, np.zeros(len(lies)))[np.abs(lies.base - 30) < 0.5].max())
    free, left, right = deep
    assert left == pytest.approx(right, rel=0.02)
    assert left > 1.3 * free


def test_only_ends_of_one_kind_droop_in_still_air() -> None:
    """Three in ten: there the white hangs below the shelf that bears it, as far out as it reaches; else never."""
    shelf = ledges(shapely.box(40, 30, 80, 40))
    ends = ends_of(shelf, snowload.Settings(**PLAIN), stream(1, "ends"))
    low: list[float] = []
    canvas = SimpleNamespace(stroke=lambda _, below, __: low.extend(below.tolist()))
    for kind, droops in ((0.29, True), (0.45, False)):
        low.clear()
        lips(canvas, shelf, np.full(len(shelf), 12.0), replace(ends, kind=np.full_like(ends.kind, kind)), blows=0.0)
        assert low
        assert (min(low) < 39.5) == droops


@pytest.mark.parametrize("sticky", [0.0, 0.45])
def test_over_a_thin_edge_a_free_end_rises_no_steeper_than_loose_snow_and_rounds_over(sticky) -> None:
    """Twelve shelves' ends: the slope right at the edge is repose at the most, further in ever less."""
    each = ledges(shapely.union_all([shapely.box(8, y, 92, y + 3) for y in range(8, 80, 12)]))
    settings = snowload.Settings(**{**PLAIN, "sticky": sticky, "fallen_mm": 4})
    ends = ends_of(each, settings, stream(1, "ends"))
    for side in (0, 1):
        over = ends.deepest(side) - ends.at_edge[side]
        assert (over <= np.tan(np.radians(repose_deg(sticky))) * ends.away[side] * 1.0001).all()
        far = ends.away[side] > 20
        assert (over[far] < 0.5 * np.tan(np.radians(repose_deg(sticky))) * ends.away[side][far]).all()


@pytest.mark.parametrize(("gap", "land", "room"), [(1.9, 0.5, 0.0), (6.0, 0.5, 5.0), (6.0, 2.5, 3.5)])
def test_snow_under_a_board_leaves_air_as_wide_as_the_land_or_a_millimetre(gap, land, room) -> None:
    each = ledges(shapely.union_all([shapely.box(20, 10, 100, 20), shapely.box(20, 20 + gap, 100, 30 + gap)]))
    under = (each.base < 21) & (np.abs(each.x - 60) < 30)
    np.testing.assert_allclose(each.room(land)[under], room, atol=1e-6)


@pytest.mark.parametrize("seen", [0.0, 0.4, 1.0])
def test_of_what_a_twig_cannot_bear_as_much_lands_below_as_sees_the_sky(seen) -> None:
    """1 mm too much on every place of a board over a shelf: lying and lost are what there was, whatever is seen."""
    each = ledges(shapely.union_all([shapely.box(5, 5, 115, 15), shapely.box(40, 50, 80, 53)]))
    upper = each.base > 40
    settings = snowload.Settings(**PLAIN)
    depth, lost = _past(each, np.zeros(len(each)), upper * 1.0, settings, np.full(len(each), seen))
    assert depth[~upper].sum() == pytest.approx(seen * upper.sum())
    assert depth.sum() + lost == pytest.approx(upper.sum())


def test_a_fork_bears_little_more_than_the_breadth_of_its_limbs_over_what_they_bear() -> None:
    """Limbs of 45 degrees, 1.2 mm thick: the fork is some 5 mm deep over what is looked at."""
    limbs = [shapely.LineString([(60, 30), (60 + side * 30, 60)]).buffer(0.6) for side in (-1, 1)]
    each, settings = ledges(shapely.union_all(limbs)), snowload.Settings(**{**PLAIN, "fallen_mm": 14})
    foot = np.flatnonzero((np.abs(each.x - 60) < 3) & (each.base > 30))
    breadth = each.breadth[foot].max()
    most = 2**0.6 * (cap_mm(0.4 + 1.4 * np.array(breadth), settings.sticky) + 0.9 * breadth)
    assert breadth < 2
    assert (borne(each, settings, np.zeros(len(each)))[foot] <= most + 1e-9).all()


@pytest.mark.parametrize(("thinnest", "evens"), [(0.29, False), (0.31, True)])
def test_what_is_thick_evens_out_and_a_thin_layer_stays_as_it_fell(thinnest, evens) -> None:
    """Column by column 0.05 mm more and less, less steep than loose snow stands; 0.3 mm (our own) from both sides."""
    each = ledges(shapely.box(0, 0, 120, 10))
    uneven = thinnest + 0.05 * (np.arange(len(each)) % 2)
    after = _spread(each, uneven, np.zeros(len(each)), snowload.Settings(**PLAIN, fallen_mm=6))
    assert after.sum() == pytest.approx(uneven.sum())
    # half of each difference flows in an implicit step: what alternates is left by 1 / (1 + 4 / 2)
    assert np.ptp(after[9:-9]) == pytest.approx(0.05 / 3 if evens else 0.05, rel=1e-3)


@pytest.mark.parametrize(("towards_deg", "left", "right"), [(0.0, 0.42, 0.56), (180.0, 0.56, 0.42), (90.0, 0.35, 0.35)])
def test_the_wind_digs_before_a_post_thrice_as_much_as_behind_it(towards_deg, left, right) -> None:
    """Our own choice: in still air a quarter and half of chance is missing right at it, on broad level ground 0.35.

    A wind of 0.4 takes 0.6 of that more before the post, and 0.2 more behind it: one is to the left, one to the right.
    """
    each = ledges(shapely.box(0, 0, 120, 10))
    beside = each.x < 60
    ends = SimpleNamespace(
        away=np.where([beside, ~beside], 0.0, np.inf), free=np.zeros((2, len(each)), dtype=bool),
        kind=np.full((2, len(each)), 0.2),
    )  # fmt: skip
    settings = snowload.Settings(**{**PLAIN, "wind": 0.4, "wind_towards_deg": towards_deg})
    missing = _hollows(each, ends, settings)
    assert missing[beside] == pytest.approx(left)
    assert missing[~beside] == pytest.approx(right)


def spread_mm(values: np.ndarray, x: np.ndarray, near: float, far: float) -> float:
    """Over how much what an implicit step of diffusion has spread falls to 1/e, times sqrt(2): as it is asked for."""
    some = [values[np.abs(x - at) < 0.3].mean() for at in (near, far)]
    return (far - near) * np.sqrt(2) / np.log(some[0] / some[1])


def test_what_is_dug_away_is_heaped_up_near_by(monkeypatch) -> None:
    """From a ditch on a table that runs past the page; 4 mm and three times the depth fallen are our own choice."""
    table, fallen = shapes(shapely.box(-5, -5, 125, 10)), 2.0
    settings = snowload.Settings(**{**PLAIN, "fallen_mm": fallen})
    place = Place(area=FACE, shapes=table)
    scene, share = _Scene.of(table[0], settings, place), _share_of(place, settings)
    x, ends, deep = scene.ledges.x, ends_of(scene.ledges, settings, stream(1, "ends")), []
    for dug in (0.0, 0.5):
        monkeypatch.setattr(growing, "_hollows", lambda each, _, __, dug=dug: dug * (np.abs(each.x - 60) < 1))
        deep.append(scene.snow(share, LIMITS, ends, stream(1, "snow")).depth)
    more = deep[1] - deep[0]
    assert more.min() < -0.2 * fallen
    assert more.sum() == pytest.approx(0, abs=1e-6)
    assert spread_mm(more, x, 66, 76) == pytest.approx(4 + 3 * fallen, rel=0.05)


@pytest.mark.parametrize("fallen", [4.0, 10.0])
def test_the_white_of_a_heap_that_ends_runs_out_over_half_a_millimetre_and_more_in_deep_snow(
    fallen, monkeypatch
) -> None:
    """Snow on the left half of a table, no chance in its lower line; 0.5 mm and 0.08 of the depth: our own choice."""
    monkeypatch.setattr(snow_shapes, "waves_at", lambda where, _, **__: np.zeros(len(where)))
    each, settings = ledges(shapely.box(0, 0, 120, 10)), snowload.Settings(**{**PLAIN, "fallen_mm": fallen})
    ends, depth = ends_of(each, settings, stream(1, "ends")), np.where(each.x < 60, fallen, 0.0)
    white = reaching(
        each,
        depth,
        settings,
        ends,
        np.zeros(len(each)),
        patches=np.ones(len(each)),
        land_mm=0.5,
        rng=stream(1, "reaching"),
    )
    assert spread_mm(white, each.x, 61, 63) == pytest.approx(0.5 + 0.08 * fallen, rel=0.05)


@pytest.mark.parametrize(("rise", "missing"), [(0.1, 0.35), (0.4, 0.175), (0.7, 0.0)])
def test_the_hollow_round_a_post_is_of_level_ground_and_ever_less_on_slopes(rise, missing) -> None:
    """Our own choice: all of it up to 0.15 (rise over run), half at 0.4, none from 0.65 on."""
    each = ledges(shapely.Polygon([(0, -60), (120, -60), (120, 45 + 60 * rise), (0, 45 - 60 * rise)]))
    near = np.zeros((2, len(each)))
    ends = SimpleNamespace(away=np.stack([near[0], near[1] + np.inf]), free=near > 0, kind=near + 0.2)
    middle = np.abs(each.x - 60) < 5
    assert middle.any()
    assert _hollows(each, ends, snowload.Settings(**PLAIN))[middle] == pytest.approx(missing, abs=1e-3)


@takes_long  # test_recorded.py has deep snow on limbs
@pytest.mark.parametrize("thick", few([1.0, 1.5, 3.0], 1))
def test_after_a_deep_fall_a_limb_bears_a_thicker_cap_and_its_end_tapers(thick: float) -> None:
    limb = shapely.union_all([shapely.box(30, 5, 36, 80), shapely.box(33, 50, 80, 50 + thick)])
    deep, usual = (_middles(limb, fallen) for fallen in (7.0, 3.5))
    assert np.median(deep) > 1.3 * np.median(usual), "as much as a limb bears; more has fallen on both"
    assert deep[-4:].max() < 0.7 * np.median(deep)


def _middles(limb: shapely.Geometry, fallen_mm: float) -> np.ndarray:
    """How deep it lies along a limb from x = 45 to its end at 80, mm."""
    settings = snowload.Settings(**PLAIN, fallen_mm=fallen_mm)
    place = Place(area=FACE, shapes=shapes(limb))
    scene = _Scene.of(limb, settings, place)
    assert scene is not None
    along = (scene.ledges.x > 45) & (scene.ledges.x < 80) & (scene.ledges.base < 55)
    ends = ends_of(scene.ledges, settings, stream(1, "ends"))
    snow = scene.snow(_share_of(place, settings), LIMITS, ends, stream(1, "snow"))
    return snow.depth[along]


def test_no_broader_limb_bears_less() -> None:
    for fallen in (3.5, 7.0):
        bears = []
        for thick in np.arange(0.3, 9, 0.3 if MANY else 0.6):
            limb = ledges(shapely.union_all([shapely.box(30, 5, 36, 80), shapely.box(33, 50, 80, 50 + thick)]))
            on = (limb.x > 50) & (limb.x < 70) & (limb.base < 60)
            bears.append(np.median(borne(limb, snowload.Settings(**PLAIN, fallen_mm=fallen), np.zeros(len(limb)))[on]))
        assert (np.diff(bears) > -0.05).all()


def test_what_sticks_to_the_heads_of_pickets_neither_grows_nor_is_lost() -> None:
    """What falls on them lies there or has fallen off; on each head stays at least a third of the cap that it bears."""
    heads = [shapely.Polygon([(x, 5), (x + 4, 5), (x + 4, 30), (x + 2, 32.6), (x, 30)]) for x in (20, 40, 60)]
    each, settings = ledges(shapely.union_all(heads)), snowload.Settings(**{**PLAIN, "sticky": 0.5, "fallen_mm": 4})
    ends, bears = ends_of(each, settings, stream(1, "ends")), borne(each, settings, np.zeros(len(each)))
    assert _heads(each, ends).all()
    rest = settled(each, np.full(len(each), 4.0), settings, sky=np.ones(len(each)), ends=ends, bears=bears, land_mm=0.5)
    assert rest.lying + rest.lost == pytest.approx(rest.fallen)
    assert rest.fallen == pytest.approx(4 * len(each))
    assert rest.depth.max() > 0.35 * ends.crest.max()


def _fallen_on_a_table(drop_mm: float) -> tuple[Ledges, np.ndarray, float]:
    """What comes to a table so far below an edge that holds 1 mm and bears 9, mm; and what is lost."""
    on = ledges(shapely.union_all([shapely.box(-5, 2, 125, 20), shapely.box(40, 20 + drop_mm - 1, 60, 20 + drop_mm)]))
    above = on.base > 20 + drop_mm - 0.5
    settings = snowload.Settings(fallen_mm=3.5)
    ends = ends_of(on, settings, stream(1, "ends"))
    ends = replace(ends, crest=np.where(above, 1.0, np.inf))
    depth = np.where(above & (ends.away.min(axis=0) < 1), 9.0, 0.0)
    after, lost = _over_edges(on, depth, settings, ends)
    assert after.sum() + lost == pytest.approx(depth.sum())
    return on, np.where(above, 0, after), lost / depth.sum()


def test_what_falls_from_high_scatters_and_partly_falls_elsewhere_and_from_low_down_lands_in_a_heap() -> None:
    _, low, lost_low = _fallen_on_a_table(5.0)
    _, high, lost_high = _fallen_on_a_table(17.0)
    assert (lost_low, lost_high) == pytest.approx((0, 0.5), abs=0.02)
    assert high.sum() == pytest.approx(low.sum() / 2, rel=0.05)  # scattered by 6 mm, as far as half flies past
    assert high.max() < 0.2 * low.max()
    assert _fallen_on_a_table(7.0)[1].max() < low.max()
