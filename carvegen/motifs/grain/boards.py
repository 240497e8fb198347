"""The boards of a region, and the frame of each: which way the grain runs, turned over by chance."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.fields import turned
from carvegen.motifs.shared.points import Window

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, PolygonArray

__all__ = ["BoardFrame", "boards"]


def boards(area: BaseGeometry, shapes: PolygonArray, gap_mm: float) -> PolygonArray:
    """The shapes as far as they lie in the area, or the area's polygons; those closer than the gap draw back."""
    whole = geometry.parts(shapely.intersection(shapes, area) if len(shapes) else area)
    i, j, _ = geometry.close_pairs(whole, gap_mm)
    kept = whole.copy()
    for a, b in zip([*i, *j], [*j, *i], strict=True):
        kept[a] = shapely.difference(kept[a], shapely.buffer(whole[b], gap_mm))
    return geometry.parts(kept)


class BoardFrame:
    """A board's frame: u across the grain, v along it; shifted and mirrored by chance, so that no two are alike."""

    def __init__(self, area: Polygon, direction_deg: float, *, shift_mm: float, rng: Generator) -> None:
        self._turn = direction_deg - 90
        corners = turned(shapely.get_coordinates(area), -self._turn)
        self._middle = (corners.min(axis=0) + corners.max(axis=0)) / 2
        half = corners.max(axis=0) - self._middle
        self._mirror = rng.choice([-1.0, 1.0], 2)
        self._shift = rng.uniform(-1, 1, 2) * np.minimum(half / 4, [half[0], shift_mm])
        self.reach: Floats = half + np.abs(self._shift)  #: the board's points lie within ±reach of the frame's origin
        self.window = Window(*(self._shift - half).tolist(), *(self._shift + half).tolist())

    def placed(self, uv: Floats) -> Floats:
        """Points of the board's frame on the face; (n, 2)."""
        return np.asarray(turned((uv - self._shift) * self._mirror + self._middle, self._turn))
