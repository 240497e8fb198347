"""A folder for a new print, written whole and only if its print file can be read; and the sample to begin with."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from carvegen.base.errors import CarvegenError, InputError, RefusedError
from carvegen.base.files import settled, staged_folder, write_file
from carvegen.prints.file.print_file import read_print
from carvegen.prints.file.schema import SCHEMA_NAME, schema_text

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library
    from carvegen.prints.file.print_file import Print

__all__ = ["FILES", "sample", "sample_folder", "write_print"]

#: What a new folder gets: the print, the same print without snow, one that is embossed, and the drawing of all.
FILES = ("print.toml", "autumn.toml", "embossed.toml", "landing-in-colours.svg")


def sample_folder() -> Path:
    """Where the sample lies."""
    here = Path(__file__).parents[2]
    inside = here / "_samples"
    return inside if inside.is_dir() else here.parent / "gallery" / "ferry-landing"


def sample(name: str) -> bytes:
    """One file of the sample."""
    try:
        return (sample_folder() / name).read_bytes()
    except OSError:
        raise CarvegenError("the sample print is missing", value=name, hint="install carvegen again") from None


def write_print(
    folder: Path, files: Mapping[str, bytes | str], shelf: Library, *,
    also: Callable[[Print, Library], Mapping[str, str]] = lambda *_: {},
) -> tuple[str, ...]:  # fmt: skip
    """Write a new print's files, and the schema for editors, into a folder; the names of all.

    Parameters
    ----------
    also
        What more is written of the print that these files are, by name.

    Raises
    ------
    InputError
        If the folder holds one of them already, or the print file can't be used; nothing is written then.
    """
    files = {**files, SCHEMA_NAME: schema_text()}
    with settled(folder):
        _free_of(folder, files)
    with staged_folder(folder, owned=frozenset()) as stage:
        for name, data in files.items():
            write_file(stage / name, data)
        try:
            more = also(read_print(stage / "print.toml", shelf), shelf)
        except (InputError, RefusedError) as error:
            raise type(error)(str(error).replace(f"{stage}/", ""), hint=error.hint) from None
        _free_of(folder, more)
        for name, text in more.items():
            write_file(stage / name, text)
    return (*files, *more)


def _free_of(folder: Path, names: Iterable[str]) -> None:
    there = [name for name in names if (folder / name).exists()]
    if there:
        raise InputError(f"holds {there[0]} already", where=str(folder), hint="name another folder, or one that is new")
