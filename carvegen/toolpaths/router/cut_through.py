"""Cut-outs by a turning cutter: inside the outline by half its width, in passes, with tabs that hold what falls."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.cutter_centre_region import shrunk
from carvegen.toolpaths.fewer_points import thinned
from carvegen.toolpaths.paths import Paths, joined, picked
from carvegen.toolpaths.router.floor_clearing import nested
from carvegen.toolpaths.router.ramps import Descent, worked
from carvegen.toolpaths.router.wall_passes import climbing

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.toolpaths.cutter_centre_region import Fit

__all__ = ["THROUGH_MM", "best_cutters", "block_ring", "cut_round", "cut_through"]

THROUGH_MM = 0.2  #: below the block, into a board under it; common practice, no source
_TAB_MM = 4.0  #: wide at its top; common practice, no source
_TAB_SHARE = 0.3  #: of the thickness that a tab keeps, and no more than `_TAB_HIGH_MM`; common practice, no source
_TAB_HIGH_MM = 1.5
_TAB_LEAST_MM = 1.0  #: of a tab that is left on a short way round; our own choice
_TAB_SIDE_DEG = 30.0  #: how steeply the cutter comes down behind a tab; our own choice
_TABS_APART_MM = 60.0  #: at most; common practice, no source
_EARLIER = 0.05  #: earlier rounds stay so much of what they lack in depth above the tab: no line is cut twice
_FEWEST = 3  #: tabs of a part that would fall, if there is room for them; common practice, no source
_AS_WELL = 0.02  #: of a cut-out that a larger cutter may leave in its corners


def best_cutters(cut_outs: PolygonArray, fits: Sequence[Fit], regions: Sequence[NDArray[np.object_]]) -> list[int]:
    """For each cut-out the number of the largest straight cutter that does it nearly whole; -1 if none fits.

    Parameters
    ----------
    regions
        For each cutter where its centre may be, aligned with the cut-outs.
    """
    missing = np.full((len(fits), len(cut_outs)), np.inf)
    for k, (fit, region) in enumerate(zip(fits, regions, strict=True)):
        there = ~shapely.is_empty(region)
        swept = shapely.buffer(region[there], fit.face_mm, quad_segs=16)
        missing[k, there] = 1 - shapely.area(shapely.intersection(swept, cut_outs[there])) / shapely.area(
            cut_outs[there]
        )
    best = missing.min(axis=0)
    good = missing <= best + _AS_WELL
    widths = np.array([fit.face_mm for fit in fits])
    return [
        int(np.argmax(np.where(column, widths, -1))) if math.isfinite(least) else -1
        for column, least in zip(good.T, best.tolist(), strict=True)
    ]


def cut_through(region: NDArray[np.object_], fit: Fit, down: Descent, thickness_mm: float, *, tabs: bool) -> Paths:
    """Paths along the outlines of the regions, down through the block.

    Where a piece comes loose inside, it is held by tabs: places with sloped ends at which the cutter stays up. A
    loose piece too small for a tab is cleared away instead.
    """
    parts, _ = geometry.owned_parts(region)
    tab = _Tab(thickness_mm, down.depth_mm, 2 * fit.face_mm)
    core = shrunk(parts, fit.face_mm)
    round_mm = shapely.length(shapely.get_exterior_ring(parts))
    held = ~shapely.is_empty(core) & (round_mm >= tab.least_round_mm)
    small, _ = nested(core[~held], 0.0, fit.face_mm / 2)
    flat, part = climbing(parts)
    flat = thinned(flat)
    first = np.searchsorted(part, np.arange(len(parts)))
    deep = worked(flat, down, ramped=np.ones(len(flat), dtype=bool))
    inner = worked(small, down, ramped=np.ones(len(small), dtype=bool))
    paths = [picked(deep, np.array([k])) for k in range(len(deep))]
    if tabs:
        for k in first[held].tolist():
            paths[k] = _tabbed(paths[k], float(flat.lengths[k]), tab)
    return joined([inner, *paths])


def block_ring(block: Block, fit: Fit) -> shapely.LinearRing:
    """Where the middle of the cutter goes round a block in a larger sheet: outside its edge by half its width."""
    return block.board.buffer(fit.face_mm, join_style="mitre").exterior


def cut_round(ring: shapely.LinearRing, fit: Fit, down: Descent, thickness_mm: float, *, tabs: bool) -> Paths:
    """Down through the sheet along a ring round the block, which is land: on the left of the way in print view."""
    around = geometry.polygon_array([shapely.Polygon(shapely.box(*ring.buffer(fit.face_mm).bounds).exterior, [ring])])
    flat, _ = climbing(around)
    flat = picked(flat, np.array([1]))
    deep = worked(flat, down, ramped=np.ones(1, dtype=bool))
    return _tabbed(deep, float(flat.lengths[0]), _Tab(thickness_mm, down.depth_mm, 2 * fit.face_mm)) if tabs else deep


@dataclass(frozen=True)
class _Tab:
    """What stays of the thickness to hold a piece."""

    thickness_mm: float
    depth_mm: float
    cutter_mm: float

    @property
    def top_mm(self) -> float:
        """Height of the tab's top above the face; below 0."""
        return -self.thickness_mm + min(_TAB_SHARE * self.thickness_mm, _TAB_HIGH_MM)

    @property
    def side_mm(self) -> float:
        """How long its sloped end is."""
        return (self.depth_mm + self.top_mm) / math.tan(math.radians(_TAB_SIDE_DEG))

    @property
    def least_round_mm(self) -> float:
        """The shortest way round that has room for one tab and as much that is cut through."""
        return 2 * (_TAB_LEAST_MM + self.cutter_mm + 2 * self.side_mm)

    def sizes(self, round_mm: float) -> tuple[int, float]:
        """How many tabs, and half the way for which the cutter stays up at each: at most half of the way round."""
        half = (_TAB_MM + self.cutter_mm) / 2
        wanted = max(_FEWEST, math.ceil(round_mm / _TABS_APART_MM))
        count = min(wanted, int(round_mm / (4 * (half + self.side_mm))))
        return (count, half) if count else (1, round_mm / 4 - self.side_mm)


def _tabbed(path: Paths, round_mm: float, tab: _Tab) -> Paths:
    """A path that goes round several times, kept up at the same places of every round."""
    steps = np.linalg.norm(np.diff(path.xyz[:, :2], axis=0), axis=1)
    at = np.concatenate([[0], np.cumsum(steps)])
    count, half = tab.sizes(round_mm)
    middles = (np.arange(math.ceil(at[-1] / round_mm) * count) + 0.5) * round_mm / count
    marks = np.add.outer(middles, [-half - tab.side_mm, -half, half, half + tab.side_mm]).ravel()
    every = np.unique(np.concatenate([at, marks[(marks > 0) & (marks < at[-1])]]))
    x, y, z = (np.interp(every, at, column) for column in path.xyz.T)
    top = tab.top_mm + _EARLIER * (z - z.min())
    up = top - math.tan(math.radians(_TAB_SIDE_DEG)) * _beyond(every, middles, half)
    xyz = np.column_stack([x, y, np.maximum(z, up)])
    return Paths(xyz, np.array([0, len(xyz)]), path.closed)


def _beyond(at: Floats, middles: Floats, half: float) -> Floats:
    """How far each position lies outside the nearest tab; 0 in it."""
    near = np.searchsorted((middles[1:] + middles[:-1]) / 2, at)
    return np.maximum(np.abs(at - middles[near]) - half, 0)
