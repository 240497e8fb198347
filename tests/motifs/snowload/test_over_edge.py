"""Snow on what runs on past the picture runs on with it: no sliver is left standing along a side of the face."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.motifs import snowload
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.shared.minimum_width import within
from carvegen.motifs.shared.over_edge import ground_over, held_over, run_on, strip_mm
from tests.strategies import few

LIMITS = Limits(land_along_mm=0.7, land_across_mm=0.7, cut_mm=0.5, dot_mm=0.9)
FACE = shapely.box(0, 0, 60, 45)
HILL = shapely.Polygon([(0, 0), (0, 18), (14, 24), (33, 17), (60, 22), (60, 0)])
POST = shapely.box(21, 10, 26, 50)


def snow(bearer, seed: int) -> Growth:
    settings = snowload.Settings(**{**snowload.PRESETS["fresh"], "patchy": 0})
    place = Place(area=FACE, frame=FACE, shapes=geometry.parts(bearer))
    return snowload.grow(settings, place, LIMITS, stream(seed, "snowload"))


def across(white, x: float):
    """The heights at which white lies at x, as a multi-line."""
    return shapely.intersection(white, shapely.LineString([(x, -1), (x, 46)]))


@pytest.mark.parametrize("seed", few([1, 2, 3], 1))
def test_at_both_sides_it_reaches_the_edge_as_it_lies_a_land_within(seed):
    white = shapely.union_all(snow(shapely.union(HILL, POST), seed).cuts)
    for side, inward in ((0.0, 1), (60.0, -1)):
        at_edge, within_land = across(white, side + inward * 0.001), across(white, side + inward * LIMITS.land_mm)
        assert shapely.length(at_edge) > 0.5
        assert shapely.length(at_edge) == pytest.approx(shapely.length(within_land), abs=0.05)
        heights = shapely.bounds(at_edge)[[1, 3]]
        assert heights == pytest.approx(shapely.bounds(within_land)[[1, 3]], abs=0.05)


def test_nothing_of_it_lies_outside_the_face():
    growth = snow(shapely.union(HILL, POST), 4)
    for shapes in (growth.cuts, growth.free, growth.on_shapes):
        assert shapely.covers(FACE, shapely.union_all(shapes))


@given(st.floats(0.1, 3))
def test_where_cuts_begin_to_run_straight_lies_on_the_grid(land):
    """Else the grid moves one side of that line and not the other, and a cut stays in two pieces that touch."""
    steps = strip_mm(Limits(land_along_mm=land, land_across_mm=land, cut_mm=0.4, dot_mm=1.0)) / geometry.GRID_MM
    assert steps == pytest.approx(round(steps), abs=1e-6)
    assert steps * geometry.GRID_MM > land


@given(
    st.lists(
        st.tuples(st.floats(-2, 62), st.floats(-2, 47), st.floats(0.3, 9), st.floats(0.3, 9)), min_size=1, max_size=6
    )
)
def test_along_every_side_land_is_either_none_or_wide_enough(boxes):
    cuts = shapely.union_all([shapely.box(x - w, y - h, x + w, y + h) for x, y, w, h in boxes])
    area = ground_over(FACE, FACE)
    pieces = within(held_over(shapely.intersection(cuts, FACE), area, FACE, LIMITS), FACE)
    land = shapely.difference(FACE, shapely.union_all(pieces))
    strip = shapely.difference(FACE, shapely.buffer(FACE, -0.6 * LIMITS.land_mm, join_style="mitre"))
    for part in shapely.get_parts(shapely.intersection(land, strip)):
        along = shapely.length(shapely.intersection(part, shapely.boundary(FACE)))
        assert along >= LIMITS.land_mm - 0.1, shapely.bounds(part)


def test_a_cut_that_meets_the_strip_is_drawn_out_straight():
    shape = shapely.box(0.4, 10, 8, 14)
    drawn = run_on(shape, FACE, strip_mm(LIMITS))
    assert shapely.area(shapely.intersection(drawn, FACE)) == pytest.approx(8 * 4)
    assert shapely.bounds(drawn)[0] == pytest.approx(-3)
    assert np.allclose(shapely.bounds(run_on(FACE, FACE)), [-3, -3, 63, 48])


def test_snow_behind_a_crooked_post_reaches_up_to_it():
    post = shapely.buffer(shapely.LineString([(30, 0), (29.2, 12), (30.4, 19), (30, 45)]), 2)
    snow_bank = shapely.Polygon([(10, 18), (28, 14), (32, 14), (50, 18), (50, 20), (32, 25), (28, 25), (10, 20)])
    area = ground_over(FACE, FACE)
    seen = ground_over(shapely.difference(FACE, post), FACE)
    pieces = held_over(shapely.difference(snow_bank, post), seen, FACE, LIMITS, ground=area)
    assert len(pieces) == 2
    for piece in pieces:
        touching = shapely.length(shapely.intersection(piece, shapely.buffer(post, 0.02)))
        assert touching > 9 - LIMITS.cut_mm


def test_a_round_end_that_just_reaches_the_strip_ends_there_or_runs_on_as_broad_as_a_cut():
    """It is not drawn out as a shred narrower than any cut, nor is the cut behind it taken back for that."""
    area, at, half = ground_over(FACE, FACE), 60 - strip_mm(LIMITS), 0.3
    for into in (0.02, 0.06, 0.12):
        head = shapely.LineString([(at - 6, 20), (at + into - half, 20)]).buffer(half, quad_segs=16)
        white = shapely.union_all(within(held_over(head, area, FACE, LIMITS), FACE))
        at_edge = shapely.length(across(white, at + 0.2))
        assert at_edge == 0 or at_edge > LIMITS.cut_mm - 0.01
        assert white.bounds[2] > at - 0.05


@pytest.mark.parametrize("lean", [0.1, 0.2])
def test_what_the_edge_leaves_of_a_cut_is_as_broad_as_the_cutter(lean):
    """A cut whose wall nears the side is narrower there than the cutter over lengths of it, as the edge cuts it off.

    The land is so narrow that the cut would run on over the side nearer to it than the cutter is wide. A tip that a
    round cutter leaves over no more than its own width is a corner (common practice, no source).
    """
    limits = Limits(land_along_mm=0.15, land_across_mm=0.15, cut_mm=0.4, dot_mm=0.3)
    cut = shapely.Polygon([(59.79, 15), (59.79 - 10 * lean, 25), (50, 35), (60, 35), (60, 15)])
    pieces = within(held_over(cut, ground_over(FACE, FACE), FACE, limits), FACE)
    white = shapely.union_all(pieces)
    made = shapely.buffer(shapely.buffer(white, -limits.cut_mm / 2, quad_segs=16), limits.cut_mm / 2, quad_segs=16)
    assert shapely.distance(geometry.dots(shapely.get_coordinates(white)), made).max() < limits.cut_mm
    assert shapely.area(white) > 0.97 * cut.area
    assert shapely.bounds(white)[2] == 60, "it still runs out over the side"
