"""Snow on surfaces against closed forms."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.motifs.snowload.open_sky import obstacles
from carvegen.motifs.snowload.snowpack import cap_mm
from tests.motifs.test_snowload import shapes


@pytest.mark.parametrize(("away", "share"), [(5.0, 0.658), (3.0, 0.597), (1.0, 0.533)])
@pytest.mark.parametrize("phase", [0.0, 0.037, 0.081])
def test_sky_beside_a_wall(away, share, phase) -> None:
    """1 - (f(T) - f(t1)) / 2 f(T), f(t) = t/2 + sin(2t)/4, t1 = atan(x / H): a wall 20 mm high, T = 65 degrees.

    The integral of cos² over the open directions (own integration); off the pixel grid by a phase.
    """

    def f(t: float) -> float:
        return t / 2 + np.sin(2 * t) / 4

    widest = np.radians(65)
    seen = 1 - (f(widest) - f(np.arctan(away / 20))) / (2 * f(widest))
    assert seen == pytest.approx(share, abs=6e-4)
    step = shapes(shapely.box(-60, -10, 0, 20), shapely.box(0, -10, 60, 0))
    field = obstacles(geometry.joined(geometry.moved(step, (phase, phase))))
    at = np.array([[away + phase, phase + 2 * field.pixel]])
    assert field.open_sky(at)[0] == pytest.approx(seen, abs=0.02)
    assert field.open_sky(np.array([[55.0, phase + 2 * field.pixel]]))[0] == pytest.approx(1, abs=0.02)  # past 65°


def test_open_ground_sees_all_and_a_cellar_none() -> None:
    field = obstacles(geometry.polygon_array([shapely.box(0, 0, 50, 10), shapely.box(0, 20, 50, 25)]))
    seen = field.open_sky(np.array([[25.0, 25.5], [25.0, 10.5]]))
    assert seen[0] == 1
    assert seen[1] < 0.05
    assert field.thickness(np.array([[25.0, 9.5], [25.0, 24.0]])) == pytest.approx([9.5, 4.0], abs=0.2)


@pytest.mark.parametrize(("breadth", "cap"), [(10, 4.049), (20, 8.098)])
def test_cap_on_a_branch(breadth, cap) -> None:
    """The cap h = (b / 2) tan A (own derivation), A = 39 degrees for snow that doesn't cling."""
    assert cap_mm(np.array([breadth]), 0.0)[0] == pytest.approx(cap, rel=1e-3)
