"""The picture to be printed: its layers, the motifs grown on it once for all blocks, and what stays white."""

from __future__ import annotations

from collections.abc import Callable, Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.progress import each_stretch
from carvegen.marking.kept_file import read_kept
from carvegen.marking.marks import Meaning
from carvegen.prints.layers import drawing_of
from carvegen.prints.marked.marked_whites import White, marks_of, stays_on, with_marks
from carvegen.prints.picture.growing import Grower, Growths, joined_flakes
from carvegen.prints.picture.growing_room import GrowingRooms
from carvegen.prints.picture.loose_bits import covered
from carvegen.prints.picture.pale_rims import without_rims
from carvegen.prints.separation import painted
from carvegen.prints.tasks import in_turn

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding
    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.marking.applying import Bed
    from carvegen.marking.marks import Mark
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.kept_motifs import Grown, KeptReader
    from carvegen.prints.layers import LayeredDrawing
    from carvegen.prints.separation import Plate
    from carvegen.prints.tasks import Run

__all__ = ["Growths", "Picture", "Unmarked", "pictured", "unmarked"]

#: Shares of the time, measured on the sample: it grows, is marked, and bits go; growing is what is begun, if several
#: are, and fitting.
_TIMES, _UNMARKED, _GROWING = (0.45, 0.45, 0.1), (0.8, 0.0, 0.2), (0.8, 0.2)


@dataclass(frozen=True, kw_only=True, eq=False)
class Picture:
    """What is to be printed, print view, mm."""

    face: BaseGeometry
    drawing: LayeredDrawing
    whites: tuple[White, ...]
    openings: PolygonArray
    pictures: Mapping[str, BaseGeometry]  #: what is in the ink of each block, white and all
    notes: tuple[str, ...] = ()  #: what came otherwise than asked; snow hidden by what is only drawn on its bearer
    motifs: tuple[Grown, ...] = ()  #: what there is of each, grown or kept
    findings: Mapping[str, tuple[Finding, ...]] = field(default_factory=dict)  #: of kept motifs, by block
    marks: tuple[Mark, ...] = ()
    _unions: dict[tuple[tuple[White, ...], str], BaseGeometry] = field(default_factory=dict, init=False, repr=False)

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
        whites = self._leaving(block)
        return self._once(whites, "free", lambda: geometry.union(*(white.free for white in whites)))

    def _leaving(self, block: str) -> tuple[White, ...]:
        return tuple(white for white in self.whites if block in white.leaves)

    def _united(self, whites: tuple[White, ...], *, openings: bool) -> BaseGeometry:
        """Many thousand flakes in one, for each set of whites once."""
        arrays = [*([self.openings] if openings else []), *(white.shapes for white in whites)]
        return self._once(whites, "with openings" if openings else "", lambda: joined_flakes(arrays))

    def _once(self, whites: tuple[White, ...], what: str, make: Callable[[], BaseGeometry]) -> BaseGeometry:
        key = whites, what
        if key not in self._unions:
            self._unions[key] = make()
        return self._unions[key]

    def without_motifs(self) -> Picture:
        """The same without what a process of its own can't be handed: how motifs grew."""
        plain = replace(self, motifs=())
        plain._unions.update(self._unions)
        return plain

    def to_decide_for(self, block: str) -> BaseGeometry:
        """What marks leave to the carver on a block."""
        return geometry.union(*(white.to_decide for white in self._leaving(block)))

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
    growing, marking, covering = each_stretch(_TIMES if marks.marks else _UNMARKED)
    with growing:
        bare = _unmarked(drawing, openings, plates, limits, say=say, run=run)
    with marking:
        whites = with_marks(bare.whites, marks.marks, bare.inked, bare.beds)
    snow = {entry.name: entry.motif for entry in print_.motifs if entry.motif in {"snowload", "snowfall"}}
    stays = shapely.union_all([mark.shape for mark in marks.marks if mark.meaning == Meaning.STAYS])
    lying = [white for white in whites if snow.get(white.name) == "snowload"]
    pictures, findings = bare.pictures, dict(bare.findings)
    with covering:
        bits = covered(
            drawing, plates, pictures, [white for white in whites if white.name in snow],
            lying=lying, stays=stays, limits=limits,
        )  # fmt: skip
        if bits.drawing is not drawing:
            pictures = {plate.name: painted(bare.face, bits.drawing.layers, plate) for plate in plates}
            for name, told in bits.findings.items():
                findings[name] = (*findings.get(name, ()), *told)
        white = (*whites, *bits.whites)
        bears = {name for entry in print_.motifs if entry.motif == "snowload" for name in entry.on}
        done, rims = without_rims(
            bits.drawing, plates, pictures, bears=bears, lying=lying, whites=white, limits=limits
        )  # fmt: skip
        for name, note in rims.items():
            findings[name] = (*findings.get(name, ()), note)
        if done is not bits.drawing:
            pictures = {plate.name: painted(bare.face, done.layers, plate) for plate in plates}
    return Picture(
        face=bare.face, drawing=done, whites=white, openings=openings, marks=marks.marks,
        notes=(*bare.notes, *marks.notes), motifs=bare.motifs, findings=findings, pictures=pictures,
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
    rooms = GrowingRooms.on(drawing, plates, openings)
    grower = Grower(rooms, limits, read=read, growths=growths, say=say)
    grower.check()
    begins = run is not None and grower.several
    growing, fitting = each_stretch(_GROWING if begins else (0.0, 1.0))
    if run is not None and begins:
        with growing:
            grower.begin(run)
    with fitting:
        for k, stretch in enumerate(each_stretch([1.0] * len(print_.motifs))):
            with stretch:
                whites.append(grower.grown(k, whites))
    remarks = [note for _, grown in grower.motifs for note in grown.notes]
    lying = {entry.called for entry in print_.motifs if entry.motif == "snowload"}
    return Unmarked(
        face=rooms.face, drawing=drawing, pictures=rooms.pictures, whites=tuple(whites), inked=inked,
        openings=openings, beds=tuple(grower.bed(k) for k in range(len(print_.motifs))),
        motifs=tuple(grown for _, grown in grower.motifs), notes=(*_once(grower.notes, lying), *remarks),
        findings=grower.findings(),
    )  # fmt: skip


def _once(notes: Iterable[str], lying: Container[str]) -> Iterator[str]:
    """Each note once; what lying snow says, as of a hill before which two of them lie, goes if all of it was said."""
    said = set[str]()
    for note in dict.fromkeys(notes):
        name, _, words = note.partition(": ")
        parts = set(words.split("; "))
        if name not in lying or parts - said:
            yield note
        if name in lying:
            said |= parts


def _shapes(drawing: LayeredDrawing, key: str, texts: Sequence[str]) -> PolygonArray:
    return geometry.stack(drawing.shapes(text, f"{key}[{k}].shape") for k, text in enumerate(texts))
