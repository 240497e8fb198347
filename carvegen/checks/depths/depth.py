"""The depth of the cut against the thickness, and what a V-tool can reach in a given width."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import shapely

from carvegen.base.findings import Finding, Severity
from carvegen.checks.survey import Survey
from carvegen.facts import cutting
from carvegen.geometry import Floats, PolygonArray

__all__ = ["RULE", "find"]

RULE = "depth"

_HARDLY_MM = 0.3  #: a cut shallower than this fills with ink or is reached by a soft roller; common practice

_TOLERANCE_MM = 0.005  #: of a depth, as exact as discs are measured: what lacks less is as deep as is wanted
_CLOSE = 0.02  #: a disc in a long thin cut is wanted to this part of its radius
_MORE = 1.04  #: a buffer of 4 segments a quarter takes off up to 2 % too little (1 - cos 11.25°), GEOS's thinning 1 %


def find(survey: Survey) -> Iterator[Finding]:
    """Cuts too deep for the material or the thickness, and cuts in which a V-tool stays too shallow."""
    job = survey.job
    deepest = min(job.material.depth_largest_mm, job.thickness_mm - job.material.floor_mm)
    if job.depth_mm > deepest:
        yield Finding(
            rule=RULE,
            severity=Severity.BREAKS,
            at=None,
            measured=job.depth_mm,
            limit=deepest,
            unit="mm",
            kind="too-deep",
            why=f"too little is left under the cut: {job.material.floor_mm:g} mm must stay of {job.thickness_mm:g} mm",
            remedy="cut less deep or take a thicker block",
        )
    if job.cutter.form == "v":
        yield from _shallow(survey)


def _shallow(survey: Survey) -> Iterator[Finding]:
    job = survey.job
    # the largest inner disc has at least the radius area / perimeter (source: bonnesen-1921), or that of one about the
    # middle: most need no closer look
    included, tip = job.cutter.values["included_deg"], job.cutter.values["tip_mm"]
    width = cutting.v_width_mm(included, tip, _HARDLY_MM - _TOLERANCE_MM, lean_deg=job.lean_deg)
    room = job.block.star_radii[0][: len(job.block.cuts)]
    doubtful, room = job.block.cuts[room < width / 2], room[room < width / 2]
    small = shapely.area(doubtful) < shapely.length(doubtful) * width / 2
    doubtful, room = doubtful[small], room[small]
    empty = shapely.is_empty(shapely.buffer(doubtful, -width / 2, quad_segs=4))
    narrow, room = doubtful[empty], room[empty]
    if len(narrow) == 0:
        return
    inner = shapely.maximum_inscribed_circle(_narrowest(narrow, room))
    radius = shapely.length(inner)
    thinnest = int(np.argmin(radius))
    place = shapely.get_coordinates(inner[thinnest])[0]
    yield Finding(
        rule=RULE,
        severity=Severity.RISK,
        at=(float(place[0]), float(place[1])),
        measured=cutting.v_depth_mm(included, tip, 2 * float(radius[thinnest]), lean_deg=job.lean_deg),
        limit=_HARDLY_MM,
        unit="mm",
        kind="too-shallow",
        why="a V-tool as wide as the cut goes no deeper: it may fill with ink"
        + (f". {len(narrow)} cuts are so narrow" if len(narrow) > 1 else ""),
        remedy="use a narrower V, or make the smallest shapes larger",
    )


def _narrowest(narrow: PolygonArray, room: Floats) -> PolygonArray:
    """Of cuts in which discs of the radii `room` lie those that may be the narrowest, never none.

    The cut with the least area for its edge is nearly the narrowest: what holds a larger disc than it does is left out.
    """
    mean = shapely.area(narrow) / shapely.length(narrow)
    slightest = int(np.argmin(mean))
    left, low, right, high = shapely.bounds(narrow[slightest])
    off = min(_CLOSE * mean[slightest], max(right - left, high - low) / 1000)  # the second is what GEOS is content with
    disc = shapely.length(shapely.maximum_inscribed_circle(narrow[slightest], tolerance=off))
    least = _MORE * (disc + off)
    some = np.flatnonzero(room <= least)
    some = some[shapely.is_empty(shapely.buffer(narrow[some], -least, quad_segs=4))]
    return narrow[np.union1d(some, slightest)]  # it is kept even if the search for its disc was broken off
