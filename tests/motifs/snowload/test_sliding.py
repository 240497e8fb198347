"""What slides: mass is kept, and lands where a plumb line says."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.motifs.snowload.open_sky import obstacles
from carvegen.motifs.snowload.sliding import come_down
from carvegen.motifs.snowload.surfaces import Surfaces, contours, upper

STEEP_DEG = 60.0


def came_down(*shapes: shapely.Polygon) -> tuple[Surfaces, np.ndarray, np.ndarray]:
    """Surfaces of the shapes, which samples hold, and what comes to rest where, of one mm fallen everywhere."""
    on = geometry.joined(geometry.polygon_array(shapes))
    surface = upper(contours(on, step_mm=0.1, smooth_mm=0.15))
    holds = np.abs(surface.rise_deg) < STEEP_DEG
    return surface, holds, come_down(surface, np.ones(len(surface)), holds, obstacles(on))


def roof(x: float, y: float, breadth: float, slope_deg: float = 70.0) -> shapely.Polygon:
    return shapely.Polygon(
        [(x, y), (x + breadth, y), (x + breadth / 2, y + breadth / 2 * np.tan(np.radians(slope_deg)))]
    )


@pytest.mark.parametrize("breadth", [6.0, 14.0, 30.0])
def test_a_ledge_gets_all_that_fell_on_the_roof_above_it(breadth) -> None:
    """The roof's plan is `breadth` mm broad, so of 1 mm fallen it sheds `breadth` mm², but for its round ridge."""
    surface, holds, came = came_down(roof(50, 40, breadth), shapely.box(20, 10, 120, 20))
    on_ledge = surface.xy[:, 1] < 25
    ridge = (surface.width * holds)[~on_ledge].sum()
    assert ridge < 0.8
    assert came[on_ledge].sum() == pytest.approx(breadth - ridge, abs=0.5)  # eaves are rounded over 0.15 mm
    assert came[~on_ledge].sum() == 0


def test_it_lands_plumb_below_both_eaves_in_halves() -> None:
    surface, _, came = came_down(roof(50, 40, 20), shapely.box(20, 10, 120, 20))
    left = surface.xy[:, 0] < 60
    assert came[left].sum() == pytest.approx(came[~left].sum(), rel=0.05)
    assert np.average(surface.xy[left, 0], weights=came[left]) == pytest.approx(50, abs=0.6)
    assert np.average(surface.xy[~left, 0], weights=came[~left]) == pytest.approx(70, abs=0.6)


def test_it_goes_on_over_a_second_steep_roof() -> None:
    """A broader steep roof below sheds its own and what falls on it; the ledge gets both."""
    surface, holds, came = came_down(roof(50, 70, 10), roof(40, 30, 30), shapely.box(5, 5, 120, 15))
    ledge = surface.xy[:, 1] < 20
    ridges = (surface.width * holds)[~ledge].sum()
    assert came[ledge].sum() == pytest.approx(40 - ridges, abs=1.5)


def test_without_a_ledge_it_is_lost_to_the_ground_and_level_things_shed_nothing() -> None:
    assert came_down(roof(50, 40, 20))[2].sum() == 0
    assert came_down(shapely.box(0, 0, 40, 10))[2].sum() == 0


def test_on_one_outline_it_rests_at_the_foot() -> None:
    """A steep wall on a plinth: one outline, so it slides down onto the plinth beside it."""
    tower = shapely.Polygon([(0, 0), (60, 0), (60, 10), (36, 10), (30, 40), (24, 10), (0, 10)])
    surface, holds, came = came_down(tower)
    shed = (surface.width * ~holds).sum()
    assert came.sum() == pytest.approx(shed, abs=0.1)  # the plinth's own corners shed to the ground
    assert np.abs(surface.xy[came > 0, 0] - 30).max() < 7


def test_no_surface_nothing_comes() -> None:
    none = Surfaces(np.empty((0, 2)), np.empty((0, 2)), np.empty(0, dtype=np.int64))
    field = obstacles(geometry.polygon_array([shapely.box(0, 0, 9, 9)]))
    assert len(come_down(none, np.empty(0), np.empty(0, dtype=bool), field)) == 0
