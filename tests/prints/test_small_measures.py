"""Words and small measures of a print, on both sides of their limits: register figures, values of keys, what stands."""

from __future__ import annotations

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Severity
from carvegen.base.parameters import Parameter, parameters
from carvegen.motifs import snowfall
from carvegen.prints.file import declared_values
from carvegen.prints.layers import _filled, _further_back, _on_legs, runs_across
from carvegen.prints.misregister import figures
from carvegen.prints.misregister.figures import KINDS
from carvegen.prints.misregister.trials import _along, _in_a_row
from carvegen.prints.separation import Layer
from tests.cases import box, shapes

WHITE, SNOW = KINDS


# ── register ─────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(("mm", "up"), [(0.0, 0.0), (0.2, 0.2), (0.2001, 0.25), (0.249, 0.25), (0.15 + 0.15, 0.3)])
def test_overlaps_are_rounded_up_to_a_twentieth(mm: float, up: float) -> None:
    assert figures._up(mm) == pytest.approx(up)


def test_enough_overlap_leaves_of_a_gap_what_can_not_be_seen() -> None:
    plan = SimpleNamespace(visible_mm=0.1)
    for gap, enough in ((0.3, 0.6), (0.05, 0.4), (-0.2, 0.4), (-math.inf, 0.4)):
        assert figures._enough(0.4, gap, plan) == pytest.approx(enough)


def test_the_three_places_that_fail_most_often_lie_fifteen_millimetres_apart() -> None:
    xy = np.array([(0, 0), (14.9, 0), (15.1, 0), (40, 0), (70, 0), (99, 0.0)])
    assert figures.spots(xy, np.array([0.5, 0.4, 0.3, 0.2, 0.1, 0.6])) == [5, 0, 2]
    assert figures.spots(xy, np.array([0.5, 0.4, 0.009, 0.011, 0, 0])) == [0, 3]
    assert figures.spots(xy, np.zeros(6)) == []


def line(mean_width: float, mean: float = 5.0) -> dict[str, float]:
    return {"mean_width_mm": mean_width, "mean_mm": mean}


@pytest.mark.parametrize(
    ("share", "words"), [(0.99, "too fine"), (1.01, "just seen"), (1.49, "just"), (1.51, "plainly")]
)
def test_a_line_half_as_wide_again_as_an_eye_tells_apart_is_plainly_seen(share: float, words: str) -> None:
    assert words in figures._width(line(share * figures.SEEN_MM))


BY_CROSSES = {
    "visible_mm": 0.1, "method": "crosses", "tolerance_mm": 0.5, "tolerance_written": False,
    "shift_of_two_blocks_mm": {"worst": 1.0},
}  # fmt: skip


def fault(**changed) -> dict[str, object]:
    each = {
        "share_of_prints": 0.2, "worst_mm": 0.5, "overlap_mm": 0.4, "overlap_for_99_in_100_mm": 0.4,
        "overlap_for_all_mm": 0.4, "edge_mm": 100.0, "edge_with_less_overlap_mm": 0.0, "edge_without_overlap_mm": 0.0,
        "line_a_print": line(0.2), "places": [{"at_mm": [3.0, 4.0], "between": ["sky", "key"]}],
    }  # fmt: skip
    return each | changed


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({}, "nothing shows: a larger trap_mm would not help"),
        ({"overlap_for_all_mm": 0.6}, "hides it in 99 of 100 prints, trap_mm = 0.6 always"),
        (
            {"overlap_for_99_in_100_mm": 0.5, "overlap_for_all_mm": 0.6},
            "trap_mm = 0.5 hides it in 99 of 100 prints and 0.6",
        ),
        ({"overlap_for_99_in_100_mm": 0.5, "overlap_for_all_mm": 0.5}, "hides it in 99 of 100 prints (now 0.4)"),
        ({"overlap_for_99_in_100_mm": None}, "trap_mm = 0.4 has no room anywhere"),
        (
            {"edge_with_less_overlap_mm": 12.0},
            "On 12 mm of edge no trap_mm helps: the dark shape is too thin there, or",
        ),
        (
            {"edge_with_less_overlap_mm": 12.0, "edge_without_overlap_mm": 3.0},
            "On 3 mm of that, in sight, one ink ends",
        ),
    ],
)
def test_what_would_help_is_advised(changed, said: str) -> None:
    advice = figures._advice(WHITE, fault(**changed))
    assert said in advice
    assert ("Draw it wider" in advice) == ("edge_with_less_overlap_mm" in changed)
    assert ("one ink ends" in advice) == ("edge_without_overlap_mm" in changed)
    if "edge_without_overlap_mm" in changed:
        assert "both inks end at the snow" in figures._advice(SNOW, fault(**changed))


@pytest.mark.parametrize(
    ("enough", "less", "written"),
    [(0.5, 0.0, True), (0.4, 0.0, False), (None, 0.0, False), (0.5, 50, True), (0.5, 51, False)],
)
def test_a_wider_overlap_is_a_remedy_where_half_of_the_edge_has_room_for_it(enough, less, written: bool) -> None:
    remedy = figures._remedy(WHITE, fault(overlap_for_99_in_100_mm=enough, edge_with_less_overlap_mm=less))
    assert ("write trap_mm = 0.5" in remedy) == written
    assert ("draw the dark shape wider" in remedy) != written
    snow = figures._remedy(SNOW, fault(overlap_for_99_in_100_mm=enough, edge_with_less_overlap_mm=less))
    assert "register_error_mm" not in snow
    assert ("draw the dark shape wider" in snow) != written


@pytest.mark.parametrize(
    ("changed", "severity"),
    [
        ({"share_of_prints": 0.049}, None),
        ({"places": []}, None),
        ({"share_of_prints": 0.05}, Severity.RISK),
        ({"line_a_print": line(1.49 * figures.SEEN_MM)}, Severity.ADVICE),
        ({"line_a_print": line(1.51 * figures.SEEN_MM)}, Severity.RISK),
    ],
)
def test_a_fault_is_told_that_one_print_in_twenty_shows(changed, severity: Severity | None) -> None:
    record = {"white_line": fault(**changed), "ink_on_snow": fault(share_of_prints=0.0), **BY_CROSSES}
    report = figures.findings(record)
    assert [(name, each.severity, each.at, each.measured, each.limit) for name, each in report] == (
        [("sky", severity, (3.0, 4.0), 0.5, 0.1)] if severity else []
    )


@pytest.mark.parametrize(
    ("changed", "first", "count"),
    [
        ({"edge_mm": 0.0}, "there is no such edge", 1),
        ({"places": [], "share_of_prints": 0.0}, "in none of the prints", 1),
        ({}, "at worst 0.5 mm, in 20 of 100 prints", 5),
        ({"places": []}, "in 20 of 100 prints", 4),
    ],
)
def test_a_fault_in_words(changed, first: str, count: int) -> None:
    said = figures._in_words(WHITE, fault(**changed), BY_CROSSES)
    assert first in said[0]
    assert len(said) == count
    assert any("x 3, y 4 mm, between sky and key" in each for each in said) == (count == 5)


@pytest.mark.parametrize(
    ("stretch", "damp", "grow", "paper", "swell"),
    [
        ([0, 0], 0.0, 0.0, "NOT COUNTED", "NOT COUNTED"),
        ([1.5, 0], 5.0, 0.0, "grows by 1.5 % along", "do not swell"),
        ([0, 2.0], 5.0, 0.7, "2 % across", "swell by up to 0.7 %"),
    ],
)
def test_what_of_paper_and_wood_is_counted_is_said(stretch, damp, grow, paper: str, swell: str) -> None:
    record = {"paper_stretch_percent": stretch, "moisture_change_percent": damp, "blocks_grow_percent": grow}
    assert paper in figures._paper(record)
    assert swell in figures._swelling(record)


@pytest.mark.parametrize(
    ("places", "said"), [(0, "none of"), (1, "2 mm of bare paper in one place"), (3, "in 3 places")]
)
def test_what_is_bare_from_the_start_is_said(places: int, said: str) -> None:
    record = {"open_from_the_start": {"places": places, "line_mm": 2.0, "worst_mm": 0.3}, "visible_mm": 0.1,
              "eye_tells_apart": {"mm": 0.09, "from_mm": 300}}  # fmt: skip
    assert said in figures._seen(record)[0]


def test_what_a_print_shows_of_a_line() -> None:
    shown = np.zeros((10, 2))
    shown[:, 0] = np.arange(10)
    each = figures._lines_of(SimpleNamespace(line_mm=shown, opened_mm2=0.2 * shown), 0)
    assert each == {"mean_mm": 4.5, "half_below_mm": 4.5, "nine_in_ten_below_mm": 8.1, "mean_width_mm": 0.2}
    assert figures._lines_of(SimpleNamespace(line_mm=shown, opened_mm2=shown), 1)["mean_width_mm"] == 0


def test_places_lie_four_tenths_apart_along_each_outline_and_point_out_of_it() -> None:
    xy, out, ring = _along(shapely.union(box(0, 0, 8, 4), box(20, 0, 2, 2)))
    assert np.bincount(ring).tolist() == [60, 20] or np.bincount(ring).tolist() == [20, 60]
    large = xy[:, 0] < 10
    assert shapely.distance(box(0, 0, 8, 4).exterior, shapely.points(xy[large])).max() < 1e-9
    assert np.hypot(*np.diff(xy[large], axis=0).T).max() <= 0.4 + 1e-9
    assert not shapely.contains_xy(box(0, 0, 8, 4), *(xy + 1e-3 * out)[large].T).any()
    assert _along(shapely.Polygon())[0].shape == (0, 2)


def test_three_neighbours_in_a_row_must_gape() -> None:
    gap = np.array([[1.0, 2, 3, 4, 0.5, 6]])
    linked = np.array([True, True, True, False, True, False])
    assert _in_a_row(gap, linked).tolist() == [[1, 2, -np.inf, -np.inf]]
    for few in range(3):
        assert _in_a_row(gap[:, :few], linked[: max(few - 1, 0)]).shape == (1, 0)


# ── what stands in a drawing ─────────────────────────────────────────────────────────────────────────────────────


def test_how_much_of_a_box_is_filled() -> None:
    """By twelve dots each way."""
    half = [Layer("A", box(0, 0, 5, 10)), Layer("B", box(0, 0, 10, 5))]
    edges = (np.array([0.0, 20]), np.array([0.0, 0]), np.array([10.0, 30]), np.array([10.0, 10]))
    assert _filled(*edges, half[:1]).tolist() == [0.5, 0]
    assert _filled(*edges, half).tolist() == [0.75, 0]
    assert _filled(*edges, []).tolist() == [0, 0]


@pytest.mark.parametrize(
    ("tall", "foot", "legs"),
    [(6.0, 1.0, True), (4.9, 1.0, False), (5.1, 1.0, True), (6.0, 2.9, True), (6.0, 3.1, False)],
)
def test_a_sign_stands_on_legs_where_its_foot_is_narrow_and_it_is_half_as_high_as_broad(tall, foot, legs) -> None:
    """3 mm up from below it is looked how much of its breadth is filled: less than three tenths."""
    sign = shapely.union(box(0, 3, 10, tall - 3), box(5 - foot / 2, 0, foot, 3))
    assert _on_legs(shapes(sign)).tolist() == [legs]


@pytest.mark.parametrize(("low", "share"), [(2.9, 0.0), (3.1, 0.5)])
def test_what_stands_higher_up_on_the_ground_stands_further_back(low: float, share: float) -> None:
    post = shapes(box(0, 0, 4, 10))
    things = shapes(box(0, low, 4, 20 - low), box(30, 9, 2, 2))
    assert _further_back(post, things).tolist() == [pytest.approx(share)]


@pytest.mark.parametrize(
    ("left", "right", "before", "across"),
    [
        (2.9, 97.1, None, True),
        (3.1, 97.1, None, False),
        (2.9, 96.9, None, False),
        (0, 65, (65, 100), True),
        (0, 65, (75, 100), False),
        (0, 59, (59, 100), False),
        (0, 61, (61, 95), True),
        (0, 61, (61, 93.9), False),
    ],
)
def test_ground_comes_near_both_sides_or_would_but_for_what_is_before_it(left, right, before, across: bool) -> None:
    """Within 3 % of the width; of one level line it takes up six tenths, and with what is before it 94 %."""
    ground = shapes(box(left, 0, right - left, 10))
    hidden = shapely.Polygon() if before is None else box(before[0], 0, before[1] - before[0], 10)
    assert runs_across(ground, 100.0, hidden).tolist() == [across]
    assert runs_across(geometry.empty(), 100.0, hidden).tolist() == []


# ── values of keys ───────────────────────────────────────────────────────────────────────────────────────────────

OF = {setting.key: setting for setting in parameters(snowfall.Settings)}


def kind(unit: str, **more) -> Parameter:
    values_ = {"among": (), "form": "", "bounded": False, "remedy": "", "required": False} | more
    return SimpleNamespace(unit=unit, key="its", help="what it is", rule="must lie in 0…5", **values_)


@pytest.mark.parametrize(
    ("unit", "raw", "good"),
    [
        ("texts", ["a", "b"], True),
        ("texts", ["a", 1], False),
        ("texts", "a", False),
        ("entries", [{"a": 1, "b": "c"}, "d"], True),
        ("entries", [{"a": [1]}], False),
        ("entries", [1], False),
        ("entries", {"a": 1}, False),
        ("span", [1, 2.5], True),
        ("span", [1], False),
        ("span", [1, 2, 3], False),
        ("span", [1, True], False),
        ("whole", 3, True),
        ("whole", 3.0, False),
        ("whole", True, False),
        ("text", "a", True),
        ("text", 1, False),
        ("flag", True, True),
        ("flag", 1, False),
        ("table", {}, True),
        ("table", [], False),
        ("length", 1, True),
        ("length", 1.5, True),
        ("length", True, False),
        ("length", math.inf, False),
        ("length", 10**15 - 1, True),
        ("length", 10**15, False),
        ("length", "1", False),
        ("colour", "#264b5e", True),
        ("colour", 5, False),
    ],
)
def test_values_are_of_their_kind(unit: str, raw: object, good: bool) -> None:
    assert declared_values._of_kind(unit, raw) == good
    assert bool(declared_values._fault(kind(unit), raw)) != good


@pytest.mark.parametrize(
    ("text", "fault"),
    [("a" * 200, False), ("a" * 201, True), (" ", True), ("a\nb", True), ("sky", False)],
    ids=["long", "too long", "blank", "two lines", "plain"],
)
def test_texts_are_one_line_of_at_most_two_hundred_letters(text: str, fault: bool) -> None:
    assert bool(declared_values._text_fault(kind("text"), text)) == fault
    assert declared_values._text_fault(kind("choice", among=("sea",)), text) == "must be a known word"
    assert bool(declared_values._text_fault(kind("text", form="[a-z]+"), "Sky")) is True


@pytest.mark.parametrize(("raw", "good"), [([0, 5], True), ([-0.1, 5], False), ([0, 5.1], False)])
def test_both_ends_of_a_span_lie_in_its_range(raw, good: bool) -> None:
    assert bool(declared_values._fault(kind("span", bounded=True, at_least=0, at_most=5), raw)) != good


def test_wrong_values_are_repeated_as_far_as_they_help() -> None:
    assert declared_values._shown("a" * 60) == "a" * 60
    assert declared_values._shown("a" * 61) == "a" * 59 + "…"
    assert declared_values._shown(10**18) == "a number of more than 18 digits"
    assert declared_values._shown(10**18 - 1) == 10**18 - 1
    assert [declared_values._shown(each) for each in (None, True, 1.5)] == [None, True, 1.5]
    assert declared_values._shown(math.inf) == "inf"
    assert declared_values._settled(kind("length", bounded=True), 3) == 3.0
    assert isinstance(declared_values._settled(kind("length", bounded=True), 3), float)
    assert isinstance(declared_values._settled(kind("whole", bounded=True), 3), int)
    assert declared_values._settled(kind("span"), [1, 2]) == (1, 2)
    assert declared_values._culprit(kind("texts", among=("a",)), ["a", "b"]) == "b"


def test_a_motifs_settings_are_taken_and_its_faults_kept() -> None:
    top = declared_values.FilePlace("print.toml", [])
    good = declared_values.settings_of(top, "snow", snowfall.Settings, {"snow": 0.2, "wind": 2, "wnid": 1})
    assert good == {"snow": 0.2}
    assert [str(each.message) for each in top.faults] == [OF["wind"].rule, "is no setting of this motif"]
    assert "by default 0.15" in top.faults[0].hint
    assert "wind" in top.faults[1].hint


def test_a_word_that_a_motifs_setting_does_not_know_is_told_its_nearest() -> None:
    words = kind("choice", among=("marks", "open"), default="marks")
    assert "did you mean open?" in declared_values._own_hint(words, "opne", "must be a known word")
    assert declared_values._own_hint(words, 3, "must be a known word") == "one of: marks, open"
    assert declared_values._own_hint(kind("flag"), 3, "must be true or false") == "write its = true, or leave it out"
    assert declared_values.remedy(kind("whole", remedy="write 3", whole_number="a whole number")) == "write 3"
    assert declared_values.remedy(words) == "one of: marks, open"
    assert declared_values.remedy(kind("whole", whole_number="a whole number")) == "what it is: a whole number"


@pytest.mark.parametrize(
    ("raw", "number"),
    [
        (10**15 - 1, True),
        (10**15, False),
        (-(10**15), False),
        (1e300, True),
        (math.inf, False),
        (True, False),
        ("1", False),
    ],
)
def test_whole_numbers_that_are_surely_slips_are_none(raw: object, number: bool) -> None:
    assert declared_values._is_number(raw) == number
