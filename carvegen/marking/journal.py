"""Undo as files: the state before each command that changes a print; and who may change it now."""

from __future__ import annotations

import contextlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePath

from carvegen.base.errors import InputError
from carvegen.base.files import save_file, settled
from carvegen.base.previous_run import free_beside

__all__ = ["FOLDER", "Undone", "changed", "held", "last_changed_s", "undo"]

FOLDER = ".carvegen-journal"
_FORMAT = 1
_MOST, _MOST_BYTES = 100, 100_000_000  #: steps that are kept, and how much room they may take


@dataclass(frozen=True, kw_only=True)
class Undone:
    """What was put back."""

    what: str  #: the command that was undone, in words
    back: tuple[str, ...]  #: files that are as they were before it
    away: tuple[str, ...]  #: files that were not there before it
    beside: Mapping[str, str] = field(default_factory=dict)  #: what had been edited since, to its new name
    more: int = 0  #: how many steps can be undone still


def changed(folder: Path, what: str, files: Mapping[str, bytes | None], *, last: str = "") -> None:
    """Write files into a print's folder, so that `undo` can put back what is there now.

    The journal is written first, whole or not at all; then the files, each whole or not at all. Killed at any moment,
    every file is as it was before or as it is to be, and `undo` puts back what was before.

    Parameters
    ----------
    what
        The command in words, such as ``keep falling snow 1``.
    files
        By name, relative to the folder, with "/"; None takes the file away.
    last
        The file that is written last: the one that names the others.

    Raises
    ------
    InputError
        If something can't be written.
    """
    with settled(folder / FOLDER):
        now = {name: _text(folder / name) for name in files}
        after = {
            name: None if data is None else data.decode("utf-8", "surrogateescape") for name, data in files.items()
        }
        if now == after:
            return
        steps = _steps(folder)
        number = _number(steps[-1]) + 1 if steps else 1
        record = {"format": _FORMAT, "what": what, "before": now, "after": after}
        save_file(folder / FOLDER / f"{number:06d}.json", json.dumps(record))
        for name in sorted(files, key=lambda name: name == last):
            _put(folder / name, after[name])
        _shorten(folder)


def last_changed_s(folder: Path, of: str) -> float:
    """When a command last changed the print file called `of`, as files have it; 0 if there is nothing to undo."""
    return max((step.stat().st_mtime for step in _steps(folder) if _concerns(step, of)), default=0.0)


def undo(folder: Path, of: str) -> Undone:
    """Put back the last step that changed the print file called `of`, or a file that it keeps.

    A file that was edited since is not lost: it is laid beside, under a name that is free.

    Raises
    ------
    InputError
        If there is nothing to undo, or something can't be written.
    """
    with settled(folder / FOLDER):
        steps = [step for step in _steps(folder) if _concerns(step, of)]
        if not steps:
            raise InputError(
                "has nothing to undo", where=str(folder / of), hint="what carvegen keep has changed can be undone"
            )
        record = _record(steps[-1])
        before, after = record.before, record.after
        beside, back, away = dict[str, str](), list[str](), list[str]()
        for name in sorted(before, reverse=True):
            now = _text(folder / name)
            if now == before[name]:
                continue  # a run that was killed has come so far
            if now is not None and now != after[name]:
                beside[name] = free_beside(folder, name)
                _put(folder / beside[name], now)
            _put(folder / name, before[name])
            (away if before[name] is None else back).append(name)
        steps[-1].unlink(missing_ok=True)
        return Undone(what=record.what, back=tuple(back), away=tuple(away), beside=beside, more=len(steps) - 1)


def _steps(folder: Path) -> list[Path]:
    """The files of all steps, the oldest first."""
    return sorted(path for path in (folder / FOLDER).glob("[0-9]*.json") if path.stem.isdigit())


def _number(step: Path) -> int:
    return int(step.stem)


@dataclass(frozen=True)
class _Step:
    """A command, and the text of each of its files before and after it; None: it was not there."""

    what: str
    before: Mapping[str, str | None]
    after: Mapping[str, str | None]


def _record(step: Path) -> _Step:
    try:
        record = json.loads(step.read_text(encoding="utf-8"))
        if record["format"] != _FORMAT:
            raise InputError("is of a form not known here", where=str(step), hint="take the carvegen that wrote it")
        before, after = dict[str, str | None](record["before"]), dict[str, str | None](record["after"])
        if any(PurePath(name).is_absolute() or ".." in PurePath(name).parts for name in before):
            raise ValueError
        if before.keys() != after.keys() or not all(
            text is None or isinstance(text, str) for text in (*before.values(), *after.values())
        ):
            raise ValueError
        return _Step(str(record["what"]), before, after)
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        raise InputError(
            "can't be read", where=str(step), hint="move it away; older steps can be undone still"
        ) from None


def _concerns(step: Path, file: str) -> bool:
    """Whether a step changed a file; one that can't be read may have, and is told when its turn comes."""
    try:
        return file in _record(step).before
    except InputError:
        return True


def _text(path: Path) -> str | None:
    try:
        return path.read_bytes().decode("utf-8", "surrogateescape")
    except FileNotFoundError:
        return None
    except OSError as error:
        raise InputError(f"can't be read ({error.strerror})", where=str(path), hint="check its permissions") from None


def _put(path: Path, text: str | None) -> None:
    if text is None:
        path.unlink(missing_ok=True)
    else:
        save_file(path, text.encode("utf-8", "surrogateescape"))


def _shorten(folder: Path) -> None:
    """Forget the oldest steps beyond what is kept; the last is always kept."""
    steps: Sequence[Path] = _steps(folder)
    room = 0
    for nth, step in enumerate(reversed(steps)):
        room += step.stat().st_size
        if nth and (nth >= _MOST or room > _MOST_BYTES):
            step.unlink(missing_ok=True)


def held(folder: Path, name: str) -> int | None:
    """Hold the print of that name in a folder until this process ends; None if another does.

    Raises
    ------
    InputError
        If nothing can be written there.
    """
    path = folder / FOLDER / f"{Path(name).stem}.lock"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        hint = "the page writes beside the print: let it, or copy the print to where it may"
        raise InputError(f"can't be used ({error.strerror})", where=str(path), hint=hint) from None
    try:
        import fcntl
    except ImportError:
        return _held_by_windows(handle)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        os.close(handle)
        return None
    except OSError:  # a disk without locks
        return handle
    return handle


def _held_by_windows(handle: int) -> int | None:
    with contextlib.suppress(ImportError):
        import msvcrt

        lock = getattr(msvcrt, "locking", None)
        if lock is not None:
            try:
                lock(handle, getattr(msvcrt, "LK_NBLCK", 2), 1)
            except OSError:
                os.close(handle)
                return None
    return handle
