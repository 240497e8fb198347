"""Where crystals start along an edge: feet square to it, lattices that lean and bend, first arms."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.nature.arms import Arms, Crystals
from carvegen.nature.fields import noise_at
from carvegen.nature.sprouts import TURNED, knobs

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices
    from carvegen.nature.contours import Contour
    from carvegen.nature.sprouts import Habit

__all__ = ["Sowing", "sown"]

_TURN_MOST = np.radians(110)  #: by which the lattice of a crystal turns on its way, curve 1
_LEAN_MOST = np.radians(60)  #: from square to the edge, splay 1
_TIGHT_MM = 12.0  #: shorter arms bend no more tightly than one of this length


@dataclass(frozen=True, kw_only=True)
class Sowing:
    """What all crystals of an edge share."""

    habit: Habit
    stem_mm: float  #: breadth of a large stem at its foot
    patch_mm: float  #: neighbours within so far lean alike
    inset_mm: float | None  #: what lies between the edge and the feet; None: they stand on the edge


def sown(
    sowing: Sowing, edge: Contour, at: Indices, planned: Floats, rng: Generator, *, splay: float, shy: float
) -> tuple[Crystals, Arms]:
    """Crystals at the points `at` of an edge, with first arms meant to grow `planned` mm long.

    Parameters
    ----------
    splay
        0: all stand square to the edge; 1: they lean by up to sixty degrees either way.
    shy
        How many times more than the land they keep from others, on average.
    """
    habit, count = sowing.habit, len(at)
    stem = np.maximum(sowing.stem_mm / 2, habit.least)
    root = np.minimum(stem, habit.least + 0.03 * planned)
    crystals = _crystals(sowing, edge.chosen(at), planned, root, rng, splay=splay)
    first = habit.apart * rng.uniform(TURNED, TURNED + 1.0, count)
    arms = Arms(
        crystal=np.arange(count),
        parent=np.full(count, -1),
        side=np.zeros(count, dtype=np.int64),
        order=np.zeros(count, dtype=np.int64),
        sprung_at=np.zeros(count),
        turn=np.zeros(count),
        curl=np.zeros(count),
        planned=planned,
        root=root,
        shy=1 + shy * rng.gamma(1.0, 1.0, count),
        chance=rng.random(count) ** 2,
        pace=np.ones(count, dtype=np.int64),
        knob=knobs(habit, count, rng),
        length=np.zeros(count),
        tip=crystals.foot,
        sprouts_at=first if habit.branching > 0 else np.full(count, np.inf),
        live=np.ones(count, dtype=bool),
    )
    return crystals, arms


def _crystals(
    sowing: Sowing, feet: Contour, planned: Floats, root: Floats, rng: Generator, *, splay: float
) -> Crystals:
    count, curve, room = len(feet), sowing.habit.curve, np.maximum(planned, _TIGHT_MM)
    sway = noise_at(feet.xy, rng, patch_mm=sowing.patch_mm, octaves=2)
    lean = _LEAN_MOST * splay * np.clip(rng.normal(0, 0.55, count) + 0.6 * sway, -1, 1)
    bend = curve * _TURN_MOST * rng.uniform(0.2, 1.0, count) * rng.choice([-1.0, 1.0], count)
    square = np.arctan2(feet.square[:, 1], feet.square[:, 0])
    angle = rng.uniform(0, 2 * np.pi, count)
    pitch = 2 * np.pi / room * rng.uniform(0.6, 1.4, count)
    return Crystals(
        foot=np.round(feet.xy + feet.square * _inset(sowing, root)[:, None], 3),
        square=square,
        axis=square + lean,
        bend=bend / room,
        sway=0.2 * curve * rng.random(count),
        wave=pitch[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]),
        sweep=curve * rng.uniform(-0.08, 0.07, count),
    )


def _inset(sowing: Sowing, root: Floats) -> Floats:
    """How far inside the edge a foot lies."""
    if sowing.inset_mm is None:
        return np.zeros(len(root))
    return np.asarray(np.hypot(root + sowing.inset_mm, sowing.habit.step / 2) + 0.01)
