"""What a router does to a block: floors cleared, walls followed, cut-outs cut, a set of cutters one after another."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.progress import each_part, part, reached
from carvegen.facts import feeds
from carvegen.toolpaths import cutter_centre_region
from carvegen.toolpaths.fewer_points import thinned
from carvegen.toolpaths.paths import (
    Operation,
    Paths,
    Plan,
    Work,
    joined,
    picked,
)
from carvegen.toolpaths.router import remarks as wording
from carvegen.toolpaths.router.cut_through import (
    THROUGH_MM,
    best_cutters,
    block_ring,
    cut_round,
    cut_through,
)
from carvegen.toolpaths.router.floor_clearing import by_tour, nested, to_and_fro
from carvegen.toolpaths.router.pockets import pocketed
from carvegen.toolpaths.router.ramps import Descent, worked
from carvegen.toolpaths.router.wall_passes import along_cleared, climbing, walls_near
from carvegen.toolpaths.unmade import shortfalls

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.base.findings import Finding
    from carvegen.blocks.job import Job
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import Indices, Mask, PolygonArray
    from carvegen.toolpaths.cutter_centre_region import Fit
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["deepest_mm", "router_plan"]

_STEP = 0.35  #: from ring to ring, as a share of the width cleared; common practice for hard stuff, no source
_ALLOWANCE = 0.1  #: left beside the wall for the last cut along it, as a share of the cutter's width
_OVERLAP = 0.2  #: how far a smaller cutter goes beyond what a larger one left, as a share of its width
_UNDER = "; a board that may be cut lies under it"
_ROOM = 0.75  #: a flat cutter needs a way round at least this many of its diameters to ramp along; our own choice

_LOT = 4096  #: pieces of ground that are looked at together
#: Shares of a cutter's time that are gone before it clears: of the first, and of further ones, which ask what is left.
_FIRST, _FURTHER = 0.25, 0.75


def router_plan(
    job: Job, settings: PathSettings, *, compute_left: bool = True, ground: PolygonArray | None = None
) -> Plan:
    """The plan of a job for a router: the job's own cutter gives the wall, further ones help it.

    Wide cutters come first and clear what they can; each further one works only where those before it left
    something. The job's cutter goes along every wall that no cutter of the same flank has gone along. Paths are
    those of the middle of the cutter's tip; every pass is in them.

    Parameters
    ----------
    compute_left
        Whether to find what no cutter reaches; where other paths follow, it is not known yet.
    ground
        The pieces of ground, if they are known.

    Notes
    -----
    On the block, which is the mirror image of the print, walls lie on the right of the way: climb milling for a
    spindle that turns clockwise.
    """
    table = _Table(job, settings, compute_left, cutter_centre_region.ground(job.block) if ground is None else ground)
    operations: list[Operation] = []
    for fit, working in zip(table.fits, each_part([1.0] * len(table.fits)), strict=True):
        with working:
            operations += table.work(fit)
    operations += table.through()
    operations += table.round_block()
    left = table.unreached()
    under = shortfalls.beside(left, settings.no_go, table.widest_mm)
    remarks = table.remarks(operations, left[~under], left[under])
    findings = (
        *table.findings, *shortfalls.under_clamps(job, settings.no_go),
        *(shortfalls.covered_cuts(job, left[under]) if job.cutter.form != "v" else ()),
    )  # fmt: skip
    return shortfalls.within_bed(
        Plan(
            job=job, operations=tuple(operations), unreached=left[~under], covered=left[under], remarks=remarks,
            findings=findings,
        )
    )  # fmt: skip


def deepest_mm(job: Job) -> float:
    """How deep a cut may be: the job's depth, but never into what the material must keep under it."""
    return min(job.depth_mm, job.thickness_mm - job.material.floor_mm)


@dataclass(eq=False)
class _Table:
    """A block being planned: what is still to be reached, and by which cutters."""

    job: Job
    settings: PathSettings
    compute_left: bool
    ground: PolygonArray  #: aligned with all below
    fits: list[Fit] = field(init=False)
    depth_mm: float = field(init=False)
    wide: PolygonArray = field(init=False)  #: with the strip outside the block beside them
    floor: NDArray[np.object_] = field(init=False)  #: what no cutter has cleared yet; one alone does not ask
    face: NDArray[np.object_] = field(init=False)  #: what no cutter has touched at the face yet
    most_mm: float = field(init=False)  #: the farthest that a cutter keeps off the land
    not_through: int = 0  #: cut-outs that no cutter of the set does
    findings: list[Finding] = field(default_factory=list)  #: what was asked for and is not made
    begun: bool = False  #: whether a cutter of the wall's own flank has been along it

    def __post_init__(self) -> None:
        self.depth_mm = deepest_mm(self.job)
        own = self.job.cutter
        for cutter in self.settings.also_cutters:
            _check_fits(cutter, self.job)
        cutters = {cutter.key: cutter for cutter in (own, *self.settings.also_cutters)}.values()
        fits = [cutter_centre_region.fit(cutter, own, self.depth_mm) for cutter in cutters] if self.depth_mm > 0 else []
        self.fits = sorted(fits, key=lambda fit: (-fit.floor_mm, fit.cutter.key))
        self.most_mm = max((fit.inset_mm for fit in fits), default=0.0)
        self.wide, _ = cutter_centre_region.over_edge(self.ground, self.job.block, self.most_mm)
        self.face = self.ground.copy()
        waller = next((fit for fit in fits if fit.cutter is own), None)
        slope = waller.face_mm - waller.floor_mm if waller and len(fits) > 1 else 0.0
        self.floor = self._floor(slope) if slope > 0 else self.face.copy()

    def _floor(self, slope_mm: float) -> NDArray[np.object_]:
        """What lies at full depth: where the ground reaches the block's edge, no farther than that."""
        floor = cutter_centre_region.shrunk(self.wide, slope_mm)
        open_ = ~shapely.contains_properly(self.job.block.board, self.face)
        floor[open_] = shapely.intersection(floor[open_], self.face[open_])
        return floor

    def work(self, fit: Fit) -> list[Operation]:
        """What this cutter does, and what it leaves to the next."""
        centres = self._enterable(
            cutter_centre_region.centres(self.wide, self.job.block, fit.inset_mm, self._barred(fit)), fit
        )
        first = fit is self.fits[0]
        reached(0.1)
        with part(0.1, 0.2):
            walls = self._walls(centres, fit, None if first else self._near(fit, centres, self.floor))
        looked_at = _FIRST if first else _FURTHER
        with part(0.2, looked_at):
            region, _ = geometry.owned_parts(centres if first else self._inside(fit, centres))
        down = Descent(
            depth_mm=self.depth_mm, passes=self._passes(fit.cutter, self.depth_mm), ramp_deg=self.settings.ramp_deg
        )
        with part(looked_at, 0.9):
            cleared = self._cleared(region, fit, down)
        followed = self._followed(walls, region, geometry.owned_parts(centres)[0], fit, down)
        self._leave(centres, fit)
        return [
            self._operation(work, fit, paths, down, wording.ASKS[work])
            for work, paths in ((Work.CLEAR, cleared), (Work.WALL, followed)) if len(paths)
        ]  # fmt: skip

    def _near(self, fit: Fit, centres: NDArray[np.object_], rest: NDArray[np.object_]) -> NDArray[np.object_]:
        """Round what is left, where this cutter gets to."""
        rest = rest.copy()
        rest[shapely.is_empty(centres)] = shapely.Polygon()
        return cutter_centre_region.grown(rest, fit.floor_mm + 2 * _OVERLAP * fit.floor_mm)

    def _inside(self, fit: Fit, centres: NDArray[np.object_]) -> NDArray[np.object_]:
        """Where there is something left that the cutter's way along the walls doesn't clear."""
        lots = [slice(k, k + _LOT) for k in range(0, len(centres), _LOT)]
        inside = [np.empty(0, dtype=object)]
        for lot, looking in zip(lots, each_part([1.0] * len(lots)), strict=True):
            with looking:
                inside.append(self._inside_of(fit, centres[lot], self.floor[lot]))
        return np.concatenate(inside)

    def _inside_of(self, fit: Fit, centres: NDArray[np.object_], rest: NDArray[np.object_]) -> NDArray[np.object_]:
        if fit.walls:
            rest = cutter_centre_region.left(
                rest, cutter_centre_region.grown(shapely.boundary(centres), fit.floor_mm), fit.inset_mm
            )
        return np.asarray(shapely.intersection(centres, self._near(fit, centres, rest)), dtype=object)

    def _barred(self, fit: Fit) -> PolygonArray:
        return geometry.parts(cutter_centre_region.grown(geometry.free_of_grid(self.settings.no_go), fit.face_mm))

    def _enterable(self, centres: NDArray[np.object_], fit: Fit) -> NDArray[np.object_]:
        """The places into which the cutter gets down."""
        if self._plunges(fit):
            return centres
        parts, owner = geometry.owned_parts(centres)
        enough = shapely.length(shapely.get_exterior_ring(parts)) >= _ROOM * 2 * fit.face_mm
        return geometry.regrouped(parts[enough], owner[enough], len(centres))

    def _plunges(self, fit: Fit) -> bool:
        """Whether a cutter may go straight down: a point may, an end with edges only if it is said."""
        return fit.cutter.form != "flat" or self.settings.plunge

    def _leave(self, centres: NDArray[np.object_], fit: Fit) -> None:
        if fit is not self.fits[-1]:
            self.floor = cutter_centre_region.left(
                self.floor, cutter_centre_region.grown(centres, fit.floor_mm), fit.inset_mm
            )
        if self.compute_left:
            met = ~shapely.is_empty(centres)
            self.face[met] = shapely.difference(self.face[met], cutter_centre_region.grown(centres[met], fit.face_mm))
        self.begun |= fit.walls

    def _walls(self, centres: NDArray[np.object_], fit: Fit, near: NDArray[np.object_] | None) -> Paths:
        """Along the walls: all of them the first time, afterwards only what is left.

        What is left begins and ends where a larger cutter has been: there the cutter goes down through air.
        """
        parts, owner = geometry.owned_parts(centres if fit.walls else centres[:0])
        if near is None or not self.begun:
            flat, part = climbing(parts)
            return thinned(picked(flat, by_tour(flat, part)))
        flat = thinned(walls_near(parts, near[owner]))
        return picked(flat, by_tour(flat, np.arange(len(flat))))

    def _followed(self, flat: Paths, region: PolygonArray, room: PolygonArray, fit: Fit, down: Descent) -> Paths:
        """Walls with their passes; once at full depth where the floor beside them is cleared: no seam is left."""
        ramped = self._ramped(flat, fit) & flat.closed
        deep = worked(flat, down, ramped=ramped, room=room)
        if down.passes == 1:
            return deep
        off = 2 * self._allowance(fit)
        beside = along_cleared(flat, cutter_centre_region.grown(cutter_centre_region.shrunk(region, off / 2), off))
        once = worked(flat, replace(down, passes=1), ramped=ramped, room=room)
        return picked(joined([deep, once]), np.arange(len(flat)) + beside * len(flat))

    def _allowance(self, fit: Fit) -> float:
        """What clearing leaves beside the wall."""
        return min(_ALLOWANCE, _STEP) * 2 * fit.floor_mm if fit.walls else 0.0

    def _cleared(self, parts: PolygonArray, fit: Fit, down: Descent) -> Paths:
        """Over the floor, up to the allowance for the wall."""
        step, first = _STEP * 2 * fit.floor_mm, self._allowance(fit)
        if self.settings.cleared == "lines":
            flat, part = to_and_fro(parts, first, step)
            flat = picked(flat, by_tour(flat, part))
            return worked(flat, down, ramped=self._ramped(flat, fit))
        flat, part = nested(parts, first, step)
        flat = thinned(flat)
        ramped = self._ramped(flat, fit)
        if not self._plunges(fit):  # a smaller ring lies within reach of the one round it
            flat, part, ramped = picked(flat, np.flatnonzero(ramped)), part[ramped], ramped[ramped]
        order = by_tour(flat, part)
        return pocketed(picked(flat, order), part[order], parts, down, ramped=ramped[order])

    def _ramped(self, flat: Paths, fit: Fit) -> Mask:
        """Which paths are gone down along: a flat cutter's, where they are long enough."""
        if fit.cutter.form != "flat":
            return np.zeros(len(flat), dtype=bool)
        return np.asarray(~flat.closed | (flat.lengths >= _ROOM * 2 * fit.face_mm))

    def _operation(self, work: Work, fit: Fit, paths: Paths, down: Descent, what: str, *, more: str = "") -> Operation:
        through = work in (Work.CUT_THROUGH, Work.CUT_BLOCK)
        return Operation(
            name=f"{work.value} {fit.cutter.key}{more}".upper(),
            work=work,
            asks=f"{what}, {wording.in_passes(down.passes)}{_UNDER if through else ''}",
            cutter=fit.cutter,
            paths=paths,
            depth_mm=down.depth_mm,
            pass_mm=down.depth_mm / down.passes,
        )

    def _passes(self, cutter: Cutter, depth_mm: float) -> int:
        deep = self.settings.pass_mm or feeds.pass_depth_mm(self.job.material.key, cutter)
        return max(1, math.ceil(depth_mm / deep - 1e-9))

    @property
    def _straight(self) -> list[Fit]:
        """The straight cutters of the set, which cut through; also where the floor leaves no depth for an area."""
        chosen = (self.job.cutter, *self.settings.also_cutters)
        usual = () if self.job.through is None or self.settings.also_cutters else (self.job.through,)
        cutters = {cutter.key: cutter for cutter in (*chosen, *usual) if cutter.form == "flat"}
        fits = [cutter_centre_region.fit(cutter, cutter, self.job.depth_mm) for cutter in cutters.values()]
        return sorted(fits, key=lambda fit: (-fit.face_mm, fit.cutter.key))

    def _descent(self, fit: Fit) -> Descent:
        depth = self.job.thickness_mm + THROUGH_MM
        return Descent(depth_mm=depth, passes=self._passes(fit.cutter, depth), ramp_deg=self.settings.ramp_deg)

    def through(self) -> list[Operation]:
        """Cut-outs by the straight cutters of the set, what lies inside another first."""
        cut_outs, straight = geometry.free_of_grid(self.job.block.cut_outs), self._straight
        if not len(cut_outs):
            return []
        barred = [self._barred(fit) for fit in straight]
        regions = [
            self._enterable(cutter_centre_region.without(cutter_centre_region.shrunk(cut_outs, fit.face_mm), zone), fit)
            for fit, zone in zip(straight, barred, strict=True)
        ]
        chosen = np.array(best_cutters(cut_outs, straight, regions)) if straight else np.full(len(cut_outs), -1)
        left = cut_outs[(chosen < 0) & ~shortfalls.beside(cut_outs, self.settings.no_go, 0.0)]
        self.not_through = len(left)
        self.findings += shortfalls.not_through(self.job, left)
        level = _levels(cut_outs)
        operations = []
        for depth in sorted(set(level.tolist()), reverse=True):
            for k, fit in enumerate(straight):
                down = self._descent(fit)
                own = regions[k][(chosen == k) & (level == depth)]
                paths = cut_through(own, fit, down, self.job.thickness_mm, tabs=self.settings.tabs)
                if len(paths):
                    name = f" LEVEL {depth}" if depth else ""
                    operations.append(
                        self._operation(Work.CUT_THROUGH, fit, paths, down, "cut through the block", more=name)
                    )
        return operations

    def round_block(self) -> list[Operation]:
        """The block cut out of a larger sheet, last of all, by the widest straight cutter of the set."""
        if not self.settings.cut_edge:
            return []
        straight = self._straight
        if not straight:
            why = "the block is not cut out: the set has no straight cutter"
            self.findings.append(shortfalls.uncut_edge(self.job, "no-straight-cutter", why))
            return []
        fit = straight[0]
        ring = block_ring(self.job.block, fit)
        if len(self.settings.no_go) and shapely.intersects(ring, shapely.union_all(self._barred(fit))):
            why = "the block is not cut out: a clamp lies in the way of its edge"
            remedy = "move the clamp, or cut the block out afterwards"
            self.findings.append(shortfalls.uncut_edge(self.job, "clamp", why, remedy))
            return []
        down = self._descent(fit)
        paths = cut_round(ring, fit, down, self.job.thickness_mm, tabs=self.settings.tabs)
        return [self._operation(Work.CUT_BLOCK, fit, paths, down, "last of all: cut the block out of its sheet")]

    def unreached(self) -> PolygonArray:
        """What is to be cut and no cutter of the set touches at the face."""
        if not self.compute_left:
            return geometry.empty()
        rest, owner = geometry.owned_parts(self.face)
        return cutter_centre_region.worth(rest, owner, self.most_mm)[0]

    @property
    def widest_mm(self) -> float:
        """Half the width at the face of the widest cutter."""
        return max((fit.face_mm for fit in self.fits), default=0.0)

    def remarks(self, operations: list[Operation], unreached: PolygonArray, covered: PolygonArray) -> tuple[str, ...]:
        """What the operator must know of the plan; of a V's corners whoever carves them tells."""
        job, settings = self.job, self.settings
        left, under = (geometry.empty() if job.cutter.form == "v" else places for places in (unreached, covered))
        return (
            *wording.about_depth(job, self.depth_mm),
            *wording.about_paths(job, operations, settings, self.fits),
            *wording.about_unreached(left, self.not_through),
            *shortfalls.about_covered(under),
            *wording.about_barred(job, settings, self.widest_mm),
            *shortfalls.about_cut_outs(job.block.cut_outs, settings.no_go, self.widest_mm),
        )


def _levels(cut_outs: PolygonArray) -> Indices:
    """In what falls out of how many others each cut-out lies; (n,)."""
    inner, _ = shapely.STRtree(geometry.filled(cut_outs)).query(cut_outs, predicate="within")
    return np.bincount(inner, minlength=len(cut_outs)) - 1


def _check_fits(cutter: Cutter, job: Job) -> None:
    if job.machine.kind not in cutter.machines:
        raise InputError(
            f"goes into: {', '.join(cutter.machines)}; not into {job.machine.key}",
            value=cutter.key, field="also_cutters", hint="choose a cutter for this machine: carvegen profiles list",
        )  # fmt: skip
