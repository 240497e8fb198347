"""What a plan really leaves of the block: land lost, cut missed, and what the checks say of it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Report, Severity
from carvegen.checks import checked, islands, land_width
from carvegen.toolpaths.paths import Work
from carvegen.toolpaths.simulation.height_raster import Relief, untouched
from carvegen.toolpaths.simulation.tool_sweep import groove_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.block import Block
    from carvegen.geometry import PolygonArray
    from carvegen.toolpaths.paths import Operation, Plan

__all__ = ["PX_MM", "Deviation", "Simulated", "new_findings", "simulated"]

PX_MM = 0.05  #: of the raster, unless the block is large
_PIXELS = 16_000_000  #: at most: 128 MB
_NOISE = 0.4  #: of a pixel: what is narrower is the error of outlines found on a raster
_NEARLY = 0.9  #: of the noise, for what needs no overlay
_RIM = 2.0  #: pixels along the block's edge within which narrow land is that error too
_SLACK_MM = 0.03  #: land narrower than planned by less is no finding: promised tolerance, and noise on both sides
_SAME_MM = 1.0  #: findings of one rule so near to one another are the same
_NOWHERE_MM = 9999.0  #: from a shape to its place if there is none at all
_STANDING = (land_width.RULE, islands.RULE)  #: rules on what is left standing


@dataclass(frozen=True, kw_only=True, eq=False)
class Deviation:
    """Where the block differs from the plan in one way: land that is lost, or cut that is missed."""

    places: PolygonArray
    worst_mm: float  #: how far the farthest of it lies from where the edge should be
    worst_at: tuple[float, float] | None  #: print view, mm

    @property
    def area_mm2(self) -> float:
        """All of it together."""
        return float(shapely.area(self.places).sum())

    def to_dict(self) -> dict[str, Any]:
        """The deviation as plain values, for JSON."""
        at = None if self.worst_at is None else [round(x, 3) for x in self.worst_at]
        return {
            "places": len(self.places), "area_mm2": round(self.area_mm2, 3), "worst_mm": round(self.worst_mm, 3),
            "worst_at_mm": at,
        }  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Simulated:
    """A block as the cutters leave it."""

    plan: Plan
    relief: Relief
    block: Block  #: the plan's block with the cuts that were really made

    @property
    def noise_mm(self) -> float:
        """What is narrower than this is not told."""
        return _NOISE * self.relief.px_mm

    @cached_property
    def lost(self) -> Deviation:
        """Land that was to stay."""
        return _deviation(_gone(self.block), _gone(self.plan.job.block), self.noise_mm)

    @cached_property
    def missed(self) -> Deviation:
        """Cut that stays standing, and prints."""
        return _deviation(_gone(self.plan.job.block), _gone(self.block), self.noise_mm)

    @cached_property
    def report(self) -> Report:
        """What the checks say of this block and did not say of the plan's."""
        return Report.of(new_findings(self))

    def to_dict(self) -> dict[str, Any]:
        """The figures as plain values, for JSON."""
        return {
            "pixel_mm": round(self.relief.px_mm, 4),
            "land_lost": self.lost.to_dict(),
            "cut_missed": self.missed.to_dict(),
            "new_findings": self.report.to_dict(),
        }


def simulated(plan: Plan, px_mm: float | None = None) -> Simulated:
    """Follow a plan with its cutters over a block.

    Parameters
    ----------
    px_mm
        The raster's resolution; `PX_MM`, or what memory holds, if not given. Outlines at the face are found far
        finer than it where walls are straight.
    """
    block = plan.job.block
    least = math.sqrt(block.width_mm * block.height_mm / _PIXELS)
    relief = untouched(block.width_mm, block.height_mm, max(PX_MM, least) if px_mm is None else px_mm)
    for operation in plan.operations:
        if operation.work not in (Work.SCORE, Work.CUT_THROUGH, Work.CUT_BLOCK):
            _work(relief, operation)
    cut_outs = _opened(plan, relief)
    cuts = shapely.difference(relief.outlines(), shapely.union_all(cut_outs))
    cuts, cut_outs = (_on_face(shapes, block, _NOISE * relief.px_mm) for shapes in (cuts, cut_outs))
    made = replace(block, cuts=cuts, cut_outs=cut_outs, fixed=frozenset())
    return Simulated(plan=plan, relief=relief, block=made)


def _work(relief: Relief, operation: Operation) -> None:
    relief.cut(operation.paths, operation.cutter, operation.depth_mm)
    if operation.area_lines_mm is not None:
        half = float(groove_of(operation.cutter, operation.depth_mm).half_mm(np.array([-operation.depth_mm]))[0])
        relief.lower(operation.paths, operation.depth_mm, half)


def _opened(plan: Plan, relief: Relief) -> PolygonArray:
    """What falls out or is cut away through the whole thickness: slots, and the cut-outs that they go round."""
    through = [operation for operation in plan.operations if operation.work is Work.CUT_THROUGH]
    if not through:
        return geometry.empty()
    block = plan.job.block
    slots = untouched(block.width_mm, block.height_mm, relief.px_mm)
    for operation in through:
        slots.cut(operation.paths, operation.cutter, operation.depth_mm)
    relief.height[slots.edge > 0] = -plan.job.thickness_mm
    slot_areas = slots.outlines()
    met = np.unique(shapely.STRtree(slot_areas).query(block.cut_outs, predicate="intersects")[0])
    return geometry.joined(geometry.stack([slot_areas, block.cut_outs[met]]))


def _on_face(shapes: PolygonArray, block: Block, noise_mm: float) -> PolygonArray:
    """What of the shapes lies on the face, but for slivers."""
    pieces = geometry.parts(shapely.intersection(geometry.snapped(geometry.parts(shapes)), block.face))
    return pieces[~shapely.is_empty(shapely.buffer(pieces, -noise_mm / 2, quad_segs=2))]


def new_findings(of: Simulated) -> Iterator[Finding]:
    """What breaks or may break of the land that is left, and is whole in the plan.

    Places that are narrow in the plan too count only if they came out narrower.
    """
    job = of.plan.job
    planned = _standing(checked(job))
    for finding in _standing(checked(replace(job, block=of.block))):
        clear = finding.measured < finding.limit - _SLACK_MM and not _at_rim(finding, of)
        if clear and not any(_same(finding, other) for other in planned):
            yield finding


def _at_rim(finding: Finding, of: Simulated) -> bool:
    """Whether it is as narrow as a pixel or two, at the block's edge, where the raster rounds corners off."""
    near = _RIM * of.relief.px_mm
    if finding.at is None or finding.measured > near:
        return False
    return bool(shapely.distance(of.block.face.exterior, shapely.Point(finding.at)) <= near)


def _standing(report: Report) -> list[Finding]:
    return [finding for finding in report if finding.rule in _STANDING and finding.severity is not Severity.ADVICE]


def _same(finding: Finding, planned: Finding) -> bool:
    if finding.rule != planned.rule or finding.at is None or planned.at is None:
        return False
    near = math.dist(finding.at, planned.at) <= _SAME_MM
    return near and planned.measured <= finding.measured + _SLACK_MM


def _gone(block: Block) -> PolygonArray:
    return geometry.joined(geometry.stack([block.cuts, block.cut_outs]))


def _deviation(more: PolygonArray, less: PolygonArray, noise_mm: float) -> Deviation:
    """What of the first shapes lies outside the second, without slivers that are but noise."""
    places = _differences(_beyond(more, less, noise_mm), less)
    core = shapely.buffer(places, -noise_mm / 2, quad_segs=2)
    wide = ~shapely.is_empty(core)
    places, core = places[wide], core[wide]
    places = geometry.parts(shapely.intersection(places, shapely.buffer(core, noise_mm, quad_segs=2)))
    points = shapely.get_coordinates(core)
    if not len(points):
        return Deviation(places=places, worst_mm=0.0, worst_at=None)
    if not len(less):
        off = np.full(len(points), _NOWHERE_MM)
    else:
        order, off = shapely.STRtree(less).query_nearest(geometry.dots(points), all_matches=False, return_distance=True)
        off = off[np.argsort(order[0])]
    worst = int(off.argmax())
    return Deviation(
        places=places,
        worst_mm=float(off[worst]) + noise_mm / 2,
        worst_at=(float(points[worst, 0]), float(points[worst, 1])),
    )


def _beyond(more: PolygonArray, less: PolygonArray, noise_mm: float) -> PolygonArray:
    """The first shapes that may have a place outside the second: not those whose inside lies in one of these.

    A disc of the noise's width outside it would have its middle there.
    """
    inside = shapely.buffer(more, -_NEARLY * noise_mm / 2, quad_segs=2)
    shapely.prepare(less)
    covered = shapely.STRtree(inside).query(less, predicate="covers")[1]
    inner = np.zeros(len(more), dtype=bool)
    inner[covered] = True
    return more[~inner]


def _differences(more: PolygonArray, less: PolygonArray) -> PolygonArray:
    """Each of the first shapes less those of the second that it meets."""
    own, other = shapely.STRtree(less).query(more, predicate="intersects")
    left = more.copy()
    order = np.argsort(own, kind="stable")
    owners, first = np.unique(own[order], return_index=True)
    met = np.split(less[other[order]], first[1:])
    zones = [shapes[0] if len(shapes) == 1 else shapely.union_all(shapes) for shapes in met]
    left[owners] = shapely.difference(more[owners], geometry.polygon_array(zones))
    return geometry.parts(left)
