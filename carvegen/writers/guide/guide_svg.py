"""The hand guide as one SVG sheet at 1:1."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.collector import collector_at_rest
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
    BORDERS_MM,
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


@collector_at_rest()
def guide_svg(guide: Guide) -> str:
    """The guide on one sheet, its words under the block."""
    entries = list(_entries(guide))
    sheet = around(guide.shown, max(guide.shown.width_mm, 150.0), [entry.words for entry in entries])
    page = SvgPage(sheet.bounds, title=guide.title, about=guide.laid)
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
            picture = sample(entry.shows, guide.tones)
            x, y = line.at[0] - SAMPLE_MM[0] - 1.5, line.at[1]
            name = "TICK" if entry.shows == "tick" else "SAMPLE"
            group = page.group(f"{name} {number}", entry.shows, fill="none")
            for left, bottom, right, top, tone in picture.boxes:
                at = page.at(x + left, y + top)
                group.add(page.drawing.rect(at, (right - left, top - bottom), fill=_grey(tone), stroke="none"))
            for lines in picture.lines:
                dash = {"stroke_dasharray": "1.2,0.8"} if lines.broken else {}
                own = page.drawing.g(stroke=_grey(lines.tone), stroke_width=lines.width_mm, **dash)
                _lines(page, group.add(own), lines.ends + np.array([x, y, x, y]))


def _picture(page: SvgPage, guide: Guide) -> None:
    zones, shown = guide.zones, guide.shown
    line = {"stroke": _grey(HATCH_TONE), "stroke_width": OUTLINE_MM, "stroke_linejoin": "round"}
    _cut_before(page, guide)
    _zones(page, guide, line)
    if len(shown.kept):
        look: dict[str, Any] = {"fill": "none", "stroke_dasharray": "1.2,0.8", **line}
        page.group("KEPT", "artwork that is kept clear", shapes=shown.kept, **look)
    if len(shown.free):
        free: dict[str, Any] = {"fill": "none", "stroke": _grey(FREE_TONE), "stroke_width": OUTLINE_MM}
        page.layer(LAYERS[FREE_FRINGE], shapes=shown.free, lines=guide.free_hatch, **free)
    through: dict[str, Any] = {"fill": "none", "fill_rule": "evenodd", **line, "stroke_width": THROUGH_MM}
    page.layer(LAYERS[CUT_OUT], shapes=shown.cut_outs, lines=guide.hatch, **through)
    page.layer(LAYERS[REGISTER], shapes=guide.register, fill=_INK, stroke="none")
    frame: dict[str, Any] = {"fill": "none", "stroke": _INK, "stroke_width": 0.3}
    page.polygon(page.layer(LAYERS[BLOCK_EDGE], **frame), shown.face)
    if len(shown.stops):
        page.layer(LAYERS[REGISTER_STOP], shapes=shown.stops, **frame)
        page.polygon(page.layer(LAYERS[BOARD_EDGE], **frame), shown.board)
    if len(zones.stands):
        heavy: dict[str, Any] = {"fill": "none", "stroke": _INK, "stroke_width": HEAVY_MM}
        page.group("STANDS", "small land: leave it", shapes=zones.stands, **heavy)
    if len(zones.thin):
        page.group("THIN", "thin land: slope its wall", lines=zones.thin, stroke=_INK, stroke_width=0.25)
    if guide.arrow is not None:
        page.group("GRAIN", "which way the grain runs", lines=guide.arrow, stroke=_INK, stroke_width=0.3)
    _marks(page, guide)
    _numbers(page, guide)


def _cut_before(page: SvgPage, guide: Guide) -> None:
    if not len(guide.shown.cut_before):
        return
    names, fill = ("CUT BEFORE", "cut already: nothing to do"), _grey(BEFORE_TONE)
    page.group(*names, shapes=guide.shown.cut_before, fill=fill, stroke="none", fill_rule="evenodd")
    thin: dict[str, Any] = {"stroke": _grey(FREE_TONE), "stroke_width": OUTLINE_MM}
    page.group(*names, name="CUT-BEFORE-LINES", lines=guide.before_lines, **thin)


def _zones(page: SvgPage, guide: Guide, line: Mapping[str, Any]) -> None:
    zones = guide.zones
    narrow: dict[str, Any] = {"fill": _grey(guide.tones[0]), "fill_rule": "evenodd", **line}
    page.group("ZONE 1", _FIRST, shapes=zones.narrow, **narrow)
    parts = (zones.corners, zones.edges, zones.floors)
    for tone, (name, words), shapes in zip(guide.tones, _PARTS, parts, strict=True):
        page.group(name, words, shapes=shapes, fill=_grey(tone), stroke="none", fill_rule="evenodd")
    if guide.pale:
        pale: dict[str, Any] = {"fill": "none", **line, "stroke": _grey(FREE_TONE)}
        page.group("FLOORS", "where the floors begin", shapes=zones.floors, **pale)
    page.group("CUT OUTLINES", "the edge of the land", shapes=zones.parted, fill="none", **line)
    if len(guide.borders):
        thin: dict[str, Any] = {"stroke": _grey(HATCH_TONE), "stroke_width": BORDERS_MM}
        page.group("ZONE BORDERS", "where zones meet", lines=guide.borders, **thin)


_FIRST = "fine cuts: first"
_PARTS = (("ZONE 1 CORNERS", _FIRST), ("ZONE 2", "along the land: then"), ("ZONE 3", "floors: last"))


def _marks(page: SvgPage, guide: Guide) -> None:
    if not guide.marks:
        return
    group = page.layer(LAYERS[FINDING], font_family="sans-serif")
    for mark in guide.marks:
        _lines(page, group.add(page.drawing.g(stroke=_INK, stroke_width=mark.line_mm)), mark.lines)
        left, bottom, width, _ = mark.box
        style = {"insert": page.at(left + width / 2, bottom + 0.65), "font_size": LETTERS_MM, "text_anchor": "middle"}
        group.add(page.drawing.text(mark.label, **style, fill=_INK))


def _numbers(page: SvgPage, guide: Guide) -> None:
    if not guide.labels:
        return
    labels = page.group("NUMBERS", "to be found again", fill=_INK, font_family="sans-serif",
                        text_anchor="middle", font_size=LETTERS_MM)  # fmt: skip
    for label in guide.labels:
        labels.add(page.drawing.text(label.text, insert=page.at(label.at[0], label.at[1] - 0.36 * LETTERS_MM)))


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
