"""Figures of a register error: the overlap that is told hides what it says, and words, findings and picture agree."""

from __future__ import annotations

import copy
import dataclasses
import io
import itertools
import math
import re
from functools import cache

import numpy as np
import pytest
import shapely
from PIL import Image, ImageColor, ImageDraw

from carvegen.facts.register import RegisterPlan
from carvegen.prints.misregister.block_placement import Inked
from carvegen.prints.misregister.figures import (
    figures,
    findings,
    of_kind,
    register_lines,
    spots,
)
from carvegen.prints.misregister.trials import outcome
from carvegen.writers.whole_print import register_png as register_picture
from carvegen.writers.whole_print.register_png import Shown, register_png
from tests.colour_vision import EYES, apart
from tests.strategies import few

SIZE = (60.0, 40.0)
PLAN = RegisterPlan(method="stops", tolerance_mm=0.4, turn_deg=0.1, prints=1000)


def print_with(trap, back):
    """A light ink beside a dark one, that runs under it by the trap and stays back from a snow heap in it."""
    snow = shapely.box(34, 25, 46, 40)
    dark = shapely.box(30, 0, 60, 40) - snow
    beside = shapely.box(40, 5, 50, 15)  # a light window in the dark: the light ink lies under its rim all round
    light = shapely.union_all([shapely.box(0, 0, 30 + trap, 40), beside.buffer(trap, join_style="mitre"),
                               shapely.box(33, 20, 47, 40)]) - snow.buffer(back, join_style="mitre")  # fmt: skip
    return [Inked(name="light", land=light, lightness=80), Inked(name="dark", land=dark - beside, lightness=20)]


def tried(trap=0.4, back=0.4, plan=PLAN):
    """The trials, and a copy of the figures; made once."""
    result, report = _tried(trap, back, plan)
    return result, copy.deepcopy(report)


@cache
def _tried(trap, back, plan):
    blocks = print_with(trap, back)
    result = outcome(blocks, plan, SIZE, seed=4, reach_mm=1.3 * max(trap, back) + 0.15,
                    full_mm=(0.9 * trap, 0.9 * back))  # fmt: skip
    return result, figures(result, blocks, plan, 60.0, (trap, back))


def test_the_overlap_that_is_told_hides_it_in_99_of_100_prints():
    """Built with the trap and the cut-back that the figures ask for, and tried out again."""
    _, report = tried()
    assert report["white_line"]["share_of_prints"] > 0.05
    assert report["ink_on_snow"]["share_of_prints"] > 0.05
    trap, back = (report[kind]["overlap_for_99_in_100_mm"] for kind in ("white_line", "ink_on_snow"))
    assert trap > 0.4 and back > 0.4
    _, again = tried(trap, back)
    assert again["white_line"]["share_of_prints"] <= 0.015
    assert again["ink_on_snow"]["share_of_prints"] <= 0.015
    always = report["white_line"]["overlap_for_all_mm"], report["ink_on_snow"]["overlap_for_all_mm"]
    _, never = tried(*always)
    assert never["prints_with_any"] == 0


def test_places_lie_on_the_edges_and_name_both_blocks():
    result, report = tried()
    for place in report["white_line"]["places"]:
        assert place["between"] == ["light", "dark"]
        x, y = place["at_mm"]
        assert abs(x - 30.4) < 0.11 or shapely.box(39, 4, 51, 16).contains(shapely.Point(x, y))
    for place in report["ink_on_snow"]["places"]:
        assert shapely.Point(place["at_mm"]).distance(shapely.box(34, 25, 46, 40)) == pytest.approx(0.4, abs=0.1)
    xy, shares, *_ = of_kind(result, 0)
    chosen = spots(xy, shares)
    assert shares[chosen[0]] == shares.max()


def test_findings_and_words_say_the_same():
    _, report = tried()
    rules = {finding.rule: (name, finding) for name, finding in findings(report)}
    assert set(rules) == {"white-line", "ink-on-snow"}
    name, finding = rules["white-line"]
    assert name == "light"
    trap = report["white_line"]["overlap_for_99_in_100_mm"]
    assert f"trap_mm = {trap:g}" in finding.remedy
    text = " ".join(register_lines(report))
    assert f"trap_mm = {trap:g}" in text
    assert f"{100 * report['white_line']['share_of_prints']:.0f} of 100 prints" in text


def test_lines_are_told_in_millimetres_a_print_with_their_width_and_what_an_eye_sees():
    result, report = tried()
    line, text = report["white_line"]["line_a_print"], " ".join(register_lines(report))
    assert text.index("at reading distance") < text.index("of 100 prints")  # whether it is seen, then how often
    assert line["mean_mm"] == pytest.approx(result.line_mm[:, 0].mean(), abs=0.05)
    ordered = np.sort(result.line_mm[:, 0])
    assert ordered[499] - 0.05 <= line["half_below_mm"] <= ordered[500] + 0.05
    assert ordered[899] - 0.05 <= line["nine_in_ten_below_mm"] <= ordered[900] + 0.05
    assert f"A print has {line['mean_mm']:g} mm of it on average" in text
    assert f"on average {line['mean_width_mm']:g} mm wide" in text
    # one minute of arc at 300 mm: 300 tan(1/60 degree) = 0.0873 mm (plane geometry)
    assert report["eye_tells_apart"] == {"mm": round(300 * math.tan(math.radians(1 / 60)), 3), "from_mm": 300.0}
    assert "at 300 mm an eye tells 0.09 mm apart" in text
    assert RegisterPlan().visible_mm == 0.1


@pytest.mark.parametrize(
    ("width", "said", "severity"),
    [(0.08, "too fine to be seen", "advice"), (0.12, "just seen", "advice"), (0.14, "plainly seen", "risk")],
)
def test_a_line_says_whether_it_is_seen_and_a_hairline_is_no_risk(width, said, severity):
    """An eye tells 0.0873 mm apart at 300 mm (one minute of arc); plainly seen from 1.5 times that, our own choice."""
    report = tried()[1]
    report["white_line"]["line_a_print"]["mean_width_mm"] = width
    ((_, one),) = [finding for finding in findings(report) if finding[1].rule == "white-line"]
    assert f"{width:g} mm wide, {said} at reading distance" in one.why
    assert one.severity.label == severity


def test_only_blocks_that_swell_are_said_to():
    """Growth: 2 % of moisture times 0.0005 for each, 0.1 %; nothing is said of moisture or wood otherwise."""
    plan = dataclasses.replace(PLAN, moisture_change_percent=2.0)
    blocks = [dataclasses.replace(each, moves=(0.0, 0.0005)) for each in print_with(0.4, 0.4)]
    for values, said in (
        (blocks, "The blocks swell by up to 0.1 % with the damp"),
        (print_with(0.4, 0.4), "not swell"),
    ):
        result = outcome(values, plan, SIZE, seed=4, reach_mm=0.7, full_mm=(0.36, 0.36))
        first = " ".join(register_lines(figures(result, values, plan, 60.0, (0.4, 0.4))))
        assert said in first
        assert "moisture" not in first


def test_what_is_open_before_anything_moves_is_told_apart():
    blocks = print_with(0.4, 0.4)
    result = outcome(blocks, PLAN, SIZE, seed=4, reach_mm=0.7, full_mm=(0.36, 0.36))
    bare = [{"measured": width, "length_mm": long} for width, long in ((0.3, 4.0), (0.15, 2.5), (0.05, 9.0))]
    report = figures(result, blocks, PLAN, 60.0, (0.4, 0.4), bare=bare)
    assert report["open_from_the_start"] == {"places": 2, "line_mm": 6.5, "worst_mm": 0.3}  # 0.05 mm is not seen
    assert "6.5 mm of bare paper in 2 places, up to 0.3 mm wide" in " ".join(register_lines(report))
    assert "where no block is off: none of what is to be inked" in " ".join(register_lines(tried()[1]))


def thin_print(trap):
    """A light ink that runs under a broad dark one by the trap, and under a dark line 0.5 mm wide by half of it."""
    dark = shapely.union_all([shapely.box(30, 0, 60, 40), shapely.box(10, 5, 10.5, 35)])
    light = shapely.union_all([shapely.box(0, 0, 10.25, 40), shapely.box(10.25, 0, 30 + trap, 40)])
    light = light - shapely.box(10.25, 5, 10.5 + 1.0, 35)  # bare beyond the line: an edge without room
    return [Inked(name="light", land=light, lightness=80), Inked(name="dark", land=dark, lightness=20)]


@pytest.mark.parametrize("trap", [0.4, 0.9, 1.5])
def test_the_advice_never_repeats_what_is_set(trap):
    """A trap that is enough where there is room is not advised again because of edges where there is none."""
    blocks = thin_print(trap)
    result = outcome(blocks, PLAN, SIZE, seed=4, reach_mm=0.1, full_mm=(0.9 * trap, 0.9 * trap))
    report = figures(result, blocks, PLAN, 60.0, (trap, trap))
    remedies = [finding.remedy for _, finding in findings(report)]
    text = " ".join([*register_lines(report), *remedies])
    for kind in ("white_line", "ink_on_snow"):
        if report[kind]["share_of_prints"] and report[kind]["overlap_for_99_in_100_mm"] == trap:
            assert not any(f"= {trap:g}" in remedy for remedy in remedies)
    for name in ("trap_mm", "register_error_mm"):
        assert f"{name} = {trap:g} " not in text.replace(f"Even where {name} = {trap:g} has room", "")
    assert re.search(r"On \d+ mm of edge no (trap_mm|register_error_mm) helps", text)
    assert "Draw it wider there" in text
    if trap > 0.8:  # two blocks differ by 0.8 mm and what they turn at worst
        assert report["white_line"]["share_of_prints"] + report["ink_on_snow"]["share_of_prints"] > 0.2


def test_what_is_not_counted_says_so_loudly_and_both_sums_are_named():
    """Two blocks within 0.4 mm: 0.8 mm at worst, root mean square of two errors of half of it 0.28 mm."""
    lines = register_lines(tried()[1])
    first = " ".join(lines)
    assert "as a rule 0.28 mm apart, at worst 0.8 mm" in lines[0]
    assert max(len(said.split()) for line in lines for said in re.split(r"[.:] ", line)) <= 25
    assert "Stretch of the paper NOT COUNTED: damp cotton paper grows by 0.5 to 2 %, common practice" in first
    assert "Swelling of the blocks NOT COUNTED" in first
    plan = dataclasses.replace(PLAN, paper_stretch_across_percent=0.1, moisture_change_percent=1.0)
    first = " ".join(register_lines(tried(plan=plan)[1]))
    assert "NOT COUNTED" not in first
    assert (
        "grows by 0 % along its grain and 0.1 % across it. The blocks do not swell" in first
    )  # `Inked` without a movement


def _choices(**changed):
    """What the figures offer for the white line, changed first."""
    report = tried()[1]
    report["white_line"] |= changed
    lines = register_lines(report)
    first = next(k for k, line in enumerate(lines) if "White line" in line)
    last = next(k for k, line in enumerate(lines) if "Ink on the snow" in line)
    return [line.strip() for line in lines[first:last] if re.match(" +(Write|Or|Fine)", line)], report


def test_figures_end_in_settings_to_choose_from():
    """Stops within 0.4 mm: two blocks are up to 0.8 mm apart, with usual stops 0.6, with pins 0.3."""
    (trap, method), report = _choices()
    wide = report["white_line"]["overlap_for_99_in_100_mm"]
    assert trap.startswith(f"Write: in [print] trap_mm = {wide:g} instead of 0.4, which helps on ")
    assert method.startswith('Or: in [register] method = "pins", only then without tolerance_mm, which helps')
    assert "0.3 mm apart at worst, not 0.8; the board needs 22 mm" in method  # an overlap of 0.4 hides 0.3, not 0.6
    (alone,), _ = _choices(overlap_for_99_in_100_mm=0.4)
    assert alone.startswith('Write: in [register] method = "pins"')


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"share_of_prints": 0.04}, "Fine as it is: fewer than 5 of 100 prints show it."),
        ({"line_a_print": {"mean_width_mm": 0.08, "mean_mm": 3.0}}, "Fine as it is: hardly anybody will see it."),
    ],
)
def test_what_few_prints_show_or_no_eye_sees_is_fine(changed, said):
    assert _choices(**changed)[0] == [said]


def test_a_finding_names_the_closer_method_and_none_where_pins_are_used():
    report = tried()[1]
    assert all(
        'print in closer register, such as method = "pins", only then without tolerance_mm' in one.remedy
        for _, one in findings(report)
    )
    report |= {"method": "pins", "tolerance_mm": 0.15}
    assert not any("method" in one.remedy for _, one in findings(report))
    assert not any("method =" in line for line in register_lines(report))


def as_advised(plan, words):
    """The plan as someone writes it who does what the words say, and nothing else."""
    (method,) = re.findall(r'method = "(\w+)"', words)
    goes = {"tolerance_mm": None} if "without tolerance_mm" in words else {}
    return dataclasses.replace(plan, method=method, **goes)


ROUGH = {"turn_deg": 0.1, "prints": 1000}


@pytest.mark.parametrize(
    "plan",
    few(
        [
            RegisterPlan(method="stops", tolerance_mm=0.4, **ROUGH),
            RegisterPlan(method="stops", tolerance_mm=0.3, **ROUGH),  # written, though it is the usual
            RegisterPlan(method="stops", **ROUGH),
            RegisterPlan(method="crosses", tolerance_mm=0.9, **ROUGH),
            RegisterPlan(method="crosses", **ROUGH),
        ],
        2,
    ),
)
def test_a_method_that_is_advised_and_written_helps_as_it_says(plan):
    """Tried out again with what every choice and every remedy says to write, at overlaps of 0.2 mm."""
    _, report = tried(0.2, 0.2, plan)
    choices = [line for line in register_lines(report) if "in [register] method" in line]
    remedies = [one.remedy for _, one in findings(report) if "method =" in one.remedy]
    assert len(choices) == len(remedies) == 2, "of both faults"
    for words in (*choices, *remedies):
        closer = as_advised(plan, words)
        _, again = tried(0.2, 0.2, closer)
        assert closer.off_mm < plan.off_mm
        for kind in ("white_line", "ink_on_snow"):
            now, then = (each[kind] for each in (report, again))
            assert then["share_of_prints"] < now["share_of_prints"]
            assert then["line_a_print"]["mean_mm"] < now["line_a_print"]["mean_mm"]
        if words in choices:
            (promised,) = re.findall(r"Blocks are then ([\d.]+) mm apart at worst", words)
            assert again["shift_of_two_blocks_mm"]["worst"] == float(promised)


@pytest.mark.parametrize(("method", "mm"), [("pins", 0.4), ("pins", 0.15), ("pins", None), ("stops", 0.1)])
def test_no_method_is_advised_that_is_no_closer_than_the_one_in_use(method, mm):
    """A tolerance that somebody measured is hers: to take it out mends nothing."""
    report = tried()[1]
    plan = RegisterPlan(method=method, tolerance_mm=mm)
    report |= {"method": method, "tolerance_mm": plan.off_mm, "tolerance_written": mm is not None}
    for overlap in (0.2, 0.55, 0.9):
        report["white_line"]["overlap_mm"] = report["ink_on_snow"]["overlap_mm"] = overlap
        words = " ".join([*register_lines(report), *(one.remedy for _, one in findings(report))])
        assert "method =" not in words
        assert "without tolerance_mm" not in words


def test_a_wider_trap_is_advised_and_a_wider_cut_back_never_is():
    """A trap as told leaves the white line in at most 15 of 1000; a wider cut-back may show more ink."""
    _, report = tried()
    lines = register_lines(report)
    (trap,) = re.findall(r"Write: in \[print\] trap_mm = ([\d.]+) ", " ".join(lines))
    (again,) = re.findall(r"or write trap_mm = ([\d.]+);", " ".join(one.remedy for _, one in findings(report)))
    assert trap == again
    assert tried(float(trap))[1]["white_line"]["share_of_prints"] <= 0.015
    assert report["ink_on_snow"]["overlap_for_99_in_100_mm"] > 0.4
    for always in (0.4, 0.7, 0.9):
        for enough in (0.4, 0.7):
            report["ink_on_snow"] |= {"overlap_for_99_in_100_mm": enough, "overlap_for_all_mm": max(enough, always)}
            words = " ".join([*register_lines(report), *(one.remedy for _, one in findings(report))])
            assert set(re.findall(r"register_error_mm = ([\d.]+)", words)) <= {"0.4"}, "only what is set"


def test_close_register_is_no_finding():
    _, report = tried(plan=RegisterPlan(method="pins", tolerance_mm=0.1, turn_deg=0.0))
    assert findings(report) == []
    assert "none of the prints" in " ".join(register_lines(report))


def test_the_same_seed_gives_the_same_figures():
    assert tried()[1] == tried()[1]


@pytest.mark.parametrize("eyes", EYES)
def test_the_picture_tells_every_share_apart_for_every_eye(eyes):
    """From share to share, and from fault to fault, by CIEDE2000 (skimage); 10 is plain at a glance, our own choice."""
    for colours in register_picture._COLOURS:
        assert min(apart(one, other, eyes) for one, other in itertools.pairwise(colours)) > 12
        assert apart(*colours[2:], eyes) > 20, "15 to 30 and over 30"
    assert apart(*(colours[3] for colours in register_picture._COLOURS), eyes) > 35, "over 30, of either fault"
    assert min(apart(one, other, eyes) for one, other in zip(*register_picture._COLOURS, strict=True)) > 20


def test_the_picture_marks_places_in_their_colours():
    """Read back by Pillow: a colour of the legend lies on the print just where the places are."""
    printed = io.BytesIO()
    Image.new("RGB", (600, 400), "#8899aa").save(printed, "PNG")
    kind = Shown(name="white line", xy=np.array([[30.0, 20.0], [10.0, 10.0]]), share=np.array([0.5, 0.0]), worst=[0])
    other = Shown(name="ink on the snow", xy=np.array([[50.0, 35.0]]), share=np.array([0.07]), worst=[])
    picture = Image.open(io.BytesIO(register_png(printed.getvalue(), (0, 0, *SIZE), (kind, other), ["words"])))
    assert picture.size[0] == 600 and picture.size[1] > 400
    assert picture.getpixel((300, 200)) == (0x6B, 0x00, 0x00)
    assert picture.getpixel((500, 50)) == (0x5C, 0xB0, 0xC4)
    pale = picture.getpixel((100, 300))  # a place that never fails is not drawn
    assert min(pale) > 200


@pytest.mark.parametrize(("share", "level"), [(0.03, 0), (0.07, 1), (0.2, 2), (0.4, 3)])
def test_a_ring_has_the_colour_of_its_share(share: float, level: int) -> None:
    printed = io.BytesIO()
    Image.new("RGB", (600, 400), "#8899aa").save(printed, "PNG")
    kind = Shown(name="white line", xy=np.array([[30.0, 20.0]]), share=np.array([share]), worst=[0])
    other = Shown(name="ink on the snow", xy=np.empty((0, 2)), share=np.empty(0), worst=[])
    picture = Image.open(io.BytesIO(register_png(printed.getvalue(), (0, 0, *SIZE), (kind, other), ["words"])))
    seen = {colour for _, colour in picture.crop((0, 0, 600, 400)).getcolors(100_000)}
    drawn = [ImageColor.getrgb(colour) in seen for colour in register_picture._COLOURS[0]]
    assert drawn == [k == level for k in range(4)]


def test_the_shares_of_places_beside_one_another_hide_no_other() -> None:
    """Of both kinds at one place, and at two that are close: the words' boxes meet neither one another nor a ring."""
    printed, boxes = io.BytesIO(), []
    Image.new("RGB", (600, 400), "#8899aa").save(printed, "PNG")

    def drawn(pen: ImageDraw.ImageDraw, xy: tuple[float, float], text: str, **how: object) -> None:
        if text.endswith(" %"):
            boxes.append(shapely.box(*pen.textbbox(xy, text, font=how["font"], anchor=how["anchor"])))

    kinds = [
        Shown(name=name, xy=np.array([[30.0, y], [33.0, y + 1]]), share=np.array([0.24, 0.31]), worst=[0, 1])
        for name, y in (("white line", 20.0), ("ink on the snow", 22.0))
    ]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ImageDraw.ImageDraw, "text", drawn)
        register_png(printed.getvalue(), (0, 0, *SIZE), tuple(kinds), ["words"])
    assert len(boxes) == 4
    assert not any(one.intersects(other) for one, other in itertools.combinations(boxes, 2))


@pytest.mark.parametrize(("overlap", "less", "none"), [(0.37, 0.0, 0.0), (0.35, 0.4, 0.0), (0.001, 0.4, 0.4)])
@pytest.mark.parametrize("share", [0.009, 0.011])
def test_edges_are_told_with_less_overlap_than_asked_and_with_none_where_they_fail(overlap, less, none, share) -> None:
    """Less: than nine tenths of it. An edge that fails in fewer than one print in a hundred is not told."""
    result, blocks = tried()[0], print_with(0.4, 0.4)
    edge = dataclasses.replace(
        result.places[0], block=0, xy=np.zeros((1, 2)), under=np.array([1]), overlap_mm=np.array([overlap]),
        snow=np.array([False]),
    )  # fmt: skip
    one = dataclasses.replace(result, places=(edge,), share=(np.array([share]),), worst_mm=(np.array([0.2]),))
    record = figures(one, blocks, PLAN, 60.0, (0.4, 0.4))["white_line"]
    often = share > 0.01
    assert record["edge_mm"] == 0.4
    assert record["edge_that_fails_mm"] == (0.4 if often else 0.0)
    assert record["edge_with_less_overlap_mm"] == less
    assert record["edge_without_overlap_mm"] == (none if often else 0.0)
    assert len(record["places"]) == often
    assert (record["overlap_for_all_mm"] is None) == (less > 0)
