"""Shapes in words: a circle, a box, an ellipse."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from carvegen.artwork.outlines import rounds
from carvegen.base.errors import InputError
from carvegen.base.units import lengths_mm

if TYPE_CHECKING:
    from shapely import Polygon

__all__ = ["FORMS", "is_shape", "shape"]

#: How each shape is said.
FORMS = {"box": "box X Y WIDTH HEIGHT", "circle": "circle X Y RADIUS", "ellipse": "ellipse X Y RX RY"}
CHORD_MM = 0.005  #: how far the polygon of a circle may lie from the circle


def is_shape(text: str) -> bool:
    """Whether the first word names a shape."""
    return text.split(maxsplit=1)[:1] != [] and text.split(maxsplit=1)[0].lower() in FORMS


def shape(text: str) -> Polygon:
    """The polygon of ``"circle X Y RADIUS"``, ``"box X Y WIDTH HEIGHT"`` or ``"ellipse X Y RX RY"``.

    X Y is the centre of a circle or ellipse and the lower left corner of a box; lengths may carry units. Round
    shapes have their exact area and lie nowhere further than 0.005 mm from the curve (see `rounds.ellipse`).

    Raises
    ------
    InputError
        If the word is unknown, a length is missing or can't be read, or a size is not larger than nothing.

    Examples
    --------
    >>> shape("box 10 20 3cm 1cm").bounds
    (10.0, 20.0, 40.0, 30.0)
    """
    word, _, rest = text.strip().partition(" ")
    word = word.lower()
    if word not in FORMS:
        raise InputError("is no shape", value=text, hint=f"write one of: {_forms()}")
    try:
        numbers = lengths_mm(rest, len(FORMS[word].split()) - 1)
    except InputError as error:
        if not error.hint:
            error.hint = f"write {FORMS[word]}"
        raise error.within(f"{word} ({FORMS[word]})") from None
    if min(numbers[2:]) <= 0:
        raise InputError("must be larger than nothing", value=text, hint=f"write {FORMS[word]}")
    x, y, *sizes = numbers
    if word == "box":
        return shapely.box(x, y, x + sizes[0], y + sizes[1])
    return shapely.Polygon(rounds.ellipse((x, y), (sizes[0], sizes[-1]), CHORD_MM))


def _forms() -> str:
    return "; ".join(FORMS[word] for word in sorted(FORMS))
