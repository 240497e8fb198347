"""Where a motif may grow on a drawing: its ground, what hides it, what it lies on and what stands in front of that."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.from_motif import Ground, place_on
from carvegen.marking.adapting import APART_MM
from carvegen.marking.kept_file import Surroundings
from carvegen.motifs.growth import Place, no_room
from carvegen.motifs.snowfall.readable import Figure, with_lines
from carvegen.motifs.snowload import Settings, before_shore
from carvegen.prints.marked.marked_whites import hole_marks_of
from carvegen.prints.picture.known import Known
from carvegen.prints.picture.readable_bars import ReadableBars, rims_along
from carvegen.prints.separation import painted

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Indices, PolygonArray
    from carvegen.marking.marks import HoleMark
    from carvegen.prints.file.print_file import PrintMotif
    from carvegen.prints.layers import LayeredDrawing
    from carvegen.prints.separation import Layer, Plate

__all__ = ["NOTHING", "GrowingRooms", "Room", "kept_out"]

NOTHING = shapely.Polygon()

_TOUCHES_MM, _ON_RIM = 0.01, 16  #: what is so near to a hole is round it, seen at so many places of its rim
_MOSTLY = 0.5  #: of a hole is filled by its glass
_NOTED_MM2 = 0.5  #: less snow that is hidden is not noted
_DRAWN_ON = 0.98  #: a layer of which so large a share lies on another may be only drawn on it


@dataclass(frozen=True, kw_only=True, eq=False)
class Room:
    """Where new snow grows, whatever is white before it."""

    area: BaseGeometry  #: of falling snow without what hides it
    frame: Polygon | None
    edge: Polygon  #: rectangle that it is fitted into
    hides: tuple[BaseGeometry, ...] = ()
    bars: BaseGeometry = NOTHING
    figures: tuple[Figure, ...] = ()  #: that single flakes must not harm


@dataclass(frozen=True, kw_only=True, eq=False)
class GrowingRooms:
    """Where motifs may grow on a drawing."""

    drawing: LayeredDrawing
    plates: Sequence[Plate]  #: the blocks that print ink
    openings: PolygonArray
    hole_marks: Sequence[HoleMark]  #: what marks say of holes
    pictures: Mapping[str, BaseGeometry]  #: what of the picture is in the ink of each block, white and all
    _known: Known = field(default_factory=Known, init=False, repr=False)  #: by what else than the drawing it depends on

    @classmethod
    def on(cls, drawing: LayeredDrawing, plates: Sequence[Plate], openings: PolygonArray) -> GrowingRooms:
        """Those on a drawing with openings, for blocks that print ink."""
        print_ = drawing.print_
        face = geometry.box(print_.width_mm, print_.height_mm)
        return cls(
            drawing=drawing, plates=plates, openings=openings, hole_marks=hole_marks_of(print_, drawing),
            pictures={plate.name: painted(face, drawing.layers, plate) for plate in plates},
        )  # fmt: skip

    @property
    def face(self) -> Polygon:
        """The face of every block."""
        return geometry.box(self.drawing.print_.width_mm, self.drawing.print_.height_mm)

    def area(self, motif: PrintMotif, limits: Limits, key: str) -> BaseGeometry:
        """Where it may grow, whatever hides it."""
        clear = geometry.stack(
            self.drawing.shapes(text, f"{key}.keep_clear[{j}]") for j, text in enumerate(motif.keep_clear)
        )
        ground = replace(self._ground(motif), keep_clear=clear, openings=self.openings)
        area = place_on(ground, motif.settings, limits).area
        if motif.region:
            area = geometry.solid(
                shapely.intersection(area, geometry.union(self.drawing.shapes(motif.region, f"{key}.region")))
            )
        return area

    def some_area(self, motif: PrintMotif, limits: Limits, key: str) -> BaseGeometry:
        """The same, but there must be some, and something to lie on.

        Raises
        ------
        InputError
            If there is none.
        """
        area = self.area(motif, limits, key)
        if shapely.area(area) <= 0:
            raise InputError("finds no room", where="region, keep_clear, behind", hint="make what it avoids smaller")
        if motif.motif == "snowload" and not motif.on:
            raise InputError("has nothing to lie on", where="on", hint='name layers: on = ["POSTS"]')
        return area

    def _frame(self, motif: PrintMotif, limits: Limits) -> Polygon:
        """Where it would grow if nothing stood in its way."""
        return place_on(self._ground(motif), motif.settings, limits).edge

    def _ground(self, motif: PrintMotif) -> Ground:
        """The bare face."""
        print_ = self.drawing.print_
        return Ground(
            name=motif.motif, width_mm=print_.width_mm, height_mm=print_.height_mm,
            margin_mm=print_.margin_mm + print_.bleed_mm * (print_.margin_mm > 0),
            clearance_mm=motif.clearance_mm,
        )  # fmt: skip

    def hidden_by(self, motif: PrintMotif) -> BaseGeometry:
        """What hides a motif, wherever that lies: what it is behind, or all that is drawn."""
        return self.drawing.union(motif.behind if motif.front else self.drawing.names)

    def holes(self, motif: PrintMotif) -> tuple[tuple[BaseGeometry, str], ...]:
        """What holes are in what it lies on: as said of layers, and where marks lie on them as these say.

        What is drawn in a hole, in front of what most of its rim is, is its glass: there is no ledge in it.
        """
        walls = self.drawing.named(motif.on)
        holes = geometry.holes(geometry.parts(self.drawing.union(motif.on)))
        glazed: list[BaseGeometry] = []
        for k in np.unique(wall_of := _wall_of(holes, [wall.shape for wall in walls])).tolist():
            those = holes[wall_of == k]
            panes = self.drawing.union([layer.name for layer in self.drawing.in_front_of([walls[k].name])])
            glazed += [*those[shapely.area(shapely.intersection(those, panes)) > _MOSTLY * shapely.area(those)]]
        layers = [layer for layer in self.drawing.named(motif.on) if layer.gaps]
        marks = [mark for mark in self.hole_marks if not mark.motifs or motif.name in mark.motifs]
        return (
            *([(geometry.union(*glazed), "marks")] if glazed else []),
            *((geometry.union(geometry.holes(geometry.parts(layer.shape))), layer.gaps) for layer in layers),
            *((mark.shape, mark.meaning.gaps) for mark in marks),
        )

    def place(self, entry: PrintMotif, area: BaseGeometry) -> Place:
        """An area with what a motif lies on there."""
        shapes = geometry.parts(_bearers(self.drawing, entry))
        return Place(
            area=area, shapes=shapes, fronts=self.drawing.fronts(entry.on), holes=self.holes(entry),
            further_back=geometry.polygon_array(layer.shape for layer in self.drawing.further_back(entry.on)),
        )  # fmt: skip

    def room(self, motif: PrintMotif, area: BaseGeometry, limits: Limits, leaves: frozenset[str]) -> Room:
        """Where new snow grows of an area: lying snow on all that it lies on, whatever hides it."""
        if motif.motif == "snowfall":
            return self._sky(motif, area, limits, leaves)
        frame = self._frame(motif, limits)
        return Room(area=area, frame=frame, edge=frame)

    def _sky(self, motif: PrintMotif, area: BaseGeometry, limits: Limits, leaves: frozenset[str]) -> Room:
        """Where flakes fall: wherever nothing that is drawn hides them."""
        open_, by_depth = self.open_sky(motif, area, limits)
        frame = None if motif.region else self._frame(motif, limits)
        hides = (*by_depth, shapely.Polygon()) if motif.far_behind or motif.middle_behind else ()
        bars, figures = self._bars_and_figures(motif, limits, leaves)
        edge = shapely.box(*shapely.bounds(area)) if frame is None else frame
        return Room(area=open_, frame=frame, edge=edge, hides=hides, bars=bars, figures=figures)

    def _bars_and_figures(
        self, motif: PrintMotif, limits: Limits, leaves: frozenset[str]
    ) -> tuple[BaseGeometry, tuple[Figure, ...]]:
        """Bars, near which snow falls in single flakes, and figures that these must not harm."""

        def made() -> tuple[BaseGeometry, tuple[Figure, ...]]:
            bars, (dark, things) = self._readable.bars_and_figures(motif, leaves)
            alike = self._known.once(("dark", limits, leaves), lambda: with_lines(dark, limits))
            seen = alike, with_lines(things, limits)
            paper = self._readable.paper(limits)
            if not shapely.is_empty(paper):
                bars = shapely.union(bars, rims_along(paper, things))
            return bars, tuple(Figure(seen=each, settings=motif.settings, limits=limits, paper=paper) for each in seen)

        return self._known.once(("bars", *_sizes(motif), limits, leaves), made)

    def dark(self, leaves: frozenset[str]) -> BaseGeometry:
        """What the darkest of the inks that a motif leaves shows, but where it is the ground."""
        return self._readable.dark(leaves)[0]

    @cached_property
    def _readable(self) -> ReadableBars:
        return ReadableBars(drawing=self.drawing, plates=self.plates, pictures=self.pictures)

    def open_sky(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits
    ) -> tuple[BaseGeometry, list[BaseGeometry]]:
        """Where nothing hides flakes, which must be somewhere; and what hides the far ones and those in the middle."""
        hidden, *by_depth = self._hiding(motif, 0.0 if motif.settings.cut_at_edge else limits.land_mm)
        open_ = shapely.difference(area, hidden)
        if shapely.area(open_) <= 0:
            raise no_room("snow")
        return open_, by_depth

    def _hiding(self, motif: PrintMotif, land_mm: float) -> list[BaseGeometry]:
        """What hides all flakes, what far ones and what those in the middle, with so much land beside each."""

        def made() -> list[BaseGeometry]:
            hiding = [self.hidden_by(motif), *self._deeper(motif)]
            return [*shapely.buffer(hiding, land_mm, quad_segs=4)] if land_mm else hiding

        behind = motif.front, motif.behind, motif.far_behind, motif.middle_behind, motif.blocks
        return self._known.once(("hiding", *behind, *_sizes(motif), land_mm), made)

    def _deeper(self, motif: PrintMotif) -> list[BaseGeometry]:
        """What far flakes fall behind, and what those in the middle do: whole things, not their lines alone.

        A streak of a paler ink is none: a flake would end in a straight edge along it.
        """
        behind = motif.far_behind, motif.middle_behind, motif.blocks
        return self._known.once(("deeper", *behind, *_sizes(motif)), lambda: self._deep(motif))

    def _deep(self, motif: PrintMotif) -> list[BaseGeometry]:
        drawing, deep = self.drawing, list[Any]()
        leaves = frozenset(name for name in self.pictures if motif.leaves(name))
        for named in (motif.far_behind, motif.middle_behind):
            names = drawing.names if "*" in named else named
            whole, flats = self._readable.hiding(motif, names, leaves), self._outlined(names)
            deep.append(geometry.union(geometry.parts(whole), flats) if len(flats) else whole)
        return deep

    def _outlined(self, names: Sequence[str]) -> PolygonArray:
        return self._known.once(("outlined", *names), lambda: self.drawing.outlined(names))

    def surroundings(self, motif: PrintMotif, key: str) -> Surroundings:
        """What of the drawing a motif depends on, as it is drawn."""
        clear = [
            shape
            for j, text in enumerate(motif.keep_clear)
            for shape in self.drawing.shapes(text, f"{key}.keep_clear[{j}]")
        ]
        clear += [layer.shape for layer in self.drawing.in_front_of(motif.on)]
        if motif.region:
            region = geometry.union(self.drawing.shapes(motif.region, f"{key}.region"))
            clear.append(shapely.difference(self.face, region))
        bears = _bearers(self.drawing, motif)
        if motif.motif == "grain" and motif.on:
            clear.append(shapely.difference(self.face, bears))
        return Surroundings.of(
            bears=bears, clear=geometry.union(geometry.polygon_array([*clear, self.hidden_by(motif)]), self.openings),
            fronts=geometry.union(self.drawing.fronts(motif.on)) if motif.motif == "snowload" else None,
            hides=geometry.union(*map(geometry.parts, self._deeper(motif))) if motif.motif == "snowfall" else None,
            shore=self._shore(motif) if motif.motif == "snowload" else None,
        )  # fmt: skip

    def _shore(self, motif: PrintMotif) -> BaseGeometry:
        """Where a hill of a layer further back changes what lies, as `snowload.before_shore` tells."""
        settings = motif.settings
        assert isinstance(settings, Settings)

        def made() -> BaseGeometry:
            return before_shore(settings, self.place(motif, self.face))

        marks = [(shapely.to_wkb(mark.shape), mark.meaning.gaps) for mark in self.hole_marks]
        return self._known.once(("shore", motif.name, motif.on, settings, *marks), made)

    def set_aside(self, motif: PrintMotif) -> list[str]:
        """Notes of strokes on which no snow lies, taken for ripples: how many, where, and how snow comes there."""
        return [
            f"{motif.called}: no snow lies on {len(lines)} thin level lines drawn on {ground}, the first at "
            f"{x:.0f}, {y:.0f} mm: they are taken for ripples; if snow is to lie there, draw them on a layer of their "
            "own and name it in `on`"
            for ground, lines in self.drawing.ripples(motif.on).items()
            for x, y, _, _ in shapely.bounds(lines[:1]).tolist()
        ]

    def in_front(self, motif: PrintMotif, white: BaseGeometry) -> tuple[BaseGeometry, list[str]]:
        """What stands in front of the layer on which the snow lies, and notes where it may only be drawn on it.

        Snow on a nearer layer that leans over a thing behind that layer stays in front of the thing.
        """
        front, notes, heaps = list[Any](), list[str](), geometry.parts(white)
        for layer in self.drawing.in_front_of(motif.on):
            behind = [name for name in motif.on if layer in self.drawing.in_front_of([name])]
            nearer = self.drawing.union([name for name in motif.on if name not in behind])
            over = geometry.parts(shapely.intersection(white, layer.shape))
            if len(over):
                alone = ~shapely.dwithin(heaps, self.drawing.union(behind), APART_MM)  # a cap crosses what is behind
                caps = geometry.union(heaps[alone & shapely.dwithin(heaps, nearer, APART_MM)])
                over = over[~shapely.dwithin(over, nearer, APART_MM) & ~shapely.intersects(over, caps)]
            front += [layer.shape] if shapely.is_empty(nearer) else list(over)
            notes += self._hiding_note(motif, layer, behind, over)
        return geometry.union(geometry.polygon_array(front)), notes

    def _hiding_note(self, motif: PrintMotif, layer: Layer, behind: Sequence[str], hides: PolygonArray) -> list[str]:
        """A note where what hides snow may only be drawn on the thing, such as its lit side."""
        inside = shapely.intersection(layer.shape, self.drawing.union(behind))
        lost = float(shapely.area(hides).sum())
        if lost < _NOTED_MM2 or shapely.area(inside) < _DRAWN_ON * shapely.area(layer.shape):
            return []
        return [
            f"{motif.called}: {layer.name} stands in front of {', '.join(behind)} and hides "
            f"{lost:.1f} mm² of the snow there; if it is only drawn on it, name it in `on`, too"
        ]


def _bearers(drawing: LayeredDrawing, motif: PrintMotif) -> BaseGeometry:
    """What of a drawing a motif lies on or grows from."""
    return drawing.bearing(motif.on) if motif.motif == "snowload" else drawing.union(motif.on)


def _sizes(motif: PrintMotif) -> tuple[float, float]:
    """Of its settings, all that tells a bar from a line."""
    return motif.settings.smallest_mm, motif.settings.largest_mm


def _wall_of(holes: PolygonArray, shapes: Sequence[BaseGeometry]) -> Indices:
    """The number of the shape that most of each hole's rim belongs to; (n,)."""
    if not len(holes) or not shapes:
        return np.empty(0, dtype=np.int64)
    along = np.arange(_ON_RIM) / _ON_RIM
    rim = shapely.line_interpolate_point(shapely.get_exterior_ring(holes)[:, None], along, normalized=True)
    near = [shapely.dwithin(geometry.prepared(shape), rim, _TOUCHES_MM).sum(axis=1) for shape in shapes]
    return np.asarray(np.argmax(near, axis=0))


def kept_out(hidden: BaseGeometry, before: BaseGeometry, limits: Limits) -> Any:  # noqa: ANN401
    """What a motif keeps out of: what hides it, and earlier white with the land that must stay round that."""
    return shapely.union(hidden, shapely.buffer(before, limits.land_mm + APART_MM, quad_segs=4))
