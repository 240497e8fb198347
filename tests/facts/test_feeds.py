"""Feeds against worked examples, the chart and what the machine's profile allows."""

from __future__ import annotations

import dataclasses

import pytest

from carvegen.facts import cutting, feeds
from tests.cases import SHELF

# Worked by hand from the handbook formulas vf = n z fz and Vc = pi D n / 1000.
WORKED = [
    (3.175, 18000, 2, 0.0762, 2743.2, 179.54),
    (3.175, 18000, 2, 0.1016, 3657.6, 179.54),
    (6.35, 18000, 2, 0.1524, 5486.4, 359.08),
    (3.0, 12000, 2, 0.05, 1200.0, 113.10),
    (1.0, 18000, 1, 0.05, 900.0, 56.55),
    # source: chip-example. 25 mm, 2 flutes, 0.1 mm, 18000 -> 3600 mm/min
    (25.0, 18000, 2, 0.1, 3600.0, 1413.72),
]


@pytest.mark.parametrize(("diameter", "spindle", "flutes", "chip", "feed", "surface"), WORKED)
def test_worked_examples(diameter, spindle, flutes, chip, feed, surface) -> None:
    assert feeds.feed_mm_min(spindle_rpm=spindle, flutes=flutes, chip_mm=chip) == pytest.approx(feed)
    assert feeds.chip_mm(feed_mm_min=feed, spindle_rpm=spindle, flutes=flutes) == pytest.approx(chip)
    assert feeds.surface_m_min(diameter_mm=diameter, spindle_rpm=spindle) == pytest.approx(surface, abs=0.005)


@pytest.mark.parametrize(
    ("material", "eighth_inch", "quarter_inch"),
    [
        # source: chip-chart, inch per tooth
        ("mdf", (0.004, 0.007), (0.012, 0.015)),
        ("cherry", (0.002, 0.004), (0.005, 0.007)),
        ("basswood", (0.003, 0.005), (0.006, 0.008)),
        ("embossing-hdpe", (0.003, 0.005), (0.006, 0.009)),
        ("embossing-acrylic", (0.002, 0.004), (0.005, 0.008)),
        ("birch-plywood", (0.003, 0.005), (0.006, 0.009)),
        ("linoleum", (0.003, 0.003), (0.006, 0.006)),
    ],
)
def test_the_chart_in_inches(material, eighth_inch, quarter_inch) -> None:
    for diameter, inches in ((3.175, eighth_inch), (6.35, quarter_inch)):
        assert feeds.chips(material, diameter) == pytest.approx(tuple(25.4 * chip for chip in inches))


def test_every_shipped_material_that_a_router_may_cut_is_in_the_chart() -> None:
    listed = set(feeds._chart()["rows"])
    assert listed == set(SHELF.keys("materials"))


def test_an_unknown_material_gets_the_lowest_chip_of_all() -> None:
    lowest = min(feeds.chips(key, 3.175)[0] for key in SHELF.keys("materials"))
    assert feeds.chips("whalebone", 3.175) == (lowest, lowest)


def test_deeper_cuts_take_thinner_chips() -> None:
    """Two diameters deep, a quarter less; three, half (source: chip-chart)."""
    assert [feeds.depth_factor(depth, 2) for depth in (1, 2, 4, 6, 20)] == [1, 1, 0.75, 0.5, 0.5]


def test_a_starting_point_stays_within_the_machine() -> None:
    machine, cutter = SHELF.machine("router-bed"), SHELF.cutter("flat-3")
    start = feeds.starting_point("basswood", cutter, machine, 1.5)
    assert machine.spindle_least_rpm <= start.spindle_rpm <= machine.spindle_most_rpm
    assert start.feed_mm_min <= machine.feed_most_mm_min
    assert start.plunge_mm_min <= machine.plunge_most_mm_min
    chip = feeds.chip_mm(feed_mm_min=start.feed_mm_min, spindle_rpm=start.spindle_rpm, flutes=start.flutes)
    assert start.chip_mm == pytest.approx(chip)
    least, most = feeds.chips("basswood", 3)
    assert least <= start.chip_mm <= most


def test_a_slow_machine_turns_slower_so_that_the_chip_stays() -> None:
    cutter = SHELF.cutter("flat-3")
    free = SHELF.machine("router-bed")
    slow = dataclasses.replace(free, feed_most_mm_min=1200.0)
    start = feeds.starting_point("basswood", cutter, slow, 1.5)
    assert start.feed_mm_min == pytest.approx(1200)
    assert start.held_back
    assert start.spindle_rpm < feeds.starting_point("basswood", cutter, free, 1.5).spindle_rpm
    crawling = dataclasses.replace(free, feed_most_mm_min=100.0)
    start = feeds.starting_point("basswood", cutter, crawling, 1.5)
    assert (start.spindle_rpm, start.feed_mm_min) == (free.spindle_least_rpm, 100)


@pytest.mark.parametrize("depth", [1.0, 2.0, 4.0])
@pytest.mark.parametrize("key", ["flat-1", "taper-0.5", "v-30", "ball-1"])
@pytest.mark.parametrize("material", ["linoleum", "cherry", "basswood"])
def test_where_the_chip_would_be_too_thin_the_spindle_turns_slower(material, key, depth) -> None:
    """The chart ends at 0.01 mm a tooth (common practice, no source): an edge that takes less rubs."""
    machine, cutter = dataclasses.replace(SHELF.machine("router-bed"), spindle_least_rpm=1000.0), SHELF.cutter(key)
    start = feeds.starting_point(material, cutter, machine, depth)
    assert start.chip_mm >= 0.01 - 1e-9
    diameter = cutting.groove_mm(cutter, depth)
    thinned = sum(feeds.chips(material, diameter)) / 2 * feeds.depth_factor(depth, diameter)
    assert (start.spindle_rpm < 17000) == (thinned < 0.0095)
    shipped = feeds.starting_point(material, cutter, SHELF.machine("router-bed"), depth)
    assert shipped.feed_mm_min == start.feed_mm_min
    assert shipped.spindle_rpm >= 10000


def test_a_starting_point_has_round_numbers() -> None:
    for key in ("flat-1", "flat-3", "v-60"):
        start = feeds.starting_point("cherry", SHELF.cutter(key), SHELF.machine("router-bed"), 0.7)
        for value in (start.spindle_rpm, start.feed_mm_min, start.plunge_mm_min):
            assert float(f"{value:.2g}") == value
