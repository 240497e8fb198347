"""How crystals branch: where, at which angle, how long and how thick the side-branches are meant to be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.nature.arms import Arms, Crystals

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["OFF_LATTICE", "SIXTY", "TURNED", "Habit", "branches", "knobs", "radius_at", "spacing"]

SIXTY = np.pi / 3  #: between arm and branch: ice is six-fold (K. Libbrecht 2005, Rep. Prog. Phys. 68:855)
OFF_LATTICE = np.radians(3.0)  #: how far a branch may stand off it
TURNED = 2.4  #: within so many clearances a first arm turns from square to the edge to its crystal's axis
_SWEEP = 0.03  #: by how much side-branches sweep unlike their neighbours, radians per mm, curve 1
_FLARE = 0.07  #: by so many mm for each mm nearer to the foot, on either side
_PLATES = 0.3  #: share of tips that end in a plate
_GAPS = 0.14  #: chance that an arm stays bare for a while
_STUBS = 0.25  #: share of side-branches that stop early
_BOTH_SIDES = 0.7  #: chance that branches spring on both sides at once


@dataclass(frozen=True, kw_only=True)
class Habit:
    """How the crystals branch, and what they keep; mm and shares."""

    land: float  #: between any two arms, edge to edge
    least: float  #: smallest radius of an arm
    step: float  #: of a tip in one round
    branching: float  #: 0 bare needles … 1 branches as close as the land allows
    breadth: float  #: length of side-branches over what is left of the arm
    plumes: float  #: 0…1: how often a branch becomes as large as its feather
    curve: float  #: 0…1: how far plumes bend off
    flare: bool  #: whether first arms widen to their feet, so that the land's corners there are blunt
    reach: float  #: no arm goes further from its crystal's foot
    density: Callable[[Floats], Floats]  #: share of the motif wanted at points

    @property
    def apart(self) -> float:
        """Distance of the axes of two thinnest arms."""
        return 2 * self.least + self.land

    @property
    def shortest(self) -> float:
        """Arms that stay shorter are left out: their axils would be filled to the tip."""
        return 1.2 * self.apart + self.least


def radius_at(habit: Habit, arms: Arms, which: Indices, along: Floats, length: Floats) -> Floats:
    """Radius of arms at `along`, if they are `length` long: the longer the arm, the thicker at the same place."""
    share = np.clip(1 - along / np.maximum(length, 1e-9), 0, 1)
    more = np.clip(np.minimum(arms.root[which] - habit.least, 0.11 * length), 0, None)
    flare = _FLARE * np.clip(habit.apart - along, 0, None) * (habit.flare & (arms.parent[which] < 0))
    return np.asarray(habit.least + more * share**0.8 + flare)


def branches(habit: Habit, crystals: Crystals, arms: Arms, mothers: Indices, rng: Generator) -> Arms:
    """Branches from the tips of `mothers`, on one side or on both; none where they would be too short."""
    both = rng.random(len(mothers)) < _BOTH_SIDES
    side = np.where(rng.random(len(mothers)) < 0.5, 1, -1)
    mothers, side = np.concatenate([mothers, mothers[both]]), np.concatenate([side, -side[both]])
    count = len(mothers)
    planned, plume = _planned(habit, arms, mothers, rng)
    order = arms.order[mothers] + np.where(plume, 0, 1)
    radius = radius_at(habit, arms, mothers, arms.length[mothers], arms.planned[mothers])
    born = Arms(
        crystal=arms.crystal[mothers],
        parent=mothers,
        side=side,
        order=order,
        sprung_at=arms.length[mothers],
        turn=arms.own_turn(mothers) + side * SIXTY + OFF_LATTICE * rng.uniform(-1, 1, count),
        curl=_curl(habit, crystals.sweep[arms.crystal[mothers]] * -side, plume, planned, rng),
        planned=planned,
        root=habit.least + np.minimum(0.85 * (radius - habit.least), 0.06 * planned),
        shy=1 + rng.gamma(1.0, 0.2, count),
        chance=np.maximum(arms.chance[mothers], rng.random(count) ** 2),
        pace=np.where(plume, arms.pace[mothers], order + 1),
        knob=knobs(habit, count, rng),
        length=np.zeros(count),
        tip=arms.tip[mothers],
        sprouts_at=radius + habit.apart + spacing(habit, count, rng) * rng.uniform(0.3, 1.0, count),
        live=np.ones(count, dtype=bool),
    )
    return born.chosen(planned > habit.shortest + radius)


def knobs(habit: Habit, count: int, rng: Generator) -> Floats:
    """By how much broader tips end, mm: most as needles, some in a small plate, where there is room."""
    return np.where(rng.random(count) < _PLATES, habit.least * rng.uniform(0.5, 1.6, count), 0.0)


def spacing(habit: Habit, count: int, rng: Generator) -> Floats:
    """How far along an arm its next branch springs: unevenly, but so that parallel branches keep the land."""
    close = 1.03 * habit.apart / np.sin(SIXTY)
    looseness = 0.15 + 2.0 * (1 - habit.branching)
    gap = np.where(rng.random(count) < _GAPS, rng.uniform(1.0, 4.0, count), 0.0)
    return np.asarray(close * (1 + looseness * rng.gamma(0.8, 1 / 0.8, count) + gap))


def _planned(habit: Habit, arms: Arms, mothers: Indices, rng: Generator) -> tuple[Floats, Mask]:
    """How long branches would grow: within a feather's outline, unevenly; a few become feathers."""
    count = len(mothers)
    left = arms.planned[mothers] - arms.length[mothers]
    share = arms.length[mothers] / arms.planned[mothers]
    outline = habit.breadth * arms.planned[mothers] * (share + 0.05) ** 0.35 * (1 - share) ** 0.75
    uneven = np.exp(rng.normal(0.0, 0.5, count))
    uneven *= np.where(rng.random(count) < _STUBS, rng.uniform(0.25, 0.6, count), 1.0)
    plume = (rng.random(count) < 0.2 * habit.plumes) & (arms.order[mothers] == 0) & (share < 0.7)
    grand = left * rng.uniform(0.55, 0.95, count)
    return np.where(plume, grand, np.minimum(outline * uneven, left)), plume


def _curl(habit: Habit, alike: Floats, plume: Mask, planned: Floats, rng: Generator) -> Floats:
    """Side-branches of one side sweep alike, each a little its own way; a plume bends its own way."""
    stray = habit.curve * _SWEEP * rng.normal(0, 1, len(alike))
    own = habit.curve * SIXTY * rng.uniform(-1, 1, len(alike)) / np.maximum(planned, 10.0)
    return np.where(plume, own, alike + stray)
