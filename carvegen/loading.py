"""A block with the snow taken out that lies on what the print shows."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.block import Block
from carvegen.errors import InputError
from carvegen.growth import Place
from carvegen.holding import held, opened
from carvegen.making import area_of
from carvegen.motifs import snowload

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray
    from carvegen.growth import Growth
    from carvegen.limits import Limits
    from carvegen.making import Ground

__all__ = ["BLOCKS", "loaded_block"]

#: The blocks that may be asked for, and what is taken out of each.
BLOCKS = {
    "sky": "what rises above the shapes: the sky block gives the heaps their outline",
    "key": "what lies on the shapes",
    "both": "all of it: for a sky block that prints under the shapes too",
}


def loaded_block(
    ground: Ground, settings: snowload.Settings, limits: Limits, rng: Generator, *, which: str = "sky"
) -> Block:
    """The block named `which` in `BLOCKS`, with the snow that lies on ``ground.grow_from`` taken out.

    What falls to one block alone keeps the limits too: where heaps taper to nothing over a shape's edge the last
    bit, narrower than the smallest cut, is left standing.

    Raises
    ------
    InputError
        If there are no shapes, or nothing of the face is left.
    """
    if len(ground.grow_from) == 0:
        raise InputError("nothing is given for the snow to lie on", where="--on", hint="give a drawing: --on fir.svg")
    face = geometry.box(ground.width_mm, ground.height_mm)
    if not shapely.contains_properly(face, ground.openings).all():
        raise InputError(
            "must lie inside the block", where="--opening", hint="move it, make it smaller, or enlarge --size"
        )
    area = area_of(ground, face, settings, limits)
    if shapely.area(area) <= 0:
        raise InputError(
            "nothing of the block is left for the snow",
            where="--keep-clear, --opening, --margin",
            hint="they cover the face together with the land that must stay round them; make them smaller",
        )
    grown = snowload.grow(settings, Place(area=area, shapes=ground.grow_from), limits, rng)
    kept = np.concatenate([ground.keep_clear, ground.grow_from])
    return Block(
        name=ground.name,
        width_mm=ground.width_mm,
        height_mm=ground.height_mm,
        cuts=held(_share(grown, ground.grow_from, limits, which), area, limits),
        cut_outs=geometry.snapped(geometry.joined(ground.openings)),
        kept=geometry.parts(shapely.intersection(geometry.joined(kept), face)),
    )


def _share(grown: Growth, shapes: PolygonArray, limits: Limits, which: str) -> BaseGeometry:
    """What of the snow falls to the block; twigs too thin to stand in the sky block as land are left to the key."""
    if which == "key":
        return shapely.union_all(grown.on_shapes)
    white: BaseGeometry = shapely.union_all(grown.cuts)
    if which == "both":
        return white
    rising: BaseGeometry = shapely.difference(white, opened(shapely.union_all(shapes), limits.land_mm))
    return rising
