"""Marks in a drawing, read and written: an SVG at true size, each group named by what is to be done there."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

import shapely

from carvegen import geometry
from carvegen.artwork import plain_name
from carvegen.artwork.kinds import drawing_bytes, kind_of
from carvegen.artwork.svg.elements import read_elements
from carvegen.base.errors import InputError
from carvegen.base.words import meant, shortened
from carvegen.marking.kept_file import opening
from carvegen.marking.marks import HoleMark, HoleMeaning, Mark, Meaning, key_of

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.artwork.svg.elements import Element, Elements

__all__ = ["SIGN", "MarksFile", "Names", "marks_in", "marks_text", "read_marks"]

SIGN = "carvegen: marks"  #: metadata of a file of marks that is written here
_SAME_MM = 0.5  #: a page that differs from the face by no more was drawn for it
_ANY_GROUP = re.compile("(LAYER|GROUP|G|SVG)?[0-9]*")  #: what drawing programs call groups by themselves
_MEANINGS = {plain_name(meaning): meaning for meaning in Meaning}
_OF_HOLES = {plain_name(meaning): meaning for meaning in HoleMeaning}
_NAMED = re.compile("(" + "|".join([*_MEANINGS, *_OF_HOLES]) + ")([0-9]{0,6})")
_BEYOND = "a see-through shape is taken as solid"  #: not so here: it tells the strength


@dataclass(frozen=True, kw_only=True)
class Names:
    """What marks may be for."""

    motifs: Mapping[str, tuple[str, ...]]  #: by a name or a kind, the motifs that are called so
    blocks: tuple[str, ...]

    def for_motifs(self, names: Iterable[str]) -> tuple[str, ...]:
        """The motifs that any of the names stands for, in the order of the print."""
        plain = set(map(plain_name, names))
        result = {motif for name, motifs in self.motifs.items() if plain_name(name) in plain for motif in motifs}
        return tuple(dict.fromkeys(motif for motifs in self.motifs.values() for motif in motifs if motif in result))

    def for_blocks(self, names: Iterable[str]) -> tuple[str, ...]:
        """The blocks among the names."""
        plain = set(map(plain_name, names))
        return tuple(name for name in self.blocks if plain_name(name) in plain)


@dataclass(frozen=True, kw_only=True, eq=False)
class MarksFile:
    """The marks of a drawing, and what was left out or changed."""

    marks: tuple[Mark, ...]
    notes: tuple[str, ...]
    holes: tuple[HoleMark, ...] = ()


def read_marks(path: Path, names: Names, size: tuple[float, float]) -> MarksFile:
    """The marks in an SVG file.

    A group at any depth that is called "comes out", "stays", "carver decides", "more", "less" or "grow again" gives its
    shapes that meaning; a number behind "grow again" is the try. Groups in or around it may be called by a motif or a
    block: the marks are then for these alone. How strong "more" and "less" are is how much they cover: the opacity.
    Groups called "open air" and "only drawn" say what holes in the drawing are.

    Parameters
    ----------
    size
        Width and height of the face, mm.

    Raises
    ------
    InputError
        If it is no SVG of the face's size, or holds no mark.
    """
    try:
        data = drawing_bytes(path)
        if (kind := kind_of(data)) != "SVG":
            raise InputError("must be an SVG", value=kind, hint="save the marks as SVG, at the size of the print")
        return marks_in(data, names, size)
    except InputError as error:
        raise error.within(str(path)) from None


def marks_in(data: bytes, names: Names, size: tuple[float, float]) -> MarksFile:
    """The marks in the bytes of an SVG, as `read_marks` takes them from its file.

    Raises
    ------
    InputError
        If it is not of the face's size, or holds no mark and does not say that it is a file of marks all the same.
    """
    drawing = read_elements(data)
    _check_size(drawing, size)
    marks = [mark for element in drawing.every for mark in _marks_of(element, names)]
    holes = [hole for element in drawing.every for hole in _holes_of(element, names)]
    if not marks and not holes and SIGN not in drawing.metadata:
        raise InputError("holds no mark", hint=_hint(drawing))
    notes = [note for note in drawing.notes if not note.startswith(_BEYOND)]
    left_out = sorted({item.group for item in drawing.every if item.group and not _meaning_of(item)})
    notes += [f"the group {name!r} has no meaning here and is left out" for name in left_out]
    notes += _for_all(drawing, names)
    return MarksFile(marks=tuple(marks), notes=tuple(notes), holes=tuple(holes))


def _for_all(drawing: Elements, names: Names) -> list[str]:
    """What is to be said of groups round marks that may have been meant for a motif or a block."""
    around = {group for item in drawing.every if _meaning_of(item) for group in item.groups if any(group)}
    known = [*names.motifs, *names.blocks]
    strange = sorted({
        next(filter(None, group)) for group in around
        if not any(_NAMED.fullmatch(plain_name(name)) or names.for_motifs([name]) or names.for_blocks([name])
                   for name in group)
        and not all(_ANY_GROUP.fullmatch(plain_name(name)) for name in group if name)
    })  # fmt: skip
    return [
        " ".join(
            filter(None, [f"the group {name!r} names no motif or block: its marks are for all.", meant(name, known)])
        )
        for name in strange
    ]


def _check_size(drawing: Elements, size: tuple[float, float]) -> None:
    page = (drawing.width_mm, drawing.height_mm)
    if max(abs(page[0] - size[0]), abs(page[1] - size[1])) > _SAME_MM:
        raise InputError(
            f"must be as large as the print, {size[0]:g} x {size[1]:g} mm", value=f"{page[0]:g} x {page[1]:g} mm",
            hint="set the size of its page, so that it lies on the print as it is",
        )  # fmt: skip


def _hint(drawing: Elements) -> str:
    listed = f"name its groups by what is to be done there: {', '.join([*Meaning, *HoleMeaning])}"
    close = (meant(name, [*Meaning, *HoleMeaning]) for item in drawing.every for group in item.groups for name in group)
    return " ".join(filter(None, [next(filter(None, close), ""), listed]))


def _marks_of(element: Element, names: Names) -> Iterator[Mark]:
    """The mark that an element is; none if no group around it has a meaning, or it has no area."""
    entry = _meaning_of(element)
    if entry is None or len(element.shapes) == 0:
        return
    meaning, number = entry
    if isinstance(meaning, HoleMeaning):
        return
    around = [name for group in element.groups for name in group]
    motifs, blocks = names.for_motifs(around), names.for_blocks(around)
    if meaning == Meaning.COMES_OUT and motifs:
        raise InputError(
            "is for a motif, but what comes out is white whatever has grown there", value=", ".join(motifs),
            where=f"the group {meaning.value!r}", hint="take it out of the motif's group",
        )  # fmt: skip
    shape = shapely.normalize(shapely.union_all(element.shapes))  # so that it is the same however often it is written
    yield Mark(
        meaning=meaning, shape=shape, key=element.name or key_of(shape), strength=element.opacity,
        attempt=max(1, int(number or 1)), motifs=motifs, blocks=blocks,
    )  # fmt: skip


def _holes_of(element: Element, names: Names) -> Iterator[HoleMark]:
    """What an element says of holes; nothing if no group around it does, or it has no area."""
    entry = _meaning_of(element)
    if entry is not None and isinstance(entry[0], HoleMeaning) and len(element.shapes):
        motifs = names.for_motifs(name for group in element.groups for name in group)
        yield HoleMark(meaning=entry[0], shape=shapely.union_all(element.shapes), motifs=motifs)


def _meaning_of(element: Element) -> tuple[Meaning | HoleMeaning, str] | None:
    """The meaning that the innermost group with one gives, and the number behind it."""
    for group in reversed(element.groups):
        for name in group:
            if result := _NAMED.fullmatch(plain_name(name)):
                return (_MEANINGS | _OF_HOLES)[result[1]], result[2]
    return None


#: How each meaning looks in a drawing program; the meaning is the group's title.
_LOOKS = {
    Meaning.COMES_OUT: "#b5533c", Meaning.STAYS: "#3f6f5f", Meaning.CARVER_DECIDES: "#c9a26b",
    Meaning.MORE: "#4a6fa5", Meaning.LESS: "#8a6d9e", Meaning.GROW_AGAIN: "#7d7d5a",
}  # fmt: skip


def marks_text(marks: Iterable[Mark], size: tuple[float, float], *, title: str) -> str:
    """An SVG at true size: a group for each run of marks that are alike but for where they lie.

    Parameters
    ----------
    marks
        Of the print view, on the grid.
    size
        Width and height of the face, mm.
    """
    lines = [
        *opening(size),
        f"<title>{escape(shortened(title))}, marks</title>",
        "<desc>PRINT VIEW, true size, one unit is 1 mm. Groups are named by what is to be done where their shapes "
        "lie.</desc>",
        f"<metadata>{SIGN}</metadata>",
        *itertools.chain.from_iterable(
            _group(like, run, size[1]) for like, run in itertools.groupby(marks, key=_likeness)
        ),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _likeness(mark: Mark) -> tuple[Meaning, int, tuple[str, ...], tuple[str, ...]]:
    return mark.meaning, mark.attempt, mark.motifs, mark.blocks


def _group(
    like: tuple[Meaning, int, tuple[str, ...], tuple[str, ...]], marks: Iterable[Mark], top: float
) -> Iterator[str]:
    """A group with a meaning, in groups for what it is for."""
    meaning, attempt, motifs, blocks = like
    around = [*motifs, *blocks]
    yield from (f"<g><title>{escape(name)}</title>" for name in around)
    nth = f" {attempt}" if attempt > 1 else ""
    yield f'<g fill="{_LOOKS[meaning]}" fill-rule="evenodd" stroke="none"><title>{meaning}{nth}</title>'
    for mark in marks:
        strength = f' opacity="{mark.strength:g}"' if meaning.graded else ""
        yield f'<path id={quoteattr(mark.key)}{strength} d="{_outline(mark.shape, top)}"/>'
    yield "</g>" * (len(around) + 1)


def _outline(shape: BaseGeometry, top: float) -> str:
    finer = 3 if round(top, 3) == top else 6  # so that turning y back falls on the grid again
    rings = [ring for part in geometry.parts(shape) for ring in (part.exterior, *part.interiors)]
    return "".join(
        f"M{' '.join(f'{x:.3f} {top - y:.{finer}f}' for x, y in shapely.get_coordinates(ring)[:-1].tolist())}Z"
        for ring in rings
    )
