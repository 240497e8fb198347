"""A block: its face, what is cut into it, and what is left standing."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from carvegen import geometry

if TYPE_CHECKING:
    from shapely import Polygon

    from carvegen.geometry import PolygonArray, Rings

__all__ = ["Block"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Block:
    """A rectangular block in print view; cuts and cut-outs are disjoint and lie on the face."""

    name: str
    width_mm: float
    height_mm: float
    cuts: PolygonArray  #: lowered below the face
    cut_outs: PolygonArray = field(default_factory=geometry.empty)  #: removed through the whole thickness
    kept: PolygonArray = field(default_factory=geometry.empty)  #: artwork kept clear, for the eye only

    @property
    def face(self) -> Polygon:
        """The printable rectangle."""
        return geometry.box(self.width_mm, self.height_mm)

    @property
    def white_share(self) -> float:
        """The share of the face that does not print."""
        import shapely

        white = shapely.area(self.cuts).sum() + shapely.area(self.cut_outs).sum()
        return float(white) / (self.width_mm * self.height_mm)

    @property
    def land_rings(self) -> Rings:
        """The outlines of the land, land on the left of each; cuts that reach the edge open it."""
        import numpy as np
        import shapely

        gone = np.concatenate([self.cuts, self.cut_outs])
        inner = np.asarray(shapely.contains_properly(self.face, gone), dtype=bool)
        opened = geometry.parts(shapely.difference(self.face, shapely.union_all(gone[~inner])))
        return geometry.stacked(geometry.rings(opened), geometry.reversed_rings(geometry.rings(gone[inner])))
