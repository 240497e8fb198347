"""Register arithmetic, wood and paper against published numbers."""

from __future__ import annotations

import pytest
import shapely

from carvegen.facts import register
from carvegen.facts.register import METHODS, WOODS, Plan
from carvegen.misregister import outcome
from carvegen.shifts import Inked


def test_two_blocks_are_out_by_twice_or_by_root_two():
    """Sum and root of the sum of squares of independent errors (arithmetic): 0.25 mm each, 0.5 and 0.354."""
    assert register.pair_worst_mm(0.25) == 0.5
    assert register.pair_rms_mm(0.25) == pytest.approx(0.354, abs=5e-4)
    assert register.summed_mm(0.20, 0.15, 0.10) == pytest.approx(0.2693, abs=5e-5)


def test_the_rule_for_bare_snow():
    """The same arithmetic with 0.3 mm each: at worst 0.6, as a root mean square 0.42."""
    assert (register.pair_worst_mm(0.3), round(register.pair_rms_mm(0.3), 2)) == (0.6, 0.42)


@pytest.mark.parametrize(
    ("trap", "misregister", "shows"),
    [
        (0.076, 0.051, False),  # offset process: trap 0.003 in, misregister 0.002 in (flexographic trade association)
        (0.169, 0.169, False),  # "one row of dots" at 150 lines per inch, both ways
        (0.169, 0.191, True),  # a coarser row of dots (133 lines per inch) than the trap was made for
        (0.5, 0.6, True),  # relief by hand, blocks within 0.3 mm of their places; common practice, no source
    ],
)
def test_published_traps_hide_published_register_errors(trap, misregister, shows):
    """Two blocks that may differ by so much, the trap as published: a white line shows only where it is less."""
    blocks = [
        Inked(name="light", land=shapely.box(0, 0, 10 + trap, 20), lightness=80),
        Inked(name="dark", land=shapely.box(10, 0, 20, 20), lightness=20),
    ]
    plan = Plan(method="pins", tolerance_mm=misregister / 2, turn_deg=0.0, visible_mm=0.004, prints=2000)
    found = outcome(blocks, plan, (20.0, 20.0), seed=1, reach_mm=0.2, full_mm=(0.0, 0.0))
    assert found.worst_mm[0].max() == pytest.approx(misregister - trap, abs=0.004)
    assert found.failed.any() == shows


def test_stops_far_apart_turn_the_sheet_less():
    """Similar triangles: 0.05 mm of play over 200 mm is 0.075 mm 300 mm off; 0.1 over 150 is 0.24 at 300 x 200."""
    assert register.corner_error_mm(0.05, 200, 300) == pytest.approx(0.075)
    assert register.corner_error_mm(0.1, 150, (300**2 + 200**2) ** 0.5) == pytest.approx(0.240, abs=5e-4)
    assert Plan(method="stops").off_deg(400) < Plan(method="stops").off_deg(200)


@pytest.mark.parametrize(
    ("wood", "size", "change", "tangential", "radial"),
    [("cherry", 300, 3, 2.232, 1.134), ("maple", 300, 3, 3.177, 1.485), ("basswood", 300, 3, 2.970, 2.070),
     ("cherry", 200, 6, 2.976, 1.512)],
)  # fmt: skip
def test_boards_move_as_the_wood_handbook_says(wood, size, change, tangential, radial):
    """FPL-GTR-190, table 13-5 and its formula ``dD = D C (M2 - M1)``."""
    assert register.wood_moves_mm(size, WOODS[wood].tangential, change) == pytest.approx(tangential, abs=5e-4)
    assert register.wood_moves_mm(size, WOODS[wood].radial, change) == pytest.approx(radial, abs=5e-4)


@pytest.mark.parametrize(
    ("humidity", "fahrenheit", "percent"), [(0.60, 70, 11.1), (0.84, 70, 17.6), (0.55, 140, 8.4)]
)  # fmt: skip
def test_wood_settles_to_the_published_moisture(humidity, fahrenheit, percent):
    """Published tables of equilibrium moisture content (university extension sheets), to a fifth of a percent."""
    assert register.moisture_percent(humidity, (fahrenheit - 32) / 1.8) == pytest.approx(percent, abs=0.2)


def test_a_season_moves_a_cherry_board_by_millimetres():
    """35 to 65 % relative humidity: 300 mm of cherry, plain sawn, grow 3.73 mm.

    Reckoned from the Wood Handbook's coefficient (FPL-GTR-190, table 13-5) and the moisture formula of Hailwood and
    Horrobin, whose coefficients are from memory.
    """
    change = Plan(humidity_percent=(35.0, 65.0)).moisture_off_percent
    assert change == pytest.approx(5.02, abs=0.03)
    assert Plan(humidity_percent=(35.0, 65.0), moisture_change_percent=1.0).moisture_off_percent == 1.0
    assert Plan().moisture_off_percent == 0
    _, across = register.wood_of("cherry", "side")
    assert register.wood_moves_mm(300, across, change) == pytest.approx(3.73, abs=0.03)


def test_only_wood_moves():
    assert register.wood_of("linoleum-mounted", "none") == (0.0, 0.0)
    along, across = register.wood_of("cherry", "side")
    assert 0 < along * 30 <= 0.002 < across * 30  # Wood Handbook ch. 4: 0.1-0.2 % lengthwise, green to dry
    assert register.wood_of("maple-end-grain", "none") == (0.00353, 0.00353)
    assert register.wood_of("birch-plywood", "side")[1] < 0.001
    assert register.wood_of("pear", "side")[1] == 0.00431  # unknown: the one that moves most


def test_methods_repeat_within_what_the_trade_says():
    """Common practice, no source: notches 0.2-0.5 mm, pins 0.1-0.25 mm, by eye 0.5-1.0 mm."""
    spans = {"stops": (0.2, 0.5), "pins": (0.1, 0.25), "crosses": (0.5, 1.0)}
    assert spans.keys() == METHODS.keys()
    for name, (low, high) in spans.items():
        assert low <= METHODS[name].tolerance_mm <= high
