"""The page's own marks, and what changes do to them and to the print's files."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.marking.kept_file import kept_text_with
from carvegen.marking.marks import Mark, Meaning, contradict, on_face
from carvegen.marking.marks_file import SIGN, marks_in, marks_text

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats
    from carvegen.marking.gesture_journal import Change
    from carvegen.marking.marks import Mark
    from carvegen.marking.marks_file import Names
    from carvegen.prints.file.print_file import Print

__all__ = [
    "BARE", "GONE", "LEAST_MM2", "area_of", "as_read", "changed_files", "free_file", "kept_after", "line_of",
    "mark_entry", "mark_from", "marks_after", "marks_named", "own_file", "redrawn", "rings_of", "rubbed",
    "shapes_after", "values",
]  # fmt: skip

_SMOOTH_MM = 0.02  #: a line is simplified by no more
_ARC = 8
BARE, GONE = "bare-", "gone-"  #: what the keys of taps begin with, and of places that a touched shape has left
LEAST_MM2 = 0.05  #: less of a mark does nothing


def own_file(print_: Print) -> str:
    """The file of marks that the page writes: the last that the print names and that was written here, or a new one."""
    own = (name for name in reversed(print_.marks) if _is_own(print_.path.parent / name))
    return next(own, None) or free_file(print_)


def free_file(print_: Print) -> str:
    """A name for a file of marks that no other file has, or one of the page's that the print no longer names."""
    names = ("marks.svg", *(f"marks-{k}.svg" for k in range(2, 10_000)))
    folder = print_.path.parent
    return next(
        name for name in names if name not in print_.marks and (not (folder / name).exists() or _is_own(folder / name))
    )


def _is_own(path: Path) -> bool:
    try:
        with path.open("rb") as file:
            return SIGN.encode() in file.read(2000)
    except OSError:
        return False


def line_of(points: Floats, breadth_mm: float) -> BaseGeometry:
    """What a pencil of a breadth covers; points (n, 2 or more)."""
    xy = points[:, :2]
    path = shapely.LineString(xy) if len(np.unique(xy, axis=0)) > 1 else shapely.Point(xy[0])
    return shapely.simplify(shapely.buffer(path, breadth_mm / 2, quad_segs=_ARC), _SMOOTH_MM)


def area_of(points: Floats) -> BaseGeometry:
    """What an outline drawn by hand encloses, closed and made valid."""
    if len(np.unique(points[:, :2], axis=0)) < 3:
        raise InputError("encloses nothing", field="points", hint="draw round something")
    return geometry.solid(shapely.make_valid(shapely.Polygon(points[:, :2])))


def as_read(mark: Mark, names: Names, size: tuple[float, float]) -> Mark | None:
    """The mark as its file will be read; None if nothing of it lies on the face."""
    face = geometry.box(*size)
    shape = geometry.solid(shapely.intersection(_on_grid(mark.shape), face))
    if shapely.area(shape) <= LEAST_MM2:
        return None
    mark = replace(mark, shape=_on_grid(shape))
    there, _ = on_face(marks_in(marks_text([mark], size, title="").encode(), names, size).marks, face)
    return there[0] if there else None


def redrawn(mark: Mark, shape: BaseGeometry, names: Names, size: tuple[float, float]) -> Mark | None:
    """The mark with another shape; None if that is nothing."""
    return None if shapely.area(shape) <= LEAST_MM2 else as_read(replace(mark, shape=shape), names, size)


def rubbed(marks: Sequence[Mark], new: Mark, names: Names, size: tuple[float, float]) -> dict[str, Mark | None]:
    """The marks, by key, that a new one contradicts, without what of them lies under it; None: nothing is left."""
    rubbed_out = dict[str, Mark | None]()
    for mark in marks:
        if contradict(mark, new) and shapely.intersects(mark.shape, new.shape):
            left = shapely.difference(mark.shape, shapely.buffer(new.shape, 2 * geometry.GRID_MM))
            rubbed_out[mark.key] = redrawn(mark, geometry.solid(left), names, size)
    return rubbed_out


def values(mark: Mark) -> dict[str, Any]:
    """A mark as plain values, from which `mark_from` makes the same."""
    return {
        "key": mark.key, "meaning": str(mark.meaning), "strength": mark.strength, "attempt": mark.attempt,
        "motifs": list(mark.motifs), "blocks": list(mark.blocks),
        "shape": shapely.to_wkt(mark.shape, rounding_precision=3),
    }  # fmt: skip


def mark_from(record: Mapping[str, Any]) -> Mark:
    """A mark from its plain values."""
    return Mark(
        meaning=Meaning(record["meaning"]), shape=shapely.from_wkt(record["shape"]), key=record["key"],
        strength=record["strength"], attempt=record["attempt"], motifs=tuple(record["motifs"]),
        blocks=tuple(record["blocks"]),
    )  # fmt: skip


def mark_entry(mark: Mark, *, fixed: bool) -> dict[str, Any]:
    """A mark for the page; `fixed` if it stands in a file that the page does not write, `quiet` if nobody drew it."""
    return {
        "id": mark.key, "meaning": str(mark.meaning), "strength": mark.strength, "attempt": mark.attempt,
        "motifs": list(mark.motifs), "blocks": list(mark.blocks), "fixed": fixed,
        "quiet": mark.key.startswith(GONE), "rings": rings_of(mark.shape),
    }  # fmt: skip


def rings_of(shape: BaseGeometry) -> list[list[list[float]]]:
    """The rings of a shape as plain values, mm."""
    rings = geometry.rings(geometry.parts(shape))
    xy = np.round(rings.xy, 2)
    return [xy[a:b].tolist() for a, b in zip(rings.start[:-1], rings.start[1:], strict=True)]


def _on_grid(shape: BaseGeometry) -> BaseGeometry:
    snapped = shapely.set_precision(shape, geometry.GRID_MM)
    return geometry.solid(shapely.set_precision(snapped, 0, mode="pointwise"))


def changed_files(change: Change) -> list[str]:
    """The files of shapes that a change concerns."""
    return list(dict.fromkeys([*change.files, *change.shapes_gone, *change.shapes_new]))


def marks_named(change: Change) -> set[str]:
    """The keys of the marks that a change concerns."""
    return {record["key"] for _, record in (*change.marks_gone, *change.marks_new)}


def marks_after(own: Iterable[Mark], change: Change) -> tuple[Mark, ...]:
    """The page's own marks after a change; done twice it is as done once."""
    out = marks_named(change)
    marks = [mark for mark in own if mark.key not in out]
    for place, record in sorted(change.marks_new, key=lambda entry: entry[0]):
        marks.insert(place, mark_from(record))
    return tuple(marks)


def shapes_after(changes: Iterable[Change], file: str) -> tuple[set[str], dict[str, Any]]:
    """The ids that changes one after the other take from a kept file or draw anew there, and the shapes they leave."""
    out, new = set[str](), dict[str, Any]()
    for change in changes:
        for name in change.shapes_gone.get(file, {}):
            out.add(name)
            new.pop(name, None)
        for name, text in change.shapes_new.get(file, {}).items():
            out.add(name)
            new[name] = shapely.from_wkt(text)
    return out, new


def kept_after(text: str, changes: Sequence[Change], file: str, size: tuple[float, float]) -> str | None:
    """The text of a kept file after changes that it does not hold yet; None if it is not as it was written here."""
    whole = [k for k, change in enumerate(changes) if file in change.files]
    if whole:
        changes = changes[whole[-1] :]
        text = changes[0].files[file][1] or ""
    gone, added = set[str](), set[str]()  #: of what the text holds, and of what came since
    for change in changes:
        names = change.shapes_gone.get(file, {})
        gone |= names.keys() - added
        added = (added - names.keys()) | change.shapes_new.get(file, {}).keys()
    return kept_text_with(text, gone, shapes_after(changes, file)[1], size)
