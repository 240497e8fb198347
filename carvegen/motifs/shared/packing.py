"""Discs that keep a gap: big first, each shrunk to the room that is left.

A hard-core process with unequal radii (Matérn's third kind, "sequential"; source: matern-1960): every disc yields
to those placed before it. Flakes drawn inside their discs then keep the gap by construction.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Discs", "packed"]


@dataclass(frozen=True)
class Discs:
    """Discs of a family: those of one family may overlap one another. Family -1 is nobody's."""

    xy: Floats  #: centres, mm, (n, 2)
    radius: Floats  #: mm, (n,); 0 = not placed
    family: Indices  #: (n,)

    def __len__(self) -> int:
        return len(self.radius)

    def chosen(self, which: Indices | Mask) -> Discs:
        """Some of the discs, in the order of `which` (indices or a mask)."""
        return Discs(self.xy[which], self.radius[which], self.family[which])

    def with_more(self, other: Discs) -> Discs:
        """These discs, then the others."""
        return Discs(
            np.concatenate([self.xy, other.xy]),
            np.concatenate([self.radius, other.radius]),
            np.concatenate([self.family, other.family]),
        )


def packed(wanted: Discs, placed: Discs, *, gap: float, least: float) -> Floats:
    """Radii at which the wanted discs fit beside the placed ones and one another; 0 where none fits.

    Discs of different families end at least `gap` apart, edge to edge. Bigger discs go first, in the order
    given among those that meet; one that is in the way of a smaller one makes it shrink, down to `least`.

    The discs are taken in classes of halving radius: neighbours of one class are found by a k-d tree, and
    its winners (those that no better disc meets) are settled round by round, all at once.
    """
    radius = wanted.radius.copy()
    settled = np.zeros(len(wanted), dtype=bool)
    radius[radius < least] = 0
    top = float(radius.max(initial=0))
    while top >= least:
        low = top / 2 if top / 2 >= least else 0.0
        _shrink(wanted, radius, _in_class(radius, settled, low, top), placed, gap)
        radius[radius < least] = 0
        winners = _settle(wanted, radius, _in_class(radius, settled, low, top), gap=gap, low=max(low, least))
        settled[winners] = True
        placed = placed.with_more(Discs(wanted.xy[winners], radius[winners], wanted.family[winners]))
        radius[~settled & (radius < least)] = 0
        top = top / 2
    return np.where(settled, radius, 0.0)


def _in_class(radius: Floats, settled: Indices, low: float, top: float) -> Indices:
    return np.flatnonzero(~settled & (radius > low) & (radius <= top))


def _shrink(wanted: Discs, radius: Floats, live: Indices, placed: Discs, gap: float) -> None:
    """Shrink the live discs to what the placed ones leave, class by class of the placed."""
    if len(live) == 0:
        return
    tree = cKDTree(wanted.xy[live])
    reach = float(radius[live].max()) + gap
    for chosen in _by_class(placed.radius):
        there = placed.chosen(chosen)
        far = reach + float(there.radius.max())
        pairs = tree.sparse_distance_matrix(cKDTree(there.xy), far, output_type="ndarray")
        me, other = live[pairs["i"]], pairs["j"]
        strange = ~_related(wanted.family[me], there.family[other])
        room = pairs["v"] - there.radius[other] - gap
        np.minimum.at(radius, me[strange], room[strange])


def _settle(wanted: Discs, radius: Floats, live: Indices, *, gap: float, low: float) -> Indices:
    """The live discs that win their place; the others shrink, and leave when they fall below `low`."""
    tree = cKDTree(wanted.xy[live]) if len(live) else None
    if tree is None:
        return live
    near = live[tree.query_pairs(2 * float(radius[live].max()) + gap, output_type="ndarray")]
    first, second = near.min(axis=1), near.max(axis=1)
    strange = ~_related(wanted.family[first], wanted.family[second])
    first, second = first[strange], second[strange]
    apart = np.hypot(*(wanted.xy[first] - wanted.xy[second]).T)
    open_, won = np.zeros(len(radius), dtype=bool), np.zeros(len(radius), dtype=bool)
    open_[live] = True
    while open_.any():
        meet = open_[first] & open_[second] & (apart < radius[first] + radius[second] + gap)
        beaten = np.zeros(len(radius), dtype=bool)
        beaten[second[meet]] = True
        new = open_ & ~beaten
        won |= new
        open_ &= ~new
        yields = (new[first] & open_[second]) | (new[second] & open_[first])
        winner = np.where(new[first], first, second)[yields]
        loser = np.where(new[first], second, first)[yields]
        np.minimum.at(radius, loser, apart[yields] - radius[winner] - gap)
        open_ &= radius >= low
    return np.flatnonzero(won)


def _by_class(radius: Floats) -> list[Indices]:
    if len(radius) == 0:
        return []
    octave = np.floor(np.log2(radius)).astype(int)
    return [np.flatnonzero(octave == value) for value in np.unique(octave)]


def _related(family: Indices, other: Indices) -> Mask:
    return np.asarray((family == other) & (family >= 0))
