"""Cutters: what every shipped one must keep."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.facts import cutting
from tests.cases import SHELF

each_cutter = pytest.mark.parametrize("key", SHELF.keys("cutters"))


@each_cutter
@given(depth=st.floats(0.05, 4))
def test_wall_follows_from_the_half_width(key, depth) -> None:
    tool = SHELF.cutter(key)
    below = np.linspace(0, depth, 65)
    half = cutting.half_width_mm(tool, below, depth)
    wall = cutting.wall(tool, depth)
    assert half.shape == below.shape
    assert np.isfinite(half).all()
    assert wall.foot_gain_mm == pytest.approx(half[0] - half[-1])
    steepest = np.degrees(np.arctan(-np.diff(half) / np.diff(below))).min()
    assert wall.steepest_deg == pytest.approx(steepest, abs=1e-6)
    assert wall.basis


@each_cutter
def test_tools_never_undercut(key) -> None:
    tool = SHELF.cutter(key)
    if tool.form == "laser":
        return
    for depth in (0.2, 1.0, 3.0):
        assert cutting.wall(tool, depth).steepest_deg >= -1e-9


def test_flat_cutter_is_upright() -> None:
    wall = cutting.wall(SHELF.cutter("flat-3"), 1.5)
    assert (wall.steepest_deg, wall.foot_gain_mm) == (0.0, 0.0)


@given(st.floats(10, 150), st.floats(0, 5), st.floats(0.01, 10))
def test_v_depth_undoes_v_width(included, tip, depth) -> None:
    width = cutting.v_width_mm(included, tip, depth)
    assert cutting.v_depth_mm(included, tip, width) == pytest.approx(depth, rel=1e-6, abs=1e-9)
    assert cutting.v_depth_mm(included, tip, tip / 2) == 0


def test_beam_is_narrowest_at_its_focus_and_undercuts_below_it() -> None:
    waist = cutting.beam_diameter_mm(0.2, 1.5, np.array([-1.0, 0.0, 1.0]))
    assert waist[1] == 0.2
    assert waist[0] == waist[2] > 0.2
