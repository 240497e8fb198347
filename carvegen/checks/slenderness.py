"""Land that is wide enough by itself but too slender beside so deep a cut: it stands like a blade."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

from carvegen.base.findings import Finding, Severity
from carvegen.checks.land_width import findings_at

if TYPE_CHECKING:
    from carvegen.blocks.job import Job
    from carvegen.checks.survey import Survey

__all__ = ["RULE", "find", "stout_source", "stout_width"]

RULE = "slenderness"

_WHY = "a land this narrow beside a cut this deep bends under the tool and the press, and tears"


def find(survey: Survey) -> Iterator[Finding]:
    """Land that lasts by its width, but the cut beside it is deeper than the material's ratio times its mean width.

    A risk, not a break: the ratio is a rule of thumb. Land too narrow in itself is `land-width`'s or `foot-width`'s.
    """
    job, lands = survey.job, survey.slender_lands
    if len(lands) == 0:
        return
    limit = job.stout_limits.land_at(lands.direction_deg)
    remedy = f"cut less deep there, slope its shoulder, or {stout_width(job)}"
    for finding in findings_at(
        job.block, lands, lands.width, limit, rule=RULE, why=_WHY + stout_source(job), remedy=remedy
    ):
        yield replace(finding, severity=Severity.RISK)


def stout_width(job: Job) -> str:
    """What to do about a land's width, in words: the face that is stout enough at this depth."""
    material, stout = job.material, job.stout_limits
    if material.slender_along is None or material.slender_across is None or stout.land_mm <= 0:
        return "keep land wider than the minimum"
    along, across = stout.land_along_mm, stout.land_across_mm
    widths = [(along, "")] if along == across else [(along, " along the grain"), (across, " across it")]
    wide = " and ".join(f"{width:.2f} mm{where}" for width, where in widths)
    return f"keep land wider than {wide}"


def stout_source(job: Job) -> str:
    """Where the width that is stout enough comes from, as a further sentence; none where no width is known."""
    material = job.material
    if material.slender_along is None or material.slender_across is None:
        return ""
    return f". The width: {material.sources.get('slender_along', 'of the profile')}"
