"""A page with a ruled table to be filled in by pencil."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.writers.pdf_page import foot
from carvegen.writers.pdf_words import LEAST_MM, PT, say, split, width_mm
from carvegen.writers.tiles import FOOT_MM, UNPRINTED_MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from reportlab.pdfgen.canvas import Canvas

    from carvegen.writers.guide import Table
    from carvegen.writers.tiles import Plan

__all__ = ["table_page"]

_PAD_MM = 1.2  #: from a line to the letters
_LEAST_ROW_MM = 8.0  #: room for a pencil
_FREE_MM = 20.0  #: width of a cell that is to be filled in, at least
_LINE = 1.4  #: from line to line, times the letters' size


def table_page(canvas: Canvas, sheets: Plan, table: Table) -> None:
    """The table on a page of its own, its columns as wide as their words ask; it runs on if it must."""
    width, low = sheets.page[0] - 2 * UNPRINTED_MM, UNPRINTED_MM + FOOT_MM + 4
    y = say(canvas, [table.heading], x=UNPRINTED_MM, y=sheets.page[1] - UNPRINTED_MM - 6, width=width, size=5.5)
    y = say(canvas, table.words, x=UNPRINTED_MM, y=y - 1, width=width) - 1
    columns = _columns(table.rows, width)
    for row in table.rows:
        height = _height(row, columns)
        if y - height < low:
            foot(canvas, sheets, None)
            canvas.showPage()
            y = sheets.page[1] - UNPRINTED_MM - 6
        _row(canvas, row, columns, y=y, height=height)
        y -= height
    foot(canvas, sheets, None)
    canvas.showPage()


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
