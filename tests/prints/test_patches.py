"""Which patches of marks a change touches."""

from __future__ import annotations

import pytest

from carvegen.marking.marks import Mark, Meaning
from carvegen.prints.marked.patches import BeforeMarks, Patch, changed_patches
from tests.cases import box

GROUND = BeforeMarks(whites=(), inked=frozenset(), beds=())


def patch(mark: Mark) -> Patch:
    return Patch(marks=(mark,), zone=mark.shape, seen=mark.shape.buffer(2), about=(), fringe=(), lots=())


@pytest.mark.parametrize(
    ("edited", "met"),
    [(None, False), (box(30, 30, 2, 2), False), (box(7.1, 0, 2, 2), False), (box(6.9, 0, 2, 2), True)],
)
def test_a_patch_ends_where_shapes_that_it_sees_were_edited(edited, met) -> None:
    """It sees 2 mm round its mark, which ends at x = 5 mm."""
    one = patch(Mark(meaning=Meaning.STAYS, shape=box(0, 0, 5, 5), key="a"))
    two = patch(Mark(meaning=Meaning.STAYS, shape=box(50, 50, 5, 5), key="b"))
    old, _ = changed_patches([one, two], GROUND, lambda *_: ((), ()), order={"a": 0, "b": 1}, edited=edited)
    assert old == ([one] if met else [])
