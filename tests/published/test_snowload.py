"""Snow on surfaces against published measurements."""

from __future__ import annotations

import pytest
import shapely

from carvegen.motifs.snowload.snowpack import repose_deg
from tests.motifs.test_snowload import PLAIN, depth_over, grow, shapes
from tests.strategies import MANY

SEEDS = (1, 2, 3) if MANY else (1,)


@pytest.mark.parametrize(("sticky", "angle"), [(0.0, 39.0), (0.3, 50.0)])
def test_repose(sticky, angle) -> None:
    """Measured means: coarse snow of 4-5 mm 39 degrees, fluffy snow that falls apart 50 (source: snow-slopes)."""
    assert repose_deg(sticky) == pytest.approx(angle)
    assert repose_deg(1.0) > 60


def test_narrow_boards_catch_less_of_cold_snow_only() -> None:
    """Below -3 °C wider boards catch more; in warmer snow width doesn't matter (source: pfister-schneebeli)."""

    def share(breadth: float, sticky: float) -> float:
        board = shapes(shapely.box(75 - breadth / 2, 70, 75 + breadth / 2, 90))
        grown = [grow(board, seed=seed, fallen_mm=0.5, **{**PLAIN, "sticky": sticky}) for seed in SEEDS]
        return sum(depth_over(it, 75, 90) for it in grown) / len(grown) / 0.5

    assert share(3, 0.0) < 0.97 * share(30, 0.0)
    assert share(6, 1.0) == pytest.approx(share(30, 1.0), rel=0.03)
