"""Templates as PDF pages at 1:1: one page of words, then the drawing over as many sheets as it needs."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from carvegen import geometry
from carvegen.units import MM_PER
from carvegen.writers.sheet import BAR_MM
from carvegen.writers.tiles import FOOT_MM, UNPRINTED_MM, plan

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.writers.templates import Part, Template
    from carvegen.writers.tiles import Plan, Tile

__all__ = ["template_pdf"]

_PT = 1 / MM_PER["pt"]  # points in a millimetre
_FONT = "Vera"  # comes with reportlab; put into the file, so that every printer has it
_MEASURE = f"measure me: {BAR_MM:g} mm, print at 100 %, do not fit"


def template_pdf(template: Template, paper: str = "A4") -> bytes:
    """The template as pages of `paper`.

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    sheets = plan(template.bounds, paper)
    if _FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(_FONT, "Vera.ttf"))
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(sheets.page[0] * _PT, sheets.page[1] * _PT), invariant=1)
    canvas.setTitle(template.title)
    canvas.setSubject(template.view.words)
    _words_page(canvas, template, sheets)
    for number, tile in enumerate(sheets.tiles, start=1):
        _tile(canvas, template, sheets, tile)
        _bar(canvas, f"{template.title}: sheet {number} of {len(sheets.tiles)}; {template.view.value} view")
        canvas.showPage()
    canvas.save()
    return out.getvalue()


def _words_page(canvas: Canvas, template: Template, sheets: Plan) -> None:
    """What the template is, how the sheets go together, and the bar upright as well."""
    joins = (
        ["Lay each ringed cross exactly over its like on the next sheet, and tape."] if len(sheets.tiles) > 1 else []
    )
    _say(canvas, [*template.words, *joins], sheets.page[1] - UNPRINTED_MM - 6, sheets.page[0] - 2 * UNPRINTED_MM - 5)
    canvas.rect((sheets.page[0] - UNPRINTED_MM - 2) * _PT, 40 * _PT, 2 * _PT, BAR_MM * _PT, stroke=0, fill=1)
    _bar(canvas, template.title)
    canvas.showPage()


def _tile(canvas: Canvas, template: Template, sheets: Plan, tile: Tile) -> None:
    """The part of the drawing that one sheet shows; the unit is 1 mm."""
    canvas.saveState()
    canvas.translate(UNPRINTED_MM * _PT, (UNPRINTED_MM + FOOT_MM) * _PT)
    canvas.scale(_PT, _PT)
    canvas.translate(-tile.left, -tile.bottom)
    window = canvas.beginPath()
    window.rect(tile.left, tile.bottom, tile.right - tile.left, tile.top - tile.bottom)
    canvas.clipPath(window, stroke=0, fill=0)
    canvas.setLineWidth(0.25)
    for part in template.parts:
        _part(canvas, part)
    canvas.setDash([])
    for x, y in sheets.joins:
        canvas.circle(x, y, 1.8)
        canvas.lines([(x - 3.5, y, x + 3.5, y), (x, y - 3.5, x, y + 3.5)])
    canvas.restoreState()


def _part(canvas: Canvas, part: Part) -> None:
    canvas.setDash([2.0, 1.2] if part.broken else [])
    found = geometry.rings(part.shapes)
    path = canvas.beginPath()
    for start, end in zip(found.start[:-1].tolist(), found.start[1:].tolist(), strict=True):
        points = found.xy[start:end].tolist()
        path.moveTo(*points[0])
        for point in points[1:]:
            path.lineTo(*point)
        path.close()
    canvas.drawPath(path, stroke=not part.filled, fill=part.filled, fillMode=0)


def _bar(canvas: Canvas, text: str) -> None:
    canvas.setFillGray(0)
    canvas.rect(UNPRINTED_MM * _PT, (UNPRINTED_MM + 9) * _PT, BAR_MM * _PT, 2 * _PT, stroke=0, fill=1)
    _say(canvas, [f"{_MEASURE}. {text}"], UNPRINTED_MM + 4.5, 190.0)


def _say(canvas: Canvas, words: Sequence[str], y: float, width: float) -> None:
    """Lines of words from base line `y` downwards; mm."""
    size = 3.4
    canvas.setFont(_FONT, size * _PT)
    for text in words:
        for line in simpleSplit(text, _FONT, size * _PT, width * _PT):
            canvas.drawString(UNPRINTED_MM * _PT, y * _PT, line)
            y -= size * 1.45
        y -= size * 0.4
