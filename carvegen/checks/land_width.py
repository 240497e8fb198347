"""Land that is too narrow between two cuts, between parts of one cut, or between a cut and the edge."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from carvegen.checks.survey import TOLERANCE_MM, Survey
from carvegen.findings import Finding, Severity

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices
    from carvegen.necks import Necks

__all__ = ["RULE", "find", "findings_at"]

RULE = "land-width"

_WHY = "land this narrow crumbles, tears or burns away when it is cut or printed"
_REMEDY = "move or shrink one of the two cuts, or join them"


def find(survey: Survey) -> Iterator[Finding]:
    """Every neck of the land below the material's minimum for its direction."""
    found = survey.narrow_lands
    limit = survey.job.face_limits.land_at(found.direction_deg)
    yield from findings_at(found, found.width, limit, rule=RULE, why=_WHY, remedy=_REMEDY)


def findings_at(found: Necks, width: Floats, limit: Floats, *, rule: str, why: str, remedy: str) -> Iterator[Finding]:
    """A finding for each neck whose `width` falls below its `limit`."""
    short: Indices = np.flatnonzero(width < limit - TOLERANCE_MM)
    for k in short.tolist():
        yield Finding(
            rule=rule,
            severity=Severity.BREAKS,
            at=(float(found.start[k, 0]), float(found.start[k, 1])),
            to=(float(found.end[k, 0]), float(found.end[k, 1])),
            measured=float(width[k]),
            limit=float(limit[k]),
            unit="mm",
            why=why,
            remedy=remedy,
        )
