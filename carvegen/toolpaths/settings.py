"""What may be chosen about the files and their toolpaths: one declaration, which commands and print files read."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from carvegen.base.parameters import (
    angle,
    check_all,
    choice,
    flag,
    length,
    texts,
    whole,
)

if TYPE_CHECKING:
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import PolygonArray

__all__ = [
    "CLEARED", "LOWERED", "MOST_STEPS", "FileSettings", "PathSettings", "PathsByName", "PathsWanted",
]  # fmt: skip

#: How a laser is given the areas that it lowers.
LOWERED = ("shapes", "lines", "contours")

#: How a router clears the floor of a cut: rings along its wall, from the inside out, or lines to and fro.
CLEARED = ("rings", "lines")

#: Steps of a shoulder beside a land at most.
MOST_STEPS = 6


@dataclass(frozen=True, kw_only=True)
class FileSettings:
    """How guide and drawings are written."""

    transfer: str = choice(
        "carbon", among=("carbon", "glued", "face-down", "tracing"), help="how the guide's drawing comes onto the block"
    )
    paper: str = choice("A4", among=("A4", "Letter"), help="paper of the guide")
    pale_guide: bool = flag(False, help="draw the guide pale, to save ink")
    dxf: str = choice("R2000", among=("R2000", "R12"), help="release of the DXF files")
    width_map: bool = flag(False, help="draw how wide the land is, too")

    def __post_init__(self) -> None:
        check_all(self)


@dataclass(frozen=True, kw_only=True)
class PathsWanted:
    """Whether toolpaths are made at all."""

    paths: bool = flag(True, help="write what laser or router follows, too")


@dataclass(frozen=True, kw_only=True)
class PathsByName:
    """What toolpaths take by name; `PathSettings` has the cutters and shapes themselves."""

    also_cutters: tuple[str, ...] = texts(help="router: further cutters, such as a wide one that clears first")
    no_go: tuple[str, ...] = texts(
        help='where a clamp lies and nothing may go, seen as in the print: words such as "circle 150 110 12" (Y counts '
        'up from the bottom), "circle 150 40 12 from top", "box X Y W H", or FILE, FILE#LAYER, "FILE at X Y width W"'
    )


def _nowhere() -> PolygonArray:
    from carvegen import geometry

    return geometry.empty()


@dataclass(frozen=True, kw_only=True, eq=False)
class PathSettings:
    """How toolpaths are made. What one kind of machine has no use for, it doesn't look at."""

    lowered: str = choice(
        "shapes", among=LOWERED,
        help="laser: how areas are lowered: shapes that the operator's own program fills, lines, or contours",
    )  # fmt: skip
    shoulder_steps: int = whole(
        2, help="laser: steps beside the land that leave its wall sloped; 0: none", at_least=0, at_most=MOST_STEPS
    )
    line_spacing_mm: float = length(
        0.1, help="laser: from one line to the next where an area is lowered", at_least=0.02, at_most=5
    )
    tabs: bool = flag(True, help="leave small bridges that hold what would fall out of a cut-out")
    lead_in_mm: float = length(
        0.0, help="laser: begin cut-outs this far off, in what falls out", at_least=0, at_most=20
    )
    cut_edge: bool = flag(False, help="cut the block out of a larger sheet, too")
    rest_mm: float = length(
        2.0, help="laser: next cut at least this far off where the way allows it, for heat", at_least=0, at_most=50
    )
    also_cutters: tuple[Cutter, ...] = ()  #: router: further cutters besides the job's own
    cleared: str = choice(
        "rings", among=CLEARED,
        help="router: how the floor is cleared: in rings from the inside out, or in lines to and fro",
    )  # fmt: skip
    ramp_deg: float = angle(
        5.0, help="router: how steeply a flat cutter goes down along its path", at_least=0.5, at_most=30
    )
    pass_mm: float = length(
        0.0, help="router: depth of one pass; 0: by the cutter and the material", at_least=0, at_most=50
    )
    plunge: bool = flag(False, help="router: flat cutters may go straight down where there is no room for a ramp")
    simulated: bool = flag(False, help="work out what the cutter really leaves: a picture, land lost, cut missed")
    program: bool = flag(False, help="router: write plain RS-274 programs, too, one for each cutter")
    no_go: PolygonArray = field(default_factory=_nowhere)  #: where clamps lie, print view: no path, no travel

    def __post_init__(self) -> None:
        check_all(self)
