"""Parts of cuts too narrow for the cutter, made as wide as it asks where that changes less than to fill them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks.land_width import short_tips
from carvegen.checks.mending import shape_edits
from carvegen.checks.survey import Survey
from carvegen.geometry.narrow import narrow_spread

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.job import Job
    from carvegen.checks.survey import Survey
    from carvegen.geometry import Mask, PolygonArray

__all__ = ["Slit", "holds", "slits", "weak_places"]

_MEETS_MM = 0.01  #: parts this near to one another meet


def weak_places(survey: Survey, *, spare: float = 0.0) -> NDArray[np.object_]:
    """Lines across land that breaks, and parts of cuts too narrow for the cutter that part them; (n,).

    Tips break that are long, or would be if they were longer by `spare` limits.
    """
    lands = survey.narrow_lands
    breaks = ~short_tips(lands, survey.job.face_limits.land_at(lands.direction_deg), spare)
    places = [geometry.lines(lands.at[breaks], lands.to[breaks])]
    for k in np.flatnonzero(survey.broken).tolist():
        left = geometry.parts(survey.uncut(k))
        pieces = geometry.parts(survey.reached(k))
        if len(pieces) == 0:
            places.append(survey.white[k : k + 1])
        elif len(left):
            met = shapely.dwithin(left[:, None], pieces[None, :], _MEETS_MM).sum(axis=1)
            places.append(left[met > 1])
    return np.concatenate(places)


_IN_MM = 0.005  #: discs whose middle is this near to a part lie in it
_AROUND = 4.0  #: what lies within so many least widths of land round a slit is looked at when it is tried


@dataclass(frozen=True, kw_only=True, eq=False)
class Slit:
    """A part of a cut that the cutter can't make."""

    cut: int  #: number of the cut
    part: BaseGeometry
    gain: BaseGeometry  #: the land that goes where it is made wide enough

    @property
    def is_smaller_widened(self) -> bool:
        """Whether widening takes less land than filling loses white; blunt corners have nothing to be widened."""
        return 0 < float(shapely.area(self.gain)) < float(shapely.area(self.part))


def slits(survey: Survey, k: int, beyond: PolygonArray, width: float) -> list[Slit]:
    """Parts of cut `k` beyond what the cutter reaches of it, each with what it lacks to a width, mm."""
    if len(beyond) == 0:
        return []
    cut, limit = survey.white[k], survey.job.face_limits.cut_mm
    walls = geometry.rings(geometry.polygon_array([cut]))
    thin = narrow_spread(walls, limit).thin
    thin = thin.chosen(np.lexsort((np.hypot(*(thin.at - walls.xy[thin.edge]).T), thin.edge)))
    owner, met = shapely.STRtree(geometry.dots(thin.centre)).query(beyond, predicate="dwithin", distance=_IN_MM)
    result = []
    for number, part in enumerate(beyond):
        mine = thin.chosen(np.sort(met[owner == number]))
        wide = shape_edits.lands(mine.centre, shape_edits.runs(mine.centre, mine.edge, limit), width)
        gain = shape_edits.less(shape_edits.common(wide, survey.job.block.face), cut)
        result.append(Slit(cut=k, part=part, gain=gain))
    return result


def holds(job: Job, offered: Sequence[Slit]) -> Mask:
    """Which of these slits, if all were widened, could be made and would leave land that lasts; (n,)."""
    gains = np.array([slit.gain for slit in offered], dtype=object)
    owner = np.array([slit.cut for slit in offered], dtype=np.int64)
    block, white = job.block, np.concatenate([job.block.cuts, job.block.cut_outs])
    one, other = shapely.STRtree(white).query(gains, predicate="dwithin", distance=_AROUND * job.limits.land_mm)
    meets = (other != owner[one]) & shapely.dwithin(gains[one], white[other], geometry.GRID_MM)
    fine = np.ones(len(offered), dtype=bool)
    fine[one[meets]] = False
    tried = white.copy()
    for k in np.unique(owner[fine]).tolist():
        tried[k] = shape_edits.plus(white[k], *gains[fine & (owner == k)])
    near = np.unique(other[other < len(block.cuts)])
    cuts = geometry.snapped(geometry.parts(tried[near]))
    survey = Survey(replace(job, block=replace(block, cuts=cuts, fixed=frozenset())), slender=False)
    weak = shapely.STRtree(weak_places(survey))
    fine[weak.query(gains, predicate="dwithin", distance=job.limits.land_mm / 2)[0]] = False
    return fine
