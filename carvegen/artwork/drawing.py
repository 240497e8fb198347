"""What a reader hands back: layers of polygons, the page's size, and what was changed on the way."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.geometry import PolygonArray

__all__ = [
    "EVERYTHING", "NEW_CUTS_ONLY", "Artwork", "Notes", "Wanted", "known_mm_in", "known_words", "labels_in",
    "plain_name",
]  # fmt: skip


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
    tolerance_mm: float = bounds.TOLERANCE_MM  #: how far the straight pieces may lie from the curves drawn
    says_view: str = ""  #: "print" or "block" where the file's own words say from which side it shows the block
    new_cuts_only: bool = False  #: whether they say that of a block that is cut already it holds what is new alone
    unit_mm: float | None = None  #: of a drawing without a page: millimetres in one of its units
    inside: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  #: names of groups in a layer that has any
    known_mm: float = 0.0  #: outlines that lie no farther off are the same, for a picture told them; 0 of a drawing
    colours: Mapping[str, str] = field(default_factory=dict)  #: "#rrggbb" of layers, where they were parted by colour

    @property
    def shapes(self) -> PolygonArray:
        """All layers joined into disjoint polygons."""
        return geometry.joined(np.concatenate(list(self.layers.values()) or [geometry.empty()]))

    def named(self, name: str) -> Artwork:
        """The same drawing; what is in no layer with a name goes by this one, where the first of them is drawn."""
        layers: dict[str, PolygonArray] = {}
        for layer, shapes in self.layers.items():
            own = layer or name
            if own in layers:
                layers[own] = geometry.joined(np.concatenate([layers[own], shapes]))
            elif layer or len(shapes):
                layers[own] = shapes
        colours = {layer or name: colour for layer, colour in self.colours.items()}
        return replace(self, layers=layers, colours=colours)


@dataclass(frozen=True)
class Wanted:
    """Which layers are read, what a thin outline stands for, and how fine curves are."""

    #: a closed hairline without a fill stands for the shape that it encloses; None: where the file says its view
    outlines: bool | None = None
    without: frozenset[str] = frozenset()  #: layers that are left out, by their plain names
    only: frozenset[str] = frozenset()  #: layers that are read, by their plain names; none for all
    asked: str = ""  #: the layer that must be there, as it was written
    tolerance_mm: float = bounds.TOLERANCE_MM  #: how far a straight piece may lie from the curve it stands for
    by_colour: bool = False  #: whether a layer drawn in several colours is parted by them

    @classmethod
    def of(
        cls, *, outlines: bool | None = None, without: Iterable[str] = (), asked: str = "", beside: Iterable[str] = (),
        tolerance_mm: float = bounds.TOLERANCE_MM, by_colour: bool = False,
    ) -> Wanted:  # fmt: skip
        """With layer names as people write them; `beside` are read along with the one that is asked for."""
        only = frozenset(map(plain_name, (asked, *beside))) if asked else frozenset[str]()
        return cls(outlines, frozenset(map(plain_name, without)) - only, only, asked, tolerance_mm, by_colour)

    def leaves_out(self, layer: str, notes: Notes) -> bool:
        """Whether a layer is left out; says so once, unless only one was asked for."""
        notes.layers.add(layer)
        if self.only:
            return plain_name(layer) not in self.only
        if not layer or plain_name(layer) not in self.without:
            return False
        if (text := f"the layer {layer!r} is left out") not in notes.places:
            notes.add(text)
        return True

    def check(self, notes: Notes, *inside: str) -> None:
        """Refuse to go on if the layer that is asked for is not among those seen, or inside them."""
        if self.asked and plain_name(self.asked) not in map(plain_name, (*notes.layers, *inside)):
            names = ", ".join(sorted(filter(None, notes.layers))) or "none has a name"
            names += f"; inside: {', '.join(sorted(inside)[:_MOST_NAMES])}" if inside else ""
            raise InputError("has no such layer", value=self.asked, hint=f"its layers: {names}")


#: All layers, lines as drawn.
EVERYTHING = Wanted()


#: What a machine file of a block that is cut already says, in any case of its letters.
NEW_CUTS_ONLY = "NEW CUTS ONLY: the block is cut already"
_MOST_NAMES = 12  #: of groups in an error
_VIEW = re.compile(r"\b(print|block) view\b", re.IGNORECASE)
_KNOWN = re.compile(r"\boutlines known within (\d{1,4}(?:\.\d{1,6})?) mm\b", re.IGNORECASE)


def labels_in(texts: Iterable[str]) -> tuple[str, bool]:
    """What a drawing's words tell, as every written file's do.

    Returns
    -------
    tuple
        The view, "print", "block", or "" if they tell of none or both; whether it holds new cuts only.
    """
    every = tuple(texts)
    views = {match[1].lower() for text in every for match in _VIEW.finditer(text)}
    joined = " ".join(" ".join(every).split()).lower()  # a line of words may be wrapped, continued lines set in
    return views.pop() if len(views) == 1 else "", NEW_CUTS_ONLY.lower() in joined


def known_words(known_mm: float) -> str:
    """What a written file says of outlines that a picture told; nothing of those of a drawing."""
    return f"Seen in a picture: outlines known within {round(known_mm, 3):g} mm." if known_mm else ""


def known_mm_in(texts: Iterable[str]) -> float:
    """How near outlines are known by a drawing's words, as `known_words` says it, capped; 0 if they don't tell."""
    joined = " ".join(" ".join(texts).split())
    return min(max((float(match[1]) for match in _KNOWN.finditer(joined)), default=0.0), bounds.MAX_KNOWN_MM)


def plain_name(layer: str) -> str:
    """A layer's name by its letters and digits only: ``BLOCK EDGE``, ``Block_Edge`` and ``block-edge`` are one."""
    return "".join(filter(str.isalnum, layer)).upper()


@dataclass
class Notes:
    """Notes gathered while reading; like ones are counted and only the first place is told."""

    places: dict[str, list[str]] = field(default_factory=dict)
    layers: set[str] = field(default_factory=set)  #: names of all layers come across

    def add(self, text: str, place: str = "") -> None:
        """Take a note about one thing at a place."""
        self.places.setdefault(text, []).append(place)

    def lines(self, extra: Iterable[str] = ()) -> tuple[str, ...]:
        """The notes as sentences, in the order in which they first came up."""
        return (*(_line(text, places) for text, places in self.places.items()), *extra)


def _line(text: str, places: list[str]) -> str:
    count = f" ({len(places)} times)" if len(places) > 1 else ""
    place = f"{', the first' if count else ''} {places[0]}" if places[0] else ""
    return f"{text}{count}{place}"
