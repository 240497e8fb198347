"""What clamps mean for a plan: cuts and cut-outs that they cover, and ways over them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from carvegen.geometry import Mask, PolygonArray
    from carvegen.toolpaths.paths import Operation, Paths

__all__ = ["about_covered", "about_cut_outs", "about_travel", "beside"]

_ROOM_MM = 0.02  #: what touches within this lies beside a clamp


def beside(shapes: PolygonArray, no_go: PolygonArray, within_mm: float) -> Mask:
    """Which shapes lie within so far of where nothing may go; (n,)."""
    met = np.zeros(len(shapes), dtype=bool)
    if len(shapes) and len(no_go):
        near = shapely.STRtree(no_go).query(shapes, predicate="dwithin", distance=within_mm + _ROOM_MM)[0]
        met[near] = True
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
    """Ways from one line to the next over a clamp, with the tool that does not rise: a laser's."""
    if not len(no_go):
        return
    zone = shapely.union_all(no_go)
    shapely.prepare(zone)
    names = [its.name for its in operations if _passes_over(its, zone)]
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
    return bool(shapely.intersects(zone, _ways(paths)).any())


def _ways(paths: Paths) -> PolygonArray:
    """The straight ways from each path's end to the next one's beginning."""
    return geometry.lines(paths.exits[:-1, :2], paths.entries[1:, :2])
