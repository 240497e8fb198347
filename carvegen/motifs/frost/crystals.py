"""Growing crystals: every tip steps at once, branches at sixty degrees, and stops before it comes too near.

The grammar is a parametric L-system whose apices ask their surroundings before they grow (source:
prusinkiewicz-lindenmayer; for the question source: mech-prusinkiewicz). Changed here: branches stand at sixty degrees
to the arm they spring from, which curls as it grows, and sweep towards its tip; tips compete for space (source:
runions-2007), but
for room with a land round it instead of attraction points; of tips that meet in one round the larger arm wins.
"""

from __future__ import annotations

from dataclasses import replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

from carvegen.motifs.frost.arms import Arms, Crystals, Trail
from carvegen.motifs.frost.branching import (
    TURNED,
    BranchingHabit,
    branches,
    radius_at,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Thicket"]

_JUNCTION = 2.2  #: arms that spring from one another may be near so many clearances round the fork
_OWN = 6.0  #: and an arm near itself so far back: it curls no more tightly
_FOOT = 3.0  #: and an arm near the edge so many clearances from its foot
_UPRIGHT = 0.8  #: for so many clearances a first arm stays square to the edge
_MOST_ORDERS = 3
_NO_PATHS: Mapping[int, Floats] = MappingProxyType({})
_STOUT = 2.0  #: points so many times as thick as the thinnest arm are looked for by themselves


class Thicket:
    """Crystals while they grow."""

    def __init__(
        self, habit: BranchingHabit, walls: Floats, rng: Generator, *, wall_gap: float, open_feet: bool
    ) -> None:
        self.habit, self.rng, self.open_feet = habit, rng, open_feet
        self.trail = Trail(_STOUT * habit.least)
        self.crystals, self.arms = Crystals.none(), Arms.none()
        self._paths: dict[int, Floats] = {}
        self._wall(walls, wall_gap)

    def grow(self, crystals: Crystals, arms: Arms, paths: Mapping[int, Floats] = _NO_PATHS) -> None:
        """Sow first arms, numbered from 0 like their crystals, and let them and their branches grow up.

        Parameters
        ----------
        paths
            Points, (n, 2), a step apart, along which some of the arms grow whatever is in their way, by number.
        """
        fresh = len(self.arms) + np.arange(len(arms))
        self._paths |= {int(fresh[k]): path for k, path in paths.items()}
        mothers = np.where(arms.parent < 0, -1, arms.parent + len(self.arms))
        self.arms = self.arms.with_more(replace(arms, crystal=arms.crystal + len(self.crystals), parent=mothers))
        self.crystals = self.crystals.with_more(crystals)
        fits = self._fits(fresh, arms.tip, np.zeros(len(fresh))) | self._led(fresh)
        self.arms.live[fresh[~fits]] = False
        self._mark(fresh[fits])
        self._lay(list(self._paths)[-len(paths) :] if paths else [])
        turn = 0
        while self.arms.live.any():
            self._step(np.flatnonzero(self.arms.live & (turn % self.arms.pace == 0)))
            turn += 1

    def room(self, xy: Floats) -> Floats:
        """How far points are from the nearest arm or wall, its middle; mm, (n,)."""
        return np.asarray(cKDTree(self.trail.xy[: self.trail.count]).query(xy)[0])

    def _wall(self, xy: Floats, gap: float) -> None:
        none = np.full(len(xy), -1)
        self.trail.add(xy, none, np.zeros(len(xy)), np.full(len(xy), gap - self.habit.land))

    def _step(self, who: Indices) -> None:
        arms = self.arms
        heading = self._heading(who)
        ahead = np.round(arms.tip[who] + self.habit.step * np.column_stack([np.cos(heading), np.sin(heading)]), 3)
        led = self._led(who)
        self._follow(who, ahead, np.flatnonzero(led))
        length = arms.length[who] + self.habit.step
        from_foot = np.hypot(*(ahead - self.crystals.foot[arms.crystal[who]]).T)
        fits = (length <= arms.planned[who]) & (from_foot <= self.habit.reach)
        fits &= self.habit.density(ahead) >= arms.chance[who]
        fits[fits] = self._fits(who[fits], ahead[fits], length[fits])
        fits |= led & (length <= arms.planned[who])
        arms.live[who[~fits]] = False
        grown = who[fits]
        arms.tip[grown], arms.length[grown] = ahead[fits], length[fits]
        self._mark(grown[~led[fits]])
        due = (arms.length[grown, None] >= arms.sprouts_at[grown]) & (arms.order[grown] < _MOST_ORDERS)[:, None]
        who, side = np.nonzero(due)
        self._sprout(grown[who], side)

    def _lay(self, who: list[int]) -> None:
        """Let all others keep clear of led arms from the beginning."""
        for arm in who:
            xy = self._paths[arm][1:]
            along: Floats = self.habit.step * np.arange(1.0, len(xy) + 1)
            of = np.full(len(xy), arm)
            self.trail.add(xy, of, along, self._radius(of, along))

    def _led(self, who: Indices) -> Mask:
        """Which arms grow along a path."""
        return np.isin(who, list(self._paths)) if self._paths else np.zeros(len(who), dtype=bool)

    def _follow(self, who: Indices, ahead: Floats, led: Indices) -> None:
        """Put the next points of led arms into `ahead`, and turn these arms as their paths turn."""
        arms, crystals = self.arms, self.crystals
        for k in led.tolist():
            arm, path = who[k], self._paths[int(who[k])]
            ahead[k] = path[min(round(float(arms.length[arm]) / self.habit.step) + 1, len(path) - 1)]
            along = ahead[k] - arms.tip[arm]
            lattice = crystals.turned_at(arms.crystal[[arm]], arms.tip[[arm]])[0]
            arms.turn[arm] = np.arctan2(along[1], along[0]) - lattice

    def _heading(self, who: Indices) -> Floats:
        """Where arms grow next: as they curl; a first arm leaves the edge square, so that no thin wedge stands."""
        arms, crystals = self.arms, self.crystals
        crystal = arms.crystal[who]
        risen = arms.length[who] / self.habit.apart
        upright = np.clip((TURNED - risen) / (TURNED - _UPRIGHT), 0, 1) * self._stands(who)
        lattice = crystals.turned_at(crystal, arms.tip[who]) + arms.own_turn(who)
        return np.asarray(lattice - upright * (crystals.axis[crystal] - crystals.square[crystal]))

    def _stands(self, who: Indices) -> Mask:
        """Whether arms stand on an edge."""
        return np.asarray((self.arms.parent[who] < 0) & ~self.crystals.loose[self.arms.crystal[who]])

    def _mark(self, who: Indices) -> None:
        arms = self.arms
        self.trail.add(arms.tip[who], who, arms.length[who], self._radius(who, arms.length[who]))

    def _radius(self, who: Indices, along: Floats) -> Floats:
        return radius_at(self.habit, self.arms, who, along, self.arms.planned[who])

    def _fits(self, who: Indices, xy: Floats, length: Floats) -> Mask:
        """Whether arms may put a point at `xy`: clear of all there is, and of the better of those that ask."""
        fits = np.ones(len(who), dtype=bool)
        radius = self._radius(who, length)
        stout = radius >= self.trail.stout
        for lot in (np.flatnonzero(stout), np.flatnonzero(~stout)):
            if len(lot):
                fits[lot[self._hindered(who[lot], xy[lot], length[lot], radius[lot])]] = False
        asking = np.flatnonzero(fits)
        fits[asking[self._beaten(who[asking], xy[asking], length[asking], radius[asking])]] = False
        return fits

    def _hindered(self, who: Indices, xy: Floats, length: Floats, radius: Floats) -> Indices:
        arms, trail = self.arms, self.trail
        widest, shy = radius.max(), arms.shy[who].max()
        place, point, apart = trail.near(xy, lambda other: float(self._clearance(widest, other, shy)))
        near = apart < self._clearance(radius[place], trail.radius[point], arms.shy[who[place]])
        place, point = place[near], point[near]
        allowed = self._kin(who[place], length[place], trail.arm[point], trail.along[point])
        if self.open_feet:
            allowed |= self._at_foot(who[place], xy[place], length[place], point)
        return place[~allowed]

    def _beaten(self, who: Indices, xy: Floats, length: Floats, radius: Floats) -> Indices:
        arms = self.arms
        if len(who) < 2:
            return np.empty(0, dtype=np.int64)
        widest = radius.max()
        i, j = cKDTree(xy).query_pairs(float(self._clearance(widest, widest, 1.0)), output_type="ndarray").T
        near = np.hypot(*(xy[i] - xy[j]).T) < self._clearance(radius[i], radius[j], 1.0)
        i, j = i[near], j[near]
        strange = ~self._kin(who[i], length[i], who[j], length[j])
        i, j = i[strange], j[strange]
        weight = arms.planned[who] - 1e3 * arms.order[who]
        return np.asarray(np.where((weight[i] > weight[j]) | ((weight[i] == weight[j]) & (who[i] < who[j])), j, i))

    def _clearance(self, one: Floats | float, other: Floats | float, shy: Floats | float) -> Floats:
        """How far apart points must be so that the arms through them, between points too, keep the land."""
        return np.asarray(np.hypot(np.asarray(one) + other + self.habit.land * np.asarray(shy), self.habit.step / 2))

    def _kin(self, who: Indices, length: Floats, other: Indices, along: Floats) -> Mask:
        """Whether a point of one arm may be near one of another: the same arm, or both near their fork.

        There the land between them widens all the way out, so filling it from the bottom until it is wide
        enough leaves no neck.
        """
        arms = self.arms
        fork = _JUNCTION * (self.habit.apart + arms.root[who] + np.where(other < 0, 0, arms.root[other]))
        child = (arms.parent[who] == other) & (length < fork) & (np.abs(along - arms.sprung_at[who]) < fork)
        mother = (arms.parent[other] == who) & (along < fork) & (np.abs(length - arms.sprung_at[other]) < fork)
        same_mother = (arms.parent[who] == arms.parent[other]) & (arms.parent[who] >= 0)
        across = same_mother & (arms.side[who] != arms.side[other]) & (length < fork) & (along < fork)
        itself = (who == other) & (np.abs(length - along) < _OWN * (self.habit.apart + arms.root[who]))
        return np.asarray(itself | ((other >= 0) & (child | mother | across)))

    def _at_foot(self, who: Indices, xy: Floats, length: Floats, point: Indices) -> Mask:
        """Whether a point of the edge is near only because the arm has just left it there: not if it lies ahead."""
        arms, crystals, wall = self.arms, self.crystals, self.trail.xy[point]
        crystal = arms.crystal[who]
        far = _FOOT * (self.habit.apart + arms.root[who])
        from_foot = np.hypot(*(wall - crystals.foot[crystal]).T)
        square = np.column_stack([np.cos(crystals.square[crystal]), np.sin(crystals.square[crystal])])
        ahead = ((wall - xy) * square).sum(axis=1) > self.habit.least
        first = self._stands(who) & (self.trail.arm[point] < 0)
        return np.asarray(first & ~ahead & (length < far) & (from_foot < far))

    def _sprout(self, mothers: Indices, side: Indices) -> None:
        born, apart = branches(self.habit, self.crystals, self.arms, mothers, self.rng, side=1 - 2 * side)
        self.arms.sprouts_at[mothers, side] += apart
        self.arms = self.arms.with_more(born)
