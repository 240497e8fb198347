"""Which flakes fit what they fall on: clear of other white and of outlines, or well across these."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.marking.adapting import APART_MM
from carvegen.motifs.shared.minimum_width import opened
from carvegen.motifs.snowfall.edge import apart, taken_back, without_hairs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray

__all__ = ["settled"]

_TOUCHES_MM2 = 1e-3
_ROUNDS = 7  #: in which masses are cut back,
_WIDER = 1.7  #: each time so much wider,
_SOFT_MM = 1.2  #: in one sweep where two places lie nearer to one another than twice this: our own choice
_HORN_MM = 1.6  #: what is narrower beside that is a horn,
_HORN = 0.1  #: and larger than so much of this squared, or it is a corner: the same
_MUCH = 300  #: points: of a picture with more round a flake only what lies near to that is looked at
_PLAIN = 0.1  #: lands: how near to a flake's outline is near enough to tell what lies near to it
_OVER = 0.25  #: lands: slivers are taken with so much round them, so that no tips are left
_OUT = np.array([-1.0, -1.0, 1.0, 1.0])  #: of bounds


def settled(
    flakes: PolygonArray, white: BaseGeometry, pictures: Sequence[BaseGeometry], limits: Limits, *,
    area: BaseGeometry, frame: Polygon, mass_mm2: float, bars: BaseGeometry | None = None,
) -> PolygonArray:  # fmt: skip
    """The flakes that keep clear of other white, and leave no sliver of pictures and no cut in them too small.

    A flake stays a land's width away from an outline or crosses it; what it takes of a picture is at least as large
    as the smallest cut, and what it leaves of it is nowhere newly narrower than the land. One that doesn't fit goes
    whole. What is larger than `mass_mm2` is many flakes: it takes the slivers, too, and is cut back where it doesn't
    fit even so, along a rim as soft as snow's. It takes no sliver outside `area`, and none of `bars`
    in front of it: a twig goes on before a mass, even where what other blocks print under it is a sliver.
    """

    def misfits(some: PolygonArray) -> PolygonArray:
        lots = [_beside(some, white, limits), *(_misfits(some, picture, limits) for picture in pictures)]
        return np.asarray(shapely.union_all(np.stack(lots), axis=0), dtype=object)

    large = shapely.area(flakes) > mass_mm2
    fit, few, masses = geometry.empty(), flakes[~large], flakes[large]
    for nth in range(_ROUNDS):
        places = misfits(masses)
        bad = ~shapely.is_empty(places)
        fit, masses, places = np.concatenate([fit, masses[~bad]]), masses[bad], places[bad]
        if len(masses) == 0:
            break
        if nth == 0:
            bare = area if bars is None else shapely.difference(area, bars)
            masses = _with_slivers(masses, places, white, bare, limits)
            continue
        wide = _WIDER ** (nth - 1) * limits.land_mm + 2 * APART_MM
        off = shapely.buffer(shapely.union_all(places), wide + _SOFT_MM, quad_segs=4)
        off = shapely.buffer(off, -_SOFT_MM, quad_segs=4)
        masses = taken_back(masses, shapely.union(off, _horns(masses, off)), frame, limits)
        few = np.concatenate([few, masses[shapely.area(masses) <= mass_mm2]])
        masses = masses[shapely.area(masses) > mass_mm2]
    few = few[shapely.is_empty(misfits(few))]
    return apart(np.concatenate([fit, few]), limits)


def _horns(masses: PolygonArray, off: BaseGeometry) -> BaseGeometry:
    """What would be left of masses along what is taken off, too narrow to look like snow: horns, thin links."""
    near = shapely.buffer(off, 3 * _HORN_MM, quad_segs=2)
    left = geometry.parts(shapely.difference(shapely.intersection(masses, near), off))
    horns = geometry.parts(shapely.difference(left, opened(left, _HORN_MM)))
    beside = horns[shapely.dwithin(horns, off, APART_MM) & (shapely.area(horns) > _HORN * _HORN_MM**2)]
    return shapely.union_all(geometry.offset(beside, APART_MM))


def _with_slivers(
    masses: PolygonArray, slivers: PolygonArray, white: BaseGeometry, area: BaseGeometry, limits: Limits
) -> PolygonArray:
    """The masses and what each leaves of pictures in the area that is too narrow, but not up to other white."""
    clear = shapely.buffer(white, limits.land_mm + 2 * APART_MM, quad_segs=4)
    more = shapely.intersection(geometry.offset(slivers, _OVER * limits.land_mm), area)
    fuller = shapely.union(masses, shapely.difference(more, clear))
    return geometry.parts(fuller)


def _beside(flakes: PolygonArray, white: BaseGeometry, limits: Limits) -> PolygonArray:
    """The part of other white that is too near to each flake, empty where none is; (n,)."""
    apart = limits.land_mm + APART_MM
    places = np.full(len(flakes), shapely.Polygon(), dtype=object)
    near = np.flatnonzero(shapely.dwithin(flakes, white, apart))
    places[near] = shapely.intersection(white, shapely.box(*(shapely.bounds(flakes[near]) + apart * _OUT).T))
    return places


def _misfits(flakes: PolygonArray, picture: BaseGeometry, limits: Limits) -> PolygonArray:
    """Where each flake doesn't fit a picture, empty where it does; (n,)."""
    places = np.full(len(flakes), shapely.Polygon(), dtype=object)
    if len(flakes) == 0 or shapely.is_empty(picture):
        return places
    outline = shapely.boundary(picture)
    shapely.prepare(outline)
    rings = shapely.STRtree(shapely.get_parts(outline))
    near = np.unique(rings.query(flakes, predicate="dwithin", distance=limits.land_mm)[0])
    places[near] = _places(flakes[near], picture, outline, limits)
    return places


def _places(flakes: PolygonArray, picture: BaseGeometry, outline: BaseGeometry, limits: Limits) -> PolygonArray:
    """Of flakes near an outline: slivers that each leaves; all that it takes if that is too little; or the outline."""
    crossing = shapely.intersects(flakes, outline)
    takes = without_hairs(shapely.intersection(flakes, picture))  # two outlines on the grid leave hairs
    outside = shapely.area(takes) < _TOUCHES_MM2  # a flake cut off by the outline itself only touches it
    small = (shapely.area(takes) <= 2 * limits.cut_mm**2) & ~outside
    around = geometry.polygon_array(
        shapely.clip_by_rect(picture, *bounds) for bounds in shapely.bounds(flakes) + 2 * limits.land_mm * _OUT
    )
    around = np.asarray(shapely.make_valid(around), dtype=object)
    much = shapely.get_num_coordinates(around) > _MUCH
    plain = shapely.simplify(flakes, _PLAIN * limits.land_mm)
    around[much] = shapely.intersection(around[much], geometry.offset(plain[much], 4 * limits.land_mm, quad_segs=1))
    window = geometry.offset(plain, 1.5 * limits.land_mm, quad_segs=2)
    new = shapely.difference(_thin(shapely.difference(around, flakes), limits.land_mm), _thin(around, limits.land_mm))
    slivers = shapely.intersection(new, window)
    fits = outside | (shapely.area(slivers) <= (limits.land_mm / 4) ** 2)
    places = slivers.copy()
    places[fits] = shapely.Polygon()
    places[small] = shapely.union(places[small], takes[small])
    shy = ~outside & ~crossing
    places[shy] = shapely.union(places[shy], shapely.intersection(outline, window[shy]))
    return np.asarray(places, dtype=object)


def _thin(shapes: PolygonArray, width: float) -> PolygonArray:
    """Parts narrower than `width`, but not the corners that a disc of that width just doesn't fill; (n,)."""
    wide = geometry.offset(geometry.offset(shapes, -width / 2, quad_segs=4), 0.75 * width, quad_segs=4)
    return np.asarray(shapely.difference(shapes, wide), dtype=object)
