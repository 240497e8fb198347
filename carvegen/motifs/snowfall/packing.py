"""Flakes in their places: packed with their gaps, clear of the edges or cut off by them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.snowfall.falling import clumping_chance, fading, falling, larger_within
from carvegen.motifs.snowfall.sky import FILLED, radii
from carvegen.nature.aggregates import aggregated
from carvegen.nature.packing import Discs, packed

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Mask
    from carvegen.motifs.snowfall.sky import Sky

__all__ = ["cover", "fallen", "none"]

_UNEVEN_GAPS = 0.7  #: shape of the gamma distribution of what flakes keep beyond the land: most little, some much
_WORTH_HIDING = 1.6  #: smallest flakes: smaller ones are not cut across by what is kept clear
_HEARTY = 0.9  #: how much the heart of a flurry attracts large flakes; 0: not at all
_SPREAD = 1.4  #: a clump's disc beside that of a flake with as much in it
_SHRINKS = 0.55  #: a flake that must shrink further, to find room, falls elsewhere


@dataclass(frozen=True, eq=False)
class _Drops:
    """What was drawn for each flake that falls; a disc's family is its number here."""

    radius: Floats  #: wished for, mm
    halo: Floats  #: kept beyond the land from all others, so that no two gaps are alike, mm
    hides: Mask  #: whether what is kept clear may cut across it
    stays: Mask  #: whether it falls at all: the others only keep room free, so that flurries fade instead of fill


def none() -> Discs:
    """No discs at all."""
    return Discs(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64))


def cover(discs: Discs) -> float:
    """Rough area of the flakes in the discs, mm²."""
    return FILLED * np.pi * float((discs.radius**2).sum())


def fallen(sky: Sky, supply: float, rng: Generator, *, roomy: float) -> Discs:
    """Discs in their places: first those that become clumps, and the flakes in each of these, then the rest."""
    places, sizes, growth = rng.spawn(3)
    xy, rise = falling(sky, supply, places)
    here = shapely.contains_xy(sky.area, xy[:, 0], xy[:, 1])
    xy, rise = xy[here], rise[here]
    radius = larger_within(radii(sky, len(xy), sizes), _HEARTY * sky.uneven * rise, sizes)
    order = np.argsort(-radius * np.exp(sizes.normal(0, 0.25, len(xy))), kind="stable")
    drops = _Drops(
        radius=radius[order],
        halo=roomy * sky.gap * sizes.gamma(_UNEVEN_GAPS, 1 / _UNEVEN_GAPS, len(xy)),
        hides=(sizes.random(len(xy)) < sky.settings.hidden) & (radius[order] > _WORTH_HIDING * sky.least),
        stays=(sizes.random(len(xy)) < fading(sky, xy, rise, roomy, sizes))[order],
    )
    clumped = growth.random(len(xy)) < clumping_chance(sky, drops.radius)
    drops.radius[clumped] *= _SPREAD
    wanted = _fitted(sky, Discs(np.round(xy[order], 3), drops.radius, np.arange(len(xy))), drops)
    seeds = clumped[wanted.family]
    clumps = _packed(sky, wanted.chosen(seeds), none(), drops)
    placed = aggregated(clumps, least=sky.least, cut=sky.limits.cut_mm, rng=growth)
    flakes = placed.with_more(_packed(sky, wanted.chosen(~seeds), placed, drops))
    return flakes.chosen(drops.stays[flakes.family])


def _packed(sky: Sky, wanted: Discs, placed: Discs, drops: _Drops) -> Discs:
    """The discs that find room, with their halo; those that had to shrink too far are left out as well."""
    halo = drops.halo[wanted.family]
    roomy = Discs(wanted.xy, wanted.radius + halo, wanted.family)
    radius = packed(roomy, placed, gap=sky.gap, least=sky.least) - halo
    fits = (radius >= sky.least) & (radius >= _SHRINKS * drops.radius[wanted.family])
    found = Discs(wanted.xy, radius, wanted.family).chosen(fits)
    return found.chosen(_stands(sky, found, drops))


def _fitted(sky: Sky, discs: Discs, drops: _Drops) -> Discs:
    """Discs shrunk to what the area's edge leaves; those that would be too small are left out.

    Whole flakes end at the edge. Flakes that may be cut off either lie well over the edge (centre within
    half a radius of it: the edge then cuts them at a blunt angle) or leave a full land beside it.
    """
    radius = discs.radius.copy()
    for away, over in _edges(sky, discs, drops):
        room = away - sky.beside - drops.halo[discs.family] / 2
        radius = np.where(over & (away <= radius / 2), radius, np.minimum(radius, room))
    fitted = Discs(discs.xy, radius, discs.family).chosen(radius >= sky.least)
    return fitted.chosen(_stands(sky, fitted, drops))


def _stands(sky: Sky, discs: Discs, drops: _Drops) -> Mask:
    """Whether discs keep clear of each edge, or lie well over it where it may cut them."""
    stands = np.ones(len(discs), dtype=bool)
    for away, over in _edges(sky, discs, drops):
        stands &= (away >= discs.radius + sky.beside) | (over & (away <= discs.radius / 2))
    return stands


def _edges(sky: Sky, discs: Discs, drops: _Drops) -> tuple[tuple[Floats, Mask], ...]:
    """How far off the window's sides and what is kept clear are, and whether these may cut across each disc."""
    across = np.full(len(discs), sky.settings.cut_at_edge)
    return (
        (sky.window.depth(discs.xy), across),
        (_distance_to_kept(sky, discs.xy), across | drops.hides[discs.family]),
    )


def _distance_to_kept(sky: Sky, xy: Floats) -> Floats:
    """How far each point is from the area's edge within the window; infinite where it is too far to matter."""
    away = np.full(len(xy), np.inf)
    outer = np.flatnonzero(~shapely.contains_xy(sky.heart, xy[:, 0], xy[:, 1]))
    if sky.kept is None or len(outer) == 0:
        return away
    (asked, _), found = sky.kept.query_nearest(geometry.dots(xy[outer]), return_distance=True, all_matches=False)
    away[outer[asked]] = found
    return away
