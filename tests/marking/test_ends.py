"""A heap that is lowered: by its share inside the mark, not at all beyond it."""

from __future__ import annotations

import numpy as np
import shapely

from carvegen.marking.applying import habit_of
from carvegen.marking.ends import lowered
from carvegen.motifs import motif
from tests.cases import box, limits


def test_a_heap_is_half_as_high_inside_a_mark_and_as_it_was_outside() -> None:
    """3 mm high and level: half of that in the mark's middle, and at the rim no step."""
    habit = habit_of("snowload", motif("snowload").Settings())
    left = shapely.union_all(lowered(box(0, 0, 40, 3), box(10, -1, 20, 5), 0.5, habit, limits(0.5, 0.3)))
    x = np.array([5.0, 9.9, 11.0, 20.0, 30.1, 35.0])
    high = shapely.length(shapely.intersection(left, [shapely.LineString([(at, -1), (at, 9)]) for at in x]))
    assert np.allclose(high[[0, 1, 4, 5]], 3, atol=0.01)
    assert np.isclose(high[3], 1.5, atol=0.01)
    assert 1.6 < high[2] < 2.9
