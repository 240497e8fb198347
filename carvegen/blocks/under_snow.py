"""A block with the snow taken out that lies on what the print shows."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.blocks.free_edge import with_fringe
from carvegen.blocks.from_motif import block_on, growth_on, place_on
from carvegen.motifs.shared.minimum_width import loosened, opened, standing, tiles_of, within
from carvegen.motifs.shared.over_edge import ground_over, held_over, run_on, strip_mm

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.blocks.from_motif import Ground
    from carvegen.geometry import PolygonArray
    from carvegen.motifs.growth import Growth, Place

__all__ = ["BLOCKS", "loaded_block"]

#: The blocks that may be asked for, and what is taken out of each.
BLOCKS = {
    "sky": "what rises above the shapes: the sky block gives the heaps their outline",
    "key": "what lies on the shapes",
    "both": "all of it: for a sky block that prints under the shapes too",
}


def loaded_block(
    ground: Ground,
    settings: Any,  # noqa: ANN401
    limits: Limits,
    rng: Generator,
    *,
    which: str = "sky",
    by: str = "snowload",
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
        raise InputError(
            "nothing is given for the snow to lie on",
            field="grow_from",
            hint="give a drawing: {grow_from} fir.svg",
            names=("grow_from",),
        )
    if ground.prints:
        raise InputError("snow that lies on a drawing is taken out of a block", field="prints", hint="leave it out")
    ground = replace(ground, grow_from=geometry.joined(ground.grow_from))
    place = place_on(ground, settings, limits)
    grown = growth_on(ground, place, settings, limits, rng, by=by)
    kept = replace(ground, keep_clear=np.concatenate([ground.keep_clear, ground.grow_from]))
    area = ground_over(place.area, place.edge)
    over = held_over(_share(grown, ground.grow_from, limits, which), area, place.edge, limits)
    free = _free(grown, over, place, limits, which)
    block = replace(block_on(kept, within(over, place.edge)), unfinished=which == "key")
    asked = _share_of(geometry.union(grown.to_decide), ground.grow_from, which)
    done = with_fringe(block, shapely.Polygon(), limits, to_decide=asked)
    return replace(done, free=np.concatenate([free, done.free]))


def _share_of(white: BaseGeometry, shapes: PolygonArray, which: str) -> BaseGeometry:
    """What of some white lies where the block's own does."""
    if which == "both" or shapely.is_empty(white):
        return white
    cut = shapely.intersection if which == "key" else shapely.difference
    return geometry.solid(cut(white, shapely.union_all(shapes)))


def _free(grown: Growth, cuts: PolygonArray, place: Place, limits: Limits, which: str) -> PolygonArray:
    """The fringe on this block where the carver decides; whether it is cut or left, all holds.

    The cuts run on over the frame as `held_over` makes them.
    """
    if len(grown.free) == 0 or len(cuts) == 0:
        return geometry.empty()
    frame, shapes = place.edge, shapely.union_all(place.shapes)
    area = ground_over(place.area, frame)
    fringe = run_on(_share_of(shapely.union_all(grown.free), place.shapes, which), frame, strip_mm(limits))
    near = shapely.union(fringe, shapely.union_all(cuts))
    printed = standing(shapely.intersection(ground_over(shapes, frame), area), limits.land_mm, near=near)
    return within(loosened(cuts, fringe, area, limits, printed=printed), frame)


def _share(grown: Growth, shapes: PolygonArray, limits: Limits, which: str) -> BaseGeometry:
    """What of the snow falls to the block; twigs too thin to stand in the sky block as land are left to the key."""
    if which == "key":
        return shapely.union_all(grown.on_shapes)
    white: BaseGeometry = shapely.union_all(grown.cuts)
    if which == "both":
        return white
    tiles, cells = tiles_of(shapely.union_all(shapes), 2 * limits.land_mm, white)
    stands = shapely.intersection(opened(tiles, limits.land_mm), cells)
    rising: BaseGeometry = shapely.difference(white, shapely.union_all(stands))
    return rising
