"""What a cutter leaves while it goes along a straight piece of its path: closed forms, place by place."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from carvegen.facts import cutting

if TYPE_CHECKING:
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import Floats, Indices

__all__ = ["Groove", "Pieces", "groove_of"]

_LEAST_PIECE_MM = 0.3
_STEP_MM = 0.1  #: level steps on a slope: at 10 degrees they are right to 9 um
_HEIGHTS = 257  #: at which a round cutter's width is kept
_TALL_MM = 30.0  #: how high above its tip a cutter's shape is looked at
_HAIR_MM = 1e-9
_FAR = 1e9
_FACE = -1e-6  #: a tip above this cuts nothing


@dataclass(frozen=True)
class Pieces:
    """Straight pieces of paths: where each begins, its direction in the plane, its length there and its fall."""

    x: Floats
    y: Floats
    z: Floats
    east: Floats  #: unit
    north: Floats
    length: Floats
    fall: Floats  #: from its beginning to its end, mm; negative downwards

    @classmethod
    def of(cls, a: Floats, b: Floats) -> Pieces:
        """The pieces from `a` to `b`, (n, 3) each; one that goes straight down has a hair's length."""
        step = b - a
        length = np.hypot(step[:, 0], step[:, 1])
        down = length < _HAIR_MM
        east, north = np.where(down, 1.0, step[:, 0]), np.where(down, 0.0, step[:, 1])
        size = np.hypot(east, north)
        x, y, z = a[:, 0], a[:, 1], a[:, 2]
        return cls(x, y, z, east / size, north / size, np.maximum(length, _HAIR_MM), step[:, 2])

    def some(self, which: slice | Indices) -> Pieces:
        """Some of the pieces."""
        return Pieces(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    def seen(self, x: Floats, y: Floats, k: Indices) -> tuple[Floats, Floats]:
        """For each place how far along piece k it lies from its beginning, and how far beside it."""
        x, y, east, north = x - self.x[k], y - self.y[k], self.east[k], self.north[k]
        return x * east + y * north, np.abs(x * north - y * east)


class Groove(Protocol):
    """A cutter as it goes along straight pieces."""

    @property
    def longest_mm(self) -> float:
        """Pieces are looked at in parts no longer than this."""
        ...

    @property
    def step_mm(self) -> float:
        """Sloped pieces are looked at as level steps of this length; 0: as they are."""
        ...

    def half_mm(self, z: Floats) -> Floats:
        """Half the width that is cut at the face with the tip at these heights; (n,)."""
        ...

    def passed(self, x: Floats, y: Floats, pieces: Pieces, k: Indices) -> tuple[Floats, Floats]:
        """What piece k does to each place.

        Returns
        -------
        tuple
            How far inside the cut at the face each place lies, mm, negative outside; and how high it is then.
        """
        ...


def groove_of(cutter: Cutter, depth_mm: float) -> Groove:
    """The groove of any cutter; `depth_mm`: of a beam."""
    if cutter.form == "v":
        return _V(math.tan(math.radians(cutter.values["included_deg"]) / 2), cutter.values["tip_mm"] / 2)
    if cutter.form == "laser":
        return _Upright(cutting.widest_half_mm(cutter, depth_mm))
    if cutter.form == "flat":
        return _Upright(cutter.values["diameter_mm"] / 2)
    heights = _TALL_MM * np.linspace(0, 1, _HEIGHTS) ** 2
    return _Round(heights, cutting.half_width_mm(cutter, _TALL_MM - heights, _TALL_MM))


@dataclass(frozen=True)
class _V:
    """A cone with a blunt tip.

    At distance d beside a piece that falls by s along it, the cone (slope k = 1 / tan) is lowest over the place that
    lies ``s d / sqrt(k² - s²)`` farther down the piece than the foot of the perpendicular.
    """

    tan: float
    blunt_mm: float
    step_mm: float = 0.0

    @property
    def longest_mm(self) -> float:
        return _LEAST_PIECE_MM

    def half_mm(self, z: Floats) -> Floats:
        return np.where(z < _FACE, self.blunt_mm - z * self.tan, 0.0)

    def passed(self, x: Floats, y: Floats, pieces: Pieces, k: Indices) -> tuple[Floats, Floats]:
        u, beside = pieces.seen(x, y, k)
        if not pieces.fall.any():
            d, z = _beside(pieces, k, u, beside), pieces.z[k]
            edge = np.where(z < _FACE, self.blunt_mm - z * self.tan, 0.0) - d
            return edge, np.where(z < _FACE, np.where(d <= self.blunt_mm, z, -edge / self.tan), 0.0)
        slope, steep = pieces.fall / pieces.length, 1 / self.tan
        shift = slope / np.sqrt(np.maximum(steep**2 - slope**2, 1e-12))
        shift = np.where(np.abs(slope) < steep, shift, np.sign(slope) * _FAR)
        along = np.clip(u - beside * shift[k], 0, pieces.length[k])
        d = np.hypot(u - along, beside)
        z = pieces.z[k] + along * slope[k]
        edge = np.where(z < _FACE, self.blunt_mm - z * self.tan, 0.0) - d
        height = np.where(d <= self.blunt_mm, z, -edge / self.tan)
        under = _beside(pieces, k, u, beside) <= self.blunt_mm
        height = np.where(under, np.minimum(height, _lowest(pieces, k, u, beside, self.blunt_mm)), height)
        return edge, np.where(z < _FACE, height, 0.0)


@dataclass(frozen=True)
class _Upright:
    """Upright sides and a flat end: what it passes over is as low as the lowest place from which it reaches there."""

    radius_mm: float
    step_mm: float = 0.0

    @property
    def longest_mm(self) -> float:
        return max(self.radius_mm, _LEAST_PIECE_MM)

    def half_mm(self, z: Floats) -> Floats:
        return np.where(z < _FACE, self.radius_mm, 0.0)

    def passed(self, x: Floats, y: Floats, pieces: Pieces, k: Indices) -> tuple[Floats, Floats]:
        u, beside = pieces.seen(x, y, k)
        z = _lowest(pieces, k, u, beside, self.radius_mm) if pieces.fall.any() else pieces.z[k]
        edge = np.where(z < _FACE, self.radius_mm, 0.0) - _beside(pieces, k, u, beside)
        return edge, np.where((edge >= 0) & (z < _FACE), z, 0.0)


def _beside(pieces: Pieces, k: Indices, u: Floats, beside: Floats) -> Floats:
    """The distance of each place from the piece of that number."""
    return np.asarray(np.hypot(u - np.clip(u, 0, pieces.length[k]), beside))


def _lowest(pieces: Pieces, k: Indices, u: Floats, beside: Floats, radius_mm: float) -> Floats:
    """How low the tip is at the lowest place of the piece from which an end of this radius reaches each place."""
    reach = np.sqrt(np.maximum(radius_mm**2 - beside**2, 0))
    along = np.clip(u - np.sign(pieces.fall)[k] * reach, 0, pieces.length[k])
    return np.asarray(pieces.z[k] + along * (pieces.fall / pieces.length)[k])


@dataclass(frozen=True)
class _Round:
    """Any other shape, by its half-width at heights above its tip; slopes are taken in level steps."""

    heights: Floats
    halves: Floats
    step_mm: float = _STEP_MM

    @property
    def longest_mm(self) -> float:
        return max(float(np.interp(3.0, self.heights, self.halves)), _LEAST_PIECE_MM)

    def half_mm(self, z: Floats) -> Floats:
        return np.where(z < _FACE, np.interp(-z, self.heights, self.halves), 0.0)

    def passed(self, x: Floats, y: Floats, pieces: Pieces, k: Indices) -> tuple[Floats, Floats]:
        u, beside = pieces.seen(x, y, k)
        along = np.clip(u, 0, pieces.length[k])
        d = np.hypot(u - along, beside)
        z = pieces.z[k] + along * (pieces.fall / pieces.length)[k]
        widest = np.maximum.accumulate(self.halves) + 1e-12 * np.arange(len(self.halves))
        height = z + np.interp(d, widest, self.heights, right=np.inf)
        return self.half_mm(z) - d, np.where(z < _FACE, np.minimum(height, 0.0), 0.0)
