"""Which patches of marks a change touches."""

from __future__ import annotations

import numpy as np
import pytest

from carvegen.marking.marks import Mark, Meaning
from carvegen.prints.marked.patches import BeforeMarks, Patch, _meets, _together, _Zone, changed_patches
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


def zone(x: float, *touched: tuple[int, int], key: str = "z") -> _Zone:
    """What may change ends 1 mm beyond a mark of 5 mm, what it depends on 3 mm."""
    mark = Mark(meaning=Meaning.STAYS, shape=box(x, 0, 5, 5), key=key)
    return _Zone(mark=mark, zone=mark.shape.buffer(1), seen=mark.shape.buffer(3), touched=frozenset(touched))


@pytest.mark.parametrize(
    ("changed", "met"),
    [
        ({}, False),
        ({"gone": {"a"}}, True),
        ({"gone": {"b"}}, False),
        ({"zones": [zone(10.9)]}, True),  # what changes lies in what the patch sees: 5 + 5 mm
        ({"zones": [zone(11.1)]}, False),
        ({"zones": [zone(30), zone(10.9)]}, True),
        ({"wide": True, "zones": [zone(11.9)]}, True),  # the patch changes what a mark there depends on
        ({"wide": True, "zones": [zone(12.1)]}, False),
        ({"zones": [zone(30, (0, 7))]}, True),  # it changes a shape that the patch sees
        ({"zones": [zone(30, (1, 7), (0, 8))]}, False),
    ],
)
def test_a_patch_is_done_again_where_a_mark_may_change_what_it_sees(changed, met: bool) -> None:
    mark = Mark(meaning=Meaning.STAYS, shape=box(0, 0, 5, 5), key="a")
    wide = changed.get("wide", False)
    own = Patch(
        marks=(mark,), zone=mark.shape.buffer(4 if wide else 1), seen=mark.shape.buffer(5), fringe=(), lots=(),
        about=(np.array([3, 7]), np.array([3, 9])),
    )  # fmt: skip
    if wide:
        own = Patch(marks=own.marks, zone=own.zone, seen=box(0, 0, 5, 5), about=own.about, fringe=(), lots=())
    assert _meets(own, changed.get("gone", ()), changed.get("zones", ()), None) == met


def test_marks_that_may_meet_or_share_a_shape_are_worked_on_together() -> None:
    """At 0 and 8.9 what one changes is what the other sees; 30 and 60 share a shape; 45 is alone."""
    zones = [zone(0, key="a"), zone(30, (0, 4), key="b"), zone(8.9, key="c"), zone(45, (1, 4), key="d"),
             zone(60, (0, 4), key="e"), zone(78, key="f"), zone(69.1, key="g")]  # fmt: skip
    assert [[each.mark.key for each in lot] for lot in _together(zones)] == [["a", "c"], ["b", "e"], ["d"], ["f", "g"]]
    assert [[one.mark.key for one in lot] for lot in _together([zone(0, key="a"), zone(9.1, key="b")])] == [
        ["a"],
        ["b"],
    ]
    assert _together([]) == []
