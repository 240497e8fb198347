"""Flakes at the frame, as a cutter makes them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.geometry.narrow import narrow_places
from carvegen.motifs.snowfall import Settings, edge, falling
from carvegen.motifs.snowfall.sky import Sky
from tests.cases import disc, limits, shapes

FRAME = geometry.box(100, 75)
#: One of a heavy fall, cut off by the right side: it runs out beside it in two corners, one of 39 degrees.
CUT_OFF = shapely.Polygon(
    [
        (99.13, 53.245), (99.254, 53.394), (99.467, 53.478), (99.575, 53.654), (99.701, 53.8), (99.858, 53.92),
        (99.94, 54.3), (99.999, 54.9), (100.0, 54.9), (100.0, 52.622), (99.967, 52.616), (99.884, 52.619),
        (99.739, 52.653), (99.652, 52.696), (99.554, 52.778), (99.464, 52.901), (99.334, 52.94), (99.157, 53.065),
        (99.13, 53.245),
    ]
)  # fmt: skip

#: One cut off by the left side: its upper corner, of 40 degrees and thinner at the end, has less of an area than many a
#: blunt one that stays.
THIN = shapely.Polygon(
    [
        (0, 37.313), (0.001, 37.313), (0.07, 37.101), (0.087, 37.068), (0.115, 37.044), (0.891, 36.862),
        (1.409, 36.702), (2.014, 36.472), (2.405, 35.943), (2.313, 35.285), (2.131, 34.656), (0, 34.656),
    ]
)  # fmt: skip

#: The upper part of one that the left side cuts off, on side grain: the land above it ends in a tip of 62 degrees.
ON_GRAIN = shapely.Polygon(
    [
        (0, 69), (0, 71.056), (0.021, 71.062), (0.182, 71.149), (0.562, 71.447), (0.726, 71.535), (0.965, 71.619),
        (1.228, 71.655), (1.481, 71.62), (1.708, 71.522), (1.953, 71.322), (2.168, 71.031), (2.362, 70.542),
        (2.51, 69.913), (2.868, 69.415), (3.11, 69),
    ]
)  # fmt: skip

#: One that the left side cuts off, on side grain: the land below it ends in a blunt tip that bends.
BLUNT = shapely.Polygon(
    [
        (0, 282.169), (0, 283.913), (0.02, 283.918), (0.922, 284.121), (1.046, 284.065), (1.218, 284.044),
        (1.401, 283.956), (1.531, 283.823), (1.649, 283.678), (1.715, 283.616), (1.805, 283.39), (1.913, 282.742),
        (1.899, 282.524), (1.807, 282.321), (1.66, 282.154), (1.49, 282.013), (1.304, 281.882), (1.088, 281.771),
        (0.84, 281.715), (0.589, 281.761), (0.388, 281.92), (0.357, 281.957), (0.164, 282.115),
    ]
)  # fmt: skip

#: Two that the right side cuts off: the land between them ends blunt, in corners of 82 and of 74 degrees.
TWO = (
    shapely.Polygon(
        [
            (5, 2.36), (5, 4.44), (4.848, 4.483), (4.607, 4.491), (4.355, 4.444), (4.144, 4.297), (3.97, 4.104),
            (3.854, 3.869), (3.817, 3.611), (3.829, 3.355), (3.883, 3.107), (4.005, 2.885), (4.191, 2.718),
            (4.395, 2.592), (4.83, 2.39),
        ]
    ),
    shapely.Polygon(
        [
            (5, 5.213), (5, 7.052), (4.789, 6.963), (4.473, 6.715), (4.259, 6.418), (4.142, 6.068), (4.131, 5.874),
            (4.171, 5.678), (4.264, 5.497), (4.398, 5.34), (4.576, 5.233), (4.778, 5.195), (4.976, 5.208),
        ]
    ),
)  # fmt: skip


def tips(pieces: geometry.PolygonArray, cut_mm: float) -> np.ndarray:
    """How far what a round cutter leaves of each piece goes on from what it makes, mm."""
    made = edge.opened(pieces, cut_mm, quad_segs=16)
    left, owner = shapely.get_parts(shapely.difference(pieces, made), return_index=True)
    ends = [shapely.get_coordinates(one) for one in left]
    return np.array([shapely.distance(geometry.dots(xy), made[k]).max() for xy, k in zip(ends, owner, strict=True)])


@pytest.mark.parametrize("whole", [CUT_OFF, THIN])
def test_no_long_tip_is_left_at_the_frame(whole: shapely.Polygon) -> None:
    each = limits(0.15, 0.3)
    assert tips(shapes(whole), each.cut_mm).max() > each.cut_mm
    left = edge._reached(shapes(whole), FRAME, each)
    assert len(left) == 1
    assert tips(left, each.cut_mm).max() < each.cut_mm
    sides = np.array([0, 100])
    at_side = np.isin(shapely.bounds(whole)[[0, 2]], sides)
    assert (np.isin(shapely.bounds(left[0])[[0, 2]], sides) == at_side).all(), "it still runs out over the side"
    assert shapely.area(left[0]) > 0.7 * whole.area


def test_no_hair_is_left_at_the_frame() -> None:
    """A strip of a cut that is 0.003 mm wide is none, and joins no two corners that a cutter leaves.

    The corners of the box are each too small to be seen; on a string they would be taken off together.
    """
    for wide in (0.003, 0.005):
        bead = shapely.union_all([shapely.box(99.0, y, 100, y + 0.9) for y in (50, 53)])
        hairy = shapely.union(bead, shapely.box(100 - wide, 50, 100, 60))
        bare = geometry.parts(edge.without_hairs(shapes(hairy)))
        assert sorted(shapely.bounds(bare)[:, 3]) == pytest.approx([50.9, 53.9], abs=0.01)
        left = edge._reached(shapes(hairy), FRAME, limits(0.15, 0.3))
        assert shapely.area(left) == pytest.approx([0.9, 0.9], abs=0.05)
        assert shapely.bounds(left)[:, 3].max() < 54


def test_corners_that_only_rounding_joins_stay() -> None:
    """What no round cutter reaches of a turned triangle hangs together by hairs along its sides, thinner than 1e-9 mm.

    A corner of 60 degrees leaves (sqrt 3 - pi / 3) r², 0.17 cuts squared: each is too small to be seen, all three
    together would be taken off.
    """
    each, nth = limits(0.15, 0.3), np.arange(60)
    turn = np.radians(2.03 * nth)[:, None] + np.array([0, 2, 4]) * np.pi / 3
    places = np.stack([6 + nth % 8 * 11, 6 + nth // 8 * 8.5], axis=-1)[:, None]
    corners = np.round(places + 1.6 * np.stack([np.cos(turn), np.sin(turn)], axis=-1), 3)
    turned = edge.fine(geometry.parts(edge.without_hairs(shapely.polygons(corners))))
    missed = geometry.parts(shapely.difference(turned, edge.opened(turned, each.cut_mm + edge.SLACK_MM, quad_segs=8)))
    assert shapely.area(missed).max() > edge._CORNER * each.cut_mm**2, "some hang together"
    assert shapely.area(edge._reached(turned, FRAME, each)) == pytest.approx(shapely.area(turned), abs=1e-6)


@pytest.mark.parametrize(
    ("whole", "across", "asked_across", "grain"),
    [(ON_GRAIN, 0.977, 0.977, 25.0), (affinity.translate(BLUNT, 0, -220), 0.977, 0.8, 0.0)],
    ids=["along the grain", "on a shallower block"],
)
def test_a_corner_by_the_widest_land_may_be_a_tip_by_what_is_asked_there(
    whole: shapely.Polygon, across: float, asked_across: float, grain: float
) -> None:
    """A tip as short as the land across the grain is longer than what is asked in its own direction: it goes."""
    each = Limits(land_along_mm=0.5, land_across_mm=across, cut_mm=0.3, dot_mm=1.0, grain_deg=grain)
    asked = replace(each, land_across_mm=asked_across)

    def long(pieces: geometry.PolygonArray) -> int:
        land = geometry.parts(shapely.difference(FRAME, shapely.union_all(pieces)))
        result = narrow_places(geometry.rings(land), asked.land_mm, limit_at=asked.land_at)
        return int(np.count_nonzero(result.length > asked.land_at(result.direction_deg)))

    assert long(shapes(whole)) == 1
    left = edge._firm(shapes(whole), shapely.Polygon(), FRAME, each, unfilled=shapely.Polygon())
    assert long(left) == 0
    assert shapely.area(left).sum() > 0.8 * whole.area


def test_a_mass_that_reaches_far_in_is_left_as_it_is_where_only_its_end_at_the_edge_is_looked_at() -> None:
    """One of its sides runs flat across the line beyond which nothing is looked at, and leaves a sliver this side."""
    face, each = geometry.box(100, 60), limits(0.9, 0.3)
    line = 60 - 12 * each.land_mm
    mass = shapely.Polygon([(40, 61), (40, 30), (70, 30), (70, line - 0.2), (50, line + 0.25), (50, 61)])
    both = shapes(shapely.box(5, 57, 9, 62), mass)
    cuts = edge.bounded(both, face, face, each, Settings())
    wanted = shapely.intersection(shapely.union_all(both), face)
    assert shapely.area(shapely.symmetric_difference(shapely.union_all(cuts), wanted)) < 0.02


def test_of_a_mass_with_a_neck_that_the_cutter_does_not_pass_the_largest_part_stays() -> None:
    """The neck is narrower by a hair; all of such a mass, a seventh of the face, once went."""
    each = limits(0.7, 0.4)
    mass = shapely.union_all([shapely.box(-1, 10, 30, 40), shapely.box(30, 20, 32, 20.39), shapely.box(32, 17, 38, 23)])
    cuts = edge.bounded(shapes(mass), FRAME, FRAME, each, Settings())
    assert shapely.area(cuts).tolist() == pytest.approx([900], abs=0.2)
    assert tips(cuts, each.cut_mm).max(initial=0) < each.cut_mm


def test_two_corners_of_a_blunt_end_of_land_are_one_tip_for_the_coarse_measure_too() -> None:
    """The end is one and a half lands broad: a finer measure has one tip there, too long, and a coarse one had two."""
    each, face, nowhere = limits(0.5, 0.4), geometry.box(5, 10), shapely.Polygon()

    def long(pieces: geometry.PolygonArray) -> bool:
        land = geometry.parts(shapely.difference(face, shapely.union_all(pieces)))
        return bool((narrow_places(geometry.rings(land), each.land_mm).length > each.land_mm).any())

    flakes = shapes(*TWO)
    assert long(flakes)
    left = edge._firm(flakes, nowhere, face, each, unfilled=nowhere)
    assert not long(left)
    assert shapely.area(left).sum() > 0.9 * shapely.area(flakes).sum()


def test_a_round_cutter_misses_what_is_sharp_and_not_what_is_blunt() -> None:
    """A corner of angle a leaves r² (cot(a/2) - (pi - a)/2): all six of a hexagon 0.08 cuts squared, a triangle's 0.51.

    Of two strips with round ends it makes the one that is broader by a twentieth, and nothing of one that is narrower.
    """
    each = limits(0.15, 0.4)
    many = [affinity.translate(disc(0, 0, 3, points=n), 10 * n, 50) for n in (3, 6)]
    strip = shapely.LineString([(10, 20), (15, 20)])
    some, missed, _ = edge._missed(shapes(*many, strip.buffer(0.21), strip.buffer(0.19)), shapely.Polygon(), each)
    assert some.tolist() == [True, False, False, True]
    assert shapely.intersects(missed, many[1]).sum() == 0


def test_what_has_been_touched_is_looked_at_again_where_more_lies_round_it_now() -> None:
    """One of four among two hundred heavy falls: beside what was taken back the land was too narrow still."""
    each, settings = limits(0.819642, 0.753423), Settings(snow=0.490059, largest_mm=3.712791)
    sky = Sky(settings, each, 29, np.array([0.0, 0.0, 15.585299, 32.275005]))
    fallen = falling._fallen(sky, sky.level_of(1.3 * settings.snow))
    pieces = edge.bounded(fallen, sky.frame, sky.frame, each, settings)
    weak, specks = edge._weak(pieces, sky.frame, shapely.Polygon(), each)
    assert len(pieces) > 0
    assert len(weak) == len(specks) == 0


@pytest.mark.parametrize(("seen", "stays"), [(0.35, False), (0.45, False), (0.55, True), (0.8, True)])
def test_a_flake_behind_a_thing_goes_where_less_than_half_of_it_is_seen(seen, stays) -> None:
    """By area; what the frame cuts off is not asked for, and a mass stays however much of it is hidden."""
    post, side = geometry.box(20, 75), np.linspace(0, 1, 400)
    share = np.array([shapely.area(shapely.difference(disc(20 - 2 + 4 * at, 30, 2), post)) for at in side]) / (
        4 * np.pi
    )
    x = 18 + 4 * float(side[np.argmin(np.abs(share - seen))])
    flakes = shapes(disc(x, 30, 2), disc(x, 75.2, 2), disc(50, 0.8, 2), disc(20, 50, 6))
    area = shapely.difference(FRAME, post)
    left = edge.bounded(flakes, area, FRAME, limits(0.5, 0.4), Settings(hidden=1.0))
    assert len(left) == 2 + 2 * stays
    assert shapely.area(left).max() > 40
    hides = [(post, np.array([True, True, False, True]))]
    assert len(edge.bounded(flakes, FRAME, FRAME, limits(0.5, 0.4), Settings(), hides=hides)) == 2 + 2 * stays


def test_one_bite_parts_two_by_the_land_where_the_land_between_them_can_t_be_cut_away() -> None:
    """Both are taken back by half the land and a little: were it a little less, they would be bitten once more."""
    each, face = limits(1.5, 0.6), geometry.box(60, 60)
    two = shapes(shapely.box(15, 20, 20, 20.9), shapely.box(20.06, 20, 25.06, 20.9))
    left = edge._firm(two, shapely.Polygon(), face, each, unfilled=face)
    assert each.land_mm < shapely.distance(*left) < 1.1 * each.land_mm


def test_what_stays_narrow_is_filled_twice_bitten_thrice_ever_further_and_then_goes(monkeypatch) -> None:
    each, face, bites = limits(1.0, 0.4), geometry.box(60, 60), list[float]()
    fills = list[int]()

    def weak(pieces, *_):
        return shapes(*[disc(30, 30, 0.5)] * bool(len(pieces))), geometry.empty()

    def filled(pieces, *_, **__):
        fills.append(len(bites))
        return pieces

    def reached(left, *_):
        bites.append(32 - shapely.area(left).sum())
        return shapes(shapely.box(26, 26, 34, 30))

    for name, done in (("_weak", weak), ("_filled", filled), ("_reached", reached)):
        monkeypatch.setattr(edge, name, done)
    left = edge._firm(shapes(shapely.box(26, 26, 34, 30)), shapely.Polygon(), face, each, unfilled=face)
    assert len(left) == 0
    assert fills == [0, 0]
    assert bites == pytest.approx([np.pi / 2 * (0.5 + each_ * 0.5) ** 2 for each_ in (1, 1.5, 2)], rel=0.15)
