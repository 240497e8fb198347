"""Flakes that have stuck together: torn, lobed shapes of several flakes, each clump within one disc."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.nature.outlines import SMALLEST_REACH
from carvegen.nature.packing import Discs

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = ["MEMBER_POWER", "aggregated", "passed", "united"]

#: Members of a clump are drawn with their reach raised to this power, so that they surely meet further out.
MEMBER_POWER = 0.7

_REACH = SMALLEST_REACH**MEMBER_POWER
_MOST = 9  #: flakes in a clump
_QUADS = 4  #: round corners of an offset: few, for many shapes; they fall short by 2 % of it
_TURNS = 4  #: tries to find a place for each
_SURE = 1.05  #: chords are so much longer than the smallest cut


def aggregated(clumps: Discs, *, least: float, cut: float, rng: Generator) -> Discs:
    """Discs of the flakes that make up each clump, all inside its disc.

    Each flake sticks to one that is there already, often to the last, so that clumps grow arms and bays (large
    falling flakes are aggregates: K. Gunn & J. Marshall 1958, Journal of Meteorology 15:452; from memory). Stuck
    flakes meet along a chord of at least the smallest cut, whatever their outlines.
    """
    count = len(clumps)
    outer, radius = clumps.radius, np.zeros((count, _MOST))
    xy = np.zeros((count, _MOST, 2))
    radius[:, 0] = np.maximum(outer * rng.uniform(0.3, 0.72, count), least)
    xy[:, 0] = ((outer - radius[:, 0]) * np.sqrt(rng.random(count)))[:, None] * _ahead(rng.uniform(0, 2 * np.pi, count))
    wanted = 2 + rng.poisson(1.0 + np.log2(np.maximum(outer / least, 1.0)), count)
    last, here = np.zeros(count, dtype=np.int64), np.arange(count)
    for k in range(1, _MOST):
        earlier = np.minimum((rng.random(count) * k).astype(np.int64), last)
        mother = np.where(rng.random(count) < 0.45, last, earlier)
        mother = np.where(radius[here, mother] > 0, mother, last)
        own = np.maximum(outer * np.exp(rng.uniform(np.log(0.14), np.log(0.55), count)), least)
        away = _meeting(radius[here, mother], own, cut) * rng.uniform(0.85, 1.0, count)
        spot, fits = _spots(xy[here, mother], own, outer, away, rng)
        fits &= wanted > k
        xy[fits, k], radius[fits, k], last[fits] = spot[fits], own[fits], k
    family = np.repeat(clumps.family, _MOST)
    whole = Discs(np.round((clumps.xy[:, None] + xy).reshape(-1, 2), 3), radius.ravel(), family)
    return whole.chosen(whole.radius > 0)


def _spots(mother: Floats, own: Floats, outer: Floats, away: Floats, rng: Generator) -> tuple[Floats, Mask]:
    """Places `away` from the mothers for discs of radius `own` in the clump's disc; whether there is one."""
    spot, found = mother.copy(), np.zeros(len(own), dtype=bool)
    for _ in range(_TURNS):
        tried = mother + away[:, None] * _ahead(rng.uniform(0, 2 * np.pi, len(own)))
        fits = ~found & (np.hypot(tried[:, 0], tried[:, 1]) + own <= outer)
        spot[fits] = tried[fits]
        found |= fits
    return spot, found


def _meeting(one: Floats, other: Floats, cut: float) -> Floats:
    """How far apart two flakes may lie to meet surely along a chord of the smallest cut."""
    half = _SURE * cut / 2
    return np.asarray(sum(np.sqrt(np.clip((_REACH * radius) ** 2 - half**2, 0, None)) for radius in (one, other)))


def _ahead(angle: Floats) -> Floats:
    return np.column_stack([np.cos(angle), np.sin(angle)])


def united(shapes: PolygonArray, family: Indices, *, land: float, passes: float) -> PolygonArray:
    """One shape a family: united, inlets narrower than the land filled, tips thinner than the cut taken off.

    Filling is the morphological closing with half the land: it can't bring the shape nearer than the land
    to another that was not nearer before.
    """
    order = np.argsort(family, kind="stable")
    starts = np.flatnonzero(np.diff(family[order], prepend=-1))
    together = np.asarray(shapely.union_all(_ragged(shapes[order], starts), axis=1), dtype=object)
    closed = _offset(_offset(together, land / 2), -land / 2)
    return passed(closed, passes)


def _offset(shapes: PolygonArray, by: float) -> NDArray[np.object_]:
    return geometry.offset(shapes, by, quad_segs=_QUADS)


def _ragged(shapes: PolygonArray, starts: Indices) -> PolygonArray:
    """Rows of shapes, one a family, filled up with None."""
    sizes = np.diff(starts, append=len(shapes))
    row = np.repeat(np.arange(len(starts)), sizes)
    column = np.arange(len(shapes)) - np.repeat(starts, sizes)
    table = np.full((len(starts), int(sizes.max(initial=1))), None, dtype=object)
    table[row, column] = shapes
    return table


def passed(shapes: PolygonArray, passes: float) -> PolygonArray:
    """The largest piece of each shape, holes filled, that a round cutter of radius `passes` passes through.

    Pieces are told apart where the cutter's middle can't pass: what only its rim would join stays narrow.
    """
    whole = geometry.filled(geometry.parts(shapes))  # a thin side of a ring, taken off, would leave a bay
    pieces, whose = shapely.get_parts(geometry.offset(whole, -passes), return_index=True)
    order = np.lexsort((-shapely.area(pieces), whose))
    first = order[np.flatnonzero(np.diff(whose[order], prepend=-1))]
    return geometry.filled(geometry.parts(geometry.offset(pieces[first], passes)))
