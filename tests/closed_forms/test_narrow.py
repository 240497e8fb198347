"""What opening a shape can and can't tell of its narrow places.

The opening by a disc (source: serra-1982, from memory); the closed forms are plane geometry, derived beside each.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.checks.survey import Reach
from carvegen.geometry.necks import necks
from tests.cases import block, disc, setup

WIDTH = 0.25


def critical_radius(gap: float) -> float:
    """Up to which radius of two discs, `gap` apart, their neck stays covered by an opening of `WIDTH`.

    A disc of radius w/2 that touches both has its centre on the axis of symmetry at height h, (R + w/2)² = (R + g/2)²
    + h². It covers the neck's middle if h <= w/2: R <= (w² / (2 (w - g)) - (w + g) / 2) / 2.
    """
    return (WIDTH**2 / (2 * (WIDTH - gap)) - (WIDTH + gap) / 2) / 2


@pytest.mark.parametrize("gap", [0.20, 0.22, 0.24])
@pytest.mark.parametrize(("share", "missed"), [(0.5, True), (0.9, True), (1.1, False), (2.0, False)])
def test_opening_misses_necks_between_small_rounds_that_are_found_here(gap, share, missed) -> None:
    radius = share * critical_radius(gap)
    apart = 2 * radius + gap
    cuts = [disc(20, 15, radius, points=180, phase=0.1), disc(20 + apart, 15, radius, points=180, phase=0.3)]
    middle = shapely.Point(20 + radius + gap / 2, 15)
    land = shapely.box(15, 10, 30, 20).difference(shapely.union_all(cuts))
    opened = land.buffer(-WIDTH / 2, quad_segs=64).buffer(WIDTH / 2, quad_segs=64)
    assert opened.contains(middle) is missed
    result = necks(block(*cuts).land_rings, WIDTH)
    assert len(result) == 1
    assert result.width == pytest.approx(gap, abs=0.002)  # polygons of 180 corners


@pytest.mark.parametrize("angle", [36.0, 30.0, 20.0, 10.0])
@pytest.mark.parametrize("turn", [0.0, 31.7])
def test_area_left_uncut_in_a_corner(angle, turn) -> None:
    """A round cutter leaves r² (cot(A/2) - (pi - A)/2) of a corner A: kite less sector."""
    setup_ = setup(cutter="flat-1", material_values={"cut_mm": 0.4})
    radius = setup_.face_limits.cut_mm / 2
    half = np.radians(angle / 2)
    reach = 10 / np.tan(half) if angle < 15 else 12
    wedge = shapely.Polygon([(0, 0), (reach, -reach * np.tan(half)), (reach, reach * np.tan(half))])
    cut = affinity.translate(affinity.rotate(wedge, turn, origin=(0, 0)), 90, 90)
    uncut = Reach(geometry.polygon_array([cut]), 2 * radius).uncut[0]
    corner = max(shapely.get_parts(uncut), key=lambda part: part.area)
    exact = radius**2 * (1 / np.tan(half) - (np.pi - 2 * half) / 2)
    assert corner.area == pytest.approx(exact, rel=0.02)
    # the cutter stops e = r (1 / sin(A/2) - 1) short of the corner
    away = shapely.Point(90, 90).distance(Reach(geometry.polygon_array([cut]), 2 * radius).reached[0])
    assert away == pytest.approx(radius * (1 / np.sin(half) - 1), rel=0.01)


def test_corner_at_90() -> None:
    """r² (1 - pi/4): 0.2146 mm² at r = 1 mm; four of them are left of a square."""
    setup_ = setup(cutter="flat-1", cutter_values={"smallest_cut_mm": 2.0})
    square = shapely.box(10, 10, 20, 20)
    reached = Reach(geometry.polygon_array([square]), setup_.face_limits.cut_mm).reached[0]
    assert square.difference(reached).area / 4 == pytest.approx(0.2146, rel=0.02)
