"""Snow before dark things: masses lie behind these, and what falls in front leaves them in one piece."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.snowfall.chance import Draws, keys

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.motifs.snowfall.flakes import Flakes
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["few_in_front", "masses", "uncut"]

_IN_FRONT = 0.3  #: share of a mass's near flakes that fall before what hides it; these and the next: our own choice
_SHRINKS = (0.8, 0.62, 0.48)  #: a flake that would cut a bar through is made so much smaller, or it goes
_BAR = 2.0  #: what is narrower than so many of the smallest flakes is a twig, and may be cut through
_BIT = 0.5  #: of the land's width: squares this wide are no piece of a bar
_OUT = np.array([-1.0, -1.0, 1.0, 1.0])  #: of bounds


def masses(shapes: PolygonArray, settings: Settings) -> Mask:
    """Which shapes are larger than a disc as wide as the largest flakes: they are many flakes."""
    return np.asarray(shapely.area(shapes) > np.pi / 4 * settings.largest_mm**2)


def few_in_front(flakes: Flakes, hidden: PolygonArray, near: int, bars: BaseGeometry, limits: Limits) -> PolygonArray:
    """Some of the near flakes of the masses, whole, where bars stand before these; a land apart from one another.

    Parameters
    ----------
    flakes
        All flakes, drawn.
    hidden
        The masses, before anything hides them.
    near
        The number of the near layer.
    """
    chance = Draws(keys(flakes.key, 6)).random(1)[:, 0]
    some = np.flatnonzero((flakes.layer == near) & ~flakes.torn & (chance < _IN_FRONT))
    shapely.prepare(bars)
    some = some[shapely.intersects(bars, geometry.dots(flakes.xy[some]))]
    some = some[np.unique(shapely.STRtree(flakes.shape[some]).query(hidden, predicate="intersects")[1])]
    shapes = flakes.shape[some]
    i, j, _ = geometry.close_pairs(shapes, limits.land_mm)
    size = shapely.area(shapes)
    return np.delete(shapes, np.unique(np.where(size[i] < size[j], i, j)))


def uncut(shapes: PolygonArray, bars: BaseGeometry, settings: Settings, limits: Limits) -> PolygonArray:
    """The shapes, those smaller or gone that cut a bar through, or leave less than the land beside them on one side.

    A trunk, a post, a board is a bar; a twig is none. What happens to a shape depends on it and on what it covers.
    """
    wide = _BAR * settings.smallest_mm
    bars = geometry.solid(shapely.buffer(shapely.buffer(bars, -wide / 2, quad_segs=2), wide / 2, quad_segs=4))
    shapely.prepare(bars)
    shapes, stays = shapes.copy(), np.ones(len(shapes), dtype=bool)
    bad = np.flatnonzero(shapely.intersects(bars, shapes))
    bad = bad[_cut_through(shapes[bad], bars, limits)]
    middle = shapely.get_coordinates(shapely.centroid(shapes[bad]))
    whole = shapes[bad]
    for share in _SHRINKS:
        if len(bad) == 0:
            break
        xy, of = shapely.get_coordinates(whole, return_index=True)
        smaller = shapely.set_coordinates(whole.copy(), middle[of] + share * (xy - middle[of]))
        shapes[bad] = smaller
        still = _cut_through(smaller, bars, limits)
        bad, middle, whole = bad[still], middle[still], whole[still]
    stays[bad] = False
    return shapes[stays]


def _cut_through(shapes: PolygonArray, bars: BaseGeometry, limits: Limits) -> Mask:
    """Whether the bars round each shape are in more pieces without it and the land beside it; (n,)."""
    windows = shapely.bounds(shapes) + 4 * limits.land_mm * _OUT
    around = geometry.polygon_array(shapely.clip_by_rect(bars, *window) for window in windows)
    around = np.asarray(shapely.make_valid(around), dtype=object)
    left = shapely.difference(around, geometry.offset(shapes, limits.land_mm, quad_segs=2))
    return _pieces(left, limits) > _pieces(around, limits)


def _pieces(shapes: PolygonArray, limits: Limits) -> np.ndarray:
    parts, whose = shapely.get_parts(shapes, return_index=True)
    return np.bincount(whose[shapely.area(parts) > (_BIT * limits.land_mm) ** 2], minlength=len(shapes))
