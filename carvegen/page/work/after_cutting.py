"""After cutting: a photograph of a proof or a block laid on the plan; what is still to cut, what is cut too much."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.comparison import SCAN_TOLERANCE_MM, difference, land_in, lands_in
from carvegen.blocks.views import View
from carvegen.page.packed import Group, packed, step_for
from carvegen.page.work.processes import BUILT

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.prints.file.print_file import Print

__all__ = ["compared"]


def compared(given: Print, picture: Path, said: Mapping[str, Any]) -> bytes:
    """What differs between a block as it is built and a picture of it, packed: groups "to cut", "cut too much", "land".

    Parameters
    ----------
    said
        `block`, its name; `corners`, eight numbers in pixels, or none to have them found; `view` "print" or "block".

    Raises
    ------
    InputError
        If the print is not built, the block is not in it, or its corners can't be found.
    """
    lands, name = lands_in(given.path.parent / BUILT), said.get("block")
    if name not in lands:
        raise InputError("must be a block that is built", value=name, hint=f"one of: {', '.join(lands)}; build first")
    size = (given.width_mm, given.height_mm)
    view = View(said["view"]) if said.get("view") in {its.value for its in View} else View.PRINT
    seen = land_in(picture, view=view, scan={"corners": _corners(said.get("corners")), "size_mm": size})
    found = difference(str(name), lands[name], seen, SCAN_TOLERANCE_MM)
    lots = {"to cut": found.land, "cut too much": found.cut, "land": geometry.parts(lands[name])}
    groups, number = list[Group](), 0
    for kind, shapes in lots.items():
        ids = range(number, number + len(shapes))
        groups.append(Group(kind=kind, name=str(name), blocks=(str(name),), ids=ids, shapes=shapes))
        number += len(shapes)
    areas = {kind: round(float(shapely.area(shapes).sum()), 2) for kind, shapes in lots.items() if kind != "land"}
    told = {"block": name, "size": list(size), "areas_mm2": areas, "tolerance_mm": SCAN_TOLERANCE_MM}
    return packed({**told, "places": found.to_dict()["places"]}, groups, step_for(size))


def _corners(said: object) -> Any:  # noqa: ANN401
    from carvegen.artwork.scan import corners_from

    if not isinstance(said, list) or len(said) != 8 or not all(isinstance(its, int | float) for its in said):
        return "auto"
    return corners_from(" ".join(f"{its:.2f}" for its in said))
