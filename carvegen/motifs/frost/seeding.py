"""Where crystals start: feet square to an edge, alone or in fans; their first arms."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.branching import TURNED, airiness, knobs
from carvegen.motifs.shared.fields import noise_at

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices
    from carvegen.motifs.frost.branching import BranchingHabit
    from carvegen.motifs.frost.contours import Contour

__all__ = ["Sowing", "fans", "first_arms", "sown"]

_TURN_MOST = np.radians(150)  #: by which a first arm turns on its way, curve 1
_CURLS = 0.22  #: share of first arms that curl up at the end, curve 1
_LEAN_MOST = np.radians(66)  #: from square to the edge, splay 1
_TIGHT_MM, _TIGHT = 4.5, 4.0  #: no arm bends more tightly, mm and clearances
_SHY_MOST = 2.0  #: times the usual


@dataclass(frozen=True, kw_only=True)
class Sowing:
    """What all crystals of an edge share."""

    habit: BranchingHabit
    stem_mm: float  #: breadth of a large stem at its foot
    patch_mm: float  #: neighbours within so far lean alike
    inset_mm: float | None  #: what lies between the edge and the feet; None: they stand on the edge


def fans(chance: Floats, wanted: float, apart: float, rng: Generator) -> tuple[Indices, Floats]:
    """Places along an edge in fans, and how far out in its fan each stands, -1…1; each place at most once.

    Parameters
    ----------
    chance
        Of each place, that a fan which falls there stands; the edge closes on itself.
    wanted
        How many fans there would be at chance 1.
    apart
        From foot to foot in a fan, in places.
    """
    count, around = min(int(wanted), len(chance)), len(chance)
    seeds = rng.permutation(around)[:count]
    seeds = seeds[rng.random(count) < chance[seeds]]
    size = np.minimum(1 + rng.geometric(0.45, len(seeds)), _FAN_MOST) - (rng.random(len(seeds)) < 0.5)
    fan = np.repeat(np.arange(len(seeds)), size)
    place = geometry.counted(size)
    out = (place - (size[fan] - 1) / 2) + rng.uniform(-0.2, 0.2, len(fan))
    at = (seeds[fan] + np.rint(out * apart * rng.uniform(1.0, 1.5, len(seeds))[fan]).astype(int)) % around
    _, first = np.unique(at, return_index=True)
    share = out / np.maximum(size[fan] / 2, 1.0) + rng.normal(0, 0.12, len(fan))
    return at[first], np.clip(share[first], -1, 1)


_FAN_MOST = 6


def sown(
    sowing: Sowing,
    edge: Contour,
    at: Indices,
    planned: Floats,
    rng: Generator,
    *,
    splay: float,
    shy: float,
    out: Floats | None = None,
) -> tuple[Crystals, Arms]:
    """Crystals at the points `at` of an edge, with first arms meant to grow `planned` mm long.

    Parameters
    ----------
    splay
        0: all stand square to the edge; 1: they lean by up to sixty degrees either way.
    shy
        How many times more than the land they keep from others, on average.
    out
        How far out in its fan each stands, -1…1: so it leans, and most curl on the same way.
    """
    habit, count = sowing.habit, len(at)
    stem = np.maximum(sowing.stem_mm / 2, habit.least)
    root = np.minimum(stem, habit.least + 0.034 * planned * np.exp(rng.normal(0, 0.25, count)))
    out = np.zeros(count) if out is None else out
    feet = edge.chosen(at)
    sway = noise_at(feet.xy, rng, patch_mm=sowing.patch_mm, octaves=2)
    lean = _LEAN_MOST * splay * np.clip(rng.normal(0, 0.25, count) + 0.6 * sway + 1.2 * out, -1, 1)
    crystals = _crystals(feet, lean, np.maximum(planned, 12.0), habit.curve, rng)
    crystals = replace(crystals, foot=np.round(feet.xy + feet.square * _inset(sowing, root)[:, None], 3))
    curl, coil = _curl(sowing, planned, out, rng)
    first = habit.apart * rng.uniform(TURNED, TURNED + 1.2, (count, 2))
    arms = first_arms(sowing, crystals, planned, root, rng)
    return crystals, replace(
        arms,
        curl=curl,
        coil=coil,
        phase=rng.uniform(-1.0, 0.5, count),  # thinning from the foot on: the land's corners there stay blunt
        shy=1 + shy * np.minimum(rng.gamma(1.0, 1.0, count), _SHY_MOST),
        sprouts_at=first if habit.branching > 0 else np.full((count, 2), np.inf),
    )


def first_arms(
    sowing: Sowing, crystals: Crystals, planned: Floats, root: Floats, rng: Generator, *, crystal: Indices | None = None
) -> Arms:
    """Straight arms from the feet of their crystals, one each if not told otherwise, without branches."""
    count = len(planned)
    of = np.arange(count) if crystal is None else crystal
    return Arms(
        crystal=of,
        parent=np.full(count, -1),
        side=np.zeros(count, dtype=np.int64),
        order=np.zeros(count, dtype=np.int64),
        sprung_at=np.zeros(count),
        turn=np.zeros(count),
        curl=np.zeros(count),
        coil=np.zeros(count),
        planned=planned,
        root=root,
        end=np.zeros(count),
        phase=rng.uniform(0, 2 * np.pi, count),
        airy=airiness(count, rng),
        shy=np.ones(count),
        chance=(rng.random(len(crystals)) ** 2)[of],
        pace=np.ones(count, dtype=np.int64),
        knob=knobs(sowing.habit, count, rng),
        length=np.zeros(count),
        tip=crystals.foot[of],
        sprouts_at=np.full((count, 2), np.inf),
        live=np.ones(count, dtype=bool),
    )


def _curl(sowing: Sowing, planned: Floats, out: Floats, rng: Generator) -> tuple[Floats, Floats]:
    """How fast first arms turn at their roots, and how much faster with each mm: most outwards, some up in a curl."""
    count, curve = len(planned), sowing.habit.curve
    curls = rng.random(count) < _CURLS * curve
    whole = curve * _TURN_MOST * np.where(curls, rng.uniform(1.2, 2.0, count), rng.uniform(0.1, 0.9, count))
    late = np.where(curls, 1.0, rng.uniform(0.0, 0.9, count))
    tight = np.maximum(_TIGHT_MM, _TIGHT * sowing.habit.apart)
    whole = np.minimum(whole, planned / tight / (1 + late))
    side = np.where(out == 0, rng.choice([-1.0, 1.0], count), np.sign(out))
    side *= np.where(rng.random(count) < 0.2, -1.0, 1.0)
    return side * whole * (1 - late) / planned, side * whole * late / planned**2


def _crystals(feet: Contour, lean: Floats, room: Floats, curve: float, rng: Generator) -> Crystals:
    """Crystals that lean by so much at their feet; they waver over lengths of about `room` mm."""
    count = len(feet)
    square = np.arctan2(feet.square[:, 1], feet.square[:, 0])
    angle = rng.uniform(0, 2 * np.pi, count)
    pitch = 2 * np.pi / room * rng.uniform(0.6, 1.4, count)
    return Crystals(
        foot=feet.xy,
        square=square,
        axis=square + lean,
        sway=0.2 * curve * rng.random(count),
        wave=pitch[:, None] * np.column_stack([np.cos(angle), np.sin(angle)]),
        sweep=curve * rng.uniform(0.0, 0.14, count),
        loose=np.zeros(count, dtype=bool),
    )


def _inset(sowing: Sowing, root: Floats) -> Floats:
    """How far inside the edge a foot lies."""
    if sowing.inset_mm is None:
        return np.zeros(len(root))
    return np.asarray(np.hypot(root + sowing.inset_mm, sowing.habit.step / 2) + 0.01)
