"""What every printed PDF shares: the page, its check bars, the map of its sheets, and how they are joined."""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import threading
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from reportlab import rl_config
from reportlab.pdfbase import pdfdoc
from reportlab.pdfgen.canvas import Canvas

from carvegen import geometry
from carvegen.writers.formats.coordinates import ring_texts
from carvegen.writers.pdf.pdf_words import (
    BODY_MM,
    PT,
    height_mm,
    say,
    shortened,
    width_mm,
)
from carvegen.writers.pdf.tiles import FOOT_MM, OVERLAP_MM, UNPRINTED_MM
from carvegen.writers.sheet import BAR_MM, MEASURE_ME

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.writers.pdf.pdf_words import Words
    from carvegen.writers.pdf.tiles import Tile, Tiling

__all__ = [
    "JOINING",
    "Shapes",
    "bytes_of",
    "drawing_pages",
    "foot",
    "line_operators",
    "new_canvas",
    "sheet_count",
    "standing",
    "words_pages",
]

JOINING = (
    "Short strokes at a sheet's left or upper side: cut it off from one to the other, through the ringed crosses, lay "
    "it over its neighbour, each cross exactly on its like, and tape. The map at the foot shows which goes where."
)

_BESIDE_MM = 5.0  #: room for the words beside the upright bar
_MAP_MM = (34.0, 11.0)  #: room for the map of the sheets
_ENVIRONMENT = threading.Lock()  #: held while it differs from what it was
_LEVEL = 4  #: of 9, of compression
_CROP_MM = 6.0  #: length of a stroke that tells where to cut


def new_canvas(sheets: Tiling, *, title: str, about: str) -> Canvas:
    """A file with nothing on it."""
    with _undated():
        canvas = Canvas(io.BytesIO(), pagesize=_points(sheets), invariant=1, pageCompression=1)
    canvas.setTitle(title)
    canvas.setSubject(about)
    return canvas


@contextlib.contextmanager
def _undated() -> Iterator[None]:
    """Without the date that reportlab takes from the environment though it is to take none; one thread at a time."""
    with _ENVIRONMENT:
        date = os.environ.pop("SOURCE_DATE_EPOCH", None)
        try:
            yield
        finally:
            if date is not None:
                os.environ["SOURCE_DATE_EPOCH"] = date


def _points(sheets: Tiling) -> tuple[float, float]:
    return sheets.page[0] * PT, sheets.page[1] * PT


@contextlib.contextmanager
def standing(canvas: Canvas, sheets: Tiling) -> Iterator[Tiling]:
    """While it lasts pages stand upright, whichever way the drawing lies: lines of words are not too long to read."""
    short, long = sorted(sheets.page)
    upright = replace(sheets, page=(short, long), foot_mm=FOOT_MM)
    canvas.setPageSize(_points(upright))
    yield upright
    canvas.setPageSize(_points(sheets))


def bytes_of(canvas: Canvas) -> bytes:
    """The finished file."""
    with _binary_streams():
        data: bytes = canvas.getpdfdata()
    return data


@contextlib.contextmanager
def _binary_streams() -> Iterator[None]:
    """While it lasts reportlab writes compressed bytes as they are, and compresses as told here."""
    before = rl_config.useA85, pdfdoc.PDFZCompress
    rl_config.useA85, pdfdoc.PDFZCompress = 0, _Compressed()
    try:
        yield
    finally:
        rl_config.useA85, pdfdoc.PDFZCompress = before


class _Compressed(pdfdoc.PDFStreamFilterZCompress):  # type: ignore[misc]  # the library has no types
    """Streams compressed in a fifth of the time that the library's own level takes, and 6 % less densely (measured)."""

    def encode(self, text: str | bytes) -> bytes:
        return zlib.compress(text.encode() if isinstance(text, str) else text, _LEVEL)


class Shapes:
    """Shapes as drawing operators in mm, picked by the tile that they meet."""

    def __init__(self, shapes: PolygonArray, paint: str) -> None:
        rings = geometry.rings(shapes)
        texts = ring_texts(rings.xy, rings.start, after=" l\n", first=" m\n")
        first = np.searchsorted(rings.owner, np.arange(len(shapes) + 1)).tolist()
        self._texts = ["h\n".join(texts[a:b]) + f"h\n{paint}" for a, b in itertools.pairwise(first)]
        self._bounds = shapely.bounds(shapes).reshape(-1, 4)

    def within(self, tile: Tile) -> str:
        """The operators of the shapes that reach into a tile."""
        left, bottom, right, top = self._bounds.T
        meets = (left < tile.right) & (right > tile.left) & (bottom < tile.top) & (top > tile.bottom)
        return "\n".join(self._texts[k] for k in np.flatnonzero(meets).tolist())


def line_operators(ends: Floats) -> str:
    """Straight lines, (n, 4) as x, y, x, y, as drawing operators in mm."""
    if not len(ends):
        return ""
    texts = ring_texts(ends.reshape(-1, 2), np.arange(0, 2 * len(ends) + 1, 2), after=" l\n", first=" m\n")
    return "".join(texts) + "S"


def drawing_pages(canvas: Canvas, sheets: Tiling, draw: Callable[[Tile], None], *, name: str, rest: str) -> None:
    """The drawing over as many pages as it needs: `draw` puts there what of it a tile shows, in mm of the drawing."""
    for number, tile in enumerate(sheets.tiles, start=1):
        _heading(canvas, sheets, tile, name=name, rest=rest)
        canvas.saveState()
        _to_tile(canvas, sheets, tile)
        draw(tile)
        _joins(canvas, sheets, tile)
        canvas.restoreState()
        foot(canvas, sheets, number)
        canvas.showPage()


def _to_tile(canvas: Canvas, sheets: Tiling, tile: Tile) -> None:
    """From here on the unit is 1 mm of the drawing, and nothing is drawn beyond the tile."""
    canvas.translate(UNPRINTED_MM * PT, (UNPRINTED_MM + sheets.foot_mm) * PT)
    canvas.scale(PT, PT)
    canvas.translate(-tile.left, -tile.bottom)
    canvas.addLiteral(
        f"{tile.left:.3f} {tile.bottom:.3f} {tile.right - tile.left:.3f} {tile.top - tile.bottom:.3f} re W n"
    )


def _joins(canvas: Canvas, sheets: Tiling, tile: Tile) -> None:
    """Ringed crosses, on both sheets at the same place, and strokes at the ends of the line to cut along."""
    canvas.setLineWidth(0.15)
    canvas.setStrokeGray(0)
    for x, y in sheets.joins:
        canvas.circle(x, y, 1.8)
        canvas.lines([(x - 3.5, y, x + 3.5, y), (x, y - 3.5, x, y + 3.5)])
    canvas.setLineWidth(0.3)
    low, x, y = max(tile.bottom, sheets.bounds[1]), tile.left + OVERLAP_MM / 2, tile.top - OVERLAP_MM / 2
    right = min(tile.right, sheets.bounds[2])
    if tile.column > 1:
        canvas.lines([(x, tile.top, x, tile.top - _CROP_MM), (x, low, x, low + _CROP_MM)])
    if tile.row > 1:
        canvas.lines([(tile.left, y, tile.left + _CROP_MM, y), (right, y, right - _CROP_MM, y)])


def _heading(canvas: Canvas, sheets: Tiling, tile: Tile, *, name: str, rest: str) -> None:
    """One line over a tile: what it belongs to, which it is, and the rest; a long name gives way."""
    width = sheets.page[0] - 2 * UNPRINTED_MM
    which = f": row {tile.row} of {sheets.rows}, column {tile.column} of {sheets.columns}; " + rest
    tail = which if len(sheets.tiles) > 1 else f": {rest}"
    name = shortened(name, width - width_mm(tail, BODY_MM[0]))
    say(canvas, [name + tail], x=UNPRINTED_MM, y=sheets.page[1] - UNPRINTED_MM - 4, width=width, lines=1)


def foot(canvas: Canvas, sheets: Tiling, number: int | None) -> None:
    """The check bar, and the map of the sheets with this one dark; of one sheet without a foot, the bar beside it."""
    if not sheets.foot_mm:
        _bar_beside(canvas, sheets)
        return
    width = sheets.page[0]
    x, y = UNPRINTED_MM, UNPRINTED_MM + 9
    canvas.setFillGray(0)
    canvas.rect(x * PT, y * PT, BAR_MM * PT, 2 * PT, stroke=0, fill=1)
    say(canvas, [MEASURE_ME], x=x, y=y - 4.5, width=BAR_MM)
    cell = min(_MAP_MM[0] / sheets.columns, _MAP_MM[1] / sheets.rows, 8.0)
    left = width - UNPRINTED_MM - cell * sheets.columns
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.3)
    for k, tile in enumerate(sheets.tiles, start=1):
        corner = (left + (tile.column - 1) * cell, UNPRINTED_MM + (sheets.rows - tile.row) * cell)
        canvas.setFillGray(0.25 if k == number else 1)
        canvas.rect(corner[0] * PT, corner[1] * PT, cell * PT, cell * PT, stroke=1, fill=1)
    which = f"sheet {number} of {len(sheets.tiles)}" if number else f"drawing: {sheet_count(sheets)}"
    say(canvas, [which], x=left - 45, y=UNPRINTED_MM, width=44)


def _bar_beside(canvas: Canvas, sheets: Tiling) -> None:
    """The check bar upright at the sheet's right side, and its words along it."""
    canvas.setFillGray(0)
    right = sheets.page[0] - UNPRINTED_MM
    canvas.rect((right - 2) * PT, UNPRINTED_MM * PT, 2 * PT, BAR_MM * PT, stroke=0, fill=1)
    canvas.saveState()
    canvas.translate((right - 3.5) * PT, UNPRINTED_MM * PT)
    canvas.rotate(90)
    say(canvas, [MEASURE_ME], x=0, y=0, width=BAR_MM)
    canvas.restoreState()


def sheet_count(sheets: Tiling) -> str:
    """How many sheets the drawing takes, in words."""
    return "1 sheet" if len(sheets.tiles) == 1 else f"{len(sheets.tiles)} sheets"


def words_pages(canvas: Canvas, sheets: Tiling, words: Sequence[Words]) -> None:
    """Set words on as many pages as they need; the first has the check bar upright as well."""
    room = sheets.page[0] - 2 * UNPRINTED_MM - 5  # beside the upright bar
    top, low = sheets.page[1] - UNPRINTED_MM - 6, UNPRINTED_MM + FOOT_MM + _BESIDE_MM
    size = next((size for size in BODY_MM if top - height_mm(words, room, size) > low), BODY_MM[2])
    y = top
    _upright_bar(canvas, sheets)
    for k, paragraph in enumerate(words):
        if top > y and y - height_mm(words[k : k + 1 + paragraph.keeps], room, size) < low:
            foot(canvas, sheets, None)
            canvas.showPage()
            y = top
        y -= paragraph.before_mm if y < top else 0.0
        y = _paragraph(canvas, paragraph, y=y, width=room, size=size)
    foot(canvas, sheets, None)
    canvas.showPage()


def _paragraph(canvas: Canvas, paragraph: Words, *, y: float, width: float, size: float) -> float:
    if paragraph.beside:
        canvas.saveState()
        canvas.translate(UNPRINTED_MM * PT, y * PT)
        canvas.scale(PT, PT)
        paragraph.beside(canvas)
        canvas.restoreState()
    left, size = UNPRINTED_MM + paragraph.indent_mm, size * paragraph.scale
    return say(canvas, [paragraph.text], x=left, y=y, width=width - paragraph.indent_mm, size=size)


def _upright_bar(canvas: Canvas, sheets: Tiling) -> None:
    """The check bar along the page's right side: a printer may stretch one way only."""
    width, low = sheets.page[0], UNPRINTED_MM + FOOT_MM
    canvas.setFillGray(0)
    canvas.rect((width - UNPRINTED_MM - 2) * PT, low * PT, 2 * PT, BAR_MM * PT, stroke=0, fill=1)
    say(canvas, [f"and this way too: {BAR_MM:g} mm"], x=width - UNPRINTED_MM - 56, y=low + 1, width=54)
