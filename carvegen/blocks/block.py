"""A block: its face, what is cut into it, and what is left standing."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.register_marks import Register
    from carvegen.geometry import Floats, Indices, PolygonArray, Rings

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
    drawn: PolygonArray = field(default_factory=geometry.empty)  #: artwork whose edges cuts may follow
    free: PolygonArray = field(default_factory=geometry.empty)  #: fringe of land that the carver may take or leave
    register: Register | None = None  #: what its board carries for register; None: the usual crosses
    turned: bool = True  #: worked as the mirror image of its print; a die that presses from the back is not
    fixed: frozenset[int] = frozenset()  #: numbers of cuts that mending leaves alone, 0 for the first
    bevelled: bool = False  #: its walls have files of their own: no machine slopes them beside its cuts
    inked: bool = True  #: a roller goes over it; not over a die or the sheet that lies against it
    stays: PolygonArray = field(default_factory=geometry.empty)  #: where no mending takes land away
    cut_before: PolygonArray = field(default_factory=geometry.empty)  #: of the cuts what is there already
    unseen: PolygonArray = field(default_factory=geometry.empty)  #: where what is cut is as drawn: no picture shows it
    unfinished: bool = False  #: cuts that come out of the carver's own drawing; whatever else is cut is hers

    @property
    def face(self) -> Polygon:
        """The printable rectangle."""
        return geometry.box(self.width_mm, self.height_mm)

    @cached_property
    def board(self) -> Polygon:
        """All of the material: the face, and the waste round it."""
        waste = self.register.waste_mm if self.register is not None else 0.0
        return shapely.box(-waste, -waste, self.width_mm + waste, self.height_mm + waste) if waste else self.face

    @property
    def rim(self) -> Polygon:
        """Where land ends: the face, or the board if waste stands beside it as high, as on a counter-sheet."""
        level = self.register is not None and len(self.register.lowered) == 0
        return self.board if level else self.face

    @cached_property
    def lowered(self) -> PolygonArray:
        """All that is lowered on the board: the cuts, and what is lowered of the waste, one where they meet.

        Shapes of the waste come last.
        """
        if self.register is None or len(self.register.lowered) == 0:
            return self.cuts
        met = np.unique(self.cut_tree.query(self.register.lowered, predicate="intersects")[1])
        inside = np.delete(self.cuts, met)
        return np.concatenate([inside, geometry.snapped(geometry.joined(
            np.concatenate([self.cuts[met], self.register.lowered])))])  # fmt: skip

    @cached_property
    def gone(self) -> PolygonArray:
        """What of the board is lowered or cut through, touching shapes as one."""
        return geometry.joined(geometry.stack([self.lowered, self.cut_outs]))

    @cached_property
    def to_cut(self) -> PolygonArray:
        """What of `lowered` is not cut yet."""
        if len(self.cut_before) == 0:
            return self.lowered
        return geometry.snapped(geometry.parts(geometry.difference(self.lowered, self.cut_before)))

    def left_to_cut(self, overlap_mm: float = 0.0) -> Block:
        """The block for a machine that cuts what is not cut yet, and nothing again; itself if nothing is cut.

        Parameters
        ----------
        overlap_mm
            How far new cuts run into old ones beside them, so that no ridge stands between.
        """
        if len(self.cut_before) == 0:
            return self
        old = shapely.union_all(self.cut_before)
        new = self.to_cut
        if overlap_mm and len(new):
            beside = shapely.intersection(shapely.buffer(shapely.union_all(new), overlap_mm), old)
            new = geometry.snapped(geometry.joined(geometry.stack([new, geometry.parts(beside)])))
        shapely.prepare(old)
        through = self.cut_outs[~shapely.contains(old, shapely.buffer(self.cut_outs, -geometry.GRID_MM))]
        register = None if self.register is None else replace(self.register, lowered=geometry.empty())
        return replace(self, cuts=new, cut_outs=through, register=register, fixed=frozenset())

    @property
    def standing(self) -> BaseGeometry:
        """What is left standing of the whole board, the waste with it."""
        gone = np.concatenate([self.lowered, self.cut_outs])
        standing: BaseGeometry = shapely.difference(self.board, shapely.union_all(gone))
        return standing

    @property
    def white_share(self) -> float:
        """The share of the face that does not print."""
        white = shapely.area(self.cuts).sum() + shapely.area(self.cut_outs).sum()
        return float(white) / (self.width_mm * self.height_mm)

    @cached_property
    def cut_tree(self) -> shapely.STRtree:
        """A tree of the cuts."""
        return shapely.STRtree(self.cuts)

    @cached_property
    def star_radii(self) -> tuple[Floats, Floats]:
        """`geometry.star_radii` of the cuts, then of the cut-outs."""
        return geometry.star_radii(np.concatenate([self.cuts, self.cut_outs]))

    @property
    def land(self) -> BaseGeometry:
        """What is left standing: all of the face that is neither cut nor cut out."""
        land: BaseGeometry = shapely.difference(
            self.face, shapely.union_all(np.concatenate([self.cuts, self.cut_outs]))
        )
        return land

    @cached_property
    def land_rings(self) -> Rings:
        """The outlines of the land, land on the left of each; cuts that reach the edge open it."""
        return self._land[0]

    @cached_property
    def wall_cuts(self) -> Indices:
        """For each of `land_rings` the number of the cut inside it, 0 for the first; -1 for edge and cut-outs."""
        rings, edges, inner = self._land
        numbers = np.concatenate([np.full(edges, -1), np.asarray(inner, dtype=np.int64)])
        return np.where(numbers < len(self.cuts), numbers, -1)[rings.owner]

    @cached_property
    def wall_names(self) -> tuple[str, ...]:
        """For each of `land_rings` what lies on its other side, such as "cut 12" or "edge"."""
        rings, edges, inner = self._land
        names = np.array([self._name_of(k) for k in inner], dtype=object)
        return tuple("edge" if owner < edges else str(names[owner - edges]) for owner in rings.owner.tolist())

    @cached_property
    def _land(self) -> tuple[Rings, int, list[int]]:
        """The land's rings, how many pieces the opened rim has, and the numbers of the cuts inside it."""
        gone = np.concatenate([self.cuts, self.cut_outs])
        inside = geometry.wholly_in(self.rim, gone)
        inside[self._meeting_cut_outs()] = False
        opened = geometry.parts(shapely.difference(self.rim, shapely.union_all(gone[~inside])))
        holes = geometry.reversed_rings(geometry.rings(gone[inside]))
        return geometry.stacked(geometry.rings(opened), holes), len(opened), np.flatnonzero(inside).tolist()

    def _meeting_cut_outs(self) -> Indices:
        """Numbers of cut-outs that touch cuts, and of those cuts: no land is between them, they are one hole."""
        outs, met = self.cut_tree.query(self.cut_outs, predicate="dwithin", distance=geometry.GRID_MM)
        return np.unique(np.concatenate([met, outs + len(self.cuts)])).astype(np.int64)

    def _name_of(self, number: int) -> str:
        return f"cut {number + 1}" if number < len(self.cuts) else f"cut-out {number - len(self.cuts) + 1}"


def check_size(width_mm: float, height_mm: float, *, where: str = "", field: str = "size_mm") -> None:
    """Raise `InputError` unless both sides lie within `SIDES_MM`."""
    low, high = SIDES_MM
    for side in (width_mm, height_mm):
        if not low <= side <= high:
            raise InputError(
                f"must have sides of {low:g}…{high:g} mm",
                value=f"{width_mm:g}x{height_mm:g}",
                where=where,
                field=field,
                hint="give width x height, such as 200x150 or 8x6in; check the unit",
            )


def check_words(text: str, *, field: str) -> None:
    """Raise `InputError` unless a text is short and can be printed: it goes into notes and drawings."""
    if len(text) > _MOST_LETTERS or not text.isprintable():
        raise InputError(
            f"must be one line of at most {_MOST_LETTERS} letters", value=text[:40], field=field, hint="shorten it"
        )
