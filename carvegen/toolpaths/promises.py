"""What every plan promises, looked at from outside the planners: each is held to it before anything is written."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import CarvegenError
from carvegen.base.progress import each_part, reached
from carvegen.facts import cutting, feeds
from carvegen.toolpaths import register_lines
from carvegen.toolpaths.paths import Work, joined, picked
from carvegen.toolpaths.router.cut_through import THROUGH_MM
from carvegen.toolpaths.unmade.shortfalls import extent_mm

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.toolpaths.paths import Operation, Paths, Plan
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["CLAUSES", "TOLERANCE_MM", "broken", "doubled", "hold", "into_land_mm", "outside_mm", "sampled"]

TOLERANCE_MM = 0.02  #: a cutter enters land by no more
_STEP_MM = 0.1  #: from sample to sample along a path
_SPECK_MM = 0.01  #: shorter pieces lie on one another where the rounds of a helix meet
_CHUNK = 2_000  #: samples looked at in one call, which can't be interrupted,
_LOT = 32  #: and paths
_NEAR_TIME, _QUICK_TIME = 0.25, 0.3  #: shares of the time at which near paths are known, and the quick are looked at
_SHOWN = 5  #: broken promises that an error names
_PASS_STEP_MM = 0.5  #: from sample to sample where passes are looked at
_ABOUT = 0.25  #: of a pass: so nearly as deep as the pass before; the sides of tabs lie between passes
_NEAR = 1.5  #: of a cutter's width: where an earlier pass made room for it

_THROUGH = (Work.CUT_THROUGH, Work.CUT_BLOCK)


def hold(plan: Plan, settings: PathSettings) -> None:
    """Let a plan pass that keeps all its promises.

    Raises
    ------
    CarvegenError
        If it breaks one: nothing may be written of it.
    """
    faults = broken(plan, settings)
    if faults:
        more = f" and {len(faults) - _SHOWN} more" if len(faults) > _SHOWN else ""
        raise CarvegenError(
            f"the paths of the {plan.job.machine.kind} break what is promised of them, and nothing is written: "
            f"{'; '.join(faults[:_SHOWN])}{more}",
            hint="this is a fault of carvegen: send us the command and this line; without paths the "
            "shapes alone are written",
        )


def broken(plan: Plan, settings: PathSettings) -> tuple[str, ...]:
    """Every promise that the plan breaks; none if all is well."""
    return tuple(fault for clause in CLAUSES.values() for fault in clause(plan, settings))


def _names(plan: Plan, _settings: PathSettings) -> Iterator[str]:
    names = [operation.name for operation in plan.operations]
    if len(set(names)) < len(names):
        yield "two operations have one name"


def _closed(plan: Plan, settings: PathSettings) -> Iterator[str]:
    """Places that are places, closed paths that are paths, areas and parts whose outline is closed."""
    for operation in plan.operations:
        paths = operation.paths
        if not np.isfinite(paths.xyz).all():
            yield f"{operation.name}: a point that is no place"
        count = np.diff(paths.start)
        if (count[paths.closed] < 3).any() or (count < 1).any():
            yield f"{operation.name}: a closed path of fewer than three points"
        if operation.area_lines_mm is not None and not paths.closed.all():
            yield f"{operation.name}: an area whose outline is open"
        whole = not (settings.tabs or settings.lead_in_mm or len(settings.no_go))
        if operation.cutter.form == "laser" and operation.work in _THROUGH and whole:
            ends = np.concatenate([paths.entries[~paths.closed], paths.exits[~paths.closed]])
            if not _at_edge(ends, plan.job.block.board.bounds).all():
                yield f"{operation.name}: a line round a part is open, and the part does not come free"


def _floor(plan: Plan, _settings: PathSettings) -> Iterator[str]:
    """Never below the floor that the material keeps, nor deeper than an operation says."""
    job = plan.job
    under = THROUGH_MM if job.machine.kind == "router" else 0.0
    floor = max(0.0, min(job.depth_mm, job.thickness_mm - job.material.floor_mm))
    for operation in plan.operations:
        deep = max(0.0, -float(operation.paths.xyz[:, 2].min(initial=0.0)))
        most = job.thickness_mm + under if operation.work in _THROUGH else floor
        most = 0.0 if operation.work is Work.SCORE else most
        if max(deep, operation.depth_mm) > most + TOLERANCE_MM:
            yield f"{operation.name}: {max(deep, operation.depth_mm):.2f} mm deep, below the floor at {most:.2f} mm"
        if deep > operation.depth_mm + TOLERANCE_MM:
            yield f"{operation.name}: {deep:.2f} mm deep and says {operation.depth_mm:.2f} mm"


def _bed(plan: Plan, _settings: PathSettings) -> Iterator[str]:
    """Nothing beyond the bed, and no farther over the block's edge than a cutter or a mark reaches."""
    machine = plan.job.machine
    if machine.bed_width_mm is not None and machine.bed_height_mm is not None:
        needed, bed = sorted(extent_mm(plan.operations)), sorted((machine.bed_width_mm, machine.bed_height_mm))
        if needed[0] > bed[0] + TOLERANCE_MM or needed[1] > bed[1] + TOLERANCE_MM:
            yield f"the paths need {needed[1]:.1f} x {needed[0]:.1f} mm on a bed of {bed[1]:g} x {bed[0]:g} mm"
    most = max(
        (
            cutting.widest_half_mm(operation.cutter, operation.depth_mm)
            for operation in plan.operations
            if operation.work is not Work.SCORE
        ),
        default=0.0,
    )
    for operation in plan.operations:
        room = register_lines.OUT_MM + register_lines.ARM_MM if operation.work is Work.SCORE else most
        far = outside_mm(operation.paths, plan.job.block.board.bounds)
        if far > room + TOLERANCE_MM:
            yield f"{operation.name}: {far:.2f} mm outside the block"


_RANK = dict.fromkeys(Work, 1) | {Work.SCORE: 0, Work.CUT_THROUGH: 2, Work.CUT_BLOCK: 3}


def _order(plan: Plan, _settings: PathSettings) -> Iterator[str]:
    """Marks first, then areas, then cut-outs, the inner before the outer, and the block's own edge last."""
    works = [operation.work for operation in plan.operations]
    rank = [_RANK[work] for work in works]
    if rank != sorted(rank):
        yield "operations are out of order: marks, areas, cut-outs, the block's edge"
    lowered = [operation.depth_mm for operation in plan.operations if operation.work in (Work.LOWER, Work.SHOULDER)]
    if lowered != sorted(lowered, reverse=True):
        yield "a step beside the land comes before the one below it"
    walled: set[str] = set()
    for operation in plan.operations:
        if operation.work is Work.CLEAR and operation.cutter.key in walled:
            yield f"{operation.name}: clears after the wall is cut"
        walled |= {operation.cutter.key} if operation.work is Work.WALL else set()
    yield from _nested(plan)


def _nested(plan: Plan) -> Iterator[str]:
    """A cut-out that lies in what falls out of another comes first."""
    cut_outs = plan.job.block.cut_outs
    inner, outer = shapely.STRtree(geometry.filled(cut_outs)).query(cut_outs, predicate="within")
    inner, outer = inner[inner != outer], outer[inner != outer]
    paths = joined([operation.paths for operation in plan.operations if operation.work is Work.CUT_THROUGH])
    own = shapely.STRtree(cut_outs).query_nearest(shapely.points(paths.entries[:, :2]), all_matches=False)[1]
    place = np.arange(len(own))
    first, last = np.full(len(cut_outs), len(own)), np.full(len(cut_outs), -1)
    np.minimum.at(first, own, place)
    np.maximum.at(last, own, place)
    if (last[inner] > first[outer]).any():
        yield "a cut-out comes after the one round it, whose inside is loose by then"


def _passes(plan: Plan, settings: PathSettings) -> Iterator[str]:
    """No pass is deeper than the cutter and the material allow, nor than the operation says."""
    job = plan.job
    for operation in plan.operations:
        if operation.cutter.form == "laser":
            least = feeds.passes(job.material.key, job.machine, operation.depth_mm)
            if operation.work in (Work.LOWER, Work.SHOULDER) and operation.passes < least:
                yield f"{operation.name}: {operation.passes} passes for {operation.depth_mm:g} mm, not {least}"
            continue
        most = settings.pass_mm or feeds.pass_depth_mm(job.material.key, operation.cutter)
        deep = operation.depth_mm if operation.pass_mm is None else operation.pass_mm
        if deep > most + TOLERANCE_MM:
            yield f"{operation.name}: {deep:.2f} mm a pass where {most:.2f} mm is the most"
    yield from _unprepared(plan)


def _unprepared(plan: Plan) -> Iterator[str]:
    """Places that are cut deeper at once than one pass.

    For each place deeper than its operation's first pass there is an earlier one near it at the depth of the pass
    before, or deeper if an earlier operation went there.
    """
    earlier: list[Floats] = []
    for operation in plan.operations:
        if operation.cutter.form == "laser" or not len(operation.paths):
            continue
        points = sampled(operation.paths, _PASS_STEP_MM)
        step = operation.depth_mm if operation.pass_mm is None else operation.pass_mm
        cell = _NEAR * 2 * _widest_mm(operation)
        level = np.ceil((-points[:, 2] - TOLERANCE_MM) / step).astype(np.int64)
        for k in range(2, int(level.max(initial=0)) + 1):
            asked = np.flatnonzero(level == k)
            room = [xyz[xyz[:, 2] <= -(k - 1) * step + TOLERANCE_MM] for xyz in earlier]
            own = np.flatnonzero(np.abs(points[:, 2] + (k - 1) * step) <= _ABOUT * step)
            xy = np.concatenate([*(xyz[:, :2] for xyz in room), points[own, :2]])
            when = np.concatenate([np.full(sum(map(len, room)), -1), own])
            if not _after(points[asked, :2], asked, xy, when, cell).all():
                yield f"{operation.name}: cuts deeper than one pass of {step:.2f} mm at once"
                break
        earlier.append(points)


def _after(xy: Floats, when: Indices, room_xy: Floats, room_when: Indices, cell_mm: float) -> Mask:
    """Which places have a place of room in their own or a neighbouring cell that came before them; (n,)."""
    if not len(room_xy):
        return np.zeros(len(xy), dtype=bool)
    low = np.minimum(xy.min(axis=0), room_xy.min(axis=0)) - cell_mm
    columns = int((max(xy[:, 0].max(), room_xy[:, 0].max()) - low[0]) / cell_mm) + 3
    at, room = (
        np.floor((places - low) / cell_mm).astype(np.int64) @ np.array([1, columns]) for places in (xy, room_xy)
    )
    cells, own = np.unique(room, return_inverse=True)
    first = np.full(len(cells), np.iinfo(np.int64).max)
    np.minimum.at(first, own, room_when)
    met = np.zeros(len(xy), dtype=bool)
    for beside in [dx + columns * dy for dx in (-1, 0, 1) for dy in (-1, 0, 1)]:
        place = np.minimum(np.searchsorted(cells, at + beside), len(cells) - 1)
        met |= (cells[place] == at + beside) & (first[place] < when)
    return met


def _clamps(plan: Plan, settings: PathSettings) -> Iterator[str]:
    """No cutter nearer to a clamp than half its width at the face."""
    if not len(settings.no_go):
        return
    tree = shapely.STRtree(settings.no_go)
    for operation in plan.operations:
        off = max(0.0, _widest_mm(operation) - TOLERANCE_MM)
        if len(tree.query(_lines(operation.paths), predicate="dwithin", distance=off)[0]):
            yield f"{operation.name}: goes where nothing may go"


def _land(plan: Plan, _settings: PathSettings) -> Iterator[str]:
    """No cutter enters what stays: the land; of a cut through, all but the cut-outs; round the block, the block."""
    weights = [len(operation.paths.xyz) for operation in plan.operations]
    for operation, looking in zip(plan.operations, each_part(weights), strict=True):
        with looking:
            deep = into_land_mm(plan, operation)
        if deep > TOLERANCE_MM:
            what = "lies on the wrong side of its kerf" if operation.work in _THROUGH else "enters the land"
            yield f"{operation.name}: {what} by {deep:.3f} mm"


def _twice(plan: Plan, _settings: PathSettings) -> Iterator[str]:
    for operation in plan.operations:
        # a beam burns twice what it follows twice; of a turning cutter shorter pieces lie in what it has cut already
        least = _SPECK_MM if operation.cutter.form == "laser" else _widest_mm(operation)
        count = doubled(operation.paths, least)
        if count:
            yield f"{operation.name}: {count} lines are followed twice"


#: What each plan is held to; cheap ones first.
CLAUSES: Mapping[str, Callable[[Plan, PathSettings], Iterator[str]]] = MappingProxyType({
    "names": _names, "closed paths": _closed, "floor": _floor, "bed": _bed, "order": _order, "pass depth": _passes,
    "clamps": _clamps, "doubled lines": _twice, "land and kerf side": _land,
})  # fmt: skip


def doubled(paths: Paths, least_mm: float = _SPECK_MM) -> int:
    """How many straight pieces, longer than this, lie in paths a second time, whichever way they are followed."""
    grid = np.round(paths.xyz / geometry.GRID_MM).astype(np.int64)
    one, other = grid, grid[paths.onward]
    long = np.abs(one - other).max(axis=1, initial=0) > least_mm / geometry.GRID_MM
    one, other = one[long], other[long]
    differs = one != other
    first = np.argmax(differs, axis=1)
    rows = np.arange(len(one))
    swap = (one[rows, first] > other[rows, first])[:, None]
    both = np.concatenate([np.where(swap, other, one), np.where(swap, one, other)], axis=1)
    key = (both * _MIXED).sum(axis=1)  # wraps round: equal pieces have equal keys, others hardly ever
    order = np.argsort(key, kind="stable")
    near = np.flatnonzero(key[order][1:] == key[order][:-1])
    same = (both[order[near]] == both[order[near + 1]]).all(axis=1)
    return int(same.sum())


#: Odd numbers with no pattern, for keys; our own choice.
_MIXED = np.array(
    [0x1F83D9ABFB41BD6B, 0x5BE0CD19137E2179, 0x3C6EF372FE94F82B, 0x510E527FADE682D1, 0x6A09E667F3BCC909,
     0x2545F4914F6CDD1D], dtype=np.int64,
)  # fmt: skip


def outside_mm(paths: Paths, bounds: tuple[float, float, float, float]) -> float:
    """How far the farthest point lies outside a board of these bounds; 0 if none does."""
    if not len(paths):
        return 0.0
    x, y = paths.xyz[:, 0], paths.xyz[:, 1]
    left, bottom, right, top = bounds
    return float(max(0.0, left - x.min(), bottom - y.min(), x.max() - right, y.max() - top))


def into_land_mm(plan: Plan, operation: Operation) -> float:
    """How far the cutter's groove reaches over the edge of what stays at the face at its worst; 0 or less is well.

    Paths that come nearer to that edge than half their groove where it is widest, and those that begin beyond it, are
    looked at point by point: at each the half-width of the groove at the face for its depth there, against the
    distance to the nearest edge of what stays.
    """
    paths, face, goes = operation.paths, plan.job.block.board, _goes(plan, operation)
    edges = _edges(face, goes)
    if operation.work is Work.SCORE or not len(paths) or not len(edges):
        return 0.0
    edge_tree, goes_tree = shapely.STRtree(edges), shapely.STRtree(goes)
    lowest = np.minimum.reduceat(paths.xyz[:, 2], paths.start[:-1])
    reach = np.maximum(_half_at_face(operation, lowest) - TOLERANCE_MM / 2, 0.0)
    near, home = np.zeros(len(paths), dtype=bool), np.full(len(paths), -1)
    lines = _lines(paths)
    for k in range(0, len(lines), _LOT):
        lot = slice(k, k + _LOT)
        near[lot][edge_tree.query(lines[lot], predicate="dwithin", distance=reach[lot])[0]] = True
        reached(_NEAR_TIME * k / len(lines))
    path, shape = goes_tree.query(geometry.dots(paths.entries[:, :2]), predicate="intersects")
    home[path] = shape
    near |= (home < 0) & shapely.intersects_xy(face, paths.entries[:, 0], paths.entries[:, 1])
    inner = np.append(shapely.contains_properly(face, goes), False)[home]  # all round it lies what stays
    quick, slow = (picked(paths, np.flatnonzero(near & which)) for which in (inner, ~inner))
    own, outlines, worst = home[near & inner], shapely.boundary(goes), 0.0
    shapely.prepare(goes)
    for some, path in _in_chunks(quick, (_NEAR_TIME, _QUICK_TIME)):
        at = geometry.dots(some[:, :2])
        away = shapely.distance(outlines[own[path]], at)
        off = np.where(shapely.intersects(goes[own[path]], at), away, -away)
        worst = max(worst, float((_half_at_face(operation, some[:, 2]) - off).max()))
    for some, _ in _in_chunks(slow, (_QUICK_TIME, 1)):
        at = geometry.dots(some[:, :2])
        pair, away = edge_tree.query_nearest(at, all_matches=False, return_distance=True)
        away = away[np.argsort(pair[0])]
        free = ~shapely.intersects(face, at)
        free[goes_tree.query(at, predicate="intersects")[0]] = True
        off = np.where(free, away, -away)
        worst = max(worst, float((_half_at_face(operation, some[:, 2]) - off).max()))
    return worst


def _edges(face: shapely.Polygon, goes: PolygonArray) -> NDArray[np.object_]:
    """The lines between what goes and what stays, and along the face's edge where it stays."""
    inside = shapely.contains_properly(face, goes)
    rim = shapely.get_exterior_ring(face)
    open_ = geometry.polygon_array([*goes[~inside]])
    # a little wider than rounding, so that no crumbs of what runs along the edge are left
    hair = shapely.buffer(rim, geometry.GRID_MM, cap_style="flat", join_style="mitre")
    own = shapely.difference(shapely.boundary(open_), hair)
    rest = shapely.difference(rim, shapely.union_all(shapely.buffer(open_, geometry.GRID_MM, join_style="mitre")))
    edges = shapely.get_parts(np.concatenate([shapely.boundary(goes[inside]), own, [rest]]))
    return np.asarray(edges[~shapely.is_empty(edges)])


def _in_chunks(paths: Paths, times: tuple[float, float]) -> Iterator[tuple[Floats, Indices]]:
    """Samples along all paths, some at a time, each with the number of its path; `times`: the shares of the work."""
    if not len(paths):
        return
    marked, owner = _sampled(paths, _STEP_MM)
    for k in range(0, len(marked), _CHUNK):
        reached(times[0] + (times[1] - times[0]) * k / len(marked))
        yield marked[k : k + _CHUNK], owner[k : k + _CHUNK]


def _goes(plan: Plan, operation: Operation) -> PolygonArray:
    """What an operation may take away, touching shapes as one."""
    block = plan.job.block
    if operation.work is Work.CUT_BLOCK:
        return geometry.empty()
    return geometry.joined(block.cut_outs) if operation.work is Work.CUT_THROUGH else block.gone


def sampled(paths: Paths, step_mm: float) -> Floats:
    """Points along all paths, their corners among them, at most `step_mm` apart; (n, 3)."""
    return _sampled(paths, step_mm)[0]


def _sampled(paths: Paths, step_mm: float) -> tuple[Floats, Indices]:
    """The points, and the number of each one's path."""
    step = paths.xyz[paths.onward] - paths.xyz
    count = np.maximum(1, np.ceil(np.linalg.norm(step, axis=1) / step_mm)).astype(np.int64)
    which = np.repeat(np.arange(len(count)), count)
    share = geometry.counted(count) / count[which]
    return np.asarray(paths.xyz[which] + share[:, None] * step[which], dtype=np.float64), paths.owner[which]


def _widest_mm(operation: Operation) -> float:
    """Half the groove's width at the face where it is widest."""
    return float(_half_at_face(operation, np.array([-operation.depth_mm]))[0]) if operation.depth_mm > 0 else 0.0


def _half_at_face(operation: Operation, z: Floats) -> Floats:
    """Half the groove's width at the face: by the depth of each point; a beam's is as wide however deep it goes."""
    if operation.cutter.form == "laser":
        return np.full(len(z), cutting.groove_mm(operation.cutter, operation.depth_mm) / 2)
    # every depth by itself: the tip above the face cuts nothing
    half = cutting.half_width_mm(operation.cutter, np.minimum(z, 0.0), 0.0)
    return np.where(z < 0, half, -np.inf)


def _at_edge(points: Floats, bounds: tuple[float, float, float, float]) -> Mask:
    """Which places lie on the edge of a board of these bounds, or outside it; (n,)."""
    x, y = points[:, 0], points[:, 1]
    left, bottom, right, top = bounds
    inside = np.minimum.reduce([x - left, y - bottom, right - x, top - y])
    return np.asarray(inside <= TOLERANCE_MM)


def _lines(paths: Paths) -> NDArray[np.object_]:
    """The paths as lines, a closed one with its closing side, one of one point as a short line at it; (paths,)."""
    count = np.diff(paths.start)
    more = np.where(paths.closed | (count == 1), 1, 0)
    owner = np.repeat(np.arange(len(paths)), count + more)
    within = np.arange(len(owner)) - np.repeat(np.cumsum(count + more) - (count + more), count + more)
    xy = paths.xyz[paths.start[owner] + within % count[owner], :2]
    return np.asarray(shapely.linestrings(xy, indices=owner), dtype=object)
