"""Flakes' outlines: round to squarish, grown together, cut off by the edge."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.measures.necks import necks
from carvegen.nature.aggregates import MEMBER_POWER, passed, united
from carvegen.nature.outlines import outlines, rounded_until
from carvegen.nature.trimming import firm

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.motifs.snowfall.sky import Sky
    from carvegen.nature.packing import Discs

__all__ = ["drawn"]

_SAG_MM = 0.01  #: a chord may stray this far from the curve


def drawn(sky: Sky, discs: Discs, rng: Generator) -> PolygonArray:
    """The flakes' polygons: clumps grown together, cut off by the area where it may cut them, on the grid."""
    _, family, size = np.unique(discs.family, return_inverse=True, return_counts=True)
    alone = size[family] == 1
    shapes = _outlined(sky, discs, np.where(alone, 1.0, MEMBER_POWER), rng)
    clumps = united(shapes[~alone], family[~alone], land=sky.gap, passes=sky.passes)
    return _cut_off(sky, np.concatenate([shapes[alone], _open(sky, geometry.snapped(clumps))]))


def _open(sky: Sky, shapes: PolygonArray) -> PolygonArray:
    """The shapes without those that have a hole or a bay whose land is too narrow; few if any."""
    outlines = geometry.rings(shapes)
    pinched = necks(geometry.reversed_rings(outlines), sky.limits.land_mm)
    bad = np.concatenate([outlines.owner[pinched.first], outlines.owner[outlines.hole]])
    return np.delete(shapes, np.unique(bad))


def _outlined(sky: Sky, discs: Discs, power: Floats, rng: Generator) -> PolygonArray:
    """Outlines in the discs, their reach raised to `power`."""
    settings = sky.settings
    shapes = np.empty(len(discs), dtype=object)
    need = np.pi / np.sqrt(2 * _SAG_MM / np.maximum(discs.radius, 1e-6))
    steps = np.array([16, 24, 36, 56, 84])
    points = steps[np.minimum(np.searchsorted(steps, np.where(power < 1, 1.0, 1.2) * need), len(steps) - 1)]
    points[power == 1] = np.maximum(points[power == 1], 24)
    for count in steps:
        which = np.flatnonzero(points == count)
        unit = outlines(
            len(which),
            int(count),
            round_share=settings.round,
            rng=rng,
            longer=0.8 * settings.wind,
            along_deg=settings.wind_towards_deg,
        )
        unit *= np.hypot(unit[..., 0], unit[..., 1])[..., None] ** (power[which, None, None] - 1)
        unit = rounded_until(unit, sky.passes / discs.radius[which])
        xy = discs.xy[which, None, :] + discs.radius[which, None, None] * unit
        shapes[which] = shapely.polygons(np.round(xy / geometry.GRID_MM) * geometry.GRID_MM)
    return shapes


def _cut_off(sky: Sky, flakes: PolygonArray) -> PolygonArray:
    """The flakes, those that lie over the area's edge cut off by it."""
    whole = shapely.covers(sky.area, flakes)
    if not whole.all():
        left = passed(shapely.intersection(flakes[~whole], sky.area), sky.passes)
        flakes = np.concatenate([flakes[whole], _open(sky, geometry.snapped(left))])
    if not sky.settings.cut_at_edge:
        return flakes
    return firm(flakes, shapely.box(*shapely.bounds(sky.area)), land_mm=sky.limits.land_mm)
