"""Falling snow: flurries and clumps of flakes of many sizes, round to squarish."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.errors import InputError
from carvegen.growth import Growth
from carvegen.motifs.snowfall.drawing import drawn
from carvegen.motifs.snowfall.packing import cover, fallen, none
from carvegen.motifs.snowfall.settings import PRESETS, Settings
from carvegen.motifs.snowfall.sky import Sky

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import PolygonArray
    from carvegen.growth import Place
    from carvegen.limits import Limits

__all__ = ["PRESETS", "Settings", "grow"]

_SURPLUS = 1.15  #: so much more is drawn than needed: where flakes grow together they cover less
_LEANER = 0.2  #: flakes that the wind draws out fill so much less of their discs in a gale
_TRIES = 4
_FULL = 1.1  #: more flakes that cover less than this much more have no room left,
_DIMINISHING = 1.8  #: power by which more must fall to cover more, where they lie crowded
_IDLE = 2  #: if that happens so many times running: once may only be a sky with few flurries
_MOST = 2_000_000  #: candidates at most: beyond, the flakes asked for are too small for the face
_CROWD = 6  #: candidates at most for each place that the smallest flake takes with its land
_YIELDS = 0.6  #: the room that flakes keep falls by so much each time that they find too little


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Flakes inside the place's area, whole or cut off by it.

    Parameters
    ----------
    place
        Where snow may fall, and how densely.
    limits
        Any two flakes end at least ``limits.land_mm`` apart and no flake is narrower than ``limits.cut_mm``.

    Returns
    -------
    Growth
        Disjoint flakes. They cover about ``settings.snow`` of the area, or less where the land that must
        stay leaves no room; may be empty.
    """
    area_mm2 = float(shapely.area(place.area))
    if area_mm2 <= 0:
        raise InputError(
            "leaves no room for snow", where="area", hint="make --keep-clear, --opening or --margin smaller"
        )
    target = settings.snow * area_mm2
    enough = _SURPLUS * (1 + _LEANER * settings.wind) * target
    sky = Sky(settings, place, limits)
    most = min(_MOST, _CROWD * area_mm2 / (2 * sky.least + sky.gap) ** 2)
    discs, supply, idle = none(), sky.usual, 0
    for k in range(_TRIES):
        tried = fallen(sky, min(supply, most), rng.spawn(1)[0], roomy=sky.roomy * _YIELDS**k)
        idle = idle + 1 if cover(tried) < _FULL * cover(discs) else 0
        discs = max(discs, tried, key=cover)
        if cover(discs) >= enough or idle == _IDLE:
            break
        supply *= float(np.clip((1.3 * enough / max(cover(discs), 1e-9)) ** _DIMINISHING, 1.4, 8))
    return Growth(cuts=_thinned(drawn(sky, discs, rng.spawn(1)[0]), target, rng))


def _thinned(flakes: PolygonArray, target_mm2: float, rng: Generator) -> PolygonArray:
    """Flakes left out by chance until the target is met; the order stays."""
    order = rng.permutation(len(flakes))
    stays = np.zeros(len(flakes), dtype=bool)
    stays[order] = np.cumsum(shapely.area(flakes[order])) <= target_mm2
    return flakes[stays]
