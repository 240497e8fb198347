"""The test strip: its sizes, what can be read from it, and that readings come back as a profile."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.job import Setup, setups_for
from carvegen.blocks.test_strip import (
    BAR_MM,
    PIECE_MM,
    PIECES,
    WEDGE_MM,
    strip_for,
)
from carvegen.delivery.strip_folder import deliver_strip
from carvegen.facts import cutting
from carvegen.facts.profiles import Library
from carvegen.facts.profiles.own_profile import (
    Bar,
    edge_loss_mm,
    included_deg,
    kerf_mm,
    land_mm,
    wall_deg,
    wall_from_floor_deg,
)

SHELF = Library()
WAYS = [("linoleum", "v-60"), ("cherry", "laser-fine"), ("maple-end-grain", "flat-1"), ("rubber-soft", "u-2")]


def _setup(material: str, cutter: str) -> Setup:
    return setups_for(SHELF, material=material, cutter=cutter)[0]


@pytest.mark.parametrize(("material", "cutter"), WAYS)
def test_shapes_are_apart_and_on_the_face(material, cutter):
    strip = strip_for(_setup(material, cutter))
    every = np.concatenate([strip.block.cuts, strip.block.cut_outs])
    assert shapely.is_valid(every).all()
    assert shapely.within(every, strip.block.face).all()
    assert shapely.area(every).sum() == pytest.approx(shapely.area(shapely.union_all(every)), abs=1e-6)


@pytest.mark.parametrize(("material", "cutter"), WAYS)
def test_every_ladder_rises_and_has_rungs_on_both_sides_of_the_limit(material, cutter):
    setup = _setup(material, cutter)
    limits = setup.face_limits
    usual = {
        "land_across_mm": limits.land_across_mm,
        "land_along_mm": limits.land_along_mm,
        "dot_mm": limits.dot_mm,
        "cut_mm": limits.cut_mm,
    }
    for ladder in strip_for(setup).ladders:
        assert (np.diff(ladder.sizes_mm) > 0).all(), ladder.name
        assert ladder.sizes_mm[0] < 0.5 * usual[ladder.key] < 1.9 * usual[ladder.key] < ladder.sizes_mm[-1] * 1.01


@pytest.mark.parametrize(("material", "cutter"), WAYS)
def test_the_lands_drawn_are_as_wide_as_the_page_says(material, cutter):
    """Measured by shapely between neighbouring cuts."""
    strip = strip_for(_setup(material, cutter))
    cuts = strip.block.cuts
    for ladder in strip.ladders:
        if not ladder.key.startswith("land"):
            continue
        axis = 0 if ladder.key == "land_across_mm" else 1
        size = shapely.bounds(cuts)
        rungs = cuts[
            np.isclose(size[:, 2 + axis] - size[:, axis], 3.0) & np.isclose(size[:, 3 - axis] - size[:, 1 - axis], 10)
        ]
        result = shapely.distance(rungs[:-1], rungs[1:])
        assert sorted(result) == pytest.approx(ladder.sizes_mm, abs=0.002)


def test_a_block_without_grain_has_one_ladder_of_land():
    assert sum(ladder.key.startswith("land") for ladder in strip_for(_setup("linoleum", "v-60")).ladders) == 1
    assert sum(each.key.startswith("land") for each in strip_for(_setup("cherry", "v-60")).ladders) == 2


def test_a_strip_for_the_hand_has_nothing_to_cut_out():
    assert not strip_for(_setup("linoleum", "u-2")).has_comb
    assert len(strip_for(_setup("cherry", "laser-fine")).block.cut_outs) == PIECES


@given(st.floats(0.02, 1.5))
def test_the_kerf_that_a_beam_takes_from_the_comb_comes_back(kerf):
    """The pieces shrink by shapely's offset of half a kerf; together they are as wide as their sum."""
    comb = strip_for(_setup("cherry", "laser-fine")).block.cut_outs
    left = geometry.parts(shapely.buffer(comb, -kerf / 2, join_style="mitre"))
    box = shapely.bounds(left)
    assert kerf_mm(PIECE_MM, PIECES, float((box[:, 2] - box[:, 0]).sum())) == pytest.approx(kerf, abs=1e-3)


@pytest.mark.parametrize("together", [48.0, 50.0, 24.0, 6.0])
def test_a_comb_that_can_not_be_so_wide_is_refused(together):
    with pytest.raises(InputError, match="less than 48 mm"):
        kerf_mm(PIECE_MM, PIECES, together)


@pytest.mark.parametrize("key", ["v-30", "v-60", "v-90"])
def test_a_v_tools_angle_comes_back_from_the_bar_and_from_the_tapering_cut(key):
    """The groove's width is 2 d tan(a/2) beyond the tip: plane geometry, `facts.cutting`."""
    tool, depth = SHELF.cutter(key), 1.5
    wall = cutting.wall(tool, depth)
    bar = Bar(drawn_mm=BAR_MM, face_mm=BAR_MM, foot_mm=BAR_MM + 2 * wall.foot_gain_mm, depth_mm=depth)
    assert included_deg(bar) == pytest.approx(tool.values["included_deg"], abs=0.01)
    widest, length = WEDGE_MM
    ends = 2 * depth * math.tan(math.radians(tool.values["included_deg"] / 2)) * length / widest
    assert 2 * wall_from_floor_deg(widest, length, ends, depth) == pytest.approx(tool.values["included_deg"], abs=0.01)


def test_a_narrow_foot_is_an_undercut():
    assert wall_deg(Bar(drawn_mm=10, face_mm=10, foot_mm=9.4, depth_mm=1.5)) == pytest.approx(-11.31, abs=0.01)
    assert edge_loss_mm(Bar(drawn_mm=10, face_mm=9.7, foot_mm=9.7, depth_mm=1)) == pytest.approx(0.15)
    assert edge_loss_mm(Bar(drawn_mm=10, face_mm=10.2, foot_mm=9, depth_mm=1)) == 0


@pytest.mark.parametrize(("material", "cutter"), WAYS)
def test_a_rung_at_the_limit_gives_the_profiles_own_value(material, cutter):
    setup = _setup(material, cutter)
    tool = setup.cutter
    land = land_mm(setup.face_limits.land_across_mm, factor=tool.land_factor, loss_mm=tool.edge_loss_mm)
    assert land == pytest.approx(setup.material.land_across_mm)


@pytest.mark.parametrize(("material", "cutter"), WAYS)
def test_every_rung_has_a_place_for_its_number_on_land_that_stands(material, cutter):
    strip = strip_for(_setup(material, cutter))
    gone = shapely.union_all(np.concatenate([strip.block.cuts, strip.block.cut_outs]))
    numbers = [shapely.Point(place).buffer(0.9) for ladder in strip.ladders for place in ladder.rungs]
    assert len(numbers) == sum(len(ladder.sizes_mm) for ladder in strip.ladders)
    assert all(number.within(strip.block.face) and not number.intersects(gone) for number in numbers)
    assert shapely.area(shapely.union_all(numbers)) == pytest.approx(sum(number.area for number in numbers))


def test_the_hands_note_speaks_of_its_guide(tmp_path):
    setups = setups_for(SHELF, material="cherry", cutter="v-60", kinds=["hand"])
    deliver_strip(setups, tmp_path / "strip", transfer="carbon", paper="A4", dxf="R2000", say=lambda _: None)
    note = (tmp_path / "strip" / "hand" / "note.md").read_text(encoding="utf-8")
    assert "## Which tool where" in note
    assert "### Layers" not in note
