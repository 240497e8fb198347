"""The hand guide as one SVG sheet at 1:1."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.writers.guide import (
    HATCH_TONE,
    MEASURE_ME,
    OUTLINE_MM,
    TEST_WORD,
    TONE,
    WORD_MM,
    hand_guide,
    transfer_named,
)
from carvegen.writers.layers import BLOCK_EDGE, CUT_AREA, CUT_OUT, LAYERS, NOTES, REGISTER
from carvegen.writers.sheet import around
from carvegen.writers.svg_page import SvgPage

if TYPE_CHECKING:
    from typing import Any

    from carvegen.geometry import Floats
    from carvegen.job import Job
    from carvegen.writers.guide import Guide

__all__ = ["guide_svg"]

_INK = "#1d1d1b"


def guide_svg(job: Job, transfer: str) -> str:
    """The guide on one sheet, its words under the block.

    Parameters
    ----------
    transfer
        "carbon", "glued" (both mirrored) or "face-down" (as the print reads).

    Raises
    ------
    InputError
        If the transfer is unknown.
    """
    guide = hand_guide(job, transfer_named(transfer))
    steps = [f"{number}. {step}" for number, step in enumerate(guide.steps, start=1)]
    words = [f"{guide.title}; {MEASURE_ME}.", guide.transfer.words, *guide.facts, *guide.legend, *steps]
    sheet = around(guide.shown, max(guide.shown.width_mm, 150.0), words)
    page = SvgPage(
        left=sheet.left,
        bottom=sheet.bottom,
        right=sheet.right,
        top=sheet.top,
        title=guide.title,
        about=guide.transfer.words,
    )
    _picture(page, guide)
    notes = page.group(NOTES, NOTES, LAYERS[NOTES].asks, fill=_INK, stroke="none", font_family="sans-serif")
    page.polygon(notes, sheet.bar)
    for line in sheet.lines:
        page.words(notes, line)
    _test_word(page, notes, guide)
    return page.to_text()


def _picture(page: SvgPage, guide: Guide) -> None:
    line = {"stroke": _grey(HATCH_TONE), "stroke_width": OUTLINE_MM, "stroke_linejoin": "round"}
    _group(page, CUT_AREA, fill=_grey(TONE), fill_rule="evenodd", **line)
    hatched = _group(page, CUT_OUT, fill="none", fill_rule="evenodd", **{**line, "stroke_width": 0.25})
    _lines(page, hatched, guide.hatch)
    _group(page, REGISTER, fill=_INK, stroke="none")
    edge = _group(page, BLOCK_EDGE, fill="none", stroke=_INK, stroke_width=0.3)
    page.polygon(edge, guide.shown.face)
    for name, shapes in ((CUT_AREA, guide.shown.cuts), (CUT_OUT, guide.shown.cut_outs), (REGISTER, guide.register)):
        page.shapes(LAYERS[name].xml_name, shapes)
    if guide.arrow is not None:
        arrow = page.group("GRAIN", "GRAIN", "which way the grain runs", stroke=_INK, stroke_width=0.3)
        _lines(page, arrow, guide.arrow)


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
