"""Land that is too narrow: necks between cuts or to the edge, tips, islands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import TOLERANCE_MM, Survey
from carvegen.geometry.narrow import NarrowKind

if TYPE_CHECKING:
    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, Mask
    from carvegen.geometry.narrow import Narrow

__all__ = ["RULE", "corners", "find", "findings_at", "short_tips"]

RULE = "land-width"

#: A tip that is too narrow over no more than this many minimum widths, as walls that meet at 53° or more leave it, is
#: a corner: no more of it stands beyond a disc of that width than three fifths of it (plane geometry).
_CORNER = 1.0
#: A tip whose too narrow part is longer than this many minimum widths breaks off where it matters.
_LONG_TIP = 2.0

_WHY = {
    NarrowKind.NECK: "land this narrow crumbles, tears or burns away when it is cut or printed",
    NarrowKind.TIP: "the land runs out too thin: so much of its tip will break off or print weakly",
    NarrowKind.ISLAND: "an island this thin breaks off the floor, if it survives the cutting",
}
_NONE = "two walls meet here: no land stands between them, and a printed line breaks off"
_REMEDY = {
    NarrowKind.NECK: "move or shrink one of the two cuts, or join them",
    NarrowKind.TIP: "round the tip off, or make it blunter",
    NarrowKind.ISLAND: "make it wider, or take it out",
}


def find(survey: Survey) -> Iterator[Finding]:
    """Every place where the land is narrower at its face than the material's minimum for its direction.

    A corner is none, however pointed its very end: so it is with every drawing and every cut.
    """
    lands = survey.narrow_lands
    limit = survey.job.face_limits.land_at(lands.direction_deg)
    for finding in findings_at(survey.job.block, lands, lands.width, limit, rule=RULE):
        none = finding.kind == NarrowKind.NECK.name.lower() and finding.measured <= TOLERANCE_MM
        yield replace(finding, kind="none", why=_NONE) if none else finding


def findings_at(
    block: Block, lands: Narrow, width: Floats, limit: Floats, *, rule: str, why: str = "", remedy: str = ""
) -> Iterator[Finding]:
    """A finding for each narrow place whose `width` falls below its `limit`, but for what is only a corner."""
    failing = np.flatnonzero((width < limit - TOLERANCE_MM / 2) & ~corners(lands, limit))
    walls = block.wall_names if len(failing) else ()
    short = short_tips(lands, limit)
    for k in failing.tolist():
        kind = NarrowKind(int(lands.kind[k]))
        yield Finding(
            rule=rule,
            severity=Severity.RISK if short[k] else Severity.BREAKS,
            at=(float(lands.at[k, 0]), float(lands.at[k, 1])),
            to=(float(lands.to[k, 0]), float(lands.to[k, 1])),
            measured=float(width[k]),
            limit=float(limit[k]),
            unit="mm",
            length_mm=float(lands.length[k]),
            direction_deg=float(lands.direction_deg[k] % 180),
            between=(walls[int(lands.first[k])], walls[int(lands.second[k])]),
            kind=kind.name.lower(),
            why=why or _WHY[kind],
            remedy=remedy or _REMEDY[kind],
        )


def corners(lands: Narrow, limit: Floats) -> Mask:
    """Tips so short that they are but a corner."""
    return np.asarray((lands.kind == NarrowKind.TIP) & (lands.length <= _CORNER * limit))


def short_tips(lands: Narrow, limit: Floats, spare: float = 0.0) -> Mask:
    """Tips that are lost without harm, even if they were longer by so many limits."""
    return np.asarray((lands.kind == NarrowKind.TIP) & (lands.length <= (_LONG_TIP - spare) * limit))
