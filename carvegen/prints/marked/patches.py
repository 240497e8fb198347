"""Marks in patches: those that may meet, with the shapes about them, so that one more mark is worked out in its place.

What a patch gives is what all marks of the print give there (`with_marks`), for nothing changes further from a mark
than a land and a flake.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Protocol

import numpy as np
import shapely

from carvegen import geometry
from carvegen.marking.applying import reach_mm
from carvegen.prints.marked.marked_whites import with_marks
from carvegen.prints.marked.nearby import Memory, seen_mm

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Indices, PolygonArray
    from carvegen.marking.applying import Bed
    from carvegen.marking.marks import Mark
    from carvegen.prints.marked.marked_whites import White

__all__ = ["BeforeMarks", "Lot", "Near", "Patch", "changed_patches", "worked_otherwise"]


class Near(Protocol):
    """The unmarked shapes of a white near an area."""

    def __call__(self, white: int, area: BaseGeometry) -> tuple[Indices, PolygonArray]:
        """The numbers by which they are known, rising, and the shapes."""


@dataclass(frozen=True, kw_only=True, eq=False)
class BeforeMarks:
    """A print before its marks, as patches need to know it."""

    whites: tuple[
        White, ...
    ]  #: their shapes come from `Near`: what is bare by itself, if there is such, then the motifs
    inked: frozenset[str]
    beds: tuple[Bed, ...]
    memory: Memory = field(default_factory=Memory)

    @property
    def reach_mm(self) -> float:
        """How far beyond a mark anything may change."""
        return max((reach_mm(bed.motif, bed.settings, bed.limits) for bed in self.beds), default=0.0)

    @property
    def seen_mm(self) -> float:
        """How far beyond a mark its work depends on anything."""
        return max((seen_mm(bed) for bed in self.beds), default=0.0)


@dataclass(frozen=True, kw_only=True, eq=False)
class Lot:
    """What a patch makes of one white on some of its blocks."""

    name: str
    blocks: frozenset[str]
    shapes: PolygonArray
    free: PolygonArray
    to_decide: PolygonArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Patch:
    """Marks that may meet, and what they make of the shapes about them."""

    marks: tuple[Mark, ...]
    zone: BaseGeometry  #: where something may change
    seen: BaseGeometry  #: what its work depends on
    about: tuple[Indices, ...]  #: of each white, the numbers of the unmarked shapes in `seen`
    fringe: tuple[Indices, ...]  #: of each white, the places of what of its fringe lies in `seen`
    lots: tuple[Lot, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class _Zone:
    """Where a mark works, before it has."""

    mark: Mark
    zone: BaseGeometry
    seen: BaseGeometry
    touched: frozenset[tuple[int, int]]  #: white and number of each unmarked shape that may change


def changed_patches(
    patches: Sequence[Patch], ground: BeforeMarks, near: Near, *, gone: Collection[str] = (), new: Sequence[Mark] = (),
    order: Mapping[str, int], edited: BaseGeometry | None = None,
) -> tuple[list[Patch], list[Patch]]:  # fmt: skip
    """The patches that a change puts an end to, and those that come in their place.

    Parameters
    ----------
    patches
        All there are.
    near
        The unmarked shapes as they are after the change.
    gone, new
        Keys of marks that go, and marks that come; a mark that changes is in both.
    order
        Place of every mark, by its key, among all.
    edited
        Where unmarked shapes have changed: as they were and as they are.
    """
    zones = [_zone(mark, ground, near) for mark in new]
    met = [patch for patch in patches if _meets(patch, gone, zones, edited)]
    left = [mark for patch in met for mark in patch.marks if mark.key not in gone]
    pool = [*zones, *(_zone(mark, ground, near) for mark in left)]
    made = [_worked(lot, ground, near, order) for lot in _together(pool)]
    return met, made


def worked_otherwise(patch: Patch, mark: Mark, ground: BeforeMarks, near: Near) -> tuple[Lot, ...]:
    """What a patch would make if one of its marks, known by its key, were another."""
    marks = [mark if other.key == mark.key else other for other in patch.marks]
    return _made(marks, patch.seen, ground, near)[0]


def _zone(mark: Mark, ground: BeforeMarks, near: Near) -> _Zone:
    zone = shapely.buffer(mark.shape, ground.reach_mm, quad_segs=4)
    touched = {(k, int(n)) for k in range(len(ground.whites)) for n in near(k, zone)[0]}
    seen = shapely.buffer(mark.shape, ground.seen_mm, quad_segs=4)
    return _Zone(mark=mark, zone=zone, seen=seen, touched=frozenset(touched))


def _meets(patch: Patch, gone: Collection[str], zones: Iterable[_Zone], edited: BaseGeometry | None) -> bool:
    """Whether a patch may come out otherwise."""
    if any(mark.key in gone for mark in patch.marks):
        return True
    if edited is not None and shapely.intersects(patch.seen, edited):
        return True
    there = [set(numbers.tolist()) for numbers in patch.about]
    return any(
        shapely.intersects(patch.seen, zone.zone) or shapely.intersects(patch.zone, zone.seen)
        or any(n in there[k] for k, n in zone.touched)
        for zone in zones
    )  # fmt: skip


def _together(zones: Sequence[_Zone]) -> list[list[_Zone]]:
    """The zones in lots: two that may meet, or that share a shape, are in one."""
    if not zones:
        return []
    lot = list(range(len(zones)))

    def first(k: int) -> int:
        while lot[k] != k:
            k = lot[k]
        return k

    seen = geometry.polygon_array(zone.seen for zone in zones)
    pairs = shapely.STRtree(seen).query([zone.zone for zone in zones], predicate="intersects").T.tolist()
    by_shape = dict[tuple[int, int], int]()
    for k, zone in enumerate(zones):
        pairs += [(k, by_shape.setdefault(shape, k)) for shape in zone.touched]
    for a, b in pairs:
        one, other = first(a), first(b)
        lot[max(one, other)] = min(one, other)
    lots = dict[int, list[_Zone]]()
    for k, zone in enumerate(zones):
        lots.setdefault(first(k), []).append(zone)
    return list(lots.values())


def _worked(zones: Sequence[_Zone], ground: BeforeMarks, near: Near, order: Mapping[str, int]) -> Patch:
    marks = sorted((zone.mark for zone in zones), key=lambda mark: order[mark.key])
    seen = shapely.union_all([zone.seen for zone in zones])
    lots, about, fringe = _made(marks, seen, ground, near)
    return Patch(
        marks=tuple(marks), zone=shapely.union_all([zone.zone for zone in zones]), seen=seen, about=about,
        fringe=fringe, lots=lots,
    )  # fmt: skip


def _made(
    marks: Sequence[Mark], seen: BaseGeometry, ground: BeforeMarks, near: Near
) -> tuple[tuple[Lot, ...], tuple[Indices, ...], tuple[Indices, ...]]:
    """What marks make of what lies in an area; the unmarked shapes there, and the pieces of fringe."""
    unmarked = [near(k, seen) for k in range(len(ground.whites))]
    fringe = tuple(np.flatnonzero(shapely.intersects(white.free, seen)) for white in ground.whites)
    whites = [
        replace(white, shapes=shapes, free=white.free[own])
        for white, (_, shapes), own in zip(ground.whites, unmarked, fringe, strict=True)
    ]
    done = with_marks(whites, marks, ground.inked, ground.beds, ground.memory)
    lots = tuple(
        Lot(name=white.name, blocks=white.leaves, shapes=white.shapes, free=white.free, to_decide=white.to_decide)
        for white in done
    )
    return lots, tuple(numbers for numbers, _ in unmarked), fringe
