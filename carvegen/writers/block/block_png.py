"""PNG: a picture of what a block prints, at true size, or one piece of it enlarged."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.views import View, seen
from carvegen.geometry.coverage import ring_coverage
from carvegen.writers.formats.png_bytes import png_bytes

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = [
    "INK",
    "PAPER",
    "ROUNDING",
    "ProofRaster",
    "change_png",
    "old_cuts_png",
    "proof_picture",
    "proof_png",
    "proof_raster",
]

Colour: TypeAlias = tuple[int, int, int]
Window: TypeAlias = tuple[float, float, float, float]  # left, bottom, width, height in mm

INK: Colour = (38, 52, 71)  #: a winter sky after dusk
PAPER: Colour = (251, 250, 246)
NOW_CUT: Colour = (214, 138, 46)  #: ochre and teal are told apart by colour-blind eyes too, and are of unlike lightness
NOW_LAND: Colour = (35, 122, 130)

ROUNDING = 1e-9  #: of shares of a pixel: half of it is half however it was computed
_MOST_PIXELS = 60_000_000  # what memory holds: 8 bytes each, and three times over
_KEPT_LIGHTER = 0.16  # how far kept artwork is drawn from ink towards paper
_PALE = 0.45  # how far land that stays is drawn towards paper, in a picture of changes
_OUTLINE_TONE = 0.25  # how far a cut-out's outline is drawn from paper towards ink
_OUTLINE_MM = 0.2
_ROWS = 32  # that are rounded at a time


@dataclass(frozen=True, kw_only=True, eq=False)
class ProofRaster:
    """How much of each pixel of a proof is cut, (rows, columns): computed once for every picture of one size."""

    cuts: Floats
    cut_outs: Floats | None  #: None without any

    @property
    def land(self) -> Mask:
        """The pixels of which land takes the most."""
        gone = self.cuts if self.cut_outs is None else self.cuts + self.cut_outs
        return np.asarray(gone <= 0.5 + ROUNDING)


def proof_raster(block: Block, px_per_mm: float, corner: Window | None = None) -> ProofRaster:
    """The cuts of a block, print view, or of its piece `corner`, as pixels.

    Raises
    ------
    InputError
        If there would be no pixels, or too many for memory.
    """
    shown = seen(block, View.PRINT)
    window = corner or (0.0, 0.0, shown.width_mm, shown.height_mm)
    size = _size(window, px_per_mm)
    return ProofRaster(
        cuts=_shares(shown.cuts, window, px_per_mm, size),
        cut_outs=_shares(shown.cut_outs, window, px_per_mm, size) if len(shown.cut_outs) else None,
    )


def proof_png(
    block: Block, *, px_per_mm: float = 10.0, ink: Colour = INK, corner: Window | None = None,
    raster: ProofRaster | None = None,
) -> bytes:  # fmt: skip
    """What `block` prints, in print view: land in ink, cuts bare paper, kept artwork a little lighter.

    Parameters
    ----------
    px_per_mm
        Pixels in a millimetre of the block; also written into the file, so that it prints at true size.
    ink
        Red, green, blue, 0…255.
    corner
        Left, bottom, width and height in mm of the piece to show; the whole block without it.
    raster
        The cuts of this piece at this size, if they are computed already.

    Raises
    ------
    InputError
        If the picture would have no pixels, or too many for memory.
    """
    return png_bytes(proof_picture(block, px_per_mm, ink, corner, raster), px_per_mm=px_per_mm, flat=True)


def proof_picture(
    block: Block, px_per_mm: float, ink: Colour = INK, corner: Window | None = None, raster: ProofRaster | None = None
) -> Image.Image:
    """The picture of `proof_png`, in colours or by a table of its tones."""
    shown = seen(block, View.PRINT)
    raster = raster or proof_raster(block, px_per_mm, corner)
    edges = geometry.parts(shapely.difference(shown.cut_outs, shapely.buffer(shown.cut_outs, -_OUTLINE_MM)))
    window = corner or (0.0, 0.0, shown.width_mm, shown.height_mm)
    coats = (
        *_coats([(shown.kept, _mixed(ink, PAPER, _KEPT_LIGHTER))], window, px_per_mm),
        *((shares, PAPER) for shares in (raster.cuts, raster.cut_outs) if shares is not None),
        *_coats([(edges, _mixed(PAPER, ink, _OUTLINE_TONE))], window, px_per_mm),
    )
    return _painted(coats, _size(window, px_per_mm), ink)


def change_png(before: Block, after: Block, *, px_per_mm: float = 10.0) -> bytes:
    """Both states of a block of one size: what stays as it was pale, newly cut ochre, newly land teal."""
    old, new = seen(before, View.PRINT), seen(after, View.PRINT)
    whole = shapely.union_all(old.cuts)
    now = shapely.union_all(new.cuts)
    coats = (
        (old.cuts, PAPER),
        (old.cut_outs, PAPER),
        (geometry.parts(shapely.difference(now, whole)), NOW_CUT),
        (geometry.parts(shapely.difference(whole, now)), NOW_LAND),
    )
    window = (0.0, 0.0, old.width_mm, old.height_mm)
    size = _size(window, px_per_mm)
    picture = _painted(_coats(coats, window, px_per_mm), size, _mixed(INK, PAPER, _PALE))
    return png_bytes(picture, px_per_mm=px_per_mm, flat=True)


def old_cuts_png(block: Block, *, px_per_mm: float = 10.0) -> bytes:
    """A block that is cut already as it lies: what was cut bare, what is to be cut now ochre."""
    shown = seen(block, View.BLOCK)
    coats = ((shown.to_cut, NOW_CUT), (shown.cut_outs, NOW_CUT), (shown.cut_before, PAPER))
    window = (0.0, 0.0, shown.width_mm, shown.height_mm)
    size = _size(window, px_per_mm)
    picture = _painted(_coats(coats, window, px_per_mm), size, _mixed(INK, PAPER, _PALE))
    return png_bytes(picture, px_per_mm=px_per_mm, flat=True)


def _coats(
    shapes: Iterable[tuple[PolygonArray, Colour]], window: Window, px_per_mm: float
) -> Iterator[tuple[Floats, Colour]]:
    """What shapes take of each pixel, with their colours; nothing of those that are none."""
    size = _size(window, px_per_mm)
    return ((_shares(polygons, window, px_per_mm, size), colour) for polygons, colour in shapes if len(polygons))


def _painted(coats: Iterable[tuple[Floats, Colour]], size: tuple[int, int], ground: Colour) -> Image.Image:
    """Shares of each pixel in their colours over one another on a ground; of one coat by a table of its tones."""
    masks = [(_of_255(shares), colour) for shares, colour in coats]
    if len(masks) != 1:
        return _laid(masks, size, ground)
    ((mask, colour),) = masks
    picture = Image.fromarray(mask, "P")
    tones = np.arange(256, dtype=np.uint8)[None]
    picture.putpalette(_laid([(tones, colour)], (256, 1), ground).tobytes())
    return picture


def _laid(masks: Iterable[tuple[NDArray[np.uint8], Colour]], size: tuple[int, int], ground: Colour) -> Image.Image:
    """Colours laid on a ground, each by its mask."""
    picture = Image.new("RGB", size, ground)
    for mask, colour in masks:
        picture.paste(colour, mask=Image.fromarray(mask))
    return picture


def _of_255(shares: Floats) -> NDArray[np.uint8]:
    """Shares 0…1 as whole numbers up to 255, some rows at a time, which stay close to the processor."""
    result = np.empty(shares.shape, dtype=np.uint8)
    for first in range(0, len(shares), _ROWS):
        band = slice(first, first + _ROWS)
        result[band] = np.rint(shares[band] * 255)
    return result


def _size(window: Window, px_per_mm: float) -> tuple[int, int]:
    """Columns and rows."""
    size = round(window[2] * px_per_mm), round(window[3] * px_per_mm)
    if not 0 < size[0] * size[1] <= _MOST_PIXELS:
        raise InputError(
            "gives a picture of no size, or too large",
            value=f"{size[0]} x {size[1]}",
            where="px_per_mm",
            hint="choose other pixels per mm or a smaller corner",
        )
    return size


def _shares(shapes: PolygonArray, window: Window, px_per_mm: float, size: tuple[int, int]) -> Floats:
    """How much of each pixel shapes take; (rows, columns)."""
    if not len(shapes):
        return np.zeros(size[::-1])
    left, bottom, _, _ = window
    there = geometry.rings(_meeting(shapes, window))
    corner = np.array([-left * px_per_mm, -bottom * px_per_mm])
    return ring_coverage(replace(there, xy=there.xy * px_per_mm + corner), size)


def _meeting(shapes: PolygonArray, window: Window) -> PolygonArray:
    left, bottom, width, height = window
    return shapes[shapely.intersects(shapes, shapely.box(left, bottom, left + width, bottom + height))]


def _mixed(one: Colour, other: Colour, share: float) -> Colour:
    red, green, blue = (round(a + (b - a) * share) for a, b in zip(one, other, strict=True))
    return red, green, blue
