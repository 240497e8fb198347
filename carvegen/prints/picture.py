"""The picture to be printed: its layers, the motifs grown on it once for all blocks, and what stays white."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, place_on, strictest
from carvegen.motifs import motif
from carvegen.motifs.growth import Growth, Place
from carvegen.motifs.shared.minimum_width import held
from carvegen.prints.file.print_file import in_keys
from carvegen.prints.flake_fit import settled
from carvegen.prints.layers import Drawing, drawing_of
from carvegen.prints.separation import painted

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.prints.file.print_file import Print, PrintMotif
    from carvegen.prints.separation import Layer, Plate

__all__ = ["Picture", "White", "pictured"]

_TOLD_MM2 = 0.5  #: less snow that is hidden is not told
_DRAWN_ON = 0.98  #: a layer of which so large a share lies on another may be only drawn on it
_APART_MM = 0.02  #: so much more than the land is left between motifs, for the grid's sake


@dataclass(frozen=True, kw_only=True, eq=False)
class White:
    """Something that stays bare paper on the blocks that it leaves."""

    name: str
    shapes: PolygonArray
    leaves: frozenset[str]  #: names of blocks
    free: PolygonArray = field(default_factory=geometry.empty)  #: fringe that the carver may take too


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """What is to be printed, print view, mm."""

    face: BaseGeometry
    drawing: Drawing
    whites: tuple[White, ...]
    openings: PolygonArray
    notes: tuple[
        str, ...
    ] = ()  #: what came otherwise than asked, and snow hidden by layers that may only be drawn on what it lies on

    @property
    def bare(self) -> BaseGeometry:
        """Where bare paper is asked for: snow, highlights, what is pressed, openings."""
        return _union([self.openings, *(white.shapes for white in self.whites)])

    def left_bare(self, block: str) -> BaseGeometry:
        """Snow, highlights and what is pressed, as far as it leaves a block."""
        return _union([white.shapes for white in self.whites if block in white.leaves])

    def white_for(self, block: str) -> BaseGeometry:
        """All that must not print on a block, its openings too."""
        return _union([self.openings, *(white.shapes for white in self.whites if block in white.leaves)])

    def free_for(self, block: str) -> BaseGeometry:
        """Where the carver may take more from a block."""
        return _union([white.free for white in self.whites if block in white.leaves])


def pictured(
    given: Print, plates: Sequence[Plate], limits: Mapping[str, Limits], *, say: Callable[[str], None]
) -> Picture:
    """The picture of a print, its motifs grown.

    Each motif has a stream of its own under the print's seed, so that one more of another kind changes nothing in it;
    but later ones keep clear of what earlier ones have made white.

    Parameters
    ----------
    plates
        The blocks that print ink.
    limits
        Of each block, by name.

    Raises
    ------
    InputError
        If a drawing can't be read, or a motif finds no room; with the key.
    """
    drawing = drawing_of(given)
    dabbed = frozenset(block.name for block in given.blocks if block.role == "stencil")
    inked = frozenset(plate.name for plate in plates) | dabbed
    openings = geometry.snapped(geometry.joined(_shapes(drawing, "openings", given.openings)))
    face = geometry.box(given.width_mm, given.height_mm)
    if not shapely.contains_properly(face, openings).all():
        hint = "move it, or make it smaller"
        raise InputError("must lie inside the blocks", where=given.place("openings"), hint=hint)
    pressed = [drawing.union(block.layers) for block in given.blocks if block.role == "emboss" and block.layers]
    lights = geometry.stack([_shapes(drawing, "highlights", given.highlights), geometry.parts(pressed)])
    lights = geometry.snapped(geometry.joined(lights))
    whites = [White(name="paper", shapes=lights, leaves=inked)] if len(lights) else []
    grower = _Grower(drawing, plates, limits, openings)
    for k, its in enumerate(given.motifs):
        say(f"growing {its.motif} {k + 1} of {len(given.motifs)}")
        try:
            whites.append(grower.grown(its, whites, f"motifs[{k}]"))
        except InputError as error:
            raise in_keys(error, given, f"motifs[{k}]") from None
    return Picture(face=face, drawing=drawing, whites=tuple(whites), openings=openings, notes=tuple(grower.notes))


def _shapes(drawing: Drawing, key: str, texts: Sequence[str]) -> PolygonArray:
    return geometry.stack(drawing.shapes(text, f"{key}[{k}].shape") for k, text in enumerate(texts))


class _Grower:
    """Where motifs may grow on a drawing, and under which limits."""

    def __init__(
        self, drawing: Drawing, plates: Sequence[Plate], limits: Mapping[str, Limits], openings: PolygonArray
    ) -> None:
        self.drawing, self.given, self.openings = drawing, drawing.given, openings
        self.limits = limits
        self.face = geometry.box(self.given.width_mm, self.given.height_mm)
        self.pictures = {plate.name: painted(self.face, drawing.layers, plate) for plate in plates}
        self.stencils = [block.name for block in self.given.blocks if block.role == "stencil"]
        self.notes: list[str] = []

    def grown(self, its: PrintMotif, whites: Sequence[White], key: str) -> White:
        """One motif, out of the blocks that it leaves."""
        leaves = frozenset(name for name in self.pictures if its.leaves(name))
        if not leaves:
            raise InputError("leaves no block that prints ink", value=list(its.blocks), where="blocks",
                             hint="name a key, tone or background block")  # fmt: skip
        limits = strictest(self.limits[name] for name in sorted(leaves))
        before = _union([white.shapes for white in whites])
        work = {"snowfall": self._fallen, "snowload": self._loaded}.get(its.motif, self._textured)
        area = self._area(its, limits, key)
        if shapely.area(area) <= 0:
            raise InputError("finds no room", where="region, keep_clear, behind", hint="make what it avoids smaller")
        found = work(its, area, limits, before, leaves)
        masks = {name for name in self.stencils if its.leaves(name)}
        return White(name=f"{its.motif} {its.nth + 1}", shapes=found.cuts, leaves=leaves | masks, free=found.free)

    def _area(self, its: PrintMotif, limits: Limits, key: str) -> BaseGeometry:
        """Where it may grow, whatever hides it."""
        clear = geometry.stack(
            self.drawing.shapes(text, f"{key}.keep_clear[{j}]") for j, text in enumerate(its.keep_clear)
        )
        ground = replace(self._ground(its), keep_clear=clear, openings=self.openings)
        area = place_on(ground, its.settings, limits).area
        if its.region:
            area = geometry.solid(
                shapely.intersection(area, _union([self.drawing.shapes(its.region, f"{key}.region")]))
            )
        return area

    def _frame(self, its: PrintMotif, limits: Limits) -> Polygon | None:
        """Where it would grow if nothing stood in its way."""
        return place_on(self._ground(its), its.settings, limits).frame

    def _ground(self, its: PrintMotif) -> Ground:
        """The bare face."""
        return Ground(
            name=its.motif, width_mm=self.given.width_mm, height_mm=self.given.height_mm,
            margin_mm=self.given.margin_mm + self.given.bleed_mm * (self.given.margin_mm > 0),
            clearance_mm=its.clearance_mm,
        )  # fmt: skip

    def _hidden_by(self, its: PrintMotif) -> BaseGeometry:
        return self.drawing.union(its.behind if its.front else self.drawing.names)

    def _grow(self, its: PrintMotif, area: BaseGeometry, limits: Limits, *, frame: Polygon | None = None) -> Growth:
        rng = stream(self.given.seed, "print", its.motif, str(its.nth))
        place = Place(area=area, frame=frame, shapes=geometry.parts(self.drawing.union(its.on)))
        growth = motif(its.motif).grow(its.settings, place, limits, rng)
        if growth.remark:
            self.notes.append(f"{its.motif} {its.nth + 1}: {growth.remark}")
        return growth

    def _fallen(
        self, its: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """Flakes: those too near to other white, or that leave slivers of a block, are left out whole."""
        hidden = self._hidden_by(its)
        if not its.settings.cut_at_edge:
            hidden = shapely.buffer(hidden, limits.land_mm, quad_segs=4)
        frame = None if its.region else self._frame(its, limits)
        flakes = self._grow(its, shapely.difference(area, hidden), limits, frame=frame).cuts
        flakes = flakes[~shapely.dwithin(flakes, before, limits.land_mm + _APART_MM)] if len(flakes) else flakes
        for name in sorted(leaves):
            flakes = settled(flakes, self.pictures[name], limits)
        return Growth(cuts=flakes)

    def _loaded(
        self, its: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """Lying snow: grown whole, then hidden where something stands in front of what it lies on."""
        if not its.on:
            raise InputError("has nothing to lie on", where="on", hint='name layers: on = ["POSTS"]')
        snow = self._grow(its, area, limits)
        hidden = _grown(self._hidden_by(its), before, limits)
        hidden = shapely.union(hidden, self._in_front(its, snow, hidden))
        if shapely.is_empty(hidden):
            return snow
        seen = shapely.difference(area, hidden)
        cuts = held(shapely.difference(_union([snow.cuts]), hidden), seen, limits)
        return Growth(cuts=cuts, free=geometry.parts(shapely.intersection(snow.free, seen)))

    def _in_front(self, its: PrintMotif, snow: Growth, hidden: BaseGeometry) -> BaseGeometry:
        """What stands in front of the layer on which the snow lies.

        Snow on a nearer layer that leans over a thing behind that layer stays in front of the thing.
        """
        front, white = list[Any](), shapely.difference(_union([snow.cuts]), hidden)
        for layer in self.drawing.in_front_of(its.on):
            behind = [name for name in its.on if layer in self.drawing.in_front_of([name])]
            nearer = self.drawing.union([name for name in its.on if name not in behind])
            over = geometry.parts(shapely.intersection(white, layer.shape))
            over = over[~shapely.dwithin(over, nearer, _APART_MM)] if len(over) else over
            front += [layer.shape] if shapely.is_empty(nearer) else list(over)
            self._note(its, layer, behind, over)
        return _union([geometry.polygon_array(front)])

    def _note(self, its: PrintMotif, layer: Layer, behind: Sequence[str], hides: PolygonArray) -> None:
        """Say it where what hides snow may only be drawn on the thing, such as its lit side."""
        inside = shapely.intersection(layer.shape, self.drawing.union(behind))
        lost = float(shapely.area(hides).sum())
        if lost >= _TOLD_MM2 and shapely.area(inside) >= _DRAWN_ON * shapely.area(layer.shape):
            self.notes.append(
                f"{its.motif} {its.nth + 1}: {layer.name} stands in front of {', '.join(behind)} and hides "
                f"{lost:.1f} mm² of the snow there; if it is only drawn on it, name it in `on`, too"
            )

    def _textured(
        self, its: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """Grain or frost: not under what stands in front of the layers that it is on."""
        front = [layer.shape for layer in self.drawing.in_front_of(its.on)]
        hidden = shapely.union_all(geometry.polygon_array([self._hidden_by(its), *front]))
        return self._grow(its, shapely.difference(area, _grown(hidden, before, limits)), limits)


def _grown(hidden: BaseGeometry, before: BaseGeometry, limits: Limits) -> Any:  # noqa: ANN401
    """What a motif keeps out of: what hides it, and earlier white with the land that must stay round that."""
    return shapely.union(hidden, shapely.buffer(before, limits.land_mm + _APART_MM, quad_segs=4))


def _union(arrays: Sequence[PolygonArray]) -> BaseGeometry:
    return geometry.union(*arrays)
