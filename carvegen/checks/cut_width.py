"""Cuts that the cutter can't make: too small for it, or with a part too narrow."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from carvegen.checks.survey import TOLERANCE_MM, Survey
from carvegen.findings import Finding, Severity
from carvegen.geometry import Floats, PolygonArray

__all__ = ["RULE", "find"]

RULE = "cut-width"

_WHY = "the cutter does not fit: what it can't reach stays standing and prints"
_REMEDY = "make the shape larger there, leave it out, or take a finer cutter"
_HALVINGS = 24  #: of the smallest cut, to find the width at which a shape parts


def find(survey: Survey) -> Iterator[Finding]:
    """Cuts and cut-outs that vanish or fall apart where a disc of the smallest cut does not pass."""
    job = survey.job
    limit = job.face_limits.cut_mm
    shapes = np.concatenate([job.block.cuts, job.block.cut_outs])
    left = shapely.buffer(shapes, -(limit - TOLERANCE_MM) / 2, quad_segs=4)
    narrow = shapes[shapely.is_empty(left) | (shapely.get_num_geometries(left) > 1)]
    widths = _passes(narrow, limit)
    places = shapely.get_coordinates(shapely.point_on_surface(narrow))
    for at, width in zip(places.tolist(), widths.tolist(), strict=True):
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=(at[0], at[1]),
            measured=width,
            limit=limit,
            unit="mm",
            why=_WHY,
            remedy=_REMEDY,
        )


def _passes(shapes: PolygonArray, limit: float) -> Floats:
    """The widest disc, in mm, that passes through all of each shape; at most `limit`; (n,)."""
    low, high = np.zeros(len(shapes)), np.full(len(shapes), limit)
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        left = shapely.buffer(shapes, -middle / 2, quad_segs=4)
        whole = ~shapely.is_empty(left) & (shapely.get_num_geometries(left) == 1)
        low, high = np.where(whole, middle, low), np.where(whole, high, middle)
    return low
