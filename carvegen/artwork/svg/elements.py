"""SVG drawings shape by shape: each element's polygons by themselves, with its id, its group and the metadata."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork.bounds import Budget
from carvegen.artwork.drawing import Notes, Wanted
from carvegen.artwork.outlines.clean import SLIVER_MM2
from carvegen.artwork.outlines.crossings import take_overlaps
from carvegen.artwork.svg.ink import LayerGatherer
from carvegen.artwork.svg.page import page_of
from carvegen.artwork.svg.paints import is_painted
from carvegen.artwork.svg.reader import drawn
from carvegen.artwork.svg.style import number
from carvegen.artwork.svg.xmltree import parse
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.artwork.svg.page import State
    from carvegen.artwork.svg.xmltree import Node
    from carvegen.geometry import Indices, PolygonArray

__all__ = ["Element", "Elements", "read_elements"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Element:
    """One shape of a drawing."""

    name: str  #: its id; may be empty
    group: str  #: title or id of the outermost group that it is in; may be empty
    shapes: PolygonArray  #: print view, on the grid; may be empty
    groups: tuple[tuple[str, ...], ...] = ()  #: the names of each group around it, the outermost first
    opacity: float = 1.0  #: how much it covers, 0…1


@dataclass(frozen=True, kw_only=True, eq=False)
class Elements:
    """A drawing as its shapes, in the order of the file; they may lie over one another."""

    width_mm: float
    height_mm: float
    every: tuple[Element, ...]
    metadata: tuple[str, ...]  #: the text of each metadata element
    notes: tuple[str, ...]  #: all that was changed, left out or guessed


def read_elements(data: bytes) -> Elements:
    """The shapes in an SVG file one by one; a shape that nobody has edited comes back exactly as it was written.

    Raises
    ------
    InputError
        If the file is broken, says no size, or holds what can't be turned into shapes truly.
    """
    root = parse(data)
    if root.kind != "svg":
        raise InputError("is XML, but no SVG drawing", value=f"<{root.kind or '?'}>", hint="save the drawing as SVG")
    notes = Notes()
    sheet = page_of(root, None, notes)
    if sheet.width_mm is None or sheet.height_mm is None:
        raise InputError("does not say how large it is", hint="give the page a width and a height in mm")
    ink = _ByElement(notes, Wanted(outlines=True), Budget())
    raw = drawn(root, sheet, notes, ink)
    drawings = [geometry.stack(raw.get(str(k), ())) for k in range(len(ink.drawn))]
    shapes = geometry.stack(drawings)
    take_overlaps(shapes, ink.budget)
    whose = np.repeat(np.arange(len(drawings)), [len(part) for part in drawings])
    every = tuple(
        replace(element, shapes=part)
        for element, part in zip(ink.drawn, _on_grid(shapes, whose, len(drawings), notes), strict=True)
    )
    metadata = tuple(node.text or "" for node in root.walk() if node.kind == "metadata")
    return Elements(
        width_mm=sheet.width_mm, height_mm=sheet.height_mm, every=every, metadata=metadata, notes=notes.lines()
    )


class _ByElement(LayerGatherer):
    """Gathers the polygons of each element as if it were a layer."""

    def __init__(self, notes: Notes, wanted: Wanted, budget: Budget) -> None:
        super().__init__(notes, wanted, budget)
        self.drawn: list[Element] = []  #: each one, still without its shapes

    def draw(self, node: Node, state: State) -> None:
        """Take one shape."""
        own = str(len(self.drawn))
        paint = "fill" if is_painted(state.style, "fill") else "stroke"
        cover = state.opacity * (1.0 if (own_cover := number(state.style[f"{paint}-opacity"])) is None else own_cover)
        self.drawn.append(
            Element(name=node.get("id", ""), group=state.layer or "", shapes=geometry.empty(), groups=state.groups,
                    opacity=min(max(cover, 0.0), 1.0) if math.isfinite(cover) else 1.0)
        )  # fmt: skip
        super().draw(node, replace(state, layer=own))


def _on_grid(shapes: PolygonArray, whose: Indices, count: int, notes: Notes) -> list[PolygonArray]:
    """The shapes of each of `count` elements with all points on the grid, valid; specks are left out."""
    if len(shapes) == 0:
        return [shapes] * count
    rounded = np.asarray(shapely.transform(shapes, lambda xy: np.round(xy, 3)), dtype=object)
    good = shapely.is_valid(rounded) & (shapely.area(rounded) > 0)
    pieces = [rounded[k : k + 1] if fine else _mended(shapes[k]) for k, fine in enumerate(good.tolist())]
    owner = np.repeat(whose, [len(piece) for piece in pieces])
    every = geometry.stack(pieces)
    kept = shapely.area(every) >= SLIVER_MM2
    if not kept.all():
        notes.add(f"{int((~kept).sum())} specks smaller than {SLIVER_MM2:g} square mm are left out")
    every, owner = every[kept], owner[kept]
    return [every[a:b] for a, b in itertools.pairwise(np.searchsorted(owner, np.arange(count + 1)).tolist())]


def _mended(shape: shapely.Polygon) -> PolygonArray:
    return geometry.parts(shapely.set_precision(geometry.snapped(geometry.parts(shapely.make_valid(shape))), 0))
