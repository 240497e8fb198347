"""Random points in a window, of even chance everywhere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats

__all__ = ["Window", "poisson"]


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
