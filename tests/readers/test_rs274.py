"""RS-274 programs, read back by a strict reader made from NISTIR 6556 and by the gcodeparser package."""

from __future__ import annotations

import dataclasses
import re

import numpy as np
import pytest
from gcodeparser import parse_gcode_lines

from carvegen.base.errors import InputError, RefusedError
from carvegen.facts.profiles import Permit, Verdict
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.motion.moves import APPROACH_MM, starts_of
from carvegen.toolpaths.paths import Paths, Plan
from carvegen.toolpaths.settings import PathSettings
from carvegen.writers.note.plan_note import plan_lines
from carvegen.writers.plan.plan_png import legend_words
from carvegen.writers.plan.rs274 import WORDS, programs
from tests.cases import SHELF, block, box, disc, setup
from tests.readers import nist

ROUTER = SHELF.machine("router-bed")


def planned(cutter: str = "v-60", machine=ROUTER, material: str = "cherry", depth: float = 1.0, **changed) -> Plan:
    each = block(box(5, 4, 20, 0.8), box(5, 8, 20, 12), disc(32, 10, 0.6), cut_outs=(box(30, 20, 6, 6),))
    job = setup(material, cutter, machine=machine, depth=depth, **changed).on(each)
    plan = plan_for(job, PathSettings(also_cutters=(SHELF.cutter("flat-3"),)))
    assert plan is not None
    return plan


def cutting(control: nist.Control) -> list[np.ndarray]:
    """Each unbroken row of cuts, from where the cutter is lowered; (n, 3) each."""
    rows, row = [], []
    for move in control.moves:
        if move.fast and row:
            rows, row = [*rows, np.array(row)], []
        if not move.fast:
            row.append(move.end)
    return rows


def expected(paths: Paths, width: float) -> list[np.ndarray]:
    """Mirrored: the block's left is the print's right."""
    rows = []
    for k in range(len(paths)):
        side = paths.xyz[paths.start[k] : paths.start[k + 1]]
        side = np.vstack([side, side[:1]]) if paths.closed[k] else side
        rows.append(side * (-1, 1, 1) + (width, 0, 0))
    return rows


def test_every_path_is_followed_in_order_and_no_other() -> None:
    plan = planned()
    made = programs(plan)
    assert len({item.cutter for item in made}) == 2
    read = [row for each in made for row in cutting(nist.read(each.text))]
    asked = [row for step in plan.operations for row in expected(step.paths, plan.job.block.width_mm)]
    assert len(read) == len(asked)
    for one, other in zip(read, asked, strict=True):
        assert one == pytest.approx(other, abs=6e-5)


def test_one_program_has_one_cutter_and_its_file_says_so() -> None:
    plan = planned()
    order = [step.cutter.key for step in plan.operations]
    changes = [key for k, key in enumerate(order) if k == 0 or order[k - 1] != key]
    made = programs(plan)
    assert [one.cutter for one in made] == changes
    for each in made:
        assert f"Cutter {SHELF.cutter(each.cutter).name}" in " ".join(nist.read(each.text).comments)


def test_fast_moves_stay_above_the_face_and_travel_is_at_the_safe_height() -> None:
    for program in programs(planned()):
        for move in nist.read(program.text).moves:
            low = min(place[2] for place in (move.start, move.end) if place[2] is not None)
            if move.fast and (move.start[0], move.start[1]) != (move.end[0], move.end[1]):
                assert low == ROUTER.safe_height_mm
            if move.fast and move.start[2] is not None and move.end[2] < move.start[2]:
                assert low >= APPROACH_MM
            assert move.fast or move.turning


def test_down_is_never_faster_than_the_plunge() -> None:
    plan = planned()
    starts = starts_of(plan.job, plan.operations)
    for program in programs(plan):
        start = starts[program.cutter]
        for move in (move for move in nist.read(program.text).moves if not move.fast):
            step = np.subtract(move.end, move.start)
            down = -step[2] / max(np.linalg.norm(step), 1e-12) * move.feed
            assert down <= start.plunge_mm_min + 0.01
            assert move.feed <= start.feed_mm_min


def test_the_program_says_units_zero_height_and_ends_with_the_spindle_stopped() -> None:
    for program in programs(planned()):
        control = nist.read(program.text)
        said = " ".join(control.comments)
        for words in ("Units mm", "lower left corner", "Safe height 10 mm", "face up and is cut mirrored", "scrap"):
            assert words in said
        assert control.modes["spindle"] == 1005
        assert control.modes["units"] == 21
        assert control.modes["plane"] == 17
        assert control.moves[-1].end[2] == ROUTER.safe_height_mm
        assert control.waited > 0


def test_every_word_is_in_the_table_of_words() -> None:
    used = set()
    for program in programs(planned()):
        for line in program.text.splitlines():
            if not line.startswith("("):
                used |= {word if word[0] in "GM" else word[0] for word in line.split()}
    assert used <= set(WORDS)
    assert set(WORDS) - used == {"G20"}


def test_another_reader_finds_the_same_moves() -> None:
    """The gcodeparser package (PyPI): general purpose, knows no machine."""
    for program in programs(planned()):
        lines = [line for line in parse_gcode_lines(program.text) if line.command in (("G", 0), ("G", 1))]
        ours = nist.read(program.text).moves
        assert len(lines) == len(ours)
        for line, move in zip(lines, ours, strict=True):
            for axis, value in zip("XYZ", move.end, strict=True):
                assert line.get_param(axis, default=value) == value


@pytest.mark.parametrize(
    ("origin", "low"), [("lower-left", (0, 0)), ("upper-right", (-40, -30)), ("middle", (-20, -15))]
)
def test_numbers_begin_at_the_corner_of_the_machine_s_profile(origin: str, low: tuple[float, float]) -> None:
    plan = planned(machine=dataclasses.replace(ROUTER, origin=origin))
    xy = np.array(
        [
            move.end[:2]
            for program in programs(plan)
            for move in nist.read(program.text).moves
            if move.end[0] is not None
        ]
    )
    whole = np.vstack([row[:, :2] for step in plan.operations for row in expected(step.paths, 40.0)])
    assert xy.min(axis=0) == pytest.approx(whole.min(axis=0) + low, abs=1e-4)


def test_a_machine_in_inches_gets_inches() -> None:
    plan = planned(machine=dataclasses.replace(ROUTER, units="in"))
    each = programs(plan)[0]
    control = nist.read(each.text)
    assert control.modes["units"] == 20
    assert control.moves[0].end[2] == pytest.approx(10 / 25.4, abs=1e-5)
    metric = nist.read(programs(planned())[0].text)
    for one, other in zip(control.moves, metric.moves, strict=True):
        for a, b in zip(one.end, other.end, strict=True):
            assert (a is None) == (b is None)
            assert a is None or a * 25.4 == pytest.approx(b, abs=3e-4)


@pytest.mark.parametrize("cutter", ["v-60", "flat-1", "taper-0.5"])
def test_an_inch_program_says_nothing_in_millimetres(cutter: str) -> None:
    """Every length in its words, too, is in the program's own unit; of 1.5 mm it says 0.0591 in."""
    plan = planned(cutter, machine=dataclasses.replace(ROUTER, units="in"), material="linoleum", depth=1.5)
    said = " ".join(words for program in programs(plan) for words in nist.read(program.text).comments)
    assert not re.search(r"\d\s*mm|millimet|mm/min", said)
    assert "deepest 0.0591 in" in said
    metric = planned(cutter, material="linoleum", depth=1.5)
    said = " ".join(words for each in programs(metric) for words in nist.read(each.text).comments)
    assert not re.search(r"\d\s*in\b|inch", said)
    assert "deepest 1.5 mm" in said


def seconds(text: str, travel_mm_s: float, acceleration: float) -> tuple[float, float]:
    """Cutting and fast time of a program as gcodeparser reads it, by a carriage driven in small steps.

    It knows no closed form: at each small step it is as fast as every slower place before and behind allows.
    """
    at, feed, rows = np.array([np.nan] * 3), 0.0, []
    for line in parse_gcode_lines(text):
        if line.command not in (("G", 0), ("G", 1)):
            continue
        feed = line.get_param("F", default=feed)
        to = np.array([line.get_param(axis, default=old) for axis, old in zip("XYZ", at, strict=True)], dtype=float)
        step = to - at
        if np.isfinite(step).all() and np.linalg.norm(step) > 1e-9:
            rows.append((step, line.command == ("G", 0), travel_mm_s if line.command[1] == 0 else feed / 60))
        at = to
    length = np.array([np.linalg.norm(step) for step, _, _ in rows])
    speed, fast = np.array([one for _, _, one in rows]), np.array([item for _, item, _ in rows])
    directions = np.array([step for step, _, _ in rows]) / length[:, None]
    turn = np.arccos(np.clip((directions[1:] * directions[:-1]).sum(axis=1), -1, 1))
    caps = [0.0, *np.minimum(timing.corner_mm_s(turn, acceleration), np.minimum(speed[1:], speed[:-1])).tolist(), 0.0]
    result = np.zeros(2)
    # forwards then backwards in small steps: v² grows by no more than 2 a ds
    parts = np.maximum(40, np.ceil(length / 0.02)).astype(int)
    square = np.concatenate([np.full(n, v * v) for n, v in zip(parts, speed, strict=True)])
    ds = np.repeat(length / parts, parts)
    ends = np.concatenate([[0], np.cumsum(parts)])
    for order in (1, -1):
        now = 0.0
        places = range(len(square)) if order == 1 else range(len(square) - 1, -1, -1)
        borders = {int(end): cap * cap for end, cap in zip(ends, caps, strict=True)}
        for i in places:
            border = borders.get(i if order == 1 else i + 1)
            now = now if border is None else min(now, border)
            middle = min(square[i], now + acceleration * ds[i])  # in the middle of the step
            square[i], now = middle, min(middle + acceleration * ds[i], now + 2 * acceleration * ds[i])
    each = ds / np.sqrt(square)
    for k in range(len(rows)):
        result[int(fast[k])] += each[ends[k] : ends[k + 1]].sum()
    return float(result[0]), float(result[1])


@pytest.mark.parametrize("cutter", ["v-60", "flat-1"])
def test_the_time_is_that_of_the_program_s_own_moves(cutter: str) -> None:
    """Lengths and times of the moves as the gcodeparser package reads them, cuts and fast ways each by itself."""
    plan = planned(cutter)
    times, made = timing.times(plan), programs(plan)
    assert times is not None
    read = np.array([seconds(this.text, ROUTER.travel_mm_s, ROUTER.acceleration_mm_s2) for this in made]).sum(axis=0)
    assert sum(time.work_s for time in times) == pytest.approx(read[0], rel=0.01)
    assert sum(one.travel_s for one in times) == pytest.approx(read[1], rel=0.01)
    moves = [move for each in made for move in nist.read(each.text).moves if None not in move.start]
    for fast, ours in ((False, sum(its.work_mm for its in times)), (True, sum(its.travel_mm for its in times))):
        far = sum(np.linalg.norm(np.subtract(move.end, move.start)) for move in moves if move.fast is fast)
        # before the first way of a program the cutter comes from nowhere; each operation's first is counted
        assert ours == pytest.approx(far, rel=1e-4)
    at_feed = sum(np.linalg.norm(np.subtract(item.end, item.start)) / item.feed for item in moves if not item.fast) * 60
    assert sum(entry.work_s for entry in times) > at_feed


def test_note_picture_and_program_tell_one_feed_and_one_time() -> None:
    """Linoleum and a V of 60 degrees: the note said 360 mm/min and the program 639."""
    each = block(box(5, 4, 20, 0.8), box(5, 8, 20, 12))
    plan = plan_for(setup("linoleum", "v-60", machine=ROUTER).on(each), PathSettings())
    note = "\n".join(plan_lines(plan))
    moves = [move for program in programs(plan) for move in nist.read(program.text).moves if not move.fast]
    fastest = max(move.feed for move in moves)
    downs = [move.feed for move in moves if move.end[2] < move.start[2] and move.end[:2] == move.start[:2]]
    words = re.search(r"try (\d+) rpm, (\d+) mm/min along and (\d+) mm/min down", note)
    assert int(words[2]) == fastest
    assert int(words[3]) // 10 * 10 == max(downs)
    assert f"S{words[1]} M3" in programs(plan)[0].text
    assert f"Start {words[1]} rpm, {words[2]} mm/min, down {words[3]} mm/min" in " ".join(
        nist.read(programs(plan)[0].text).comments
    )
    for time, report in zip(timing.times(plan), legend_words(plan), strict=True):
        assert f"about {timing.spoken(time.whole_s)}" in report
        assert f"| {timing.spoken(time.whole_s)} |" in note


def test_names_can_t_say_anything_to_the_control() -> None:
    plan = planned()
    named = dataclasses.replace(plan.job, block=dataclasses.replace(plan.job.block, name="a) M3 S9 (msg, %né×"))
    control = nist.read(programs(dataclasses.replace(plan, job=named))[0].text)
    assert "Block a] M3 S9 [msg, /nex" in " ".join(control.comments)
    assert control.speed != 9


def test_a_laser_gets_none_and_neither_does_what_a_router_must_not_cut() -> None:
    plan = planned()
    laser = setup("cherry", "laser-fine").on(plan.job.block)
    with pytest.raises(RefusedError, match="laser"):
        programs(Plan(job=laser, operations=plan.operations))
    never = Permit(verdict=Verdict.NEVER, why="for the test", cautions=(), source="")
    material = plan.job.material
    banned = dataclasses.replace(material, permits={**material.permits, "router": never})
    job = dataclasses.replace(plan.job)
    object.__setattr__(job, "material", banned)  # such a job can't be made; a writer looks nevertheless
    with pytest.raises(RefusedError):
        programs(dataclasses.replace(plan, job=job))
    with pytest.raises(InputError, match="router"):
        programs(Plan(job=setup("cherry", "v-60").on(plan.job.block), operations=plan.operations))
    low = dataclasses.replace(ROUTER, safe_height_mm=None)
    with pytest.raises(InputError, match="safe_height_mm"):
        programs(planned(machine=low))
