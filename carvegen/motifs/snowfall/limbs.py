"""Small clumps without limbs: what would read as a bone, a splat or a little figure is fuller, or its lumps alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.snowfall.heaps import mean_radius

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = ["without_limbs"]

# All of these are our own choice, by eye.
_LIMBED = 0.82  #: what fills less of its hull has limbs;
_SPECK_CUTS = 4.0  #: smaller ones than so many smallest cuts squared are specks,
_BODY = 0.68  #: of its mean radius: a splat has a disc inside that is so large;
_WEB = 0.8  #: the bays between its limbs are filled by discs of so much of its mean radius
_LUMP = (0.72, 0.9)  #: of the largest disc inside: others are what such a disc fills; the second if that has limbs
_RIM = 0.25  #: and so much round that,
_SOFT = 0.35  #: rounded off by discs of so much
_ROUND = 1.03  #: arcs are polygons: they are drawn so much larger
_SLACK_MM = 0.012


def without_limbs(shapes: PolygonArray, limits: Limits, mass_mm2: float) -> tuple[Mask, PolygonArray, Indices]:
    """Which shapes are small and have limbs, and what they become: a splat is webbed, a chain parted in its lumps.

    Of lumps no land apart the largest stays. The cutter makes each in one piece; land at their rims may be narrow.

    Parameters
    ----------
    shapes
        Polygons that the cutter makes, mm; (n,).
    mass_mm2
        What is larger is a mass, whose rim may be torn.

    Returns
    -------
    tuple[Mask, PolygonArray, Indices]
        Which, (n,); what they become, and the number of the shape that each of these is of.
    """
    area, mean = shapely.area(shapes), mean_radius(shapes)
    some = np.flatnonzero((area > _SPECK_CUTS * limits.cut_mm**2) & (area < mass_mm2))
    some = some[_have_limbs(shapes[some])]
    limbed, mean = shapes[some], mean[some]
    room = shapely.length(shapely.maximum_inscribed_circle(limbed, tolerance=_SLACK_MM))
    blunt = np.full(len(some), _ROUND * limits.land_mm / 2 + _SLACK_MM)
    full = _closed(limbed, np.maximum(_WEB * mean, blunt))
    webbed = (room > _BODY * mean) & ~_have_limbs(full)
    chains = np.flatnonzero(~webbed)
    parts, nth = _lumps(limbed[chains], room[chains], limits)
    nth = chains[nth]
    parts = _closed(parts, blunt[nth])  # no spike of land is left where rounds meet
    i, j, _ = geometry.close_pairs(parts, limits.land_mm + _SLACK_MM)
    size = shapely.area(parts)
    less = np.where(size[i] < size[j], i, j)[nth[i] == nth[j]]
    made = np.concatenate([full[webbed], np.delete(parts, less)])
    whose = np.concatenate([some[webbed], some[np.delete(nth, less)]])
    return np.isin(np.arange(len(shapes)), some), made, whose


def _have_limbs(shapes: PolygonArray) -> Mask:
    """Which fill so little of their hull that they have limbs; (n,)."""
    return np.asarray(shapely.area(shapes) < _LIMBED * shapely.area(shapely.convex_hull(shapes)))


def _lumps(shapes: PolygonArray, room: Floats, limits: Limits) -> tuple[PolygonArray, Indices]:
    """The lumps of each shape, and which it is of; `room` is the radius of the largest disc inside each."""
    least = _ROUND * limits.cut_mm / 2 + _SLACK_MM
    cores, by, limbed = shapes.copy(), np.zeros(len(shapes)), np.arange(len(shapes))
    for share in _LUMP:
        by[limbed] = np.maximum(share * room[limbed], least)
        cores[limbed] = shapely.buffer(shapes[limbed], -by[limbed], quad_segs=6)
        core, nth = shapely.get_parts(cores, return_index=True)
        wider = shapely.buffer(core, by[nth] + _RIM * room[nth], quad_segs=6)
        soft = np.maximum(_SOFT * room[nth], least)
        inner = shapely.buffer(shapely.intersection(wider, shapes[nth]), -soft, quad_segs=6)
        lumps, of = shapely.get_parts(shapely.buffer(inner, soft, quad_segs=6), return_index=True)
        limbed = np.unique(nth[of[_have_limbs(lumps)]])
    largest = shapely.area(lumps) >= _SPECK_CUTS * limits.cut_mm**2 / 2
    return lumps[largest], nth[of[largest]]


def _closed(shapes: PolygonArray, by: Floats) -> PolygonArray:
    """The shapes with their bays filled by discs of these radii; (n,)."""
    wider = shapely.buffer(shapes, by, quad_segs=8)
    return np.asarray(shapely.make_valid(shapely.buffer(wider, -by, quad_segs=8)), dtype=object)
