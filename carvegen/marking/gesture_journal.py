"""What a hand has done to a print, a line a gesture: done once however often it is sent, undone and redone without end.

The print's files are the state; a line holds only what it changed in them, before and after. A line is written before
the files are, so after a kill the lines since the last "written" are done to the files once more: doing one twice
changes nothing.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field
from pathlib import Path
from typing import Any, Literal

from carvegen.base.errors import InputError
from carvegen.marking.journal import FOLDER

__all__ = ["GESTURES", "Change", "GestureJournal", "JournalStep", "gestures_since", "reverse"]

GESTURES = "gestures.jsonl"

_BEGINS = re.compile(rb'\{"(?:id|do)":')

Do = Literal["do", "undo", "redo"]


@dataclass(frozen=True, kw_only=True)
class Change:
    """What one gesture changes, as plain values."""

    what: str  #: in words
    #: of the marks of the page's own file: place and mark, those that go by their old place, those that come by the new
    marks_gone: Sequence[tuple[int, Mapping[str, Any]]] = ()
    marks_new: Sequence[tuple[int, Mapping[str, Any]]] = ()
    #: by kept file, by the id of a shape, its outline
    shapes_gone: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    shapes_new: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    marks_file: str = ""  #: the page's own file of marks, if they change
    #: the text, before and after, of kept files that are written whole; before: None where there was none
    files: Mapping[str, Sequence[str | None]] = field(default_factory=dict)
    #: the text of the print file before and after; empty: it stays
    text: Sequence[str] = ()
    left: Sequence[str] = ()  #: findings that are left to the carver from now on
    taken_up: Sequence[str] = ()  #: those that are not any more


def reverse(change: Change) -> Change:
    """What takes a change back; files that it has written whole stay where they are."""
    return Change(
        what=change.what, marks_file=change.marks_file, marks_gone=change.marks_new, marks_new=change.marks_gone,
        shapes_gone=change.shapes_new,
        shapes_new=change.shapes_gone, text=tuple(reversed(change.text)), left=change.taken_up,
        taken_up=change.left,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class JournalStep:
    """What is done to the files by a line: a change, or the reverse of one."""

    do: Do
    change: Change


def gestures_since(folder: Path, name: str, since_s: float) -> int:
    """How many gestures on a print stand, if any was done or undone after a moment (s, as files have it); 0 if not."""
    path = folder / FOLDER / f"{Path(name).stem}.{GESTURES}"
    try:
        if path.stat().st_mtime < since_s:
            return 0
        lines = path.read_bytes().splitlines()
    except OSError:
        return 0
    counts = {b'"do":"do"': 1, b'"do":"redo"': 1, b'"do":"undo"': -1}
    return sum(next((n for do, n in counts.items() if do in line[:200]), 0) for line in lines)


class GestureJournal:
    """The journal of one print, open to be written; only one may be.

    Parameters
    ----------
    folder
        The print's.

    Raises
    ------
    InputError
        If it can't be read or written.
    """

    def __init__(self, folder: Path, name: str) -> None:
        self._path = folder / FOLDER / f"{Path(name).stem}.{GESTURES}"
        self._seen: set[str] = set()
        self._done: list[Change] = []
        self._undone: list[Change] = []
        self.unwritten: list[JournalStep] = []  #: what may not have come into the files before a kill
        #: by file and its hash, how many of `unwritten` it holds then
        self.held: dict[str, dict[str, int]] = {}
        self._before: tuple[int, str, tuple[Any, ...]] | None = (
            None  #: the last line: where it begins, its id, the state
        )
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
            data = self._path.read_bytes() if self._path.exists() else b""
            whole = data[: data.rfind(b"\n") + 1]
            if len(whole) < len(data):  # a line that was torn by a kill: off, before anything is put behind it
                os.truncate(self._path, len(whole))
            for line in whole.splitlines():
                self._read(line)
            self._file = self._path.open("ab", buffering=0)
        except OSError as error:
            raise InputError(
                f"can't be used ({error.strerror})", where=str(self._path), hint="check its permissions"
            ) from None

    @property
    def undo_count(self) -> int:
        """How many gestures can be undone."""
        return len(self._done)

    @property
    def redo_count(self) -> int:
        """How many can be done again."""
        return len(self._undone)

    @property
    def left(self) -> frozenset[str]:
        """The findings that are left to the carver."""
        result = set[str]()
        for change in self._done:
            result = (result | set(change.left)) - set(change.taken_up)
        return frozenset(result)

    def has(self, gesture: str) -> bool:
        """Whether a gesture of this id was done."""
        return gesture in self._seen

    def add(self, gesture: str, change: Change, on: Mapping[str, str] | None = None) -> None:
        """Note a change; what had been undone is gone.

        Parameters
        ----------
        on
            The hash of each file that it changes, of those that hold all that was done before.
        """
        self._note({"id": gesture, "do": "do", "on": dict(on or {}), "change": asdict(change)}, "do", change)

    def next(self, do: Do) -> JournalStep | None:
        """What undo or redo would do; None if there is nothing."""
        if do == "undo":
            return JournalStep(do=do, change=reverse(self._done[-1])) if self._done else None
        return JournalStep(do=do, change=self._undone[-1]) if self._undone else None

    def move(self, gesture: str, do: Do, on: Mapping[str, str] | None = None) -> None:
        """Note that the last change was undone, or the last undone one done again; `on` as in `add`."""
        self._note({"id": gesture, "do": do, "on": dict(on or {})}, do, None)

    def take_back(self) -> None:
        """Strike out the line that was noted last: what it says could not be done."""
        assert self._before is not None
        size, gesture, (done, undone, unwritten, held) = self._before
        os.ftruncate(self._file.fileno(), size)
        self._seen.discard(gesture)
        self._done, self._undone, self.unwritten, self.held = done, undone, unwritten, held

    def writing(self, files: Mapping[str, str], steps: int) -> None:
        """Note, before they are written, the hashes that files have once they hold so many of what is unwritten."""
        self._write({"do": "writing", "files": dict(files), "steps": steps})
        self._hold(files, steps)

    def written(self) -> None:
        """Note that the files hold all that is noted."""
        self._write({"do": "written"})
        self._settle()

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()

    def _note(self, line: Mapping[str, Any], do: Do, change: Change | None) -> None:
        held = {file: dict(hashes) for file, hashes in self.held.items()}
        state = [*self._done], [*self._undone], [*self.unwritten], held
        before = os.fstat(self._file.fileno()).st_size, line["id"], state
        self._write(line)
        self._before = before
        self._hold(line["on"], len(self.unwritten))
        self._take(do, change)
        self._seen.add(line["id"])

    def _write(self, line: Mapping[str, Any]) -> None:
        """Add a line, whole or not at all."""
        size, left = os.fstat(self._file.fileno()).st_size, json.dumps(line, separators=(",", ":")).encode() + b"\n"
        try:
            while left:
                count = self._file.write(left)
                if not count:
                    raise OSError(errno.EIO, "nothing is written")
                left = left[count:]
        except OSError as error:
            with contextlib.suppress(OSError):
                os.ftruncate(self._file.fileno(), size)
            hint = "make room there; nothing was changed"
            raise InputError(f"can't be written ({error.strerror})", where=str(self._path), hint=hint) from None

    def _read(self, line: bytes) -> None:
        record = _line_in(line)
        if record is None:
            return  # torn by a full disk: what it noted was refused
        try:
            if record["do"] == "written":
                self._settle()
            elif record["do"] == "writing":
                self._hold(record["files"], record["steps"])
            else:
                self._hold(record.get("on", {}), len(self.unwritten))
                self._take(record["do"], Change(**record["change"]) if record["do"] == "do" else None)
                self._seen.add(record["id"])
        except (ValueError, KeyError, TypeError, IndexError, AttributeError):
            hint = "move it away: the print's files are whole, but what was done before can't be undone any more"
            raise InputError("can't be read", where=str(self._path), hint=hint) from None

    def _hold(self, files: Mapping[str, str], steps: int) -> None:
        for file, digest in files.items():
            self.held.setdefault(file, {})[digest] = steps

    def _settle(self) -> None:
        self.unwritten.clear()
        self.held.clear()

    def _take(self, do: Do, change: Change | None) -> None:
        if change is not None:
            self._done.append(change)
            self._undone.clear()
        elif do == "undo":
            self._undone.append(self._done.pop())
            change = reverse(self._undone[-1])
        else:
            self._done.append(self._undone.pop())
            change = self._done[-1]
        self.unwritten.append(JournalStep(do=do, change=change))


def _line_in(line: bytes) -> dict[str, Any] | None:
    """What a line says, or the whole one that follows a torn one on it; None if there is none."""
    for start in (0, *(match.start() for match in _BEGINS.finditer(line, 1))):
        try:
            record = json.loads(line[start:])
        except (ValueError, RecursionError):
            continue
        return record if isinstance(record, dict) else None
    return None
