"""First proofs as pictures: her scan with rings where what was foretold came, and a scan with a ruler."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image, ImageDraw, ImageFont

from carvegen import geometry
from carvegen.geometry.coverage import coverage
from carvegen.writers.block.block_png import NOW_CUT, NOW_LAND
from carvegen.writers.block.ring_places import LABEL_MM, free_box
from carvegen.writers.formats.png_bytes import SMALL, png_bytes

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.on_plan import Laid
    from carvegen.artwork.scan.pixels import ScanPicture
    from carvegen.base.colour import Rgb
    from carvegen.blocks.comparison import DifferenceKind, DifferentPlace
    from carvegen.geometry import PolygonArray

__all__ = ["RING_LEGEND", "fit_png", "ringed_png", "ruled_png", "unsure_png"]

_INK = (20, 18, 16)
_PAPER = (251, 250, 246)
_FADED = 0.45  #: how far the scan is drawn towards paper
_STRENGTH = 0.75
_MOST_PIXELS, _LOOK_PIXELS = 2_000_000, 700_000
_ROOM_MM = 1.0
_UNSURE, _HATCH_MM, _LINE_MM = (194, 87, 26), 2.4, 0.25
_GOOD, _OFF, _NOTHING = (35, 122, 130), (190, 50, 40), (150, 150, 150)
_PLANNED, _EDGE = (110, 60, 130), 0.25  #: the plan's outlines, and how steep they are in its tone
_FIT_LEGEND = (
    (_PLANNED, "violet: the plan as laid"), (_GOOD, "teal: it agrees"), (_OFF, "red: it does not"),
    ((110, 110, 110), "grey: nothing is seen"),
)  # fmt: skip
RING_LEGEND = (
    (NOW_LAND, "teal: stands, is to be cut"), (NOW_CUT, "ochre: is cut, should stand"),
    (_UNSURE, "orange lines: not sure"),
)  # fmt: skip
_LARGEST = 1 / 3  #: of the picture's shorter side: a wider ring would go round half of the print; our own choice


def ringed_png(laid: Laid, spots: Sequence[DifferentPlace], unsure: BaseGeometry, *, most: int = 60) -> bytes:
    """The scan, pale; what is still to cut in teal, what is gone in ochre; `most` of them ringed and numbered.

    The largest of each kind in turn are ringed, or outlined where a ring would be too large, with the number where the
    place is broadest. What is not sure of any block is hatched; lines below say so.
    """
    picture, scale = _faded(laid)
    _hatch(picture, geometry.parts(unsure), scale)
    high = picture.height
    for standing, colour in ((True, NOW_LAND), (False, NOW_CUT)):
        shapes = geometry.polygon_array(spot.shape for spot in spots if spot.kind.stands is standing)
        if len(shapes):
            mask = coverage(geometry.moved(shapes, (0, 0), scale=scale), picture.size) * 255 * _STRENGTH
            picture.paste(colour, mask=Image.fromarray(np.round(mask).astype(np.uint8)))
    pen, taken, labels = ImageDraw.Draw(picture), np.empty((0, 4)), np.empty((0, 4))
    font = ImageFont.load_default(size=max(9.0, LABEL_MM * scale))
    for number, spot in _in_turn(spots)[:most]:
        left, bottom, right, top = spot.shape.bounds
        centre, radius = np.array([(left + right) / 2, (bottom + top) / 2]), math.hypot(right - left, top - bottom) / 2
        large = 2 * radius > _LARGEST * min(laid.plan.size_mm)
        if large:
            centre, radius = np.array(spot.at), spot.width_mm / 2
        radius += _ROOM_MM
        wide = len(str(number)) * LABEL_MM * 0.7 + 0.8
        box = free_box(centre, radius, wide, taken, labels=labels, within=(0, 0, *laid.plan.size_mm))
        taken, labels = np.vstack([taken, [*(centre - radius), *(centre + radius)]]), np.vstack([labels, box])
        x, y, r = centre[0] * scale, high - centre[1] * scale, radius * scale
        colour = NOW_LAND if spot.kind.stands else NOW_CUT
        if large:
            _outline(pen, shapely.buffer(spot.shape, _ROOM_MM), colour, scale, high)
        for shade, width in () if large else _strokes(colour):
            half, px = r + width * scale / 2, max(1, round(width * scale))
            pen.ellipse((x - half, y - half, x + half, y + half), outline=shade, width=px)
        at = (float(box[0] + box[2]) / 2 * scale, high - float(box[1] + box[3]) / 2 * scale)
        pen.text(at, str(number), fill=_INK, font=font, anchor="mm", stroke_width=3, stroke_fill=(255, 255, 255))
    return _bytes(_with_legend(picture, RING_LEGEND), scale)


def unsure_png(scan: Image.Image, unsure: PolygonArray, places: PolygonArray, size_mm: tuple[float, float]) -> bytes:
    """A scan, pale, what is not sure hatched as in `ringed_png` and its places outlined; some 700 000 pixels at most.

    Parameters
    ----------
    scan
        Seen straight on, all of a face of `size_mm`.
    places
        Areas round what is not sure, print view, mm.
    """
    width, height = size_mm
    scale = min(scan.width / width, math.sqrt(_LOOK_PIXELS / (width * height)))
    small = scan.convert("RGB").resize((max(round(width * scale), 1), max(round(height * scale), 1)))
    picture = _pale(small)
    _hatch(picture, unsure, scale)
    pen = ImageDraw.Draw(picture)
    for place in places:
        _outline(pen, place, _UNSURE, scale, picture.height)
    return _bytes(picture, scale)


def _hatch(picture: Image.Image, shapes: PolygonArray, scale: float) -> None:
    """Lines over what is not sure."""
    rows, columns = np.indices(picture.size[::-1], sparse=True)
    lines = (rows + columns) % (_HATCH_MM * scale) < max(_LINE_MM * scale, 1)
    hatched = lines & (coverage(geometry.moved(shapes, (0, 0), scale=scale), picture.size) > 0.5)
    picture.paste(_UNSURE, mask=Image.fromarray(hatched))


def _strokes(colour: Rgb) -> Iterator[tuple[Rgb, float]]:
    """A ring's white rim and its line: colours and breadths, mm."""
    yield (255, 255, 255), 0.8
    yield colour, 0.4


def _outline(pen: ImageDraw.ImageDraw, shape: Polygon, colour: Rgb, scale: float, high: int) -> None:
    around = shapely.get_coordinates(shape.exterior) * (scale, -scale) + (0, high)
    for shade, width in _strokes(colour):
        pen.line([*map(tuple, around.tolist())], fill=shade, width=max(1, round(width * scale)), joint="curve")


def _in_turn(spots: Sequence[DifferentPlace]) -> list[tuple[int, DifferentPlace]]:
    """Places with their numbers: the first of each kind, the second of each, and so on."""
    seen: Counter[DifferenceKind] = Counter()
    turns = []
    for number, spot in enumerate(spots, start=1):
        seen[spot.kind] += 1
        turns.append((seen[spot.kind], number, spot))
    return [(number, spot) for _, number, spot in sorted(turns, key=lambda turn: turn[:2])]


def fit_png(laid: Laid) -> bytes:
    """The scan, pale, with the plan's outlines as they were laid, and each place of the plan that should be seen.

    Teal where both agree, red where not, grey where nothing is seen; a line below says so.
    """
    picture, scale = _faded(laid)
    planned = Image.fromarray(laid.plan.tone).resize(picture.size, Image.Resampling.BOX)
    picture.paste(_PLANNED, mask=Image.fromarray(np.hypot(*np.gradient(np.asarray(planned))) > _EDGE))
    pen, fit = ImageDraw.Draw(picture), laid.fit
    half = (fit.cell_mm / 2 - 0.4) * scale
    for middle, drawn, locked in zip(fit.middle * scale, fit.drawn, fit.locked, strict=True):
        colour = _GOOD if locked else _OFF if drawn else _NOTHING
        x, y = middle
        pen.rectangle((x - half, y - half, x + half, y + half), outline=colour, width=max(2, round(0.4 * scale)))
    return _bytes(_with_legend(picture, _FIT_LEGEND), scale)


def _with_legend(picture: Image.Image, legend: Sequence[tuple[Rgb, str]]) -> Image.Image:
    """The picture, and below it what the colours mean, in as many lines as its width needs."""
    size = max(picture.width / 60, 10.0)
    font, x, line, places = ImageFont.load_default(size=size), size, 0, []
    for _, words in legend:
        long = font.getlength(words) + 1.2 * size
        if x > size and x + long > picture.width - size:
            x, line = size, line + 1
        places.append((x, picture.height + (1.2 + 1.6 * line) * size))
        x += long + 2 * size
    whole = Image.new("RGB", (picture.width, picture.height + round((2.4 + 1.6 * line) * size)), _PAPER)
    whole.paste(picture)
    pen = ImageDraw.Draw(whole)
    for (x, y), (colour, words) in zip(places, legend, strict=True):
        pen.rectangle((x, y - 0.4 * size, x + 0.8 * size, y + 0.4 * size), fill=colour)
        pen.text((x + 1.2 * size, y), words, fill=_INK, font=font, anchor="lm")
    return whole


def _faded(laid: Laid) -> tuple[Image.Image, float]:
    width, height = laid.plan.size_mm
    scale = min(laid.px_per_mm, math.sqrt(_MOST_PIXELS / (width * height)))
    image = laid.seen_at(scale).image.convert("RGB")
    return _pale(image), scale


def _pale(image: Image.Image) -> Image.Image:
    return Image.blend(image, Image.new("RGB", image.size, _PAPER), _FADED)


def _bytes(picture: Image.Image, scale: float) -> bytes:
    return png_bytes(picture, px_per_mm=scale, level=1)


_LONG_PX, _LINES = 1600, 20
_LINE = (35, 122, 130)


def ruled_png(picture: ScanPicture) -> bytes:
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
    return png_bytes(image, level=SMALL)
