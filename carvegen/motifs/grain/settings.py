"""The settings of grain, and its presets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from carvegen.base.parameters import (
    angle,
    check_all,
    flag,
    length,
    share,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["PRESETS", "Settings"]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What the boards are like."""

    ring_mm: float = length(2.6, at_least=0.3, at_most=40, help="width of a growth ring, at the print's scale")
    late_wood: float = share(0.34, at_most=0.8, help="share of a ring that is dark late wood: the weight of the lines")
    widest_mm: float = length(1.6, at_least=0.05, at_most=20, help="widest line")
    plane_deg: float = angle(8.0, at_least=0, at_most=90, help="how the board is sawn: 0 flat, 45 rift, 90 quarter")
    pith_mm: float = length(16.0, at_least=1, at_most=1000, help="from the board to the heart of the log")
    arch_mm: float = length(17.0, at_least=1, at_most=2000, help="from arch to arch along a flat-sawn board")
    waviness: float = share(0.45, help="0: a straight log; 1: a wild one")
    faded: float = share(0.3, at_most=0.95, help="share of the grain that is left uncut, in patches and breaks")
    hair_lines: float = share(0.6, help="fine lines in the early wood, where there is room")
    knots: float = share(1.2, at_most=20, help="knots in 100 square centimetres, on average")
    knot_mm: float = length(9.0, at_least=0.5, at_most=200, help="usual width of a knot")
    dead_knots: float = share(0.35, help="share of knots that are dead: ringed by bark, cracked")
    rays: float = share(0.0, help="short flecks, most of all on quarter-sawn boards")
    pores: float = share(0.15, help="short open pores beside the rings")
    end_checks: float = share(0.1, help="cracks that run in from the ends of the board")
    direction_deg: float = angle(0.0, help="direction of the grain; 0 is across, 90 up")
    cut_at_edge: bool = flag(True, help="lines may run out over the edge")

    def __post_init__(self) -> None:
        check_all(self)


#: Boards by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "flat-sawn": {},
    "quarter-sawn": {
        "plane_deg": 86.0,
        "pith_mm": 120.0,
        "arch_mm": 200.0,
        "ring_mm": 2.3,
        "waviness": 0.4,
        "knots": 0.0,
        "rays": 0.4,
        "hair_lines": 0.35,
        "faded": 0.4,
    },
    "rift": {
        "plane_deg": 48.0,
        "pith_mm": 70.0,
        "arch_mm": 60.0,
        "ring_mm": 2.0,
        "waviness": 0.5,
        "knots": 0.3,
        "pores": 0.4,
    },
    "knotty": {"knots": 4.5, "knot_mm": 10.0, "waviness": 0.55, "pith_mm": 22.0, "arch_mm": 24.0, "plane_deg": 15.0},
    "weathered": {
        "late_wood": 0.55,
        "widest_mm": 2.2,
        "faded": 0.45,
        "waviness": 0.6,
        "end_checks": 0.8,
        "pores": 0.4,
        "knots": 1.2,
        "dead_knots": 0.8,
        "ring_mm": 3.0,
    },
}
