"""What the frost claims: it keeps land and cut everywhere, grows from what it is told, falls off, never repeats."""

from __future__ import annotations

import dataclasses
from itertools import pairwise
from types import SimpleNamespace

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
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.bridges import PER_MM, _course, _with_fork
from carvegen.motifs.frost.stubs import Stub
from carvegen.motifs.growth import Place
from tests.cases import once
from tests.strategies import MANY, few, takes_long

LAND, CUT = 0.7, 0.4
LIMITS = Limits(land_along_mm=LAND, land_across_mm=LAND, cut_mm=CUT, dot_mm=1.0)
SIZE = (90.0, 70.0) if MANY else (66.0, 50.0)
FACE = shapely.box(0, 0, *SIZE)
SMALL = shapely.box(0, 0, 55, 40) if MANY else shapely.box(0, 0, 22, 16)
BOAT = shapely.Polygon([(30, 25), (58, 23), (66, 34), (60, 33), (44, 35), (28, 36)]).buffer(2).buffer(-1)
GRID = geometry.GRID_MM


def grow(preset: str = "ferns", seed: int = 1, *, area: shapely.Polygon = FACE, place: Place | None = None, **given):
    """On a bare area each is grown once in a run of the tests."""
    settings = frost.Settings(**{**frost.PRESETS[preset], **given})
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
    cuts = grow(preset, seed)
    assert len(cuts) > 10
    assert all(cut.geom_type == "Polygon" and cut.is_valid and not cut.interiors for cut in cuts)
    assert shapely.covers(FACE.buffer(GRID), cuts).all()
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
    (preset, *way)
    for k, preset in enumerate(sorted(frost.PRESETS))
    for m, way in enumerate([("basswood", "v-60"), ("linoleum", "laser-fine")])
    if MANY or (m == k % 2 and k < 2)
]


@takes_long  # laws/test_motifs.py says it of every motif
@pytest.mark.parametrize(("preset", "material", "cutter"), UNDER)
def test_checks_find_nothing_on_a_block(preset, material, cutter) -> None:
    ways = setups_for(Library(), material=material, cutter=cutter)
    settings, its = frost.Settings(**frost.PRESETS[preset]), strictest(way.limits for way in ways)
    width, height = (55.0, 40.0) if MANY else (32.0, 24.0)
    ground = Ground(name="pane", width_mm=width, height_mm=height)
    made = grown_block(ground, settings, its, stream(5, "pane", "frost"), by="frost")
    assert len(made.cuts) > 0
    found = [f for way in ways for f in checked(way.on(made)).findings if f.rule in ("land-width", "cut-width")]
    assert found == []


def test_cutting_with_a_round_tool_loses_only_corners_at_the_edge() -> None:
    cuts = grow(sorted(frost.PRESETS)[0], 1)
    tool = shapely.buffer(shapely.buffer(cuts, -0.98 * CUT / 2, quad_segs=32), 0.98 * CUT / 2, quad_segs=32)
    lost = geometry.parts(shapely.difference(cuts, tool))
    inside = shapely.contains_properly(FACE.buffer(-CUT), lost)
    assert shapely.area(lost[inside]).max(initial=0) < 0.02 * CUT**2


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


def test_settings_do_what_they_say() -> None:
    on = SMALL

    def area(**given) -> float:
        return sum(shapely.area(grow(seed=s, area=on, **given)).sum() for s in range(2 if MANY else 1))

    usual = area()
    assert area(gaps=0.8) < 0.8 * usual
    assert area(branching=0.0) < 0.9 * usual
    assert area(density=0.1) < usual
    assert area(feather_mm=8) < usual
    assert area(rime=1.0) > usual


def test_stars_lie_in_the_open_and_are_small() -> None:
    cuts = grow(stars=1.0, feather_mm=8.0, gaps=0.5)
    loose = cuts[~shapely.intersects(FACE.exterior, cuts)]
    assert len(loose) > 3
    assert shapely.distance(loose, FACE.exterior).min() >= LAND - GRID
    assert (2 * shapely.minimum_bounding_radius(loose)).max() < 30
    assert len(necks(block(cuts).land_rings, LAND)) == 0
    none = grow(stars=0.0, feather_mm=8.0, gaps=0.5)
    assert shapely.intersects(FACE.exterior, none).all()


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
