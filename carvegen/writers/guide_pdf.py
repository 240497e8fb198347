"""The hand guide as a PDF at 1:1, one sheet of words, then the drawing over as many sheets as it needs."""

from __future__ import annotations

import contextlib
import io
import itertools
from typing import TYPE_CHECKING

import numpy as np
import shapely
from reportlab import rl_config
from reportlab.lib.utils import simpleSplit
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from carvegen import geometry
from carvegen.units import MM_PER
from carvegen.writers.guide import (
    FREE_TONE,
    HATCH_TONE,
    HEAVY_MM,
    MEASURE_ME,
    OUTLINE_MM,
    TEST_WORD,
    WORD_MM,
)
from carvegen.writers.marks import LABEL_MM
from carvegen.writers.outlines import ring_texts
from carvegen.writers.sheet import BAR_MM
from carvegen.writers.tiles import FOOT_MM, UNPRINTED_MM, plan

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.writers.guide import Guide
    from carvegen.writers.tiles import Plan, Tile

__all__ = ["guide_pdf"]

_PT = 1 / MM_PER["pt"]  # points in a millimetre
_FONT = "Vera"  # comes with reportlab; put into the file, so that every printer has it
_BODY_MM = (3.6, 3.4, 3.2, 3.0, 2.8, 2.6, 2.4)  #: sizes of the words: the largest with which one page holds them
_HEADING = 1.22  #: times as large
_BESIDE_MM = 5.0  #: room for the words beside the upright bar
_MAP_MM = (34.0, 11.0)  # room for the map of the sheets


def guide_pdf(guide: Guide, paper: str = "A4") -> bytes:
    """The guide as PDF pages of `paper`, the first with the words, the others with the drawing.

    Parameters
    ----------
    paper
        "A4" or "Letter".

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    sheets = plan(guide.bounds, paper)
    if _FONT not in pdfmetrics.getRegisteredFontNames():
        pdfmetrics.registerFont(TTFont(_FONT, "Vera.ttf"))
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(sheets.page[0] * _PT, sheets.page[1] * _PT), invariant=1, pageCompression=1)
    canvas.setTitle(guide.title)
    canvas.setSubject(guide.laid)
    _words_page(canvas, guide, sheets)
    drawn = _Drawn(guide)
    for number, tile in enumerate(sheets.tiles, start=1):
        _heading(canvas, guide, sheets, tile)
        canvas.saveState()
        _to_tile(canvas, tile)
        _drawing(canvas, guide, tile, drawn)
        _joins(canvas, sheets)
        canvas.restoreState()
        _foot(canvas, sheets, number)
        canvas.showPage()
    with _binary_streams():
        canvas.save()
    return out.getvalue()


@contextlib.contextmanager
def _binary_streams() -> Iterator[None]:
    """While it lasts reportlab writes compressed bytes as they are: its way to write them as letters is slow."""
    before = rl_config.useA85
    rl_config.useA85 = 0
    try:
        yield
    finally:
        rl_config.useA85 = before


class _Shapes:
    """Shapes as drawing operators in mm, picked by the tile that they meet."""

    def __init__(self, shapes: PolygonArray, paint: str) -> None:
        found = geometry.rings(shapes)
        texts = [text.replace(" l", " m", 1) + "h\n" for text in ring_texts(found.xy, found.start, after=" l\n")]
        first = np.searchsorted(found.owner, np.arange(len(shapes) + 1)).tolist()
        self._texts = ["".join(texts[a:b]) + paint for a, b in itertools.pairwise(first)]
        self._bounds = shapely.bounds(shapes).reshape(-1, 4)

    def within(self, tile: Tile) -> str:
        """The operators of the shapes that reach into a tile."""
        left, bottom, right, top = self._bounds.T
        meets = (left < tile.right) & (right > tile.left) & (bottom < tile.top) & (top > tile.bottom)
        return "\n".join(self._texts[k] for k in np.flatnonzero(meets).tolist())


def _to_tile(canvas: Canvas, tile: Tile) -> None:
    """From here on the unit is 1 mm of the drawing, and nothing is drawn beyond the tile."""
    canvas.translate(UNPRINTED_MM * _PT, (UNPRINTED_MM + FOOT_MM) * _PT)
    canvas.scale(_PT, _PT)
    canvas.translate(-tile.left, -tile.bottom)
    canvas.addLiteral(
        f"{tile.left:.3f} {tile.bottom:.3f} {tile.right - tile.left:.3f} {tile.top - tile.bottom:.3f} re W n"
    )


class _Drawn:
    """The shapes of a guide, made ready once for all sheets."""

    def __init__(self, guide: Guide) -> None:
        zones = guide.zones
        self.zones = [_Shapes(its, "f*") for its in (zones.fine, zones.edges, zones.floors)]
        self.cuts, self.cut_outs = _Shapes(guide.shown.cuts, "S"), _Shapes(guide.shown.cut_outs, "S")
        self.stands, self.kept = _Shapes(zones.stands, "S"), _Shapes(guide.shown.kept, "S")
        self.register = _Shapes(guide.register, "f*")
        board = geometry.polygon_array([guide.shown.board] if guide.shown.waste_mm else [])
        self.stops = _Shapes(geometry.stack([guide.shown.stops, board]), "S")


def _drawing(canvas: Canvas, guide: Guide, tile: Tile, drawn: _Drawn) -> None:
    canvas.setLineJoin(1)
    for tone, shapes in zip(guide.tones, drawn.zones, strict=True):
        canvas.setFillGray(tone)
        canvas.addLiteral(shapes.within(tile))
    canvas.setStrokeGray(HATCH_TONE)
    canvas.setLineWidth(OUTLINE_MM)
    canvas.addLiteral(drawn.cuts.within(tile))
    _kept(canvas, drawn.kept.within(tile))
    canvas.setStrokeGray(FREE_TONE)
    _lines(canvas, guide.free_hatch)
    canvas.setStrokeGray(HATCH_TONE)
    canvas.setLineWidth(0.25)
    _lines(canvas, guide.hatch)
    canvas.addLiteral(drawn.cut_outs.within(tile))
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    _lines(canvas, guide.zones.thin)
    canvas.setLineWidth(HEAVY_MM)
    canvas.addLiteral(drawn.stands.within(tile))
    canvas.setLineWidth(0.3)
    canvas.rect(0, 0, guide.shown.width_mm, guide.shown.height_mm)
    canvas.addLiteral(drawn.register.within(tile))
    canvas.addLiteral(drawn.stops.within(tile))
    if guide.arrow is not None:
        _lines(canvas, guide.arrow)
    _marks(canvas, guide)
    canvas.saveState()
    canvas.translate(*guide.word_at)
    canvas.scale(-1 if guide.mirrored else 1, 1)
    canvas.setFont(_FONT, WORD_MM / 0.73)
    canvas.drawString(0, 0, TEST_WORD)
    canvas.restoreState()


def _kept(canvas: Canvas, outlines: str) -> None:
    canvas.saveState()
    canvas.setDash([1.2, 0.8])
    canvas.addLiteral(outlines)
    canvas.restoreState()


def _marks(canvas: Canvas, guide: Guide) -> None:
    """Numbered rings; light under dark, so that they stand out on grey and on white."""
    for mark in guide.marks:
        for tone, width in ((1.0, 0.9), (0.0, 0.35)):
            canvas.setStrokeGray(tone)
            canvas.setLineWidth(width)
            canvas.setDash([] if mark.breaks or tone else [1.0, 0.7])
            canvas.circle(*mark.at, mark.radius)
    canvas.setDash([])
    for mark in guide.marks:
        left, bottom, width, height = mark.box
        canvas.setFillGray(1)
        canvas.rect(left, bottom, width, height, stroke=0, fill=1)
        canvas.setFillGray(0)
        canvas.setFont(_FONT, LABEL_MM)
        canvas.drawString(left + 0.4, bottom + 0.55, mark.label)


def _lines(canvas: Canvas, lines: Floats) -> None:
    if len(lines):
        canvas.lines(lines.tolist())


def _joins(canvas: Canvas, sheets: Plan) -> None:
    """Ringed crosses, on both sheets at the same place."""
    canvas.setLineWidth(0.15)
    for x, y in sheets.joins:
        canvas.setStrokeGray(0)
        canvas.circle(x, y, 1.8)
        canvas.lines([(x - 3.5, y, x + 3.5, y), (x, y - 3.5, x, y + 3.5)])


def _heading(canvas: Canvas, guide: Guide, sheets: Plan, tile: Tile) -> None:
    width, height = sheets.page
    reads = "mirrored" if guide.mirrored else "as the print reads"
    text = (
        f"{guide.shown.name}: row {tile.row} of {sheets.rows}, column {tile.column} of {sheets.columns}; "
        f"{guide.transfer.value}, {reads}; grey = cut away, darkest first"
    )
    _say(canvas, [text], x=UNPRINTED_MM, y=height - UNPRINTED_MM - 4, width=width - 2 * UNPRINTED_MM, lines=1)


def _foot(canvas: Canvas, sheets: Plan, number: int | None) -> None:
    """The check bar, and the map of the sheets with this one dark."""
    width = sheets.page[0]
    x, y = UNPRINTED_MM, UNPRINTED_MM + 9
    canvas.setFillGray(0)
    canvas.rect(x * _PT, y * _PT, BAR_MM * _PT, 2 * _PT, stroke=0, fill=1)
    _say(canvas, [MEASURE_ME], x=x, y=y - 4.5, width=BAR_MM)
    cell = min(_MAP_MM[0] / sheets.columns, _MAP_MM[1] / sheets.rows, 8.0)
    left = width - UNPRINTED_MM - cell * sheets.columns
    canvas.setStrokeGray(0)
    canvas.setLineWidth(0.3)
    for k, tile in enumerate(sheets.tiles, start=1):
        corner = (left + (tile.column - 1) * cell, UNPRINTED_MM + (sheets.rows - tile.row) * cell)
        canvas.setFillGray(0.25 if k == number else 1)
        canvas.rect(corner[0] * _PT, corner[1] * _PT, cell * _PT, cell * _PT, stroke=1, fill=1)
    which = f"sheet {number} of {len(sheets.tiles)}" if number else _sheets(sheets)
    _say(canvas, [which], x=left - 28, y=UNPRINTED_MM, width=27)


def _words_page(canvas: Canvas, guide: Guide, sheets: Plan) -> None:
    width, height = sheets.page
    room = width - 2 * UNPRINTED_MM - 5  # beside the upright bar
    y = _say(canvas, [guide.title], x=UNPRINTED_MM, y=height - UNPRINTED_MM - 6, width=room, size=5.5)
    joins = (
        [f"{_sheets(sheets)}: lay each ringed cross exactly over its like on the next sheet, and tape."]
        if len(sheets.tiles) > 1
        else []
    )
    steps = [f"{number}. {step}" for number, step in enumerate(guide.steps, start=1)]
    parts = {
        "How it comes onto the block": [guide.laid, *guide.facts],
        "What the drawing shows": [*guide.legend, *joins],
        "Which tool where": guide.tools,
        "In which order": steps,
        "Rings and numbers": guide.findings,
    }
    low = UNPRINTED_MM + FOOT_MM
    body = next((size for size in _BODY_MM if y - _height_mm(parts, room, size) > low + _BESIDE_MM), _BODY_MM[-1])
    for heading, words in parts.items():
        if words:
            y = _say(canvas, [heading], x=UNPRINTED_MM, y=y - 3, width=room, size=_HEADING * body)
            y = _say(canvas, words, x=UNPRINTED_MM, y=y - 0.5, width=room, size=body)
    canvas.setFillGray(0)
    canvas.rect((width - UNPRINTED_MM - 2) * _PT, low * _PT, 2 * _PT, BAR_MM * _PT, stroke=0, fill=1)
    _say(canvas, ["and this way too: 100 mm"], x=width - UNPRINTED_MM - 56, y=low + 1, width=54)
    _foot(canvas, sheets, None)
    canvas.showPage()


def _height_mm(parts: Mapping[str, Sequence[str]], width: float, size: float) -> float:
    """How far down the words of a page reach, as `_say` sets them."""
    found = 0.0
    for heading, words in parts.items():
        for text, letters in ((heading, _HEADING * size), *((text, size) for text in words)) if words else ():
            lines = len(simpleSplit(text, _FONT, letters * _PT, width * _PT))
            found += letters * (1.4 * lines + 0.25)
        found += 3.5 if words else 0.0
    return found


def _sheets(sheets: Plan) -> str:
    return "1 sheet" if len(sheets.tiles) == 1 else f"{len(sheets.tiles)} sheets"


def _say(
    canvas: Canvas,
    words: Sequence[str],
    *,
    x: float,
    y: float,
    width: float,
    size: float = 3.6,
    lines: int = 99,
) -> float:
    """Lines of words from base line `y` downwards; mm; returns the next free base line."""
    canvas.setFillGray(0)
    canvas.setFont(_FONT, size * _PT)
    for text in words:
        for line in simpleSplit(text, _FONT, size * _PT, width * _PT)[:lines]:
            canvas.drawString(x * _PT, y * _PT, line)
            y -= size * 1.4
        y -= size * 0.25
    return y
