"""Snow on surfaces against closed forms and published measurements."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.nature.sky import WIDEST_DEG, obstacles
from carvegen.nature.snowpack import Snow, cap_mm, repose_deg
from tests.motifs.test_snowload import PLAIN, depth_over, grow, shapes


def test_widest_is_that_of_the_closed_form() -> None:
    assert WIDEST_DEG == 65


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


@pytest.mark.parametrize(("sticky", "angle"), [(0.0, 39.0), (0.3, 50.0)])
def test_repose(sticky, angle) -> None:
    """Measured angles of repose, means: coarse snow 4-5 mm 37-41, 39; fluffy snow that falls apart 48-53, 50.

    The two lie in the ranges that the table of measurements gives.
    """
    assert repose_deg(sticky) == pytest.approx(angle)
    assert Snow(fallen_mm=1, sticky=1).repose_deg > 60


@pytest.mark.parametrize(
    ("breadth", "sticky", "cap"), [(10, 0.0, 4.049), (10, 0.3, 5.959), (20, 0.3, 11.918), (20, 0.0, 8.098)]
)
def test_cap_on_a_branch(breadth, sticky, cap) -> None:
    """The cap h = (b / 2) tan A (own derivation), and for clinging snow a quarter more at stickiness 1."""
    assert cap_mm(np.array([breadth]), sticky)[0] == pytest.approx(cap * (1 + 0.25 * sticky), rel=1e-3)


@pytest.mark.parametrize("breadth", [2.0, 4.0, 8.0])
@pytest.mark.parametrize("sticky", [0.1, 0.45])
def test_no_branch_bears_more_than_its_cap(breadth, sticky) -> None:
    """Much has fallen; a level branch of this breadth carries (b / 2) tan A, the allowance, and a round pen's slack."""
    branch = shapes(shapely.box(20, 70, 130, 70 + breadth))
    growth = grow(branch, "deep", fallen_mm=20, **{**PLAIN, "sticky": sticky})
    most = max(depth_over(growth, x, 70 + breadth) for x in np.linspace(22, 128, 54))
    assert 0.6 * cap_mm(np.array([breadth]), sticky)[0] < most <= cap_mm(np.array([breadth]), sticky)[0] + 0.05


def test_narrow_boards_catch_less_of_cold_snow_only() -> None:
    """C. Pfister and M. Schneebeli 1999 (Hydrological Processes 13), abstract: below -3 °C interception efficiency
    rises with the board's width; in warmer snow it does not depend on it.
    """  # noqa: D205

    def share(breadth: float, sticky: float) -> float:
        board = shapes(shapely.box(75 - breadth / 2, 20, 75 + breadth / 2, 90))
        return depth_over(grow(board, fallen_mm=0.5, **{**PLAIN, "sticky": sticky}), 75, 90) / 0.5

    assert share(3, 0.0) < 0.97 * share(30, 0.0)
    assert share(6, 1.0) == pytest.approx(share(30, 1.0), rel=0.08)
