"""Snow before dark things: masses lie behind these, and what falls in front leaves them in one piece."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import opened
from carvegen.motifs.snowfall.chance import Draws, keys

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Indices, Mask, PolygonArray
    from carvegen.motifs.snowfall.flakes import Flakes
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["few_in_front", "mass_mm2", "masses", "uncut"]

_IN_FRONT = 0.3  #: share of a mass's near flakes that fall before what hides it; these and the next: our own choice
_SHRINKS = (0.8, 0.62, 0.48)  #: a flake that would harm a figure is made so much smaller, or it goes
_WINDOW = 4.0  #: discs as wide as the largest flakes: what is light in a figure and smaller is a window, or a line
_LEFT = 2.5  #: lands: so much of a figure is left beside a flake; what is light and less than twice as wide is a line
_TOUCHES_MM2 = 1e-3  #: what covers no more of a figure lies beside it
_SOUND = 0.98  #: of a smaller flake, so much is the trace of the smallest cut
_BIT = 0.5  #: of the land's width: squares this wide are no piece of a bar
_OUT = np.array([-1.0, -1.0, 1.0, 1.0])  #: of bounds


def mass_mm2(settings: Settings) -> float:
    """The area of a disc as wide as the largest flakes: what is larger is many flakes."""
    return float(np.pi / 4 * settings.largest_mm**2)


def masses(shapes: PolygonArray, settings: Settings) -> Mask:
    """Which shapes are many flakes; (n,)."""
    return np.asarray(shapely.area(shapes) > mass_mm2(settings))


def few_in_front(flakes: Flakes, hidden: PolygonArray, bars: BaseGeometry) -> PolygonArray:
    """Some of the flakes of masses, whole, where bars stand before these.

    Parameters
    ----------
    flakes
        The near flakes, drawn.
    hidden
        The masses, before anything hides them.
    bars
        What stands before them.
    """
    chance = Draws(keys(flakes.key, 6)).random(1)[:, 0]
    some = np.flatnonzero(~flakes.torn & (chance < _IN_FRONT))
    shapely.prepare(bars)
    some = some[shapely.intersects(bars, geometry.dots(flakes.xy[some]))]
    in_masses = np.unique(shapely.STRtree(flakes.shape[some]).query(hidden, predicate="intersects")[1])
    return np.asarray(flakes.shape[some[in_masses]], dtype=object)


def uncut(shapes: PolygonArray, figure: BaseGeometry, settings: Settings, limits: Limits) -> PolygonArray:
    """The shapes, single flakes smaller or gone that lie on a figure and harm it.

    One does that cuts it through, leaves less than some lands of it on one side, or opens a small light place in
    it, as a window is. What happens to a flake depends on it and on what it covers; a smaller one lies in the flake
    itself and is made by the smallest cut.

    Parameters
    ----------
    shapes
        Polygons (n,), mm. Masses stay as they are.
    figure
        What must stay readable: polygon or multipolygon, mm.

    Returns
    -------
    PolygonArray
        As many, or fewer.
    """
    figure = geometry.solid(opened(figure, limits.land_mm))
    left = _LEFT * limits.land_mm
    outline = shapely.boundary(figure)
    holes = geometry.holes(geometry.parts(figure))
    small = (shapely.area(holes) < _WINDOW * mass_mm2(settings)) & ~shapely.is_empty(geometry.offset(holes, -left))
    windows = shapely.boundary(geometry.union(holes[small]))
    for each in (figure, outline, windows):
        shapely.prepare(each)

    def harms(some: PolygonArray) -> Mask:
        """Whether each does, (n,)."""
        near = shapely.dwithin(some, outline, left)
        harm = near & (shapely.covers(figure, some) | shapely.dwithin(some, windows, left))
        rest = np.flatnonzero(near & ~harm)
        harm[rest] = _cut_through(some[rest], figure, limits)
        return np.asarray(harm)

    shapes, stays = shapes.copy(), np.ones(len(shapes), dtype=bool)
    bad = np.flatnonzero(~masses(shapes, settings) & shapely.intersects(figure, shapes))
    bad = bad[shapely.area(shapely.intersection(shapes[bad], figure)) > _TOUCHES_MM2]
    bad = bad[harms(shapes[bad])]
    middle = shapely.get_coordinates(shapely.centroid(shapes[bad]))
    whole = shapes[bad]
    for share in _SHRINKS:
        if len(bad) == 0:
            break
        xy, of = shapely.get_coordinates(whole, return_index=True)
        smaller = shapely.set_coordinates(whole.copy(), middle[of] + share * (xy - middle[of]))
        shapes[bad] = smaller
        sound = shapely.covers(whole, smaller) & _made(smaller, limits)
        stays[bad[~sound]] = False
        still = sound & harms(smaller)
        bad, middle, whole = bad[still], middle[still], whole[still]
    stays[bad] = False
    return shapes[stays]


def _made(shapes: PolygonArray, limits: Limits) -> Mask:
    """Which shapes the smallest cut makes, each in one piece; (n,)."""
    inner = geometry.offset(shapes, -limits.cut_mm / 2)
    trace = shapely.area(geometry.offset(inner, limits.cut_mm / 2))
    return np.asarray((shapely.get_num_geometries(inner) == 1) & (trace > _SOUND * shapely.area(shapes)))


def _cut_through(shapes: PolygonArray, figure: BaseGeometry, limits: Limits) -> Mask:
    """Whether a figure round each shape is in more pieces without it and what must be left beside it; (n,)."""
    windows = shapely.bounds(shapes) + (_LEFT + 3) * limits.land_mm * _OUT
    around = geometry.polygon_array(shapely.clip_by_rect(figure, *window) for window in windows)
    around = np.asarray(shapely.make_valid(around), dtype=object)
    left = shapely.difference(around, geometry.offset(shapes, _LEFT * limits.land_mm, quad_segs=2))
    return _pieces(left, limits) > _pieces(around, limits)


def _pieces(shapes: PolygonArray, limits: Limits) -> Indices:
    """In how many pieces each shape is, crumbs not counted; (n,)."""
    parts, whose = shapely.get_parts(shapes, return_index=True)
    return np.bincount(whose[shapely.area(parts) > (_BIT * limits.land_mm) ** 2], minlength=len(shapes))
