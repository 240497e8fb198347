"""Times against closed forms and against small steps of a simulated carriage."""

from __future__ import annotations

import dataclasses
import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.facts import feeds
from carvegen.facts.profiles import Library, Verdict
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Plan,
    Work,
    joined,
    no_paths,
)
from tests import cases


def line(*xy: tuple[float, float], closed: bool = False) -> Paths:
    points = np.column_stack([np.array(xy, dtype=float), np.zeros(len(xy))])
    return Paths(points, np.array([0, len(xy)]), np.array([closed]))


def test_a_long_move_speeds_up_runs_and_slows_down():
    # s = v t + a t²/2: 100 mm at 50 mm/s and 200 mm/s²: 0.25 s up over 6.25 mm, as much down, 87.5 mm at full speed
    assert timing.move_s(np.array([100.0]), 50, 200) == pytest.approx(0.25 + 87.5 / 50 + 0.25)
    # 4 mm never reach 50 mm/s: up over 2 mm in sqrt(2 · 2 / 200), and as long down
    assert timing.move_s(np.array([4.0]), 50, 200) == pytest.approx(2 * math.sqrt(2 * 2 / 200))


def test_a_straight_path_is_a_move_wherever_points_lie_on_it():
    whole = timing.path_s(line((0, 0), (100, 0)), 50, 200)
    assert whole == pytest.approx(float(timing.move_s(np.array(100.0), 50, 200)))
    assert timing.path_s(line((0, 0), (3, 0), (3.1, 0), (70, 0), (100, 0)), 50, 200) == pytest.approx(whole)


def test_a_path_that_turns_back_stops_there():
    back = timing.path_s(line((0, 0), (100, 0), (0, 0)), 50, 200)
    assert back == pytest.approx(2 * float(timing.move_s(np.array(100.0), 50, 200)))


def test_a_square_slows_at_its_corners_to_what_the_rounding_allows():
    # an arc that leaves a right-angled corner by d has the radius d / (sqrt(2) - 1): v² = a d / (sqrt(2) - 1)
    speed = float(timing.corner_mm_s(np.array(math.pi / 2), 200, 0.02))
    assert speed**2 == pytest.approx(200 * 0.02 / (math.sqrt(2) - 1))
    ends = [0, speed, speed, speed, 0]
    legs = sum(
        (2 * 50 - a - b) / 200 + (40 - (2 * 50**2 - a * a - b * b) / 400) / 50 for a, b in itertools.pairwise(ends)
    )
    square = line((0, 0), (40, 0), (40, 40), (0, 40), closed=True)
    assert timing.path_s(square, 50, 200) == pytest.approx(legs)


def test_a_round_path_runs_at_the_speed_that_its_radius_allows():
    angle = np.linspace(0, 2 * np.pi, 720, endpoint=False)
    ring = line(*zip(50 * np.cos(angle), 50 * np.sin(angle), strict=True), closed=True)
    assert timing.path_s(ring, 30, 200) == pytest.approx(2 * math.pi * 50 / 30 + 30 / 200, rel=1e-3)


@given(st.integers(0, 2**32), st.integers(2, 8))
def test_paths_one_after_another_take_the_sum_of_their_times(seed, count):
    rng = np.random.default_rng(seed)
    parts = [line(*map(tuple, rng.uniform(0, 30, (3, 2))), closed=bool(rng.integers(2))) for _ in range(count)]
    alone = sum(timing.path_s(part, 40, 300) for part in parts)
    assert timing.path_s(joined(parts), 40, 300) == pytest.approx(alone)


@given(st.integers(0, 2**32))
def test_a_carriage_driven_in_small_steps_takes_as_long(seed):
    """A twin that knows no closed form: at each small step as fast as the start, the end and the corners allow."""
    rng = np.random.default_rng(seed)
    xy = np.cumsum(rng.normal(0, 6, (6, 2)), axis=0)
    speed, quick = 40.0, 300.0
    steps = np.diff(xy, axis=0)
    far = np.hypot(*steps.T)
    heading = np.arctan2(*steps.T[::-1])
    turn = np.abs((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)
    caps = [0.0, *timing.corner_mm_s(turn, quick).tolist(), 0.0]
    at = np.concatenate([[0], np.cumsum(far)])
    middle = (np.arange(60_000) + 0.5) / 60_000 * at[-1]
    square = np.full(len(middle), speed**2)
    for place, cap in zip(at, caps, strict=True):
        square = np.minimum(square, cap**2 + 2 * quick * np.abs(middle - place))
    twin = (at[-1] / len(middle) / np.sqrt(square)).sum()
    assert timing.path_s(line(*map(tuple, xy)), speed, quick) == pytest.approx(twin, rel=0.01)


def test_no_path_takes_no_time():
    assert timing.path_s(no_paths(), 10, 100) == 0


def test_formulas_of_common_practice():
    # common practice, no source; worked by hand: 2000 lines of 300 mm at 300 mm/s, 0.2 s between them: 40 min
    assert timing.raster_s(300, 200, spacing_mm=0.1, speed_mm_s=300, turn_s=0.2) == pytest.approx(40 * 60)


def operation(paths: Paths, *, work: Work = Work.LOWER, depth_mm: float = 1.0, **more) -> Operation:
    cutter = Library().cutter("laser-fine")
    return Operation(name="A", work=work, asks="-", cutter=cutter, paths=paths, depth_mm=depth_mm, **more)


def laser(material: str = "birch-plywood", **pace):
    setup = cases.setup(material, "laser-fine")
    return dataclasses.replace(setup, machine=dataclasses.replace(setup.machine, **pace)).on(cases.block())


def test_an_operation_counts_its_strokes_in_every_pass():
    paths = joined([line((0, 0), (30, 0)), line((40, 0), (70, 0))])
    once, thrice = timing.time_of(operation(paths), laser()), timing.time_of(operation(paths, passes=3), laser())
    assert (once.strokes, once.work_mm, once.travel_mm) == (2, 60, 10)
    assert (thrice.strokes, thrice.work_mm, thrice.travel_mm) == (6, 180, 30 + 2 * 70)  # and back to begin again
    back = float(timing.move_s(np.array(70.0), 300, 2000))
    assert thrice.whole_s == pytest.approx(3 * once.whole_s + 2 * back)


def test_the_way_from_one_operation_to_the_next_counts():
    one, other = operation(line((0, 0), (30, 0))), operation(line((30, 40), (50, 40)))
    plan = Plan(job=laser(), operations=(one, other))
    first, second = timing.times(plan)
    assert (first.travel_mm, second.travel_mm) == (0, 40)
    assert second.travel_s == pytest.approx(float(timing.move_s(np.array(40.0), 300, 2000)))


def test_each_of_a_router_s_operations_has_its_own_strokes_and_ways():
    """Of one cutter, one after another without a stop; what is told of the first is what it has alone."""
    job = cases.setup("basswood", "flat-1", machine=cases.SHELF.machine("router-bed")).on(cases.block())
    cutter = Library().cutter("flat-1")
    lots = [[line((5, y), (25, y)) for y in ys] for ys in ((5, 8), (12, 15, 18))]
    paths = [dataclasses.replace(each, xyz=each.xyz - [0, 0, 1]) for each in map(joined, lots)]
    one, other = (dataclasses.replace(operation(item), name=str(k), cutter=cutter) for k, item in enumerate(paths))
    first, second = timing.times(Plan(job=job, operations=(one, other)))
    (alone,) = timing.times(Plan(job=job, operations=(one,)))
    assert (first.strokes, second.strokes, alone.strokes) == (2, 3, 2)
    assert first.work_mm == pytest.approx(alone.work_mm)
    assert second.work_mm == pytest.approx(1.5 * first.work_mm)
    by_feed_s = 60 * first.work_mm / feeds.starting_point(job.material.key, cutter, job.machine, 1.0).feed_mm_min
    assert by_feed_s < first.work_s < 2 * by_feed_s


def test_between_passes_the_head_goes_back_to_where_it_began():
    """From (35, 45) to (5, 5): 50 mm, twice for three passes; and nothing after the last."""
    three = timing.time_of(operation(line((5, 5), (35, 45)), passes=3), laser())
    assert three.travel_mm == pytest.approx(2 * 50)
    assert three.travel_s == pytest.approx(2 * float(timing.move_s(np.array(50.0), 300, 2000)))


def test_a_beam_cuts_thick_and_dense_stuff_slower_and_lowers_it_in_more_passes():
    """The same energy for each mm³: half the pace through twice the depth; worked by hand from the profile's values."""
    machine = laser().machine  # 15 mm/s through 3 mm of softwood
    assert feeds.through_mm_s("basswood", machine, 3) == pytest.approx(15)
    assert feeds.through_mm_s("basswood", machine, 6) == pytest.approx(7.5)
    assert feeds.through_mm_s("linoleum", machine, 3) == pytest.approx(15 * 0.5)
    assert feeds.through_mm_s("basswood", machine, 0.001) == 300  # it can't go faster than it travels
    assert feeds.passes("basswood", machine, 1.0) == 1
    assert feeds.passes("basswood", machine, 1.1) == 2
    assert feeds.passes("linoleum", machine, 1.5) == 3
    assert feeds.ease("whalebone") == min(feeds.eases().values())
    thin, thick = (
        timing.time_of(operation(line((0, 0), (300, 0)), work=Work.CUT_THROUGH, depth_mm=deep), laser("basswood"))
        for deep in (3.0, 6.0)
    )
    assert thick.work_s - 0.3 == pytest.approx(2 * (thin.work_s - 0.3), rel=0.01)


def test_every_shipped_material_that_a_laser_may_burn_has_its_ease():
    never = {key for key in cases.SHELF.keys("materials")
             if cases.SHELF.material(key).permits["laser"].verdict is Verdict.NEVER}  # fmt: skip
    assert set(feeds.eases()) == set(cases.SHELF.keys("materials")) - never


def test_areas_handed_over_as_shapes_take_the_lines_over_the_rectangle_about_them():
    shapes = joined(
        [line((0, 0), (20, 0), (20, 5), closed=True), line((280, 180), (300, 180), (300, 200), closed=True)]
    )
    time = timing.time_of(operation(shapes, area_lines_mm=0.1), laser())
    assert time.whole_s == pytest.approx(40 * 60)
    assert time.strokes == 2000


def test_a_machine_without_a_pace_has_no_times():
    setup = cases.setup("birch-plywood", "laser-fine")
    silent = dataclasses.replace(setup, machine=dataclasses.replace(setup.machine, travel_mm_s=None))
    plan = Plan(job=silent.on(cases.block()), operations=(operation(line((0, 0), (9, 0))),))
    assert timing.times(plan) is None
    for unknown in ("work_mm_s", "acceleration_mm_s2"):
        silent = dataclasses.replace(setup, machine=dataclasses.replace(setup.machine, **{unknown: None}))
        assert timing.times(dataclasses.replace(plan, job=silent.on(cases.block()))) is None


def test_hand_carving_by_outline_and_area():
    # common practice, no source: lino 20 to 60 mm of outline a minute and 5 to 15 cm² of clearing
    block = cases.block(cases.box(5, 5, 20, 10))  # 60 mm of outline, 2 cm²
    quick, slow = timing.by_hand_min(block, Library().material("linoleum"))
    assert quick == pytest.approx(60 / 60 + 2 / 15)
    assert slow == pytest.approx(60 / 20 + 2 / 5)
    assert timing.by_hand_min(block, Library().material("embossing-acrylic")) is None


PACES = {"line_slow_mm": 20.0, "line_fast_mm": 60.0, "clear_slow_cm2": 5.0, "clear_fast_cm2": 15.0}


@pytest.mark.parametrize(
    ("unknown", "quick", "slow"),
    [
        ((), 120 / 60 + 30 / 15, 120 / 20 + 30 / 5),
        (("line_slow_mm",), None, None),
        (("clear_slow_cm2",), None, None),
        (("line_fast_mm",), 120 / 20 + 30 / 15, 120 / 20 + 30 / 5),
        (("clear_fast_cm2",), 120 / 60 + 30 / 5, 120 / 20 + 30 / 5),
    ],
)
def test_a_quick_hand_of_no_known_pace_is_as_slow_as_a_slow_one(unknown, quick, slow):
    """Of a material of which a slow pace isn't known nothing is told."""
    paces = {f"hand_{name}_min": None if name in unknown else pace for name, pace in PACES.items()}
    report = timing.hand_minutes(120, 30, dataclasses.replace(Library().material("linoleum"), **paces))
    assert report == (None if quick is None else (quick, slow))


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(42.4, "42 s"), (89, "89 s"), (90, "2 min"), (5340, "89 min"), (5400, "1 h 30 min"), (9000, "2 h 30 min")],
)
def test_times_are_said_as_people_say_them(seconds, said):
    assert timing.spoken(seconds) == said
