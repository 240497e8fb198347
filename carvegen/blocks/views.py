"""Print view and block view; the only place that mirrors."""

from __future__ import annotations

import enum
from dataclasses import dataclass
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import numpy as np

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.blocks.block import Block
from carvegen.blocks.register_marks import Register, name_mark

if TYPE_CHECKING:
    from collections.abc import Iterable

    from shapely import Polygon

    from carvegen.blocks.job import Job
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["Seen", "View", "corner", "points_seen", "seen"]


class View(enum.Enum):
    """From which side a file shows the block."""

    PRINT = "print"
    BLOCK = "block"
    PLAIN = "unmirrored"  #: a block that is not mirrored, as it lies

    @property
    def words(self) -> str:
        """The sentence that every file carries."""
        return _WORDS[self]


_WORDS = {
    View.PRINT: "PRINT VIEW: as the paper will show it. The block is its mirror image.",
    View.BLOCK: "BLOCK VIEW: mirrored, as the block lies face up. The print will read the right way round.",
    View.PLAIN: "NOT MIRRORED: as it lies, face up, it reads the same way round as the print. Do not mirror it.",
}


@dataclass(frozen=True, kw_only=True, eq=False)
class Seen:
    """A block as one view shows it: mm, x right, y up, origin at the lower left corner."""

    name: str
    view: View
    width_mm: float
    height_mm: float
    cuts: PolygonArray  #: on the face
    lowered: PolygonArray  #: on the whole board: the cuts, and what is lowered of the waste
    cut_before: PolygonArray  #: of that what is cut already
    to_cut: PolygonArray  #: of that what is not cut yet
    cut_outs: PolygonArray
    kept: PolygonArray
    free: PolygonArray
    stops: PolygonArray  #: where the sheet lies against the board, or pins go through it
    mark: PolygonArray  #: arrow and name in the waste
    waste_mm: float  #: strip of board outside the face
    moat_mm: float  #: of it, the groove round the picture

    @property
    def board(self) -> Polygon:
        """The board's rectangle: the face, and the waste round it."""
        return self.face.buffer(self.waste_mm, join_style="mitre") if self.waste_mm else self.face

    @property
    def face(self) -> Polygon:
        """The block's rectangle."""
        return geometry.box(self.width_mm, self.height_mm)

    def places(self, at: Iterable[tuple[float, float]]) -> Floats:
        """Places given in print view, as this view shows them; (n, 2)."""
        xy = np.array(list(at), dtype=np.float64).reshape(-1, 2)
        if self.view is View.BLOCK:
            xy[:, 0] = self.width_mm - xy[:, 0]
        return xy

    def direction_deg(self, print_deg: float) -> float:
        """A direction given in print view, from the x axis, as this view shows it."""
        return 180 - print_deg if self.view is View.BLOCK else print_deg


def seen(what: Job | Block, view: View) -> Seen:
    """The block of a job, or a block, in a view: a block is its print with x as ``width - x``.

    A block that is not turned (an embossing die that presses from the back) lies as its print shows it: asked for
    the block view, it comes in `View.PLAIN`.

    The size is put on the grid first, so that mirrored coordinates stay on it. All files of a block share its views.
    """
    block = what if isinstance(what, Block) else what.block
    view = View.PLAIN if view is View.BLOCK and not block.turned else view
    views = _VIEWS.setdefault(block, {})
    if view not in views:
        views[view] = _seen(block, view)
    return views[view]


#: The views of each block as long as it lives.
_VIEWS: WeakKeyDictionary[Block, dict[View, Seen]] = WeakKeyDictionary()


@collector_at_rest()
def _seen(block: Block, view: View) -> Seen:
    width, height = round(block.width_mm, 3), round(block.height_mm, 3)
    turn = view is View.BLOCK
    register = block.register or Register(mark=name_mark((width, height), block.name))
    arrays = (
        block.cuts, block.lowered, block.cut_before, block.to_cut, block.cut_outs, block.kept, block.free,
        register.stops, register.mark,
    )  # fmt: skip
    each = {id(shapes): shapes for shapes in arrays}  # mostly the cuts are all that is lowered, and is to be cut
    shown = {k: geometry.mirrored(shapes, width) if turn else shapes for k, shapes in each.items()}
    cuts, lowered, cut_before, to_cut, cut_outs, kept, free, stops, mark = (shown[id(shapes)] for shapes in arrays)
    return Seen(
        name=block.name, view=view, width_mm=width, height_mm=height, cuts=cuts, lowered=lowered,
        cut_before=cut_before, to_cut=to_cut, cut_outs=cut_outs, kept=kept, free=free, stops=stops, mark=mark,
        waste_mm=register.waste_mm, moat_mm=register.moat_mm,
    )  # fmt: skip


def points_seen(xyz: Floats, width_mm: float, view: View) -> Floats:
    """Points of a block of this width, print view, as a view shows them; (n, 3) mm in the same order."""
    if view is not View.BLOCK:
        return xyz
    shown = xyz + 0.0
    np.subtract(round(width_mm, 3), xyz[:, 0], out=shown[:, 0])
    return shown


def corner(origin: str, width_mm: float, height_mm: float) -> tuple[float, float]:
    """Where a machine's coordinates begin on a block as it lies: one of `ORIGINS`; x right, y up from lower left."""
    if origin == "middle":
        return round(width_mm, 3) / 2, round(height_mm, 3) / 2
    return round(width_mm, 3) * origin.endswith("right"), round(height_mm, 3) * origin.startswith("upper")
