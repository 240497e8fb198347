"""How far paper is stretched over the wall of a die: a least and a most, down the wall and along it at a corner.

What happens lies between two models that differ in what the paper may draw on:

*bridged*, the least
    The sheet gives over the wall and over its own thickness on both sides of it, and hangs straight between.
*taut*, the most
    Nothing slides in from beside: the middle of the sheet is a taut band round the die's rounded edge and the rim of
    the counter-sheet, flat before the one and behind the other, and its stretch is even along it.

Both are plane geometry and our own choice; no measured law was found. Thickness and stiffness of the sheet only set the
radii: paper that is soaked less tears earlier, and the fibres' direction is not looked at.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["Pressed", "Stretch", "bridged", "strain", "taut", "taut_band"]

_SAMPLES = 801  #: places along the band


class Pressed(Protocol):
    """A wall and the sheet that is pressed over it; `carvegen.blocks.embossing.pressing.Pressing` is one."""

    @property
    def relief_mm(self) -> float:
        """From the die's face to its floor."""

    @property
    def run_mm(self) -> float:
        """From the end of the flat face to the foot of the wall, sideways."""

    @property
    def edge_mm(self) -> float:
        """Radius of the rounded edge between face and wall."""

    @property
    def round_mm(self) -> float:
        """How much of the face that edge takes."""

    @property
    def corner_mm(self) -> float:
        """Smallest radius of a corner, seen from above."""

    @property
    def sheet_mm(self) -> float:
        """The paper's thickness."""


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """The shares by which the sheet grows longer, by one model."""

    down: float  #: down the wall, the same at every place of its length
    outward: float  #: along the wall, at a corner of the die that points outward
    inward: float  #: the same at one that points inward

    @property
    def along(self) -> float:
        """Along the wall at the corner where it is most."""
        return max(self.outward, self.inward)

    @property
    def area(self) -> float:
        """The share by which the sheet's area grows at that corner; on a straight wall it grows by `down`."""
        return (1 + self.down) * (1 + self.along) - 1


def strain(depth_mm: float, run_mm: float) -> float:
    """The share by which paper grows longer that is pressed `depth_mm` deep over a sideways run.

    Notes
    -----
    ``(sqrt(d² + x²) - x) / x``: the slope beside its level run.
    """
    return math.hypot(depth_mm, run_mm) / run_mm - 1


def bridged(how: Pressed) -> Stretch:
    """The least: a straight slope over the wall and the paper's thickness on both sides.

    Every place moves up or down only, so that nothing is stretched along the wall.
    """
    return Stretch(down=strain(how.relief_mm, how.run_mm + 2 * how.sheet_mm), outward=0.0, inward=0.0)


def taut(how: Pressed) -> Stretch:
    """The most: a band that is taut between the die's edge and the counter-sheet's rim, held where it lies flat.

    Places of the sheet move sideways, for the band is steep in its middle and flat at its ends: at a corner that points
    outward those beside the face move away from the corner's middle, at one that points inward those beside the rim.
    So the ring on which they lie grows by that share of its radius.
    """
    now, before = taut_band(how)
    whole = float(before[-1])
    length = float(np.hypot(*np.diff(now, axis=0).T).sum())
    first = max(0.0, how.corner_mm - how.round_mm)  # radius of the corner, seen from above, where the flat face ends
    last = how.corner_mm  # and of the rim of the counter-sheet's hole, which is closed by a disc of that radius
    inner, was_inner = first + now[1:, 0], first + before[1:]
    outer, was_outer = last + whole - now[:-1, 0], last + whole - before[:-1]
    return Stretch(
        down=length / whole - 1,
        outward=float(np.max(inner / was_inner)) - 1,
        inward=float(np.max(outer / was_outer)) - 1,
    )


def taut_band(how: Pressed) -> tuple[Floats, Floats]:
    """The middle of the sheet as the band lies, and how far out its places lay when the sheet was flat.

    Returns
    -------
    tuple
        Places (n, 2), mm outward from where the flat face ends and up from the die's face; and (n,), mm.

    Notes
    -----
    Two rounds: about the middle of the die's rounded edge, of its radius and half the paper; and about the rim of the
    counter-sheet, of half the paper. Between them the common tangent that crosses from above the one to below the
    other: its angle is ``asin((r + q) / d) + atan2(drop, apart)`` with d from middle to middle (plane geometry).
    """
    half = how.sheet_mm / 2
    r, q = how.edge_mm + half, half
    apart, drop = how.run_mm + how.sheet_mm, how.relief_mm - how.sheet_mm - how.edge_mm
    angle = math.asin(min(1.0, (r + q) / math.hypot(apart, drop))) + math.atan2(drop, apart)
    turn = np.linspace(0, angle, _SAMPLES)
    first = np.column_stack([r * np.sin(turn), r * np.cos(turn) - how.edge_mm])
    rim = np.array([apart, -how.relief_mm + how.sheet_mm])
    second = rim - np.column_stack([q * np.sin(turn[::-1]), q * np.cos(turn[::-1])])
    share = np.linspace(0, 1, _SAMPLES)[1:-1, None]
    between = first[-1] + share * (second[0] - first[-1])
    now = np.concatenate([first, between, second])
    gone = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(now, axis=0).T))])
    return now, gone * apart / gone[-1]
