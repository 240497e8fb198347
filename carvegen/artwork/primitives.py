"""SVG's shapes as lines in their own unit: path, rect, circle, ellipse, line, polyline, polygon."""

from __future__ import annotations

import math
import re

import numpy as np

from carvegen.artwork import pathdata, rounds
from carvegen.artwork.pathdata import Line
from carvegen.artwork.transforms import NUMBER
from carvegen.artwork.xmltree import Node
from carvegen.errors import InputError
from carvegen.units import MM_PER

__all__ = ["KINDS", "PX_MM", "Line", "length", "lines", "measure"]

KINDS = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})

#: 1/96 inch, the length of one px (CSS Values 3, section 6.2).
PX_MM = 25.4 / 96
#: User units in one of each unit.
PX_PER = {unit: mm / PX_MM for unit, mm in MM_PER.items()} | {"": 1.0, "px": 1.0, "pc": 16.0, "q": 0.25 / PX_MM}
_LENGTH = re.compile(rf"\s*({NUMBER})\s*([A-Za-z]*|%)\s*")


def measure(text: str, whole: float, *, what: str = "length") -> float:
    """User units in `text`; percentages are of `whole`."""
    match = _LENGTH.fullmatch(text)
    unit = match[2].lower() if match else ""
    if match is None or (unit != "%" and unit not in PX_PER) or not math.isfinite(float(match[1])):
        raise InputError(f"has a {what} that can't be read", value=text[:40], hint="write it in mm or px")
    return float(match[1]) * (whole / 100 if unit == "%" else PX_PER[unit])


def length(node: Node, key: str, whole: float, default: str = "0") -> float:
    """User units in one of a node's attributes."""
    return measure(node.attributes.get(key, default), whole, what=key)


def lines(node: Node, frame: tuple[float, float], tolerance: float) -> list[Line]:
    """The outline of a shape in its own units, curves within `tolerance`; empty if it draws nothing."""
    if node.tag == "path":
        return pathdata.parse(node.attributes.get("d", ""), tolerance)
    if node.tag in ("polyline", "polygon"):
        xy = pathdata.points(node.attributes.get("points", ""))
        return [Line(xy, node.tag == "polygon")] if len(xy) > 1 else []
    if node.tag == "line":
        x1, x2 = (length(node, key, frame[0]) for key in ("x1", "x2"))
        y1, y2 = (length(node, key, frame[1]) for key in ("y1", "y2"))
        return [Line(np.array([[x1, y1], [x2, y2]]), closed=False)]
    if node.tag == "rect":
        return _rect(node, frame, tolerance)
    return _ellipse(node, frame, tolerance)


def _ellipse(node: Node, frame: tuple[float, float], tolerance: float) -> list[Line]:
    centre = (length(node, "cx", frame[0]), length(node, "cy", frame[1]))
    if node.tag == "circle":
        radius = length(node, "r", math.hypot(*frame) / math.sqrt(2))
        radii = (radius, radius)
    else:
        radii = _pair(node, frame)
    _not_negative(*radii)
    return [Line(rounds.ellipse(centre, radii, tolerance), closed=True)] if min(radii) > 0 else []


def _pair(node: Node, frame: tuple[float, float]) -> tuple[float, float]:
    """Two radii; a missing one is like the other."""
    x, y = (node.attributes.get(key, "auto").strip() for key in ("rx", "ry"))
    x, y = (y if x == "auto" else x), (x if y == "auto" else y)
    return (0.0, 0.0) if x == "auto" else (measure(x, frame[0], what="rx"), measure(y, frame[1], what="ry"))


def _rect(node: Node, frame: tuple[float, float], tolerance: float) -> list[Line]:
    x, y = length(node, "x", frame[0]), length(node, "y", frame[1])
    width, height = length(node, "width", frame[0]), length(node, "height", frame[1])
    rx, ry = _pair(node, frame)
    _not_negative(width, height, rx, ry)
    if width == 0 or height == 0:
        return []
    rx, ry = min(rx, width / 2), min(ry, height / 2)
    if rx == 0 or ry == 0:
        return [Line(np.array([[x, y], [x + width, y], [x + width, y + height], [x, y + height]]), closed=True)]
    return [Line(_rounded(x, y, width, height, rounds.ellipse((0, 0), (rx, ry), tolerance)), closed=True)]


def _rounded(x: float, y: float, width: float, height: float, oval: np.ndarray) -> np.ndarray:
    """The oval pulled apart into the four corners of a rectangle."""
    quarter = len(oval) // 4
    extent = np.abs(oval).max(axis=0)
    low, high = np.array([x, y]) + extent, np.array([x + width, y + height]) - extent
    shift = [(high[0], high[1]), (low[0], high[1]), (low[0], low[1]), (high[0], low[1])]
    turns = [oval[(np.arange(quarter + 1) + k * quarter) % len(oval)] + shift[k] for k in range(4)]
    return np.concatenate(turns)


def _not_negative(*values: float) -> None:
    if min(values) < 0:
        raise InputError("must not have a negative size", value=min(values), hint="draw the shape again")
