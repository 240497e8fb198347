"""What of a drawing bears snow: its solid parts, small gaps bridged."""

from __future__ import annotations

from typing import TYPE_CHECKING

import shapely

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import tiles_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray

__all__ = ["bearer"]

_FINE_MM = 0.02
_ARC = 2


def bearer(silhouette: BaseGeometry, *, bridging_mm: float, detail_mm: float) -> PolygonArray:
    """The silhouette with gaps up to `bridging_mm` filled, and without what is narrower than `detail_mm` then."""
    tiles, cells = tiles_of(shapely.simplify(silhouette, _FINE_MM), bridging_mm + detail_mm)
    grown = shapely.buffer(tiles, bridging_mm / 2, quad_segs=_ARC)
    inner = shapely.buffer(grown, -(bridging_mm + detail_mm) / 2, quad_segs=_ARC)
    solid = shapely.intersection(shapely.buffer(inner, detail_mm / 2, quad_segs=_ARC), cells)
    return geometry.parts(geometry.union(solid))
