"""Covered shares of pixels, beside GEOS's intersection of each pixel with the shapes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from shapely import affinity

from carvegen import geometry
from carvegen.geometry.coverage import _pieces, coverage, ring_coverage
from tests.cases import box, disc, shapes

SIZE = (7, 5)  #: columns and rows


def twin(each: shapely.Geometry) -> np.ndarray:
    """The upper row first."""
    column, row = np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1])[::-1])
    return shapely.area(shapely.intersection(shapely.box(column, row, column + 1, row + 1), each))


STAR = shapely.Polygon([(0.3, 0.2), (3.1, 1.9), (6.8, 0.4), (4.2, 2.7), (6.1, 4.9), (3.3, 3.2), (0.6, 4.4), (2.2, 2.4)])


@pytest.mark.parametrize(
    "each",
    [
        STAR,
        STAR.difference(disc(3.2, 2.4, 0.4, points=7)),
        affinity.scale(STAR, 3, 3),
        affinity.translate(STAR, 2.5, -1.7),
        affinity.translate(STAR, -3.5, 2.2),
        box(1, 1, 3, 2),
        box(1.25, 0.5, 0.5, 0.25),
        box(-4, -4, 20, 20),
        shapely.Polygon([(0.1, 0.1), (6.9, 4.8), (6.9, 4.9), (0.1, 0.2)]),
        box(0, 2, 7, 1e-3),
        box(20, 1, 2, 2),
        shapely.union_all([box(0.2, 0.2, 1, 3), disc(5, 2, 1.3)]),
    ],
    ids=lambda each: f"{each.geom_type} of {each.area:.2f}",
)
def test_each_pixel_is_covered_by_as_much_as_lies_in_it(each: shapely.Geometry) -> None:
    """Inside one pixel and over all, slanting across many, with a hole, over each side of the picture, beside it."""
    assert coverage(geometry.parts(each), SIZE) == pytest.approx(twin(each), abs=1e-8)


def test_nothing_covers_nothing_and_a_turned_ring_the_rest_of_its_rows() -> None:
    assert coverage(geometry.empty(), SIZE).tolist() == np.zeros(SIZE[::-1]).tolist()
    back = geometry.reversed_rings(geometry.rings(shapes(box(1, 1, 2, 2))))
    assert ring_coverage(back, SIZE).sum() == 0  # what lies on the left of it is outside, and shares are 0…1


@pytest.mark.parametrize("number", [0, 1000])
def test_edges_are_cut_at_the_same_places_whatever_their_number(number: int) -> None:
    """One edge over one whole number each way, one over none, one over five."""
    first, last = np.array([(0.2, 0.5), (0.2, 0.2), (0.5, 0.5)]), np.array([(1.7, 1.25), (0.4, 0.3), (3.1, 2.9)])
    (x, to_x), (y, to_y) = _pieces(first.T, last.T, number)
    lengths = np.hypot(to_x - x, to_y - y)
    assert len(x) == 3 + 1 + 6
    for edge, pieces in enumerate((slice(0, 3), slice(3, 4), slice(4, 10))):
        assert lengths[pieces].sum() == pytest.approx(np.hypot(*(last[edge] - first[edge])))
    assert (np.floor(x + 1e-9) == np.ceil(to_x - 1e-9) - 1).all()
    assert (np.floor(y + 1e-9) == np.ceil(to_y - 1e-9) - 1).all()
