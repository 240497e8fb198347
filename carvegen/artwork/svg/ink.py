"""Fills and lines of SVG elements as polygons, each in its layer, cut off by clip paths."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.outlines.colours import PARTED
from carvegen.artwork.outlines.crossings import take_overlaps
from carvegen.artwork.outlines.region import region
from carvegen.artwork.svg import (
    basic_shapes,
    paints,
    stroke_areas,
    style,
    transforms,
)
from carvegen.artwork.svg.pathdata import Line
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.drawing import Notes, Wanted
    from carvegen.artwork.svg.page import State
    from carvegen.artwork.svg.xmltree import Node
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["Extent", "LayerGatherer", "refused"]

_LOOK = 25  #: points that measuring a shape once more counts for, so that it can't be done without end
_FIRST_LOOK = 256  #: shapes taken, before it is looked whether too many lie over one another; then when twice as many
_HAIRLINE_MM = 0.36  #: a little more than 1 pt: no narrower groove is meant by a line in a file for checking


class LayerGatherer:
    """Gathers each layer's polygons; rings that stand alone are made into polygons all at once."""

    def __init__(self, notes: Notes, wanted: Wanted, budget: bounds.Budget) -> None:
        self.notes, self.wanted, self.budget = notes, wanted, budget
        self.layers: dict[str, list[PolygonArray]] = {}
        self.alone: dict[str, list[tuple[Node, State, Line]]] = {}
        self.uncut: list[tuple[str, int, BaseGeometry]] = []  #: layer and place there of what a clip path cuts off
        self.runs, self.run = 0, ""  #: how often layer and colour changed, where they are parted by colour; the last
        self.taken, self.look_at = 0, _FIRST_LOOK
        self.white = self.coloured = False
        self.px_mm: float | None = None  #: length of one px on the page; None without a true size

    def apart(self) -> LayerGatherer:
        """Another gathering, for a clip path, that goes on counting."""
        return LayerGatherer(self.notes, self.wanted, self.budget)

    def finished(self) -> dict[str, list[PolygonArray]]:
        """Every layer's polygons, not yet cleaned."""
        self._cut_off()
        every = _outlines([line.xy for waiting in self.alone.values() for _, _, line in waiting])
        sound = shapely.is_valid(every) & (shapely.area(every) > 0)
        first = 0
        for layer, waiting in self.alone.items():
            outlines, good = every[first : first + len(waiting)], sound[first : first + len(waiting)]
            rest = [self._region(*waiting[k][:2], [waiting[k][2]]) for k in np.flatnonzero(~good)]
            self.layers.setdefault(layer, []).extend([outlines[good], *rest])
            first += len(waiting)
        self.alone = {}
        if self.white and self.coloured and not self.wanted.by_colour:
            self.notes.add("white shapes count as shapes, like those of any other colour")
        return self.layers

    def draw(self, node: Node, state: State) -> None:
        """Take one shape: its fill, its line."""
        lines, scale = self._lines(node, state)
        moved = [Line(transforms.apply(state.move, line.xy), line.closed) for line in lines]
        for line in moved:
            bounds.check_reach(line.xy)
        filled = state.clipping or paints.is_painted(state.style, "fill")
        if filled and node.kind != "line":
            self._fill(node, self._in_colour(state, "fill"), moved)
        if not state.clipping and paints.is_painted(state.style, "stroke"):
            self._colour(node, state.style, "stroke")
            state = self._in_colour(state, "stroke")
            if self.wanted.outlines and not filled and _encloses(lines, self._width_mm(state, scale)):
                self.notes.add("a thin outline without a fill is taken as the shape that it encloses")
                self._fill(node, state, moved)
            else:
                self._stroke(node, state, lines, scale)

    def box(self, node: Node, state: State) -> tuple[float, float, float, float]:
        """The box round a shape, in its own units."""
        xy = np.concatenate([np.zeros((0, 2)), *(line.xy for line in self._lines(node, state)[0])])
        return (*xy.min(axis=0), *xy.max(axis=0)) if len(xy) else (0.0, 0.0, 0.0, 0.0)

    def check_effects(self, node: Node, look: Mapping[str, str]) -> None:
        """Refuse what hides parts of a shape in ways that are not followed; note what is left out."""
        if look is style.FIRST:
            return
        if look["mask"] not in ("none", ""):
            raise refused("is covered by a mask", look["mask"])
        if look["filter"] not in ("none", ""):
            self.notes.add("a filter effect (blur, shadow) is left out", node.place)
        if (style.number(look["opacity"]) or 1) < 1:
            self.notes.add("a see-through shape is taken as solid", node.place)
        if any(look[f"marker{end}"] not in ("none", "") for end in ("", "-start", "-mid", "-end")):
            self.notes.add("arrow heads and other markers are left out", node.place)

    def _in_colour(self, state: State, kind: str) -> State:
        """The state in a layer for its run of one colour, where layers are parted; layers keep the order of drawing."""
        if self.wanted.by_colour and not state.clipping:
            own = f"{state.layer or ''}{PARTED}{paints.hex_colour(state.style, kind)}"
            self.runs += self.run != own
            self.run = own
            state = replace(state, layer=f"{own}{PARTED}{self.runs}")
        self.layers.setdefault(state.layer or "", [])
        return state

    def _lines(self, node: Node, state: State) -> tuple[list[Line], float]:
        """The outlines in the shape's own units, and by how much they are stretched; none if to nothing."""
        scale = transforms.stretch(state.move)
        if not scale < 1e9:
            raise InputError("is scaled up without measure", hint="check its transform")
        if scale < 1e-9:
            self.notes.add("a shape is scaled down to nothing and is left out", node.place)
            return [], 1.0
        lines = basic_shapes.lines(node, state.frame, self.wanted.tolerance_mm / scale)
        self.budget.take("points", sum(len(line.xy) for line in lines))
        return lines, scale

    def _fill(self, node: Node, state: State, lines: list[Line]) -> None:
        if not state.clipping:
            self._colour(node, state.style, "fill")
        if len(lines) == 1 and len(lines[0].xy) > 2 and state.clip is None:
            self.alone.setdefault(state.layer or "", []).append((node, state, lines[0]))
        elif lines:
            self._take(state, self._region(node, state, lines))
        open_ends = (not line.closed and len(line.xy) > 2 and (line.xy[0] != line.xy[-1]).any() for line in lines)
        if any(open_ends):
            self.notes.add("an open outline is filled as if a straight line closed it", node.place)

    def _region(self, node: Node, state: State, lines: list[Line]) -> PolygonArray:
        look = state.style
        rule = look["clip-rule" if state.clipping else "fill-rule"]
        try:
            area = region([line.xy for line in lines], evenodd=rule == "evenodd", budget=self.budget)
        except InputError as error:
            raise error.within(node.place) from None
        if area.crossing_place:
            place = f"({node.place}) {area.crossing_place} from the drawing's lower left corner"
            self.notes.add("an outline crosses itself; it is filled as drawing programs show it", place)
        if area.flat and not paints.is_painted(look, "stroke"):
            self.notes.add("an outline without area is left out", node.place)
        return area.shapes

    def _stroke(self, node: Node, state: State, lines: list[Line], scale: float) -> None:
        if state.style["vector-effect"] == "non-scaling-stroke":
            lines = [Line(transforms.apply(state.move, line.xy), line.closed) for line in lines]
            state, scale = self._on_page(state), self.px_mm or 1.0
            lines = [Line(line.xy / scale, line.closed) for line in lines]
        pen = self._pen(state, scale)
        if pen.width == 0:
            return
        bounds.check_reach(np.array([pen.width * scale]))
        area = stroke_areas.outlined(lines, pen, self.budget)
        if len(area):
            self._take(state, shapely.transform(area, lambda xy: transforms.apply(state.move, xy)))

    def _width_mm(self, state: State, scale: float) -> float:
        held = state.style["vector-effect"] == "non-scaling-stroke"
        return self._pen(state, scale).width * (self.px_mm or scale if held else scale)

    def _on_page(self, state: State) -> State:
        """The state for a line whose width is measured on the page (SVG 2 section 8.13, non-scaling-stroke)."""
        if self.px_mm is None:
            raise InputError(
                "has a line whose width holds on the page alone, and the page has no size",
                hint="give the page a size in mm, or convert the line to a path",
            )
        return replace(state, move=transforms.Identity.scale(self.px_mm))

    def _pen(self, state: State, scale: float) -> stroke_areas.Pen:
        look, whole = state.style, float(np.hypot(*state.frame)) / 2**0.5
        width = style.measure(look["stroke-width"], whole)
        if width < 0:
            raise InputError("has a line width that can't be drawn", value=look["stroke-width"], hint="0.5mm, say")
        dashes = look["stroke-dasharray"]
        return stroke_areas.Pen(
            width=width, cap=look["stroke-linecap"], join=look["stroke-linejoin"],
            limit=style.number(look["stroke-miterlimit"]) or 4.0, tolerance=self.wanted.tolerance_mm / scale,
            dashes=() if dashes in ("none", "") else tuple(style.lengths(dashes, whole)),
            dash_offset=style.measure(look["stroke-dashoffset"], whole),
        )  # fmt: skip

    def _take(self, state: State, shapes: PolygonArray) -> None:
        layer = state.layer or ""
        taken = self.layers.setdefault(layer, [])
        if state.clip is not None and len(shapes):
            edge = geometry.parts(state.clip)
            self.budget.take("clipping", int(shapely.get_num_coordinates(edge).sum()))
            take_overlaps(geometry.stack([shapes, edge]), self.budget)
            self.uncut.append((layer, len(taken), state.clip))
        taken.append(shapes)
        self.taken += 1
        if self.taken == self.look_at:  # so that far too many are refused before all are drawn
            self.look_at *= 2
            self._cut_off()
            so_far = geometry.stack(part for parts in self.layers.values() for part in parts)
            take_overlaps(so_far, bounds.Budget(dict(self.budget.spent)))

    def _cut_off(self) -> None:
        """What lies outside of clip paths goes, once the work of many is counted."""
        for layer, k, clip in self.uncut:
            self.layers[layer][k] = geometry.parts(shapely.intersection(self.layers[layer][k], clip))
        self.uncut = []

    def _colour(self, node: Node, look: Mapping[str, str], kind: str) -> None:
        white = paints.is_white(look, kind)
        self.white, self.coloured = self.white or white, self.coloured or not white
        if (style.number(look[f"{kind}-opacity"]) or 1) < 1:
            self.notes.add("a see-through shape is taken as solid", node.place)


class Extent(LayerGatherer):
    """Measures how far shapes reach instead of gathering them."""

    def __init__(self, notes: Notes, wanted: Wanted, budget: bounds.Budget) -> None:
        super().__init__(notes, wanted, budget)
        self.reach: list[Floats] = []

    def draw(self, node: Node, state: State) -> None:
        """Take the corners of one shape."""
        self.budget.take("points", _LOOK)
        for line in self._lines(node, state)[0]:
            xy = transforms.apply(state.move, line.xy)
            bounds.check_reach(xy)
            if len(xy):
                self.reach.append(np.stack([xy.min(axis=0), xy.max(axis=0)]))

    def check_effects(self, node: Node, look: Mapping[str, str]) -> None:
        """What is refused or left out is told when it is drawn."""

    def total(self) -> tuple[float, float, float, float]:
        """The box round all shapes."""
        if not self.reach:
            return (0.0, 0.0, 0.0, 0.0)
        xy = np.concatenate(self.reach)
        return (*xy.min(axis=0), *xy.max(axis=0))


def _outlines(rings: list[Floats]) -> PolygonArray:
    """The inside of each ring, right or wrong."""
    if not rings:
        return geometry.empty()
    which = np.repeat(np.arange(len(rings)), [len(ring) for ring in rings])
    return np.asarray(shapely.polygons(shapely.linearrings(np.concatenate(rings), indices=which)), dtype=object)


def _encloses(lines: list[Line], width_mm: float) -> bool:
    """Whether lines drawn so thin only say where a shape lies."""
    return width_mm <= _HAIRLINE_MM and all(line.closed or (line.xy[0] == line.xy[-1]).all() for line in lines)


def refused(what: str, value: str) -> InputError:
    """That something hides parts of a shape."""
    return InputError(what, value=value, hint="intersect the shapes with it, then remove it")
