"""What a build has handed over: each file with what it is for; cautions and open questions before them."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen.delivery.block_folder import question
from carvegen.delivery.build_record import read_record
from carvegen.delivery.print_build import purposes
from carvegen.facts.safety import parted
from carvegen.page.work.processes import BUILT
from carvegen.writers.note.block_note import cautions_of

if TYPE_CHECKING:
    from carvegen.prints.cut_blocks import Ways
    from carvegen.prints.file.print_file import Print

__all__ = ["INLINE", "File", "cautions", "files", "listed"]

#: What a browser may show by itself, and as what.
INLINE = {".png": "image/png", ".pdf": "application/pdf", ".html": "text/html; charset=utf-8", ".svg": "image/svg+xml"}
_PICTURES = (".png", ".svg")
_PICTURED_BY = {"guide.pdf": "guide.svg", "block.svg": "paths.png", "block.dxf": "paths.png", "paths.dxf": "paths.png"}


@dataclass(frozen=True, kw_only=True)
class File:
    """One file that was handed over."""

    path: Path
    folder: str  #: of the block, with the machine's; "" for the whole print
    what: str  #: what it is for
    kind: str  #: "picture", "page", "print", "machine", "note" or "other"
    safety: tuple[str, ...] = field(default=())  #: what is to be read before it is used


def files(given: Print, ways: Ways) -> list[File]:
    """The files of the last build; none if it was not built yet."""
    folder = given.path.parent / BUILT
    there = [name for name in read_record(folder).files if (folder / name).is_file()]
    known = {name: what for name, what in purposes(there).items() if name in there}
    for block in given.blocks:
        for sheet in ("", "counter/"):
            known |= _of_block(folder, f"{block.name}/{sheet}")
    questions = {block.name: [its for its in map(question, ways[block.name]) if its] for block in given.blocks}
    return [_file(folder, name, what, questions) for name, what in known.items() if (folder / name).is_file()]


def _of_block(folder: Path, name: str) -> dict[str, str]:
    try:
        told = json.loads((folder / name / "report.json").read_text(encoding="utf-8"))
        return {f"{name}{its}": str(what) for its, what in told["files"].items()}
    except (OSError, ValueError, KeyError):
        return {}


def _file(folder: Path, name: str, what: str, questions: dict[str, list[str]]) -> File:
    above, _, own = name.rpartition("/")
    kind = _kind(own, above)
    safety = questions.get(name.partition("/")[0], []) if kind == "machine" else []
    if kind == "machine":
        safety = ["read the note beside it before anything is cut", *safety]
    return File(path=folder / name, folder=above, what=what, kind=kind, safety=tuple(safety))


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
    machine = above.rpartition("/")[2] in ("laser", "router")
    return "machine" if machine and suffix != ".json" else "other"


def listed(found: list[File]) -> list[dict[str, Any]]:
    """The files as the page lists them, each with the number of its picture."""
    numbers = {its.path: n for n, its in enumerate(found)}
    return [
        {
            "n": n, "name": its.path.name, "folder": its.folder, "what": its.what, "kind": its.kind,
            "safety": list(its.safety), "picture": _picture(its, numbers), "bytes": its.path.stat().st_size,
        }
        for n, its in enumerate(found)
    ]  # fmt: skip


def _picture(its: File, numbers: dict[Path, int]) -> int | None:
    if its.path.suffix in _PICTURES and its.kind != "machine":
        return numbers[its.path]
    beside = its.path.with_name(_PICTURED_BY.get(its.path.name, "proof.png"))
    above = (its.path.parent / "proof.png", its.path.parent.parent / "proof.png")
    return next((numbers[path] for path in (beside, *above) if path in numbers), None)


def cautions(given: Print, ways: Ways) -> dict[str, Any]:
    """What must be settled first, and what is to be heeded at each machine."""
    questions: dict[str, list[str]] = {}
    lines: dict[str, list[str]] = {}
    for block in given.blocks:
        for way in ways[block.name]:
            if asked := question(way):
                questions.setdefault(asked, []).append(block.name)
            lines.setdefault(way.machine.name, []).extend(parted(text)[0] for text in cautions_of(way))
    return {
        "questions": [f"{', '.join(dict.fromkeys(names))}: {text}" for text, names in questions.items()],
        "cautions": [{"machine": name, "lines": list(_once(its))} for name, its in lines.items()],
    }  # fmt: skip


def _once(texts: Iterable[str]) -> Iterator[str]:
    yield from dict.fromkeys(texts)
