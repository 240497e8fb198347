"""Writing: a whole folder or nothing; the only place that opens a file for writing."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import re
import secrets
import shutil
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from carvegen.base.errors import InputError
from carvegen.base.words import plain

__all__ = [
    "bytes_hash",
    "file_hash",
    "file_text",
    "save_file",
    "scratch_folder",
    "settled",
    "staged_folder",
    "write_file",
]


_MARK = ".carvegen"  #: in every stage; while files move it lists those that are new
_BEFORE = ".before"  #: what they replace
_DONE = ".done"  #: in the place of the mark once all have moved: nothing is to be put back any more


@contextlib.contextmanager
def staged_folder(target: Path, *, owned: frozenset[str]) -> Iterator[Path]:
    """A new folder beside `target`; on leaving without error its files are moved into `target`.

    Until then `target` is untouched; on any error, Ctrl-C included, the new folder is removed and `target`
    stays as it was. What a run left behind that was killed is put right by the next one: its folder goes, and if
    it was killed while files moved, the earlier ones come back first. Files that an earlier run left under one of
    the `owned` names (relative, with "/") and that this run did not make are removed, so that old machine files
    can't be taken for new ones. Other files in `target` are left alone.

    Raises
    ------
    InputError
        If the folder can't be made or written.
    """
    typed, target = target, Path(os.path.realpath(target))  # "." has no name; a link's stage lies where it points to
    parent = target.parent
    new = [folder for folder in (parent, *parent.parents) if not folder.exists()]
    try:
        if target.exists() and not target.is_dir():
            raise InputError("is a file, not a folder", where=str(typed), hint="choose another {out}", names=("out",))
        parent.mkdir(parents=True, exist_ok=True)
        if target.is_dir() and not os.access(target, os.W_OK | os.X_OK):
            raise InputError("can't be written", where=str(typed), hint="choose another {out}", names=("out",))
        with _alone(parent):
            _recover(target)
        stage = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=parent))
    except OSError as error:
        raise _unwritable(typed, error) from None
    try:
        with _held(stage):
            (stage / _MARK).touch()
            yield stage
            with _alone(parent):
                _publish(stage, target, owned)
    except OSError as error:
        raise _unwritable(typed, error) from None
    finally:
        _clear(stage)
        _remove_empty(new)


@contextlib.contextmanager
def settled(target: Path) -> Iterator[None]:
    """While it lasts no run moves files into the folder `target`; what a killed one left is put right first.

    Whoever looks at what a folder holds looks at it in here: half of one run and half of another is nobody's.

    Raises
    ------
    InputError
        If it can't be put right.
    """
    typed, target = target, Path(os.path.realpath(target))
    with contextlib.ExitStack() as stack:
        try:
            if target.parent.is_dir():
                stack.enter_context(_alone(target.parent))
                _recover(target)
        except OSError as error:
            raise _unwritable(typed, error) from None
        yield


def save_file(path: Path, data: str | bytes) -> None:
    """Write one file of its own, as `write_file` does; `InputError` if it can't be written."""
    try:
        write_file(path, data)
    except OSError as error:
        raise _unwritable(path, error) from None


def file_hash(path: Path) -> str:
    """A short hash of a file's bytes; "" if it can't be read."""
    try:
        with path.open("rb") as file:
            return hashlib.file_digest(file, "sha256").hexdigest()[:16]
    except (OSError, ValueError):
        return ""


def bytes_hash(data: bytes) -> str:
    """The hash that `file_hash` gives of a file of these bytes."""
    return hashlib.sha256(data).hexdigest()[:16]


def file_text(path: Path) -> str:
    """The text of one of a print's files; `InputError` if it can't be read."""
    try:
        return path.read_text(encoding="utf-8")
    except (OSError, ValueError):
        raise InputError("can't be read", where=str(path), hint="put it back") from None


@contextlib.contextmanager
def scratch_folder() -> Iterator[Path]:
    """A folder for what is made on the way; gone on leaving."""
    with tempfile.TemporaryDirectory() as folder:
        yield Path(folder)


def write_file(path: Path, data: str | bytes) -> None:
    """Write text (UTF-8, line feeds) or bytes beside `path`, then rename; makes its folder.

    Signs in a text that would do something to a terminal or hide something from a reader are written as escapes.
    """
    path.parent.mkdir(parents=True, exist_ok=True)
    payload = plain(data).encode() if isinstance(data, str) else data
    beside = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    try:
        with beside.open("xb") as out:
            out.write(payload)
        os.replace(beside, path)  # noqa: PTH105
    except BaseException:
        beside.unlink(missing_ok=True)
        raise


def _publish(stage: Path, target: Path, owned: frozenset[str]) -> None:
    """Move the files of `stage` into `target`, and what they replace out of it; on any error all the way back."""
    every = (path.relative_to(stage) for path in stage.rglob("*") if path.is_file())
    made = sorted(path for path in every if path != Path(_MARK))
    listed = stage / f"{_MARK}-list"
    listed.write_text("\n".join(path.as_posix() for path in made), encoding="utf-8")
    os.replace(listed, stage / _MARK)  # noqa: PTH105
    owned_paths = [Path(*name.split("/")) for name in sorted(owned)]
    before, fresh = stage / _BEFORE, not target.exists()
    try:
        for path in dict.fromkeys([*made, *owned_paths]):
            _move(target / path, before / path)
        for path in made:
            (target / path).parent.mkdir(parents=True, exist_ok=True)
            (stage / path).replace(target / path)
        (stage / _MARK).rename(stage / _DONE)
    except BaseException:
        _put_back(stage, target, made)
        raise
    finally:
        folders = {(target / path).parent for path in [*made, *owned_paths]} - {target}
        _remove_empty([*sorted(folders, reverse=True), *([target] if fresh else [])])


def _put_back(stage: Path, target: Path, made: Iterable[Path]) -> None:
    """What was there before `made` began to move in.

    Each move is undone by one move, so that a run that is killed here, too, leaves what the next can go on with.
    """
    before, made = stage / _BEFORE, list(made)
    for path in made:
        if not (stage / path).exists() and (target / path).exists():
            (target / path).replace(stage / path)
    for path in sorted(path.relative_to(before) for path in before.rglob("*") if not path.is_dir()):
        (target / path).parent.mkdir(parents=True, exist_ok=True)
        (before / path).replace(target / path)
    _remove_empty(sorted({(target / path).parent for path in made} - {target}, reverse=True))
    (stage / _MARK).rename(stage / _DONE)  # from here on the stage is only to be cleared away


def _recover(target: Path) -> None:
    """Put right what runs for `target` left behind that were killed: nobody holds their folders any more."""
    own = re.compile(re.escape(f".{target.name}-") + r"[a-z0-9_]{8}")
    for stage in sorted(target.absolute().parent.iterdir()):
        if own.fullmatch(stage.name) and ((stage / _MARK).is_file() or (stage / _DONE).is_file()):
            with _held(stage) as mine:
                if mine and (stage / _MARK).is_file():
                    made = (stage / _MARK).read_text(encoding="utf-8").split("\n")
                    _put_back(stage, target, [Path(name) for name in made if name])
                if mine and (stage / _DONE).is_file():
                    _clear(stage)


def _clear(stage: Path) -> None:
    """Remove a stage whose files are of no more use; last what says so, for a run that is killed meanwhile."""
    with contextlib.suppress(OSError):
        _clear_but(stage, _DONE)
    shutil.rmtree(stage, ignore_errors=True)


def _clear_but(stage: Path, last: str) -> None:
    for path in sorted(stage.iterdir()):
        if path.is_dir() and not path.is_symlink():
            shutil.rmtree(path, ignore_errors=True)
        elif path.name != last:
            path.unlink(missing_ok=True)


def _remove_empty(folders: Iterable[Path]) -> None:
    for folder in folders:
        with contextlib.suppress(OSError):
            folder.rmdir()


def _move(path: Path, to: Path) -> None:
    """Move a file, if it is there."""
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if path.exists() or path.is_symlink():
        to.parent.mkdir(parents=True, exist_ok=True)
        path.replace(to)


@contextlib.contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Wait until no other run publishes into `folder`, where the system can tell."""
    try:
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
    except ImportError:  # a system without such locks
        yield
        return
    try:
        with contextlib.suppress(OSError):  # a disk without them
            fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


@contextlib.contextmanager
def _held(stage: Path) -> Iterator[bool]:
    """Hold a stage as long as this process works on it; false if another does."""
    try:
        import fcntl

        handle = os.open(stage, os.O_RDONLY)
    except (ImportError, FileNotFoundError):
        yield False
        return
    try:
        mine = True
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            mine = False
        yield mine
    finally:
        os.close(handle)


_REMEDIES = {
    errno.ENOSPC: "free some space, or choose a folder on another disk",
    errno.EDQUOT: "free some space, or choose a folder on another disk",
    errno.EROFS: "that disk can only be read: choose a folder on another one",
    errno.EACCES: "you may not write there: choose a folder of your own",
    errno.EPERM: "you may not write there: choose a folder of your own",
    errno.ENAMETOOLONG: "choose a shorter name",
    errno.EISDIR: "a folder stands where a file is to be written: move it away, or choose another {out}",
    errno.ENOTDIR: "a file stands where a folder is needed: move it away, or choose another {out}",
}


def _unwritable(target: Path, error: OSError) -> InputError:
    reason = error.strerror or type(error).__name__
    remedy = _REMEDIES.get(error.errno or 0, "choose another {out}")
    return InputError(f"can't be written ({reason})", where=str(target), hint=remedy, names=("out",))
