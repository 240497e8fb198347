"""The smallest changes to the cuts that clear what the checks found.

Round by round: a neck between two cuts is widened by moving both walls back, locally; one that is hopeless is
given up and the cuts are joined; inlets, tips and islands of land that can't last are filled; cuts that the cutter
can't make are rounded, parted or left out. What is marked as fixed is never touched.
"""

from __future__ import annotations

from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks import checked
from carvegen.checks.islands import islands_of
from carvegen.checks.survey import Survey
from carvegen.findings import Report, Severity
from carvegen.narrow import Kind

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.block import Block
    from carvegen.geometry import PolygonArray
    from carvegen.job import Job

__all__ = ["Change", "Mended", "mended"]

_ROUNDS = 12
_HOPELESS = 0.2  #: a neck narrower than this share of what is wanted is joined rather than widened
_SPARE_MM = 0.012  #: so much more than needed is moved: circles are drawn as polygons and snapped
_SMOOTH_MM = 0.002  #: changed outlines may be simplified so far; GEOS may stray up to 1.7 times as far
_AT_WALL_MM = 0.005  #: a wall this near belongs to the cut


@dataclass(frozen=True, kw_only=True)
class Change:
    """One change to the cuts."""

    what: str  #: "widened", "joined", "filled", "rounded" or "left out"
    at: tuple[float, float]  #: print view, mm
    white_mm2: float  #: how much more (or, below 0, less) is cut


@dataclass(frozen=True, kw_only=True, eq=False)
class Mended:
    """A job whose cuts have been mended, what was changed, and what is left."""

    job: Job
    changes: tuple[Change, ...]
    left: Report  #: findings that break a limit all the same


def mended(job: Job, *, fixed: Collection[int] = (), say: Callable[[str], None] = lambda _: None) -> Mended:
    """The job with its cuts mended until no check of land or cut breaks, or nothing more can be done.

    Parameters
    ----------
    fixed
        Numbers of cuts (0 is the first) that must stay as they are. Cut-outs always stay.
    """
    bench = _Bench(job, frozenset(fixed))
    for number in range(_ROUNDS):
        survey = Survey(bench.job)
        if not bench.mend(survey):
            break
        say(f"mending, round {number + 1}")
    left = Report.of(found for found in checked(bench.job) if found.severity is Severity.BREAKS)
    return Mended(job=bench.job, changes=tuple(bench.changes), left=left)


class _Bench:
    """The cuts on the bench, with what has been done to them so far."""

    def __init__(self, job: Job, fixed: frozenset[int]) -> None:
        self.job = job
        self.cuts: list[BaseGeometry] = list(job.block.cuts)
        self.fixed = [number in fixed for number in range(len(self.cuts))]
        self._as_given = {id(shape) for shape in self.cuts}
        self.changes: list[Change] = []
        self.land = job.limits.land_mm
        self.cut = job.face_limits.cut_mm

    def mend(self, survey: Survey) -> bool:
        """Mend what the survey shows; whether anything was changed."""
        before = len(self.changes)
        self._mend_cuts(survey)
        self._mend_lands(survey)
        self._fill_islands()
        if len(self.changes) > before:
            self._lay_out()
        return len(self.changes) > before

    def _mend_cuts(self, survey: Survey) -> None:
        """Round, part or leave out cuts that the cutter can't make."""
        shrunk = survey.shrunk[: len(self.cuts)]
        broken = shapely.is_empty(shrunk) | (shapely.get_num_geometries(shrunk) > 1)
        for k in np.flatnonzero(broken).tolist():
            self._put(k, geometry.offset(shrunk[k : k + 1], self.cut / 2)[0], "rounded")

    def _mend_lands(self, survey: Survey) -> None:
        found = survey.narrow_lands
        inner = self.job.block.wall_cuts
        ones = self._owners(found.at, inner[found.first])
        others = self._owners(found.to, inner[found.second])
        wanted = self.job.limits.land_at(found.direction_deg) + _SPARE_MM
        for k, (one, other) in enumerate(zip(ones, others, strict=True)):
            width, lack = float(found.width[k]), float(wanted[k] - found.width[k])
            reach = found.length[k] / 2 + 2 * self.land
            middle = (found.at[k] + found.to[k]) / 2
            window = shapely.box(*(middle - reach), *(middle + reach))
            if found.kind[k] == Kind.NECK and one != other:
                self._widen(one, other, window, width, lack)
            elif found.kind[k] == Kind.TIP or width < lack:
                self._fill([one, other], window)
            else:
                self._thicken([one, other], window, lack)

    def _owners(self, points: geometry.Floats, inner: geometry.Indices) -> list[int]:
        """The cut at whose wall each point lies; -1 where it is the edge or a cut-out.

        `inner` tells it for walls inside the face; a wall of the face itself may be that of a cut open to it.
        """
        if not self.cuts or len(points) == 0:
            return [int(k) for k in inner]
        tree = shapely.STRtree(self.cuts)
        (_, number), away = tree.query_nearest(geometry.dots(points), return_distance=True, all_matches=False)
        owners: list[int] = np.where((inner < 0) & (away <= _AT_WALL_MM), number, inner).tolist()
        return owners

    def _movable(self, numbers: Collection[int]) -> list[int]:
        return [k for k in dict.fromkeys(numbers) if k >= 0 and not self.fixed[k] and not self.cuts[k].is_empty]

    def _widen(self, one: int, other: int, window: BaseGeometry, width: float, lack: float) -> None:
        """Move the walls of a neck back by what it lacks, each by half where both may move; or join the cuts."""
        movable = self._movable([one, other])
        if len(movable) == 2 and width < _HOPELESS * self.land:
            self._join(one, other, window)
            return
        away = width + lack / 2 if len(movable) == 2 else width + lack
        for k in movable:
            facing = self._facing(other if k == one else one, window)
            self._put(k, shapely.difference(self.cuts[k], facing.buffer(away, quad_segs=16)), "widened", window)
            away = width + lack

    def _facing(self, number: int, window: BaseGeometry) -> BaseGeometry:
        """What lies across a neck, near it: a cut, or all that is not the block's face."""
        if number >= 0:
            return shapely.intersection(self.cuts[number], window)
        outside = shapely.difference(window, self.job.block.face)
        near = [outside, *(shapely.intersection(shape, window) for shape in self.job.block.cut_outs)]
        return shapely.union_all(near)

    def _join(self, one: int, other: int, window: BaseGeometry) -> None:
        both = shapely.union(self.cuts[one], self.cuts[other])
        self._put(other, shapely.Polygon(), "")
        self._put(one, shapely.union(both, self._closed(both, window)), "joined", window)

    def _fill(self, numbers: list[int], window: BaseGeometry) -> None:
        """Fill what the land has there that is too thin: the closing of the cuts by half the land."""
        movable = self._movable(numbers)
        if not movable:
            return
        beside = [self._facing(k, window) for k in numbers]
        filled = shapely.difference(self._closed(shapely.union_all(beside), window), shapely.union_all(beside))
        inside = shapely.intersection(filled, self.job.block.face)
        self._put(movable[0], shapely.union(self.cuts[movable[0]], inside), "filled", window)

    def _thicken(self, numbers: list[int], window: BaseGeometry, lack: float) -> None:
        """Move the walls of land that is too thin outwards by half of what it lacks."""
        movable = self._movable(numbers)
        if not movable:
            return
        white = shapely.union_all([self._facing(k, window) for k in [*movable, -1]])
        land = shapely.difference(window, white)
        half = self.land / 2
        thin = shapely.difference(land, land.buffer(-half, quad_segs=16).buffer(half, quad_segs=16))
        grown = shapely.buffer(thin, lack / 2 + _SPARE_MM / 2, quad_segs=16)
        for k in movable:
            self._put(k, shapely.difference(self.cuts[k], grown), "widened", window)

    def _closed(self, shape: BaseGeometry, window: BaseGeometry) -> BaseGeometry:
        half = self.land / 2 + _SPARE_MM
        near = shapely.intersection(shape, window)
        return near.buffer(half, quad_segs=16).buffer(-half, quad_segs=16)

    def _fill_islands(self) -> None:
        """Fill islands of land that are smaller than the material allows."""
        islands = islands_of(geometry.polygon_array(shape for shape in self.cuts if not shape.is_empty))
        small = islands[2 * np.sqrt(shapely.area(islands) / np.pi) < self.job.face_limits.dot_mm]
        for island in small:
            owner = self._owners(shapely.get_coordinates(island)[:1], np.full(1, -1))
            for k in self._movable(owner):
                self._put(k, shapely.union(self.cuts[k], island), "filled", island)

    def _put(self, k: int, shape: BaseGeometry, what: str, near: BaseGeometry | None = None) -> None:
        """Replace cut k; remember what was done where."""
        old = self.cuts[k]
        if shapely.equals_exact(old, shape, tolerance=0):
            return
        self.cuts[k] = shape
        if what and not self.fixed[k]:
            point = shapely.centroid(near if near is not None else old)
            word = "left out" if shape.is_empty else what
            change = float(shapely.area(shape) - shapely.area(old))
            self.changes.append(Change(what=word, at=(round(point.x, 3), round(point.y, 3)), white_mm2=change))

    def _block(self, cuts: list[BaseGeometry], fixed: list[bool]) -> Block:
        numbers = frozenset(k for k, stays in enumerate(fixed) if stays)
        return replace(self.job.block, cuts=geometry.polygon_array(cuts), fixed=numbers)

    def _lay_out(self) -> None:
        """Take the changed cuts as they are now: parted, on the grid, without what the cutter can't make."""
        cuts: list[BaseGeometry] = []
        fixed: list[bool] = []
        for shape, stays in zip(self.cuts, self.fixed, strict=True):
            pieces: PolygonArray = geometry.polygon_array([shape])
            if not stays and id(shape) not in self._as_given:
                pieces = geometry.snapped(geometry.parts(shapely.simplify(pieces, _SMOOTH_MM)))
            cuts += list(pieces)
            fixed += [stays] * len(pieces)
        self.cuts, self.fixed = cuts, fixed
        self._as_given = {id(shape) for shape in cuts}
        self.job = replace(self.job, block=self._block(cuts, fixed))
