"""Where a motif may grow, and what has grown: the same for every motif."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely import Polygon

from carvegen import geometry
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, PolygonArray

__all__ = ["Growth", "Place", "lying_on", "no_room", "plain"]

_ROUND_IT_MM = 1.0  #: what of the shapes lies further from a cut is cut off first: an overlay looks at all of them


@dataclass(frozen=True, kw_only=True, eq=False)
class Place:
    """Where a motif may grow."""

    area: BaseGeometry  #: polygon or multipolygon, mm
    frame: Polygon | None = None  #: rectangle where it would grow if nothing stood in its way; None: the area's bounds
    shapes: PolygonArray = field(default_factory=geometry.empty)  #: what it lies on or grows from
    fronts: PolygonArray = field(default_factory=geometry.empty)  #: parts of the shapes whose tops stand before others
    further_back: PolygonArray = field(default_factory=geometry.empty)  #: what is drawn there, a shape for each layer
    density: Callable[[Floats], Floats] | None = None  #: points (n, 2) to shares 0…1 of the motif; None: 1
    holes: tuple[tuple[BaseGeometry, str], ...] = ()  #: where holes in the shapes are something else than the motif
    #: takes them for: areas, and one of its words for gaps; of two areas the later one holds

    hides: tuple[BaseGeometry, ...] = ()  #: what stands in front of what falls far away, in the middle and near; none:
    #: nothing does
    bars: BaseGeometry = field(default_factory=Polygon)  #: dark things: near them no snow falls in masses

    @property
    def edge(self) -> Polygon:
        """The frame, or the rectangle round the area if none is named."""
        return shapely.box(*shapely.bounds(self.area)) if self.frame is None else self.frame

    def density_at(self, xy: Floats) -> Floats:
        """The share of the motif that is wanted at each point; (n,)."""
        return np.ones(len(xy)) if self.density is None else np.clip(self.density(xy), 0, 1)


@dataclass(frozen=True, kw_only=True, eq=False)
class Growth:
    """What has grown: disjoint polygons each."""

    cuts: PolygonArray  #: all that must come out
    on_shapes: PolygonArray = field(default_factory=geometry.empty)  #: the part of it that lies on the place's shapes
    free: PolygonArray = field(default_factory=geometry.empty)  #: a fringe that the carver may take or leave
    to_decide: PolygonArray = field(default_factory=geometry.empty)  #: white that a mark leaves to the carver
    kept: Mapping[str, float] = field(default_factory=dict)  #: settings with which the same grows in another window
    remark: str = ""  #: what came otherwise than asked, and why


def no_room(what: str) -> InputError:
    """That what is kept clear leaves nothing of the face for a motif, such as "snow"."""
    return InputError(
        f"leaves no room for {what}", where="area", hint="make {keep_clear}, {openings} or {margin_mm} smaller",
        names=("keep_clear", "openings", "margin_mm"),
    )  # fmt: skip


def plain(growth: Growth) -> Growth:
    """The same shapes as a file keeps them: every number the one nearest to its place on the grid, and no more said.

    Shapes that are grown differ from this by less than 1e-9 mm, and by the grid that GEOS joins to some of them. Both
    would make what is kept in a file something else than what has grown.
    """
    return replace(
        growth, cuts=_on_grid(growth.cuts), on_shapes=_on_grid(growth.on_shapes), free=_on_grid(growth.free),
        to_decide=_on_grid(growth.to_decide),
    )  # fmt: skip


def lying_on(cuts: PolygonArray, place: Place) -> PolygonArray:
    """The part of the cuts that lies on the place's shapes, as far as these lie in its area."""
    shapes = geometry.cropped(shapely.disjoint_subset_union_all(place.shapes), place.area)
    on_grid = shapely.set_precision(cuts, geometry.GRID_MM, mode="pointwise")
    bounds = shapely.bounds(on_grid) + _ROUND_IT_MM * np.array([-1, -1, 1, 1])
    near = geometry.polygon_array(shapely.clip_by_rect(shapes, *each) for each in bounds.tolist())
    return geometry.parts(shapely.intersection(on_grid, shapely.make_valid(near)))


def _on_grid(shapes: PolygonArray) -> PolygonArray:
    free_of_grid = shapely.set_precision(shapes, 0, mode="pointwise")
    rounded = np.asarray(shapely.transform(free_of_grid, lambda xy: np.round(xy, 3) + 0.0), dtype=object)  # no -0
    good = shapely.is_valid(rounded)
    return (
        rounded if good.all() else geometry.stack([rounded[good], geometry.parts(shapely.make_valid(rounded[~good]))])
    )
