"""Roller dip and indentation against plane geometry, worked by hand."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.facts.printing import Printing, bulge_mm, dip_mm

GAPS = (3, 5, 10, 15, 20, 25)
# s = R - sqrt(R² - g²/4), worked by hand for each roller; no source but plane geometry
DIPS = {
    12.5: (0.0903, 0.2526, 1.0436, 2.5000, 5.0000, np.inf),
    15.0: (0.0752, 0.2098, 0.8579, 2.0096, 3.8197, 6.7084),
    20.0: (0.0563, 0.1569, 0.6351, 1.4595, 2.6795, 4.3875),
    25.0: (0.0450, 0.1253, 0.5051, 1.1515, 2.0871, 3.3494),
    32.5: (0.0346, 0.0963, 0.3869, 0.8772, 1.5767, 2.5000),
    50.0: (0.0225, 0.0625, 0.2506, 0.5657, 1.0102, 1.5877),
}


@pytest.mark.parametrize("radius", DIPS)
def test_dip_of_a_stiff_roller(radius) -> None:
    np.testing.assert_allclose(dip_mm(radius, np.array(GAPS)), DIPS[radius], atol=5e-5)


def test_chord_and_sagitta_of_a_right_triangle() -> None:
    """Radius 5, chord 8: the sagitta is 2 (3-4-5 triangle)."""
    assert dip_mm(5.0, np.array([8.0]))[0] == pytest.approx(2.0, abs=1e-12)


def test_just_before_and_when_it_falls_in() -> None:
    before, at = dip_mm(12.5, np.array([24.999999, 25.0]))
    assert before == pytest.approx(12.5, abs=0.01)
    assert np.isinf(at)


def test_indentation_counts_fully_from_the_strip_that_the_roller_touches() -> None:
    """R 25, indented 0.3: chord 2 sqrt(2 R i - i²) = 7.7227 mm, worked by hand."""
    full, half = bulge_mm(25.0, 0.3, np.array([7.7227, 3.86135]))
    assert full == pytest.approx(0.3, abs=1e-5)
    assert half == pytest.approx(0.15, abs=1e-5)
    assert bulge_mm(25.0, 0.0, np.array([5.0]))[0] == 0


def test_safe_depth_is_dip_and_indentation_and_margin() -> None:
    """1.1515 + 0.3 + 0.3 for a roller of 25 mm over 15 mm; the paper's 1.8 is more, in 20 mm the roller's 2.687."""
    printing = Printing()
    assert printing.reach_mm(np.array([15.0]))[0] == pytest.approx(1.7515, abs=1e-4)
    np.testing.assert_allclose(printing.needed_mm(np.array([15.0, 20.0])), (1.8, 2.6871), atol=1e-4)
