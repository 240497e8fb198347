"""PNG: what the whole print will look like, one block alone, and the blocks' lands over one another."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen import geometry
from carvegen.base.colour import Ink, overprinted, screen
from carvegen.geometry.coverage import coverage
from carvegen.writers.whole_print.embossed_relief import brightness, heights
from carvegen.writers.whole_print.graphite import paper_tooth, rubbed

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Rgb
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.writers.whole_print.embossed_relief import Pressed

__all__ = ["Coat", "Window", "print_png", "rubbing_png", "turned_png"]

_PX_PER_MM = 10.0
_MOST_PIXELS = 12_000_000  #: a larger print is shown more coarsely
_BAND = 256  #: rows that are coloured at once, for memory's sake
_RUBBED_PAPER = (252, 251, 248)  #: of a rubbing
_GRAPHITE: tuple[int, int, int] = (58, 58, 62)
_GRAPHITE_OPACITY = 0.9
_INK_IN_GRAPHITE = 0.4  #: so much of a block's own ink colours its rubbing


@dataclass(frozen=True, kw_only=True, eq=False)
class Coat:
    """What one block prints."""

    ink: Ink
    land: BaseGeometry
    number: int = 0  #: of the block in printing order; 0: as it comes among the coats


Window = tuple[float, float, float, float]  # left, bottom, right, top in mm


def print_png(
    paper: Rgb, coats: Sequence[Coat], window: Window, *, pressed: Sequence[Pressed] = (),
    px_per_mm: float = _PX_PER_MM,
) -> bytes:  # fmt: skip
    """The blocks printed over one another in the order given (`colour.overprinted`), print view, at true size.

    Parameters
    ----------
    window
        The piece of the face that the paper shows.
    pressed
        Shapes pressed into the paper, shown as relief: light from the upper left.
    """
    scale = _scale(window, px_per_mm)
    shares = [_share(geometry.parts(coat.land), window, scale) for coat in coats]
    light = None
    if pressed:
        light = brightness(heights(pressed, window[:2], scale, _size(window, scale)), scale)
    return _png(paper, [coat.ink for coat in coats], shares, window, scale, light=light)


def turned_png(data: bytes) -> bytes:
    """A picture in print view as the block lies: mirrored."""
    with Image.open(io.BytesIO(data)) as picture:
        out = io.BytesIO()
        turned = picture.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
        turned.save(out, "PNG", dpi=picture.info["dpi"])
    return out.getvalue()


def rubbing_png(coats: Sequence[Coat], window: Window, *, px_per_mm: float = _PX_PER_MM) -> bytes:
    """The lands of all blocks as one sheet shows them that was rubbed with graphite over block after block.

    The graphite takes a little of each block's ink, so that one sees whose land it is; where two inks overlap, by
    intent (trap) or not, it lies twice and is darker. The paper's tooth is the same in every rubbing.
    """
    scale = _scale(window, px_per_mm)
    columns, rows = _size(window, scale)
    tooth = paper_tooth((rows, columns), scale)
    inks, shares = [], []
    for coat in coats:
        land = _share(geometry.parts(coat.land), window, scale)
        inks.append(Ink(colour=_of_graphite(coat.ink.colour), opacity=_GRAPHITE_OPACITY))
        shares.append(rubbed(land, tooth, scale))
    return _png(_RUBBED_PAPER, inks, shares, window, scale)


def _of_graphite(colour: Rgb) -> Rgb:
    mixed = zip(_GRAPHITE, colour, strict=True)
    red, green, blue = (round((1 - _INK_IN_GRAPHITE) * grey + _INK_IN_GRAPHITE * own) for grey, own in mixed)
    return red, green, blue


def _scale(window: Window, wanted: float) -> float:
    left, bottom, right, top = window
    return min(wanted, math.sqrt(_MOST_PIXELS / ((right - left) * (top - bottom))))


def _share(shapes: PolygonArray, window: Window, scale: float) -> Floats:
    """How much of each pixel the shapes cover; (rows, columns)."""
    size = _size(window, scale)
    if len(shapes) == 0:
        return np.zeros(size[::-1])
    there = geometry.moved(shapes, (-window[0] * scale, -window[1] * scale), scale=scale)
    return coverage(there, size)


def _size(window: Window, scale: float) -> tuple[int, int]:
    return round((window[2] - window[0]) * scale), round((window[3] - window[1]) * scale)


def _png(
    paper: Rgb, inks: Sequence[Ink], shares: Sequence[Floats], window: Window, scale: float, *,
    light: Floats | None = None,
) -> bytes:  # fmt: skip
    columns, rows = _size(window, scale)
    picture = np.empty((rows, columns, 3), dtype=np.uint8)
    for first in range(0, rows, _BAND):
        band = slice(first, first + _BAND)
        seen = overprinted(paper, [(ink, share[band]) for ink, share in zip(inks, shares, strict=True)])
        picture[band] = np.round(screen(seen if light is None else seen * light[band, :, None]))
    out = io.BytesIO()
    Image.fromarray(picture).save(out, "PNG", dpi=(scale * 25.4, scale * 25.4))
    return out.getvalue()
