"""A block that is cut already: machines get what is new alone, and the note says how the old block is laid down."""

from __future__ import annotations

import json
import re
from dataclasses import replace

import ezdxf
import numpy as np
import pyogrio
import pytest
import shapely
from lxml import etree
from PIL import Image

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.block import Block
from carvegen.blocks.from_drawing import drawn_block
from carvegen.blocks.job import setups_for
from carvegen.blocks.register_marks import Register, with_moat
from carvegen.blocks.views import View, seen
from carvegen.delivery.block_folder import Style, deliver
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.note import block_note
from tests import cases
from tests.delivery.test_die_folder import contours

#: Two old cuts, one of them to be wider now, and one that is new; print view, 40 x 30 mm.
OLD = [cases.box(3, 3, 6, 5), cases.box(30, 22, 7, 5)]
WIDER, NEW = cases.box(9, 3, 3, 5), cases.box(18, 12, 5, 5)
CUTS = geometry.parts(shapely.union_all([*OLD, WIDER, NEW]))
BLOCK = Block(name="key", width_mm=40, height_mm=30, cuts=CUTS, cut_before=geometry.polygon_array(OLD))


def delivered(folder, block, cutter="laser-fine", kinds=("laser", "hand")):
    setups = setups_for(cases.SHELF, material="linoleum", cutter=cutter, kinds=kinds)
    deliver(
        [setup_.on(block) for setup_ in setups], folder, Style(paths=PathSettings(cut_edge=True)), say=lambda _: None
    )
    return folder


@pytest.fixture(scope="module")
def laser(tmp_path_factory):
    return delivered(tmp_path_factory.mktemp("laser") / "key", BLOCK)


def turned(shape):
    return shapely.transform(shape, lambda xy: xy * (-1, 1) + (40, 0))


def lines(path):
    """Every path of a drawing that a machine follows, by ezdxf's reader, in print view."""
    model = ezdxf.readfile(path).modelspace()
    result = [
        entity
        for entity in model.query("LWPOLYLINE LINE")
        if entity.dxf.layer.startswith(("LOWER", "CUT", "SCORE", "CLEAR"))
    ]
    return [turned(shapely.LineString([(x, y) for x, y, *_ in each.get_points()])) for each in result]


INNER_OLD = shapely.buffer(shapely.union_all(OLD), -0.05)


def dxf_shapes(path):
    """Every entity of a DXF, on whatever layer, by GDAL's reader."""
    _, _, wkb, _ = pyogrio.raw.read(path)
    return [shapely.from_wkb(each) for each in wkb]


def svg_shapes(path):
    """Every path and polygon of an SVG, in whatever group, by lxml: outlines in mm, y down from the block's corner."""
    root = etree.parse(path).getroot()
    result = [node.get("d") or node.get("points") for node in root.iter() if node.get("d") or node.get("points")]
    assert not [each for each in root.iter() if etree.QName(each).localname in ("image", "use", "rect", "circle")]
    rings = [ring for text in result for ring in re.split("[Zz]", text) if ring.strip()]
    numbers = [np.array(re.findall(r"-?[\d.]+", ring), float).reshape(-1, 2) for ring in rings]
    return [shapely.Polygon(xy) for xy in numbers if len(xy) > 2]


@pytest.mark.parametrize(("name", "read"), [("block.dxf", dxf_shapes), ("block.svg", svg_shapes)])
def test_whoever_runs_every_layer_cuts_nothing_twice(laser, name, read):
    """By GDAL and lxml: nothing in the machine's file lies in an old cut, on any layer; what is new is all there."""
    shapes = read(laser / "laser" / name)
    flip = (lambda xy: xy * (-1, 1) + (40, 0)) if name.endswith("dxf") else _svg_flip(laser / "laser" / name)
    there = [shapely.transform(shape, flip) for shape in shapes]
    filled = [shapely.Polygon(one.coords) if one.geom_type == "LineString" else one for one in there]
    filled = [each for each in filled if each.geom_type == "Polygon" and each.area < 1000]
    assert not shapely.intersects(filled, INNER_OLD).any()
    on_face = shapely.intersection(shapely.union_all(filled), shapely.box(0.5, 0.5, 39.5, 29.5))
    assert on_face.symmetric_difference(shapely.union(WIDER, NEW)).area < 0.01


def _svg_flip(path):
    """From a page's mm to print view: the block's upper left corner lies where the page's words say."""
    margin = float(re.search(r"lies ([\d.]+) mm from the left edge", " ".join(_words(path)))[1])
    left, top = (float(word) for word in etree.parse(path).getroot().get("viewBox").split()[:2])
    return lambda xy: np.column_stack([40 - (xy[:, 0] - left - margin), 30 - (xy[:, 1] - top - margin)])


def _words(path):
    return [node.text or "" for node in etree.parse(path).getroot().iter("{http://www.w3.org/2000/svg}text")]


def test_what_was_cut_is_a_picture_beside_the_machines_file(laser):
    """As the block lies: bare paper in the old cuts, ochre in the new ones."""
    seen = np.asarray(Image.open(laser / "laser/old-cuts.png").convert("RGB")).astype(int)
    scale = seen.shape[1] / 40

    def colour(shape):
        at = turned(shapely.Point(shape.centroid))
        return seen[int((30 - at.y) * scale), int(at.x * scale)]

    assert all(colour(each).min() > 240 for each in OLD)
    assert all(colour(one)[0] - colour(one)[2] > 100 for one in (WIDER, NEW))
    files = json.loads((laser / "report.json").read_text())["files"]
    assert "laser/old-cuts.png" in files
    assert "old-cuts.png" in (laser / "laser/note.md").read_text()


@pytest.mark.parametrize("name", ["block.dxf", "block.svg"])
def test_a_file_of_new_cuts_is_not_taken_for_the_whole_block(laser, name):
    with pytest.raises(InputError, match="holds only what is new of a block that is cut already") as raised:
        drawn_block(laser / "laser" / name)
    assert "lands/NAME.wkb" in raised.value.hint


def test_no_path_of_a_laser_runs_in_an_old_cut_or_round_the_block_or_marks_it_again(laser):
    followed = lines(laser / "laser/paths.dxf")
    assert followed
    inner = shapely.buffer(shapely.union_all(OLD), -0.2)
    assert not shapely.intersects(followed, inner).any()
    assert shapely.within(followed, shapely.box(0, 0, 40, 30)).all()


def test_a_router_runs_into_old_cuts_just_so_far_that_no_ridge_is_left(tmp_path):
    folder = delivered(tmp_path / "key", BLOCK, "flat-1", ("router",))
    new = turned(shapely.union_all(contours(folder / "router/block.dxf", "CUT AREA")))
    assert new.symmetric_difference(shapely.union(NEW, cases.box(8, 3, 4, 5))).area < 0.1
    followed = lines(folder / "router/paths.dxf")
    assert not shapely.intersects(followed, shapely.buffer(shapely.union_all(OLD), -1.0)).any()


def test_the_note_says_what_is_new_and_how_the_old_block_is_laid_down(laser):
    note = (laser / "laser/note.md").read_text()
    assert f"these files cut {WIDER.area + NEW.area:.1f} mm² that are new and nothing again" in note
    assert "Lay the old block face up" in note
    result = re.search(r"two corners of old cuts: x ([\d.]+), y ([\d.]+) mm and x ([\d.]+), y ([\d.]+) mm", note)
    one, other = (shapely.Point(float(result[k]), float(result[k + 1])) for k in (1, 3))
    walls = shapely.boundary(turned(shapely.union_all(OLD)))
    assert max(walls.distance(one), walls.distance(other)) < 0.1
    assert one.distance(other) > 25
    assert "Lay the old block" not in (laser / "hand/note.md").read_text()


def test_no_old_cut_that_no_picture_shows_is_aimed_at():
    """A register mark beyond the board's side, cut away long ago, was one of two places to line the block up by."""
    shown = seen(BLOCK, View.BLOCK)
    first, _ = block_note._sights(shown, BLOCK)
    unseen = shapely.Point(shown.places([first])[0]).buffer(0.5)
    aimed = block_note._sights(shown, replace(BLOCK, unseen=geometry.polygon_array([unseen])))
    assert len(aimed) == 2
    assert min(unseen.distance(shapely.Point(at)) for at in shown.places(aimed)) > 0.9


def test_a_guide_for_the_hand_shows_old_and_new(laser):
    assert 'id="CUT-BEFORE"' in (laser / "hand/guide.svg").read_text()


def test_where_nothing_is_new_no_path_is_written_and_it_is_said(tmp_path):
    block = replace(BLOCK, cuts=geometry.polygon_array(OLD))
    folder = delivered(tmp_path / "key", block, kinds=("laser",))
    assert not (folder / "laser/paths.dxf").exists()
    assert "nothing new is to be cut: do not run it" in (folder / "laser/note.md").read_text()


def test_neither_the_groove_nor_an_opening_is_cut_again():
    register = with_moat(Register(method="stops", waste_mm=20), (40, 30), 4)
    hole = cases.disc(25, 25, 2)
    block = replace(
        BLOCK, register=register, cut_outs=geometry.polygon_array([hole]),
        cut_before=geometry.stack([geometry.polygon_array([*OLD, hole]), register.lowered]),
    )  # fmt: skip
    new = block.left_to_cut()
    assert shapely.area(new.lowered).sum() == pytest.approx(WIDER.area + NEW.area, abs=0.01)
    assert len(new.cut_outs) == 0
    assert new.board.equals(block.board)
