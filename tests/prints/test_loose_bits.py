"""Bits of drawn things that snow cuts off lie under it too; what was drawn so small, or is marked to stay, stands."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.prints import picture
from carvegen.prints.cut_blocks import picture_of, setups_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.layers import LayeredDrawing
from carvegen.prints.marked.marked_whites import White
from carvegen.prints.picture.loose_bits import Covered, covered
from carvegen.prints.picture.pale_rims import without_rims
from carvegen.prints.separation import Layer, painted
from tests.cases import SHELF, box, limits

FACE = box(0, 0, 40, 30)
TRUNK, TWIG = box(10, 0, 3, 30), box(13, 14, 9, 0.5)
SNOW = shapely.union_all([box(15, 12, 4, 5), box(13, 10, 27, 3.8), box(13, 14.7, 27, 4)])  #: the twig is left in a slit
NOTHING = shapely.Polygon()
#: parted by colours: nothing is drawn behind the tree, and a hair is left beside it
TONE = box(5, 0, 30, 20) - shapely.union(TRUNK, TWIG).buffer(0.03, join_style="mitre")


def plate(name: str, lightness: float, **more):
    own = {"ground": False, "under_all": False} | more
    return SimpleNamespace(name=name, lightness=lightness, layers=frozenset({name.upper()}), **own)


PLATES = [plate("sky", 80, ground=True), plate("tone", 60), plate("key", 20)]


def without_bits(snow=SNOW, *, key=None, stays=NOTHING, tone=TONE, flakes=NOTHING, plates=PLATES) -> Covered:
    key = shapely.union(TRUNK, TWIG) if key is None else key
    drawing = LayeredDrawing(SimpleNamespace(), [Layer("KEY", key), Layer("TONE", tone), Layer("SKY", FACE)], [])
    every = frozenset({"sky", "tone", "key"})
    lying, falling = (
        White(name=name, shapes=geometry.parts(shape), leaves=every)
        for name, shape in (("snowload 1", snow), ("snowfall 1", flakes))
    )
    pictures = {each.name: painted(FACE, drawing.layers, each) for each in plates}
    return covered(
        drawing, plates, pictures, [lying, falling], lying=[lying], stays=stays,
        limits=dict.fromkeys(every, limits(0.7)),
    )  # fmt: skip


def key_of(done: Covered):
    return done.drawing.union(["KEY"])


BIT = box(19, 14, 3, 0.5)


def test_a_bit_of_a_twig_that_snow_cuts_off_goes_and_the_snow_closes_over_it():
    done = without_bits()
    assert key_of(done).intersection(BIT).area < 0.01
    white = shapely.union_all([SNOW, *(shape for each in done.whites for shape in each.shapes)])
    assert white.covers(BIT.buffer(0.1, join_style="mitre"))
    assert all(each.leaves == {"sky", "tone", "key"} for each in done.whites)
    [note] = done.findings["key"]
    assert (note.rule, note.kind) == ("mended-away", "twigs")
    assert BIT.covers(shapely.Point(note.at)) and note.measured == pytest.approx(1.5)


def test_what_still_hangs_on_the_tree_stands_with_the_room_that_it_needs():
    done = without_bits()
    assert key_of(done).covers(shapely.union(TRUNK, box(13, 14, 2, 0.5)).buffer(-0.03))
    room = box(13.5, 13.85, 0.8, 0.8)
    assert all(shapely.intersection(shape, room).area < 0.01 for each in done.whites for shape in each.shapes)


@pytest.mark.parametrize(
    "same",
    [
        {"key": shapely.union(TRUNK, box(18, 14, 3.4, 0.5)), "snow": box(15, 12, 5, 5)},  # drawn by itself, as small
        {"key": shapely.union(TRUNK, box(18, 14, 4, 0.5)), "snow": box(15, 12, 4, 5)},  # most of it is in sight
        {"key": shapely.union(TRUNK, box(13, 14, 14, 0.5))},  # 8 mm of it are cut off
        {"stays": box(20, 13, 1, 2)},
        {"snow": box(30, 0, 5, 5), "flakes": box(15, 12, 4, 5)},  # a flake takes its end off
        {"snow": SNOW - box(15, 14, 4, 0.5)},  # nothing cuts it off
    ],
    ids=["drawn so small", "most", "long", "marked", "a flake", "whole"],
)
def test_other_things_stand(same):
    done = without_bits(**same)
    assert not done.whites and not done.findings
    assert key_of(done).equals(same.get("key", shapely.union(TRUNK, TWIG)))


def test_a_bit_that_sticks_out_of_the_snow_prints_in_the_ink_beside_it():
    done = without_bits(box(15, 10, 4, 5))
    assert key_of(done).intersection(BIT).area < 0.01
    assert done.drawing.union(["TONE"]).covers(BIT.buffer(0.05))
    white = shapely.union_all([shape for each in done.whites for shape in each.shapes])
    assert white.intersection(box(20, 13, 4, 3)).area < 0.01


def test_a_paler_thing_that_meets_a_darker_one_is_no_bit():
    """Between a post and snow, 1 mm of the hill is to be seen: the post bounds it, nothing stands alone."""
    snow = box(14, 0, 26, 30)
    done = without_bits(snow, key=box(10, 0, 3, 30), tone=shapely.union(box(13, 8, 20, 3), box(0, 8, 10, 3)))
    assert not done.findings


def test_a_paler_bit_goes_too():
    snow = shapely.union_all([box(20, 0, 1, 30), box(22, 0, 18, 30)])
    done = without_bits(snow, key=box(10, 0, 3, 30), tone=box(13, 8, 20, 2))
    [note] = done.findings["tone"]
    assert np.hypot(note.at[0] - 21.5, note.at[1] - 9) < 0.6
    assert done.drawing.union(["TONE"]).intersection(box(21, 8, 1, 2)).area < 0.01


def test_snow_that_closes_over_a_bit_leaves_a_post_beside_it_the_room_that_it_needs():
    post, twig = box(21.5, 0, 2, 30), box(13, 14, 8.2, 0.5)
    done = without_bits(SNOW - box(21.35, 0, 19, 30), key=shapely.union_all([TRUNK, post, twig]))
    white = shapely.union_all([shape for each in done.whites for shape in each.shapes])
    assert white.area > 1 and white.intersection(box(21.12, 13.9, 0.3, 0.7)).area < 0.01


def test_a_patch_of_the_palest_ink_amid_snow_is_ground_and_no_bit_of_a_thing():
    plates = [plate("sky", 80), *PLATES[1:]]
    done = without_bits(box(25, 5, 10, 10) - box(29, 9, 1, 1), key=TRUNK, tone=NOTHING, plates=plates)
    assert not done.whites and not done.findings


def test_a_print_is_pictured_without_bits_and_its_blocks_say_so(tmp_path, monkeypatch):
    lines = ['[print]\nname = "twig"\nsize_mm = [40, 30]\nseed = 5', '[artwork]\nin_front = ["TREE"]']
    lines += ['[[layers]]\nname = "TREE"\nshape = "box 10 14 12 0.5"']
    for name, role, ink, layers in (("sky", "background", "#a9bfcb", '"*"'), ("key", "key", "#1f2b3d", '"TREE"')):
        lines.append(f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nlayers = [{layers}]')
        lines.append('material = "linoleum"\ncutter = "v-60"\nfor = ["hand"]\nmend = true')
    lines.append('[[motifs]]\nmotif = "snowload"\non = ["TREE"]')
    (tmp_path / "print.toml").write_text("\n".join(lines), encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    lying = White(name=print_.motifs[0].name, shapes=geometry.parts(SNOW), leaves=frozenset({"sky", "key"}))
    monkeypatch.setattr(picture, "with_marks", lambda *_: [lying])
    done = picture_of(print_, setups_of(print_, SHELF), say=lambda _: None)
    assert done.pictures["key"].intersection(BIT).area < 0.01 < done.pictures["key"].area
    assert done.white_for("sky").covers(BIT) and done.white_for("key").covers(BIT)
    assert [(note.rule, note.kind) for note in done.findings["key"]] == [("mended-away", "twigs"), ("pale-rims", "")]


#: A bough's tip before snow that keeps off it by half a land, and snow over both.
BOUGH = shapely.Polygon([(10, 10), (20, 14), (10, 18)])
ROOM = shapely.union(BOUGH, shapely.Point(20, 14).buffer(0.35))
SNOW_ROUND = box(0, 0, 40, 30) - ROOM


def rims(beside=SNOW_ROUND, bears="TONE"):
    """The drawing of the bough before it was looked for rims, and after; and what is told of them."""
    drawing = LayeredDrawing(SimpleNamespace(), [Layer("TONE", BOUGH), Layer("SKY", FACE)], [])
    lying = White(name="snowload 1", shapes=geometry.parts(beside), leaves=frozenset({"sky", "tone"}))
    pictures = {each.name: painted(FACE, drawing.layers, each) for each in PLATES[:2]}
    done, told = without_rims(
        drawing, PLATES[:2], pictures, bears={bears}, lying=[lying], whites=[lying],
        limits=dict.fromkeys(pictures, limits(0.7)),
    )  # fmt: skip
    return drawing, done, told


@pytest.mark.parametrize(
    ("beside", "bears", "closed"),
    [
        (SNOW_ROUND, "TONE", True),
        (box(0, 0, 20.1, 30) - ROOM, "TONE", False),  # it opens into the sky
        (box(0, 0, 40, 30) - ROOM - box(18, 14, 6, 6), "TONE", False),  # there is no snow over it
        (SNOW_ROUND, "KEY", False),  # no snow lies on such a thing
        (box(0, 0, 40, 30) - shapely.union(BOUGH, shapely.Point(20, 14).buffer(1.5)), "TONE", False),  # too broad
    ],
)
def test_a_rim_of_paler_ink_round_a_tip_amid_snow_prints_in_the_ink_of_the_tip(beside, bears, closed):
    drawing, done, told = rims(beside, bears)
    rim = shapely.difference(ROOM, BOUGH)
    assert (done is drawing) == (not closed)
    assert list(told) == ["tone"] * closed
    assert all(note.rule == "pale-rims" and shapely.Point(note.at).within(rim.buffer(0.03)) for note in told.values())
    assert shapely.intersection(done.union(["TONE"]), rim).area == pytest.approx(closed * rim.area, abs=0.01)
    assert shapely.intersection(done.union(["TONE"]), beside).area < 0.05
