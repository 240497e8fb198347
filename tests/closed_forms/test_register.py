"""Register arithmetic, worked by hand."""

from __future__ import annotations

import math

import pytest

from carvegen.facts import register
from carvegen.facts.register import RegisterPlan


def test_two_blocks_are_out_by_twice_or_by_root_two():
    """Sum and root of the sum of squares of independent errors (arithmetic): 0.25 mm each, 0.5 and 0.354."""
    assert register.pair_worst_mm(0.25) == 0.5
    assert register.pair_rms_mm(0.25) == pytest.approx(0.354, abs=5e-4)


def test_the_rule_for_bare_snow():
    """The same arithmetic with 0.3 mm each: at worst 0.6, as a root mean square 0.42."""
    assert (register.pair_worst_mm(0.3), round(register.pair_rms_mm(0.3), 2)) == (0.6, 0.42)


def test_stops_far_apart_turn_the_sheet_less():
    """Similar triangles: 0.05 mm of play over 200 mm is 0.075 mm 300 mm off; 0.1 over 150 is 0.24 at 300 x 200."""
    assert 300 * math.tan(math.radians(register.skew_deg(0.05, 200))) == pytest.approx(0.075)
    assert math.hypot(300, 200) * math.tan(math.radians(register.skew_deg(0.1, 150))) == pytest.approx(0.240, abs=5e-4)
    assert RegisterPlan(method="stops").off_deg(400) < RegisterPlan(method="stops").off_deg(200)
