"""A block as a drawing: the machine files in block view, SVG and DXF, and the proof in print view, at true size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

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
from carvegen.writers.formats.dxf_file import dxf_of
from carvegen.writers.formats.svg_page import SvgPage, svg_of
from carvegen.writers.sheet import (
    Drawing,
    DrawnLayer,
    Sheet,
    TextLine,
    around,
    layers_of,
    machine_sheet,
    margin_mm,
    new_cuts_words,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from carvegen.base.findings import Report
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.blocks.layer_names import FileLayer
    from carvegen.geometry import PolygonArray

__all__ = ["layers_dxf", "machine_dxf", "machine_svg", "proof_svg"]

#: How a printed proof shows ink and paper.
INK, KEPT, PAPER = "#2b3a4e", "#46566c", "#fbfaf6"

_WORDS_MM = 4.0  # height of the words under a page

_TONES = "Dark prints, light is bare paper; the slightly lighter dark is artwork kept clear."


def machine_svg(job: Job) -> str:
    """The block as a machine is to work it: block view, mm, layers as named groups.

    Cut areas are filled closed shapes, for they are lowered by area; cut-outs and the block's edge are thin
    closed outlines. The words are all in the colour of NOTES: a swatch in a layer's own colour would be cut
    in a shop that tells layers by colour. Of a block that is cut already it holds what is new alone: whoever runs
    every layer cuts nothing twice.
    """
    margin = margin_mm(seen(job, View.BLOCK))
    corner = (
        f"The block's upper left corner (BLOCK EDGE) lies {margin:g} mm from the left edge and {margin:g} mm below the "
        "upper edge of this page."
    )
    return svg_of(_machine(job, corner))


def machine_dxf(job: Job, version: str = "R2000") -> str:
    """The same as closed polylines; the block's lower left corner is the origin. No contour is open.

    Raises
    ------
    InputError
        If `version` is not one of `VERSIONS`.
    """
    return dxf_of(_machine(job, "The origin is the block's lower left corner; x to the right, y upwards."), version)


def _machine(job: Job, origin: str) -> Drawing:
    """What a machine is to work; `origin`: where the file's numbers begin, in words."""
    shown, layers = seen(job, View.BLOCK), palette(job.machine.layer_colours)
    sheet = machine_sheet(job, shown, layers, more=[origin])
    shapes = {
        CUT_AREA: shown.lowered,
        CUT_OUT: shown.cut_outs,
        FREE_FRINGE: shown.free,
        REGISTER_STOP: shown.stops,
        REGISTER: sheet.register,
        BLOCK_EDGE: geometry.polygon_array([shown.face]),
        BOARD_EDGE: geometry.polygon_array([shown.board]),
    }
    drawn = (
        DrawnLayer(layer=layers[name], what=shapes[name], filled=name in (CUT_AREA, REGISTER))
        for name in layers_of(shown)
        if name in shapes
    )
    return Drawing(
        title=f"{shown.name}, {shown.view.value} view",
        about=" ".join((shown.view.words, *new_cuts_words(shown), "Millimetres, 1:1.")),
        sheet=sheet, layers=tuple(drawn), notes=layers[NOTES],
    )  # fmt: skip


def layers_dxf(layers: Mapping[FileLayer, PolygonArray], size: tuple[float, float], *, words: str) -> str:
    """Closed polylines on layers, release 2000, in millimetres, on a page of `size` with the origin at its corner.

    The `words` stand under the page, on a layer for notes.
    """
    sheet = Sheet(
        left=0, bottom=0, right=size[0], top=size[1], register=geometry.empty(), bar=geometry.box(*size),
        lines=(TextLine(at=(0.0, -2 * _WORDS_MM), size_mm=_WORDS_MM, text=words),),
    )  # fmt: skip
    drawn = tuple(DrawnLayer(layer=layer, what=shapes) for layer, shapes in layers.items())
    return dxf_of(Drawing(title="", about="", sheet=sheet, layers=drawn, notes=None))


def proof_svg(block: Block, report: Report, *, most: int | None = None) -> str:
    """A picture of what the block prints, in print view, with up to `most` findings ringed and numbered.

    Without `most`, as many as can be told apart on the face; how many more there are is said.
    """
    shown = seen(block, View.PRINT)
    most = ringed.readable(shown) if most is None else most
    width = max(shown.width_mm, 120.0)
    sheet = around(shown, width, [f"{shown.name}: {shown.view.words}", _TONES, *ringed.summary(report, most=most)])
    about = f"{View.PRINT.words} Millimetres, 1:1. Not for a machine."
    page = SvgPage(sheet.bounds, title=f"{shown.name}, proof", about=about)
    page.polygon(page.group("LAND", "what is left standing: prints", fill=INK, stroke="none"), shown.face)
    page.layer(LAYERS[KEEP_CLEAR], shapes=shown.kept, fill=KEPT, stroke="none", fill_rule="evenodd")
    page.layer(LAYERS[CUT_AREA], shapes=shown.cuts, fill=PAPER, stroke="none", fill_rule="evenodd")
    edge: dict[str, Any] = {"stroke": LAYERS[CUT_OUT].colour, "stroke_width": 0.2}
    page.layer(LAYERS[CUT_OUT], shapes=shown.cut_outs, fill=PAPER, fill_rule="evenodd", **edge)
    _rings(page, ringed.marks(report, shown, most=most))
    page.notes(LAYERS[NOTES], sheet)
    return page.to_text()


def _rings(page: SvgPage, marks: list[ringed.FindingRing]) -> None:
    """Each ring twice, light under dark, so that it stands out on ink and on paper and needs no colour."""
    layer = LAYERS[FINDING]
    group = page.layer(layer, font_family="sans-serif")
    for mark in marks:
        dash = {} if mark.breaks else {"stroke_dasharray": "1,0.7"}
        place = {"center": page.at(*mark.at), "r": mark.radius, "fill": "none"}
        group.add(page.drawing.circle(**place, stroke="#ffffff", stroke_width=0.9))
        group.add(page.drawing.circle(**place, stroke=layer.colour, stroke_width=0.4, **dash))
    for mark in marks:
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
