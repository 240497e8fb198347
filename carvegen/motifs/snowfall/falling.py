"""Snow on a face: what falls, what is kept of it, and as much of it as was asked."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.motifs.growth import Growth
from carvegen.motifs.snowfall.chance import chance_at
from carvegen.motifs.snowfall.edge import bounded
from carvegen.motifs.snowfall.land import met, parted
from carvegen.motifs.snowfall.sky import Sky

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.motifs.growth import Place
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["grow"]

_NEAR = 0.04  #: the logarithm of the white comes so near to what is asked
_CLOSE = 0.003  #: or within so much of the face
_FEW = 3000  #: flakes: of more a part is tried first
_TOLD = 0.01  #: what differs by more is told
_AGAIN = 2  #: times at most that more falls because the edge of the face took some
_TRIES = 7
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
        raise InputError(
            "leaves no room for snow", where="area", hint="make --keep-clear, --opening or --margin smaller"
        )
    key = int(rng.integers(2**62))
    frame = place.frame if place.frame is not None else shapely.box(*shapely.bounds(place.area))
    if settings.snow <= 0:
        return Growth(cuts=geometry.empty())
    sky = Sky(settings, limits, key, shapely.bounds(frame))
    level, asked, cuts = settings.level, settings.snow, geometry.empty()
    for _ in range(1 if level else _AGAIN):
        found, fallen = (level, _fallen(sky, level)) if settings.level else _solved(sky, asked, frame)
        level, cuts = found, bounded(_wanted(fallen, place), place.area, frame, limits, settings)
        lost = _white(fallen, frame) - _white(bounded(fallen, frame, frame, limits, settings), frame)
        if lost < _TOLD / 2:
            break
        asked = min(settings.snow + lost, 0.9)
    return Growth(
        cuts=cuts,
        kept={"level": level, "flurry_mm": sky.flurry},
        remark="" if settings.level else _remark(settings.snow, float(shapely.area(cuts).sum()), place, frame),
    )


def _fallen(sky: Sky, level: float) -> PolygonArray:
    """All that lies in the sky at a level, the land kept."""
    return parted(met(sky.fallen(level), sky.limits), sky.limits)


def _solved(sky: Sky, snow: float, frame: Polygon) -> tuple[float, PolygonArray]:
    """The level at which this share of the frame turns white, and what falls at it.

    Of a large sky a part is tried first, which tells how far the white stays behind the cover of discs.
    """
    level = sky.level_of(min((_LOST + snow) * snow, 0.9))
    part = sky.part(level, _FEW)
    if part is not None:
        level, _ = _sought(part, level, lambda level: snow * part.cover(level) / sky.cover(level), part.frame)
    return _sought(sky, level, lambda _: snow, frame)


def _sought(sky: Sky, level: float, snow_at: Callable[[float], float], frame: Polygon) -> tuple[float, PolygonArray]:
    """The level at which the share that is asked turns white.

    White rises with the level nearly as ``1 - exp(-a level^b)``: the secant is drawn where that is a line.
    """
    tried: list[tuple[float, float, PolygonArray]] = []
    for _ in range(_TRIES):
        shapes = _fallen(sky, level)
        white, snow = _white(shapes, frame), snow_at(level)
        off = _height(white) - _height(snow)
        tried.append((level, off, shapes))
        if abs(off) <= _NEAR or abs(white - snow) <= _CLOSE:
            break
        level = _next(tried)
    level, _, shapes = min(tried, key=lambda its: abs(its[1]))
    return level, shapes


def _white(shapes: PolygonArray, frame: Polygon) -> float:
    """The share of the frame that the shapes cover."""
    shapely.prepare(frame)
    inside = shapely.contains_properly(frame, shapes)
    across = shapely.intersection(shapes[~inside], frame)
    return float((shapely.area(shapes[inside]).sum() + shapely.area(across).sum()) / shapely.area(frame))


def _height(white: float) -> float:
    return float(np.log(-np.log1p(-min(max(white, 1e-4), 0.999))))


def _next(tried: list[tuple[float, float, PolygonArray]]) -> float:
    """The level to try next."""
    best = sorted(tried, key=lambda its: abs(its[1]))[:2]
    slope = 0.8
    if len(best) == 2 and best[0][0] != best[1][0]:
        slope = (best[0][1] - best[1][1]) / np.log(best[0][0] / best[1][0])
    return float(best[0][0] * np.exp(np.clip(-best[0][1] / np.clip(slope, 0.3, 1.2), -1.2, 1.2)))


def _wanted(shapes: PolygonArray, place: Place) -> PolygonArray:
    """The shapes without those that a place's density thins out, each by its own chance."""
    if place.density is None or len(shapes) == 0:
        return shapes
    middle = shapely.get_coordinates(shapely.point_on_surface(shapes))
    return shapes[chance_at(middle) < place.density_at(middle)]


def _remark(snow: float, white_mm2: float, place: Place, frame: Polygon) -> str:
    """What to tell if the white that came isn't what was asked; else nothing."""
    whole, free = float(shapely.area(frame)), float(shapely.area(place.area))
    came = white_mm2 / whole
    if abs(came - snow) <= _TOLD:
        return ""
    if free < 0.98 * whole or place.density is not None:
        why, help_ = "much of it lies where snow is kept off", "ask for more, or try another seed"
    elif came < snow:
        why, help_ = "the land that must stay leaves no room for more", "take a finer cutter or larger flakes"
    else:
        why, help_ = "few flakes as large as these fit the face", "make --largest smaller, or try another seed"
    return f"asked for {snow:.0%} white, {came:.0%} came: {why}; {help_}"
