"""Narrow places of the land: shapes whose answer is known, a raster's distance map, and broken input."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy.ndimage import distance_transform_edt, maximum_filter
from shapely import affinity

from carvegen import geometry
from carvegen.geometry import narrow
from carvegen.geometry.narrow import Narrow, NarrowKind, narrow_places
from tests.cases import block, box, disc, limits, shapes
from tests.strategies import blobs

TURNS = pytest.mark.parametrize("turn", [0.0, 7.3, 45.0, 121.9])


def of_region(region, limit: float, **how) -> Narrow:
    return narrow_places(geometry.rings(geometry.parts(region)), limit, **how)


def of_land(*cuts, limit: float, **how) -> Narrow:
    return narrow_places(block(*cuts, **how).land_rings, limit)


@TURNS
def test_strip_is_as_wide_as_it_is(turn) -> None:
    """A strip of land 0.6 wide, 20 long, that ends in two wide fields: one neck, 20 long."""
    region = shapely.union_all([box(-5, -5, 5, 10), box(20, -5, 5, 10), box(-1, -0.3, 22, 0.6)])
    region = affinity.rotate(region, turn, origin=(0.37, 1.1))
    assert len(of_region(region, 0.6 - 1e-6)) == 0
    result = of_region(region, 0.6 + 1e-6)
    assert result.kind.tolist() == [NarrowKind.NECK]
    assert result.width == pytest.approx(0.6, abs=1e-9)
    assert result.length == pytest.approx(20, abs=0.02)
    assert np.cos(2 * np.radians(result.direction_deg - turn)) == pytest.approx(1, abs=1e-9)


@TURNS
@pytest.mark.parametrize("angle", [10.0, 30.0, 60.0, 89.0])
def test_wedge_is_a_tip(angle, turn) -> None:
    """Too thin along its side from the tip to where a disc of the limit fits: w / (2 tan(a / 2)); never a neck."""
    half = np.radians(angle / 2)
    wedge = shapely.Polygon([(0, 0), (30, -30 * np.tan(half)), (30, 30 * np.tan(half))])
    result = of_region(affinity.rotate(wedge, turn, origin=(0, 0)), 0.7)
    nearest = np.hypot(*result.at.T) < 5
    assert (result.kind == NarrowKind.TIP).all()
    assert result.length[nearest] == pytest.approx(0.7 / (2 * np.tan(half)), rel=0.005, abs=0.005)


@pytest.mark.parametrize(("angle", "count"), [(89.0, 1), (90.0, 0), (91.0, 0), (150.0, 0)])
def test_blunt_corners_are_none(angle, count) -> None:
    half = np.radians(angle / 2)
    xy = [(0, 0), (9, -9 * np.tan(half)), (40, -9 * np.tan(half)), (40, 9 * np.tan(half)), (9, 9 * np.tan(half))]
    assert len(of_region(affinity.rotate(shapely.Polygon(xy), 13.1, origin=(0, 0)), 0.7)) == count


@pytest.mark.parametrize("phase", [0.0, 0.41, 2.2])
def test_ring_is_as_wide_as_its_radii_differ(phase) -> None:
    """A free ring of land: everywhere too thin, so an island; polygons of 90 corners lie within 0.06 % of circles."""
    ring = disc(3, 4, 6, points=90, phase=phase).difference(disc(3, 4, 5.4, points=90, phase=phase))
    width = 0.6 * np.cos(np.pi / 90)
    assert len(of_region(ring, width * (1 - 1e-6))) == 0
    assert of_region(ring, width * (1 + 1e-6)).width == pytest.approx(width, rel=1e-6)
    result = of_region(ring, 0.61)
    assert result.kind.tolist() == [NarrowKind.ISLAND]


@pytest.mark.parametrize("phase", [0.0, 0.41, 2.2])
def test_offset_arcs(phase) -> None:
    """Land between two arcs about one centre, 0.5 apart, that part at both ends."""
    angle = np.linspace(0.3, 2.6, 70) + phase
    out = [shapely.LineString(np.column_stack([r * np.cos(angle), r * np.sin(angle)])) for r in (8, 10.5)]
    cuts = [affinity.translate(line.buffer(1, quad_segs=32), 20, 15) for line in out]
    gap = cuts[0].distance(cuts[1])
    assert gap == pytest.approx(0.5, abs=0.005)  # chords of the inner cut's outer wall lie a sagitta within
    assert len(of_land(*cuts, limit=gap - 1e-6)) == 0
    result = of_land(*cuts, limit=0.52)
    assert (result.kind == NarrowKind.NECK).all()
    assert result.width == pytest.approx(gap, abs=0.005)


def test_comb_has_a_place_between_each_two_teeth() -> None:
    teeth = [box(5 + k * 1.63, 5, 1.2, 12) for k in range(9)]
    result = of_land(shapely.union_all([*teeth, box(5, 5, 14, 2)]), limit=0.5)
    assert result.kind.tolist() == [NarrowKind.NECK] * 8
    assert result.width == pytest.approx(0.43, abs=1e-9)
    assert result.length == pytest.approx(10, abs=0.3)  # the last half width at the blunt end is a corner's


def test_peninsulas_blunt_and_pointed() -> None:
    """An inlet of land, 0.6 wide to its blunt end, is a neck; one that tapers from 0.6 to 0.2 is a tip."""
    field = box(5, 5, 20, 15)
    blunt = of_land(field.difference(box(12, 10, 0.6, 20)), limit=0.7)
    assert blunt.kind.tolist() == [NarrowKind.NECK]
    tapering = shapely.Polygon([(12, 30), (12.2, 10), (12.4, 10), (12.6, 30)])
    pointed = of_land(field.difference(tapering), limit=0.7)
    assert pointed.kind.tolist() == [NarrowKind.TIP]
    assert pointed.width == pytest.approx(0.2, abs=0.03)


def test_thin_island() -> None:
    result = of_land(disc(20, 15, 8).difference(affinity.rotate(box(16, 15, 7, 0.45), 17)), limit=0.5)
    assert result.kind.tolist() == [NarrowKind.ISLAND]
    assert result.width == pytest.approx(0.45)
    assert len(of_land(disc(20, 15, 8).difference(box(16, 15, 7, 0.51)), limit=0.5)) == 0


def test_beside_the_edge_a_cut_out_and_an_open_cut() -> None:
    for turned in (False, True):
        cut = box(10, 0.43, 6, 5) if turned else box(0.43, 10, 5, 6)
        assert of_land(cut, limit=0.5).width == pytest.approx(0.43)
    assert of_land(box(10, 10, 5, 5), limit=0.5, cut_outs=(box(15.43, 9, 3, 9),)).width == pytest.approx(0.43)
    open_ = of_land(box(0, 10, 6, 4), box(0, 14.43, 6, 4), limit=0.5)
    assert open_.width == pytest.approx(0.43)
    assert open_.kind.tolist() == [NarrowKind.NECK]
    assert len(of_land(box(0, 10, 6, 4), box(0, 14.51, 6, 4), limit=0.5)) == 0


@given(st.floats(-180, 180), st.floats(-180, 180))
def test_grain_asks_for_more_across(turn, grain) -> None:
    """0.3 along and 0.6 across: a land of 0.45 holds within 45° of the grain; turning both changes nothing."""
    asked = limits(0.3, across=0.6, grain_deg=grain)
    strip = shapely.union_all([box(-5, -5, 5, 10), box(20, -5, 5, 10), box(-1, -0.225, 22, 0.45)])
    result = of_region(affinity.rotate(strip, turn, origin=(0, 0)), 0.6, limit_at=asked.land_at)
    away = np.degrees(np.arccos(abs(np.cos(np.radians(turn - grain)))))
    if abs(away - 45) > 0.01:
        assert len(result) == (away > 45)


@given(blobs(), st.floats(0.5, 5), st.floats(-180, 180), st.sampled_from([0.2, 1.0, 5.0]), st.booleans())
def test_turned_mirrored_scaled_and_restarted(region, limit, turn, scale, mirror) -> None:
    plain = of_region(region, limit)
    changed = affinity.rotate(region, turn, origin=(1, 2))
    changed = affinity.scale(changed, -scale if mirror else scale, scale, origin=(0, 0))
    ring = np.roll(np.asarray(changed.exterior.coords)[:-1], 3, axis=0)
    changed = shapely.Polygon(ring, [hole.coords[::-1] for hole in changed.interiors])
    result = of_region(changed, limit * scale)
    if abs(len(result) - len(plain)) == 0:
        np.testing.assert_allclose(np.sort(result.width), np.sort(plain.width) * scale, rtol=2e-3, atol=1e-3 * scale)
    else:  # a tip that is just long enough to count
        shorter = min(plain.length.min(initial=np.inf), result.length.min(initial=np.inf) / scale)
        assert shorter < 0.3 * limit


def distances(region, px: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pixel centres, distance of each to the nearest wall by a dense raster, and which are on a ridge of it.

    Thinness is read on the ridge (the pixels that no neighbour within two exceeds): there the distance is half the
    width. An opening would not do: between two small rounds its disc covers the neck from both sides.
    """
    left, bottom, right, top = region.buffer(4 * px).bounds
    x, y = np.meshgrid(np.arange(left, right, px) + px / 2, np.arange(bottom, top, px) + px / 2)
    inside = shapely.contains_xy(region, x, y)
    away = distance_transform_edt(inside) * px
    ridge = inside & (away >= maximum_filter(away, size=5) - 1e-9)
    return np.stack([x, y], axis=-1), away, ridge


@given(blobs(corners=7), st.floats(1.0, 3.0))
def test_every_ridge_of_a_distance_map_that_is_too_low_is_found(region, limit) -> None:
    px = 0.06
    xy, away, ridge = distances(region, px)
    thin = ridge & (away < limit / 2 - 2 * px) & (away > 3 * px)
    result = narrow_discs(region, limit)
    for point in xy[thin]:
        near = min((np.hypot(*(point - centre)) for centre in result), default=np.inf)
        assert near < limit, point


@given(blobs(corners=7), st.floats(0.6, 3.0))
def test_where_it_finds_a_narrow_place_the_distance_map_is_low(region, limit) -> None:
    px = 0.06
    xy, away, _ = distances(region, px)
    result = of_region(region, limit)
    for at, to, width in zip(result.at, result.to, result.width, strict=True):
        middle = (at + to) / 2
        near = np.hypot(*np.moveaxis(xy - middle, -1, 0)) < px
        assert away[near].max(initial=0) <= width / 2 + 2 * px


def narrow_discs(region, limit: float) -> np.ndarray:
    """Middles of all places, and of all corners of the region: blunt ones are ridges of the map but no faults."""
    from carvegen.geometry.widths import local_widths

    return np.concatenate([
        local_widths(geometry.rings(shapes(region)), limit, sharper_deg=179.0).centre,
        np.concatenate([np.asarray(ring.coords) for ring in (region.exterior, *region.interiors)]),
        of_region(region, limit).at,
    ])  # fmt: skip


ODD = {
    "repeated points": shapely.Polygon([(5, 5), (5, 5), (9, 5), (9, 5), (9, 9), (5, 9), (5, 9)]),
    "a sliver": shapely.Polygon([(5, 5), (30, 5), (30, 5.000001)]),
    "points in a row": shapely.Polygon([*((5 + k * 1e-4, 5) for k in range(2000)), (9, 9), (5, 9)]),
    "a spike": shapely.Polygon([(5, 5), (9, 5), (20, 5.0001), (9, 5.0002), (9, 9), (5, 9)]),
    "all of the face": box(0, 0, 40, 30),
    "all but a hair": box(1e-9, 1e-9, 40 - 2e-9, 30 - 2e-9),
    "tiny": box(5, 5, 1e-6, 1e-6),
}


@pytest.mark.parametrize("name", ODD)
def test_odd_cuts_are_taken(name) -> None:
    result = of_land(ODD[name], limit=0.5)
    assert np.isfinite(result.width).all()
    assert (result.width >= 0).all()
    if name in ("repeated points", "points in a row", "all of the face"):
        assert len(result) == 0
    if name == "all but a hair":
        assert len(result) > 0


@pytest.mark.parametrize("gap", [0.0, 1e-9, 1e-7, 1e-4])
def test_the_thinnest_gaps_are_told(gap) -> None:
    """Cuts that share a wall or a corner have no land between them, and that is what is said."""
    for beside in (box(15 + gap, 8, 5, 5), box(15 + gap, 15, 5, 5)):
        assert of_land(box(10, 10, 5, 5), beside, limit=0.5).width.min() == pytest.approx(gap, abs=1e-8)


def test_islands_ten_deep() -> None:
    """Rings of cut and land in turn, each 0.8 wide: nothing under 0.79, nine rings of land under 0.81."""
    discs = [disc(20, 20, 14.8 - 0.8 * k, points=200) for k in range(18)]
    cuts = [discs[k].difference(discs[k + 1]) for k in range(0, 18, 2)]
    assert len(of_land(*cuts, limit=0.79, size=(40.0, 40.0))) == 0
    result = of_land(*cuts, limit=0.81, size=(40, 40))
    assert result.width.min() == pytest.approx(0.8 * np.cos(np.pi / 200), abs=1e-6)
    assert len(set(result.first.tolist()) | set(result.second.tolist())) >= 16


@pytest.mark.parametrize("count", [1, 40, 400])
def test_middles_linked_by_steps_of_half_the_limit_are_one_group_numbered_as_they_come(count: int) -> None:
    """Twin: a flood over all distances, from each middle that has no number yet."""
    centres = np.random.default_rng(count).uniform(-1, 1, (count, 2)) * 0.4 * np.sqrt(count)
    close = np.hypot(*(centres[:, None] - centres).T) <= 0.5
    expected = np.full(count, -1)
    for first in range(count):
        if expected[first] < 0:
            group = np.arange(count) == first
            while (more := close[group].any(axis=0)).sum() > group.sum():
                group = more
            expected[group] = expected.max() + 1
    assert narrow._groups(centres, 0.5).tolist() == expected.tolist()
    assert count == 1 or 1 < len(np.unique(expected)) < count


def test_what_is_one_place_by_a_fine_measure_is_so_by_a_coarse_one() -> None:
    """A blunt end of land 1.58 to 1.72 limits broad, both corners of 80°: its breadth tells whether they are one."""
    lean = np.tan(np.radians(10))
    counts = []
    for broad in np.linspace(0.79, 0.86, 8):
        half = broad / 2
        end = [(0, -half), (0, half), (-0.3, half - 0.3 * lean), (-0.9, half + 1), (-0.9, -half - 1)]
        region = shapely.Polygon([*end, (-0.3, -half + 0.3 * lean)])
        at_end = [of_region(region, 0.5, fine=fine).at[:, 0] > -0.2 for fine in (narrow.FINE, 8, 3)]
        counts.append([int(one.sum()) for one in at_end])
    fine, *coarse = np.array(counts).T
    assert set(fine.tolist()) == {1, 2}
    assert all((each[fine == 1] == 1).all() for each in coarse)


@pytest.mark.parametrize(("fine", "more"), [(32, 0.0), (16, 2 * 2**0.5 / 48), (4, 2 * 2**0.5 / 12)])
def test_the_coarser_the_measure_the_farther_may_places_of_one_lie_apart(fine, more, monkeypatch) -> None:
    """Half a limit, and what two discs' middles in a right angle may be off: a third of a part times root two, each."""
    reached, groups = [], narrow._groups
    monkeypatch.setattr(narrow, "_groups", lambda at, reach: reached.append(reach) or groups(at, reach))
    narrow.narrow_spread(geometry.rings(shapes(box(0, 0, 9, 1))), 2.0, fine=fine)
    assert reached == [pytest.approx(2 * (0.5 + more))]


def test_no_narrow_place_has_two_coordinates_all_the_same() -> None:
    none = narrow._none()
    assert len(none) == 0
    assert (none.at.shape, none.to.shape) == ((0, 2), (0, 2))
