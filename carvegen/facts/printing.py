"""How the block is inked and printed: how far roller and paper reach into a cut."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.parameters import check_all, length
from carvegen.facts.block_settings import FEELS, Inking

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["FEELS", "USUAL", "Printing", "bulge_mm", "dip_mm", "paper_mm"]

_HAND_MM = 1.0  #: how far past the picture's edge a hand rolls; common practice, no source
_PAPER_DEEPEST_MM = 4.0  #: no gap asks for more on the paper's account; common practice, no source


@dataclass(frozen=True, kw_only=True)
class Printing(Inking):
    """The same, with what is measured of the roller; defaults: common practice, no source."""

    indentation_mm: float = length(0.3, help="how far a land sinks into the roller's covering", at_least=0, at_most=3)
    margin_mm: float = length(0.3, help="what stays between roller and floor", at_least=0, at_most=3)

    def __post_init__(self) -> None:
        check_all(self)

    def reach_mm(self, gap_mm: Floats) -> Floats:
        """The depth that keeps the roller off the floor of gaps this wide; inf where it falls in; same shape."""
        bulge = bulge_mm(self.roller_radius_mm, self.indentation_mm, gap_mm)
        return dip_mm(self.roller_radius_mm, gap_mm) + bulge + self.margin_mm

    @property
    def touched_mm(self) -> float:
        """Half the strip that the roller touches, ``sqrt(2 R i - i²)``: so far beside its middle it inks a face."""
        depth = min(self.indentation_mm, self.roller_radius_mm)
        return math.sqrt(2 * self.roller_radius_mm * depth - depth**2)

    @property
    def moat_mm(self) -> float:
        """Width of the groove round the picture that keeps the waste clean, the roller's middle just past the edge.

        Half the strip that it touches, and 1 mm for the hand that stops it there (common practice, no source).
        """
        return math.ceil(10 * (self.touched_mm + _HAND_MM)) / 10

    def needed_mm(self, gap_mm: Floats) -> Floats:
        """The depth that keeps roller and paper off the floor of gaps this wide; same shape."""
        return np.maximum(self.reach_mm(gap_mm), paper_mm(self.feel, gap_mm))


#: A usual roller and a firm press.
USUAL = Printing()


def dip_mm(radius_mm: float, gap_mm: Floats) -> Floats:
    """How deep a stiff roller dips between two lands: ``s = R - sqrt(R² - g²/4)``; inf if it falls in (g >= 2R).

    Plane geometry, for a roller that rolls across the gap and meets no land beside it.
    """
    half = np.asarray(gap_mm, dtype=np.float64) / 2
    inside = np.sqrt(np.clip(radius_mm**2 - half**2, 0, None))
    return np.where(half < radius_mm, radius_mm - inside, np.inf)


def bulge_mm(radius_mm: float, indentation_mm: float, gap_mm: Floats) -> Floats:
    """How far the covering swells into a gap: all of the indentation in wide ones, in proportion in narrow ones.

    Wide is what exceeds the strip that the roller touches, the chord ``2 sqrt(2 R i - i²)``. Between lands
    under one pressure an elastic face sinks in proportion to their distance, as a crack opens (source:
    sneddon-1946, from memory); that the two laws meet at the chord is our own step.
    """
    gap = np.asarray(gap_mm, dtype=np.float64)
    depth = min(indentation_mm, radius_mm)
    strip = 2 * np.sqrt(2 * radius_mm * depth - depth**2)
    return depth * np.minimum(1, gap / strip) if strip > 0 else np.zeros_like(gap)


def paper_mm(feel: str, gap_mm: Floats) -> Floats:
    """The depth that keeps the paper off the floor: ``max(1.0, 0.12 g)`` when firm, at most 4 mm.

    No measured coefficient was found: common practice. Nor need a gap be deeper than half its width (our
    own bound, so that fine whites aren't asked for the depth of wide ones).
    """
    gap = np.asarray(gap_mm, dtype=np.float64)
    least, share = FEELS[feel]
    return np.minimum(np.clip(share * gap, least, _PAPER_DEEPEST_MM), gap / 2)
