"""What stands of the blocks of a new print that are cut already: as they are drawn, without snow; a drawing of each."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.prints.cut_blocks import as_drawn, plates_of, setups_of
from carvegen.prints.layers import drawing_of
from carvegen.prints.separation import Plate, Trapping, separated
from carvegen.prints.tasks import in_turn
from carvegen.writers.block.clean_artwork import artwork_svg

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library
    from carvegen.prints.file.print_file import Print

__all__ = ["as_cut", "cut_lands"]


def as_cut(block: Mapping[str, Any]) -> dict[str, Any]:
    """The table of a block that is cut already, with the file that shows what stands of it."""
    return {**block, "state": "cut", "cut_land": f"cut/{block['name']}.svg"}


def cut_lands(print_: Print, shelf: Library) -> dict[str, str]:
    """By file name the land of each block that is cut, print view: its part of the drawing, and all under darker inks.

    What lies under a darker ink can't be seen in a print: it is taken to stand, so that snow is cut there, too. What a
    picture showed is known as finely as its drawing says.
    """
    setups = setups_of(print_, shelf)
    files = {block.name: block.cut_land for block in print_.blocks if block.state == "cut" and block.inked}
    if not files:
        return {}
    drawing = drawing_of(print_)
    layers = drawing.layers
    known = {layer.name for layer in layers}
    plates = [replace(plate, layers=as_drawn(plate.layers, known)) for plate in plates_of(print_, setups)]
    lands = separated(
        geometry.box(*print_.size_mm), layers,
        [_under_darker(plate, plates) if plate.name in files else plate for plate in plates],
        white=lambda _: shapely.Polygon(),
        spread=Trapping(trap_mm=print_.trap_mm, cut_back_mm=print_.register_error_mm), paper=print_.paper,
        run=lambda tasks, say: in_turn({name: tasks[name] for name in files}, say),
    )  # fmt: skip
    return {
        file: artwork_svg(
            {name: geometry.parts(lands[name].land)}, print_.size_mm, f"{name}: what stands", known_mm=drawing.known_mm
        )
        for name, file in files.items()
    }


def _under_darker(plate: Plate, plates: Sequence[Plate]) -> Plate:
    """A block that prints under all that is darker, too."""
    over = (other for other in plates if other.lightness < plate.lightness and not other.ground and not other.under_all)
    layers = plate.layers.union(*(other.layers for other in over))
    return replace(plate, layers=layers, under_all=plate.under_all or (plate.ground and not plate.layers))
