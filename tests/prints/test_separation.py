"""Separation: the white out of every block, inks trapped and cut back by measure, and a raster twin of it all."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity

from carvegen import geometry
from carvegen.base.colour import Ink, ciede2000, cielab, lightness, overprinted, screen
from carvegen.delivery.side_by_side import side_by_side
from carvegen.motifs.shared.minimum_width import opened
from carvegen.prints import separation
from carvegen.prints.separation import (
    Layer,
    Plate,
    Trapping,
    painted,
    separated,
)
from carvegen.prints.tasks import in_turn
from tests import cases
from tests.strategies import examples

FACE = shapely.box(0, 0, 60, 40)
TRAP, BACK = 0.5, 0.4
SPREAD = Trapping(trap_mm=TRAP, cut_back_mm=BACK)
INKS = {"sky": (169, 191, 203), "tone": (106, 135, 153), "key": (31, 43, 61)}
NOTHING = shapely.Polygon()


def plate(name: str, *layers: str, ground: bool = False) -> Plate:
    return Plate(
        name=name, layers=frozenset(layers), lightness=lightness(INKS[name]), land_mm=0.7, cut_mm=0.4, ground=ground,
        ink=Ink(colour=INKS[name], opacity=1.0),
    )  # fmt: skip


SKY = plate("sky", ground=True)


def taken(layers, plates, white=NOTHING, spread=SPREAD):
    return separated(FACE, layers, plates, white=lambda _: white, spread=spread)


def test_blocks_in_processes_of_their_own_are_the_same_to_the_byte(monkeypatch):
    monkeypatch.setattr(separation, "_WORTH_POINTS", 0)
    layers = [Layer("LIT", cases.disc(25, 12, 4)), Layer("POST", shapely.box(20, 0, 32, 30))]
    plates = [SKY, plate("tone", "LIT"), plate("key", "POST")]
    asked = []

    def apart(tasks, say):
        asked.extend(tasks)
        return side_by_side(tasks, jobs=2, say=say)

    alone, result = (
        separated(FACE, layers, plates, white=lambda _: cases.disc(20, 25, 3), spread=SPREAD, run=run)
        for run in (in_turn, apart)
    )
    assert asked == ["key", "tone", "sky"]  # what takes longest comes first
    assert list(result) == list(alone) == [one.name for one in plates]
    for name, each in result.items():
        assert (each.land.wkb, each.picture.wkb) == (alone[name].land.wkb, alone[name].picture.wkb)
        assert each.dropped == alone[name].dropped


def run_on(shape, at: tuple[float, float], towards: tuple[float, float], reach: float = 5.0) -> float:
    """How far a land goes on from a place, along a ray; mm."""
    ray = shapely.LineString([at, (at[0] + reach * towards[0], at[1] + reach * towards[1])])
    return sum(piece.length for piece in shapely.get_parts(ray & shape) if piece.distance(shapely.Point(at)) < 0.01)


def test_a_ground_prints_under_all_others_and_leaves_the_snow():
    """Its land is the face less the white, to the cut-back; a lighter ink over it does not spread into it."""
    layers = [Layer("POST", shapely.box(20, 0, 32, 30)), Layer("SHORE", shapely.box(0, 0, 60, 12))]
    under = replace(plate("key", "*"), name="ground", ground=True, under_all=True)
    white = shapely.union(shapely.Point(45, 30).buffer(2), shapely.Point(26, 20).buffer(2))
    result = taken(layers, [under, plate("tone", "SHORE"), plate("key", "POST")], white)
    ground = result["ground"].land
    assert shapely.area(shapely.difference(FACE, shapely.union(ground, white))) == pytest.approx(0, abs=0.3)
    assert shapely.intersection(ground, white).area < 0.01  # the grid
    alone = taken(layers, [plate("tone", "SHORE"), plate("key", "POST")], white)
    assert shapely.symmetric_difference(result["tone"].land, alone["tone"].land).area == pytest.approx(0, abs=1e-6)


# ── who prints what ──────────────────────────────────────────────────────────────────────────────────────────────


def test_what_stands_in_front_hides():
    front, back = Layer("LIT", shapely.box(24, 5, 28, 25)), Layer("POST", shapely.box(20, 0, 32, 30))
    key, tone = plate("key", "POST"), plate("tone", "LIT")
    assert painted(FACE, [front, back], key).area == pytest.approx(12 * 30 - 4 * 20)
    assert painted(FACE, [front, back], tone).area == pytest.approx(4 * 20)
    assert painted(FACE, [back, front], tone).area == 0
    assert painted(FACE, [front, back], SKY).area == pytest.approx(60 * 40 - 12 * 30)


def test_without_trap_blocks_are_exact_complements():
    layers = [Layer("LIT", cases.disc(25, 12, 4)), Layer("POST", shapely.box(20, 0, 32, 30))]
    white = cases.disc(20, 25, 3) | cases.disc(50, 30, 2)
    plates = [SKY, plate("tone", "LIT"), plate("key", "POST")]
    result = taken(layers, plates, white, Trapping(trap_mm=0, cut_back_mm=0))
    lands = [value.land for value in result.values()]
    outlines = sum(land.length for land in lands)
    assert sum(land.area for land in lands) + white.area == pytest.approx(FACE.area, abs=0.001 * outlines)
    assert shapely.union_all([*lands, white]).area == pytest.approx(FACE.area, abs=0.001 * outlines)


# ── white ────────────────────────────────────────────────────────────────────────────────────────────────────────


@settings(examples(6), deadline=None)
@given(st.data())
def test_no_block_prints_in_the_white(data):
    """Register identity (trade rule: union of block_i and snow is empty for every i), up to the grid of 1 µm."""
    place = st.tuples(st.floats(2, 58), st.floats(2, 38), st.floats(0.8, 5))
    discs = [cases.disc(*data.draw(place), points=24) for _ in range(5)]
    layers = [Layer(name, shape) for name, shape in zip(("LIT", "POST"), discs[:2], strict=True)]
    white = shapely.union_all(discs[2:])
    plates = [SKY, plate("tone", "LIT", "POST"), plate("key", "POST")]
    for value in taken(layers, plates, white).values():
        assert (value.land & white.buffer(-0.002)).area == 0
        assert (value.land & white).area < 0.002 * white.length
        assert value.land.is_valid


# ── trap ─────────────────────────────────────────────────────────────────────────────────────────────────────────

POST = Layer("POST", shapely.box(20, 0, 32, 30))
UNDER = POST.shape.buffer(-0.02)  #: so that what only touches the post's outline does not count


def test_the_lighter_runs_on_under_the_darker_by_the_trap():
    result = taken([POST], [SKY, plate("key", "POST")])
    for y in (3.0, 15.0, 26.0):
        assert run_on(result["sky"].land, (20, y), (1, 0)) == pytest.approx(TRAP, rel=0.03)
        assert run_on(result["sky"].land, (32, y), (-1, 0)) == pytest.approx(TRAP, rel=0.03)
    assert run_on(result["sky"].land, (26, 30), (0, -1)) == pytest.approx(TRAP, rel=0.03)


def test_the_darker_keeps_its_shape():
    result = taken([POST], [SKY, plate("key", "POST")])
    assert result["key"].land.symmetric_difference(POST.shape).area == 0


def test_by_lightness_not_by_order():
    plates = [plate("key", "POST"), SKY]
    assert run_on(taken([POST], plates)["sky"].land, (20, 15), (1, 0)) == pytest.approx(TRAP, rel=0.03)


def test_no_more_than_half_of_a_thin_dark_line():
    """Common practice: a trap is never wider than half the dark line it hides under, if what is beyond is lighter."""
    line = Layer("LINE", shapely.box(20, 0, 20.6, 40))
    beyond = Layer("FIELD", shapely.box(20.6, 0, 60, 40))
    result = taken([line, beyond], [SKY, plate("tone", "FIELD"), plate("key", "LINE")])
    assert run_on(result["sky"].land, (20, 20), (1, 0)) == pytest.approx(TRAP, rel=0.03)  # the field would hide it too
    assert run_on(result["tone"].land, (20.6, 20), (-1, 0)) == pytest.approx(0.3, abs=TRAP / 6)


def test_no_more_than_half_of_the_dark_between_a_light_field_and_the_white():
    """Snow 0.4 mm inside the post, no cut-back: what runs on under the dark keeps as far from the snow as it goes."""
    flake = shapely.box(20.4, 10, 26, 20)
    result = taken([POST], [SKY, plate("key", "POST")], flake, Trapping(trap_mm=TRAP, cut_back_mm=0))
    assert run_on(result["sky"].land, (20, 15), (1, 0)) == pytest.approx(0.2, abs=TRAP / 6)
    assert run_on(result["sky"].land, (20, 5), (1, 0)) == pytest.approx(TRAP, rel=0.03)


@pytest.mark.parametrize(("wide", "left"), [(0.9, 0), (1.39, 0), (1.41, 0), (1.78, 0), (1.82, 0.82)])
def test_under_a_line_between_two_parts_of_one_ink_it_runs_through_what_is_not_worth_a_cut(wide, left):
    """From both sides by the trap: what is then left under the line is cut if it is twice as wide as a cut, 0.8 mm."""
    result = taken([Layer("LINE", shapely.box(20, 0, 20 + wide, 40))], [SKY, plate("key", "LINE")])
    bare = shapely.difference(FACE, result["sky"].land)
    assert (bare & shapely.box(0, 10, 60, 20)).area == pytest.approx(10 * left, rel=0.03, abs=0.01)
    assert bare.area == pytest.approx(40 * left, rel=0.03, abs=0.01)


@pytest.mark.parametrize(("ink", "left"), [("tone", 0.6), ("key", 0)])
def test_nothing_is_laid_into_a_cut_below_an_ink_through_which_it_would_show(ink, left):
    """A line 1.6 mm wide: only the darkest hides what is laid under it beyond the trap, and it is printed elsewhere."""
    layers = [Layer("LINE", shapely.box(20, 5, 21.6, 35)), Layer("POST", shapely.box(40, 0, 50, 40))]
    plates = [SKY, plate("tone", *["LINE"] * (ink == "tone")), plate("key", "POST", *["LINE"] * (ink == "key"))]
    bare = shapely.difference(FACE, taken(layers, plates)["sky"].land)
    assert (bare & shapely.box(10, 10, 30, 20)).area == pytest.approx(10 * left, rel=0.03, abs=0.01)


def test_no_pinhole_is_left_in_what_runs_on_under_the_dark():
    """Under a disc little wider than two traps: a hole of 0.01 mm² that no cutter enters."""
    result = taken([Layer("KNOB", cases.disc(30, 20, TRAP + 0.06))], [SKY, plate("key", "KNOB")])
    assert result["sky"].land.area == pytest.approx(FACE.area, abs=0.001)


HULL = shapely.box(20, 5, 36, 35)


@pytest.mark.parametrize(
    ("front", "filled"),
    [
        ([], True),
        ([Layer("SKY", shapely.box(24, 10, 28, 14))], True),
        ([Layer("LIT", shapely.box(24, 10, 28, 14))], False),
        ([Layer("LIT", shapely.box(4, 10, 19.95, 14))], True),
        ([Layer("LIT", shapely.box(4, 10, 20, 14))], False),
        ([Layer("SPOT", shapely.box(24, 10, 28, 14))], False),
    ],
    ids=["nothing", "its own light", "another's light", "another ink near", "another ink beside", "paper"],
)
def test_what_land_runs_all_round_and_the_darkest_hides_is_no_cut(front, filled):
    """A hull of 16 x 30 mm before the sky: nothing but the key shows there, and the sky prints all round it."""
    sky, key, tone = replace(plate("sky", "SKY", "ALL")), plate("key", "HULL"), plate("tone", "LIT")
    land = taken([*front, Layer("HULL", HULL), Layer("ALL", FACE)], [sky, tone, key])["sky"].land
    assert shapely.covers(land.buffer(1e-6), shapely.box(29, 6, 35, 34)) == filled
    assert (land & shapely.box(29, 6, 35, 34)).area == pytest.approx(6 * 28 * filled, abs=0.01)


@pytest.mark.parametrize(("on_key", "on_sky"), [(True, True), (True, False), (False, True)])
def test_no_gap_is_filled_where_the_dark_has_white_of_its_own_or_the_land_has(on_key, on_sky):
    flake = cases.disc(28, 20, 2)
    white = {"key": flake if on_key else NOTHING, "sky": flake if on_sky else NOTHING}
    result = separated(
        FACE, [Layer("HULL", HULL)], [SKY, plate("key", "HULL")], white=lambda one: white[one.name], spread=SPREAD
    )
    assert (result["sky"].land & HULL.buffer(-TRAP - 0.01)).area == pytest.approx(0, abs=0.1)


DARK = (31, 43, 61)


@pytest.mark.parametrize(
    ("colour", "opacity", "first", "filled"),
    [
        (DARK, 0.7, False, True),
        (DARK, 0.3, False, True),
        (DARK, 0.0, False, False),
        (DARK, 0.7, True, False),
        ((106, 135, 153), 0.3, False, False),
        ((106, 135, 153), 1.0, False, True),
    ],
    ids=["hides", "partly", "a glaze", "printed first", "pale", "pale, hides"],
)
def test_what_the_darkest_ink_does_not_hide_is_not_filled(colour, opacity, first, filled):
    """A hull before the sky: in its middle the colours of the print are as drawn, or differ by less than one sees."""
    sky = replace(SKY, ink=Ink(colour=INKS["sky"], opacity=0.2))
    key = replace(plate("key", "HULL"), lightness=lightness(colour), ink=Ink(colour=colour, opacity=opacity))
    plates = [key, sky] if first else [sky, key]
    result = taken([Layer("HULL", HULL)], plates)
    middle = HULL.centroid
    printed, drawn = (
        overprinted((255, 255, 255), [(each.ink, np.array(float(stands(each)))) for each in plates])
        for stands in (lambda each: result[each.name].land.contains(middle), lambda each: each is key)
    )
    assert ciede2000(cielab(screen(printed)), cielab(screen(drawn))) <= 3
    assert result["sky"].land.contains(middle) == filled


def test_an_ink_that_is_not_known_hides_nothing():
    plates = [SKY, replace(plate("key", "HULL"), ink=None)]
    assert not taken([Layer("HULL", HULL)], plates)["sky"].land.contains(HULL.centroid)


def test_what_the_key_hides_on_paper_it_need_not_hide_on_another_ink():
    """Opaque white below a glaze is not seen on paper, but where a tone lies below both."""
    white, black = Ink(colour=(255, 255, 255), opacity=1.0), Ink(colour=(120, 120, 120), opacity=0.0)
    sky = replace(SKY, ink=white)
    key = replace(plate("key", "HULL"), ink=black)
    tone = replace(plate("tone"), ink=Ink(colour=INKS["tone"], opacity=1.0))
    assert taken([Layer("HULL", HULL)], [sky, key])["sky"].land.contains(HULL.centroid)
    assert not taken([Layer("HULL", HULL)], [tone, sky, key])["sky"].land.contains(HULL.centroid)


def test_no_gap_is_filled_below_an_ink_through_which_it_would_show():
    layers = [Layer("HULL", HULL), Layer("POST", shapely.box(45, 0, 50, 30))]
    land = taken(layers, [SKY, plate("tone", "HULL"), plate("key", "POST")])["sky"].land
    assert (land & HULL.buffer(-TRAP - 0.01)).area == pytest.approx(0, abs=0.1)


def test_what_is_laid_into_a_useless_cut_stays_back_from_white_and_other_inks():
    """A slit of 0.6 under a post 1.6 wide is filled, but where snow lies on the post's left side, or the field ends."""
    post, field = Layer("POST", shapely.box(20, 0, 21.6, 40)), Layer("FIELD", shapely.box(0, 0, 60, 20))
    snow = shapely.box(10, 5, 20, 10)
    tone = taken([post, field], [SKY, plate("tone", "FIELD"), plate("key", "POST")], snow)["tone"].land
    slit = shapely.box(20.5, 0, 21.1, 20)
    assert (tone & slit & shapely.box(20, 11.5, 22, 18.5)).area == pytest.approx(0.6 * 7, rel=0.01)
    assert (tone & post.shape & shapely.box(20, 5.6, 22, 9.4)).distance(snow) > TRAP - 0.02
    assert (tone & post.shape).bounds[3] <= 20 + 0.02, "the sky beside the post is another ink's"
    assert taken([post, field], [SKY, plate("tone", "FIELD"), plate("key", "POST")])["tone"].land.area > tone.area


def test_what_is_laid_into_a_useless_cut_ends_a_trap_from_where_another_ink_is_seen():
    """Post and field end at one height, and above both is the sky."""
    post, field = Layer("POST", shapely.box(20, 0, 21.6, 20)), Layer("FIELD", shapely.box(0, 0, 60, 20))
    tone = taken([post, field], [SKY, plate("tone", "FIELD"), plate("key", "POST")])["tone"].land
    top = (tone & shapely.box(20.75, 0, 20.85, 20)).bounds[3]
    assert 20 - TRAP - 0.5 < top < 20 - TRAP + 0.01


@pytest.mark.parametrize(
    ("light", "rim", "room"),
    [
        (shapely.box(29.85, 12, 30.15, 28), 0.4, 0.225),
        (shapely.box(29.85, 10, 30.15, 30), 0.4, 0.225),
        (shapely.box(29.85, 20, 30.15, 20.4), 0.25, 0.13),
        (cases.disc(30, 20, 0.2), 0.15, 0.09),
        (cases.disc(30, 20, 0.25), 0.2, 0.11),
    ],
)
def test_a_light_of_the_drawing_that_the_dark_outlines_is_not_closed_up(light, rim, room):
    """Paper in a thin dark outline on one field: the field stays half the outline away, and leaves what can be cut."""
    dark = shapely.buffer(light, rim, join_style="mitre")
    layers = [Layer("LIGHT", light), Layer("LINE", dark), Layer("FIELD", FACE)]
    tone = taken(layers, [plate("tone", "FIELD"), plate("key", "LINE")], spread=Trapping(trap_mm=0.35, cut_back_mm=0.3))
    land = tone["tone"].land
    assert land.distance(light) == pytest.approx(room, abs=0.02)
    assert not shapely.is_empty(shapely.buffer(shapely.difference(FACE, land), -0.19)), "the smallest cut is 0.4"


@pytest.mark.parametrize(("apart", "left"), [(1.6, 0.0), (1.8, 0.0), (1.9, 1.1), (2.2, 1.4)])
def test_under_the_dark_no_narrow_end_of_land_is_left_that_guards_nothing(apart, left):
    """Two flakes on a post leave a bar of the ink below, 0.8 mm narrower than they are apart; 1.05 mm holds."""
    side = 26 - apart / 2
    flakes = shapely.box(22, 8, side, 20) | shapely.box(52 - side, 8, 30, 20) | shapely.box(22, 18, 30, 20)
    tone = taken([POST], [SKY, plate("tone", "POST"), plate("key", "POST")], flakes)["tone"]
    assert (tone.land & shapely.box(24.5, 9, 27.5, 17)).area == pytest.approx(8 * left, abs=0.1)
    assert (tone.land & shapely.box(21, 0, 31, 7)).area > 65, "all that is broad stays"


def test_under_the_dark_an_end_of_land_stays_where_it_runs_on_round_what_is_in_sight():
    """A tab of the field's ink 0.7 x 0.2 mm stands out into the post: with what runs on, 0.2 a side, it is narrow."""
    layers = [
        Layer("TAB", shapely.box(20, 20, 20.7, 20.2)),
        Layer("POST", shapely.box(20, 0, 32, 40)),
        Layer("FIELD", FACE),
    ]
    plates = [plate("tone", "TAB", "FIELD"), plate("key", "POST")]
    land = taken(layers, plates, spread=Trapping(trap_mm=0.2, cut_back_mm=0))["tone"].land
    assert (land & shapely.box(20.5, 19.5, 21, 20.7)).area == pytest.approx(0.4 * 0.6, abs=0.03)  # less its corners


@pytest.mark.parametrize(("wide", "filled"), [(0.05, 0), (0.3, 0.45)])
def test_no_cut_is_filled_where_that_would_leave_a_bar_as_narrow(wide, filled):
    """Between two strokes of a tone on the dark 0.55 apart: what runs on and the cut are 0.75 mm, or 1.25."""
    strokes = shapely.box(25 - wide, 5, 25, 35) | shapely.box(25.55, 5, 25.55 + wide, 35)
    layers = [Layer("STROKES", strokes), Layer("POST", shapely.box(20, 0, 32, 40))]
    plates = [plate("tone", "STROKES"), plate("key", "POST")]
    land = taken(layers, plates, spread=Trapping(trap_mm=0.05, cut_back_mm=0))["tone"].land
    assert (land & shapely.box(25.05, 10, 25.5, 20)).area == pytest.approx(10 * filled, abs=0.05)


def test_an_ink_as_dark_is_not_run_under():
    result = taken([POST], [SKY, replace(plate("key", "POST"), lightness=SKY.lightness)])
    assert result["sky"].land.area == pytest.approx(60 * 40 - 12 * 30)


@pytest.mark.parametrize(("seen", "stands"), [(0.0, 0), (0.0003, 0), (0.002, 0.06)])
def test_a_run_on_that_nobody_sees_goes(seen, stands):
    """All of the sky is snow but for a strip beside the post, 30 mm long: less than 0.01 mm² is none."""
    white = shapely.difference(FACE, shapely.box(20 - seen, 0, 32, 30))
    result = taken([POST], [SKY, plate("key", "POST")], white, Trapping(trap_mm=TRAP, cut_back_mm=0))
    assert result["sky"].land.area == pytest.approx(stands, abs=1e-3)


@pytest.mark.parametrize(("at", "shows"), [((0, 0), True), ((12, 0), True), ((40, 0), False)])
def test_of_a_piece_with_very_many_corners_what_is_seen_anywhere_counts(at, shows):
    piece = shapely.Point(0, 0).buffer(12, quad_segs=400)
    assert shapely.get_num_coordinates(piece) > geometry.LARGE
    seen = shapely.union(cases.disc(*at, 0.5), cases.disc(80, 0, 5))
    assert separation._shows(geometry.polygon_array([piece, cases.disc(80, 0, 1)]), seen).tolist() == [shows, True]


@pytest.mark.parametrize(
    ("long", "snow", "sky", "stands"),
    [
        (0.45, True, True, False), (0.55, True, True, True), (0.45, True, False, True), (0.09, True, False, True),
        (0.45, False, True, True), (0.11, False, True, True), (0.09, False, True, False),
    ],
)  # fmt: skip
def test_a_small_piece_of_which_next_to_nothing_is_in_sight_goes(long, snow, sky, stands):
    """A slit in a post, 0.45 mm of it of the tone, which runs on round it: snow leaves 0.2 or 0.25 mm² of a slit.

    Where the sky does not print below it all stays: paper would be bare.
    """
    slit, white = shapely.box(24, 15, 24 + long, 15.5), shapely.box(24 + long, 15, 28, 15.5)
    layers = [Layer("LIT", shapely.union(slit, white) if snow else slit), POST]
    plates = [plate("sky", *["LIT"] * sky), plate("tone", "LIT"), plate("key", "POST")]
    land = taken(layers, plates, white if snow else NOTHING)["tone"].land
    assert (land.area > 0.5 * long) == stands


def test_a_large_piece_of_which_next_to_nothing_is_in_sight_stays():
    """A frame of the drawing that is 0.02 mm wide: with what runs on it is 0.9 mm, and 16 mm²."""
    frame = shapely.box(22, 5, 30, 10) - shapely.box(22.02, 5.02, 29.98, 9.98)
    land = taken([Layer("LIT", frame), POST], [plate("tone", "LIT"), plate("key", "POST")])["tone"].land
    assert land.area > 16


def test_it_narrows_at_tips():
    """Where tone and key both end on the sky's other side the trap shrinks to nothing over its own width."""
    tone, key = Layer("FIELD", shapely.box(0, 0, 20, 20)), Layer("DARK", shapely.box(20, 0, 40, 20))
    white = shapely.box(0, 20, 60, 40)
    result = taken(
        [tone, key], [plate("tone", "FIELD"), plate("key", "DARK")], white, Trapping(trap_mm=TRAP, cut_back_mm=0)
    )
    widths = [run_on(result["tone"].land, (20, y), (1, 0)) for y in (10, 19.4, 19.8, 19.95)]
    assert widths[0] == pytest.approx(TRAP, rel=0.03)
    assert widths == sorted(widths, reverse=True)
    assert widths[-1] < 0.35 * TRAP


# ── cut-back ─────────────────────────────────────────────────────────────────────────────────────────────────────


def test_toward_the_white_the_darkest_owns_the_edge():
    flake = cases.disc(26, 15, 3)
    result = taken([POST], [SKY, plate("tone", "POST"), plate("key", "POST")], flake)
    assert result["key"].land.distance(flake) < 0.002
    assert result["tone"].land.distance(flake) == pytest.approx(BACK, rel=0.04)
    assert result["tone"].dropped == ()


def test_who_meets_the_white_alone_is_not_cut_back():
    flake = cases.disc(20, 15, 3)  # half on the post, half on the sky
    result = taken([POST], [SKY, plate("key", "POST")], flake)
    assert run_on(result["sky"].land, (16.99, 15), (-1, 0)) > 4
    result = taken([POST], [plate("sky", "POST", ground=True), plate("key", "POST")], flake)
    inner = UNDER & shapely.box(20 + BACK, 0, 60, 40)  # nearer to its own ink in sight the cut ends blunt
    assert (result["sky"].land & inner).distance(flake) == pytest.approx(BACK, rel=0.04)


def test_room_for_register_has_no_points():
    """A flake that just comes in under a post: the room round it ran out in two."""
    flake = cases.disc(18, 15, 3)
    sky = taken([POST], [plate("sky", "POST", ground=True), plate("key", "POST")], flake)["sky"].land
    cut = shapely.difference(FACE, sky)
    points = shapely.difference(cut, opened(cut, 0.9 * BACK).buffer(0.01))
    assert points.area < 0.002


def test_beyond_the_end_of_a_heap_no_horn_is_cut_under_the_dark():
    """Snow lies beside a post from 10 to 20: the room for register ends with it, and is not drawn out beyond."""
    heap = shapely.box(10, 10, 20, 20)
    sky = taken([POST], [plate("sky", "POST", ground=True), plate("key", "POST")], heap)["sky"].land
    assert (sky & shapely.box(20, 10.5, 20 + BACK, 19.5)).area == pytest.approx(0, abs=0.02), (
        "all along it there is room"
    )
    beyond = shapely.box(20, 20.02, 21, 22) | shapely.box(20, 8, 21, 9.98)
    assert (sky & beyond & UNDER).area == pytest.approx((beyond & UNDER).area, rel=0.01)


@pytest.mark.parametrize(("wide", "starves"), [(1.2, True), (1.48, True), (1.52, False), (4.0, False)])
def test_where_it_would_starve_a_land_it_is_dropped_and_told(wide, starves):
    """A strip of tone between two flakes: cut back by 0.4 on both sides, 0.7 must be left."""
    white = shapely.box(20, 10, 26 - wide / 2, 14) | shapely.box(26 + wide / 2, 10, 32, 14)
    tone = taken([POST], [SKY, plate("tone", "POST"), plate("key", "POST")], white)["tone"]
    strip = (tone.land & shapely.box(26 - wide / 2, 11, 26 + wide / 2, 13)).area / 2
    assert strip == pytest.approx(wide if starves else wide - 2 * BACK, abs=0.02)
    assert (tone.land & shapely.box(21, 13, 22, 20)).bounds[1] == pytest.approx(14 + BACK, abs=0.01)  # away from it
    assert len(tone.dropped) == starves
    for each in tone.dropped:
        assert each.at == pytest.approx((26, 12), abs=1)
        assert 0.75 * (wide - 2 * BACK) < each.width_mm < wide - 2 * BACK < each.land_mm


@pytest.mark.parametrize(("side", "there"), [(0.099, False), (0.101, True)])
def test_crumbs_of_the_picture_are_left_out(side, there):
    """Our own choice: less than 0.01 mm² is no land."""
    shape = shapely.box(1, 1, 5, 5) | shapely.box(10, 10, 10 + side, 10 + side)
    assert painted(FACE, [Layer("POST", shape)], plate("key", "POST")).area == pytest.approx(16 + there * side**2)


def test_what_must_stay_prints_in_the_white_where_it_is_of_the_ink():
    flake, keeps = cases.disc(26, 15, 3), shapely.box(24, 14, 28, 16)
    plates = [SKY, plate("key", "POST")]
    result = separated(FACE, [POST], plates, white=lambda _: flake, spread=SPREAD, stays=lambda _: keeps)
    assert (result["key"].land & flake).area == pytest.approx(keeps.area, abs=0.02)
    assert (result["sky"].land & flake).area == pytest.approx(0, abs=0.02)


def test_what_need_not_be_laid_over_anything_is_not(monkeypatch):
    """Overlays are what takes long: none for a trap of 0, none for what must stay nowhere."""
    plates = [SKY, plate("key", "POST")]
    monkeypatch.setattr(separation, "_about", lambda *_: pytest.fail("what runs on is looked for"))
    first = taken([POST], plates, spread=Trapping(trap_mm=0, cut_back_mm=0))
    taken([POST], plates[1:])  # nothing is darker
    monkeypatch.setattr(separation, "_one", lambda each, *_: first[each.name])
    again = taken([POST], plates)
    assert all(again[name] is first[name] for name in first)


@pytest.mark.parametrize(
    ("key", "white", "back"),
    [("POST", cases.disc(26, 15, 3), 0.0), ("POST", NOTHING, BACK), ("-", cases.disc(26, 15, 3), BACK)],
    ids=["no cut-back", "no white", "nothing darker in sight"],
)
def test_what_is_not_cut_back_is_not_looked_at_for_starved_lands(monkeypatch, key, white, back):
    """The last: only the tone is darker, which the sky lies under on purpose."""
    monkeypatch.setattr(separation, "_starved", lambda *_: pytest.fail("starved lands are looked for"))
    plates = [plate("sky", "POST", ground=True), plate("tone", "POST"), plate("key", key)]
    taken([POST], plates[:: 1 if key == "-" else 2], white, Trapping(trap_mm=0, cut_back_mm=back))


def test_run_ons_narrow_in_six_steps():
    """Snow 0.5 mm inside the post: half of that is three steps of six of the trap, and none of three."""
    flake = shapely.box(20.5, 10, 26, 20)
    result = taken([POST], [SKY, plate("key", "POST")], flake, Trapping(trap_mm=TRAP, cut_back_mm=0))
    assert run_on(result["sky"].land, (20, 15), (1, 0)) == pytest.approx(0.25, abs=0.02)


def test_nothing_is_trapped_into_an_opening():
    """Never into an emboss opening: it is white for the separation, right up to the edge of the dark."""
    opening = cases.disc(33, 15, 2)
    result = taken([POST], [SKY, plate("key", "POST")], opening)
    assert all((value.land & opening.buffer(-0.002)).area == 0 for value in result.values())
    inner = UNDER & shapely.box(0, 0, 32 - BACK, 40)  # nearer to its own ink in sight the cut ends blunt
    assert (result["sky"].land & inner).distance(opening) >= BACK - 0.04


# ── a raster twin ────────────────────────────────────────────────────────────────────────────────────────────────


def test_printed_dot_by_dot_it_is_the_picture():
    """The twin asks each dot of a 0.1 mm raster by the rules in words, with no polygon operation but "inside"."""
    layers = [
        Layer("LIT", shapely.box(22, 3, 25, 24)), Layer("POST", shapely.box(20, 0, 32, 30)),
        Layer("SHORE", shapely.Polygon([(0, 12), (25, 18), (60, 11), (60, 20), (30, 23), (0, 21)])),
    ]  # fmt: skip
    on = {"sky": (), "tone": ("LIT", "SHORE"), "key": ("POST",)}
    white = shapely.union_all(
        [cases.disc(20, 26, 3), cases.disc(28, 12, 2), cases.disc(45, 30, 1.5), cases.disc(45, 12, 2)]
    )
    plates = [plate(name, *names, ground=name == "sky") for name, names in on.items()]
    result = taken(layers, plates, white)

    x, y = (side.ravel() for side in np.meshgrid(np.arange(0.0487, 60, 0.1), np.arange(0.0471, 40, 0.1)))

    def inside(shape):
        shapely.prepare(shape)
        return shapely.contains_xy(shape, x, y)

    owner = np.full(len(x), "sky  ")
    for layer in reversed(layers):
        owner[inside(layer.shape)] = next(name for name, names in on.items() if layer.name in names)
    bare = inside(white)
    prints = {name: inside(one.land) for name, one in result.items()}

    assert not any((printed & inside(white.buffer(-0.002))).any() for printed in prints.values())
    for name, printed in prints.items():
        own = (np.char.strip(owner) == name) & ~bare
        lost = np.column_stack([x, y])[own & ~printed & ~inside(white.buffer(0.002))]
        assert len(lost) == 0, (name, lost)  # an ink is printed all over its own part: none here lies under another
        foreign = printed & (np.char.strip(owner) != name)
        darker = {each for each in INKS if lightness(INKS[each]) < lightness(INKS[name])}
        assert set(np.char.strip(owner[foreign])) <= darker, name
        away = shapely.distance(shapely.points(x[foreign], y[foreign]), result[name].picture)
        assert away.max(initial=0) <= TRAP + 0.8 / 2, name  # half of what is not worth a cut
        assert (away > 1.02 * TRAP).sum() <= 0.01 * len(away), name

    inks = [Ink(colour=INKS[name], opacity=0.3) for name in on]
    seen = overprinted((251, 250, 246), [(ink, prints[name] * 1.0) for ink, name in zip(inks, on, strict=True)])
    wanted = overprinted(
        (251, 250, 246),
        [(ink, ((np.char.strip(owner) == name) & ~bare) * 1.0) for ink, name in zip(inks, on, strict=True)],
    )
    edges = shapely.union_all([layer.shape.boundary for layer in layers])
    far = ~inside(edges.buffer(TRAP + 0.22) | white.boundary.buffer(0.002))
    assert far.mean() > 0.8
    np.testing.assert_allclose(screen(seen)[far], screen(wanted)[far], atol=1e-9)


def test_no_rim_shows_round_flakes_before_an_ink_that_is_not_the_darkest():
    """What prints under it on purpose goes up to the white; under the darkest, which hides it, it stays back."""
    layers = [Layer("HILL", shapely.box(10, 0, 30, 30)), Layer("POST", shapely.box(30, 0, 50, 30))]
    flakes = [cases.disc(x, 15, 3) for x in (20, 40)]
    plates = [plate("sky", "HILL", "POST", ground=True), plate("tone", "HILL"), plate("key", "POST")]
    sky = taken(layers, plates, shapely.union_all(flakes))["sky"].land
    assert [sky.distance(flake) for flake in flakes] == pytest.approx([0, BACK], abs=0.02)
    plates[1] = plate("tone", "HILL", "POST")
    sky = taken(layers, plates, shapely.union_all(flakes))["sky"].land
    assert [sky.distance(each) for each in flakes] == pytest.approx([0, BACK], abs=0.02), "the key hides both"


@pytest.mark.parametrize(("wide", "stays"), [(0.22, False), (0.25, True)])
def test_what_runs_on_stays_from_a_third_of_a_land_on(wide: float, stays: bool) -> None:
    """A strip that nobody sees, at what is seen: narrower it is a sliver."""
    seen = shapely.box(0, 0, 10, 10)
    scene: Any = SimpleNamespace(picture=seen, white=NOTHING, hidden=NOTHING, paler=NOTHING)
    left = separation._tidied(SKY, seen | shapely.box(9, 4, 20, 4 + wide), scene)
    assert left.area - seen.area == pytest.approx(10 * wide * stays, abs=0.05)


@pytest.mark.parametrize("wide", [0.1, 0.5])
def test_along_narrow_white_there_is_as_much_room_for_register(wide: float) -> None:
    """With it what is cut is broader than the room's blunt ends."""
    sky = taken([POST], [plate("sky", "POST", ground=True), plate("key", "POST")], shapely.box(20 - wide, 10, 20, 20))
    assert (sky["sky"].land & shapely.box(20, 10.5, 20 + BACK, 19.5)).area == pytest.approx(0, abs=0.05)


def test_what_is_painted_already_is_taken_as_it_is() -> None:
    own = shapely.box(21, 1, 30, 29)
    result = separated(FACE, [POST], [SKY, plate("key", "POST")], white=lambda _: NOTHING, spread=SPREAD,
                      ready={"key": own})  # fmt: skip
    assert result["key"].land.equals(own)
    assert result["sky"].picture.area == pytest.approx(FACE.area - POST.shape.intersection(FACE).area)


def test_a_land_that_no_darkest_ink_hides_stays_as_it_is_corner_by_corner() -> None:
    land = shapely.Point(5, 5).buffer(3)
    plate: Any = SimpleNamespace(cut_mm=0.4, land_mm=0.5)
    scene: Any = SimpleNamespace(hidden=shapely.Polygon())
    assert separation._plainer(plate, scene, land) is land


@pytest.mark.parametrize(
    ("high", "seen", "beyond", "paler", "white", "speck"),
    [
        # 4 mm² and more is worth a cut, and so is all where no paler ink lies under it
        (3.9, 0.0, 0.0, True, False, True), (4.1, 0.0, 0.0, True, False, False), (3.9, 0.0, 0.0, False, False, False),
        # so much is in sight: a dot, and beside the white a rest
        (3.0, 0.045, 0.0, True, False, True), (3.0, 0.055, 0.0, True, False, False),
        (3.0, 0.24, 0.0, True, True, True), (3.0, 0.26, 0.0, True, True, False),
        # or half of it
        (0.08, 0.035, 0.0, True, True, True), (0.08, 0.045, 0.0, True, True, False),
        # and none of that on bare paper
        (3.0, 0.045, 0.04, True, False, False),
    ],
)  # fmt: skip
def test_small_land_of_which_next_to_nothing_is_seen_is_no_cut_worth(high, seen, beyond, paler, white, speck) -> None:
    """1 mm broad, from its foot on so high in sight."""
    box = cases.box
    piece = box(0, 0, 1, high)
    scene: Any = SimpleNamespace(
        hidden=box(0, seen, 1, 9), paler=box(0, beyond, 1, 9) if paler else shapely.Polygon(),
        white=box(-3, -3, 2.999, 9) if white else box(-3, -3, 2.9, 9),
    )  # fmt: skip
    assert separation._specks(cases.shapes(piece), piece, scene).tolist() == [speck]


def quick_and_slow(monkeypatch, flakes):
    """What is separated of white with and without holes made at once, and of each block how many are so made."""
    layers, white = [Layer("POST", shapely.box(50, 0, 55, 30))], shapely.multipolygons(flakes)
    plates = [plate("sky", "POST", ground=True), plate("key", "POST")]
    made, alone = list[int](), separation._alone
    monkeypatch.setattr(separation, "_alone", lambda *given: made.append(int(alone(*given).sum())) or alone(*given))
    quick = taken(layers, plates, white)
    monkeypatch.setattr(separation, "_alone", lambda white, *_: np.zeros(len(white), dtype=bool))
    return quick, taken(layers, plates, white), sorted(made)


def test_flakes_alone_on_the_open_sky_are_holes_at_once_and_the_land_is_the_same(monkeypatch):
    """Of discs it is to the byte."""
    flakes = geometry.snapped(geometry.polygon_array([cases.disc(x, 20, 2) for x in (8, 20, 33, 37.3, 46)]))
    quick, slow, made = quick_and_slow(monkeypatch, flakes)
    assert made == [0, 2]  # not beside the post, nor two near to one another
    assert all(quick[name].land.wkb == slow[name].land.wkb for name in quick)


DISC = geometry.snapped(geometry.polygon_array([cases.disc(30, 20, 3)]))[0]


@pytest.mark.parametrize(
    "flake",
    [
        shapely.difference(DISC, affinity.scale(DISC, 0.5, 0.5)), shapely.difference(DISC, cases.box(30, 20, 4, 0.1)),
        affinity.translate(DISC, 0.3 * geometry.GRID_MM), affinity.translate(DISC, -26),
    ],
    ids=["with an island", "with a slit", "off the grid", "near the face's edge"],
)  # fmt: skip
def test_what_is_more_than_a_hole_is_separated_as_ever(monkeypatch, flake):
    """Beside a plain flake, which is a hole at once."""
    quick, slow, made = quick_and_slow(monkeypatch, [flake, affinity.translate(DISC, 0, 12)])
    assert made == [0, 1]
    assert all(shapely.symmetric_difference(quick[name].land, each.land).area < 0.0024 for name, each in slow.items())


def test_a_hole_that_lies_within_no_piece_of_land_has_all_separated_as_ever(monkeypatch):
    flakes = [cases.disc(1, 20, 2), cases.disc(20, 20, 2)]
    monkeypatch.setattr(separation, "_alone", lambda white, *_: np.ones(len(white), dtype=bool))
    quick, slow, _ = quick_and_slow(monkeypatch, flakes)
    assert all(quick[name].land.wkb == slow[name].land.wkb for name in quick)
