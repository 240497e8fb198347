"""After a kill: what the journal has noted and the files may not hold yet, done to the files; twice is as once."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.marking.kept_file import kept_text_with
from carvegen.marking.marks_file import read_marks
from carvegen.marking.marks_text import marks_text
from carvegen.page.table.own_marks import mark_from, own_file
from carvegen.prints.file.print_file import read_print
from carvegen.prints.marked.marked_whites import names_of

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.facts.profiles import Library
    from carvegen.marking.gesture_journal import Change
    from carvegen.prints.file.print_file import Print

__all__ = ["done_to_files"]


def done_to_files(changes: Iterable[Change], path: Path, shelf: Library) -> None:
    """Do changes to the files of the print at `path`, in their order: kept shapes, marks, last the print file."""
    for change in changes:
        given = read_print(path, shelf)
        for file in {*change.shapes_gone, *change.shapes_new}:
            _kept(change, file, given)
        if change.marks_gone or change.marks_new:
            _marks(change, given)
        if change.text:
            save_file(path, change.text[1].encode("utf-8", "surrogateescape"))


def _kept(change: Change, file: str, given: Print) -> None:
    path = given.path.parent / file
    if not path.is_file():
        return
    text = path.read_text(encoding="utf-8")
    gone, new = change.shapes_gone.get(file, {}), change.shapes_new.get(file, {})
    there = {name for name in {*gone, *new} if f'<path id="{name}"' in text}
    shapes: dict[str, Any] = {name: shapely.from_wkt(outline) for name, outline in new.items()}
    edited = kept_text_with(text, there, shapes, (given.width_mm, given.height_mm))
    if edited is None:
        raise InputError("was saved by another program meanwhile", where=str(path), hint="keep the motif anew")
    save_file(path, edited)


def _marks(change: Change, given: Print) -> None:
    size = (given.width_mm, given.height_mm)
    path = given.path.parent / own_file(given)
    marks = list(read_marks(path, names_of(given), size).marks) if path.is_file() else []
    out = {said["key"] for _, said in (*change.marks_gone, *change.marks_new)}
    marks = [mark for mark in marks if mark.key not in out]
    for place, said in sorted(change.marks_new, key=lambda its: its[0]):
        marks.insert(place, mark_from(said))
    save_file(path, marks_text(marks, size, title=given.name))
