"""A block: what of it is cut already, and what is left to cut."""

from __future__ import annotations

import dataclasses

import pytest
import shapely

from tests.cases import block, box, shapes


def test_a_block_of_which_nothing_is_cut_is_left_as_it_is() -> None:
    whole = block(box(5, 5, 10, 10))
    assert whole.left_to_cut(0.2) is whole


@pytest.mark.parametrize("overlap", [0.0, 0.5])
def test_what_is_cut_already_is_not_cut_again_but_for_an_overlap(overlap: float) -> None:
    """A field of 10 x 10 mm of which 4 mm are cut, and a slot that is: new is the rest, and a strip of the overlap."""
    old = shapes(box(5, 5, 4, 10), box(25, 5, 2, 10))
    begun = dataclasses.replace(block(box(5, 5, 10, 10), box(25, 5, 2, 10)), cut_before=old)
    left = begun.left_to_cut(overlap)
    assert shapely.union_all(left.cuts).symmetric_difference(box(9 - overlap, 5, 6 + overlap, 10)).area < 1e-3
