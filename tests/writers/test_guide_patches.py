"""Zones to tick off: they hold every cut once, all of the time, and go to and fro down the block."""

from __future__ import annotations

import itertools
import math
import re
from dataclasses import replace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.blocks.register_marks import Register
from carvegen.blocks.views import View, seen
from carvegen.toolpaths.motion.timing import by_hand_min
from carvegen.toolpaths.register_lines import ARM_MM, OUT_MM, register_places
from carvegen.writers.guide import guide_patches
from carvegen.writers.guide.guide_patches import PATCH_MM, patches_of
from carvegen.writers.guide.hand_guide import hand_guide
from tests.cases import block, box, disc, setup
from tests.strategies import few, takes_long

RNG = np.random.default_rng(4)
FLAKES = tuple(disc(x, y, 0.9) for x in range(4, 118, 5) for y in range(4, 78, 6))
WIDE = box(118.5, 10, 40, 33)  # over several zones
JOB = setup("linoleum", "v-60").on(block(*FLAKES, WIDE, size=(160.0, 80.0), cut_outs=(disc(140, 60, 5),)))
NO_FLOORS = geometry.empty()


@pytest.mark.parametrize("view", [View.BLOCK, View.PRINT])
def test_every_cut_is_in_one_zone_and_the_times_add_up(view) -> None:
    patches = patches_of(JOB, seen(JOB, view), NO_FLOORS)
    assert sum(each.cuts for each in patches) == len(FLAKES) + 2
    whole = by_hand_min(JOB.block, JOB.material)
    assert [sum(one.minutes[k] for one in patches) for k in (0, 1)] == pytest.approx(whole, rel=1e-6)
    assert [patch.number for patch in patches] == list(range(1, len(patches) + 1))


def test_they_go_to_and_fro_from_the_top_down() -> None:
    """4 by 2 zones of 40 mm: right, one down, left; each next to the one before."""
    patches = patches_of(JOB, seen(JOB, View.PRINT), NO_FLOORS)
    assert len(patches) == 8
    assert {(patch.box[2] - patch.box[0], patch.box[3] - patch.box[1]) for patch in patches} == {(PATCH_MM, PATCH_MM)}
    assert patches[0].box == (0, 40, 40, 80)
    for one, other in itertools.pairwise(patches):
        assert shapely.box(*one.box).intersection(shapely.box(*other.box)).length == pytest.approx(40)


def test_numbers_stand_on_land_or_on_a_floor_and_the_table_has_a_box_for_each_zone() -> None:
    guide = hand_guide(JOB, "carbon")
    zones = guide.zones
    gone = shapely.union_all(np.concatenate([zones.fine, zones.edges, guide.shown.cut_outs]))
    for label in guide.labels:
        assert shapely.distance(gone, shapely.Point(label.at)) > 1.8
    (table,) = guide.tables
    assert len(table.rows) == 9
    assert all(row[-1] == "" for row in table.rows[1:])
    assert table.rows[1][:3] == ("1", "0 to 40", "40 to 80")


def test_the_table_counts_whole_cuts_and_says_so_where_the_tools_have_more_places() -> None:
    """One wide cut has four corners for the fine tool and a floor."""
    guide = hand_guide(setup("linoleum", "v-60").on(block(box(20, 20, 30, 30), size=(80.0, 80.0))), "carbon")
    (table,) = guide.tables
    assert sum(int(row[3]) for row in table.rows[1:] if row[3] != "-") == 1
    places = [int(n) for n in re.findall(r"grey, (\d+) places?", " ".join(entry.words for entry in guide.tools))]
    assert sum(places) == 5
    assert "counts in one of them, whole; the places named with the tools are its parts, by width." in table.words[0]


def test_every_zone_of_a_block_that_is_mostly_floor_is_numbered() -> None:
    """A thin post on a cleared face: its zones have no land for a number."""
    face = box(0, 0, 120, 80).difference(box(60, 0, 3, 70))
    guide = hand_guide(setup("linoleum", "v-60").on(block(face, size=(120.0, 80.0))), "carbon")
    assert sorted(int(label.text) for label in guide.labels) == list(range(1, len(guide.tables[0].rows)))


def test_a_zone_with_nothing_to_cut_is_not_listed() -> None:
    job = setup("linoleum", "v-60").on(block(disc(10, 70, 2), disc(100, 10, 2), size=(160.0, 80.0)))
    patches = patches_of(job, seen(job, View.PRINT), NO_FLOORS)
    assert [(patch.number, patch.cuts) for patch in patches] == [(1, 1), (2, 1)]


@takes_long  # a slow twin
def test_numbers_are_left_out_only_where_none_has_room(monkeypatch) -> None:
    """Every zone measured exactly, as a slow twin: dense flakes, and gaps round the room that a number needs."""
    rng = np.random.default_rng(8)
    numbered, zones = 0, 0
    for gap in few((2.25, 2.6, 2.0), 2):
        centre = rng.uniform([15, 55], [25, 65])
        at = rng.uniform(0, 80, (4000, 2))
        at = at[(np.hypot(*(at - centre).T) > gap + 0.1)]
        flakes = geometry.joined(geometry.polygon_array(shapely.buffer(geometry.dots(at), 0.1, quad_segs=2)))
        job = setup("linoleum", "v-60").on(block(*flakes, size=(80.0, 80.0)))
        result = patches_of(job, seen(job, View.PRINT), NO_FLOORS)
        with monkeypatch.context() as patched:
            patched.setattr(guide_patches, "_may_have_room", lambda boxes, *_: np.ones(len(boxes), dtype=bool))
            assert result == patches_of(job, seen(job, View.PRINT), NO_FLOORS)
        numbered, zones = numbered + sum(bool(patch.rooms) for patch in result), zones + len(result)
    assert 2 <= numbered < zones / 2


@pytest.mark.parametrize("waste", [0.0, 18.0])
def test_strokes_where_zones_meet_stand_in_the_margin_only_and_the_legend_says_so(waste) -> None:
    """Whatever is drawn on the board, a tracing hand can carve; the zones' own sides say where they meet."""
    register = Register(method="stops", waste_mm=waste) if waste else None
    guide = hand_guide(replace(JOB, block=replace(JOB.block, register=register)), "carbon")
    lines = shapely.linestrings(guide.borders.reshape(-1, 2, 2))
    board = box(-waste, -waste, 160 + 2 * waste, 80 + 2 * waste)
    assert (shapely.length(shapely.intersection(lines, board)) == 0).all()
    assert (shapely.distance(lines, board) == 0).all()
    assert shapely.covers(shapely.box(*guide.bounds), lines).all()
    boxes = [each.box for each in patches_of(JOB, guide.shown, NO_FLOORS)]
    columns = {x for left, _, right, _ in boxes for x in (left, right)} - {0, 160}
    rows = {y for _, low, _, top in boxes for y in (low, top)} - {0, 80}
    upright = guide.borders[:, 0] == guide.borders[:, 2]
    crosses = shapely.points(register_places(160, 80))
    assert (shapely.distance(lines[:, None], crosses) > ARM_MM + 1).all(), "none runs on in a cross's arm"
    if waste < OUT_MM + ARM_MM:  # the strokes' side of the board lies beside the crosses
        columns, rows = columns - {80}, rows - {40}
    assert sorted(guide.borders[upright, 0]) == sorted([*columns, *columns])
    assert sorted(guide.borders[~upright, 1]) == sorted([*rows, *rows])
    assert any(show.shows == "borders" for show in guide.shows)


def test_a_block_of_one_zone_has_no_strokes() -> None:
    alone = hand_guide(setup("linoleum", "v-60").on(block(disc(10, 10, 2), size=(30.0, 30.0))), "carbon")
    assert not len(alone.borders)
    assert not any(show.shows == "borders" for show in alone.shows)


def test_a_number_on_an_empty_floor_steps_aside_of_a_ring() -> None:
    """The floor of a zone has one widest place, and a ring is drawn round it."""
    job = setup("linoleum", "v-60").on(block(box(2, 2, 76, 36), size=(80.0, 40.0)))
    plain = {label.text: label.at for label in hand_guide(job, "tracing").labels}
    ringed = Report(
        tuple(
            Finding(
                rule="land-width", severity=Severity.RISK, at=at, measured=0.4, limit=0.5, unit="mm",
                why="it may break", remedy="leave more", kind="neck",
            )
            for at in plain.values()
        )
    )  # fmt: skip
    beside = {each.text: each.at for each in hand_guide(job, "tracing", ringed).labels}
    assert plain.keys() == beside.keys()
    assert all(math.dist(at, beside[text]) > 3 for text, at in plain.items())


def test_a_number_whose_best_place_is_ringed_stands_at_the_next() -> None:
    """Two lands of a zone have room; a finding is ringed on the wider one."""
    face = box(0, 0, 80, 40).difference(shapely.union_all([box(5, 5, 14, 30), box(25, 5, 10, 30)]))
    job = setup("linoleum", "v-60").on(block(face, size=(80.0, 40.0)))
    (first, *_), plain = patches_of(job, seen(job, View.PRINT), NO_FLOORS), hand_guide(job, "tracing")
    assert len(first.rooms) >= 2
    ringed = Finding(
        rule="land-width", severity=Severity.RISK, at=first.rooms[0], measured=0.4, limit=0.5, unit="mm",
        why="it may break", remedy="leave more", kind="neck",
    )  # fmt: skip
    guide = hand_guide(job, "tracing", Report((ringed,)))
    assert {label.text: label.at for label in plain.labels}["1"] == first.rooms[0]
    assert {each.text: each.at for each in guide.labels}["1"] in first.rooms[1:]


@pytest.mark.parametrize(("size", "inset"), [((10.0, 6.0), 1.5), ((10.0, 2.0), 1.5), ((1.0, 1.0), 2.0)])
def test_places_of_a_grid_keep_their_distance_to_a_box_s_sides_but_for_half_a_pitch(size, inset) -> None:
    """Where it is narrower than that, all lie on its middle."""
    low, high = np.array([3.0, 4.0]), np.array([3.0, 4.0]) + size
    places, pitch = guide_patches._grid(np.array([*low, *high]), inset), guide_patches._PITCH_MM
    spread = np.maximum(np.array(size) - 2 * inset, 0)
    assert ((low + high) / 2).tolist() == pytest.approx(places.mean(axis=0).tolist())
    assert (np.ptp(places, axis=0) >= spread - 1e-9).all()
    assert (np.ptp(places, axis=0) < spread + pitch).all()
    assert np.diff(np.unique(places[:, 0].round(6))) == pytest.approx(pitch)
