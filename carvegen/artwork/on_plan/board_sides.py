"""How a block's drawing lies on its board: an old block may be sawn askew, and is then not laid down by its corner."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np

from carvegen.artwork.scan.quad import block_corners
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.laid_picture import Laid

__all__ = ["BY_OLD_CUTS", "BoardSides", "board_sides"]

BY_OLD_CUTS = "line it up by two old cuts, far apart: its corner and its sides do not bring it into register"

_LOOK_PX = 2600  #: longer side of the picture in which the sides are looked for
_SQUARE_DEG = 1.5  #: a board's corners are so square; our own choice
_LEAST_FACE = 0.9  #: of the face's area that a board has; our own choice


@dataclass(frozen=True, kw_only=True)
class BoardSides:
    """A board as the block itself shows it, face up, beside the face of its plan: mm, x right, y up."""

    LEAST_MM: ClassVar = 0.3  #: a drawing that lies no farther off is laid by its corner; our own choice

    corner: tuple[float, float]  #: where its lower left corner lies, from the face's
    turn_deg: float  #: by how much it is turned, counter-clockwise
    off_mm: float  #: how far the face's corners lie from where a face in the board's middle has them, at most

    @property
    def words(self) -> str:
        """Where it lies; nothing if the drawing lies straight in its middle."""
        if self.off_mm <= self.LEAST_MM:
            return ""
        x, y = self.corner
        return (
            f"the drawing lies up to {self.off_mm:.1f} mm off the middle of its board. Face up, the board's lower left "
            f"corner is at x {x:.1f}, y {y:.1f} mm from the face's, turned by {self.turn_deg:.1f} degrees"
        )


def board_sides(laid: Laid) -> BoardSides | None:
    """The board in a picture of a block itself; None if it is a print, or four square sides do not stand out."""
    picture = laid.part
    step = max(1, -(-max(picture.width, picture.height) // _LOOK_PX))
    if not laid.mirrored:
        return None
    try:
        corners = block_corners(replace(picture, image=picture.image.convert("L").reduce(step))) * step
    except InputError:
        return None
    return _beside(laid, corners)


def _beside(laid: Laid, corners: NDArray[np.float64]) -> BoardSides | None:
    """The board with such corners, in pixels, beside the face; None if it is no rectangle round most of that."""
    there = np.column_stack([laid.part_lens.straight(corners), np.ones(4)]) @ np.linalg.inv(laid.part_place).T
    size = np.array(laid.plan.size_mm)
    xy = size - there[:, :2] / there[:, 2:]  # as the block shows it: mirrored, and y up
    xy = xy[np.argsort(np.arctan2(*(xy - xy.mean(axis=0)).T[::-1]))]  # from the lower left on, counter-clockwise
    along = np.roll(xy, -1, axis=0) - xy
    turns = (np.degrees(np.arctan2(along[:, 1], along[:, 0])) - 90 * np.arange(4) + 180) % 360 - 180
    turn, long = float(turns.mean()), np.hypot(*along.T)
    if np.ptp(turns) > _SQUARE_DEG or long[0] * long[1] < _LEAST_FACE * size.prod():
        return None
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    face = np.array([[0, 0], [size[0], 0], size, [0, size[1]]])
    off = (face - size / 2) @ np.array([[cos, sin], [-sin, cos]]) + xy.mean(axis=0) - face
    x, y = xy[0].tolist()
    return BoardSides(corner=(x, y), turn_deg=turn, off_mm=float(np.hypot(*off.T).max()))
