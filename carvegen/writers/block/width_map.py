"""Land-width map: the land near other walls, coloured by its local width, as PNG and SVG."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageColor, ImageDraw

from carvegen.blocks.layer_names import LAYERS, NOTES
from carvegen.blocks.views import View, seen
from carvegen.geometry.widths import local_widths
from carvegen.writers.block.block_png import INK, proof_picture
from carvegen.writers.formats.png_bytes import SMALL, png_bytes
from carvegen.writers.formats.svg_page import SvgPage
from carvegen.writers.sheet import around

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, Indices

__all__ = ["LandWidths", "land_widths", "width_key", "width_layer_png", "width_map_png", "width_map_svg"]

#: Widths in shares of the minimum, and their colours: they differ in lightness as well as in hue.
_CLASSES = (
    (1.0, "#8c1c2f", "below the minimum"),
    (1.25, "#d68a2e", "up to a quarter more"),
    (1.5, "#ecd08a", "up to a half more"),
    (2.0, "#8fb8b4", "up to twice the minimum"),
)
_PX = 25_000_000  #: pixels at most
_LAYER_PX = 2_200_000  #: pixels of a layer at most
_MOST_DISCS = 60_000  #: in an SVG


@dataclass(frozen=True, kw_only=True, eq=False)
class LandWidths:
    """Inner discs of the land and the class of each, the widest first; print view, mm."""

    least_mm: float  #: the minimum that the classes go by
    centre: Floats
    radius: Floats
    group: Indices


def land_widths(block: Block, least_mm: float) -> LandWidths:
    """The land of a block up to twice `least_mm` wide, measured once for all pictures of it."""
    discs = local_widths(block.land_rings, _CLASSES[-1][0] * least_mm)
    order = np.argsort(-discs.width, kind="stable")
    width = discs.width[order]
    group = np.searchsorted([share * least_mm for share, _, _ in _CLASSES[:-1]], width, side="right")
    return LandWidths(least_mm=least_mm, centre=discs.centre[order], radius=width / 2, group=group)


def width_map_png(block: Block, widths: LandWidths, *, px_per_mm: float = 10.0) -> bytes:
    """The proof with all land up to twice the minimum wide coloured by its width, in print view."""
    scale = min(px_per_mm, math.sqrt(_PX / (block.width_mm * block.height_mm)))
    picture = proof_picture(block, scale).convert("RGB")
    _paint_discs(picture, widths, scale, [colour for _, colour, _ in _CLASSES])
    return png_bytes(picture, px_per_mm=scale)


def width_layer_png(block: Block, widths: LandWidths, *, px_per_mm: float) -> bytes:
    """The colours of `width_map_png` alone, clear elsewhere: a layer to lie over a picture of the block."""
    scale = min(px_per_mm, math.sqrt(_LAYER_PX / (block.width_mm * block.height_mm)))
    picture = Image.new("P", (max(1, round(block.width_mm * scale)), max(1, round(block.height_mm * scale))), 0)
    rgb = [ImageColor.getrgb(colour) for _, colour, _ in _CLASSES]
    picture.putpalette([*rgb[0], *(part for colour in rgb for part in colour)])
    _paint_discs(picture, widths, scale, range(1, len(_CLASSES) + 1))
    return png_bytes(picture, level=SMALL, bits=4, optimize=True, transparency=0)


def width_key(least_mm: float) -> dict[str, str]:
    """What each colour of the map means, in millimetres."""
    return {colour: f"{words} ({share * least_mm:.2f} mm)" for share, colour, words in _CLASSES}


def _paint_discs(picture: Image.Image, discs: LandWidths, scale: float, fills: Sequence[str] | range) -> None:
    pen = ImageDraw.Draw(picture)
    boxes = np.column_stack([discs.centre, discs.centre]) * scale
    boxes[:, [1, 3]] = picture.height - boxes[:, [1, 3]]
    boxes += (discs.radius * scale)[:, None] * [-1, -1, 1, 1]
    for box, group in zip(boxes.tolist(), discs.group.tolist(), strict=True):
        pen.ellipse(box, fill=fills[group])


def width_map_svg(block: Block, widths: LandWidths) -> str:
    """The same as drawing at true size, with a legend."""
    shown = seen(block, View.PRINT)
    words = [
        f"{shown.name}: {shown.view.words}",
        "Local width of the land. " + "; ".join(width_key(widths.least_mm).values()) + ".",
    ]
    sheet = around(shown, max(shown.width_mm, 120.0), words)
    about = f"{shown.view.words} Millimetres, 1:1. Not for a machine."
    page = SvgPage(sheet.bounds, title=f"{shown.name}, land width", about=about)
    ink = "#{:02x}{:02x}{:02x}".format(*INK)
    page.polygon(page.group("LAND", "what is left standing", fill=ink, stroke="none"), shown.face)
    for name, shapes in (("CUT-AREA", shown.cuts), ("CUT-OUT", shown.cut_outs)):
        page.group(name, "does not print", shapes=shapes, fill="#fbfaf6", stroke="none", fill_rule="evenodd")
    _draw_discs(page, widths)
    page.notes(LAYERS[NOTES], sheet)
    return page.to_text()


def _draw_discs(page: SvgPage, discs: LandWidths) -> None:
    step = max(1, math.ceil(len(discs.radius) / _MOST_DISCS))
    for k, (_, colour, words) in reversed(list(enumerate(_CLASSES))):
        group = page.group(f"WIDTH {k + 1}", words, fill=colour, stroke="none")
        mine = np.flatnonzero(discs.group == k)[::step]
        for (x, y), radius in zip(discs.centre[mine].tolist(), discs.radius[mine].tolist(), strict=True):
            group.add(page.drawing.circle(page.at(x, y), round(radius, 3)))
