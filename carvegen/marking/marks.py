"""Marks: areas of the print with a meaning, drawn over it by hand."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["HoleMark", "HoleMeaning", "Mark", "Meaning", "check_agreement", "contradict", "key_of", "on_face"]

_NOTHING = shapely.Polygon()
_LEAST_MM2 = 0.05  #: marks that share less only touch


class Meaning(StrEnum):
    """What is to be done where a mark lies."""

    COMES_OUT = "comes out"  #: bare on every block that would print there, whatever has grown
    STAYS = "stays"  #: prints; motifs keep out of it
    CARVER_DECIDES = "carver decides"  #: what is bare there may be taken or left, gouge in hand
    MORE = "more"  #: motifs lie denser, by the mark's strength
    LESS = "less"  #: motifs lie thinner, by the mark's strength
    GROW_AGAIN = "grow again"  #: what has grown there goes, and grows anew

    @property
    def graded(self) -> bool:
        """Whether a mark's strength says how much of it is done."""
        return self in (Meaning.MORE, Meaning.LESS)


class HoleMeaning(StrEnum):
    """What a hole in what is drawn is, where such a mark lies on it: known before anything grows."""

    OPEN_AIR = "open air"  #: snow comes through it
    ONLY_DRAWN = "only drawn"  #: a knot, an eye, a carved line: the thing goes on behind it

    @property
    def gaps(self) -> str:
        """The word for it that motifs know."""
        return "open" if self == HoleMeaning.OPEN_AIR else "marks"


@dataclass(frozen=True, kw_only=True, eq=False)
class HoleMark:
    """An area, and what the holes in it are."""

    meaning: HoleMeaning
    shape: BaseGeometry  #: polygon or multipolygon, mm, print view
    motifs: tuple[str, ...] = ()  #: names of the motifs that it is for; none: all


#: Meanings that can't both hold at one place.
_AGAINST = (
    {Meaning.COMES_OUT, Meaning.STAYS},
    {Meaning.COMES_OUT, Meaning.CARVER_DECIDES},
    {Meaning.MORE, Meaning.LESS},
)


@dataclass(frozen=True, kw_only=True, eq=False)
class Mark:
    """One area and what is to be done in it."""

    meaning: Meaning
    shape: BaseGeometry  #: polygon or multipolygon, mm, print view
    key: str  #: names its stream of random numbers: it stays the same whatever else is marked
    strength: float = 1.0  #: 0…1, of "more" and "less"
    attempt: int = 1  #: which try of "grow again"
    motifs: tuple[str, ...] = ()  #: names of the motifs that it is for; none: all
    blocks: tuple[str, ...] = ()  #: names of the blocks that it is for; none: all

    def __str__(self) -> str:
        return f'the mark "{self.meaning}" ({self.key})'

    def is_for(self, *, motif: str = "", block: str = "") -> bool:
        """Whether it is for a motif and for a block; what is not named is passed over."""
        return all(
            not those or not name or name in those for those, name in ((self.motifs, motif), (self.blocks, block))
        )


def key_of(shape: BaseGeometry) -> str:
    """The key of a mark that has no name: where it lies, and its shape to a tenth of a millimetre."""
    x, y, right, top = shapely.bounds(shape)
    xy = np.round(shapely.get_coordinates(shapely.normalize(shape)), 1) + 0.0
    digest = hashlib.sha256(np.unique(xy, axis=0).tobytes()).hexdigest()[:6]
    return f"at {(x + right) / 2:.1f} {(y + top) / 2:.1f} mm, {digest}"


def on_face(marks: Iterable[Mark], face: BaseGeometry) -> tuple[tuple[Mark, ...], tuple[str, ...]]:
    """The marks as far as they lie on the face, and what is to be said of those that don't."""
    kept, notes = list[Mark](), list[str]()
    for mark in marks:
        shape = geometry.solid(shapely.intersection(mark.shape, face))
        lost = float(shapely.area(mark.shape) - shapely.area(shape))
        if shapely.area(shape) <= _LEAST_MM2:
            notes.append(f"{mark} lies outside the face and does nothing")
            continue
        if lost > _LEAST_MM2:
            notes.append(f"{lost:.1f} mm² of {mark} lie outside the face and do nothing")
        kept.append(replace(mark, shape=shape) if lost > 0 else mark)
    return tuple(kept), tuple(notes)


def check_agreement(marks: Sequence[Mark], *, openings: BaseGeometry = _NOTHING) -> None:
    """Raise `InputError` where marks contradict one another, or say that something stays where an opening is cut.

    Raises
    ------
    InputError
        With both marks and a place that both of them claim.
    """
    over = [mark for mark in marks if mark.meaning == Meaning.STAYS and shapely.intersects(mark.shape, openings)]
    where = [_where(shapely.intersection(mark.shape, openings)) for mark in over]
    faults = [
        *_contradictions(marks),
        *(f"{mark} lies over an opening {at}" for mark, at in zip(over, where, strict=True)),
    ]
    if faults:
        more = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
        hint = "draw them apart, or take one out; some may be for other motifs or other blocks"
        raise InputError(f"contradict one another: {faults[0]}{more}", hint=hint)


def contradict(one: Mark, other: Mark) -> bool:
    """Whether two marks can't both hold where they share a place."""
    against = {one.meaning, other.meaning} in _AGAINST
    return against and _meet(one.motifs, other.motifs) and _meet(one.blocks, other.blocks)


def _contradictions(marks: Sequence[Mark]) -> Iterator[str]:
    for one, other in combinations(marks, 2):
        if contradict(one, other) and shapely.intersects(one.shape, other.shape):
            both = shapely.intersection(one.shape, other.shape)
            if shapely.area(both) > _LEAST_MM2:
                yield f"{one} and {other} share {shapely.area(both):.1f} mm² {_where(both)}"


def _meet(one: tuple[str, ...], other: tuple[str, ...]) -> bool:
    """Whether both are for one and the same thing; none named is all."""
    return not one or not other or not set(one).isdisjoint(other)


def _where(shape: BaseGeometry) -> str:
    at = shapely.point_on_surface(shape)
    return f"at {at.x:.1f}, {at.y:.1f} mm"
