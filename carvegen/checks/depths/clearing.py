"""Wide cut areas: whether the roller dips, or the paper sinks, to their floor."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING, cast
from weakref import WeakKeyDictionary

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import Survey
from carvegen.facts import cutting

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["MOST", "RULE", "find", "least_gap_mm", "widest_gaps"]

RULE = "clearing"

#: Areas told of at most, the widest first.
MOST = 50

_TOLERANCE_MM = 0.005  #: of an inscribed circle's radius
_WORN_MM = 0.5  #: buffers get up to a hundredth of their distance wrong: what is worn away by more is left to GEOS
_BATCH = 100  #: areas measured at a time
_ISLAND_MM = 10.0  #: an area this wide has room for a support island; common practice, no source
_FINEST_MM = 0.05  #: no gap is looked at below this


def find(survey: Survey) -> Iterator[Finding]:
    """Cut areas whose widest gap asks for more depth than is there; at most `MOST`, the widest first.

    The gap is the diameter of the largest inscribed circle, as the direction of rolling is not known (a
    first estimate; common practice). Grooves so narrow that a V-tool can't go deeper are the check
    *depth*'s.
    """
    job = survey.job
    least = least_gap_mm(job)
    if not math.isfinite(least) or not job.block.inked:
        return
    centres, gaps = _gaps_of(job.block, least)
    more = len(gaps) > MOST
    depths, needed = _depth_there(job, gaps), job.printing.needed_mm(gaps)
    for k in range(min(len(gaps), MOST)):
        yield Finding(
            rule=RULE,
            severity=Severity.RISK,
            at=(float(centres[k, 0]), float(centres[k, 1])),
            measured=float(depths[k]),
            limit=min(float(needed[k]), _all_in(job)),
            unit="mm",
            length_mm=float(gaps[k]),
            kind=_kind(job, float(gaps[k]), float(needed[k])),
            why=_why(job, float(gaps[k]), float(needed[k]), more=more),
            remedy=_remedy(job, float(gaps[k]), float(needed[k])),
        )


def least_gap_mm(job: Job) -> float:
    """The width from which on every gap asks for more depth than is there; inf if none on this block does."""
    left, bottom, right, top = job.block.board.bounds
    widest = math.hypot(right - left, top - bottom)
    gaps = np.geomspace(_FINEST_MM, max(widest, 2 * _FINEST_MM), 2000)
    enough = np.flatnonzero(~_short(job, gaps))
    if len(enough) == 0:
        return _FINEST_MM
    last = int(enough[-1])
    if last == len(gaps) - 1:
        return math.inf
    low, high = float(gaps[last]), float(gaps[last + 1])
    while high - low > 1e-9:
        middle = (low + high) / 2
        low, high = (low, middle) if bool(_short(job, np.array([middle]))[0]) else (middle, high)
    return high


#: By block, as long as it lives, and least gap: machines cut the same block, most of them with as much clearance.
_KNOWN: WeakKeyDictionary[Block, dict[float, tuple[Floats, Floats]]] = WeakKeyDictionary()


def _gaps_of(block: Block, least: float) -> tuple[Floats, Floats]:
    known = _KNOWN.setdefault(block, {})
    if least not in known:
        known[least] = widest_gaps(block.lowered, least, most=MOST + 1)
    return known[least]


def widest_gaps(areas: PolygonArray, least: float, *, most: int) -> tuple[Floats, Floats]:
    """Centres (n, 2) and diameters (n,) of the largest inscribed circles of at least `least`, the widest first.

    No circle is wider than the area's bounds or than a disc of its size: areas are measured in the order of
    that bound, until the `most` widest are known; those that half of `least` wears away are not measured.
    """
    x0, y0, x1, y1 = shapely.bounds(areas).reshape(-1, 4).T
    bound = np.minimum(np.minimum(x1 - x0, y1 - y0), np.sqrt(4 / np.pi * shapely.area(areas)))
    order = np.argsort(-bound, kind="stable")
    order = order[bound[order] >= least]
    centres, gaps = np.empty((0, 2)), np.empty(0)
    for start in range(0, len(order), _BATCH):
        some = order[start : start + _BATCH]
        if len(gaps) >= most and gaps[most - 1] >= bound[some[0]]:
            break
        left = shapely.buffer(areas[some], -max(least / 2 - _TOLERANCE_MM, 0), quad_segs=16)
        some, left = some[~shapely.is_empty(left)], left[~shapely.is_empty(left)]
        radii = _inscribed(areas[some], left)
        gaps = np.concatenate([gaps, 2 * shapely.length(radii)])
        centres = np.concatenate([centres, shapely.get_coordinates(radii)[::2]])
        best = np.argsort(-gaps, kind="stable")
        best = best[gaps[best] >= least][:most]
        centres, gaps = centres[best], gaps[best]
    return centres, gaps


def _inscribed(areas: PolygonArray, left: NDArray[np.object_]) -> NDArray[np.object_]:
    """The radii of the largest inscribed circles, as lines.

    Of an area with very many corners the middle is sought in what is `left` of it, which has few.
    """
    large = shapely.get_num_coordinates(areas) > geometry.LARGE
    radii = areas.copy()
    radii[~large] = shapely.maximum_inscribed_circle(areas[~large], tolerance=_TOLERANCE_MM)
    middles = geometry.polygon_array(_middle(each) for each in left[large])
    radii[large] = shapely.shortest_line(middles, shapely.boundary(areas[large]))
    return radii


def _middle(shape: BaseGeometry) -> BaseGeometry:
    """A place in a shape than which none lies deeper in it by more than the tolerance.

    The shape is worn away until nothing is left. A piece holds a disc of the radius area / perimeter, and an even band,
    in which GEOS seeks on and on as places are equally deep all along, one of little more.
    """
    worn, step = 0.0, _wears(shape)
    while worn + step <= _WORN_MM:
        rest = shapely.buffer(shape, -step, quad_segs=16)
        if not shapely.is_empty(rest):
            shape, worn, step = rest, worn + step, _wears(rest)
        elif step > _TOLERANCE_MM:
            step = max(step / 2, _TOLERANCE_MM)
        else:
            return cast("BaseGeometry", shapely.point_on_surface(shape))
    radii = shapely.maximum_inscribed_circle(geometry.polygon_array([shape]), tolerance=_TOLERANCE_MM)
    return cast("BaseGeometry", shapely.get_point(radii, 0)[0])


def _wears(shape: BaseGeometry) -> float:
    """By how much to try to wear a shape away: twice what surely leaves something, mm."""
    pieces = shapely.get_parts(shape)
    return max(2 * float((shapely.area(pieces) / shapely.length(pieces)).max()), _TOLERANCE_MM)


def _short(job: Job, gaps: Floats) -> Mask:
    return np.asarray(job.printing.needed_mm(gaps) > _depth_there(job, gaps) + 1e-9)


def _depth_there(job: Job, gaps: Floats) -> Floats:
    """The job's depth; under a V-tool no more than it reaches in a groove as wide as the gap."""
    if job.cutter.form != "v":
        return np.full(len(gaps), job.depth_mm)
    included, tip = job.cutter.values["included_deg"], job.cutter.values["tip_mm"]
    reached = np.array([cutting.v_depth_mm(included, tip, gap, lean_deg=job.lean_deg) for gap in gaps.tolist()])
    return np.asarray(np.minimum(job.depth_mm, reached))


def _all_in(job: Job) -> float:
    """The depth asked for just before the roller falls in: what stands for "no depth is enough"."""
    return job.printing.roller_radius_mm + job.printing.indentation_mm + job.printing.margin_mm


def _kind(job: Job, gap: float, needed: float) -> str:
    """What goes wrong, and whether depth alone helps."""
    reach = _reach_mm(job, gap)
    what = "roller-falls-in" if not math.isfinite(reach) else "roller-dips" if reach > job.depth_mm else "paper-sinks"
    return what if needed > _deepest(job) else f"{what}-cut-deeper"


def _deepest(job: Job) -> float:
    return min(job.material.depth_largest_mm, job.thickness_mm - job.material.floor_mm)


def _why(job: Job, gap: float, needed: float, *, more: bool) -> str:
    printing = job.printing
    reach = _reach_mm(job, gap)
    if not math.isfinite(reach):
        what = f"a roller of {printing.roller_radius_mm:g} mm radius falls in and inks the floor"
    elif reach > job.depth_mm:
        what = f"a roller of {printing.roller_radius_mm:g} mm radius dips nearly to the floor"
    else:
        what = "the paper sinks towards the floor when it is pressed"
    others = f". Only the {MOST} widest such areas are listed" if more else ""
    deepest = _deepest(job)
    enough = "" if needed <= deepest else f". Cutting deeper is not enough here: {max(deepest, 0):.1f} mm is the most"
    return f"{what}: the area is {gap:.1f} mm across, and its floor may print as chatter{enough}{others}"


def _remedy(job: Job, gap: float, needed: float) -> str:
    rolled = _reach_mm(job, gap) > job.depth_mm
    remedies = []
    if needed <= _deepest(job):
        remedies.append(f"cut this area {math.ceil(needed * 10 - 1e-6) / 10:.1f} mm deep")
    if gap >= _ISLAND_MM:
        remedies.append("leave a support island here and mask it when inking")
    remedies.append("use a smaller or harder roller or bearers" if rolled else "press less hard or take stiffer paper")
    return ", or ".join(remedies)


def _reach_mm(job: Job, gap: float) -> float:
    return float(job.printing.reach_mm(np.array([gap]))[0])
