"""The hand guide as a PDF at 1:1: words first, then the drawing over as many sheets as it needs."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.writers.guide.guide_marks import LETTERS_MM
from carvegen.writers.guide.guide_samples import (
    BEFORE_TONE,
    BORDERS_MM,
    FREE_TONE,
    HATCH_TONE,
    HEAVY_MM,
    OUTLINE_MM,
    SAMPLE_MM,
    THROUGH_MM,
    sample,
)
from carvegen.writers.guide.hand_guide import TEST_WORD, WORD_MM
from carvegen.writers.pdf.pdf_page import (
    JOINING,
    Shapes,
    bytes_of,
    drawing_pages,
    foot,
    line_operators,
    new_canvas,
    sheet_count,
    standing,
    words_pages,
)
from carvegen.writers.pdf.pdf_words import FONT, LEAST_MM, PT, Words, say, split, width_mm
from carvegen.writers.pdf.tiles import FOOT_MM, UNPRINTED_MM, plan

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from reportlab.pdfgen.canvas import Canvas

    from carvegen.geometry import Floats
    from carvegen.writers.guide.guide_samples import Sample
    from carvegen.writers.guide.hand_guide import Guide, Table
    from carvegen.writers.pdf.tiles import Tile, Tiling

__all__ = ["guide_pdf"]

_HEADING = 1.22  #: times the size of the words
_TITLE = 1.53
_SAMPLE_ROOM_MM = SAMPLE_MM[0] + 2.5
_DASH_MM = [1.2, 0.8]

_PAD_MM = 1.2  #: from a line to the letters
_LEAST_ROW_MM = 8.0  #: room for a pencil
_FREE_MM = 20.0  #: width of a cell that is to be filled in, at least
_HEADING_MM = 4.4
_OVER_MM = 24.0  #: for a table's heading and words
_LINE = 1.4  #: from line to line, times the letters' size


@collector_at_rest()
def guide_pdf(guide: Guide, paper: str = "A4") -> bytes:
    """The guide as PDF pages of `paper`, first the words, then what is to be written down, then the drawing.

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
    canvas = new_canvas(sheets, title=guide.title, about=guide.laid)
    with standing(canvas, sheets) as upright:
        words_pages(canvas, upright, list(_words(guide, sheets)))
        _tables_pages(canvas, upright, guide.tables)
    drawn = _Drawn(guide)
    draw = partial(_drawing, canvas, guide, drawn)
    drawing_pages(canvas, sheets, draw, name=guide.shown.name, rest=guide.gist)
    return bytes_of(canvas)


def _words(guide: Guide, sheets: Tiling) -> Iterator[Words]:
    """Everything to be read, with samples of what is drawn."""
    joining = [f"{sheet_count(sheets)}. {JOINING}"] if len(sheets.tiles) > 1 else []
    yield Words(text=guide.title, scale=_TITLE)
    for name, entries in guide.parts(joining):
        yield Words(text=name, scale=_HEADING, before_mm=3.0, keeps=True)
        room = _SAMPLE_ROOM_MM if any(entry.shows for entry in entries) else 0.0
        for entry in entries:
            beside = partial(_draw, sample(entry.shows, guide.tones)) if entry.shows else None
            yield Words(text=entry.words, indent_mm=room, beside=beside)


def _draw(picture: Sample, canvas: Canvas) -> None:
    for left, bottom, right, top, tone in picture.boxes:
        canvas.setFillGray(tone)
        canvas.rect(left, bottom, right - left, top - bottom, stroke=0, fill=1)
    for lines in picture.lines:
        canvas.setStrokeGray(lines.tone)
        canvas.setLineWidth(lines.width_mm)
        canvas.setDash(_DASH_MM if lines.broken else [])
        _lines(canvas, lines.ends)


class _Drawn:
    """The shapes of a guide, made ready once for all sheets."""

    def __init__(self, guide: Guide) -> None:
        zones = guide.zones
        self.narrow = Shapes(zones.narrow, "B*")  # filled and outlined at once: they are nearly all of a file
        self.zones = [Shapes(shapes, "f*") for shapes in (zones.corners, zones.edges, zones.floors)]
        self.free = Shapes(guide.shown.free, "S")
        self.before = Shapes(guide.shown.cut_before, "f*")
        self.floors = Shapes(zones.floors if guide.pale else geometry.empty(), "S")
        self.cuts, self.cut_outs = Shapes(zones.parted, "S"), Shapes(guide.shown.cut_outs, "S")
        self.stands, self.kept = Shapes(zones.stands, "S"), Shapes(guide.shown.kept, "S")
        self.register = Shapes(guide.register, "f*")
        board = geometry.polygon_array([guide.shown.board] if guide.shown.waste_mm else [])
        self.stops = Shapes(geometry.stack([guide.shown.stops, board]), "S")
        self.thin, self.hatch = line_operators(zones.thin), line_operators(guide.hatch)
        self.borders = line_operators(guide.borders)
        self.before_lines, self.free_hatch = line_operators(guide.before_lines), line_operators(guide.free_hatch)


def _drawing(canvas: Canvas, guide: Guide, drawn: _Drawn, tile: Tile) -> None:
    canvas.setLineJoin(1)
    _tones(canvas, guide, drawn, tile)
    _grey_lines(canvas, drawn, tile)
    _black_lines(canvas, guide, drawn, tile)
    _marks(canvas, guide, tile)
    _labels(canvas, guide, tile)
    _test_word(canvas, guide, tile)


def _tones(canvas: Canvas, guide: Guide, drawn: _Drawn, tile: Tile) -> None:
    """What is cut, in its tones, with the edge of the land."""
    canvas.setFillGray(BEFORE_TONE)
    canvas.addLiteral(drawn.before.within(tile))
    for tone, shapes in zip(guide.tones, drawn.zones, strict=True):
        canvas.setFillGray(tone)
        canvas.addLiteral(shapes.within(tile))
    canvas.setLineWidth(OUTLINE_MM)
    if guide.pale:
        canvas.setStrokeGray(FREE_TONE)
        canvas.addLiteral(drawn.floors.within(tile))
    canvas.setStrokeGray(HATCH_TONE)
    canvas.setFillGray(guide.tones[0])
    canvas.addLiteral(drawn.narrow.within(tile))
    canvas.addLiteral(drawn.cuts.within(tile))


def _grey_lines(canvas: Canvas, drawn: _Drawn, tile: Tile) -> None:
    """What is kept clear, free or cut already, where zones meet, and what is cut through."""
    _kept(canvas, drawn.kept.within(tile))
    canvas.setStrokeGray(FREE_TONE)
    canvas.addLiteral(drawn.before_lines)
    canvas.addLiteral(drawn.free_hatch)
    canvas.addLiteral(drawn.free.within(tile))
    canvas.setStrokeGray(HATCH_TONE)
    canvas.setLineWidth(BORDERS_MM)
    canvas.addLiteral(drawn.borders)
    canvas.setLineWidth(THROUGH_MM)
    canvas.addLiteral(drawn.hatch)
    canvas.addLiteral(drawn.cut_outs.within(tile))


def _black_lines(canvas: Canvas, guide: Guide, drawn: _Drawn, tile: Tile) -> None:
    """Small lands, the block's edge, register and the grain."""
    canvas.setStrokeGray(0)
    canvas.setFillGray(0)
    canvas.addLiteral(drawn.thin)
    canvas.setLineWidth(HEAVY_MM)
    canvas.addLiteral(drawn.stands.within(tile))
    canvas.setLineWidth(0.3)
    canvas.rect(0, 0, guide.shown.width_mm, guide.shown.height_mm)
    canvas.addLiteral(drawn.register.within(tile))
    canvas.addLiteral(drawn.stops.within(tile))
    if guide.arrow is not None:
        _lines(canvas, guide.arrow)


def _test_word(canvas: Canvas, guide: Guide, tile: Tile) -> None:
    letters, facing = WORD_MM / 0.73, -1 if guide.mirrored else 1
    x, y = guide.word_at
    reach = x + facing * width_mm(TEST_WORD, letters)
    if _on(tile, min(x, reach), y, max(x, reach), y + WORD_MM):
        canvas.saveState()
        canvas.translate(x, y)
        canvas.scale(facing, 1)
        canvas.setFont(FONT, letters)
        canvas.drawString(0, 0, TEST_WORD)
        canvas.restoreState()


def _on(tile: Tile, left: float, bottom: float, right: float, top: float) -> bool:
    """Whether a box reaches into a tile: words that don't would still be found there by whoever searches the page."""
    return left < tile.right and right > tile.left and bottom < tile.top and top > tile.bottom


def _kept(canvas: Canvas, outlines: str) -> None:
    canvas.saveState()
    canvas.setDash(_DASH_MM)
    canvas.addLiteral(outlines)
    canvas.restoreState()


def _marks(canvas: Canvas, guide: Guide, tile: Tile) -> None:
    """Numbered rings, on land and in the margin only."""
    canvas.setStrokeGray(0)
    for mark in guide.marks:
        canvas.setLineWidth(mark.line_mm)
        _lines(canvas, mark.lines)
    for mark in guide.marks:
        left, bottom, width, height = mark.box
        if _on(tile, left, bottom, left + width, bottom + height):
            at = (left + (width - width_mm(mark.label, LETTERS_MM)) / 2, bottom + 0.65)
            canvas.setFillGray(0)
            canvas.setFont(FONT, LETTERS_MM)
            canvas.drawString(*at, mark.label)


def _labels(canvas: Canvas, guide: Guide, tile: Tile) -> None:
    canvas.setFillGray(0)
    canvas.setFont(FONT, LETTERS_MM)
    for label in guide.labels:
        x, y = label.at
        if _on(tile, x - LETTERS_MM, y - LETTERS_MM, x + LETTERS_MM, y + LETTERS_MM):
            canvas.drawCentredString(x, y - 0.36 * LETTERS_MM, label.text)


def _lines(canvas: Canvas, lines: Floats) -> None:
    if len(lines):
        canvas.lines(lines.tolist())


def _tables_pages(canvas: Canvas, sheets: Tiling, tables: Sequence[Table]) -> None:
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


def _next(canvas: Canvas, sheets: Tiling) -> float:
    """Ends the page; the first base line of the next one."""
    foot(canvas, sheets, None)
    canvas.showPage()
    return sheets.page[1] - UNPRINTED_MM - 6


def _columns(rows: Sequence[Sequence[str]], width: float) -> list[float]:
    """Each as wide as its longest word asks; what is left goes to those with the longest texts."""
    cells = list(zip(*rows, strict=True))
    least = [max(_word(text) for text in column) + 2 * _PAD_MM for column in cells]
    least = [max(low, _FREE_MM) if "" in column else low for low, column in zip(least, cells, strict=True)]
    whole = [max(width_mm(text, LEAST_MM) for text in column) + 2 * _PAD_MM for column in cells]
    wish = [max(0.0, high - low) for high, low in zip(whole, least, strict=True)]
    left = max(0.0, width - sum(least))
    share = min(1.0, left / sum(wish)) if sum(wish) else 0.0
    return [low + share * more for low, more in zip(least, wish, strict=True)]


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
