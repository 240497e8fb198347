"""What a reader hands back: layers of polygons, the page's size, and what was changed on the way."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import PolygonArray

__all__ = ["EVERYTHING", "Artwork", "Notes", "Wanted", "plain_name"]


@dataclass(frozen=True, eq=False)
class Artwork:
    """Polygons in print view: mm, x right, y up, origin at the page's lower left corner.

    A drawing without a true size (`true_size` is false) is laid out with the longer side of its page, or of its
    shapes if it has no page, at 1000 mm; it must be given a size before it is used.
    """

    layers: Mapping[str, PolygonArray]  #: by name, in the file's order; disjoint within each layer
    width_mm: float | None  #: of the page; None where the file has no page or no true size
    height_mm: float | None
    notes: tuple[str, ...]  #: everything that was changed, left out or guessed
    true_size: bool = True  #: whether the file says how large it is

    @property
    def shapes(self) -> PolygonArray:
        """All layers joined into disjoint polygons."""
        return geometry.joined(np.concatenate(list(self.layers.values()) or [geometry.empty()]))


@dataclass(frozen=True)
class Wanted:
    """Which layers are read, and what a thin outline stands for."""

    outlines: bool = False  #: a closed hairline without a fill stands for the shape that it encloses
    without: frozenset[str] = frozenset()  #: layers that are left out, by their plain names

    @classmethod
    def of(cls, *, outlines: bool, without: Iterable[str]) -> Wanted:
        """With layer names as people write them."""
        return cls(outlines, frozenset(map(plain_name, without)))

    def leaves_out(self, layer: str, notes: Notes) -> bool:
        """Whether a layer is left out; says so once."""
        if not layer or plain_name(layer) not in self.without:
            return False
        if (text := f"the layer {layer!r} is left out") not in notes.found:
            notes.add(text)
        return True


#: All layers, lines as drawn.
EVERYTHING = Wanted()


def plain_name(layer: str) -> str:
    """A layer's name by its letters and digits only: ``BLOCK EDGE``, ``Block_Edge`` and ``block-edge`` are one."""
    return "".join(filter(str.isalnum, layer)).upper()


@dataclass
class Notes:
    """Notes gathered while reading; like ones are counted and only the first place is told."""

    found: dict[str, list[str]] = field(default_factory=dict)

    def add(self, text: str, place: str = "") -> None:
        """Take a note about one thing at a place."""
        self.found.setdefault(text, []).append(place)

    def lines(self, extra: Iterable[str] = ()) -> tuple[str, ...]:
        """The notes as sentences, in the order in which they first came up."""
        return (*(_line(text, places) for text, places in self.found.items()), *extra)


def _line(text: str, places: list[str]) -> str:
    count = f" ({len(places)} times)" if len(places) > 1 else ""
    place = f"{', the first' if count else ''} {places[0]}" if places[0] else ""
    return f"{text}{count}{place}"
