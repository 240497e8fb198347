"""From ring to ring of a pocket: what is wider than its part is asked only about ways that leave it."""

from __future__ import annotations

import numpy as np
import shapely

from carvegen.toolpaths.router import pockets
from tests.cases import box, shapes


def test_only_parts_that_a_way_leaves_are_made_wider(monkeypatch) -> None:
    """Ways inside, along the outline a hair beyond it, and out through a notch: the first needs no wider part."""
    asked, buffer = [], shapely.buffer
    monkeypatch.setattr(
        shapely, "buffer", lambda some, *rest, **more: asked.append(some) or buffer(some, *rest, **more)
    )
    notched = box(0, 20, 9, 9).difference(box(4, 20, 1, 8))
    room, part = shapes(box(0, 0, 9, 9), box(0, 10, 9, 9), notched), np.array([0, 0, 1, 2])
    hair = 0.5 * pockets._TOUCH_MM
    begin = np.array([(1, 1), (2, 2), (1, 10 - hair), (3, 21)], dtype=float)
    end = np.array([(5, 5), (2, 2), (8, 10 - hair), (6, 21)], dtype=float)
    assert pockets._clear(room, part, begin, end).tolist() == [True, True, True, False]
    assert [shapely.equals(some, room[1:]).all() for some in asked] == [True]
