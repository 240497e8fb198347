"""The settings of frost, and its presets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from carvegen.base.parameters import (
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
    """How the frost has grown."""

    reach_mm: float = length(80.0, at_least=1, at_most=500, help="how far the longest feathers reach")
    feather_mm: float = length(26.0, at_least=1, at_most=500, help="length of a usual feather")
    variety: float = share(0.7, help="0: feathers alike long; 1: many short, a few very long")
    density: float = share(0.55, help="0: feathers stand far apart along the edge; 1: as close as the land allows")
    gaps: float = share(0.15, at_most=0.95, help="share of the edge that stays clear")
    front_mm: float = length(45.0, at_least=2, at_most=500, help="size of the stretches where it swells and ebbs")
    branching: float = share(0.9, help="0: bare needles; 1: side-branches as close as the land allows")
    breadth: float = share(0.45, help="length of the side-branches beside that of the feather")
    plumes: float = share(0.35, help="how often a side-branch becomes a feather of its own")
    curve: float = share(0.5, help="0: straight; 1: the longest feathers turn by up to a quarter circle and more")
    splay: float = share(0.4, help="0: all stand square to the edge; 1: they lean every way")
    stem_mm: float = length(1.8, at_least=0.05, at_most=20, help="breadth of a large feather's stem at its foot")
    rime: float = share(0.35, help="share of the edge between the feathers that short needles take")
    needle_mm: float = length(3.5, at_least=0.2, at_most=50, help="length of these needles")
    stars: float = share(0.0, help="small stars of needles in the open, beyond the feathers")
    free: bool = flag(False, help="a land stays between the frost and the edge; else the feet open to it")
    inward: bool = flag(False, help="it grows into the shapes it starts from, not away from them")

    def __post_init__(self) -> None:
        check_all(self)

    @property
    def cut_at_edge(self) -> bool:
        """Whether the feet are cut off by the edge."""
        return not self.free


#: Frosts by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "ferns": {},
    "needles": {
        "feather_mm": 22.0,
        "branching": 0.3,
        "breadth": 0.6,
        "plumes": 0.6,
        "curve": 0.06,
        "splay": 0.9,
        "density": 0.8,
        "stem_mm": 1.5,
        "gaps": 0.05,
    },
    "rime": {
        "reach_mm": 26.0,
        "feather_mm": 10.0,
        "branching": 0.85,
        "breadth": 0.6,
        "density": 0.75,
        "gaps": 0.0,
        "splay": 0.7,
        "curve": 0.4,
        "stem_mm": 1.2,
        "rime": 0.7,
        "needle_mm": 4.5,
    },
    "pane": {
        "reach_mm": 120.0,
        "feather_mm": 42.0,
        "variety": 0.75,
        "gaps": 0.0,
        "plumes": 0.8,
        "curve": 0.7,
        "density": 0.6,
        "stem_mm": 2.6,
        "stars": 0.35,
        "front_mm": 80.0,
    },
}
