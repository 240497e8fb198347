"""What can be said about a scan, and how it is written in words."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Any, TypeAlias

from carvegen.base.colour import Ink, Rgb, rgb
from carvegen.base.errors import InputError
from carvegen.base.parameters import (
    angle,
    check_all,
    flag,
    length,
    share,
)
from carvegen.base.units import length_mm

__all__ = ["MAX_INKS", "Corners", "Marked", "ScanOptions", "corners_from", "ink_names", "inks_of", "points_from"]

Point: TypeAlias = tuple[float, float]
Corners: TypeAlias = tuple[Point, Point, Point, Point]

MAX_INKS = 6
MIN_DPI, MAX_DPI = 50.0, 4800.0  #: what a scan for cutting may have; our own choice

_LONGEST = 40
_NO_NAME = frozenset('<>/\\":;?*|=`&')  #: letters that DXF allows in no layer's name, and one that XML escapes
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_COLOURED = re.compile(r"([^=]+)=\s*(#[0-9a-fA-F]{6})(?:\s+(\d+\.?\d*|\.\d+))?\s*")
_MARKED = re.compile(rf"\s*({_NUMBER}(?:[\s,]+{_NUMBER}){{3}})\s*=\s*(\S.*)")


@dataclass(frozen=True, kw_only=True)
class Marked:
    """Two places in a picture, in pixels from its upper left corner, and how far apart they truly are."""

    one: Point
    other: Point
    apart_mm: float


@dataclass(frozen=True, kw_only=True)
class ScanOptions:
    """How a picture is read.

    Of the ways to tell its size the first of these that is given counts: corners, points, bar, width, dpi, and last
    the resolution that the file says.
    """

    corners: Corners | str | None = None  #: of the block or of four marks, in pixels; "auto" looks for them
    size_mm: tuple[float, float] | None = None  #: how far apart the corners truly are, across and up
    points: Marked | None = None
    dpi: float | None = None
    bar_mm: float = length(0.0, help="length of a printed bar to look for; 0: none", at_least=0, at_most=2000)
    width_mm: float = length(0.0, help="width of the whole picture; 0: not known", at_least=0, at_most=5000)
    tilt_deg: float = angle(0.0, help="turn the picture by so much, counter-clockwise", at_least=-180, at_most=180)
    deskew: bool = flag(True, help="turn the picture until its long straight edges stand upright")
    even: bool = flag(True, help="take uneven light out")
    threshold: float = share(0.0, help="the tone between shape and paper, 0 black, 1 white; 0: found by itself")
    local: bool = flag(False, help="find that tone place by place, for faint or smudged drawings")
    light: bool = flag(False, help="the light parts are the shapes, not the dark ones")
    speck_mm: float = length(0.2, help="specks and pinholes smaller than this are left out", at_least=0, at_most=50)
    smooth_mm: float = length(0.05, help="grain finer than this is smoothed away", at_least=0, at_most=2)
    tolerance_mm: float = length(0.02, help="how far an outline may be simplified", at_least=0.001, at_most=1)
    inks: tuple[str, ...] = ("INK 1",)  #: names of the layers, from dark to light
    coats: tuple[Ink, ...] = ()  #: how the inks look, in the order of `inks`, which is then that of printing
    paper: Rgb = (251, 250, 246)  #: colour of the paper, where `coats` are given
    view: str = "print"  #: "print" for a proof or a tracing; "block" for the block itself, which is mirrored

    def __post_init__(self) -> None:
        check_all(self)
        _check_inks(self.inks)
        if self.view not in ("print", "block"):
            raise InputError("must be print or block", value=self.view, field="view")
        if self.dpi is not None and not MIN_DPI <= self.dpi <= MAX_DPI:
            raise InputError(f"must lie in {MIN_DPI:g}…{MAX_DPI:g} dots per inch", value=self.dpi, field="dpi")
        if self.corners is not None and self.size_mm is None:
            raise InputError(
                "needs the true size", field="corners", hint="say it: {size_mm} 200x150", names=("size_mm",)
            )
        if self.corners is None and self.size_mm is not None:
            raise InputError(
                "needs the corners", field="size_mm", hint="mark them: {corners}, or {corners} auto", names=("corners",)
            )
        if self.coats and len(self.coats) != len(self.inks):
            raise InputError("must be as many as the inks' names", value=len(self.coats), field="inks")
        if self.light and len(self.inks) > 1:
            raise InputError("needs a single ink", field="light", hint="leave {inks} out", names=("inks",))


def points_from(text: str) -> Marked:
    """Two marked points from ``"x1 y1 x2 y2 = 100mm"``, in pixels from the upper left corner."""
    match = _MARKED.fullmatch(text)
    if match is None:
        raise InputError("must be two points and a length", value=text, hint='write "120 80 1301 80 = 100mm"')
    x1, y1, x2, y2 = _numbers(match[1])
    apart = length_mm(match[2])
    if math.dist((x1, y1), (x2, y2)) < 2 or not 0.1 <= apart <= 5000:
        raise InputError("must be two points that lie apart, in the picture and in truth", value=text)
    return Marked(one=(x1, y1), other=(x2, y2), apart_mm=apart)


def corners_from(text: str) -> Corners | str:
    """Four corners from ``"x1 y1 x2 y2 x3 y3 x4 y4"``, in pixels and in any order; or ``"auto"``."""
    if text.strip().lower() == "auto":
        return "auto"
    if not re.fullmatch(rf"\s*{_NUMBER}(?:[\s,]+{_NUMBER}){{7}}\s*", text):
        raise InputError(
            "must be four points, in pixels, or auto", value=text, hint='write "90 80 2400 95 2390 1800 85 1790"'
        )
    x1, y1, x2, y2, x3, y3, x4, y4 = _numbers(text)
    return ((x1, y1), (x2, y2), (x3, y3), (x4, y4))


def ink_names(text: str) -> tuple[str, ...]:
    """Names of the inks, from dark to light, from ``"3"`` or ``"key, tone, ground"``."""
    if text.strip().isdecimal():
        count = int(text)
        _check_count(count)
        return tuple(f"INK {k}" for k in range(1, count + 1))
    return tuple(name.strip() for name in text.split(","))


def inks_of(text: str) -> dict[str, Any]:
    """The settings `inks` and `coats` from names, a count, or names with colours: ``"sky=#a9bfcb 0.2, key=#1f2b3d"``.

    Names alone stand from dark to light; with colours in printing order, each with its opacity if it has one.
    """
    if "=" not in text:
        return {"inks": ink_names(text)}
    matches = [_COLOURED.fullmatch(part) for part in text.split(",")]
    if not all(matches):
        raise InputError("must be names with colours", value=text, hint='write "sky=#a9bfcb 0.2, key=#1f2b3d 0.7"')
    inks = [(match[1].strip(), Ink(colour=rgb(match[2]), opacity=float(match[3] or 0))) for match in matches if match]
    if any(ink.opacity > 1 for _, ink in inks):
        raise InputError("must have opacities from 0 to 1", value=text)
    return {"inks": tuple(name for name, _ in inks), "coats": tuple(ink for _, ink in inks)}


def _check_inks(names: tuple[str, ...]) -> None:
    _check_count(len(names))
    if not all(names) or len({name.upper() for name in names}) < len(names):
        raise InputError("must be names that differ", value=", ".join(names), field="inks")
    bad = next((name for name in names if len(name) > _LONGEST or set(name) & _NO_NAME or not name.isprintable()), None)
    if bad is not None:
        raise InputError("must be plain words of at most 40 letters", value=bad, field="inks")


def _check_count(count: int) -> None:
    if not 1 <= count <= MAX_INKS:
        raise InputError(f"must lie in 1…{MAX_INKS}", value=count, field="inks")


def _numbers(text: str) -> list[float]:
    numbers = [float(part) for part in text.replace(",", " ").split()]
    if max(map(abs, numbers)) > 1e6:
        raise InputError("must be pixels of the picture", value=text)
    return numbers
