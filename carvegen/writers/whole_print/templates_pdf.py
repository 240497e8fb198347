"""Templates as PDF pages at 1:1: one page of words, then the drawing over as many sheets as it needs."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.writers.pdf.pdf_page import (
    JOINING,
    Shapes,
    bytes_of,
    foot,
    heading,
    joins,
    new_canvas,
    standing,
    to_tile,
    words_pages,
)
from carvegen.writers.pdf.pdf_words import Words
from carvegen.writers.pdf.tiles import plan

if TYPE_CHECKING:
    from reportlab.pdfgen.canvas import Canvas

    from carvegen.writers.pdf.tiles import Tile
    from carvegen.writers.whole_print.templates import Part, Template

__all__ = ["template_pdf"]

_LINE_MM = 0.25


def template_pdf(template: Template, paper: str = "A4") -> bytes:
    """The template as pages of `paper`.

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    sheets = plan(template.bounds, paper)
    canvas = new_canvas(sheets, title=template.title, about=template.view.words)
    joined = [JOINING] if len(sheets.tiles) > 1 else []
    with standing(canvas, sheets) as upright:
        words_pages(canvas, upright, [Words(text=text) for text in (*template.words, *joined)])
    drawn = [(part, Shapes(part.shapes, "f*" if part.filled else "S")) for part in template.parts]
    for number, tile in enumerate(sheets.tiles, start=1):
        heading(canvas, sheets, tile, name=template.title, rest=f"{template.view.value} view")
        canvas.saveState()
        to_tile(canvas, sheets, tile)
        canvas.setLineWidth(_LINE_MM)
        for part, shapes in drawn:
            _part(canvas, part, shapes, tile)
        canvas.setDash([])
        joins(canvas, sheets, tile)
        canvas.restoreState()
        foot(canvas, sheets, number)
        canvas.showPage()
    return bytes_of(canvas)


def _part(canvas: Canvas, part: Part, shapes: Shapes, tile: Tile) -> None:
    canvas.setDash([2.0, 1.2] if part.broken else [])
    canvas.addLiteral(shapes.within(tile))
