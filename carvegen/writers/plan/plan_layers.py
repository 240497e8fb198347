"""Layers of a plan: one for each operation, in working order, in muted colours of our own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.blocks.layer_names import (
    CUT_AREA,
    CUT_OUT,
    LAYERS,
    REGISTER,
    Layer,
    coloured,
)
from carvegen.toolpaths.paths import Work

if TYPE_CHECKING:
    from carvegen.geometry import Mask
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = ["plan_layers"]

#: DXF colour indices of half saturation, by what is done; the first that is free is taken. What often lies side by side
#: is of unlike lightness, too, so that eyes that confuse red and green tell it apart; our own choice.
_INDICES: dict[Work, tuple[int, ...]] = {
    Work.SCORE: (225, 215),
    Work.LOWER: (133, 145),
    Work.CLEAR: (143, 177, 121, 31, 147, 157, 167),
    Work.SHOULDER: (97, 237, 177, 153, 181, 141),
    Work.WALL: (237, 97, 211, 64, 247, 205, 195),
    Work.CENTRE_LINE: (155, 165),
    Work.CUT_THROUGH: (33, 23, 43, 53),
    Work.CUT_BLOCK: (53, 43, 23),
}
_REST = tuple(range(15, 250, 10))
#: Layers of the block's own files whose shop colours hold here too, where the shop gave none of this name.
_ALIKE = {
    Work.LOWER: CUT_AREA, Work.CLEAR: CUT_AREA, Work.CUT_THROUGH: CUT_OUT, Work.CUT_BLOCK: CUT_OUT,
    Work.SCORE: REGISTER,
}  # fmt: skip


def plan_layers(plan: Plan) -> list[Layer]:
    """A layer for each operation; told by name and words, coloured by the shop's own table where it has one."""
    shop = plan.job.machine.layer_colours
    taken = {layer.index for layer in LAYERS.values() if layer.name not in (CUT_AREA, CUT_OUT, REGISTER)}
    taken |= set(shop.values())
    found = []
    for operation in plan.operations:
        index = shop.get(operation.name) or shop.get(_ALIKE.get(operation.work, ""))
        if index is None:
            index = next(its for its in (*_INDICES[operation.work], *_REST, *range(1, 256)) if its not in taken)
            taken.add(index)
        found.append(coloured(_layer(operation), index))
    return found


def _layer(operation: Operation) -> Layer:
    return Layer(name=operation.name, colour="", index=0, drawn=_drawn(operation), asks=operation.asks)


def _drawn(operation: Operation) -> str:
    if operation.area_lines_mm is not None:
        return "filled closed shapes"
    back = _come_back(operation.paths)
    if operation.paths.closed.all():
        return "closed lines"
    return "closed lines, led into" if back.all() else "open and closed lines" if back.any() else "open lines"


def _come_back(paths: Paths) -> Mask:
    """Whether each path ends where it has been before, seen from above: round a shape, after a ramp or a lead-in."""
    xy, last = paths.xyz[:, :2], paths.start[1:] - 1
    ends = np.repeat(xy[last], np.diff(paths.start), axis=0)
    met = np.abs(xy - ends).max(axis=1) <= geometry.GRID_MM
    met[last] = False
    return paths.closed | np.logical_or.reduceat(met, paths.start[:-1])
