"""How a drawing lies on its board, by the block's sides in a photograph: against the moves that were made."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely
from PIL import Image
from shapely import affinity

from carvegen.artwork.on_plan import BoardSides, board_sides
from carvegen.artwork.on_plan.lens import Lens
from carvegen.artwork.scan.pixels import ScanPicture
from tests.artwork.scan import on_plan_pictures as made
from tests.strategies import few


def moved(shape, right, up, turn):
    return affinity.translate(affinity.rotate(shape, turn, origin=(60, 40)), right, up)


FLIP = np.array([[1, 0, 0], [0, -1, made.SIZE[1]], [0, 0, 1.0]])
TABLE, PICTURE, PX = (200, 190, 170), (760, 578), 5.0


def moving(right, up, turn):
    """The same as a matrix, by the images of three points."""
    to = np.array([moved(shapely.Point(at), right, up, turn).coords[0] for at in ((0, 0), (1, 0), (0, 1))])
    return np.vstack([np.column_stack([to[1] - to[0], to[2] - to[0], to[0]]), [0, 0, 1]])


def known(seen, place, *, mirrored):
    """A picture on its plan at the place where it was put: how that is sought is tried elsewhere."""
    picture = ScanPicture(Image.fromarray(seen), None)
    return SimpleNamespace(
        part=picture, part_place=place, part_lens=Lens.none((picture.width, picture.height)), mirrored=mirrored,
        plan=SimpleNamespace(size_mm=made.SIZE),
    )  # fmt: skip


@pytest.mark.parametrize(("right", "up", "turn"), few([(2.0, 1.5, 1.0), (0.0, 0.0, 0.0), (-3.0, 2.0, 2.0)], 2))
def test_a_drawing_that_was_moved_on_its_board_is_told(right, up, turn):
    """By the closed form of a turn and a move: where the board's corner lies from the drawing, seen on the block."""
    drawn = shapely.union(moved(made.sky(), right, up, turn), made.FACE.difference(moved(made.FACE, right, up, turn)))
    seen, true = made.photographed(
        made.painted(drawn.intersection(made.FACE), PX), px=PX, mirrored=True, margin=0.0, table=TABLE, size=PICTURE
    )
    result = board_sides(known(seen, true @ FLIP @ moving(right, up, turn) @ FLIP, mirrored=True))
    assert result is not None
    back = affinity.rotate(affinity.translate(shapely.Point(120, 0), -right, -up), -turn, origin=(60, 40))
    far = np.array(moved(made.FACE, right, up, turn).exterior.coords) - np.array(made.FACE.exterior.coords)
    assert result.corner == pytest.approx((120 - back.x, back.y), abs=0.15)
    assert result.turn_deg == pytest.approx(turn, abs=0.1)
    assert result.off_mm == pytest.approx(np.hypot(*far.T).max(), abs=0.1)
    assert bool(result.words) is bool(right)


def test_a_print_has_no_board():
    seen, true = made.photographed(made.painted(made.sky(), PX), px=PX, table=TABLE, size=PICTURE)
    assert board_sides(known(seen, true, mirrored=False)) is None


def test_the_words_say_where_and_how_far():
    words = BoardSides(corner=(-2.71, 0.4), turn_deg=1.04, off_mm=2.3).words
    assert "up to 2.3 mm off the middle of its board" in words
    assert "corner is at x -2.7, y 0.4 mm from the face's, turned by 1.0 degrees" in words
    assert not BoardSides(corner=(0.1, 0.0), turn_deg=0.0, off_mm=0.3).words
