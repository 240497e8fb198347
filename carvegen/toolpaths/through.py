"""Cut-outs by a turning cutter: inside the outline by half its width, in passes, with tabs that hold what falls."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.toolpaths.clearing import climbing
from carvegen.toolpaths.entry import Descent, worked
from carvegen.toolpaths.paths import Paths, joined, no_paths, picked
from carvegen.toolpaths.reach import pieces, shrunk

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.toolpaths.reach import Fit

__all__ = ["THROUGH_MM", "best_cutters", "cut_through"]

THROUGH_MM = 0.2  #: below the block, into a board under it; common practice, no source
_TAB_MM = 4.0  #: wide at its top; common practice, no source
_TAB_SHARE = 0.3  #: of the thickness that a tab keeps; common practice, no source
_TABS_APART_MM = 60.0  #: at most; common practice, no source
_FEWEST = 3  #: tabs of a part that would fall; common practice, no source
_AS_WELL = 0.02  #: of a cut-out that a larger cutter may leave in its corners


def best_cutters(cut_outs: PolygonArray, fits: Sequence[Fit], regions: Sequence[NDArray[np.object_]]) -> list[int]:
    """For each cut-out the number of the largest straight cutter that does it nearly whole; -1 if none fits.

    Parameters
    ----------
    regions
        For each cutter where its centre may be, aligned with the cut-outs.
    """
    missing = np.full((len(fits), len(cut_outs)), np.inf)
    for k, (its, region) in enumerate(zip(fits, regions, strict=True)):
        there = ~shapely.is_empty(region)
        swept = shapely.buffer(region[there], its.face_mm, quad_segs=16)
        missing[k, there] = 1 - shapely.area(shapely.intersection(swept, cut_outs[there])) / shapely.area(
            cut_outs[there]
        )
    best = missing.min(axis=0)
    good = missing <= best + _AS_WELL
    widths = np.array([its.face_mm for its in fits])
    return [
        int(np.argmax(np.where(column, widths, -1))) if math.isfinite(least) else -1
        for column, least in zip(good.T, best.tolist(), strict=True)
    ]


def cut_through(region: NDArray[np.object_], its: Fit, down: Descent, thickness_mm: float, *, tabs: bool) -> Paths:
    """Paths along the outlines of the regions, down through the block.

    Where a piece comes loose inside, it is held by tabs: places with sloped ends at which the cutter stays up.
    """
    parts, _ = pieces(region)
    loose = ~shapely.is_empty(shrunk(parts, its.face_mm)) if len(parts) else np.zeros(0, dtype=bool)
    flat, part = climbing(parts)
    outer = np.zeros(len(flat), dtype=bool)
    outer[np.searchsorted(part, np.arange(len(parts)))] = True
    deep = worked(flat, down, ramped=np.ones(len(flat), dtype=bool))
    if not tabs:
        return deep
    keep = -thickness_mm * (1 - _TAB_SHARE)
    slope = math.tan(math.radians(down.ramp_deg))
    ways = [
        _tabbed(picked(deep, np.array([k])), length, keep, slope, 2 * its.face_mm) if loose[part[k]] else
        picked(deep, np.array([k]))
        for k, length in enumerate(flat.lengths.tolist())
    ]  # fmt: skip
    return joined(ways) if ways else no_paths()


def _tabbed(path: Paths, round_mm: float, keep: float, slope: float, cutter_mm: float) -> Paths:
    """A path that goes round several times, lifted to `keep` at the same places of every round."""
    steps = np.linalg.norm(np.diff(path.xyz[:, :2], axis=0), axis=1)
    at = np.concatenate([[0], np.cumsum(steps)])
    count = max(_FEWEST, math.ceil(round_mm / _TABS_APART_MM))
    half = min((_TAB_MM + cutter_mm) / 2, round_mm / (4 * count))
    middles = (np.arange(math.ceil(at[-1] / round_mm) * count) + 0.5) * round_mm / count
    sides = (keep - path.xyz[:, 2].min()) / slope
    marks = (middles[:, None] + np.array([-half - sides, -half, half, half + sides])).ravel()
    every = np.unique(np.concatenate([at, marks[(marks > 0) & (marks < at[-1])]]))
    x, y, z = (np.interp(every, at, column) for column in path.xyz.T)
    lifted = np.maximum(z, keep - slope * _beyond(every, middles, half))
    xyz = np.column_stack([x, y, np.where(z < keep, lifted, z)])
    return Paths(xyz, np.array([0, len(xyz)]), path.closed)


def _beyond(at: Floats, middles: Floats, half: float) -> Floats:
    """How far each position lies outside the nearest tab; 0 in it."""
    near = np.searchsorted((middles[1:] + middles[:-1]) / 2, at)
    return np.maximum(np.abs(at - middles[near]) - half, 0)
