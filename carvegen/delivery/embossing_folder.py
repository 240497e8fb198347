"""An embossing strip handed over: the die for machine or hand, its relief, its counter-sheet, and how to read it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.base.files import staged_folder, write_file
from carvegen.base.previous_run import Earlier, earlier
from carvegen.blocks.embossing import counter_setups
from carvegen.blocks.embossing.embossing_strip import embossing_strip, on_strip
from carvegen.blocks.embossing.pressing import counter_holes, counter_thickness_mm
from carvegen.delivery.block_folder import deliver
from carvegen.writers.block.block_drawing import machine_dxf, machine_svg
from carvegen.writers.block.block_png import proof_png
from carvegen.writers.block.die_sheet import (
    DIE_FILES,
    die_dxf,
    die_note,
    die_svg,
    relief_dxf,
    relief_svg,
)
from carvegen.writers.guide.guide_pdf import guide_pdf
from carvegen.writers.guide.guide_svg import guide_svg
from carvegen.writers.guide.hand_guide import hand_guide
from carvegen.writers.note.block_note import machine_note
from carvegen.writers.note.embossing_page import embossing_page, embossing_steps

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.blocks.block import Block
    from carvegen.blocks.embossing.pressing import Die
    from carvegen.blocks.job import Job, Setup
    from carvegen.delivery.block_folder import Delivery, Style
    from carvegen.facts.profiles import Library, Paper

__all__ = ["COUNTER", "deliver_die", "deliver_embossing_strip"]

_PURPOSE = {
    "how-to-read.md": "how to make and press the strip, what to look for, and the command that keeps it: read first",
    "strip.png": "its feet from above: white is lowered",
    "wall.svg": "faces and walls as steps with their depths, as the die lies",
    "wall.dxf": "the same as closed polylines, a layer for each depth",
}
_MACHINE = {
    "block.svg": "the machine's file: floor or holes, without offset for kerf or cutter",
    "block.dxf": "the machine's file: floor or holes, without offset for kerf or cutter",
    "guide.pdf": "to print at 100 % and cut by hand",
    "guide.svg": "the same on one sheet",
    "note.md": "for whoever cuts it: read before anything is cut",
}
_FOLDERS = tuple(f"{sheet}{kind}" for sheet in ("", "counter/") for kind in ("laser", "router", "hand"))
_OWNED = frozenset(_PURPOSE) | {f"{folder}/{name}" for folder in _FOLDERS for name in _MACHINE}


def deliver_embossing_strip(
    setups: Sequence[Setup], paper: Paper, shelf: Library, out: Path, *, transfer: str, sheet: str, dxf: str,
    say: Callable[[str], None], pale_guide: bool = False,
) -> tuple[dict[str, str], Earlier]:  # fmt: skip
    """Write a strip for a paper into the folder `out`, all or nothing; what each file is for, and what was there.

    Raises
    ------
    InputError
        If the material does not allow the strip's depth, or the folder can't be written.
    """
    strip_setups = [on_strip(setup) for setup in setups]
    strip = embossing_strip(paper)
    highest = max((piece.how for piece in strip.pieces), key=lambda how: how.relief_mm)
    thick = counter_thickness_mm(highest, 0.0)
    counter = counter_setups(shelf, strip_setups, thickness_mm=thick)
    holes = replace(
        strip.block, name=f"{strip.block.name} counter", cuts=geometry.empty(), cut_outs=strip.holes(), turned=True,
        bevelled=False,
    )  # fmt: skip
    main, steps = strip_setups[0].on(strip.block), embossing_steps(strip)
    made: dict[str, str | bytes] = {
        "how-to-read.md": embossing_page(strip, strip_setups[0], counter[0]),
        "strip.png": proof_png(strip.block, px_per_mm=10),
        "wall.svg": relief_svg(main, steps, ()),
        "wall.dxf": relief_dxf(main, steps),
    }
    for folder, job in (
        *((setup.machine.kind, setup.on(strip.block)) for setup in strip_setups),
        *((f"counter/{setup.machine.kind}", setup.on(holes)) for setup in counter),
    ):
        say(f"writing for the {job.machine.kind}")
        made |= _files_of(job, folder, transfer=transfer, sheet=sheet, dxf=dxf, pale=pale_guide)
    with staged_folder(out, owned=_OWNED) as stage:
        for name, content in made.items():
            write_file(stage / name, content)
        before = earlier(out, owned=_OWNED, made=made, sign="wall.svg")
    return {name: _purpose(name) for name in made}, before


def _files_of(job: Job, folder: str, *, transfer: str, sheet: str, dxf: str, pale: bool) -> dict[str, str | bytes]:
    guide, made = None, dict[str, str | bytes]()
    if job.machine.kind == "hand":
        guide = hand_guide(job, transfer, saving=pale)
        made = {"guide.pdf": guide_pdf(guide, sheet), "guide.svg": guide_svg(guide)}
    else:
        made = {"block.svg": machine_svg(job), "block.dxf": machine_dxf(job, dxf)}
    about = {f"{folder}/{name}": _MACHINE[name] for name in made}
    made["note.md"] = machine_note(job, None, about, guide=guide)
    return {f"{folder}/{name}": content for name, content in made.items()}


def _purpose(name: str) -> str:
    return _PURPOSE.get(name) or _MACHINE[name.rpartition("/")[2]]


COUNTER = "counter"  #: the counter-sheet's folder in that of its die


def deliver_die(
    job: Job, die: Die, counter: Sequence[Setup], out: Path, style: Style, *, say: Callable[[str], None]
) -> Delivery:
    """Write the files of the die's wall and of its counter-sheet beside those of its block.

    Parameters
    ----------
    counter
        The setups of the counter-sheet, the main one first.

    Returns
    -------
    Delivery
        The counter-sheet's, in the folder `COUNTER`.
    """
    say("writing the die's wall and its counter-sheet")
    texts = {"note.md": die_note(job, die, counter[0]), "wall.svg": die_svg(job, die), "wall.dxf": die_dxf(job, die)}
    for name in DIE_FILES:
        write_file(out / "die" / name, texts[name])
    sheet = counter_sheet(job.block, die)
    return deliver([setup.on(sheet) for setup in counter], out / COUNTER, style, say=lambda _: None)


_COUNTER_WORDS = (
    "Register: the counter-sheet is as large as the die's board and is laid edge on edge with it. It has no stops.",
)


def counter_sheet(block: Block, die: Die) -> Block:
    """The sheet with holes that lies on the paper against the die; it is worked the other way round than the die.

    As large as the die's board, so that both lie edge on edge; it has no stops.
    """
    register = block.register and replace(
        block.register, stops=geometry.empty(), pads=geometry.empty(), lowered=geometry.empty(), words=_COUNTER_WORDS,
    )  # fmt: skip
    return replace(
        block, name=f"{block.name}-counter", cuts=geometry.empty(), cut_outs=counter_holes(die), kept=geometry.empty(),
        turned=not block.turned, bevelled=False, register=register,
    )  # fmt: skip
