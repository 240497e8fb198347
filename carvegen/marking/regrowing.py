"""Grow again for what springs from an edge or a stem, as frost does: it grows on from what a mark has cut."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.marking.ends import Habit, cut_back
from carvegen.marking.near_land import joined_to
from carvegen.motifs.frost.regrowing import regrown

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.motifs.frost.settings import Settings
    from carvegen.motifs.growth import Place

__all__ = ["grown_on"]

_BITE_MM = 0.05  #: an end on which nothing has grown is run out from so far about its cut
_TOUCHES_MM = 0.01


def grown_on(
    cuts: PolygonArray, others: PolygonArray, *, mark: BaseGeometry, zone: BaseGeometry, settings: Settings,
    place: Place, limits: Limits, habit: Habit, rng: Generator,
) -> PolygonArray:  # fmt: skip
    """All cuts, those that the mark meets grown anew in it and joined to what has stayed of them."""
    met = np.asarray(shapely.intersects(cuts, mark))
    rest = cuts[~met]
    done = regrown(
        cuts[met], np.concatenate([rest, others]), mark=mark, zone=zone, settings=settings, place=place, limits=limits,
        rng=rng, flake_mm=habit.flake_mm,
    )  # fmt: skip
    ice = geometry.stack(_run_out(shape, done.ends, habit, limits) for shape in done.ice)
    if len(done.new) == 0:
        return np.concatenate([rest, ice])
    new = shapely.union_all(geometry.offset(done.new, _TOUCHES_MM / 2, quad_segs=2))
    joins = np.asarray(shapely.intersects(ice, new))
    grown = joined_to(ice[joins], geometry.solid(shapely.intersection(new, geometry.union(place.area))), limits)
    return np.concatenate([rest, ice[~joins], grown])


def _run_out(shape: BaseGeometry, ends: PolygonArray, habit: Habit, limits: Limits) -> PolygonArray:
    """The shape with each of its cut ends run out, over as much of it as the cut is long."""
    pieces = geometry.parts(shape)
    for end in ends:
        met = np.asarray(shapely.dwithin(pieces, end, _TOUCHES_MM))
        own = replace(habit, flake_mm=float(np.clip(2 * shapely.length(end), _BITE_MM, habit.flake_mm)))
        bite = shapely.buffer(end, _BITE_MM)
        pieces = np.concatenate([pieces[~met], *(cut_back(its, bite, own, limits) for its in pieces[met])])
    return pieces
