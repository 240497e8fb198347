"""Heaps on upper surfaces as polygons: strips between a lower and an upper edge, and lenses within them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, PolygonArray
    from carvegen.motifs.snowload.surfaces import Contours, Surfaces

__all__ = ["Heaps", "bands", "cuttable", "lenses", "strips"]

_LONG = 2.5  #: smallest cuts: a load's length at least
_LEAST = 0.1  #: of that thickness; a thinner load falls away
_OUTWARD = 1.1  #: 0: snow swells plumb up; 1: about halfway to square out of a slope
_AMPLE = 1.6  #: smallest cuts: a load's thickness at its thickest
_LENS = np.linspace(-1, 1, 15)


@dataclass(frozen=True, eq=False)
class Heaps:
    """How far snow reaches above and below each sample of its surfaces, mm."""

    surface: Surfaces
    above: Floats  #: (n,)
    below: Floats  #: (n,)
    lean: float = 0.0  #: how far the top is driven to the right, for each mm of height


def strips(heaps: Heaps) -> PolygonArray:
    """The stretches that bear snow as polygons; they may overlap."""
    surface, depth = heaps.surface, heaps.above
    run = surface.run[depth > 0]
    gap = np.diff(np.flatnonzero(depth > 0), prepend=-2) > 1
    stretch = np.cumsum(gap | (np.diff(run, prepend=-1) != 0)) - 1
    xy, below = surface.xy[depth > 0], heaps.below[depth > 0]
    top = xy + _swollen(heaps)[depth > 0]
    top[:, 0] = _onward(top[:, 0], stretch)
    return _between(xy - np.column_stack([np.zeros(len(below)), below]), top, stretch)


def _swollen(heaps: Heaps) -> Floats:
    """From each sample to the snow's top: up, and out on slopes and round edges; (n, 2)."""
    normal = heaps.surface.normal
    way = np.column_stack([_OUTWARD * normal[:, 0], np.ones(len(normal))])
    plumb = normal[:, 1] / np.maximum((normal * way).sum(axis=1), 1e-6)
    way *= np.clip(plumb, 0.5, 1.0)[:, None]
    way[:, 0] += heaps.lean
    return np.asarray(way * heaps.above[:, None])


def _onward(x: Floats, stretch: Indices) -> Floats:
    """Values made to rise along each stretch: the mean of the least and the greatest line that does."""
    if len(x) == 0:
        return x
    apart = (np.ptp(x) + 1) * stretch
    up = np.maximum.accumulate(x + apart)
    down = np.minimum.accumulate((x + apart)[::-1])[::-1]
    return np.asarray((up + down) / 2 - apart)


def cuttable(above: Floats, below: Floats, which: Indices, wide: Floats, cut_mm: float) -> Floats:
    """A factor for each sample that makes loads nearly thick enough for the smallest cut so thick; (n,).

    A load much thinner than that or short is left, to fall away.

    Parameters
    ----------
    above, below
        How far it reaches up and down, square to the surface, mm; (n,).
    which
        Number of each sample's load.
    wide
        The stretch that belongs to each sample, mm; (n,).
    """
    total = np.zeros(int(which.max(initial=-1)) + 1)
    np.maximum.at(total, which, above + below)
    wanted = _AMPLE * cut_mm
    long = np.bincount(which, wide * (above > 0), minlength=len(total)) > _LONG * cut_mm
    lost = long & (total > _LEAST * wanted) & (total < 1.1 * cut_mm)
    return np.where(lost, wanted / np.maximum(total, 1e-9), 1.0)[which]


def bands(outlines: Contours, inward: Floats) -> PolygonArray:
    """Bands along outlines, `inward` mm deep at each sample and nowhere outside; they may overlap."""
    deep = inward > 0
    gap = np.diff(np.flatnonzero(deep), prepend=-2) > 1
    stretch = np.cumsum(gap | (np.diff(outlines.ring[deep], prepend=-1) != 0)) - 1
    edge = outlines.xy[deep]
    return _between(edge, edge - inward[deep, None] * outlines.normal[deep], stretch)


def lenses(heaps: Heaps, chance: Floats, *, long_mm: float, thick_mm: float, rng: Generator) -> PolygonArray:
    """Lens shapes along the surface, in what lies below it.

    Parameters
    ----------
    chance
        For each sample the chance that a lens has its middle there, (n,).
    long_mm, thick_mm
        Typical length, and thickness at least.
    """
    surface = heaps.surface
    middle = np.flatnonzero(rng.random(len(surface)) < chance)
    if len(middle) == 0:
        return geometry.empty()
    x = surface.xy[:, 0]
    half = long_mm / 2 * np.exp(rng.normal(0, 0.45, len(middle)))
    tilt, sag = rng.normal(0, 0.06, len(middle)), rng.uniform(0.3, 0.6, len(middle))
    thick = thick_mm * rng.uniform(1.05, 1.7, len(middle)) / 2
    at = np.clip(x[middle, None] + half[:, None] * _LENS, *_run_ends(surface, middle))
    line = _height(surface, at, middle) - (sag * heaps.below[middle])[:, None] + (tilt * half)[:, None] * _LENS
    swell = thick[:, None] * (1 - _LENS**2) ** 0.4
    drawn = np.concatenate([np.dstack([at, line - swell]), np.dstack([at, line + swell])[:, ::-1]], axis=1)
    return geometry.parts(shapely.make_valid(shapely.polygons(drawn)))


def _between(one: Floats, other: Floats, stretch: Indices) -> PolygonArray:
    """Polygons that run along one edge and back along the other, one a stretch of two samples or more."""
    count = np.bincount(stretch) if len(stretch) else np.zeros(0, dtype=np.int64)
    long = count[stretch] > 1
    one, other, stretch = one[long], other[long], stretch[long]
    if len(stretch) == 0:
        return geometry.empty()
    stretch = np.unique(stretch, return_inverse=True)[1]
    order = np.lexsort((np.concatenate([np.arange(len(one)), -np.arange(len(one))]),
                        np.repeat([0, 1], len(one)), np.tile(stretch, 2)))  # fmt: skip
    xy, whose = np.concatenate([one, other])[order], np.tile(stretch, 2)[order]
    found = shapely.polygons(shapely.linearrings(xy, indices=whose))
    return geometry.parts(shapely.make_valid(found))


def _run_ends(surface: Surfaces, which: Indices) -> tuple[Floats, Floats]:
    first = np.flatnonzero(np.diff(surface.run, prepend=-1))
    last = np.append(first[1:], len(surface)) - 1
    run = surface.run[which]
    return surface.xy[first[run], 0][:, None], surface.xy[last[run], 0][:, None]


def _height(surface: Surfaces, x: Floats, which: Indices) -> Floats:
    """The height of the run of each of `which` at the x of its row; same shape as `x`."""
    far = float(np.ptp(surface.xy[:, 0])) + 1
    start = float(surface.xy[:, 0].min())
    along = surface.run * far + surface.xy[:, 0] - start
    return np.interp(surface.run[which][:, None] * far + x - start, along, surface.xy[:, 1])
