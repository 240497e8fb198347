"""Moves of the plane: transform attributes, their products, and the fit of a page into its frame.

A move is (a, b, c, d, e, f): x' = a x + c y + e, y' = b x + d y + f, as in SVG 1.1 section 7.4.
"""

from __future__ import annotations

import math
import re
from typing import TYPE_CHECKING, TypeAlias

import numpy as np

from carvegen.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["SAME", "Move", "after", "apply", "fit", "parse", "stretch"]

Move: TypeAlias = tuple[float, float, float, float, float, float]

SAME: Move = (1.0, 0.0, 0.0, 1.0, 0.0, 0.0)

NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_CALL = re.compile(r"\s*,?\s*(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]*)\)\s*")
_NUMBER = re.compile(NUMBER)
_COUNTS = {"matrix": (6,), "translate": (1, 2), "scale": (1, 2), "rotate": (1, 3), "skewX": (1,), "skewY": (1,)}


def parse(text: str) -> Move:
    """The move of a transform attribute.

    Raises
    ------
    InputError
        If it is not a list of SVG's six functions with the right count of numbers.
    """
    move, at = SAME, 0
    while at < len(text.rstrip()):
        call = _CALL.match(text, at)
        if call is None:
            raise _bad(text)
        move, at = after(move, _called(call[1], call[2], text)), call.end()
    if not all(map(math.isfinite, move)):
        raise _bad(text)
    return move


def after(outer: Move, inner: Move) -> Move:
    """The move that does `inner` first, then `outer`."""
    a, b, c, d, e, f = outer
    p, q, r, s, t, u = inner
    return (a * p + c * q, b * p + d * q, a * r + c * s, b * r + d * s, a * t + c * u + e, b * t + d * u + f)


def apply(move: Move, xy: Floats) -> Floats:
    """The points `xy`, (n, 2), moved."""
    a, b, c, d, e, f = move
    with np.errstate(over="ignore", invalid="ignore"):
        return np.column_stack([a * xy[:, 0] + c * xy[:, 1] + e, b * xy[:, 0] + d * xy[:, 1] + f])


def stretch(move: Move) -> float:
    """By how much the move lengthens at most: the larger singular value."""
    a, b, c, d = move[:4]
    return (math.hypot(a + d, b - c) + math.hypot(a - d, b + c)) / 2


def fit(box: tuple[float, float, float, float], size: tuple[float, float], align: str) -> Move:
    """The move that fits a viewBox into a frame of `size`, by preserveAspectRatio (SVG 1.1 section 7.8)."""
    x, y, width, height = box
    across, up = size[0] / width, size[1] / height
    words = [word for word in align.split() if word != "defer"] or ["xMidYMid"]
    if words[0] != "none":
        across = up = max(across, up) if "slice" in words else min(across, up)
    left = _share(words[0], "x") * (size[0] - width * across)
    top = _share(words[0], "Y") * (size[1] - height * up)
    return (across, 0.0, 0.0, up, left - x * across, top - y * up)


def _share(word: str, axis: str) -> float:
    found = re.search(f"{axis}(Min|Mid|Max)", word)
    return {"Min": 0.0, "Mid": 0.5, "Max": 1.0}[found[1]] if found else 0.0


def _called(name: str, inside: str, text: str) -> Move:
    numbers = [float(number) for number in _NUMBER.findall(inside)]
    if len(numbers) not in _COUNTS[name] or _NUMBER.sub("", inside).strip(" ,\t\r\n"):
        raise _bad(text)
    return _move(name, numbers)


def _move(name: str, n: list[float]) -> Move:
    if name == "matrix":
        return (n[0], n[1], n[2], n[3], n[4], n[5])
    if name == "translate":
        return (1, 0, 0, 1, n[0], n[1] if len(n) > 1 else 0)
    if name == "scale":
        return (n[0], 0, 0, n[-1], 0, 0)
    if name == "skewX":
        return (1, 0, math.tan(math.radians(n[0])), 1, 0, 0)
    if name == "skewY":
        return (1, math.tan(math.radians(n[0])), 0, 1, 0, 0)
    cos, sin = math.cos(math.radians(n[0])), math.sin(math.radians(n[0]))
    x, y = n[1:] if len(n) > 1 else (0.0, 0.0)
    return (cos, sin, -sin, cos, x - cos * x + sin * y, y - sin * x - cos * y)


def _bad(text: str) -> InputError:
    return InputError("has a transform that can't be read", value=text[:60], hint="save the drawing again as plain SVG")
