"""Words on a printed PDF page: their font and sizes, lines that fit, and paragraphs; mm."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from carvegen.base.units import MM_PER

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from reportlab.pdfgen.canvas import Canvas

__all__ = ["BODY_MM", "FONT", "LEAST_MM", "PT", "Words", "height_mm", "say", "shortened", "split", "width_mm"]

PT = 1 / MM_PER["pt"]  #: points in a millimetre
FONT = "Vera"  #: comes with reportlab; put into the file, so that every printer has it
BODY_MM = (3.6, 3.4, 3.2, 3.0)  #: sizes of the words: the largest with which one page holds them, else the third
LEAST_MM = 2.83  #: letters of 8 points: nothing on a printed page is set smaller

_LEADING, _APART = 1.4, 0.25  #: from line to line, and more after a paragraph; times the letters' size

pdfmetrics.registerFont(TTFont(FONT, "Vera.ttf"))


@dataclass(frozen=True, kw_only=True)
class Words:
    """A paragraph on a page of words."""

    text: str
    scale: float = 1.0  #: letters, times the size of the page's words
    before_mm: float = 0.0  #: free room above it
    indent_mm: float = 0.0
    beside: Callable[[Canvas], None] | None = None  #: draws what stands before it; mm, from the first base line's left
    keeps: bool = False  #: a heading: it does not stand alone at the foot of a page


def height_mm(words: Sequence[Words], width: float, size: float) -> float:
    """How far down words reach, as `say` sets them."""
    return sum(
        part.before_mm
        + size * part.scale * (_LEADING * len(split(part.text, width - part.indent_mm, size * part.scale)) + _APART)
        for part in words
    )


def say(
    canvas: Canvas,
    words: Sequence[str],
    *,
    x: float,
    y: float,
    width: float,
    size: float = BODY_MM[0],
    lines: int = 99,
) -> float:
    """Lines of words from base line `y` downwards; mm; returns the next free base line."""
    canvas.setFillGray(0)
    canvas.setFont(FONT, size * PT)
    for text in words:
        for line in split(text, width, size)[:lines]:
            canvas.drawString(x * PT, y * PT, line)
            y -= size * _LEADING
        y -= size * _APART
    return y


@lru_cache(maxsize=4096)  # pages are tried in several sizes before they are set
def split(text: str, width: float, size: float) -> tuple[str, ...]:
    """Lines no wider than `width` mm; a word that is wider is broken."""
    broken = " ".join(piece for word in text.split() for piece in _pieces(word, width, size))
    return tuple(simpleSplit(broken, FONT, size * PT, width * PT))


def shortened(text: str, width: float, size: float = BODY_MM[0]) -> str:
    """`text`, or as much of it as fits into `width` mm with an ellipsis behind it."""
    if width_mm(text, size) <= width:
        return text
    kept = next((k for k in range(len(text), 0, -1) if width_mm(text[:k] + "…", size) <= width), 0)
    return text[:kept].rstrip() + "…"


def _pieces(word: str, width: float, size: float) -> Iterator[str]:
    while width_mm(word, size) > width:
        fits = next((k for k in range(len(word) - 1, 1, -1) if width_mm(word[:k], size) <= width), 1)
        yield word[:fits]
        word = word[fits:]
    yield word


@lru_cache(maxsize=16384)  # most words come again, on this page or another
def width_mm(text: str, size: float) -> float:
    """How long a line is; `size` is the letters' em; mm."""
    return float(pdfmetrics.stringWidth(text, FONT, size * PT)) / PT
