"""Small rules of a print on both sides of their limits: flakes on outlines, snow and things, bare paper, old cuts."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Severity
from carvegen.blocks.comparison import Difference
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs.growth import Growth
from carvegen.motifs.snowfall import Settings
from carvegen.prints import bare_paper, flake_fit, recut, separation
from carvegen.prints.file.keys import LISTS, TABLES, keys_of
from carvegen.prints.picture import fitting, growing_room, readable_bars
from carvegen.prints.picture.growing import Grower
from carvegen.prints.picture.growing_room import GrowingRooms
from carvegen.prints.picture.readable_bars import ReadableBars
from carvegen.prints.separation import Layer, Plate
from tests.cases import box, limits, shapes

LIMITS, NOTHING = limits(0.5, 0.4), shapely.Polygon()
EVERYWHERE = box(-50, -50, 200, 200)

# ── keys ─────────────────────────────────────────────────────────────────────────────────────────────────────────

#: Stated anew, so that a slip is noticed: the least, what is taken where nothing is asked, the most.
STATED: dict[str, dict[str, tuple[object, ...]]] = {
    "print": {
        "size_mm": (5, 2000), "seed": (0, 1, 2**63 - 1), "trap_mm": (0, 0.5, 3), "register_error_mm": (0, 0.5, 3),
        "paper_g_m2": (20, 300, 1200), "paper_mm": (0.02, None, 3), "margin_mm": (0, 0, 200), "bleed_mm": (0, 0, 50),
    },
    "blocks": {
        "opacity": (0, 0.3, 1), "thickness_mm": (0.5, None, 100), "depth_mm": (0.1, None, 50),
        "grain_deg": (-180, 0, 180), "bevel_deg": (5, 45, 75), "edge_mm": (0, 0.2, 2), "corner_mm": (0.1, 0.5, 10),
        "counter_thickness_mm": (0.3, None, 100),
    },
    "files": {
        "shoulder_steps": (0, 2, 6), "line_spacing_mm": (0.02, 0.1, 5), "lead_in_mm": (0, 0, 20),
        "rest_mm": (0, 2, 50), "ramp_deg": (0.5, 5, 30), "pass_mm": (0, 0, 50),
    },
    "marked": {"strength": (0, 1, 1), "try": (1, 1, 10**6)},
    "motifs": {"clearance_mm": (0, 1, 100)},
}  # fmt: skip


@pytest.mark.parametrize("table", STATED)
def test_ranges_of_keys_are_as_they_are_stated_here(table: str) -> None:
    assert {table} <= {*TABLES, *LISTS}
    own = {each.key: each for each in keys_of(table) if each.bounded}
    assert {
        key: (one.at_least, one.at_most) if key == "size_mm" else (one.at_least, one.default, one.at_most)
        for key, one in own.items()
    } == STATED[table]


# ── flakes on outlines ───────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("apart", "near"), [(0.4, True), (0.515, True), (0.525, False)])
def test_other_white_is_too_near_within_a_land_and_only_so_far_round_a_flake_it_is_looked_at(apart, near) -> None:
    """0.5 mm of land and 0.02 mm of room for rounding."""
    place = flake_fit._beside(shapes(box(0, 0, 4, 4)), box(4 + apart, -20, 30, 60), LIMITS)[0]
    wanted = box(4 + apart, -0.52, 0.52 - apart, 5.04) if near else NOTHING
    assert shapely.symmetric_difference(place, wanted).area == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize(("width", "share"), [(0.2, 1), (0.49, 1), (0.51, 0), (0.8, 0)])
def test_what_no_disc_of_the_width_fits_into_is_thin(width: float, share: int) -> None:
    assert shapely.area(flake_fit._thin(shapes(box(0, 0, 10, width)), 0.5))[0] == pytest.approx(share * 10 * width)


def test_a_right_angle_is_not_thin_but_a_sharp_corner_is() -> None:
    square, sharp = box(0, 0, 5, 5), shapely.Polygon([(0, 0), (6, 0), (3, 5.2)])
    assert [len(geometry.parts(each)) for each in flake_fit._thin(shapes(square, sharp), 0.5)] == [0, 3]


@pytest.mark.parametrize(
    ("flake", "misfit_mm2"),
    [
        (box(8, 14, 2.0005, 1), 0),  # only touches the post
        (box(8, 14, 2.03, 1), 0.03),  # takes less of it than two of the smallest cuts, squared: 0.32 mm²
        (box(8, 14, 2.31, 1), 0.31),
        (box(8, 14, 2.33, 1), 0),
        (box(12, 14, 7.4, 1), 0),  # leaves the post more than a land
        (box(12, 14, 7.55, 1), 0.28),  # less
        (box(12, 14, 7.7, 0.2), 0),  # less over so short a way that a quarter of a land, squared, is not filled
        (box(12, 14, 7.7, 0.3), 0.028),
    ],
)
def test_what_a_flake_takes_of_a_post_or_leaves_of_it_is_not_too_little(flake, misfit_mm2: float) -> None:
    place = flake_fit._misfits(shapes(flake), box(10, 0, 10, 30), LIMITS)[0]
    assert shapely.area(place) == pytest.approx(misfit_mm2, abs=0.02)
    assert (shapely.area(place) > 0) == (misfit_mm2 > 0)


@pytest.mark.parametrize(("apart", "shy"), [(0.45, True), (0.55, False)])
def test_a_flake_beside_an_outline_keeps_a_land_off_it(apart: float, shy: bool) -> None:
    post = box(10, 0, 10, 30)
    for flake in (box(10 + apart, 14, 2, 2), box(20 - apart - 2, 14, 2, 2)):
        assert (not shapely.is_empty(flake_fit._misfits(shapes(flake), post, LIMITS)[0])) == shy


@pytest.mark.parametrize(
    ("long", "wide", "left_mm2"), [(2, 1.5, 2.5), (2, 1.7, 0), (0.2, 1, 0), (0.4, 1, 0.33), (8, 1, 5.0)]
)
def test_what_is_left_of_a_mass_along_a_seam_and_is_narrow_is_a_horn(long, wide, left_mm2) -> None:
    """Narrower than 1.6 mm, larger than a corner; of a long one what lies within three such widths of the seam."""
    mass, off = shapely.union(box(0, 0, 10, 10), box(10, 4, long, wide)), box(10 + long, 0, 2, 10)
    assert flake_fit._horns(shapes(mass), off).area == pytest.approx(left_mm2, abs=0.1)


def test_a_mass_takes_slivers_with_a_quarter_of_a_land_round_them_but_not_up_to_other_white() -> None:
    mass, sliver = shapes(box(0, 0, 10, 10)), shapes(box(10, 0, 1, 10))
    alone = flake_fit._with_slivers(mass, sliver, NOTHING, EVERYWHERE, LIMITS)
    assert shapely.bounds(alone).tolist() == [pytest.approx([0, -0.125, 11.125, 10.125])]
    beside = flake_fit._with_slivers(mass, sliver, box(11.2, -5, 3, 30), EVERYWHERE, LIMITS)
    assert shapely.bounds(beside)[:, 2].tolist() == [pytest.approx(11.2 - 0.5 - 0.04)]


# ── snow before things ───────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("wide", "broad"), [(3.9, False), (4.1, True)])
def test_what_is_broad_is_so_wide_somewhere_and_a_little_round_that(wide: float, broad: bool) -> None:
    each = readable_bars._broad(box(0, 0, 20, wide), 4.0)
    assert shapely.is_empty(each) != broad
    if broad:
        assert each.bounds == pytest.approx((-1, -1, 21, wide + 1))


def test_a_hole_belongs_to_the_wall_that_most_of_its_rim_is() -> None:
    hole = shapes(box(10, 10, 4, 2))
    around = shapely.difference(box(8, 8, 8, 6), hole[0])
    low, high = (shapely.intersection(around, box(0, y, 30, 11)) for y in (0, 11))
    for walls, wanted in (([low, high], 0), ([high, low], 0), ([NOTHING, around], 1)):
        assert growing_room._wall_of(hole, walls).tolist() == [wanted]
    most = shapely.difference(around, box(8, 8, 8, 2))  # all but its sill
    assert growing_room._wall_of(hole, [box(8, 8, 8, 2), most]).tolist() == [1]
    assert growing_room._wall_of(hole, [box(8, 8, 8, 1.98), most]).tolist() == [1]
    assert growing_room._wall_of(geometry.empty(), [most]).tolist() == growing_room._wall_of(hole, []).tolist() == []


def test_a_motif_keeps_a_land_off_other_white_and_touches_what_hides_it() -> None:
    each = growing_room.kept_out(box(0, 0, 5, 5), box(20, 0, 5, 5), LIMITS)
    assert [part.bounds for part in geometry.parts(each)] == [
        pytest.approx((0, 0, 5, 5)), pytest.approx((19.48, -0.52, 25.52, 5.52)),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("inside", "lost_mm2", "noted"), [(0.985, 0.51, True), (0.985, 0.49, False), (0.975, 0.51, False)]
)
def test_snow_that_is_hidden_by_what_may_be_drawn_on_its_bearer_is_noted(inside, lost_mm2, noted: bool) -> None:
    """At least 98 in 100 parts of the layer lie on it, and it hides half a square millimetre."""
    front = Layer("LIT", box(0, 0, 10, 10))
    rooms = SimpleNamespace(drawing=SimpleNamespace(union=lambda _: box(0, 0, 10 * inside, 10)))
    hides = shapes(box(0, 0, 1, lost_mm2))
    notes = GrowingRooms._hiding_note(rooms, SimpleNamespace(called="snow"), front, ["POST"], hides)
    assert [f"{lost_mm2:.1f} mm²" in note for note in notes] == [True] * noted


@pytest.mark.parametrize(("on", "painted"), [(0.45, False), (0.55, True)])
@pytest.mark.parametrize("lacking", [False, True])
def test_what_lies_mostly_on_a_thing_or_in_its_hole_is_painted_on_it(on: float, painted: bool, lacking: bool) -> None:
    post, band = box(0, 0, 10, 30), box(10 - 4 * on, 10, 4, 2)
    behind = shapely.difference(post, shapely.buffer(box(7, 10, 2, 2), 0.5)) if lacking else post
    layers = [Layer("BAND", band), Layer("POST", post)]
    readable = ReadableBars(drawing=SimpleNamespace(in_front_of=lambda _: layers), plates=(), pictures={})
    each = readable._painted_on(behind, frozenset({"POST"}))
    assert each.area == pytest.approx(8 if painted else 0)


PLAIN = SimpleNamespace(name="tone", ground=False, under_all=False, layers=frozenset({"A"}))
OF_SNOW = SimpleNamespace(settings=Settings(smallest_mm=1.0, largest_mm=5.0))


@pytest.mark.parametrize(
    ("shape", "ground", "bar"),
    [
        (box(0, 0, 40, 1.9), NOTHING, False),  # less than two of the smallest flakes: a line
        (box(0, 0, 40, 2.2), NOTHING, True),
        (box(0, 0, 40, 19.9), NOTHING, True),
        (box(0, 0, 40, 20.1), NOTHING, False),  # four of the largest: masses fall before it
        (box(0, 0, 40, 9.9), box(0, 0, 90, 5), True),
        (box(0, 0, 40, 10.1), box(0, 0, 90, 5), False),  # two, of ground
        (shapely.union(box(0, 0, 20, 4), box(20, 0, 18, 1)), NOTHING, True),  # 18 of 98 mm² are a line
        (shapely.union(box(0, 0, 20, 4), box(20, 0, 22, 1)), NOTHING, False),  # 22 of 102
    ],
)
def test_of_a_paler_ink_bars_are_neither_lines_nor_broad(shape, ground, bar: bool) -> None:
    readable = SimpleNamespace(pictures={"tone": shape}, _ground_of=lambda _: ground)
    assert len(ReadableBars._pale_bars(readable, PLAIN, OF_SNOW)) == bar
    for more in ({"ground": True}, {"under_all": True}):
        other = SimpleNamespace(**vars(PLAIN) | more)
        assert len(ReadableBars._pale_bars(readable, other, OF_SNOW)) == 0


@pytest.mark.parametrize(("hidden", "same"), [(NOTHING, True), (box(6, 0, 4, 10), False)])
def test_lying_snow_that_nothing_hides_stays_as_it_grew(hidden, same) -> None:
    rooms: Any = SimpleNamespace(hidden_by=lambda _: hidden, in_front=lambda *_: (NOTHING, ["noted"]))
    room: Any = SimpleNamespace(area=box(0, 0, 10, 10), edge=box(0, 0, 10, 10))
    snow, motif = Growth(cuts=shapes(box(3, 4, 5, 2), box(1, 7, 2, 2))), SimpleNamespace(name="lying")
    left, notes = fitting.loaded(
        rooms, motif, (room, snow), LIMITS, before=NOTHING, heaps=geometry.empty(), dark=NOTHING
    )
    assert (left is snow) == same
    assert notes == ["noted"]
    assert shapely.area(shapely.intersection(geometry.union(left.cuts), hidden)) == 0


@pytest.mark.parametrize(
    ("gap", "thing", "closed"),
    [
        (box(5, 10, 5.5, 1.4), NOTHING, True),
        (box(5, 10, 5, 1.6), NOTHING, False),  # broader than three lands of 0.5 mm
        (box(5, 10, 6.5, 1.4), NOTHING, False),  # once round it is more than twice fifteen lands
        (box(5, 10, 5.5, 1.4), box(5, 10.5, 5.5, 0.5), False),  # a twig is in it
        (box(5, 6, 5.5, 1.4), NOTHING, False),  # in the new snow alone
    ],
)
def test_a_sliver_of_what_is_behind_between_two_lobes_of_snow_closes(gap, thing, closed) -> None:
    own, further = box(0, 0, 20, 11) - gap, box(0, 10.5, 20, 10) - gap
    cuts = fitting._with_slivers(shapes(own), own, further, thing, limits(0.5))
    assert shapely.union_all([*cuts, further]).covers(gap) == closed
    assert closed or list(cuts) == [own]


@pytest.mark.parametrize(
    ("snow", "front", "left"),
    [
        (box(5, 8, 3, 0.9), box(4, 9, 9, 5), False),
        (box(5, 8, 3, 1.1), box(4, 9.1, 9, 5), True),  # larger
        (box(5, 8, 3, 0.9), box(7, 9, 9, 5), True),  # two thirds of it have air above
        (box(5, 8, 3, 0.9), box(4, 3, 9, 5), True),  # it lies on that
    ],
)
def test_no_small_bit_of_snow_lies_right_below_what_stands_in_front(snow, front, left) -> None:
    large = box(20, 8, 9, 0.9)
    assert list(fitting._without_bricks(shapes(snow, large), shapely.union(front, box(19, 8.9, 11, 2)))) == (
        [snow, large] if left else [large]
    )


@pytest.mark.parametrize(("lost", "expected"), [(0.011, True), (0.009, False)])
def test_falling_snow_that_is_left_out_on_a_hundredth_of_the_face_is_told(lost, expected, monkeypatch) -> None:
    said: list[str] = []
    rooms = SimpleNamespace(pictures={"key": NOTHING}, face=box(0, 0, 10, 10))
    grower = SimpleNamespace(say=said.append, rooms=rooms, notes=[])
    room = SimpleNamespace(figures=(), bars=NOTHING, area=rooms.face, edge=rooms.face)
    flakes = shapes(box(0, 0, 1, 1), box(5, 5, 100 * lost, 1))
    monkeypatch.setattr(fitting, "settled", lambda cuts, *_, **__: cuts[:1])
    motif = SimpleNamespace(name="snow", called="snow", motif="snowfall", settings=Settings())
    begun = room, Growth(cuts=flakes)
    assert list(Grower._fitted(grower, motif, begun, LIMITS, NOTHING, frozenset({"key"})).cuts) == [flakes[0]]
    assert ["snow on 1% of the face is left out" in note for note in grower.notes] == [True] * expected
    assert said == ["laying 2 flakes and masses on the drawing"]


# ── bare paper ───────────────────────────────────────────────────────────────────────────────────────────────────

LAND = SimpleNamespace(land=box(0, 0, 10, 10), white=NOTHING)


@pytest.mark.parametrize(("apart", "met_mm"), [(0.0, 4.02), (0.008, 4.02), (0.012, 0)])
def test_a_piece_meets_a_land_along_its_side_within_a_hundredth_of_a_millimetre(apart: float, met_mm: float) -> None:
    assert bare_paper._contact(shapes(box(10 + apart, 2, 3, 4)), LAND) == pytest.approx([met_mm], abs=0.02)


@pytest.mark.parametrize(("white", "met"), [(0.49, True), (0.51, False)])
def test_a_piece_that_is_mostly_white_on_a_block_does_not_meet_its_land(white: float, met: bool) -> None:
    cut = SimpleNamespace(land=LAND.land, white=box(13 - 3 * white, 0, 5, 10))
    assert (bare_paper._contact(shapes(box(10, 2, 3, 4)), cut)[0] > 0) == met


def test_pieces_are_offered_to_the_block_that_they_meet_most_if_by_more_than_a_thread() -> None:
    """A thread: a tenth of a millimetre."""
    cuts = {"sky": SimpleNamespace(land=box(3, 0, 9, 3), white=NOTHING), "key": LAND}
    pieces = shapes(box(10, 3, 2, 5), box(10, 9.95, 3, 4), box(10, 9.8, 3, 4), box(30, 0, 1, 1))
    assert bare_paper._turns(pieces, 0, cuts).tolist() == ["key", "", "key", ""]
    assert bare_paper._turns(pieces, 1, cuts).tolist() == ["sky", "", "", ""]


@pytest.mark.parametrize(("wide", "expected"), [(0.019, False), (0.022, True)])
def test_bare_paper_as_narrow_as_a_hair_is_not_told(wide: float, expected: bool) -> None:
    assert len(bare_paper._wide(box(0, 0, 5, wide))) == expected
    cuts = [SimpleNamespace(ink=box(0, 0, 10, 5)), SimpleNamespace(ink=box(10 + wide, 0, 5, 5))]
    assert len(bare_paper.bare_unasked(box(0, 0, 15, 5), cuts)) == expected


def test_how_wide_and_how_long_a_piece_is() -> None:
    (at, width, _), *_ = bare_paper._places(shapes(box(3, 3, 2, 2)))
    assert (at, width) == ((pytest.approx(4, abs=0.01), pytest.approx(4, abs=0.01)), pytest.approx(2, rel=0.01))
    assert bare_paper._length(box(0, 0, 10, 0.5), 0.5) == pytest.approx(10)
    assert bare_paper._length(shapely.Point(0, 0).buffer(1), 2.0) == pytest.approx(2)


@pytest.mark.parametrize(("times", "severity"), [(0.99, Severity.ADVICE), (1.01, Severity.RISK)])
def test_bare_paper_that_an_eye_tells_apart_is_a_risk(times: float, severity: Severity) -> None:
    each = bare_paper._bare_finding((1, 2), times * bare_paper.SEEN_MM, 3.0)
    assert (each.severity, each.at, each.length_mm) == (severity, (1, 2), 3.0)


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (box(0, 0, 1, 1.05), True),
        (box(0, 0, 1, 0.95), False),
        (box(0, 0, 40, 0.08), False),
        (box(0, 0, 40, 0.12), True),
    ],
)
def test_a_layer_on_no_block_is_told_where_a_square_millimetre_of_it_shows_and_no_thread(shape, expected: bool) -> None:
    over = Layer("OVER", box(0, 0, 40, 10))
    seen = SimpleNamespace(face=box(0, 0, 40, 30), bare=NOTHING, drawing=SimpleNamespace(layers=[Layer("A", shape)]))
    assert list(bare_paper._blank_layers(seen, NOTHING)) == ["A"] * expected
    seen.drawing.layers.insert(0, over)
    assert list(bare_paper._blank_layers(seen, NOTHING)) == ["OVER"]  # A lies under it
    assert list(bare_paper._blank_layers(seen, over.shape)) == []
    seen.bare = over.shape
    assert list(bare_paper._blank_layers(seen, NOTHING)) == []


@pytest.mark.parametrize(("lost", "expected"), [(0.95, False), (1.05, True)])
def test_a_square_millimetre_of_the_drawing_that_mending_takes_is_told(lost: float, expected: bool) -> None:
    note = SimpleNamespace(rule="other-ink", kind="sky", at=(0.5, 1.0))
    twig = SimpleNamespace(rule="mended-away", kind="twigs", at=(0.5, 0.5))
    whole = box(0, 0, 10, 1)
    cut = SimpleNamespace(land=box(lost, 0, 9, 1), picture=whole, changes=("cut",), notes=(), given_up=NOTHING)
    said = list(bare_paper.cut_away(box(0, 0, 10, 1), cut))
    assert [(each.measured, each.unit) for each in said] == [(pytest.approx(lost), "mm²")] * expected
    cut.notes = (note,)  # another prints it
    assert list(bare_paper.cut_away(box(0, 0, 10, 1), cut)) == []
    cut.land, cut.notes = box(lost, 0, 3, 1), (twig,)  # it is told as a twig, and another piece is not
    assert [each.measured for each in bare_paper.cut_away(whole, cut)] == [pytest.approx(7 - lost)]
    cut.given_up = whole  # no block prints it: it is told all the same
    assert [each.measured for each in bare_paper.cut_away(whole, cut)] == [pytest.approx(7 - lost)]
    cut.changes = ()
    assert list(bare_paper.cut_away(whole, cut)) == []


def test_a_piece_is_of_the_block_that_asks_for_most_of_it() -> None:
    cuts = {"sky": SimpleNamespace(picture=box(0, 0, 4, 1)), "key": SimpleNamespace(picture=box(4, 0, 6, 1))}
    assert bare_paper._owner(box(0, 0, 10, 1), cuts) == "key"
    assert bare_paper._owner(box(0, 0, 7, 1), cuts) == "sky"
    assert bare_paper._owner(box(0, 0, 7, 1), {}) == ""


# ── old cuts ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("stands", "expected"), [(0.49, True), (0.51, False)])
def test_that_most_of_what_is_to_print_is_cut_already_is_asked_about(stands: float, expected: bool) -> None:
    assert len(list(recut._unlike(box(0, 0, 10, 10), box(0, 0, 10, 10 * stands)))) == expected


@pytest.mark.parametrize(("mm2", "expected"), [(0.98, False), (1.02, True)])
def test_a_square_millimetre_that_is_hidden_or_gone_is_worth_a_word(mm2: float, expected: bool) -> None:
    piece = box(0, 0, 1, mm2)
    assert [each.measured for each in recut._hidden(piece)] == [pytest.approx(mm2)] * expected
    assert list(recut._hidden(None)) == []
    cut = SimpleNamespace(white=box(0, 0, 5, 5), picture=box(0, 0, 4, 4))
    assert [(one.measured, one.limit) for one in recut._snow(cut, piece)] == [
        pytest.approx((mm2, 16), rel=0.01)
    ] * expected


@pytest.mark.parametrize(("tolerance", "expected"), [(0.02, False), (0.021, True), (0.3, True)])
def test_how_finely_a_scan_tells_is_said(tolerance: float, expected: bool) -> None:
    assert [each.measured for each in recut._coarse(box(0, 0, 1, 1), tolerance)] == [tolerance] * expected
    assert list(recut._coarse(NOTHING, tolerance)) == []


@pytest.mark.parametrize(
    ("px", "pitch", "page"),
    [
        ((600, 400), 0.1, True),
        ((609, 391), 0.1, True),
        ((611, 400), 0.1, False),
        ((600, 389), 0.1, False),
        ((600, 400), 0.0, False),
    ],
)
def test_a_page_shows_the_face_if_it_is_as_large_to_a_millimetre(px, pitch, page: bool, monkeypatch) -> None:
    monkeypatch.setattr(recut, "sized_mm", lambda _: pitch)
    assert recut._is_page(SimpleNamespace(width_mm=60.0, height_mm=40.0), None, px) == page


def change(*, land=(), cut=()) -> Difference:
    return SimpleNamespace(land=geometry.polygon_array(land), cut=geometry.polygon_array(cut))


def test_what_can_not_be_put_back_and_what_is_still_to_cut_is_told_the_largest_first_forty_at_most() -> None:
    pieces = [box(2 * k, 0, 1, 1 + k / 10) for k in range(45)]
    for each, rule in ((change(land=pieces), "cut-already"), (change(cut=pieces), "cut-on")):
        said = list(recut._findings(each, [], NOTHING))
        assert [one.rule for one in said] == [rule] * 40
        assert [one.measured for one in said] == pytest.approx([1 + k / 10 for k in range(44, 4, -1)])


@pytest.mark.parametrize(("white", "kind"), [(0.45, ""), (0.55, "snow")])
def test_what_lies_mostly_in_the_snow_is_taken_by_it(white: float, kind: str) -> None:
    (each,) = recut._findings(change(cut=[box(0, 0, 10, 1)]), [], box(0, 0, 10 * white, 1))
    assert (each.kind, "snow" in each.why) == (kind, kind == "snow")


def test_the_mark_that_asks_most_for_a_piece_is_named_where_it_asks() -> None:
    marks = [
        Mark(meaning=Meaning.STAYS, shape=box(*one, 1), key=key) for key, one in (("a", (0, 0, 2)), ("b", (6, 0, 4)))
    ]
    (each,) = recut._findings(change(land=[box(0, 0, 10, 1)]), marks, NOTHING)
    assert each.kind == "b"
    assert 6 < each.at[0] < 10
    (each,) = recut._findings(change(land=[box(20, 0, 10, 1)]), marks, NOTHING)
    assert (each.kind, each.remedy) == ("", recut._ASKED[1])


# ── separation ───────────────────────────────────────────────────────────────────────────────────────────────────

PLATE = Plate(name="tone", layers=frozenset(), lightness=50.0, land_mm=0.7, cut_mm=0.4)


@pytest.mark.parametrize(("left", "starved"), [(0.68, True), (0.72, False), (0.1, True)])
def test_a_land_starves_that_a_cut_back_leaves_narrower_than_it_must_be(left: float, starved: bool) -> None:
    assert len(separation._starved(box(0, 0, 10, 10), box(left, -1, 12, 12), 0.7)) == starved
    assert len(separation._starved(box(0, 0, 0.68, 10), box(left / 2, -1, 12, 12), 0.7)) == 0  # it is thin already


@pytest.mark.parametrize(("tall", "starved"), [(0.4, False), (0.6, True)])
def test_where_a_land_starves_over_a_corner_alone_it_is_not_told(tall: float, starved: bool) -> None:
    """An eighth of the land's width squared, 0.06 mm²."""
    land, back = box(0, 0, 10, 10), box(0.4, 4, 12, tall)
    assert len(separation._starved(land, back, 0.7)) == starved


def test_where_it_is_dropped_and_how_wide_about_is_told() -> None:
    each = separation._dropped(box(0, 0, 10, 0.2), 0.7)
    assert (each.at, each.width_mm, each.land_mm) == ((5.0, 0.1), pytest.approx(0.196), 0.7)


@pytest.mark.parametrize(("apart", "drawn"), [(0.0, True), (0.045, True), (0.055, False)])
def test_the_edge_of_the_white_is_drawn_by_the_dark_beside_it(apart: float, drawn: bool) -> None:
    """And to either side so far as is kept back, less both ends, where it turns away."""
    each = separation._beside_edges(box(0, 0, 10, 10), box(10 + apart, 2, 10, 6), 0.4)
    assert each.bounds[::2] == (pytest.approx((9.6, 10.4)) if drawn else pytest.approx((np.nan, np.nan), nan_ok=True))
    assert each.area == pytest.approx(6 * 0.8 if drawn else 0, abs=0.15)


@pytest.mark.parametrize(("tall", "drawn"), [(0.12, False), (0.15, True)])
def test_an_edge_as_short_as_four_times_how_near_counts_is_none(tall: float, drawn: bool) -> None:
    each = separation._beside_edges(box(0, 0, 10, 10), box(10.02, 2, 10, tall), 0.4)
    assert (each.area > 0) == drawn


def _sight(picture: Any) -> Any:
    """A scene in which all of a picture is in sight."""
    return SimpleNamespace(picture=picture, white=NOTHING, hidden=NOTHING, paler=NOTHING)


def test_a_run_on_that_nobody_sees_and_slivers_of_it_are_left_out() -> None:
    seen = box(0, 0, 5, 5)
    for wide, stays in ((0.2, False), (0.25, True)):  # a third of the land's width
        land = shapely.union(shapely.union(seen, box(5, 2, 2, wide)), box(8, 0, 2, 2))
        each = separation._tidied(PLATE, land, _sight(seen))
        assert each.area == pytest.approx(25 + (2 * wide if stays else 0), abs=0.05)
    for crumb, stays in ((0.0018, False), (0.0022, True)):  # a hundredth of a square millimetre is seen, or not
        assert (separation._tidied(PLATE, seen, _sight(box(-1, 0, 1 + crumb, 5))).area > 24) == stays


def test_crumbs_of_a_picture_are_left_out() -> None:
    """A hundredth of a square millimetre."""
    layers = [Layer("A", shapely.multipolygons([box(0, 0, 0.1, 0.09), box(1, 1, 0.1, 0.11)]))]
    plate = Plate(name="key", layers=frozenset({"A"}), lightness=20.0, land_mm=0.7, cut_mm=0.4)
    each = separation.painted(box(-5, -5, 20, 20), layers, plate)
    assert [part.bounds[0] for part in geometry.parts(each)] == [pytest.approx(1)]
