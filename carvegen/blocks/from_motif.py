"""A block from a motif: where it may grow, what else is taken out, and what snow lying on a drawing takes out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.blocks.block import Block, check_size, check_words
from carvegen.blocks.free_edge import with_fringe
from carvegen.motifs import motif
from carvegen.motifs.growth import Place, lying_on, plain
from carvegen.motifs.shared.minimum_width import loosened, opened, standing, tiles_of, within
from carvegen.motifs.shared.over_edge import ground_over, held_over, run_on, strip_mm

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.blocks.block import Block
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.motifs.growth import Growth, Place

__all__ = ["BLOCKS", "Ground", "block_on", "grown_block", "growth_on", "loaded_block", "place_on", "strictest"]


@dataclass(frozen=True, kw_only=True, eq=False)
class Ground:
    """The face on which a motif grows, and the places that it leaves."""

    name: str
    width_mm: float
    height_mm: float
    keep_clear: PolygonArray = field(default_factory=geometry.empty)  #: shapes that stay land
    openings: PolygonArray = field(default_factory=geometry.empty)  #: cut through the whole thickness
    grow_from: PolygonArray = field(default_factory=geometry.empty)  #: shapes that the motif lies on or grows from
    margin_mm: float = 0.0  #: strip along the edge that stays land
    clearance_mm: float = 0.0  #: how far the motif stays from `keep_clear`
    density: Callable[[Floats], Floats] | None = None  #: points to the share 0…1 of the motif there
    holes: tuple[tuple[BaseGeometry, str], ...] = ()  #: as of `Place`
    prints: bool = False  #: the motif stays standing and all else is cut, as for white ink
    shapes_from: Callable[[Callable[[], Growth]], Growth] | None = None  #: what has grown, told how to grow it; by
    #: default it is grown

    @property
    def face(self) -> Polygon:
        """The block's rectangle."""
        return geometry.box(self.width_mm, self.height_mm)

    def __post_init__(self) -> None:
        check_words(self.name, field="name")
        check_size(self.width_mm, self.height_mm)
        for name in ("margin_mm", "clearance_mm"):
            if not getattr(self, name) >= 0:
                raise InputError("must not be less than nothing", value=getattr(self, name), field=name)


def grown_block(
    ground: Ground,
    settings: Any,  # noqa: ANN401
    limits: Limits,
    rng: Generator,
    *,
    by: str,
    say: Callable[[str], None] | None = None,
) -> Block:
    """The block with the motif named `by` grown on it and the openings cut out.

    Raises
    ------
    InputError
        If nothing of the face is left for the motif, or an opening leaves the face.
    """
    if ground.prints:
        limits = _for_land(limits)
    growth = growth_on(ground, place_on(ground, settings, limits), settings, limits, rng, by=by)
    if say is not None and growth.remark:
        say(growth.remark)
    block = block_on(ground, _all_but(ground, growth.cuts) if ground.prints else growth.cuts)
    return with_fringe(block, shapely.Polygon(), limits, to_decide=geometry.union(growth.to_decide))


def growth_on(
    ground: Ground, place: Place, settings: Any, limits: Limits, rng: Generator, *, by: str,  # noqa: ANN401
) -> Growth:  # fmt: skip
    """What there is of the motif named `by` on a ground: grown, or from where the ground says."""

    def grow() -> Growth:
        return plain(motif(by).grow(settings, place, limits, rng))

    if ground.shapes_from is None:
        return grow()
    growth = ground.shapes_from(grow)
    return plain(replace(growth, on_shapes=lying_on(growth.cuts, place))) if len(place.shapes) else growth


def block_on(ground: Ground, cuts: PolygonArray) -> Block:
    """The ground's block with these cuts, its openings and what it keeps clear."""
    return Block(
        name=ground.name,
        width_mm=ground.width_mm,
        height_mm=ground.height_mm,
        cuts=cuts,
        cut_outs=geometry.snapped(geometry.joined(ground.openings)),
        kept=geometry.parts(shapely.intersection(geometry.joined(ground.keep_clear), ground.face)),
    )


def place_on(ground: Ground, settings: Any, limits: Limits) -> Place:  # noqa: ANN401
    """Where a motif may grow on the ground.

    Raises
    ------
    InputError
        If nothing of the face is left for it, or an opening leaves the face.
    """
    if not shapely.contains_properly(ground.face, ground.openings).all():
        raise InputError(
            "must lie inside the block",
            field="openings",
            hint="move it, make it smaller, or enlarge {size_mm}",
            names=("size_mm",),
        )
    area = _area(ground, settings, limits)
    if shapely.area(area) <= 0:
        raise InputError(
            "nothing of the block is left for the motif",
            field=("keep_clear", "openings", "margin_mm"),
            hint="they cover the face together with the land that must stay round them; make them smaller",
        )
    frame = _frame(ground, settings, limits)
    return Place(area=area, frame=frame, shapes=ground.grow_from, density=ground.density, holes=ground.holes)


def strictest(limits: Iterable[Limits]) -> Limits:
    """The limits that satisfy all of `limits`; their grain is the same."""
    every = list(limits)
    return Limits(
        land_along_mm=max(own.land_along_mm for own in every),
        land_across_mm=max(own.land_across_mm for own in every),
        cut_mm=max(own.cut_mm for own in every),
        dot_mm=max(own.dot_mm for own in every),
        grain_deg=every[0].grain_deg,
    )


def _for_land(limits: Limits) -> Limits:
    """The limits for a motif that is land: its shapes as wide as land must be, their gaps as wide as a cut."""
    return replace(
        limits, land_along_mm=limits.cut_mm, land_across_mm=limits.cut_mm, cut_mm=max(limits.land_mm, limits.dot_mm)
    )


def _all_but(ground: Ground, lands: PolygonArray) -> PolygonArray:
    """The face without these lands and without what is kept clear or opened."""
    stays = np.concatenate([lands, geometry.joined(ground.keep_clear), ground.openings])
    return geometry.snapped(geometry.parts(shapely.difference(ground.face, shapely.union_all(stays))))


def _area(ground: Ground, settings: Any, limits: Limits) -> BaseGeometry:  # noqa: ANN401
    """Where the motif may grow.

    Shapes are kept clear by at least half the land: what stands of a thin twig between two cuts is then
    wide enough. What goes on behind them is cut by their own edge.
    """
    behind = getattr(settings, "hidden", 0) > 0 and settings.cut_at_edge
    clearance = ground.clearance_mm if behind else max(ground.clearance_mm, limits.land_mm / 2)
    clear = geometry.offset(ground.keep_clear, clearance) if clearance else ground.keep_clear
    beside = geometry.offset(ground.openings, limits.land_mm + _SAG_MM, quad_segs=16)
    return shapely.difference(_frame(ground, settings, limits), shapely.union_all(np.concatenate([clear, beside])))


def _frame(ground: Ground, settings: Any, limits: Limits) -> Polygon:  # noqa: ANN401
    """The face without its margin. Whole flakes keep a land from the edge; flakes cut off by it may lie on it."""
    margin = ground.margin_mm
    if not getattr(settings, "cut_at_edge", True) or margin > 0:
        margin = max(margin, limits.land_mm)
    return shapely.box(margin, margin, max(ground.width_mm - margin, margin), max(ground.height_mm - margin, margin))


_SAG_MM = 0.01  #: growing by an inscribed polygon falls short by less than this
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
