"""What a hand that edits a kept motif may break: land and cuts too narrow, and what it should keep out of."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.geometry.necks import necks

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray

__all__ = ["kept_findings"]

RULE = "kept-shape"
_GRID_SLACK_MM = 0.003  #: shapes lie on a grid of a thousandth
_LEAST_MM2 = 0.01  #: less of a shape over what it keeps out of is not told


def kept_findings(
    name: str, edited: PolygonArray, cuts: PolygonArray, clear: BaseGeometry, limits: Limits
) -> Iterator[Finding]:
    """What the edited shapes of the motif called `name` break; they are taken as they are all the same.

    Parameters
    ----------
    edited
        The cuts that are not as they grew.
    cuts
        All of them.
    clear
        What the motif keeps out of.
    """
    if len(edited) == 0:
        return
    yield from _narrow_lands(name, edited, cuts, limits)
    yield from _narrow_cuts(name, edited, limits)
    over = shapely.intersection(edited, clear)
    for place in over[shapely.area(over) > _LEAST_MM2]:
        yield _finding(
            place, float(shapely.area(place)), 0.0, f"an edited shape of {name} lies on what the motif keeps out of",
            "move it, or leave it if you want it there", unit="mm²", severity=Severity.ADVICE, kind="clear",
        )  # fmt: skip


def _narrow_lands(name: str, edited: PolygonArray, cuts: PolygonArray, limits: Limits) -> Iterator[Finding]:
    """Land between cuts, at least one of them edited, or in the bays of one."""
    window = shapely.union_all(geometry.offset(edited, 2 * limits.land_mm, quad_segs=2))
    near = cuts[np.unique(shapely.STRtree(cuts).query(window, predicate="intersects"))]
    white = shapely.union_all(near)
    found = necks(geometry.rings(geometry.parts(shapely.difference(window, white))), limits.land_mm)
    ends = shapely.boundary(white)
    shapely.prepare(ends)
    own = shapely.dwithin(geometry.dots(found.start), ends, _GRID_SLACK_MM)
    own &= shapely.dwithin(geometry.dots(found.end), ends, _GRID_SLACK_MM)
    chords = geometry.lines(found.start, found.end)
    beside = shapely.STRtree(edited).query(chords, predicate="dwithin", distance=_GRID_SLACK_MM)[0]
    own &= np.isin(np.arange(len(found)), beside)
    for k in np.flatnonzero(own & (found.width < limits.land_mm - _GRID_SLACK_MM)).tolist():
        yield _finding(
            chords[k], float(found.width[k]), limits.land_mm,
            f"land beside an edited shape of {name} is too narrow to stand; mending changes it, if the block is mended",
            "move the shape, or join the two cuts", kind="land",
        )  # fmt: skip


def _narrow_cuts(name: str, edited: PolygonArray, limits: Limits) -> Iterator[Finding]:
    """Edited shapes, or parts of them, that the smallest cut does not reach."""
    small = shapely.is_empty(geometry.offset(edited, -(limits.cut_mm / 2 - _GRID_SLACK_MM)))
    why, remedy = (
        f"an edited shape of {name} is too narrow to be cut; mending changes it",
        "make it wider, or take it out",
    )
    for shape in edited[small]:
        wide = 2 * float(shapely.length(shapely.maximum_inscribed_circle(shape, tolerance=_GRID_SLACK_MM)))
        yield _finding(shape, wide, limits.cut_mm, why, remedy, kind="cut")
    found = necks(geometry.rings(edited[~small]), limits.cut_mm)
    chords = geometry.lines(found.start, found.end)
    for k in np.flatnonzero(found.width < limits.cut_mm - _GRID_SLACK_MM).tolist():
        yield _finding(chords[k], float(found.width[k]), limits.cut_mm, why, remedy, kind="cut")


def _finding(
    place: BaseGeometry, measured: float, limit: float, why: str, remedy: str, *, kind: str, unit: str = "mm",
    severity: Severity = Severity.RISK,
) -> Finding:  # fmt: skip
    chord = shapely.get_dimensions(place) == 1
    at = shapely.centroid(place) if chord else shapely.point_on_surface(place)
    return Finding(
        rule=RULE, kind=kind, severity=severity, at=(round(at.x, 3), round(at.y, 3)), measured=measured, limit=limit,
        unit=unit, why=why, remedy=remedy,
    )  # fmt: skip
