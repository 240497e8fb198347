"""Laws of marks, for every motif: what a mark does, and that nothing else changes."""

from __future__ import annotations

import dataclasses
from functools import cache

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.geometry.necks import necks
from carvegen.marking.applying import Bed, marked, reach_mm, settled_by
from carvegen.marking.marks import Mark, Meaning, check_agreement, key_of, on_face
from carvegen.marking.near_land import finding_room
from carvegen.motifs import motif, summaries
from carvegen.motifs.growth import Growth, Place
from tests.cases import box, limits, remembered, shapes
from tests.robustness.moved import rows
from tests.strategies import MANY, examples, few, takes_long

SIZE = (36.0, 26.0)
FACE = shapely.box(0, 0, *SIZE)
LIMITS = limits(0.5, 0.4)
BEARS = shapely.union_all([box(5, 0, 4, 20), box(3, 16, 30, 3), box(0, 0, 36, 3)])
#: What differs from the first preset, so that a small face has something on it.
OWN = {
    "snowfall": {"snow": 0.1, "largest_mm": 3.0}, "frost": {"feather_mm": 12.0, "reach_mm": 25.0},
    "grain": {"knots": 0.0}, "snowload": {"fallen_mm": 2.5},
}  # fmt: skip
MOTIFS = sorted(summaries())
each_motif = pytest.mark.parametrize("name", MOTIFS)


@cache
def grown(name: str) -> tuple[Growth, Bed]:
    module = motif(name)
    settings = module.Settings(**{**next(iter(module.PRESETS.values())), **OWN.get(name, {})})
    bears = geometry.parts(BEARS) if name == "snowload" else geometry.empty()
    place = Place(area=FACE, frame=FACE, shapes=bears)
    growth = module.grow(settings, place, LIMITS, stream(3, name))
    known = settled_by(settings, growth.kept)  # as a print does: how much falls is sought once
    return growth, Bed(motif=name, name=name, settings=known, place=place, limits=LIMITS, seed=3)


def mark(meaning: Meaning, shape, key: str = "a", **more) -> Mark:
    return Mark(meaning=meaning, shape=shape, key=key, **more)


@st.composite
def blobs(draw, x=(3, 33), y=(3, 23), reach=4.5):
    middle = np.array([draw(st.floats(*x)), draw(st.floats(*y))])
    rng = np.random.default_rng(draw(st.integers(0, 2**16)))
    angle, far = np.sort(rng.uniform(0, 2 * np.pi, 8)), rng.uniform(0.4 * reach, reach, 8)
    corners = middle + far[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    return shapely.convex_hull(shapely.MultiPoint(np.round(corners, 3))).intersection(FACE)


def beyond(growth: Growth, zone) -> tuple[set, set]:
    """All corners outside a zone, and all shapes that lie outside it whole."""
    xy = shapely.get_coordinates(np.concatenate([growth.cuts, growth.free]))
    outer = growth.cuts[~shapely.intersects(growth.cuts, zone)]
    return set(map(tuple, xy[~shapely.intersects_xy(zone, xy)])), {each.wkb for each in outer}


def white(growth: Growth, shape) -> float:
    return float(shapely.area(shapely.intersection(growth.cuts, shape)).sum())


@each_motif
@pytest.mark.parametrize("meaning", few(Meaning, 1))
@examples(1)
@given(shape=blobs(), strength=st.floats(0.2, 1))
def test_nothing_changes_beyond_a_land_and_a_flake(name, meaning, shape, strength) -> None:
    growth, bed = grown(name)
    done = marked(growth, [mark(meaning, shape, strength=strength)], bed)
    zone = shapely.buffer(shape, reach_mm(name, bed.settings, LIMITS))
    assert beyond(done, zone) == beyond(growth, zone)
    assert shapely.is_valid(done.cuts).all()
    assert shapely.STRtree(done.cuts).query(done.cuts, predicate="overlaps").size == 0


@takes_long  # the first law above says it of every mark
def test_no_shape_moves_beyond_one_deleted_a_corner_kept_bare_and_a_branch_drawn() -> None:
    """The table of `python -m tests.robustness moved`, on a small face."""
    for name, count, *moved in rows((40.0, 28.0)):
        assert (name, count > 0, moved) == (name, True, [0, 0, 0])


@each_motif
@examples(1)
@given(shape=blobs())
def test_what_stays_is_never_white_and_what_comes_out_always(name, shape) -> None:
    growth, bed = grown(name)
    stays = marked(growth, [mark(Meaning.STAYS, shape)], bed)
    assert white(stays, shape) == pytest.approx(0, abs=1e-6)
    assert shapely.area(shapely.intersection(stays.free, shape)).sum() == pytest.approx(0, abs=1e-6)
    out = marked(growth, [mark(Meaning.COMES_OUT, shape)], bed)
    hair = 2 * geometry.GRID_MM
    assert shapely.covers(shapely.buffer(shapely.union_all(out.cuts), hair), shape)
    left = marked(growth, [mark(Meaning.CARVER_DECIDES, shape)], bed)
    assert white(left, shape) == pytest.approx(0, abs=1e-6)
    decided = shapely.area(shapely.intersection(left.to_decide, shape)).sum()
    assert decided <= 1.002 * white(growth, shape) + 1e-3  # points go to the grid
    assert decided >= 0.7 * white(growth, shape) - 2 * LIMITS.cut_mm**2


@pytest.mark.parametrize(
    ("side", "inside", "alone"),
    [(1, 0.7, True), (1, 0.3, True), (1, -0.2, True), (2.9, 0.2, True), (3.1, 0.2, False), (3.1, 2.0, True)],
)
def test_a_flake_on_the_rim_of_a_ring_that_comes_out_leaves_no_wart_on_it(side, inside, alone) -> None:
    """One mostly in it goes, and one of less than a quarter of it, though it only lies too near for land between."""
    growth, bed = grown("snowfall")
    ring, flake = box(12, 8, 6, 6), shapely.box(18 - inside, 10, 18 - inside + side, 10 + side)
    growth = dataclasses.replace(growth, cuts=geometry.polygon_array([flake]))
    out = shapely.union_all(marked(growth, [mark(Meaning.COMES_OUT, ring)], bed).cuts)
    assert (shapely.area(shapely.difference(out, ring)) < 0.01) == alone
    assert shapely.area(shapely.difference(ring, out)) < 0.01


@pytest.mark.parametrize("seed", few([1, 2], 1))
def test_of_a_whole_fall_no_small_flake_is_left_on_the_rim_of_what_comes_out(seed) -> None:
    """What of a ring's white lies beyond it are flakes that reached beyond it before, none far smaller than it."""
    growth, bed = grown_wide("snowfall", seed)
    rng, n = np.random.default_rng(seed), 20 if MANY else 7
    for x, y, far in np.column_stack([rng.uniform(8, 52, n), rng.uniform(8, 37, n), rng.uniform(2, 6, n)]).tolist():
        ring = shapely.buffer(shapely.Point(x, y), far)
        out = marked(growth, [mark(Meaning.COMES_OUT, ring)], bed).cuts
        beyond_it = geometry.parts(shapely.difference(out[shapely.intersects(out, ring)], shapely.buffer(ring, 0.05)))
        first = growth.cuts[shapely.area(growth.cuts) >= 0.25 * shapely.area(ring)]
        assert shapely.dwithin(beyond_it, shapely.union_all(first), 0.1).all(), (x, y, far)


@pytest.mark.parametrize("name", few(["snowfall", "snowload", "frost", "grain"], 1))
@examples(2)
@given(one=blobs(x=(2, 9), reach=3), other=blobs(x=(27, 34), reach=3), meanings=st.permutations(list(Meaning)))
def test_far_marks_commute_and_change_nothing_of_one_another(name, one, other, meanings) -> None:
    growth, bed = grown(name)
    reach = reach_mm(name, bed.settings, LIMITS)
    if shapely.distance(one, other) <= 2 * reach:
        return
    a, b = mark(meanings[0], one, "a", attempt=2), mark(meanings[1], other, "b")
    both, alone = marked(growth, [a, b], bed), marked(growth, [a], bed)
    assert {cut.wkb for cut in both.cuts} == {each.wkb for each in marked(growth, [b, a], bed).cuts}
    near = shapely.buffer(one, reach)
    corners = [set(map(tuple, xy[shapely.intersects_xy(near, xy)])) for xy in map(shapely.get_coordinates,
               (both.cuts, alone.cuts))]  # fmt: skip
    assert corners[0] == corners[1]


@each_motif
@examples(1)
@given(shape=blobs(), meaning=st.sampled_from([each for each in Meaning if each != Meaning.COMES_OUT]))
def test_limits_hold_beside_a_mark_as_they_did_before(name, shape, meaning) -> None:
    _limits_hold(name, shape, meaning)


@pytest.mark.parametrize(
    ("name", "seed", "meaning"),
    few(
        [
            ("frost", 53, Meaning.LESS),  # beside it a slit of land half a branch long, too narrow all along
            ("grain", 0, Meaning.STAYS),  # on a grid GEOS can't lay its lines over one another
            ("frost", 0, Meaning.MORE),  # on a grid GEOS could not lay what grew over anything
        ],
        2,
    ),
)
def test_limits_hold_beside_marks_that_once_broke_them(name, seed, meaning) -> None:
    rng = np.random.default_rng(seed)
    middle = np.array([rng.uniform(3, 33), rng.uniform(3, 23)])
    angle, far = np.sort(rng.uniform(0, 2 * np.pi, 8)), rng.uniform(1.8, 4.5, 8)
    corners = middle + far[:, None] * np.column_stack([np.cos(angle), np.sin(angle)])
    shape = shapely.convex_hull(shapely.MultiPoint(np.round(corners, 3))).intersection(FACE)
    _limits_hold(name, shape, meaning)


def _limits_hold(name, shape, meaning) -> None:
    """A few hundredths: what is taken back is taken back by discs drawn as polygons."""
    growth, bed = grown(name)
    done = marked(growth, [mark(meaning, shape, strength=0.6)], bed)
    least = 0.7 * LIMITS.land_mm
    assert _narrowest(done, least) >= min(_narrowest(growth, least), least) - 1e-9
    new = [cut for cut in done.cuts if cut.wkb not in {old.wkb for old in growth.cuts}]
    fits = ~shapely.is_empty(shapely.buffer(new, -0.45 * LIMITS.cut_mm))
    assert fits.all()


def _narrowest(growth: Growth, least: float) -> float:
    ground = geometry.parts(shapely.difference(FACE, shapely.union_all(growth.cuts)))
    result = necks(geometry.rings(ground), least)
    return float(result.width.min(initial=least))


@pytest.mark.parametrize("name", few(["snowfall", "grain"], 1))
def test_every_try_is_another_and_each_is_the_same_for_ever(name) -> None:
    growth, bed = grown(name)
    shape = box(10, 8, 14, 12)
    tries = [marked(growth, [mark(Meaning.GROW_AGAIN, shape, attempt=k)], bed) for k in (1, 2, 1)]
    old = {cut.wkb for cut in growth.cuts}
    new = [{each.wkb for each in done.cuts if each.centroid.within(shape)} - old for done in tries]
    assert new[0] == new[2]
    assert new[0]
    assert new[0] - new[1]


@pytest.mark.parametrize("shape", few([box(10, 8, 14, 12), box(14, 0, 12, 10), box(2, 2, 12, 12)], 1))
def test_frost_grows_again_from_what_is_cut(shape) -> None:
    """About as much as there was comes, another each time, and all of it hangs on what has stayed or on the edge."""
    growth, bed = grown("frost")
    was, old = white(growth, shape), {one.wkb for one in growth.cuts}
    tries = [marked(growth, [mark(Meaning.GROW_AGAIN, shape, attempt=k)], bed) for k in few((1, 2, 3), 2)]
    assert 0.5 * was < np.mean([white(done, shape) for done in tries]) < 2 * was
    assert len({frozenset(item.wkb for item in done.cuts) for done in tries}) == len(tries)
    held = shapely.union(shapely.union_all(growth.cuts).difference(shape), FACE.exterior.buffer(0.01))
    for done in tries:
        new = [cut for cut in done.cuts if cut.wkb not in old and cut.intersects(shape)]
        loose = [each for each in new if not each.intersects(held)]
        assert shapely.area(loose).sum() <= 0.05 * shapely.area(new).sum()


def test_frost_does_not_grow_again_where_it_must_not_be() -> None:
    """A mark on what the frost grows round, or on nothing at all, changes nothing."""
    module, stone = motif("frost"), box(10, 8, 14, 10)
    settings, place = module.Settings(feather_mm=10.0), Place(area=FACE, frame=FACE, shapes=geometry.parts(stone))
    growth = module.grow(settings, place, LIMITS, stream(3, "frost"))
    bed = Bed(motif="frost", name="frost", settings=settings, place=place, limits=LIMITS, seed=3)
    done = marked(growth, [mark(Meaning.GROW_AGAIN, box(14, 11, 5, 4))], bed)
    assert {cut.wkb for cut in done.cuts} == {each.wkb for each in growth.cuts}


def test_the_stronger_the_more() -> None:
    growth, bed = grown("snowfall")
    shape = box(6, 5, 22, 16)
    at = {
        (meaning, strength): white(marked(growth, [mark(meaning, shape, strength=strength)], bed), shape)
        for meaning, strength in ((Meaning.MORE, 1.0), (Meaning.LESS, 0.5), (Meaning.LESS, 1.0))
    }  # fmt: skip
    was = white(growth, shape)
    assert at[Meaning.LESS, 1.0] < at[Meaning.LESS, 0.5] < was
    assert at[Meaning.MORE, 1.0] == pytest.approx(2 * was, rel=0.35)


def _empty_sky(**more) -> Bed:
    settings = motif("snowfall").Settings(**more)
    return Bed(
        motif="snowfall", name="sky", settings=settings, place=Place(area=FACE, frame=FACE), limits=LIMITS, seed=3
    )


def test_more_in_an_empty_sky_is_a_flurry_of_several_sizes() -> None:
    """Far denser than elsewhere, no flake much of it; and so where a mere sliver of one lies in the mark."""
    shape, sliver = shapely.LineString([(6, 6), (24, 10)]).buffer(2), box(24.5, 11.8, 3, 3)
    assert 0 < shapely.intersection(shape, sliver).area < 0.2
    lies = Growth(cuts=geometry.polygon_array([sliver]))
    done = marked(lies, [mark(Meaning.MORE, shape)], _empty_sky(snow=0.025, largest_mm=6.0, level=0.06))
    size = np.sort(shapely.area(done.cuts[~shapely.equals(done.cuts, sliver)]))
    assert len(size) >= 7
    assert 0.08 < size.sum() / shapely.area(shape) < 0.2
    assert size[-1] > 2 * size[0]
    assert size[-1] < 0.3 * size.sum()
    assert _narrowest(done, LIMITS.land_mm) >= LIMITS.land_mm - 0.01


def test_the_softest_more_in_an_empty_sky_is_one_flake_at_least() -> None:
    """In a dot in which no flake of the weather is small beside what is wanted, too."""
    nothing, dot = Growth(cuts=geometry.empty()), shapely.Point(18, 13).buffer(2)
    bed = _empty_sky(snow=0.02, smallest_mm=1.8, largest_mm=3.0, level=0.066)
    assert len(marked(nothing, [mark(Meaning.MORE, dot, strength=0.05)], bed).cuts) == 1


@pytest.mark.parametrize(("level", "snow"), [(0.0, 0.03), (2.0, 0.1)])
def test_marks_grow_by_what_was_solved_for_the_whole_face_unless_a_level_was_asked(level: float, snow: float) -> None:
    settled = settled_by(motif("snowfall").Settings(snow=0.1, level=level), {"snow": 0.03, "unknown": 1.0})
    assert (settled.snow, settled.level) == (snow, 0.0)


@cache
def grown_wide(name: str, seed: int) -> tuple[Growth, Bed]:
    """A motif's own snow on a face of 60 mm."""
    face = box(0, 0, 60, 60)
    bears = [box(6, 6, 6, 48), box(6, 33, 48, 3.6), box(0, 0, 60, 6)]
    shapes = geometry.parts(shapely.union_all(bears)) if name == "snowload" else geometry.empty()
    place, settings = Place(area=face, frame=face, shapes=shapes), motif(name).Settings()
    growth = motif(name).grow(settings, place, LIMITS, stream(seed, name))
    known = settled_by(settings, growth.kept)
    return growth, Bed(motif=name, name=name, settings=known, place=place, limits=LIMITS, seed=seed)


@pytest.mark.parametrize(
    ("name", "seeds", "shape", "least"),
    [
        pytest.param("snowfall", (2, 8), box(18, 21, 18, 18), 0.15, marks=takes_long),  # room for many flakes
        ("snowload", (1,), box(3, 30, 13, 27), 0.08),
        *(
            [
                ("snowfall", (1,), box(3, 30, 13, 27), 0.04),  # snow lies thick here: there is room for little
                ("snowfall", (1, 3, 4, 5, 6), box(18, 21, 18, 18), 0.1),
                ("snowload", (1, 2, 4), box(10, 28, 40, 24), 0.2),
            ]
            if MANY
            else []
        ),
    ],
)
def test_a_soft_more_is_seen_and_a_stronger_one_is_more_of_the_same(monkeypatch, name, seeds, shape, least) -> None:
    """So much more white at a third of the strength, never less at more, and each step more.

    Flakes come by chance, so how much more is asked of the mean of some small faces.
    """
    monkeypatch.setattr(motif(name), "grow", remembered(name, motif(name).grow))  # what falls for each strength
    more = np.empty((len(seeds), 3))
    for row, seed in zip(more, seeds, strict=True):
        growth, bed = grown_wide(name, seed)
        done = [marked(growth, [mark(Meaning.MORE, shape, strength=each)], bed) for each in (0.33, 0.66, 1.0)]
        row[:] = [white(one, shape) / white(growth, shape) - 1 for one in done]
    assert (more[:, 0] > least).all(), more
    assert (np.diff(more, axis=1) >= 0).all(), more
    soft, middling, strong = more.mean(axis=0)
    assert middling > 1.25 * soft
    assert strong > 1.1 * middling


def test_a_heap_that_is_cut_back_has_no_cliff() -> None:
    """Its end sinks to less than half its height over at least half of that height."""
    growth, bed = grown("snowload")
    bare = box(17, 14, 8, 7)
    done = marked(growth, [mark(Meaning.STAYS, bare)], bed)
    heap = max((cut for cut in done.cuts if cut.bounds[2] < 17.1 and cut.bounds[3] > 19), key=lambda each: each.area)
    right = heap.bounds[2]
    high = [heap.intersection(shapely.LineString([(x, 0), (x, 26)])).length for x in np.arange(right - 4, right, 0.05)]
    full = max(high)
    assert full > 1.5
    assert np.max(np.abs(np.diff(high))) < 0.35 * full
    falls = sum(0.1 * full < one < 0.9 * full for one in high) * 0.05
    assert falls >= 0.5 * full


def test_no_mark_is_the_same_object_and_another_key_other_shapes() -> None:
    growth, bed = grown("snowfall")
    assert marked(growth, [], bed) is growth
    shape = box(10, 8, 14, 12)
    one, other = (marked(growth, [mark(Meaning.GROW_AGAIN, shape, key)], bed) for key in "ab")
    assert {cut.wkb for cut in one.cuts} != {each.wkb for each in other.cuts}


def test_a_key_tells_where_and_what() -> None:
    assert key_of(box(1, 2, 4, 4)) == key_of(shapely.box(5, 6, 1, 2)) == key_of(box(1.004, 2, 4, 4))
    assert key_of(box(1, 2, 4, 4)).startswith("at 3.0 4.0 mm")
    assert len({key_of(box(x, 2, 4, w)) for x in (1, 2) for w in (3, 4)}) == 4


@pytest.mark.parametrize(
    ("one", "other", "said"),
    [
        (Meaning.COMES_OUT, Meaning.STAYS, '"comes out" (a) and the mark "stays" (b) share 4.0 mm² at 3.0, 3.0 mm'),
        (Meaning.MORE, Meaning.LESS, '"more" (a) and the mark "less" (b)'),
        (Meaning.CARVER_DECIDES, Meaning.COMES_OUT, '"carver decides" (a)'),
    ],
)
def test_contradictions_are_named_and_placed(one, other, said) -> None:
    a, b = mark(one, box(0, 0, 4, 4), "a"), mark(other, box(2, 2, 4, 4), "b")
    with pytest.raises(InputError) as raised:
        check_agreement([a, b])
    assert said in str(raised.value)
    check_agreement([a, dataclasses.replace(b, shape=box(4, 0, 4, 4))])
    check_agreement([dataclasses.replace(a, blocks=("sky",)), dataclasses.replace(b, blocks=("key",))])


def test_marks_beside_the_face_are_told() -> None:
    marks, notes = on_face([mark(Meaning.STAYS, box(-4, 0, 8, 4)), mark(Meaning.STAYS, box(50, 0, 8, 4), "b")], FACE)
    assert [each.shape.bounds for each in marks] == [(0, 0, 4, 4)]
    assert notes == (
        '16.0 mm² of the mark "stays" (a) lie outside the face and do nothing',
        'the mark "stays" (b) lies outside the face and does nothing',
    )


def test_snow_that_grows_again_fades_into_what_lies_about_it() -> None:
    """Over some tries: deep in the place all of the old goes, near its rim much stays; none that crosses is cut."""
    growth, bed = grown("snowfall")
    place = shapely.box(6, 4, 30, 22)
    middles = shapely.centroid(growth.cuts)
    depth = np.where(shapely.intersects(place, middles), shapely.distance(place.boundary, middles), -1.0)
    stays, much = [], []
    for attempt in range(1, 9 if MANY else 5):
        after = marked(growth, [mark(Meaning.GROW_AGAIN, place, attempt=attempt)], bed)
        much.append(white(after, place) / white(growth, place))
        same = {cut.wkb for cut in after.cuts}
        stays.append([each.wkb in same for each in growth.cuts])
        crossing = growth.cuts[shapely.crosses(growth.cuts, place.boundary) & (depth < 0)]
        assert {one.wkb for one in crossing} <= same, "it stays or goes whole"
    assert min(much) > 0.5
    assert 0.85 < np.mean(much) < 1.1, "so much falls as goes, not beside what stays so much as there was"
    share = np.mean(stays, axis=0)
    rim, deep = (depth > 0) & (depth < 1.5), depth > 5
    assert rim.sum() > 3
    assert deep.sum() > 3
    assert 0.4 < share[rim].mean() < 0.95
    assert share[deep].mean() == 0


@pytest.mark.parametrize("x", few([17.5, 12, 22], 1))
def test_a_mass_of_snow_that_grows_again_is_bitten_and_flakes_fall_in_the_bite(x: float) -> None:
    """A disc of radius 10, a mark of radius 5 in its middle, beside it and on its rim."""
    growth, bed = grown("snowfall")
    mass, place = shapely.Point(12, 13).buffer(10), shapely.Point(x, 13).buffer(5)
    flakes = growth.cuts[~shapely.dwithin(growth.cuts, mass, 1.0)]
    for attempt in (1, 2) if MANY else (1,):
        before = Growth(cuts=np.append(flakes, mass))
        after = marked(before, [mark(Meaning.GROW_AGAIN, place, attempt=attempt)], bed)
        there, away = shapely.union_all(after.cuts), shapely.difference(mass, place.buffer(LIMITS.land_mm + 3.0))
        assert shapely.area(shapely.intersection(there, place)) < 0.75 * shapely.area(place)
        assert shapely.area(shapely.difference(away, there)) < 0.01, "the rest of it stays"
        was = {shape.wkb for shape in before.cuts}
        fallen = shapely.union_all([shape for shape in after.cuts if shape.wkb not in was and shape.within(place)])
        assert shapely.area(fallen) > 0.05 * shapely.area(place)


def test_beside_a_flake_whose_middle_is_outside_as_much_falls_again_as_is_usual() -> None:
    _, bed = grown("snowfall")
    place, flake = box(14, 8, 10, 10), shapely.Point(13.5, 13).buffer(1.0)
    done = marked(Growth(cuts=geometry.polygon_array([flake])), [mark(Meaning.GROW_AGAIN, place)], bed)
    assert flake.wkb in {shape.wkb for shape in done.cuts}
    assert white(done, place) > 0.6 * bed.settings.snow * shapely.area(place)


def test_in_a_mark_of_a_flake_s_size_something_grows_again_too() -> None:
    """A mark over most of each of some flakes, whose middle lies near its rim: not all of it fades away."""
    growth, bed = grown("snowfall")
    flakes = growth.cuts[shapely.within(growth.cuts, FACE.buffer(-2))][:: 3 if MANY else 12][: None if MANY else 3]
    far = 0.75 * np.sqrt(shapely.area(flakes))
    middles = shapely.get_coordinates(shapely.centroid(flakes)) + far[:, None] * [0.9, 0]
    places = shapely.buffer(geometry.dots(middles), far)
    was = {shape.wkb for shape in growth.cuts}
    assert len(places) > 2
    for k, place in enumerate(places.tolist()):
        done = marked(growth, [mark(Meaning.GROW_AGAIN, place, key=str(k))], bed)
        assert {shape.wkb for shape in done.cuts} != was


@takes_long  # what finds no room is moved, the largest first: below
def test_heavy_snow_that_grows_again_stays_heavy() -> None:
    """Large flakes that fall where no room is move to where there is: in their stead drizzle came, .8 of the white."""
    module, face = motif("snowfall"), box(0, 0, 32, 26)
    known = {"level": 1.459, "flurry_mm": 7.0}  # as it is solved for this face
    settings, place = module.Settings(**module.PRESETS["heavy"], **known), Place(area=face, frame=face)
    growth = module.grow(settings, place, LIMITS, stream(7, "heavy"))
    bed = Bed(motif="snowfall", name="heavy", settings=settings, place=place, limits=LIMITS, seed=7)
    shape = box(6, 5, 20, 16)
    done = marked(growth, [mark(Meaning.GROW_AGAIN, shape)], bed)
    assert white(done, shape) > 0.83 * white(growth, shape)


def test_what_finds_no_room_is_moved_the_largest_first() -> None:
    """Squares in one spot that move in step: one finds room in each try, a land from others and what is fixed."""
    sizes = [2.0, 4.0, 3.0, 40.0]
    squares = shapes(*(box(0, 0, size, size) for size in sizes))
    fixed, moves = shapes(box(-5, 0, 5, 5)), [np.full((4, 2), [by + 0.0004, 0.0]) for by in (0, 10, 10, 20)]
    placed = finding_room(squares, fixed, LIMITS, moves=moves, fits=lambda moved: shapely.bounds(moved)[:, 2] < 30)
    assert [shape.bounds[0] for shape in placed] == [10.0, 20.0]  # the first try lies beside what is fixed
    assert shapely.area(placed).tolist() == pytest.approx([16.0, 9.0])


def test_of_two_that_move_too_near_to_each_other_the_larger_one_stays() -> None:
    pair, moves = shapes(box(0, 0, 1, 1), box(0, 0, 3, 3)), [np.array([[10.0, 0.0], [6.6, 0.0]])]
    (placed,) = finding_room(pair, shapes(box(0, 0, 1, 1)), LIMITS, moves=moves, fits=shapely.is_valid)
    assert placed.area == pytest.approx(9)
