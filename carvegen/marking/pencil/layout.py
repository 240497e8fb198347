"""The marking sheet: where its marks, boxes and piece of the print lie on the paper, and its code of dots."""

from __future__ import annotations

import itertools
import math
import zlib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.errors import InputError
from carvegen.base.units import PAPERS, paper_mm
from carvegen.marking.marks import Meaning

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.geometry import Floats, Mask

__all__ = [
    "DOT_MM", "HOLE_MM", "PIP_MM", "RING_MM", "SMALL_DOT_MM", "TINT", "TINTED", "Box", "Format",
    "MarkingSheet", "SheetPage", "decoded", "formats",
]  # fmt: skip

_FRAME_MM = 12.5  #: corner marks and dots lie so far inside the paper's edges
RING_MM, HOLE_MM, PIP_MM = 4.0, 2.6, 1.1  #: radii of a corner mark: ring, its hole, and the pip that one of them lacks
DOT_MM, SMALL_DOT_MM = 1.2, 0.75  #: radii of the dots between the corner marks; along the top small is 0, large is 1
TINT = 0.88  #: grey of the lower third of a box, as screens show it: as dark as the picture gets

_BITS = 24  #: of the code: 3 the format, 6 the page, 8 the print, 7 a check sum
_DOT_APART_MM = 24.0  #: of the dots along the other sides, at most
_CLEAR_MM = 7.5  #: from a corner mark's middle to the first dot
_INSIDE_MM = 4.0  #: from the frame to what lies in it
_HEAD_MM = 6.0  #: for the line of words at the top
_BOX_MM = (27.0, 11.0)  #: smallest width, and height of a box
_GAP_MM = 3.0  #: between boxes
_LABEL_MM = 4.6  #: for the words over a box
_WORDS_MM = 10.0  #: for the words over the strip: two lines, or more where the strip is narrow
_NARROW_WORDS_MM = 50.0
TINTED = 1 / 3  #: share of a box that is tinted, below
_INSET_MM = 1.2  #: what lies so near to a box's outline is not looked at
_OVERLAP_MM = 12.0  #: neighbouring sheets show so much of each other's drawing
_MOST_PAGES = 64


@dataclass(frozen=True, kw_only=True)
class Box:
    """A box of the strip, and the meaning of the pencil in it; mm on the paper, y up."""

    meaning: Meaning
    left: float
    bottom: float
    width: float
    height: float

    @property
    def firm(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of the half for a firm hand, its outline left out."""
        return self._half(0)

    @property
    def white_mm(self) -> float:
        """So far down from the top of a half reaches what is not tinted."""
        return self.height * (1 - TINTED) - _INSET_MM

    @property
    def light(self) -> tuple[float, float, float, float]:
        """The half for a light hand."""
        return self._half(1)

    def _half(self, k: int) -> tuple[float, float, float, float]:
        left = self.left + k * self.width / 2
        return (
            left + _INSET_MM, self.bottom + _INSET_MM,
            left + self.width / 2 - _INSET_MM, self.bottom + self.height - _INSET_MM,
        )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Format:
    """A paper, how it lies, and whether the strip stands beside the drawing or under it."""

    paper: str
    lying: bool
    beside: bool

    @property
    def number(self) -> int:
        """For the code: 0…7, by the order of the papers."""
        return 4 * list(PAPERS).index(self.paper) + 2 * self.lying + self.beside

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the paper as it lies, mm."""
        short, long = PAPERS[self.paper]
        return (long, short) if self.lying else (short, long)

    @cached_property
    def corners(self) -> Floats:
        """Middles of the corner marks: upper left (without a pip), upper right, lower right, lower left; (4, 2)."""
        (width, height), f = self.size, _FRAME_MM
        return np.array([(f, height - f), (width - f, height - f), (width - f, f), (f, f)])

    @cached_property
    def code_dots(self) -> Floats:
        """Middles of the dots that carry the code, from the left; (24, 2)."""
        width, height = self.size
        first, last = _FRAME_MM + _CLEAR_MM, width - _FRAME_MM - _CLEAR_MM
        return np.column_stack([np.linspace(first, last, _BITS), np.full(_BITS, height - _FRAME_MM)])

    @cached_property
    def plain_dots(self) -> Floats:
        """Middles of the dots along the other three sides; (n, 2)."""
        upper_left, upper_right, lower_right, lower_left = self.corners
        sides = ((upper_right, lower_right), (lower_right, lower_left), (lower_left, upper_left))
        return np.vstack([list(_between(one, other)) for one, other in sides])

    @property
    def room(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of where the drawing may lie."""
        (width, height), inside = self.size, _FRAME_MM + _INSIDE_MM
        strip = _GAP_MM + (_BOX_MM[0] if self.beside else _WORDS_MM + _LABEL_MM + _BOX_MM[1])
        return (
            inside, inside + (0.0 if self.beside else strip),
            width - inside - (strip if self.beside else 0.0), height - inside - _HEAD_MM,
        )  # fmt: skip

    @property
    def words(self) -> tuple[float, float, float]:
        """Left, top and width of the words over the strip."""
        (width, height), inside = self.size, _FRAME_MM + _INSIDE_MM
        if self.beside:
            return width - inside - _BOX_MM[0], height - inside - _HEAD_MM, _BOX_MM[0]
        return inside, self.room[1] - _GAP_MM, width - 2 * inside

    @property
    def boxes(self) -> tuple[Box, ...]:
        """The strip, a box for each meaning."""
        left, top, width = self.words
        high = _BOX_MM[1]
        if self.beside:
            top -= _NARROW_WORDS_MM
            step = high + _LABEL_MM + _GAP_MM / 2
            return tuple(
                Box(meaning=meaning, left=left, bottom=top - k * step - _LABEL_MM - high, width=width, height=high)
                for k, meaning in enumerate(Meaning)
            )
        wide = (width - _GAP_MM * (len(Meaning) - 1)) / len(Meaning)
        bottom = top - _WORDS_MM - _LABEL_MM - high
        return tuple(
            Box(meaning=meaning, left=left + k * (wide + _GAP_MM), bottom=bottom, width=wide, height=high)
            for k, meaning in enumerate(Meaning)
        )


def _between(one: Floats, other: Floats) -> Iterator[Floats]:
    """Places of dots between two corner marks."""
    long = math.dist(one, other)
    count = max(math.ceil((long - 2 * _CLEAR_MM) / _DOT_APART_MM), 1)
    for share in np.linspace(_CLEAR_MM / long, 1 - _CLEAR_MM / long, count + 1).tolist():
        yield one + share * (other - one)


def formats(paper: str) -> tuple[Format, ...]:
    """All that a sheet of a paper may look like.

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    paper_mm(paper)
    return tuple(
        Format(paper=paper, lying=lying, beside=beside)
        for lying, beside in itertools.product((False, True), (False, True))
    )


@dataclass(frozen=True, kw_only=True)
class SheetPage:
    """One page: which, and the piece of the print that it shows."""

    number: int  #: from 1
    row: int  #: from 1 at the top
    column: int  #: from 1 at the left
    shown: tuple[float, float, float, float]  #: left, bottom, right, top in mm of the print
    origin: tuple[float, float]  #: where the print's origin lies on the paper; mm, may lie outside


@dataclass(frozen=True, kw_only=True)
class MarkingSheet:
    """The sheet of a print: what it shows, and as what it is known again."""

    name: str  #: of the print
    window: tuple[float, float, float, float]  #: left, bottom, right, top of what the paper shows, mm of the print

    @property
    def sign(self) -> int:
        """A number 0…255 that another print hardly shares: of its name and size."""
        text = " ".join([self.name, *(f"{side:.2f}" for side in self.window)])
        return zlib.crc32(text.encode()) & 255

    def best(self, paper: str) -> Format:
        """The format with the fewest pages; upright and with the strip under it if that is as good."""
        return min(formats(paper), key=self._count)

    def _count(self, form: Format) -> int:
        rows, columns = self._grid(form)
        return rows * columns

    def _grid(self, form: Format) -> tuple[int, int]:
        left, bottom, right, top = self.window
        low_x, low_y, high_x, high_y = form.room
        return _sheets(top - bottom, high_y - low_y), _sheets(right - left, high_x - low_x)

    def pages(self, form: Format) -> tuple[SheetPage, ...]:
        """The pages, row by row from the top.

        Raises
        ------
        InputError
            If there are more than its code can count.
        """
        rows, columns = self._grid(form)
        if rows * columns > _MOST_PAGES:
            raise InputError(
                f"may take at most {_MOST_PAGES} sheets", value=rows * columns, where="the marking sheet",
                hint="mark it with a drawing of marks instead: [marks] files",
            )  # fmt: skip
        return tuple(
            self._page(form, row, column, row * columns + column + 1)
            for row in range(rows)
            for column in range(columns)
        )

    def _page(self, form: Format, row: int, column: int, number: int) -> SheetPage:
        left, bottom, right, top = self.window
        low_x, _, high_x, high_y = form.room
        wide, high = high_x - low_x, high_y - form.room[1]
        x, y = left + column * (wide - _OVERLAP_MM), top - row * (high - _OVERLAP_MM)
        return SheetPage(
            number=number, row=row + 1, column=column + 1,
            shown=(x, max(y - high, bottom), min(x + wide, right), y), origin=(low_x - x, high_y - y),
        )  # fmt: skip

    def code(self, form: Format, page: SheetPage) -> Mask:
        """Which of the dots along the top are large; (24,)."""
        body = (form.number << 14) | (page.number - 1 << 8) | self.sign
        return np.array([bit == "1" for bit in f"{body:017b}{_check(body):07b}"])


def _sheets(length: float, room: float) -> int:
    return max(1, math.ceil((length - _OVERLAP_MM) / (room - _OVERLAP_MM) - 1e-9))


def _check(body: int) -> int:
    return zlib.crc32(body.to_bytes(3, "big")) & 127


def decoded(large: Mask) -> tuple[int, int, int] | None:
    """Format, page (from 1) and sign that the dots say; None if their check sum is wrong."""
    text = "".join("1" if bit else "0" for bit in large)
    body = int(text[:17], 2)
    if _check(body) != int(text[17:], 2):
        return None
    return body >> 14, (body >> 8 & 63) + 1, body & 255
