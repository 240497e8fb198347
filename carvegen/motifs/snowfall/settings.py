"""How the snow falls: settings, and weathers by name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, ClassVar

from carvegen.base.errors import InputError
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

_MOST_WHITE = 0.6


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How the snow falls."""

    #: Settings that lost their meaning, and what to use instead.
    SUCCESSORS: ClassVar[Mapping[str, str]] = {
        "near_far": "deep",
        "clumping": "gathered",
        "calm": "gathered",
        "calm_size_mm": "flurry_mm",
        "grown_together": "torn",
    }

    snow: float = share(0.08, at_most=0.6, help="share of the face that turns white")
    smallest_mm: float = length(0.7, at_least=0.05, at_most=50, help="smallest flakes, across")
    largest_mm: float = length(7.0, at_least=0.05, at_most=100, help="largest flakes, across")
    deep: float = share(0.7, help="0: all flakes as far; 1: deep air, specks far away and large flakes near")
    far: float = share(0.3, help="part of the snow that falls far away")
    middle: float = share(0.32, help="part of the snow that falls in the middle distance")
    near: float = share(0.38, help="part of the snow that falls near")
    snow_far: float = share(
        0.0, at_most=0.6, help="share of the face that far flakes turn white; 0: by the parts above"
    )
    snow_middle: float = share(0.0, at_most=0.6, help="the same of flakes in the middle distance")
    snow_near: float = share(0.0, at_most=0.6, help="the same of near flakes")
    gathered: float = share(0.6, help="0: strewn evenly by chance; 1: all in flurries within flurries, calm between")
    flurry_mm: float = length(0.0, at_least=0, at_most=500, help="size of the largest flurries; 0: as fits the face")
    wind: float = share(0.15, help="0: still air; 1: a gale of streaks, trails and drawn-out flakes")
    wind_towards_deg: float = angle(-70.0, help="direction in which the snow is driven; 0 is to the right, -90 down")
    round: float = share(0.6, help="share of round flakes; the others are squarish")
    torn: float = share(0.18, help="share of the larger flakes that are torn clumps of several crystals")
    hidden: float = share(
        0.8, help="share of flakes that go on, cut off, behind what is kept clear; if less than half is seen, none"
    )
    cut_at_edge: bool = flag(True, help="flakes run out over the edge of the face")
    level: float = share(0.0, at_most=1000, help="how much falls, kept from an earlier block; 0: as snow asks")
    view_x_mm: float = length(0.0, at_least=-1e5, at_most=1e5, help="where in the weather the face lies, to the right")
    view_y_mm: float = length(0.0, at_least=-1e5, at_most=1e5, help="where in the weather the face lies, up")

    def __post_init__(self) -> None:
        check_all(self)
        if self.smallest_mm > self.largest_mm:
            raise InputError(
                f"must not be larger than {{largest_mm}} {self.largest_mm:g} mm",
                value=self.smallest_mm,
                field="smallest_mm",
                names=("largest_mm",),
            )
        if self.far + self.middle + self.near <= 0:
            raise InputError("one layer at least must have snow", value=0, field=("far", "middle", "near"))
        if sum(self.by_layer) > _MOST_WHITE + 1e-9:
            raise InputError(
                f"must not be more than {_MOST_WHITE:g} together", value=round(sum(self.by_layer), 6),
                field=("snow_far", "snow_middle", "snow_near"),
            )  # fmt: skip

    @property
    def by_layer(self) -> tuple[float, float, float]:
        """The share of the face that each layer is asked to turn white, far, middle and near; all 0: as `snow` says."""
        return self.snow_far, self.snow_middle, self.snow_near


#: Weathers by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "flurry": {},
    "steady": {"gathered": 0.38, "deep": 0.75, "wind": 0.05, "snow": 0.08, "largest_mm": 6.0},
    "heavy": {
        "snow": 0.3,
        "smallest_mm": 0.8,
        "gathered": 0.33,
        "middle": 0.4,
        "near": 0.3,
        "torn": 0.12,
    },
    "sparse": {
        "snow": 0.025,
        "torn": 0.26,
        "largest_mm": 6.0,
        "gathered": 0.6,
        "far": 0.45,
        "middle": 0.35,
        "near": 0.2,
    },
    "squall": {
        "snow": 0.07,
        "wind": 0.85,
        "wind_towards_deg": -25.0,
        "gathered": 0.6,
        "largest_mm": 5.5,
    },
}
