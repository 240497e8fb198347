"""Circles, ellipses and arcs as corners: how many, and where."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from carvegen.artwork import bounds

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["chords", "ellipse", "pieces"]

_FINER = 4.0  #: up to this many times more pieces than the distance asks for,
_ENOUGH = 16  #: but not more than this for one curve or quarter turn: keeps areas of small shapes true, too


def pieces(wanted: Floats) -> Indices:
    """How many straight pieces stand for each curve, if its distance alone asks for `wanted` (not rounded).

    A chord cuts (4/3) sagitta / radius off a circle's area: 1.3 % for 0.01 mm at 1 mm radius. So small curves
    get up to four times more pieces, at most 16 for each: 0.16 % for any circle drawn as four curves.
    """
    finer = np.minimum(np.ceil(wanted * _FINER), _ENOUGH)
    return np.maximum(np.maximum(np.ceil(wanted), finer), 1).astype(np.int64)


def chords(radius: float, sweep: float, tolerance: float) -> int:
    """How many chords stand for an arc of `sweep` radians: sagitta = radius (1 - cos(step / 2)) <= tolerance."""
    quarters = abs(sweep) / (math.pi / 2)
    step = 2 * math.acos(max(-1.0, 1 - tolerance / radius)) if radius > 0 else math.pi
    wanted = math.pi / 2 / step if step > 0 else math.inf
    bounds.check_points(int(min(wanted * quarters, 1e12)))
    return max(1, math.ceil(quarters * int(pieces(np.array([wanted]))[0])))


def ellipse(centre: tuple[float, float], radii: tuple[float, float], tolerance: float) -> Floats:
    """Corners of an ellipse, (n, 2), counter-clockwise: its exact area, nowhere further than `tolerance` off.

    The corners lie outside the curve by the factor sqrt(t / sin t), t = 2 pi / n, which gives the polygon the
    ellipse's area; the chords then lie inside by less than they would with the corners on the curve.
    """
    n = 4 * max(2, chords(max(radii), math.pi / 2, tolerance))
    angle = 2 * math.pi * np.arange(n) / n
    swell = math.sqrt(2 * math.pi / n / math.sin(2 * math.pi / n))
    x, y = radii[0] * swell * np.cos(angle) + centre[0], radii[1] * swell * np.sin(angle) + centre[1]
    return np.column_stack([x, y])
