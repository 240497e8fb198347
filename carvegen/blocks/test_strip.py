"""A strip that measures a material and a cutter: ladders of land, dots and cuts, a comb for the kerf, walls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
import shapely

from carvegen import geometry
from carvegen.blocks.block import Block

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely import Polygon

    from carvegen.blocks.job import Setup
    from carvegen.geometry import Floats

    #: What is cut, how wide it is altogether, and where the numbers stand.
    _Made: TypeAlias = tuple[list[Polygon], float, Floats]

__all__ = ["BAR_MM", "PIECES", "PIECE_MM", "WEDGE_MM", "Ladder", "Strip", "rungs_for", "strip_for"]

PIECES, PIECE_MM = 8, 6.0  #: of the comb: how many, and how wide each is drawn
BAR_MM = 10.0  #: width of the bar that callipers measure
WEDGE_MM = (4.0, 40.0)  #: the cut that tapers to nothing: its widest, its length

_STEPS = np.array([0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0])  #: R5 and R10 of ISO 3 (Renard), of the usual minimum
_GAP_MM = 3.0
_LONG_MM = 10.0
_EDGE_MM = 6.0
_NUMBER_MM = 1.9  #: from a rung's end to the middle of its number
_SIZE_MM = (134.0, 84.0)


@dataclass(frozen=True, kw_only=True)
class Ladder:
    """Rungs of growing size, the finest beside the small triangle."""

    name: str
    about: str  #: what to look for
    key: str  #: the value of a profile that it gives
    sizes_mm: tuple[float, ...]
    rungs: tuple[tuple[float, float], ...]  #: where each one's number stands, beside it; print view, mm


@dataclass(frozen=True, kw_only=True, eq=False)
class Strip:
    """A block to be cut once, and what can be read from it."""

    block: Block
    ladders: tuple[Ladder, ...]
    has_comb: bool  #: pieces cut out of it


def rungs_for(setup: Setup) -> dict[str, tuple[float, ...]]:
    """The sizes of each ladder of a setup's strip as drawn, the finest first, by the value that they give."""
    return {ladder.key: ladder.sizes_mm for ladder in strip_for(setup).ladders}


def strip_for(setup: Setup) -> Strip:
    """The strip for a setup: sizes lie about what the profiles say is the least, from two fifths to twice of it.

    Lands along and across the grain are measured apart where there is a grain; it runs along the strip. The comb is
    for machines: its pieces are cut out along their outlines, whatever the kerf.
    """
    ladders, cuts, x = [], [], _EDGE_MM
    limits, top = setup.face_limits, _SIZE_MM[1] - _EDGE_MM
    for name, key, about, least, make in (
        ("land across the grain", "land_across_mm", _LINES, limits.land_across_mm, _upright),
        ("land along the grain", "land_along_mm", _LINES, limits.land_along_mm, _level),
        ("dots of land", "dot_mm", _DOTS, limits.dot_mm, _dots),
        ("cuts", "cut_mm", _CUTS, limits.cut_mm, _slits),
    ):
        if key == "land_along_mm" and setup.material.grain == "none":
            continue
        grid = 0.05 if least >= 0.5 else 0.02
        sizes = np.round(least * _STEPS / grid) * grid
        made, width, rungs = make(sizes, (x, top))
        cuts += [*made, shapely.Polygon([(x, top), (x, top - 2.0), (x + 1.6, top - 1.0)])]  # points at the finest rung
        x += width + _GAP_MM
        sized = tuple(np.round(sizes, 2).tolist())
        ladders.append(Ladder(name=_plain(name, setup), about=about, key=key, sizes_mm=sized, rungs=_places(rungs)))
    has_comb = setup.machine.kind != "hand"
    block = Block(
        name=f"test strip {setup.material.key} {setup.cutter.key}",
        width_mm=max(_SIZE_MM[0], round(x + _EDGE_MM)),
        height_mm=_SIZE_MM[1],
        cuts=geometry.snapped(geometry.polygon_array([*cuts, _wedge(), *_beside_bar()])),
        cut_outs=geometry.snapped(geometry.polygon_array(_comb())) if has_comb else geometry.empty(),
    )
    return Strip(block=block, ladders=tuple(ladders), has_comb=has_comb)


_LINES = "the narrowest line that stands along its whole length and prints without a break"
_DOTS = "the smallest dot that stands, does not break off when it is rubbed with a thumb, and prints round"
_CUTS = "the narrowest cut that is open to its full depth and prints as a clear white line"


def _plain(name: str, setup: Setup) -> str:
    return name.split(" across", maxsplit=1)[0] if setup.material.grain == "none" else name


def _places(rungs: Floats) -> tuple[tuple[float, float], ...]:
    return tuple((x, y) for x, y in np.round(rungs, 3).tolist())


def _above(x: Floats, top: float) -> Floats:
    """Places for numbers above the rungs at `x`."""
    return np.column_stack([x, np.full(len(x), top + _NUMBER_MM)])


def _upright(widths: Floats, corner: tuple[float, float]) -> _Made:
    """Lines of land that run up, between cuts; below and to the right of the corner."""
    ends = np.cumsum(np.r_[0, widths + _GAP_MM])
    x = corner[0] + 2.0
    made = [shapely.box(x + end, corner[1] - _LONG_MM, x + end + _GAP_MM, corner[1]) for end in ends.tolist()]
    return made, 2.0 + float(ends[-1]) + _GAP_MM, _above(x + ends[1:] - widths / 2, corner[1])


def _level(widths: Floats, corner: tuple[float, float]) -> _Made:
    """Lines of land that run to the right."""
    ends = np.cumsum(np.r_[0, widths + _GAP_MM])
    x, y = corner[0] + 2.0, corner[1]
    made = [shapely.box(x, y - end - _GAP_MM, x + _LONG_MM, y - end) for end in ends.tolist()]
    middles = y - ends[1:] + widths / 2
    return made, 2.0 + _LONG_MM, np.column_stack([np.full(len(widths), x + _LONG_MM + _NUMBER_MM), middles])


def _dots(across: Floats, corner: tuple[float, float]) -> _Made:
    """Two of each dot, free in one cut."""
    ends = np.cumsum(across + _GAP_MM)
    x = corner[0] + 2.0
    centres = np.column_stack([x + ends - across / 2, np.full(len(across), corner[1] - _LONG_MM / 3)])
    centres = np.concatenate([centres, centres - [0, _LONG_MM / 3]])
    dots = shapely.buffer(geometry.dots(centres), np.tile(across, 2) / 2, quad_segs=16)
    field = shapely.box(x, corner[1] - _LONG_MM, x + float(ends[-1]) + _GAP_MM, corner[1])
    around = geometry.parts(shapely.difference(field, shapely.union_all(dots))).tolist()
    return around, 2.0 + float(ends[-1]) + _GAP_MM, _above(x + ends - across / 2, corner[1])


def _slits(widths: Floats, corner: tuple[float, float]) -> _Made:
    ends = np.cumsum(np.r_[0, widths + _GAP_MM])
    x = corner[0] + 2.0
    made = [
        shapely.box(x + end, corner[1] - _LONG_MM, x + end + width, corner[1])
        for end, width in zip(ends.tolist(), widths.tolist(), strict=False)
    ]
    return made, 2.0 + float(ends[-1]), _above(x + ends[:-1] + widths / 2, corner[1])


def _wedge() -> Polygon:
    widest, length = WEDGE_MM
    x, y = _EDGE_MM, _EDGE_MM + 14.0
    return shapely.Polygon([(x, y - widest / 2), (x + length, y), (x, y + widest / 2)])


def _beside_bar() -> Sequence[Polygon]:
    """Two cuts, open at the lower edge so that callipers reach the bar between them."""
    x, high, wide = _EDGE_MM + WEDGE_MM[1] + 8.0, 20.0, 10.0
    right = x + wide + BAR_MM
    return [shapely.box(x, 0, x + wide, high), shapely.box(right, 0, right + wide, high)]


def _comb() -> Sequence[Polygon]:
    left, bottom = _EDGE_MM, _EDGE_MM + 24.0
    return [
        shapely.box(x, bottom, x + PIECE_MM, bottom + 12.0)
        for x in (left + k * (PIECE_MM + 3.0) for k in range(PIECES))
    ]
