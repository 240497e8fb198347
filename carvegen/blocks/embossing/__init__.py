"""Dies that press a relief: the sheet against them, the paper, the test strip."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from carvegen.blocks.job import USUAL_MACHINES, setups_for
from carvegen.facts.profiles import Verdict

if TYPE_CHECKING:
    from carvegen.blocks.job import Setup
    from carvegen.facts.profiles import Library

__all__ = ["COUNTER_MATERIAL", "counter_setups"]


#: What a counter-sheet is made of, if nothing else is said.
COUNTER_MATERIAL = "counter-card"


def counter_setups(
    shelf: Library, die: Sequence[Setup], *, material: str = COUNTER_MATERIAL, thickness_mm: float
) -> tuple[Setup, ...]:
    """The setups of a counter-sheet for the die's machines, as far as its material allows them; else for the hand.

    Raises
    ------
    CarvegenError
        If no setup of it can be made.
    """
    stuff = shelf.material(material)
    named = [setup for setup in die if stuff.permits[setup.machine.kind].verdict is not Verdict.NEVER]
    cutter = named[0].cutter.key if named else shelf.machine(USUAL_MACHINES["hand"]).usual_cutter
    return setups_for(
        shelf, material=stuff.key, cutter=cutter, machines=[setup.machine.key for setup in named],
        kinds=[setup.machine.kind for setup in named] or ["hand"], thickness_mm=thickness_mm,
        depth_mm=min(stuff.depth_usual_mm, thickness_mm / 2),
    )  # fmt: skip
