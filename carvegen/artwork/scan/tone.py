"""The tone that parts shapes from paper, for the whole picture or place by place."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen.artwork.scan.light import spread
from carvegen.artwork.scan.sampling import blurred
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Floats, Indices

__all__ = ["Parting", "centred", "counted", "otsu", "parting"]

_LEAST_STEP = 25.0  # shape and paper must differ by a tenth of the whole range
_FEWEST = 30  # pixels that make a tone count


@dataclass(frozen=True)
class Parting:
    """The tone halfway between shape and paper, and the tones of both."""

    level: float
    dark: float
    light: float


def counted(tone: Bytes) -> Indices:
    """How many pixels have each of the 256 tones."""
    return np.array(Image.fromarray(tone).histogram(), dtype=np.int64)


def otsu(counts: Indices) -> Parting:
    """The tone that parts a picture's tones into the two groups that differ most (source: otsu-1979).

    The level lies midway between the groups' means, which is where a blurred edge truly lies; Otsu's own is the
    last tone of the darker group, which differs by the gap between the groups.
    """
    tones = np.arange(len(counts))
    weight = np.cumsum(counts, dtype=np.float64)
    total = np.cumsum(counts * tones, dtype=np.float64)
    below = np.divide(total, weight, out=np.zeros_like(total), where=weight > 0)
    other = weight[-1] - weight
    above = np.divide(total[-1] - total, other, out=np.zeros_like(total), where=other > 0)
    if not (weight * other).any():
        return Parting(*(float(total[-1] / max(weight[-1], 1)),) * 3)
    best = int(np.argmax(weight * other * (above - below) ** 2))
    return Parting((below[best] + above[best]) / 2, float(below[best]), float(above[best]))


def parting(counts: Indices) -> Parting:
    """Otsu's parting; for a picture with very little ink, or very little paper, the middle of its range.

    Raises
    ------
    InputError
        If the picture has one even tone.
    """
    parts = otsu(counts)
    if parts.light - parts.dark >= _LEAST_STEP and _valley(counts, parts):
        return parts
    used = np.flatnonzero(np.cumsum(counts) >= _FEWEST)[0], 255 - np.flatnonzero(np.cumsum(counts[::-1]) >= _FEWEST)[0]
    if used[1] - used[0] < 2 * _LEAST_STEP:
        if parts.light - parts.dark >= _LEAST_STEP:
            return parts
        raise InputError(
            "shows one even tone: no shape can be told from the paper",
            hint="scan it with more contrast, or say the tone: {threshold} 0.5",
            names=("threshold",),
        )
    return Parting(float(used[0] + used[1]) / 2, float(used[0]), float(used[1]))


def centred(tone: Bytes, parts: Parting, window_px: float) -> Bytes:
    """The tone less what parts dark from light nearby, so that 128 parts them everywhere; same shape.

    Midway between the darkest and the lightest tone within the window; where these differ little, all is shape or
    all is paper and the whole picture's level holds (source: bernsen-1986).
    """
    from scipy.ndimage import maximum_filter, minimum_filter

    step = max(int(window_px / 6), 1)
    rows, columns = (-(-size // step) for size in tone.shape)
    padded = np.pad(tone, ((0, rows * step - tone.shape[0]), (0, columns * step - tone.shape[1])), mode="edge")
    tiles = padded.reshape(rows, step, columns, step).swapaxes(1, 2).reshape(rows, columns, -1)
    dark = blurred(minimum_filter(tiles.min(axis=2).astype(float), 7), 2)
    light = blurred(maximum_filter(tiles.max(axis=2).astype(float), 7), 2)
    clear = np.clip((light - dark) / (parts.light - parts.dark) * 4 - 1, 0, 1)
    level = clear * (dark + light) / 2 + (1 - clear) * parts.level
    return _less(tone, level, step)


def _less(tone: Bytes, level: Floats, step: int) -> Bytes:
    """The tone less the tiles' levels, spread linearly over it, plus 128."""
    rows, columns = (spread(count * step, count)[:size] for size, count in zip(tone.shape, level.shape, strict=True))
    across = level.astype(np.float32) @ columns.T
    out = np.empty_like(tone)
    for first in range(0, len(tone), 512):
        band = slice(first, first + 512)
        out[band] = np.clip(tone[band] - rows[band] @ across + np.float32(128.5), 0, 255)
    return out


def _valley(counts: Indices, parts: Parting) -> bool:
    """Whether the groups are more than the two halves of one hill: fewer pixels at the level than at the means."""
    smooth = blurred(counts.astype(float), 2)
    dark, level, light = (round(value) for value in (parts.dark, parts.level, parts.light))
    return bool(smooth[level] < 0.8 * min(smooth[dark : level + 1].max(), smooth[level : light + 1].max()))
