"""The print's files brought up to what is on the desk, behind the hand: each whole or not at all; after a kill, too.

The journal knows by its hash how much of what was done a file holds. A file that is none of these was saved by another
program: what was done here is put into it, and what it held is laid beside.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.files import bytes_hash, file_hash, file_text, save_file
from carvegen.base.previous_run import free_beside
from carvegen.base.words import plain
from carvegen.interfaces.page.table.own_marks import (
    changed_files,
    kept_after,
    marks_after,
    marks_named,
    own_file,
    shapes_after,
)
from carvegen.interfaces.page.wording import own_fault
from carvegen.marking.kept_file import kept_text, marks_of, read_kept
from carvegen.marking.marks_file import marks_text, read_marks
from carvegen.motifs.growth import plain as on_grid
from carvegen.prints.file.print_file import read_print
from carvegen.prints.marked.marked_whites import names_of

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.base.errors import CarvegenError
    from carvegen.facts.profiles import Library
    from carvegen.interfaces.page.table.desk import Desk
    from carvegen.marking.gesture_journal import Change, GestureJournal
    from carvegen.marking.marks import Mark
    from carvegen.prints.file.print_file import Print

__all__ = ["Saver", "done_to_files"]

_AGAIN = "open the print again: what it holds now is taken, what was done here since is put into it"

Work = dict[str, list["Change"]]  #: by file, what it does not hold yet


class Saver:
    """A thread that writes what has changed; `tell` hears of it, or why it can't be written."""

    def __init__(self, desk: Desk, journal: GestureJournal, lock: threading.RLock, tell: Callable[[str], None]) -> None:
        self._desk, self._journal, self._tell = desk, journal, tell
        self._pending: Work = {}
        self._writing = set[str]()
        self._hashes = dict(desk.hashes)
        self._lock = threading.Condition(lock)
        self._fresh = self._ended = False  #: whether something new is to be written; whether nothing more will be
        self._fault: CarvegenError | None = None  #: why the files are behind
        self._thread = threading.Thread(target=self._run, name="saver", daemon=True)
        self._thread.start()

    def clean(self, change: Change) -> dict[str, str]:
        """The hash of each file that a change concerns and that holds all that was done before; hold the lock."""
        files = [file for file in self._files(change) if file not in change.files]
        return {file: self._hash(file) for file in files if file not in self._pending and file not in self._writing}

    def take(self, change: Change) -> None:
        """Have a change written; call it with the lock held."""
        files = self._files(change)
        for file in files:
            self._pending.setdefault(file, []).append(change)
        if files:
            self._fresh = True
            self._lock.notify_all()
        elif not self._pending and not self._writing:
            self._journal.written()  # what it changes is written already

    def put(self, file: str, text: str) -> None:
        """Write a whole file at once, with all that was done on the desk; hold the lock.

        What it held before, if a drawing program wrote that, is laid beside it.

        Raises
        ------
        InputError
            If it was changed meanwhile, or can't be written.
        """
        path, data = self._desk.folder / file, plain(text).encode()
        now, wanted = file_hash(path), bytes_hash(data)
        if now != wanted:
            if now and now != self._hashes.get(file, now):
                raise InputError("was changed by another program meanwhile", where=str(path), hint=_AGAIN)
            if now and any(motif.kept == file for motif in self._desk.print_.motifs):
                save_file(self._desk.folder / free_beside(self._desk.folder, file), path.read_bytes())
            save_file(path, data)
        self._hashes[file] = wanted
        self._pending.pop(file, None)
        self._writing.discard(file)

    def flush(self) -> None:
        """Wait until all is written.

        Raises
        ------
        CarvegenError
            If that can't be done: the files do not hold what is on the desk.
        """
        with self._lock:
            self._lock.wait_for(lambda: not self._fresh and not self._writing)
            if self._fault is not None:
                raise self._fault

    def holds(self, file: str) -> bool:
        """Whether a file is as it was written here, with all that was done."""
        return file not in self._pending and file_hash(self._desk.folder / file) == self._hash(file)

    def close(self) -> None:
        """Write what is left, and end."""
        with self._lock:
            self._ended = True
            self._lock.notify_all()
        self._thread.join()

    def _files(self, change: Change) -> list[str]:
        own = [self._desk.marks.file] if marks_named(change) else []
        return own + [file for file in changed_files(change) if file in change.shapes_gone or file in change.shapes_new]

    def _hash(self, file: str) -> str:
        if file not in self._hashes:
            self._hashes[file] = file_hash(self._desk.folder / file)
        return self._hashes[file]

    def _run(self) -> None:
        while True:
            with self._lock:
                self._lock.wait_for(lambda: self._fresh or self._ended)
                if not self._fresh:
                    return
                work, self._pending, self._fresh = self._pending, {}, False
                self._writing = set(work)
                marks, steps = self._desk.marks.own, len(self._journal.unwritten)
            left, fault = Work(), None
            for file, changes in work.items():
                try:
                    self._write(file, changes, marks, steps)
                except Exception as error:  # whatever it is: it is said, and nobody waits for ever
                    left[file], fault = changes, own_fault(error)
            self._settle(left, fault)

    def _settle(self, left: Work, fault: CarvegenError | None) -> None:
        """What is left to be written is tried again with the next change, or when the print is opened again."""
        with self._lock:
            for file, changes in left.items():
                if file in self._writing:  # not written whole meanwhile
                    self._pending[file] = changes + self._pending.get(file, [])
            self._writing.clear()
            try:
                if not self._pending:
                    self._journal.written()
            except InputError as error:
                fault = error
            self._fault = fault
            self._lock.notify_all()
        self._tell("" if fault is None else f"{fault}. {fault.hint}")

    def _write(self, file: str, changes: list[Change], marks: tuple[Mark, ...], steps: int) -> None:
        desk, path = self._desk, self._desk.folder / file
        self._check(file)
        if file == desk.marks.file:
            text: str | None = marks_text(marks, desk.size, title=desk.print_.name)
        else:
            text = kept_after(file_text(path), changes, file, desk.size)
        if text is None:
            raise InputError("is not as it was written here", where=str(path), hint=_AGAIN)
        data = plain(text).encode()
        with self._lock:
            if file not in self._writing:
                return  # it was written whole meanwhile
            self._check(file)
            self._journal.writing({file: bytes_hash(data)}, steps)
            save_file(path, data)
            self._hashes[file] = bytes_hash(data)

    def _check(self, file: str) -> None:
        path = self._desk.folder / file
        if file_hash(path) != self._hash(file):
            raise InputError("was changed by another program meanwhile", where=str(path), hint=_AGAIN)


# ── after a kill ──


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
