"""What a router does with a V: middles of what is narrow, walls and floors of what is wide; and what its tip leaves."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part, reached
from carvegen.facts import cutting, feeds
from carvegen.geometry.edges import either
from carvegen.geometry.medial import medial_axis
from carvegen.toolpaths import cutter_centre_region
from carvegen.toolpaths.fewer_points import thinned
from carvegen.toolpaths.paths import Operation, Work, picked
from carvegen.toolpaths.router.planner import deepest_mm, router_plan
from carvegen.toolpaths.sequence.order import ordered
from carvegen.toolpaths.unmade import shortfalls
from carvegen.toolpaths.v_carving.centre_lines import centre_lines, widest_mm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.geometry.medial import MedialAxis
    from carvegen.toolpaths.paths import Paths, Plan
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["sharp", "unfilled", "v_plan"]

_SHALLOW_MM = 0.3  #: a cut less deep fills with ink or is reached by a soft roller; common practice, no source
_SLIVER_MM = 0.02  #: the middle of the strip beside the block is out of reach by this: nothing is to be cut there
_SCRATCH_MM = 0.02  #: what goes no deeper is left out; our own choice

_SURELY = 0.7  #: of the least that is told: what axes get wrong is less than the rest
_CLOSELY = 0.8  #: the same of buffers, whose chords lie at most so far from their arcs
_CORNER_MM = 0.001  #: an end of the axis with a smaller disc is a corner of the shape
_SAME_MM = 1e-9

#: Shares of the time, measured on 50,000 flakes: centre lines, what is cleared beside them, what is left of corners;
_TIMES = (0.65, 0.27, 0.08)
_LINE_TIMES = (0.5, 0.2, 0.3)  #: and of the lines: the medial axis, the lines along it, their order


def v_plan(job: Job, settings: PathSettings) -> Plan:
    """The plan of a job whose own cutter is a V.

    As `router_plan` has it where the V goes to the full depth; wherever the cut is narrower, and into every
    corner, by centre lines. What nothing reaches are corners sharper than the tip is blunt.
    """
    depth = deepest_mm(job)
    tracing, clearing, looking = each_part(_TIMES)
    with tracing:
        lines = _lines(job, settings, depth)
    paths, barred = lines.paths, lines.barred
    with clearing:
        wide = router_plan(job, settings, compute_left=not len(paths) or len(barred) > 0, ground=lines.ground)
    if not len(paths):
        return replace(
            wide,
            remarks=(*wide.remarks, *shortfalls.about_covered(wide.covered)),
            findings=(*wide.findings, *shortfalls.covered_cuts(job, wide.covered)),
        )
    operations = sorted(
        [*wide.operations, _operation(job, settings, paths, depth)], key=lambda operation: _LATE[operation.work]
    )
    with looking:
        left = _unreached(job, lines, geometry.stack([wide.unreached, wide.covered]) if len(barred) else None)
    under = shortfalls.beside(left, settings.no_go, cutting.groove_mm(job.cutter, depth) / 2)
    remarks = (*wide.remarks, *shortfalls.about_covered(left[under]), *_remarks(paths))
    findings = (*wide.findings, *shortfalls.covered_cuts(job, left[under]))
    return shortfalls.within_bed(
        replace(
            wide, operations=tuple(operations), unreached=left[~under], covered=left[under], remarks=remarks,
            findings=findings,
        )
    )  # fmt: skip


_LATE = dict.fromkeys(Work, 0) | {Work.CUT_THROUGH: 1, Work.CUT_BLOCK: 2}  #: cut-outs come last


@dataclass(frozen=True, kw_only=True, eq=False)
class _Lines:
    """Centre lines, and what they were made from."""

    paths: Paths
    barred: PolygonArray  #: where the V must not cut
    ground: PolygonArray  #: pieces of ground
    sharp: Mask  #: which of these may have a corner that the V's tip doesn't fill


def _lines(job: Job, settings: PathSettings, depth_mm: float) -> _Lines:
    """The centre lines in the order of their passes and of a short way."""
    half = cutting.groove_mm(job.cutter, depth_mm) / 2
    barred = (
        geometry.parts(cutter_centre_region.grown(settings.no_go, half)) if len(settings.no_go) else geometry.empty()
    )
    whole = cutter_centre_region.ground(job.block)
    wide, _ = cutter_centre_region.over_edge(whole, job.block, half / 2)  # so narrow that slivers at the edge are lines
    zone = shapely.difference(_room(job, whole, half / 2 - _SLIVER_MM), shapely.union_all(barred))
    passes = _passes(job, settings, depth_mm)
    parts, owner = geometry.owned_parts(wide)
    seeking, following, ordering = each_part(_LINE_TIMES)
    with seeking:
        axis = medial_axis(parts, most_mm=max(widest_mm(job.cutter, depth_mm), 2 * _blunt_mm(job)))
    with following:
        paths = centre_lines(axis, job.cutter, depth_mm, passes=passes, zone=zone)
        paths = picked(paths, np.flatnonzero(_depths(paths) > _SCRATCH_MM))
    with ordering:
        paths = ordered(paths, rank=_pass_numbers(paths, depth_mm / passes))
    return _Lines(
        paths=paths,
        barred=barred,
        ground=whole,
        sharp=sharp(replace(axis, shape=owner[axis.shape]), len(whole), _blunt_mm(job)),
    )


def _room(job: Job, whole: PolygonArray, over_mm: float) -> shapely.Geometry:
    """The board, and a little beside it where a cut ends at its edge: that is no land, and a line runs out over it."""
    face = job.block.board
    edge = whole[~geometry.wholly_in(face, whole)]
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


def _blunt_mm(job: Job) -> float:
    """The radius of the V's tip."""
    return job.cutter.values["tip_mm"] / 2


def _unreached(job: Job, lines: _Lines, left: PolygonArray | None) -> PolygonArray:
    """Corners that a V's blunt tip doesn't fill, and what may not be cut; `left`: by all at full depth, if computed."""
    blunt = _blunt_mm(job)
    wide, open_ = cutter_centre_region.over_edge(lines.ground, job.block, blunt)
    doubtful = lines.sharp | open_
    if len(lines.barred):
        doubtful |= shapely.intersects(wide, shapely.union_all(lines.barred))
    return unfilled(wide, lines.ground, doubtful, blunt, barred=lines.barred, left=left)


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


def sharp(axis: MedialAxis, count: int, radius_mm: float) -> Mask:
    """Which of so many shapes may have a corner or a neck that a disc of this radius leaves: rather more than have.

    Where the axis runs straight from such a disc into a corner, what is left beyond the disc is as long as that piece
    of the axis less the radius: a disc that is worth a word fits in only where it is twice that one's radius.
    """
    axis = axis.split(radius_mm)
    under = axis.radius[axis.links] < radius_mm - _SAME_MM
    some = either(under)
    links, under, length = axis.links[some], under[some], axis.lengths[some]
    tip = np.where(under[:, 0], links[:, 0], links[:, 1])
    foot = links[:, 0] + links[:, 1] - tip
    degree = np.bincount(axis.links.ravel(), minlength=len(axis.xy))
    corner = either(~under) & (degree[tip] == 1) & (axis.radius[tip] < _CORNER_MM)
    left = length - (axis.radius[foot] - axis.radius[tip])
    doubtful = np.zeros(count, dtype=bool)
    doubtful[axis.shape[tip[~corner | (left > 2 * _SURELY * cutter_centre_region.least_mm(radius_mm))]]] = True
    most = np.zeros(count)
    np.maximum.at(most, axis.shape, axis.radius)
    return np.asarray(doubtful | (most < radius_mm + _CORNER_MM))


def unfilled(
    wide: PolygonArray, ground: NDArray[np.object_], doubtful: Mask, radius_mm: float, *, barred: PolygonArray,
    left: PolygonArray | None,
) -> PolygonArray:  # fmt: skip
    """What of the ground a disc of this radius leaves, and what is barred to it; pieces worth a word.

    Parameters
    ----------
    wide, ground
        The pieces of ground, with and without the strip outside the block beside them; aligned.
    doubtful
        Where anything may be left; of these most are looked at no closer, as all that is a little inside lies a
        little beyond what the disc fills; (n,).
    left
        What all at full depth leaves, if that is computed: only what of it is left here, too.
    """
    some = np.flatnonzero(doubtful)
    core = cutter_centre_region.shrunk(wide[some], radius_mm)
    reached(0.4)
    some, core = _looked_at(wide, some, core, radius_mm, barred)
    reached(0.7)
    filled = cutter_centre_region.without(
        cutter_centre_region.grown(core, radius_mm) if radius_mm > 0 else wide[some], barred
    )
    if left is None:
        rest = shapely.difference(ground[some], filled)
    elif len(left):
        rest = _left_over(left, ground, some, filled)
    else:
        return left
    return cutter_centre_region.worth(*geometry.owned_parts(rest), radius_mm)[0]


def _looked_at(
    wide: PolygonArray, some: Indices, core: NDArray[np.object_], radius_mm: float, barred: PolygonArray
) -> tuple[Indices, NDArray[np.object_]]:
    """The numbers of the pieces, and their cores, where something may be left that is worth a word."""
    a_little = cutter_centre_region.least_mm(radius_mm) * _CLOSELY
    near = ~shapely.covers(
        cutter_centre_region.grown(core, radius_mm + a_little), cutter_centre_region.shrunk(wide[some], a_little)
    )
    if len(barred):
        near |= shapely.intersects(wide[some], shapely.union_all(barred))
    return some[near], core[near]


def _left_over(
    left: PolygonArray, ground: NDArray[np.object_], some: Indices, filled: NDArray[np.object_]
) -> NDArray[np.object_]:
    """What is left in these pieces of ground and not filled."""
    _, home = shapely.STRtree(ground).query_nearest(shapely.point_on_surface(left), all_matches=False)
    place = np.full(len(ground), -1)
    place[some] = np.arange(len(some))
    some_left = np.flatnonzero(place[home] >= 0)
    return np.asarray(shapely.difference(left[some_left], filled[place[home[some_left]]]), dtype=object)
