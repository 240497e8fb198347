"""Tones blurred, and read between pixels: what every scan needs, without a package that takes half a second to load."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["blurred", "tones_at"]

_FAR = 4.0  #: a Gaussian is cut off at so many standard deviations
_WIDE_PX = 8  #: half the width from which on scipy's loop is quicker than an array a step; measured
_BAND = 64  #: rows that stay in a processor's cache


def blurred(values: NDArray[Any], sigma: float) -> NDArray[Any]:
    """``scipy.ndimage.gaussian_filter`` of tones (rows, columns) in floats: of the same kind, of whole numbers 32 bits.

    `sigma` is in pixels, and more than 0.
    """
    exact = values if np.issubdtype(values.dtype, np.floating) else values.astype(np.float32)
    reach = int(_FAR * sigma + 0.5)
    if reach > _WIDE_PX or min(values.shape) < _WIDE_PX:
        from scipy.ndimage import gaussian_filter

        return np.asarray(gaussian_filter(exact, sigma))
    weight = np.exp(-0.5 * (np.arange(reach + 1) / sigma) ** 2)
    weight = (weight / (2 * weight.sum() - weight[0])).astype(exact.dtype)
    out = np.empty_like(exact)
    padded = np.pad(exact, reach, mode="symmetric")
    for first in range(0, len(out), _BAND):
        band = padded[first : first + _BAND + 2 * reach]
        for axis in range(out.ndim):
            band = _mixed(band, weight, axis)
        out[first : first + _BAND] = band
    return out


def _mixed(values: NDArray[Any], weight: NDArray[Any], axis: int) -> NDArray[Any]:
    """Values mixed with those on both sides along an axis; as many fewer as the weights reach beyond."""
    reach = len(weight) - 1
    near = np.moveaxis(values, axis, 0)
    count = len(near) - 2 * reach
    mixed = near[reach : reach + count] * weight[0]
    both = np.empty_like(mixed)
    for step in range(1, reach + 1):
        np.add(near[reach - step : reach - step + count], near[reach + step : reach + step + count], out=both)
        both *= weight[step]
        mixed += both
    return np.moveaxis(mixed, 0, axis)


def tones_at(tone: NDArray[Any], rows: Floats, columns: Floats) -> Floats:
    """Tones between pixels' centres, which have whole numbers, linearly; beyond the rim those of the rim; (n,)."""
    y, x = (np.clip(at, 0, size - 1) for at, size in zip((rows, columns), tone.shape, strict=True))
    top, left = (np.minimum(at.astype(int), max(size - 2, 0)) for at, size in zip((y, x), tone.shape, strict=True))
    down, across = y - top, x - left
    low, right = np.minimum(top + 1, len(tone) - 1), np.minimum(left + 1, tone.shape[1] - 1)
    upper = (1 - across) * tone[top, left] + across * tone[top, right]
    lower = (1 - across) * tone[low, left] + across * tone[low, right]
    return np.asarray((1 - down) * upper + down * lower, dtype=np.float64)
