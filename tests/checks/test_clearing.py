"""Wide cut areas against roller and paper, on both sides of each threshold."""

from __future__ import annotations

import dataclasses
import gc
import math
import weakref
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from carvegen.base.errors import InputError
from carvegen.base.findings import Severity
from carvegen.checks import checked
from carvegen.checks.depths import clearing
from carvegen.checks.survey import Survey
from carvegen.facts.printing import (
    FEELS,
    Printing,
    bulge_mm,
    dip_mm,
    paper_mm,
)
from tests.cases import block, box, disc, setup, shapes
from tests.strategies import takes_long

FACE = (120.0, 90.0)


def found(*cuts, cutter="laser-fine", printing=None, size=FACE, **changed):
    job = setup(cutter=cutter, printing=printing or Printing(), **changed).on(block(*cuts, size=size))
    return list(clearing.find(Survey(job)))


def test_an_area_just_wide_enough_for_the_paper_to_sink() -> None:
    """Depth 1.5 holds gaps up to 1.5 / 0.12 = 12.5 mm."""
    assert found(disc(50, 40, 12.4 / 2)) == []
    (one,) = found(disc(50, 40, 12.7 / 2), box(90, 10, 5, 60))
    assert one.severity is Severity.RISK
    assert one.rule == clearing.RULE == "clearing"
    assert one.at == pytest.approx((50, 40), abs=0.1)
    assert one.measured == 1.5
    assert one.limit == pytest.approx(0.12 * 12.7, abs=0.01)
    assert "paper sinks" in one.why
    assert "1.6 mm deep" in one.remedy


@pytest.mark.parametrize(("radius", "word"), [(15.0, "dips"), (9.0, "falls in"), (40.0, "paper sinks")])
def test_what_reaches_the_floor(radius, word) -> None:
    """In a gap of 18.5 mm a roller of 15 mm dips 3.2 mm, one of 9 mm falls in, one of 40 mm dips 1.08."""
    printing = Printing(roller_radius_mm=radius, indentation_mm=0, margin_mm=0)
    (one,) = found(disc(50, 40, 18.5 / 2), printing=printing)
    assert word in one.why
    assert ("roller" in one.remedy) == (word != "paper sinks")
    assert math.isfinite(one.limit)


def test_deepening_is_offered_only_as_far_as_the_block_allows() -> None:
    """Linoleum of 3.2 mm may be cut 2.4 mm deep: enough for 20 mm of paper's sag, not for 21."""
    stiff = Printing(roller_radius_mm=200)
    (enough,) = found(disc(50, 40, 19.9 / 2), printing=stiff)
    (more,) = found(disc(50, 40, 20.4 / 2), printing=stiff)
    assert "2.4 mm deep" in enough.remedy
    assert "not enough" not in enough.why
    assert "not enough here: 2.4 mm is the most" in more.why
    assert "island" in more.remedy


def test_only_the_widest_are_told_of() -> None:
    areas = [disc(8 + 14 * (k % 12), 8 + 14 * (k // 12), 6.3 + 0.001 * k) for k in range(60)]
    every = found(*areas, size=(200, 100))
    assert len(every) == clearing.MOST
    assert all("Only the 50 widest" in one.why for one in every)
    assert min(one.limit for one in every) == pytest.approx(0.24 * 6.31, abs=0.003)


def test_an_island_of_land_narrows_the_gap() -> None:
    room = disc(50, 40, 15)
    assert found(room)
    assert found(room.difference(disc(50, 40, 6))) == []


def test_an_area_open_to_the_edge_counts_as_far_as_the_face() -> None:
    (one,) = found(box(0, 0, 13, 90))
    assert one.limit == pytest.approx(0.12 * 13, abs=0.01)
    assert found(box(0, 0, 12, 90)) == []


def test_a_v_tool_is_wide_enough_to_clear_flat() -> None:
    assert found(disc(50, 40, 3), cutter="v-90") == []
    (one,) = found(disc(50, 40, 7), cutter="v-90")
    assert one.measured == 1.5
    (wide,) = found(disc(50, 40, 1.6), cutter="v-90", depth=1.5, printing=Printing(margin_mm=2.9))
    assert wide.measured == pytest.approx((3.2 - 0.1) / 2, abs=0.1)


def test_the_roller_that_is_asked_for_decides() -> None:
    area = disc(50, 40, 12.4 / 2)
    assert found(area) == []
    assert found(area, printing=Printing(roller_radius_mm=12.5))
    assert found(area, printing=Printing(feel="hard"))
    assert not found(disc(50, 40, 9), printing=Printing(feel="light", roller_radius_mm=50))


def test_nothing_cut_and_nothing_wide() -> None:
    assert found() == []
    assert found(box(10, 10, 0.4, 60)) == []


def test_checked_lists_it_and_nothing_fails_by_it() -> None:
    report = checked(setup(cutter="laser-fine").on(block(disc(50, 40, 8), size=FACE)))
    assert "clearing" in {each.rule for each in report}
    assert report.to_dict()["risks"] == report.risks


@given(st.floats(0.5, 30), st.floats(0.3, 2.3), st.sampled_from(sorted(FEELS)), st.floats(5, 60))
def test_the_least_gap_divides_enough_from_too_little(gap, depth, feel, radius) -> None:
    printing = Printing(feel=feel, roller_radius_mm=radius)
    job = setup(cutter="laser-fine", depth=depth, printing=printing).on(block(size=FACE))
    least = clearing.least_gap_mm(job)
    needed = float(printing.needed_mm(np.array([gap]))[0])
    if abs(gap - least) > 1e-6 and math.isfinite(least):
        assert (needed > depth) == (gap > least)


@pytest.mark.parametrize("depth", [1.5, 1.9, 2.3])
def test_the_least_gap_is_where_the_paper_sinks_to_the_floor(depth: float) -> None:
    """A firm paper sinks by 0.12 of the gap, the roller less; on a face too small for that no gap asks for more."""
    stiff = setup(cutter="laser-fine", depth=depth, printing=Printing(roller_radius_mm=200))
    assert clearing.least_gap_mm(stiff.on(block(size=FACE))) == pytest.approx(depth / 0.12, abs=1e-6)
    side = depth / 0.12 / math.sqrt(2)
    for size, finite in (((side + 0.1, side), True), ((side - 0.1, side), False)):
        assert math.isfinite(clearing.least_gap_mm(stiff.on(block(size=size)))) == finite


def test_the_least_gap_is_looked_for_up_to_as_far_as_the_board_goes_with_its_waste() -> None:
    """From corner to corner 12.6 mm, of which 12.5 are held; the face alone would hold none so wide."""
    waste = (12.6 / math.sqrt(2) - 6) / 2
    whole = block(size=(6.0, 6.0))
    bare = setup(cutter="laser-fine", depth=1.5, printing=Printing(roller_radius_mm=200)).on(whole)
    job: Any = SimpleNamespace(
        block=SimpleNamespace(board=whole.board.buffer(waste, join_style="mitre")), printing=bare.printing,
        cutter=bare.cutter, depth_mm=1.5,
    )  # fmt: skip
    assert clearing.least_gap_mm(bare) == math.inf
    assert clearing.least_gap_mm(job) == pytest.approx(12.5, abs=1e-6)


def test_areas_that_can_not_hold_so_wide_a_disc_are_not_measured(monkeypatch) -> None:
    """By their bounds, wherever they lie, or by their area."""
    measured: list[int] = []
    own = clearing._inscribed
    monkeypatch.setattr(clearing, "_inscribed", lambda areas, left: measured.append(len(areas)) or own(areas, left))
    plate = shapely.Polygon([(60, 60), (68, 60), (60, 68)])  # 8 mm each way, as large as a disc of 6.4
    clearing.widest_gaps(shapes(box(50, 50, 20, 2), box(50, 70, 2, 20), plate), 7.0, most=4)
    assert sum(measured) == 0
    clearing.widest_gaps(shapes(box(50, 50, 20, 7.5), plate), 7.0, most=4)
    assert measured[-1] == 1


@given(st.lists(st.floats(0.3, 9), min_size=1, max_size=12), st.floats(0.5, 12))
def test_widest_gaps_are_those_of_all_areas(widths, least) -> None:
    areas = shapes(*(box(20.0 * k, 0, width, 3 * width) for k, width in enumerate(widths)))
    centres, gaps = clearing.widest_gaps(areas, least, most=4)
    expected = sorted((width for width in widths if width >= least + 0.02), reverse=True)[:4]
    assert len(gaps) >= len(expected)
    np.testing.assert_allclose(gaps[: len(expected)], expected, atol=0.02)
    assert shapely.contains_xy(shapely.union_all(areas), *centres.T).all()


@takes_long  # few corners above
def test_the_widest_gap_of_a_cut_with_very_many_corners_is_that_of_the_whole_of_it() -> None:
    """A comb whose back bulges: GEOS' search of the whole cut is the slow twin."""
    x = np.linspace(0, 100, 1500)
    low, high = np.sin(x / 9) + np.cos(x / 5), 6 + np.sin(x / 4) + 30 * (np.arange(len(x)) % 3 == 0)
    comb = shapely.Polygon(np.concatenate([np.column_stack([x, low]), np.column_stack([x, high])[::-1]]))
    widest = 2 * shapely.maximum_inscribed_circle(comb, tolerance=1e-4).length
    for least in (0.5, 2.0, widest - 0.1):
        centres, gaps = clearing.widest_gaps(shapes(comb), least, most=4)
        assert gaps.tolist() == pytest.approx([widest], abs=0.02)
        assert 2 * comb.boundary.distance(shapely.Point(centres[0])) == pytest.approx(gaps[0], abs=1e-6)


@pytest.mark.parametrize(("bulge", "searched"), [(0.0, 0), (0.4, 0), (9.0, 1)])
def test_a_band_with_very_many_corners_is_worn_away_and_not_searched(bulge: float, searched: int, monkeypatch) -> None:
    """It is as wide all along, but for a bulge: GEOS, which would look everywhere, is asked about a wide one alone."""
    x = np.linspace(0, 60, 700)
    high = 1.3 + 0.01 * np.sin(x) + bulge * np.exp(-(((x - 40) / 5) ** 2))
    band = shapely.Polygon(np.concatenate([np.column_stack([x, 0 * x]), np.column_stack([x, high])[::-1]]))
    own, asked = shapely.maximum_inscribed_circle, list[int]()
    widest = 2 * own(band, tolerance=1e-3).length
    monkeypatch.setattr(
        shapely, "maximum_inscribed_circle", lambda some, tolerance: asked.append(np.size(some)) or own(some, tolerance)
    )
    (centre,), (gap,) = clearing.widest_gaps(shapes(band), 1.0, most=4)
    assert sum(asked) == searched
    assert widest - 0.012 <= gap <= widest + 0.003
    assert 2 * band.boundary.distance(shapely.Point(centre)) == pytest.approx(gap, abs=1e-6)


def test_areas_are_measured_until_no_other_may_hold_a_wider_disc(monkeypatch) -> None:
    """Strips that lie aslant have bounds and areas for more than the disc that comes after them."""
    monkeypatch.setattr(clearing, "_BATCH", 2)
    strips = [shapely.LineString([(x, 0), (x + 10, 10)]).buffer(0.5) for x in (0, 20)]
    _, gaps = clearing.widest_gaps(shapes(*strips, disc(50, 5, 1.5)), 0.5, most=1)
    assert gaps == pytest.approx([3.0], abs=0.02)


@given(st.floats(3, 200), st.floats(0, 3), st.floats(0, 100), st.floats(0, 5))
def test_wider_gaps_never_ask_for_less(radius, indentation, gap, more) -> None:
    printing = Printing(roller_radius_mm=radius, indentation_mm=indentation)
    narrow, wide = printing.needed_mm(np.array([gap, gap + more]))
    assert wide >= narrow - 1e-12
    assert 0 <= bulge_mm(radius, indentation, gap) <= indentation
    assert dip_mm(radius, gap) >= 0
    assert np.all(paper_mm("firm", np.array([gap])) <= 4.0)


@pytest.mark.parametrize(
    "bad", [{"roller_radius_mm": 0}, {"roller_radius_mm": math.nan}, {"margin_mm": -1}, {"feel": "soft"}]
)
def test_settings_out_of_range(bad) -> None:
    with pytest.raises(InputError) as error:
        Printing(**bad)
    assert error.value.fields == tuple(bad)


def test_printing_is_a_value() -> None:
    assert dataclasses.replace(Printing(), feel="hard") == Printing(feel="hard")


def test_the_gaps_of_a_block_are_measured_once_for_each_least_gap_and_forgotten_with_it(monkeypatch) -> None:
    measured, widest = list[float](), clearing.widest_gaps
    monkeypatch.setattr(
        clearing, "widest_gaps", lambda areas, least, *, most: measured.append(least) or widest(areas, least, most=most)
    )
    face = block(disc(50, 40, 8), size=FACE)
    job = setup(printing=Printing()).on(face)
    one, again = (list(clearing.find(Survey(job))) for _ in range(2))
    assert one == again != []
    deeper = dataclasses.replace(job, printing=Printing(roller_radius_mm=9.0, indentation_mm=0, margin_mm=0))
    assert list(clearing.find(Survey(deeper))) != one
    assert measured == [clearing.least_gap_mm(job), clearing.least_gap_mm(deeper)]
    gone = weakref.ref(face)
    del face, job, deeper
    gc.collect()
    assert gone() is None


@pytest.mark.parametrize(
    ("reach", "needed", "kind"),
    [
        (np.inf, 2.0, "roller-falls-in-cut-deeper"), (np.inf, 2.1, "roller-falls-in"),
        (1.1, 2.0, "roller-dips-cut-deeper"), (1.1, 2.1, "roller-dips"), (0.9, 2.1, "paper-sinks"),
    ],
)  # fmt: skip
def test_what_goes_wrong_is_told_and_whether_depth_alone_helps(reach: float, needed: float, kind: str) -> None:
    """Cut 1 mm deep, where the material lets cut 2 mm deep."""
    job: Any = SimpleNamespace(
        depth_mm=1.0, thickness_mm=3.2, material=SimpleNamespace(depth_largest_mm=2.0, floor_mm=1.0),
        printing=SimpleNamespace(reach_mm=lambda gaps: np.full(len(gaps), reach)),
    )  # fmt: skip
    assert clearing._kind(job, 5.0, needed) == kind


def test_a_roller_has_fallen_in_at_its_radius_and_what_the_paper_sinks() -> None:
    job: Any = SimpleNamespace(
        printing=SimpleNamespace(roller_radius_mm=20.0, indentation_mm=0.3, margin_mm=0.05)
    )  # fmt: skip
    assert clearing._all_in(job) == pytest.approx(20.35)
