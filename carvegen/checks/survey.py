"""What several checks measure on one job, measured once."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.narrow import Narrow, narrow_places

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.job import Job

__all__ = ["TOLERANCE_MM", "Survey"]

#: A place this much too narrow is none: coordinates lie on a grid of 1 µm.
TOLERANCE_MM = 0.002


class Survey:
    """A job, the narrow places of its land, and what its cutter can't reach."""

    def __init__(self, job: Job) -> None:
        self.job = job

    @cached_property
    def narrow_lands(self) -> Narrow:
        """Every place where the land is narrower than the material wants, at its face or for its foot."""
        return narrow_places(self.job.block.land_rings, self._widest, limit_at=self._wanted)

    @cached_property
    def white(self) -> PolygonArray:
        """Cuts, then cut-outs."""
        return np.concatenate([self.job.block.cuts, self.job.block.cut_outs])

    @cached_property
    def shrunk(self) -> PolygonArray:
        """Where the middle of a round cutter as wide as the smallest cut may go, for each of `white`."""
        return geometry.offset(self.white, -(self.job.face_limits.cut_mm - TOLERANCE_MM) / 2)

    @cached_property
    def uncut(self) -> PolygonArray:
        """What stays standing of each of `white` because the cutter does not reach it; may be empty shapes.

        What a round cutter reaches is the morphological opening of the cut by its disc.
        """
        half = self.job.face_limits.cut_mm / 2
        reached = geometry.offset(self.shrunk, half)
        missed = shapely.area(self.white) - shapely.area(reached) > _CORNER * half**2
        left = np.full(len(self.white), shapely.Polygon(), dtype=object)
        left[missed] = shapely.difference(self.white[missed], reached[missed])
        return left

    def _wanted(self, direction_deg: Floats) -> Floats:
        """The narrowest land that lasts, by its direction; a little less, for rounding."""
        foot = self.job.material.foot_mm - 2 * self.job.wall.foot_gain_mm
        return np.maximum(self.job.face_limits.land_at(direction_deg), foot) - TOLERANCE_MM

    @property
    def _widest(self) -> float:
        return max(self.job.limits.land_mm, self.job.face_limits.land_mm)


#: A shape is looked at closely where more than so many cutter radii squared stay uncut: four square corners leave
#: 4 r² (1 - π/4) = 0.86 r².
_CORNER = 1.0
