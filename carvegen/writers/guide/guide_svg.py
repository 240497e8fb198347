"""The hand guide as one SVG sheet at 1:1."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen.blocks.layer_names import (
    BLOCK_EDGE,
    BOARD_EDGE,
    CUT_OUT,
    FINDING,
    FREE_FRINGE,
    LAYERS,
    NOTES,
    REGISTER,
    REGISTER_STOP,
)
from carvegen.writers.formats.svg_page import SvgPage
from carvegen.writers.guide.guide_marks import LETTERS_MM
from carvegen.writers.guide.guide_samples import (
    BEFORE_TONE,
    CORNERS_MM,
    FREE_TONE,
    HATCH_TONE,
    HEAVY_MM,
    OUTLINE_MM,
    SAMPLE_MM,
    THROUGH_MM,
    Entry,
    sample,
)
from carvegen.writers.guide.hand_guide import TEST_WORD, WORD_MM
from carvegen.writers.sheet import MEASURE_ME, around

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from typing import Any

    from carvegen.geometry import Floats
    from carvegen.writers.guide.hand_guide import Guide
    from carvegen.writers.sheet import Sheet

__all__ = ["guide_svg"]

_INK = "#1d1d1b"


def guide_svg(guide: Guide) -> str:
    """The guide on one sheet, its words under the block."""
    entries = list(_entries(guide))
    sheet = around(guide.shown, max(guide.shown.width_mm, 150.0), [its.words for its in entries])
    page = SvgPage(
        left=sheet.left,
        bottom=sheet.bottom,
        right=sheet.right,
        top=sheet.top,
        title=guide.title,
        about=guide.laid,
    )
    _picture(page, guide)
    notes = page.notes(replace(LAYERS[NOTES], colour=_INK), sheet)
    _test_word(page, notes, guide)
    _samples(page, guide, entries, sheet)
    return page.to_text()


def _entries(guide: Guide) -> Iterator[Entry]:
    """Everything to be read, a paragraph each."""
    yield Entry(words=f"{guide.title}; {MEASURE_ME}.")
    for name, entries in guide.parts():
        yield Entry(words=name.upper())
        yield from entries
    for table in guide.tables:
        yield Entry(words=table.heading.upper())
        yield from (Entry(words=text) for text in table.words)
        for k, row in enumerate(table.rows):
            box = "tick" if table.ticked and k > 0 else ""
            yield Entry(words=f"{row[0]}: {', '.join(filter(None, row[1:]))}", shows=box)


def _samples(page: SvgPage, guide: Guide, entries: Sequence[Entry], sheet: Sheet) -> None:
    """Before the first line of each paragraph that speaks of something drawn; in the margin."""
    firsts = [line for line in sheet.lines[1:] if not line.text.startswith(" ")]
    for number, (entry, line) in enumerate(zip(entries, firsts, strict=True), start=1):
        if entry.shows:
            its = sample(entry.shows, guide.tones)
            x, y = line.at[0] - SAMPLE_MM[0] - 1.5, line.at[1]
            name = f"TICK-{number}" if entry.shows == "tick" else f"SAMPLE-{number}"
            group = page.group(name, name.replace("-", " "), entry.shows, fill="none")
            for left, bottom, right, top, tone in its.boxes:
                at = page.at(x + left, y + top)
                group.add(page.drawing.rect(at, (right - left, top - bottom), fill=_grey(tone), stroke="none"))
            for lines in its.lines:
                dash = {"stroke_dasharray": "1.2,0.8"} if lines.broken else {}
                own = page.drawing.g(stroke=_grey(lines.tone), stroke_width=lines.width_mm, **dash)
                _lines(page, group.add(own), lines.ends + np.array([x, y, x, y]))


def _picture(page: SvgPage, guide: Guide) -> None:
    zones, shown = guide.zones, guide.shown
    line = {"stroke": _grey(HATCH_TONE), "stroke_width": OUTLINE_MM, "stroke_linejoin": "round"}
    if len(shown.cut_before):
        name, words = "CUT BEFORE", "cut already: nothing to do"
        page.group("CUT-BEFORE", name, words, fill=_grey(BEFORE_TONE), stroke="none", fill_rule="evenodd")
        page.shapes("CUT-BEFORE", shown.cut_before)
        page.group("CUT-BEFORE-LINES", name, words, stroke=_grey(FREE_TONE), stroke_width=OUTLINE_MM)
        page.lines("CUT-BEFORE-LINES", guide.before_lines)
    _zones(page, guide, line)
    if len(shown.kept):
        page.group("KEPT", "KEPT", "artwork that is kept clear", fill="none", stroke_dasharray="1.2,0.8", **line)
        page.shapes("KEPT", shown.kept)
    if len(shown.free):
        _group(page, FREE_FRINGE, fill="none", stroke=_grey(FREE_TONE), stroke_width=OUTLINE_MM)
        page.shapes(LAYERS[FREE_FRINGE].xml_name, shown.free)
        page.lines(LAYERS[FREE_FRINGE].xml_name, guide.free_hatch)
    _group(page, CUT_OUT, fill="none", fill_rule="evenodd", **{**line, "stroke_width": THROUGH_MM})
    _group(page, REGISTER, fill=_INK, stroke="none")
    edge = _group(page, BLOCK_EDGE, fill="none", stroke=_INK, stroke_width=0.3)
    page.polygon(edge, shown.face)
    if len(shown.stops):
        _group(page, REGISTER_STOP, fill="none", stroke=_INK, stroke_width=0.3)
        page.shapes(LAYERS[REGISTER_STOP].xml_name, shown.stops)
        board = _group(page, BOARD_EDGE, fill="none", stroke=_INK, stroke_width=0.3)
        page.polygon(board, shown.board)
    for name, shapes in ((CUT_OUT, shown.cut_outs), (REGISTER, guide.register)):
        page.shapes(LAYERS[name].xml_name, shapes)
    page.lines(LAYERS[CUT_OUT].xml_name, guide.hatch)
    if len(zones.stands):
        page.group("STANDS", "STANDS", "small land: leave it", fill="none", stroke=_INK, stroke_width=HEAVY_MM)
        page.shapes("STANDS", zones.stands)
    if len(zones.thin):
        page.group("THIN", "THIN", "thin land: slope its wall", stroke=_INK, stroke_width=0.25)
        page.lines("THIN", zones.thin)
    if guide.arrow is not None:
        page.group("GRAIN", "GRAIN", "which way the grain runs", stroke=_INK, stroke_width=0.3)
        page.lines("GRAIN", guide.arrow)
    _marks(page, guide)
    if guide.labels:
        labels = page.group("NUMBERS", "NUMBERS", "to be found again", fill=_INK, font_family="sans-serif",
                            text_anchor="middle", font_size=LETTERS_MM)  # fmt: skip
        for label in guide.labels:
            labels.add(page.drawing.text(label.text, insert=page.at(label.at[0], label.at[1] - 0.36 * LETTERS_MM)))


def _zones(page: SvgPage, guide: Guide, line: Mapping[str, Any]) -> None:
    zones = guide.zones
    page.group("ZONE-1", "ZONE 1", _FIRST, fill=_grey(guide.tones[0]), fill_rule="evenodd", **line)
    page.shapes("ZONE-1", zones.narrow)
    parts = (zones.corners, zones.edges, zones.floors)
    for tone, (name, words), shapes in zip(guide.tones, _PARTS, parts, strict=True):
        page.group(name, name.replace("-", " "), words, fill=_grey(tone), stroke="none", fill_rule="evenodd")
        page.shapes(name, shapes)
    if guide.pale:
        page.group("FLOORS", "FLOORS", "where the floors begin", fill="none", **{**line, "stroke": _grey(FREE_TONE)})
        page.shapes("FLOORS", zones.floors)
    page.group("CUT-OUTLINES", "CUT OUTLINES", "the edge of the land", fill="none", **line)
    page.shapes("CUT-OUTLINES", zones.parted)
    if len(guide.corners):
        page.group(
            "ZONE-CORNERS", "ZONE CORNERS", "where zones meet", stroke=_grey(HATCH_TONE), stroke_width=CORNERS_MM
        )
        page.lines("ZONE-CORNERS", guide.corners)


_FIRST = "fine cuts: first"
_PARTS = (("ZONE-1-CORNERS", _FIRST), ("ZONE-2", "along the land: then"), ("ZONE-3", "floors: last"))


def _marks(page: SvgPage, guide: Guide) -> None:
    if not guide.marks:
        return
    group = _group(page, FINDING, font_family="sans-serif")
    for mark in guide.marks:
        _lines(page, group.add(page.drawing.g(stroke=_INK, stroke_width=mark.line_mm)), mark.lines)
        left, bottom, width, _ = mark.box
        style = {"insert": page.at(left + width / 2, bottom + 0.65), "font_size": LETTERS_MM, "text_anchor": "middle"}
        group.add(page.drawing.text(mark.label, **style, fill=_INK))


def _group(page: SvgPage, name: str, **style: Any) -> Any:  # noqa: ANN401
    return page.group(LAYERS[name].xml_name, name, LAYERS[name].asks, **style)


def _lines(page: SvgPage, group: Any, lines: Floats) -> None:  # noqa: ANN401
    for x, y, to_x, to_y in lines.tolist():
        group.add(page.drawing.line(page.at(x, y), page.at(to_x, to_y)))


def _test_word(page: SvgPage, group: Any, guide: Guide) -> None:  # noqa: ANN401
    x, y = page.at(*guide.word_at)
    word = page.drawing.text(TEST_WORD, insert=(0, 0), font_size=WORD_MM / 0.72, font_weight="bold")
    word.translate(x, y)
    if guide.mirrored:
        word.scale(-1, 1)
    group.add(word)


def _grey(tone: float) -> str:
    return f"#{round(tone * 255):02x}" + f"{round(tone * 255):02x}" * 2
