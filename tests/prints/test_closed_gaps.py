"""Gaps that mending closes between things drawn apart are told once a place, with the gap that stays open."""

from __future__ import annotations

import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Severity
from carvegen.blocks.block import Block
from carvegen.checks.mending import CutChange
from carvegen.delivery.print_steps import cut_inputs, cuts_of
from carvegen.prints.bare_paper.closed_gaps import closed_gaps
from carvegen.prints.cut_blocks import Cut, mended_cut, setups_of
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF, box, setup

FACE = box(0, 0, 40, 30)
TUFT = shapely.union_all([box(10 + 0.6 * k, 10, 0.4, 6) for k in range(4)])  #: gaps of 0.2 mm
HAND, LASER = setup("linoleum", "v-60", machine=SHELF.machine("hand")), setup("linoleum", "laser-fine")
SETUPS = (HAND, LASER)


def mended(drawn, picture=None) -> Cut:
    cuts = geometry.parts(shapely.difference(FACE, drawn))
    block = Block(name="key", width_mm=40, height_mm=30, cuts=cuts)
    cut = Cut(block=block, land=drawn, white=shapely.Polygon(), picture=drawn if picture is None else picture)
    return mended_cut(cut, SETUPS, say=lambda _: None)


def told(drawn, cut=None, darker=(), setups=SETUPS):
    return list(closed_gaps(mended(drawn) if cut is None else cut, drawn, setups, darker))


def filled(drawn, land) -> Cut:
    """A block on which that much stands after mending, which laid land on."""
    changes = (CutChange(what="widened", at=(1.0, 1.0), white_mm2=-1.0),)
    block = Block(name="key", width_mm=40, height_mm=30, cuts=geometry.parts(shapely.difference(FACE, land)))
    return Cut(block=block, land=land, white=shapely.Polygon(), picture=drawn, changes=changes)


def test_a_tuft_that_becomes_one_slab_is_told_once_with_its_place_and_a_gap_that_stays_open():
    [note] = told(TUFT)
    assert (note.rule, note.severity) == ("mended-joined", Severity.ADVICE)
    assert box(10.4, 10, 2, 6).covers(shapely.Point(note.at)) and not TUFT.covers(shapely.Point(note.at))
    wide = LASER.limits.land_mm + HAND.limits.cut_mm
    words = note.remedy.split()
    assert words[:3] == ["draw", "the", "gaps"] and wide <= float(words[3]) < wide + 0.1
    apart = shapely.union_all([box(10 + (0.4 + float(words[3])) * k, 10, 0.4, 6) for k in range(4)])
    assert not told(apart) and len(geometry.parts(mended(apart).land)) == 4


def test_one_line_that_is_made_wider_joins_nothing():
    line = box(10, 10, 20, 0.3)
    done = mended(line)
    assert done.land.area > line.area + 3
    assert not told(line, done)


@pytest.mark.parametrize(("long", "count"), [(3.9, 0), (5.0, 1)])
def test_more_than_two_square_millimetres_are_told(long, count):
    drawn = shapely.union(box(10, 10, 5, long), box(15.5, 10, 5, long))
    assert len(told(drawn, filled(drawn, box(10, 10, 10.5, long)))) == count


@pytest.mark.parametrize(("apart", "count"), [(1.8, 1), (2.4, 2)])
def test_gaps_no_further_apart_than_two_millimetres_are_one_place(apart, count):
    bars = [box(10, 10, 2, 8), box(12.4, 10, apart, 8), box(12.8 + apart, 10, 2, 8)]
    drawn = shapely.union_all(bars)
    assert len(told(drawn, filled(drawn, shapely.box(*drawn.bounds)))) == count


def test_what_is_closed_under_a_darker_ink_is_not_seen():
    assert told(TUFT) and not told(TUFT, darker=[box(5, 5, 20, 20)])


def test_where_nothing_was_mended_nothing_is_told():
    drawn = shapely.union(box(10, 10, 5, 8), box(15.5, 10, 5, 8))
    cut = filled(drawn, box(10, 10, 10.5, 8))
    assert told(drawn, cut)
    assert not told(drawn, Cut(block=cut.block, land=cut.land, white=cut.white, picture=drawn))


def test_the_hand_alone_is_offered_where_another_machine_asks_for_more():
    assert "by hand alone" in told(TUFT)[0].remedy
    assert "by hand" not in told(TUFT, mended(TUFT), setups=[LASER])[0].remedy


def test_a_print_tells_it_of_the_block(tmp_path):
    lines = ['[print]\nname = "tuft"\nsize_mm = [40, 30]\nseed = 5']
    lines += [f'[[layers]]\nname = "BLADE {k}"\nshape = "box {10 + 0.6 * k:g} 10 0.4 6"' for k in range(4)]
    blades = ", ".join(f'"BLADE {k}"' for k in range(4))
    for name, role, ink, layers in (("sky", "background", "#a9bfcb", '"*"'), ("key", "key", "#1f2b3d", blades)):
        lines.append(f'[[blocks]]\nname = "{name}"\nrole = "{role}"\nink = "{ink}"\nlayers = [{layers}]')
        lines.append('material = "linoleum"\ncutter = "v-60"\nfor = ["hand", "laser"]\nmend = true')
    (tmp_path / "print.toml").write_text("\n".join(lines), encoding="utf-8")
    print_ = read_print(tmp_path / "print.toml", SHELF)
    _, cuts = cuts_of(cut_inputs(print_, setups_of(print_, SHELF), {}), say=lambda _: None)
    assert [(name, note.rule) for name, cut in cuts.items() for note in cut.notes] == [("key", "mended-joined")]
