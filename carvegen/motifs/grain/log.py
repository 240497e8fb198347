"""A log and the board sawn from it: where its growth rings come to the face, flowing round the knots."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.grain.knots import CALM, Knot, flowed, hard_years, ring_widths
from carvegen.motifs.shared.fields import waves_at

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats

__all__ = ["Log", "Saw"]

_NEAR_PITH = 0.15  #: of a ring: the least distance at which a ring number is told


@dataclass(frozen=True, kw_only=True)
class Saw:
    """How the board lies in the log, and what the log is like; lengths at the print's scale."""

    ring_mm: float  #: mean ring width
    pith_mm: float  #: from the board's middle to the pith
    plane_deg: float  #: between the face's square and the way to the pith: 0 flat-sawn, 45 rift, 90 quarter-sawn
    arch_mm: float  #: along the grain from one arch to the next where the board is flat-sawn
    waviness: float  #: 0 a straight log, 1 a wild one


class Log:
    """A log with its rings, and the board's face in it.

    The face lies in the plane of (u, v): u across the grain, v along it, mm from the board's middle.
    """

    def __init__(self, saw: Saw, knots: tuple[Knot, ...], *, half: tuple[float, float], rng: Generator) -> None:
        self.saw, self.knots = saw, knots
        self._bends, rings = rng.spawn(2)
        self._seed = int(self._bends.integers(2**32))
        reach = 1.3 * (saw.pith_mm + np.hypot(half[0], half[1] * saw.ring_mm / saw.arch_mm)) + 12 * saw.ring_mm
        count = int(np.ceil(2.2 * reach / saw.ring_mm)) + 10
        self.width = ring_widths(count, saw.ring_mm, rings) * hard_years(count, rings)
        self._outer = np.concatenate([[0.0], np.cumsum(self.width)])

    def numbered(self, radius: Floats) -> Floats:
        """The ring number at distances from the pith: 3.25 is a quarter into the fourth; same shape."""
        return np.asarray(np.interp(radius, self._outer, np.arange(len(self._outer))))

    def radius_of(self, number: Floats) -> Floats:
        """The distance from the pith at which a ring number is reached, mm, same shape."""
        return np.asarray(np.interp(number, np.arange(len(self._outer)), self._outer))

    def radius(self, xy: Floats) -> Floats:
        """Distance from the pith as the rings have it, which flow round the knots; mm, (n,)."""
        radius = self.from_pith(xy)
        for knot in self.knots:
            near = knot.near(xy, CALM)
            there = float(self.from_pith(knot.xy[None])[0])
            radius[near] = flowed(radius[near], there, knot.reach(xy[near]))
        return radius

    def from_pith(self, xy: Floats) -> Floats:
        """Distance from the wandering pith, before any knot; mm, (n,)."""
        saw = self.saw
        rng = np.random.Generator(np.random.PCG64(self._seed))
        ring, wild = saw.ring_mm, saw.waviness
        along = xy * [0.0, 1.0]
        wander = wild * (2.5 * ring * waves_at(along, rng, patch_mm=(1.0, 45.0)))
        rise = wild * 0.6 * ring * waves_at(along, rng, patch_mm=(1.0, 30.0))
        broad = waves_at(xy, rng, patch_mm=(9 * ring, 40.0))
        fine = waves_at(xy, rng, patch_mm=(3 * ring, 16.0))
        out = xy[:, 0] + wander + wild * ring * (0.9 * broad + 0.22 * fine)
        turn = np.radians(saw.plane_deg)
        side, depth = saw.pith_mm * np.sin(turn), saw.pith_mm * np.cos(turn)
        depth = depth + xy[:, 1] * ring / saw.arch_mm + rise
        return np.asarray(np.hypot(np.hypot(out - side, depth), _NEAR_PITH * ring))

    def apparent_mm(self, xy: Floats, u: Floats, v: Floats, number: Floats) -> Floats:
        """The width of a ring as it shows on the face at each point, from ring numbers on the grid; (n,)."""
        from scipy.ndimage import map_coordinates

        slope = np.hypot(*np.gradient(number, v, u))
        place = [np.interp(xy[:, 1], v, np.arange(len(v))), np.interp(xy[:, 0], u, np.arange(len(u)))]
        return np.asarray(1 / np.maximum(map_coordinates(slope, place, order=1, mode="nearest"), 1e-6))
