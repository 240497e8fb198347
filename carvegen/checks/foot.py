"""Land that is wide enough at its face but too narrow at its foot."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from carvegen.base.findings import Finding
from carvegen.checks.land_width import findings_at
from carvegen.checks.survey import TOLERANCE_MM, Survey

__all__ = ["RULE", "find"]

RULE = "foot-width"

_WHY = "a land on a narrow foot breaks off at the first pull of the paper"
_REMEDY = "cut less deep there, use a tool with a wider angle, or leave the land wider"


def find(survey: Survey) -> Iterator[Finding]:
    """Necks that hold at the face, with a foot (face + 2 depth tan wall, for straight walls) below the minimum."""
    lands = survey.narrow_lands
    holds = lands.width >= survey.job.face_limits.land_at(lands.direction_deg) - TOLERANCE_MM / 2
    lands = lands.chosen(np.flatnonzero(holds))
    foot = lands.width + 2 * survey.job.wall.foot_gain_mm
    limit = survey.job.foot_limits.land_at(lands.direction_deg)
    severed = "; here the two walls meet under the face" if (foot <= 0).any() else ""
    yield from findings_at(survey.job.block, lands, foot, limit, rule=RULE, why=_WHY + severed, remedy=_REMEDY)
