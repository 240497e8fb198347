"""B-splines, plain or rational, to straight pieces; closed ones need not be clamped."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.artwork import bounds

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["flattened"]

_FIRST = 16  #: pieces of each knot span, before the curve is measured
_MAX_DEGREE = 30


def flattened(control: Floats, knots: Floats, weights: Floats, degree: int, tolerance: float) -> Floats:
    """Points on a B-spline over its whole domain, knots[degree] to knots[-degree - 1]; (n, dimensions).

    Parameters
    ----------
    control
        Control points, (n, dimensions).
    knots
        Non-decreasing, (n + degree + 1,).
    weights
        Of the control points, (n,); all 1 for a plain spline. Rational ones are weighed in one dimension more
        (source: piegl-tiller; checked in the tests).
    tolerance
        How far a straight piece may lie from the curve, about: from second differences of 16 points a span.

    Raises
    ------
    ValueError
        If the counts don't match, the knots fall or the degree is absurd.
    """
    from scipy.interpolate import BSpline

    if not 1 <= degree <= _MAX_DEGREE:
        raise ValueError(f"a spline of degree {degree}")
    curve = BSpline(knots, np.column_stack([control * weights[:, None], weights]), degree)
    spans = np.unique(knots[degree : len(knots) - degree])
    bounds.check_points(len(spans) * _FIRST)
    rough = _points(curve, spans, _FIRST)
    bounds.check_reach(rough)
    sagitta = float(np.linalg.norm(np.diff(rough, n=2, axis=0), axis=1).max(initial=0)) / 8
    finer = max(1, int(np.ceil(np.sqrt(sagitta / tolerance))))
    bounds.check_points(len(spans) * _FIRST * finer)
    return _points(curve, spans, _FIRST * finer)


def _points(curve: object, spans: Floats, pieces: int) -> Floats:
    steps = np.arange(pieces) / pieces
    inner = (spans[:-1, None] + np.diff(spans)[:, None] * steps).reshape(-1)
    points = curve(np.append(inner, spans[-1]))  # type: ignore[operator]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(points[:, :-1] / points[:, -1:], dtype=np.float64)
