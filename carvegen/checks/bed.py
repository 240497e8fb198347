"""The block against the machine's bed."""

from __future__ import annotations

from collections.abc import Iterator

from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import Survey

__all__ = ["RULE", "find"]

RULE = "bed-size"


def find(survey: Survey) -> Iterator[Finding]:
    """A block that does not lie on the bed, neither way round."""
    block, machine = survey.job.block, survey.job.machine
    if machine.bed_width_mm is None or machine.bed_height_mm is None:
        return
    bed = sorted((machine.bed_width_mm, machine.bed_height_mm))
    waste = 2 * block.register.waste_mm if block.register else 0.0
    size = sorted((block.width_mm + waste, block.height_mm + waste))
    for length, limit in zip(size, bed, strict=True):
        if length > limit:
            yield Finding(
                rule=RULE,
                kind="block",
                severity=Severity.BREAKS,
                at=None,
                measured=length,
                limit=limit,
                unit="mm",
                why="the block does not lie on the machine's bed",
                remedy="cut the block in two, or describe a larger machine in a profile of your own",
            )
