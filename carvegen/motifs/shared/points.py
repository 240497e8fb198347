"""Random points in a window: even chance everywhere, or clustered."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.shared.fields import turned

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices

__all__ = ["Window", "offspring", "poisson", "thomas"]

_REACH = 4.0  #: parents are drawn this many spreads outside the window, or its rim would be too thin


@dataclass(frozen=True)
class Window:
    """A rectangle in mm."""

    left: float
    bottom: float
    right: float
    top: float

    @property
    def area(self) -> float:
        """Its area in mm²."""
        return (self.right - self.left) * (self.top - self.bottom)

    @property
    def diagonal(self) -> float:
        """Its diagonal in mm."""
        return float(np.hypot(self.right - self.left, self.top - self.bottom))

    def grown(self, by: float) -> Window:
        """The window grown on every side."""
        return Window(self.left - by, self.bottom - by, self.right + by, self.top + by)

    def at(self, share: Floats) -> Floats:
        """Points at shares 0…1 of the width and height; (n, 2)."""
        low, high = np.array([self.left, self.bottom]), np.array([self.right, self.top])
        return np.asarray(low + share * (high - low))

    def depth(self, xy: Floats) -> Floats:
        """How far inside the nearest side points lie, mm; below 0 outside; (n,)."""
        low, high = np.array([self.left, self.bottom]), np.array([self.right, self.top])
        return np.asarray(np.minimum(xy - low, high - xy).min(axis=1))

    def within(self, xy: Floats) -> Floats:
        """The points that lie in the window."""
        x, y = xy[:, 0], xy[:, 1]
        return xy[(x > self.left) & (x < self.right) & (y > self.bottom) & (y < self.top)]


def poisson(window: Window, density: float, rng: Generator) -> Floats:
    """Points of a Poisson process of `density` per mm²; (n, 2), may be empty."""
    count = rng.poisson(density * window.area)
    share = rng.random((count, 2))
    return window.at(share)


def offspring(
    parents: Floats,
    counts: Indices,
    spread_mm: Floats | float,
    rng: Generator,
    *,
    stretch: float = 1.0,
    along_deg: float = 0.0,
) -> Floats:
    """Points normally spread about `parents`, ``counts[k]`` of them about parent k; (sum of counts, 2).

    The spread is `stretch` times longer along `along_deg` and as much shorter across: its area stays.
    """
    spread = np.repeat(np.broadcast_to(spread_mm, len(parents)), counts)
    away = rng.normal(size=(counts.sum(), 2)) * [np.sqrt(stretch), 1 / np.sqrt(stretch)]
    return np.asarray(np.repeat(parents, counts, axis=0) + turned(away, along_deg) * spread[:, None])


def thomas(
    window: Window,
    *,
    parents_per_mm2: float,
    mean_count: float,
    spread_mm: float,
    rng: Generator,
    stretch: float = 1.0,
    along_deg: float = 0.0,
) -> Floats:
    """Points of a Thomas cluster process in the window; (n, 2), may be empty.

    Poisson parents, a Poisson number of points about each, normally spread (source:
    thomas-1949). Without stretch its Ripley's function is
    ``K(r) = pi r² + (1 - exp(-r² / 4 s²)) / k``, k parents per mm², s the spread.
    """
    centres = poisson(window.grown(_REACH * spread_mm * max(stretch, 1.0) ** 0.5), parents_per_mm2, rng)
    counts = rng.poisson(mean_count, len(centres))
    return window.within(offspring(centres, counts, spread_mm, rng, stretch=stretch, along_deg=along_deg))
