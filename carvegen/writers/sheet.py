"""What lies around the block on a machine file: register crosses, the check bar, the words."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING

import shapely

from carvegen import geometry
from carvegen.artwork.drawing import NEW_CUTS_ONLY
from carvegen.blocks.layer_names import LAYERS, NOTES, machine_layers
from carvegen.toolpaths.register_lines import ARM_MM, OUT_MM, clear_of_groove, register_places
from carvegen.writers.file_names import CUT_PICTURE

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely import Polygon

    from carvegen.blocks.job import Job
    from carvegen.blocks.layer_names import FileLayer
    from carvegen.blocks.views import Seen
    from carvegen.geometry import PolygonArray
    from carvegen.toolpaths.paths import Paths

__all__ = [
    "BAR_MM",
    "MARGIN_MM",
    "MEASURE_ME",
    "Drawing",
    "DrawnLayer",
    "Sheet",
    "TextLine",
    "cross",
    "layers_of",
    "machine_sheet",
    "margin_mm",
    "new_cuts_words",
    "register_shapes",
    "wrapped",
]


#: Length of the bar by which anyone can check the scale.
BAR_MM = 100.0

MEASURE_ME = f"measure me: {BAR_MM:g} mm, print at 100 %, do not fit"

#: Free edge around the block; the register crosses stand in it.
MARGIN_MM = 2 * OUT_MM

_NARROWEST_MM = 150.0  # room for the bar and for lines that read well
_TEXT_MM = 2.8  # height of a line's letters, from the foot of g to the top of h
_LEADING_MM = 4.4


@dataclass(frozen=True, kw_only=True)
class TextLine:
    """A line of words; `at` is the left end of its base line."""

    at: tuple[float, float]
    size_mm: float
    text: str


@dataclass(frozen=True, kw_only=True, eq=False)
class Sheet:
    """Everything outside the block; mm, origin at the block's lower left corner, y up."""

    left: float
    bottom: float
    right: float
    top: float
    register: PolygonArray
    bar: Polygon
    lines: tuple[TextLine, ...]

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Left, bottom, right and top of the whole sheet."""
        return self.left, self.bottom, self.right, self.top

    @property
    def width(self) -> float:
        """Width of the whole sheet."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Height of the whole sheet."""
        return self.top - self.bottom


@dataclass(frozen=True, kw_only=True, eq=False)
class DrawnLayer:
    """What a drawing holds on one layer."""

    layer: FileLayer
    what: PolygonArray | Paths
    filled: bool = False  #: else hairlines


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawing:
    """Layers on a sheet, in the order in which they are worked, whatever format they are written in."""

    title: str
    about: str
    sheet: Sheet
    layers: tuple[DrawnLayer, ...]
    notes: FileLayer | None = LAYERS[NOTES]  #: of the sheet's words and bar
    mark: PolygonArray | None = None  #: shapes among the words


def machine_sheet(job: Job, shown: Seen, layers: Mapping[str, FileLayer], *, more: Sequence[str] = ()) -> Sheet:
    """The sheet of a machine file: the words say view, size, origin and what each layer asks."""
    width = max(shown.width_mm, _NARROWEST_MM - 2 * MARGIN_MM)
    names = layers_of(shown)
    words = [
        f"{shown.name}: {shown.view.words}",
        *new_cuts_words(shown),
        f"Block {shown.width_mm:g} x {shown.height_mm:g} mm. UNITS=MM. {_depth_words(job)} "
        "Outlines are as drawn, not offset for kerf.",
        *more,
        *_board_words(job, shown),
        *(f"{layer.name}: {layer.drawn}: {layer.asks}." for layer in (layers[name] for name in names)),
        "Colours carry no meaning: set each layer by its name, as the shop does it. Read the note first.",
    ]
    return around(shown, width, words)


def new_cuts_words(shown: Seen) -> tuple[str, ...]:
    """What a machine file says of a block that is cut already: readers know it by these words."""
    if len(shown.cut_before) == 0:
        return ()
    return (f"{NEW_CUTS_ONLY}; what was cut is not in this file. See {CUT_PICTURE}.",)


def _depth_words(job: Job) -> str:
    return f"Cut areas {job.depth_mm:g} mm deep." if len(job.block.lowered) else "Nothing is lowered."


def layers_of(shown: Seen) -> tuple[str, ...]:
    """The layers of a machine file of this block, in the order in which they are worked."""
    return machine_layers(free=len(shown.free) > 0, stops=len(shown.stops) > 0, waste=shown.waste_mm > 0)


def _board_words(job: Job, shown: Seen) -> tuple[str, ...]:
    """What must be said if the board is larger than the picture."""
    if job.block.register is None or not shown.waste_mm:
        return ()
    left, bottom, right, top = shown.board.bounds
    return (
        f"The board is {right - left:g} x {top - bottom:g} mm: {shown.waste_mm:g} mm of waste on every side of the "
        "picture carry the register.",
        *job.block.register.words,
    )


def margin_mm(shown: Seen) -> float:
    """Free edge of a sheet around the picture."""
    return max(MARGIN_MM, shown.waste_mm + 2.0)


def around(shown: Seen, width: float, words: Sequence[str]) -> Sheet:
    """A sheet `width` mm wide between its margins, with a check bar and `words` under the block."""
    margin = margin_mm(shown)
    bar_top = -margin - 2.0
    bar = shapely.box(0, bar_top - 2.0, BAR_MM, bar_top)
    beside = TextLine(at=(BAR_MM + 2, bar_top - 2.0), size_mm=_TEXT_MM, text="100 mm: measure")
    first = bar_top - 2.0 - _LEADING_MM - 1.6
    lines = [beside] + [
        TextLine(at=(0.0, round(first - k * _LEADING_MM, 3)), size_mm=_TEXT_MM, text=text)
        for k, text in enumerate(wrapped(words, width, _TEXT_MM))
    ]
    return Sheet(
        left=-margin,
        right=width + margin,
        top=shown.height_mm + margin,
        bottom=lines[-1].at[1] - _LEADING_MM,
        register=register_shapes(shown),
        bar=bar,
        lines=tuple(lines),
    )


def wrapped(words: Sequence[str], width: float, size: float) -> list[str]:
    """`words` as lines not wider than `width` mm in letters `size` mm high; continued lines are set in."""
    fits = max(20, int(width / (0.56 * size)))
    return [line for text in words for line in textwrap.wrap(text, fits, subsequent_indent="   ")]


def register_shapes(shown: Seen) -> PolygonArray:
    """Crosses outside the middle of each side, the same for every block of one size; and its own arrow and name."""
    at = register_places(shown.width_mm, shown.height_mm)
    crosses = clear_of_groove(geometry.polygon_array(cross(x, y) for x, y in at), shown.face, shown.moat_mm)
    return geometry.stack([geometry.snapped(crosses), shown.mark])


def cross(x: float, y: float, *, arm: float = ARM_MM, thick: float = 0.2) -> Polygon:
    """A closed cross outline about (x, y); its lines are `thick` mm wide."""
    t = thick / 2
    corner = [
        (arm, -t),
        (arm, t),
        (t, t),
        (t, arm),
        (-t, arm),
        (-t, t),
        (-arm, t),
        (-arm, -t),
        (-t, -t),
        (-t, -arm),
        (t, -arm),
        (t, -t),
    ]
    return shapely.Polygon([(x + dx, y + dy) for dx, dy in corner])
