"""Drawn lines to the areas they cover: width, ends and corners as SVG 1.1 section 11.4 says."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.outlines import rounds
from carvegen.artwork.outlines.crossings import crossings
from carvegen.artwork.svg.pathdata import Line

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.bounds import Budget
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["Pen", "outlined"]

_LONG = 50  #: corners of a line that may cross itself more often than is worth no look
_CAPS: Mapping[str, Literal["flat", "round", "square"]] = {"butt": "flat", "round": "round", "square": "square"}


@dataclass(frozen=True, kw_only=True)
class Pen:
    """What a line is drawn with; lengths in the line's own unit."""

    width: float
    cap: str = "butt"
    join: str = "miter"
    limit: float = 4.0  #: longest miter, as a multiple of the width
    tolerance: float = 0.01
    dashes: tuple[float, ...] = ()  #: lengths drawn and left out in turn; none for an unbroken line
    dash_offset: float = 0.0  #: how far into the dashes the line begins


def outlined(lines: Sequence[Line], pen: Pen, budget: Budget) -> PolygonArray:
    """The area that `lines` cover, as valid polygons that may overlap."""
    radius = pen.width / 2
    quarter = max(2, rounds.chords(radius, math.pi / 2, pen.tolerance))
    if pen.dashes and min(pen.dashes) >= 0 and sum(pen.dashes) > 0:
        lines = [dash for line in lines for dash in _dashed(line, pen, budget)]
    _take_work(lines, quarter if "round" in (pen.cap, pen.join) else 1, budget)
    drawn = geometry.polygon_array(_geometry(line) for line in lines)
    if len(drawn) == 0:
        return geometry.empty()
    area = shapely.buffer(
        drawn, radius, quad_segs=quarter, cap_style=_CAPS.get(pen.cap, "flat"),
        join_style="round" if pen.join == "round" else "bevel",
    )  # fmt: skip
    budget.take("points", int(shapely.get_num_coordinates(area).sum()))
    if pen.join in ("round", "bevel"):
        return geometry.parts(area)
    tips = [_miters(line, radius, pen) for line in lines]
    return geometry.parts(np.concatenate([area, *tips]))


def _take_work(lines: Sequence[Line], quarter: int, budget: Budget) -> None:
    """Count what outlining takes: a long line's outline crosses itself some four times where the line does."""
    budget.take("corners", sum(len(line.xy) for line in lines))
    budget.take("points", 4 * quarter * len(lines))
    for line in lines:
        if len(line.xy) > _LONG and not shapely.is_simple(shapely.linestrings(line.xy)):
            edges = np.stack([line.xy[:-1], line.xy[1:]], axis=1)
            budget.take("crossings", 4 * crossings(edges, budget.left("crossings") / 4))


def _dashed(line: Line, pen: Pen, budget: Budget) -> list[Line]:
    """The pieces of a line that its dashes leave (SVG 1.1 section 11.4, stroke-dasharray)."""
    xy = np.concatenate([line.xy, line.xy[:1]]) if line.closed else line.xy
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(xy, axis=0).T)))
    pattern = pen.dashes * (1 + len(pen.dashes) % 2)
    turns = along[-1] / sum(pattern)
    budget.take("dashes", (turns + 2) * len(pattern) / 2)
    edges = np.append(0.0, np.cumsum(np.tile(pattern, math.ceil(turns) + 1))) - pen.dash_offset % sum(pattern)
    start, end = np.maximum(edges[:-1:2], 0), np.minimum(edges[1::2], along[-1])
    shown = (start <= end) & (edges[1::2] >= 0) & (edges[:-1:2] < along[-1])
    first, last = np.searchsorted(along, start, "right"), np.searchsorted(along, end, "left")
    spots = [np.column_stack([np.interp(at, along, axis) for axis in xy.T]) for at in (start, end)]
    return [
        Line(np.concatenate([spots[0][k : k + 1], xy[first[k] : last[k]], spots[1][k : k + 1]]), closed=False)
        for k in np.flatnonzero(shown)
    ]


def _geometry(line: Line) -> BaseGeometry:
    xy = line.xy[np.append(True, (np.diff(line.xy, axis=0) != 0).any(axis=1))]
    if len(xy) == 1:
        return shapely.Point(xy[0])
    if line.closed and len(xy) > 2 and shapely.Polygon(xy).area > 1e-9 * np.ptp(xy, axis=0).max() ** 2:
        return shapely.LinearRing(xy)
    xy = np.concatenate([xy, xy[:1]]) if line.closed else xy
    if (xy[0] == xy[-1]).all():  # GEOS would take it for a ring, and a ring without area for half a line
        xy = np.concatenate([xy[:-1], xy[-1:] + (xy[-2] - xy[-1]) * 1e-7])
    return shapely.LineString(xy)


def _miters(line: Line, radius: float, pen: Pen) -> PolygonArray:
    """The pointed corners that a bevel lacks, where they are short enough to be drawn."""
    xy = line.xy[np.append(True, (np.diff(line.xy, axis=0) != 0).any(axis=1))]
    if line.closed:
        xy = np.concatenate([xy[-1:], xy, xy[:1]])
    if len(xy) < 3:
        return geometry.empty()
    step = np.diff(xy, axis=0)
    length = np.hypot(*step.T)[:, None]
    along = step / np.where(length > 0, length, 1)
    before, behind = along[:-1], along[1:]
    side = -np.sign(before[:, 0] * behind[:, 1] - before[:, 1] * behind[:, 0])[:, None]
    half = np.sqrt(np.clip((1 + (before * behind).sum(axis=1)) / 2, 0, 1))  # cos of half the turn
    shown = (side[:, 0] != 0) & (half * pen.limit >= 1) & (radius * (1 - half) > pen.tolerance / 4)
    return _kites(xy[1:-1][shown], (before * side)[shown], (behind * side)[shown], radius)


def _kites(at: Floats, before: Floats, behind: Floats, radius: float) -> PolygonArray:
    if len(at) == 0:
        return geometry.empty()
    left = np.column_stack([-before[:, 1], before[:, 0]])
    right = np.column_stack([-behind[:, 1], behind[:, 0]])
    middle = left + right
    tip = at + middle * (2 * radius / (middle**2).sum(axis=1))[:, None]
    corners = np.stack([at, at + radius * left, tip, at + radius * right], axis=1)
    return geometry.polygon_array(np.asarray(shapely.polygons(corners)))
