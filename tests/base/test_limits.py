"""Limits by direction."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from carvegen.blocks.from_motif import strictest
from tests.cases import limits


def test_along_and_across_the_grain() -> None:
    each = limits(0.4, across=0.9, grain_deg=30)
    assert each.land_at(np.array([30.0, 210.0, 120.0, -60.0])) == pytest.approx([0.4, 0.4, 0.9, 0.9])
    assert each.land_mm == 0.9


@given(st.floats(0.1, 3), st.floats(0.1, 3), st.floats(-180, 180), st.floats(-360, 360))
def test_any_direction_lies_between(along, across, grain, direction) -> None:
    width = limits(along, across=across, grain_deg=grain).land_at(np.array([direction, direction + 180]))
    assert width[0] == pytest.approx(width[1])
    assert min(along, across) - 1e-9 <= width[0] <= max(along, across) + 1e-9


def test_strictest_takes_the_worst_of_each() -> None:
    both = strictest([limits(0.4, 0.9), limits(0.8, 0.3, across=0.6)])
    assert (both.land_along_mm, both.land_across_mm, both.cut_mm) == (0.8, 0.6, 0.9)
    assert both.dot_mm == pytest.approx(0.96)
