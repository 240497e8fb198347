"""How blocks lie on the paper when register is off: shifts, turns, growth of sheet and board, drawn at random."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.streams import stream

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.facts.register import RegisterPlan
    from carvegen.geometry import Floats

__all__ = ["Inked", "Placements", "drawn_moves", "worst_pull_mm"]

Size = tuple[float, float]  # width and height of the face, mm


@dataclass(frozen=True, kw_only=True, eq=False)
class Inked:
    """A block that prints ink, as far as its register matters."""

    name: str
    land: BaseGeometry
    lightness: float  #: CIELAB L* of its ink
    moves: tuple[float, float] = (0.0, 0.0)  #: growth per 1 % of moisture, along its grain and across
    grain_deg: float = 0.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Placements:
    """Where each block of each print lies: the place p goes to ``p + shift + turn (p - datum)``."""

    shift: Floats  #: (prints, blocks, 2), mm
    turn: Floats  #: (prints, blocks, 2, 2): turn, stretch and swelling
    datum: tuple[float, float]

    def of(self, prints: slice) -> Placements:
        """Those of some of the prints."""
        return Placements(shift=self.shift[prints], turn=self.turn[prints], datum=self.datum)

    def between(self, one: int, other: int, xy: Floats) -> tuple[Floats, Floats]:
        """Places of block `one` as block `other` sees them, once both have moved; (prints, n) each of x and y."""
        shift = self.shift[:, one] - self.shift[:, other]
        turn = self.turn[:, one] - self.turn[:, other]
        arm = xy - np.asarray(self.datum)
        moved = shift[..., None] + (turn[..., :1] * arm[:, 0] + turn[..., 1:] * arm[:, 1])
        return xy[:, 0] + moved[:, 0], xy[:, 1] + moved[:, 1]


def drawn_moves(blocks: Sequence[Inked], plan: RegisterPlan, size: Size, seed: int) -> Placements:
    """How the blocks of `plan.prints` prints lie, drawn for each block from a stream of its own.

    Shift: anywhere in the disc of the tolerance ("even"), or of a normal spread each way of which the tolerance is
    two standard deviations ("normal"); the turn alike. Two impressions differ by no more than the paper's
    stretch, two blocks by no more than the change of moisture: each has half of it to either side.
    """
    shifts, turns = [], []
    for block in blocks:
        rng = stream(seed, "register", block.name)
        shifts.append(_shifts(rng, plan))
        turns.append(_turns(rng, plan, block, max(size)))
    return Placements(shift=np.stack(shifts, axis=1), turn=np.stack(turns, axis=1), datum=plan.datum_mm(size))


def _shifts(rng: np.random.Generator, plan: RegisterPlan) -> Floats:
    if plan.spread == "normal":
        return rng.normal(0, plan.off_mm / 2, (plan.prints, 2))
    far = plan.off_mm * np.sqrt(rng.random(plan.prints))
    angle = 2 * math.pi * rng.random(plan.prints)
    return np.column_stack([far * np.cos(angle), far * np.sin(angle)])


def _turns(rng: np.random.Generator, plan: RegisterPlan, block: Inked, long_side: float) -> Floats:
    def each(most: float) -> Floats:
        if plan.spread == "normal":
            return rng.normal(0, most / 2, plan.prints)
        return rng.uniform(-most, most, plan.prints)

    angle = each(math.radians(plan.off_deg(long_side)))
    turn = angle[:, None, None] * np.array([[0.0, -1.0], [1.0, 0.0]])
    stretch = (plan.paper_stretch_along_percent, plan.paper_stretch_across_percent)
    paper = _grown([each(percent / 200) for percent in stretch], plan.paper_grain_deg)
    moisture = each(plan.moisture_off_percent / 2)
    wood = _grown([moisture * block.moves[0], moisture * block.moves[1]], block.grain_deg)
    return np.asarray(turn - paper + wood)


def _grown(shares: Sequence[Floats], grain_deg: float) -> Floats:
    """Growth by shares along and across a grain, as matrices; (prints, 2, 2)."""
    grown = [share[:, None, None] * np.outer(axis, axis) for share, axis in zip(shares, _axes(grain_deg), strict=True)]
    return np.asarray(sum(grown))


def _axes(grain_deg: float) -> tuple[Floats, Floats]:
    """Unit vectors along a grain and across it."""
    c, s = math.cos(math.radians(grain_deg)), math.sin(math.radians(grain_deg))
    return np.array([c, s]), np.array([-s, c])


def worst_pull_mm(pair: tuple[Inked, Inked], xy: Floats, away: Floats, plan: RegisterPlan, size: Size) -> Floats:
    """How far one block may at most be drawn off places of the other, all errors at their limits; (n,).

    ``2 e`` for the shifts, ``2 θ r`` for the turns with r the arm across the pull, and the growths at that place.

    Parameters
    ----------
    away
        In which direction it is drawn off at each place; (n, 2), length 1.
    """
    arm = xy - np.array(plan.datum_mm(size))
    turned = 2 * math.radians(plan.off_deg(max(size))) * np.abs(arm[:, 1] * away[:, 0] - arm[:, 0] * away[:, 1])
    percents = (plan.paper_stretch_along_percent / 100, plan.paper_stretch_across_percent / 100)
    far = 2 * plan.off_mm + turned + _pulled(percents, plan.paper_grain_deg, arm, away)
    half = plan.moisture_off_percent / 2
    for block in pair:
        far = far + _pulled((half * block.moves[0], half * block.moves[1]), block.grain_deg, arm, away)
    return np.asarray(far)


def _pulled(shares: tuple[float, float], grain_deg: float, arm: Floats, away: Floats) -> Floats:
    axes = zip(shares, _axes(grain_deg), strict=True)
    return np.asarray(sum(share * np.abs((arm @ axis) * (away @ axis)) for share, axis in axes))
