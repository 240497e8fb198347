"""What changes do to the print's own files: to marks and to kept shapes; every writer of them asks here."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.errors import InputError
from carvegen.marking.kept_file import kept_text_with
from carvegen.page.table.own_marks import mark_from

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.marking.gesture_journal import Change
    from carvegen.marking.marks import Mark

__all__ = ["changed_files", "hash_of", "kept_after", "marks_after", "marks_named", "shapes_after", "text_in"]


def hash_of(data: bytes) -> str:
    """The hash of a file's bytes, as `carvegen.base.files.file_hash` has it."""
    return hashlib.sha256(data).hexdigest()[:16]


def text_in(path: Path) -> str:
    """The text of one of the print's files; `InputError` if it can't be read."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        raise InputError("can't be read", where=str(path), hint="put it back") from None


def changed_files(change: Change) -> list[str]:
    """The files of shapes that a change concerns."""
    return list(dict.fromkeys([*change.files, *change.shapes_gone, *change.shapes_new]))


def marks_named(change: Change) -> set[str]:
    """The keys of the marks that a change concerns."""
    return {said["key"] for _, said in (*change.marks_gone, *change.marks_new)}


def marks_after(own: Iterable[Mark], change: Change) -> tuple[Mark, ...]:
    """The page's own marks after a change; done twice it is as done once."""
    out = marks_named(change)
    marks = [mark for mark in own if mark.key not in out]
    for place, said in sorted(change.marks_new, key=lambda its: its[0]):
        marks.insert(place, mark_from(said))
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
