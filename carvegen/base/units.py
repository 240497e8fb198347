"""Text to millimetres and degrees: the only converter."""

from __future__ import annotations

import math
import re

from carvegen.base.errors import InputError

__all__ = ["MM_PER", "PAPERS", "angle_deg", "length_mm", "lengths_mm", "paper_mm", "size_doubt", "size_mm"]

#: Millimetres in one unit. The inch is 25.4 mm by definition; the point is 1/72 inch.
MM_PER = {"mm": 1.0, "cm": 10.0, "in": 25.4, "pt": 25.4 / 72}

#: Width and height of a sheet as it stands upright, mm (A4: ISO 216; Letter: 8.5 x 11 inches).
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}

#: Other names of units that people write.
_ALSO = {"inch": "in", "inches": "in", '"': "in", "″": "in", "millimetres": "mm", "centimetres": "cm", "points": "pt"}

_LENGTH = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*([A-Za-z\"″]*)\s*")
_CROSS = re.compile("[xX×]")  #: between width and height
_LETTER_O = re.compile(r"(?<=[\d.])[oO]|[oO](?=[oO]*[\d.])")  #: beside a digit, where a nought stands
_LEAST_BARE_MM = 20.0  #: a block smaller than this, of bare numbers, was meant in another unit
_SMALL_BARE_MM = 40.0  #: one smaller than this may have been


def paper_mm(paper: str) -> tuple[float, float]:
    """Width and height of a sheet of paper as it stands upright, mm.

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    if paper not in PAPERS:
        hint = f"known papers: {', '.join(sorted(PAPERS))}"
        raise InputError("must be a known paper", value=paper, field="paper", hint=hint)
    return PAPERS[paper]


def length_mm(text: str) -> float:
    """Millimetres in `text`, such as ``"12"``, ``"0.125in"`` or ``"3 cm"``; a bare number is mm.

    Raises
    ------
    InputError
        If it is not a finite number with no unit or one of mm, cm, in, pt.
    """
    match = _LENGTH.fullmatch(text)
    if match is None:
        raise InputError("must be a length", value=text, hint=_nought(text) or "write 12, 12mm, 1.2cm, 0.5in or 34pt")
    unit = _ALSO.get(match[2].lower(), match[2].lower()) or "mm"
    if unit not in MM_PER:
        hint = _nought(text) or f"known units: {', '.join(sorted(MM_PER))}"
        raise InputError("has an unknown unit", value=text, hint=hint)
    value = float(match[1]) * MM_PER[unit]
    if not math.isfinite(value):
        raise InputError("must be finite", value=text)
    return value


def lengths_mm(text: str, count: int) -> tuple[float, ...]:
    """Exactly `count` lengths in mm, separated by blanks or commas."""
    parts = text.replace(",", " ").split()
    if len(parts) != count:
        raise InputError(f"needs {count} lengths", value=text)
    return tuple(length_mm(part) for part in parts)


def size_mm(text: str) -> tuple[float, float]:
    """Width and height in mm from ``"200x150"``, ``"8x6in"`` or ``"20cm x 150mm"``.

    A unit behind the second length holds for both unless the first has its own.
    """
    first, *rest = _CROSS.split(text, maxsplit=1)
    if not rest:
        raise InputError("must be a size", value=text, hint="write width x height, such as 200x150 or 8x6in")
    (second,) = rest
    height = length_mm(second)
    unit = _unit(second)
    width = length_mm(first if _unit(first) else f"{first}{unit}")
    if not (width > 0 and height > 0):
        raise InputError("must be larger than nothing both ways", value=text)
    if not unit and not _unit(first) and max(width, height) < _LEAST_BARE_MM:
        plain = text.strip()
        raise InputError(
            f"would be {width:g} x {height:g} mm, smaller than a stamp: which unit is meant?", value=text,
            hint=f"write {plain}in, {plain}cm or, if it is so, {plain}mm",
        )  # fmt: skip
    return width, height


def size_doubt(text: str) -> str:
    """What is doubtful about a size that can be read: a small block of bare numbers; nothing, as a rule."""
    width, height = size_mm(text)
    if any(map(_unit, _CROSS.split(text, maxsplit=1))) or max(width, height) >= _SMALL_BARE_MM:
        return ""
    plain = text.strip()
    return f"{width:g} x {height:g} mm is a small block; if another unit is meant, write {plain}cm or {plain}in"


def angle_deg(text: str) -> float:
    """Degrees from ``"30"``, ``"30deg"`` or ``"30°"``."""
    match = _LENGTH.fullmatch(text.replace("°", "deg"))
    if match is None or match[2].lower() not in ("", "deg"):
        raise InputError("must be an angle", value=text, hint="write 30 or 30deg")
    value = float(match[1])
    if not math.isfinite(value):
        raise InputError("must be finite", value=text)
    return value


def _nought(text: str) -> str:
    """What to write where the letter O stands for a nought; nothing if that would be no length either."""
    plain, more = text.strip(), 1
    while more:
        plain, more = _LETTER_O.subn("0", plain)
    match = _LENGTH.fullmatch(plain)
    if plain == text.strip() or match is None or match[2].lower() not in {"", *MM_PER, *_ALSO}:
        return ""
    return f"the letter O stands in it for a nought: write {plain}"


def _unit(text: str) -> str:
    match = _LENGTH.fullmatch(text)
    return match[2] if match else ""
