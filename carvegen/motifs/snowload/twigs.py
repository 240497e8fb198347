"""Thin lines of snow on twigs that are not steep, after snow has fallen in still air."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.snowpack import cap_mm, repose_deg
from carvegen.motifs.snowload.wind import strength

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats
    from carvegen.motifs.snowload.drawing import Canvas
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["on_twigs"]

_THINNEST, _BROADEST_MM = 0.5, 1.3  #: times the detail, thinner ones bear nothing; what is broader bears a heap
_STEEP = 0.95  #: of the slope of repose
_SHORTEST_MM, _TAPERS_MM = 1.8, 0.6
_AIR_MM = 1.5  #: over a line there stays so much
_SKY = 0.3  #: where less is seen nothing falls
_CUTS, _FALLEN = 2.0, 0.25  #: times the smallest cut: thinner no line is, if so many times more has fallen
_DEEPER = 0.35  #: a line is deeper with what has fallen, to this power
_USUAL_MM = 3.5
_LAPS_MM = 0.22  #: so far it laps over the twig
_GALE = 0.5  #: that blows twigs bare


def on_twigs(
    canvas: Canvas, twigs: Ledges, share: Floats, settings: Settings, *, limits: Limits, rng: Generator
) -> Floats:  # fmt: skip
    """Draw the lines; the middle of each, mm, (lines, 2).

    Parameters
    ----------
    twigs
        Ledges on what is drawn, no gaps bridged.
    share
        Of what falls, how much comes to each, (n,).
    """
    wide = twigs.thick / np.hypot(1, twigs.slope)
    lies = (wide > _THINNEST * settings.detail_mm) & (wide < _BROADEST_MM) & ~twigs.ground & (share > _SKY)
    lies &= np.abs(twigs.smoothed(twigs.slope, 0.5)) < _STEEP * np.tan(np.radians(repose_deg(settings.sticky)))
    lies &= twigs.ceiling - twigs.base > _AIR_MM
    lies &= abs(strength(settings)) < _GALE
    goes_on = lies[:-1] & lies[1:] & twigs.linked[:-1]
    begins = lies & ~np.append(False, goes_on)
    run = np.cumsum(begins) - 1
    first = np.flatnonzero(begins)
    last = np.flatnonzero(lies & ~np.append(goes_on, False))
    keep = (last - first) * twigs.step > _SHORTEST_MM
    keep &= twigs.chance(rng, (first + last) // 2) > settings.patchy
    on = np.flatnonzero(lies)
    on = on[keep[run[on]]]
    if len(on) == 0:
        return np.empty((0, 2))
    first, last = first[run[on]], last[run[on]]
    away = np.minimum(on - first, last - on) * twigs.step
    place = np.column_stack([twigs.x, twigs.base])[on]
    least = min(_CUTS * limits.cut_mm, _FALLEN * settings.fallen_mm)
    deep = np.maximum(cap_mm(wide[on], settings.sticky) * (settings.fallen_mm / _USUAL_MM) ** _DEEPER, least)
    deep *= np.clip(1 + 0.25 * waves_at(place, rng, patch_mm=(2.0, 2.0)), 0.8, 1.6)
    deep *= np.sqrt(np.clip(away / _TAPERS_MM, 0, 1)) * np.hypot(1, twigs.slope[on])
    laps = _LAPS_MM * np.hypot(1, twigs.slope[on])
    canvas.stroke(twigs.column[on], twigs.base[on] - laps, twigs.base[on] + deep)
    return np.asarray(place[on == (first + last) // 2])
