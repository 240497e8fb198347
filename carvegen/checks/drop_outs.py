"""Cut-outs: land that nothing holds, and loose parts that fall out of the openings."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity, spoken
from carvegen.checks.survey import Survey

if TYPE_CHECKING:
    from shapely import Polygon

    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["LOOSE_MM", "MOST", "RULE", "find", "land_parts", "tabs"]

RULE = "drop-out"

#: A loose part smaller than this across goes through a bed's grid, or is thrown; common practice, no source.
LOOSE_MM = 10.0

#: Loose parts told of at most, the smallest first.
MOST = 50

_CRUMB_MM2 = 0.001  #: what is left by rounding on the grid is no part
_PLACES = 24  #: on an outline, of which two are taken for tabs
_SEEN_MM = 10.0  #: land wider than this holds a tab as well as any

_LOOSE_WHY = {
    "laser": "it can drop through the bed's grid, or tilt and jam the head",
    "router": "it can be thrown by the cutter, or jam it",
}


def find(survey: Survey) -> Iterator[Finding]:
    """Land cut off from the block on all sides, a block in several parts, and small loose parts.

    Islands inside lowered areas are held by the floor: only cut-outs can free anything.
    """
    if len(survey.job.block.cut_outs):
        yield from _loose_land(survey)
        yield from _loose_parts(survey)


def land_parts(block: Block) -> PolygonArray:
    """The connected parts of the face without its cut-outs (lowered areas included), the largest first.

    Exact. Only cut-outs that have a hole, touch another or reach the edge can part anything; the others are
    left out of the difference.
    """
    gone = block.cut_outs
    parting = gone[_may_part(block)]
    parts = geometry.parts(shapely.difference(block.face, shapely.union_all(parting)))
    parts = parts[shapely.area(parts) > _CRUMB_MM2]
    return parts[np.argsort(-shapely.area(parts), kind="stable")]


def tabs(outline: Polygon, others: PolygonArray, face: Polygon) -> Floats:
    """Two places on a cut-out's outline for tabs: much land beside each, and far from one another; (2, 2).

    Parameters
    ----------
    others
        The other cuts and cut-outs, which bound the land beside the outline.
    """
    ring = shapely.get_exterior_ring(outline)
    along = shapely.line_interpolate_point(ring, np.arange(_PLACES) / _PLACES, normalized=True)
    land = np.minimum(shapely.distance(along, shapely.get_exterior_ring(face)), _SEEN_MM)
    place, near = shapely.STRtree(others).query(along, predicate="dwithin", distance=_SEEN_MM)
    np.minimum.at(land, place, shapely.distance(along[place], others[near]))
    xy = shapely.get_coordinates(along)
    first = int(np.argmax(land))
    second = int(np.argmax(land * np.hypot(*(xy - xy[first]).T)))
    return np.asarray(xy[[first, second]])


def _may_part(block: Block) -> Mask:
    gone = block.cut_outs
    x0, y0, x1, y1 = shapely.bounds(gone).T
    inside = (x0 > 0) & (y0 > 0) & (x1 < block.width_mm) & (y1 < block.height_mm)
    i, j = shapely.STRtree(gone).query(gone)
    i, j = i[i < j], j[i < j]
    meet = shapely.intersects(gone[i], gone[j])
    touching = np.zeros(len(gone), dtype=bool)
    touching[np.concatenate([i[meet], j[meet]])] = True
    return np.asarray(~inside | touching | (shapely.get_num_interior_rings(gone) > 0))


def _bridges(parts: PolygonArray) -> Floats:
    """The shortest ways from each part but the largest to the nearest larger one: these hold all; (n - 1, 2, 2)."""
    rings, small = shapely.get_rings(parts[:1]), parts[1:]
    (_, near), away = shapely.STRtree(rings).query_nearest(small, return_distance=True, all_matches=False)
    bridges = shapely.shortest_line(small, rings[near])
    i, j = shapely.STRtree(small).query(small, predicate="dwithin", distance=away)
    i, j = i[j < i], j[j < i]
    far_first = np.argsort(-shapely.distance(small[i], small[j]), kind="stable")
    i, j = i[far_first], j[far_first]
    bridges[i] = shapely.shortest_line(small[i], small[j])
    return np.asarray(shapely.get_coordinates(bridges).reshape(-1, 2, 2))


def _loose_land(survey: Survey) -> Iterator[Finding]:
    """Every part of the land but the largest."""
    parts = land_parts(survey.job.block)
    if len(parts) < 2:
        return
    severed = shapely.intersects(parts[1:], shapely.get_exterior_ring(survey.job.block.face))
    areas = shapely.area(parts[1:])
    limit = survey.job.face_limits.land_mm
    for k, (start, end) in enumerate(_bridges(parts).tolist()):
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=(start[0], start[1]),
            to=(end[0], end[1]),
            measured=0.0,
            limit=limit,
            unit="mm",
            kind="severed" if severed[k] else "island",
            why=_land_why(float(areas[k]), severed=bool(severed[k])),
            remedy=f"leave a bridge at least {limit:.1f} mm wide, such as here, where it is shortest"
            + ("" if severed[k] else ", or give the island up"),
        )


def _land_why(area: float, *, severed: bool) -> str:
    if severed:
        return f"the cut-outs sever the block: a part as large as {spoken(area, 'mm²')} comes away at its edge"
    return f"an island as large as {spoken(area, 'mm²')} inside a cut-out is held by nothing and falls out"


def _loose_parts(survey: Survey) -> Iterator[Finding]:
    """What falls out of small openings, where a machine cuts them."""
    job = survey.job
    if job.machine.kind not in _LOOSE_WHY:
        return
    block = job.block
    across = 2 * shapely.minimum_bounding_radius(block.cut_outs)
    small = np.flatnonzero(across < LOOSE_MM)
    small = small[np.argsort(across[small], kind="stable")]
    gone = np.concatenate([block.cut_outs, block.cuts])
    tree = shapely.STRtree(gone)
    more = f". {len(small) - MOST} more such parts are not listed" if len(small) > MOST else ""
    for k in small[:MOST].tolist():
        near = tree.query(block.cut_outs[k], predicate="dwithin", distance=_SEEN_MM)
        one, other = tabs(block.cut_outs[k], gone[near[near != k]], block.face).tolist()
        yield Finding(
            rule=RULE,
            severity=Severity.RISK,
            at=(one[0], one[1]),
            to=(other[0], other[1]),
            measured=float(across[k]),
            limit=LOOSE_MM,
            unit="mm",
            kind="small-part",
            why=f"a part this small comes loose when it is cut through: {_LOOSE_WHY[job.machine.kind]}{more}",
            remedy=f"leave tabs, such as at x {one[0]:.1f}, y {one[1]:.1f} and x {other[0]:.1f}, y {other[1]:.1f} mm, "
            "or ask the shop to hold it down",
        )
