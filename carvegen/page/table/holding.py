"""Who may change a print: one process at a time, told by a lock that a dead one does not hold."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from carvegen.base.errors import InputError
from carvegen.marking.journal import FOLDER

__all__ = ["held"]


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
