"""The print's files brought up to what is on the desk, behind the hand: each whole or not at all."""

from __future__ import annotations

import threading
from collections.abc import Callable
from typing import TYPE_CHECKING

from carvegen.base.errors import InputError
from carvegen.base.files import bytes_hash, file_hash, file_text, save_file
from carvegen.base.previous_run import free_beside
from carvegen.base.words import plain
from carvegen.marking.marks_file import marks_text
from carvegen.page.table.own_marks import changed_files, kept_after, marks_named
from carvegen.page.words import own_fault

if TYPE_CHECKING:
    from carvegen.base.errors import CarvegenError
    from carvegen.marking.gesture_journal import Change, GestureJournal
    from carvegen.marking.marks import Mark
    from carvegen.page.table.desk import Desk

__all__ = ["Saver"]

_AGAIN = "open the print again: what it holds now is taken, what was done here since is put into it"

Work = dict[str, list["Change"]]  #: by file, what it does not hold yet


class Saver:
    """A thread that writes what has changed; `told` hears of it, or why it can't be written."""

    def __init__(self, desk: Desk, journal: GestureJournal, lock: threading.RLock, told: Callable[[str], None]) -> None:
        self._desk, self._journal, self._told = desk, journal, told
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
        self._told("" if fault is None else f"{fault}. {fault.hint}")

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
