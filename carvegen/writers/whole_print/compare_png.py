"""PNG: what has changed in the lands of blocks, a picture for each under one another."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

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

__all__ = ["compare_png"]

_PAPER, _PALE = (251, 250, 246), (200, 204, 208)
_MOST_PIXELS = 24_000_000
_GAP_PX = 12
_HALO_MM = 0.6  #: a pale ring round each change, so that small ones are found


def compare_png(
    changes: Sequence[tuple[BaseGeometry, PolygonArray, PolygonArray]], *, px_per_mm: float = 10.0
) -> bytes:
    """What stays pale grey, newly cut ochre, newly land teal; print view, one picture under another.

    Parameters
    ----------
    changes
        For each block what stands in both, what is newly cut and what is newly land.
    """
    boxes = [shapely.union_all(geometry.stack([geometry.parts(both), cut, land])).bounds for both, cut, land in changes]
    area = sum((right - left) * (top - bottom) for left, bottom, right, top in boxes)
    scale = min(px_per_mm, math.sqrt(_MOST_PIXELS / max(area, 1.0)))
    made = [_painted(change, box, scale) for change, box in zip(changes, boxes, strict=True)]
    whole = Image.new("RGB", (max(part.width for part in made), sum(part.height + _GAP_PX for part in made)), "white")
    y = 0
    for picture in made:
        whole.paste(picture, (0, y))
        y += picture.height + _GAP_PX
    return png_bytes(whole, px_per_mm=scale, level=SMALL)


def _painted(
    change: tuple[BaseGeometry, PolygonArray, PolygonArray], box: Sequence[float], scale: float
) -> Image.Image:
    both, cut, land = change
    left, bottom, right, top = box
    size = max(round((right - left) * scale), 1), max(round((top - bottom) * scale), 1)
    picture = Image.new("RGB", size, _PAPER)
    for shapes, colour, strength in (
        (geometry.parts(both), _PALE, 1.0),
        (_halo(cut), NOW_CUT, 0.25),
        (_halo(land), NOW_LAND, 0.25),
        (cut, NOW_CUT, 1.0),
        (land, NOW_LAND, 1.0),
    ):
        if len(shapes):
            there = geometry.moved(shapes, (-left * scale, -bottom * scale), scale=scale)
            mask = np.round(coverage(there, size) * 255 * strength).astype(np.uint8)
            picture.paste(colour, mask=Image.fromarray(mask))
    return picture


def _halo(shapes: PolygonArray) -> PolygonArray:
    return geometry.parts(shapely.union_all(shapely.buffer(shapes, _HALO_MM))) if len(shapes) else shapes
