"""Writing: a whole folder or nothing; the only place that opens a file for writing."""

from __future__ import annotations

import contextlib
import os
import shutil
import tempfile
from collections.abc import Iterator
from pathlib import Path

from carvegen.errors import InputError

__all__ = ["staged_folder", "write_file"]


@contextlib.contextmanager
def staged_folder(target: Path, *, owned: frozenset[str]) -> Iterator[Path]:
    """A new folder beside `target`; on leaving without error its files are moved into `target`.

    Until then `target` is untouched; on any error, Ctrl-C included, the new folder is removed and `target`
    stays as it was. Files that an earlier run left under one of the `owned` names (relative, with "/")
    and that this run did not make are removed, so that old machine files can't be taken for new ones. Other
    files in `target` are left alone.

    Raises
    ------
    InputError
        If the folder can't be made or written.
    """
    parent = target.absolute().parent
    try:
        if target.exists() and not target.is_dir():
            raise InputError("is a file, not a folder", where=str(target), hint="choose another --out")
        parent.mkdir(parents=True, exist_ok=True)
        if target.is_dir() and not os.access(target, os.W_OK | os.X_OK):
            raise InputError("can't be written", where=str(target), hint="choose another --out")
        stage = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=parent))
    except OSError as error:
        raise _unwritable(target, error) from None
    try:
        yield stage
        _publish(stage, target, owned)
    except OSError as error:
        raise _unwritable(target, error) from None
    finally:
        shutil.rmtree(stage, ignore_errors=True)


def write_file(path: Path, data: str | bytes) -> None:
    """Write text (UTF-8, line feeds) or bytes beside `path`, then rename; makes its folder."""
    path.parent.mkdir(parents=True, exist_ok=True)
    payload = data.encode() if isinstance(data, str) else data
    handle, beside = tempfile.mkstemp(prefix=f".{path.name}-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as out:
            out.write(payload)
        os.chmod(beside, 0o666 & ~_umask())  # noqa: PTH101
        os.replace(beside, path)  # noqa: PTH105
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def _publish(stage: Path, target: Path, owned: frozenset[str]) -> None:
    made = sorted(path.relative_to(stage) for path in stage.rglob("*") if path.is_file())
    for name in sorted(owned - {path.as_posix() for path in made}):
        (target / name).unlink(missing_ok=True)
        with contextlib.suppress(OSError):
            if (target / name).parent != target:
                (target / name).parent.rmdir()
    for path in made:
        (target / path).parent.mkdir(parents=True, exist_ok=True)
        (stage / path).replace(target / path)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _unwritable(target: Path, error: OSError) -> InputError:
    reason = error.strerror or type(error).__name__
    return InputError(f"can't be written ({reason})", where=str(target), hint="free some space or choose another --out")
