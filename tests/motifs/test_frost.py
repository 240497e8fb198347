"""What the frost claims: it keeps land and cut everywhere, grows from what it is told, falls off, never repeats."""

from __future__ import annotations

import dataclasses
from dataclasses import replace
from itertools import pairwise
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial import cKDTree

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.blocks.block import Block
from carvegen.blocks.from_motif import Ground, grown_block, strictest
from carvegen.blocks.job import setups_for
from carvegen.checks import checked
from carvegen.facts.profiles import Library
from carvegen.geometry.narrow import narrow_places
from carvegen.geometry.necks import necks
from carvegen.motifs import frost
from carvegen.motifs.frost import bridges
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.branching import BranchingHabit
from carvegen.motifs.frost.bridges import PER_MM, _course, _path, _side_path, _with_fork
from carvegen.motifs.frost.growing import Pane
from carvegen.motifs.frost.regrowing import _at_stubs, regrown
from carvegen.motifs.frost.seeding import Sowing
from carvegen.motifs.frost.stubs import Bridge, Severed, Stub, _ends, severed
from carvegen.motifs.growth import Place
from tests.cases import once, shapes
from tests.strategies import MANY, few, takes_long

LAND, CUT = 0.7, 0.4
LIMITS = Limits(land_along_mm=LAND, land_across_mm=LAND, cut_mm=CUT, dot_mm=1.0)
SIZE = (90.0, 70.0) if MANY else (66.0, 50.0)
FACE = shapely.box(0, 0, *SIZE)
SMALL = shapely.box(0, 0, 55, 40) if MANY else shapely.box(0, 0, 22, 16)
BOAT = shapely.Polygon([(30, 25), (58, 23), (66, 34), (60, 33), (44, 35), (28, 36)]).buffer(2).buffer(-1)
GRID = geometry.GRID_MM


def grow(preset: str = "ferns", seed: int = 1, *, area: shapely.Polygon = FACE, place: Place | None = None, **values):
    """On a bare area each is grown once in a run of the tests."""
    settings = frost.Settings(**{**frost.PRESETS[preset], **values})
    if place:
        return frost.grow(settings, place, LIMITS, stream(seed, "pane", "frost")).cuts
    return once(("pane", settings, seed, area.wkt), lambda: grow_afresh(settings, seed, area))


def grow_afresh(settings: frost.Settings, seed: int, area: shapely.Polygon = FACE):
    return frost.grow(settings, Place(area=area), LIMITS, stream(seed, "pane", "frost")).cuts


def block(cuts) -> Block:
    return Block(name="pane", width_mm=SIZE[0], height_mm=SIZE[1], cuts=cuts)


def longest_way_in(cuts, edge) -> np.ndarray:
    """How far each crystal reaches from the edge."""
    return np.array([max(edge.distance(p) for p in shapely.points(shapely.get_coordinates(cut))) for cut in cuts])


def thin_bridges(cuts, limit: float) -> int:
    """Brute force: pairs of points on outlines, nearer than `limit` with land between, but far along the outline.

    Round the bottom of an inlet, an arc of radius w/2, points are at most pi/2 times further apart along it
    than across; twice the limit is beyond that.
    """
    xy, ring, along, total = [], [], [], []
    for k, cut in enumerate(cuts):
        line = cut.exterior
        at = np.arange(0, line.length, 0.12)
        xy.append(shapely.get_coordinates(shapely.line_interpolate_point(line, at)))
        ring.append(np.full(len(at), k))
        along.append(at)
        total.append(np.full(len(at), line.length))
    xy, ring, along, total = map(np.concatenate, (xy, ring, along, total))
    i, j = cKDTree(xy).query_pairs(limit, output_type="ndarray").T
    apart = np.abs(along[i] - along[j])
    far = (ring[i] != ring[j]) | (np.minimum(apart, total[i] - apart) > 2 * limit)
    middle = shapely.points((xy[i[far]] + xy[j[far]]) / 2)
    on_land = ~shapely.contains(shapely.union_all(cuts), middle)
    return int((on_land & shapely.contains(FACE.buffer(-GRID), middle)).sum())


@pytest.mark.parametrize("preset", few(sorted(frost.PRESETS), 1))
@pytest.mark.parametrize("seed", [1, 2] if MANY else [1])
def test_nothing_is_too_narrow_by_three_ways_to_measure(preset, seed) -> None:
    face = FACE if MANY else SMALL
    cuts = grow(preset, seed, area=face)
    assert len(cuts) > 5
    assert all(cut.geom_type == "Polygon" and cut.is_valid and not cut.interiors for cut in cuts)
    assert shapely.covers(face.buffer(GRID), cuts).all()
    assert len(necks(block(cuts).land_rings, LAND)) == 0
    assert len(narrow_places(block(cuts).land_rings, LAND)) == 0
    assert thin_bridges(cuts, 0.97 * LAND) == 0
    i, j, _ = geometry.close_pairs(cuts, LAND - 1e-9)
    assert len(i) == len(j) == 0
    shrunk = shapely.buffer(cuts, -(CUT / 2 - GRID), quad_segs=16)
    assert (shapely.get_num_geometries(shrunk) == 1).all()
    assert not shapely.is_empty(shrunk).any()


def test_brute_force_finds_a_bridge_that_is_too_thin() -> None:
    u = shapely.LineString([(10, 10), (10, 20), (10.9, 20), (10.9, 10)]).buffer(0.2)
    assert thin_bridges(geometry.polygon_array([u]), 0.97 * LAND) > 0


#: Presets take turns; each under both setups where there is time for many.
UNDER = [
    (preset, *side)
    for k, preset in enumerate(sorted(frost.PRESETS))
    for m, side in enumerate([("basswood", "v-60"), ("linoleum", "laser-fine")])
    if MANY or (m == k % 2 and k < 2)
]


@takes_long  # laws/test_motifs.py says it of every motif
@pytest.mark.parametrize(("preset", "material", "cutter"), UNDER)
def test_checks_find_nothing_on_a_block(preset, material, cutter) -> None:
    setups = setups_for(Library(), material=material, cutter=cutter)
    settings, each = frost.Settings(**frost.PRESETS[preset]), strictest(way.limits for way in setups)
    width, height = (55.0, 40.0) if MANY else (32.0, 24.0)
    ground = Ground(name="pane", width_mm=width, height_mm=height)
    made = grown_block(ground, settings, each, stream(5, "pane", "frost"), by="frost")
    assert len(made.cuts) > 0
    result = [
        f for setup_ in setups for f in checked(setup_.on(made)).findings if f.rule in ("land-width", "cut-width")
    ]
    assert result == []


def test_cutting_with_a_round_tool_loses_only_corners_at_the_edge() -> None:
    face = FACE if MANY else SMALL
    cuts = grow(sorted(frost.PRESETS)[0], 1, area=face)
    tool = shapely.buffer(shapely.buffer(cuts, -0.98 * CUT / 2, quad_segs=32), 0.98 * CUT / 2, quad_segs=32)
    lost = geometry.parts(shapely.difference(cuts, tool))
    inside = shapely.contains_properly(face.buffer(-CUT), lost)
    assert inside.any(), "else nothing is tried here"
    assert shapely.area(lost[inside]).max(initial=0) < 0.02 * CUT**2


@takes_long  # test_recorded.py has both
def test_joined_feet_open_to_the_edge_and_free_ones_leave_it() -> None:
    assert shapely.intersects(FACE.exterior, grow()).all()
    made = grow(free=True)
    assert len(made) > 10
    assert shapely.contains(FACE, made).all()
    width, height = SMALL.bounds[2:]
    ground = Ground(name="pane", width_mm=width, height_mm=height)
    loose = grown_block(ground, frost.Settings(free=True), LIMITS, stream(1, "x"), by="frost").cuts
    assert shapely.distance(loose, SMALL.exterior).min() >= LAND - 1e-9


@pytest.mark.parametrize("free", [False, True])
def test_it_grows_out_of_a_shape_and_only_from_it(free) -> None:
    boat = geometry.polygon_array([BOAT])
    cuts = grow(place=Place(area=FACE, shapes=boat), free=free, feather_mm=12)
    away = shapely.distance(cuts, BOAT)
    assert len(cuts) > 5
    assert shapely.area(shapely.intersection(cuts, BOAT)).max() < 1e-3
    assert ((away >= LAND - GRID) & (away < 3 * LAND)).all() if free else (away <= 2 * GRID).all()
    assert shapely.distance(cuts, FACE.exterior).min() >= LAND - GRID


def test_it_grows_into_a_shape_if_told() -> None:
    window = shapely.box(8, 6, 62, 48)
    cuts = grow(place=Place(area=FACE, shapes=geometry.polygon_array([window])), inward=True)
    assert len(cuts) > 10
    assert shapely.covers(window.buffer(GRID), cuts).all()
    assert shapely.intersects(window.exterior.buffer(GRID), cuts).all()


def test_no_two_crystals_are_alike() -> None:
    cuts = grow(sorted(frost.PRESETS)[0], 1)
    centred = [shapely.get_coordinates(cut) - shapely.get_coordinates(cut.centroid) for cut in cuts]
    assert len({np.round(np.sort(np.hypot(*xy.T)), 2).tobytes() for xy in centred}) == len(cuts)


@pytest.mark.parametrize("preset", few(sorted(frost.PRESETS), 1))
def test_the_front_is_uneven_and_within_reach(preset) -> None:
    reach = longest_way_in(grow(preset, 1), FACE.exterior)
    assert reach.max() <= frost.Settings(**frost.PRESETS[preset]).reach_mm
    assert reach.std() / reach.mean() > 0.4
    assert reach.max() > 2.5 * np.median(reach)


def test_cover_falls_off_from_the_edge() -> None:
    face = shapely.box(0, 0, 130, 100) if MANY else FACE
    whole = shapely.union_all(np.concatenate([grow(seed=s, area=face) for s in few((1, 2), 1)]))
    bands = [face.buffer(-a).difference(face.buffer(-a - 8)) for a in range(1, 34 if MANY else 18, 8)]
    cover = [whole.intersection(band).area / band.area for band in bands]
    assert all(near > far for near, far in pairwise(cover))


def test_rime_takes_the_edge_between_feathers() -> None:
    none, full = (
        shapely.area(grow(area=shapely.box(0, 0, 24, 18), gaps=0.5, feather_mm=8.0, rime=share)).sum()
        for share in (0.0, 1.0)
    )
    assert full > 1.1 * none


@takes_long  # test_recorded.py has settings of frost but for its rime: above
def test_settings_do_what_they_say() -> None:
    on = SMALL

    def area(**values) -> float:
        return sum(shapely.area(grow(seed=s, area=on, **values)).sum() for s in range(2 if MANY else 1))

    usual = area()
    assert area(gaps=0.8) < 0.8 * usual
    assert area(branching=0.0) < 0.9 * usual
    assert area(density=0.1) < usual
    assert area(feather_mm=8) < usual
    assert area(rime=1.0) > usual


def test_stars_lie_in_the_open_and_are_small() -> None:
    face = FACE if MANY else shapely.box(0, 0, 44, 34)
    cuts = grow(area=face, stars=1.0, feather_mm=8.0, gaps=0.5)
    loose = cuts[~shapely.intersects(face.exterior, cuts)]
    assert len(loose) > 3
    assert shapely.distance(loose, face.exterior).min() >= LAND - GRID
    assert (2 * shapely.minimum_bounding_radius(loose)).max() < 30
    assert len(necks(block(cuts).land_rings, LAND)) == 0
    none = grow(area=face, stars=0.0, feather_mm=8.0, gaps=0.5)
    assert shapely.intersects(face.exterior, none).all()


def test_a_face_without_room_gives_nothing_and_no_face_an_error() -> None:
    assert len(grow(place=Place(area=shapely.box(0, 0, 1.0, 1.0)))) == 0
    with pytest.raises(InputError, match="no room"):
        grow(place=Place(area=shapely.Polygon()))


def test_settings_out_of_range_are_refused() -> None:
    with pytest.raises(InputError, match="curve"):
        frost.Settings(curve=1.5)
    assert dataclasses.asdict(frost.Settings())["free"] is False


def stub(at: tuple[float, float], degrees: float) -> Stub:
    ahead = np.array([np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    across = 0.5 * np.array([-ahead[1], ahead[0]])
    return Stub(at=np.array(at), ahead=ahead, half=0.5, end=shapely.LineString([at - across, at + across]))


@pytest.mark.parametrize(("tip", "degrees"), [((20.0, 5.0), 180.0), ((3.0, 17.0), -70.0)])
def test_a_stem_leads_from_stub_to_stub_as_a_cubic_of_both_directions(tip, degrees) -> None:
    """Against SciPy's cubic Hermite spline: it passes through the ends with these derivatives."""
    root, other, pull = stub((2.0, 1.0), 30.0), stub(tip, degrees), np.array([0.9, 1.2])
    course = _course(root, other, swing=0.0, pull=pull, step=0.1)
    far = np.hypot(*(other.at - root.at))
    cubic = CubicHermiteSpline([0, 1], [root.at, other.at], [far * pull[0] * root.ahead, -far * pull[1] * other.ahead])
    beyond = other.at - other.ahead * (other.half + 0.1)
    twin = shapely.LineString([*cubic(np.linspace(0, 1, 2000)), beyond])
    assert shapely.distance(geometry.dots(course), twin).max() < 0.01
    assert np.allclose(np.hypot(*np.diff(course, axis=0).T), 0.1, atol=0.005)
    assert np.hypot(*(course[-1] - beyond)) < 0.1


@pytest.mark.parametrize(("middle", "side"), [((3.0, 9.0), 1), ((3.0, -9.0), -1)])
def test_a_stout_stem_on_a_short_path_forks_sixty_degrees_towards_the_middle_and_a_thin_one_does_not(middle, side):
    """Its path runs along x: what lies above is on its left. The middle of the mark lies above, then below."""
    path = np.column_stack([0.1 * np.arange(51), np.zeros(51)])
    crystal, stem = Crystals.none(), Arms.none()
    crystal = Crystals(*(np.zeros((1, *column.shape[1:]), column.dtype) for column in vars(crystal).values()))
    stem = Arms(*(np.zeros((1, *column.shape[1:]), column.dtype) for column in vars(stem).values()))
    pane = SimpleNamespace(least=0.2, step=0.1, settings=SimpleNamespace(reach_mm=60.0))

    def arms(planned_mm: float) -> Arms:
        chance = SimpleNamespace(normal=lambda *_: 0.0)
        root = dataclasses.replace(stub((0.0, 0.0), 0.0), half=pane.least + planned_mm * PER_MM)
        return _with_fork(pane, root, crystal, stem, chance, path=path, middle=np.array(middle))

    assert len(arms(1.4 * 5.1)) == 1
    fork = arms(1.6 * 5.1).chosen(np.array([1]))
    assert (fork.side[0], fork.parent[0], fork.sprung_at[0]) == (side, 0, pytest.approx(fork.tip[0][0]))
    assert np.degrees(fork.turn[0]) == pytest.approx(60 * side)
    assert fork.tip[0].tolist() in path.tolist()


@pytest.mark.parametrize(("usual", "forks"), [(1.5 * 5.1 * np.exp(0.2), 0.84), (1.5 * 5.1 * np.exp(-0.2), 0.16)])
def test_of_stems_a_fifth_stouter_or_thinner_than_forks_some_do_and_some_do_not(usual: float, forks: float) -> None:
    """One in six lies more than one standard deviation to one side."""
    path = np.column_stack([0.1 * np.arange(51), np.zeros(51)])
    ones = (cls.none() for cls in (Crystals, Arms))
    crystal, stem = (
        type(one)(*(np.zeros((1, *column.shape[1:]), column.dtype) for column in vars(one).values())) for one in ones
    )
    pane: Any = SimpleNamespace(least=0.2, step=0.1, settings=SimpleNamespace(reach_mm=60.0))
    root, rng = dataclasses.replace(stub((0.0, 0.0), 0.0), half=0.2 + usual * PER_MM), np.random.default_rng(1)
    many = [len(_with_fork(pane, root, crystal, stem, rng, path=path, middle=np.array([3.0, 9.0]))) for _ in range(600)]
    assert many.count(2) / 600 == pytest.approx(forks, abs=0.05)


# ── what is left where a region is taken out ─────────────────────────────────────────────────────────────────────


def stem(*xy: tuple[float, float], half: float = 1.0) -> shapely.Geometry:
    return shapely.LineString(xy).buffer(half, cap_style="flat")


UPRIGHT, SHORT = stem((50, 0), (50, 60)), stem((50, 0), (50, 40))
ARCH = shapely.union_all([stem((40, 0), (40, 20)), stem((60, 0), (60, 20)), stem((39, 20), (61, 20))])
FORKED = shapely.union_all([UPRIGHT, stem((50, 30), (80, 60)), stem((50, 30), (35, 40))])


@pytest.mark.parametrize(
    ("crystal", "region", "ice", "free", "bridges"),
    [
        # a stem whose upper end lies beyond what is grown anew is bridged, else it is open
        (UPRIGHT, (40, 15, 60, 25), [(0, 15), (25, 60)], [], [[(50, 15), (50, 25)]]),
        (SHORT, (40, 15, 60, 25), [(0, 15)], [(50, 15)], []),
        # where its foot goes it is bridged from there; nothing is left of one that does not reach beyond
        (UPRIGHT, (40, 0, 60, 10), [(10, 60)], [], [[(50, 0), (50, 10)]]),
        (SHORT, (40, 0, 60, 10), [], [], []),
        # it stays where its flank is grazed, or where less than four breadths are cut out
        (UPRIGHT, (40, 15, 49.4, 25), [(0, 60)], [], []),
        (UPRIGHT, (40, 15, 60, 22.9), [(0, 60)], [], []),
        (UPRIGHT, (40, 15, 60, 23.1), [(0, 15), (23.1, 60)], [], [[(50, 15), (50, 23.1)]]),
        # both sides of an arch stand, each with an open end
        (ARCH, (45, 10, 55, 30), [(0, 21), (0, 21)], [(45, 20), (55, 20)], []),
        # the broadest of what hung on it comes first; what lies in the zone has gone
        (FORKED, (40, 28, 60, 36), [(0, 28), (29.6, 60.7), (36, 60)], [], [[(50, 28), (50, 36), (57, 35.6)]]),
        # what stands on no edge is held by its larger part
        (stem((50, 20), (50, 60)), (40, 35, 60, 38), [(38, 60)], [(50, 38)], []),
        (stem((50, 0), (50, 60), half=0.19), (40, 15, 60, 25), [(25, 60)], [], [[(50, 15), (50, 25)]]),
    ],
)
def test_what_stays_of_a_crystal_and_where_it_may_grow_on(crystal, region, ice, free, bridges) -> None:
    face, zone = shapely.box(0, 0, 100, 80), shapely.box(30, 0, 70, 45)
    left = severed(
        geometry.polygon_array([crystal]), shapely.box(*region), zone, shapely.boundary(face), depth_mm=0.5,
        least_mm=0.4,
    )  # fmt: skip
    heights = sorted(tuple(shapely.bounds(piece)[[1, 3]].tolist()) for piece in left.ice)
    assert heights == [pytest.approx(each, abs=0.06) for each in ice]
    assert [one.at.tolist() for one in left.open] == [pytest.approx(each, abs=0.1) for each in free]
    assert len(left.bridges) == len(bridges)
    for one, ends in zip(left.bridges, bridges, strict=True):
        for end, at in zip((one.root, *one.tips), ends, strict=True):
            assert end.at == pytest.approx(at, abs=0.5)
        assert one.root.ahead == pytest.approx([0, 1], abs=0.01)
        assert one.tips[0].ahead == pytest.approx([0, -1], abs=0.01)
        assert one.root.half == pytest.approx(one.tips[0].half)
    assert all(not one.aslant for one in left.stubs)


@pytest.mark.parametrize(("along", "aslant"), [(8.0, True), (4.9, True), (4.4, False), (0.0, False)])
def test_a_stem_that_is_cut_aslant_springs_from_its_flank(along: float, aslant: bool) -> None:
    """A stem 2 mm broad, cut over so much of its length: from 4.6 mm on the sine is below 0.4.

    Then what springs there is three tenths as broad as the cut, square to it; else as broad as the stem.
    """
    cut = shapely.LineString([(30, 0), (30 + along, 2)])
    square = np.array([2, -along]) / cut.length
    for line in (cut, cut.reverse()):
        (one,) = _ends(shapely.Polygon([(0, 0), (30, 0), (30 + along, 2), (0, 2)]), line)
        assert one.aslant == aslant
        assert one.at == pytest.approx([30 + along / 2, 1])
        assert one.half == pytest.approx(0.15 * cut.length if aslant else 1.0, rel=0.05)
        assert one.ahead == pytest.approx(square if aslant else [1, 0], abs=0.05)


@pytest.mark.parametrize(("free", "on", "apart"), [(True, 0, 0.0), (True, 1, 0.7), (False, 0, 0.7), (False, 1, 0.7)])
def test_only_stars_on_a_bare_pane_run_out_over_its_edge(free: bool, on: int, apart: float) -> None:
    each: Any = SimpleNamespace(
        land=0.7, settings=SimpleNamespace(free=free), place=SimpleNamespace(shapes=[BOAT] * on)
    )
    assert Pane.wall_gap.fget(each) == apart  # type: ignore[attr-defined]


PANE: Any = SimpleNamespace(least=0.2, land=0.5, step=0.1, habit=SimpleNamespace(apart=0.9, shortest=1.28))


@pytest.mark.parametrize(
    ("along", "across", "passes"),
    [(0, 0, True), (-4.1, 0, True), (-4.3, 0, False), (0, 0.74, True), (0, 0.76, False), (0, -0.74, True),
     (0, -0.76, False), (9, 0, False)],
)  # fmt: skip
def test_what_grows_on_passes_an_outline_about_as_broad_as_the_stub_and_three_breadths_behind_it(
    along, across, passes
) -> None:
    one = dataclasses.replace(stub((10.0, 20.0), 90.0), half=0.5)
    at = one.at + along * one.ahead + across * np.array([one.ahead[1], -one.ahead[0]])
    assert _at_stubs(PANE, at[None], Severed(ice=geometry.empty(), open=(one,))).tolist() == [passes]


def test_stubs_that_are_near_or_shut_off_from_each_other_are_not_bridged() -> None:
    """From four distances of thin arms and a breadth on they are; a wall between them leaves no path."""
    root, rng = stub((0.0, 0.0), 0.0), np.random.default_rng(1)
    for far, leads in ((4.5, False), (4.7, True), (12.0, True)):
        assert (_path(PANE, root, stub((far, 0.0), 180.0), [shapely.Point(-90, 0)], rng) is not None) == leads
    wall = shapely.box(5.9, -30, 6.1, 30)
    assert _path(PANE, root, stub((12.0, 0.0), 180.0), [wall], rng) is None
    past = _path(PANE, root, stub((12.0, 0.0), 180.0), [shapely.box(5.9, -30, 6.1, -1.5)], rng)
    assert past is not None
    assert shapely.LineString(past).distance(shapely.box(5.9, -30, 6.1, -1.5)) > 0.5 + 0.5


@pytest.mark.parametrize("side", [1, -1])
def test_a_side_stem_leaves_the_trunk_at_about_sixty_degrees(side: int) -> None:
    """To a stub 8 mm aside, 14 mm along: it springs where it can lead there; to one next to the trunk none."""
    trunk = np.column_stack([0.1 * np.arange(201), np.zeros(201)])
    tip = stub((14.0, 8.0 * side), -90.0 * side)
    along, path = _side_path(PANE, trunk, tip, [], np.random.default_rng(1), root=stub((0, 0), 0.0), half=0.5) or (0, 0)
    lean = np.degrees(np.arctan2(8.0, 14.0 - along))
    assert 40 < lean < 61
    leaves = np.diff(path[:6], axis=0).sum(axis=0)
    assert np.degrees(np.arctan2(*leaves[::-1])) * side == pytest.approx(min(60, lean + 11.5), abs=12)
    assert path[0] == pytest.approx([along, 0], abs=0.01)
    short = trunk[:30]  # a side-stem keeps two distances of arms from either end: 18 steps
    assert _side_path(PANE, short, tip, [], np.random.default_rng(1), root=stub((0, 0), 0.0), half=0.5) is None
    near = stub((14.0, 1.0 * side), -90.0 * side)
    assert _side_path(PANE, trunk, near, [], np.random.default_rng(1), root=stub((0, 0), 0.0), half=0.5) is None


WHOLE, BROKEN = stem((20, 0), (20, 40), half=0.7), stem((20, 0), (20, 24), half=0.7)


@pytest.mark.parametrize(
    ("ice", "mark", "beside", "new_mm2"),
    [
        (WHOLE, (14, 12, 26, 26), None, (15, 40)),
        (BROKEN, (14, 10, 26, 22), (22.5, 5, 23.5, 35), (5, 40)),
        (stem((35, 0), (35, 3)), (4, 0, 16, 6), None, (15, 40)),
    ],
)
def test_in_a_mark_frost_grows_on_from_what_was_cut_and_from_the_panes_edge(ice, mark, beside, new_mm2) -> None:
    """Within a flake and a land of the mark, as broad as a cut, and a land from all else."""
    pane, mark, flake = shapely.box(0, 0, 40, 40), shapely.box(*mark), 8.0
    zone, others = shapely.buffer(mark, flake + LAND), geometry.polygon_array([shapely.box(*beside)] if beside else [])
    done = regrown(
        geometry.polygon_array([ice]), others, mark=mark, zone=zone, settings=frost.Settings(**frost.PRESETS["ferns"]),
        place=Place(area=pane), limits=LIMITS, rng=np.random.default_rng(1), flake_mm=flake,
    )  # fmt: skip
    new, stays = shapely.union_all(done.new), shapely.union_all(done.ice)
    assert shapely.difference(new, zone).area < 1e-6
    assert new_mm2[0] < new.area < new_mm2[1]
    assert shapely.difference(shapely.intersection(new, stays), mark.buffer(2.5)).is_empty, "only stubs are grown upon"
    assert len(done.ends) == 0, "something grows on from every stub"
    grown = shapely.union_all([new, stays]).buffer(GRID)
    assert shapely.dwithin(geometry.parts(grown), shapely.union_all([stays, pane.exterior]), 0.01).all()
    made = shapely.buffer(shapely.buffer(done.new, -(CUT / 2 - GRID), quad_segs=16), CUT / 2, quad_segs=16)
    assert shapely.area(shapely.difference(new, shapely.union_all([*made, stays.buffer(CUT)]))) < 0.3
    assert len(others) == 0 or shapely.distance(others, new).min() >= LAND - GRID


def test_a_mark_beside_the_pane_grows_no_frost_and_takes_none() -> None:
    ice, mark = geometry.polygon_array([WHOLE]), shapely.box(50, 12, 60, 26)
    zone, settings = shapely.buffer(mark, 20), frost.Settings(**frost.PRESETS["ferns"])
    done = regrown(
        ice, geometry.empty(), mark=mark, zone=zone, settings=settings,
        place=Place(area=shapely.box(0, 0, 40, 40)), limits=LIMITS, rng=np.random.default_rng(1), flake_mm=8.0,
    )  # fmt: skip
    assert done.ice.tolist() == ice.tolist()
    assert len(done.new) == len(done.ends) == 0


def test_where_other_white_lies_all_over_the_mark_no_frost_grows_and_what_was_cut_has_its_ends() -> None:
    ice, mark = geometry.polygon_array([stem((20, 0), (20, 24))]), shapely.box(14, 12, 26, 30)
    zone, settings = shapely.buffer(mark, 2), frost.Settings(**frost.PRESETS["ferns"])
    done = regrown(
        ice, geometry.polygon_array([shapely.buffer(zone, 1)]), mark=mark, zone=zone, settings=settings,
        place=Place(area=shapely.box(0, 0, 40, 40)), limits=LIMITS, rng=np.random.default_rng(1), flake_mm=8.0,
    )  # fmt: skip
    assert len(done.new) == 0
    assert shapely.get_coordinates(shapely.centroid(done.ends)).tolist() == [pytest.approx([20, 12], abs=0.1)]


def test_what_lies_behind_a_stub_is_on_its_stems_side_of_the_cut() -> None:
    one = stub((10.0, 20.0), 90.0)
    behind = one.behind(2.0)
    assert shapely.bounds(behind) == pytest.approx([8, 18, 12, 20], abs=0.1)
    assert behind.area == pytest.approx(2 * np.pi, rel=0.06)
    assert dataclasses.replace(one, ahead=-one.ahead).behind(2.0).bounds == pytest.approx([8, 20, 12, 22], abs=0.1)


def test_stems_of_several_bridges_are_numbered_on_and_what_cannot_be_led_is_told() -> None:
    """The stoutest first; each side-stem springs from its own trunk, no stouter than it and no thinner than an arm."""
    gaps = tuple(
        Bridge(
            root=replace(stub((0.0, y), 0.0), half=half),
            tips=(stub((20.0, y), 180.0), replace(stub((14.0, y + 8.0), -90.0), half=half)),
        )
        for y, half in ((0.0, 0.4), (60.0, 0.6))
    )
    lost = Bridge(root=stub((0.0, 120.0), 0.0), tips=(stub((12.0, 120.0), 180.0),))
    wall = shapely.box(5.9, 90, 6.1, 150)
    sown = list[Any]()
    thicket: Any = SimpleNamespace(grow=lambda *each: sown.append(each))
    habit = BranchingHabit(
        land=0.5, least=0.2, step=0.1, branching=1.0, breadth=0.5, plumes=0.5, curve=0.0, flare=True, reach=60.0,
        density=lambda xy: np.ones(len(xy)),
    )  # fmt: skip
    sowing = Sowing(habit=habit, stem_mm=2.0, patch_mm=20.0, inset_mm=None)
    pane: Any = SimpleNamespace(
        **vars(PANE) | {"habit": habit, "sowing": sowing, "settings": frost.Settings(reach_mm=1.0)}
    )
    rng: Any = np.random.default_rng(1)
    without = bridges.bridge(
        thicket, pane, (gaps[0], lost, gaps[1]), rng, fixed=shapes(wall), middle=np.array([9.0, 3])
    )
    assert [each.at for each in without] == [lost.root.at]
    ((crystals, arms, paths),) = sown
    assert len(crystals) == 2
    assert arms.crystal.tolist() == [0, 0, 1, 1]
    assert arms.parent.tolist() == [-1, 0, -1, 2]
    assert sorted(paths) == [0, 1, 2, 3]
    assert [paths[k][0, 1] for k in (0, 2)] == pytest.approx([60, 0], abs=0.01)
    assert arms.root[[0, 2]] == pytest.approx([0.6, 0.4])
    assert arms.root[[1, 3]] == pytest.approx([0.8 * 0.6, 0.8 * 0.4])
    for k in (1, 3):
        trunk = paths[k - 1]
        assert paths[k][0] == pytest.approx(trunk[round(arms.sprung_at[k] / PANE.step)], abs=0.02)
