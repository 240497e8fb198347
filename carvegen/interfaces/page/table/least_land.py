"""What another machine, tool or material asks of the land that is drawn, and of snow, told before it is chosen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.base.errors import CarvegenError
from carvegen.blocks.from_motif import strictest
from carvegen.delivery.print_steps import would_move
from carvegen.interfaces.page.table.doing import cut_by_text
from carvegen.interfaces.page.table.moved_snow import KEPT_FIRST
from carvegen.prints.cut_blocks import setups_of

if TYPE_CHECKING:
    from carvegen.interfaces.page.gestures import CutBy
    from carvegen.interfaces.page.table.desk import Desk

__all__ = ["drawn_land_words"]


def drawn_land_words(desk: Desk, wish: CutBy) -> list[str]:
    """What becomes of what is drawn, and which snow moves, if others cut the print; of alike blocks together.

    Nothing of blocks whose least land stays, that are cut already, or where the wish is refused, which is said when
    it is saved.
    """
    try:
        otherwise = desk.read_otherwise(cut_by_text(desk, wish)[1])
        setups = setups_of(otherwise, desk.shelf)
    except CarvegenError:
        return []
    alike: dict[tuple[str, str, bool], list[str]] = {}
    for block in otherwise.blocks:
        was, now = (strictest(setup.limits for setup in lot[block.name]) for lot in (desk.setups, setups))
        if block.inked and block.state != "cut" and now.land_words != was.land_words:
            alike.setdefault((was.land_words, now.land_words, block.mend), []).append(block.name)
    snow = would_move(desk.bare, desk.setups, setups)
    land = [_words(", ".join(names), *widths_and_mend) for widths_and_mend, names in alike.items()]
    return [*land, *snow, *([KEPT_FIRST] if snow else [])]


def _words(names: str, was: str, now: str, mends: bool) -> str:
    land = f"{names}: the least land is {now}, until now {was}."
    drawn = f"What is drawn counts as snow does: a line or twig thinner than {now}"
    if mends:
        return f"{land} {drawn} is widened to that, or goes, in the files for all who cut it."
    return f"{land} {drawn} stays as drawn, and is told as too weak: these blocks are not mended."
