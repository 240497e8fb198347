"""PNG: the proof picture with the findings ringed and numbered."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from PIL import ImageDraw, ImageFont

from carvegen.blocks.layer_names import FINDING, LAYERS
from carvegen.blocks.views import View, seen
from carvegen.writers.block import ring_places as ringed
from carvegen.writers.block.block_png import proof_picture
from carvegen.writers.formats.png_bytes import png_bytes

if TYPE_CHECKING:
    from carvegen.base.findings import Report
    from carvegen.blocks.block import Block

__all__ = ["findings_png"]

_PX = 25_000_000  #: pixels at most
_MOST_RINGS = 200


def findings_png(block: Block, report: Report, *, px_per_mm: float = 10.0, most: int = _MOST_RINGS) -> bytes:
    """What `block` prints, print view, with up to `most` findings ringed as in the SVG proof.

    A large block is shown with fewer pixels per mm than asked.
    """
    scale = min(px_per_mm, math.sqrt(_PX / (block.width_mm * block.height_mm)))
    picture = proof_picture(block, scale).convert("RGB")
    pen, shown = ImageDraw.Draw(picture), seen(block, View.PRINT)
    marks = ringed.marks(report, shown, most=most)
    for mark in marks:
        _ring(pen, mark, scale, picture.height)
    for mark in marks:
        _label(pen, mark, scale, picture.size)
    return png_bytes(picture, px_per_mm=scale)


def _ring(pen: ImageDraw.ImageDraw, mark: ringed.FindingRing, scale: float, height: int) -> None:
    """Light under dark, so that it stands out on ink and on paper; a risk has a thinner ring."""
    x, y = mark.at[0] * scale, height - mark.at[1] * scale
    radius = mark.radius * scale
    for colour, width in (("#ffffff", 0.9), (LAYERS[FINDING].colour, 0.4 if mark.breaks else 0.2)):
        half = radius + width * scale / 2
        pen.ellipse((x - half, y - half, x + half, y + half), outline=colour, width=max(1, round(width * scale)))


def _label(pen: ImageDraw.ImageDraw, mark: ringed.FindingRing, scale: float, size: tuple[int, int]) -> None:
    """The number beside its ring, or as near to it as the picture's edge allows."""
    left, bottom, width, tall = (side * scale for side in mark.box)
    left, bottom = min(max(left, 0), size[0] - width), min(max(bottom, 0), size[1] - tall)
    pen.rectangle((left, size[1] - bottom - tall, left + width, size[1] - bottom), fill="#ffffff")
    font = ImageFont.load_default(size=max(6.0, ringed.LABEL_MM * scale * 0.8))
    pen.text((left + width / 2, size[1] - bottom - tall / 2), mark.label, fill="#201a16", font=font, anchor="mm")
