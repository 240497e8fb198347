"""Straight edges in traced shapes: how far the picture is tilted, and which shape is a scale bar."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.scan.contours.smoothing import simplified
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["bar", "tilt_deg"]

_WITHIN_DEG = 8.0  # a scan lies no more askew than this
_AGREE_DEG = 0.3
_LONG = 0.08  # of the picture's shorter side: what counts as a long edge
_LEAST = 0.6  # of the shorter side: how much of long edges there must be both ways
_STRAIGHT_PX = 1.5
_FITTED = 24  # edges that are measured
_ENDS = 0.04  # of an edge, left out at each end

_SLIM = 10.0  # a scale bar is at least this many times as long as it is wide
_FULL = 0.9  # and fills the rectangle round it
_LIKE = 0.985  # a second one this long makes the first doubtful


def tilt_deg(shapes: PolygonArray, width: int, height: int) -> float | None:
    """By how much to turn shapes (pixels, y downwards) counter-clockwise so that their long edges stand upright.

    Long edges within some degrees of upright or level vote with their length; None unless there are enough of
    both kinds and they agree, for a drawing of slanting lines is not a tilted one.
    """
    large = shapes[_lengths(shapes) > 2 * _LONG * min(width, height)]
    rings = geometry.rings(geometry.parts(simplified(large, _STRAIGHT_PX)))
    if len(rings) == 0:
        return None
    edge = rings.xy[rings.edge_ends] - rings.xy
    on_frame = _on_frame(rings.xy, width, height) & _on_frame(rings.xy[rings.edge_ends], width, height)
    size = np.hypot(*edge.T)
    off = (np.degrees(np.arctan2(edge[:, 1], edge[:, 0])) + 45) % 90 - 45
    level = np.abs(edge[:, 0]) > np.abs(edge[:, 1])
    votes = (size >= _LONG * min(width, height)) & (np.abs(off) <= _WITHIN_DEG) & ~on_frame
    if not votes.any():
        return None
    middle = _median(off[votes], size[votes])
    agree = votes & (np.abs(off - middle) <= _AGREE_DEG)
    both = min(size[agree & level].sum(), size[agree & ~level].sum())
    if both < _LEAST * min(width, height) or size[agree].sum() < size[votes].sum() / 2:
        return None
    longest = np.flatnonzero(agree)[np.argsort(-size[agree])][:_FITTED]
    points = shapely.get_coordinates(large)
    fits = [_fitted(points, rings.xy[k], rings.xy[rings.edge_ends[k]]) for k in longest]
    return float(np.average(fits, weights=size[longest] ** 2))


def _fitted(points: Floats, start: Floats, end: Floats) -> float:
    """How far the line through the outline's points near an edge is off upright or level, in degrees."""
    direction = (end - start) / np.hypot(*(end - start))
    rest = points - start
    along, across = rest @ direction, rest @ np.array([-direction[1], direction[0]])
    size = float(np.hypot(*(end - start)))
    near = (along > _ENDS * size) & (along < (1 - _ENDS) * size) & (np.abs(across) < 2 * _STRAIGHT_PX)
    slope = np.polyfit(along[near], across[near], 1)[0] if near.sum() > 10 else 0.0
    angle = np.degrees(np.arctan2(direction[1], direction[0]) + np.arctan(slope))
    return float((angle + 45) % 90 - 45)


def bar(shapes: PolygonArray, length_mm: float) -> tuple[int, float]:
    """Which shape is the printed scale bar, and how many pixels long it is.

    The longest shape that is a straight, full, slim rectangle.

    Raises
    ------
    InputError
        If there is none, or two are equally long.
    """
    hint, names = 'mark its ends in pixels: {points} "120 80 1301 80 = 100mm"', ("points",)
    bounds = shapely.bounds(shapes)
    size = np.hypot(bounds[:, 2] - bounds[:, 0], bounds[:, 3] - bounds[:, 1]) if len(shapes) else np.empty(0)
    slim = np.flatnonzero((size > 60) & (shapely.area(shapes) < 1.2 * size**2 / _SLIM))
    boxes = shapely.minimum_rotated_rectangle(shapes[slim])
    sides = np.array([_sides(box) for box in boxes]).reshape(-1, 2)
    good = (sides[:, 0] >= _SLIM * sides[:, 1]) & (shapely.area(shapes[slim]) >= _FULL * shapely.area(boxes))
    if not good.any():
        raise InputError(
            f"finds no printed bar that could be {length_mm:g} mm long", field="bar_mm", hint=hint, names=names
        )
    chosen, long = slim[good], shapely.area(shapes[slim[good]]) / sides[good, 1]
    order = np.argsort(-long)
    if len(order) > 1 and long[order[1]] > _LIKE * long[order[0]]:
        raise InputError("finds two bars of one length", field="bar_mm", hint=hint, names=names)
    return int(chosen[order[0]]), _length(shapes[chosen[order[0]]])


def _length(shape: Any) -> float:  # noqa: ANN401
    """From the middle of one end to the middle of the other: the outline's rough corners don't count."""
    box = np.asarray(shapely.get_coordinates(shapely.minimum_rotated_rectangle(shape)))
    one, other = box[1] - box[0], box[2] - box[1]
    long, short = (one, other) if one @ one > other @ other else (other, one)
    along, across = ((shapely.get_coordinates(shape) - box[:4].mean(axis=0)) @ v / np.hypot(*v) for v in (long, short))
    inner = np.abs(across) < np.hypot(*short) / 4
    ends = [inner & (sign * along > (np.hypot(*long) - np.hypot(*short)) / 2) for sign in (1, -1)]
    if not all(end.any() for end in ends):
        return float(np.hypot(*long))
    return float(np.median(along[ends[0]]) - np.median(along[ends[1]]))


def _sides(box: Any) -> tuple[float, float]:  # noqa: ANN401
    corners = np.asarray(shapely.get_coordinates(box))[:3]
    one, other = np.hypot(*(corners[1] - corners[0])), np.hypot(*(corners[2] - corners[1]))
    return float(max(one, other)), float(max(min(one, other), 1e-9))


def _lengths(shapes: PolygonArray) -> Floats:
    return np.asarray(shapely.length(shapes), dtype=np.float64)


def _on_frame(xy: Floats, width: int, height: int) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    x, y = xy.T
    return np.asarray((x < 1.5) | (y < 1.5) | (x > width - 1.5) | (y > height - 1.5))


def _median(values: Floats, weight: Floats) -> float:
    order = np.argsort(values)
    total = np.cumsum(weight[order])
    return float(values[order][np.searchsorted(total, total[-1] / 2)])
