"""What a build has handed over: each file with what it is for; cautions and open questions before them."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

from carvegen.delivery.block_folder import question
from carvegen.delivery.build_record import leads_out, read_record
from carvegen.delivery.print_build import outdated, purposes
from carvegen.facts.cautions import parted
from carvegen.interfaces.page.wording import explained, noun
from carvegen.interfaces.page.work.processes import BUILT
from carvegen.prints.cut_blocks import setups_of
from carvegen.writers.note.block_note import cautions_of

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library
    from carvegen.prints.cut_blocks import Setups
    from carvegen.prints.file.print_file import Print

__all__ = ["INLINE", "File", "cautions", "files", "files_in", "listed"]

#: What a browser may show by itself, and as what.
INLINE = {".png": "image/png", ".pdf": "application/pdf", ".html": "text/html; charset=utf-8", ".svg": "image/svg+xml"}
_PICTURES = (".png", ".svg")
_PICTURED_BY = {"guide.pdf": "guide.svg"}
#: In which order the page lays out what she needs them for.
_LOTS = ("look", "carve", "machine", "lay", "more", "report")
_KINDS_IN_LOT = ("print", "picture", "page", "note", "machine", "other")


@dataclass(frozen=True, kw_only=True)
class File:
    """One file that was handed over, or those of one machine together."""

    paths: tuple[Path, ...]
    name: str  #: by which the page asks for it
    folder: str  #: of the block, with the machine's; "" for the whole print
    what: str  #: what it is for
    kind: str  #: "picture", "page", "print", "machine", "note" or "other"
    safety: tuple[str, ...] = field(default=())  #: what is to be read before it is used

    def data(self) -> bytes:
        """What is sent: of a machine all its files and their note in one archive, in a folder that names the block."""
        if self.kind != "machine":
            return self.paths[0].read_bytes()
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
            for path in self.paths:
                archive.writestr(f"{self.name.removesuffix('.zip')}/{path.name}", path.read_bytes())
        return out.getvalue()


def files(print_: Print, shelf: Library) -> list[File]:
    """The files of the last build; none if it was not built yet.

    Machine files are there only if a build of the print as it is now would make the very same.
    """
    folder = print_.path.parent / BUILT
    there = [name for name in read_record(folder).files if _lies_in(folder, name)]
    if not there:
        return []
    known = dict(purposes(there))
    for block in print_.blocks:
        for sheet in ("", "counter/"):
            known |= _of_block(folder, f"{block.name}/{sheet}")
    known = {name: what for name, what in known.items() if name in there}
    setups, old = setups_of(print_, shelf), outdated(print_, folder, shelf)
    questions = {block.name: [asked for asked in map(question, setups[block.name]) if asked] for block in print_.blocks}
    result, machines = list[File](), dict[str, list[str]]()
    for name, what in known.items():
        above, _, own = name.rpartition("/")
        kind, why = _kind(own, above), old.get(name.partition("/")[0], "; ".join(filter(None, {*old.values()})))
        if _of_machine(above):
            machines.setdefault(above, []).append(name)
        if kind != "machine":
            age = (f"older than the print: {why}",) if why else ()
            result.append(File(paths=(folder / name,), name=name, folder=above, what=what, kind=kind, safety=age))
    for above, names in machines.items():
        of = above.partition("/")[0]
        if not old.get(of, "it is of no block of the print"):
            result.append(_together(folder, above, {name: known[name] for name in names}, questions[of]))
    return result


def files_in(folder: Path) -> int:
    """How many files lie in a folder and in those in it, as who opens them counts."""
    return sum(path.is_file() and not path.name.startswith(".") for path in folder.rglob("*"))


def _together(folder: Path, above: str, known: Mapping[str, str], questions: Sequence[str]) -> File:
    """The files of one machine, which never leave without their note and the name of their block."""
    own = {name.rpartition("/")[2]: purpose for name, purpose in known.items() if _kind(name, above) != "note"}
    what = "; ".join(f"{name}: {purpose}" for name, purpose in own.items())
    return File(
        paths=tuple(folder / name for name in known), name=f"{above.replace('/', '-')}.zip", folder=above,
        what=f"for the {above.rpartition('/')[2]}, with its note. {what}", kind="machine",
        safety=("read the note in it before anything is cut", *questions),
    )  # fmt: skip


def _lies_in(folder: Path, name: str) -> bool:
    path = folder / name
    return path.is_file() and path.resolve().is_relative_to(folder.resolve())


def _of_block(folder: Path, name: str) -> dict[str, str]:
    try:
        record = json.loads((folder / name / "report.json").read_text(encoding="utf-8"))
        return {f"{name}{file}": str(what) for file, what in record["files"].items() if not leads_out(file)}
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RecursionError):
        return {}


def _of_machine(folder: str) -> bool:
    return folder.rpartition("/")[2] in ("laser", "router")


def _kind(name: str, above: str) -> str:
    suffix = Path(name).suffix
    if name.startswith("note") or suffix == ".md":
        return "note"
    if suffix == ".pdf":
        return "print"
    if suffix == ".html":
        return "page"
    if suffix == ".png":
        return "picture"
    return "machine" if _of_machine(above) and suffix != ".json" else "other"


def _lot(file: File) -> str:
    """What a file is needed for: the whole print to look at, a hand, a machine, laying blocks, looking on, programs."""
    above, _, own = file.name.rpartition("/")
    if own.endswith(".json"):
        return "report"
    if file.kind == "machine" or _of_machine(above):
        return "machine"
    if above.rpartition("/")[2] == "hand":
        return "carve"
    if not above:
        return "look" if file.kind in ("picture", "page") and "rubbing" not in own else "more"
    return "lay" if above == "register" else "more"


def _by_use(file: File) -> tuple[int, int]:
    return _LOTS.index(_lot(file)), _KINDS_IN_LOT.index(file.kind)


def listed(files: list[File]) -> list[dict[str, Any]]:
    """The files as the page lists them, what she needs first in front.

    `n` is what each is asked for by, `picture` the same of its picture, `lot` what it is needed for.
    """
    names = {file.name for file in files}
    return [
        {
            "n": quote(file.name), "name": file.name.rpartition("/")[2], "noun": noun(file.name), "folder": file.folder,
            "block": file.folder.partition("/")[0] if file.folder not in ("register", "inks") else "",
            "what": file.what, "kind": file.kind, "lot": _lot(file), "safety": list(file.safety),
            "picture": _picture(file, names),
            "bytes": sum(path.stat().st_size for path in file.paths),
        }
        for file in sorted(files, key=_by_use)
    ]  # fmt: skip


def _picture(file: File, names: set[str]) -> str | None:
    if file.kind != "machine" and file.paths[0].suffix in _PICTURES:
        return quote(file.name)
    own = "paths.png" if file.kind == "machine" else _PICTURED_BY.get(file.paths[0].name, "proof.png")
    folders = [file.folder, file.folder, file.folder.rpartition("/")[0]]
    beside = (f"{folder}/{name}".lstrip("/") for folder, name in zip(folders, (own, *2 * ["proof.png"]), strict=True))
    return next((quote(name) for name in beside if name in names), None)


def cautions(print_: Print, setups: Setups) -> dict[str, Any]:
    """What must be settled first, and what is to be heeded at each machine; `kind` is the machine's, as "hand"."""
    questions: dict[str, list[str]] = {}
    lines: dict[tuple[str, str], list[str]] = {}
    for block in print_.blocks:
        for setup in setups[block.name]:
            if asked := question(setup):
                questions.setdefault(asked, []).append(block.name)
            lines.setdefault((setup.machine.name, setup.machine.kind), []).extend(
                parted(text)[0] for text in cautions_of(setup)
            )
    return {
        "questions": [f"{', '.join(dict.fromkeys(names))}: {text}" for text, names in questions.items()],
        "cautions": [
            {"machine": name, "kind": kind, "lines": explained(*dict.fromkeys(texts))}
            for (name, kind), texts in lines.items()
        ],
    }  # fmt: skip
