"""The sky: where snow falls, the room that cuts and land take, and how large flakes are."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.nature.outlines import SMALLEST_REACH
from carvegen.nature.points import Window

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats
    from carvegen.growth import Place
    from carvegen.limits import Limits
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["FILLED", "Sky", "radii"]

FILLED = 0.74  #: a flake's area over its disc's, on average; steers the supply only
_SLACK_MM = 0.004  #: snapping to the grid may move each of two outlines by less than half of this
_CROWDING = 2.5  #: how fast more are drawn than needed when they lie crowded; found by trying
_ROOMY = 1.2  #: what flakes keep beyond the land in an open sky, on average, in lands
_CROWDED = 0.22  #: share of snow from which on they keep none
_ROUNDING = 1.02  #: makes up for circles drawn as polygons, and for outlines that GEOS smooths by 1 % of an offset


class Sky:
    """The settings, where the snow falls, and what follows from both."""

    def __init__(self, settings: Settings, place: Place, limits: Limits) -> None:
        self.settings, self.place, self.area, self.limits = settings, place, place.area, limits
        shapely.prepare(self.area)
        self.heart = shapely.buffer(self.area, -(max(settings.largest_mm, 2 * limits.cut_mm) + limits.land_mm))
        shapely.prepare(self.heart)
        self.window = Window(*(float(side) for side in shapely.bounds(self.area)))
        self.gap = limits.land_mm * _ROUNDING + _SLACK_MM
        self.passes = limits.cut_mm / 2 * _ROUNDING + geometry.GRID_MM
        self.least = max(settings.smallest_mm / 2, self.passes / SMALLEST_REACH)
        self.most = max(settings.largest_mm / 2, self.least)
        self.wind = {"stretch": 1 + 4 * settings.wind**1.3, "along_deg": settings.wind_towards_deg}
        towards = np.radians(settings.wind_towards_deg)
        self.across = np.array([-np.sin(towards), np.cos(towards)])
        self.uneven = 1 - (1 - settings.clumping) * (1 - settings.calm)
        self.typical = 2 * (self.least * self.most) ** 0.5 + self.gap
        self.beside = self.gap if settings.cut_at_edge else _SLACK_MM
        self.roomy = _ROOMY * float(np.clip(1 - settings.snow / _CROWDED, 0, 1))
        self.kept = self._kept()
        self.usual = self.first_supply(settings.snow * float(shapely.area(self.area)))

    def _kept(self) -> shapely.STRtree | None:
        """The area's edges that don't lie on the sides of its window: what is kept clear."""
        edge = geometry.rings(geometry.parts(self.area))
        start, end = edge.xy, edge.xy[edge.edge_ends]
        inner = self.window.depth((start + end) / 2) > geometry.GRID_MM
        return shapely.STRtree(geometry.lines(start[inner], end[inner])) if inner.any() else None

    def first_supply(self, target_mm2: float) -> float:
        """How many flakes to draw at first: the more, the more crowded they will lie with their gaps."""
        sample = radii(self, 2000, np.random.Generator(np.random.PCG64(1)))
        count = target_mm2 / float(FILLED * np.pi * (sample**2).mean())
        halo = (0.5 + self.roomy) * self.gap
        crowded = count * np.pi * float(((sample + halo) ** 2).mean()) / float(shapely.area(self.area))
        return count * 4.0 * (1 + (_CROWDING * crowded) ** 2)


def radii(sky: Sky, count: int, rng: Generator) -> Floats:
    """Disc radii: of flakes alike far, a log-normal bell; of near and far ones, a power law.

    Flakes of one size spread evenly through the air at distances z look 1/z as large and are seen z² as
    often, so their sizes s on the picture are found as ``s^-4 ds`` (plane perspective; own derivation).
    """
    low, high = sky.least, sky.most
    even = np.exp(rng.normal(np.log(low * high) / 2, 0.2 * np.log(max(high / low, 1.0001)), count))
    power = low * (1 - rng.random(count) * (1 - (low / high) ** 3)) ** (-1 / 3)
    far = rng.random(count) < sky.settings.near_far
    return np.clip(np.where(far, power * np.exp(rng.normal(0, 0.1, count)), even), low, high)
