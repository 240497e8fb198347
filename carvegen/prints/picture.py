"""The picture to be printed: its layers, the motifs grown on it once for all blocks, and what stays white."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import dataclass, field, replace
from functools import cache, partial
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, place_on, strictest
from carvegen.marking.adapting import APART_MM
from carvegen.marking.applying import Bed, settled_by
from carvegen.marking.kept_file import Surroundings, read_kept
from carvegen.marking.refitting import grew_in
from carvegen.motifs import motif
from carvegen.motifs.growth import Growth, Place, no_room, plain
from carvegen.motifs.shared.minimum_width import within
from carvegen.motifs.shared.over_edge import ground_over, held_over
from carvegen.motifs.snowfall.readable import mass_mm2, uncut
from carvegen.prints.file.print_file import in_keys
from carvegen.prints.flake_fit import settled
from carvegen.prints.kept_motifs import Grown, KeptReader, from_file, kept_of, levels_of
from carvegen.prints.layers import LayeredDrawing, drawing_of, runs_across
from carvegen.prints.marked.marked_whites import White, hole_marks_of, marks_of, stays_on, with_marks
from carvegen.prints.separation import Run, Say, in_turn, painted

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding
    from carvegen.base.limits import Limits
    from carvegen.geometry import Indices, PolygonArray
    from carvegen.marking.kept_file import Kept
    from carvegen.marking.marks import Mark
    from carvegen.prints.file.print_file import Print, PrintMotif
    from carvegen.prints.separation import Layer, Plate

__all__ = ["Growths", "Picture", "Unmarked", "pictured", "unmarked"]

_TOUCHES_MM, _ON_RIM = 0.01, 16  #: what is so near to a hole is round it, seen at so many places of its rim
_MOSTLY = 0.5  #: of a shape that is painted on another lies there
_NOTED_MM2 = 0.5  #: less snow that is hidden is not noted
_DRAWN_ON = 0.98  #: a layer of which so large a share lies on another may be only drawn on it
_LOST = 0.01  #: of the face: so much falling snow is left out untold
_BROAD = 4.0  #: of the largest flakes: masses lie in front of what is so wide; our own choice
_GROUND = 2.0  #: or so wide, if it runs from side to side: behind a hill they would end straight along its foot
_LINE = 2.0  #: of the smallest flakes: what is narrower in a paler ink is a line, and snow falls over it; the same
_THICK = 0.8  #: of its area, or it is a line even so
_PLAIN = 0.02  #: in that, how near to an outline is near enough to tell so
_NOTHING = shapely.Polygon()
_AT_WORK = {"snowfall": "letting snow fall", "snowload": "letting snow lie"}  #: what is said meanwhile
_SNOW = frozenset({"snowfall", "snowload"})  #: grows the same whatever is white before it, and is fitted to that then


class Growths(Protocol):
    """What remembers how motifs have grown."""

    def __call__(self, key: str, grow: Callable[[], tuple[Growth, Sequence[str]]]) -> tuple[Growth, Sequence[str]]:
        """What `grow` gives, a growth and what is to be said of it, or what it gave before under the same key."""


class _Grow(Protocol):
    """A motif in an area."""

    def __call__(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits, /, *, frame: Polygon | None = None,
        hides: tuple[BaseGeometry, ...] = (), bars: BaseGeometry = _NOTHING,
    ) -> Growth: ...  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """What is to be printed, print view, mm."""

    face: BaseGeometry
    drawing: LayeredDrawing
    whites: tuple[White, ...]
    openings: PolygonArray
    notes: tuple[str, ...] = ()  #: what came otherwise than asked; snow hidden by what is only drawn on its bearer
    motifs: tuple[Grown, ...] = ()  #: what there is of each, grown or kept
    findings: Mapping[str, tuple[Finding, ...]] = field(default_factory=dict)  #: of kept motifs, by block
    marks: tuple[Mark, ...] = ()
    _unions: dict[tuple[tuple[White, ...], bool], BaseGeometry] = field(default_factory=dict, init=False, repr=False)

    @property
    def bare(self) -> BaseGeometry:
        """Where bare paper is asked for: snow, highlights, what is pressed, openings."""
        return self._united(self.whites, openings=True)

    def left_bare(self, block: str) -> BaseGeometry:
        """Snow, highlights and what is pressed, as far as it leaves a block."""
        return self._united(self._leaving(block), openings=False)

    def white_for(self, block: str) -> BaseGeometry:
        """All that must not print on a block, its openings too."""
        return self._united(self._leaving(block), openings=True)

    def free_for(self, block: str) -> BaseGeometry:
        """Where the carver may take more from a block."""
        return _union([white.free for white in self._leaving(block)])

    def _leaving(self, block: str) -> tuple[White, ...]:
        return tuple(white for white in self.whites if block in white.leaves)

    def _united(self, whites: tuple[White, ...], *, openings: bool) -> BaseGeometry:
        """Many thousand flakes in one, for each set of whites once."""
        key = whites, openings
        if key not in self._unions:
            self._unions[key] = _flakes([*([self.openings] if openings else []), *(white.shapes for white in whites)])
        return self._unions[key]

    def to_decide_for(self, block: str) -> BaseGeometry:
        """What marks leave to the carver on a block."""
        return _union([white.to_decide for white in self._leaving(block)])

    def stays_on(self, block: str) -> BaseGeometry:
        """What is marked to stay on a block."""
        return stays_on(self.marks, block)


@dataclass(frozen=True, kw_only=True, eq=False)
class Unmarked:
    """What is to be printed before anything is marked on it."""

    face: BaseGeometry
    drawing: LayeredDrawing
    pictures: Mapping[str, BaseGeometry]  #: what of the picture is in the ink of each block, white and all
    whites: tuple[White, ...]  #: what is bare by itself, if there is such, then the motifs in order
    inked: frozenset[str]  #: names of the blocks that print ink
    openings: PolygonArray
    beds: tuple[Bed, ...]  #: of each motif
    motifs: tuple[Grown, ...]
    notes: tuple[str, ...]
    findings: Mapping[str, tuple[Finding, ...]]


def pictured(
    print_: Print, plates: Sequence[Plate], limits: Mapping[str, Limits], *, say: Callable[[str], None],
    run: Run = in_turn,
) -> Picture:  # fmt: skip
    """The picture of a print, its motifs grown and what is marked on them done.

    Parameters
    ----------
    plates
        The blocks that print ink.
    limits
        Of each block, by name.
    run
        Does what does not need one another, each told `say`: what of the motifs does not ask what is white already.

    Raises
    ------
    InputError
        If a drawing can't be read, marks contradict one another, or a motif finds no room; with the key.
    """
    drawing, openings = _drawn(print_)
    marks = marks_of(print_, drawing, geometry.union(openings))
    bare = _unmarked(drawing, openings, plates, limits, say=say, run=run)
    whites = with_marks(bare.whites, marks.marks, bare.inked, bare.beds)
    return Picture(
        face=bare.face, drawing=drawing, whites=tuple(whites), openings=openings, marks=marks.marks,
        notes=(*bare.notes, *marks.notes), motifs=bare.motifs, findings=bare.findings,
    )  # fmt: skip


def unmarked(
    print_: Print, plates: Sequence[Plate], limits: Mapping[str, Limits], *, say: Callable[[str], None],
    read: KeptReader = read_kept, growths: Growths | None = None,
) -> Unmarked:  # fmt: skip
    """The picture of a print as it is before marks, as `pictured` takes it.

    Parameters
    ----------
    read
        Reads kept files.
    growths
        Remembers what has grown; by default all grows anew.
    """
    return _unmarked(*_drawn(print_), plates, limits, say=say, read=read, growths=growths)


def _drawn(print_: Print) -> tuple[LayeredDrawing, PolygonArray]:
    """The drawing, and what is cut through every block."""
    drawing = drawing_of(print_)
    openings = geometry.snapped(geometry.joined(_shapes(drawing, "openings", print_.openings)))
    if not shapely.contains_properly(geometry.box(print_.width_mm, print_.height_mm), openings).all():
        hint = "move it, or make it smaller"
        raise InputError("must lie inside the blocks", where=print_.place("openings"), hint=hint)
    return drawing, openings


def _unmarked(
    drawing: LayeredDrawing, openings: PolygonArray, plates: Sequence[Plate], limits: Mapping[str, Limits], *,
    say: Callable[[str], None], read: KeptReader = read_kept, growths: Growths | None = None, run: Run | None = None,
) -> Unmarked:  # fmt: skip
    """What is bare by itself and each motif, grown or kept.

    Each motif has a stream of its own under the print's seed, so that one more of another kind changes nothing in it;
    but later ones keep clear of what earlier ones have made white.
    """
    print_ = drawing.print_
    dabbed = frozenset(block.name for block in print_.blocks if block.role == "stencil")
    inked = frozenset(plate.name for plate in plates) | dabbed
    pressed = [drawing.union(block.layers) for block in print_.blocks if block.role == "emboss" and block.layers]
    lights = geometry.stack([_shapes(drawing, "highlights", print_.highlights), geometry.parts(pressed)])
    lights = geometry.snapped(geometry.joined(lights))
    whites = [White(name="paper", shapes=lights, leaves=inked)] if len(lights) else []
    grower = _Grower(drawing, plates, limits, openings, read=read, growths=growths, say=say)
    grower.check()
    if run is not None:
        grower.begin(run)
    for k, entry in enumerate(print_.motifs):
        if (key := f"motifs[{k}]") not in grower.begun:
            say(_stage(print_, k))
        with _keys_of(print_, k):
            whites.append(grower.grown(entry, whites, key))
    remarks = [note for _, grown in grower.motifs for note in grown.notes]
    return Unmarked(
        face=grower.face, drawing=drawing, pictures=grower.pictures, whites=tuple(whites), inked=inked,
        openings=openings, beds=tuple(grower.bed(k) for k in range(len(print_.motifs))),
        motifs=tuple(grown for _, grown in grower.motifs), notes=(*dict.fromkeys(grower.notes), *remarks),
        findings=grower.findings(),
    )  # fmt: skip


def _stage(print_: Print, k: int) -> str:
    """What is said while a motif grows."""
    name = print_.motifs[k].motif
    return f"{_AT_WORK.get(name, f'growing {name}')}, {k + 1} of {len(print_.motifs)}"


def _shapes(drawing: LayeredDrawing, key: str, texts: Sequence[str]) -> PolygonArray:
    return geometry.stack(drawing.shapes(text, f"{key}[{k}].shape") for k, text in enumerate(texts))


def _sprouted(seed: int, entry: PrintMotif, place: Place, limits: Limits) -> Growth:
    """A motif in its place, from its own stream under the print's seed."""
    rng = stream(seed, "print", entry.motif, str(entry.nth))
    return motif(entry.motif).grow(entry.settings, place, limits, rng)


def _beside_others(grow: Callable[[], Growth], stage: str, say: Say) -> Growth | InputError:
    """What grows, maybe in a process of its own: `grow` holds values alone, a print or `say` can't always be sent."""
    say(stage)
    try:
        return grow()
    except InputError as error:  # which motif it is of is known where it was begun
        return error


@contextmanager
def _keys_of(print_: Print, k: int) -> Iterator[None]:
    """Faults of motif k are told with its key."""
    try:
        yield
    except InputError as error:
        raise in_keys(error, print_, f"motifs[{k}]") from None


@dataclass(frozen=True, kw_only=True, eq=False)
class _Room:
    """Where new snow grows, whatever is white before it."""

    area: BaseGeometry  #: of falling snow without what hides it
    frame: Polygon | None
    edge: Polygon  #: rectangle that it is fitted into
    hides: tuple[BaseGeometry, ...] = ()
    bars: BaseGeometry = _NOTHING
    figures: tuple[BaseGeometry, ...] = ()  #: that single flakes must not harm


_Begun = tuple[_Room, Growth]  #: new snow as it grew there


class _Grower:
    """Where motifs may grow on a drawing, and under which limits."""

    def __init__(
        self, drawing: LayeredDrawing, plates: Sequence[Plate], limits: Mapping[str, Limits], openings: PolygonArray,
        *, read: KeptReader, growths: Growths | None, say: Callable[[str], None],
    ) -> None:  # fmt: skip
        self.read, self.growths, self.plates, self.say = read, growths, plates, say
        self.drawing, self.print_, self.openings = drawing, drawing.print_, openings
        self.hole_marks = hole_marks_of(drawing.print_, drawing)
        self.limits = limits
        self.face = geometry.box(self.print_.width_mm, self.print_.height_mm)
        self.pictures = {plate.name: painted(self.face, drawing.layers, plate) for plate in plates}
        self.stencils = [block.name for block in self.print_.blocks if block.role == "stencil"]
        self.notes: list[str] = []
        self.motifs: list[tuple[frozenset[str], Grown]] = []  #: with the blocks that print ink and that it leaves
        self.begun: dict[str, _Begun] = {}  #: by the key of each motif that was begun

    def check(self) -> None:
        """Read kept files and look for room, before anything grows; all that is at fault is told, with its keys.

        Raises
        ------
        InputError
            If a kept file can't be used, or a motif finds no room.
        """
        faults: list[InputError] = []
        for k, entry in enumerate(self.print_.motifs):
            try:
                with _keys_of(self.print_, k):
                    self._check(entry, f"motifs[{k}]")
            except InputError as error:
                faults.append(error)
        if len(faults) == 1:
            raise faults[0]
        if faults:
            first, *more = faults
            hints = dict.fromkeys(fault.hint for fault in faults if fault.hint)
            message = "; ".join([first.message, *map(str, more)])
            raise InputError(message, value=first.value, where=first.where, hint="; ".join(hints))

    def _check(self, entry: PrintMotif, key: str) -> None:
        if entry.kept:
            self.read = _once_read(self.read, self.print_, entry, key)
            return
        limits = self._strictest(self._left_by(entry))
        area = self._some_area(entry, limits, key)
        if entry.motif == "snowfall":
            self._open_sky(entry, area, limits)

    def begin(self, run: Run) -> None:
        """Grow what of new snow does not depend on what is white before it, motif beside motif."""
        snow = {k: entry for k, entry in enumerate(self.print_.motifs) if not entry.kept and entry.motif in _SNOW}
        if len(snow) < 2:
            return
        rooms: dict[int, _Room] = {}
        for k, entry in snow.items():
            leaves = self._left_by(entry)
            with _keys_of(self.print_, k):
                area = self._some_area(entry, self._strictest(leaves), f"motifs[{k}]")
                rooms[k] = self._room(entry, area, self._strictest(leaves), leaves)
        growths = run({f"motifs[{k}]": self._task(k, room) for k, room in rooms.items()}, self.say)
        for (k, room), growth in zip(rooms.items(), growths.values(), strict=True):
            with _keys_of(self.print_, k):
                if isinstance(growth, InputError):
                    raise growth
            self.begun[f"motifs[{k}]"] = room, growth

    def _task(self, k: int, room: _Room) -> Callable[[Say], Growth | InputError]:
        """What lets motif k grow in its room."""
        entry = self.print_.motifs[k]
        place = replace(self._place(entry, room.area), frame=room.frame, hides=room.hides, bars=room.bars)
        grow = partial(_sprouted, self.print_.seed, entry, place, self._strictest(self._left_by(entry)))
        return partial(_beside_others, grow, _stage(self.print_, k))

    def _strictest(self, leaves: frozenset[str]) -> Limits:
        """The limits of all of these blocks."""
        return strictest(self.limits[name] for name in sorted(leaves))

    def _left_by(self, motif: PrintMotif) -> frozenset[str]:
        """The blocks that print ink and that a motif leaves: one at least."""
        leaves = frozenset(name for name in self.pictures if motif.leaves(name))
        if not leaves:
            raise InputError("leaves no block that prints ink", value=list(motif.blocks), where="blocks",
                             hint="name a key, tone, background or ground block")  # fmt: skip
        return leaves

    def grown(self, motif: PrintMotif, whites: Sequence[White], key: str) -> White:
        """One motif, out of the blocks that it leaves."""
        leaves = self._left_by(motif)
        limits = self._strictest(leaves)
        before = _flakes([white.shapes for white in whites])
        grown = self._growth(motif, limits, before, leaves, key)
        self.motifs.append((leaves, grown))
        masks = {name for name in self.stencils if motif.leaves(name)}
        growth = grown.growth
        return White(name=motif.name, shapes=growth.cuts, leaves=leaves | masks, free=growth.free)

    def _growth(
        self, motif: PrintMotif, limits: Limits, before: BaseGeometry, leaves: frozenset[str], key: str
    ) -> Grown:
        """What there is of a motif: the one place where its shapes come from, kept or grown."""

        def grow(own: PrintMotif, seed: int) -> Growth:
            grower = copy(self)
            grower.print_ = replace(self.print_, seed=seed)
            return plain(grower._grown(own, limits, before, leaves, key))

        def surroundings() -> Surroundings:
            return self._surroundings(motif, key)

        if not motif.kept:
            anew = partial(grow, motif, self.print_.seed)
            growth = self._remembered(motif, limits, before, key, anew) if self.growths is not None else anew()
            return Grown(motif=motif, growth=growth, surroundings=surroundings)
        if any(motif.name in mark.motifs or not mark.motifs for mark in self.hole_marks) and motif.motif == "snowload":
            self.notes.append(f"{motif.name} is kept: marks that say what holes are hold only where it grows again")
        return from_file(
            self.print_, motif, key, limits, grow=grow, surroundings=surroundings,
            room=lambda: shapely.difference(self._area(motif, limits, key), self._hidden_by(motif)), read=self.read,
            beside=geometry.stack(shapes for _, other in self.motifs for shapes in (other.gone, other.come)),
            before=before,
        )  # fmt: skip

    def _remembered(
        self, motif: PrintMotif, limits: Limits, before: BaseGeometry, key: str, grow: Callable[[], Growth]
    ) -> Growth:
        """What has grown, anew only if anything is otherwise that it depends on."""
        assert self.growths is not None
        print_, around = self.print_, self._surroundings(motif, key)
        plates = [replace(plate, layers=frozenset()) for plate in self.plates]
        fingerprint = hashlib.sha256(repr((
            motif, limits, print_.seed, print_.width_mm, print_.height_mm, print_.margin_mm, print_.bleed_mm, plates,
            [sorted(plate.layers) for plate in self.plates], [layer.name for layer in self.drawing.layers],
            [word for _, word in self._holes(motif)],
        )).encode())  # fmt: skip
        shapes = [*(layer.shape for layer in self.drawing.layers), *(area for area, _ in self._holes(motif))]
        for wkb in shapely.to_wkb([before, around.bears, around.clear, geometry.union(self.openings), *shapes]):
            fingerprint.update(len(wkb).to_bytes(8, "little") + wkb)

        def grown() -> tuple[Growth, Sequence[str]]:
            count = len(self.notes)
            growth = grow()
            return growth, self.notes[count:]

        count = len(self.notes)
        growth, notes = self.growths(fingerprint.hexdigest(), grown)
        self.notes[count:] = notes
        return growth

    def _surroundings(self, motif: PrintMotif, key: str) -> Surroundings:
        """What of the drawing a motif depends on, as it is drawn."""
        clear = [
            shape
            for j, text in enumerate(motif.keep_clear)
            for shape in self.drawing.shapes(text, f"{key}.keep_clear[{j}]")
        ]
        clear += [layer.shape for layer in self.drawing.in_front_of(motif.on)]
        if motif.region:
            clear.append(shapely.difference(self.face, _union([self.drawing.shapes(motif.region, f"{key}.region")])))
        bears = self.drawing.union(motif.on)
        if motif.motif == "grain" and motif.on:
            clear.append(shapely.difference(self.face, bears))
        return Surroundings.of(
            bears=bears, clear=_union([geometry.polygon_array([*clear, self._hidden_by(motif)]), self.openings]),
            fronts=geometry.union(self.drawing.fronts(motif.on)) if motif.motif == "snowload" else None,
            hides=geometry.union(*map(geometry.parts, self._deeper(motif))) if motif.motif == "snowfall" else None,
        )  # fmt: skip

    def _grown(
        self, motif: PrintMotif, limits: Limits, before: BaseGeometry, leaves: frozenset[str], key: str
    ) -> Growth:
        """What grows of a motif on the drawing as it is now."""
        if key in self.begun:
            self._note_remark(motif, self.begun[key][1])
            return self._fitted(motif, self.begun[key], limits, before, leaves)
        area = self._some_area(motif, limits, key)
        return self._grown_in(motif, area, limits, before, leaves, grow=self._grow)

    def _grown_in(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, leaves: frozenset[str],
        *, grow: _Grow,
    ) -> Growth:  # fmt: skip
        """What grows of a motif in an area."""
        if motif.motif not in _SNOW:
            return self._textured(motif, area, limits, before, grow)
        room = self._room(motif, area, limits, leaves)
        growth = grow(motif, room.area, limits, frame=room.frame, hides=room.hides, bars=room.bars)
        return self._fitted(motif, (room, growth), limits, before, leaves)

    def _fitted(
        self, motif: PrintMotif, begun: _Begun, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """New snow, fitted to what is white before it."""
        fit = self._fallen if motif.motif == "snowfall" else self._loaded
        return fit(motif, begun, limits, before, leaves)

    def _room(self, motif: PrintMotif, area: BaseGeometry, limits: Limits, leaves: frozenset[str]) -> _Room:
        """Where new snow grows of an area: lying snow on all that it lies on, whatever hides it."""
        if motif.motif == "snowfall":
            return self._sky(motif, area, limits, leaves)
        frame = self._frame(motif, limits)
        return _Room(area=area, frame=frame, edge=frame)

    def bed(self, k: int, by: Limits | None = None) -> Bed:
        """Motif k as marks need to know it, by its own limits or by those that it had before."""
        entry, (leaves, grown) = self.print_.motifs[k], self.motifs[k]
        limits = by or self._strictest(leaves)
        area = self._area(entry, limits, f"motifs[{k}]")

        def grow(settings: Any, place: Place, rng: Generator) -> PolygonArray:  # noqa: ANN401
            def at(
                entry: PrintMotif, area: BaseGeometry, limits: Limits, *, frame: Polygon | None = None,
                hides: tuple[BaseGeometry, ...] = (), bars: BaseGeometry = _NOTHING,
            ) -> Growth:  # fmt: skip
                frame = place.frame if place.frame is not None else frame
                own = replace(place, area=area, frame=frame, holes=self._holes(entry), hides=hides, bars=bars)
                return motif(entry.motif).grow(settings, own, limits, rng)

            own = replace(entry, settings=settings)
            inside = geometry.solid(shapely.intersection(area, place.area))
            return plain(self._grown_in(own, inside, limits, shapely.Polygon(), leaves, grow=at)).cuts

        place = self._place(entry, area)
        settings = settled_by(entry.settings, levels_of(grown, self.print_))
        with _keys_of(self.print_, k):
            where = self.print_.place(f"motifs[{k}].marks_grew_by")
            grew = grew_in(entry.marks_grew_by, where) if entry.kept else {}
        return Bed(
            motif=entry.motif, name=f"{entry.motif} {entry.nth}", white=entry.name, settings=settings, place=place,
            limits=limits, seed=self.print_.seed, grow=grow, by=cache(partial(self.bed, k)), grew=grew,
        )  # fmt: skip

    def findings(self) -> dict[str, tuple[Finding, ...]]:
        """What is to be told of kept motifs, by the block with the widest land of those that each leaves."""
        by_block: dict[str, tuple[Finding, ...]] = {}
        for leaves, grown in self.motifs:
            block = max(sorted(leaves), key=lambda name: self.limits[name].land_mm)
            by_block[block] = (*by_block.get(block, ()), *grown.findings)
        return by_block

    def _some_area(self, motif: PrintMotif, limits: Limits, key: str) -> BaseGeometry:
        """Where it may grow, whatever hides it: there must be some, and something to lie on."""
        area = self._area(motif, limits, key)
        if shapely.area(area) <= 0:
            raise InputError("finds no room", where="region, keep_clear, behind", hint="make what it avoids smaller")
        if motif.motif == "snowload" and not motif.on:
            raise InputError("has nothing to lie on", where="on", hint='name layers: on = ["POSTS"]')
        return area

    def _area(self, motif: PrintMotif, limits: Limits, key: str) -> BaseGeometry:
        """Where it may grow, whatever hides it."""
        clear = geometry.stack(
            self.drawing.shapes(text, f"{key}.keep_clear[{j}]") for j, text in enumerate(motif.keep_clear)
        )
        ground = replace(self._ground(motif), keep_clear=clear, openings=self.openings)
        area = place_on(ground, motif.settings, limits).area
        if motif.region:
            area = geometry.solid(
                shapely.intersection(area, _union([self.drawing.shapes(motif.region, f"{key}.region")]))
            )
        return area

    def _frame(self, motif: PrintMotif, limits: Limits) -> Polygon:
        """Where it would grow if nothing stood in its way."""
        return place_on(self._ground(motif), motif.settings, limits).edge

    def _ground(self, motif: PrintMotif) -> Ground:
        """The bare face."""
        return Ground(
            name=motif.motif, width_mm=self.print_.width_mm, height_mm=self.print_.height_mm,
            margin_mm=self.print_.margin_mm + self.print_.bleed_mm * (self.print_.margin_mm > 0),
            clearance_mm=motif.clearance_mm,
        )  # fmt: skip

    def _hidden_by(self, motif: PrintMotif) -> BaseGeometry:
        return self.drawing.union(motif.behind if motif.front else self.drawing.names)

    def _holes(self, motif: PrintMotif) -> tuple[tuple[BaseGeometry, str], ...]:
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

    def _place(self, entry: PrintMotif, area: BaseGeometry) -> Place:
        shapes = geometry.parts(self.drawing.union(entry.on))
        return Place(area=area, shapes=shapes, fronts=self.drawing.fronts(entry.on), holes=self._holes(entry))

    def _grow(
        self, entry: PrintMotif, area: BaseGeometry, limits: Limits, *, frame: Polygon | None = None,
        hides: tuple[BaseGeometry, ...] = (), bars: BaseGeometry = _NOTHING,
    ) -> Growth:  # fmt: skip
        place = replace(self._place(entry, area), frame=frame, hides=hides, bars=bars)
        growth = _sprouted(self.print_.seed, entry, place, limits)
        self._note_remark(entry, growth)
        return growth

    def _note_remark(self, entry: PrintMotif, growth: Growth) -> None:
        if growth.remark:
            self.notes.append(f"{entry.name}: {growth.remark}")

    def _fallen(
        self, motif: PrintMotif, begun: _Begun, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """Flakes: those too near to other white, or that leave slivers of a block, are left out; many are told."""
        room, fallen = begun
        self.say(f"laying {len(fallen.cuts)} flakes and masses on the drawing")
        cuts = fallen.cuts
        for figure in room.figures:
            cuts = uncut(cuts, figure, motif.settings, limits)
        flakes = settled(
            cuts, before, [self.pictures[name] for name in sorted(leaves)], limits,
            area=room.area, frame=room.edge, mass_mm2=mass_mm2(motif.settings),
        )  # fmt: skip
        lost = float(shapely.area(fallen.cuts).sum() - shapely.area(flakes).sum()) / shapely.area(self.face)
        if lost > _LOST:
            self.notes.append(f"{motif.name}: snow on {lost:.0%} of the face is left out, too near to "
                              "other white or to outlines; raise snow, or let flakes be smaller")  # fmt: skip
        return replace(fallen, cuts=flakes)

    def _sky(self, motif: PrintMotif, area: BaseGeometry, limits: Limits, leaves: frozenset[str]) -> _Room:
        """Where flakes fall: wherever nothing that is drawn hides them."""
        open_, by_depth = self._open_sky(motif, area, limits)
        frame = None if motif.region else self._frame(motif, limits)
        hides = (*by_depth, shapely.Polygon()) if motif.far_behind or motif.middle_behind else ()
        bars, figures = self._readable(motif, leaves)
        edge = shapely.box(*shapely.bounds(area)) if frame is None else frame
        return _Room(area=open_, frame=frame, edge=edge, hides=hides, bars=bars, figures=figures)

    def _open_sky(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits
    ) -> tuple[BaseGeometry, list[BaseGeometry]]:
        """Where nothing hides flakes, which must be somewhere, and what hides the far ones and those in the middle."""
        hidden, *by_depth = [self._hidden_by(motif), *self._deeper(motif)]
        if not motif.settings.cut_at_edge:
            hidden, *by_depth = shapely.buffer([hidden, *by_depth], limits.land_mm, quad_segs=4)
        open_ = shapely.difference(area, hidden)
        if shapely.area(open_) <= 0:
            raise no_room("snow")
        return open_, by_depth

    def _deeper(self, motif: PrintMotif) -> list[BaseGeometry]:
        """What far flakes fall behind, and what those in the middle do: whole things, not their lines alone."""
        drawing, deep = self.drawing, list[Any]()
        for named in (motif.far_behind, motif.middle_behind):
            names = drawing.names if "*" in named else named
            whole, flats = drawing.union(names), drawing.outlined(names)
            deep.append(geometry.union(geometry.parts(whole), flats) if len(flats) else whole)
        return deep

    def _readable(
        self, motif: PrintMotif, leaves: frozenset[str]
    ) -> tuple[BaseGeometry, tuple[BaseGeometry, BaseGeometry]]:
        """Bars that masses of snow must not eat, and figures that single flakes must not harm.

        Bars are what of the darkest ink is no broad ground, and boards and posts of paler ones but the palest. Figures
        are lines and darks by themselves, and as things with all that is on them. Of inks no more counts than their
        order: another colour changes no shape.
        """
        dark, names = self._dark(leaves)
        whole = self.drawing.union(names)  # what stands before parts none
        things = shapely.union(dark, self._painted_on(whole, names))
        largest, ground = motif.settings.largest_mm, self._ground_of(names)
        broad = shapely.union(_broad(whole, _BROAD * largest), _broad(ground, _GROUND * largest))
        pale = [self._pale_bars(plate, motif) for plate in self._pale(leaves)]
        bars, all_ = (
            geometry.union(geometry.parts(each), *pale) for each in (shapely.difference(things, broad), things)
        )
        return bars, (dark, all_)

    def _dark(self, leaves: frozenset[str]) -> tuple[BaseGeometry, frozenset[str]]:
        """What the darkest of several inks shows, but where it is the ground; and the layers that it prints."""
        least, *lighter = sorted({plate.lightness for plate in self.plates})
        dark = [
            plate for plate in self.plates
            if lighter and plate.lightness == least and plate.name in leaves and not (plate.ground or plate.under_all)
        ]  # fmt: skip
        shown = _union([geometry.polygon_array(self.pictures[plate.name] for plate in dark)])
        return shown, frozenset(name for plate in dark for name in plate.layers)

    def _pale(self, leaves: frozenset[str]) -> list[Plate]:
        """The plates of all inks but the darkest and the palest."""
        between = sorted({plate.lightness for plate in self.plates})[1:-1]
        return [plate for plate in self.plates if plate.name in leaves and plate.lightness in between]

    def _pale_bars(self, plate: Plate, motif: PrintMotif) -> PolygonArray:
        """What a paler ink shows that is all bars: of things with a broad part none, and no lines, as waves are."""
        if plate.ground or plate.under_all:
            return geometry.empty()
        line, wide = _LINE * motif.settings.smallest_mm, _BROAD * motif.settings.largest_mm
        parts = geometry.parts([self.pictures[plate.name]])
        thick = shapely.buffer(shapely.buffer(parts, -line / 2, quad_segs=4), line / 2, quad_segs=4)
        lines = shapely.area(thick) < _THICK * shapely.area(parts)
        ground = shapely.intersects(parts, self._ground_of(plate.layers))
        broad = np.where(ground, _GROUND * motif.settings.largest_mm, wide)
        return parts[~lines & shapely.is_empty(shapely.buffer(parts, -broad / 2, quad_segs=4))]

    def _ground_of(self, names: frozenset[str]) -> BaseGeometry:
        """What of these layers is drawn from one side of the face to the other, whatever stands before it."""
        parts = geometry.parts(self.drawing.union(names))
        before = self.drawing.union([layer.name for layer in self.drawing.in_front_of(names)])
        return _union([parts[runs_across(parts, self.print_.width_mm, before)]])

    def _painted_on(self, things: BaseGeometry, names: frozenset[str]) -> BaseGeometry:
        """What other layers show in front of things and mostly on them or in their holes, as bands on posts."""
        others = [layer for layer in self.drawing.in_front_of(names) if layer.name not in names]
        parts = geometry.stack(geometry.parts(layer.shape) for layer in others)
        things = _union([geometry.filled(geometry.parts(things))])  # a band may be left out of what it is drawn on
        shapely.prepare(things)
        parts = parts[shapely.intersects(things, parts)]
        on = shapely.area(shapely.intersection(parts, things)) > _MOSTLY * shapely.area(parts)
        return _union([parts[on]])

    def _loaded(
        self, motif: PrintMotif, begun: _Begun, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """Lying snow: grown whole, then hidden where something stands in front of what it lies on."""
        room, snow = begun
        area, frame = room.area, room.edge
        white, hidden = _union([snow.cuts]), self._hidden_by(motif)
        further: BaseGeometry = _NOTHING
        if not shapely.is_empty(before):
            further = self._lying_behind(leaves, shapely.difference(white, hidden))
        hidden = _kept_out(hidden, shapely.difference(before, further), limits)
        hidden = shapely.union(hidden, self._in_front(motif, shapely.difference(white, hidden)))
        if shapely.is_empty(hidden) and shapely.is_empty(further):
            return snow
        seen = ground_over(shapely.difference(area, hidden), frame)
        ground = ground_over(area, frame)  # what hides the snow stands, and so the snow reaches up to it
        own = shapely.difference(white, hidden)
        cuts = held_over(shapely.union(own, further), seen, frame, limits, ground=ground)
        if not shapely.is_empty(further):
            over = shapely.buffer(shapely.difference(own, further), limits.land_mm)
            cuts = geometry.parts(shapely.intersection(_union([cuts]), over))
        return Growth(cuts=within(cuts, frame), free=geometry.parts(shapely.intersection(snow.free, seen)))

    def _lying_behind(self, leaves: frozenset[str], white: BaseGeometry) -> BaseGeometry:
        """The heaps that lie already where these would: both are one heap then, no land parts them."""
        heaps = geometry.stack(
            grown.growth.cuts for others, grown in self.motifs if grown.motif.motif == "snowload" and leaves <= others
        )
        return _union([heaps[shapely.intersects(heaps, white)]])

    def _in_front(self, motif: PrintMotif, white: BaseGeometry) -> BaseGeometry:
        """What stands in front of the layer on which the snow lies.

        Snow on a nearer layer that leans over a thing behind that layer stays in front of the thing.
        """
        front, heaps = list[Any](), geometry.parts(white)
        for layer in self.drawing.in_front_of(motif.on):
            behind = [name for name in motif.on if layer in self.drawing.in_front_of([name])]
            nearer = self.drawing.union([name for name in motif.on if name not in behind])
            over = geometry.parts(shapely.intersection(white, layer.shape))
            if len(over):
                alone = ~shapely.dwithin(heaps, self.drawing.union(behind), APART_MM)  # a cap crosses what is behind
                caps = geometry.union(heaps[alone & shapely.dwithin(heaps, nearer, APART_MM)])
                over = over[~shapely.dwithin(over, nearer, APART_MM) & ~shapely.intersects(over, caps)]
            front += [layer.shape] if shapely.is_empty(nearer) else list(over)
            self._note(motif, layer, behind, over)
        return _union([geometry.polygon_array(front)])

    def _note(self, motif: PrintMotif, layer: Layer, behind: Sequence[str], hides: PolygonArray) -> None:
        """Say it where what hides snow may only be drawn on the thing, such as its lit side."""
        inside = shapely.intersection(layer.shape, self.drawing.union(behind))
        lost = float(shapely.area(hides).sum())
        if lost >= _NOTED_MM2 and shapely.area(inside) >= _DRAWN_ON * shapely.area(layer.shape):
            self.notes.append(
                f"{motif.name}: {layer.name} stands in front of {', '.join(behind)} and hides "
                f"{lost:.1f} mm² of the snow there; if it is only drawn on it, name it in `on`, too"
            )

    def _textured(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, grow: _Grow
    ) -> Growth:
        """Grain or frost: not under what stands in front of the layers that it is on."""
        front = [layer.shape for layer in self.drawing.in_front_of(motif.on)]
        hidden = shapely.union_all(geometry.polygon_array([self._hidden_by(motif), *front]))
        return grow(motif, shapely.difference(area, _kept_out(hidden, before, limits)), limits)


def _once_read(read: KeptReader, print_: Print, entry: PrintMotif, key: str) -> KeptReader:
    """The same, which has read the kept file of a motif already."""
    own = print_.path.parent / entry.kept
    kept = kept_of(print_, entry, key, read)

    def known(path: Path, *, motif: str, size: tuple[float, float]) -> Kept:
        return kept if path == own and motif == entry.motif else read(path, motif=motif, size=size)

    return known


def _broad(shape: BaseGeometry, width: float) -> BaseGeometry:
    """Where a shape is so wide, and a little round that."""
    plain = shapely.simplify(shape, _PLAIN * width)
    return shapely.buffer(shapely.buffer(plain, -width / 2, quad_segs=4), 0.75 * width, quad_segs=4)


def _kept_out(hidden: BaseGeometry, before: BaseGeometry, limits: Limits) -> Any:  # noqa: ANN401
    """What a motif keeps out of: what hides it, and earlier white with the land that must stay round that."""
    return shapely.union(hidden, shapely.buffer(before, limits.land_mm + APART_MM, quad_segs=4))


def _wall_of(holes: PolygonArray, shapes: Sequence[BaseGeometry]) -> Indices:
    """The number of the shape that most of each hole's rim belongs to; (n,)."""
    if not len(holes) or not shapes:
        return np.empty(0, dtype=np.int64)
    along = np.arange(_ON_RIM) / _ON_RIM
    rim = shapely.line_interpolate_point(shapely.get_exterior_ring(holes)[:, None], along, normalized=True)
    for shape in shapes:
        shapely.prepare(shape)
    return np.asarray(np.argmax([shapely.dwithin(shape, rim, _TOUCHES_MM).sum(axis=1) for shape in shapes], axis=0))


def _union(arrays: Sequence[PolygonArray]) -> BaseGeometry:
    return geometry.union(*arrays)


def _flakes(arrays: Sequence[PolygonArray]) -> BaseGeometry:
    """The same of many flakes, of which most meet nothing and are taken as they are."""
    shapes = geometry.stack(map(geometry.parts, arrays))
    group = geometry.touching_groups(shapes)
    meets = np.bincount(group)[group] > 1
    return geometry.solid(np.concatenate([shapes[~meets], geometry.parts(geometry.union(shapes[meets]))]))
