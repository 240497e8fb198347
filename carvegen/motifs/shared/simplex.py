"""Simplex noise for many points at once: the values of the package `noise`, bit for bit, without a compiler.

The algorithm and its permutation: source: perlin-simplex, gustavson-simplex, perlin-2002. Each step is rounded to 32
bits, as the package does it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices

    Singles = NDArray[Any]  #: of numpy.float32: numpy's types widen what its arithmetic does not

__all__ = ["simplex_noise"]

# fmt: off
_PERMUTATION = np.array([
    151, 160, 137, 91, 90, 15, 131, 13, 201, 95, 96, 53, 194, 233, 7, 225,
    140, 36, 103, 30, 69, 142, 8, 99, 37, 240, 21, 10, 23, 190, 6, 148,
    247, 120, 234, 75, 0, 26, 197, 62, 94, 252, 219, 203, 117, 35, 11, 32,
    57, 177, 33, 88, 237, 149, 56, 87, 174, 20, 125, 136, 171, 168, 68, 175,
    74, 165, 71, 134, 139, 48, 27, 166, 77, 146, 158, 231, 83, 111, 229, 122,
    60, 211, 133, 230, 220, 105, 92, 41, 55, 46, 245, 40, 244, 102, 143, 54,
    65, 25, 63, 161, 1, 216, 80, 73, 209, 76, 132, 187, 208, 89, 18, 169,
    200, 196, 135, 130, 116, 188, 159, 86, 164, 100, 109, 198, 173, 186, 3, 64,
    52, 217, 226, 250, 124, 123, 5, 202, 38, 147, 118, 126, 255, 82, 85, 212,
    207, 206, 59, 227, 47, 16, 58, 17, 182, 189, 28, 42, 223, 183, 170, 213,
    119, 248, 152, 2, 44, 154, 163, 70, 221, 153, 101, 155, 167, 43, 172, 9,
    129, 22, 39, 253, 19, 98, 108, 110, 79, 113, 224, 232, 178, 185, 112, 104,
    218, 246, 97, 228, 251, 34, 242, 193, 238, 210, 144, 12, 191, 179, 162, 241,
    81, 51, 145, 235, 249, 14, 239, 107, 49, 192, 214, 31, 181, 199, 106, 157,
    184, 84, 204, 176, 115, 121, 50, 45, 127, 4, 150, 254, 138, 236, 205, 93,
    222, 114, 67, 29, 24, 72, 243, 141, 128, 195, 78, 66, 215, 61, 156, 180,
] * 2)
# fmt: on
_GRADIENT = _PERMUTATION % 12  #: which of the twelve gradients belongs to each entry
_GRADIENT_X = np.array([1, -1, 1, -1, 1, -1, 1, -1, 0, 0, 0, 0], dtype=np.float32)
_GRADIENT_Y = np.array([1, 1, -1, -1, 0, 0, 0, 0, 1, -1, 1, -1], dtype=np.float32)
_SINGLE = np.float32
_SKEW, _UNSKEW = _SINGLE(0.3660254037844386), _SINGLE(0.21132486540518713)  #: (√3 - 1) / 2 and (3 - √3) / 6
_CHUNK = 1 << 16  #: points at a time: they stay in the processor's cache


def simplex_noise(xy: Floats, octaves: int = 1) -> Floats:
    """Simplex noise at points, each octave twice as fine and half as strong as the one before.

    Parameters
    ----------
    xy
        Points in patches, (n, 2); rounded to 32 bits.
    octaves
        How many, 1 or more.

    Returns
    -------
    Floats
        Values in about -1…1, (n,): those of ``noise.snoise2(x, y, octaves)``.
    """
    x, y = np.asarray(xy, dtype=np.float32).T
    values = np.empty(len(x))
    for first in range(0, len(x), _CHUNK):
        chunk = slice(first, first + _CHUNK)
        values[chunk] = _summed(x[chunk], y[chunk], octaves)
    return values


def _summed(x: Singles, y: Singles, octaves: int) -> Singles:
    total, strength = _octave(x, y), _SINGLE(1)
    for number in range(1, octaves):
        finer, weaker = _SINGLE(2**number), _SINGLE(0.5**number)
        total = total + _octave(x * finer, y * finer) * weaker
        strength += weaker
    return total / strength


def _octave(x: Singles, y: Singles) -> Singles:
    """One octave: the sum over the three corners of the triangle that holds each point."""
    skew = (x + y) * _SKEW
    column, row = np.floor(x + skew), np.floor(y + skew)
    unskew = (column + row) * _UNSKEW
    x0, y0 = x - (column - unskew), y - (row - unskew)
    right = (x0 > y0).astype(np.int64)  # 1 where the middle corner lies to the right, 0 where it lies above
    i, j = column.astype(np.int64) & 255, row.astype(np.int64) & 255
    x1, y1 = x0 - right.astype(np.float32) + _UNSKEW, y0 - (1 - right).astype(np.float32) + _UNSKEW
    x2, y2 = x0 + 2 * _UNSKEW - 1, y0 + 2 * _UNSKEW - 1
    corners = _corner(x0, y0, i, j) + _corner(x1, y1, i + right, j + 1 - right) + _corner(x2, y2, i + 1, j + 1)
    return corners * _SINGLE(70)


def _corner(x: Singles, y: Singles, i: Indices, j: Indices) -> Singles:
    """What a corner gives to points at `x`, `y` from it: its gradient's ramp, fading out with the distance."""
    gradient = _GRADIENT[i + _PERMUTATION[j]]
    near = _SINGLE(0.5) - x * x - y * y
    ramp = _GRADIENT_X[gradient] * x + _GRADIENT_Y[gradient] * y
    return np.where(near > 0, near * near * near * near * ramp, _SINGLE(0))
