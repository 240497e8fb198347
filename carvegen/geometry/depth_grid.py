"""How deep a place lies inside a shape, looked up on a grid: for many places, many times over."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import ndimage

from carvegen import geometry
from carvegen.geometry.coverage import coverage

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Depths", "depths"]

_PITCH_MM = 0.08
_MOST_CELLS = 6_000_000  #: a larger face is looked at more coarsely
_BEYOND_MM = 3.0  #: beyond the face a land is taken to go on as it is at the rim
_NEAR = 2.0  #: cells this close to an outline take it for straight
_ASKEW = (0.371, 0.293)  #: cells are set off by these shares of one, so that no straight edge runs between them


@dataclass(frozen=True, kw_only=True, eq=False)
class Depths:
    """Distance to a shape's outline on a grid, mm; above 0 inside the shape, below 0 outside."""

    values: NDArray[np.float32]  #: (rows, columns), the first row the lowest
    corner: tuple[float, float]  #: the lowest left value's place
    pitch_mm: float
    size: tuple[float, float]  #: width and height of the face, mm

    def at(self, x: Floats, y: Floats) -> Floats:
        """The depth of places, between the grid's values; beyond the grid as at its rim; same shape."""
        rows, columns = self.values.shape
        column = np.clip((x - self.corner[0]) / self.pitch_mm, 0, columns - 1.001)
        row = np.clip((y - self.corner[1]) / self.pitch_mm, 0, rows - 1.001)
        first = np.floor(row).astype(np.intp), np.floor(column).astype(np.intp)
        up, right = row - first[0], column - first[1]
        cell = first[0] * columns + first[1]
        flat = self.values.ravel()
        low = flat[cell] * (1 - right) + flat[cell + 1] * right
        high = flat[cell + columns] * (1 - right) + flat[cell + columns + 1] * right
        return np.asarray(low * (1 - up) + high * up)


def depths(land: BaseGeometry, width_mm: float, height_mm: float) -> Depths:
    """The depths of a land on a face.

    Notes
    -----
    Each cell that an outline crosses knows from its covered share, and from the way the outline faces, how far its
    middle lies inside; all others take the nearest of those (exact Euclidean distance transform, scipy), and add
    it: the anti-aliased distance transform (source: gustavson-strand).
    """
    pitch = max(_PITCH_MM, math.sqrt(width_mm * height_mm / _MOST_CELLS))
    off = _ASKEW[0] * pitch, _ASKEW[1] * pitch
    size = int((width_mm - off[0]) / pitch), int((height_mm - off[1]) / pitch)
    there = geometry.moved(geometry.parts(land), (-off[0] / pitch, -off[1] / pitch), scale=1 / pitch)
    more = math.ceil(_BEYOND_MM / pitch)
    share = np.pad(coverage(there, size)[::-1], more, mode="edge")
    corner = off[0] + (0.5 - more) * pitch, off[1] + (0.5 - more) * pitch
    return Depths(values=_depths(share, pitch), corner=corner, pitch_mm=pitch, size=(width_mm, height_mm))


def _depths(share: Floats, pitch: float) -> NDArray[np.float32]:
    crossed = (share > 1e-9) & (share < 1 - 1e-9)
    sign = np.where(share > 0.5, 1.0, -1.0)
    if not crossed.any():
        return np.asarray(sign * 1e3, dtype=np.float32)
    smooth = ndimage.gaussian_filter(share, 0.7)
    normal = np.stack([np.gradient(smooth, axis=0), np.gradient(smooth, axis=1)])
    normal /= np.maximum(np.hypot(normal[0], normal[1]), 1e-9)
    distance, nearest = _nearest(crossed)
    own = np.where(crossed, _to_edge(normal[0], normal[1], share), 0.0)[nearest[0], nearest[1]]
    there = normal[:, nearest[0], nearest[1]]
    row, column = np.ogrid[: share.shape[0], : share.shape[1]]
    off = row - nearest[0] + own * there[0], column - nearest[1] + own * there[1]  # from the outline
    flat = off[0] * there[0] + off[1] * there[1]
    result = np.where(distance <= _NEAR, flat, sign * np.hypot(*off))
    return np.asarray(result * pitch, dtype=np.float32)


def _nearest(crossed: Mask) -> tuple[Floats, Indices]:
    result: Any = ndimage.distance_transform_edt(~crossed, return_indices=True)
    return np.asarray(result[0]), np.asarray(result[1])


def _to_edge(up: Floats, right: Floats, share: Floats) -> Floats:
    """How far inside a straight edge the middle of a unit cell lies, from its covered share and the edge's normal."""
    length = np.maximum(np.hypot(up, right), 1e-9)
    low, high = np.sort(np.abs(np.stack([up, right])) / length, axis=0)
    inside = np.maximum(share, 1 - share)
    slanted = (low + high) / 2 - np.sqrt(np.maximum(2 * low * high * (1 - inside), 0))
    depth = np.where(1 - inside < low / np.maximum(2 * high, 1e-9), slanted, (inside - 0.5) * high)
    return np.asarray(np.where(share > 0.5, depth, -depth))
