"""What every plan promises, looked at from outside the planners: the tests hold every plan to it."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.facts import cutting
from carvegen.toolpaths.paths import Work

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = ["TOLERANCE_MM", "broken", "doubled", "into_land_mm", "outside_mm", "sampled"]

TOLERANCE_MM = 0.02  #: a cutter enters land by no more
_STEP_MM = 0.1  #: from sample to sample along a path
_SPECK_UM = 10  #: shorter pieces lie on one another where the rounds of a helix meet
_CHUNK = 200_000  #: samples looked at together


def broken(plan: Plan, no_go: PolygonArray | None = None, *, room_mm: float = 0.0) -> tuple[str, ...]:
    """Every promise that the plan breaks; none if all is well.

    Parameters
    ----------
    no_go
        Where nothing may go, print view.
    room_mm
        How far around the block paths may lie: marks, a cutter that runs out over the edge.
    """
    return tuple(_broken(plan, geometry.empty() if no_go is None else no_go, room_mm))


def _broken(plan: Plan, no_go: PolygonArray, room_mm: float) -> Iterator[str]:
    names = [operation.name for operation in plan.operations]
    if len(set(names)) < len(names):
        yield "two operations have one name"
    for operation in plan.operations:
        yield from _misshapen(operation)
        far = outside_mm(operation.paths, plan.job.block.board.bounds)
        if far > room_mm + TOLERANCE_MM:
            yield f"{operation.name}: {far:.2f} mm outside the block"
        if operation.depth_mm > plan.job.thickness_mm + TOLERANCE_MM and operation.work is not Work.CUT_THROUGH:
            yield f"{operation.name}: deeper than the block is thick"
        if len(no_go) and bool(shapely.intersects(shapely.union_all(no_go), _lines(operation.paths)).any()):
            yield f"{operation.name}: goes where nothing may go"
        deep = into_land_mm(plan, operation)
        if deep > TOLERANCE_MM:
            yield f"{operation.name}: enters the land by {deep:.3f} mm"


def _misshapen(operation: Operation) -> Iterator[str]:
    paths = operation.paths
    if not np.isfinite(paths.xyz).all():
        yield f"{operation.name}: a point that is no place"
    count = np.diff(paths.start)
    if (count[paths.closed] < 3).any() or (count < 1).any():
        yield f"{operation.name}: a closed path of fewer than three points"
    if operation.area_lines_mm is not None and not paths.closed.all():
        yield f"{operation.name}: an area whose outline is open"
    if doubled(paths):
        yield f"{operation.name}: {doubled(paths)} lines are followed twice"


def doubled(paths: Paths) -> int:
    """How many straight pieces lie in a plan's paths a second time, whichever way they are followed."""
    ends = np.arange(1, len(paths.xyz) + 1)
    last = paths.start[1:] - 1
    ends[last] = np.where(paths.closed, paths.start[:-1], last)
    grid = np.round(paths.xyz / geometry.GRID_MM).astype(np.int64)
    both = np.stack([grid, grid[ends]], axis=1)
    both = both[np.abs(both[:, 0] - both[:, 1]).max(axis=1) > _SPECK_UM]
    swap = [tuple(a) > tuple(b) for a, b in both.tolist()]
    both[swap] = both[swap][:, ::-1]
    return len(both) - len(np.unique(both.reshape(-1, 6), axis=0))


def outside_mm(paths: Paths, bounds: tuple[float, float, float, float]) -> float:
    """How far the farthest point lies outside a board of these bounds; 0 if none does."""
    if not len(paths):
        return 0.0
    x, y = paths.xyz[:, 0], paths.xyz[:, 1]
    left, bottom, right, top = bounds
    return float(max(0.0, left - x.min(), bottom - y.min(), x.max() - right, y.max() - top))


def into_land_mm(plan: Plan, operation: Operation) -> float:
    """How far the cutter's groove reaches over the edge of the land at the face at its worst; 0 or less is well.

    Points along every path; at each the half-width of the groove at the face for its depth there, against the
    distance to the nearest place that is neither cut nor cut out.
    """
    if operation.work is Work.SCORE or not len(operation.paths):
        return 0.0
    land = geometry.parts(plan.job.block.standing)
    if not len(land):
        return 0.0
    worst = 0.0
    whole, tree = shapely.multipolygons(land), shapely.STRtree(shapely.get_rings(land))
    shapely.prepare(whole)
    points = sampled(operation.paths, _STEP_MM)
    for k in range(0, len(points), _CHUNK):
        some = points[k : k + _CHUNK]
        found, away = tree.query_nearest(geometry.dots(some[:, :2]), all_matches=False, return_distance=True)
        off = np.where(shapely.contains_xy(whole, some[found[0], 0], some[found[0], 1]), -away, away)
        worst = max(worst, float((_half_at_face(plan, operation, some[found[0], 2]) - off).max()))
    return worst


def sampled(paths: Paths, step_mm: float) -> Floats:
    """Points along all paths, their corners among them, at most `step_mm` apart; (n, 3)."""
    ends = np.arange(1, len(paths.xyz) + 1)
    last = paths.start[1:] - 1
    ends[last] = np.where(paths.closed, paths.start[:-1], last)
    step = paths.xyz[ends] - paths.xyz
    count = np.maximum(1, np.ceil(np.linalg.norm(step, axis=1) / step_mm)).astype(np.int64)
    which = np.repeat(np.arange(len(count)), count)
    share = (np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)) / count[which]
    return np.asarray(paths.xyz[which] + share[:, None] * step[which], dtype=np.float64)


def _half_at_face(plan: Plan, operation: Operation, z: Floats) -> Floats:
    """Half the groove's width at the face: by the depth of each point, of a laser by the operation's."""
    if operation.cutter.form == "laser":
        deep = operation.depth_mm if operation.depth_mm > 0 else plan.job.depth_mm
        return np.full(len(z), cutting.groove_mm(operation.cutter, deep) / 2)
    # every depth by itself: the tip above the face cuts nothing
    half = cutting.half_width_mm(operation.cutter, np.minimum(z, 0.0), 0.0)
    return np.where(z < 0, half, -np.inf)


def _lines(paths: Paths) -> geometry.PolygonArray:
    """The paths as lines, a closed one with its closing side; a path of one point as a point."""
    found = []
    for k, (a, b) in enumerate(zip(paths.start[:-1].tolist(), paths.start[1:].tolist(), strict=True)):
        xy = paths.xyz[a:b, :2]
        xy = np.concatenate([xy, xy[:1]]) if paths.closed[k] else xy
        found.append(shapely.Point(xy[0]) if len(xy) < 2 else shapely.LineString(xy))
    return geometry.polygon_array(found)
