"""What a router does with a V: centre lines in what is narrow, walls and a flat floor in what is wide."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.facts import cutting, feeds
from carvegen.toolpaths import cutter_centre_region
from carvegen.toolpaths.paths import Operation, Work, picked
from carvegen.toolpaths.router.planner import deepest_mm, router_plan
from carvegen.toolpaths.sequence.order import ordered
from carvegen.toolpaths.simplification import thinned
from carvegen.toolpaths.unmade import clamps, shortfalls
from carvegen.toolpaths.v_carving.centre_lines import centre_lines

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, Indices, PolygonArray
    from carvegen.toolpaths.paths import Paths, Plan
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["v_plan"]

_SHALLOW_MM = 0.3  #: a cut less deep fills with ink or is reached by a soft roller; common practice, no source
_SLIVER_MM = 0.02  #: the middle of the strip beside the block is out of reach by this: nothing is to be cut there
_SURELY = 0.7  #: of the least that is told: what buffers get wrong is less than the rest
_SCRATCH_MM = 0.02  #: what goes no deeper is left out; our own choice


def v_plan(job: Job, settings: PathSettings) -> Plan:
    """The plan of a job whose own cutter is a V.

    As `router_plan` has it where the V goes to the full depth; wherever the cut is narrower, and into every
    corner, by centre lines. What nothing reaches are corners sharper than the tip is blunt.
    """
    depth = deepest_mm(job)
    paths, barred = _lines(job, settings, depth)
    wide = router_plan(job, settings, compute_left=not len(paths) or len(barred) > 0)
    if not len(paths):
        return wide
    operations = sorted([*wide.operations, _operation(job, settings, paths, depth)], key=lambda its: _LATE[its.work])
    left = _unreached(job, geometry.stack([wide.unreached, wide.covered]) if len(barred) else None, barred)
    under = clamps.beside(left, settings.no_go, cutting.groove_mm(job.cutter, depth) / 2)
    remarks = (*wide.remarks, *clamps.about_covered(left[under]), *_remarks(paths))
    findings = (*wide.findings, *shortfalls.covered_cuts(job, left[under]))
    return shortfalls.within_bed(
        replace(
            wide, operations=tuple(operations), unreached=left[~under], covered=left[under], remarks=remarks,
            findings=findings,
        )
    )  # fmt: skip


_LATE = dict.fromkeys(Work, 0) | {Work.CUT_THROUGH: 1, Work.CUT_BLOCK: 2}  #: cut-outs come last


def _lines(job: Job, settings: PathSettings, depth_mm: float) -> tuple[Paths, PolygonArray]:
    """The centre lines in the order of their passes and of a short way, and where the V must not cut."""
    half = cutting.groove_mm(job.cutter, depth_mm) / 2
    barred = (
        geometry.parts(cutter_centre_region.grown(settings.no_go, half)) if len(settings.no_go) else geometry.empty()
    )
    ground, whole = cutter_centre_region.ground(
        job.block, half / 2
    )  # so narrow a strip beside it that slivers at the edge are lines
    zone = shapely.difference(_room(job, whole, half / 2 - _SLIVER_MM), shapely.union_all(barred))
    passes = _passes(job, settings, depth_mm)
    paths = centre_lines(geometry.parts(ground), job.cutter, depth_mm, passes=passes, zone=zone)
    paths = picked(paths, np.flatnonzero(_depths(paths) > _SCRATCH_MM))
    return ordered(paths, rank=_pass_numbers(paths, depth_mm / passes)), barred


def _room(job: Job, whole: PolygonArray, over_mm: float) -> shapely.Geometry:
    """The board, and a little beside it where a cut ends at its edge: that is no land, and a line runs out over it."""
    face = job.block.board
    edge = whole[~shapely.contains_properly(face, whole)]
    ends = cutter_centre_region.grown(shapely.intersection(shapely.boundary(face), edge), over_mm)
    return shapely.union(face, shapely.union_all(ends))


def _passes(job: Job, settings: PathSettings, depth_mm: float) -> int:
    deep = settings.pass_mm or feeds.pass_depth_mm(job.material.key, job.cutter)
    return max(1, math.ceil(depth_mm / deep - 1e-9))


def _pass_numbers(paths: Paths, step_mm: float) -> Indices:
    return np.ceil(_depths(paths) / step_mm - 1e-6).astype(np.int64)


def _depths(paths: Paths) -> Floats:
    """The deepest place of each path, mm."""
    if not len(paths):
        return np.empty(0)
    return np.asarray(-np.minimum.reduceat(paths.xyz[:, 2], paths.start[:-1]), dtype=np.float64)


def _operation(job: Job, settings: PathSettings, paths: Paths, depth_mm: float) -> Operation:
    passes = _passes(job, settings, depth_mm)
    often = "in one pass" if passes == 1 else f"in up to {passes} passes"
    deepest = float(_depths(paths).max())
    return Operation(
        name=f"{Work.CENTRE_LINE.value} {job.cutter.key}".upper(),
        work=Work.CENTRE_LINE,
        asks=f"follow in three dimensions, {often}: as deep as the cut is wide",
        cutter=job.cutter,
        paths=thinned(paths),
        depth_mm=deepest,
        pass_mm=min(depth_mm / passes, deepest),
    )


def _unreached(job: Job, left: PolygonArray | None, barred: PolygonArray) -> PolygonArray:
    """Corners that a V's blunt tip doesn't fill, and what may not be cut; `left`: by all at full depth, if computed.

    Most shapes have no such corner: where all that is a little inside lies a little beyond what the tip fills,
    nothing is left that is worth a word, and no overlay is needed.
    """
    blunt = job.cutter.values["tip_mm"] / 2
    wide, ground = cutter_centre_region.ground(job.block, blunt)
    grown = cutter_centre_region.least_mm(blunt) * _SURELY
    core = cutter_centre_region.shrunk(wide, blunt)
    doubtful = ~shapely.covers(
        cutter_centre_region.grown(core, blunt + grown), cutter_centre_region.shrunk(wide, grown)
    )
    if len(barred):
        doubtful |= shapely.intersects(wide, shapely.union_all(barred))
    filled = cutter_centre_region.without(
        cutter_centre_region.grown(core[doubtful], blunt) if blunt > 0 else wide[doubtful], barred
    )
    rest = shapely.difference(ground[doubtful], filled)
    if left is not None and len(left):
        _, home = shapely.STRtree(ground).query_nearest(shapely.point_on_surface(left), all_matches=False)
        its = np.flatnonzero(doubtful[home])
        place = np.cumsum(doubtful) - 1
        rest = shapely.difference(left[its], filled[place[home[its]]])
    elif left is not None:
        return left
    return cutter_centre_region.worth(*cutter_centre_region.pieces(rest), blunt)[0]


def _remarks(paths: Paths) -> Iterator[str]:
    depths = _depths(paths)
    shallow = int((depths < _SHALLOW_MM).sum())
    yield f"Centre lines are {depths.min():.2f} to {depths.max():.2f} mm deep: a V goes as deep as its cut is wide."
    if shallow:
        yield (
            f"{shallow} of {len(paths)} centre lines stay shallower than {_SHALLOW_MM:g} mm and may fill with ink: "
            "a sharper V goes deeper."
        )
    yield "Set the height of the V's point with care: 0.1 mm too deep makes every line wider."
