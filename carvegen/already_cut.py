"""A block that is cut already: nothing can be put back on it; what may still be cut."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import TYPE_CHECKING

import shapely

from carvegen import geometry
from carvegen.compare import CUT_FOLDER, difference, land_in
from carvegen.errors import InputError
from carvegen.findings import Finding, Severity

if TYPE_CHECKING:
    from pathlib import Path

    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks import Cut
    from carvegen.compare import Difference
    from carvegen.printfile import Print

__all__ = ["KEPT", "cut_further", "standing_land"]

KEPT = CUT_FOLDER
_TOLERANCE_MM = 0.02
_MOST = 40


def standing_land(given: Print, k: int, out: Path) -> BaseGeometry | None:
    """What stands of block k, if it is cut: by its own file, as it was kept, or as it was built last; None if open.

    Raises
    ------
    InputError
        If it is cut and its land is not known.
    """
    block = given.blocks[k]
    if block.state != "cut":
        return None
    own = [given.path.parent / block.cut_land] if block.cut_land else []
    kept = [out / folder / f"{block.name}.wkb" for folder in (KEPT, "lands")]
    there = next((path for path in own or kept if path.is_file()), None)
    if there is None:
        raise InputError(
            "is cut, but what stands of it is not known", value=block.cut_land or None,
            where=given.place(f"blocks[{k}].cut_land"),
            hint='give its land: cut_land = "scan.png", or build once with state = "open" as it was cut',
        )  # fmt: skip
    try:
        return land_in(there)
    except InputError as error:
        raise error.within(given.place(f"blocks[{k}].cut_land")) from None


def cut_further(cut: Cut, stands: BaseGeometry) -> Cut:
    """The block as it can still be made: what stands of it and is wanted; land that would have to come back is told.

    Nothing is put back by mending either: what does not stand counts as white.
    """
    block = cut.block
    change = difference(block.name, stands, cut.land, _TOLERANCE_MM)
    land = shapely.intersection(cut.land, stands, grid_size=geometry.GRID_MM)
    gone = shapely.difference(block.face, shapely.union(land, shapely.union_all(block.cut_outs)),
                              grid_size=geometry.GRID_MM)  # fmt: skip
    white = shapely.union(cut.white, shapely.difference(block.face, stands))
    notes = (*cut.notes, *_findings(change))
    return replace(cut, block=replace(block, cuts=geometry.parts(gone)), land=land, white=white, notes=notes)


def _findings(change: Difference) -> Iterator[Finding]:
    for piece in sorted(change.land, key=lambda its: -its.area)[:_MOST]:
        at = shapely.point_on_surface(piece)
        yield Finding(
            rule="cut-already", severity=Severity.BREAKS, at=(at.x, at.y), measured=piece.area, limit=0.0, unit="mm²",
            why="this would have to print, but the block is cut there and nothing can be put back",
            remedy='change the drawing back here, or cut a new block: state = "open"',
        )  # fmt: skip
    for piece in sorted(change.cut, key=lambda its: -its.area)[:_MOST]:
        at = shapely.point_on_surface(piece)
        yield Finding(
            rule="cut-on", severity=Severity.ADVICE, at=(at.x, at.y), measured=piece.area, limit=0.0, unit="mm²",
            why="this still stands and is to be cut away",
            remedy="cut it, by hand or with the files of this block, which show all of its cuts, old and new",
        )  # fmt: skip
