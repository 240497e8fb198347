"""The size of an SVG page, and how its units lie in print view."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from carvegen.artwork import bounds
from carvegen.artwork.drawing import Notes
from carvegen.artwork.svg import transforms
from carvegen.artwork.svg.basic_shapes import length
from carvegen.artwork.svg.pathdata import NUMBER
from carvegen.artwork.svg.style import FIRST, PX_MM, measure
from carvegen.artwork.svg.transforms import Transform
from carvegen.artwork.svg.xmltree import Node
from carvegen.base.errors import InputError
from carvegen.base.units import MM_PER

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["UNSIZED_MM", "DrawingPage", "State", "nested", "page_of", "within"]

#: Longer side given to a page that doesn't say its size, so that its curves are fine enough for any block.
UNSIZED_MM = 1000.0
_Box = tuple[float, float, float, float]


@dataclass(frozen=True)
class DrawingPage:
    """Size in mm, the move from user units to print view, and the viewport in user units."""

    move: Transform
    frame: tuple[float, float]
    width_mm: float | None
    height_mm: float | None
    true_size: bool
    exists: bool = True  #: whether there is a page at all
    px_mm: float = PX_MM  #: length of one px on the page, whatever its viewBox


@dataclass(frozen=True)
class State:
    """What an element takes over from those around it."""

    move: Transform  #: from the element's units to print view
    frame: tuple[float, float]  #: size of the nearest viewport, in its own units
    style: Mapping[str, str] = field(default_factory=lambda: FIRST)  #: handed down
    layer: str | None = None
    used: frozenset[str] = frozenset()  #: what is being re-used around here
    top: bool = False  #: whether the element is a child of the root
    clip: BaseGeometry | None = None  #: outside of which nothing is shown; print view
    clipping: bool = False  #: whether the element is part of a clip path
    groups: tuple[tuple[str, ...], ...] = ()  #: the names of each group around it, the outermost first
    left_out: bool = False  #: whether it lies outside the one layer that is asked for
    opacity: float = 1.0  #: of all that is around it and of itself, but for fill and stroke


def page_of(root: Node, units: str | None, notes: Notes) -> DrawingPage:
    """The page of an SVG's root element; guesses go to `notes`."""
    unit = MM_PER[units] if units else PX_MM
    box = view_box(root)
    width, height = (_side(root, key, units, notes) for key in ("width", "height"))
    if box and (width is None) != (height is None):
        width, height = width or height * box[2] / box[3], height or width * box[3] / box[2]  # type: ignore[operator]
        notes.add("only one side of the page has a size; the other follows from the viewBox")
    if width is not None and height is not None:
        return _sized(root, box or (0.0, 0.0, width / unit, height / unit), (width, height), true_size=True)
    if units is None:
        notes.add("the drawing has no true size; it must be given one")
    if box:
        scale = unit if units else UNSIZED_MM / max(box[2:])
        page = _sized(root, box, (box[2] * scale, box[3] * scale), true_size=units is not None)
        return page if units else replace(page, width_mm=None, height_mm=None)
    return DrawingPage(Transform(unit, 0, 0, -unit, 0, 0), (100.0, 100.0), None, None, units is not None, exists=False)


def view_box(node: Node) -> _Box | None:
    """A node's viewBox, if it has one."""
    text = node.get("viewBox")
    if text is None:
        return None
    numbers = [float(number) for number in re.findall(NUMBER, text)]
    if len(numbers) != 4 or not (0 < numbers[2] < 1e12 and 0 < numbers[3] < 1e12):
        raise InputError("has a viewBox that can't be read", value=text[:60], hint="save it again as plain SVG")
    return (numbers[0], numbers[1], numbers[2], numbers[3])


def nested(node: Node, state: State, sized: Node) -> State:
    """The state inside an inner svg or symbol element; `sized` gives its size, and its place if it is the same."""
    box = view_box(node)
    width = length(sized, "width", state.frame[0], "100%")
    height = length(sized, "height", state.frame[1], "100%")
    x = length(node, "x", state.frame[0]) if sized is node else 0.0
    y = length(node, "y", state.frame[1]) if sized is node else 0.0
    move = state.move.translate(x, y)
    clip = state.clip
    if node.get("overflow", "hidden").strip() not in ("visible", "auto"):
        clip = within(clip, shapely.Polygon(transforms.apply(move, _corners(width, height))))
    if box is None:
        return replace(state, move=move, frame=(width, height), clip=clip)
    inside = transforms.fit(box, (width, height), node.get("preserveAspectRatio", ""))
    return replace(state, move=move.transform(inside), frame=(box[2], box[3]), clip=clip)


def within(clip: BaseGeometry | None, other: BaseGeometry) -> BaseGeometry:
    """What lies in both."""
    return other if clip is None else clip.intersection(other)


def _corners(width: float, height: float) -> Floats:
    return np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])


def _side(root: Node, key: str, units: str | None, notes: Notes) -> float | None:
    text = root.get(key, "100%").strip()
    if text.endswith("%") or text == "auto":
        return None
    px = measure(text, 0, what=key)
    bare = re.fullmatch(NUMBER, text)
    if bare or text.lower().endswith("px"):
        notes.add(
            f"the page's size has no unit; one unit is taken as 1 {units}" if units and bare
            else "the page's size is in px; 96 px are taken as 1 inch"
        )  # fmt: skip
    size = px * (MM_PER[units] if units and bare else PX_MM)
    if not 0 < size <= bounds.MAX_MM:
        raise InputError(
            f"must be larger than 0 and at most {bounds.MAX_MM:g} mm", value=text, where=key,
            hint="check the page's unit and size",
        )  # fmt: skip
    return size


def _sized(root: Node, box: _Box, size: tuple[float, float], *, true_size: bool) -> DrawingPage:
    inside = transforms.fit(box, size, root.get("preserveAspectRatio", ""))
    flip = Transform(1, 0, 0, -1, 0, size[1])
    return DrawingPage(flip.transform(inside), (box[2], box[3]), size[0], size[1], true_size)
