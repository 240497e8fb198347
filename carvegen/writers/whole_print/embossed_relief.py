"""How an embossed shape looks: paper as a field of heights under light from the upper left."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy import ndimage

from carvegen import geometry
from carvegen.blocks.embossing.pressing import depth_under_edge
from carvegen.geometry.coverage import coverage

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.embossing.pressing import Pressing
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["PressedFace", "brightness", "heights", "wall_patches"]

_LIGHT = np.array([-0.5, 0.5, math.sqrt(0.5)])  #: where it comes from: upper left, halfway up; length 1
_AMBIENT = 0.45  #: share of the light that comes from everywhere; our own choice
_SOFT = 0.5  #: the paper rounds the die's edges by this share of its thickness (standard deviation); our own choice
_SEAM = 1e-6  #: sums of shares are no exacter
_PATCH_MM = 0.02  #: outlines of patches are simplified so far


@dataclass(frozen=True, kw_only=True, eq=False)
class PressedFace:
    """A die's face, print view, mm, and how it presses."""

    face: BaseGeometry
    how: Pressing


def heights(pressed: Sequence[PressedFace], corner: tuple[float, float], scale: float, size: tuple[int, int]) -> Floats:
    """How high the paper stands above its plane, mm; (rows, columns), the first row the upper one.

    Parameters
    ----------
    corner
        The lower left corner of the picture on the face, mm.
    scale
        Pixels to the millimetre.
    size
        Columns and rows.

    Notes
    -----
    A pixel's distance from the face's outline (exact Euclidean distance transform, scipy; pixels that the outline
    crosses by their covered share) gives the depth of the wall there, by the die's profile.
    """
    height = np.zeros(size[::-1])
    for piece in pressed:
        moved = geometry.moved(geometry.parts(piece.face), (-corner[0] * scale, -corner[1] * scale), scale=scale)
        share = coverage(moved, size)
        out: Any = ndimage.distance_transform_edt(share < 0.5)
        inner: Any = ndimage.distance_transform_edt(share >= 0.5)
        away = np.where(
            (share > _SEAM) & (share < 1 - _SEAM), 0.5 - share, np.where(share >= 0.5, 0.5 - inner, out - 0.5)
        )
        rise = piece.how.relief_mm - depth_under_edge(piece.how, away / scale)
        rise = ndimage.gaussian_filter(rise, _SOFT * piece.how.sheet_mm * scale)
        height += rise if piece.how.back else -rise
    return height


def brightness(height: Floats, scale: float) -> Floats:
    """Light that comes back, beside that of flat paper, by Lambert's cosine and a share from everywhere; same shape."""
    down, right = np.gradient(height * scale)
    normal = np.stack([-right, down, np.ones_like(right)])  # rows run downwards: up is against them
    normal /= np.sqrt((normal**2).sum(axis=0))
    return _shaded(np.tensordot(_LIGHT, normal, axes=1))


def _shaded(cosine: Floats) -> Floats:
    return np.asarray(_AMBIENT + (1 - _AMBIENT) * np.clip(cosine, 0, None) / _LIGHT[2])


def wall_patches(piece: PressedFace) -> Iterator[tuple[PolygonArray, float]]:
    """The wall as flat patches, each with its brightness: for drawings that hold no pictures."""
    run = piece.how.run_mm - piece.how.round_mm
    slope = math.tan(math.radians(90 - piece.how.bevel_deg)) * (1 if piece.how.back else -1)
    outline = geometry.rings(geometry.parts(shapely.simplify(shapely.buffer(piece.face, run, quad_segs=12), _PATCH_MM)))
    first, last = outline.xy, outline.xy[outline.edge_ends]
    along = last - first
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / np.maximum(np.hypot(*along.T), 1e-9)[:, None]
    normal = np.column_stack([outward * slope, np.ones(len(outward))]) / math.hypot(slope, 1)
    shade = _shaded(normal @ _LIGHT)
    corners = np.stack([first, last, last - run * outward, first - run * outward], axis=1)
    whole = shapely.difference(shapely.buffer(piece.face, run), piece.face)
    which = np.repeat(np.arange(len(corners)), 4)
    patches: Any = shapely.convex_hull(shapely.multipoints(corners.reshape(-1, 2), indices=which))
    for patch, light in zip(patches.tolist(), shade.tolist(), strict=True):
        yield geometry.parts(shapely.intersection(patch, whole)), light
