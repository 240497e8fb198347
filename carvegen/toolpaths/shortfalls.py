"""What was asked of a machine and its plan doesn't make, as findings that break."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.checks.bed import RULE as BED
from carvegen.findings import Finding, Severity
from carvegen.toolpaths.clamps import beside

if TYPE_CHECKING:
    from carvegen.geometry import PolygonArray
    from carvegen.job import Job
    from carvegen.toolpaths.paths import Operation

__all__ = ["RULE", "beyond_bed", "covered_cuts", "extent_mm", "not_through", "uncut_edge", "under_clamps"]

RULE = "not-cut"

_STRAIGHT = "name a straight cutter that fits (--also-cutter), or cut it by hand"
_CLAMP = "move the clamp, or cut what it covers afterwards"


def not_through(job: Job, cut_outs: PolygonArray) -> Iterator[Finding]:
    """Cut-outs into which no straight cutter of the set goes."""
    why = "the cut-out is left out: no straight cutter of the set goes into it"
    yield from _uncut(cut_outs, job.thickness_mm, why, _STRAIGHT)


def under_clamps(job: Job, no_go: PolygonArray) -> Iterator[Finding]:
    """Cut-outs that a clamp covers, wholly or in part."""
    cut_outs = job.block.cut_outs
    met = cut_outs[beside(cut_outs, no_go, 0.0)]
    yield from _uncut(met, job.thickness_mm, "a clamp lies on the cut-out: it does not come free", _CLAMP)


def covered_cuts(job: Job, covered: PolygonArray) -> Iterator[Finding]:
    """Cuts, or parts of them, that a clamp covers."""
    yield from _uncut(
        covered, job.depth_mm, "a clamp lies on the cut: what it covers stays standing and prints", _CLAMP
    )


def uncut_edge(job: Job, why: str, remedy: str = _STRAIGHT) -> Finding:
    """The block that is not cut out of its sheet."""
    return Finding(
        rule=RULE, severity=Severity.BREAKS, at=None, measured=0.0, limit=job.thickness_mm, unit="mm", why=why,
        remedy=remedy,
    )  # fmt: skip


def extent_mm(operations: tuple[Operation, ...]) -> tuple[float, float]:
    """How wide and how high the room is that the middle of the cutter takes in all operations."""
    points = [its.paths.xyz[:, :2] for its in operations if len(its.paths)]
    if not points:
        return 0.0, 0.0
    low = np.min([xy.min(axis=0) for xy in points], axis=0)
    high = np.max([xy.max(axis=0) for xy in points], axis=0)
    return float(high[0] - low[0]), float(high[1] - low[1])


def beyond_bed(job: Job, operations: tuple[Operation, ...]) -> Iterator[Finding]:
    """Paths that need more room than the bed has, whichever way the block lies on it."""
    width, height = job.machine.bed_width_mm, job.machine.bed_height_mm
    if width is None or height is None:
        return
    for needed, room in zip(sorted(extent_mm(operations)), sorted((width, height)), strict=True):
        if needed > room + 1e-6:
            yield Finding(
                rule=BED, severity=Severity.BREAKS, at=None, measured=needed, limit=room, unit="mm",
                why="the paths need more room than the machine's bed has: none are made",
                remedy="cut the block in two, take a narrower cutter, or describe a larger machine in a profile",
            )  # fmt: skip


def _uncut(shapes: PolygonArray, depth_mm: float, why: str, remedy: str) -> Iterator[Finding]:
    for x, y in shapely.get_coordinates(shapely.point_on_surface(shapes)).tolist():
        yield Finding(
            rule=RULE, severity=Severity.BREAKS, at=(x, y), measured=0.0, limit=depth_mm, unit="mm", why=why,
            remedy=remedy,
        )  # fmt: skip
