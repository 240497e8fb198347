"""Centre lines: a V between two edges, so deep that it just touches both.

Along the medial axis of a cut, with r the radius of the largest disc there, a, t the V's included angle and tip:
depth = (r - t/2) / tan(a/2), plane geometry. Towards the ends of a cut and into its corners the line rises to the
face; where it would go deeper than the cut, the floor is flat and other paths clear it.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.base.progress import each_part
from carvegen.facts import cutting
from carvegen.toolpaths.paths import (
    Paths,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.v_carving.path_chaining import trails

if TYPE_CHECKING:
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.geometry.medial import MedialAxis

__all__ = ["centre_lines", "deepest", "widest_mm"]

_SLACK_MM = 0.01  #: floors narrower than twice this are followed by their middle alone
_SPLIT = 0.2  #: share of the time that goes before lines are strung together
_SAME_MM = 1e-9  #: radii nearer than this are one


def deepest(cuts: PolygonArray, cutter: Cutter, most_mm: float) -> Floats:
    """How deep a V goes in each cut at its widest place, mm; (n,)."""
    if len(cuts) == 0:
        return np.empty(0)
    radius = shapely.length(shapely.maximum_inscribed_circle(cuts))
    return _depth(cutter, np.asarray(radius, dtype=np.float64), most_mm)


def widest_mm(cutter: Cutter, depth_mm: float) -> float:
    """The radius of the largest disc through whose middle a line goes."""
    return _half(cutter, depth_mm) + _SLACK_MM


def centre_lines(
    axis: MedialAxis, cutter: Cutter, depth_mm: float, *, passes: int = 1, zone: shapely.Geometry | None = None
) -> Paths:
    """Lines through the middle of everything that is too narrow for the V at full depth.

    Parameters
    ----------
    axis
        The medial axis of the cuts, with discs up to `widest_mm` at least.
    depth_mm
        The deepest that the job goes.
    passes
        In so many steps of equal depth; each goes only where the one before did not reach the bottom.
    zone
        Where the middle of the cutter may go at all; None: everywhere.

    Notes
    -----
    Lines that meet are strung together; forks are followed straight on. Where a cut is all middle and no line, as
    a disc is, the V dips in. Not in the best order: `order.ordered` shortens the ways between them.
    """
    if len(axis.xy) == 0:
        return no_paths()
    levels = _half(cutter, 0) + np.linspace(0, 1, passes + 1) * (_half(cutter, depth_mm) - _half(cutter, 0))
    levels[-1] = widest_mm(cutter, depth_mm)
    dips = _dips(axis, levels, cutter, depth_mm)
    axis = axis if zone is None else axis.within(zone)
    for level in levels.tolist():
        axis = axis.split(level)
    low, high = np.sort(axis.radius[axis.links], axis=1).T
    fits = high <= levels[-1] + _SAME_MM
    chosen = [fits & (low >= levels[k] - _SAME_MM) & ((high > levels[k] + _SAME_MM) | (k == 0)) for k in range(passes)]
    lines = []
    _, *following = each_part([_SPLIT * len(axis.links), *(float(each.sum()) for each in chosen)])
    for k, chaining in enumerate(following):
        z = 0.0 - _depth(cutter, axis.radius, depth_mm * (k + 1) / passes)
        with chaining:
            lines.append(trails(np.column_stack([axis.xy, z]), axis.links[chosen[k]]))
    return joined([*lines, _inside(dips, zone)])


def _dips(axis: MedialAxis, levels: Floats, cutter: Cutter, depth_mm: float) -> Paths:
    """Straight down and up again in the middle of each shape that has no line."""
    bare = np.ones(int(axis.shape.max()) + 1, dtype=bool)
    bare[axis.shape[axis.links]] = False
    points = np.flatnonzero(bare[axis.shape])
    order = points[np.lexsort([-axis.radius[points], axis.shape[points]])]
    middle = order[np.unique(axis.shape[order], return_index=True)[1]]
    radius = axis.radius[middle]
    alone = middle[(radius > levels[0]) & (radius <= levels[-1])]
    top = np.column_stack([axis.xy[alone], np.zeros(len(alone))])
    bottom = np.column_stack([axis.xy[alone], -_depth(cutter, axis.radius[alone], depth_mm)])
    count = len(alone)
    return Paths(np.stack([top, bottom], axis=1).reshape(-1, 3), 2 * np.arange(count + 1), np.zeros(count, dtype=bool))


def _inside(paths: Paths, zone: shapely.Geometry | None) -> Paths:
    if zone is None or len(paths) == 0:
        return paths
    return picked(paths, np.flatnonzero(shapely.intersects_xy(zone, paths.entries[:, :2])))


def _v(cutter: Cutter) -> tuple[float, float]:
    """Included angle and tip of a V."""
    if cutter.form != "v":
        raise ValueError(f"not a V: {cutter.form}")
    return cutter.values["included_deg"], cutter.values["tip_mm"]


def _half(cutter: Cutter, depth_mm: float) -> float:
    """Half the width at the face of a V at this depth."""
    return cutting.v_width_mm(*_v(cutter), depth_mm) / 2


def _depth(cutter: Cutter, radius: Floats, most_mm: float) -> Floats:
    """How deep a V just touches discs of these radii, and no deeper than `most_mm`; same shape."""
    included, tip = _v(cutter)
    deep = (radius - tip / 2) / math.tan(math.radians(included) / 2)
    return np.asarray(np.clip(deep, 0, most_mm), dtype=np.float64)
