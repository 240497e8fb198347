"""The folder of a die: its block's files, those of its wall, and those of the sheet that lies against it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.delivery import deliver
from carvegen.emboss import counter_holes
from carvegen.files import write_file
from carvegen.writers.die_sheet import DIE_FILES, die_dxf, die_note, die_svg

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.block import Block
    from carvegen.delivery import Style
    from carvegen.emboss import Die
    from carvegen.job import Job

__all__ = ["counter_sheet", "deliver_die"]


def deliver_die(jobs: Sequence[Job], die: Die, out: Path, style: Style, *, say: Callable[[str], None]) -> None:
    """Write the files of the die's wall and of its counter-sheet beside those of its block."""
    say("writing the die's wall and its counter-sheet")
    texts = {"note.md": die_note(jobs[0], die), "wall.svg": die_svg(jobs[0], die), "wall.dxf": die_dxf(jobs[0], die)}
    for name in DIE_FILES:
        write_file(out / "die" / name, texts[name])
    counter = counter_sheet(jobs[0].block, die)
    deliver([replace(job, block=counter) for job in jobs], out / "counter", style, say=lambda _: None)


def counter_sheet(block: Block, die: Die) -> Block:
    """The sheet with holes that lies on the paper against the die; it is worked the other way round than the die."""
    return replace(
        block, name=f"{block.name}-counter", cuts=geometry.empty(), cut_outs=counter_holes(die), kept=geometry.empty(),
        turned=not block.turned,
    )  # fmt: skip
