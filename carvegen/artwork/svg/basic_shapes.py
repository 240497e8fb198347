"""SVG's shapes as lines in their own unit: path, rect, circle, ellipse, line, polyline, polygon."""

from __future__ import annotations

import math

import numpy as np

from carvegen.artwork.outlines import rounds
from carvegen.artwork.svg import pathdata
from carvegen.artwork.svg.pathdata import Line
from carvegen.artwork.svg.style import measure
from carvegen.artwork.svg.xmltree import Node
from carvegen.base.errors import InputError

__all__ = ["KINDS", "length", "lines"]

KINDS = frozenset({"path", "rect", "circle", "ellipse", "line", "polyline", "polygon"})


def length(node: Node, key: str, whole: float, default: str = "0") -> float:
    """User units in one of a node's attributes."""
    return measure(node.get(key, default), whole, what=key)


def lines(node: Node, frame: tuple[float, float], tolerance: float) -> list[Line]:
    """The outline of a shape in its own units, curves within `tolerance`; empty if it draws nothing."""
    if node.kind == "path":
        return pathdata.parse(node.get("d", ""), tolerance)
    if node.kind in ("polyline", "polygon"):
        points = node.get("points", "").strip()
        return pathdata.parse(f"M{points}{'Z' * (node.kind == 'polygon')}" if points else "", tolerance)
    if node.kind == "line":
        x1, x2 = (length(node, key, frame[0]) for key in ("x1", "x2"))
        y1, y2 = (length(node, key, frame[1]) for key in ("y1", "y2"))
        return [Line(np.array([[x1, y1], [x2, y2]]), closed=False)]
    if node.kind == "rect":
        return _rect(node, frame, tolerance)
    return _ellipse(node, frame, tolerance)


def _ellipse(node: Node, frame: tuple[float, float], tolerance: float) -> list[Line]:
    centre = (length(node, "cx", frame[0]), length(node, "cy", frame[1]))
    if node.kind == "circle":
        radius = length(node, "r", math.hypot(*frame) / math.sqrt(2))
        radii = (radius, radius)
    else:
        radii = _pair(node, frame)
    _not_negative(*radii)
    return [Line(rounds.ellipse(centre, radii, tolerance), closed=True)] if min(radii) > 0 else []


def _pair(node: Node, frame: tuple[float, float]) -> tuple[float, float]:
    """Two radii; a missing one is like the other."""
    x, y = (node.get(key, "auto").strip() for key in ("rx", "ry"))
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
    """The oval pulled apart into the four corners of a rectangle; no two corners change places, none lies twice.

    The oval's own corners lie a little outside its curve: where an end is wholly round they would overlap.
    """
    quarter = len(oval) // 4
    extent = np.abs(oval).max(axis=0)
    middle = np.array([x + width / 2, y + height / 2])
    low = np.minimum(np.array([x, y]) + extent, middle)
    high = np.maximum(np.array([x + width, y + height]) - extent, middle)
    shift = [(high[0], high[1]), (low[0], high[1]), (low[0], low[1]), (high[0], low[1])]
    turns = [oval[(np.arange(quarter + 1) + k * quarter) % len(oval)] + shift[k] for k in range(4)]
    corners = np.concatenate(turns)
    return np.asarray(corners[(corners != np.roll(corners, 1, axis=0)).any(axis=1)])


def _not_negative(*values: float) -> None:
    if min(values) < 0:
        raise InputError("must not have a negative size", value=min(values), hint="draw the shape again")
