"""How thick a laser cuts through, and how deep it lowers: by the machine's profile."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import Survey

if TYPE_CHECKING:
    from carvegen.blocks.job import Job

__all__ = ["RULE", "find", "goes_through", "through"]

RULE = "laser-depth"


def find(survey: Survey) -> Iterator[Finding]:
    """A sheet thicker than the laser may cut through, and areas deeper than it lowers."""
    job = survey.job
    if job.machine.kind != "laser":
        return
    most = job.machine.lower_most_mm
    if most is not None and len(job.block.cuts) and job.depth_mm > most:
        yield _finding(
            job.depth_mm, most, "deeper than this laser lowers an area: out of focus it chars and widens the cut",
            "cut less deep, or have it cut another way", kind="lowered",
        )  # fmt: skip
    if len(job.block.cut_outs):
        yield from through(job)


def goes_through(job: Job) -> bool:
    """Whether the machine's profile lets the laser cut through the block; also where it says nothing."""
    most = job.machine.through_most_mm
    return most is None or job.thickness_mm <= most


def through(job: Job) -> Iterator[Finding]:
    """What is to be said where a laser is to cut through the block."""
    most = job.machine.through_most_mm
    if most is None:
        yield _finding(
            job.thickness_mm, 0.0, "the machine's profile doesn't say how thick this laser cuts through",
            "ask the shop, and write through_most_mm into a machine's profile", Severity.RISK, kind="unknown",
        )  # fmt: skip
    elif not goes_through(job):
        yield _finding(
            job.thickness_mm, most, "thicker than this laser cuts through: it burns on and on and may catch fire; "
            "no line through it is made", "take a thinner sheet, or have it cut out another way",
            kind="too-thick",
        )  # fmt: skip


def _finding(
    measured: float, limit: float, why: str, remedy: str, severity: Severity = Severity.BREAKS, *, kind: str
) -> Finding:
    return Finding(
        rule=RULE, severity=severity, at=None, measured=measured, limit=limit, unit="mm", why=why, remedy=remedy,
        kind=kind,
    )  # fmt: skip
