"""What a V's blunt tip can't fill: corners sharper than it, told from the medial axis where that is enough."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths import cutter_centre_region

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Indices, Mask, PolygonArray
    from carvegen.geometry.medial import MedialAxis

__all__ = ["sharp", "unfilled"]

_SURELY = 0.7  #: of the least that is told: what axes get wrong is less than the rest
_CLOSELY = 0.8  #: the same of buffers, whose chords lie at most so far from their arcs
_CORNER_MM = 0.001  #: an end of the axis with a smaller disc is a corner of the shape
_SAME_MM = 1e-9


def sharp(axis: MedialAxis, count: int, radius_mm: float) -> Mask:
    """Which of so many shapes may have a corner or a neck that a disc of this radius leaves: rather more than have.

    Where the axis runs straight from such a disc into a corner, what is left beyond the disc is as long as that piece
    of the axis less the radius: a disc that is worth a word fits in only where it is twice that one's radius.
    """
    axis = axis.split(radius_mm)
    under = axis.radius[axis.links] < radius_mm - _SAME_MM
    some = under.any(axis=1)
    links, under, length = axis.links[some], under[some], axis.lengths[some]
    tip = np.where(under[:, 0], links[:, 0], links[:, 1])
    foot = links.sum(axis=1) - tip
    degree = np.bincount(axis.links.ravel(), minlength=len(axis.xy))
    corner = ~under.all(axis=1) & (degree[tip] == 1) & (axis.radius[tip] < _CORNER_MM)
    left = length - (axis.radius[foot] - axis.radius[tip])
    found = np.zeros(count, dtype=bool)
    found[axis.shape[tip[~corner | (left > 2 * _SURELY * cutter_centre_region.least_mm(radius_mm))]]] = True
    most = np.zeros(count)
    np.maximum.at(most, axis.shape, axis.radius)
    return np.asarray(found | (most < radius_mm + _CORNER_MM))


def unfilled(
    wide: PolygonArray, ground: NDArray[np.object_], doubtful: Mask, radius_mm: float, *, barred: PolygonArray,
    left: PolygonArray | None,
) -> PolygonArray:  # fmt: skip
    """What of the ground a disc of this radius leaves, and what is barred to it; pieces worth a word.

    Parameters
    ----------
    wide, ground
        The pieces of ground, with and without the strip outside the block beside them; aligned.
    doubtful
        Where anything may be left; of these most are looked at no closer, as all that is a little inside lies a
        little beyond what the disc fills; (n,).
    left
        What all at full depth leaves, if that is computed: only what of it is left here, too.
    """
    some = np.flatnonzero(doubtful)
    core = cutter_centre_region.shrunk(wide[some], radius_mm)
    some, core = _looked_at(wide, some, core, radius_mm, barred)
    filled = cutter_centre_region.without(
        cutter_centre_region.grown(core, radius_mm) if radius_mm > 0 else wide[some], barred
    )
    if left is None:
        rest = shapely.difference(ground[some], filled)
    elif len(left):
        rest = _left_over(left, ground, some, filled)
    else:
        return left
    return cutter_centre_region.worth(*geometry.owned_parts(rest), radius_mm)[0]


def _looked_at(
    wide: PolygonArray, some: Indices, core: NDArray[np.object_], radius_mm: float, barred: PolygonArray
) -> tuple[Indices, NDArray[np.object_]]:
    """The numbers of the pieces, and their cores, where something may be left that is worth a word."""
    a_little = cutter_centre_region.least_mm(radius_mm) * _CLOSELY
    near = ~shapely.covers(
        cutter_centre_region.grown(core, radius_mm + a_little), cutter_centre_region.shrunk(wide[some], a_little)
    )
    if len(barred):
        near |= shapely.intersects(wide[some], shapely.union_all(barred))
    return some[near], core[near]


def _left_over(
    left: PolygonArray, ground: NDArray[np.object_], some: Indices, filled: NDArray[np.object_]
) -> NDArray[np.object_]:
    """What is left in these pieces of ground and not filled."""
    _, home = shapely.STRtree(ground).query_nearest(shapely.point_on_surface(left), all_matches=False)
    place = np.full(len(ground), -1)
    place[some] = np.arange(len(some))
    its = np.flatnonzero(place[home] >= 0)
    return np.asarray(shapely.difference(left[its], filled[place[home[its]]]), dtype=object)
