"""What several checks measure on one job, measured once."""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import Narrow, Spread, narrow_spread

if TYPE_CHECKING:
    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["TOLERANCE_MM", "Survey"]

#: A place this much too narrow is none: coordinates lie on a grid of 1 µm.
TOLERANCE_MM = 0.002


class Survey:
    """A job, the narrow places of its land, and what its cutter can't reach.

    Where slender land is asked for, too, it is measured first: where there is none, no land is narrow.
    """

    def __init__(self, job: Job, *, slender: bool = True) -> None:
        self.job = job
        self._slender = slender

    @property
    def narrow_lands(self) -> Narrow:
        """Every place where the land is narrower than the material wants, at its face or for its foot."""
        return self.narrow_spread.places

    @cached_property
    def narrow_spread(self) -> Spread:
        """The same places with how far each goes."""
        wider = self._slender_spread if self._slender else None
        if wider is not None and len(wider.thin) + len(wider.places) == 0:
            return wider
        return narrow_spread(self.job.block.land_rings, self.job.lasting_limits.land_mm, limit_at=self._wanted)

    @property
    def slender_lands(self) -> Narrow:
        """Places where the land is wide enough to last, but slender at this depth.

        One that goes on into land too narrow to last is `narrow_lands`' alone.
        """
        if self._slender_spread is None:
            return self.narrow_lands.chosen(np.empty(0, dtype=np.int64))
        found = self._slender_spread.places
        return found.chosen(np.flatnonzero(found.width >= self._wanted(found.direction_deg)))

    @cached_property
    def _slender_spread(self) -> Spread | None:
        """Places narrower than lasts or than is stout; None where what lasts is stout, whatever its direction."""
        job = self.job
        face, stout = job.face_limits, job.stout_limits
        bevelled = job.block.bevelled  # walls with files of their own
        if bevelled or (stout.land_along_mm <= face.land_along_mm and stout.land_across_mm <= face.land_across_mm):
            return None

        def wanted(direction_deg: Floats) -> Floats:
            return np.maximum(self._wanted(direction_deg), stout.land_at(direction_deg) - TOLERANCE_MM)

        return narrow_spread(job.block.land_rings, job.limits.land_mm, limit_at=wanted)

    @cached_property
    def white(self) -> PolygonArray:
        """Cuts, then cut-outs."""
        return np.concatenate([self.job.block.cuts, self.job.block.cut_outs])

    @cached_property
    def shrunk(self) -> PolygonArray:
        """Where the middle of a round cutter as wide as the smallest cut may go, for each of `white`.

        GEOS (3.14) now and then loses a shape at one distance and not at the next: what vanishes is tried again,
        narrower by a hair.
        """
        cut = self.job.face_limits.cut_mm - TOLERANCE_MM
        shrunk = geometry.offset(self.white, -cut / 2)
        gone = np.flatnonzero(shapely.is_empty(shrunk))
        shrunk[gone] = geometry.offset(self.white[gone], -(cut - TOLERANCE_MM / 2) / 2)
        return shrunk

    @cached_property
    def reached(self) -> PolygonArray:
        """What the round cutter makes of each of `white` (its opening by the cutter's disc); may be empty or in parts.

        Its circles are drawn round the disc, not into it: parts of one cut that meet are not taken for two.
        """
        half = self.job.face_limits.cut_mm / 2
        return geometry.offset(self.shrunk, half / np.cos(np.pi / 4 / _SEGMENTS), quad_segs=_SEGMENTS)

    @cached_property
    def broken(self) -> Mask:
        """Which of `white` the cutter can't make in one piece; those that a hair's narrower one passes whole can."""
        broken: Mask = shapely.is_empty(self.shrunk) | (shapely.get_num_geometries(self.reached) > 1)
        doubtful = np.flatnonzero(broken)
        hair = geometry.offset(self.white[doubtful], -(self.job.face_limits.cut_mm - 2 * TOLERANCE_MM) / 2)
        broken[doubtful] = shapely.is_empty(hair) | (shapely.get_num_geometries(hair) > 1)
        return broken

    @cached_property
    def uncut(self) -> PolygonArray:
        """What stays standing of each of `white` because the cutter does not reach it; may be empty shapes."""
        half = self.job.face_limits.cut_mm / 2
        beyond = half / np.cos(np.pi / 4 / _SEGMENTS) - (half - TOLERANCE_MM / 2)
        missed = shapely.area(self.white) - shapely.area(self.reached) + beyond * shapely.length(self.white)
        missed = missed > _CORNER * half**2
        left = np.full(len(self.white), shapely.Polygon(), dtype=object)
        left[missed] = shapely.difference(self.white[missed], self.reached[missed])
        return left

    def _wanted(self, direction_deg: Floats) -> Floats:
        """The narrowest land that lasts, by its direction; a little less, for rounding."""
        foot = self.job.foot_limits.land_at(direction_deg) - 2 * self.job.wall.foot_gain_mm
        return np.maximum(self.job.face_limits.land_at(direction_deg), foot) - TOLERANCE_MM


#: A shape is looked at closely where more than so many cutter radii squared stay uncut: four square corners leave
#: 4 r² (1 - π/4) = 0.86 r².
_CORNER = 1.0

_SEGMENTS = 8  #: of a quarter of a circle
