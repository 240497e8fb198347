"""PNG of a simulated block: its relief in slanting light, what is lost and what is missed in colour."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen import geometry
from carvegen.geometry.coverage import coverage
from carvegen.writers.block.block_png import NOW_CUT, NOW_LAND

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.toolpaths.simulation.simulated_block import Simulated

__all__ = ["simulated_png"]

_FACE, _FLOOR, _THROUGH = (214, 203, 186), (146, 132, 122), (247, 246, 242)  #: planed wood, its shade, the table
_LIGHT = (-0.55, 0.62, 0.56)  #: from the upper left, towards the light
_STEEPEST = 3.0  #: slopes are shown no steeper, so that walls keep a tone
_SHADE = 0.55  #: how dark the side away from the light gets
_PIXELS = 12_000_000  #: at most; a larger picture is made smaller


def simulated_png(of: Simulated) -> bytes:
    """The block as it lies, face up, after the last cut: lost land in ochre, missed cut in teal."""
    relief, block = of.relief, of.block
    beyond = round(0.5 - relief.corner[0] / relief.px_mm)
    rows, columns = (round(side / relief.px_mm) for side in (block.height_mm, block.width_mm))
    height = relief.height[beyond : beyond + rows, beyond : beyond + columns]
    picture = _toned(height, of.plan.job.thickness_mm) * _shaded(height, relief.px_mm)[:, :, None]
    for places, colour in ((of.lost.places, NOW_CUT), (of.missed.places, NOW_LAND)):
        if len(places):
            share = _covered(places, relief.px_mm, (columns, rows))
            met = share > 0
            share = share[met][:, None]
            picture[met] = picture[met] * (1 - share) + np.array(colour) * share
    seen = Image.fromarray(np.clip(np.rint(picture[::-1, ::-1]), 0, 255).astype(np.uint8))
    scale = min(1.0, math.sqrt(_PIXELS / (rows * columns)))
    if scale < 1:
        seen = seen.resize((round(columns * scale), round(rows * scale)), Image.Resampling.LANCZOS)
    out = io.BytesIO()
    seen.save(out, "PNG", dpi=(scale * 25.4 / relief.px_mm, scale * 25.4 / relief.px_mm))
    return out.getvalue()


def _toned(height: NDArray[np.float32], thickness_mm: float) -> NDArray[np.float32]:
    """The colour of each place before the light falls on it: the deeper, the darker; (rows, columns, 3)."""
    through = height <= -thickness_mm + 1e-6
    deepest = max(float(-height[~through].min(initial=0)), 1e-9)
    share = np.sqrt(np.clip(-height / deepest, 0, 1))[:, :, None]
    face, floor = (np.array(colour, dtype=np.float32) for colour in (_FACE, _FLOOR))
    tone: NDArray[np.float32] = face + (floor - face) * share
    tone[through] = _THROUGH
    return tone


def _shaded(height: NDArray[np.float32], px_mm: float) -> NDArray[np.float32]:
    """How light each place is: 1 on the level."""
    up, right = np.gradient(height, px_mm)
    up, right = (np.clip(slope, -_STEEPEST, _STEEPEST) for slope in (up, right))
    x, y, z = -right, -up, np.ones_like(up)
    lit = (-x * _LIGHT[0] + y * _LIGHT[1] + z * _LIGHT[2]) / np.sqrt(x**2 + y**2 + z**2)  # x is mirrored in the end
    return np.asarray(np.clip(1 + _SHADE * (lit - _LIGHT[2]), 1 - _SHADE, 1.25))


def _covered(shapes: PolygonArray, px_mm: float, size: tuple[int, int]) -> Floats:
    """The share of each pixel that lies in shapes; the first row is the lowest."""
    return coverage(geometry.moved(shapes, (0.0, 0.0), scale=1 / px_mm), size)[::-1]
