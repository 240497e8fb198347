"""Pages with ruled tables to be filled in by pencil."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.writers.pdf.pdf_page import foot
from carvegen.writers.pdf.pdf_words import (
    LEAST_MM,
    PT,
    say,
    split,
    width_mm,
)
from carvegen.writers.pdf.tiles import FOOT_MM, UNPRINTED_MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reportlab.pdfgen.canvas import Canvas

    from carvegen.writers.guide.hand_guide import Table
    from carvegen.writers.pdf.tiles import Plan

__all__ = ["tables_pages"]

_PAD_MM = 1.2  #: from a line to the letters
_LEAST_ROW_MM = 8.0  #: room for a pencil
_FREE_MM = 20.0  #: width of a cell that is to be filled in, at least
_HEADING_MM = 4.4
_OVER_MM = 24.0  #: for a table's heading and words
_LINE = 1.4  #: from line to line, times the letters' size


def tables_pages(canvas: Canvas, sheets: Plan, tables: Sequence[Table]) -> None:
    """Tables on pages of their own, columns as wide as their words ask; nothing if there are none."""
    top, y = sheets.page[1] - UNPRINTED_MM - 6, 0.0
    low, width = UNPRINTED_MM + FOOT_MM + 4, sheets.page[0] - 2 * UNPRINTED_MM
    for table in tables:
        columns = _columns(table.rows, width)
        heights = [_height(row, columns) for row in table.rows]
        if y == 0.0:
            y = top
        elif y - sum(heights) - _OVER_MM < low:
            y = _next(canvas, sheets)
        y = say(canvas, [table.heading], x=UNPRINTED_MM, y=y, width=width, size=_HEADING_MM)
        y = say(canvas, table.words, x=UNPRINTED_MM, y=y - 1, width=width) - 1
        for row, height in zip(table.rows, heights, strict=True):
            y = _next(canvas, sheets) if y - height < low else y
            _row(canvas, row, columns, y=y, height=height)
            y -= height
        y -= 2 * _HEADING_MM
    if tables:
        _next(canvas, sheets)


def _next(canvas: Canvas, sheets: Plan) -> float:
    """Ends the page; the first base line of the next one."""
    foot(canvas, sheets, None)
    canvas.showPage()
    return sheets.page[1] - UNPRINTED_MM - 6


def _columns(rows: Sequence[Sequence[str]], width: float) -> list[float]:
    """Each as wide as its longest word asks; what is left goes to those with the longest texts."""
    cells = list(zip(*rows, strict=True))
    least = [max(_word(text) for text in column) + 2 * _PAD_MM for column in cells]
    least = [max(its, _FREE_MM) if "" in column else its for its, column in zip(least, cells, strict=True)]
    whole = [max(width_mm(text, LEAST_MM) for text in column) + 2 * _PAD_MM for column in cells]
    wish = [max(0.0, all_ - its) for all_, its in zip(whole, least, strict=True)]
    left = max(0.0, width - sum(least))
    share = min(1.0, left / sum(wish)) if sum(wish) else 0.0
    return [its + share * more for its, more in zip(least, wish, strict=True)]


def _word(text: str) -> float:
    return max((width_mm(word, LEAST_MM) for word in text.split()), default=0.0)


def _height(row: Sequence[str], columns: Sequence[float]) -> float:
    lines = max(len(split(text, wide - 2 * _PAD_MM + 0.01, LEAST_MM)) for text, wide in zip(row, columns, strict=True))
    return max(_LEAST_ROW_MM, lines * LEAST_MM * _LINE + 2 * _PAD_MM)


def _row(canvas: Canvas, row: Sequence[str], columns: Sequence[float], *, y: float, height: float) -> None:
    x = UNPRINTED_MM
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.5)
    for text, wide in zip(row, columns, strict=True):
        canvas.rect(x * PT, (y - height) * PT, wide * PT, height * PT)
        say(canvas, [text], x=x + _PAD_MM, y=y - _PAD_MM - LEAST_MM, width=wide - 2 * _PAD_MM + 0.01, size=LEAST_MM)
        x += wide
