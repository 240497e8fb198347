"""SVG path data to lines: the grammar of SVG 1.1 section 8.3, curves flattened, runs of one command at once."""

from __future__ import annotations

import itertools
import math
import operator
import re
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from carvegen.artwork import bounds, rounds
from carvegen.artwork.transforms import NUMBER
from carvegen.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["Line", "parse", "points"]

_COMMAND = re.compile(r"([MmZzLlHhVvCcSsQqTtAa])([^MmZzLlHhVvCcSsQqTtAa]*)")
_FOREIGN = re.compile(r"[^MmZzLlHhVvCcSsQqTtAa\d\s,.eE+-]")
_NUMBER = re.compile(NUMBER)
_ARC = re.compile(rf"[\s,]*({NUMBER})" * 3 + r"[\s,]*([01])" * 2 + rf"[\s,]*({NUMBER})" * 2)
_PAIR = re.compile(rf"\s*{NUMBER}[\s,]+{NUMBER}\s*")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


@dataclass(frozen=True, eq=False)
class Line:
    """One subpath as straight pieces; a closed one does not repeat its first point."""

    xy: Floats  #: (n, 2)
    closed: bool


def points(text: str) -> Floats:
    """The points of a polygon's or polyline's list; (n, 2)."""
    numbers = _numbers(text, "points")
    if len(numbers) % 2:
        raise InputError("has an odd count of numbers in its points", value=_short(text), hint=_HINT)
    return numbers.reshape(-1, 2)


def parse(text: str, tolerance: float) -> list[Line]:
    """The subpaths of path data, no further than `tolerance` (in the path's own unit) from its curves.

    Raises
    ------
    InputError
        If it does not follow the grammar; nothing is read past a fault in silence.
    """
    foreign = _FOREIGN.search(text)
    if foreign:
        raise InputError(f"has path data with {foreign[0]!r} at character {foreign.start() + 1}", hint=_HINT)
    start = _COMMAND.search(text)
    if start is None or start[1] not in "Mm" or text[: start.start()].strip():
        if not text.strip():
            return []
        raise InputError("has path data that does not begin with M", value=_short(text), hint=_HINT)
    pen = _Pen(tolerance)
    for letter, run in itertools.groupby(_COMMAND.findall(text), key=operator.itemgetter(0)):
        inside = [numbers for _, numbers in run]
        if letter in "Ll" and len(inside) > 1 and all(map(_PAIR.fullmatch, inside)):
            inside = [" ".join(inside)]  # one run, much faster than one by one
        for numbers in inside:
            pen.draw(letter, numbers)
    return pen.finished()


_HINT = "save the drawing again as plain SVG"


@dataclass
class _Pen:
    """Where the pen is and what it has drawn."""

    tolerance: float
    at: Floats = field(default_factory=lambda: np.zeros(2))
    start: Floats = field(default_factory=lambda: np.zeros(2))
    handle: Floats | None = None  #: last control point, for the smooth commands
    smooth: str = ""  #: the kind of curve the handle belongs to
    run: list[Floats] = field(default_factory=list)
    lines: list[Line] = field(default_factory=list)
    count: int = 0

    def draw(self, letter: str, text: str) -> None:
        """Do one command with all its numbers."""
        kind, relative = letter.upper(), letter.islower()
        numbers = _arcs(text) if kind == "A" else _numbers(text, letter)
        takes = _TAKES[kind]
        if (takes == 0) != (len(numbers) == 0) or (takes and len(numbers) % takes):
            raise InputError(
                f"has path data with a wrong count of numbers behind {letter}", value=_short(text), hint=_HINT
            )
        handle, smooth = self.handle, self.smooth
        self.handle, self.smooth = None, ""
        if kind == "Z":
            self._close()
        elif kind == "M":
            self._move(numbers.reshape(-1, 2), relative)
        elif kind == "A":
            self._arc_run(numbers.reshape(-1, 7), relative)
        elif kind in "HV":
            self._straight(_level(numbers, self.at, kind == "H", relative), relative=False)
        elif kind == "L":
            self._straight(numbers.reshape(-1, 2), relative)
        else:
            given = numbers.reshape(-1, takes // 2, 2)
            self._curves(kind, given, relative, handle if smooth == _FAMILY[kind] else None)

    def finished(self) -> list[Line]:
        """All subpaths."""
        self._lift(closed=False)
        return self.lines

    def _move(self, xy: Floats, relative: bool) -> None:
        self._lift(closed=False)
        self.at = self.start = xy[0] + self.at if relative else xy[0]
        if len(xy) > 1:
            self._straight(xy[1:], relative)

    def _close(self) -> None:
        if not self.run:
            self._add(self.at[None])
        self._lift(closed=True)
        self.at = self.start

    def _lift(self, *, closed: bool) -> None:
        if self.run:
            xy = np.concatenate([self.start[None], *self.run])
            same = closed and len(xy) > 1 and (xy[0] == xy[-1]).all()
            self.lines.append(Line(xy[:-1] if same else xy, closed))
        self.run = []

    def _add(self, xy: Floats) -> None:
        self.count += len(xy)
        bounds.check_points(self.count)
        self.run.append(xy)
        self.at = xy[-1]

    def _straight(self, xy: Floats, relative: bool) -> None:
        self._add(self.at + np.cumsum(xy, axis=0) if relative else xy)

    def _curves(self, kind: str, given: Floats, relative: bool, handle: Floats | None) -> None:
        if relative:
            ends = self.at + np.cumsum(given[:, -1], axis=0)
            given = given + np.concatenate([self.at[None], ends[:-1]])[:, None]
        starts = np.concatenate([self.at[None], given[:-1, -1]])
        first = self.at if handle is None else 2 * self.at - handle
        control = _controls(kind, starts, given, first)
        self.handle, self.smooth = control[-1, -1], _FAMILY[kind]
        self._add(_flattened(_cubic(starts, control, given[:, -1]), self.tolerance))

    def _arc_run(self, rows: Floats, relative: bool) -> None:
        for row in rows:
            end = row[5:] + self.at if relative else row[5:]
            self._add(_arc(self.at, row, end, self.tolerance))


_FAMILY = {"C": "C", "S": "C", "Q": "Q", "T": "Q"}


def _numbers(text: str, letter: str) -> Floats:
    if _NUMBER.sub("", text).strip(" ,\t\r\n\f"):
        raise InputError(f"has something that is no number behind {letter}", value=_short(text), hint=_HINT)
    return np.array([float(number) for number in _NUMBER.findall(text)], dtype=np.float64)


def _arcs(text: str) -> Floats:
    if _ARC.sub("", text).strip(" ,\t\r\n\f"):
        raise InputError("has an arc that can't be read", value=_short(text), hint=_HINT)
    return np.array([[float(number) for number in found] for found in _ARC.findall(text)]).reshape(-1)


def _level(numbers: Floats, at: Floats, across: bool, relative: bool) -> Floats:
    own = at[0 if across else 1]
    along = own + np.cumsum(numbers) if relative else numbers
    other = np.full(len(along), at[1 if across else 0])
    return np.column_stack([along, other] if across else [other, along])


def _controls(kind: str, starts: Floats, given: Floats, first: Floats) -> Floats:
    """The control points, (n, 2, 2) for cubics and (n, 1, 2) for quadratics; smooth ones are mirrored."""
    if kind in "CQ":
        return given[:, :-1]
    if kind == "S":
        mirrored = np.concatenate([first[None], 2 * given[:-1, 1] - given[:-1, 0]])
        return np.stack([mirrored, given[:, 0]], axis=1)
    handles = [first]
    for start in starts[1:]:
        handles.append(2 * start - handles[-1])
    return np.array(handles)[:, None]


def _cubic(starts: Floats, control: Floats, ends: Floats) -> Floats:
    """Cubic curves as (n, 4, 2); quadratics are raised by one degree."""
    if control.shape[1] == 1:
        handle = control[:, 0]
        control = np.stack([starts + (handle - starts) * (2 / 3), ends + (handle - ends) * (2 / 3)], axis=1)
    return np.concatenate([starts[:, None], control, ends[:, None]], axis=1)


def _flattened(curves: Floats, tolerance: float) -> Floats:
    """Points on cubic curves, (n, 4, 2), without their first ones.

    n >= sqrt(3 M / (4 tolerance)) pieces keep the distance, with M the largest second difference of the control
    points (Wang's formula, from memory; checked in the tests). Small curves get more, as `rounds.pieces` says.
    """
    with np.errstate(over="ignore", invalid="ignore"):
        bend = np.hypot(*np.moveaxis(np.diff(curves, n=2, axis=1), 2, 0)).max(axis=1)
        wanted = np.sqrt(0.75 * bend / tolerance)
    bounds.check_reach(wanted)
    pieces = rounds.pieces(wanted)
    bounds.check_points(int(pieces.sum()))
    which = np.repeat(np.arange(len(curves)), pieces)
    first = np.cumsum(pieces) - pieces
    t = ((np.arange(len(which)) - first[which] + 1) / pieces[which])[:, None]
    p = curves[which]
    s = 1 - t
    found = s**3 * p[:, 0] + 3 * s**2 * t * p[:, 1] + 3 * s * t**2 * p[:, 2] + t**3 * p[:, 3]
    found[first + pieces - 1] = curves[:, 3]
    return np.asarray(found, dtype=np.float64)


def _arc(start: Floats, row: Floats, end: Floats, tolerance: float) -> Floats:
    """Points on an elliptical arc without its first one; centre by SVG 1.1 appendix F.6.5."""
    rx, ry = abs(row[0]), abs(row[1])
    if rx == 0 or ry == 0 or (start == end).all():
        return end[None]
    bounds.check_reach(np.concatenate([start, row, end]))
    turn = math.radians(row[2])
    axes = np.array([[math.cos(turn), math.sin(turn)], [-math.sin(turn), math.cos(turn)]])
    x, y = axes @ (start - end) / 2
    reach = (x / rx) ** 2 + (y / ry) ** 2
    if reach > 1:
        rx, ry = rx * math.sqrt(reach), ry * math.sqrt(reach)
    root = math.sqrt(max(0.0, 1 / min(reach, 1.0) - 1)) * (-1 if row[3] == row[4] else 1)
    centre = np.array([root * rx * y / ry, -root * ry * x / rx])
    begin = math.atan2((y - centre[1]) / ry, (x - centre[0]) / rx)
    finish = math.atan2((-y - centre[1]) / ry, (-x - centre[0]) / rx)
    sweep = (finish - begin) % (2 * math.pi) - (0 if row[4] else 2 * math.pi)
    pieces = rounds.chords(max(rx, ry), sweep, tolerance)
    angle = begin + sweep * np.arange(1, pieces + 1) / pieces
    local = np.column_stack([rx * np.cos(angle), ry * np.sin(angle)]) + centre
    found = local @ axes + (start + end) / 2
    found[-1] = end
    return np.asarray(found, dtype=np.float64)


def _short(text: str) -> str:
    return text.strip()[:40]
