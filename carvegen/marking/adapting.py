"""A kept motif on a drawing that has changed: what lay on what has changed grows again or goes, all else stays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.growth import Growth, plain
from carvegen.motifs.shared.minimum_width import held

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.marking.kept_file import Kept, Surroundings

__all__ = ["Adapted", "adapted"]

_HAIR_MM = 0.01  #: a drawing that differs by no more has not changed
_APART_MM = 0.02  #: so much more than the land is left beside what stays, for the grid's sake
_TOUCHES_MM = 0.05  #: a fringe so near to a shape is that shape's


@dataclass(frozen=True, kw_only=True, eq=False)
class Adapted:
    """What there is of a kept motif on the drawing as it is now."""

    growth: Growth
    gone: PolygonArray = field(default_factory=geometry.empty)  #: kept shapes that went
    come: PolygonArray = field(default_factory=geometry.empty)  #: those that grew in their place

    def lines(self, name: str) -> list[str]:
        """In words; nothing if nothing has changed."""
        if len(self.gone) + len(self.come) == 0:
            return []
        stay = len(self.growth.cuts) - len(self.come)
        came = f"; {len(self.come)} grew there" if len(self.come) else ""
        return [
            f"{name}: the drawing has changed under {len(self.gone)} of {len(self.gone) + stay} kept shapes, which went"
            f"{came}; all others are as they were kept"
        ]


def adapted(
    kept: Kept,
    now: Surroundings,
    limits: Limits,
    *,
    room: Callable[[], BaseGeometry],
    again: Callable[[], Growth] | None,
) -> Adapted:
    """The kept shapes, but for those whose part of the drawing has changed.

    Whoever draws something where the motif must not be takes away the shapes that it meets. Snow that lies on things
    also goes where these have changed, and grows again there; it keeps a land from all that stays.

    Parameters
    ----------
    now
        What the motif depends on, as it is now.
    room
        Where it may be taken out.
    again
        Grows the motif anew on the drawing as it is now; None for one whose shapes only go.
    """
    growth = kept.growth
    if kept.memory is None:
        return Adapted(growth=growth)
    was = kept.memory.surroundings
    if shapely.equals(was.bears, now.bears) and shapely.equals(was.clear, now.clear):
        return Adapted(growth=growth)
    if again is None:
        zone = _wide(shapely.difference(now.clear, was.clear))
        met = _near(growth.cuts, zone, 0.0)
        fringe = _near(growth.free, geometry.stack([zone, growth.cuts[met]]), _TOUCHES_MM)
        return Adapted(growth=replace(growth, cuts=growth.cuts[~met], free=growth.free[~fringe]), gone=growth.cuts[met])
    zone = _wide(
        shapely.union(
            shapely.symmetric_difference(was.bears, now.bears), shapely.symmetric_difference(was.clear, now.clear)
        )
    )
    return _grown_again(growth, zone, limits, room(), again) if len(zone) else Adapted(growth=growth)


def _grown_again(
    growth: Growth, zone: PolygonArray, limits: Limits, room: BaseGeometry, again: Callable[[], Growth]
) -> Adapted:
    """The shapes beside the zone replaced by what grows there now."""
    land = limits.land_mm
    met = _near(growth.cuts, zone, land)
    stays, gone = growth.cuts[~met], growth.cuts[met]
    fresh = again()
    place = geometry.stack([zone, gone])
    come = fresh.cuts[_near(fresh.cuts, place, land)]
    tight = _near(come, stays, land + _APART_MM)
    back = _taken_back(come[tight], stays, limits, room)
    come = np.concatenate([come[~tight], back[_near(back, place, land)]])
    left = growth.free[~_near(growth.free, place, _TOUCHES_MM)]
    free = fresh.free[_near(fresh.free, come, _TOUCHES_MM)]
    free = free[~_near(free, geometry.stack([stays, left]), land)]
    new = plain(replace(fresh, cuts=come, free=free))
    cuts, fringe = np.concatenate([stays, new.cuts]), np.concatenate([left, new.free])
    return Adapted(growth=replace(growth, cuts=cuts, free=fringe), gone=gone, come=new.cuts)


def _taken_back(shapes: PolygonArray, stays: PolygonArray, limits: Limits, room: BaseGeometry) -> PolygonArray:
    """Shapes cut back until they keep a land from those that stay, and hold."""
    if len(shapes) == 0:
        return shapes
    beside = shapely.union_all(stays[_near(stays, shapes, limits.land_mm + _APART_MM)])
    left = shapely.difference(
        shapely.union_all(shapes), shapely.buffer(beside, limits.land_mm + _APART_MM, quad_segs=8)
    )
    return held(left, room, limits) if len(geometry.parts(left)) else geometry.empty()


def _near(shapes: PolygonArray, others: PolygonArray, distance: float) -> Mask:
    """Which shapes come so near to any of the others; (n,)."""
    near = np.zeros(len(shapes), dtype=bool)
    if len(shapes) and len(others):
        near[np.unique(shapely.STRtree(shapes).query(others, predicate="dwithin", distance=distance)[1])] = True
    return near


def _wide(shape: Any) -> PolygonArray:  # noqa: ANN401
    """The pieces of a difference that are more than the grid's doing."""
    pieces = geometry.parts(shape)
    return pieces[~shapely.is_empty(geometry.offset(pieces, -_HAIR_MM / 2))] if len(pieces) else pieces
