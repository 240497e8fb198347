"""Land between flakes: pairs of discs, smoothed shapes, and rounds that end."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.geometry.edges import disc_pairs
from carvegen.geometry.necks import necks
from carvegen.motifs.snowfall import clumps as clumping
from carvegen.motifs.snowfall import land
from carvegen.motifs.snowfall.chance import Draws, keys
from carvegen.motifs.snowfall.clumps import Clumps, gathered, smoothed
from carvegen.motifs.snowfall.flakes import Flakes, Looks, drawn, falling, passes_mm, shrunk_mm
from carvegen.motifs.snowfall.land import BODY
from carvegen.motifs.snowfall.outlines import SMALLEST_REACH
from tests.cases import limits, shapes
from tests.strategies import takes_long


def test_pairs_of_discs_are_all_that_are_near() -> None:
    rng = np.random.default_rng(3)
    xy, radius = rng.uniform(0, 60, (400, 2)), np.exp(rng.normal(0, 0.9, 400))
    i, j = disc_pairs(xy, radius, 0.7)
    assert len(i) > 300
    gap = np.hypot(*(xy[:, None] - xy[None]).transpose(2, 0, 1)) - radius[:, None] - radius[None]
    wanted = {(a, b) for a, b in np.argwhere(gap < 0.7).tolist() if a < b}
    assert sorted(map(tuple, np.sort(np.column_stack([i, j]), axis=1).tolist())) == sorted(wanted)
    assert [len(side) for side in disc_pairs(xy[:0], radius[:0], 0.7)] == [0, 0]


def clumps(seed: int, least: float) -> geometry.PolygonArray:
    """Two to five discs that lie over one another or nearly, and bent strokes; one geometry each.

    No disc is smaller than `least`: a cutter makes each by itself, as it does flakes.
    """
    rng, made = np.random.default_rng(seed), []
    for _ in range(150):
        count = int(rng.integers(2, 6))
        discs = shapely.buffer(geometry.dots(rng.uniform(0, 3.2, (count, 2))), rng.uniform(least, 1.4, count))
        made.append(shapely.geometrycollections(discs))
    ends = np.array([[[0, 0], [apart, 0.1]] for apart in np.linspace(0.7, 1.3, 40)])  # waists from wide to none
    made += [shapely.geometrycollections(shapely.buffer(geometry.dots(xy), 0.6)) for xy in ends]
    for turn in np.linspace(0.5, 1.6, 40):  # bays from open to shut
        arc = np.linspace(turn, 2 * np.pi - turn, 60)
        made.append(shapely.linestrings(1.4 * np.column_stack([np.cos(arc), np.sin(arc)])).buffer(0.6))
    return geometry.polygon_array([shapely.transform(each, lambda xy, k=k: xy + 20 * k) for k, each in enumerate(made)])


@pytest.mark.parametrize(("least_land", "least_cut"), [(0.7, 0.4), (0.1, 0.8)])
def test_what_is_called_sound_has_no_neck_of_its_own(least_land, least_cut) -> None:
    """That the core hangs together tells it; measured exactly."""
    each = limits(least_land, least_cut)
    (sound, _), (doubtful, _) = smoothed(clumps(1, max(0.3, 0.55 * least_cut)), each)
    assert len(sound) > 60
    assert len(doubtful) > 10
    rings = geometry.rings(sound)
    for outlines, least in ((geometry.reversed_rings(rings), each.land_mm), (rings, each.cut_mm)):
        result = necks(outlines, least)
        assert not (rings.owner[result.first] == rings.owner[result.second]).any()


def test_what_stays_narrow_goes_after_some_rounds(monkeypatch: pytest.MonkeyPatch) -> None:
    """Were a shape found narrow for ever, the others would still be settled."""
    bad, good = shapely.box(0, 0, 5, 5), shapely.box(20, 0, 25, 5)
    asked = []

    def patches(rings, _):
        asked.append(len(rings))
        which = np.unique(rings.owner[rings.xy[rings.start[:-1], 0] < 10])
        return which, np.full(len(which), shapely.Point(2, 2).buffer(0.1), dtype=object)

    monkeypatch.setattr(land, "_patches", patches)
    left = land._settled(shapes(bad, good), np.full(2, land._DOUBTFUL), limits())
    assert len(asked) < 12
    assert [round(each.area) for each in left] == [25]
    assert shapely.distance(left[0], good) == 0


@takes_long  # test_recorded.py has falls with knobs and shoulders
def test_small_ones_that_stick_to_a_large_one_are_seldom_knobs_on_its_rim() -> None:
    """Most that stick out of one go or run into it by a shoulder; some stay as teeth."""
    each, left = limits(0.5, 0.4), {"knob": 0, "shoulder": 0, "none": 0}
    for seed in range(60):
        key = np.arange(2, dtype=np.uint64) + np.uint64(2 * seed)
        xy, reach = np.array([[0.0, 0.0], [2.1, 0.0]]), np.array([2.4, 0.8])
        shape = geometry.polygon_array(shapely.buffer(geometry.dots(xy), BODY * reach))
        no = np.zeros(2)
        pair = Flakes(xy, reach, no.astype(int), key, no.astype(bool), key, no, shape)
        made = shapely.union_all(land.parted(pair, each, Clumps(each)))
        more = shapely.area(made) - shapely.area(
            shapely.union_all(smoothed(gathered(shape, no.astype(int)), each)[0][0])
        )
        sticks_out = shapely.bounds(made)[2] > 2.5
        left["none" if not sticks_out else "shoulder" if more > 0.03 else "knob"] += 1
    assert left["shoulder"] > 10
    assert left["none"] > 5
    assert 0 < left["knob"] < 25


@pytest.mark.parametrize(
    ("packed", "away", "middle", "pieces"),
    [(0.0, 2.7, 1.5, 2), (0.0, 2.3, 2.2, 2), (1.0, 2.7, 1.5, 2), (1.0, 2.3, 2.2, 1)],
)
def test_no_small_one_links_two(packed, away, middle, pieces) -> None:
    """Two that lie far apart with a small one deep in both would be a bone; where they are packed a broad one links."""
    each, no = limits(0.5, 0.4), np.zeros(3)
    xy, reach = np.array([[0.0, 0.0], [away, 0.0], [2 * away, 0.0]]), np.array([2.4, middle, 2.4])
    shape = geometry.polygon_array(shapely.buffer(geometry.dots(xy), BODY * reach))
    key = np.arange(3, dtype=np.uint64)
    three = Flakes(xy, reach, no.astype(int), key, no.astype(bool), key, no + packed, shape)
    assert len(land.parted(three, each, Clumps(each))) == pieces


@pytest.mark.parametrize(("reach", "bays"), [(0.45, False), (0.9, True)])
def test_groups_within_a_millimetre_have_no_bays(reach, bays) -> None:
    """A tool makes them in a peck or two; larger ones show that they are several flakes."""
    each, solid = limits(0.15, 0.2), []
    for seed in range(30):
        key = np.arange(2, dtype=np.uint64) + np.uint64(2 * seed)
        xy, no = np.array([[0.0, 0.0], [1.2 * reach, 0.0]]), np.zeros(2)
        shape = geometry.polygon_array(shapely.buffer(geometry.dots(xy), BODY * np.array([reach, 0.8 * reach])))
        both = np.array([reach, 0.8 * reach])
        pair = Flakes(xy, both, no.astype(int), key, no.astype(bool), key, no, shape)
        made = land.parted(pair, each, Clumps(each))
        assert len(made) == 1
        solid.append(float(shapely.area(made[0]) / shapely.area(shapely.convex_hull(made[0]))))
    assert (min(solid) < 0.98) == bays


def test_torn_clumps_show_that_they_are_several_crystals() -> None:
    """Enough of the large ones have deep bays; with crystals that lay deeper in one another 7 % had."""
    count, each, still = 300, limits(0.6, 0.25), np.zeros(3)
    looks = Looks(
        least_mm=0.3, passes_mm=passes_mm(each), most_mm=4.0, round=0.6, torn=1.0, longer=still, along_deg=0.0
    )  # fmt: skip
    xy, key = np.column_stack([20.0 * np.arange(count), np.zeros(count)]), keys(np.arange(count, dtype=np.uint64))
    layer, packed = np.zeros(count, dtype=np.int64), np.zeros(count)
    flakes = falling(looks, xy, np.full(count, 3.5), layer, key=key, packed=packed)
    assert flakes.torn.all()
    crystals, whose = shapely.get_parts(drawn(looks, flakes), return_index=True)
    made = np.concatenate([pieces for pieces, _ in smoothed(gathered(crystals, whose), each)])
    bayed = shapely.area(made) < 0.9 * shapely.area(shapely.convex_hull(made))
    assert 0.1 < bayed.mean() < 0.35


@pytest.mark.parametrize("core", [(), (2.5,)], ids=["ring", "ring and disc"])
def test_rounding_knobs_off_takes_no_mass_with_a_hole_away(core) -> None:
    """Sixteen discs in a ring, and one in it: what rounds off the largest knobs passes nowhere between them."""
    turn = np.arange(16) * np.pi / 8
    dots = [shapely.Point(4 * np.cos(at), 4 * np.sin(at)).buffer(1) for at in turn]
    discs = geometry.polygon_array([*dots, *(shapely.Point(0, 0).buffer(radius) for radius in core)])
    made = np.concatenate(
        [pieces for pieces, _ in smoothed(gathered(discs, np.zeros(len(discs), int)), limits(0.5, 0.4))]
    )
    assert shapely.area(made).sum() > 0.9 * shapely.union_all(discs).area


def test_some_large_neighbours_all_but_touch() -> None:
    """Of two that come too near some are one, of others one moves off by chance; none shrinks, and few go."""
    each, count = limits(0.6, 0.3), 400
    xy = np.stack([np.column_stack([20.0 * np.arange(count), np.full(count, y)]) for y in (0.0, 3.6)], axis=1)
    key, still = keys(np.arange(2 * count, dtype=np.uint64)), np.zeros(2 * count)
    shape = np.full(2 * count, None)
    pair = Flakes(xy.reshape(-1, 2), still + 2, still.astype(int), key, still.astype(bool), key, still, shape)
    left = land.met(pair, each)
    assert len(left) == 2 * count
    assert (left.reach == 2).all()
    apart = np.hypot(*np.diff(left.xy.reshape(count, 2, 2), axis=1)[:, 0].T) - 2 * 2 * 0.84
    off = apart[apart > each.land_mm]
    assert 0.3 * count < len(off) < 0.7 * count
    assert off.max() < 3 * each.land_mm
    assert np.quantile(off, 0.9) - np.quantile(off, 0.1) > 0.5 * each.land_mm


def test_flakes_that_shrink_beside_others_are_still_made_by_the_cutter() -> None:
    """However small they become; none shrinks further than the cutter passes."""
    each, rng = limits(0.3, 0.4), np.random.default_rng(2)
    count = 3000
    looks = Looks(
        least_mm=passes_mm(each) / SMALLEST_REACH, passes_mm=passes_mm(each), most_mm=1.2, round=0.4, torn=0.0,
        longer=np.full(3, 0.3), along_deg=20.0,
    )  # fmt: skip
    reach = np.maximum(rng.uniform(0.3, 1.2, count), looks.least_mm)
    flakes = falling(
        looks, rng.uniform(0, 60, (count, 2)), reach, np.ones(count, dtype=np.int64),
        key=rng.integers(1, 2**62, count).astype(np.uint64), packed=np.zeros(count),
    )  # fmt: skip
    left = land.met(flakes.chosen(~land.doomed(flakes, np.zeros(2), each)), each)
    shrunk = left.reach < looks.least_mm
    assert 10 < shrunk.sum() < len(left) / 2
    assert left.reach.min() >= shrunk_mm(each)
    for some in (left, replace(left, reach=np.full(len(left), shrunk_mm(each)))):
        inner = shapely.buffer(drawn(looks, some), -each.cut_mm / 2)
        assert not shapely.is_empty(inner).any()
        assert (shapely.get_num_geometries(inner) == 1).all()


@pytest.mark.parametrize("view", [(0.0, 0.0), (31.7, -12.3)])
def test_what_goes_beside_the_largest_at_its_spot_is_the_same_through_any_window(view) -> None:
    each, rng, count = limits(0.3, 0.4), np.random.default_rng(5), 4000
    place, key = rng.uniform(0, 40, (count, 2)), rng.integers(1, 2**62, count).astype(np.uint64)
    no = np.zeros(count)
    flakes = Flakes(
        place - view, rng.uniform(0.3, 1, count), no.astype(int), key, no.astype(bool), key, no, np.full(count, None)
    )
    gone = land.doomed(flakes, np.array(view), each)
    part = np.flatnonzero((place > 14).all(axis=1))
    inner = (place[part] > 16).all(axis=1)
    assert 0.2 < gone.mean() < 0.95
    assert (land.doomed(flakes.chosen(part), np.array(view), each)[inner] == gone[part][inner]).all()


def test_spots_may_lie_as_far_apart_as_they_like() -> None:
    """What is kept is as large as the number of flakes, not as the place that they span."""
    place = np.array([[0.2, 0.1], [1e6, 1e6], [0.5, 0.2]])
    assert land._largest_at_spot(place, np.array([1.0, 2, 3])).tolist() == [2, 1, 2]
    far = np.array([[5e5, 5e5]] * 3 + [[0.5, 0.5]])
    assert land._largest_at_spot(far, np.array([1, 1 + 1e-9, 1, 2])).tolist() == [1, 1, 1, 3]  # a sum ate the digits


def test_what_is_remembered_of_thin_air_is_not_taken_for_a_heap() -> None:
    """The same flakes in two weathers, with one memory and each with its own."""
    each, count = limits(0.5, 0.4), 20
    xy = np.stack([np.arange(count) // 2 * 12 + np.arange(count) % 2 * 2.7, np.zeros(count)], axis=1)
    reach, no = np.tile([2.4, 1.8], count // 2), np.zeros(count)
    shape = geometry.polygon_array(shapely.buffer(geometry.dots(xy), BODY * reach))
    key, one, areas = keys(np.arange(count, dtype=np.uint64)), Clumps(each), []
    for packed in (0.0, 0.9):
        flakes = Flakes(xy, reach, no.astype(int), key, no.astype(bool), key, no + packed, shape)
        made, afresh = (shapely.union_all(land.parted(flakes, each, memory)) for memory in (one, Clumps(each)))
        assert shapely.area(shapely.symmetric_difference(made, afresh)) < 1e-6
        areas.append(shapely.area(made))
    assert abs(areas[0] - areas[1]) > 1, "else nothing is tried here"


def test_what_lay_there_before_is_not_put_together_nor_asked_for_necks_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of three horseshoes of flakes one has changed: of two levels the second does that one's work alone."""
    each, work, turn = limits(0.5, 0.4), [], np.radians(np.arange(0, 300, 20))
    memory, count = Clumps(each, 1.0), 3 * len(turn)
    place = np.repeat([0, 40, 80], len(turn)), np.zeros(count)
    xy = np.tile(9 * np.column_stack([np.cos(turn), np.sin(turn)]), (3, 1)) + np.column_stack(place)
    key, no = keys(np.arange(count, dtype=np.uint64)), np.zeros(count)
    shape = geometry.polygon_array(shapely.buffer(geometry.dots(xy), BODY * 2.4))
    flakes = Flakes(xy, no + 2.4, no.astype(int), key, no.astype(bool), key, no + 0.9, shape)

    def put(members, whose):
        work.append(len(members))
        return gathered(members, whose)

    def narrow(outlines, least):
        work.append(len(outlines))
        return necks(outlines, least)

    monkeypatch.setattr(land, "gathered", put)
    monkeypatch.setattr(clumping, "necks", narrow)
    monkeypatch.setattr(land, "necks", narrow)
    for mark in (key, np.where(np.arange(count) == 0, key + np.uint64(1), key)):
        work.clear()
        made = land.parted(replace(flakes, mark=mark), each, memory)
        assert len(made) == 3
        first, *asked = work
        assert first == (count if mark is key else count // 3)
        assert max(asked) == (3 if mark is key else 1)
        afresh = land.parted(replace(flakes, mark=mark), each, Clumps(each, 1.0))
        assert shapely.to_wkb(shapely.normalize(made)).tolist() == shapely.to_wkb(shapely.normalize(afresh)).tolist()


def test_of_two_large_ones_the_smaller_is_cut_back() -> None:
    """Neither goes and they are not one: a land lies between them, and no crumb is left of either."""
    each = limits(0.5, 0.4)
    near = shapes(shapely.box(0, 0, 20, 20), shapely.box(20.2, 4, 32, 16))
    state = np.full(2, land._NEW)
    made, _ = land._apart(near, state, each)
    assert len(made) == 2
    assert each.land_mm <= shapely.distance(*made) < each.land_mm + 0.1
    assert shapely.area(made).sum() == pytest.approx(20 * 20 + 11.5 * 12, rel=0.01)


def test_no_large_flake_of_a_mass_is_a_crisp_square() -> None:
    """They are less worked than single ones, but not cut by four strokes as small ones are."""
    count, each = 600, limits(0.5, 0.4)
    looks = Looks(
        least_mm=0.4, passes_mm=passes_mm(each), most_mm=6.0, round=0.3, torn=0.0, longer=np.zeros(3), along_deg=0.0,
        worked=0.4,
    )  # fmt: skip
    xy, no = np.column_stack([8.0 * np.arange(count), np.zeros(count)]), np.zeros(count)
    flakes = falling(looks, xy, no + 2.9, no.astype(int), key=keys(np.arange(count, dtype=np.uint64)), packed=no + 1)
    made = drawn(looks, flakes)
    assert (shapely.get_num_coordinates(shapely.simplify(made, 0.1)) > 5).all()


@pytest.mark.parametrize(("sides", "share"), [(1, 0.3), (3, 1.0)], ids=["two alone", "three together"])
def test_links_of_masses_hold_where_a_third_shares_them_and_elsewhere_mostly_break(sides, share) -> None:
    """Packed as thick as can be all that come near merge; so many hold of those that no third links: our choice."""
    count, each, no = 400, limits(0.5, 0.4), np.zeros(1200)
    corners = 2.4 * np.array([[0, 0], [1, 0], [0.5, np.sqrt(0.75)]])
    xy = np.tile(corners, (count, 1)) + np.repeat(np.column_stack([20.0 * np.arange(count), no[:count]]), 3, axis=0)
    key = keys(np.arange(3 * count, dtype=np.uint64))
    three = Flakes(xy, np.tile([1.5, 1.4, 1.3], count), no.astype(int), key, no.astype(bool), key, no + 1, no)
    first = 3 * np.arange(count)
    pairs = [(first + 1, first), (first + 2, first), (first + 2, first + 1)][:sides]
    merges = land._meetings(three, *(np.concatenate(lot) for lot in zip(*pairs, strict=True)), each).merges
    assert merges.mean() == pytest.approx(share, abs=0.07)


def test_what_is_cut_back_leaves_no_bit_beyond() -> None:
    """A bar stands across a shape; the tip on the far side, 0.7 x 0.6 mm, is less than three cuts squared."""
    shape = shapely.union_all([shapely.box(0, 0, 6, 3), shapely.box(6, 0, 9.7, 0.6)])
    both = shapes(shape, shapely.box(8, -5, 8.5, 5))
    (left,) = land._cut_back(both, np.array([0]), np.array([1]), limits(0.5, 0.4))
    assert shapely.bounds(left)[2] < 8


@pytest.mark.parametrize("packed", [0.0, 1.0])
def test_beside_the_largest_at_their_spot_go_those_that_would_go_beside_it_alone(packed) -> None:
    """A brute-force twin: each with the largest in its square, two lattices one after the other."""
    rng, count, each, view = np.random.default_rng(8), 250, limits(0.5, 0.4), np.array([3.1, -7.7])
    key, no = keys(np.arange(count, dtype=np.uint64)), np.zeros(count)
    xy, reach = rng.uniform(0, 9, (count, 2)), np.exp(rng.normal(-0.4, 0.5, count))
    many = Flakes(xy, reach, no.astype(int), key, no.astype(bool), key, no + packed, no)
    gone: set[int] = set()
    for shift in (0.0, 0.5):
        squares: dict[tuple[int, ...], list[int]] = {}
        for k in set(range(count)) - gone:
            squares.setdefault(tuple(np.floor((xy[k] + view) / (3 * each.cut_mm) + shift).astype(int)), []).append(k)
        for there in squares.values():
            largest = max(there, key=lambda k: reach[k])
            gone |= {k for k in there if k != largest and len(land.met(many.chosen(np.array([k, largest])), each)) == 1}
    assert np.flatnonzero(land.doomed(many, view, each)).tolist() == sorted(gone)
    assert 20 < len(gone) < count - 20


def test_draws_go_on_where_they_were() -> None:
    key = keys(3, np.arange(4))
    at_once, one_by_one = Draws(key).random(3), Draws(key)
    assert np.array_equal(at_once, np.column_stack([one_by_one.random() for _ in range(3)]))
    assert np.array_equal(at_once[:, 1:], Draws(key, drawn=1).random(2))
    assert len(np.unique(at_once)) == at_once.size


# ── what becomes of the smaller of two that are near ─────────────────────────────────────────────────────────────


def couples(away: float, large: float, small: float, *, packed: float = 0.0, torn: bool = False, count: int = 1500):
    """So many pairs far from one another, the larger before the smaller; and the numbers of both."""
    middle = np.column_stack([100.0 * np.arange(count), np.zeros(count)])
    xy = np.stack([middle, middle + np.array([away, 0.0])], axis=1).reshape(-1, 2)
    key, both = keys(np.arange(2 * count, dtype=np.uint64)), np.arange(2 * count)
    flakes = Flakes(
        xy=xy, reach=np.tile([large, small], count), layer=np.full(2 * count, 2), key=key,
        torn=np.full(2 * count, torn), mark=key, packed=np.full(2 * count, packed),
        shape=np.full(2 * count, None, dtype=object),
    )  # fmt: skip
    return flakes, both[1::2], both[::2]


AIR = limits(0.7, 0.4)  #: with what drawing needs 0.724 mm of land; flakes from 0.76 mm of reach on are no specks


@pytest.mark.parametrize(
    ("away", "packed", "share"),
    [(2.8, 0.0, 0.5), (2.8, 1.0, 0.3), (2.8, 0.3, 0.3 * 0.248), (2.26, 0.0, 0.5), (2.2, 0.0, 0.0), (3.26, 0.0, 0.0)],
)
def test_so_many_of_two_that_are_near_merge(away: float, packed: float, share: float) -> None:
    """Half in thin air; in a mass fewer at its rim, and of those that no third shares three in ten.

    A disc's reach towards another is 0.84 of it: from 0.724 + 0.84 * 3 mm on they are not near; where the smaller one
    lies in the other by 0.34 of its reach and more they are one as they are.
    """
    flakes, small, large = couples(away, 2.0, 1.0, packed=packed)
    made = land._meetings(flakes, small, large, AIR)
    assert made.merges.mean() == pytest.approx(share, abs=0.03)
    assert not made.gone.any()
    assert (made.scale == 1).all()
    if share in (0.5, 0.3):  # the others move off, or all but touch
        need = 0.724 - (away - 0.84 * 3)
        off = made.off[~made.merges] - 1.12 * need
        assert np.sqrt(off.clip(0) / (1.5 * 0.7)).mean() == pytest.approx(0.5, abs=0.04)
        assert off.min() == pytest.approx(0, abs=0.001)
        assert off.max() == pytest.approx(1.05, rel=0.02)
    else:
        assert (made.off[~made.merges] > 0).all() == (0 < share < 0.3)


@pytest.mark.parametrize(("away", "gone"), [(0.33, True), (0.34, False), (2.2, False)])
def test_what_lies_in_another_by_more_than_twice_and_a_half_its_reach_shows_nowhere(away: float, gone: bool) -> None:
    made = land._meetings(*couples(away, 2.0, 1.0, count=9), AIR)
    assert made.gone.tolist() == [gone] * 9
    assert not made.merges.any()


@pytest.mark.parametrize(
    ("away", "torn", "scale"), [(2.9, False, 0.8248), (2.762, False, 0.562), (2.749, False, None), (2.98, True, None)]
)
def test_a_speck_beside_a_large_one_shrinks_to_no_less_than_a_clump_of_crystals_may(away, torn, scale) -> None:
    """By 1.12 of what land is wanting, over 0.84; to 0.55 of its reach at the least, and what is torn not at all."""
    made = land._meetings(*couples(away, 2.0, 0.7, torn=torn), AIR)
    rest = ~made.merges
    assert rest.mean() == pytest.approx(0.5, abs=0.04)
    assert (made.off == 0).all()
    assert made.gone[rest].tolist() == [scale is None] * int(rest.sum())
    if scale is not None:
        assert made.scale[rest] == pytest.approx(scale, abs=0.001)
        assert (made.scale[made.merges] == 1).all()


def test_two_specks_never_merge() -> None:
    made = land._meetings(*couples(1.3, 0.75, 0.7), AIR)
    assert not made.merges.any()
    assert (land._meetings(*couples(1.3, 0.77, 0.7), AIR).merges.mean()) == pytest.approx(0.5, abs=0.04)


@pytest.mark.parametrize(("packed", "least"), [(0.0, 0.0), (1.0, 0.37)])
def test_those_that_merge_sink_in_by_up_to_their_reach_and_in_a_mass_no_less_than_a_third(packed, least) -> None:
    flakes, small, large = couples(2.8, 2.0, 1.0, packed=packed)
    made = land._meetings(flakes, small, large, AIR)
    left = land.met(flakes, AIR)
    assert len(left) == len(flakes)
    apart = (left.xy[small] - left.xy[large])[:, 0]
    assert apart[~made.merges] == pytest.approx(2.8 + made.off[~made.merges])
    sunk = 2 - apart[made.merges] / 0.84
    assert sunk.min() == pytest.approx(least, abs=0.01)
    assert sunk.max() == pytest.approx(1.0, abs=0.01)
    assert sunk.mean() == pytest.approx((1 + least) / 2, abs=0.03)
