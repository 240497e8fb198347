"""Cuts that the cutter can't make: too small for it, with a part too narrow, or with corners too sharp."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import TOLERANCE_MM, Survey
from carvegen.geometry import Floats, PolygonArray

__all__ = ["RULE", "find"]

RULE = "cut-width"

_HALVINGS = 14  #: of the smallest cut, to find the width at which a shape parts
_SHARP = 2.0  #: an uncut corner of more than this many cutter radii squared is told (corners under about 35°)


def find(survey: Survey) -> Iterator[Finding]:
    """Cuts that vanish or fall apart where the smallest cut does not pass, and corners that stay uncut."""
    limit = survey.job.face_limits.cut_mm
    narrow = survey.white[survey.broken]
    widths = _passes(narrow, limit)
    narrow, widths = narrow[widths < limit - TOLERANCE_MM], widths[widths < limit - TOLERANCE_MM]
    for at, width in zip(_inner_points(narrow), widths.tolist(), strict=True):
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=at,
            measured=width,
            limit=limit,
            unit="mm",
            why="the cutter does not fit: what it can't reach stays standing and prints",
            remedy="make the shape larger there, leave it out, or take a finer cutter",
        )
    yield from _corners(survey, ~survey.broken)


def _corners(survey: Survey, whole: geometry.Mask) -> Iterator[Finding]:
    """Places of cuts that are otherwise made where more than a blunt corner stays uncut."""
    radius = survey.job.face_limits.cut_mm / 2
    pieces = geometry.parts(survey.uncut[whole])
    pieces = pieces[shapely.area(pieces) > _SHARP * radius**2]
    pieces = pieces[shapely.is_empty(geometry.offset(pieces, -radius))]  # where the cutter fits, it cuts
    for at, area in zip(_inner_points(pieces), shapely.area(pieces).tolist(), strict=True):
        yield Finding(
            rule=RULE,
            severity=Severity.RISK,
            at=at,
            measured=area,
            limit=_SHARP * radius**2,
            unit="mm²",
            why=f"a corner too sharp for a cutter of {2 * radius:g} mm: so much stays standing and prints",
            remedy="round the corner, finish it with a knife, or take a finer cutter",
        )


def _inner_points(shapes: PolygonArray) -> list[tuple[float, float]]:
    return [(x, y) for x, y in shapely.get_coordinates(shapely.point_on_surface(shapes)).tolist()]


def _passes(shapes: PolygonArray, limit: float) -> Floats:
    """The widest disc, in mm, that passes through all of each shape; at most `limit`; (n,)."""
    low, high = np.zeros(len(shapes)), np.full(len(shapes), limit)
    for _ in range(_HALVINGS if len(shapes) else 0):
        middle = (low + high) / 2
        left = shapely.buffer(shapes, -middle / 2, quad_segs=4)
        whole = ~shapely.is_empty(left) & (shapely.get_num_geometries(left) == 1)
        low, high = np.where(whole, middle, low), np.where(whole, high, middle)
    return low
