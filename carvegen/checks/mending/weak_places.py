"""Where a change would leave land that breaks, or a cut that its cutter can't make: what a try is judged by."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks.land_width import short_tips

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.checks.survey import Survey

__all__ = ["weak_places"]

_MEETS_MM = 0.01  #: parts this near to one another meet


def weak_places(survey: Survey) -> NDArray[np.object_]:
    """Lines across land that breaks, and parts of cuts too narrow for the cutter that part them; (n,)."""
    found = survey.narrow_lands
    breaks = ~short_tips(found, survey.job.face_limits.land_at(found.direction_deg))
    places = [geometry.lines(found.at[breaks], found.to[breaks])]
    for k in np.flatnonzero(survey.broken).tolist():
        left = geometry.parts(shapely.difference(survey.white[k], survey.reached(k)))
        pieces = geometry.parts(survey.reached(k))
        if len(pieces) == 0:
            places.append(survey.white[k : k + 1])
        elif len(left):
            met = shapely.dwithin(left[:, None], pieces[None, :], _MEETS_MM).sum(axis=1)
            places.append(left[met > 1])
    return np.concatenate(places)
