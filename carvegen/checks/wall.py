"""The wall that the cutter leaves: undercut, or steeper than the material wants."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from carvegen.base.findings import Finding, Severity
from carvegen.checks.slenderness import stout_width
from carvegen.checks.survey import Survey

if TYPE_CHECKING:
    from carvegen.blocks.job import Job

__all__ = ["RULE", "find"]

RULE = "wall-angle"

_EVEN_DEG = 0.01  #: leaning in by less than this is upright


def _upright(job: Job) -> str:
    """What to do about it first, by what cuts."""
    if job.cutter.form == "laser":
        return "set the focus at the floor of the cut, "
    return "lean the tool less, " if job.lean_deg else ""


def _shoulder(job: Job) -> str:
    """Where a slope comes from: a laser's paths may have layers for it."""
    if job.cutter.form == "laser":
        return "have paths made with shoulder steps, whose layers SHOULDER slope it"
    return "ask for a sloped shoulder round the land"


def find(survey: Survey) -> Iterator[Finding]:
    """One finding for the whole block, as every wall is left by the same cutter."""
    job = survey.job
    wall = job.wall
    if job.block.bevelled or len(job.block.lowered) == 0:  # walls with files of their own, or none
        return
    if wall.steepest_deg < -_EVEN_DEG:
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=None,
            measured=wall.steepest_deg,
            limit=0.0,
            unit="deg",
            kind="leans-in",
            why=f"the wall leans in under the land ({wall.basis}): the land breaks off or crushes",
            remedy=f"{_upright(job)}cut less deep, or use a tool that leaves a slope",
        )
    elif wall.steepest_deg < job.material.wall_deg:
        yield Finding(
            rule=RULE,
            severity=Severity.RISK,
            at=None,
            measured=wall.steepest_deg,
            limit=job.material.wall_deg,
            unit="deg",
            kind="steep",
            why=f"the wall is steeper than this material wants ({wall.basis}): fine land has little to stand on",
            remedy=f"{_shoulder(job)}, cut less deep, or {stout_width(job)}",
        )
