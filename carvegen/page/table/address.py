"""Where a print's page was last served, so that a window that is still open comes back to it."""

from __future__ import annotations

import contextlib
import json
import os
import re
import secrets
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path

from carvegen.marking.journal import FOLDER

__all__ = ["Address", "forget", "last", "pointer_to", "remember"]

_TOKEN = re.compile(r"[A-Za-z0-9_-]{32}")
_PORTS = range(1024, 65536)


@dataclass(frozen=True, kw_only=True)
class Address:
    """A port of this computer, and the token without which nothing is answered there."""

    port: int
    token: str


def last(path: Path) -> Address | None:
    """The address that the page of the print at `path` had last; None if it had none, or its file is not our own."""
    try:
        with _file(path).open(encoding="utf-8") as file:
            if os.name == "posix" and os.fstat(file.fileno()).st_mode & 0o077:
                return None  # others could have read it
            said = json.loads(file.read(1000))
        address = Address(port=said["port"], token=said["token"])
        good = address.port in _PORTS and _TOKEN.fullmatch(address.token)
    except (OSError, ValueError, KeyError, TypeError):
        return None
    return address if good else None


def remember(path: Path, address: Address) -> None:
    """Note an address, for its owner's eyes alone; without a word where that can't be: the next has another then."""
    file = _file(path)
    beside = file.with_name(f".{file.name}.next")
    try:
        _write_private(beside, json.dumps(asdict(address)))
        beside.replace(file)
    except OSError:
        return


@contextlib.contextmanager
def pointer_to(url: str, folder: Path) -> Iterator[Path | None]:
    """A file in a folder, for its owner's eyes alone, that leads a browser to an address; gone on leaving.

    What a browser is started with can be read by everybody on the computer, so that is this file and not the token.
    None where no file can be written.
    """
    file = folder / f"open-the-page-{secrets.token_hex(4)}.html"
    try:
        _write_private(file, f'<!doctype html><meta http-equiv="refresh" content="0; url={url}"><a href="{url}">on</a>')
    except OSError:
        yield None
        return
    try:
        yield file
    finally:
        with contextlib.suppress(OSError):
            file.unlink(missing_ok=True)


def _write_private(file: Path, text: str) -> None:
    """Write a file that its owner alone may read, from the start."""
    file.unlink(missing_ok=True)
    with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w", encoding="utf-8") as out:
        out.write(text)


def forget(path: Path) -> None:
    """No window is open any more: the next address is another."""
    try:
        _file(path).unlink(missing_ok=True)
    except OSError:
        return


def _file(path: Path) -> Path:
    return path.parent / FOLDER / f"{path.stem}.address"
