"""Outlines are simplified within their tolerance, and what changes far away on one changes nothing here."""

from __future__ import annotations

import numpy as np
import shapely

from carvegen.motifs.shared.simplification import simplified
from tests.cases import shapes


def wavy(*, bump: float = 0.0) -> shapely.Polygon:
    """A band 100 mm long whose upper side is wavy; at its right end it may be bumped."""
    x = np.arange(0, 100, 0.02)
    y = 5 + np.sin(x) + 0.3 * np.sin(7.3 * x) + bump * np.exp(-((x - 92) ** 2))
    return shapely.Polygon([(0, 0), *zip(x, y, strict=True), (100, 0)])


def test_it_is_as_near_as_asked_with_far_fewer_vertices() -> None:
    band = wavy()
    (thin,) = simplified(shapes(band), 0.01)
    assert thin.is_valid
    assert shapely.hausdorff_distance(thin, band) < 0.0101
    assert shapely.get_num_coordinates(thin) < 0.6 * shapely.get_num_coordinates(band)


def test_holes_and_small_outlines_stay() -> None:
    ring = shapely.Point(5, 5).buffer(4).difference(shapely.box(4, 4, 6, 6))
    (thin,) = simplified(shapes(ring), 0.01)
    assert len(thin.interiors) == 1
    assert shapely.symmetric_difference(thin, ring).area < 0.3


def test_what_changes_far_away_changes_nothing_here() -> None:
    one, other = (shapely.get_coordinates(simplified(shapes(wavy(bump=bump)), 0.01)[0]) for bump in (0.0, 1.5))
    here = [{tuple(xy) for xy in each if xy[0] < 80 and xy[1] > 0} for each in (one, other)]
    assert len(here[0]) > 100
    assert here[0] == here[1]
