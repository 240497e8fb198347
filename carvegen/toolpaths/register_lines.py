"""Register marks as lines: where they lie around a block, for files and for paths alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.toolpaths.paths import Paths

if TYPE_CHECKING:
    from carvegen.blocks.block import Block

__all__ = ["ARM_MM", "OUT_MM", "register_lines", "register_places"]

OUT_MM = 7.0  #: from the block's side to the middle of a cross
ARM_MM = 5.0  #: from the middle of a cross to the end of its arm


def register_places(width_mm: float, height_mm: float) -> list[tuple[float, float]]:
    """The middles of the crosses, outside the middle of each side: the same for every block of one size."""
    w, h, out = width_mm, height_mm, OUT_MM
    return [(w / 2, -out), (w + out, h / 2), (w / 2, h + out), (-out, h / 2)]


def register_lines(block: Block) -> Paths:
    """Two lines for each cross, open, at the height of the face."""
    middle = np.array(register_places(block.width_mm, block.height_mm))
    arm = np.array([[[-ARM_MM, 0.0], [ARM_MM, 0.0]], [[0.0, -ARM_MM], [0.0, ARM_MM]]])
    xy = (middle[:, None, None] + arm).reshape(-1, 2)
    lines = len(xy) // 2
    return Paths(np.column_stack([xy, np.zeros(len(xy))]), 2 * np.arange(lines + 1), np.zeros(lines, dtype=bool))
