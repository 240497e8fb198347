"""Room for rings on the guide: the cells that are taken."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.block import Block
from carvegen.blocks.views import View, seen
from carvegen.geometry.coverage import coverage
from carvegen.writers.guide import ring_room
from carvegen.writers.guide.guide_marks import letter_lines, rings
from carvegen.writers.guide.guide_zones import zones_of
from carvegen.writers.guide.ring_room import word_at
from carvegen.writers.pdf.tiles import plan
from tests.cases import block, box, disc, setup


def test_cells_that_shapes_touch_as_by_their_union() -> None:
    """Shapes over one another, beside and inside: the cells of their union are the slow twin."""
    rng = np.random.default_rng(6)
    cuts = [disc(x, y, r) for x, y, r in rng.uniform([4, 4, 0.2], [56, 36, 1.5], (40, 3)).tolist()]
    cuts = list(geometry.joined(geometry.polygon_array([*cuts, box(50, 10, 10, 6)])))
    cuts = geometry.polygon_array(cuts)
    kept = geometry.polygon_array([box(5, 5, 12, 9)])
    job = setup().on(Block(name="rings", width_mm=60.0, height_mm=40.0, cuts=cuts, kept=kept))
    shown = seen(job, View.BLOCK)
    room = ring_room.RingRoom(shown, zones_of(job, shown), np.array([[20.13, 15.07, 24.11, 15.07]]))
    cell, (left, bottom, right, top) = ring_room._CELL_MM, room._bounds
    size = math.ceil((right - left) / cell), math.ceil((top - bottom) / cell)
    whole = geometry.parts(shapely.union_all(room._shapes))
    placed = geometry.moved(whole, (-left / cell, -bottom / cell), scale=1 / cell)
    assert shapely.area(whole).sum() < shapely.area(room._shapes).sum() - 1
    share = coverage(placed, size)[::-1]
    assert room._drawn[share > 10 * ring_room._CRUMB].all()  # between them is what comes from rounding
    assert not room._drawn[share < ring_room._CRUMB / 10].any()
    assert 0.1 < room._drawn.mean() < 0.9


def test_the_test_word_stands_clear_of_the_groove_round_a_block_with_stops() -> None:
    plain = seen(setup("linoleum", "v-60").on(block(size=(60.0, 40.0))), View.BLOCK)
    assert word_at(plain)[1] == pytest.approx(43)
    assert word_at(replace(plain, moat_mm=4.9))[1] == pytest.approx(47.9)


def test_a_block_of_200_by_150_mm_with_stops_goes_on_one_sheet_of_a4() -> None:
    shown = replace(seen(setup("linoleum", "v-60").on(block(size=(200.0, 150.0))), View.BLOCK), waste_mm=18.0)
    assert len(plan(ring_room.drawn_bounds(shown), "A4").tiles) == 1


@pytest.mark.parametrize(
    ("rule", "severity", "ringed"),
    [("land-width", Severity.RISK, 5), ("land-width", Severity.BREAKS, 20), ("cut-width", Severity.RISK, 20)],
)
def test_of_lands_short_tips_the_worst_few_are_ringed_and_all_are_counted(rule, severity, ringed) -> None:
    """Ninety of them would hide the few rings that ask for a decision; what breaks, or asks for a knife, is ringed."""
    job = setup().on(block(box(5, 5, 2, 2), size=(240.0, 60.0)))
    shown = seen(job, View.BLOCK)
    room = ring_room.RingRoom(shown, zones_of(job, shown), np.empty((0, 4)))
    one = Finding(
        rule=rule, kind="tip", severity=severity, at=(0.0, 0.0), measured=0.2, limit=0.5, unit="mm",
        length_mm=1.0, why="", remedy="round the tip off",
    )  # fmt: skip
    tips = [replace(one, at=(15.0 + 20 * (k % 10), 20.0 + 20 * (k // 10))) for k in range(20)]
    neck = replace(one, kind="neck", rule="land-width", severity=Severity.RISK, at=(225.0, 20.0))
    drawn = rings([*tips, neck], room, shown, most=100)
    lines = letter_lines([*tips, neck], drawn)
    assert len(drawn) == ringed + 1
    assert sum("20 places" in line for line in lines) == 1
    few = "Only the 5 worst spots are ringed; all are on proof.html. So short a tip may stay as it is."
    assert sum(few in line for line in lines) == (ringed == 5)
    assert lines[-1].startswith("The worst are ringed; 15 more") == (ringed == 5)
