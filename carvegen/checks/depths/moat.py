"""The waste beside the picture: whether a roller that inks the picture inks it, too."""

from __future__ import annotations

import math
from collections.abc import Iterator

import shapely

from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import TOLERANCE_MM, Survey

__all__ = ["RULE", "find"]

RULE = "moat"


def find(survey: Survey) -> Iterator[Finding]:
    """Waste that stands so near to the picture that a roller over the picture's edge touches it."""
    job, block = survey.job, survey.job.block
    if not block.inked or block.register is None or not block.register.waste_mm:
        return
    waste = shapely.difference(block.board, block.face)
    shapely.prepare(waste)
    waste = shapely.difference(waste, shapely.union_all(block.lowered[shapely.intersects(waste, block.lowered)]))
    away, limit = shapely.distance(block.face, waste), job.printing.touched_mm
    if shapely.is_empty(waste) or away >= limit - TOLERANCE_MM:
        return
    line = shapely.shortest_line(block.face, waste)
    (x, y), (to_x, to_y) = line.coords[0], line.coords[-1]
    asked = math.ceil(10 * job.printing.touched_mm) / 10
    yield Finding(
        rule=RULE,
        severity=Severity.RISK,
        at=(x, y),
        to=(to_x, to_y),
        measured=away,
        limit=limit,
        unit="mm",
        why="the waste stands as high as the picture and near it: a roller over the picture's edge inks it, too. "
        f"A groove beside the picture keeps it clean ({asked:g} mm asked)",
        remedy="cut such a groove, mask the waste when inking, or leave moat_mm out of [register] and let "
        "paper_margin_mm be 8 or more",
    )
