"""Lying snow on posts, firs, hills and in a gale: small scenes, each measured where a carver would look."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Place
from carvegen.motifs.snowload import growing, scene, settling
from carvegen.motifs.snowload.growing import _reads
from carvegen.motifs.snowload.scene import Grid, columns_of, without_marks
from carvegen.motifs.snowload.snow_shapes import cornice_tips, outlined, specks
from tests.cases import disc, limits, shapes
from tests.lying_sheet import LIMITS as SHEET_LIMITS
from tests.motifs.test_snowload import around
from tests.robustness.lying import drawn
from tests.strategies import few, takes_long

FACE = shapely.box(0, 0, 70, 60)
LIMITS = limits(0.5, 0.4)


def white(
    on: shapely.Geometry, preset: str = "fresh", seed: int = 1, *, area=None, by=LIMITS, **changed
) -> shapely.Geometry:
    """Snow on something, where no other area is said on the face round it: growing costs by the area."""
    area = around(shapes(*geometry.parts(on)), FACE) if area is None else area
    settings = snowload.Settings(**{**snowload.PRESETS[preset], **changed})
    place = Place(area=area, shapes=shapes(*geometry.parts(on)))
    return shapely.union_all(snowload.grow(settings, place, by, stream(seed, "bearers")).cuts)


def high(cuts: shapely.Geometry, x: float, surface: float) -> float:
    line = shapely.LineString([(x, surface + 0.05), (x, surface + 20)])
    return float(shapely.intersection(line, cuts).length)


@pytest.mark.parametrize("preset", ["fresh", "deep"])
def test_the_cap_of_a_post_is_a_dome(preset) -> None:
    """Highest inside, half as high or less right at its edges: no slab."""
    for seed in few(range(3), 1):
        cap = white(shapely.box(30, -5, 37, 40), preset, seed)
        depth = np.array([high(cap, x, 40) for x in np.linspace(30.3, 36.7, 17)])
        assert 4 <= depth.argmax() <= 12
        assert depth.max() > 1.5
        assert max(depth[0], depth[-1]) < 0.8 * depth.max()


def test_a_ball_among_twigs_is_no_heap() -> None:
    """As large as a heap that lies or a cap on a top; a large one is one, and so is what is not round."""
    ball, heap = (shapely.affinity.scale(disc(x, 10, 1.6), 1 / by, by) for x, by in ((10, 1.05), (20, 0.9)))
    fork = shapely.Polygon([(30, 8), (33.4, 12), (26.6, 12)])
    pieces = shapes(ball, heap, shapely.affinity.translate(ball, 30), disc(50, 10, 2.2), fork)
    tops = geometry.dots(np.array([[40.0, 8.5]]))
    assert _reads(pieces, snowload.Settings(), tops).tolist() == [False, True, True, True, True]


@takes_long  # test_recorded.py has a fence
def test_no_two_caps_on_like_pickets_are_alike() -> None:
    """Their heights spread by a fifth and more about the mean, and none is higher than two slopes that meet over it."""
    pickets = [[(x, -5), (x, 20), (x + 2, 22.5), (x + 4, 20), (x + 4, -5)] for x in range(6, 64, 6)]
    cuts = white(shapely.union_all([shapely.Polygon(xy) for xy in pickets]), "deep", patchy=0)
    caps = np.array([high(cuts, x + 2, 22.5) for x in range(6, 64, 6)])
    assert caps.std() > 0.15 * caps.mean()
    assert caps.max() < 4


@takes_long  # page/test_session.py sees the cap on the page
def test_a_post_before_boards_bears_a_cap_too() -> None:
    """Boards behind it end its outline; known as standing before them it bears what the same post bears alone."""
    post, boards = shapely.box(30, -5, 37, 30), shapely.box(5, -5, 65, 54)
    both, alone = (
        snowload.grow(
            snowload.Settings(patchy=0), Place(area=FACE, shapes=on, fronts=fronts), LIMITS, stream(1, "bearers")
        ).cuts
        for on, fronts in ((shapes(boards), shapes(post)), (shapes(boards), shapes()))
    )
    assert high(shapely.union_all(both), 33.5, 30) > 1.5
    assert high(shapely.union_all(alone), 33.5, 30) < 0.1
    more = shapely.symmetric_difference(shapely.union_all(both), shapely.union_all(alone))
    assert shapely.difference(more, shapely.box(28, 27, 39, 38)).area < 0.01


@takes_long  # test_recorded.py notices: lying deep on twigs
@pytest.mark.parametrize("preset", few(["deep", "fresh"], 1))
def test_a_slit_bears_nothing_and_a_gap_does(preset) -> None:
    """A band of paper 1.9 mm wide round a post is no place for snow; 6 mm between two rails is."""
    for gap, bears in ((1.9, False), (6.0, True)):
        rails = shapely.union_all([shapely.box(8, 10, 62, 20), shapely.box(8, 20 + gap, 62, 23 + gap)])
        cuts = white(rails, preset, patchy=0)
        assert (shapely.intersection(cuts, shapely.box(8, 19, 62, 20 + gap)).area > 1) == bears


def fir() -> shapely.Geometry:
    tiers = [shapely.box(33, -5, 37, 50)]
    for y, half in ((8, 26), (20, 20), (31, 14)):
        tiers.append(shapely.Polygon([(35 - half, y), (35, y + 5), (35 + half, y), (35, y + 0.8 * half + 6)]))
    return shapely.union_all(tiers)


def test_a_fir_bears_snow_inside_its_crown_or_not_if_that_is_refused() -> None:
    """What lies deeper in the crown than 2 mm: the boughs that are guessed."""
    inside = fir().buffer(-2.0)
    guessed, refused = (
        np.mean(
            [shapely.intersection(white(fir(), "deep", seed, boughs=share), inside).area for seed in few(range(3), 1)]
        )
        for share in (1.0, 0.0)
    )
    assert guessed > refused + 6


@takes_long  # one more shape, as the others here
def test_a_tier_of_a_fir_bears_snow_on_its_front_though_another_hangs_over_it() -> None:
    """The lower tier's upper side, left, beneath the upper one: as good as bare where boughs are refused."""
    lower, upper = (
        shapely.Polygon([(35 - half, y), (35, y + 5), (35 + half, y), (35, y + 0.8 * half + 6)])
        for y, half in ((6, 26), (15, 29))
    )
    on = shapely.union_all([shapely.box(33, -5, 37, 50), lower, upper])
    under = shapely.difference(shapely.box(12, 6, 20, 22), on)
    guessed, refused = (
        np.mean([shapely.intersection(white(on, "deep", seed, boughs=share), under).area for seed in few(range(2), 1)])
        for share in (1.0, 0.0)
    )
    assert refused < 1
    assert guessed > 4


@pytest.mark.parametrize(
    ("wide", "tall", "at", "filled"), [(1.1, 3.2, 0.0, False), (1.8, 1.8, 0.0, True), (1.1, 3.2, 2.7, True)]
)
def test_a_slot_between_hanging_twigs_is_filled_only_if_that_makes_no_pillar(wide, tall, at, filled) -> None:
    """A little snow at the foot or the head of a gap in a broad bar; what is left of the gap is less than 4 mm²."""
    gap = shapely.box(10, 10, 10 + wide, 10 + tall)
    bar, foot = shapely.difference(shapely.box(2, 2, 20, 20), gap), shapely.box(10, 10 + at, 10 + wide, 10.5 + at)
    elsewhere = shapely.union(shapely.box(3, 18, 4, 19), shapely.box(3, 3, 4, 4))
    closes, opens = specks(shapes(foot, *elsewhere.geoms), bar)
    assert (len(closes), len(opens)) == ((1, 0) if filled else (0, 1))
    page = Grid.of((0, 0, 22, 22))
    solid, cover = (columns_of(shapes(each), page).raster for each in (bar, foot))
    drawn = shapely.union_all(outlined(cover.astype(float), solid, page, least_mm2=0.1))
    assert (shapely.intersection(drawn, gap).area > 0.8 * gap.area) == filled


def on_birch(number: int, width: int, preset: str, seed: int) -> tuple[shapely.Geometry, shapely.Geometry]:
    page = shapely.box(0, 0, width, width)
    birch = shapely.intersection(shapely.union_all(drawn("birch", width, np.random.default_rng(number))), page)
    place = Place(area=page, shapes=geometry.parts(birch))
    settings = snowload.Settings(**snowload.PRESETS[preset])
    return birch, shapely.union_all(snowload.grow(settings, place, SHEET_LIMITS, stream(seed, "sheet")).cuts)


@takes_long  # one more shape, as the others here
def test_no_band_of_sky_lies_between_snow_and_a_limb_hardly_broader_than_a_twig() -> None:
    birch, cuts = on_birch(5, 90, "wet", 3)
    full, limb = shapely.union(birch, cuts), shapely.box(56, 60, 59.5, 63.5)
    band = shapely.difference(full.buffer(0.2).buffer(-0.2), full)
    assert shapely.intersection(cuts, limb).area > 1
    assert shapely.intersection(band, limb).area < 0.15


@takes_long  # one more shape, as the others here
def test_a_gap_between_twigs_that_snow_shuts_at_its_foot_is_no_white_pillar() -> None:
    _, cuts = on_birch(101, 60, "deep", 1)
    assert shapely.intersection(cuts, shapely.box(34.4, 43, 35.9, 45.4)).area > 1
    assert shapely.intersection(cuts, shapely.box(34.4, 45.4, 35.9, 48.4)).area < 0.5


@takes_long  # a measure of many limbs
@pytest.mark.parametrize("preset", few(["deep", "fresh"], 1))
def test_bark_shows_on_a_broad_limb_and_no_slit_of_white_opens_below_it(preset) -> None:
    """A winding limb 8 mm thick: the more bark, the less white on it; none in slits that part claws from it."""
    limb = shapely.LineString([(x, 18 + np.sin(0.5 * x)) for x in range(-5, 76)]).buffer(4)
    on_limb = dict[float, float]()
    for bark in (0.0, 1.0):
        cuts = [white(limb, preset, seed, by=LIMITS, bark=bark, patchy=0) for seed in (1, 2, 3)]
        assert not any(len(geometry.holes(geometry.parts(it))) for it in cuts)
        on_limb[bark] = sum(shapely.intersection(it, limb).area for it in cuts)
        slits = [shapely.intersection(it.difference(it.buffer(-0.6).buffer(0.61)), limb.buffer(-1)) for it in cuts]
        assert max(it.area for it in slits) < 0.5
    assert on_limb[1.0] < 0.98 * on_limb[0.0]


def fork() -> shapely.Geometry:
    """A limb that rises by 45 degrees and then leans, out of a trunk that goes on steeply."""
    limbs = {2.5: [(30, -5), (30, 15)], 2.0: [(30, 14), (22, 34), (16, 50)], 1.5: [(30, 14), (46, 30), (60, 33)]}
    return shapely.union_all([shapely.LineString(limb).buffer(half) for half, limb in limbs.items()])


@pytest.mark.parametrize("preset", few(["fresh", "wet", "deep"], 1))
def test_a_fork_holds_a_fillet_and_no_sheet_from_limb_to_limb(preset) -> None:
    """Six millimetres over its foot, where the limbs are 9 mm apart, the white takes up less than half of the air."""
    cuts, level = white(fork(), preset, 1, patchy=0), shapely.LineString([(27, 23), (42, 23)])
    air = shapely.difference(level, fork())
    assert shapely.intersection(cuts, air).length < 0.5 * air.length
    assert cuts.distance(shapely.Point(30.6, 17)) < 1


def test_snow_in_a_fork_of_a_steep_and_a_leaning_limb_has_no_wall() -> None:
    """From what the steep limb holds the snow rises by less than 1.7 times the run: a wall looks like a fault."""
    cuts = white(fork(), "deep", 1, patchy=0)
    top = [shapely.intersection(cuts, shapely.LineString([(x, 0), (x, 60)])).bounds for x in np.arange(30, 43, 0.3)]
    steps = np.diff([bounds[3] for bounds in top])
    assert len(steps) > 30
    assert np.abs(steps).max() < 1.7 * 0.3


@takes_long  # its tips: below; test_recorded.py has windblown roofs
def test_a_cornice_hangs_over_the_lee_edge_layer_by_layer() -> None:
    """The wind from the left: white beyond the roof's right edge with air below it, none beyond its left."""
    roof = shapely.box(12, -5, 56, 25)
    lee, windward, under = shapely.box(56.1, 25, 64, 40), shapely.box(4, 25, 11.9, 40), shapely.box(56.1, 20, 64, 24.5)
    cuts = [white(roof, "windblown", seed, wind=1.0, wind_towards_deg=0, patchy=0) for seed in few(range(4), 2)]
    assert sum(shapely.intersection(it, lee).area for it in cuts) > 2
    assert sum(shapely.intersection(it, windward).area for it in cuts) < 0.5
    assert sum(shapely.intersection(it, under).area for it in cuts) < 0.5


def test_each_layer_of_a_cornice_hangs_out_as_far_as_the_one_below_or_further() -> None:
    top, kind = np.array([0.5, 2.0, 5.0]), np.array([0.1, 0.5, 0.95])
    tips = cornice_tips(top, kind, 1.0, np.array([9.0, 9.0, 3.0]))
    assert (np.diff(tips, axis=0) >= 0).all()
    assert (tips[-1] <= np.minimum(1.1 * top, [9.0, 9.0, 3.0])).all()
    assert (cornice_tips(top, kind, 0.3, top)[-1] < tips[-1]).all()


@takes_long  # one more shape, as the others here
def test_far_hills_bear_a_body_and_no_twig_caps() -> None:
    """A steep hill with free ends and a sapling on it, near and far: the sapling bare, the hill white on its sides."""
    hill = shapely.Polygon([(8, -5), (20, 24), (35, 30), (50, 24), (62, -5)])
    sapling = shapely.union_all([shapely.box(34.2, 28, 35.8, 50), shapely.box(26, 42, 44, 43.2)])
    near, far = (white(shapely.union(hill, sapling), "fresh", 2, scale=scale) for scale in ("near", "far"))
    crown = shapely.box(25, 40, 45, 60)
    assert shapely.intersection(near, crown).area > 5
    assert shapely.intersection(far, crown).area == 0
    assert shapely.intersection(far, hill).area > 1.3 * shapely.intersection(near, hill).area
    assert shapely.difference(far, hill).area < shapely.difference(near, hill).area


@pytest.mark.parametrize(("gaps", "lies"), [("open", True), ("marks", False)])
def test_holes_are_air_or_marks_as_she_says(gaps, lies) -> None:
    window = shapely.box(28, 20, 42, 34)
    wall = shapely.difference(shapely.box(10, -5, 60, 45), window)
    assert (shapely.intersection(white(wall, "fresh", gaps=gaps, patchy=0), window).area > 1) == lies


#: A wall, and two pickets of 4 mm between rails with air round them.
WALL, PICKETS = shapely.box(10, -5, 60, 60), shapely.box(30.2, 4, 39.8, 46).union(shapely.box(10, 5, 60, 12))


@pytest.mark.parametrize(
    ("thing", "wide", "tall", "lean", "left"),
    [(PICKETS, 1.6, 20, 0, 1), (WALL, 1.6, 20, 0, 0), (PICKETS, 1.6, 20, 12, 0), (WALL, 20, 1.6, 0, 0),
     (WALL, 6, 8, 0, 0), (WALL, 4, 34, 0, 0), (PICKETS, 1.6, 8, 0, 0), (shapely.box(28.2, 5, 41.8, 46), 1.6, 20, 0, 0)],
    ids=["between pickets", "slit of a wall", "leaning crack", "seam", "window", "tall pane", "knot", "slit of a post"],
)  # fmt: skip
def test_a_slot_between_near_pickets_is_air_and_what_a_wall_has_round_it_a_mark(thing, wide, tall, lean, left) -> None:
    """By what the picture means (common practice, no source): all have wall all round them by the rule of breadths."""
    hole = affinity.rotate(shapely.box(35 - wide / 2, 25 - tall / 2, 35 + wide / 2, 25 + tall / 2), lean)
    drawn_, _ = without_marks(shapes(shapely.difference(thing, hole)), "guess")
    assert len(geometry.holes(drawn_)) == left


@takes_long  # one more shape, as the others here
@pytest.mark.parametrize("preset", few(["fresh", "deep"], 1))
def test_the_line_of_snow_between_two_posts_is_no_shelf(preset) -> None:
    """It departs from the straight line that fits it best by a twentieth of its depth or so, on average."""
    rail = shapely.union_all([shapely.box(-5, 20, 75, 24), shapely.box(18, -5, 21, 50), shapely.box(49, -5, 52, 50)])
    x, bent = np.arange(22.5, 47.6, 0.5), []
    for seed in few(range(6), 3):
        cuts = white(rail, preset, seed, patchy=0)
        depth = np.array([high(cuts, at, 24) for at in x])
        straight = np.polyval(np.polyfit(x, depth, 1), x)
        bent.append(np.abs(depth - straight).mean() / depth.mean())
    assert 0.04 < np.median(bent) < 0.15


@takes_long  # prints/test_holes.py says it of a print
def test_one_hole_is_air_and_another_beside_it_a_mark() -> None:
    """Said of areas: one that covers its hole, and a dab in the middle of it; the third is as the motif says."""
    windows = [shapely.box(x, 20, x + 12, 34) for x in (12, 29, 46)]
    wall = shapely.difference(shapely.box(8, -5, 62, 45), shapely.union_all(windows))
    settings = snowload.Settings(gaps="marks", patchy=0, fallen_mm=9.0)
    for said in ((), ((shapely.box(10, 18, 26, 36), "open"), (shapely.box(34, 26, 36, 28), "open"))):
        place = Place(area=FACE, shapes=shapes(wall), holes=said)
        cuts = snowload.grow(settings, place, LIMITS, stream(1, "holes")).cuts
        lies = [float(shapely.area(shapely.intersection(cuts, window)).sum()) > 0.3 for window in windows]
        assert lies == ([True, True, False] if said else [False, False, False])


def test_a_hole_may_be_guessed_where_all_others_are_air() -> None:
    window = shapely.box(28, 20, 42, 34)
    wall = shapely.difference(shapely.box(10, -5, 60, 45), window)
    place = Place(area=FACE, shapes=shapes(wall), holes=((window, "guess"),))
    cuts = snowload.grow(snowload.Settings(gaps="open", patchy=0), place, LIMITS, stream(1, "holes")).cuts
    assert shapely.area(shapely.intersection(cuts, window)).sum() < 0.1, "with wall all round it is a mark"


def test_ground_runs_on_past_the_page_whatever_its_width() -> None:
    """Also where the width is no multiple of the grid's step: no end tapers at the page's edge."""
    area = shapely.box(0, 0, 70.07, 60)
    cuts = white(shapely.box(-5, -5, 80, 20), patchy=0, lumpy=0, area=area)
    middle = high(cuts, 35, 20)
    assert [high(cuts, x, 20) for x in (1.2, 68.9)] == pytest.approx([middle, middle], rel=0.1)


def test_a_branch_kept_bare_ends_its_neighbours_naturally() -> None:
    """Snow that is wanted nowhere on the middle of a rail runs out towards it, and does not end in a cliff."""
    settings = snowload.Settings(patchy=0)
    place = Place(area=FACE, shapes=shapes(shapely.box(-5, 20, 75, 24)), density=lambda xy: abs(xy[:, 0] - 35) > 8)
    for seed in few(range(3), 1):
        cuts = shapely.union_all(snowload.grow(settings, place, LIMITS, stream(seed, "bare")).cuts)
        depth = np.array([high(cuts, x, 24) for x in np.arange(20, 50, 0.25)])
        assert depth[(np.arange(20, 50, 0.25) > 32) & (np.arange(20, 50, 0.25) < 38)].max() < 0.3
        assert np.abs(np.diff(depth)).max() < 1.2


def test_what_is_kept_clear_stays_a_bearer_that_is_bare() -> None:
    """A box round a post's upper half: no cap on the box's lower edge; and round a rail's middle: no cliff at it."""
    post = shapely.box(30, -5, 37, 40)
    cuts = white(post, "deep", area=shapely.difference(FACE, shapely.box(25, 25, 42, 60)))
    assert shapely.intersection(cuts, shapely.box(25, 10, 42, 30)).area == 0
    rail, kept = shapely.box(-5, 20, 75, 24), shapely.box(27, 15, 43, 50)
    for seed in few(range(3), 1):
        cuts = white(rail, "fresh", seed, patchy=0, area=shapely.difference(FACE, kept))
        assert max(high(cuts, x, 24) for x in (26.8, 43.2)) < 1.0
        assert min(high(cuts, x, 24) for x in (18, 52)) > 2.0


def test_a_hole_between_twigs_shows_sky_and_a_wide_one_snow() -> None:
    """Two rungs of a ladder 2 mm apart and two 14 mm apart, between stiles 4 mm apart: 8 mm² and 56 mm²."""
    rails = [shapely.box(10, -5, 13, 60), shapely.box(17, -5, 20, 60)]
    rungs = [shapely.box(10, y, 20, y + 2) for y in (10, 14, 30, 46)]
    cuts = white(shapely.union_all([*rails, *rungs]), "deep", 2, patchy=0)
    small, large = (shapely.box(13, low, 17, high) for low, high in ((12, 14), (16, 30)))
    assert shapely.intersection(cuts, small).area < 0.2
    assert shapely.intersection(cuts, large).area > 2


def test_a_short_line_along_a_twig_is_cut_and_a_dot_as_large_is_not() -> None:
    """An area of 2.5 mm²: drawn out level, it is snow on a twig; drawn out upright or round it is dirt."""
    by = 0.45
    line, upright, dot = (
        shapely.affinity.scale(disc(x, 10, 0.9), 1 / k, k) for x, k in ((10, by), (20, 1 / by), (30, 1))
    )
    pieces = shapes(line, upright, dot)
    assert _reads(pieces, snowload.Settings(), geometry.empty()).tolist() == [True, False, False]


@takes_long  # one more shape, as the others here
@pytest.mark.parametrize("preset", few(["fresh", "dusting", "wet"], 1))
def test_nothing_reads_as_dirt(preset) -> None:
    """On boughs and hanging twigs no piece is small and short but lines that lie; caps on uprights are no dirt."""
    twigs = [limb_of((x, 30 + x / 5), (x + 1, 30 - x / 4)) for x in range(8, 60, 3)]
    boughs = [limb_of((5, 30), (62, 43), thick=1.6), limb_of((5, 14), (62, 18), thick=1.2)]
    for seed in few(range(4), 2):
        for piece in shapely.get_parts(white(shapely.union_all([*boughs, *twigs]), preset, seed)):
            left, low, right, top = piece.bounds
            assert piece.area > 4 or piece.length > (6 if top - low < right - left else 11)


def test_heads_of_crags_are_white_and_their_notches_dark() -> None:
    """Four teeth 14 mm tall: white round each point, none of it in the notches."""
    teeth = [(-9, -9), *((x, 30 + 14 * (k % 2)) for k, x in enumerate(range(-9, 90, 9))), (81, -9)]
    cuts = white(shapely.Polygon(teeth), "fresh", 2)
    heads, notches = ([x for k, x in enumerate(range(-9, 90, 9)) if k % 2 == odd and 5 < x < 65] for odd in (1, 0))
    assert all(shapely.intersection(cuts, shapely.Point(x, 43).buffer(1)).area > 1 for x in heads)
    assert all(shapely.intersection(cuts, shapely.Point(x, 30).buffer(2)).area < 0.1 for x in notches)


def test_rock_shows_in_streaks_below_the_white_of_a_peak() -> None:
    """How far the white reaches down a peak goes up and down by a fifth of itself and more, at least four times."""
    peak = shapely.Polygon([(-9, -9), (-9, 8), (20, 14), (35, 34), (50, 14), (79, 8), (79, -9)])
    for seed in few(range(1, 4), 1):
        white_rock = shapely.intersection(white(peak, "fresh", seed, patchy=0), peak)
        x = np.arange(26, 44.1, 0.25)
        columns = shapely.linestrings(np.stack([np.column_stack([x, 0 * x + end]) for end in (0, 60)], axis=1))
        reach = shapely.length(shapely.intersection(columns, white_rock))
        off = reach - np.convolve(np.pad(reach, 8, mode="edge"), np.ones(17) / 17, mode="valid")
        assert np.abs(off).mean() > 0.2 * reach.mean()
        assert np.count_nonzero(np.diff(np.sign(off))) >= 8


def test_the_more_a_peak_is_a_crag_the_less_it_is_a_field(monkeypatch) -> None:
    """What is all crag is no field, down which the white would reach; what is half of one is half a field at most."""
    kept = []

    def enough(ledges, _depth, _settings, _ends, field, **_):
        kept.append((field, settling.crags(ledges)))
        raise TimeoutError  # the rest of the drawing costs more

    monkeypatch.setattr(growing, "reaching", enough)
    with pytest.raises(TimeoutError):
        white(shapely.Polygon([(-9, -9), (-9, 8), (20, 14), (35, 34), (50, 14), (79, 8), (79, -9)]), patchy=0)
    ((field, crag),) = kept
    assert (crag > 0.5).any()
    assert field.max() > 0
    assert (field <= 1 - crag + 1e-9).all()


def test_the_head_of_every_low_peak_is_white() -> None:
    """Six teeth 8 mm tall: their white is too small to be cut elsewhere, but it is the white of a peak."""
    teeth = [(x, 24 + 8 * (k % 2)) for k, x in enumerate(range(-5, 76, 5))]
    hill = shapely.Polygon([(-5, -5), *teeth, (75, -5)])
    for seed in few((1, 2), 1):
        cuts = white(hill, "dusting", seed)
        assert min(high(cuts, x, 29) for x, top in teeth if top == 32 and 3 < x < 67) > 1


def test_heads_between_posts_are_white_too() -> None:
    """A crag whose three points stand between two posts, as high above what is round about as crags without posts."""
    points = [(-9, -9), (-9, 12), (20, 37), (24, 36), (28, 42), (32, 36), (36, 42), (40, 36), (79, 12), (79, -9)]
    posts = [shapely.box(x, -5, x + 2, 60) for x in (20, 38)]
    cuts = white(shapely.union_all([shapely.Polygon(points), *posts]), "fresh", 2)
    assert all(shapely.intersection(cuts, shapely.Point(x, 41).buffer(1)).area > 1 for x in (28, 36))


@takes_long  # one more shape, as the others here
def test_a_steep_side_keeps_no_wedge_and_a_level_one_its_snow() -> None:
    sail = shapely.Polygon([(15, 15), (15, 55), (40, 15)])
    cuts = white(sail, "deep", 3, patchy=0)
    across = shapely.intersection(cuts, shapely.LineString([(27, 35.8), (37, 42.05)]))
    assert across.length < 1.0
    assert high(white(shapely.box(15, 15, 40, 55), "deep", 3, patchy=0), 27, 55) > 3


def limb_of(*points: tuple[float, float], thick: float = 0.8) -> shapely.Geometry:
    return shapely.LineString(points).buffer(thick / 2)


@takes_long  # test_recorded.py has a hill
@pytest.mark.parametrize("seed", few([1, 2], 1))
def test_no_bark_shows_on_a_hill_whose_foot_water_hides(seed) -> None:
    """Slivers there look like hooks in the snow line: every upright meets the white once."""
    x = np.linspace(0, 100, 51)
    ridge = shapely.Polygon([(0, 10), (100, 10), *zip(x[::-1], 45 + 5 * np.sin(x[::-1] / 25), strict=True)])
    snow = white(ridge, seed=seed, area=shapely.box(0, 0, 100, 70))
    uprights = geometry.lines(*(np.column_stack([np.arange(1, 99.5, 0.5), np.full(197, y)]) for y in (0.0, 70.0)))
    assert shapely.get_num_geometries(shapely.intersection(uprights, snow)).max() == 1


@takes_long  # a bank below a deck and below a hill: below
@pytest.mark.parametrize("preset", few(["fresh", "deep"], 1))
def test_a_near_bank_below_a_hill_in_the_same_layer_bears_snow_and_one_under_a_deck_does_not(preset) -> None:
    """Water between the two is no air under a roof; a deck as broad keeps the bank below it bare."""
    x = np.linspace(0, 100, 51)
    bank = shapely.Polygon([(0, 0), (70, 0), (55, 18), (0, 20)])
    hill = shapely.Polygon([(0, 50), (100, 51), *zip(x[::-1], 66 + 5 * np.sin(x[::-1] / 9), strict=True)])
    alone, behind, under = (
        white(shapely.union(bank, over), preset, area=shapely.box(0, 0, 100, 90), patchy=0)
        for over in (shapely.Polygon(), hill, shapely.box(0, 50, 100, 60))
    )
    lower = shapely.box(0, 0, 100, 40)
    for snow, share in ((behind, 1.0), (under, 0.0)):
        lies = shapely.intersection(shapely.union_all(snow), lower).area
        assert lies == pytest.approx(share * shapely.area(alone).sum(), abs=0.02 * shapely.area(alone).sum())


@takes_long  # test_recorded.py has a streak and a plank before a shore
def test_streaks_of_water_before_a_hill_stay_bare_and_it_is_said_while_things_bear_snow() -> None:
    """Without the hill, or in front of all else, a streak may be anything; an oar and a plank never are water."""
    hill = shapely.Polygon([(0, 50), (100, 51), (100, 66), (75, 80), (40, 62), (20, 75), (0, 64)])
    streak, plank = shapely.box(20, 30, 50, 31), shapely.box(20, 15, 50, 17)
    oar = shapely.union(shapely.box(60, 20, 90, 21), shapely.box(80, 19.4, 90, 21.6))
    cases = [(hill, (streak,), True), (shapely.Polygon(), (), False), (hill, (), True)]
    for over, fronts, bare in few(cases, 1):
        on = shapes(*geometry.parts(shapely.union_all([over, streak, plank, oar])))
        place = Place(area=shapely.box(0, 0, 100, 90), shapes=on, fronts=shapes(*fronts))
        growth = snowload.grow(snowload.Settings(patchy=0), place, LIMITS, stream(1, "t"))
        lies = [
            shapely.intersection(thing.buffer(2), shapely.union_all(growth.cuts)).area for thing in (streak, plank, oar)
        ]
        assert (lies[0] == 0) == bare
        assert min(lies[1:]) > 5
        assert ("a thin streak below the far shore, at x 35, y 30 mm, counts as water" in growth.remark) == bare
        assert ("in a layer of their own" in growth.remark) == bare
        assert ("what ends at y 51 mm from side to side is taken for a hill far behind" in growth.remark) == bare


@takes_long  # test_recorded.py has a shore drawn further back
def test_a_hill_that_a_layer_further_back_draws_ends_at_its_shore_for_what_stands_before_it() -> None:
    """What draws its shore is no roof then, over a post; a streak below it is water; a sky of all the page is no hill.

    A thick board further down is a roof all the same.
    """
    page = shapely.box(0, 0, 100, 90)
    hill = shapely.Polygon([(0, 50), (100, 51), (100, 66), (75, 80), (40, 62), (20, 75), (0, 64)])
    post, streak = shapely.box(18, 5, 21, 41), shapely.box(35, 20, 65, 21)
    for y, thick, behind, bears in ((50, 1, [page], (0, 1)), (50, 1, [page, hill], (1, 0)), (45, 2, [hill], (0, 0))):
        lines = [shapely.box(0, y, 40, y + thick), shapely.box(64, y, 100, y + thick)]
        on = shapes(post, streak, *lines)
        place = Place(area=page, shapes=on, further_back=shapes(*behind))
        snow = shapely.union_all(snowload.grow(snowload.Settings(patchy=0), place, LIMITS, stream(1, "t")).cuts)
        lies = [snow.intersection(shapely.box(*thing.buffer(3).bounds)).area > 1 for thing in (post, streak)]
        assert lies == [bool(each) for each in bears]


@takes_long  # test_recorded.py notices: lying deep on twigs
@pytest.mark.parametrize("leans", few([1, -1], 1))
def test_snow_on_a_slanting_rail_leans_against_a_posts_uphill_side_and_runs_out_below_the_next(leans) -> None:
    """A rail 18 mm long at 24 degrees between posts: twice as deep at the lower one's foot, the mean of seeds."""
    rail = shapely.LineString([(20, 20), (40, 29)]).buffer(0.7)
    on = shapely.union_all([rail, shapely.box(19, 8, 21, 34), shapely.box(39, 8, 41, 43)])
    deep = []
    for seed in few(range(4), 2):
        lying = white(shapely.affinity.scale(on, leans, 1, origin=(30, 0)), seed=seed, patchy=0)
        lying = shapely.affinity.scale(shapely.union_all(lying), leans, 1, origin=(30, 0))
        deep.append([lying.intersection(shapely.box(x, 0.45 * x + 11, x + 1.5, 33)).area for x in (21, 37.5)])
    lower, upper = np.mean(deep, axis=0)
    assert lower > 2 * upper


ACROSS = 135.0  #: mm from side to side


def _along(*heights: float, low: float = 60.0) -> shapely.Polygon:
    """What ends 60 mm up the page from side to side, so many mm high at equal distances."""
    x = np.linspace(0, ACROSS, len(heights))
    return shapely.Polygon([(0, low), (ACROSS, low), *zip(x[::-1], low + np.array(heights)[::-1], strict=True)])


_PARAPETS = shapely.union_all([_along(4, 4), *(shapely.box(x, 64, x + 6, 74) for x in range(4, 135, 14))])
_TRUSS = [_along(4, 4), *(shapely.Polygon([(x, 64), (x + 40, 64), (x + 20, 84)]) for x in range(0, 135, 50))]
_BOUGH = [
    _along(3, 3),
    *(shapely.Polygon([(x, 63), (x + 10, 63), (x + 5, 66 + x % 30 * 0.7)]) for x in range(0, 135, 10)),
]
_PORCH = [_along(40, 40, low=70), shapely.box(30, 18, 34, 70), shapely.box(108, 16, 112, 70)]


@cache
def _on_the_bank(over: shapely.Geometry) -> tuple[float, str]:
    """How much snow lies on a bank that runs across the page with something over it, mm², and what is said of it."""
    bank = shapely.Polygon([(0, 0), (ACROSS, 0), (ACROSS, 15), (0, 20)])
    place = Place(area=shapely.box(0, 0, ACROSS, 115), shapes=geometry.parts(shapely.union(bank, over)))
    growth = snowload.grow(snowload.Settings(patchy=0), place, LIMITS, stream(1, "t"))
    return shapely.intersection(shapely.union_all(growth.cuts), shapely.box(0, 0, ACROSS, 40)).area, growth.remark


_ROOFS = {
    "hill": (_along(20, 40, 18, 35, 12), (0.98, 1.01)),
    "deck": (_along(13, 13), (0.0, 0.0)),
    "parapets": (_PARAPETS, (0.0, 0.1)),
    "truss": (shapely.union_all(_TRUSS), (0.0, 0.1)),
    "gable": (_along(6, 40, 6), (0.0, 0.0)),
    "bough": (shapely.union_all(_BOUGH), (0.0, 0.15)),
    "gables": (_along(6, 26, 6, 26, 6, 26, 6), (0.0, 0.0)),
    "porch": (shapely.union_all(_PORCH), (0.0, 0.1)),
}


@takes_long  # test_rasters.py tells hills from roofs, test_recorded.py has what lies before one
@pytest.mark.parametrize("name", few(_ROOFS, 1))
def test_land_under_a_roof_a_bridge_or_a_bough_from_side_to_side_is_sheltered_and_below_a_hill_is_not(
    name,
) -> None:
    """And what looks like a roof or like a hill is said."""
    over, share = _ROOFS[name]
    (alone, _), (lies, said) = _on_the_bank(shapely.Polygon()), _on_the_bank(over)
    assert share[0] * alone <= lies <= share[1] * alone
    assert ("is taken for a hill far behind, so snow lies below it, too; if it is a roof" in said) == (share[0] > 0)
    assert ("stays bare" in said) == (share[0] == 0)


@takes_long  # test_recorded.py has deep snow on a hill
def test_no_tongue_of_a_hill_that_ends_at_a_shore_stays_loose_in_deep_snow() -> None:
    """Slivers of bark are for timber: a hill is none, though in its saddles it is no thicker than a limb."""
    line = [(0, 80), (14, 87), (30, 90), (46, 86), (62, 81.5), (82, 88), (100, 93.5), (120, 89), (156, 86), (200, 86)]
    hill = shapely.Polygon([(0, 72), *line, (200, 72)])
    place = Place(area=shapely.box(0, 60, 200, 115), shapes=shapes(hill))
    for seed in few(range(4), 1):
        cuts = snowload.grow(snowload.Settings(**snowload.PRESETS["deep"]), place, LIMITS, stream(seed, "hill")).cuts
        left = shapely.difference(hill, shapely.union_all(cuts))
        assert left.area > 1000
        tongues = shapely.difference(left, shapely.buffer(shapely.buffer(left, -1), 1.01))
        assert shapely.length(geometry.parts(tongues)).max(initial=0) < 6


def said_of(place: Place) -> str:
    """What is said of the snow there, without its outlines: above, what has grown says the same."""
    scene_ = growing._Scene.of(shapely.union_all(place.shapes), snowload.Settings(), place)
    assert scene_ is not None
    return scene_.remark()


_FAR_HILL = [(0, 72), (0, 80), (14, 87), (30, 90), (46, 86), (62, 81.5), (82, 88), (100, 93.5), (120, 89), (156, 86),
             (200, 86), (200, 72)]  # fmt: skip


@pytest.mark.parametrize(
    ("flat", "said"),
    few(
        [
            (shapely.box(0, 0, 200, 15), True),
            (shapely.box(0, 0, 200, 13), False),  # there is room for snow
            (shapely.box(0, 0, 150, 15), False),  # a bank that ends bears its own
            (shapely.Polygon([(0, 0), (200, 0), (200, 15), (100, 11), (0, 15)]), False),  # land
            (shapely.box(0, 6, 200, 15), False),  # a strip of water
            (shapely.Polygon(), False),
        ],
        2,
    ),
)
def test_a_flat_from_side_to_side_right_under_a_far_shore_is_told_with_what_to_do_for_a_bank(flat, said) -> None:
    hill = affinity.translate(shapely.Polygon(_FAR_HILL), 0, -55)
    remark = said_of(Place(area=shapely.box(0, 0, 200, 60), shapes=geometry.parts(shapely.union(hill, flat))))
    assert "is taken for a hill" in remark or not said
    assert ("draw the bank as a layer of its own" in remark) == said
    assert ("y 15 mm, right under the far shore" in remark) == said


@pytest.mark.parametrize(
    ("over", "said"),
    few(
        [
            (shapely.Polygon(), False),
            (shapely.box(0, 50, 100, 60), True),
            (shapely.box(0, 22, 100, 30), False),
            (shapely.box(0, 50, 12, 60), False),
            (shapely.Polygon([(0, 50), (100, 50), (100, 55), (50, 75), (0, 55)]), True),
        ],
        3,
    ),
)
def test_land_that_stays_bare_under_what_counts_as_a_roof_is_said_with_the_remedy(over, said) -> None:
    """But not right under boards, nor under a little; a gable counts as a roof."""
    bank = shapely.Polygon([(0, 0), (70, 0), (55, 18), (0, 20)])
    drawn_there = Place(area=shapely.box(0, 0, 100, 90), shapes=geometry.parts(shapely.union(bank, over)))
    remark = said_of(drawn_there)
    assert bool(remark) == said
    if said:
        assert "stays bare" in remark
        assert "a layer of its own" in remark
        assert int(remark.split()[0]) == pytest.approx(63, abs=8)


_POSTS = shapely.union_all([shapely.box(x, 0, x + 8, 18) for x in range(5, 95, 16)])


@pytest.mark.parametrize(
    ("on", "under", "said"),
    few(
        [
            (shapely.box(20, 0, 50, 18), shapely.box(0, 50, 100, 60), True),
            (shapely.box(20, 0, 36, 18), shapely.box(0, 50, 100, 60), False),  # too little of it
            (shapely.box(10, 10, 60, 30), shapely.box(0, 50, 100, 60), False),  # a raft is no land
            (_POSTS, shapely.box(0, 50, 100, 60), False),  # nor are posts
            (shapely.box(20, 0, 100, 8), shapely.box(0, 70, 85, 80), True),
            (shapely.box(48, 0, 100, 8), shapely.box(0, 70, 85, 80), False),  # it sees more of the sky
        ],
        2,
    ),
)
def test_so_much_land_in_so_little_sky_is_said_to_stay_bare(on, under, said) -> None:
    place = Place(area=shapely.box(0, 0, 100, 90), shapes=shapes(on, under))
    assert ("stays bare" in said_of(place)) == said


def test_a_bearer_whose_offset_crosses_itself_is_made_valid(monkeypatch: pytest.MonkeyPatch) -> None:
    """GEOS's buffer does so once in some hundred drawings, and its overlays refuse what crosses itself."""
    bow = np.array([shapely.Polygon([(0, 0), (4, 4), (4, 0), (0, 4)])], dtype=object)
    monkeypatch.setattr(scene.shapely, "buffer", lambda *_, **__: bow)
    pieces = scene._grown_back(bow, np.array([shapely.box(-1, -1, 3, 3)], dtype=object), 0.1)
    assert shapely.is_valid(pieces).all()
    assert shapely.area(pieces).sum() == pytest.approx(3.5 + 1.0)  # two triangles, clipped


def test_snow_depends_on_a_hill_further_back_only_by_its_shore() -> None:
    """By its height where lines draw it, by the streaks below it else; not by its crest, nor if there is none."""
    page = shapely.box(0, 0, 100, 90)
    crest = [(100, 66), (75, 80), (40, 62), (20, 75), (0, 64)]
    hill, other, lower = (
        shapely.Polygon([(0, y), (100, y + 1), *tops])
        for y, tops in ((50, crest), (50, [*crest[:-1], (0, 66)]), (46, crest))
    )
    post, streak = shapely.box(18, 5, 21, 41), shapely.box(35, 20, 65, 21)
    lines = [shapely.box(0, 50, 40, 51), shapely.box(64, 50, 100, 51)]

    def before(*hills: shapely.Polygon, on: tuple[shapely.Polygon, ...] = (post, streak, *lines)) -> shapely.Geometry:
        place = Place(area=page, shapes=shapes(*on), further_back=shapes(*hills))
        return snowload.before_shore(snowload.Settings(), place)

    assert before(hill).area == pytest.approx(100 * 50 - 30, abs=100)
    assert not before(hill).intersects(shapely.box(40, 20.2, 60, 20.8))
    assert before(hill).equals(before(other))
    assert not before(hill).equals(before(lower))
    assert before(hill, on=(post, streak)).area == pytest.approx(30, rel=0.05)
    assert [before(*hills, on=on).is_empty for hills, on in (((), lines), ((page,), lines), ((hill,), (post,)))] == [
        True
    ] * 3


@pytest.mark.parametrize(
    ("left", "right", "tall", "lean", "slot"),
    [
        (2, 2, 20, 0, True), (3.1, 3.1, 20, 0, True), (3.3, 2, 20, 0, False), (2, 3.3, 20, 0, False),
        (2, 2, 8.1, 0, True), (2, 2, 7.9, 0, False), (2, 2, 20, 0.48, True), (2, 2, 20, 0.52, False),
    ],
)  # fmt: skip
def test_a_slot_is_eight_times_as_tall_as_broad_and_its_uprights_about_thrice_as_broad(
    left, right, tall, lean, slot
) -> None:
    """One is a millimetre broad; of four breadths on either side a fifth is air; it leans by no more than a half."""
    holes = shapes(shapely.Polygon([(20, 10), (21, 10), (21 + lean, 10 + tall), (20 + lean, 10 + tall)]))
    tiles = shapes(shapely.box(20 - left, 0, 20, 40), shapely.box(21 + lean, 0, 21 + lean + right, 40))
    assert scene._between_uprights(holes, tiles).tolist() == [slot]
