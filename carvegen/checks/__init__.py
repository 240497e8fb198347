"""Checks: what is left standing, against the material and the cutter. One file a check, all listed here."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from carvegen.base.collector import collector_at_rest
from carvegen.base.findings import Finding, Report
from carvegen.base.progress import each_part
from carvegen.checks import (
    bed,
    cut_width,
    drop_outs,
    foot,
    islands,
    land_width,
    look,
    slenderness,
    wall,
)
from carvegen.checks.depths import (
    clearing,
    depth,
    laser_depth,
    moat,
)
from carvegen.checks.survey import Survey

if TYPE_CHECKING:
    from carvegen.blocks.job import Job

__all__ = ["CHECKS", "checked"]

#: Every check by the name of its rule, in the order in which they run.
CHECKS: dict[str, Callable[[Survey], Iterator[Finding]]] = {
    land_width.RULE: land_width.find,
    islands.RULE: islands.find,
    cut_width.RULE: cut_width.find,
    wall.RULE: wall.find,
    foot.RULE: foot.find,
    slenderness.RULE: slenderness.find,
    depth.RULE: depth.find,
    laser_depth.RULE: laser_depth.find,
    clearing.RULE: clearing.find,
    moat.RULE: moat.find,
    drop_outs.RULE: drop_outs.find,
    bed.RULE: bed.find,
    look.RULE: look.find,
}

#: Shares of the time that the longest take, measured on 50,000 flakes; all others take hardly any.
_TIMES = {land_width.RULE: 0.5, cut_width.RULE: 0.1, depth.RULE: 0.23, look.RULE: 0.17}


@collector_at_rest()
def checked(job: Job) -> Report:
    """All findings of a job; empty where it holds."""
    survey = Survey(job)
    findings: list[Finding] = []
    times = [_TIMES.get(rule, 0.0) for rule in CHECKS]
    for find, checking in zip(CHECKS.values(), each_part(times), strict=True):
        with checking:
            findings += find(survey)
    return Report.of(findings)
