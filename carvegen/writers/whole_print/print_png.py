"""PNG: what the whole print will look like, one block alone, and the blocks' lands over one another."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from scipy import ndimage

from carvegen import geometry
from carvegen.base.colour import Ink, overprinted, screen
from carvegen.base.streams import stream
from carvegen.geometry.coverage import coverage
from carvegen.writers.formats.png_bytes import FASTEST, SMALL, png_bytes
from carvegen.writers.whole_print.embossed_relief import brightness, heights

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Rgb
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.writers.whole_print.embossed_relief import PressedFace

__all__ = ["Coat", "Window", "paper_tooth", "print_png", "rubbed", "rubbing_png", "turned_png"]

# What follows was found by looking at rubbings of our own; our own choice.
_TILE = 768  #: pixels of noise, which go on seamlessly
_GRAIN_MM = 0.09  #: size of the paper's grain
_CLOUD_MM = 1.2  #: over which the pressure of the hand changes
_STROKE_MM = (0.12, 2.5)  #: width and length of the pencil's strokes
_SLANT = 0.7  #: of the strokes: across by so much for each step down
_TAKES = 0.8  #: of the grains take graphite on level land
_SOFT = 0.55  #: over how much of the tooth's range a grain goes from bare to full
_RIM_MM = 0.3  #: from the edge of the land inwards, where the sheet bends over it and takes more
_RIM = 0.3  #: so much more
_LEAST = 0.3  #: of full graphite lies on land between the grains
_AT_ONCE = 16  #: rows, so that they stay in the processor's cache
_SMUDGE = 0.06  #: graphite that the flat of the lead leaves where nothing stands


def paper_tooth(shape: tuple[int, int], px_per_mm: float) -> NDArray[np.float32]:
    """How high the paper's fibres stand towards the pencil; (rows, columns), evenly spread over 0…1.

    Noise of three kinds: grain, the strokes of the pencil, and the pressure of the hand; the same for the same size.
    """
    grain, strokes, cloud = _noises(px_per_mm)
    column = np.arange(shape[1])
    slanted, column = (_SLANT * column).astype(int), column % _TILE
    plain, clouds, strokes = (0.75 * grain).take(column, axis=1), (0.3 * cloud).take(column, axis=1), 0.5 * strokes
    result = np.empty(shape, dtype=np.float32)
    for first in range(0, shape[0], _AT_ONCE):
        row = np.arange(first, min(first + _AT_ONCE, shape[0]))
        mixed = plain.take(row % _TILE, axis=0)
        mixed += strokes.take((row[:, None] + slanted) % _TILE * _TILE + column)
        mixed += clouds.take(row % _TILE, axis=0)
        result[row] = 0.5 + 0.5 * np.tanh(0.8 * mixed)
    return result


@cache
def _noises(px_per_mm: float) -> tuple[Floats, ...]:
    """Tiles of the three kinds of noise, as alike for every print as its paper is; not to be changed."""
    rng = stream(0, "rubbing", "tooth")
    tile = rng.standard_normal((3, _TILE, _TILE), dtype=np.float32)
    sizes = ((_GRAIN_MM, _GRAIN_MM), _STROKE_MM, (_CLOUD_MM, _CLOUD_MM))
    return tuple(
        _even(ndimage.gaussian_filter(noise, [px_per_mm * mm for mm in size], mode="wrap"))
        for noise, size in zip(tile, sizes, strict=True)
    )


def rubbed(land: Floats, tooth: Floats | NDArray[np.float32], px_per_mm: float) -> Floats:
    """How much graphite lies on the paper over a land.

    Parameters
    ----------
    land
        How much of each pixel stands, 0…1; (rows, columns).
    tooth
        As `paper_tooth` gives it, of the same shape.
    """
    inside = ndimage.gaussian_filter(land, _RIM_MM * px_per_mm, mode="nearest")
    result = np.empty_like(inside)
    for first in range(0, len(land), _AT_ONCE):
        band = slice(first, first + _AT_ONCE)
        result[band] = _graphite(land[band], inside[band], tooth[band])
    return result


def _graphite(land: Floats, inside: Floats, tooth: Floats | NDArray[np.float32]) -> Floats:
    """The same for some rows; `inside`: how much stands round each pixel."""
    rim = np.clip(2 * (1 - inside), 0, 1) * land
    takes = _TAKES + _RIM * rim
    grains = _LEAST + (1 - _LEAST) * np.clip((tooth - (1 - takes)) / _SOFT, 0, 1)
    return np.asarray(land * grains + (1 - land) * _SMUDGE * np.clip((tooth - 0.8) / _SOFT, 0, 1))


def _even(noise: Floats) -> Floats:
    spread = float(noise.std())
    return np.asarray(noise / spread if spread else noise)


_PX_PER_MM = 10.0
_MOST_PIXELS = 12_000_000  #: a larger print is shown more coarsely
_BAND = 256  #: rows that are coloured at once, for memory's sake
_MOST_KINDS = 12  #: inks of which the colours of all overprints are put into a table
_CRUMB = 1e-9  #: of a pixel: what rounding leaves of it
_RUBBED_PAPER = (252, 251, 248)  #: of a rubbing
_GRAPHITE: tuple[int, int, int] = (58, 58, 62)
_GRAPHITE_OPACITY = 0.9
_INK_IN_GRAPHITE = 0.4  #: so much of a block's own ink colours its rubbing


Window = tuple[float, float, float, float]  # left, bottom, right, top in mm


@dataclass(frozen=True, kw_only=True, eq=False)
class Coat:
    """What one block prints."""

    ink: Ink
    land: BaseGeometry
    number: int = 0  #: of the block in printing order; 0: as it comes among the coats
    _shares: dict[tuple[Window, float], Floats] = field(default_factory=dict, init=False, repr=False)

    def share(self, window: Window, scale: float) -> Floats:
        """How much of each pixel its land covers, computed once for several pictures; (rows, columns)."""
        if (window, scale) not in self._shares:
            self._shares[window, scale] = _share(geometry.parts(self.land), window, scale)
        return self._shares[window, scale]


def print_png(
    paper: Rgb, coats: Sequence[Coat], window: Window, *, pressed: Sequence[PressedFace] = (),
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
    shares = [coat.share(window, scale) for coat in coats]
    light = None
    if pressed:
        light = brightness(heights(pressed, window[:2], scale, _size(window, scale)), scale)
    return _png(paper, [coat.ink for coat in coats], shares, window, scale, light=light)


def turned_png(data: bytes) -> bytes:
    """A picture in print view as the block lies: mirrored."""
    with Image.open(io.BytesIO(data)) as picture:
        turned = picture.transpose(Image.Transpose.FLIP_LEFT_RIGHT)
        return png_bytes(turned, flat=True, px_per_mm=picture.info["dpi"][0] / 25.4)


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
        inks.append(Ink(colour=_of_graphite(coat.ink.colour), opacity=_GRAPHITE_OPACITY))
        shares.append(rubbed(coat.share(window, scale), tooth, scale))
    return _png(_RUBBED_PAPER, inks, shares, window, scale, noise=True)


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
    light: Floats | None = None, noise: bool = False,
) -> bytes:  # fmt: skip
    columns, rows = _size(window, scale)
    picture = np.empty((rows, columns, 3), dtype=np.uint8)
    plain = light is None and not noise and len(inks) <= _MOST_KINDS
    step = _AT_ONCE if noise else _BAND
    for first in range(0, rows, step):
        band = slice(first, first + step)
        some = [share[band] for share in shares]
        if plain:
            picture[band] = _mostly_plain(paper, inks, some)
        else:
            seen = overprinted(paper, list(zip(inks, some, strict=True)))
            picture[band] = _shown(seen if light is None else seen * light[band, :, None])
    level = FASTEST if noise else SMALL
    return png_bytes(Image.fromarray(picture), px_per_mm=scale, level=level, flat=not noise and light is None)


def _mostly_plain(paper: Rgb, inks: Sequence[Ink], shares: Sequence[Floats]) -> NDArray[np.uint8]:
    """Colours of pixels, (rows, columns, 3): those that no outline crosses have one of a few."""
    kind = np.zeros(shares[0].shape if shares else (1, 1), dtype=np.uint16)
    crossed = np.zeros(kind.shape, dtype=bool)
    for k, share in enumerate(shares):
        kind |= (share > 0.5).astype(np.uint16) << k
        crossed |= (share > _CRUMB) & (share < 1 - _CRUMB)
    met = np.zeros(1 << len(shares), dtype=bool)
    met[kind] = True
    there = np.flatnonzero(met)
    plain = [(there >> k & 1).astype(np.float64) for k in range(len(inks))]
    table = np.zeros((len(met), 3), dtype=np.uint8)
    table[there] = _shown(overprinted(paper, list(zip(inks, plain, strict=True))))
    colours = table.take(kind, axis=0, mode="clip")  # none is beyond: without a look at that it is quicker
    colours[crossed] = _shown(
        overprinted(paper, [(ink, share[crossed]) for ink, share in zip(inks, shares, strict=True)])
    )
    return colours


def _shown(light: Floats) -> NDArray[np.uint8]:
    return np.round(screen(light)).astype(np.uint8)
