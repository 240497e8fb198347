"""Centre lines of a V: depths against published widths, and cones against the land."""

from __future__ import annotations

import dataclasses
import math
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.facts.profiles import Cutter
from carvegen.geometry.medial import medial_axis
from carvegen.toolpaths.paths import Paths
from carvegen.toolpaths.v_carving import path_chaining
from carvegen.toolpaths.v_carving.centre_lines import centre_lines, deepest
from tests import strategies
from tests.cases import SHELF, box, disc, shapes
from tests.strategies import examples

TOLERANCE_MM = 0.02  #: how far a cutter may enter the land


def v(included: float, tip: float = 0.0) -> Cutter:
    cutter = SHELF.cutter("v-60")
    return dataclasses.replace(cutter, values={**cutter.values, "included_deg": included, "tip_mm": tip})


def places(paths: Paths, step: float = 0.05) -> np.ndarray:
    """Points along paths, close together; (n, 3)."""
    result = []
    for k in range(len(paths)):
        line = paths.xyz[paths.start[k] : paths.start[k + 1]]
        line = np.vstack([line, line[:1]]) if paths.closed[k] else line
        for a, b in pairwise(line):
            count = max(2, math.ceil(np.linalg.norm(b - a) / step))
            result.append(a + np.linspace(0, 1, count)[:, None] * (b - a))
    return np.concatenate(result) if result else np.empty((0, 3))


def entered(paths: Paths, cutter: Cutter, cuts: geometry.PolygonArray) -> float:
    """How far a cone at any place of the paths reaches beyond the outline of what is cut."""
    at = places(paths)
    if not len(at):
        return 0.0
    half = cutter.values["tip_mm"] / 2 - at[:, 2] * math.tan(math.radians(cutter.values["included_deg"] / 2))
    land = shapely.box(-200, -200, 200, 200).difference(shapely.union_all(cuts))
    dips = at[:, 2] < -1e-9
    return float((half - shapely.distance(land, shapely.points(at[:, :2])))[dips].max(initial=0))


@pytest.mark.parametrize(
    ("included", "depth", "width", "width_with_tip"),
    [
        (30, 1.0, 0.5359, 0.7359),
        (45, 1.0, 0.8284, 1.0284),
        (60, 0.5, 0.5774, 0.7774),
        (60, 2.0, 2.3094, 2.5094),
        (90, 1.5, 3.0000, 3.2000),
        (120, 1.0, 3.4641, 3.6641),
    ],
)
def test_a_strip_is_cut_as_deep_as_its_width_asks(included, depth, width, width_with_tip) -> None:
    """Plane geometry, ``d = (w - t) / (2 tan(a/2))``; widths worked out apart from the code, to 0.1 µm."""
    for tip, each in ((0.0, width), (0.2, width_with_tip)):
        paths = centre_lines(medial_axis(shapes(box(0, 0, 30, each))), v(included, tip), 10.0)
        assert paths.xyz[:, 2].min() == pytest.approx(-depth, abs=2e-4)
        ridge = paths.xyz[paths.xyz[:, 2] < -depth + 1e-3]
        assert ridge[:, 1] == pytest.approx(np.full(len(ridge), each / 2), abs=2e-5)


def test_it_rises_into_every_corner_up_to_the_face() -> None:
    paths = centre_lines(medial_axis(shapes(box(0, 0, 20, 2))), v(60), 5.0)
    ends = np.vstack([paths.entries, paths.exits])
    tips = ends[ends[:, 2] > -1e-9]
    assert sorted(map(tuple, np.abs(np.round(tips, 6)))) == [(0, 0, 0), (0, 2, 0), (20, 0, 0), (20, 2, 0)]


def test_with_a_blunt_tip_it_stops_where_the_tip_no_longer_fits() -> None:
    paths = centre_lines(medial_axis(shapes(box(0, 0, 20, 2))), v(60, 0.4), 5.0)
    ends = np.vstack([paths.entries, paths.exits])
    tips = ends[ends[:, 2] > -1e-9]
    assert sorted(map(tuple, np.round(tips[:, :2], 6))) == [(0.2, 0.2), (0.2, 1.8), (19.8, 0.2), (19.8, 1.8)]


def test_a_spindle_tapers_evenly_to_both_ends() -> None:
    """Straight sides: half the width at each place of the middle line is the distance along it times the sine."""
    spindle = shapely.Polygon([(0, 0), (10, -0.5), (20, 0), (10, 0.5)])
    at = places(centre_lines(medial_axis(shapes(spindle)), v(90), 5.0))
    along = np.minimum(at[:, 0], 20 - at[:, 0])
    assert -at[:, 2] == pytest.approx(along * math.sin(math.atan2(0.5, 10)), abs=1e-3)


def test_a_disc_is_dipped_into_and_a_ring_followed_once_round() -> None:
    dot = centre_lines(medial_axis(shapes(disc(5, 5, 0.5, points=128))), v(90), 5.0)
    assert np.round(dot.xyz, 2).tolist() == [[5, 5, 0], [5, 5, -0.5]]
    ring = centre_lines(
        medial_axis(shapes(disc(0, 0, 5, points=256).difference(disc(0, 0, 4, points=256)))), v(90), 5.0
    )
    assert ring.closed.tolist() == [True]
    assert ring.lengths[0] == pytest.approx(2 * np.pi * 4.5, rel=1e-2)


def test_what_is_wider_has_a_flat_floor_and_the_middle_lines_end_at_it() -> None:
    cuts, cutter = shapes(box(0, 0, 20, 8)), v(90)
    paths = centre_lines(medial_axis(cuts), cutter, 1.0)
    assert len(paths) == 4
    foot = paths.xyz[paths.xyz[:, 2] < -1 + 1e-9]
    assert shapely.distance(box(1, 1, 18, 6).boundary, shapely.points(foot[:, :2])).max() < 0.02


def test_passes_go_deeper_step_by_step_and_only_where_there_is_more() -> None:
    cuts, cutter = shapes(box(0, 0, 20, 2)), v(60)
    once, thrice = (centre_lines(medial_axis(cuts), cutter, 1.5, passes=count) for count in (1, 3))
    lowest = [thrice.xyz[thrice.start[k] : thrice.start[k + 1], 2].min() for k in range(len(thrice))]
    assert sorted({round(z, 6) for z in lowest}) == [-1.5, -1.0, -0.5]
    assert lowest == sorted(lowest, reverse=True)
    assert once.xyz[:, 2].min() == pytest.approx(-1.5)
    ends = np.vstack([thrice.entries, thrice.exits])[:, 2]
    assert set(np.round(ends, 6)) <= {0.0, -0.5, -1.0, -1.5}


@pytest.mark.parametrize(("width", "times"), [(1.99, 1), (2.0, 1), (2.01, 2)])
def test_what_one_pass_reaches_the_bottom_of_no_other_follows(width: float, times: int) -> None:
    """A V of 90 degrees is as deep as half of its width, 1 mm after the first of two passes: both sides of it."""
    paths = centre_lines(medial_axis(shapes(box(0, 0, 20, width))), v(90), 2.0, passes=2)
    along = paths.lengths[paths.lengths > 10]
    assert len(along) == times
    assert along.min() > 20 - width


def test_lines_keep_to_their_zone() -> None:
    paths = centre_lines(medial_axis(shapes(box(0, 0, 20, 2))), v(60), 5.0, zone=shapely.box(5, -1, 12, 3))
    assert paths.xyz[:, 0].min() == pytest.approx(5)
    assert paths.xyz[:, 0].max() == pytest.approx(12)


@settings(examples(10), deadline=None)
@given(
    strategies.blobs(),
    st.sampled_from([30.0, 60.0, 90.0]),
    st.sampled_from([0.0, 0.1, 0.3]),
    st.floats(0.3, 6),
    st.integers(1, 3),
)
def test_the_cone_never_enters_the_land(blob, included: float, tip: float, depth: float, passes: int) -> None:
    cutter, cuts = v(included, tip), shapes(blob)
    assert entered(centre_lines(medial_axis(cuts), cutter, depth, passes=passes), cutter, cuts) <= TOLERANCE_MM


@settings(examples(8), deadline=None)
@given(strategies.blobs(), st.sampled_from([60.0, 90.0]), st.floats(0.3, 3))
def test_lines_and_floors_together_cut_all_of_the_shape(blob, included: float, depth: float) -> None:
    cutter, cuts = v(included), shapes(blob)
    high = depth * math.tan(math.radians(included / 2))
    at = places(centre_lines(medial_axis(cuts), cutter, depth))
    half = -at[:, 2] * math.tan(math.radians(included / 2))
    discs = shapely.buffer(shapely.points(at[:, :2]), half + TOLERANCE_MM, quad_segs=32)
    floor = shapely.buffer(shapely.buffer(blob, -high, quad_segs=32), high + TOLERANCE_MM, quad_segs=32)
    assert shapely.difference(blob, shapely.union_all([*discs, floor])).area < 1e-3


def test_depths_by_shape_are_those_of_the_widest_place() -> None:
    cuts = shapes(box(0, 0, 30, 1), box(0, 5, 30, 6), disc(50, 5, 0.4, points=128))
    assert deepest(cuts, v(90), 2.0) == pytest.approx([0.5, 2.0, 0.4], abs=1e-3)
    with pytest.raises(ValueError, match="not a V"):
        centre_lines(medial_axis(cuts), SHELF.cutter("flat-1"), 1.0)


def test_pieces_followed_side_by_side_give_the_same_lines_as_one_after_another(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sixty nets at random, two of them joined; each small enough, some too large, all too large."""
    rng = np.random.default_rng(5)
    xyz = np.concatenate([np.add(rng.random((9, 3)), (2 * k, 0, 0)) for k in range(60)])
    picks = np.concatenate([9 * k + rng.integers(0, 9, (rng.integers(2, 16), 2)) for k in range(60)])
    links = np.unique(np.sort(picks[picks[:, 0] != picks[:, 1]], axis=1), axis=0)
    links = rng.permutation(np.concatenate([links, [[0, 9]]]))
    result = []
    for most in (200, 12, 0):
        monkeypatch.setattr(path_chaining, "_FEW_ROUTES", most)
        result.append(path_chaining.trails(xyz, links))
    assert any(result[0].closed) and len(result[0]) > 100
    assert sum(np.diff(result[0].start) - ~result[0].closed) == len(links)
    for other in result[1:]:
        assert all(
            np.array_equal(getattr(result[0], name), getattr(other, name)) for name in ("xyz", "start", "closed")
        )


@pytest.mark.parametrize("most", [200, 0])
def test_what_is_left_at_a_start_is_followed_after_the_first_line_from_there(most: int, monkeypatch) -> None:
    """Two rings joined by a line: along it and round the farther ring first, then round the one that it began at."""
    monkeypatch.setattr(path_chaining, "_FEW_ROUTES", most)
    xyz = np.array([(0, 0, 0), (4, 0, -1), (-2, 1, -1), (-2, -1, -1), (6, 1, -1), (6, -1, -1)], dtype=float)
    links = np.array([(0, 1), (0, 2), (2, 3), (3, 0), (1, 4), (4, 5), (5, 1)])
    each = path_chaining.trails(xyz, links)
    assert each.closed.tolist() == [False, True]
    assert np.diff(each.start).tolist() == [5, 3]
    assert (each.xyz[each.start[:-1]] == xyz[0]).all()
