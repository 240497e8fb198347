"""After a kill: what the journal has noted and the files may not hold yet, done to the files; twice is as once.

The journal knows by its hash how much of what was done a file holds. A file that is none of these was saved by another
program: what was done here is put into it, and what it held is laid beside.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.files import bytes_hash, save_file
from carvegen.base.previous_run import free_beside
from carvegen.base.words import plain
from carvegen.marking.kept_file import kept_text, marks_of, read_kept
from carvegen.marking.marks_file import marks_text, read_marks
from carvegen.motifs.growth import plain as on_grid
from carvegen.page.table.own_marks import (
    changed_files,
    kept_after,
    marks_after,
    marks_named,
    own_file,
    shapes_after,
)
from carvegen.prints.file.print_file import read_print
from carvegen.prints.marked.marked_whites import names_of

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.facts.profiles import Library
    from carvegen.marking.gesture_journal import Change, GestureJournal
    from carvegen.prints.file.print_file import Print

__all__ = ["done_to_files"]


def done_to_files(journal: GestureJournal, path: Path, shelf: Library) -> list[str]:
    """Do what is noted to the files of the print at `path`: kept shapes, marks, last the print file.

    Returns
    -------
    list of str
        What came otherwise, to be told.

    Raises
    ------
    InputError
        If a file that another program has saved can't be read, or something can't be written.
    """
    changes = [step.change for step in journal.unwritten]
    print_, notes = read_print(path, shelf), list[str]()
    for file in dict.fromkeys(file for change in changes for file in changed_files(change)):
        notes += _kept(file, changes, journal, print_)
    if any(map(marks_named, changes)):
        notes += _marks(changes, journal, print_)
    return notes + _text(changes, path)


def _kept(file: str, changes: list[Change], journal: GestureJournal, print_: Print) -> list[str]:
    path, size = print_.path.parent / file, (print_.width_mm, print_.height_mm)
    data = _bytes(path)
    held = dict(journal.held.get(file, {}))
    for k, change in enumerate(changes):
        for text in change.files.get(file, ()):
            held.setdefault("" if text is None else bytes_hash(plain(text).encode()), k)
    start = held.get(_hash(data))
    if start is None and data is None:
        return [f"{file} is not there any more: what was done to it is left out"]
    if start is not None:
        todo = [change for change in changes[start:] if file in changed_files(change)]
        text = kept_after("" if data is None else data.decode(), todo, file, size) if todo else None
        if text is not None or not todo:
            _save(path, data, text, journal, file)
            return []
    return _merged(file, changes, journal, print_)


def _merged(file: str, changes: list[Change], journal: GestureJournal, print_: Print) -> list[str]:
    """What was done to kept shapes put into their file as another program has saved it."""
    path, size = print_.path.parent / file, (print_.width_mm, print_.height_mm)
    own = next((motif for motif in print_.motifs if motif.kept == file), None)
    if own is None:
        return [f"{file} was saved by another program, and no motif is kept in it: it stays as it is"]
    kept = read_kept(path, motif=own.motif, size=size)
    if kept.memory is None:
        hint = "put the file back that was there before; or take this one out of the print file, and the motif grows"
        raise InputError("was saved by another program, without what it knew of its motif", where=str(path), hint=hint)
    out, new = shapes_after(changes, file)
    shapes = geometry.polygon_array(new.values())
    stay = geometry.polygon_array(
        shape for shape, name in zip(kept.growth.cuts, kept.ids, strict=True) if name not in out
    )
    names = {**kept.names, **dict(zip(marks_of(shapes), new, strict=True))}
    growth = on_grid(replace(kept.growth, cuts=geometry.stack([stay, shapes])))
    text = kept_text(growth, kept.memory, size, title=f"{print_.name}: {own.name}", names=names)
    return _laid_beside(path, file, text, journal)


def _marks(changes: list[Change], journal: GestureJournal, print_: Print) -> list[str]:
    file = next((change.marks_file for change in reversed(changes) if change.marks_file), "") or own_file(print_)
    path, size = print_.path.parent / file, (print_.width_mm, print_.height_mm)
    data = _bytes(path)
    start = journal.held.get(file, {}).get(_hash(data))
    marks = () if data is None else read_marks(path, names_of(print_), size).marks
    for change in changes[start or 0 :]:
        marks = marks_after(marks, change)
    text = marks_text(marks, size, title=print_.name)
    if data is not None and start is None:
        return _laid_beside(path, file, text, journal)
    _save(path, data, text if any(map(marks_named, changes[start or 0 :])) else None, journal, file)
    return []


def _text(changes: list[Change], path: Path) -> list[str]:
    """The print file: from where it stands among the texts that it had; edited by another hand, that stays."""
    texts = [change.text for change in changes if change.text]
    now = path.read_bytes().decode("utf-8", "surrogateescape")
    if not texts or now == texts[-1][1]:
        return []
    if any(now in text for text in texts):
        save_file(path, texts[-1][1].encode("utf-8", "surrogateescape"))
        return []
    what = ", ".join(change.what for change in changes if change.text)
    return [f"{path.name} was changed by another program and stays as it is: what was done here is not in it ({what})"]


def _laid_beside(path: Path, file: str, text: str, journal: GestureJournal) -> list[str]:
    folder = path.parents[len(file.split("/")) - 1]
    beside = free_beside(folder, file)
    data = path.read_bytes()
    if plain(text).encode() == data:
        return []
    save_file(folder / beside, data)
    _save(path, data, text, journal, file)
    return [f"{file} was saved by another program: what was done here is put into it; as that saved it, it is {beside}"]


def _save(path: Path, data: bytes | None, text: str | None, journal: GestureJournal, file: str) -> None:
    """Write a file that is to be another, and note before which it will be."""
    wanted = data if text is None else plain(text).encode()
    if wanted is not None and wanted != data:
        journal.writing({file: bytes_hash(wanted)}, len(journal.unwritten))
        save_file(path, wanted)


def _bytes(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})", where=str(path), hint="check its permissions") from None


def _hash(data: bytes | None) -> str:
    return "" if data is None else bytes_hash(data)
