"""What several checks measure on one job, measured once."""

from __future__ import annotations

from functools import cached_property
from itertools import compress
from typing import TYPE_CHECKING, cast

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import FINE, Narrow, Spread, narrow_spread

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = ["TOLERANCE_MM", "Reach", "Reached", "Survey"]

#: A place this much too narrow is none: coordinates lie on a grid of 1 µm.
TOLERANCE_MM = 0.002


class Survey:
    """A job, the narrow places of its land, and what its cutter can't reach.

    Where slender land is asked for, too, it is measured first: where there is none, no land is narrow. `fine` as in
    `narrow_spread`. `known` keeps what the cutter makes of each shape for the survey of the next, changed job; shapes
    that this one lacks are dropped from it, but not those for a cutter of another width.
    """

    def __init__(
        self, job: Job, *, slender: bool = True, fine: int = FINE, known: dict[tuple[int, float], Reached] | None = None
    ) -> None:
        self.job, self._known = job, known
        self._slender, self._fine = slender, fine

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
        rings, limit = self.job.block.land_rings, self.job.lasting_limits.land_mm
        return narrow_spread(rings, limit, limit_at=self._wanted, fine=self._fine)

    @property
    def slender_lands(self) -> Narrow:
        """Places where the land is wide enough to last, but slender at this depth.

        One that goes on into land too narrow to last is `narrow_lands`' alone.
        """
        if self._slender_spread is None:
            return self.narrow_lands.chosen(np.empty(0, dtype=np.int64))
        places = self._slender_spread.places
        return places.chosen(np.flatnonzero(places.width >= self._wanted(places.direction_deg)))

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

        return narrow_spread(job.block.land_rings, job.limits.land_mm, limit_at=wanted, fine=self._fine)

    @cached_property
    def white(self) -> PolygonArray:
        """Cuts, then cut-outs."""
        return np.concatenate([self.job.block.cuts, self.job.block.cut_outs])

    @cached_property
    def doubtful(self) -> Indices:
        """Numbers of those of `white` that the round cutter may not cut in one piece, tips short of its width and all.

        Be r the cutter's radius. From everywhere in a disc of the radius c ≥ r all of a shape is in sight, and it
        reaches d from the disc's middle. Where the cutter fits, it fits on the whole way to that middle: between two
        discs of the radius r inside, all lies in the shape. So what it cuts is one piece. In the cone from the disc to
        a place at d it comes as near to that as r d / c - r, which is no more than its width where d ≤ 3 c (plane
        geometry; own derivation).
        """
        seen, far = self.job.block.star_radii
        plain = (seen > self.job.face_limits.cut_mm / 2 + TOLERANCE_MM) & (far < _NEAR * seen)
        return np.flatnonzero(~plain)

    @cached_property
    def reach(self) -> Reach:
        """What the cutter makes of each of the doubtful ones."""
        return Reach(self.white[self.doubtful], self.job.face_limits.cut_mm, self._known)

    @cached_property
    def broken(self) -> Mask:
        """Which of `white` the cutter can't make in one piece; those that a hair's narrower one passes whole can."""
        broken = np.zeros(len(self.white), dtype=bool)
        broken[self.doubtful[self.reach.broken]] = True
        return broken

    def shrunk(self, number: int) -> BaseGeometry:
        """Where the middle of the cutter may go in a broken one of `white`."""
        return cast("BaseGeometry", self.reach.shrunk[np.searchsorted(self.doubtful, number)])

    def reached(self, number: int) -> BaseGeometry:
        """What it makes of a broken one of `white`."""
        return cast("BaseGeometry", self.reach.reached[np.searchsorted(self.doubtful, number)])

    def uncut(self, number: int) -> BaseGeometry:
        """What stays standing of a broken one of `white`; may hold lines and points."""
        k = np.searchsorted(self.doubtful, number)
        return cast("BaseGeometry", shapely.difference(self.reach.shapes[k], self.reach.reached[k]))

    def _wanted(self, direction_deg: Floats) -> Floats:
        """The narrowest land that lasts, by its direction; a little less, for rounding."""
        foot = self.job.foot_limits.land_at(direction_deg) - 2 * self.job.wall.foot_gain_mm
        return np.maximum(self.job.face_limits.land_at(direction_deg), foot) - TOLERANCE_MM


#: A shape, which is kept so that its number stays its own; where the cutter's middle may go in it; what that makes.
Reached = tuple["BaseGeometry", "BaseGeometry", "BaseGeometry"]


class Reach:
    """What a round cutter as wide as the smallest cut makes of shapes."""

    def __init__(
        self, shapes: PolygonArray, cut_mm: float, known: dict[tuple[int, float], Reached] | None = None
    ) -> None:
        self._own, self._known, self._cut_mm = shapes, known, cut_mm
        self.shapes: PolygonArray = geometry.free_of_grid(shapes)

    @property
    def shrunk(self) -> PolygonArray:
        """Where the middle of a round cutter as wide as the smallest cut may go, for each of the shapes."""
        return self._both[0]

    @property
    def reached(self) -> PolygonArray:
        """What the round cutter makes of each of the shapes (the opening by its disc); may be empty or in parts."""
        return self._both[1]

    @cached_property
    def _both(self) -> tuple[PolygonArray, PolygonArray]:
        known = {} if self._known is None else self._known
        key = [(id(shape), self._cut_mm) for shape in self._own.tolist()]
        new = np.array([each not in known for each in key], dtype=bool)
        shrunk = self._shrunk(self.shapes[new])
        made = zip(self._own[new].tolist(), shrunk.tolist(), self._reached(shrunk).tolist(), strict=True)
        known |= zip(compress(key, new.tolist()), made, strict=True)
        ready = [known[each] for each in key]
        for each in [each for each in known.keys() - set(key) if each[1] == self._cut_mm]:
            del known[each]
        return geometry.polygon_array(each[1] for each in ready), geometry.polygon_array(each[2] for each in ready)

    def _shrunk(self, shapes: PolygonArray) -> PolygonArray:
        """Of some of the shapes.

        GEOS (3.14) now and then loses a shape at one distance and not at the next: what vanishes is tried again,
        narrower by a hair.
        """
        cut = self._cut_mm - TOLERANCE_MM
        shrunk = geometry.offset(shapes, -cut / 2)
        gone = np.flatnonzero(shapely.is_empty(shrunk))
        shrunk[gone] = geometry.offset(shapes[gone], -(cut - TOLERANCE_MM / 2) / 2)
        return shrunk

    def _reached(self, shrunk: PolygonArray) -> PolygonArray:
        """What comes of that.

        Its circles are drawn round the disc, not into it: parts of one cut that meet are not taken for two.
        """
        half = self._cut_mm / 2
        return geometry.offset(shrunk, half / np.cos(np.pi / 4 / _SEGMENTS), quad_segs=_SEGMENTS)

    @cached_property
    def broken(self) -> Mask:
        """Which of the shapes the cutter can't make in one piece; those that a hair's narrower one passes whole can."""
        broken: Mask = shapely.is_empty(self.shrunk) | (shapely.get_num_geometries(self.reached) > 1)
        doubtful = np.flatnonzero(broken)
        hair = geometry.offset(self.shapes[doubtful], -(self._cut_mm - 2 * TOLERANCE_MM) / 2)
        broken[doubtful] = shapely.is_empty(hair) | (shapely.get_num_geometries(hair) > 1)
        return broken

    @cached_property
    def uncut(self) -> PolygonArray:
        """What stays standing of each of the shapes because the cutter does not reach it; may be empty shapes."""
        half = self._cut_mm / 2
        beyond = half / np.cos(np.pi / 4 / _SEGMENTS) - (half - TOLERANCE_MM / 2)
        missed = shapely.area(self.shapes) - shapely.area(self.reached) + beyond * shapely.length(self.shapes)
        missed = missed > _CORNER * half**2
        left = np.full(len(self.shapes), shapely.Polygon(), dtype=object)
        left[missed] = shapely.difference(self.shapes[missed], self.reached[missed])
        return left


#: A shape is looked at closely where more than so many cutter radii squared stay uncut: four square corners leave
#: 4 r² (1 - π/4) = 0.86 r².
_CORNER = 1.0

_SEGMENTS = 8  #: of a quarter of a circle
_NEAR = 2.999  #: of the disc that sees a shape: no place farther off; a little less than 3, for rounding
