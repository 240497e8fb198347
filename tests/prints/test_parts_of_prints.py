"""What a drawing tells of its things, what a block carries, what a kept motif notes: parts alone, from both sides."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
import shapely.ops

from carvegen import geometry
from carvegen.base.colour import Ink
from carvegen.base.errors import InputError
from carvegen.marking.applying import Bed
from carvegen.marking.marks import Mark, Meaning
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.snowfall import Settings
from carvegen.prints import bare_paper, cut_blocks, kept_motifs, layers, picture, separation
from carvegen.prints.file import new_folder
from carvegen.prints.layers import LayeredDrawing
from carvegen.prints.marked import marked_whites, nearby, patches
from carvegen.prints.misregister import trials
from carvegen.prints.picture import growing
from carvegen.prints.picture.growing import Grower
from carvegen.prints.picture.growing_room import GrowingRooms
from carvegen.prints.separation import Layer
from tests.cases import block, box, limits, shapes


def block_of(name: str, *on: str, ink: tuple[int, int, int] | None = (30, 40, 60), inked: bool = True) -> Any:
    return SimpleNamespace(name=name, layers=on, inked=inked, ink=Ink(colour=ink, opacity=0.3) if ink else None)


def drawing_of(*drawn: Layer, blocks: tuple = (), beside: tuple[Layer, ...] = ()) -> LayeredDrawing:
    """A face of 100 x 80 mm; front first."""
    return LayeredDrawing(SimpleNamespace(width_mm=100.0, height_mm=80.0, blocks=blocks), drawn, (), beside=beside)


A, B, C = (Layer(name, box(10 * k, 0, 5, 5)) for k, name in enumerate("ABC"))


def test_layers_are_named_however_they_are_written_in_the_order_of_the_drawing() -> None:
    drawing = drawing_of(A, B, C, beside=(Layer("MOON", box(50, 50, 5, 5)),))
    assert [layer.name for layer in drawing.named(["c", "A", "x"])] == ["A", "C"]
    assert drawing.union(["a", "b"]).area == pytest.approx(50)
    assert drawing.names == ["A", "B", "C", "MOON"]


@pytest.mark.parametrize(("these", "front"), [(["A"], []), (["C"], ["A", "B"]), (["A", "C"], ["B"]), (["x"], [])])
def test_what_stands_in_front_is_before_the_rearmost_and_none_of_them(these, front) -> None:
    assert [layer.name for layer in drawing_of(A, B, C).in_front_of(these)] == front


@pytest.mark.parametrize(("these", "back"), [(["A"], ["B", "C"]), (["C", "A"], []), (["b"], ["C"]), (["x"], [])])
def test_what_lies_behind_is_further_back_than_all_of_them(these, back) -> None:
    assert [layer.name for layer in drawing_of(A, B, C).further_back(these)] == back


@pytest.mark.parametrize(("said", "hinted"), [("HOUZE", True), ("circle 1 2", False)])
def test_a_layer_is_only_proposed_for_what_is_no_shape_in_words(said: str, hinted: bool) -> None:
    print_ = SimpleNamespace(width_mm=100.0, height_mm=80.0, blocks=(), path=Path("print.toml"), place=str)
    with pytest.raises(InputError) as refused:
        LayeredDrawing(print_, (Layer("HOUSE", box(0, 0, 5, 5)),), ()).shapes(said, "highlights[0].shape")
    assert ("or name a layer" in str(refused.value.hint)) == hinted
    assert ("HOUSE" in str(refused.value.hint)) == hinted


def test_the_darkest_ink_of_a_layer_counts() -> None:
    dark, pale = block_of("key", "A", ink=(20, 20, 20)), block_of("sky", "a", "B", ink=(200, 200, 200))
    stencil = block_of("dab", "B", ink=(0, 0, 0), inked=False)
    drawing = drawing_of(A, B, C, blocks=(pale, dark, stencil))
    assert drawing._lightness("A") < 10
    assert 75 < drawing._lightness("B") < 85
    assert drawing._lightness("C") == 100


def fronts(post: shapely.Polygon, *more: Layer, board: shapely.Polygon | None = None, inks: tuple = ()) -> int:
    """How many parts of a post's layer stand before a board: of one ink where nothing is said."""
    board = box(0, 20, 100, 40) if board is None else board
    drawing = drawing_of(*more, Layer("POST", post), Layer("BOARD", board), blocks=inks)
    return len(drawing.fronts(["POST", "BOARD"]))


@pytest.mark.parametrize(
    ("post", "front"),
    [
        (box(40, 10, 5, 30), True),  # slender
        (box(40, 10, 30, 30), False),  # broad, on nothing
        (box(40, 0, 30, 30), True),  # broad, on the face's edge
        (box(40, 2.9, 30, 30), True),
        (box(40, 3.1, 30, 30), False),
        (box(40, 10, 20, 30.1), True),  # one and a half times as high as broad
        (box(40, 10, 20, 29.9), False),
        (box(40, 10, 5, 60), False),  # its top is before the sky
        (box(40, 10, 5, 48.7), True),  # six tenths of two millimetres above it are board
        (box(40, 10, 5, 49.1), False),
    ],
)
def test_a_post_stands_before_a_board(post, front: bool) -> None:
    assert fronts(post) == front


def test_what_is_broad_stands_on_some_ink_of_these() -> None:
    lamp = box(40, 30, 20, 20)
    assert fronts(lamp) == 1  # the board is below it
    for share, front in ((0.2, False), (0.45, True)):
        below = shapely.union(box(40, 25, 20 * share, 6), box(0, 49, 100, 20))
        assert fronts(lamp, board=below) == front


@pytest.mark.parametrize(
    ("roof", "front"),
    [(None, True), (box(39, 45, 7, 2), False), (box(39, 61, 7, 2), True), (box(39, 45, 0.5, 2), True)],
)
def test_no_roof_stands_near_above_what_stands_in_front(roof, front: bool) -> None:
    over = () if roof is None else (Layer("ROOF", roof),)
    assert fronts(box(40, 10, 5, 30), *over) == front


@pytest.mark.parametrize(("post", "board", "front"), [(30, 30, True), (30, 200, True), (200, 30, False)])
def test_what_is_lighter_than_what_is_behind_is_painted_on_it(post: int, board: int, front: bool) -> None:
    inks = (block_of("a", "POST", ink=(post,) * 3), block_of("b", "BOARD", ink=(board,) * 3))
    assert fronts(box(40, 10, 5, 30), inks=inks) == front


@pytest.mark.parametrize(
    ("line", "water", "lain_on", "more", "bears"),
    [
        (box(20, 10, 12, 1.2), box(0, 0, 100, 30), "HILL", 2, False),
        (box(20, 10, 12, 1.2), box(0, 0, 100, 30), "HILL", 1, True),  # two, such as rails before a field
        (box(20, 10, 12, 1.2), box(0, 0, 100, 80), "HILL", 2, True),  # a sky
        (box(20, 10, 12, 1.2), box(0, 0, 100, 30), "WATER", 2, True),  # asked: snow lies on that ground
        (box(20, 10, 12, 1.2), box(10, 0, 60, 30), "HILL", 2, True),  # a batten on a wall
        (box(20, 10, 12, 2.2), box(0, 0, 100, 30), "HILL", 2, True),  # a log
        (box(20, 10, 1.2, 12), box(0, 0, 100, 30), "HILL", 2, True),  # a pole
        (box(20, 29, 12, 1.2), box(0, 0, 100, 30), "HILL", 2, True),  # it lies on the bank
        (box(44, 10, 12, 1.2), box(0, 0, 100, 30), "HILL", 2, True),  # a rung of the post
    ],
)
def test_nothing_lies_on_ripples_unless_it_lies_on_water(line, water, lain_on: str, more: int, bears: bool) -> None:
    """Three or more on one ground: where one of three is none, the others are too few."""
    lines = shapely.union_all([line, *(shapely.affinity.translate(line, 0, -3 * k) for k in range(1, more + 1))])
    post, hill = box(50, 0, 3, 40), Layer("HILL", box(0, 25, 9, 9))
    drawing = drawing_of(Layer("KEY", shapely.union(post, lines)), Layer("WATER", water), hill)
    drawing.print_.motifs = [SimpleNamespace(motif="snowload", on=names) for names in (["key"], [lain_on])]
    assert drawing.bearing(["key"]).area == pytest.approx(shapely.union(post, lines if bears else post).area)


def rows(*spans: tuple[float, float]) -> shapely.MultiPolygon:
    """Four lines below one another, in pieces from and to so far from the left; they sag a little."""
    pieces = [shapely.LineString([(a, 0), ((a + b) / 2, -0.3), (b, 0)]).buffer(0.2, cap_style="flat") for a, b in spans]
    return shapely.union_all([shapely.affinity.translate(each, 0, y) for y in (7, 9, 11, 13) for each in pieces])


@pytest.mark.parametrize(
    ("lines", "posts", "bears"),
    [
        (rows((22.2, 59.8)), (20, 60), True),  # from post to post
        (rows((22.2, 39.9), (42.1, 59.8)), (20, 40, 60), True),  # broken by one between
        (rows((21, 61)), (20, 60), True),  # over both
        (rows((0, 59.8)), (60,), True),  # from the side
        (rows((22.2, 59.8)), (20,), False),  # the other end is free
        (rows((10, 19.9), (22.1, 59.9), (62.1, 70)), (20, 60), False),  # a long ripple behind two posts
        (rows((0, 19.9), (22.1, 59.9), (62.1, 100)), (20, 60), False),  # from side to side
        (rows((24.2, 55.8)), (20, 60), False),  # they end short of them
        (rows((29, 59.8)), (20, 26, 60), False),
        (rows((30.2, 59.8)), (20, 22, 24, 26, 28, 60), False),  # at a broad thing, as a hull
        (rows((22.2, 39.8), (62, 79)), (20, 40), False),  # no longer than strokes whose ends are free
        (rows((22.2, 59.8), (62.5, 78)), (20, 60), True),  # the free strokes alone are ripples
    ],
)
def test_wires_that_are_tied_to_posts_before_a_field_bear(lines, posts, bears: bool) -> None:
    """In the same layer as a twig, so that it is none of lines alone; posts are drawn in another one."""
    twig, standing = box(80, 20, 1, 12), shapely.union_all([box(x, 2, 2, 16) for x in posts])
    drawing = drawing_of(
        Layer("POSTS", standing), Layer("KEY", shapely.union(twig, lines)), Layer("FIELD", box(0, 0, 100, 25)),
        Layer("SKY", box(0, 25, 100, 60)),
    )  # fmt: skip
    drawing.print_.motifs = [SimpleNamespace(motif="snowload", on=["KEY"])]
    wires = [line for line in geometry.parts(lines) if line.bounds[0] < 62.2]
    bearing = twig.area + bears * shapely.area(wires).sum()
    assert drawing.bearing(["KEY"]).area == pytest.approx(bearing, abs=0.1)


def test_a_layer_of_nothing_but_lines_bears() -> None:
    """As rails and wires do before a field."""
    rails, post = shapely.union_all([box(20, y, 30, 1.2) for y in (5, 10, 15)]), box(60, 0, 3, 30)
    ground = Layer("FIELD", box(0, 0, 100, 40)), Layer("SKY", box(0, 40, 100, 40))
    drawing = drawing_of(Layer("RAILS", rails), Layer("POST", post), *ground)
    drawing.print_.motifs = [SimpleNamespace(motif="snowload", on=["RAILS", "POST"])]
    assert drawing.bearing(["RAILS", "POST"]).area == pytest.approx(rails.area + post.area)


@pytest.mark.parametrize(("drawn", "whole"), [(0.55, False), (0.65, True)])
def test_a_flat_whose_outline_lines_draw_is_one_thing_with_them(drawn: float, whole: bool) -> None:
    """Six tenths of it; the face's edge draws none."""
    flat = box(20, 20, 40, 20)
    rim = shapely.ops.substring(flat.exterior, 0, drawn, normalized=True)
    for apart, near in ((0.0, True), (0.07, True), (0.25, False)):
        lines = shapely.difference(shapely.buffer(rim, 0.3 + apart), shapely.buffer(rim, apart)) if apart else None
        lines = shapely.buffer(rim, 0.3) if lines is None else lines
        each = drawing_of(Layer("LINES", lines), Layer("FLAT", flat)).outlined(["LINES"])
        assert len(each) == (whole and near)
    assert len(drawing_of(A, Layer("FLAT", flat)).outlined(["x"])) == 0


@pytest.mark.parametrize(("wide", "whole"), [(1.9, 1), (2.1, 0)])
def test_what_lies_under_broad_things_is_hidden_and_not_drawn(wide: float, whole: int) -> None:
    """A house behind a tree, and a flat whose rim a stroke covers: up to 2 mm broad it is a line."""
    house, tree = box(30, 10, 15, 15), shapely.Point(37, 14).buffer(11)
    assert shapely.intersection(house.boundary, tree).length > 0.64 * house.length
    assert len(drawing_of(Layer("TREE", tree), Layer("HOUSE", house)).outlined(["TREE"])) == 0
    stroke = shapely.buffer(house.boundary, wide / 2, join_style="mitre")
    assert len(drawing_of(Layer("STROKE", stroke), Layer("HOUSE", house)).outlined(["STROKE"])) == whole


@pytest.mark.parametrize(("side", "warned"), [(0.29, True), (0.31, False)])
def test_drawings_that_take_up_little_of_the_face_are_asked_about(side: float, warned: bool) -> None:
    face = SimpleNamespace(width_mm=100.0, height_mm=80.0)
    assert len(list(layers._small(face, [box(0, 0, 100 * side, 1)]))) == warned
    assert len(list(layers._small(face, [box(0, 0, 1, 80 * side)]))) == warned
    assert list(layers._small(face, [])) == []


# ── blocks ───────────────────────────────────────────────────────────────────────────────────────────────────────


def test_names_of_layers_as_they_are_drawn() -> None:
    assert cut_blocks.as_drawn(frozenset({"post", "x"}), {"POST", "SEA"}) == {"POST"}


def test_plates_are_the_blocks_that_print_ink_with_the_strictest_limits() -> None:
    both = [SimpleNamespace(limits=limits(0.5, 0.4)), SimpleNamespace(limits=limits(0.7, 0.3))]
    setups = dict.fromkeys("abcd", both)
    blocks = [block_of("a", "A"), block_of("b", "B", inked=False), block_of("c", "C"), block_of("d", ink=None)]
    for each, role in zip(blocks, ("key", "emboss", "background", "ground"), strict=True):
        each.role = role
    plates = cut_blocks.plates_of(SimpleNamespace(blocks=blocks), setups)
    assert [(plate.name, plate.ground, plate.under_all) for plate in plates] == [
        ("a", False, False), ("c", True, False),
    ]  # fmt: skip
    assert {(plate.land_mm, plate.cut_mm) for plate in plates} == {(0.7, 0.4)}


@pytest.mark.parametrize(("moat_mm", "wide"), [(None, 2.0), (0.0, 0.0), (3.0, 3.0)])
@pytest.mark.parametrize("inked", [True, False])
def test_round_a_picture_that_is_inked_runs_a_groove_as_wide_as_is_asked(moat_mm, wide, inked, monkeypatch) -> None:
    """Where the print file says nothing, as the widest of its ways of printing asks."""
    monkeypatch.setattr(cut_blocks, "register_for", lambda *asked: asked)
    monkeypatch.setattr(cut_blocks, "with_moat", lambda _register, _size, moat: moat)
    print_ = SimpleNamespace(register=SimpleNamespace(moat_mm=moat_mm), width_mm=40.0, height_mm=30.0)
    setups = {"A": [SimpleNamespace(printing=SimpleNamespace(moat_mm=each)) for each in (1.5, 2.0)]}
    cut = cut_blocks.Cut(
        block=replace(block(box(5, 5, 2, 2)), inked=inked), land=box(0, 0, 1, 1), white=box(5, 5, 1, 1)
    )
    cut = replace(cut, block=replace(cut.block, name="A"))
    register = cut_blocks._on_board(print_, 1, cut, setups).block.register
    assert register == (wide if inked else (print_.register, (40.0, 30.0), "2 A"))


def stencil(*whites: shapely.Polygon, opening: shapely.Polygon) -> cut_blocks.Cut:
    print_ = SimpleNamespace(blocks=[block_of("mask")], width_mm=40.0, height_mm=30.0, place=str)
    seen = SimpleNamespace(left_bare=lambda _: geometry.union(shapes(*whites)), face=box(0, 0, 40, 30))
    return cut_blocks._stencil(print_, 0, SimpleNamespace(limits=limits(0.5, 0.4)), shapes(opening), seen)


def test_a_stencil_is_open_but_where_the_paper_stays_bare() -> None:
    alone = stencil(box(30, 0, 5, 5), opening=box(5, 5, 10, 10))
    assert shapely.equals(alone.block.cut_outs, [box(5, 5, 10, 10)]).all()
    assert (alone.masks, alone.land.area) == (True, pytest.approx(1100))
    half = stencil(box(10, 0, 20, 20), opening=box(5, 5, 10, 10))
    assert shapely.area(half.block.cut_outs).sum() == pytest.approx(50, rel=0.01)
    with pytest.raises(InputError, match="leaves nothing open"):
        stencil(box(5.3, 0, 20, 20), opening=box(5, 5, 10, 10))  # what is left is narrower than the narrowest cut


@pytest.mark.parametrize(("role", "what"), [("emboss", "press"), ("stencil", "mask")])
def test_a_die_or_a_stencil_of_nothing_is_refused(role: str, what: str) -> None:
    each = block_of("moon")
    each.role = role
    print_ = SimpleNamespace(blocks=[each], place=str)
    with pytest.raises(InputError, match=f"has nothing to {what}") as error:
        cut_blocks._cut(print_, 0, SimpleNamespace(), SimpleNamespace(openings=geometry.empty()), {})
    assert error.value.where == "blocks[0]"


# ── kept motifs ──────────────────────────────────────────────────────────────────────────────────────────────────


def kept_of(*cuts: shapely.Polygon, edited: tuple = (), memory: Any = None, notes: tuple = ()) -> Any:
    growth = Growth(cuts=shapes(*cuts), kept={"level": 1.0})
    return SimpleNamespace(growth=growth, edited=geometry.polygon_array(edited), memory=memory, notes=notes)


@pytest.mark.parametrize(("apart", "near"), [(0.44, True), (0.46, False)])
def test_other_white_has_come_too_near_within_nine_tenths_of_a_land(apart: float, near: bool) -> None:
    flake, white = box(0, 0, 2, 2), box(2 + apart, 0, 2, 2)
    lands = np.array([0.5])
    each = kept_motifs._too_near(kept_of(flake), shapely.union(white, box(30, 0, 1, 1)), lands)
    assert [shapely.equals(one, white) for one in each] == [True] * near
    assert len(kept_motifs._too_near(kept_of(flake, edited=(flake,)), white, lands)) == 0
    assert len(kept_motifs._too_near(kept_of(flake), None, lands)) == 0


@pytest.mark.parametrize(("gone", "come"), [(0, 0), (1, 0), (0, 1), (1, 1)])
def test_a_drawing_has_changed_under_what_is_kept_if_any_of_it_goes_or_comes(gone: int, come: int) -> None:
    one = shapes(box(0, 0, 1, 1))
    each = kept_motifs.Grown(
        motif=MOTIF, growth=Growth(cuts=one), surroundings=lambda: None, gone=one[:gone], come=one[:come]
    )
    assert each.changed is bool(gone or come)


MOTIF = SimpleNamespace(name="snow", called="snow", kept="snow.svg", settings=Settings(), motif="snowfall")
PRINT = SimpleNamespace(seed=4)


def test_what_differs_from_what_a_kept_motif_grew_by_is_noted_and_its_levels_are_not_taken() -> None:
    now = kept_motifs.grown_by(MOTIF, PRINT)
    done = SimpleNamespace(lines=lambda name: [f"{name} changed"])
    same, other = (SimpleNamespace(settings=each) for each in (now, now | {"wind": 0.9, "seed": 5}))
    for memory, noted in ((None, 0), (same, 0), (other, 1)):
        kept = kept_of(box(0, 0, 1, 1), memory=memory, notes=("a note",))
        said = list(kept_motifs._notes(PRINT, MOTIF, kept, done))
        assert said[:2] == ["snow.svg: a note", "snow changed: see changed.png"]
        assert len(said) == 2 + noted
        assert kept_motifs._levels(kept, MOTIF, PRINT) == ({"level": 1.0} if memory is same else {})
    assert "seed, wind differ" in said[2]


@dataclass(frozen=True)
class _Entry:
    settings: Settings


@pytest.mark.parametrize(
    ("known", "seed", "wind"),
    [
        ({}, 4, 0.15),
        ({"seed": 9, "wind": 0.3}, 9, 0.3),
        ({"seed": -1, "wind": 0.3}, 4, 0.3),
        ({"seed": "9"}, 4, 0.15),
        ({"seed": 9, "wind": 99}, 4, 0.15),  # somebody has written it
        ({"seed": 0}, 0, 0.15),
    ],
)
def test_a_kept_motif_grows_again_by_what_it_grew_by(known, seed: int, wind: float) -> None:
    kept = SimpleNamespace(memory=SimpleNamespace(settings=known), growth=SimpleNamespace(kept={}))
    each, by = kept_motifs._as_grown(kept, _Entry(Settings()), PRINT)
    assert (by, each.settings.wind) == (seed, wind)


def test_how_much_falls_is_as_it_was_solved_where_that_is_kept() -> None:
    kept = SimpleNamespace(memory=None, growth=SimpleNamespace(kept={"level": 0.25}))
    assert kept_motifs._as_grown(kept, _Entry(Settings()), PRINT)[0].settings.level == 0.25


@pytest.mark.parametrize(("side", "back"), [("back", True), ("front", False)])
def test_a_die_presses_as_its_block_says_into_the_prints_paper(side: str, back: bool) -> None:
    die = SimpleNamespace(bevel_deg=40.0, edge_mm=0.3, corner_mm=0.6, side=side)
    paper = SimpleNamespace(paper_g_m2=280.0, paper_mm=None, stock=None)
    each = cut_blocks.pressing_of(paper, die, SimpleNamespace(depth_mm=1.2))
    assert (each.relief_mm, each.bevel_deg, each.edge_mm, each.corner_mm, each.back) == (1.2, 40.0, 0.3, 0.6, back)
    paper.paper_mm = 0.4
    assert each.sheet_mm != cut_blocks.pressing_of(paper, die, SimpleNamespace(depth_mm=1.2)).sheet_mm == 0.4


@pytest.mark.parametrize("lies", ["", "print.toml", "scene.svg"])
def test_a_new_print_is_written_into_a_folder_that_holds_none_of_its_files(lies: str, tmp_path) -> None:
    if lies:
        (tmp_path / lies).touch()
        with pytest.raises(InputError, match=f"holds {lies} already"):
            new_folder._free_of(tmp_path, ["scene.svg", "print.toml"])
    else:
        new_folder._free_of(tmp_path, ["scene.svg", "print.toml"])


# ── marks and register ───────────────────────────────────────────────────────────────────────────────────────────


def test_of_what_is_remembered_the_longest_unasked_goes(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(nearby, "_MOST", 3)
    memory, growth = nearby.Memory(), Growth(cuts=geometry.empty())
    for key in (b"a", b"b", b"c"):
        memory.put(key, growth)
    assert memory.get(b"a") is growth
    memory.put(b"d", growth)
    assert [memory.get(key) is None for key in (b"a", b"b", b"c", b"d", b"e")] == [False, True, False, False, True]


def test_what_marks_made_by_other_limits_is_not_taken_for_the_same() -> None:
    """Nor what grew for them: with one memory it is as with a new one."""
    grew = list[float]()

    def grow_by(land: float) -> Any:
        return lambda *_: grew.append(land) or shapes(*(box(x, 10, 1, 1) for x in np.arange(8, 22, 1 + 2 * land)))

    mark, memory = Mark(meaning=Meaning.MORE, shape=box(8, 8, 14, 6), key="a"), nearby.Memory()
    beds = [
        Bed(
            motif="snowfall", name="snowfall 1", settings=Settings(), place=Place(area=box(0, 0, 30, 20)), seed=1,
            limits=limits(land), grow=grow_by(land),
        )
        for land in (0.4, 0.9)
    ]  # fmt: skip
    one, other, new = (
        nearby.marked_nearby(Growth(cuts=geometry.empty()), [mark], bed, known).cuts
        for bed, known in ((beds[0], memory), (beds[1], memory), (beds[1], nearby.Memory()))
    )
    assert grew.count(0.9) % 2 == 0, "as often with what is remembered as without"
    assert len(one) > 0
    assert shapely.to_wkb(other).tolist() == shapely.to_wkb(new).tolist() != shapely.to_wkb(one).tolist()


@pytest.mark.parametrize("frames", [(None, None), (None, box(0, 0, 9, 9)), (box(0, 0, 9, 9), box(0, 0, 9, 8))])
def test_what_grew_within_another_frame_is_not_taken_for_the_same(frames) -> None:
    grew = list[Any]()
    bed: Any = SimpleNamespace(
        name="snow", limits=limits(), grow=lambda _, place, __: grew.append(place.frame) or shapes(box(0, 0, 1, 1))
    )
    growing_: Any = nearby._remembered(bed, nearby.Memory())
    for frame in (*frames, *frames):
        growing_(Settings(), Place(area=box(0, 0, 9, 9), frame=frame), np.random.default_rng(1))
    assert grew == list(dict.fromkeys(frames))


@pytest.mark.parametrize("name", ["snow", "frost"])
@pytest.mark.parametrize("grew", [{("a", 1): limits()}, {}])
def test_only_the_motifs_own_white_is_fitted_again_and_only_where_marks_were_done(name: str, grew, monkeypatch) -> None:
    monkeypatch.setattr(marked_whites, "_refitted", lambda *_: "again")
    white = marked_whites.White(name=name, shapes=geometry.empty(), leaves=frozenset())
    again = marked_whites._mended([white, white], [], [SimpleNamespace(grew=grew, white="snow")])
    assert [each == "again" for each in again] == [bool(grew) and name == "snow"] * 2


@pytest.mark.parametrize("motifs", [("frost",), ("snow",)])
def test_white_without_marks_of_its_own_stays_as_it_is_with_what_is_left_to_the_carver(motifs, monkeypatch) -> None:
    monkeypatch.setattr(marked_whites, "marked_nearby", lambda growth, *_: replace(growth, cuts=shapes()))
    one = shapes(box(0, 0, 1, 1))
    white = marked_whites.White(name="snow", shapes=one, leaves=frozenset({"sky"}), free=one, to_decide=one)
    bed: Any = Bed(
        motif="snowfall", name="snow", settings=None, place=Place(area=box(0, 0, 9, 9)), limits=limits(), seed=1
    )
    mark = Mark(meaning=Meaning.MORE, shape=box(0, 0, 2, 2), key="a", motifs=motifs)
    [made] = marked_whites._parts(white, [mark], bed, [], nearby.Memory())
    left = 0 if motifs == ("snow",) else 1
    assert [len(each) for each in (made.shapes, made.to_decide)] == [left, left]


def refitted_by(mark: Mark | None, *, name: str = "snow") -> list[float]:
    """The gap between two of a motif's shapes where a mark lies that was done by half a land, and beside it."""
    bed = Bed(
        motif="snowfall", name="snow", settings=Settings(), place=Place(area=box(0, 0, 60, 40)), seed=1,
        limits=limits(1.0), white="snow", by=lambda narrow: replace(bed, limits=narrow),
        grew={("locked", 1): limits(0.5), ("now", 1): limits(1.0)},
    )  # fmt: skip
    pairs = [box(5, y, 6, 6) for y in (5, 30)] + [box(11.5, y, 3, 6) for y in (5, 30)]
    white = marked_whites.White(name=name, shapes=shapes(*pairs), leaves=frozenset({"sky"}))
    done = marked_whites._refitted(white, [mark] if mark else [], bed, [])
    lies = shapely.bounds(done.shapes)[:, 1] > 20
    return [float(shapely.distance(*done.shapes[each])) for each in (~lies, lies)]


MARKED: dict[str, Any] = {"shape": box(4, 4, 12, 8), "key": "locked"}


@pytest.mark.parametrize(
    ("mark", "apart"),
    [
        (None, 0.5),
        (Mark(meaning=Meaning.MORE, **MARKED), 1.0),
        (Mark(meaning=Meaning.MORE, **MARKED, motifs=("frost",)), 0.5),
        (Mark(meaning=Meaning.MORE, **MARKED, blocks=("key",)), 0.5),
        (Mark(meaning=Meaning.MORE, **{**MARKED, "key": "now"}), 0.5),
        (Mark(meaning=Meaning.MORE, **{**MARKED, "key": "new"}), 0.5),
        (Mark(meaning=Meaning.COMES_OUT, **MARKED), 0.5),
    ],
)
def test_what_a_mark_did_by_narrower_lands_is_fitted_again_but_never_what_comes_out(mark, apart: float) -> None:
    near, away = refitted_by(mark)
    assert near == pytest.approx(apart, abs=0.02)
    assert away == pytest.approx(0.5)


def test_of_a_patchs_marks_only_the_one_of_its_key_is_another(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(patches, "_made", lambda marks, *_: (marks,))
    one, two = (Mark(meaning=Meaning.MORE, shape=box(0, 0, 1, 1), key=key) for key in ("a", "b"))
    other = replace(two, meaning=Meaning.LESS)
    assert patches.worked_otherwise(SimpleNamespace(marks=(one, two), seen=None), other, None, None) == [one, other]


def test_what_meets_an_area_is_parted_from_the_rest() -> None:
    one, other = box(0, 0, 2, 2), box(5, 0, 2, 2)
    met, rest = nearby._split(shapes(one, other), box(1, 1, 1, 1))
    assert (list(met), list(rest)) == ([one], [other])
    assert [len(each) for each in nearby._split(geometry.empty(), one)] == [0, 0]


@pytest.mark.parametrize(
    ("at", "inside"),
    [((1, 1), True), ((0.19, 1), False), ((0.21, 1), True), ((9.79, 1), True), ((9.81, 1), False), ((5, 4.9), False)],
)
def test_places_at_the_rim_of_the_face_do_not_count(at, inside: bool) -> None:
    """Within two of the grid's steps."""
    grid = SimpleNamespace(pitch_mm=0.1, size=(10.0, 5.0))
    assert trials._inside(np.array([at], dtype=float), grid).tolist() == [inside]


def test_out_of_a_land_is_where_its_depth_falls_fastest() -> None:
    xy = np.array([(2.0, 3.0), (-1.0, 5.0)])
    slope = SimpleNamespace(pitch_mm=0.1, at=lambda x, y: 7 - 3 * x + 4 * y)
    assert trials._away(slope, xy) == pytest.approx(np.array([(0.6, -0.8)] * 2))
    level = SimpleNamespace(pitch_mm=0.1, at=lambda x, _: 0 * x)
    assert trials._away(level, xy) == pytest.approx(np.zeros((2, 2)))


def test_along_an_empty_land_there_is_no_place() -> None:
    xy, out, ring = trials._along(shapely.Polygon())
    assert (xy.shape, out.shape, ring.shape) == ((0, 2), (0, 2), (0,))
    assert trials._none(3).block == 3


def test_marks_near_very_many_shapes_are_told_apart_by_how_many_there_are() -> None:
    mark = Mark(meaning=Meaning.MORE, shape=box(8, 8, 14, 6), key="a")
    bed: Any = SimpleNamespace(name="snow", limits=limits(0.5))
    dots = np.full(70_000, shapely.Point(1, 2), dtype=object)
    keys = {nearby._key(mark, bed, dots[:count], dots[count : count + 2]) for count in (69_998, 69_997)}
    assert len(keys) == 2


@pytest.mark.parametrize("faults", [1, 2])
def test_all_faults_are_told_together_before_anything_grows(faults: int) -> None:
    def refuse(entry: Any, key: str) -> None:
        if entry.motif == "snowload":
            raise InputError(f"no room {key}", where="here", hint=key)

    motifs = [SimpleNamespace(motif=name) for name in ("grain", *["snowload"] * faults)]
    print_ = SimpleNamespace(motifs=motifs, place=str, path=Path("print.toml"))
    each: Any = SimpleNamespace(print_=print_, _check=refuse)
    with pytest.raises(InputError) as raised:
        Grower.check(each)
    assert all(f"no room motifs[{k}]" in str(raised.value) for k in range(1, faults + 1))
    assert raised.value.hint == "; ".join(f"motifs[{k}]" for k in range(1, faults + 1))


SIGN, FIR, HILL = (
    Layer("SIGN", box(42, 20, 10, 10)),
    Layer("FIR", box(30, 10, 10, 30)),
    Layer("HILL", box(0, 0, 90, 12)),
)
ON_SIGN, ON_HILL = box(38, 30, 16, 3), box(25, 10, 10, 4)


@pytest.mark.parametrize(
    ("on", "white", "front"),
    [
        (["HILL"], [ON_HILL], box(42, 20, 10, 10).union(box(30, 10, 10, 30))),  # all of what stands before it
        (["SIGN"], [ON_SIGN], None),
        (["SIGN", "HILL"], [ON_SIGN, ON_HILL], box(30, 10, 5, 4)),  # the sign's snow leans over the fir
        (["SIGN", "HILL"], [ON_HILL], box(30, 10, 5, 4)),
        (["SIGN", "HILL"], [box(25, 10, 20, 11)], box(30, 10, 10, 11)),  # one heap that lies on both
    ],
)
def test_what_stands_before_the_snow_hides_it_but_not_what_leans_over_it(on, white, front) -> None:
    each: Any = SimpleNamespace(drawing=drawing_of(SIGN, FIR, HILL), _hiding_note=lambda *_: ["a note"])
    hides, notes = GrowingRooms.in_front(each, SimpleNamespace(on=on), shapely.union_all(white))
    assert hides.symmetric_difference(front or shapely.Polygon()).area == pytest.approx(0, abs=1e-6)
    assert len(notes) == {"HILL": 2, "SIGN": 0}[on[0]] + (len(on) == 2)


@pytest.mark.parametrize(("drawn_on", "hides", "noted"), [(0.99, 0.51, True), (0.99, 0.49, False), (0.97, 0.51, False)])
def test_what_may_only_be_drawn_on_a_thing_is_noted_where_it_hides_snow(drawn_on, hides: float, noted: bool) -> None:
    """All but a fiftieth of it lies on the thing, and half a square millimetre of snow is lost."""
    each: Any = SimpleNamespace(drawing=drawing_of(HILL))
    light = Layer("LIGHT", box(90 - 10 * drawn_on, 2, 10, 5))
    notes = GrowingRooms._hiding_note(
        each, SimpleNamespace(called="snow"), light, ["HILL"], shapes(box(0, 0, hides, 1))
    )
    assert bool(notes) == noted


def test_the_paper_is_bare_on_blocks_that_print_ink_and_on_stencils(monkeypatch) -> None:
    grower = SimpleNamespace(check=lambda: None, motifs=[], notes=["twice", "twice"], findings=lambda: ())
    monkeypatch.setattr(picture, "Grower", lambda *_, **__: grower)
    rooms = SimpleNamespace(face=None, pictures={})
    monkeypatch.setattr(picture.GrowingRooms, "on", lambda *_: rooms)
    roles = ("key", "stencil", "emboss", "background")
    blocks = [SimpleNamespace(name=role, role=role, layers=("A",)) for role in roles]
    drawing = drawing_of(A, B, C, blocks=tuple(blocks))
    drawing.print_.motifs = ()
    for highlights, at in (((), []), (["box 50 50 5 5"], [(50, 50)])):
        drawing.print_.highlights = highlights
        monkeypatch.setattr(
            picture, "_shapes", lambda *_, those=highlights: shapes(*[box(50, 50, 5, 5) for _ in those])
        )
        made = picture._unmarked(
            drawing, geometry.empty(), [SimpleNamespace(name="key"), SimpleNamespace(name="background")], {},
            say=lambda _: None,
        )  # fmt: skip
        assert made.inked == {"key", "background", "stencil"}
        [paper] = made.whites  # what is embossed leaves the paper bare, too
        assert paper.leaves == made.inked
        corners = shapely.bounds(paper.shapes)[:, :2].tolist()
        assert sorted(map(tuple, corners)) == [(0, 0), *at]
        assert made.notes == ("twice",)


def test_a_grower_knows_the_stencils_of_its_print() -> None:
    blocks = [SimpleNamespace(name=f"the {role}", role=role) for role in ("key", "stencil", "emboss")]
    rooms: Any = SimpleNamespace(drawing=SimpleNamespace(print_=SimpleNamespace(blocks=blocks)))
    assert Grower(rooms, {}, read=None, growths=None, say=print).stencils == ["the stencil"]


@pytest.mark.parametrize(("motif", "grows", "looked"), [
    ("snowfall", True, ["some_area", "open_sky"]), ("frost", True, ["some_area"]), ("snowfall", False, []),
])  # fmt: skip
def test_only_for_what_grows_is_room_looked_for_before(motif: str, grows: bool, looked: list[str]) -> None:
    asked: list[str] = []
    rooms: Any = SimpleNamespace(
        pictures={"key": A}, drawing=SimpleNamespace(print_=SimpleNamespace(blocks=[])),
        some_area=lambda *_: asked.append("some_area"), open_sky=lambda *_: asked.append("open_sky"),
    )  # fmt: skip
    entry: Any = SimpleNamespace(kept="", grows=grows, motif=motif, leaves=lambda _: True)
    Grower(rooms, {"key": limits(0.5)}, read=None, growths=None, say=print)._check(entry, "motifs[0]")
    assert asked == looked


@pytest.mark.parametrize(("motifs", "gaps"), [((), ["open"]), (("snow",), ["open"]), (("frost",), [])])
def test_marks_say_what_holes_are_of_their_own_motifs_or_of_all(motifs, gaps) -> None:
    mark = SimpleNamespace(motifs=motifs, shape=box(1, 1, 2, 2), meaning=SimpleNamespace(gaps="open"))
    rooms: Any = SimpleNamespace(drawing=drawing_of(A, B, C), hole_marks=[mark])
    motif: Any = SimpleNamespace(on=("A",), name="snow")
    assert [word for _, word in GrowingRooms.holes(rooms, motif)] == gaps


def test_a_picture_is_ready_for_the_blocks_that_print_what_is_drawn_as_it_is_drawn(monkeypatch) -> None:
    @dataclass(frozen=True)
    class Plate:
        name: str
        layers: frozenset[str]

    plates = [Plate("one", frozenset({"A"})), Plate("other", frozenset({"a"}))]
    monkeypatch.setattr(cut_blocks, "plates_of", lambda *_: plates)
    monkeypatch.setattr(cut_blocks, "as_drawn", lambda names, _: frozenset(name.upper() for name in names))
    monkeypatch.setattr(cut_blocks, "separation", lambda *_, ready, **__: ready)
    scene: Any = SimpleNamespace(drawing=drawing_of(A), pictures={"one": 1, "other": 2}, face=None)
    print_: Any = SimpleNamespace(trap_mm=0.5, register_error_mm=0.5, paper="white", hidden_by=None)
    assert cut_blocks.separation_of(print_, {}, scene) == {"one": 1}


def test_a_block_is_what_stands_of_its_face_and_knows_what_is_drawn_and_stays() -> None:
    print_: Any = SimpleNamespace(width_mm=30.0, height_mm=20.0)
    scene: Any = SimpleNamespace(
        openings=shapes(box(20, 5, 4, 4)), stays_on=lambda _: box(1, 1, 2, 2), drawing=drawing_of(A)
    )
    own: Any = SimpleNamespace(name="key")
    for picture_, open_, stays, drawn in ((scene, 1, 1, 1), (None, 0, 0, 0)):
        made = cut_blocks._block(print_, own, box(0, 0, 10, 20), picture_)
        assert (len(made.cut_outs), len(made.stays), len(made.drawn)) == (open_, stays, drawn)
        assert shapely.area(made.cuts).sum() == pytest.approx(20 * 20 - 16 * open_)


@pytest.mark.parametrize(
    ("name", "darker", "paler"),
    [("key", [], ["mid", "tone", "under"]), ("mid", ["key"], ["under"]), ("tone", ["key"], ["under"]),
     ("under", ["key", "mid", "tone"], [])],
)  # fmt: skip
def test_darker_and_paler_inks_are_those_of_other_lightness_and_one_under_all_is_paler(name, darker, paler) -> None:
    """`mid` and `tone` are as light, but for rounding."""
    lights = {"key": 20.0, "mid": 60.0 - 1e-10, "tone": 60.0, "under": 90.0}
    pictures = {key: box(10 * k, 0, 5, 5) for k, key in enumerate(lights)}
    plates: Any = {
        key: SimpleNamespace(name=key, lightness=light, under_all=key == "under") for key, light in lights.items()
    }
    for find, expected in ((separation._darker, darker), (separation._paler, paler)):
        there = find(plates[name], list(plates.values()), pictures)
        assert [key for key, each in pictures.items() if there.intersects(each)] == expected


def test_only_dies_have_counters(monkeypatch) -> None:
    monkeypatch.setattr(cut_blocks, "_counter_setups", lambda _, k, block_, __, own: (k, block_.name, own))
    blocks = [SimpleNamespace(name=role, role=role) for role in ("key", "emboss", "stencil")]
    made = cut_blocks.counter_setups_of(SimpleNamespace(blocks=blocks), None, {block_.name: "own" for block_ in blocks})
    assert made == {"emboss": (1, "emboss", "own")}


@pytest.mark.parametrize(("asked", "thick"), [(None, 1.5), (0.8, 0.8), (0.6, 0.6), (0.59, None)])
def test_a_counter_is_as_thick_as_asked_but_no_thinner_than_the_dies_relief(asked, thick, monkeypatch) -> None:
    monkeypatch.setattr(cut_blocks, "pressing_of", lambda *_: SimpleNamespace(relief_mm=0.6))
    monkeypatch.setattr(cut_blocks, "counter_thickness_mm", lambda how, own: own / 2 + how.relief_mm - 0.6)
    monkeypatch.setattr(cut_blocks, "counter_setups", lambda *_, **more: more)
    block_: Any = SimpleNamespace(name="die", counter_material="card", counter_thickness_mm=asked)
    shelf: Any = SimpleNamespace(material=lambda key: SimpleNamespace(key=key, thickness_mm=3.0))
    print_: Any = SimpleNamespace(place=str)
    if thick is None:
        with pytest.raises(InputError, match=r"must be the die's relief, 0\.6 mm") as refused:
            cut_blocks._counter_setups(print_, 2, block_, shelf, [None])
        assert refused.value.where == "blocks[2].counter_thickness_mm"
    else:
        made = cut_blocks._counter_setups(print_, 2, block_, shelf, [None])
        assert made == {"material": "card", "thickness_mm": thick}


@pytest.mark.parametrize(
    ("file", "motif", "read"), [("a.svg", "snowfall", False), ("b.svg", "snowfall", True), ("a.svg", "grain", True)]
)
def test_a_kept_file_that_was_read_before_anything_grew_is_not_read_again(file, motif, read, monkeypatch) -> None:
    monkeypatch.setattr(growing, "kept_of", lambda *_: "known")
    print_: Any = SimpleNamespace(path=Path("folder/print.toml"))
    entry: Any = SimpleNamespace(kept="a.svg", motif="snowfall")
    reader: Any = growing._once_read(lambda *_, **__: "read", print_, entry, "motifs[0]")
    assert reader(Path("folder") / file, motif=motif, size=(9.0, 9.0)) == ("read" if read else "known")


@pytest.mark.parametrize(
    ("motif", "on", "noted"),
    [("snowload", (), True), ("snowload", ("caps",), True), ("snowload", ("other",), False), ("snowfall", (), False)],
)
def test_that_marks_on_holes_wait_for_kept_snow_to_grow_again_is_noted(motif, on, noted, monkeypatch) -> None:
    monkeypatch.setattr(growing, "from_file", lambda *_, **__: "kept")
    grower: Any = Grower.__new__(Grower)
    rooms = SimpleNamespace(hole_marks=[SimpleNamespace(motifs=on)])
    vars(grower).update(rooms=rooms, notes=[], print_=None, read=None, motifs=[])
    entry: Any = SimpleNamespace(kept="caps.svg", motif=motif, name="caps", called="caps")
    assert grower._growth(entry, limits(), shapely.Point(), frozenset(), "motifs[0]") == "kept"
    assert [note.partition(":")[0] for note in grower.notes] == ["caps is kept"] * noted


@dataclass(frozen=True)
class _Inked:
    picture: shapely.Polygon
    notes: tuple = ()


def test_of_the_only_block_no_other_is_told_that_this_one_prints_instead() -> None:
    piece = box(5, 5, 3, 3)
    cuts: Any = {name: _Inked(box(0, 0, 9, 9)) for name in ("sky", "key")}
    taken = [bare_paper._Taken(piece=piece, land=piece, taker="sky")]
    assert bare_paper._with_notes({"sky": cuts["sky"]}, taken) == {"sky": cuts["sky"]}
    noted: Any = bare_paper._with_notes(cuts, taken)
    assert [len(noted[name].notes) for name in ("sky", "key")] == [0, 1]


@pytest.mark.parametrize(("motif", "on", "mm2"), [("grain", ["POST"], 75), ("grain", [], 0), ("frost", ["POST"], 0)])
def test_grain_depends_on_where_its_board_ends(motif, on, mm2: float) -> None:
    each: Any = SimpleNamespace(
        drawing=drawing_of(Layer("POST", box(0, 0, 5, 5))), face=box(0, 0, 10, 10), hidden_by=lambda _: shapely.Point(),
        openings=geometry.empty(), _deeper=lambda _: [],
    )  # fmt: skip
    entry: Any = SimpleNamespace(motif=motif, on=on, keep_clear=[], region="")
    assert shapely.area(GrowingRooms.surroundings(each, entry, "motifs[0]").clear) == mm2


def test_the_sample_is_the_one_in_the_package_or_the_gallerys(tmp_path, monkeypatch) -> None:
    monkeypatch.setattr(new_folder, "__file__", str(tmp_path / "carvegen" / "prints" / "file" / "new_folder.py"))
    assert new_folder.sample_folder() == tmp_path / "gallery" / "ferry-landing"
    (tmp_path / "carvegen" / "_samples").mkdir(parents=True)
    assert new_folder.sample_folder() == tmp_path / "carvegen" / "_samples"


def test_without_marks_all_white_is_the_same_as_it_was() -> None:
    whites = [
        marked_whites.White(name=name, shapes=shapes(box(5, 5, 2, 2)), leaves=frozenset({"sky"}))
        for name in ("paper", "snow")
    ]
    done = marked_whites.with_marks(whites, (), {"sky"}, [])
    assert all(one is white for one, white in zip(done, whites, strict=True))


@pytest.mark.parametrize(
    ("motif", "before", "hides", "shore"),
    [("snowload", 150, None, 7), ("snowfall", None, 25, None), ("frost", None, None, None)],
)
def test_a_motif_depends_on_the_parts_of_the_drawing_that_it_asks_for(motif, before, hides, shore) -> None:
    """Lying snow on what stands before its bearers, falling snow on what hides flakes."""
    drawing = drawing_of(Layer("POST", box(40, 10, 5, 30)), Layer("BOARD", box(0, 20, 100, 40)))
    each: Any = SimpleNamespace(
        drawing=drawing, face=box(0, 0, 100, 60), hidden_by=lambda _: shapely.Point(),
        openings=geometry.empty(), _deeper=lambda _: [box(0, 0, 5, 5)],
        _shore=lambda _: box(0, 0, 7, 1),
    )  # fmt: skip
    entry: Any = SimpleNamespace(motif=motif, on=["POST", "BOARD"], keep_clear=[], region="")
    around = GrowingRooms.surroundings(each, entry, "motifs[0]")
    assert [shape and shape.area for shape in (around.fronts, around.hides, around.shore)] == [before, hides, shore]
