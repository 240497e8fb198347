"""The zones of the hand guide: together the cuts, each as wide as its tool asks, and marks where land is thin."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.blocks.block import Block
from carvegen.blocks.job import Job, setups_for
from carvegen.blocks.views import View, seen
from carvegen.facts.profiles import Library
from carvegen.writers.guide.guide_samples import SAMPLE_MM, sample
from carvegen.writers.guide.guide_zones import tool_lines, zones_of
from carvegen.writers.guide.hand_guide import hand_guide
from tests.strategies import examples

SHELF = Library()
WIDE = shapely.box(5, 5, 35, 35)
LINE = shapely.box(40, 5, 41, 35)


def _job(*cuts: shapely.Polygon, cutter: str = "v-60", **more: object) -> Job:
    block = Block(name="x", width_mm=60, height_mm=40, cuts=geometry.polygon_array(cuts), **more)
    return setups_for(SHELF, material="linoleum", cutter=cutter, kinds=["hand"])[0].on(block)


def _union(shapes: geometry.PolygonArray) -> shapely.Geometry:
    return shapely.union_all(shapes)


def test_a_wide_cut_has_a_groove_along_its_edge_and_a_floor_a_line_is_fine():
    job = _job(WIDE, LINE)
    zones = zones_of(job, seen(job, View.PRINT))
    groove = 0.1 + 2 * 1.5 * math.tan(math.radians(30))  # trade geometry of a V: w = t + 2 d tan(a/2)
    assert any(shape.equals(LINE) for shape in zones.fine)
    assert _union(zones.fine).area < LINE.area + 4 * (groove + 1) ** 2 * (1 - math.pi / 4), (
        "and the corners of the wide cut"
    )
    floor = (30 - 2 * groove) ** 2 - 4 * (1 - math.pi / 4)  # a disc of 1 mm does not reach its corners
    assert _union(zones.floors).area == pytest.approx(floor, rel=1e-3)
    assert _union(zones.edges).area == pytest.approx(WIDE.area - (30 - 2 * groove) ** 2, rel=5e-2)
    assert zones.widest_floor_mm == pytest.approx(30 - 2 * groove, abs=0.3)


@pytest.mark.parametrize(("across", "said"), [(1.7, False), (4.0, True)])
def test_a_cut_without_a_floor_that_is_wider_than_the_groove_is_told_how_to_be_cleared(across, said):
    """The groove of a V of 60 degrees, 1.5 mm deep, is 1.8 mm wide: w = t + 2 d tan(a/2)."""
    job = _job(shapely.Point(20, 20).buffer(across / 2), LINE)
    (first,) = tool_lines(job, zones_of(job, seen(job, View.PRINT)))
    assert (" Wider than its groove of 1.8 mm: 1 place, up to 4 mm;" in first.words) == said
    assert ("U-gouge" in first.words) == said


@given(st.integers(0, 2**32 - 1))
@settings(examples(8), deadline=None)
def test_the_zones_are_apart_and_together_the_cuts(seed):
    rng = np.random.default_rng(seed)
    dots = shapely.buffer(shapely.points(rng.uniform(4, [56, 36], (12, 2))), rng.uniform(0.3, 4, 12))
    bars = shapely.buffer(shapely.linestrings(rng.uniform(4, [56, 36], (4, 2, 2))), 0.4)
    cuts = geometry.snapped(geometry.parts(shapely.union_all([*dots, *bars])))
    job = _job(*cuts)
    zones = zones_of(job, seen(job, View.PRINT))
    every = [_union(zone) for zone in (zones.fine, zones.edges, zones.floors)]
    whole = _union(cuts)
    assert shapely.union_all(every).symmetric_difference(whole).area < 1e-3 * whole.area + 0.02
    assert sum(zone.area for zone in every) == pytest.approx(whole.area, rel=1e-3, abs=0.02)


def test_the_tools_are_named_with_depth_by_width():
    """Depths: d = (w - t) / (2 tan(a/2)), plane geometry; V of 60° with a tip of 0.1 mm."""
    job = _job(WIDE, LINE)
    fine, along, floors = (tool_line.words for tool_line in tool_lines(job, zones_of(job, seen(job, View.PRINT))))
    assert "1 mm wide 0.8" in fine
    assert "1.8 mm and wider 1.5" in fine
    assert "its groove is 1.8 mm wide" in along
    assert "U-gouge about 8 mm" in floors


def test_strokes_stand_on_the_cut_where_the_land_is_thin_and_nowhere_else():
    job = _job(shapely.box(5, 5, 20, 35), shapely.box(20.6, 5, 40, 35))
    strokes = zones_of(job, seen(job, View.PRINT)).thin
    assert len(strokes) >= 8
    assert set(np.sign(strokes[:, 2] - strokes[:, 0])) == {-1, 1}, "down both walls"
    ends = shapely.points(strokes[:, 2:])
    assert shapely.covered_by(ends, _union(job.block.cuts)).all()
    assert len(zones_of(_job(shapely.box(5, 5, 20, 35)), seen(job, View.PRINT)).thin) == 0


def test_small_land_inside_a_cut_is_outlined():
    job = _job(WIDE.difference(shapely.Point(20, 20).buffer(1)).difference(shapely.box(8, 8, 14, 30)))
    (stands,) = zones_of(job, seen(job, View.PRINT)).stands
    assert stands.centroid.distance(shapely.Point(20, 20)) < 1e-6


def test_findings_are_ringed_where_the_guide_shows_them():
    finding = Finding(
        rule="land-width",
        severity=Severity.BREAKS,
        at=(10, 12),
        measured=0.2,
        limit=0.5,
        unit="mm",
        why="w",
        remedy="r",
    )
    (mark,) = hand_guide(_job(WIDE), "carbon", Report.of([finding])).marks
    assert mark.at == (50, 12)
    (mark,) = hand_guide(_job(WIDE), "tracing", Report.of([finding])).marks
    assert mark.at == (10, 12)


def test_free_zones_are_hatched_and_explained():
    free = geometry.polygon_array([shapely.box(35, 5, 38, 35)])
    guide = hand_guide(_job(WIDE, free=free), "face-down")
    lines = shapely.linestrings(guide.free_hatch.reshape(-1, 2, 2))
    assert shapely.covered_by(lines, shapely.buffer(free[0], 0.01)).all()
    assert shapely.length(lines).sum() == pytest.approx(3 * 30 / 0.8, rel=0.1)
    assert any("yours to decide, gouge in hand; it may go or stay. 1 place at 36 mm from the left" in line
               for line in guide.legend)  # fmt: skip


def test_slivers_are_nobody_s_to_decide() -> None:
    """Narrower than a stroke: with nothing else the legend must not send her looking for such a place."""
    slivers = geometry.polygon_array([shapely.box(35, 5, 35.3, 35), shapely.box(2, 2, 2.2, 2.2)])
    guide = hand_guide(_job(WIDE, free=slivers), "carbon")
    assert len(guide.shown.free) == len(guide.free_hatch) == 0
    assert not any("yours to decide" in line for line in guide.legend)
    some = np.concatenate([slivers, geometry.polygon_array([shapely.box(2, 10, 4, 11)])])
    report = [line for line in hand_guide(_job(WIDE, free=some), "face-down").legend if "yours to decide" in line]
    assert (
        report == [each for each in report if each.endswith("1 place at 3 mm from the left, 10 mm from below.")] != []
    )


def test_a_ring_on_a_wide_floor_is_seen_and_crosses_no_edge() -> None:
    """It was left out wherever it lay over a cut: its letter stood alone in the margin, far from what it meant."""
    finding = Finding(
        rule="clearing", severity=Severity.RISK, at=(20, 20), measured=1.0, limit=2.0, unit="mm", why="w", remedy="r"
    )  # fmt: skip
    job = _job(WIDE)
    (mark,) = hand_guide(job, "face-down", Report.of([finding])).marks
    lines = shapely.linestrings(mark.lines.reshape(-1, 2, 2))
    assert shapely.length(lines).sum() > 0.9 * 2 * np.pi * mark.radius
    assert np.hypot(mark.box[0] - 20, mark.box[1] - 20) < 8
    assert shapely.distance(shapely.boundary(job.block.cuts[0]), lines).min() > 0.4


def test_a_pale_guide_uses_less_ink_and_no_tone_that_a_grey_print_loses():
    """Office printers leave out tints of less than about 5 % and run tints together that differ by less (from memory).

    The lightest tone is the floors', which cover most; so it is held at the edge of that, and the others follow.
    """
    usual, pale = (np.array(hand_guide(_job(WIDE), "carbon", saving=saving).tones) for saving in (False, True))
    for tones in (usual, pale):
        assert (1 - tones).min() >= 0.05
        assert np.diff(tones).min() >= 0.05
    assert ((1 - pale) < 0.65 * (1 - usual)).all()


def test_the_walls_are_those_of_the_tool_as_it_is_leaned():
    """A 60 degree V leaned by 40 degrees undercuts one side, whatever it does upright: 30 - 40 < 0."""
    job = dataclasses.replace(_job(shapely.box(5, 5, 25, 25)), lean_deg=40.0)
    assert job.wall.steepest_deg < 0
    assert any("lean in" in fact for fact in hand_guide(job, "carbon").facts)
    assert any("30 degrees" in fact for fact in hand_guide(_job(shapely.box(5, 5, 25, 25)), "carbon").facts)


def test_a_hair_line_is_fine_and_every_corner_of_a_wide_cut_belongs_to_a_zone():
    hair = shapely.box(45, 5, 45.15, 35)
    zones = zones_of(_job(WIDE, hair), seen(_job(WIDE, hair), View.PRINT))
    assert any(shape.equals(hair) for shape in zones.fine)
    every = shapely.union_all([_union(zone) for zone in (zones.fine, zones.edges, zones.floors)])
    assert every.symmetric_difference(shapely.union_all([WIDE, hair])).area < 0.02


def test_each_line_of_the_legend_that_speaks_of_something_drawn_has_a_sample():
    """Frame, arrow and grain, too; a sample is lines or boxes within its own size."""
    guide = hand_guide(_job(WIDE, LINE), "carbon")
    signs = {entry.words.partition(" ")[0].strip(":"): entry.shows for entry in guide.shows}
    assert signs["Frame"] == "frame"
    assert signs["Arrow"] == "arrow left"
    assert all(entry.shows for entry in guide.shows)
    for name in ("frame", "arrow left", "arrow right", "grain"):
        ends = np.vstack([lines.ends for lines in sample(name, guide.tones).lines]).reshape(-1, 2)
        assert len(ends) > 4
        assert (ends >= 0).all() and (ends <= SAMPLE_MM).all()


@pytest.mark.parametrize("turned", [False, True])
def test_the_sample_of_the_arrow_points_to_the_side_that_its_words_name(turned):
    """Of a die that presses from the back, which is not turned, and of a block; two lines meet the shaft at its tip."""
    job = _job(WIDE)
    job = dataclasses.replace(job, block=dataclasses.replace(job.block, turned=turned))
    (entry,) = [entry for entry in hand_guide(job, "carbon").shows if entry.words.startswith("Arrow")]
    assert ("right" in entry.words) == (not turned)
    (lines,) = sample(entry.shows, (0.5, 0.7, 0.9)).lines
    ends = np.round(lines.ends.reshape(-1, 2), 6)
    corner, count = np.unique(ends, axis=0, return_counts=True)
    (tip,) = corner[count == 3]
    assert (tip[0] > SAMPLE_MM[0] / 2) == ("right" in entry.words)
