"""Two flats of one layer that nearly meet are one; what is drawn apart stays apart."""

from __future__ import annotations

import pytest
import shapely

from carvegen.geometry.hairs import gaps_closed
from carvegen.prints.layers import _on
from tests.cases import box, disc

FACE = box(0, 0, 40, 30)


@pytest.mark.parametrize(("gap", "count"), [(0.003, 1), (0.015, 1), (0.03, 2)])
def test_flats_with_a_hair_between_them_are_one(gap, count):
    both = _on(FACE, [box(5, 5, 10, 10), box(15 + gap, 5, 10, 10)])
    assert len(shapely.get_parts(both)) == count
    assert both.area == pytest.approx(200 + (10 * gap if count == 1 else 0), abs=0.02)


def test_all_other_outlines_stay_point_by_point():
    drawn = shapely.union_all([disc(10, 10, 6), box(20, 5, 8, 12), box(22, 17, 1, 5)]) - disc(11, 9, 1.5)
    assert gaps_closed(drawn) is drawn
