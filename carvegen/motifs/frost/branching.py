"""How crystals branch: where, at which angle, how long and how thick the side-branches are meant to be."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.frost.arms import Arms, Crystals

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["OFF_LATTICE", "SIXTY", "TURNED", "BranchingHabit", "airiness", "branches", "knobs", "radius_at"]

SIXTY = np.pi / 3  #: between arm and branch: ice is six-fold (source: libbrecht-2005)
OFF_LATTICE = np.radians(3.0)  #: how far a branch may stand off it
TURNED = 2.6  #: within so many clearances a first arm turns from square to the edge to its crystal's axis
_SWEEP = 0.015  #: by how much side-branches sweep unlike their neighbours, radians per mm, curve 1
_FLARE = 0.07  #: by so many mm for each mm nearer to the foot, on either side
_PLATES = 0.12  #: share of tips that end in a plate
_GAPS = 0.06  #: chance that an arm stays bare for a while
_STUBS = 0.1  #: share of side-branches that stop early
_TIGHT_MM = 18.0  #: a curve of this radius is tight: the branches inside it are fewer and shorter
_THINNED, _SWELL_MM = 0.35, 15.0  #: arms thin by up to this share of what they are above the least, so far apart


@dataclass(frozen=True, kw_only=True)
class BranchingHabit:
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


def radius_at(habit: BranchingHabit, arms: Arms, which: Indices, along: Floats, length: Floats) -> Floats:
    """Radius of arms at `along`, if they are `length` long: the longer the arm, the thicker at the same place."""
    share = np.clip(1 - along / np.maximum(length, 1e-9), 0, 1)
    most = np.where(arms.end[which] > 0, np.inf, 0.11 * length)
    more = np.clip(np.minimum(arms.root[which] - habit.least, most), 0, None)
    thin = _THINNED * (1 + np.sin(arms.phase[which] + 2 * np.pi * along / _SWELL_MM)) / 2
    flare = _FLARE * np.clip(habit.apart - along, 0, None) * (habit.flare & (arms.parent[which] < 0))
    return np.asarray(habit.least + more * share * (1 - thin) + arms.end[which] * (1 - share) + flare)


def branches(
    habit: BranchingHabit, crystals: Crystals, arms: Arms, mothers: Indices, rng: Generator, *, side: Indices
) -> tuple[Arms, Floats]:
    """Branches from the tips of `mothers`, left (1) or right (-1), and how far along the next one will spring.

    There are none where they would be too short. On the inner side of a curve they are fewer and shorter.
    """
    count = len(mothers)
    inner = np.tanh(_TIGHT_MM * arms.bending(mothers) * side)  # 1: well inside a tight curve, -1: outside
    planned, plume = _planned(habit, arms, mothers, inner, rng)
    order = arms.order[mothers] + np.where(plume, 0, 1)
    radius = radius_at(habit, arms, mothers, arms.length[mothers], arms.planned[mothers])
    root = habit.least + np.minimum(0.8 * (radius - habit.least), rng.uniform(0.01, 0.055, count) * planned)
    apart = spacing(habit, planned * arms.airy[mothers], root, rng) * (1 + 0.5 * np.clip(inner, 0, 1))
    curl, coil = _curl(habit, crystals.sweep[arms.crystal[mothers]], side, np.where(plume, planned, 0.0), rng)
    airy = airiness(count, rng)
    born = Arms(
        crystal=arms.crystal[mothers],
        parent=mothers,
        side=side,
        order=order,
        sprung_at=arms.length[mothers],
        turn=arms.own_turn(mothers) + side * SIXTY + OFF_LATTICE * rng.uniform(-1, 1, count),
        curl=curl,
        coil=coil,
        planned=planned,
        root=root,
        end=np.zeros(count),
        phase=rng.uniform(0, 2 * np.pi, count),
        airy=airy,
        shy=1 + np.minimum(rng.gamma(1.0, 0.1, count), 0.4),
        chance=np.maximum(arms.chance[mothers], rng.random(count) ** 2),
        pace=np.where(plume, arms.pace[mothers], order + 1),
        knob=knobs(habit, count, rng),
        length=np.zeros(count),
        tip=arms.tip[mothers],
        sprouts_at=(radius + habit.apart)[:, None] + habit.apart * rng.uniform(0.0, 1.6, (count, 2)),
        live=np.ones(count, dtype=bool),
    )
    return born.chosen(planned > habit.shortest + radius), apart


def airiness(count: int, rng: Generator) -> Floats:
    """How far apart arms branch, beside the length of their branches: some are combs, some ferns."""
    return np.asarray(np.exp(rng.normal(np.log(0.12), 0.5, count)))


def knobs(habit: BranchingHabit, count: int, rng: Generator) -> Floats:
    """By how much broader tips end, mm: most as needles, some in a small plate, where there is room."""
    return np.where(rng.random(count) < _PLATES, habit.least * rng.uniform(0.3, 1.0, count), 0.0)


def spacing(habit: BranchingHabit, airy_mm: Floats, root: Floats, rng: Generator) -> Floats:
    """How far along an arm its next branch springs: unevenly, but so that parallel branches keep the land."""
    close = 1.03 * (habit.apart + 2 * (root - habit.least)) / np.sin(SIXTY)
    looseness = 0.12 + 2.0 * (1 - habit.branching)
    gap = np.where(rng.random(len(root)) < _GAPS, rng.uniform(1.0, 4.0, len(root)), 0.0)
    uneven = 1 + looseness * rng.gamma(0.8, 1 / 0.8, len(root)) + gap
    return np.asarray(np.maximum(close, airy_mm * rng.uniform(0.75, 1.25, len(root))) * uneven)


def _planned(habit: BranchingHabit, arms: Arms, mothers: Indices, inner: Floats, rng: Generator) -> tuple[Floats, Mask]:
    """How long branches would grow: within a feather's outline that swells and ebbs; a few become feathers."""
    count = len(mothers)
    along, whole = arms.length[mothers], arms.planned[mothers]
    left, share = whole - along, along / whole
    outline = 1.25 * habit.breadth * whole * (share + 0.06) ** 0.45 * (1 - share) ** 0.9
    slow = 0.22 * np.sin(2.3 * arms.phase[mothers] + 2 * np.pi * along / np.maximum(0.45 * whole, 6.0))
    uneven = np.exp(slow + rng.normal(0.0, 0.13, count) - 0.45 * inner)
    uneven *= np.where(rng.random(count) < _STUBS, rng.uniform(0.25, 0.6, count), 1.0)
    plume = (rng.random(count) < 0.1 * habit.plumes) & (arms.order[mothers] == 0) & (share < 0.7) & (inner < 0.4)
    grand = left * rng.uniform(0.5, 0.9, count)
    return np.where(plume, grand, np.minimum(outline * uneven, left)), plume


def _curl(
    habit: BranchingHabit, sweep: Floats, side: Indices, plume_mm: Floats, rng: Generator
) -> tuple[Floats, Floats]:
    """Side-branches of one side sweep alike, each a little its own way; a plume bends back beside its feather or off.

    Returns how fast they turn at their roots and how much faster further on.
    """
    count, room = len(sweep), np.maximum(plume_mm, 10.0)
    stray = habit.curve * _SWEEP * rng.normal(0, 1, count)
    own = habit.curve * rng.uniform(-1.6, 0.8, count) * side / room
    return np.where(plume_mm > 0, 0.5 * own, stray - side * sweep), np.where(plume_mm > 0, own / room, 0.0)
