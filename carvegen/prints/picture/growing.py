"""The motifs of a print: grown side by side or one after another, remembered or kept, and fitted to earlier white."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from copy import copy
from dataclasses import replace
from functools import cache, partial
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.streams import stream
from carvegen.blocks.from_motif import strictest
from carvegen.marking.applying import Bed, settled_by
from carvegen.marking.refitting import grew_in
from carvegen.motifs import motif
from carvegen.motifs.growth import Growth, plain
from carvegen.prints.file.print_file import in_keys
from carvegen.prints.kept_motifs import Grown, from_file, kept_of, levels_of
from carvegen.prints.marked.marked_whites import White, marks_of
from carvegen.prints.picture.fitting import fallen, loaded
from carvegen.prints.picture.growing_room import NOTHING, kept_out
from carvegen.prints.tasks import Later

if TYPE_CHECKING:
    from collections.abc import Mapping
    from pathlib import Path

    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding
    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.marking.kept_file import Kept, Surroundings
    from carvegen.marking.marks import Mark
    from carvegen.motifs.growth import Place
    from carvegen.prints.file.print_file import Print, PrintMotif
    from carvegen.prints.kept_motifs import KeptReader
    from carvegen.prints.picture.fitting import Begun
    from carvegen.prints.picture.growing_room import GrowingRooms, Room
    from carvegen.prints.tasks import Run, Say

__all__ = ["Grower", "Growths", "joined_flakes"]

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
        hides: tuple[BaseGeometry, ...] = (), bars: BaseGeometry = NOTHING,
    ) -> Growth: ...  # fmt: skip


class Grower:
    """Grows the motifs of a print one after another, each fitted to what is white before it."""

    def __init__(
        self, rooms: GrowingRooms, limits: Mapping[str, Limits], *, read: KeptReader, growths: Growths | None, say: Say
    ) -> None:
        self.read, self.growths, self.say = read, growths, say
        self.rooms, self.print_, self.limits = rooms, rooms.drawing.print_, limits
        self.stencils = [block.name for block in self.print_.blocks if block.role == "stencil"]
        self.notes: list[str] = []
        self.motifs: list[tuple[frozenset[str], Grown]] = []  #: with the blocks that print ink and that it leaves
        self.begun: dict[str, Begun] = {}  #: by the key of each motif that was begun

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
        if not entry.grows:
            return
        limits = self._strictest(self._left_by(entry))
        area = self.rooms.some_area(entry, limits, key)
        if entry.motif == "snowfall":
            self.rooms.open_sky(entry, area, limits)

    @property
    def several(self) -> tuple[int, ...]:
        """The numbers of the motifs that grow whatever is white before them, if that are two or more: new snow."""
        snow = tuple(k for k, entry in enumerate(self.print_.motifs) if entry.is_new and entry.motif in _SNOW)
        return snow if len(snow) > 1 else ()

    def begin(self, run: Run) -> None:
        """Grow several motifs side by side."""
        snow = self.several
        rooms: dict[int, Room] = {}
        tasks = {f"motifs[{k}]": Later(needs=(), make=partial(self._task, k, rooms)) for k in snow}
        growths = run(tasks, self.say)
        for k in snow:
            growth = growths[f"motifs[{k}]"]
            with _keys_of(self.print_, k):
                if isinstance(growth, InputError):
                    raise growth
            self.begun[f"motifs[{k}]"] = rooms[k], growth

    def _task(self, k: int, rooms: dict[int, Room], _: Mapping[str, Any]) -> Callable[[Say], Growth | InputError]:
        """What lets motif k grow in its room, which is looked for when its turn comes: others grow meanwhile."""
        entry = self.print_.motifs[k]
        leaves = self._left_by(entry)
        with _keys_of(self.print_, k):
            area = self.rooms.some_area(entry, self._strictest(leaves), f"motifs[{k}]")
            room = rooms[k] = self.rooms.room(entry, area, self._strictest(leaves), leaves)
        place = replace(self.rooms.place(entry, room.area), frame=room.frame, hides=room.hides, bars=room.bars)
        grow = partial(_sprouted, self.print_.seed, entry, place, self._strictest(leaves))
        return partial(_beside_others, grow, _stage(self.print_, k))

    def _strictest(self, leaves: frozenset[str]) -> Limits:
        """The limits of all of these blocks."""
        return strictest(self.limits[name] for name in sorted(leaves))

    def _left_by(self, motif: PrintMotif) -> frozenset[str]:
        """The blocks that print ink and that a motif leaves: one at least."""
        leaves = frozenset(name for name in self.rooms.pictures if motif.leaves(name))
        if not leaves:
            raise InputError("leaves no block that prints ink", value=list(motif.blocks), where="blocks",
                             hint="name a key, tone, background or ground block")  # fmt: skip
        return leaves

    def grown(self, k: int, whites: Sequence[White]) -> White:
        """Motif k, out of the blocks that it leaves; faults are told with its key."""
        if (key := f"motifs[{k}]") not in self.begun:
            self.say(_stage(self.print_, k))
        with _keys_of(self.print_, k):
            return self._white(self.print_.motifs[k], whites, key)

    def _white(self, motif: PrintMotif, whites: Sequence[White], key: str) -> White:
        leaves = self._left_by(motif)
        limits = self._strictest(leaves)
        before = joined_flakes([white.shapes for white in whites])
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
            return self.rooms.surroundings(motif, key)

        if not motif.kept and not motif.grows:
            return Grown(motif=motif, growth=Growth(cuts=geometry.empty()), surroundings=surroundings)
        if not motif.kept:
            anew = partial(grow, motif, self.print_.seed)
            growth = self._remembered(motif, limits, before, key, anew) if self.growths is not None else anew()
            return Grown(motif=motif, growth=growth, surroundings=surroundings)
        hole_marks = [mark for mark in self.rooms.hole_marks if not mark.motifs or motif.name in mark.motifs]
        if hole_marks and motif.motif == "snowload":
            self.notes.append(f"{motif.called} is kept: marks that say what holes are hold only where it grows again")
        return from_file(
            self.print_, motif, key, limits, grow=grow, surroundings=surroundings,
            room=lambda: shapely.difference(self.rooms.area(motif, limits, key), self.rooms.hidden_by(motif)),
            read=self.read, before=before, marks=self._marks,
            beside=geometry.stack(shapes for _, other in self.motifs for shapes in (other.gone, other.come)),
        )  # fmt: skip

    def _marks(self) -> tuple[Mark, ...]:
        """The marks of the print."""
        return marks_of(self.print_, self.rooms.drawing, geometry.union(self.rooms.openings)).marks

    def _remembered(
        self, motif: PrintMotif, limits: Limits, before: BaseGeometry, key: str, grow: Callable[[], Growth]
    ) -> Growth:
        """What has grown, anew only if anything is otherwise that it depends on."""
        assert self.growths is not None
        print_, rooms, around = self.print_, self.rooms, self.rooms.surroundings(motif, key)
        plates = [replace(plate, layers=frozenset()) for plate in rooms.plates]
        fingerprint = hashlib.sha256(repr((
            motif, limits, print_.seed, print_.width_mm, print_.height_mm, print_.margin_mm, print_.bleed_mm, plates,
            [sorted(plate.layers) for plate in rooms.plates], [layer.name for layer in rooms.drawing.layers],
            [word for _, word in rooms.holes(motif)],
        )).encode())  # fmt: skip
        shapes = [*(layer.shape for layer in rooms.drawing.layers), *(area for area, _ in rooms.holes(motif))]
        for wkb in shapely.to_wkb([before, around.bears, around.clear, geometry.union(rooms.openings), *shapes]):
            fingerprint.update(len(wkb).to_bytes(8, "little") + wkb)

        def grown() -> tuple[Growth, Sequence[str]]:
            count = len(self.notes)
            growth = grow()
            return growth, self.notes[count:]

        count = len(self.notes)
        growth, notes = self.growths(fingerprint.hexdigest(), grown)
        self.notes[count:] = notes
        return growth

    def _grown(
        self, motif: PrintMotif, limits: Limits, before: BaseGeometry, leaves: frozenset[str], key: str
    ) -> Growth:
        """What grows of a motif on the drawing as it is now."""
        if key in self.begun:
            self._note_remark(motif, self.begun[key][1])
            return self._fitted(motif, self.begun[key], limits, before, leaves)
        area = self.rooms.some_area(motif, limits, key)
        return self._grown_in(motif, area, limits, before, leaves, grow=self._grow)

    def _grown_in(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, leaves: frozenset[str],
        *, grow: _Grow,
    ) -> Growth:  # fmt: skip
        """What grows of a motif in an area."""
        if motif.motif not in _SNOW:
            return self._textured(motif, area, limits, before, grow)
        room = self.rooms.room(motif, area, limits, leaves)
        growth = grow(motif, room.area, limits, frame=room.frame, hides=room.hides, bars=room.bars)
        return self._fitted(motif, (room, growth), limits, before, leaves)

    def _fitted(
        self, motif: PrintMotif, begun: Begun, limits: Limits, before: BaseGeometry, leaves: frozenset[str]
    ) -> Growth:
        """New snow, fitted to what is white before it."""
        if motif.motif == "snowfall":
            self.say(f"laying {len(begun[1].cuts)} flakes and masses on the drawing")
            growth, notes = fallen(self.rooms, motif, begun, limits, before=before, leaves=leaves)
        else:
            heaps, dark = self._heaps(leaves), self.rooms.dark(leaves)
            growth, notes = loaded(self.rooms, motif, begun, limits, before=before, heaps=heaps, dark=dark)
            notes += self.rooms.set_aside(motif)
        self.notes.extend(notes)
        return growth

    def _heaps(self, leaves: frozenset[str]) -> PolygonArray:
        """Lying snow that leaves all of these blocks already."""
        return geometry.stack(
            grown.growth.cuts for others, grown in self.motifs if grown.motif.motif == "snowload" and leaves <= others
        )

    def _grow(
        self, entry: PrintMotif, area: BaseGeometry, limits: Limits, *, frame: Polygon | None = None,
        hides: tuple[BaseGeometry, ...] = (), bars: BaseGeometry = NOTHING,
    ) -> Growth:  # fmt: skip
        place = replace(self.rooms.place(entry, area), frame=frame, hides=hides, bars=bars)
        growth = _sprouted(self.print_.seed, entry, place, limits)
        self._note_remark(entry, growth)
        return growth

    def _note_remark(self, entry: PrintMotif, growth: Growth) -> None:
        if growth.remark:
            self.notes.append(f"{entry.called}: {growth.remark}")

    def _textured(
        self, motif: PrintMotif, area: BaseGeometry, limits: Limits, before: BaseGeometry, grow: _Grow
    ) -> Growth:
        """Grain or frost: not under what stands in front of the layers that it is on."""
        front = [layer.shape for layer in self.rooms.drawing.in_front_of(motif.on)]
        hidden = shapely.union_all(geometry.polygon_array([self.rooms.hidden_by(motif), *front]))
        return grow(motif, shapely.difference(area, kept_out(hidden, before, limits)), limits)

    def bed(self, k: int, by: Limits | None = None) -> Bed:
        """Motif k as marks need to know it, by its own limits or by those that it had before."""
        entry, (leaves, grown) = self.print_.motifs[k], self.motifs[k]
        limits = by or self._strictest(leaves)
        area = self.rooms.area(entry, limits, f"motifs[{k}]")

        def grow(settings: Any, place: Place, rng: Generator) -> PolygonArray:  # noqa: ANN401
            def at(
                entry: PrintMotif, area: BaseGeometry, limits: Limits, *, frame: Polygon | None = None,
                hides: tuple[BaseGeometry, ...] = (), bars: BaseGeometry = NOTHING,
            ) -> Growth:  # fmt: skip
                frame = place.frame if place.frame is not None else frame
                own = replace(place, area=area, frame=frame, holes=self.rooms.holes(entry), hides=hides, bars=bars)
                return motif(entry.motif).grow(settings, own, limits, rng)

            own = replace(entry, settings=settings)
            inside = geometry.solid(shapely.intersection(area, place.area))
            return plain(self._grown_in(own, inside, limits, shapely.Polygon(), leaves, grow=at)).cuts

        place = self.rooms.place(entry, area)
        settings = settled_by(entry.settings, levels_of(grown, self.print_))
        with _keys_of(self.print_, k):
            where = self.print_.place(f"motifs[{k}].marks_grew_by")
            grew = grew_in(entry.marks_grew_by, where) if entry.kept else {}
        return Bed(
            motif=entry.motif, name=f"{entry.motif} {entry.nth}", white=entry.name, settings=settings, place=place,
            limits=limits, seed=self.print_.seed, grow=grow,
            grows=entry.grows or bool(entry.kept), if_named=not entry.grows,
            by=cache(partial(self.bed, k)), grew=grew,
        )  # fmt: skip

    def findings(self) -> dict[str, tuple[Finding, ...]]:
        """What is to be told of kept motifs, by the block with the widest land of those that each leaves."""
        by_block: dict[str, tuple[Finding, ...]] = {}
        for leaves, grown in self.motifs:
            block = max(sorted(leaves), key=lambda name: self.limits[name].land_mm)
            by_block[block] = (*by_block.get(block, ()), *grown.findings)
        return by_block


def joined_flakes(arrays: Sequence[PolygonArray]) -> BaseGeometry:
    """Many flakes in one, of which most meet nothing and are taken as they are."""
    shapes = geometry.stack(map(geometry.parts, arrays))
    group = geometry.touching_groups(shapes)
    meets = np.bincount(group)[group] > 1
    return geometry.solid(np.concatenate([shapes[~meets], geometry.parts(geometry.union(shapes[meets]))]))


def _stage(print_: Print, k: int) -> str:
    """What is said while a motif grows."""
    name = print_.motifs[k].motif
    return f"{_AT_WORK.get(name, f'growing {name}')}, {k + 1} of {len(print_.motifs)}"


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


def _once_read(read: KeptReader, print_: Print, entry: PrintMotif, key: str) -> KeptReader:
    """The same, which has read the kept file of a motif already."""
    own = print_.path.parent / entry.kept
    kept = kept_of(print_, entry, key, read)

    def known(path: Path, *, motif: str, size: tuple[float, float]) -> Kept:
        return kept if path == own and motif == entry.motif else read(path, motif=motif, size=size)

    return known
