"""A block that is cut already: machines get what is new alone, and the note says how the old block is laid down."""

from __future__ import annotations

import re
from dataclasses import replace

import ezdxf
import pytest
import shapely

from carvegen import geometry
from carvegen.blocks.block import Block
from carvegen.blocks.job import setups_for
from carvegen.blocks.register_marks import Register, with_moat
from carvegen.delivery.block_folder import Style, deliver
from carvegen.toolpaths.settings import PathSettings
from tests import cases
from tests.delivery.test_die_folder import contours

#: Two old cuts, one of them to be wider now, and one that is new; print view, 40 x 30 mm.
OLD = [cases.box(3, 3, 6, 5), cases.box(30, 22, 7, 5)]
WIDER, NEW = cases.box(9, 3, 3, 5), cases.box(18, 12, 5, 5)
CUTS = geometry.parts(shapely.union_all([*OLD, WIDER, NEW]))
BLOCK = Block(name="key", width_mm=40, height_mm=30, cuts=CUTS, cut_before=geometry.polygon_array(OLD))


def delivered(folder, block, cutter="laser-fine", kinds=("laser", "hand")):
    ways = setups_for(cases.SHELF, material="linoleum", cutter=cutter, kinds=kinds)
    deliver([way.on(block) for way in ways], folder, Style(paths=PathSettings(cut_edge=True)), say=lambda _: None)
    return folder


@pytest.fixture(scope="module")
def laser(tmp_path_factory):
    return delivered(tmp_path_factory.mktemp("laser") / "key", BLOCK)


def turned(shape):
    return shapely.transform(shape, lambda xy: xy * (-1, 1) + (40, 0))


def lines(path):
    """Every path of a drawing that a machine follows, by ezdxf's reader, in print view."""
    model = ezdxf.readfile(path).modelspace()
    found = [
        its for its in model.query("LWPOLYLINE LINE") if its.dxf.layer.startswith(("LOWER", "CUT", "SCORE", "CLEAR"))
    ]
    return [turned(shapely.LineString([(x, y) for x, y, *_ in its.get_points()])) for its in found]


def test_a_laser_gets_the_new_cuts_alone_and_the_old_ones_pale(laser):
    """By ezdxf's reader: what is to be lowered is what is new, what was cut lies on a layer that nobody cuts."""
    new, old = (shapely.union_all(contours(laser / "laser/block.dxf", name)) for name in ("CUT AREA", "CUT BEFORE"))
    assert turned(new).symmetric_difference(shapely.union(WIDER, NEW)).area < 0.01
    assert turned(old).symmetric_difference(shapely.union_all(OLD)).area < 0.01
    svg = (laser / "laser/block.svg").read_text()
    assert svg.index('id="CUT-BEFORE"') < svg.index('id="CUT-AREA"')


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
    found = re.search(r"two corners of old cuts: x ([\d.]+), y ([\d.]+) mm and x ([\d.]+), y ([\d.]+) mm", note)
    one, other = (shapely.Point(float(found[k]), float(found[k + 1])) for k in (1, 3))
    walls = shapely.boundary(turned(shapely.union_all(OLD)))
    assert max(walls.distance(one), walls.distance(other)) < 0.1
    assert one.distance(other) > 25
    assert "Lay the old block" not in (laser / "hand/note.md").read_text()


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
