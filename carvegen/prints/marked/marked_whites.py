"""Marks on a print: read from its files and words, and laid on what has grown, for the blocks that each is for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.progress import each_stretch
from carvegen.marking.marks import HoleMark, HoleMeaning, Mark, Meaning, check_agreement, key_of, on_face
from carvegen.marking.marks_file import MarksFile, Names, read_marks
from carvegen.marking.refitting import refitted, zone_of
from carvegen.motifs.growth import Growth, plain
from carvegen.prints.marked.nearby import Memory, marked_nearby

if TYPE_CHECKING:
    from collections.abc import Collection

    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray
    from carvegen.marking.applying import Bed
    from carvegen.marking.pencil.sheet_reading import SheetsRead
    from carvegen.prints.file.keys import PrintMark
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.layers import LayeredDrawing

__all__ = ["White", "hole_marks_of", "marks_of", "names_of", "stays_on", "with_marks"]

_GROWS = (Meaning.MORE, Meaning.GROW_AGAIN)  #: marks by which something grows


@dataclass(frozen=True, kw_only=True, eq=False)
class White:
    """Something that stays bare paper on the blocks that it leaves."""

    name: str
    shapes: PolygonArray
    leaves: frozenset[str]  #: names of blocks
    free: PolygonArray = field(default_factory=geometry.empty)  #: fringe that the carver may take too
    to_decide: PolygonArray = field(default_factory=geometry.empty)  #: what a mark leaves to the carver


def marks_of(print_: Print, drawing: LayeredDrawing, openings: BaseGeometry) -> MarksFile:
    """All marks of a print, as far as they lie on its face.

    Raises
    ------
    InputError
        If a file of marks can't be read, or marks contradict one another, with the key.
    """
    names = names_of(print_)
    every, notes = list[Mark](), list[str]()
    for name, file in zip(print_.marks, _files(print_), strict=True):
        every += file.marks
        notes += [f"{name}: {note}" for note in file.notes]
    if print_.scans:
        scanned = _scanned(print_)
        every += scanned.marks
        notes += scanned.notes
    every += _in_words(print_, drawing, names)
    marks, outside = on_face(every, geometry.box(print_.width_mm, print_.height_mm))
    try:
        check_agreement(marks, openings=openings)
    except InputError as error:
        raise error.within(print_.place("marks.files" if print_.marks else "marked")) from None
    return MarksFile(marks=marks, notes=(*notes, *outside))


def hole_marks_of(print_: Print, drawing: LayeredDrawing) -> tuple[HoleMark, ...]:
    """What marks of a print say of holes in its drawing.

    Raises
    ------
    InputError
        If a file of marks can't be read, with the key.
    """
    drawn = tuple(hole for file in _files(print_) for hole in file.holes)
    names = names_of(print_)
    return drawn + tuple(
        HoleMark(meaning=mark.meaning, shape=_where(mark, k, drawing), motifs=names.for_motifs(mark.motifs))
        for k, mark in enumerate(print_.marked)
        if isinstance(mark.meaning, HoleMeaning)
    )


def _files(print_: Print) -> Iterator[MarksFile]:
    """What each of its files of marks holds."""
    for k, name in enumerate(print_.marks):
        try:
            yield read_marks(print_.path.parent / name, names_of(print_), (print_.width_mm, print_.height_mm))
        except InputError as error:
            raise error.within(print_.place(f"marks.files[{k}]")) from None


def names_of(print_: Print) -> Names:
    """What marks of a print may be for: a motif by its name, or all of its kind; a block."""
    kinds = dict.fromkeys(motif.motif for motif in print_.motifs)
    motifs = {kind: tuple(motif.name for motif in print_.motifs if motif.motif == kind) for kind in kinds}
    motifs |= {motif.called: (motif.name,) for motif in print_.motifs}
    motifs |= {motif.name: (motif.name,) for motif in print_.motifs}
    return Names(motifs=motifs, blocks=tuple(block.name for block in print_.blocks))


def _scanned(print_: Print) -> SheetsRead:
    """What is understood of its coloured marking sheets."""
    from carvegen.marking.pencil.layout import MarkingSheet
    from carvegen.marking.pencil.sheet_reading import read_sheets

    sheet = MarkingSheet(name=print_.name, window=print_.window)
    try:
        return read_sheets([print_.path.parent / name for name in print_.scans], sheet)
    except InputError as error:
        raise error.within(print_.place("marks.scans")) from None


def _in_words(print_: Print, drawing: LayeredDrawing, names: Names) -> Iterator[Mark]:
    for k, mark in enumerate(print_.marked):
        if isinstance(mark.meaning, HoleMeaning):
            continue
        shape = _where(mark, k, drawing)
        yield Mark(
            meaning=mark.meaning, shape=shape, key=key_of(shape), strength=mark.strength, attempt=mark.attempt,
            motifs=names.for_motifs(mark.motifs), blocks=names.for_blocks(mark.blocks),
        )  # fmt: skip


def _where(mark: PrintMark, k: int, drawing: LayeredDrawing) -> BaseGeometry:
    return shapely.union_all(drawing.shapes(mark.shape, f"marked[{k}].shape"))


def stays_on(marks: Sequence[Mark], block: str) -> BaseGeometry:
    """What is marked to stay on a block."""
    return shapely.union_all([
        mark.shape for mark in marks if mark.meaning == Meaning.STAYS and mark.is_for(block=block) and not mark.motifs
    ])  # fmt: skip


def with_marks(
    whites: Sequence[White], marks: Sequence[Mark], inked: Collection[str], beds: Sequence[Bed],
    memory: Memory | None = None,
) -> list[White]:  # fmt: skip
    """All that stays bare paper after the marks; the same if there is none.

    A motif falls apart where marks are for some of the blocks that it leaves. What comes out is white of its own, too,
    on every block that it is for.

    Parameters
    ----------
    whites
        What is bare by itself, if there is such, then the motifs in order.
    inked
        The blocks that print ink.
    beds
        Of each motif, in order.
    memory
        What was worked out before on the same beds, and will be.
    """
    if not marks:
        return list(whites)
    memory = Memory() if memory is None else memory
    first = len(whites) - len(beds)
    done = [part for white in whites[:first] for part in _lights(white, marks)]
    for (k, bed), stretch in zip(enumerate(beds), each_stretch([1.0] * len(beds)), strict=True):
        others = [*done, *whites[first + k + 1 :]]
        with stretch:
            done += _parts(whites[first + k], marks, bed, others, memory)
    done = _mended(done, marks, beds)
    out = [mark for mark in marks if mark.meaning == Meaning.COMES_OUT]
    for blocks in dict.fromkeys(mark.blocks for mark in out):
        shapes = geometry.joined(geometry.parts([mark.shape for mark in out if mark.blocks == blocks]))
        leaves = frozenset(inked) & frozenset(blocks or inked)
        done.append(White(name="what comes out", shapes=geometry.snapped(shapes), leaves=leaves))
    return done


def _lights(white: White, marks: Sequence[Mark]) -> Iterator[White]:
    """What is bare by itself, but not where it is marked to stay."""
    for blocks, own in _by_blocks(white.leaves, [mark for mark in marks if not mark.motifs]):
        stays = shapely.union_all([mark.shape for mark in own if mark.meaning == Meaning.STAYS])
        shapes = white.shapes
        met = shapely.intersects(shapes, stays)
        if met.any():  # all others stay as they are, point by point
            left = geometry.snapped(geometry.parts(shapely.difference(shapes[met], stays)))
            shapes = np.concatenate([shapes[~met], left])
        yield replace(white, shapes=shapes, leaves=blocks)


def _makes_grow(mark: Mark, bed: Bed) -> bool:
    """Whether a mark by which something grows is heeded."""
    return bed.grows and (bool(mark.motifs) or not bed.if_named)


def _parts(white: White, marks: Sequence[Mark], bed: Bed, others: Sequence[White], memory: Memory) -> Iterator[White]:
    """A motif's white after the marks that are for it, for each lot of blocks that has the same of them."""
    heeded = [mark for mark in marks if mark.meaning not in _GROWS or _makes_grow(mark, bed)]
    for blocks, own in _by_blocks(white.leaves, [mark for mark in heeded if mark.is_for(motif=white.name)]):
        if not own:
            yield replace(white, leaves=blocks)
            continue
        beside = geometry.stack(other.shapes for other in others if other.leaves & blocks)
        growth = Growth(cuts=white.shapes, free=white.free)
        growth = plain(marked_nearby(growth, own, replace(bed, others=beside), memory))
        yield replace(
            white, shapes=growth.cuts, free=growth.free, to_decide=growth.to_decide, leaves=blocks,
        )  # fmt: skip


def _mended(whites: Sequence[White], marks: Sequence[Mark], beds: Sequence[Bed]) -> list[White]:
    """The same where marks that were done before others came to cut it still have to hold; what does stays as it is."""
    done = list(whites)
    for bed in beds:
        for k, white in enumerate(done):
            if bed.grew and white.name == bed.white:
                done[k] = _refitted(white, marks, bed, [*done[:k], *done[k + 1 :]])
    return done


def _refitted(white: White, marks: Sequence[Mark], bed: Bed, others: Sequence[White]) -> White:
    """What marks have made of a motif on some of its blocks as it holds by the bed's limits."""
    own = [mark for mark in marks if mark.is_for(motif=white.name) and any(mark.is_for(block=b) for b in white.leaves)]
    zone = zone_of([mark for mark in own if bed.of(mark) is not bed], bed)
    if shapely.is_empty(zone):
        return white
    near = shapely.intersects(white.shapes, zone)
    beside = geometry.stack(other.shapes for other in others if other.leaves & white.leaves)
    wide = shapely.buffer(zone, 3 * bed.limits.land_mm, quad_segs=4)
    beside = np.concatenate([white.shapes[~near], beside])
    out = shapely.union_all([mark.shape for mark in own if mark.meaning == Meaning.COMES_OUT])
    shapes = refitted(
        white.shapes[near], beside[shapely.intersects(beside, wide)], zone=zone, place=bed.place, limits=bed.limits,
        white=out,
    )  # fmt: skip
    return replace(white, shapes=np.concatenate([white.shapes[~near], shapes]))


def _by_blocks(leaves: Collection[str], marks: Sequence[Mark]) -> Iterator[tuple[frozenset[str], list[Mark]]]:
    """The blocks by the marks that are for them."""
    lots: dict[tuple[int, ...], list[str]] = {}
    for block in sorted(leaves):
        own = tuple(np.flatnonzero([mark.is_for(block=block) for mark in marks]).tolist())
        lots.setdefault(own, []).append(block)
    for own, blocks in lots.items():
        yield frozenset(blocks), [marks[k] for k in own]
