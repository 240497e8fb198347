"""Templates at 1:1, SVG and PDF: for a print's boards and its sheets, and of what of a block is still to cut."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.blocks.layer_names import (
    BLOCK_EDGE,
    BOARD_EDGE,
    CUT_AREA,
    LAYERS,
    NOTES,
    REGISTER,
    REGISTER_STOP,
)
from carvegen.blocks.register_marks import (
    edge_stop_mm,
    name_mark,
    register_for,
    sheet_of,
)
from carvegen.blocks.views import View
from carvegen.toolpaths.register_lines import register_places
from carvegen.writers.formats.svg_page import SvgPage
from carvegen.writers.pdf.pdf_page import (
    JOINING,
    Shapes,
    bytes_of,
    drawing_pages,
    new_canvas,
    standing,
    words_pages,
)
from carvegen.writers.pdf.pdf_words import Words
from carvegen.writers.pdf.tiles import plan as sheets_of
from carvegen.writers.sheet import (
    BAR_MM,
    Sheet,
    TextLine,
    cross,
    wrapped,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.comparison import DifferentPlace
    from carvegen.facts.register import RegisterPlan
    from carvegen.geometry import PolygonArray
    from carvegen.writers.pdf.tiles import Tile

__all__ = [
    "SHEET_EDGE", "TAB", "Part", "Template", "block_template", "carving_sheet", "paper_template", "template_pdf",
    "template_svg",
]  # fmt: skip

SHEET_EDGE = "SHEET EDGE"
TAB = "TAB"

_INK = "#2a2723"
_LINE_MM = 0.25
_OUTER_MM = 6.0  #: free edge of the page round everything
_TEXT_MM = 3.0
_TAB_MM = 16.0  #: width of a tab; it ends short of the picture


@dataclass(frozen=True, kw_only=True, eq=False)
class Part:
    """Outlines of one kind."""

    name: str
    about: str
    shapes: PolygonArray
    filled: bool = False
    broken: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Template:
    """What is drawn and said; mm, in its own view, origin at the picture's lower left corner."""

    title: str
    view: View
    parts: tuple[Part, ...]
    words: tuple[str, ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right, top of all that is drawn."""
        left, bottom, right, top = shapely.total_bounds(geometry.stack(part.shapes for part in self.parts)).tolist()
        return left - 1.0, bottom - 1.0, right + 1.0, top + 1.0


def block_template(name: str, plan: RegisterPlan, size: tuple[float, float]) -> Template:
    """The board as it lies face up, before anything is cut: the same for every block of the print."""
    register = register_for(plan, size, "")
    face = geometry.box(*size)
    board = face.buffer(register.waste_mm, join_style="mitre") if register.waste_mm else face
    parts = [
        Part(name=BOARD_EDGE, about="the board's edge", shapes=_one(board)),
        Part(name=BLOCK_EDGE, about="the picture", shapes=_one(face)),
        Part(name=REGISTER_STOP, about="stops or pin holes", shapes=register.stops),
        _crosses(size),
    ]
    words = [
        f"{name}: template of the boards, block view: as a board lies face up, mirrored. Do not mirror it again.",
        "Lay it face up on each board and prick through; the arrow points to the left.",
        f"Picture {size[0]:g} x {size[1]:g} mm; waste round it {register.waste_mm:g} mm, alike on every board.",
        *register.words,
        *_stops_apart(plan, size),
        "A fresh proof of the first block, pressed face down on the next board, lies right by itself: mirror nothing.",
        "Cut all boards from one plank or sheet, the grain the same way, and let them lie in one room.",
    ]
    mirrored = tuple(_mirrored(part, size[0]) for part in parts if len(part.shapes))
    return Template(title=f"{name}: boards", view=View.BLOCK, parts=mirrored, words=tuple(words))


def paper_template(name: str, plan: RegisterPlan, size: tuple[float, float]) -> Template:
    """The sheet, printed side up: where the picture comes to lie, where stops or pins meet it."""
    register = register_for(plan, size, "")
    sheet = sheet_of(plan, size) if plan.method != "crosses" else geometry.box(*size).buffer(14.0, join_style="mitre")
    parts = [
        Part(name=SHEET_EDGE, about="the sheet's edge", shapes=_one(sheet)),
        Part(name=BLOCK_EDGE, about="the picture", shapes=_one(geometry.box(*size)), broken=True),
        Part(name=REGISTER_STOP, about="where stops or pins are", shapes=register.stops, broken=True),
        Part(name=TAB, about="tabs on the sheet's back", shapes=_tabs(plan, size, register.stops)),
        _crosses(size) if plan.method == "crosses" else _arrow(size),
    ]
    words = [
        f"{name}: template of the sheets, print view: the printed side is up, as the print reads.",
        *_LAID[plan.method],
        "Cut all sheets the same way of the paper's grain. Sides that touch no stop may be longer.",
    ]
    return Template(title=f"{name}: sheets", view=View.PRINT, parts=tuple(part for part in parts if len(part.shapes)),
                    words=tuple(words))  # fmt: skip


def carving_sheet(
    name: str, land: BaseGeometry, spots: Sequence[DifferentPlace], size: tuple[float, float], hidden_mm2: float = 0.0
) -> bytes:
    """What is still to cut filled, what is to stand in outline; block view, to be traced down or laid beside the block.

    Parameters
    ----------
    land
        What is to stand; print view, mm.
    size
        Width and height of the face.
    hidden_mm2
        Of the face what the picture did not show: nothing is said of it.
    """
    left = [spot for spot in spots if spot.kind.stands]
    filled = geometry.polygon_array(spot.shape for spot in left)
    parts = (
        Part(name=BLOCK_EDGE, about="the face", shapes=_one(geometry.box(*size))),
        Part(name="LAND", about="what is to stand", shapes=geometry.parts(land), broken=True),
        Part(name=CUT_AREA, about="still to cut", shapes=filled, filled=True),
    )
    mirrored = tuple(_mirrored(part, size[0]) for part in parts if len(part.shapes))
    area = sum(spot.shape.area for spot in left)
    places = f"{len(left)} place" + "s" * (len(left) != 1)
    words = (
        f"{name}: still to cut, block view: as the block lies face up, mirrored. Do not mirror it again.",
        f"Black is to be cut away: {places}, {area:.1f} mm². Broken lines: the edge of what is to stand.",
        *(f"{hidden_mm2:.0f} mm² could not be seen in the picture and may be uncut: look at them on the block.",)
        * (hidden_mm2 >= 1),
        "By a scan or photograph of a proof or of the block: look at the block before each cut. "
        "Cut away from your hand, the block against a stop.",
    )
    return template_pdf(Template(title=f"{name}: still to cut", view=View.BLOCK, parts=mirrored, words=words))


_LAID = {
    "crosses": ("Print the crosses with the first block, or draw them; each block's crosses go over them.",),
    "stops": (
        "To print, turn the sheet over: printed side down, its marked corner in the corner stop first, then its long "
        "side against the edge stop. The corner and that side must be cut clean and square; mark them on the back.",
    ),
    "pins": (
        "Fix two tabs to the back, on the side of the pins: one with a round hole, one with a slot along the sheet, "
        "so that the sheet can grow. To print, turn the sheet over, printed side down, and set the tabs on the pins.",
    ),
}


def _stops_apart(plan: RegisterPlan, size: tuple[float, float]) -> list[str]:
    if plan.method != "stops":
        return []
    apart = edge_stop_mm(plan, max(size)) + plan.paper_margin_mm
    play = plan.method_facts.play_mm
    far = play * (size[0] ** 2 + size[1] ** 2) ** 0.5 / apart
    return [f"The stops are {apart:g} mm apart: {play:g} mm of play at one moves the far corner {far:.2f} mm."]


def _one(shape: BaseGeometry) -> PolygonArray:
    return geometry.polygon_array([shape])


def _crosses(size: tuple[float, float]) -> Part:
    crosses = geometry.polygon_array(cross(x, y) for x, y in register_places(*size))
    shapes = geometry.stack([geometry.snapped(crosses), name_mark(size, "")])
    return Part(name=REGISTER, about="crosses, and an arrow", shapes=shapes, filled=True)


def _arrow(size: tuple[float, float]) -> Part:
    return Part(name=REGISTER, about="an arrow", shapes=name_mark(size, ""), filled=True)


def _tabs(plan: RegisterPlan, size: tuple[float, float], pins: PolygonArray) -> PolygonArray:
    if plan.method != "pins":
        return geometry.empty()
    tabs = []
    for left, bottom, right, top in shapely.bounds(pins).tolist():
        if size[0] >= size[1]:
            x = (left + right) / 2
            tabs.append(shapely.box(x - _TAB_MM / 2, bottom - 3.0, x + _TAB_MM / 2, -2.0))
        else:
            y = (bottom + top) / 2
            tabs.append(shapely.box(left - 3.0, y - _TAB_MM / 2, -2.0, y + _TAB_MM / 2))
    return geometry.polygon_array(tabs)


def _mirrored(part: Part, width: float) -> Part:
    return replace(part, shapes=geometry.mirrored(part.shapes, width))


def template_svg(template: Template) -> str:
    """The template on one sheet, its words and a check bar below."""
    sheet = _sheet(template)
    page = SvgPage(sheet.bounds, title=template.title, about=template.view.words)
    for part in template.parts:
        look: dict[str, Any] = {"fill": _INK, "stroke": "none"} if part.filled else {"fill": "none", "stroke": _INK}
        dash = {"stroke_dasharray": "2,1.2"} if part.broken else {}
        style: dict[str, Any] = {"stroke_width": _LINE_MM, "fill_rule": "evenodd", **look, **dash}
        page.group(part.name, part.about, shapes=part.shapes, **style)
    page.notes(replace(LAYERS[NOTES], colour=_INK, asks="to be read and measured"), sheet)
    return page.to_text()


def _sheet(template: Template) -> Sheet:
    left, bottom, right, top = template.bounds
    right = max(right, left + 150.0)
    bar: Polygon = shapely.box(left, bottom - 6.0, left + BAR_MM, bottom - 4.0)
    first = bottom - 12.0
    lines = [TextLine(at=(left + BAR_MM + 2, bottom - 6.0), size_mm=_TEXT_MM, text="100 mm: measure")]
    lines += [
        TextLine(at=(left, round(first - 4.6 * k, 3)), size_mm=_TEXT_MM, text=text)
        for k, text in enumerate(wrapped(template.words, right - left, _TEXT_MM))
    ]
    return Sheet(left=left - _OUTER_MM, right=right + _OUTER_MM, top=top + _OUTER_MM, bottom=lines[-1].at[1] - 6.0,
                 register=geometry.empty(), bar=bar, lines=tuple(lines))  # fmt: skip


def template_pdf(template: Template, paper: str = "A4") -> bytes:
    """The template as pages of `paper`.

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    sheets = sheets_of(template.bounds, paper)
    canvas = new_canvas(sheets, title=template.title, about=template.view.words)
    joined = [JOINING] if len(sheets.tiles) > 1 else []
    with standing(canvas, sheets) as upright:
        words_pages(canvas, upright, [Words(text=text) for text in (*template.words, *joined)])
    drawn = [(part, Shapes(part.shapes, "f*" if part.filled else "S")) for part in template.parts]

    def draw(tile: Tile) -> None:
        canvas.setLineWidth(_LINE_MM)
        for part, shapes in drawn:
            canvas.setDash([2.0, 1.2] if part.broken else [])
            canvas.addLiteral(shapes.within(tile))
        canvas.setDash([])

    drawing_pages(canvas, sheets, draw, name=template.title, rest=f"{template.view.value} view")
    return bytes_of(canvas)
