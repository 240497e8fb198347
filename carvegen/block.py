"""A block: its face, what is cut into it, and what is left standing."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.errors import InputError

if TYPE_CHECKING:
    from shapely import Polygon

    from carvegen.geometry import PolygonArray, Rings

__all__ = ["SIDES_MM", "Block", "check_size", "check_words"]

#: Shortest and longest side of a block: from a stamp to the largest bed in a shop; our own choice.
SIDES_MM = (5.0, 2000.0)

_MOST_LETTERS = 200


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


def check_size(width_mm: float, height_mm: float, *, where: str = "--size") -> None:
    """Refuse a block with a side outside `SIDES_MM`."""
    shortest, longest = SIDES_MM
    if not (shortest <= width_mm <= longest and shortest <= height_mm <= longest):
        raise InputError(
            f"must have sides of {shortest:g}…{longest:g} mm",
            value=f"{width_mm:g} x {height_mm:g} mm",
            where=where,
            hint="check the unit; a larger picture is cut in several blocks",
        )


def check_words(text: str, *, where: str) -> None:
    """Refuse words that can't stand on one line of a file or a note: too many, or with control characters."""
    if len(text) > _MOST_LETTERS:
        raise InputError(f"may have at most {_MOST_LETTERS} letters", value=f"{text[:40]}…", where=where)
    if not text.isprintable():
        raise InputError("must be one line of plain letters", value=text, where=where)
