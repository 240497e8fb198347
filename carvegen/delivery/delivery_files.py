"""The files of a delivery: their names, in the order to look at them, and what each is for."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from carvegen.base.previous_run import RECORD, earlier
from carvegen.writers.file_names import CUT_PICTURE, MOST_PROGRAMS, PICTURE, program_name

if TYPE_CHECKING:
    from pathlib import Path

__all__ = ["OWNED", "check_folder", "contents", "contents_for"]

#: What each file of a delivery is for, by name; "laser" stands for "router" too.
_PURPOSE = {
    "proof.png": "what the block will print: look at this first",
    "proof.html": "the same for the browser: places to look at, how wide the land is, settings, files, cautions",
    "proof.svg": "the same, to scale, with the findings ringed",
    "changes.png": "what was mended: ochre is newly cut, teal is newly land",
    "land-width.png": "how wide the land is, by colour: dark red is too narrow",
    "land-width.svg": "the same, to scale, with its legend",
    "report.json": "findings and figures for other programs",
    "laser/block.svg": "the machine's file, as the block lies (mirrored)",
    "laser/block.dxf": "the machine's file, as the block lies (mirrored)",
    f"laser/{CUT_PICTURE}": "a picture, as the block lies (mirrored): what was cut before is bare, what is new ochre",
    "laser/paths.png": "what the machine follows, layer by layer: a picture to look at first",
    "laser/paths.svg": "what the machine follows, as the block lies (mirrored), its width allowed for",
    "laser/paths.dxf": "what the machine follows, as the block lies (mirrored), its width allowed for",
    f"laser/{PICTURE}": "what the cutter really leaves, as the block lies: ochre is land lost, teal is cut missed",
    **{
        f"router/{program_name(k)}": "plain RS-274 for one cutter, to be run in this order: read its head first"
        for k in range(1, MOST_PROGRAMS + 1)
    },
    "laser/note.md": "for whoever runs the machine: read before anything is cut",
    "hand/guide.pdf": "to print at 100 % and cut by hand",
    "hand/guide.svg": "the same on one sheet",
    "hand/note.md": "tools, order and cautions for cutting by hand",
}

#: Every name that a delivery may use: what an earlier one left under these is cleared away.
OWNED = frozenset(
    [RECORD, *_PURPOSE, *(name.replace("laser/", "router/") for name in _PURPOSE if name.startswith("laser/"))]
)


def check_folder(out: Path) -> None:
    """Refuse a folder, before anything is made, that holds files of another origin under names of a delivery."""
    earlier(out, owned=OWNED, made=(), sign="report.json")


_NONE: Mapping[str, tuple[str, ...]] = MappingProxyType({})


def contents(
    kinds: Iterable[str],
    planned: Mapping[str, tuple[str, ...]] = _NONE,
    *,
    changed: bool = False,
    width_map: bool = False,
    recut: bool = False,
) -> dict[str, str]:
    """What each file of a delivery is for, by name.

    Parameters
    ----------
    kinds
        Of machines, the main one first.
    planned
        By kind of machine that has a plan: the files beside the drawings of it.
    recut
        Whether the block is cut already.
    """
    folders = [name for kind in kinds for name in _names(kind, planned.get(kind), recut=recut)]
    pictures = ["changes.png"] * changed + ["land-width.png", "land-width.svg"] * width_map
    every = ["proof.png", "proof.html", *pictures, "proof.svg", *folders, "report.json"]
    return {name: _purpose(name) for name in every}


def contents_for(kind: str, planned: tuple[str, ...] | None = None, *, recut: bool = False) -> dict[str, str]:
    """The same of one machine alone; `planned`: the files beside the drawings of its plan, None if it has none."""
    return {name: _purpose(name) for name in _names(kind, planned, recut=recut)}


def _names(kind: str, more: tuple[str, ...] | None, *, recut: bool) -> list[str]:
    if kind == "hand":
        names: tuple[str, ...] = ("note.md", "guide.pdf", "guide.svg")
    else:
        paths = () if more is None else ("paths.png", "paths.svg", "paths.dxf", *more)
        names = ("note.md", *[CUT_PICTURE] * recut, *paths, "block.svg", "block.dxf")
    return [f"{kind}/{name}" for name in names]


def _purpose(name: str) -> str:
    return _PURPOSE.get(name) or _PURPOSE[name.replace("router/", "laser/")]
