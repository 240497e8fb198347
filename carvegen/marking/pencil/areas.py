"""Strokes of a pencil closed to areas: hatching to what it covers, specks and lone lines left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy import ndimage
from scipy.special import ndtr

from carvegen import geometry
from carvegen.artwork.scan.contours.tracing import traced
from carvegen.marking.pencil.evened import PX_PER_MM

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.marking.pencil.evened import Light

__all__ = ["PencilArea", "areas", "covered", "share_of_deepest", "stroke_depth"]

_STEP = 2  #: pixels of the straightened sheet in a cell's side
_CELLS_PER_MM = PX_PER_MM / _STEP
_HATCH_MM = 1.6  #: gaps up to twice as wide are closed
_THREAD_MM = 0.6  #: what is narrower than twice this is no area
_COVERED = 0.15  #: share of a cell that must be coloured
_RIM = 0.15  #: share of the deepest nearby above which a pixel counts for a pencil's fullness
_OUTWARD_MM = (0.16, 0.215)  #: rim taken in: the first over the fullness, less the second; found by trials
_MOST_OUTWARD_MM = 0.25
_SHARP_MM = 0.11  #: blur at which that was found: more makes strokes look less full, and their rims wider
_BLUR_MM = 0.06  #: of a stroke's rim itself
_NEARBY_MM = 1.7
_DEEP = 0.67
_SPECK_MM2, _LEAST_MM2 = 0.6, 6.0
_SIMPLER_MM = 0.06
_TONES, _MIDDLE = 16, 128  #: of a distance, for the contour


@dataclass(frozen=True, kw_only=True, eq=False)
class PencilArea:
    """What one pencil covers in one piece."""

    shape: shapely.Polygon  #: mm, from the piece's lower left corner
    depth: float  #: how deep its strokes are: `stroke_depth`


def share_of_deepest(depth: Light) -> Light:
    """How deep each pixel is beside the deepest nearby, 0…1; (height, width)."""
    deepest = ndimage.maximum_filter(depth, round(_NEARBY_MM * PX_PER_MM))
    return np.asarray(depth / np.maximum(deepest, 1e-6), dtype=np.float32)


def covered(share: Light, lead: Mask, blur_mm: float) -> Mask:
    """Which of one pencil's pixels are no stroke's blurred rim; (height, width).

    A straight rim blurred by a normal distribution is as deep as its integral, beside the deepest nearby. A stroke that
    breaks on the paper's grain has its true edge further out than it looks, one that soon covers all has not: how far
    out is told by how full the pencil's strokes are, the mean of `share` over them.

    Parameters
    ----------
    share
        As `share_of_deepest` gives it; (height, width).
    lead
        Which pixels are of this pencil; same shape.
    blur_mm
        By how much all is blurred, standard deviation.
    """
    strokes = share[lead & (share > _RIM)]
    if not strokes.size:
        return np.zeros_like(lead)
    over, less = _OUTWARD_MM
    outward = np.clip(over / float(strokes.mean()) - less, 0, _MOST_OUTWARD_MM)
    outward *= min(1.0, _SHARP_MM / blur_mm) ** 0.5
    return np.asarray(lead & (share > float(ndtr(-outward / np.hypot(blur_mm, _BLUR_MM)))))


def stroke_depth(depths: NDArray[np.float32]) -> float:
    """How deep strokes are, rims aside: the upper third of the coloured pixels' depths begins there; 0 if none."""
    return float(np.quantile(depths, _DEEP)) if depths.size else 0.0


def areas(lead: Mask, depth: Light) -> list[PencilArea]:
    """The areas of one pencil's coloured pixels.

    Parameters
    ----------
    lead
        Which pixels are of this pencil; (height, width), `PX_PER_MM` a millimetre, first row at the top.
    depth
        How coloured each pixel is; same shape.
    """
    share = _cells(lead)
    strokes = _without_specks(share > _COVERED)
    if not strokes.any():
        return []
    rows, columns = (_span(np.asarray(strokes.any(axis=axis))) for axis in (1, 0))
    shapes = _outlined(strokes[rows, columns])
    corner = (columns.start / _CELLS_PER_MM, (len(share) - rows.stop) / _CELLS_PER_MM)
    shapes = geometry.moved(shapes, corner)
    return [PencilArea(shape=shape, depth=_depth_in(shape, lead, depth)) for shape in shapes]


def _cells(lead: Mask) -> Floats:
    rows, columns = (-(-side // _STEP) for side in lead.shape)
    padded = np.pad(lead, [(0, rows * _STEP - lead.shape[0]), (0, columns * _STEP - lead.shape[1])])
    return np.asarray(padded.reshape(rows, _STEP, columns, _STEP).mean(axis=(1, 3)))


def _span(used: Mask) -> slice:
    at = np.flatnonzero(used)
    return slice(int(at[0]), int(at[-1]) + 1)


def _without_specks(strokes: Mask) -> Mask:
    label, _ = ndimage.label(ndimage.binary_dilation(strokes, np.ones((3, 3), dtype=np.bool_)))
    size = np.bincount(label[strokes], minlength=int(label.max()) + 1)
    return np.asarray(strokes & (size >= _SPECK_MM2 * _CELLS_PER_MM**2)[label])


def _outlined(strokes: Mask) -> PolygonArray:
    """Closed over gaps, freed of threads, as polygons; mm, from the lower left corner.

    Distances run between cells' middles: half a cell makes up for it, so that a straight edge stays where it is.
    """
    reach = round(_HATCH_MM * _CELLS_PER_MM)
    room = reach + 3
    grown = ndimage.distance_transform_edt(~np.pad(strokes, room)) <= reach
    closed = ndimage.distance_transform_edt(grown) > reach + 0.5
    thread = round(_THREAD_MM * _CELLS_PER_MM)
    core = ndimage.distance_transform_edt(closed) > thread
    if not core.any():
        return geometry.empty()
    off = ndimage.distance_transform_edt(~core) - thread - 0.5  # below 0 inside
    tone = np.clip(_MIDDLE + _TONES * off, 0, 255).astype(np.uint8)
    pieces = traced(tone, _MIDDLE, blur_px=0.0)
    pieces = shapely.transform(pieces, lambda xy: (np.array([[0, len(tone)]]) + xy * (1, -1) - room) / _CELLS_PER_MM)
    whole = geometry.joined(shapely.make_valid(shapely.simplify(pieces, _SIMPLER_MM)))
    return np.asarray(whole[shapely.area(whole) >= _LEAST_MM2], dtype=object)


def _depth_in(shape: shapely.Polygon, lead: Mask, depth: Light) -> float:
    """How deep the pencil's strokes are in a shape."""
    left, bottom, right, top = (np.array(shape.bounds) * PX_PER_MM).astype(int).tolist()
    piece = (slice(max(len(lead) - top - 1, 0), len(lead) - bottom + 1), slice(max(left, 0), right + 2))
    rows, columns = np.nonzero(lead[piece])
    rows, columns = rows + piece[0].start, columns + piece[1].start
    inside = shapely.contains_xy(shape, (columns + 0.5) / PX_PER_MM, (len(lead) - rows - 0.5) / PX_PER_MM)
    return stroke_depth(depth[rows[inside], columns[inside]])
