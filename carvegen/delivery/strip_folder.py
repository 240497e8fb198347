"""A test strip handed over: the block for laser, router and hand, and how to read it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from carvegen.base.files import staged_folder, write_file
from carvegen.base.previous_run import (
    RECORD,
    Earlier,
    earlier,
    keep_edited,
    write_record,
)
from carvegen.blocks.test_strip import strip_for
from carvegen.writers.block.block_drawing import machine_dxf, machine_svg
from carvegen.writers.block.block_png import proof_png
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.guide_svg import guide_svg
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.note.strip_page import strip_guide, strip_page

if TYPE_CHECKING:
    from carvegen.blocks.job import Setup

__all__ = ["deliver_strip"]

_PURPOSE = {
    "strip.png": "what the first strip prints if everything holds: others have other sizes",
    "laser/block.svg": "the machine's file: follow the lines themselves, without offset for kerf or cutter",
    "laser/block.dxf": "the machine's file: follow the lines themselves, without offset for kerf or cutter",
    "laser/note.md": "for whoever runs the machine: read before anything is cut",
    "laser/how-to-read.md": "what to measure on it, and the commands that keep it",
    "hand/guide.pdf": "to print at 100 % and cut by hand",
    "hand/guide.svg": "the same on one sheet",
    "hand/note.md": "tools and cautions",
    "hand/how-to-read.md": "what to measure on it, and the commands that keep it",
}
_OWNED = frozenset(_PURPOSE) | {RECORD} | {name.replace("laser/", "router/") for name in _PURPOSE}


def deliver_strip(
    setups: Sequence[Setup],
    out: Path,
    *,
    transfer: str,
    paper: str,
    dxf: str,
    say: Callable[[str], None],
    pale_guide: bool = False,
) -> tuple[dict[str, str], Earlier]:
    """Write a strip for each setup into the folder `out`, all or none; what each file is for, and what was there.

    Each machine has a strip of its own, for its cutter's limits differ.

    Raises
    ------
    InputError
        If the folder can't be written.
    """
    names: list[str] = ["strip.png"]
    with staged_folder(out, owned=_OWNED) as stage:
        for setup in setups:
            kind, strip = setup.machine.kind, strip_for(setup)
            say(f"writing for the {kind}")
            if setup is setups[0]:
                write_file(stage / "strip.png", proof_png(strip.block, px_per_mm=10))
            job = setup.on(strip.block)
            made: dict[str, str | bytes] = {"how-to-read.md": strip_page(strip, setup)}
            guide = None
            if kind == "hand":
                guide = strip_guide(hand_guide(job, transfer, saving=pale_guide), strip, setup)
                made |= {"guide.pdf": guide_pdf(guide, paper), "guide.svg": guide_svg(guide)}
            else:
                made |= {"block.svg": machine_svg(job), "block.dxf": machine_dxf(job, dxf)}
            about = {f"{kind}/{name}": _purpose(f"{kind}/{name}") for name in made}
            for name, content in (made | {"note.md": machine_note(job, None, about, guide=guide)}).items():
                write_file(stage / kind / name, content)
                names.append(f"{kind}/{name}")
        before = earlier(out, owned=_OWNED, made=names, sign="strip.png")
        write_record(stage, names)
        keep_edited(before, out, stage)
    return {name: _purpose(name) for name in names}, before


def _purpose(name: str) -> str:
    return _PURPOSE[name.replace("router/", "laser/")]
