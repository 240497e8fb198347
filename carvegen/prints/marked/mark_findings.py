"""Land that a mark leaves narrower than it holds, or that mending took away for it: told with the mark by name."""

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
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Setup
    from carvegen.marking.marks import Mark

__all__ = ["mark_findings", "mended_beside"]

RULE, DRAWN = "marked-land", "drawn"
MENDED = "marked-mended"
_FAR_MM = 4.0  #: what mending takes no further from a mark is what the mark asked for
_LEAST_MM2 = 1.0  #: less of it is not told
_AROUND_MM = 4.0  #: more than any land must be wide
_BESIDE_MM = 0.05  #: a narrow place so near to a mark is that mark's


def mark_findings(
    block: Block, marks: Sequence[Mark], setups: Sequence[Setup], *, white: BaseGeometry, back_mm: float
) -> tuple[Finding, ...]:
    """Every place on a block, with any of its setups, where land is too narrow beside a mark or in one.

    Parameters
    ----------
    white
        What must not print on the block: land that nothing of it bounds is as narrow by the drawing itself.
    back_mm
        The block may be cut back from that by so much.
    """
    own = [mark for mark in marks if mark.is_for(block=block.name)]
    if not own:
        return ()
    block = _about(block, [mark.shape for mark in own])
    by_place = dict[tuple[float, float], Finding]()
    for setup in setups:
        for finding in _narrow_beside(Survey(setup.on(block)), own, white, back_mm + _BESIDE_MM):
            by_place.setdefault(finding.at or (0.0, 0.0), finding)
    return tuple(by_place.values())


def _about(block: Block, shapes: Sequence[Any]) -> Block:
    """What of a block lies about some shapes; all else is taken to stand."""
    window = shapely.union_all(geometry.offset(geometry.polygon_array(shapes), _AROUND_MM, quad_segs=2))
    met = block.cuts[np.unique(block.cut_tree.query(window, predicate="intersects"))]
    return replace(block, cuts=geometry.parts(shapely.intersection(met, window)))


def _narrow_beside(survey: Survey, marks: Sequence[Mark], white: BaseGeometry, bounds_mm: float) -> Iterator[Finding]:
    lands = survey.narrow_lands
    limit = survey.job.face_limits.land_at(lands.direction_deg)
    chords = geometry.lines(lands.at, lands.to)
    weak = (lands.width < limit - TOLERANCE_MM / 2) & ~corners(lands, limit)
    for k in np.flatnonzero(weak).tolist():
        mark = next((mark for mark in marks if shapely.dwithin(chords[k], mark.shape, _BESIDE_MM)), None)
        if mark is not None:
            bounded = shapely.dwithin(chords[k], white, bounds_mm)
            kind, why, remedy = _of_the_mark(mark) if bounded else _of_the_drawing(mark)
            yield Finding(
                rule=RULE, kind=kind, severity=Severity.RISK,
                at=(round(lands.at[k, 0], 3), round(lands.at[k, 1], 3)),
                to=(round(lands.to[k, 0], 3), round(lands.to[k, 1], 3)), measured=float(lands.width[k]),
                limit=float(limit[k]), unit="mm", why=why, remedy=remedy,
            )  # fmt: skip


def _of_the_mark(mark: Mark) -> tuple[str, str, str]:
    """Kind, cause and remedy of land that is narrow by a mark."""
    return (
        mark.key, f"{mark} leaves land here that is too narrow to last",
        "draw the mark larger, or further from what is cut beside it; or take it out",
    )  # fmt: skip


def _of_the_drawing(mark: Mark) -> tuple[str, str, str]:
    """The same of land that is drawn so narrow, in a mark."""
    return (
        DRAWN, f"the drawing itself is too narrow here to last; {mark} takes nothing from it",
        "draw it wider or blunter here, or leave it to your knife",
    )  # fmt: skip


def mended_beside(before: BaseGeometry, after: Block, marks: Sequence[Mark]) -> tuple[Finding, ...]:
    """Where mending took land away that began at a mark and went on far beyond it.

    Parameters
    ----------
    before
        What stood of the block before it was mended, marks and all.
    after
        The block as it is mended.
    """
    own = [mark for mark in marks if mark.is_for(block=after.name)]
    if not own:
        return ()
    lost = geometry.parts(geometry.difference(before, after.land))
    lost = lost[shapely.area(lost) > _LEAST_MM2]
    return tuple(finding for piece in lost for finding in _gone(piece, own))


def _gone(piece: Any, marks: Sequence[Mark]) -> Iterator[Finding]:  # noqa: ANN401
    nearest = min(marks, key=lambda mark: float(shapely.distance(mark.shape, piece)))
    if not shapely.dwithin(nearest.shape, piece, _AROUND_MM):
        return
    away = shapely.distance(nearest.shape, geometry.dots(shapely.get_coordinates(piece)))
    if float(away.max()) <= _FAR_MM:
        return
    at = shapely.get_coordinates(shapely.shortest_line(piece, nearest.shape))[0].tolist()
    area, far = float(shapely.area(piece)), float(away.max())
    yield Finding(
        rule=MENDED, kind=nearest.key, severity=Severity.RISK, at=(round(at[0], 3), round(at[1], 3)), measured=area,
        limit=0.0, unit="mm²", length_mm=round(far, 1),
        why=f"mending cut land away here, up to {far:.0f} mm from {nearest}: it was too narrow, and must not be "
        "widened into the mark",
        remedy='draw "stays" over what is to go on printing, keep the mark off it, or draw it wider',
    )  # fmt: skip
