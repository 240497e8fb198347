"""How the snow lies: settings, and snow by name."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

from carvegen.base.parameters import (
    angle,
    check_all,
    choice,
    length,
    share,
)

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["PRESETS", "Settings"]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How the snow lies."""

    fallen_mm: float = length(3.5, at_least=0.2, at_most=60, help="depth on an open, level, wide place, on the paper")
    sticky: float = share(0.45, help="0: loose and cold, slides off slopes; 1: wet, clings to steep places")
    bridging_mm: float = length(1.2, at_least=0, at_most=30, help="gaps up to this wide are bridged")
    patchy: float = share(0.25, help="share of the snow's places that stay bare or thin")
    lumpy: float = share(0.5, help="0: smooth heaps; 1: lumps upon lumps")
    wind: float = share(0.0, help="0: still air; 1: a gale that scours what faces it and drifts in the lee")
    wind_towards_deg: float = angle(-30.0, help="direction in which the snow is driven; 0 is to the right, -90 down")
    gaps: str = choice(
        "guess",
        among=("open", "marks", "guess"),
        help="holes in the shapes: open air behind them, marks on them, or told apart by the walls round them",
    )
    scale: str = choice(
        "near",
        among=("near", "far"),
        help="near: posts, trees, roofs; far: hills and peaks far off, white on their sides, their trees bare",
    )
    reaching_down: float = share(0.4, help="how far the white reaches down over what it lies on")
    fields: float = share(0.5, help="how far the white covers ground, hills and whatever reaches the lower edge")
    boughs: float = share(0.8, help="firs: how often snow is guessed to go on inside a crown, inwards from a notch")
    bark: float = share(0.5, help="how often slivers of broad limbs and timber show dark in their snow's lower edge")
    twigs: float = share(0.75, help="how often twigs too thin for heaps carry a line of snow")
    detail_mm: float = length(0.7, at_least=0, at_most=20, help="twigs and needles thinner than this carry no heaps")
    detail_kept: float = share(0.6, help="share of such twigs and needles that stay in sight in large heaps")

    #: Settings that lost their meaning, and what to use instead.
    SUCCESSORS: ClassVar[Mapping[str, str]] = {
        "shelter_mm": "gaps",
    }

    def __post_init__(self) -> None:
        check_all(self)

    @property
    def drawn_to_scale(self) -> Settings:
        """The settings as they hold on the paper: far off all is smaller."""
        if self.scale == "near":
            return self
        return replace(
            self,
            fallen_mm=max(_FAR * self.fallen_mm, 0.2),
            bridging_mm=_FAR * self.bridging_mm,
            detail_mm=max(self.detail_mm, _FAR_TWIGS_MM),
            fields=1 - (1 - self.fields) / 2,
        )


_FAR = 0.3  #: far things are so many times as large as near ones
_FAR_TWIGS_MM = 3.0  #: far off, what is thinner bears nothing that one sees


#: Snow by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "fresh": {},
    "dusting": {
        "fallen_mm": 1.5,
        "patchy": 0.3,
        "bridging_mm": 0.5,
        "bark": 0.7,
        "fields": 0.3,
        "twigs": 0.5,
        "detail_kept": 0.9,
    },
    "deep": {
        "fallen_mm": 7.0,
        "patchy": 0.05,
        "bridging_mm": 1.8,
        "sticky": 0.5,
        "bark": 0.4,
        "twigs": 0.95,
        "detail_kept": 0.3,
    },
    "windblown": {
        "fallen_mm": 3.6,
        "wind": 0.9,
        "wind_towards_deg": -20,
        "patchy": 0.15,
        "sticky": 0.3,
        "lumpy": 0.3,
        "bark": 0.6,
        "twigs": 0.5,
    },
    "wet": {
        "fallen_mm": 4.6,
        "sticky": 0.9,
        "bridging_mm": 1.8,
        "patchy": 0.2,
        "lumpy": 0.8,
        "bark": 0.4,
        "twigs": 0.95,
    },
}
