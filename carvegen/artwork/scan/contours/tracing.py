"""Contours of a tone at sub-pixel position: closed polygons in pixels, y downwards."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.scan.sampling import blurred
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["traced"]

_BAND_PIXELS = 6_000_000  # contoured at a time, for memory's sake
_MOST_RINGS = 120_000  # outlines and holes; twice a full block of snow
_FEW_RINGS = 2_000  # so many may lie as close as they like
_ROOM_PX = 80  # pixels that each outline of a drawing has for itself, more or less
_BEYOND = 1e6  # below and above all tones
_OFF_STEP = 1 / 777  # keeps the level off the tones themselves, so that no contour runs through a pixel's centre


def traced(tone: Bytes, level: float, *, blur_px: float, light: bool = False) -> PolygonArray:
    """What is darker than `level` (or lighter) as valid, disjoint polygons.

    Contours run by linear interpolation between pixels' centres, after a Gaussian blur that takes the grain; the
    centre of the upper left pixel is (0.5, 0.5). Shapes that reach the picture's edge end there.

    Parameters
    ----------
    tone
        (height, width).
    blur_px
        Standard deviation of the blur; the contour of a straight edge stays where it is.

    Raises
    ------
    InputError
        If there are more shapes or points than a drawing may hold.
    """
    smooth = blurred(tone, blur_px) if blur_px > 0 else tone.astype(np.float32)
    rows = max(_BAND_PIXELS // tone.shape[1], 2)
    low, high = (level + _OFF_STEP, _BEYOND) if light else (-_BEYOND, level + _OFF_STEP)
    last = tone.shape[0] - 1
    bands: list[PolygonArray] = []
    for first in range(0, last, rows):
        end = min(first + rows, last)
        bands.append(_band(smooth, first, end, low, high))
        _check(sum(map(_rings, bands)), pixels=tone.size)
    return _sewn(geometry.stack(bands), np.arange(rows, last, rows) + 0.5)


def _band(smooth: np.ndarray[Any, np.dtype[np.float32]], first: int, end: int, low: float, high: float) -> PolygonArray:
    """Polygons of the rows first…end, both included; the picture's outermost pixels reach half a pixel further."""
    from contourpy import FillType, contour_generator

    height, width = smooth.shape
    above, below = int(first == 0), int(end == height - 1)
    z = np.pad(smooth[first : end + 1].astype(np.float64), ((above, below), (1, 1)), mode="edge")
    x = np.clip(np.arange(-1, width + 1) + 0.5, 0, width)
    y = np.clip(np.arange(first - above, end + below + 1) + 0.5, 0, height)
    made = contour_generator(x, y, z, name="serial", fill_type=FillType.ChunkCombinedOffsetOffset).filled(low, high)
    points, rings, polygons = (part[0] for part in made)
    if points is None or rings is None or polygons is None:
        return geometry.empty()
    _check(len(rings), pixels=z.size)
    shapes = shapely.from_ragged_array(
        shapely.GeometryType.POLYGON, np.asarray(points), (np.asarray(rings), np.asarray(polygons))
    )
    good = shapely.is_valid(shapes)
    return geometry.parts(shapes if good.all() else np.where(good, shapes, shapely.make_valid(shapes)))


def _sewn(shapes: PolygonArray, seams: Floats) -> PolygonArray:
    """Shapes that two bands share, joined."""
    if len(seams) == 0 or len(shapes) == 0:
        return shapes
    edges = shapely.bounds(shapes)[:, [1, 3]]
    cut = np.isin(edges, seams).any(axis=1)
    return geometry.stack([shapes[~cut], geometry.joined(shapes[cut])])


def _rings(shapes: PolygonArray) -> int:
    return len(shapes) + int(shapely.get_num_interior_rings(shapes).sum())


def _check(rings: int, *, pixels: int) -> None:
    """Refuse grain before it takes hours."""
    if rings > _MOST_RINGS or (rings > _FEW_RINGS and rings * _ROOM_PX > pixels):
        raise InputError(
            "breaks into specks: it shows grain or a photograph, not shapes",
            value=f"{rings} outlines",
            hint="smooth it more ({smooth_mm} 0.2), set another {threshold}, or scan the drawing alone",
            names=("smooth_mm", "threshold"),
        )
