"""SVG: the machine file in block view and the proof in print view, at true size."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.blocks.layer_names import (
    BLOCK_EDGE,
    BOARD_EDGE,
    CUT_AREA,
    CUT_OUT,
    FINDING,
    FREE_FRINGE,
    KEEP_CLEAR,
    LAYERS,
    NOTES,
    REGISTER,
    REGISTER_STOP,
    palette,
)
from carvegen.blocks.views import View, seen
from carvegen.writers.block import ring_places as ringed
from carvegen.writers.sheet import (
    around,
    layers_of,
    machine_sheet,
    margin_mm,
    new_cuts_words,
)
from carvegen.writers.svg_page import HAIRLINE_MM, SvgPage

if TYPE_CHECKING:
    from carvegen.base.findings import Report
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.blocks.layer_names import Layer
    from carvegen.writers.sheet import Sheet

__all__ = ["machine_svg", "proof_svg"]

#: How a printed proof shows ink and paper.
INK, KEPT, PAPER = "#2b3a4e", "#46566c", "#fbfaf6"

_TONES = "Dark prints, light is bare paper; the slightly lighter dark is artwork kept clear."


def machine_svg(job: Job) -> str:
    """The block as a machine is to work it: block view, mm, layers as named groups.

    Cut areas are filled closed shapes, for they are lowered by area; cut-outs and the block's edge are thin
    closed outlines. The words are all in the colour of NOTES: a swatch in a layer's own colour would be cut
    in a shop that tells layers by colour. Of a block that is cut already it holds what is new alone: whoever runs
    every layer cuts nothing twice.
    """
    shown, layers = seen(job, View.BLOCK), palette(job.machine.layer_colours)
    sheet = machine_sheet(
        job,
        shown,
        layers,
        more=[
            f"The block's upper left corner (BLOCK EDGE) lies {margin_mm(shown):g} mm from the left edge and "
            f"{margin_mm(shown):g} mm below the upper edge of this page."
        ],
    )
    about = " ".join((shown.view.words, *new_cuts_words(shown), "Millimetres, 1:1."))
    page = _page(sheet, f"{shown.name}, {shown.view.value} view", about)
    _layer(page, layers[CUT_AREA], fill=layers[CUT_AREA].colour, stroke="none", fill_rule="evenodd")
    _outline_layer(page, layers[CUT_OUT])
    if len(shown.free):
        _outline_layer(page, layers[FREE_FRINGE])
        page.shapes(layers[FREE_FRINGE].xml_name, shown.free)
    _layer(page, layers[REGISTER], fill=layers[REGISTER].colour, stroke="none", fill_rule="evenodd")
    _outline_layer(page, layers[BLOCK_EDGE])
    for name, shapes in ((REGISTER_STOP, shown.stops), (BOARD_EDGE, geometry.polygon_array([shown.board]))):
        if name in layers_of(shown):
            _outline_layer(page, layers[name])
            page.shapes(layers[name].xml_name, shapes)
    for name, shapes in (
        (CUT_AREA, shown.lowered),
        (CUT_OUT, shown.cut_outs),
        (REGISTER, sheet.register),
        (BLOCK_EDGE, geometry.polygon_array([shown.face])),
    ):
        page.shapes(layers[name].xml_name, shapes)
    _notes(page, sheet, layers[NOTES])
    return page.to_text()


def proof_svg(block: Block, report: Report, *, most: int | None = None) -> str:
    """A picture of what the block prints, in print view, with up to `most` findings ringed and numbered.

    Without `most`, as many as can be told apart on the face; how many more there are is said.
    """
    shown = seen(block, View.PRINT)
    most = ringed.readable(shown) if most is None else most
    width = max(shown.width_mm, 120.0)
    sheet = around(shown, width, [f"{shown.name}: {shown.view.words}", _TONES, *ringed.summary(report, most=most)])
    page = _page(sheet, f"{shown.name}, proof", f"{View.PRINT.words} Millimetres, 1:1. Not for a machine.")
    land = page.group("LAND", "LAND", "what is left standing: prints", fill=INK, stroke="none")
    page.polygon(land, shown.face)
    _layer(page, LAYERS[KEEP_CLEAR], fill=KEPT, stroke="none", fill_rule="evenodd")
    _layer(page, LAYERS[CUT_AREA], fill=PAPER, stroke="none", fill_rule="evenodd")
    _layer(
        page,
        LAYERS[CUT_OUT],
        fill=PAPER,
        stroke=LAYERS[CUT_OUT].colour,
        stroke_width=0.2,
        fill_rule="evenodd",
    )
    for name, shapes in ((KEEP_CLEAR, shown.kept), (CUT_AREA, shown.cuts), (CUT_OUT, shown.cut_outs)):
        page.shapes(LAYERS[name].xml_name, shapes)
    _rings(page, ringed.marks(report, shown, most=most))
    _notes(page, sheet, LAYERS[NOTES])
    return page.to_text()


def _page(sheet: Sheet, title: str, about: str) -> SvgPage:
    return SvgPage(left=sheet.left, bottom=sheet.bottom, right=sheet.right, top=sheet.top, title=title, about=about)


def _layer(page: SvgPage, layer: Layer, **style: object) -> None:
    page.group(layer.xml_name, layer.name, layer.asks, **style)


def _outline_layer(page: SvgPage, layer: Layer) -> None:
    _layer(page, layer, fill="none", stroke=layer.colour, stroke_width=HAIRLINE_MM, fill_rule="evenodd")


def _notes(page: SvgPage, sheet: Sheet, layer: Layer) -> None:
    notes = page.group(
        layer.xml_name, layer.name, layer.asks, fill=layer.colour, stroke="none", font_family="sans-serif"
    )
    page.polygon(notes, sheet.bar)
    for line in sheet.lines:
        page.words(notes, line)


def _rings(page: SvgPage, found: list[ringed.Mark]) -> None:
    """Each ring twice, light under dark, so that it stands out on ink and on paper and needs no colour."""
    layer = LAYERS[FINDING]
    group = page.group(layer.xml_name, layer.name, layer.asks, font_family="sans-serif")
    for mark in found:
        dash = {} if mark.breaks else {"stroke_dasharray": "1,0.7"}
        place = {"center": page.at(*mark.at), "r": mark.radius, "fill": "none"}
        group.add(page.drawing.circle(**place, stroke="#ffffff", stroke_width=0.9))
        group.add(page.drawing.circle(**place, stroke=layer.colour, stroke_width=0.4, **dash))
    for mark in found:
        left, bottom, width, height = mark.box
        group.add(page.drawing.rect(page.at(left, bottom + height), (width, height), fill="#ffffff", fill_opacity=0.88))
        group.add(
            page.drawing.text(
                mark.label,
                insert=page.at(left + 0.4, bottom + 0.55),
                font_size=ringed.LABEL_MM,
                fill="#201a16",
            )
        )
