"""The sheet seen straight on, at a fixed scale, in shares of light."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.polynomial.polynomial import polygrid2d
from numpy.typing import NDArray
from scipy import ndimage

from carvegen.base.colour import linear

if TYPE_CHECKING:
    from carvegen.artwork.scan.pixels import Bytes, Picture
    from carvegen.geometry import Floats
    from carvegen.marking.pencil.corner_marks import PaperMap

__all__ = ["PX_PER_MM", "Light", "straightened"]

PX_PER_MM = 6  #: of the straightened sheet

Light: TypeAlias = NDArray[np.float32]  #: shares of light, or densities; (height, width, channels)


def straightened(picture: Picture, paper: PaperMap) -> Light:
    """The paper, `PX_PER_MM` pixels a millimetre, first row at the top, red, green and blue as shares of light."""
    step = max(1, int(paper.scale() / PX_PER_MM))
    columns, rows = (round(side * PX_PER_MM) for side in paper.size)
    x, y = _places(paper, (np.arange(columns) + 0.5) / PX_PER_MM, paper.size[1] - (np.arange(rows) + 0.5) / PX_PER_MM)
    where = np.stack([(y - (step - 1) / 2) / step, (x - (step - 1) / 2) / step])
    out = np.empty((rows, columns, 3), dtype=np.float32)
    table = linear(np.arange(256.0)).astype(np.float32)
    for k, channel in enumerate(picture.colour):
        small = _reduced(table, channel, step)
        out[..., k] = ndimage.map_coordinates(small, where, order=1, mode="nearest", output=np.float32)
    return out


def _places(paper: PaperMap, x: Floats, y: Floats) -> tuple[Light, Light]:
    """Pixels of a grid of places: columns at `x`, rows at `y`; as `PaperMap` says, without a list of all points."""
    h = paper.matrix
    below = (h[2, 0] * x + h[2, 2])[None] + (h[2, 1] * y)[:, None]
    found = []
    for k in range(2):
        flat = ((h[k, 0] * x + h[k, 2])[None] + (h[k, 1] * y)[:, None]) / below
        bend = np.zeros((4, 4))
        bend[tuple(np.transpose([(i, j) for i in range(4) for j in range(4 - i)]))] = paper.bend[:, k]
        even = polygrid2d(2 * x / paper.size[0] - 1, 2 * y / paper.size[1] - 1, bend)
        found.append((flat + even.T).astype(np.float32))
    return found[0], found[1]


def _reduced(table: NDArray[np.float32], channel: Bytes, step: int) -> NDArray[np.float32]:
    """A channel as shares of light, means of `step` x `step` pixels."""
    high, wide = (side // step for side in channel.shape)
    out = np.zeros((high, wide), dtype=np.float32)
    for i in range(step):
        for j in range(step):
            out += table[channel[i : high * step : step, j : wide * step : step]]
    return np.asarray(out / np.float32(step * step), dtype=np.float32)
