"""Wind: what it comes freely to is scoured, and what it carries drifts down in the lee."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import correlate1d

if TYPE_CHECKING:
    from carvegen.geometry import Floats
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["drifted", "exposed", "lee_sides", "strength"]

_WEIGHT = np.array([0.35, 0.3, 0.2, 0.15])  #: of the low rays
_CARRIED_MM = 45.0  #: the wind drops what it carries within so much
_ASKED_MM = 2.5  #: lee places of so much breadth take all that comes by
_HOLLOW = 0.35  #: of the reach of shelter: so near to what stands in the wind it whirls the snow away
_MOST = 2.5  #: times the depth fallen: drifts are no deeper


def strength(settings: Settings) -> float:
    """How strongly it blows along the page: above 0 to the right."""
    return float(settings.wind * np.cos(np.radians(settings.wind_towards_deg)))


def lee_sides(settings: Settings) -> Floats:
    """How much a chain's left and right end is in the lee of what stands there, 0…1, (2, 1); in still air both are."""
    return np.clip(1 + 2 * strength(settings) * np.array([[1.0], [-1.0]]), 0, 1)


def drifted(ledges: Ledges, depth: Floats, settings: Settings, *, clear: Floats, sky: Floats) -> tuple[Floats, float]:
    """The depth after the wind, and the sum that it has carried off the page.

    Scour and deposit after B. E. Feldman and J. F. O'Brien 2002 (from memory), there by a simulated flow; here the
    shelter at each ledge is read off the clear distance upwind along low rays.

    Parameters
    ----------
    clear
        The clear distance upwind, mm, for each ray and ledge, (4, n).
    """
    blows = strength(settings)
    sign = 1 if blows > 0 else -1
    reach = _reach(settings)
    shelter = 1 - exposed(clear, settings)
    rises = ledges.smoothed(sign * ledges.slope, 1.0)
    bare = np.clip((1 - 1.1 * shelter) * (0.75 + 0.8 * np.clip(rises, -0.7, 1)), 0, 0.95)
    brink = _lee_brink(ledges, sign, 1.5 * settings.fallen_mm)
    scoured = depth * np.clip(abs(blows) * bare * (1 - 0.6 * brink), 0, 0.95)
    lee = np.clip(shelter - 0.6 * (_WEIGHT @ _sheltered(clear, _HOLLOW * reach)) - 0.05, 0, 1)
    wanted = (lee + 0.5 * np.clip(-rises - 0.15, 0, 0.8) + 0.5 * brink) * np.clip(2 * sky, 0, 1)
    room = np.clip(_MOST * settings.fallen_mm - depth, 0, None)
    columns = int(ledges.column.max()) + 1
    loose, wants = (
        np.bincount(ledges.column, each, minlength=columns)[::sign].astype(np.float64) for each in (scoured, wanted)
    )
    asked = _carried(wants[::-1], ledges.step)[::-1]
    carried = _carried(loose / np.maximum(asked, _ASKED_MM / ledges.step), ledges.step)
    came = np.minimum(ledges.smoothed(carried[::sign][ledges.column] * wanted, 0.4 * settings.fallen_mm), room)
    after = depth - scoured + came
    return after, float(depth.sum() - after.sum())


def exposed(clear: Floats, settings: Settings) -> Floats:
    """How freely the wind comes to places with so much clear upwind of them, 0…1; (n,)."""
    return np.asarray(1 - _WEIGHT @ _sheltered(clear, _reach(settings)))


def _reach(settings: Settings) -> float:
    return 2.5 + 1.1 * settings.fallen_mm


def _lee_brink(ledges: Ledges, sign: int, within_mm: float) -> Floats:
    """How near each place is to a free edge in the lee, where a cornice grows: 1 at the edge, 0 from `within_mm` on."""
    end = ledges.last if sign > 0 else ledges.first
    free = ledges.free[1 if sign > 0 else 0][end] > -2
    away = np.abs(end - np.arange(len(ledges))) * ledges.step
    long = (ledges.last - ledges.first + 1) * ledges.step > 4 * within_mm / 3
    return np.asarray(free * long * np.clip(1 - away / within_mm, 0, 1))


def _carried(values: Floats, step: float) -> Floats:
    """Each column's value carried on to those that follow, ever less of it; same shape."""
    drops = np.linspace(1, 0, int(_CARRIED_MM / step)) ** 2
    upwind = np.concatenate([drops[::-1], np.zeros(len(drops) - 1)])
    return np.asarray(correlate1d(values, upwind, mode="constant"))


def _sheltered(clear: Floats, reach: float) -> Floats:
    """How much what stands so far upwind shelters, 1…0; nothing beyond four times the reach."""
    return np.asarray(np.clip(1 - clear / (4 * reach), 0, 1) ** 4)
