"""The face's sides hold a place that the drawing leaves loose, unless the drawing denies them."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from PIL import Image

from carvegen.artwork.on_plan import laid_on, plan_of, plan_place
from carvegen.artwork.scan.pixels import ScanPicture
from tests.artwork.scan import on_plan_pictures as made
from tests.strategies import few

SPARSE = shapely.difference(made.FACE, shapely.union(made.blots(5, 16), shapely.box(70, 0, 78, 45)))
FULL = made.sky()


def _laid(land, cover, **how):
    seen, true = made.photographed(cover, **how)
    with pytest.MonkeyPatch.context() as patched:  # that a place is found is tried in `test_on_plan.py`
        patched.setattr(plan_place, "first_look", lambda *_: [true])
        result = laid_on(plan_of(land, made.SIZE), ScanPicture(Image.fromarray(seen), None))
    assert not result.fit.fault
    return result, made.off_mm(result.place, true).max()


@pytest.mark.parametrize("how", few([{"margin": 0.0, "table": (150, 120, 80), "mirrored": True}, {}], 1))
def test_sparse_cuts_by_hand_lie_where_the_sides_say(how):
    """Sixteen cuts whose edges wander by 0.3 mm: without the sides 0.2 mm off and more; a face is sawn straight."""
    result, off = _laid(SPARSE, made.cut_by_hand(made.painted(SPARSE), seed=1), **how)
    assert result.fit.held is not None
    assert off < 0.12
    assert result.fit.corners_mm < 0.2


def test_a_side_that_the_drawing_denies_is_not_followed():
    """A block sawn 1 mm too short at its right: the drawing, a third of it not cut yet, holds the place."""
    cover = made.cut_by_hand(made.painted(FULL))
    cover[:, : cover.shape[1] // 3] = 1.0
    whole, _ = _laid(FULL, cover)
    cover[:, -round(made.PX) :] = 0.0
    short, off = _laid(FULL, cover)
    assert np.linalg.matrix_rank(short.fit.held) < np.linalg.matrix_rank(whole.fit.held)
    assert off < 0.15


def test_where_no_side_is_seen_nothing_changes():
    """A print whose ink ends nowhere along the sides: blots alone, few of them."""
    land = shapely.intersection(made.blots(3, 22), shapely.buffer(made.FACE, -3.0))
    result, _ = _laid(land, made.cut_by_hand(made.painted(land), seed=1))
    assert result.fit.held is None
