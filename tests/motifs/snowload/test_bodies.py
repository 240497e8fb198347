"""Lying snow as bodies: what bears how much, how heaps end, drifts and hollows, and where the carver may choose."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.snowload.scene import bearer
from carvegen.motifs.snowload.snowpack import repose_deg
from tests.cases import shapes
from tests.motifs.snowload.test_bearers import FACE, LIMITS, high, white
from tests.motifs.test_snowload import around
from tests.strategies import few, takes_long

#: Smooth snow in still air.
EVEN = {"patchy": 0, "lumpy": 0, "bark": 0, "bridging_mm": 0, "detail_mm": 0.1}


def grown(on: shapely.Geometry, seed: int = 1, **changed) -> Growth:
    settings = snowload.Settings(**changed)
    return snowload.grow(
        settings, Place(area=around(shapes(on), FACE), shapes=shapes(on)), LIMITS, stream(seed, "bodies")
    )


def limb(*points: tuple[float, float], thick: float) -> shapely.Geometry:
    return shapely.LineString(points).buffer(thick / 2)


@takes_long  # one more shape, as the others here
@pytest.mark.parametrize("seed", few([1, 2, 3], 1))
def test_boughs_are_guessed_in_crowns_and_never_across_limbs(seed) -> None:
    """Limbs as broad as a fir's bough that cross and leave wedges of air: nothing is guessed on them."""
    limbs = shapely.union_all([
        limb((30, -5), (28, 25), (40, 58), thick=11), limb((29, 18), (48, 30), (66, 52), thick=6),
        limb((30, 30), (50, 29), (68, 24), thick=4.5), limb((52, 58), (50, 24), thick=5),
        limb((29, 22), (8, 50), thick=5),
        limb((34, 42), (60, 40), thick=4.5), limb((12, 45), (2, 26), thick=4.2),
    ])  # fmt: skip
    guessed, refused = (white(limbs, "deep", seed, boughs=share) for share in (1.0, 0.0))
    assert shapely.symmetric_difference(guessed, refused).area < 0.1


@pytest.mark.parametrize(
    ("thick", "gap", "filled"),
    [(0.9, 1.0, True), (0.9, 1.6, False), (1.3, 1.7, True), (1.3, 1.9, False), (0.4, 0.5, True), (0.4, 0.8, False)],
)
def test_a_gap_is_bridged_by_the_breadth_of_the_thinner_of_its_sides(thick, gap, filled) -> None:
    """A twig beside a beam, bridging 1.8 mm: no gap is filled that is wider than one and a half times the twig."""
    twig, beam = shapely.box(10, 5, 10 + thick, 30), shapely.box(10 + thick + gap, 5, 30, 30)
    on = shapely.union_all(bearer(shapely.union(twig, beam), bridging_mm=1.8, detail_mm=0.2))
    assert shapely.contains(on, shapely.Point(10 + thick + gap / 2, 15)) == filled


@takes_long  # one more shape, as the others here
def test_on_near_twigs_each_bears_its_own_cap_and_no_board_lies_on_them() -> None:
    """Twigs of 0.8 mm, 1.4 mm of air between them: open sky between the caps; a block as wide bears what falls."""
    net = shapely.union_all([shapely.box(x, -5, x + 0.8, 25) for x in np.arange(15, 54, 2.2)])
    block = shapely.box(15, -5, 54, 25)
    caps, load = (white(on, "deep", 1, patchy=0) for on in (net, block))
    between, over = (np.array([high(caps, x, 25) for x in np.arange(15, 52, 2.2) + off]) for off in (1.5, 0.4))
    assert (between == 0).mean() > 0.9
    assert over.max() < 2
    assert np.mean([high(load, x, 25) for x in np.linspace(28, 42, 9)]) > 5


@pytest.mark.parametrize("preset", few(["deep", "wet", "windblown"], 1))
def test_nothing_hangs_in_a_slot_between_a_tall_picket_and_a_pointed_one(preset) -> None:
    """A slot of 1 mm with air under it down to a rail: it stays open, though it is narrow enough to be bridged."""
    tall, rail = shapely.box(20, -5, 25, 50), shapely.box(-5, 10, 75, 13)
    picket = shapely.Polygon([(26, -5), (26, 25.5), (28.2, 30), (30.4, 25.5), (30.4, -5)])
    cuts = white(shapely.union_all([tall, rail, picket]), preset, 3, patchy=0)
    assert shapely.intersection(cuts, shapely.box(25, 18, 26, 40)).area < 0.05
    assert cuts.area > 8


def test_snow_beside_a_low_stub_ends_as_a_heap_and_not_as_an_upright_side() -> None:
    """A deck with stubs of 3 mm at both ends, under deep snow: right at a stub little more lies than it is high."""
    deck, stubs = shapely.box(15, 10, 55, 18), [shapely.box(x, 10, x + 1, 21) for x in (15, 54)]
    beside = []
    for seed in few((1, 2, 3), 2):
        cuts = white(shapely.union_all([deck, *stubs]), "deep", seed, patchy=0, lumpy=0)
        beside += [high(cuts, x, 18) for x in (16.4, 53.6)]
        assert high(cuts, 35, 18) > 6.5
    assert np.mean(beside) < 3 + 1.6


@pytest.mark.parametrize("preset", few(["fresh", "deep", "wet"], 1))
def test_rock_bears_snow_on_its_slopes_and_none_in_a_notch_of_steep_sides(preset) -> None:
    """A hill that runs past the page; its slopes of 20 degrees end at a notch 6 mm wide and 14 mm deep."""
    hill = shapely.Polygon([(-9, -9), (-9, 30), (33, 45), (36, 31), (39, 45), (81, 30), (81, -9)])
    cuts = white(hill, preset, 2, patchy=0)
    assert shapely.area(shapely.intersection(cuts, shapely.box(34.5, 31, 37.5, 40))).sum() < 0.5
    assert shapely.area(shapely.intersection(cuts, shapely.box(10, 30, 25, 50))).sum() > 10


@takes_long  # test_recorded.py has domes
@pytest.mark.parametrize("seed", few([1, 2, 3, 4], 1))
def test_a_cap_on_a_pointed_picket_sits_on_its_point(seed) -> None:
    """Wet snow on pickets 4.6 mm broad: each has its cap, and there is no crumb on one flank."""
    pickets = [shapely.Polygon([(x, -5), (x, 40), (x + 2.3, 44.6), (x + 4.6, 40), (x + 4.6, -5)]) for x in (10, 30, 50)]
    cuts = shapely.get_parts(white(shapely.union_all(pickets), "wet", seed))
    assert len(cuts) == 3
    for piece in cuts:
        assert min(shapely.distance(piece, shapely.Point(x + 2.3, 44.6)) for x in (10, 30, 50)) < 0.2


@pytest.mark.parametrize("preset", few(sorted(snowload.PRESETS), 2))
def test_posts_bear_a_cap_each_however_much_has_fallen(preset) -> None:
    """Level posts 2 mm broad: what one carries depends on its breadth, not on the snow round about."""
    posts = [shapely.box(x, -5, x + 2, 40) for x in (10, 25, 40, 55)]
    cuts = white(shapely.union_all(posts), preset, 3)
    assert [high(cuts, post.centroid.x, 40) > 0.4 for post in posts] == [True] * 4


def test_twigs_stay_in_sight_in_large_heaps_and_do_not_tear_small_ones() -> None:
    """A twig of 0.5 mm that stands in the snow on a stump 5 mm broad, and one in that on a beam 50 mm broad."""
    covered = []
    for half in (2.5, 25):
        twig, bearer = limb((35, 20), (35.5, 29), thick=0.5), shapely.box(35 - half, -5, 35 + half, 20)
        cuts = white(shapely.union(twig, bearer), "fresh", 3, patchy=0, detail_kept=1.0)
        covered.append(shapely.intersection(cuts, shapely.box(34.8, 20.5, 35.5, 21.5)).area)
    assert covered[0] > 0.6
    assert covered[1] < 0.2


@takes_long  # test_recorded.py notices: lying fresh on fence
@pytest.mark.parametrize(("preset", "apart"), few([("fresh", 4), ("fresh", 5), ("deep", 4), ("wet", 5)], 1))
def test_air_that_is_shut_in_is_filled_or_keeps_sky_enough_to_cut_round(preset, apart) -> None:
    """Twigs hang from one bough past another: panes of 6 and 8.5 mm² between them."""
    twigs = [limb((x, 30), (x + 0.3, 22), thick=0.5) for x in range(20, 40, 3)]
    boughs = [limb((10, y), (60, y), thick=1.6) for y in (30, 30 - apart)]
    on = shapely.union_all([*boughs, *twigs])
    cuts = white(on, preset, 2, patchy=0)
    panes = shapely.polygons(on.interiors)
    sky = shapely.area(shapely.difference(panes, cuts))[shapely.intersects(panes, cuts)]
    assert len(sky) > 0
    assert ((sky < 0.1) | (sky > 4)).all()


def test_a_slit_between_two_walls_is_not_filled_and_a_gap_of_some_breadth_is() -> None:
    walls = [shapely.box(*sides) for sides in ((10, -5, 20, 40), (21.3, -5, 31, 40), (37, -5, 45, 40), (5, -5, 45, 10))]
    cuts = white(shapely.union_all(walls), "fresh", 1, patchy=0, bridging_mm=0)
    assert shapely.area(shapely.intersection(cuts, shapely.box(20, 9, 21.3, 30))).sum() < 0.3
    assert shapely.area(shapely.intersection(cuts, shapely.box(31, 9, 37, 30))).sum() > 2


@pytest.mark.parametrize("stands", few(["rail", "post", "bough"], 1))
def test_no_strip_of_sky_is_left_between_a_heap_and_what_bears_it(stands) -> None:
    """What rounding leaves of an outline is no twig that is kept in sight."""
    fir = shapely.Polygon([(8, 6), (60, 6), (36, 52)])
    on = {"rail": limb((5, 20), (40, 26), (66, 22), thick=3), "post": shapely.box(30, -5, 37, 40), "bough": fir}[stands]
    for seed in few([3, 4, 5], 1):
        for piece in shapely.get_parts(white(on, "wet", seed)):
            assert shapely.distance(piece, on) == 0


@takes_long  # test_recorded.py notices: lying fresh on firs
def test_a_slack_rope_bears_a_ridge_and_a_deck_lets_no_snow_down_its_pile() -> None:
    """A rope that sags 5 mm, 1.4 mm thick: no hammock filled to a flat top. Under the deck's snow runs a pile."""
    x = np.linspace(8, 38, 31)
    rope = shapely.LineString(np.column_stack([x, 30 + 5 * ((x - 23) / 15) ** 2])).buffer(0.7)
    posts, pile = [shapely.box(4, -5, 8, 45), shapely.box(38, -5, 42, 45)], shapely.box(52, -5, 57, 12)
    cuts = white(shapely.union_all([rope, *posts, pile, shapely.box(-5, 10, 75, 14)]), "fresh", 2, patchy=0)
    ridge = [high(cuts, at, 30.7) for at in (21, 23, 25)]
    assert 0.7 < np.mean(ridge) < 2 * 1.4
    assert shapely.intersection(cuts, shapely.box(50, 13, 59, 40)).area > 10
    assert shapely.intersection(cuts, shapely.box(50, 0, 59, 10.5)).area == 0


@takes_long  # one more shape, as the others here
def test_a_stump_between_twigs_that_hang_down_bears_no_block() -> None:
    """Twigs too thin to bear, a gap's breadth apart, that meet below: nothing lies in the air between them."""
    bough = limb((22, 40), (44, 40), thick=1.5)
    twigs = [limb((30, 39), (31.2, 26), thick=0.4), limb((34, 39), (32, 26), thick=0.4)]
    for preset in ("deep", "wet"):
        cuts = white(shapely.union_all([bough, *twigs]), preset, 3, patchy=0)
        assert shapely.intersection(cuts, shapely.box(28, 24, 36, 37)).area < 0.1
        assert cuts.area > 8


@takes_long  # test_recorded.py notices: lying deep on twigs
def test_a_rail_bears_snow_between_pickets_as_near_as_twigs() -> None:
    """Two millimetres and a half: corners that are rounded off have air under them, the rail has none."""
    pickets = [shapely.box(x, -5, x + 3, 45) for x in (20, 25.5, 31)]
    cuts = white(shapely.union_all([shapely.box(-5, 18, 75, 20), *pickets]), "deep", 3, patchy=0)
    assert min(high(cuts, x, 20) for x in (24.2, 29.8)) > 0.5


@takes_long  # test_recorded.py has a tangle
def test_a_tangle_of_twigs_bears_no_blob() -> None:
    """Twigs of 0.7 mm from two feet cross one another. One alone bears its snow."""
    shift = np.arange(0, 9.1, 1.5)
    twigs = [limb((25 + at, 20), (31 + at, 26), thick=0.7) for at in shift]
    twigs += [limb((31 + at, 20), (25 + at, 26), thick=0.7) for at in shift]
    tangle, one = (
        white(on, "wet", 3, patchy=0) for on in (shapely.union_all(twigs), limb((25, 20), (40, 24), thick=1))
    )
    assert shapely.intersection(tangle, shapely.box(26, 18, 39, 30)).area < 16
    assert one.area > 5


def test_the_tips_of_two_steep_twigs_bear_no_balloon() -> None:
    """They are 1 mm apart, so that wet snow spans from one to the other."""
    fork = [limb((30, 10), (30 - x, 20), thick=0.8) for x in (-0.5, 0.5)] + [limb((30, -5), (30, 10.5), thick=1)]
    assert shapely.intersection(white(shapely.union_all(fork), "wet", 3, patchy=0), shapely.box(0, 12, 75, 60)).area < 1


@takes_long  # test_recorded.py notices: lying deep on twigs
def test_snow_on_a_rail_between_near_pickets_is_no_block() -> None:
    """Gaps of 4 mm: in the middle of each less than a third as deep as broad, and at most feet of pickets deeper."""
    pickets = [shapely.box(x, -5, x + 3, 45) for x in np.arange(1, 70, 7)]
    cuts = white(shapely.union_all([shapely.box(-5, 18, 75, 21), *pickets]), "deep", 3, patchy=0)
    gaps = np.arange(11, 60, 7)
    middle, left, right = (np.array([high(cuts, x, 21) for x in gaps + off]) for off in (2, 0.4, 3.6))
    assert 0.2 < middle.max() < 4 / 3
    assert (np.maximum(left, right) > 1.3 * middle).mean() > 0.5


@pytest.mark.parametrize("preset", few(["fresh", "dusting", "deep", "windblown"], 1))
def test_steep_heads_of_pickets_bear_a_small_cap_each(preset) -> None:
    """Heads 3 mm broad whose sides rise by two for one, where dry snow slides: each has its cap, no taller."""
    pickets = [shapely.Polygon([(x, -5), (x, 40), (x + 1.5, 43), (x + 3, 40), (x + 3, -5)]) for x in (10, 30, 50)]
    cuts = white(shapely.union_all(pickets), preset, 3, patchy=0)
    caps = [high(cuts, x + 1.5, 43) for x in (10, 30, 50)]
    assert min(caps) > 0.2
    assert max(caps) < 3


@pytest.mark.parametrize("preset", ["deep", "wet"])
def test_what_lies_over_an_edge_that_snow_reaches_up_to_tapers_too(preset) -> None:
    """A picket beside a taller one, the snow of its rail at its shoulder: it is no slab with an upright side there."""
    settings = snowload.Settings(**snowload.PRESETS[preset])
    tall, rail = shapely.box(20, -5, 25, 50), shapely.box(-5, 20, 75, 23)
    picket = shapely.Polygon([(26, -5), (26, 25.5), (28.2, 30), (30.4, 25.5), (30.4, -5)])
    for seed in few([1, 2, 3], 1):
        cuts = white(shapely.union_all([tall, rail, picket]), preset, seed, patchy=0)
        beside, at_edge = (
            shapely.intersection(cuts, shapely.LineString([(x, 23), (x, 60)])).bounds for x in (31.2, 30.1)
        )
        high = np.nan_to_num(at_edge[3], nan=0.0)  # so steep a side may be bare
        assert high - beside[3] < 1.1 * np.tan(np.radians(repose_deg(settings.sticky))) + 0.9


@takes_long  # test_recorded.py has heaps on a hill and a roof
def test_no_heap_is_its_own_mirror_image() -> None:
    """On a broad flat thing the white reaches down less than it stands up, thin or deep."""
    roof = shapely.box(8, -5, 62, 30)
    for preset in few(("fresh", "dusting", "wet"), 1):
        cuts = white(roof, preset, 4)
        up, down = (
            np.array(
                [
                    shapely.intersection(cuts, shapely.LineString([(x, 30), (x, to)])).length
                    for x in np.arange(12, 58, 0.5)
                ]
            )
            for to in (50, 10)
        )
        lies = up > 0.4
        assert lies.sum() > 20
        assert (down[lies] <= 0.8 * up[lies] + 0.45).all()


@takes_long  # test_recorded.py has windblown snow
def test_behind_a_post_the_wind_leaves_a_hollow_and_then_a_drift() -> None:
    """Level ground past the page, a post, the wind from the left: deepest some way behind it, and less right at it."""
    scene = shapely.union_all([shapely.box(-5, -5, 75, 15), shapely.box(26, 10, 30, 32)])
    drifts = [white(scene, "windblown", seed, patchy=0, lumpy=0, wind_towards_deg=0) for seed in few([1, 2, 3], 1)]
    depth = [[high(cuts, x, 15) for x in (12, 30.6, 34, 37, 40)] for cuts in drifts]
    before, at, *behind = np.mean(depth, axis=0)
    assert max(behind) > 1.5 * before
    assert at < 0.8 * max(behind)


@takes_long  # a measure of many posts
def test_before_a_post_the_wind_digs_deeper_than_behind_it() -> None:
    """Level ground, the wind from the left: on average of posts with snow on either side."""
    posts = [shapely.box(x, 5, x + 2, 30) for x in (16, 34, 52)]
    scene = shapely.union_all([shapely.box(-5, -5, 75, 12), *posts])
    cuts = [white(scene, "windblown", seed, patchy=0, lumpy=0, wind_towards_deg=0) for seed in few((1, 2, 3), 2)]
    before, behind = (np.mean([high(cut, x + at, 12) for cut in cuts for x in (16, 34, 52)]) for at in (-0.6, 2.6))
    assert before < 0.28 * behind


@takes_long  # a measure of many posts
def test_ground_is_hollow_right_at_what_stands_in_it() -> None:
    """In still air, on average of many; and no two are alike."""
    posts = [shapely.box(x, 5, x + 2, 45) for x in (10, 24, 38, 52)]
    scene = shapely.union_all([shapely.box(-5, -5, 75, 12), *posts])
    at = []
    for seed in few((1, 2, 3), 2):
        cuts = white(scene, "fresh", seed, patchy=0)
        at += [high(cuts, x + side, 12) / high(cuts, x + 7, 12) for x in (10, 24, 38) for side in (-0.6, 2.6)]
    assert np.mean(at) < 0.95
    assert np.std(at) > 0.08


@takes_long  # one more shape, as the others here
def test_the_carver_may_choose_more_where_it_is_less_sure_that_snow_lies() -> None:
    """The share of the white that is fringe, along a shelf in the open and along one that a roof half shelters."""
    shelf, roof = shapely.box(10, 10, 60, 20), shapely.box(-5, 34, 35, 37)
    share = []
    for shelter in (False, True):
        cut = free = 0.0
        for seed in few(range(4), 2):
            growth = grown(shapely.union_all([shelf, roof]) if shelter else shelf, seed, **EVEN)
            half = shapely.box(12, 5, 58, 30)
            cut += float(shapely.area(shapely.intersection(growth.cuts, half)).sum())
            free += float(shapely.area(shapely.intersection(growth.free, half)).sum())
        share.append(free / cut)
    assert share[1] > 1.3 * share[0] > 0


@takes_long  # one more shape, as the others here
@pytest.mark.parametrize("preset", few(["dusting", "windblown"], 1))
def test_heaps_are_of_many_lengths_and_few_are_crumbs(preset) -> None:
    """On rails and limbs: no piece is shorter than 4 mm, and lengths differ fourfold or more."""
    rails = shapely.union_all([
        limb((-5, 8), (30, 10), (75, 9), thick=3), limb((-5, 22), (40, 24), (75, 21), thick=2.4),
        limb((10, 34), (36, 44), (60, 40), thick=3), limb((20, 50), (50, 54), thick=1.6),
    ])  # fmt: skip
    long = []
    for seed in range(4):
        pieces = shapely.get_parts(white(rails, preset, seed))
        long += (shapely.bounds(pieces)[:, 2] - shapely.bounds(pieces)[:, 0]).tolist()
    assert min(long) > 4
    assert max(long) > 4 * min(long)


@pytest.mark.parametrize("seed", few([1, 2], 1))
def test_where_a_levelled_notch_ends_on_a_slope_no_step_stands(seed) -> None:
    """Land that falls to a notch at a slope of 43 degrees and rises beyond it at 28: its surface, tenth by tenth."""
    land = shapely.Polygon([(-5, -5), (-5, 42), (14, 42), (30, 27), (75, 51), (75, -5)])
    cuts = white(land, "deep", seed, patchy=0)
    uprights = geometry.lines(*(np.column_stack([np.arange(15, 40, 0.1), np.full(250, y)]) for y in (0.0, 60.0)))
    surface = shapely.bounds(shapely.intersection(uprights, cuts))[:, 3]
    assert np.abs(np.diff(surface)).max() < 0.25
