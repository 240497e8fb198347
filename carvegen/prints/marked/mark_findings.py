"""Land that a mark leaves narrower than it holds: told at its place, with the mark by name."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.checks.land_width import corners
from carvegen.checks.survey import TOLERANCE_MM, Survey

if TYPE_CHECKING:
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Setup
    from carvegen.marking.marks import Mark

__all__ = ["mark_findings"]

RULE = "marked-land"
_AROUND_MM = 4.0  #: more than any land must be wide
_BESIDE_MM = 0.05  #: a narrow place so near to a mark is that mark's


def mark_findings(block: Block, marks: Sequence[Mark], ways: Sequence[Setup]) -> tuple[Finding, ...]:
    """Every place on a block, with any of its setups, where land is too narrow beside a mark or in one."""
    own = [mark for mark in marks if mark.is_for(block=block.name)]
    if not own:
        return ()
    block = _about(block, [mark.shape for mark in own])
    told = dict[tuple[float, float], Finding]()
    for way in ways:
        for finding in _found(Survey(way.on(block)), own):
            told.setdefault(finding.at or (0.0, 0.0), finding)
    return tuple(told.values())


def _about(block: Block, shapes: Sequence[Any]) -> Block:
    """What of a block lies about some shapes; all else is taken to stand."""
    window = shapely.union_all(geometry.offset(geometry.polygon_array(shapes), _AROUND_MM, quad_segs=2))
    met = block.cuts[np.unique(block.cut_tree.query(window, predicate="intersects"))]
    return replace(block, cuts=geometry.parts(shapely.intersection(met, window)))


def _found(survey: Survey, marks: Sequence[Mark]) -> Iterator[Finding]:
    found = survey.narrow_lands
    limit = survey.job.face_limits.land_at(found.direction_deg)
    chords = geometry.lines(found.at, found.to)
    weak = (found.width < limit - TOLERANCE_MM / 2) & ~corners(found, limit)
    for k in np.flatnonzero(weak).tolist():
        for mark in marks:
            if shapely.dwithin(chords[k], mark.shape, _BESIDE_MM):
                yield Finding(
                    rule=RULE, kind=mark.key, severity=Severity.RISK,
                    at=(round(found.at[k, 0], 3), round(found.at[k, 1], 3)),
                    to=(round(found.to[k, 0], 3), round(found.to[k, 1], 3)), measured=float(found.width[k]),
                    limit=float(limit[k]), unit="mm", why=f"{mark} leaves land here that is too narrow to last",
                    remedy="draw the mark larger, or further from what is cut beside it; or take it out",
                )  # fmt: skip
                break
