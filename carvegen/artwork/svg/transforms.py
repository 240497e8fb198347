"""Moves of the plane: transform attributes, and the fit of a page into its frame; products by fontTools."""

from __future__ import annotations

import functools
import math
import re
from typing import TYPE_CHECKING

import numpy as np
import tinycss2
from fontTools.misc.transform import Identity, Transform

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["Identity", "Transform", "apply", "fit", "parse", "stretch"]

#: Each function of SVG 1.1 section 7.6, with how many numbers it takes.
_CALLS = {
    "matrix": ((6,), lambda move, n: move.transform(tuple(n))),
    "translate": ((1, 2), lambda move, n: move.translate(*n)),
    "scale": ((1, 2), lambda move, n: move.scale(n[0], n[-1])),
    "rotate": ((1, 3), lambda move, n: _turned(move, *n)),
    "skewx": ((1,), lambda move, n: move.transform((1, 0, math.tan(math.radians(n[0])), 1, 0, 0))),
    "skewy": ((1,), lambda move, n: move.transform((1, math.tan(math.radians(n[0])), 0, 1, 0, 0))),
}
_PLAIN_UNITS = frozenset({"px", "deg"})


@functools.lru_cache(maxsize=1000)
def parse(text: str) -> Transform:
    """The move of a transform attribute.

    Raises
    ------
    InputError
        If it is not a list of SVG's six functions with the right count of numbers.
    """
    move = Identity
    for part in _parts(text):
        if part.type == "function" and part.lower_name in _CALLS:
            counts, call = _CALLS[part.lower_name]
            numbers = [_number(inner, text) for inner in part.arguments if not _is_gap(inner)]
            if len(numbers) not in counts:
                raise _bad(text)
            move = call(move, numbers)  # type: ignore[no-untyped-call]
        elif not _is_gap(part) and text.strip() != "none":
            raise _bad(text)
    if not all(map(math.isfinite, move)):
        raise _bad(text)
    return move


def _parts(text: str) -> list[tinycss2.ast.Node]:
    try:
        return list(tinycss2.parse_component_value_list(text, skip_comments=True))
    except ValueError:  # a whole number of thousands of digits
        raise _bad(text) from None


def _turned(move: Transform, degrees: float, x: float = 0.0, y: float = 0.0) -> Transform:
    sin, cos = math.sin(math.radians(degrees)), math.cos(math.radians(degrees))
    return move.translate(x, y).transform((cos, sin, -sin, cos, 0, 0)).translate(-x, -y)


def _is_gap(part: tinycss2.ast.Node) -> bool:
    return bool(part.type == "whitespace" or part == ",")


def _number(part: tinycss2.ast.Node, text: str) -> float:
    plain = part.type == "number" or (part.type == "dimension" and part.lower_unit in _PLAIN_UNITS)
    if plain and math.isfinite(part.value):
        return float(part.value)
    raise _bad(text)


def apply(move: Transform, xy: Floats) -> Floats:
    """The points `xy`, (n, 2), moved."""
    a, b, c, d, e, f = move
    with np.errstate(over="ignore", invalid="ignore"):
        return np.asarray(xy @ np.array([[a, b], [c, d]]) + np.array([e, f]), dtype=np.float64)


def stretch(move: Transform) -> float:
    """By how much the move lengthens at most: the larger singular value."""
    a, b, c, d = move[:4]
    return (math.hypot(a + d, b - c) + math.hypot(a - d, b + c)) / 2


def fit(box: tuple[float, float, float, float], size: tuple[float, float], align: str) -> Transform:
    """The move that fits a viewBox into a frame of `size`, by preserveAspectRatio (SVG 1.1 section 7.8)."""
    x, y, width, height = box
    across, up = size[0] / width, size[1] / height
    words = [word for word in align.split() if word != "defer"] or ["xMidYMid"]
    if words[0] != "none":
        across = up = max(across, up) if "slice" in words else min(across, up)
    left = _share(words[0], "x") * (size[0] - width * across)
    top = _share(words[0], "Y") * (size[1] - height * up)
    return Transform(across, 0.0, 0.0, up, left - x * across, top - y * up)


def _share(word: str, axis: str) -> float:
    match = re.search(f"{axis}(Min|Mid|Max)", word)
    return {"Min": 0.0, "Mid": 0.5, "Max": 1.0}[match[1]] if match else 0.0


def _bad(text: str) -> InputError:
    return InputError("has a transform that can't be read", value=text[:60], hint="save the drawing again as plain SVG")
