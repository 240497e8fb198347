"""What differs of a block from its plan, a rim of a cut or most of it: plane areas, our own limits from both sides."""

from __future__ import annotations

import pytest
import shapely

from carvegen.blocks.comparison import DifferenceKind, difference, spots

FACE = shapely.box(-20, -20, 40, 40)
FIELD = shapely.box(0, 0, 10, 10)


def kinds(planned: shapely.Geometry, made: shapely.Geometry) -> list[DifferenceKind]:
    return [spot.kind for spot in spots(difference("key", FACE - planned, FACE - made, 0.1), FACE)]


@pytest.mark.parametrize(("wide", "rim"), [(1.4, True), (1.6, False)])
def test_a_rim_is_narrower_than_a_millimetre_and_a_half(wide: float, rim: bool) -> None:
    """Along a side of a field that is cut further than planned, or less far."""
    further, less = shapely.box(-wide, 0, 10, 10), shapely.box(wide, 0, 10, 10)
    assert kinds(FIELD, further) == [DifferenceKind.WIDER if rim else DifferenceKind.TOO_MUCH]
    assert kinds(FIELD, less) == [DifferenceKind.NARROWER if rim else DifferenceKind.TO_CUT]


@pytest.mark.parametrize(("beside", "kind"), [(6.0, DifferenceKind.NARROWER), (4.0, DifferenceKind.TO_CUT)])
def test_what_stands_is_a_rim_if_most_of_it_lies_in_a_wider_cut(beside: float, kind: DifferenceKind) -> None:
    """A strip 1 mm wide and 10 mm long: so much of it along the field's side, the rest is all of a slot beside it."""
    stands = shapely.box(beside - 10, 0, beside, 1)
    assert kinds(FIELD | stands, FIELD - stands) == [kind]


def test_what_is_gone_away_from_all_that_is_planned_is_not_planned() -> None:
    assert kinds(FIELD, FIELD | shapely.box(20, 0, 25, 5)) == [DifferenceKind.UNPLANNED]
    assert kinds(FIELD, FIELD) == []
