"""What the snow load claims: it lies where snow would, tapers, and every land, cut and twig left holds."""

from __future__ import annotations

import sys
from functools import cache
from pathlib import Path
from time import process_time

import fontawesomefree
import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.artwork.place import placed
from carvegen.base.limits import Limits
from carvegen.base.parameters import parameters
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, loaded_block
from carvegen.geometry.necks import necks
from carvegen.motifs import snowload
from carvegen.motifs.growth import Growth, Place
from tests.cases import once, remembered
from tests.strategies import MANY, few, takes_long

LAND, CUT = 0.35, 0.4
LIMITS = Limits(land_along_mm=LAND, land_across_mm=LAND, cut_mm=CUT, dot_mm=0.7)
FACE = shapely.box(0, 0, 150, 150)
SLACK = 0.004
SHARES = (0.99, 0.985, 0.975, 0.96)
ICONS = Path(fontawesomefree.__file__).parent / "static/fontawesomefree/svgs/solid"
#: Smooth, still, evenly lying snow: what closed forms speak about.
PLAIN = {"patchy": 0, "lumpy": 0, "wind": 0, "bark": 0, "detail_mm": 0.1, "bridging_mm": 0, "reaching_down": 0.3}


def shapes(*values) -> geometry.PolygonArray:
    return geometry.joined(geometry.polygon_array(values))


def grow(
    on, preset: str = "fresh", seed: int = 1, *, density=None, limits: Limits = LIMITS, face=FACE, **values
) -> Growth:
    """Snow on shapes, on the face round them, 10 mm wide and twice that above: growing costs by the area."""
    settings = snowload.Settings(**{**snowload.PRESETS[preset], **values})
    place = Place(area=around(on, face), shapes=on, density=density)
    return snowload.grow(settings, place, limits, stream(seed, "snowload"))


def around(on, face: shapely.Polygon) -> shapely.Polygon:
    """In whole centimetres, so that rasters lie alike."""
    if not len(on):
        return face
    left, bottom, right, top = shapely.total_bounds(on) / 10
    low, high = np.floor([left - 1, bottom - 1]) * 10, np.ceil([right + 1, top + 2]) * 10
    return shapely.intersection(face, shapely.box(*low, *high))


def depth_over(growth: Growth, x: float, surface: float) -> float:
    """How high the snow rises over a surface at x, along a plumb line."""
    line = shapely.LineString([(x, surface), (x, surface + 40)])
    return float(shapely.length(shapely.intersection(line, shapely.union_all(growth.cuts))))


def bare_tree(seed: int = 5, forks: int = 5, *, slender: bool = True) -> geometry.PolygonArray:
    """A tree of ever thinner forks, down to twigs of half a millimetre; a stout one stays as thick with fewer forks."""
    rng, limbs = np.random.default_rng(seed), []

    def limb(foot, turn, long, thick, left) -> None:
        tip = foot + long * np.array([np.cos(turn), np.sin(turn)])
        ends = [shapely.Point(foot).buffer(thick / 2), shapely.Point(tip).buffer(thick * 0.35)]
        limbs.append(shapely.convex_hull(shapely.union_all(ends)))
        for side in (-1, 0.2, 1) if left else ():
            limb(tip, turn + 0.65 * side + rng.normal(0, 0.15), long * rng.uniform(0.6, 0.85), thick * 0.62, left - 1)

    less = 5 - forks if slender else 0
    limb(np.array([75.0, 4.0]), np.pi / 2, 34.0 * 0.72**less, 9.0 * 0.62**less, forks)
    return geometry.parts(shapely.union_all(limbs))


def spruce(seed: int = 1) -> geometry.PolygonArray:
    """Drooping boughs with thousands of needles 0.4 mm thick."""
    rng = np.random.default_rng(seed)
    made = [shapely.Polygon([(73, 3), (77, 3), (75.4, 120), (74.6, 120)])]
    for height in np.linspace(16, 112, 11):
        for side in (-1, 1):
            along = np.linspace(0, 1, 16)
            long = 0.42 * (128 - height) + 4
            x, y = 75 + side * long * along, height - 0.3 * long * along**1.2 + 0.18 * long * along**3
            thick = np.linspace(0.9, 0.2, 16)
            made.append(shapely.Polygon(np.concatenate([np.c_[x, y + thick], np.c_[x, y - thick][::-1]])).buffer(0))
            at = rng.random(int(9 * long))
            foot = np.c_[np.interp(at, along, x), np.interp(at, along, y)]
            turn = np.where(rng.random(len(at)) < 0.35, 0.9, -0.9) + rng.normal(0, 0.3, len(at))
            direction = np.c_[side * np.cos(turn), np.sin(turn)]
            across = 0.2 * np.c_[-direction[:, 1], direction[:, 0]]
            tip = foot + direction * rng.uniform(1.5, 5, len(at))[:, None]
            made += list(shapely.polygons(np.stack([foot + across, foot - across, tip], axis=1)))
    return geometry.parts(shapely.union_all(made))


def icon(name: str) -> geometry.PolygonArray:
    return placed(f"{ICONS / name}.svg at 15 8 width {90 if MANY else 48}", width_mm=150, height_mm=150)


SUBJECTS = {
    "bare tree": lambda: bare_tree(forks=5 if MANY else 3),
    "stout bare tree": lambda: bare_tree(forks=4, slender=False),
    "spruce": spruce,
} | {name: lambda name=name: icon(name) for name in ("tree", "house-chimney", "person", "mountain", "horse", "crow")}


@cache
def subject(name: str) -> geometry.PolygonArray:
    return SUBJECTS[name]()


@cache
def timed(name: str, preset: str) -> tuple[Growth, float]:
    """The snow on a subject, and in how many seconds of its process it grew."""

    def grown() -> tuple[Growth, float]:
        begun = process_time()
        return grow(subject(name), preset, seed=3), process_time() - begun

    return once(("snow on", name, preset), grown)


def snow_on(name: str, preset: str) -> Growth:
    return timed(name, preset)[0]


CASES = [("bare tree", "fresh"), *([("spruce", "fresh"), ("bare tree", "deep")] if MANY else [])]
#: A preset on each icon, in turn; all of them where there is time for many.
_TURNS = list(snowload.PRESETS) * 3
_EACH = len(snowload.PRESETS) if MANY else 1
_ICONS = few(enumerate(list(SUBJECTS)[3:]), 2)
CASES += [(name, preset) for k, name in _ICONS for preset in _TURNS[k % 5 :][:_EACH]]
each_case = pytest.mark.parametrize(("name", "preset"), CASES)


@each_case
def test_cuts_are_sound_and_land_holds(name, preset) -> None:
    cuts = snow_on(name, preset).cuts
    assert len(cuts)
    assert shapely.is_valid(cuts).all()
    assert shapely.covers(FACE, cuts).all()
    i, j, apart = geometry.close_pairs(cuts, LAND)
    assert len(i) == 0, (i, j, apart)
    ground = geometry.parts(shapely.difference(FACE, shapely.union_all(cuts)))
    assert len(necks(geometry.rings(ground), LAND - SLACK)) == 0


@each_case
def test_no_part_is_narrower_than_the_cut(name, preset) -> None:
    """A disc of the smallest cut, by shapely's own offset: fits in every shape and passes through all of it.

    GEOS 3.14 gives nothing at all for odd distances and a piece for others near them, so several are tried.
    """
    for shape in snow_on(name, preset).cuts:
        pieces = [geometry.parts(shape.buffer(-(share * CUT - SLACK) / 2, quad_segs=16)) for share in SHARES]
        counts = [int((shapely.area(piece) > 1e-3 * CUT**2).sum()) for piece in pieces]
        assert sorted(counts)[-1] == 1, shape.wkt


@each_case
def test_islands_stand_alone(name, preset) -> None:
    holes = [shapely.Polygon(ring) for shape in snow_on(name, preset).cuts for ring in shape.interiors]
    assert all(not shapely.is_empty(hole.buffer(-(LAND - SLACK) / 2 * 0.98)) for hole in holes)
    assert all(shapely.minimum_bounding_radius(hole) * 2 >= LIMITS.dot_mm for hole in holes)


@each_case
def test_what_is_left_of_the_shapes_was_no_wider_or_holds(name, preset) -> None:
    """Points well inside what was wide enough and is still there lie in a disc of the land that is still there."""
    on, growth = shapely.union_all(subject(name)), snow_on(name, preset)
    near = shapely.union_all(shapely.envelope(geometry.offset(growth.on_shapes, 1.5)))
    on = shapely.intersection(on, near)
    was_wide = on.buffer(-LAND / 2, quad_segs=8).buffer(LAND / 2, quad_segs=8)
    left = was_wide.difference(shapely.union_all(growth.cuts))
    lost = left.difference(on.difference(shapely.union_all(growth.cuts)).buffer(-LAND / 2).buffer(0.85 * LAND))
    deep_inside = geometry.parts(lost.buffer(-LAND / 6))
    assert shapely.area(deep_inside).sum() < 2e-3 * shapely.area(growth.cuts).sum()


@each_case
def test_the_three_parts_fit_together(name, preset) -> None:
    on, growth = shapely.union_all(subject(name)), snow_on(name, preset)
    cuts, lying = shapely.union_all(growth.cuts), shapely.union_all(growth.on_shapes)
    assert shapely.area(shapely.symmetric_difference(lying, shapely.intersection(cuts, on))) < 1e-3
    assert shapely.area(shapely.intersection(shapely.union_all(growth.free), cuts)) < 0.01
    assert shapely.is_valid(growth.free).all()


@pytest.mark.parametrize(("name", "preset"), CASES)
def test_the_fringe_may_all_be_cut_or_all_be_left(name, preset) -> None:
    """With none of it the tests above hold; with all of it no neck of land is too narrow, no cut, and no island."""
    growth = snow_on(name, preset)
    both = geometry.parts(shapely.union_all(np.concatenate([growth.cuts, growth.free])))
    ground = geometry.parts(shapely.difference(FACE, shapely.union_all(both)))
    assert len(necks(geometry.rings(ground), LAND - SLACK)) == 0
    assert len(necks(geometry.rings(both), CUT - SLACK)) == 0
    holes = [shapely.Polygon(ring) for shape in both for ring in shape.interiors]
    assert all(shapely.minimum_bounding_radius(hole) * 2 >= LIMITS.dot_mm for hole in holes)
    assert shapely.covers(FACE.buffer(0.001), growth.free).all()


@takes_long  # a measure of looks
def test_there_is_a_fringe() -> None:
    growth = snow_on("person", "fresh")
    assert shapely.area(growth.free).sum() > 0.005 * shapely.area(growth.cuts).sum()


#: What is thinnest for the coarsest cutter, and the others by turns.
_COARSE = [("dusting", 1.5), ("fresh", 1.0), ("deep", 0.3)]
_COARSE += [(p, c) for p in ("fresh", "dusting", "deep") for c in (0.3, 1.0, 1.5) if MANY and (p, c) not in _COARSE]


@takes_long  # a flat roof for a coarse cutter: below
@pytest.mark.parametrize(("preset", "cut"), few(_COARSE, 1))
def test_a_small_fir_bears_snow_for_a_coarse_cutter_too(preset, cut) -> None:
    """Loads that are nearly thick enough for the smallest cut are made so thick: 70 mm, land as in cherry wood."""
    fir = placed(f"{ICONS / 'tree.svg'} at 40 10 height 70", width_mm=150, height_mm=150)
    limits = Limits(land_along_mm=0.2, land_across_mm=0.4, cut_mm=cut, dot_mm=0.6)
    cuts = grow(fir, preset, round(10 * cut), limits=limits).cuts
    tiers = [shapely.box(0, low, 150, high) for low, high in ((10, 38), (38, 56), (56, 90))]
    assert sum(bool(shapely.intersects(tier, cuts).any()) for tier in tiers) >= 2


def test_a_layer_nearly_thick_enough_for_a_coarse_cutter_is_made_so_thick_and_a_much_thinner_one_is_not() -> None:
    """On a flat roof, for cuts of 1 mm: 0.6 mm of snow comes as 1 mm and more, 0.2 mm not at all."""
    coarse = Limits(land_along_mm=LAND, land_across_mm=LAND, cut_mm=1.0, dot_mm=0.7)
    values = {**PLAIN, "reaching_down": 0.0}
    lying, none = (
        grow(shapes(shapely.box(40, 30, 100, 60)), limits=coarse, fallen_mm=fallen, **values) for fallen in (0.6, 0.2)
    )
    assert 1.0 <= depth_over(lying, 70, 60) < 1.7
    assert len(none.cuts) == 0


@takes_long  # test_recorded.py has posts
def test_no_two_posts_have_like_caps() -> None:
    """Seven posts alike: the caps' heights spread, and no cap is the mirror or the copy of another."""
    posts = [shapely.box(x, 5, x + 8, 60) for x in range(10, 130, 18)]
    cuts = grow(shapes(*posts), patchy=0).cuts
    caps = [shapely.union_all([it for it in cuts if it.intersects(post)]) for post in posts]
    high = np.array([cap.bounds[3] - 60 for cap in caps])
    off = np.array([cap.centroid.x - post.centroid.x for cap, post in zip(caps, posts, strict=True)])
    assert high.min() > 0.3
    assert high.std() > 0.08 * high.mean()
    assert np.ptp(off) > 0.4


@takes_long  # one more shape, as the others here
def test_what_a_roof_sheds_lies_on_the_ledge_below() -> None:
    """Beside the eaves it lies deeper than where the same ledge sees as much sky; nothing lies on the roof."""
    roof = shapely.Polygon([(60, 60), (90, 60), (75, 110)])
    growth = grow(shapes(roof, shapely.box(10, 10, 140, 20)), sticky=0.1, **PLAIN)
    assert depth_over(growth, 59.5, 20) > 1.3 * depth_over(growth, 30, 20) > 0
    assert shapely.area(shapely.intersection(growth.cuts, shapely.box(55, 62, 95, 100))).sum() < 2


@pytest.mark.parametrize("on", [geometry.empty(), shapes(shapely.box(-5, -5, 45, 45))])
def test_no_shapes_no_snow_and_none_where_there_is_no_air(on) -> None:
    growth = grow(on, face=shapely.box(0, 0, 40, 40))
    assert len(growth.cuts) == len(growth.on_shapes) == len(growth.free) == 0


def test_a_flat_roof_bears_the_full_depth_evenly_away_from_its_ends() -> None:
    growth = grow(shapes(shapely.box(20, 10, 130, 60)), fallen_mm=4, **PLAIN)
    depth = [depth_over(growth, x, 60) for x in np.linspace(40, 110, 15)]
    assert depth == pytest.approx([4] * 15, rel=0.05)
    ends = [depth_over(growth, x, 60) for x in (21.0, 22.5, 128.5, 129.4)]
    assert max(ends) < 3.8
    assert depth_over(growth, 20.2, 60) < 2.5


@pytest.mark.parametrize(("slope", "lies"), [(40, True), (62, False), *([(20, True), (75, False)] if MANY else [])])
def test_a_slope_beyond_repose_bears_none(slope, lies) -> None:
    """Fluffy snow, 50 degrees."""
    high = 60 * np.tan(np.radians(slope)) / 2
    roof = shapely.Polygon([(40, 5), (100, 5), (100, 6), (70, min(6 + high, 140)), (40, 6)])
    growth = grow(shapes(roof), sticky=0.3, fallen_mm=2, **PLAIN)
    flank = shapely.box(42, 6.8, 65, 140)
    result = shapely.area(shapely.intersection(growth.cuts, flank)).sum()
    assert (result > 5) == lies


def test_undersides_stay_dark() -> None:
    growth = grow(shapes(shapely.box(20, 60, 120, 64)), "wet")
    below = shapely.box(0, 0, 150, 60.4)
    assert shapely.area(shapely.intersection(growth.cuts, below)).sum() == 0


@takes_long  # test_recorded.py has what is bridged
@pytest.mark.parametrize(
    ("gap", "bridged"), [(1.8, True), (2.6, False), *([(1.0, True), (5.0, False)] if MANY else [])]
)
def test_gaps_up_to_the_bridging_are_bridged(gap, bridged) -> None:
    """Two posts side by side, bridging 2 mm: whether the snow reaches from one to the other."""
    posts = shapes(shapely.box(50, 5, 62, 60), shapely.box(62 + gap, 5, 75, 60))
    growth = grow(posts, **{**PLAIN, "bridging_mm": 2.0}, fallen_mm=3)
    over = shapely.Point(62 + gap / 2, 60.6)
    assert bool(shapely.intersects(growth.cuts, over).any()) == bridged


@takes_long  # tests/laws/test_ground.py says it of every motif
def test_density_thickens_and_thins() -> None:
    roof = shapes(shapely.box(20, 10, 130, 60))
    growth = grow(roof, fallen_mm=4, density=lambda xy: (xy[:, 0] > 75) * 0.5 + 0.5, **PLAIN)
    assert depth_over(growth, 50, 60) == pytest.approx(depth_over(growth, 100, 60) / 2, rel=0.05)
    assert len(grow(roof, density=lambda xy: np.zeros(len(xy))).cuts) == 0


@takes_long  # test_recorded.py has twigs
def test_a_fork_is_deeper_than_its_limbs() -> None:
    limbs = [shapely.LineString([(75, 30), (75 + side * 40, 70)]).buffer(4) for side in (-1, 1)]
    growth = grow(shapes(shapely.box(71, 5, 79, 32), *limbs), **PLAIN)
    surface = 30 + 4 * np.hypot(40, 40) / 40
    fork = depth_over(growth, 75, surface - 3)
    limb = depth_over(growth, 98, 30 + 23 + 4 * np.hypot(1, 1))
    assert fork > 1.2 * limb


@takes_long  # test_recorded.py has windblown snow
def test_wind_scours_what_faces_it_and_drifts_in_the_lee() -> None:
    """A long low roof, the wind from the left: the lee side bears the most, in one body."""
    roof = shapes(shapely.Polygon([(20, 10), (90, 10), (90, 23), (55, 39.5), (20, 23)]))
    still, windy = (grow(roof, "windblown", wind=wind, wind_towards_deg=0).cuts for wind in (0.0, 0.9))
    windward, lee = shapely.box(23, 16, 52, 70), shapely.box(58, 16, 87, 70)
    area = {
        (name, side): shapely.area(shapely.intersection(cuts, half)).sum()
        for name, cuts in (("still", still), ("windy", windy))
        for side, half in (("windward", windward), ("lee", lee))
    }
    assert area["windy", "windward"] < 0.6 * area["still", "windward"]
    assert area["windy", "lee"] > 2 * area["windy", "windward"]
    assert (shapely.area(shapely.intersection(windy, lee)) > 0).sum() == 1


def test_patchy_snow_leaves_bare_stretches_and_is_no_even_rim() -> None:
    rail = shapes(shapely.box(5, 56, 145, 60))
    growth = grow(rail, patchy=0.6)
    depth = np.array([depth_over(growth, x, 60) for x in np.linspace(10, 140, 130)])
    assert (depth == 0).mean() > 0.15
    assert depth[depth > 0].std() > 0.2 * depth[depth > 0].mean()


@pytest.mark.parametrize(
    ("name", "preset"),
    [("bare tree", "fresh"), *([("stout bare tree", "fresh"), ("bare tree", "deep")] if MANY else [])],
)
def test_hardly_a_speck_of_sky_is_shut_in(name, preset) -> None:
    """Holes between snow and tree that were none of the tree's own, below 4 mm²: what is left is far less in all."""
    on, cuts = shapely.union_all(subject(name)), snow_on(name, preset).cuts
    full = geometry.parts(shapely.union(shapely.union_all(cuts), on))
    holes = geometry.parts(shapely.difference(geometry.filled(full), full))
    own = geometry.parts(shapely.difference(geometry.filled(geometry.parts(on)), on))
    holes = holes[(shapely.area(holes) < 4) & (shapely.area(holes) > 0.01)]
    new = holes[~shapely.contains(shapely.buffer(shapely.union_all(own), 0.05), holes)] if len(own) else holes
    assert shapely.area(new).max(initial=0) < 0.8
    assert shapely.area(new).sum() < 0.01 * shapely.area(cuts).sum()


def test_a_retired_setting_names_its_successor() -> None:
    assert "shelter_mm" not in {parameter.name for parameter in parameters(snowload.Settings)}
    assert "gaps" in snowload.Settings.SUCCESSORS["shelter_mm"]


@takes_long  # test_recorded.py notices: lying windblown on hill
def test_ground_is_a_body_and_not_a_cap() -> None:
    """A hill that runs past the page is white far down; the same hill with free ends bears a layer."""
    x = np.linspace(-5, 95, 50)
    crest = 40 + 8 * np.sin(x / 20)
    hill = shapes(shapely.Polygon([(-5, -5), *zip(x, crest, strict=True), (95, -5)]))
    growth = grow(hill, face=shapely.box(0, 0, 90, 80))
    cuts, at = shapely.union_all(growth.cuts), np.linspace(20, 70, 10)
    down = [shapely.LineString([(here, 10), (here, 40 + 8 * np.sin(here / 20))]) for here in at.tolist()]
    below = shapely.length(shapely.intersection(down, cuts))
    assert np.mean(below) > 3
    assert np.std(below) > 0.3


@takes_long  # snowload/test_bodies.py looks at one twig
def test_detail_kept_leaves_more_needles_in_sight() -> None:
    on = shapely.intersection(shapely.union_all(subject("spruce")), shapely.box(0, 85, 150, 150))
    swallowed = [shapely.area(grow(shapes(on), detail_kept=share).on_shapes).sum() for share in (0.0, 1.0)]
    assert swallowed[1] < swallowed[0] < 0.5 * on.area


@pytest.mark.skipif(not MANY, reason="takes long: python -m tests.robustness laws")
def test_a_real_tangle_is_done_in_time() -> None:
    """Twenty thousand corners in less than 5 s of this process's own time; twice that is allowed here."""
    assert shapely.get_num_coordinates(subject("spruce")).sum() > 15_000
    assert timed("spruce", "fresh")[1] < (10 if sys.gettrace() is None else 100)


def test_the_blocks_share_the_snow(monkeypatch) -> None:
    monkeypatch.setattr(snowload, "grow", remembered("snowload", snowload.grow))  # the same snow for each of them
    house = placed(f"{ICONS / 'house-chimney.svg'} at 8 6 width 32", width_mm=48, height_mm=48)
    ground = Ground(name="landing", width_mm=48, height_mm=48, grow_from=house)
    settings = snowload.Settings()
    blocks = {
        which: loaded_block(ground, settings, LIMITS, stream(1, "snowload"), which=which)
        for which in ("sky", "key", "both")
    }
    on = shapely.union_all(house)
    sky, key, both = (shapely.union_all(blocks[which].cuts) for which in ("sky", "key", "both"))
    assert shapely.area(shapely.intersection(sky, on)) < 0.02 * sky.area
    assert shapely.area(shapely.difference(key, on)) < 0.02 * key.area
    assert sky.area + key.area == pytest.approx(both.area, rel=0.05)
