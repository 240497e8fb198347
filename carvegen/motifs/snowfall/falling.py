"""Snow on a face: what falls, what is kept of it, and as much of it as was asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.growth import Growth, no_room
from carvegen.motifs.snowfall.chance import chance_at
from carvegen.motifs.snowfall.edge import bounded, crossing, wholly_in
from carvegen.motifs.snowfall.land import met, parted
from carvegen.motifs.snowfall.sky import Sky

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.motifs.growth import Place
    from carvegen.motifs.snowfall.flakes import Flakes
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["grow"]

_NEAR = 0.05  #: the white comes so near to what is asked, as a share of it,
_NEAREST = 0.0015  #: or within so much of the face
_FEW = 3000  #: flakes: of more a part is tried first
_CLOSE = 0.008  #: but no further off than this,
_TOLD = 0.01  #: what differs by more is told
_TRIES = 6
_EDGES = 3
_LEAST_AT_EDGE = 0.5  #: no more is sought than so makes up for what the edge takes,
_WHITEST = 0.9  #: no more is sought, whatever the edge takes
_MOST = 1000.0  #: the level at most
_LOST = 1.3  #: flakes that yield to others cost about so much of the white; a first guess


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Flakes inside the place's area, cut off by it or whole.

    What falls belongs to the weather, not to the area: where a part of it is kept clear, all else stays as it was.

    Parameters
    ----------
    place
        Where snow may fall, and how densely. `settings.snow` is a share of its frame.
    limits
        No land is narrower than ``limits.land_mm`` and no cut narrower than ``limits.cut_mm``.

    Returns
    -------
    Growth
        Disjoint flakes; may be empty. `Growth.kept` holds the settings with which the same snow falls through
        another window.
    """
    if shapely.area(place.area) <= 0:
        raise no_room("snow")
    key = int(rng.integers(2**62))
    frame = place.frame if place.frame is not None else shapely.box(*shapely.bounds(place.area))
    if settings.snow <= 0:
        return Growth(cuts=geometry.empty())
    sky = Sky(settings, limits, key, shapely.bounds(frame))
    if settings.level:
        level, fallen, cuts = settings.level, _fallen(sky, settings.level), None
    else:
        level, fallen, cuts = _solved(sky, frame)
    if cuts is None or place.density is not None or not shapely.equals(place.area, frame):
        cuts = bounded(_wanted(fallen, place), place.area, frame, limits, settings)
    return Growth(
        cuts=cuts,
        kept={"level": level, "flurry_mm": sky.flurry},
        remark="" if settings.level else _remark(settings, level, float(shapely.area(cuts).sum()), place, frame),
    )


def _fallen(sky: Sky, level: float) -> PolygonArray:
    """All that lies in the sky at a level, the land kept."""
    return parted(met(_at_frame(sky, sky.fallen(level)), sky.limits, sky.settings.snow), sky.limits)


def _at_frame(sky: Sky, flakes: Flakes) -> Flakes:
    """The flakes, those at the frame so that they can be cut off by it; or none that it would cut."""
    if sky.settings.cut_at_edge:
        return crossing(flakes, sky.frame, sky.limits)
    return flakes.chosen(wholly_in(sky.frame, flakes.shape))


def _solved(sky: Sky, frame: Polygon) -> tuple[float, PolygonArray, PolygonArray]:
    """The level at which the share that is asked turns white; what falls then, and that as it is cut off by the frame.

    Of a large sky a part is tried first, which tells how far the white stays behind the cover of discs. What the edge
    takes or adds is measured where all but the edge is right.
    """
    snow = sky.settings.snow
    level = sky.level_of((_LOST + min(snow, 0.9 - 2 * snow)) * snow)
    part = sky.part(level, _FEW)
    if part is not None:
        level, _ = _sought(part, level, lambda level: snow * part.cover(level) / sky.cover(level))
    at_edge = 1.0
    tried: list[tuple[float, float, PolygonArray, PolygonArray]] = []
    for _ in range(_EDGES):
        level, shapes = _sought(sky, level, _constant(min(snow / at_edge, _WHITEST)))
        cuts = bounded(shapes, frame, frame, sky.limits, sky.settings)
        white = float(shapely.area(cuts).sum() / shapely.area(frame))
        tried.append((abs(white - snow), level, shapes, cuts))
        if abs(white - snow) <= _close(snow):
            break
        at_edge = max(white / max(_white(shapes, frame), 1e-6), _LEAST_AT_EDGE)
    _, level, shapes, cuts = min(tried, key=lambda its: its[0])
    return level, shapes, cuts


def _sought(sky: Sky, level: float, snow_at: Callable[[float], float]) -> tuple[float, PolygonArray]:
    """The level at which the share that is asked turns white."""
    tried: list[tuple[float, float, PolygonArray]] = []
    for _ in range(_TRIES):
        shapes = _fallen(sky, level)
        white, snow = _white(shapes, sky.frame), snow_at(level)
        tried.append((np.log(level), _height(white) - _height(snow), shapes))
        if abs(white - snow) <= _close(snow):
            break
        level = float(min(np.exp(_next([its[:2] for its in tried])), _MOST))
    log_level, _, shapes = min(tried, key=lambda its: abs(its[1]))
    return float(np.exp(log_level)), shapes


def _constant(share: float) -> Callable[[float], float]:
    """The same share at every level."""
    return lambda _: share


def _close(snow: float) -> float:
    """White that comes so near to what is asked is near enough."""
    return max(_NEAREST, min(_NEAR * snow, _CLOSE))


def _white(shapes: PolygonArray, frame: Polygon) -> float:
    """The share of the frame that the shapes cover."""
    inside = wholly_in(frame, shapes)
    across = shapely.intersection(shapes[~inside], frame)
    return float((shapely.area(shapes[inside]).sum() + shapely.area(across).sum()) / shapely.area(frame))


def _height(white: float) -> float:
    return float(np.log(-np.log1p(-min(max(white, 1e-4), 0.999))))


def _next(tried: list[tuple[float, float]]) -> float:
    """The level's logarithm to try next, from those tried and how far each came off.

    White rises with the level nearly as ``1 - exp(-a level^b)``: the secant is drawn where that is a line, and between
    the two nearest on either side once there are such, for white rises by jumps.
    """
    best = sorted(tried, key=lambda its: abs(its[1]))
    below, above = (next((its for its in best if side * its[1] > 0), None) for side in (-1, 1))
    if below and above:
        along = float(np.clip(below[1] / (below[1] - above[1]), 0.15, 0.85))
        return below[0] + along * (above[0] - below[0])
    least = min if below is None else max  # none tried lies on the other side: on beyond them all
    outer = least(tried)
    slope = 0.8
    if len(best) > 1 and best[0][0] != best[1][0]:
        slope = (best[0][1] - best[1][1]) / (best[0][0] - best[1][0])
    step = np.clip(abs(best[0][1]) / np.clip(slope, 0.3, 1.2), 0.05, 1.2)
    return outer[0] + float(-step if below is None else step)


def _wanted(shapes: PolygonArray, place: Place) -> PolygonArray:
    """The shapes without those that a place's density thins out, each by its own chance."""
    if place.density is None or len(shapes) == 0:
        return shapes
    middle = shapely.get_coordinates(shapely.point_on_surface(shapes))
    return shapes[chance_at(middle) < place.density_at(middle)]


def _remark(settings: Settings, level: float, white_mm2: float, place: Place, frame: Polygon) -> str:
    """What to tell if the white that came isn't what was asked; else nothing."""
    whole, free = float(shapely.area(frame)), float(shapely.area(place.area))
    came = white_mm2 / whole
    if abs(came - settings.snow) <= _TOLD:
        return ""
    if free < 0.98 * whole or place.density is not None:
        why, help_ = "snow is kept off a part of the face", "ask for more, or keep less of it clear"
    elif came < settings.snow and level >= 0.9 * _MOST:
        why, help_ = "the land that must stay leaves no room for more", "take a finer cutter or larger flakes"
    else:
        one = np.pi / 4 * settings.largest_mm**2 / whole
        why = f"flakes come whole, and the largest makes {one:.1%} of this face"
        help_ = "make the largest flakes smaller, or try another seed"
    return f"asked for {settings.snow:.0%} white, {came:.0%} came: {why}; {help_}"
