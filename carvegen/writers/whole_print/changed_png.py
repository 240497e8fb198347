"""PNG: what the drawing has changed under kept motifs, before and after side by side, one motif under another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from PIL import Image

from carvegen import geometry
from carvegen.geometry.coverage import coverage
from carvegen.writers.block.block_png import NOW_CUT, NOW_LAND
from carvegen.writers.formats.png_bytes import SMALL, png_bytes

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["Before", "changed_png"]

_GROUND, _DRAWN, _BEARS, _SNOW = (178, 192, 202), (140, 152, 162), (62, 74, 90), (255, 255, 255)
_MARGIN_MM = 8.0  #: round what has changed
_HALO_MM = 0.8
_GAP_PX = 12
_PX_PER_MM = 10.0
_MOST_PIXELS = 16_000_000


@dataclass(frozen=True, kw_only=True, eq=False)
class Before:
    """A motif before and after; print view, mm."""

    bears: tuple[BaseGeometry, BaseGeometry]  #: what it lies on
    cuts: tuple[PolygonArray, PolygonArray]  #: what comes out
    gone: PolygonArray  #: of the first
    come: PolygonArray  #: of the second


def changed_png(motifs: Sequence[Before], drawn: BaseGeometry) -> bytes:
    """Each motif round what has changed of it: on the left as it was kept, on the right as it is now.

    What has gone is ringed ochre, what has come teal.

    Parameters
    ----------
    drawn
        All that is drawn.
    """
    boxes = [_box(motif) for motif in motifs]
    area = sum(2 * (right - left) * (top - bottom) for left, bottom, right, top in boxes)
    px = min(_PX_PER_MM, math.sqrt(_MOST_PIXELS / max(area, 1.0)))
    rows = [[_panel(side, box, px) for side in _sides(motif, drawn)] for motif, box in zip(motifs, boxes, strict=True)]
    wide = max(2 * row[0].width + _GAP_PX for row in rows)
    whole = Image.new("RGB", (wide, sum(row[0].height + _GAP_PX for row in rows) - _GAP_PX), "white")
    y = 0
    for left, right in rows:
        whole.paste(left, (0, y))
        whole.paste(right, (left.width + _GAP_PX, y))
        y += left.height + _GAP_PX
    return png_bytes(whole, px_per_mm=px, level=SMALL)


_Layers = Sequence[tuple[Any, tuple[int, int, int]]]  #: shapes and colours, the rearmost first


def _sides(motif: Before, drawn: BaseGeometry) -> tuple[_Layers, _Layers]:
    """What is seen of a motif before and after."""
    before, after = (
        ((drawn, _DRAWN), (bears, _BEARS), (shapely.union_all(cuts), _SNOW), (_halo(ringed), colour))
        for bears, cuts, ringed, colour in zip(
            motif.bears, motif.cuts, (motif.gone, motif.come), (NOW_CUT, NOW_LAND), strict=True
        )
    )
    return before, after


def _halo(shapes: PolygonArray) -> Any:  # noqa: ANN401
    return shapely.difference(shapely.union_all(geometry.offset(shapes, _HALO_MM)), shapely.union_all(shapes))


def _box(motif: Before) -> tuple[float, float, float, float]:
    left, bottom, right, top = shapely.total_bounds(geometry.stack([motif.gone, motif.come])).tolist()
    return (left - _MARGIN_MM, bottom - _MARGIN_MM, right + _MARGIN_MM, top + _MARGIN_MM)


def _panel(layers: _Layers, box: tuple[float, float, float, float], px: float) -> Image.Image:
    left, bottom, right, top = box
    size = max(round((right - left) * px), 1), max(round((top - bottom) * px), 1)
    picture, window = Image.new("RGB", size, _GROUND), shapely.box(*box)
    for shape, colour in layers:
        seen = geometry.parts(shapely.intersection(shape, window))
        if len(seen):
            there = geometry.moved(seen, (-left * px, -bottom * px), scale=px)
            mask = np.round(coverage(there, size) * 255).astype(np.uint8)
            picture.paste(colour, mask=Image.fromarray(mask))
    return picture
