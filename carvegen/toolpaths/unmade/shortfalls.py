"""What was asked of a machine and its plan doesn't make, as findings that break; and what clamps mean for a plan."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.checks import bed, wall
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.paths import Work

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from carvegen.blocks.job import Job
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = [
    "RULE", "about_covered", "about_cut_outs", "about_travel", "beside", "covered_cuts", "extent_mm", "not_through",
    "uncut_edge", "under_clamps", "with_plan", "within_bed",
]  # fmt: skip

RULE = "not-cut"

_STRAIGHT = "name a straight cutter that fits (--also-cutter), or cut it by hand"
_LONG_H = 2.0  #: hours from which on a plan's time is told among the findings: our own choice
_ROOM_MM = 1e-3  #: by the grid of coordinates
_BESIDE_MM = 0.02  #: what touches within this lies beside a clamp
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
    if not any(len(operation.paths) for operation in operations):
        return 0.0, 0.0
    x, y = (np.concatenate([operation.paths.xyz[:, side] for operation in operations]) for side in (0, 1))
    return float(np.ptp(x)), float(np.ptp(y))


def within_bed(plan: Plan) -> Plan:
    """The plan; without its paths, and with a finding that says so, if the bed has no room for them."""
    beyond = tuple(_beyond_bed(plan))
    if not beyond:
        return plan
    return replace(plan, operations=(), remarks=(f"No paths: {beyond[0].why}.",), findings=(*plan.findings, *beyond))


def with_plan(report: Report, plan: Plan) -> Report:
    """The findings on a job with those on its plan and its hours; the wall's angle is none where the plan slopes it."""
    sloped = any(operation.work is Work.SHOULDER for operation in plan.operations)
    kept = [each for each in report if not (sloped and each.rule == wall.RULE and each.severity is Severity.RISK)]
    return Report.of([*kept, *plan.findings, *_hours(plan)])


def _hours(plan: Plan) -> Iterator[Finding]:
    """A router's plan that takes hours for want of a straight cutter: a point clears floors in very fine steps."""
    clears = any(operation.work is Work.CLEAR for operation in plan.operations)
    straight = any(operation.cutter.form == "flat" for operation in plan.operations)
    if plan.job.machine.kind != "router" or not clears or straight:
        return
    hours = sum(time.whole_s for time in timing.times(plan) or ()) / 3600
    if hours > _LONG_H:
        key = plan.job.machine.usual_straight_cutter
        such = f', such as more_cutters = ["{key}"] in a print file' if key else ""
        yield Finding(
            rule="slow-cut", severity=Severity.RISK, at=None, measured=hours, limit=_LONG_H, unit="hours",
            why="a point clears wide floors in very fine steps, and someone must stay with the machine all the while",
            remedy=f"name a straight cutter besides{such}: it clears what it fits into far sooner",
        )  # fmt: skip


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


def beside(shapes: PolygonArray, no_go: PolygonArray, within_mm: float) -> Mask:
    """Which shapes lie within so far of where nothing may go; (n,)."""
    met = np.zeros(len(shapes), dtype=bool)
    met[shapely.STRtree(no_go).query(shapes, predicate="dwithin", distance=within_mm + _BESIDE_MM)[0]] = True
    return met


def about_covered(covered: PolygonArray) -> Iterator[str]:
    """Cuts, or parts of them, that stay because a clamp lies there."""
    if len(covered):
        area = float(shapely.area(covered).sum())
        places = "1 place stays" if len(covered) == 1 else f"{len(covered)} places stay"
        yield (
            f"{places} uncut under or beside a clamp, {area:.2f} mm² together: no other cutter gets there. Move the "
            "clamp and cut them afterwards, or clear them by hand; else they print."
        )


def about_cut_outs(cut_outs: PolygonArray, no_go: PolygonArray, within_mm: float) -> Iterator[str]:
    """Cut-outs whose lines are left out under a clamp."""
    met = int(beside(cut_outs, no_go, within_mm).sum())
    if met:
        which = "1 cut-out lies" if met == 1 else f"{met} cut-outs lie"
        yield (
            f"{which} wholly or in part under a clamp: what is covered is left out, and it does not come free. Move "
            "the clamp and cut the rest of it last."
        )


def about_travel(operations: Sequence[Operation], no_go: PolygonArray) -> Iterator[str]:
    """Moves from one line to the next over a clamp, with the tool that does not rise: a laser's."""
    if not len(no_go):
        return
    zone = shapely.union_all(no_go)
    shapely.prepare(zone)
    names = [operation.name for operation in operations if _passes_over(operation, zone)]
    if names:
        yield (
            f"The head passes over a clamp on its ways in {', '.join(names)}: a laser head can strike a clamp that "
            "stands higher than the face. Use clamps below the nozzle, move them out of the way, or fix the block "
            "another way."
        )


def _passes_over(operation: Operation, zone: shapely.Geometry) -> bool:
    """Whether the head crosses a zone: between lines, or as it goes line by line over the area's whole width."""
    paths = operation.paths
    if not len(paths):
        return False
    if operation.area_lines_mm is not None:
        return bool(shapely.intersects(zone, shapely.box(*paths.xyz[:, :2].min(axis=0), *paths.xyz[:, :2].max(axis=0))))
    return bool(shapely.intersects(zone, _moves_between(paths)).any())


def _moves_between(paths: Paths) -> PolygonArray:
    """The straight moves from each path's end to the next one's beginning."""
    return geometry.lines(paths.exits[:-1, :2], paths.entries[1:, :2])
