"""What another machine, tool or material asks of the land that is drawn, told before it is chosen."""

from __future__ import annotations

from dataclasses import fields, replace
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import CarvegenError
from carvegen.blocks.from_motif import strictest
from carvegen.prints.cut_blocks import setups_of
from carvegen.prints.file.editing import OF_A_PIECE

if TYPE_CHECKING:
    from carvegen.interfaces.page.gestures import CutBy
    from carvegen.interfaces.page.table.desk import Desk
    from carvegen.prints.file.print_file import PrintBlock

__all__ = ["drawn_land_words"]


def drawn_land_words(desk: Desk, wish: CutBy) -> list[str]:
    """What becomes of what is drawn if others cut the print: blocks of which the same is to be said together.

    Nothing of blocks whose least land stays, that are cut already, or where the wish is refused, which is said when
    it is saved.
    """
    blocks = tuple(_cut_by(block, wish, [setup.machine.kind for setup in desk.setups[block.name]])
                   for block in desk.print_.blocks)  # fmt: skip
    try:
        setups = setups_of(replace(desk.print_, blocks=blocks), desk.shelf)
    except CarvegenError:
        return []
    alike: dict[tuple[str, str, bool], list[str]] = {}
    for block in blocks:
        was, now = (strictest(setup.limits for setup in lot[block.name]) for lot in (desk.setups, setups))
        if block.inked and block.state != "cut" and now.land_words != was.land_words:
            alike.setdefault((was.land_words, now.land_words, block.mend), []).append(block.name)
    return [_words(", ".join(names), *told) for told, names in alike.items()]


def _cut_by(block: PrintBlock, wish: CutBy, kinds: list[str]) -> PrintBlock:
    """A block as `carvegen.prints.file.editing.with_cutting` writes it; `kinds` cut it now."""
    if wish.material not in ("", block.material):
        usual: dict[str, Any] = {one.name: one.default for one in fields(block) if one.name in OF_A_PIECE}
        block = replace(block, material=wish.material, kinds=block.kinds or tuple(kinds), **usual)
    return replace(block, kinds=wish.kinds or block.kinds, cutter=wish.cutter or block.cutter)


def _words(names: str, was: str, now: str, mends: bool) -> str:
    land = f"{names}: the least land is {now}, until now {was}."
    drawn = f"What is drawn counts as snow does: a line or twig thinner than {now}"
    if mends:
        return f"{land} {drawn} is widened to that, or goes, in the files for all who cut it."
    return f"{land} {drawn} stays as drawn, and is told as too weak: these blocks are not mended."
