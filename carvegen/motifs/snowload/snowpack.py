"""How much snow lies on an upper surface: caught from the sky, held by the slope, fed by what slides."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.snowload.surfaces import smoothed

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Mask
    from carvegen.motifs.snowload.clumps import Loads
    from carvegen.motifs.snowload.surfaces import Surfaces

__all__ = ["Snow", "cap_mm", "caught", "depths", "edges", "held_share", "repose_deg"]

#: Stickiness 0, 0.3, 1: coarse grains 39°, fluffy 50° (measured, see `repose_deg`), wet snow that clings 78°.
_STICKY, _REPOSE = (0.0, 0.3, 1.0), (39.0, 50.0, 78.0)
_GIVES_WAY_DEG = 10.0  #: the slope at which all slides is reached over this much
_ARRIVES = 0.6  #: of what slides off so much comes to rest below; the rest falls to the ground
_HEAPED = 1.5  #: what slides heaps up to so much of the depth fallen
_LEVEL = 0.55  #: slope (rise over run) at which snow lies against what stands beside it
_LEAST_SKY, _FULL_SKY = 0.1, 0.65  #: share of the sky at which snow begins to lie and lies as in the open
_COLD_EDGE_MM = 1.2  #: cold snow bounces off within about this of an edge
_ROUND = 0.6  #: 1: a cap ends as a wedge; 0.5: as a half circle


@dataclass(frozen=True, kw_only=True)
class Snow:
    """How the snow is."""

    fallen_mm: float  #: depth on an open, level, wide place
    sticky: float  #: 0 loose and cold … 1 wet

    @property
    def repose_deg(self) -> float:
        """The steepest slope on which it lies."""
        return repose_deg(self.sticky)


def repose_deg(sticky: float) -> float:
    """Angle of repose for a stickiness 0…1.

    Coarse snow 39°, fluffy snow 50°: means of measured angles (source: snow-slopes). Wet snow clings to
    far steeper places; the 78° is common practice, no source.
    """
    return float(np.interp(sticky, _STICKY, _REPOSE))


def cap_mm(breadth: Floats, sticky: float) -> Floats:
    """The deepest cap that a level branch or post of this breadth carries, mm; same shape.

    ``(b / 2) tan A``: two slopes at the angle of repose A that meet over the middle (own derivation). Wet snow
    clings: a quarter more at stickiness 1.
    """
    return np.asarray(breadth / 2 * np.tan(np.radians(min(repose_deg(sticky), 60.0))) * (1 + 0.25 * sticky))


def depths(
    surface: Surfaces, snow: Snow, *, arriving: Floats, slid: Floats, breadth: Floats, goes_on: Mask, loads: Loads
) -> Floats:
    """Vertical depth of the snow on each sample, mm; (n,).

    After source: fearing-2000: snow arrives by the share of open sky, what lies
    too steep slides on downhill. Changed: in the picture's plane, and in one pass: what slides comes to rest
    at the first place that holds. The rounded ends follow the hats of source: festenberg-gumhold,
    here as ``(1 - (1 - u)²)^0.6`` over a shoulder set by the angle of repose. Narrow things catch less of cold
    snow and the same of wet snow (source: pfister-schneebeli: boards, above and below -3 °C).

    Parameters
    ----------
    arriving
        Share of the falling snow that arrives, 0…1.
    slid
        What has slid and fallen onto each sample, mm² of snow as fallen.
    breadth
        How broad the thing below is, mm.
    goes_on
        Samples at the end of a run where the thing goes on all the same, cut off by the picture's edge.
    loads
        How the snow gathers; what lies beside a bare place ends as at an edge.
    """
    holds = held_share(surface, snow) * ~loads.bare
    to_left, to_right = edges(surface, holds > 0, loads.bare, goes_on)
    breadth = np.minimum(breadth, to_left + to_right)
    edge = np.minimum(to_left * loads.from_left, to_right * loads.from_right)
    bounced = (1 - snow.sticky) * np.exp(-breadth / _COLD_EDGE_MM)
    added = _ARRIVES * _spread(surface, slid, snow) * (holds > 0)
    wanted = loads.more * snow.fallen_mm * (arriving * holds * (1 - bounced) + added)
    limit = np.maximum(cap_mm(breadth, snow.sticky), 1e-6)
    depth = limit * (1 - np.exp(-wanted / limit)) * loads.swell
    shoulder = np.minimum(1.3 * depth / np.tan(np.radians(min(snow.repose_deg, 60.0))), 2 * snow.fallen_mm)
    inward = np.clip(edge / np.maximum(shoulder, 1e-6), 0, 1)
    depth = depth * (1 - (1 - inward) ** 2) ** _ROUND * (holds > 0)
    return np.minimum(_levelled(surface, depth, snow), limit)


def caught(sky: Floats) -> Floats:
    """The share of the falling snow that comes to lie where so much of the sky is seen; same shape."""
    return np.asarray(np.clip((sky - _LEAST_SKY) / (_FULL_SKY - _LEAST_SKY), 0, 1))


def held_share(surface: Surfaces, snow: Snow) -> Floats:
    """The share of the snow that stays on each sample's slope: its cosine, and nothing from the repose on."""
    slope = np.abs(surface.rise_deg)
    stays = np.clip((snow.repose_deg - slope) / _GIVES_WAY_DEG, 0, 1)
    return np.asarray(np.cos(np.radians(slope)) * stays * (2 - stays))


def edges(surface: Surfaces, holds: Mask, bare: Mask, goes_on: Mask) -> tuple[Floats, Floats]:
    """How far it is along x, to the left and right, to where the ground falls away; infinite if it rises first."""
    x, rise = surface.xy[:, 0], surface.rise_deg
    first, last = surface.left == np.arange(len(surface)), surface.right == np.arange(len(surface))
    here = np.arange(len(surface))
    stops_left = np.maximum.accumulate(np.where(~holds | first, here, 0))
    stops_right = np.minimum.accumulate(np.where(~holds | last, here, len(here))[::-1])[::-1]
    falls_left = (rise[stops_left] > 0) | (first[stops_left] & holds[stops_left])
    falls_right = (rise[stops_right] < 0) | (last[stops_right] & holds[stops_right])
    free_left = bare[stops_left] | (falls_left & ~goes_on[stops_left])
    free_right = bare[stops_right] | (falls_right & ~goes_on[stops_right])
    return np.where(free_left, x - x[stops_left], np.inf), np.where(free_right, x[stops_right] - x, np.inf)


def _spread(surface: Surfaces, slid: Floats, snow: Snow) -> Floats:
    """The depth of what has slid, over the depth fallen: a heap about as broad as snow lies deep."""
    over = snow.fallen_mm / max(float(np.median(surface.width)), 1e-3) if len(surface) else 0.0
    heaped = smoothed(slid, surface.left, surface.right, over=min(over, 12.0))
    return np.asarray(np.minimum(heaped / surface.width, _HEAPED))


def _levelled(surface: Surfaces, depth: Floats, snow: Snow) -> Floats:
    """The depth with the snow's top led on, nearly level, to what rises beside it: forks and feet of walls fill."""
    x, y = surface.xy.T
    top = np.where(depth > 0, y + depth, -np.inf)
    for _ in range(40):
        for side in (surface.left, surface.right):
            led = top[side] - _LEVEL * np.abs(x - x[side])
            uphill = (y >= y[side]) & (led > y)
            top = np.where(uphill, np.maximum(top, led), top)
    return np.where(np.isfinite(top), np.maximum(top - y, 0), 0.0)
