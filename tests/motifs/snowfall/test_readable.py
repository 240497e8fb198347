"""What falls before dark things leaves them in one piece; masses lie behind them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.motifs import motif
from carvegen.motifs.growth import Place
from carvegen.motifs.snowfall import falling, readable
from carvegen.motifs.snowfall.land import parted
from carvegen.motifs.snowfall.readable import masses
from carvegen.motifs.snowfall.settings import PRESETS, Settings
from carvegen.motifs.snowfall.sky import Sky
from tests.cases import box, disc, limits, shapes
from tests.strategies import MANY, takes_long

LIMITS, SETTINGS = limits(0.5, 0.4), Settings()
POST, TWIG = box(10, 0, 5, 40), box(30, 0, 1, 40)
LEVEL = 65.47  #: so heavy that flakes lie in masses
BARS = shapely.union(POST, TWIG)


def uncut(some, figure, settings, limits):
    return readable.uncut(
        some, readable.Figure(seen=readable.with_lines(figure, limits), settings=settings, limits=limits)
    )


@pytest.mark.parametrize(
    ("flake", "stays", "whole"),
    [
        (disc(12.5, 20, 0.98), True, True),  # enough is left on both sides
        (disc(12.5, 20, 1.2), True, False),  # a third of the post on either side: it gets smaller
        (disc(12.5, 20, 2.0), True, False),  # too little is left: the same
        (disc(12.5, 20, 2.6), True, False),  # cuts the post through: it gets smaller
        (disc(12.5, 20, 3.0), False, False),  # it would have to get too small
        (box(5, 18, 15, 2), False, False),  # so far across that it would cut it through, however small
        (disc(10, 20, 1.98), True, True),  # over one side of it
        (disc(10, 20, 2.6), True, False),  # takes more than half of the post, though much land is left
        (disc(10, 38, 2.6), True, True),  # the same at its end
        (disc(12.5, 40, 2.0), True, True),  # over its end
        (disc(30.5, 20, 2.0), False, False),  # over a twig
        (disc(22, 20, 3.0), True, True),  # beside them
    ],
)
def test_a_flake_that_would_cut_a_bar_through_gets_smaller_or_goes(flake, stays, whole) -> None:
    left = uncut(shapes(flake), BARS, SETTINGS, LIMITS)
    assert len(left) == stays
    assert (list(left) == [flake]) == whole
    parts = len(geometry.parts(shapely.difference(POST, geometry.union(geometry.offset(left, 1.2)))))
    assert parts == 1


def test_a_thing_that_a_flake_hides_whole_makes_up_for_no_bar_that_it_cuts_through() -> None:
    wide, knob = box(5, 18, 13, 2), box(16, 18.5, 1, 1)
    assert len(uncut(shapes(wide), shapely.union(BARS, knob), SETTINGS, LIMITS)) == 0


@pytest.mark.parametrize(
    ("flake", "stays", "whole"),
    [
        (disc(10, 10, 1.5), True, True),  # in the window
        (disc(15, 10, 1.0), False, False),  # over its edge: it would open it
        (disc(16.8, 10, 1.0), True, False),  # too near to it
        (disc(24, 10, 1.5), True, True),  # on what is dark round it
        (disc(30, 10, 2.0), True, True),  # over the outer edge of that
        (disc(10, 30, 1.5), True, True),  # over a line of light, which is no window
        (disc(40, 12, 1.5), True, True),  # over the edge of a light place too large for one
    ],
)
def test_no_flake_opens_a_window_to_the_snow(flake, stays, whole) -> None:
    lamp = shapely.difference(box(0, 0, 30, 40), geometry.union(shapes(box(5, 5, 10, 10), box(3, 29.5, 14, 1))))
    yard = shapely.difference(box(35, 0, 40, 40), box(40, 5, 30, 30))
    left = uncut(shapes(flake), geometry.union(shapes(lamp, yard)), SETTINGS, LIMITS)
    assert len(left) == stays
    assert (list(left) == [flake]) == whole


@pytest.mark.parametrize(
    ("hole", "turned", "stays"),
    [
        (box(8, 8, 2, 2), 0, False),  # a pane: smaller than what counts as a line of light
        (box(8, 8, 2, 2), 30, False),
        (disc(9, 9, 1), 0, False),
        (box(8, 8, 2, 10), 0, True),  # a line of light, as between boards
        (shapely.Polygon([(8, 8), (10.2, 8), (8, 10.2)]), 0, True),  # a gap between twigs
        (box(8.9, 8.9, 0.3, 0.3), 0, True),  # less than a cut
    ],
)
def test_no_flake_lies_across_the_frame_of_a_small_pane(hole, turned, stays) -> None:
    """Bars 1.2 mm wide between two panes or gaps, and a wall so wide that the flake cuts nothing through."""
    holes = shapely.union(hole, shapely.affinity.translate(hole, 3.2, 0))
    wall = shapely.affinity.rotate(shapely.difference(box(0, -20, 30, 31.2), holes), turned, origin=(9, 9))
    flake = shapely.affinity.rotate(disc(9, 11.6, 1.5), turned, origin=(9, 9))
    assert len(uncut(shapes(flake), wall, SETTINGS, LIMITS)) == stays


@pytest.mark.parametrize(
    ("flake", "stays", "whole"),
    [
        (disc(10, 10, 1.5), False, False),  # over the post's side
        (disc(12.2, 10, 2.3), True, False),  # the same, but a smaller one lies on the post with enough beside it
        (disc(10, 30, 1.5), True, True),  # over its side, but before an ink
        (disc(12.5, 10, 0.98), True, True),  # on it
        (disc(4, 10, 1.5), True, True),  # beside it
    ],
)
def test_no_flake_bites_into_a_post_on_bare_paper(flake, stays, whole) -> None:
    paper = shapely.difference(box(0, 0, 30, 20), POST)
    figure = readable.Figure(seen=POST, settings=SETTINGS, limits=LIMITS, paper=paper)
    left = readable.uncut(shapes(flake), figure)
    assert (list(left) == [flake]) == whole
    assert len(left) == stays
    assert shapely.covers(POST, left).all() or whole


@pytest.mark.parametrize(
    ("flakes", "stay"),
    [
        # two on either side, each leaves three fifths of the post: what is left between them is a neck
        ((disc(10, 20, 2.0), disc(15, 20, 1.9)), [0]),
        ((disc(10, 20, 1.9), disc(15, 20, 2.0)), [1]),
        ((disc(10, 20, 2.0), disc(15, 22.0, 1.9)), [0, 1]),  # enough is left between them
        ((disc(10, 20, 1.2), disc(12.5, 20, 0.61), disc(15, 20, 1.2)), [0, 2]),  # three in a row
        ((disc(10, 20, 1.2), disc(15, 20, 1.2)), [0, 1]),  # two of the three
        ((disc(10, 20, 1.7), disc(10, 24, 1.6), disc(10, 16, 1.6)), [0, 1, 2]),  # all on one side
        ((disc(10, 0.5, 2.0), disc(15, 0, 2.1), disc(10, 39.5, 2.0)), [0, 1, 2]),  # at its ends
        ((disc(10, 9, 2.0), disc(15, 9, 1.9), disc(10, 20, 1.9), disc(15, 20, 2.0)), [0, 3]),
        ((disc(10, 20, 2.0), disc(15, 18, 1.6), disc(15, 22, 1.6), disc(10, 16, 0.9)), [0, 1, 2, 3]),
    ],
)
def test_flakes_that_cut_a_bar_through_together_are_one_less(flakes, stay) -> None:
    """Two and a half lands of 0.5 mm must be left somewhere: a disc as wide passes along the post (brute force)."""
    left = uncut(shapes(*flakes), POST, SETTINGS, LIMITS)
    assert list(left) == [flakes[k] for k in stay]
    room = shapely.buffer(shapely.difference(POST, geometry.union(left)), -0.62)
    assert len(geometry.parts(room)) == 1


def test_of_three_across_a_split_post_only_the_one_in_the_middle_goes() -> None:
    """Without it both limbs hold, each with a flake at one side; each of those by itself helps one limb alone."""
    split = shapely.difference(box(10, 0, 7.5, 40), box(13.5, 0, 0.5, 34))
    flakes = shapes(disc(10, 20, 1.2), disc(13.75, 20, 1.4), disc(17.5, 20, 1.2))
    assert list(uncut(flakes, split, SETTINGS, LIMITS)) == [flakes[0], flakes[2]]


def test_a_flake_more_at_an_end_of_a_long_chain_changes_nothing_far_from_it() -> None:
    """Each cuts with the next across the post, and is smaller than the one before: the order that reaches furthest."""
    settings, post, by = Settings(smallest_mm=0.6, largest_mm=3.6), box(10, 0, 4.3, 160), limits(0.6, 0.4)
    xy = np.column_stack([10 + 4.3 * (np.arange(78) % 2), 158 - 2 * np.arange(78)])
    chain = shapes(*(disc(*at, r, points=24) for at, r in zip(xy, np.linspace(1.7, 1.65, 78), strict=True)))
    one, other = ({flake.wkb for flake in uncut(some, post, settings, by)} for some in (chain, chain[1:]))
    assert 30 < len(one) < 60, "else nothing is tried here"
    changed = [shapely.from_wkb(flake).centroid.y for flake in one ^ other]
    assert 158 - min(changed, default=158) < 12 * 2 * (2.5 * by.land_mm + settings.largest_mm) < 125


def test_random_posts_hold_and_no_flake_goes_that_would_do_no_harm() -> None:
    """A brute-force twin: each post by itself, whole; what a disc of two and a half lands passes hangs together."""
    rng = np.random.default_rng(5)
    posts = [box(25 * k, 0, width, 20) for k, width in enumerate(rng.uniform(1.9, 3, 90 if MANY else 45))]
    lots = []
    for post in posts:
        lot: list[shapely.Polygon] = []
        for x, y, r in rng.uniform(0, 1, (12, 3)):
            flake = disc(post.bounds[0] + 4 * x - 0.7, 5 + 10 * y, 0.4 + 0.8 * r, points=24)
            if (shapely.distance(flake, lot) > LIMITS.land_mm).all():
                lot.append(flake)
        lots.append(lot)
    left = uncut(shapes(*(flake for lot in lots for flake in lot)), geometry.union(shapes(*posts)), SETTINGS, LIMITS)

    def holds(post: shapely.Polygon, white: shapely.Geometry, less: float) -> bool:
        room = shapely.get_parts(shapely.buffer(shapely.difference(post, white), -less))
        return int((shapely.area(room) > 0.0625).sum()) <= 1

    def harms(flake: shapely.Polygon, post: shapely.Polygon, left_mm: float) -> bool:
        inside = post.covers(flake) and flake.distance(post.exterior) < left_mm
        depth = shapely.distance(
            post.exterior, [at for at in map(shapely.Point, flake.exterior.coords) if post.intersects(at)]
        )
        takes = np.sqrt(flake.area / np.pi) if post.covers(flake) else depth.max(initial=0)
        return inside or any(not holds(post, shapely.buffer(flake, less), 0) for less in (left_mm, 1.5 * takes))

    fates = {"whole": 0, "alone": 0, "together": 0}
    for post, lot in zip(posts, lots, strict=True):
        there = left[shapely.dwithin(left, post, 5)]
        assert holds(post, geometry.union(there), 0.615)
        assert not any(harms(flake, post, 1.24) for flake in there if flake.intersects(post))
        for flake in lot:
            fate = "whole" if flake in there else "alone" if harms(flake, post, 1.26) else "together"
            assert fate != "together" or not holds(post, shapely.union_all([*there, flake]), 0.63)
            fates[fate] += 1
    assert min(fates.values()) > (15 if MANY else 4), "else nothing is tried here"


def test_masses_stay_as_they_are() -> None:
    mass = disc(12.5, 20, 0.6 * SETTINGS.largest_mm)
    assert list(uncut(shapes(mass), BARS, SETTINGS, LIMITS)) == [mass]


def test_what_happens_to_a_flake_is_its_own() -> None:
    """A brute-force twin: each alone, so far from the others that they cut nothing through together."""
    rng = np.random.default_rng(3)
    xy, r = np.stack([np.arange(60) * 12 % 24 + 6.5, np.arange(60) // 2 * 12], axis=1), rng.uniform(0.4, 4, 60)
    xy = xy + rng.uniform(-1.5, 1.5, (60, 2))
    many = shapes(*(disc(*entry, each) for entry, each in zip(xy, r, strict=True)))
    alone = [kept for flake in many for kept in uncut(shapes(flake), BARS, SETTINGS, LIMITS)]
    assert [one.wkb for one in uncut(many, BARS, SETTINGS, LIMITS)] == [item.wkb for item in alone]


@pytest.mark.parametrize(
    ("flake", "stays"),
    [
        # both cut the post through; smaller about its middle the first, a crescent, would lie out of itself
        (shapely.difference(disc(12.5, 20, 3.0), disc(12.5, 20.6, 2.7)), False),
        # and the neck of the second would get narrower than the cut
        (shapely.union_all([disc(11, 20, 1.6), disc(15.5, 20, 1.6), box(11, 19.75, 4, 0.5)]), False),
        (disc(12.5, 20, 2.6), True),
    ],
)
def test_a_smaller_flake_lies_in_itself_and_is_made_by_the_smallest_cut(flake, stays) -> None:
    left = uncut(shapes(flake), BARS, SETTINGS, LIMITS)
    assert len(left) == stays
    assert shapely.covers(flake, left).all()
    assert (shapely.get_num_geometries(geometry.offset(left, -LIMITS.cut_mm / 2)) == 1).all()


@takes_long  # flakes loosened near a bar and masses that stay: below
def test_near_bars_no_snow_lies_in_masses_and_far_from_them_all_stays() -> None:
    """Near is four times the largest flakes; six of them further off, and what links to that, nothing changes."""
    settings = Settings(**{**PRESETS["heavy"], "snow": 0.4, "largest_mm": 2.0, "level": LEVEL, "flurry_mm": 8.0})
    face, bars = box(0, 0, 48, 24), geometry.union(shapes(box(3, 0, 2, 24), box(9, 0, 2, 24)))

    def grown(place: Place):
        return shapely.normalize(motif("snowfall").grow(settings, place, LIMITS, stream(4, "bars")).cuts)

    before, after = grown(Place(area=face)), grown(Place(area=face, bars=bars))
    were, near = (cuts[masses(cuts, settings) & shapely.dwithin(cuts, bars, 8)] for cuts in (before, after))
    assert shapely.area(shapely.intersection(were, bars)).max() > 40, "else nothing is tried here"
    assert len(near) == 0
    assert masses(after, settings).any(), "in the open they lie as before"
    one, other = np.triu_indices(len(after), 1)
    assert shapely.distance(after[one], after[other]).min() >= LIMITS.land_mm
    white = shapely.area(shapely.intersection(after, box(0, 0, 17, 24))).sum() / (17 * 24)
    assert 0.212 < white < 0.3, "flakes side by side, in one turn alone 0.205; heaped they were 0.62"
    there = [{cut.wkb for cut in cuts if cut.bounds[0] > 11 + 6 * 2 + 2} for cuts in (before, after)]
    assert there[0] == there[1]
    assert len(there[0]) > 15


HEAVY = {**PRESETS["heavy"], "largest_mm": 2.0, "flurry_mm": 8.0}
FACE = box(0, 0, 48, 24)


def heavy(place: Place, **own: float):
    return motif("snowfall").grow(Settings(**{**HEAVY, **own}), place, LIMITS, stream(4, "bars"))


@takes_long  # test_recorded.py has snow beside bars
def test_as_much_is_white_as_was_asked_though_bars_keep_masses_away() -> None:
    """Sought with bars in the sky: else it was 5 hundredths less."""
    growth = heavy(Place(area=FACE, bars=geometry.union(shapes(box(3, 0, 2, 24), box(9, 0, 2, 24)))), snow=0.3)
    assert growth.remark == ""
    assert shapely.area(growth.cuts).sum() / FACE.area == pytest.approx(0.3, abs=0.01)


def test_a_mass_that_comes_near_a_bar_stays_where_it_is_far_from_it() -> None:
    """Six of the largest flakes off, of one that fills the face; it was loosened whole."""
    settings, post = Settings(**{**HEAVY, "snow": 0.6}), box(0, 0, 2, 24)
    plain, barred = (Sky(settings, LIMITS, 1, np.array(FACE.bounds), bars=bars) for bars in (shapely.Polygon(), post))
    flakes = plain.drawn(falling._met(plain, 200.0))
    before = parted(flakes, LIMITS, plain.clumps)
    after = falling._loosened(barred, flakes, before)
    assert falling._loosened(plain, flakes, before) is before, "without bars nothing is sought"
    far = box(2 + 12, 0, 34, 24)
    reaching = before[masses(before, settings) & shapely.dwithin(before, post, 8)]
    assert shapely.area(shapely.intersection(reaching, far)).sum() > 300, "else nothing is tried here"
    assert not (masses(after, settings) & shapely.dwithin(after, post, 8)).any()
    one, other = (shapely.intersection(geometry.union(cuts), far) for cuts in (before, after))
    assert shapely.area(shapely.symmetric_difference(one, other)) < 0.02 * shapely.area(one)


@takes_long  # test_recorded.py has snow beside bars
def test_loose_flakes_cut_no_bar_lie_in_the_area_and_not_where_none_are_wanted() -> None:
    bars = geometry.union(shapes(box(3, 0, 2, 24), box(9, 0, 2, 24)))
    own = {"snow": 0.4, "level": LEVEL, "torn": 1.0}
    area = shapely.difference(FACE, box(0, 18, 20, 6))
    place = Place(area=area, frame=FACE, bars=bars, density=lambda xy: (xy[:, 1] > 6).astype(float))
    cuts = heavy(place, **own).cuts
    assert (shapely.get_type_id(cuts) == shapely.GeometryType.POLYGON).all(), "torn ones are in pieces"
    assert shapely.is_valid(cuts).all()
    assert shapely.covers(area, cuts).all()
    assert (shapely.get_coordinates(shapely.point_on_surface(cuts))[:, 1] > 5.5).all()
    assert shapely.dwithin(cuts, bars, 1).sum() > 12
    left = geometry.parts(shapely.difference(bars, geometry.union(uncut(cuts, bars, Settings(**HEAVY), LIMITS))))
    assert (shapely.area(left) > 1).sum() == 2, "each bar in one piece"


@pytest.mark.parametrize(
    ("snow", "white", "said"),
    [
        (0.5, box(20, 0, 14, 24), "near bars of the drawing"),  # so much away from the post that it is the reason
        (0.5, box(0, 0, 5, 24), "leaves no room"),  # nothing there either
        (0.3, box(20, 0, 14.4, 24), ""),
    ],
)
def test_that_bars_keep_masses_away_is_told_where_it_is_the_reason(snow, white, said) -> None:
    post, settings = box(3, 0, 2, 24), Settings(snow=snow, largest_mm=2.0)
    sky, fell = Sky(settings, LIMITS, 1, np.array(FACE.bounds), bars=post), shapes(white)
    remark = falling._remark(sky, 1000.0, fell, fell, Place(area=FACE, bars=post))
    assert said in remark
    assert bool(said) == bool(remark)
    assert ("masses fall only away from bars, on 73% of the face; ask for less" in remark) == ("near" in said)
    assert "kept clear" not in remark


@pytest.mark.parametrize(("long", "stands"), [(3.4, False), (4.2, True), (9.0, True)])
def test_of_what_is_narrower_than_land_lines_longer_than_four_lands_can_stand(long: float, stands: bool) -> None:
    """Half of what runs round a line is its length and its breadth: here 0.2 mm, and a land 1 mm wide."""
    each, body = limits(1.0, 0.4), shapely.box(0, 0, 6, 6)
    twig = shapely.box(6, 3, 6 + long, 3.2)
    figure = readable.with_lines(shapely.union(body, twig), each)
    middle = shapely.LineString([(6 + long / 2, -5), (6 + long / 2, 15)])
    assert shapely.intersection(figure, middle).length == pytest.approx(1.2 if stands else 0.0, abs=0.01)
    assert shapely.area(shapely.intersection(figure, body)) > 35
