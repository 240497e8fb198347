"""The fringe of a block where the carver decides: kept only where all holds, cut or left."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import narrow_places

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["with_fringe"]

_LEAST_MM2 = 0.02  #: smaller bits are nobody's to decide
_LEAST_WIDTH_MM = 4 * geometry.GRID_MM  #: narrower patches have no width: they come of outlines that lie on a grid
_HELD = 0.99  #: of the smallest cut: outlines lie on a grid
_NOTHING = shapely.Polygon()
_ROUNDS = 4
_AROUND = 4.0  #: what lies within so many least widths of land round a patch is looked at
_SAME_MM = 0.05  #: a narrow place this near to one that is there without the fringe is that one


def with_fringe(block: Block, fringe: BaseGeometry, limits: Limits, *, to_decide: BaseGeometry = _NOTHING) -> Block:
    """The block with what of a fringe is land on it and may be cut: no place becomes too narrow by cutting all of it.

    Patches beside a place that would be are left out, whole; with what is left it is asked again.

    Parameters
    ----------
    to_decide
        Where the carver is asked to decide: its patches may stand alone, if a cutter reaches all of them.
    """
    patches = _beside_one(_standing(fringe, block), block)
    asked = _standing(to_decide, block)
    asked = asked[~shapely.is_empty(geometry.offset(asked, -_HELD * limits.cut_mm / 2))] if len(asked) else asked
    if len(asked):
        beside = shapely.STRtree(asked).query(patches, predicate="dwithin", distance=limits.land_mm)[0]
        patches = np.concatenate([np.delete(patches, np.unique(beside)), asked])
    near = _round_about(block, patches, _AROUND * limits.land_mm)
    before = _narrow(near, limits)
    for _ in range(_ROUNDS):
        if len(patches) == 0:
            break
        without = replace(near, cuts=geometry.snapped(geometry.joined(np.concatenate([near.cuts, patches]))))
        ends = geometry.dots(_new(_narrow(without, limits), before).reshape(-1, 2))
        touched = shapely.STRtree(patches).query(ends, predicate="dwithin", distance=limits.land_mm)[1]
        if len(touched) == 0:
            return replace(block, free=patches)
        patches = np.delete(patches, np.unique(touched))
    return block


def _round_about(block: Block, patches: PolygonArray, reach: float) -> Block:
    """The block with its cuts as far as they lie near patches; all else of it is taken to stand."""
    window = shapely.union_all(geometry.offset(patches, reach, quad_segs=1))
    met = block.cuts[block.cut_tree.query(window, predicate="intersects")]
    return replace(block, cuts=geometry.parts(shapely.intersection(met, window)))


def _standing(fringe: BaseGeometry, block: Block) -> PolygonArray:
    """The patches of a fringe that stand on the block."""
    met = np.unique(block.cut_tree.query(fringe, predicate="intersects"))
    gone = shapely.union_all(np.concatenate([block.cuts[met], block.cut_outs]))
    result = geometry.snapped(geometry.parts(shapely.difference(shapely.intersection(fringe, block.face), gone)))
    wide = ~shapely.is_empty(geometry.offset(result, -_LEAST_WIDTH_MM / 2))
    return np.asarray(result[wide & (shapely.area(result) > _LEAST_MM2)])


def _beside_one(patches: PolygonArray, block: Block) -> PolygonArray:
    """The patches that widen one cut, and join no two."""
    every = np.concatenate([block.cuts, block.cut_outs])
    if len(patches) == 0 or len(every) == 0:
        return geometry.empty()
    beside = shapely.STRtree(every).query(patches, predicate="dwithin", distance=2 * geometry.GRID_MM)[0]
    return np.asarray(patches[np.bincount(beside, minlength=len(patches)) == 1])


def _narrow(block: Block, limits: Limits) -> Floats:
    """Both ends of every narrow place; (n, 4)."""
    places = narrow_places(block.land_rings, max(limits.land_along_mm, limits.land_across_mm), limit_at=limits.land_at)
    return np.hstack([places.at, places.to])


def _new(after: Floats, before: Floats) -> Floats:
    """The places that were not there before."""
    if len(before) == 0 or len(after) == 0:
        return after
    from scipy.spatial import cKDTree

    far, _ = cKDTree(before).query(after)
    return np.asarray(after[far > _SAME_MM])
