"""How a drawing at 1:1 is divided over sheets of paper."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

from carvegen.base.units import paper_mm

__all__ = ["FOOT_MM", "HEAD_MM", "OVERLAP_MM", "SIDE_MM", "UNPRINTED_MM", "Tile", "Tiling", "plan"]

OVERLAP_MM = 12.0  #: neighbouring sheets show this much of each other's drawing
UNPRINTED_MM = 8.0  #: what a usual printer leaves white along each edge; common practice, no source
HEAD_MM = 6.0  #: for the sheet's heading
FOOT_MM = 14.0  #: for the check bar and the map of the sheets
SIDE_MM = 10.0  #: for the check bar where it stands beside a drawing that is too high for a foot


@dataclass(frozen=True, kw_only=True)
class Tile:
    """The part of the drawing that one sheet shows; mm."""

    row: int  #: from 1 at the top
    column: int  #: from 1 at the left
    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True, kw_only=True)
class Tiling:
    """All sheets, row by row from the top, and the crosses by which they are joined."""

    page: tuple[float, float]  #: width and height of the paper as it lies, mm
    rows: int
    columns: int
    tiles: tuple[Tile, ...]
    joins: tuple[tuple[float, float], ...]
    bounds: tuple[float, float, float, float]  #: left, bottom, right and top of the drawing
    foot_mm: float = FOOT_MM  #: room below the drawing; 0: the check bar stands beside it


def plan(bounds: tuple[float, float, float, float], paper: str) -> Tiling:
    """The fewest sheets of `paper` that show left, bottom, right, top at 1:1, upright if that is as good.

    A drawing that goes on one sheet only without a foot below it has the check bar beside it.

    Raises
    ------
    InputError
        If the paper is unknown.
    """
    width, height = paper_mm(paper)
    pages = ((width, height), (height, width))
    every = [*(_plan(bounds, page) for page in pages), *(_plan(bounds, page, beside=True) for page in pages)]
    return min((plan for plan in every if plan.foot_mm or len(plan.tiles) == 1), key=lambda plan: len(plan.tiles))


def _plan(bounds: tuple[float, float, float, float], page: tuple[float, float], *, beside: bool = False) -> Tiling:
    left, bottom, right, top = bounds
    side, foot = (SIDE_MM, 0.0) if beside else (0.0, FOOT_MM)
    wide = page[0] - 2 * UNPRINTED_MM - side
    high = page[1] - 2 * UNPRINTED_MM - HEAD_MM - foot
    columns, rows = _count(right - left, wide), _count(top - bottom, high)
    across = [left + k * (wide - OVERLAP_MM) for k in range(columns)]
    down = [top - k * (high - OVERLAP_MM) for k in range(rows)]
    tiles = tuple(
        Tile(row=row, column=column, left=x, bottom=y - high, right=x + wide, top=y)
        for row, y in enumerate(down, start=1)
        for column, x in enumerate(across, start=1)
    )
    joins = tuple(_joins(across, [max(y - high, bottom) for y in down], down, min(wide, right - left)))
    return Tiling(page=page, rows=rows, columns=columns, tiles=tiles, joins=joins, bounds=bounds, foot_mm=foot)


def _count(length: float, window: float) -> int:
    return max(1, math.ceil((length - OVERLAP_MM) / (window - OVERLAP_MM) - 1e-9))


def _joins(across: list[float], low: list[float], high: list[float], wide: float) -> list[tuple[float, float]]:
    """Two crosses in the middle of the overlap of each pair of neighbouring sheets."""
    half = OVERLAP_MM / 2
    beside = [
        (x + half, bottom + share * (top - bottom))
        for x, (bottom, top), share in itertools.product(across[1:], zip(low, high, strict=True), (0.25, 0.75))
    ]
    above = [(x + share * wide, y - half) for y, x, share in itertools.product(high[1:], across, (0.25, 0.75))]
    return beside + above
