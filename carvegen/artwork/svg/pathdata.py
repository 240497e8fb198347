"""SVG path data to lines: checked whole, read by fontTools, curves flattened."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from fontTools.misc.transform import Identity
from fontTools.pens.basePen import NullPen
from fontTools.svgLib.path import parse_path
from fontTools.svgLib.path.arc import EllipticalArc

from carvegen.artwork import bounds
from carvegen.artwork.outlines import rounds
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["NUMBER", "Line", "parse"]

NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_N, _FLAG = rf"[\s,]*+(?>{NUMBER})", r"[\s,]*+[01]"
#: The grammar of SVG 1.1 section 8.3, one command at a time and never looking back.
_COMMAND = "|".join(
    [rf"[MmLlTt](?:{_N}{_N})++", rf"[HhVv](?:{_N})++", rf"[Cc](?:{_N * 6})++", rf"[SsQq](?:{_N * 4})++",
     rf"[Aa](?:{_N * 3}{_FLAG * 2}{_N * 2})++", "[Zz]"]
)  # fmt: skip
_WHOLE = re.compile(rf"\s*+(?:(?=[Mm])(?:(?:{_COMMAND})[\s,]*+)++)?+")
_STRAIGHT = re.compile(r"(?:M[L\d\s,.+-]*+(?:Z[Z\s,]*+)?)++")  #: corners and nothing else: what machines write
_ARC = re.compile(rf"({_N})" * 3 + rf"({_FLAG})" * 2 + rf"({_N})" * 2)
_ODD = re.compile(r"(?<![\d.])0\d|\.(?!\d)")  #: forms of numbers that fontTools takes for two, or cuts short
_NUMBER = re.compile(NUMBER)


@dataclass(frozen=True, eq=False)
class Line:
    """One subpath as straight pieces; a closed one does not repeat its first point."""

    xy: Floats  #: (n, 2)
    closed: bool


def parse(text: str, tolerance: float) -> list[Line]:
    """The subpaths of path data, no further than `tolerance` (in the path's own unit) from its curves.

    Raises
    ------
    InputError
        If it does not follow the grammar; nothing is read past a fault in silence.
    """
    whole = _WHOLE.match(text)
    if whole is None or whole.end() < len(text):
        raise _broken(text, whole.end() if whole else 0)
    if _STRAIGHT.fullmatch(text):
        lines = [_straight(part) for part in text.split("M")[1:]]
        return [line for line in lines if line.closed or len(line.xy) > 1]
    pen = _Pen(tolerance)
    try:
        parse_path(_plain(text), pen)
    except (ValueError, ArithmeticError):  # an arc beyond all measure
        raise _broken(text, 0) from None
    return pen.lines()


def _straight(text: str) -> Line:
    """The subpath behind an M."""
    numbers = list(map(float, _NUMBER.findall(text)))
    return _line(np.array(numbers, dtype=np.float64).reshape(-1, 2), "Z" in text)


def _line(xy: Floats, closed: bool) -> Line:
    same = closed and len(xy) > 1 and bool((xy[0] == xy[-1]).all())
    return Line(xy[:-1] if same else xy, closed)


def _plain(text: str) -> str:
    """The same path data, numbers written as fontTools wants them."""
    if not _ODD.search(text):
        return text
    parts = re.split(r"(?=[MmLlTtHhVvCcSsQqAaZz])", text)
    return " ".join(_arcs(part) if part[:1] in ("A", "a") else _NUMBER.sub(_spelled, part) for part in parts)


def _arcs(text: str) -> str:
    rows = [[repr(float(number.strip(" ,\t\r\n\f"))) for number in row] for row in _ARC.findall(text)]
    return text[0] + " ".join(" ".join([*row[:3], row[3][0], row[4][0], *row[5:]]) for row in rows)


def _spelled(number: re.Match[str]) -> str:
    return f" {float(number[0])!r}"


_HINT = "save the drawing again as plain SVG"
_Point = tuple[float, float]


@dataclass
class _Pen:
    """Gathers curves as fontTools draws them: start, two handles, end; straight ones have theirs at the ends."""

    tolerance: float
    curves: list[tuple[float, ...]] = field(default_factory=list)
    runs: list[tuple[int, _Point]] = field(default_factory=list)  #: first curve and point of each subpath
    closed: list[bool] = field(default_factory=list)
    at: _Point = (0.0, 0.0)

    def moveTo(self, to: _Point) -> None:  # noqa: N802
        self.runs.append((len(self.curves), to))
        self.at = to

    def lineTo(self, to: _Point) -> None:  # noqa: N802
        self.curves.append((*self.at, *self.at, *to, *to))
        self.at = to

    def curveTo(self, first: _Point, second: _Point, to: _Point) -> None:  # noqa: N802
        self.curves.append((*self.at, *first, *second, *to))
        self.at = to

    def qCurveTo(self, handle: _Point, to: _Point) -> None:  # noqa: N802
        (x0, y0), (x, y), (x1, y1) = self.at, handle, to
        third = 1 / 3
        self.curveTo(((x0 + 2 * x) * third, (y0 + 2 * y) * third), ((x1 + 2 * x) * third, (y1 + 2 * y) * third), to)

    def arcTo(self, rx: float, ry: float, turn: float, large: bool, sweep: bool, to: _Point) -> None:  # noqa: N802, PLR0917
        """Chords of the arc; fontTools' own curves stray by up to 0.03 % of the radius."""
        bounds.check_reach(np.array([rx, ry, turn, *to, *self.at]))
        arc = EllipticalArc(complex(*self.at), rx, ry, turn, large, sweep, complex(*to))
        arc.draw(NullPen())
        if arc.center_point is not None and arc.theta_arc:
            count = rounds.chords(max(arc.rx, arc.ry), arc.theta_arc, self.tolerance)
            spots = arc.center_point + np.exp(1j * (arc.theta1 + arc.theta_arc * np.arange(1, count) / count))
            move = Identity.rotate(math.radians(turn)).scale(arc.rx, arc.ry)
            for spot in spots.tolist():
                self.lineTo(move.transformPoint((spot.real, spot.imag)))
        self.lineTo(to)

    def closePath(self) -> None:  # noqa: N802
        self.closed.append(True)

    def endPath(self) -> None:  # noqa: N802
        self.closed.append(False)

    def lines(self) -> list[Line]:
        """The subpaths, flattened; one that goes nowhere and is not closed is left out."""
        xy, last = _flattened(np.array(self.curves).reshape(-1, 4, 2), self.tolerance)
        first = [int(last[k - 1]) if k else 0 for k, _ in self.runs] + [len(xy)]
        parts = [np.concatenate([[start], xy[first[k] : first[k + 1]]]) for k, (_, start) in enumerate(self.runs)]
        return [_line(part, closed) for part, closed in zip(parts, self.closed, strict=True) if closed or len(part) > 1]


def _flattened(curves: Floats, tolerance: float) -> tuple[Floats, Indices]:
    """Points on cubic curves, (n, 4, 2), without their first ones; and how many there are up to each curve's end.

    n >= sqrt(3 M / (4 tolerance)) pieces keep the distance, with M the largest second difference of the control
    points (Wang's formula, from memory; checked in the tests). Small curves get more, as `rounds.pieces` says.
    """
    if len(curves) == 0:
        return np.empty((0, 2)), np.empty(0, dtype=np.int64)
    bounds.check_reach(curves)
    straight = (curves[:, 0] == curves[:, 1]).all(axis=1) & (curves[:, 2] == curves[:, 3]).all(axis=1)
    bend = np.hypot(*np.moveaxis(np.diff(curves, n=2, axis=1), 2, 0)).max(axis=1)
    wanted = np.where(straight, 0, np.sqrt(0.75 * bend / tolerance))
    bounds.check_reach(wanted)
    pieces = rounds.pieces(wanted)
    last: Indices = np.cumsum(pieces)
    bounds.check_points(int(last[-1]))
    which = np.repeat(np.arange(len(curves)), pieces)
    t = ((np.arange(len(which)) - (last - pieces)[which] + 1) / pieces[which])[:, None]
    p, s = curves[which], 1 - t
    points = s**3 * p[:, 0] + 3 * s**2 * t * p[:, 1] + 3 * s * t**2 * p[:, 2] + t**3 * p[:, 3]
    points[last - 1] = curves[:, 3]
    return np.asarray(points, dtype=np.float64), last


def _broken(text: str, at: int) -> InputError:
    rest = text[at:].strip()
    what = "does not begin with M" if not text[:at].strip() and rest[:1] not in ("M", "m") else "can't be read"
    return InputError(f"has path data that {what}, at character {at + 1}", value=rest[:40], hint=_HINT)
