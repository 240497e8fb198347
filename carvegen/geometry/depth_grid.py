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

    from carvegen.geometry import Floats, Indices

__all__ = ["Depths", "depths", "pitch_mm"]

_PITCH_MM = 0.08
_MOST_CELLS = 6_000_000  #: a larger face is looked at more coarsely
_BEYOND_MM = 3.0  #: beyond the face a land is taken to go on as it is at the rim
_NEAR = 2.0  #: cells this close to an outline take it for straight
_BAND = 64  #: rows that are computed at once, so that they stay in the processor's cache
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
        first = row.astype(np.intp), column.astype(np.intp)
        up, right = row - first[0], column - first[1]
        cell, flat, left = first[0] * columns + first[1], self.values.ravel(), 1 - right
        low, high = (flat[go:].take(cell) * left + flat[go + 1 :].take(cell) * right for go in (0, columns))
        return np.asarray(low * (1 - up) + high * up)


def depths(land: BaseGeometry, width_mm: float, height_mm: float) -> Depths:
    """The depths of a land on a face.

    Notes
    -----
    Each cell that an outline crosses knows from its covered share, and from the way the outline faces, how far its
    middle lies inside; all others take the nearest of those (exact Euclidean distance transform, scipy), and add
    it: the anti-aliased distance transform (source: gustavson-strand).
    """
    pitch = pitch_mm(width_mm, height_mm)
    off = _ASKEW[0] * pitch, _ASKEW[1] * pitch
    size = int((width_mm - off[0]) / pitch), int((height_mm - off[1]) / pitch)
    there = geometry.moved(geometry.parts(land), (-off[0] / pitch, -off[1] / pitch), scale=1 / pitch)
    more = math.ceil(_BEYOND_MM / pitch)
    share = np.pad(coverage(there, size)[::-1], more, mode="edge")
    corner = off[0] + (0.5 - more) * pitch, off[1] + (0.5 - more) * pitch
    return Depths(values=_depths(share, pitch), corner=corner, pitch_mm=pitch, size=(width_mm, height_mm))


def pitch_mm(width_mm: float, height_mm: float) -> float:
    """How far apart the grid's values lie on a face of that size."""
    return max(_PITCH_MM, math.sqrt(width_mm * height_mm / _MOST_CELLS))


def _depths(share: Floats, pitch: float) -> NDArray[np.float32]:
    crossed = (share > 1e-9) & (share < 1 - 1e-9)
    result = np.where(share > 0.5, np.float32(1), np.float32(-1))
    cells = np.flatnonzero(crossed)
    if len(cells) == 0:
        return result * np.float32(1e3)
    up, right = _normals(share, cells)
    own = _to_edge(up, right, share.ravel()[cells])
    nearest: Any = ndimage.distance_transform_edt(~crossed, return_distances=False, return_indices=True)
    number = np.zeros(share.shape, dtype=np.int32)  # of each crossed cell
    number.ravel()[cells] = np.arange(len(cells))
    columns = share.shape[1]
    column = np.arange(columns, dtype=np.int32)
    deep = up * own, right * own  # from the outline to the crossed cell
    for first in range(0, len(share), _BAND):
        band = slice(first, first + _BAND)
        there = nearest[:, band]
        k = number.take(there[0] * np.intp(columns) + there[1])
        row = np.arange(first, first + len(k), dtype=np.int32)[:, None]
        steps = row - there[0], column - there[1]
        off = [step + part.take(k) for step, part in zip(steps, deep, strict=True)]  # from the outline
        away = result[band] * np.sqrt(off[0] ** 2 + off[1] ** 2)
        near = steps[0] ** 2 + steps[1] ** 2 <= _NEAR**2
        which = k[near]
        away[near] = off[0][near] * up[which] + off[1][near] * right[which]
        result[band] = away * pitch
    return result


def _normals(share: Floats, cells: Indices) -> tuple[Floats, Floats]:
    """Which way it grows denser in some of the cells, by the central differences of the blurred shares; (n,) each."""
    smooth = ndimage.gaussian_filter(share, 0.7)
    up, right = (_slope(smooth, cells, axis) for axis in (0, 1))
    length = np.maximum(np.hypot(up, right), 1e-9)
    return up / length, right / length


def _slope(smooth: Floats, cells: Indices, axis: int) -> Floats:
    """What is behind some of the cells along an axis less what is before them; at the rim twice the one step; (n,)."""
    flat, (rows, columns) = smooth.ravel(), smooth.shape
    at, last, step = (cells // columns, rows - 1, columns) if axis == 0 else (cells % columns, columns - 1, 1)
    before, after = flat.take(cells - np.where(at > 0, step, 0)), flat.take(cells + np.where(at < last, step, 0))
    own = np.flatnonzero((at == 0) | (at == last))
    middle = 2 * flat.take(cells[own])
    low, high = at[own] == 0, at[own] == last
    before[own] = np.where(low, middle - after[own], before[own])
    after[own] = np.where(high, middle - before[own], after[own])
    return after - before


def _to_edge(up: Floats, right: Floats, share: Floats) -> Floats:
    """How far inside a straight edge the middle of a unit cell lies, from its covered share and the edge's normal."""
    length = np.maximum(np.hypot(up, right), 1e-9)
    low, high = np.sort(np.abs(np.stack([up, right])) / length, axis=0)
    inside = np.maximum(share, 1 - share)
    slanted = (low + high) / 2 - np.sqrt(np.maximum(2 * low * high * (1 - inside), 0))
    depth = np.where(1 - inside < low / np.maximum(2 * high, 1e-9), slanted, (inside - 0.5) * high)
    return np.asarray(np.where(share > 0.5, depth, -depth))
