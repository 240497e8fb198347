"""What was understood of a marking sheet: a drawing of marks in SVG, and a picture to look at before it is used."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from carvegen import geometry
from carvegen.base.colour import hex_of, screen
from carvegen.marking.marks import Meaning
from carvegen.marking.pencil.evened import PX_PER_MM
from carvegen.writers.formats.png_bytes import SMALL, png_bytes
from carvegen.writers.formats.svg_page import SvgPage, paths

if TYPE_CHECKING:
    from collections.abc import Mapping

    from carvegen.base.colour import Rgb
    from carvegen.marking.marks import Mark
    from carvegen.marking.pencil.layout import MarkingSheet
    from carvegen.marking.pencil.sheet_reading import SheetsRead

__all__ = ["marks_png", "marks_svg"]

_NONE: Rgb = (128, 128, 128)  #: of a meaning that no pencil has
_FILLED, _LINE_PX = 70, 2
_TEXT_PX, _ROW_PX = 15, 24
_GROUND = (232, 232, 232)  #: where no page was read


def marks_svg(read: SheetsRead, name: str, face: tuple[float, float]) -> str:
    """The marks as a drawing at true size: a group for each meaning, titled with it; opacity is strength.

    Parameters
    ----------
    name
        Of the print.
    face
        Width and height of its blocks' face, mm: the drawing's page. Each area has the key of its mark as its id.
    """
    about = "PRINT VIEW: marks read from a marking sheet. Millimetres, 1:1. Not for a machine."
    page = SvgPage((0.0, 0.0, *face), title=f"{name}: marks", about=about)
    colours = _colours(read)
    for meaning in Meaning:
        marks = [mark for mark in read.marks if mark.meaning is meaning]
        if marks:
            look: dict[str, Any] = {"fill": hex_of(colours[meaning]), "stroke": "none", "fill_rule": "evenodd"}
            page.group(str(meaning), "areas drawn by hand", **look)
            page.spliced(meaning.replace(" ", "-"), "".join(_path(mark, face[1]) for mark in marks))
    return page.to_text()


def _path(mark: Mark, top: float) -> str:
    text = paths(geometry.parts(mark.shape), left=0.0, top=top)
    strength = f' opacity="{mark.strength:g}"' if mark.meaning.graded else ""
    return text.replace("<path ", f'<path id="{mark.key}"{strength} ', 1)


def _colours(read: SheetsRead) -> Mapping[Meaning, Rgb]:
    """The pencil of each meaning as it looks on the first page that has it."""
    pencils = {pencil.meaning: pencil.colour for page in reversed(read.pages) for pencil in page.pencils}
    return {meaning: pencils.get(meaning, _NONE) for meaning in Meaning}


def marks_png(read: SheetsRead, sheet: MarkingSheet) -> bytes:
    """Her photographs straightened and put together, the areas drawn over them, and what each colour means below."""
    left, bottom, right, top = sheet.window
    size = round((right - left) * PX_PER_MM), round((top - bottom) * PX_PER_MM)
    colours = _colours(read)
    meanings = [meaning for meaning in Meaning if any(mark.meaning is meaning for mark in read.marks)]
    canvas = Image.new("RGB", (size[0], size[1] + _ROW_PX * (len(meanings) + 1)), "white")
    canvas.paste(_GROUND, (0, 0, *size))
    for page in read.pages:
        seen = Image.fromarray(np.round(screen(page.seen.astype(np.float64))).astype(np.uint8))
        x, y = page.page.shown[0] - left, top - page.page.shown[3]
        canvas.paste(seen, (round(x * PX_PER_MM), round(y * PX_PER_MM)))
    drawn = ImageDraw.Draw(canvas, "RGBA")
    for mark in read.marks:
        for shape in geometry.parts(mark.shape):
            rings = [[((x - left) * PX_PER_MM, (top - y) * PX_PER_MM) for x, y in ring.coords]
                     for ring in (shape.exterior, *shape.interiors)]  # fmt: skip
            drawn.polygon(rings[0], fill=(*colours[mark.meaning], _FILLED))
            for ring in rings:
                drawn.line(ring, fill=(0, 0, 0, 255), width=_LINE_PX)
    _legend(drawn, read, meanings, colours, size[1])
    return png_bytes(canvas, px_per_mm=PX_PER_MM, level=SMALL)


def _legend(
    drawn: ImageDraw.ImageDraw, read: SheetsRead, meanings: list[Meaning], colours: Mapping[Meaning, Rgb], below: int
) -> None:
    font = ImageFont.load_default(_TEXT_PX)
    drawn.text((6, below + 4), "What was understood: areas are outlined in black.", fill="black", font=font)
    for k, meaning in enumerate(meanings, start=1):
        y = below + k * _ROW_PX
        marks = [mark for mark in read.marks if mark.meaning is meaning]
        area = sum(mark.shape.area for mark in marks)
        strengths = f", strengths {', '.join(f'{mark.strength:g}' for mark in marks)}" if meaning.graded else ""
        drawn.rectangle((6, y + 4, 34, y + 18), fill=colours[meaning], outline="black")
        words = f"{meaning!s}: {len(marks)} area{'s' if len(marks) > 1 else ''}, {area:.0f} sq mm{strengths}"
        drawn.text((42, y + 2), words, fill="black", font=font)
