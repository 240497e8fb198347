"""What lies around the paths on their files: the words that say, layer by layer, what is asked."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from shapely.affinity import translate

from carvegen.blocks.views import View, corner
from carvegen.writers.sheet import MARGIN_MM, around, margin_mm

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.layer_names import Layer
    from carvegen.blocks.views import Seen
    from carvegen.toolpaths.paths import Plan
    from carvegen.writers.sheet import Sheet

__all__ = ["origin_shift", "plan_sheet", "shifted"]

_NARROWEST_MM = 150.0

_ORIGINS = {
    "lower-left": "the block's lower left corner as it lies face up",
    "lower-right": "the block's lower right corner as it lies face up",
    "upper-left": "the block's upper left corner as it lies face up",
    "upper-right": "the block's upper right corner as it lies face up",
    "middle": "the middle of the block",
}


def plan_sheet(plan: Plan, shown: Seen, layers: list[Layer], *, origin: bool) -> Sheet:
    """The sheet of a file with paths; `origin`: whether its numbers begin at the machine's own corner."""
    where = (
        f" Numbers begin at {_ORIGINS[plan.job.machine.origin]}; x to the right, y upwards."
        if origin
        else (
            f" The block's upper left corner lies {margin_mm(shown):g} mm from the left and from the upper edge of "
            "this page."
        )
    )
    tool = "beam" if plan.job.machine.kind == "laser" else "cutter"
    colours = "Colours are the shop's own" if plan.job.machine.layer_colours else "Colours carry no meaning"
    words = [
        f"{shown.name}: PATHS, in working order. {shown.view.words}",
        f"Block {shown.width_mm:g} x {shown.height_mm:g} mm. UNITS=MM.{where} Lines are where the middle of the "
        f"{tool} goes: its width is allowed for; allow for nothing more.",
        *(f"{k}. {layer.name} ({layer.drawn}): {layer.asks}." for k, layer in enumerate(layers, start=1)),
        "BLOCK EDGE: where the block lies; NOTES: to be read and measured: neither is worked.",
        *_arrow(shown),
        f"{colours}: set each layer by its name, as the shop does it. Read the note first.",
    ]
    return around(shown, max(shown.width_mm, _NARROWEST_MM - 2 * MARGIN_MM), words)


def _arrow(shown: Seen) -> Iterator[str]:
    """What the arrow with the block's name is for."""
    if len(shown.mark):
        way = "right" if shown.view is View.PLAIN else "left"
        yield f"Arrow above the block, among NOTES: it points to the {way} here. If not, the file was flipped."


def shifted(sheet: Sheet, x: float, y: float) -> Sheet:
    """The sheet moved."""
    return replace(
        sheet, left=sheet.left + x, right=sheet.right + x, bottom=sheet.bottom + y, top=sheet.top + y,
        bar=translate(sheet.bar, x, y),
        lines=tuple(replace(line, at=(line.at[0] + x, line.at[1] + y)) for line in sheet.lines),
    )  # fmt: skip


def origin_shift(plan: Plan, shown: Seen) -> tuple[float, float]:
    """How far all moves so that the machine's corner is the origin."""
    x, y = corner(plan.job.machine.origin, shown.width_mm, shown.height_mm)
    return -x, -y
