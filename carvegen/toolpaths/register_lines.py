"""Register marks as lines: where they lie around a block, for files and for paths alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.toolpaths.paths import Paths

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely import Polygon

    from carvegen.blocks.block import Block

__all__ = ["ARM_MM", "OUT_MM", "clear_of_groove", "register_lines", "register_places"]

OUT_MM = 7.0  #: from the block's side to the middle of a cross
ARM_MM = 5.0  #: from the middle of a cross to the end of its arm
_OFF_MM = 0.5  #: from the groove round the picture to an arm; our own choice


def register_places(width_mm: float, height_mm: float) -> list[tuple[float, float]]:
    """The middles of the crosses, outside the middle of each side: the same for every block of one size."""
    w, h, out = width_mm, height_mm, OUT_MM
    return [(w / 2, -out), (w + out, h / 2), (w / 2, h + out), (-out, h / 2)]


def clear_of_groove(crosses: NDArray[np.object_], face: Polygon, moat_mm: float) -> NDArray[np.object_]:
    """Crosses, or their arms, outside the groove round the picture; whole where it takes their middles.

    What is scored at the height of the face would hang over the groove.
    """
    edge = moat_mm + _OFF_MM
    if not moat_mm or edge > OUT_MM - _OFF_MM:
        return crosses
    return np.asarray(shapely.difference(crosses, face.buffer(edge, join_style="mitre")), dtype=object)


def register_lines(block: Block) -> Paths:
    """Two lines for each cross, open, at the height of the face, outside the groove round the picture."""
    middle = np.array(register_places(block.width_mm, block.height_mm))
    arm = np.array([[[-ARM_MM, 0.0], [ARM_MM, 0.0]], [[0.0, -ARM_MM], [0.0, ARM_MM]]])
    arms = shapely.linestrings(middle[:, None, None] + arm).reshape(-1)
    moat_mm = 0.0 if block.register is None else block.register.moat_mm
    xy = shapely.get_coordinates(clear_of_groove(arms, block.face, moat_mm))
    lines = len(xy) // 2
    return Paths(np.column_stack([xy, np.zeros(len(xy))]), 2 * np.arange(lines + 1), np.zeros(lines, dtype=bool))
