"""Twigs that mending tears: their ends go from every block, and so do bars of paler ink and snow that lay on them."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.blocks.block import Block
from carvegen.checks.mending import CutChange
from carvegen.prints.bare_paper import _mended_again
from carvegen.prints.bare_paper.torn_twigs import Torn, torn_off, without_ghosts
from carvegen.prints.cut_blocks import Cut
from carvegen.prints.marked.marked_whites import White
from tests.cases import setup

FACE = shapely.box(0, 0, 30, 20)
POST = shapely.box(5, 0, 9, 20)
ROOT, GAP, END = shapely.box(9, 10, 12, 11), shapely.box(12, 10, 14, 11), shapely.box(14, 10, 18, 11)
ABOVE, BELOW = shapely.box(9, 11, 18, 13), shapely.box(9, 8, 18, 10)
LIMITS = SimpleNamespace(land_mm=0.7)
SETUPS = {"sky": (SimpleNamespace(limits=LIMITS),), "key": (SimpleNamespace(limits=LIMITS),)}
LIGHTS = {"sky": 80.0, "key": 20.0}
GONE = (CutChange(what="filled", at=(13.0, 10.5), white_mm2=2.0),)


@pytest.fixture(autouse=True)
def _strictest(monkeypatch):
    monkeypatch.setattr("carvegen.prints.bare_paper.torn_twigs.strictest", lambda _: LIMITS)


def cut(name: str, land, white, picture, changes=()) -> Cut:
    white = shapely.union_all(white)
    block = Block(name=name, width_mm=30, height_mm=20, cuts=geometry.parts(shapely.difference(FACE, land)))
    return Cut(block=block, land=land, white=white, picture=picture, changes=changes)


def whole(*pieces):
    return shapely.union_all(pieces)


def key(*pieces, white=(ABOVE, BELOW), changes=GONE) -> Cut:
    return cut("key", whole(POST, *pieces), white, whole(POST, ROOT, GAP, END), changes)


def sky(white=(ABOVE, BELOW), less=()) -> Cut:
    return cut("sky", FACE.difference(whole(*white, *less)), white, FACE)


def picture(*snow):
    lying = White(name="snowload", shapes=geometry.polygon_array(snow), leaves=frozenset(LIGHTS))
    return SimpleNamespace(whites=(lying,), marks=())


def standing(one: Cut):
    """What stands by the block's cuts; they and the land say the same."""
    land = FACE.difference(shapely.union_all(one.block.cuts))
    assert land.symmetric_difference(one.land).area < 0.01
    return land


def test_the_end_of_a_twig_that_mending_tore_off_goes_to_the_fork():
    before, now = {"key": key(ROOT, GAP, END, changes=())}, {"key": key(ROOT, END)}
    done, (torn,) = torn_off(before, now, SETUPS, ["key"])
    assert standing(done["key"]).symmetric_difference(whole(POST, ROOT)).area < 0.01
    assert whole(*torn.gone).symmetric_difference(whole(GAP, END)).area < 0.01
    assert sum(change.white_mm2 for change in done["key"].changes) == pytest.approx(GAP.area + END.area)
    assert [piece.area_mm2 for piece in done["key"].lost] == [END.area]


@pytest.mark.parametrize("end", [shapely.box(14, 8, 18, 11), shapely.box(14, 10, 30, 11)])  # broad; held by the edge
def test_what_is_no_twig_stays(end):
    before = {"key": key(ROOT, GAP, end, changes=())}
    done, _ = torn_off(before, {"key": key(ROOT, end)}, SETUPS, ["key"])
    assert standing(done["key"]).covers(end)


def test_a_bar_of_paler_ink_between_snow_goes_where_a_twig_is_gone():
    cuts = {"sky": sky(), "key": key(ROOT)}
    torn = Torn(owner="key", gone=geometry.polygon_array([GAP, END]), land_mm=0.7)
    done = without_ghosts(cuts, [torn], picture(), LIGHTS)
    assert standing(done["sky"]).intersection(whole(GAP, END)).area < 0.1
    [note] = done["key"].notes
    assert (note.rule, note.kind) == ("mended-away", "twigs")
    assert whole(GAP, END).intersects(shapely.Point(note.at))
    assert done["key"].given_up.covers(END), "it is told once, not as bare paper again"


def test_sky_on_one_side_of_what_is_gone_is_no_bar():
    cuts = {"sky": sky(white=(ABOVE,)), "key": key(ROOT, white=(ABOVE,))}
    torn = Torn(owner="key", gone=geometry.polygon_array([GAP, END]), land_mm=0.7)
    done = without_ghosts(cuts, [torn], picture(), LIGHTS)
    assert done["sky"] is cuts["sky"]


def test_snow_that_lay_on_what_is_gone_goes_and_the_sky_prints_there():
    snow = shapely.box(13, 11, 18, 12.5)
    cuts = {"sky": sky(white=(snow,)), "key": key(ROOT, white=(snow,))}
    torn = Torn(owner="key", gone=geometry.polygon_array([GAP, END]), land_mm=0.7)
    done = without_ghosts(cuts, [torn], picture(snow), LIGHTS)
    assert FACE.difference(standing(done["sky"])).area < 0.01
    assert all(one.white.area < 0.01 for one in done.values()), "nor need it be bare"


@pytest.mark.parametrize("snow", [shapely.box(9.5, 11, 15, 12.5), shapely.box(13, 11, 18, 16)])  # held; broad
def test_snow_that_still_lies_on_something_or_is_broad_stays(snow):
    cuts = {"sky": sky(white=(snow,)), "key": key(ROOT, white=(snow,))}
    torn = Torn(owner="key", gone=geometry.polygon_array([GAP, END]), land_mm=0.7)
    done = without_ghosts(cuts, [torn], picture(snow), LIGHTS)
    assert np.array_equal(done["sky"].block.cuts, cuts["sky"].block.cuts)


def test_slivers_that_are_left_where_bars_went_are_mended(monkeypatch):
    monkeypatch.undo()
    sliver = sky(white=(shapely.box(5, 5, 10, 10), shapely.box(10.1, 5, 15, 10)))
    done = _mended_again(replace(sliver, changes=GONE), (setup(),), lambda _: None)
    assert standing(done).intersection(shapely.box(10, 6, 10.1, 9)).area < 0.01
    assert done.changes[:1] == GONE
    assert len(done.changes) > 1
