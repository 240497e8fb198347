"""The folder of a die: its block's files, those of its wall, and those of the sheet that lies against it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.base.files import write_file
from carvegen.blocks.embossing.pressing import counter_holes
from carvegen.delivery.block_folder import deliver
from carvegen.writers.block.die_sheet import (
    DIE_FILES,
    die_dxf,
    die_note,
    die_svg,
)

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.blocks.block import Block
    from carvegen.blocks.embossing.pressing import Die
    from carvegen.blocks.job import Job, Setup
    from carvegen.delivery.block_folder import Delivery, Style

__all__ = ["COUNTER", "counter_sheet", "deliver_die"]

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
    return deliver([way.on(sheet) for way in counter], out / COUNTER, style, say=lambda _: None)


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
