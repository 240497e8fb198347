"""The marking sheet as PDF pages at 1:1: the print in pale grey to be coloured, corner marks, and a strip of boxes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import cielab, screen, solids
from carvegen.marking.pencil.layout import DOT_MM, HOLE_MM, PIP_MM, RING_MM, SMALL_DOT_MM, TINT, TINTED
from carvegen.writers.pdf.pdf_page import Shapes, bytes_of, new_canvas
from carvegen.writers.pdf.pdf_words import LEAST_MM, PT, say, shortened, width_mm
from carvegen.writers.pdf.tiles import Tile, Tiling
from carvegen.writers.whole_print.print_svg import overlaps

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from reportlab.pdfgen.canvas import Canvas

    from carvegen.base.colour import Rgb
    from carvegen.marking.pencil.layout import Box, Format, MarkingSheet, SheetPage
    from carvegen.writers.whole_print.print_png import Coat

__all__ = ["marking_sheet_pdf"]

_LINE_MM, _LINE_GREY = 0.12, 0.6  #: of the outlines in the picture: thin enough that a pencil goes over them
_BOX_LINE_MM, _BOX_GREY = 0.3, 0.35
_STRIP_WORDS = (
    "Scribble each pencil in the box of its meaning: left half firmly, right half lightly. A box left empty is not "
    "used. Then hatch on the picture, and photograph or scan the whole sheet, all four corner marks on it."
)


def marking_sheet_pdf(sheet: MarkingSheet, paper: Rgb, coats: Mapping[str, Coat], size: str = "A4") -> bytes:
    """The sheet on as many pages of `size` as it needs, each read on its own.

    Parameters
    ----------
    sheet
        Name and window of the print.
    paper
        Colour of the print's paper.
    coats
        What its blocks print, in printing order.
    size
        Name of the sheet's paper.

    Raises
    ------
    InputError
        If the paper is unknown, or the print needs too many pages.
    """
    form = sheet.best(size)
    pages = sheet.pages(form)
    canvas = new_canvas(_plan(form, sheet, pages), title=f"{sheet.name}: marking sheet", about="PRINT VIEW, 1:1")
    tones = _tones(paper, list(coats.values()), sheet)
    for page in pages:
        _head(canvas, sheet, form, page, len(pages))
        _picture(canvas, page, tones)
        _marks(canvas, form, sheet.code(form, page).tolist())
        _strip(canvas, form)
        canvas.showPage()
    return bytes_of(canvas)


def _plan(form: Format, sheet: MarkingSheet, pages: Sequence[SheetPage]) -> Tiling:
    rows, columns = pages[-1].row, pages[-1].column
    return Tiling(
        page=form.size, rows=rows, columns=columns, tiles=tuple(map(_tile, pages)), joins=(), bounds=sheet.window
    )


def _tile(page: SheetPage) -> Tile:
    left, bottom, right, top = page.shown
    return Tile(row=page.row, column=page.column, left=left, bottom=bottom, right=right, top=top)


def _tones(paper: Rgb, coats: Sequence[Coat], sheet: MarkingSheet) -> list[tuple[float, Shapes]]:
    """Every overlap of inks with its grey: white where the paper is bare, `TINT` where it would be black."""
    white = float(cielab(np.asarray(paper))[0])
    tones = []
    for which, shape in overlaps(coats, shapely.box(*sheet.window)):
        light = cielab(screen(solids(paper, [coats[k].ink for k in which])))[0]
        grey = 1 - (1 - TINT) * (1 - min(float(light) / white, 1.0))
        tones.append((grey, Shapes(geometry.parts(shape), "B*")))
    return tones


def _head(canvas: Canvas, sheet: MarkingSheet, form: Format, page: SheetPage, count: int) -> None:
    left, _, right, top = form.room
    right = max(right, form.words[0] + form.words[2])
    which = f", page {page.number} of {count} (row {page.row}, column {page.column})" if count > 1 else ""
    rest = f": marking sheet{which}, print view. Print at 100 %."
    name = shortened(sheet.name, right - left - width_mm(rest, LEAST_MM), LEAST_MM)
    say(canvas, [name + rest], x=left, y=top + 1.8, width=right - left, size=LEAST_MM, lines=1)


def _picture(canvas: Canvas, page: SheetPage, tones: Sequence[tuple[float, Shapes]]) -> None:
    left, bottom, right, top = page.shown
    tile = _tile(page)
    canvas.saveState()
    canvas.scale(PT, PT)
    canvas.translate(*page.origin)
    canvas.setLineWidth(_LINE_MM)
    canvas.setStrokeGray(_LINE_GREY)
    canvas.rect(left, bottom, right - left, top - bottom, stroke=1, fill=0)
    canvas.addLiteral(f"{left:.3f} {bottom:.3f} {right - left:.3f} {top - bottom:.3f} re W n")
    for grey, shapes in tones:
        canvas.setFillGray(grey)
        canvas.addLiteral(shapes.within(tile))
    canvas.restoreState()


def _marks(canvas: Canvas, form: Format, code: Sequence[bool]) -> None:
    """The corner marks, and the dots between them."""
    canvas.saveState()
    canvas.scale(PT, PT)
    for k, (x, y) in enumerate(form.corners.tolist()):
        for radius, grey in ((RING_MM, 0), (HOLE_MM, 1), *([(PIP_MM, 0)] if k else [])):
            canvas.setFillGray(grey)
            canvas.circle(x, y, radius, stroke=0, fill=1)
    canvas.setFillGray(0)
    for (x, y), large in zip(form.code_dots.tolist(), code, strict=True):
        canvas.circle(x, y, DOT_MM if large else SMALL_DOT_MM, stroke=0, fill=1)
    for x, y in form.plain_dots.tolist():
        canvas.circle(x, y, DOT_MM, stroke=0, fill=1)
    canvas.restoreState()


def _strip(canvas: Canvas, form: Format) -> None:
    x, y, width = form.words
    say(canvas, [_STRIP_WORDS], x=x, y=y - LEAST_MM, width=width, size=LEAST_MM)
    for box in form.boxes:
        _box(canvas, box)


def _box(canvas: Canvas, box: Box) -> None:
    say(canvas, [box.meaning], x=box.left, y=box.bottom + box.height + 1.2, width=box.width + 2, size=LEAST_MM, lines=1)
    canvas.saveState()
    canvas.scale(PT, PT)
    canvas.setFillGray(TINT)
    canvas.rect(box.left, box.bottom, box.width, TINTED * box.height, stroke=0, fill=1)
    canvas.setLineWidth(_BOX_LINE_MM)
    canvas.setStrokeGray(_BOX_GREY)
    canvas.rect(box.left, box.bottom, box.width, box.height, stroke=1, fill=0)
    middle = box.left + box.width / 2
    canvas.setDash([1.0, 1.0])
    canvas.line(middle, box.bottom, middle, box.bottom + box.height)
    canvas.restoreState()
