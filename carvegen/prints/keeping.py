"""Keep what has grown of a print's motifs in files beside it, and let them grow again."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import CarvegenError, InputError
from carvegen.base.words import nearest
from carvegen.marking import journal
from carvegen.marking.kept_file import MotifOrigin, kept_text
from carvegen.prints.file.editing import edited
from carvegen.prints.file.print_file import file_name
from carvegen.prints.kept_motifs import grown_by

if TYPE_CHECKING:
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.kept_motifs import Grown

__all__ = ["Released", "check_growing", "keep", "kept_files", "release", "released"]

_FOLDER = "kept"
_OF_KEPT = ("kept", "marks_grew_by", "grows")  #: keys of a motif's table that go when it is let go: it grows then


@dataclass(frozen=True, kw_only=True)
class Released:
    """A motif that is let go."""

    name: str
    file: str  #: in which it was kept; it stays


def check_growing(print_: Print, names: Sequence[str]) -> None:
    """Refuse names of motifs of which there is nothing to keep, before anything grows.

    Raises
    ------
    InputError
        If a name is no motif's, or one of them neither grows nor is kept.
    """
    for k in _numbers(print_, names):
        motif = print_.motifs[k]
        if not (motif.grows or motif.kept):
            raise InputError(
                "does not grow: there is nothing of it to keep; nothing was written", value=motif.called,
                where=print_.place(f"motifs[{k}].grows"), hint="take the line grows = false out of its table first",
            )  # fmt: skip


def keep(print_: Print, grown: Sequence[Grown], names: Sequence[str]) -> dict[str, str]:
    """Write what there is of the motifs called `names`, or of all, into files, and name these in the print file.

    Returns
    -------
    dict
        The file of each motif that is kept, by the motif's name.

    Raises
    ------
    InputError
        If a name is no motif's, or of one that does not grow, or a file can't be written.
    """
    check_growing(print_, names)
    kept, files = kept_files(print_, grown, names)
    called = {motif.name: motif.called for motif in print_.motifs}
    _change(print_, f"keep {', '.join(called[name] for name in kept)}", files)
    return kept


def kept_files(
    print_: Print, grown: Sequence[Grown], names: Sequence[str]
) -> tuple[dict[str, str], dict[str, bytes | None]]:
    """The file of each motif that is to be kept, by its name, and what `keep` writes: those and the print file."""
    wanted = _numbers(print_, names)
    if not wanted:
        raise InputError(
            "none of its motifs grows", where=str(print_.path), hint="there is nothing to keep; nothing was written"
        )
    taken = {motif.kept for motif in print_.motifs if motif.kept}
    files: dict[str, bytes | None] = {}
    kept: dict[str, str] = {}
    for k in wanted:
        own, data = grown[k], _file_of(print_, grown[k]).encode()
        kept_in = own.motif.kept
        file = kept_in if _inside(kept_in) else _free_file(print_.path.parent, own.motif.name, taken, data)
        taken.add(file)
        files[file] = data
        kept[own.motif.name] = file
    return kept, {**files, print_.path.name: _named(print_.path, {k: kept[print_.motifs[k].name] for k in wanted})}


def release(print_: Print, names: Sequence[str]) -> list[Released]:
    """Take the kept files of the motifs called `names`, or of all that are kept, out of the print file.

    The files themselves stay where they are.

    Raises
    ------
    InputError
        If a name is no motif's, none of them is kept, or the print file can't be written.
    """
    numbers = [k for k in _numbers(print_, names) if print_.motifs[k].kept]
    if not numbers:
        which = "none of its motifs is" if not names else f"{', '.join(names)}: not"
        raise InputError(f"{which} kept", where=str(print_.path), hint="nothing is to be let go")
    let_go = [Released(name=print_.motifs[k].called, file=print_.motifs[k].kept) for k in numbers]
    text = _named(print_.path, dict.fromkeys(numbers, ""))
    _change(print_, f"let go of {', '.join(motif.name for motif in let_go)}", {print_.path.name: text})
    return let_go


def released(print_: Print, names: Sequence[str]) -> bytes:
    """The print file as `release` writes it."""
    return _named(print_.path, dict.fromkeys(_numbers(print_, names), ""))


def _free_file(folder: Path, name: str, taken: set[str], data: bytes) -> str:
    """A file for the motif called `name` that no other motif is kept in.

    It does not lie there yet, or says what is to be written already, as a run that was killed leaves it.
    """
    stem = f"{_FOLDER}/{file_name(name)}"
    files = (f"{stem}.svg", *(f"{stem}-{k}.svg" for k in range(2, 10_000)))
    return next(file for file in files if file not in taken and _holds_only(folder / file, data))


def _holds_only(path: Path, data: bytes) -> bool:
    """Whether nothing is lost when a file is written."""
    try:
        return not path.exists() or path.read_bytes() == data
    except OSError:
        return False


def _inside(name: str) -> bool:
    """Whether a file lies in the print's own folder: no other is written."""
    return bool(name) and not PurePath(name).is_absolute() and ".." not in PurePath(name).parts


def _change(print_: Print, what: str, files: Mapping[str, bytes | None]) -> None:
    journal.changed(print_.path.parent, what, files, last=print_.path.name)


def _numbers(print_: Print, names: Sequence[str]) -> list[int]:
    """The places of the motifs that are asked for."""
    if not print_.motifs:
        raise InputError("has no motif", where=str(print_.path), hint="write one [[motifs]] table for each")
    known = {file_name(name): k for k, motif in enumerate(print_.motifs) for name in (motif.called, motif.name)}
    for name in names:
        if file_name(name) not in known:
            hint = nearest(name, [motif.called for motif in print_.motifs])
            raise InputError("must be a motif of this print", value=name, where=str(print_.path), hint=hint)
    return (
        sorted({known[file_name(name)] for name in names})
        if names
        else [k for k, motif in enumerate(print_.motifs) if motif.grows or motif.kept]
    )


def _file_of(print_: Print, own: Grown) -> str:
    before = own.kept.memory if own.kept else None
    settings = before.settings if before else grown_by(own.motif, print_)  # what it grew by, whatever is said since
    memory = MotifOrigin(motif=own.motif.motif, settings=settings, surroundings=own.surroundings())
    size = (print_.width_mm, print_.height_mm)
    names, hers = (own.kept.names, own.kept.edited) if own.kept else (None, None)
    return kept_text(own.growth, memory, size, title=f"{print_.name}: {own.motif.name}", names=names, hers=hers)


def _named(path: Path, kept: Mapping[int, str]) -> bytes:
    """The print file with the kept files of its motifs named, or taken out; all else in it stays as it is."""
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise InputError("can't be read", where=str(path), hint=str(error)) from None

    def name(document: Any) -> None:  # noqa: ANN401
        for k, file in kept.items():
            if file:
                document["motifs"][k]["kept"] = file
            else:
                for key in _OF_KEPT:
                    document["motifs"][k].pop(key, None)

    text = edited(path, raw, name)
    _check(text.decode("utf-8-sig"), tomllib.loads(raw.decode("utf-8-sig")), kept)
    return text


def _check(text: str, before: dict[str, Any], kept: Mapping[int, str]) -> None:
    """Make sure that nothing else has changed in the print file."""
    for k, file in kept.items():
        motif = before["motifs"][k]
        left = motif if file else {name: value for name, value in motif.items() if name not in _OF_KEPT}
        before["motifs"][k] = left | ({"kept": file} if file else {})
    if tomllib.loads(text) != before:
        raise CarvegenError("the print file can't be changed without spoiling it; nothing was written")
