"""PNG: a photograph under lines that count its pixels, so that corners can be read off."""

from __future__ import annotations

import io
import math
from typing import TYPE_CHECKING

from PIL import ImageDraw, ImageFont

if TYPE_CHECKING:
    from carvegen.artwork.scan.pixels import Picture

__all__ = ["ruled_png"]

_LONG_PX, _LINES = 1600, 20
_LINE, _INK = (35, 122, 130), (20, 18, 16)


def ruled_png(picture: Picture) -> bytes:
    """The picture, smaller, with lines at round numbers of its own pixels, counted from the upper left corner."""
    shrink = min(1.0, _LONG_PX / max(picture.width, picture.height))
    image = picture.image.convert("RGB").resize((round(picture.width * shrink), round(picture.height * shrink)))
    pen, font = ImageDraw.Draw(image), ImageFont.load_default(size=14)
    rough = max(picture.width, picture.height) / _LINES
    tens = 10 ** math.floor(math.log10(rough))
    step = next(tens * by for by in (1, 2, 5, 10) if tens * by >= rough)
    for along, size in ((0, picture.width), (1, picture.height)):
        for value in range(0, size, step):
            at = value * shrink
            pen.line((at, 0, at, image.height) if along == 0 else (0, at, image.width, at), fill=_LINE, width=1)
            where = (at + 2, 2) if along == 0 else (2, at + 2)
            pen.text(where, str(value), fill=_INK, font=font, stroke_width=2, stroke_fill=(255, 255, 255))
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()
