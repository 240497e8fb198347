"""What was asked of a machine and its plan doesn't make, as findings that break."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.base.findings import Finding, Report, Severity
from carvegen.checks import bed, wall
from carvegen.toolpaths.paths import Work
from carvegen.toolpaths.unmade.clamps import beside

if TYPE_CHECKING:
    from carvegen.blocks.job import Job
    from carvegen.geometry import PolygonArray
    from carvegen.toolpaths.paths import Operation, Plan

__all__ = ["RULE", "covered_cuts", "extent_mm", "not_through", "uncut_edge", "under_clamps"]

RULE = "not-cut"

_STRAIGHT = "name a straight cutter that fits (--also-cutter), or cut it by hand"
_ROOM_MM = 1e-3  #: by the grid of coordinates
_CLAMP = "move the clamp, or cut what it covers afterwards"


def not_through(job: Job, cut_outs: PolygonArray) -> Iterator[Finding]:
    """Cut-outs into which no straight cutter of the set goes."""
    why = "the cut-out is left out: no straight cutter of the set goes into it"
    yield from _uncut("no-straight-cutter", cut_outs, job.thickness_mm, why, _STRAIGHT)


def under_clamps(job: Job, no_go: PolygonArray) -> Iterator[Finding]:
    """Cut-outs that a clamp covers, wholly or in part."""
    cut_outs = job.block.cut_outs
    met = cut_outs[beside(cut_outs, no_go, 0.0)]
    why = "a clamp lies on the cut-out: it does not come free"
    yield from _uncut("clamp-on-cut-out", met, job.thickness_mm, why, _CLAMP)


def covered_cuts(job: Job, covered: PolygonArray) -> Iterator[Finding]:
    """Cuts, or parts of them, that a clamp covers."""
    why = "a clamp lies on the cut: what it covers stays standing and prints"
    yield from _uncut("clamp-on-cut", covered, job.depth_mm, why, _CLAMP)


def uncut_edge(job: Job, kind: str, why: str, remedy: str = _STRAIGHT) -> Finding:
    """The block that is not cut out of its sheet; `kind` names what keeps it."""
    return Finding(
        rule=RULE, kind=kind, severity=Severity.BREAKS, at=None, measured=0.0, limit=job.thickness_mm, unit="mm",
        why=why, remedy=remedy,
    )  # fmt: skip


def extent_mm(operations: tuple[Operation, ...]) -> tuple[float, float]:
    """How wide and how high the room is that the middle of the cutter takes in all operations."""
    points = [its.paths.xyz[:, :2] for its in operations if len(its.paths)]
    if not points:
        return 0.0, 0.0
    low = np.min([xy.min(axis=0) for xy in points], axis=0)
    high = np.max([xy.max(axis=0) for xy in points], axis=0)
    return float(high[0] - low[0]), float(high[1] - low[1])


def within_bed(plan: Plan) -> Plan:
    """The plan; without its paths, and with a finding that says so, if the bed has no room for them."""
    beyond = tuple(_beyond_bed(plan))
    if not beyond:
        return plan
    return replace(plan, operations=(), remarks=(f"No paths: {beyond[0].why}.",), findings=(*plan.findings, *beyond))


def with_plan(report: Report, plan: Plan) -> Report:
    """The findings on a job with those on its plan; the wall's angle is none where the plan slopes the wall."""
    sloped = any(its.work is Work.SHOULDER for its in plan.operations)
    kept = [its for its in report if not (sloped and its.rule == wall.RULE and its.severity is Severity.RISK)]
    return Report.of([*kept, *plan.findings])


def _beyond_bed(plan: Plan) -> Iterator[Finding]:
    """Paths that need more room than the bed has, whichever way the block lies on it."""
    width, height = plan.job.machine.bed_width_mm, plan.job.machine.bed_height_mm
    if width is None or height is None:
        return
    for needed, room in zip(sorted(extent_mm(plan.operations)), sorted((width, height)), strict=True):
        if needed > room + _ROOM_MM:
            yield Finding(
                rule=bed.RULE, kind="paths", severity=Severity.BREAKS, at=None, measured=needed, limit=room, unit="mm",
                why="the paths need more room than the machine's bed has: none are made",
                remedy="cut the block in two, take a narrower cutter, or describe a larger machine in a profile",
            )  # fmt: skip


def _uncut(kind: str, shapes: PolygonArray, depth_mm: float, why: str, remedy: str) -> Iterator[Finding]:
    for x, y in shapely.get_coordinates(shapely.point_on_surface(shapes)).tolist():
        yield Finding(
            rule=RULE, kind=kind, severity=Severity.BREAKS, at=(x, y), measured=0.0, limit=depth_mm, unit="mm",
            why=why, remedy=remedy,
        )  # fmt: skip
