"""Marks: areas of the print with a meaning, drawn over it by hand."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["Mark", "Meaning"]


class Meaning(StrEnum):
    """What is to be done where a mark lies."""

    COMES_OUT = "comes out"  #: bare on every block that would print there, whatever has grown
    STAYS = "stays"  #: prints; motifs keep out of it
    CARVER_DECIDES = "carver decides"  #: what is bare there may be taken or left, gouge in hand
    MORE = "more"  #: motifs lie denser, by the mark's strength
    LESS = "less"  #: motifs lie thinner, by the mark's strength
    GROW_AGAIN = "grow again"  #: what has grown there goes, and grows anew


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
