"""What of cuts lies on shapes: as an overlay of all with all says."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from carvegen import geometry, motifs
from carvegen.motifs.growth import Place, lying_on

AREA = shapely.box(0, 0, 60, 40)


def combs() -> geometry.PolygonArray:
    """A comb whose teeth run on past the area's right side, and a frame with a hole, both far larger than any cut."""
    teeth = shapely.box(5, np.arange(2, 20, 2.0), 70, np.arange(3, 21, 2.0))
    frame = shapely.difference(shapely.box(10, 24, 50, 39), shapely.box(12, 26, 48, 37))
    return geometry.parts(np.array([shapely.union_all([shapely.box(2, 2, 5, 20), *teeth]), frame]))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_what_lies_on_shapes_is_what_both_cover_within_the_area(seed) -> None:
    rng = np.random.default_rng(seed)
    x, y = (each.ravel() for each in np.meshgrid(np.arange(4, 64, 6.0), np.arange(4, 38, 6.0)))
    xy = np.column_stack([x, y]) + rng.uniform(-1, 1, (len(x), 2))
    cuts = geometry.snapped(geometry.offset(geometry.dots(xy), 1.9))
    both = shapely.intersection(shapely.union_all(cuts), shapely.intersection(shapely.union_all(combs()), AREA))
    on = lying_on(cuts, Place(area=AREA, shapes=combs()))
    assert both.area > 50
    assert shapely.is_valid(on).all()
    assert shapely.symmetric_difference(shapely.union_all(on), both).area < 0.002 * both.area


def test_cuts_beside_all_shapes_lie_on_none() -> None:
    far = np.array([shapely.box(20, 21, 24, 23.5)])
    assert len(lying_on(far, Place(area=AREA, shapes=combs()))) == 0


def test_a_module_without_source_is_named() -> None:
    with pytest.raises(ImportError, match="nowhere has no source"):
        motifs._code_of("nowhere")
