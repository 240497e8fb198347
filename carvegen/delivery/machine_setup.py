"""What a print file says of one block on the machine: further cutters, and where clamps lie."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from carvegen import geometry
from carvegen.artwork.place import place
from carvegen.base.errors import InputError
from carvegen.delivery.step_keys import hashed, told
from carvegen.prints.layers import located

if TYPE_CHECKING:
    from carvegen.delivery.block_folder import Style
    from carvegen.facts.profiles import Cutter, Library
    from carvegen.geometry import PolygonArray
    from carvegen.prints.file.print_file import Print

__all__ = ["Clamping", "clamping_of"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Clamping:
    """How one block lies on the machine."""

    cutters: tuple[Cutter, ...] = ()
    no_go: PolygonArray

    def recipe(self) -> dict[str, str]:
        """What of it goes into the block's files; nothing if nothing is said."""
        if not self.cutters and not len(self.no_go):
            return {}
        shapes = [shape.wkb_hex for shape in self.no_go]
        return {"further cutters and clamps": hashed((told(self.cutters), shapes))}

    def styled(self, style: Style) -> Style:
        """The style with these in its paths."""
        if style.paths is None:
            return style
        return replace(style, paths=replace(style.paths, also_cutters=self.cutters, no_go=self.no_go))


def clamping_of(given: Print, number: int, shelf: Library) -> Clamping:
    """What the print file says of its block of this number, 0 for the first.

    Raises
    ------
    InputError
        If a shape can't be read.
    """
    block = given.blocks[number]
    found = []
    for k, text in enumerate(block.no_go):
        try:
            shapes = place(located(given, text), width_mm=given.width_mm, height_mm=given.height_mm).shapes
        except InputError as error:
            raise error.named(str).within(given.place(f"blocks[{number}].no_go[{k}]")) from None
        found.append(shapes)
    return Clamping(cutters=tuple(map(shelf.cutter, block.more_cutters)), no_go=geometry.stack(found))
