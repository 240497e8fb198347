"""How the snow falls: settings, and weathers by name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from carvegen.errors import InputError
from carvegen.parameters import angle, check_all, flag, length, share

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["PRESETS", "Settings"]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How the snow falls."""

    snow: float = share(0.08, at_most=0.6, help="share of the face that turns white")
    smallest_mm: float = length(0.8, at_least=0.05, at_most=50, help="smallest flake, across")
    largest_mm: float = length(5.0, at_least=0.05, at_most=100, help="largest flake, across")
    near_far: float = share(0.5, help="0: all flakes alike far; 1: few near and large, many far and small")
    clumping: float = share(0.7, help="0: flakes strewn evenly by chance; 1: all in clumps and flurries")
    flurry_mm: float = length(22.0, at_least=1, at_most=500, help="size of a flurry")
    calm: float = share(0.25, at_most=0.95, help="share of the sky where little falls")
    calm_size_mm: float = length(60.0, at_least=2, at_most=1000, help="size of the calm patches")
    wind: float = share(0.15, help="0: still air; 1: a gale that stretches flurries and tilts flakes")
    wind_towards_deg: float = angle(-70.0, help="direction in which the snow is driven; 0 is to the right, -90 down")
    round: float = share(0.6, help="share of round flakes; the others are squarish")
    grown_together: float = share(0.35, help="share of flakes that grow together into lumpy shapes")
    hidden: float = share(0.6, help="share of the flakes beside what is kept clear that may be partly hidden behind it")
    cut_at_edge: bool = flag(False, help="flakes may be cut off by the edge and by what is kept clear")

    def __post_init__(self) -> None:
        check_all(self)
        if self.smallest_mm > self.largest_mm:
            raise InputError(
                f"must not be larger than --largest {self.largest_mm:g} mm", value=self.smallest_mm, where="--smallest"
            )


#: Weathers by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "flurry": {},
    "steady": {"clumping": 0.4, "calm": 0.05, "near_far": 0.5, "wind": 0.05, "snow": 0.08},
    "heavy": {
        "snow": 0.15,
        "smallest_mm": 1.0,
        "largest_mm": 8.0,
        "near_far": 0.35,
        "calm": 0.15,
        "grown_together": 0.6,
        "clumping": 0.75,
        "flurry_mm": 30.0,
    },
    "sparse": {"snow": 0.025, "largest_mm": 4.0, "calm": 0.45, "near_far": 0.6, "clumping": 0.6},
    "squall": {
        "snow": 0.06,
        "wind": 0.85,
        "wind_towards_deg": -25.0,
        "clumping": 0.8,
        "flurry_mm": 26.0,
        "calm": 0.3,
        "calm_size_mm": 24.0,
        "largest_mm": 4.0,
        "near_far": 0.7,
    },
}
