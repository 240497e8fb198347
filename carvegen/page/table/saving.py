"""The print's files brought up to what is on the desk, behind the hand: each whole or not at all."""

from __future__ import annotations

import threading
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.errors import InputError
from carvegen.base.files import file_hash, save_file
from carvegen.marking.kept_file import kept_text_with
from carvegen.marking.marks_text import marks_text

if TYPE_CHECKING:
    from carvegen.marking.gesture_journal import Change, GestureJournal
    from carvegen.marking.marks import Mark
    from carvegen.page.table.desk import Desk

__all__ = ["Saver"]

_AGAIN = "open the print again: what it holds now is taken, what was done here since is in the journal"


@dataclass(kw_only=True, eq=False)
class _Work:
    """What is to be written."""

    marks: tuple[Mark, ...] | None = None
    gone: dict[str, set[str]] = field(default_factory=dict)  #: by file, ids
    new: dict[str, dict[str, Any]] = field(default_factory=dict)

    def __bool__(self) -> bool:
        return self.marks is not None or bool(self.gone) or bool(self.new)

    def take(self, change: Change, marks: tuple[Mark, ...]) -> None:
        """One more change."""
        if change.marks_gone or change.marks_new:
            self.marks = marks
        for file in {*change.shapes_gone, *change.shapes_new}:
            gone, new = self.gone.setdefault(file, set()), self.new.setdefault(file, {})
            for name in change.shapes_gone.get(file, {}):
                gone.add(name)
                new.pop(name, None)
            for name, text in change.shapes_new.get(file, {}).items():
                gone.add(name)
                new[name] = shapely.from_wkt(text)


class Saver:
    """A thread that writes what has changed; `told` hears of it, or why it can't be written."""

    def __init__(self, desk: Desk, journal: GestureJournal, lock: threading.RLock, told: Callable[[str], None]) -> None:
        self._desk, self._journal, self._told = desk, journal, told
        self._work = _Work()
        self._marks_hash = file_hash(desk.folder / desk.marks.file)
        self._lock = threading.Condition(lock)
        self._busy = self._ended = False
        self._failed = False  #: something could not be written: it is done to the files when the print is opened again
        self._thread = threading.Thread(target=self._run, name="saver", daemon=True)
        self._thread.start()

    def take(self, change: Change) -> None:
        """Have a change written; call it with the lock held."""
        self._work.take(change, self._desk.marks.own)
        if self._work:
            self._lock.notify_all()
        elif not self._busy and not self._failed:
            self._journal.written()  # what it changes is written already

    def flush(self) -> None:
        """Wait until all is written."""
        with self._lock:
            self._lock.wait_for(lambda: not self._work and not self._busy)

    def close(self) -> None:
        """Write what is left, and end."""
        with self._lock:
            self._ended = True
            self._lock.notify_all()
        self._thread.join()

    def _run(self) -> None:
        while True:
            with self._lock:
                self._lock.wait_for(lambda: self._work or self._ended)
                if not self._work:
                    return
                work, self._work, self._busy = self._work, _Work(), True
            try:
                self._write(work)
                said = ""
            except InputError as error:
                self._failed = True
                said = f"{error}. {error.hint}"
            with self._lock:
                self._busy = False
                if not self._failed and not self._work:
                    self._journal.written()
                self._lock.notify_all()
            self._told(said)

    def _write(self, work: _Work) -> None:
        desk = self._desk
        if work.marks is not None:
            path = desk.folder / desk.marks.file
            if self._marks_hash and file_hash(path) != self._marks_hash:
                raise InputError("was changed by another program meanwhile", where=str(path), hint=_AGAIN)
            save_file(path, marks_text(work.marks, desk.size, title=desk.given.name))
            self._marks_hash = file_hash(path)
        for file in {*work.gone, *work.new}:
            path = desk.folder / file
            try:
                text = path.read_text(encoding="utf-8")
            except (OSError, ValueError):
                raise InputError("can't be read", where=str(path), hint="put it back") from None
            present = {name for name in work.gone.get(file, ()) if f'<path id="{name}"' in text}
            edited = kept_text_with(text, present, work.new.get(file, {}), desk.size)
            if edited is None:
                raise InputError("was saved by another program meanwhile", where=str(path), hint=_AGAIN)
            save_file(path, edited)
