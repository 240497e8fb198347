"""What a register error does: where, how often, how wide a white line or an ink on the snow shows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part, reached
from carvegen.geometry.depth_grid import depths
from carvegen.prints.misregister.block_placement import drawn_moves, worst_pull_mm

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.facts.register import RegisterPlan
    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.geometry.depth_grid import Depths
    from carvegen.prints.misregister.block_placement import Inked, Placements

__all__ = ["MEET_MM", "STEP_MM", "Meetings", "TrialOutcome", "gaps", "meetings", "outcome"]

STEP_MM = 0.4  #: how close along an edge places are looked at
_RUN = 3  #: so many neighbouring places in a row must fail before it is seen: about 1 mm of edge
MEET_MM = 0.03  #: edges no further apart than this meet
#: Shares of the time, measured: depths are laid on grids, places are looked for, prints are tried.
_TIMES = (0.8, 0.05, 0.15)
_CHUNK = 4_000_000  #: places times prints that are computed at once, for memory's sake
_AT_ONCE = 30_000  #: of those that are looked up at once, so that they stay in the processor's cache


@dataclass(frozen=True, kw_only=True, eq=False)
class Meetings:
    """Places along a lighter ink's edge where a darker one hides it."""

    block: int  #: number of the lighter block
    xy: Floats  #: (n, 2), mm
    linked: Mask  #: whether the next place is the next along the same edge; (n,)
    overlap_mm: Floats  #: how deep the place lies under the darker ink; (n,)
    under: Indices  #: number of the darker block; (n,)
    snow: Mask  #: whether bare paper begins behind the darker ink's rim; (n,)
    away: Floats  #: direction in which the cover is lost first; (n, 2), length 1


@dataclass(frozen=True, kw_only=True, eq=False)
class TrialOutcome:
    """What became of many prints, place by place."""

    places: tuple[Meetings, ...]
    share: tuple[Floats, ...]  #: of the prints in which the place fails; like `places`
    worst_mm: tuple[Floats, ...]  #: how wide it may gape there at worst; below 0: never
    widest_mm: Floats  #: (prints, 2 kinds): the widest of each print that a wider overlap would close
    failed: Mask  #: (prints, 2 kinds): whether a white line, an ink on the snow shows
    line_mm: Floats  #: (prints, 2 kinds): how much of such a line each print shows
    opened_mm2: Floats  #: (prints, 2 kinds): the area of that line


def meetings(blocks: Sequence[Inked], number: int, grids: Sequence[Depths], reach_mm: float) -> Meetings:
    """The places where block `number` runs under darker ones, or meets them.

    Parameters
    ----------
    grids
        The depths of each block.
    reach_mm
        Where bare paper begins no further than this beyond the edge, the place is the snow's.
    """
    block = blocks[number]
    xy, outward, ring = _along(block.land)
    darker = [k for k, other in enumerate(blocks) if other.lightness < block.lightness - 1e-9]
    if not darker or not len(xy):
        return _none(number)
    cover = np.stack([grids[k].at(xy[:, 0], xy[:, 1]) for k in darker])
    under, overlap = np.asarray(darker)[cover.argmax(axis=0)], cover.max(axis=0)
    kept = overlap >= -MEET_MM
    kept &= _inside(xy, grids[0])
    snow = np.zeros(len(xy), dtype=bool)
    for step in np.arange(MEET_MM, reach_mm + MEET_MM, 0.05):
        x, y = (xy + step * outward).T
        snow |= np.max([grid.at(x, y) for grid in grids], axis=0) < -MEET_MM
    linked = np.append((np.diff(ring) == 0) & kept[1:] & kept[:-1], False)[kept]
    away = np.stack([_away(grids[k], xy) for k in darker])[cover.argmax(axis=0), np.arange(len(xy))]
    return Meetings(block=number, xy=xy[kept], linked=linked, overlap_mm=overlap[kept], under=under[kept],
                    snow=snow[kept], away=away[kept])  # fmt: skip


def _none(number: int) -> Meetings:
    nothing = np.empty(0)
    return Meetings(block=number, xy=np.empty((0, 2)), linked=nothing.astype(bool), overlap_mm=nothing,
                    under=nothing.astype(np.int64), snow=nothing.astype(bool), away=np.empty((0, 2)))  # fmt: skip


def _along(land: BaseGeometry) -> tuple[Floats, Floats, Indices]:
    """Places along a land's outlines about every `STEP_MM`, which way is out of it, and the number of the outline.

    Each outline is walked from its first point, on its own: what else stands moves none of its places.
    """
    rings = geometry.rings(geometry.parts(land))
    edges = rings.xy[rings.edge_ends] - rings.xy
    length = np.hypot(*edges.T)
    travelled = geometry.starts(length)
    begin = travelled[rings.start]
    count = np.rint(np.diff(begin) / STEP_MM).astype(np.int64)
    ring = np.repeat(np.arange(len(rings)), count)
    at = begin[ring] + (geometry.counted(count) + 0.5) * (np.diff(begin) / np.maximum(count, 1))[ring]
    edge = np.clip(np.searchsorted(travelled, at, side="right") - 1, 0, len(length) - 1)
    along = edges[edge] / np.maximum(length[edge], 1e-12)[:, None]
    xy = rings.xy[edge] + (at - travelled[edge])[:, None] * along
    return xy, np.column_stack([along[:, 1], -along[:, 0]]), ring


def _inside(xy: Floats, grid: Depths) -> Mask:
    """Whether places lie off the face's rim, where every block simply ends."""
    rim = 2 * grid.pitch_mm
    return np.asarray(((xy > rim) & (xy < np.asarray(grid.size) - rim)).all(axis=1))


def _away(depths: Depths, xy: Floats) -> Floats:
    """The direction in which the depth falls fastest; (n, 2)."""
    h = depths.pitch_mm
    x, y = xy.T
    slope: Floats = np.column_stack(
        [depths.at(x - h, y) - depths.at(x + h, y), depths.at(x, y - h) - depths.at(x, y + h)]
    )
    return np.asarray(slope / np.maximum(np.hypot(*slope.T), 1e-9)[:, None])


def outcome(
    blocks: Sequence[Inked],
    plan: RegisterPlan,
    size: tuple[float, float],
    *,
    seed: int,
    reach_mm: float,
    full_mm: tuple[float, float],
) -> TrialOutcome:
    """Many prints tried out, and the worst that may be.

    A place at a lighter ink's edge lies under darker ink. When the blocks have moved, it fails if no other ink covers
    it any more: a gap as wide as its distance to the nearest ink has opened. It counts once it is as wide as
    `plan.visible_mm` over about 1 mm of edge.

    Parameters
    ----------
    size
        Width and height of the face, mm.
    reach_mm
        See `meetings`.
    full_mm
        Overlap beyond which a place counts as fully trapped, between inks and along the snow: there more would help.
    """
    blocks = [replace(block, land=shapely.normalize(block.land)) for block in blocks]  # so no figure hangs on an order
    measuring, meeting, trying = each_part(_TIMES)
    with measuring:
        grids = [depths(block.land, *size) for block, _ in _each(blocks)]
    with meeting:
        places = tuple(meetings(blocks, number, grids, reach_mm) for _, number in _each(blocks))
    moves = drawn_moves(blocks, plan, size, seed)
    seen = _Seen.nothing(plan.prints)
    shares = []
    with trying:
        for edge, part in zip(places, each_part([len(edge.xy) for edge in places]), strict=True):
            with part:
                shares.append(_tried(edge, grids, moves, plan, full_mm, seen=seen))
    worst = [_pull(edge, blocks, plan, size) - edge.overlap_mm for edge in places]
    return TrialOutcome(
        places=places, share=tuple(shares), worst_mm=tuple(worst), widest_mm=seen.widest_mm,
        failed=seen.line_mm > 0, line_mm=seen.line_mm, opened_mm2=seen.opened_mm2,
    )  # fmt: skip


def _each(blocks: Sequence[Inked]) -> Iterator[tuple[Inked, int]]:
    """Each block with its number; before each it is told how far it is."""
    for number, block in enumerate(blocks):
        reached(number / len(blocks))
        yield block, number


@dataclass(frozen=True, kw_only=True, eq=False)
class _Seen:
    """What each print shows, summed up while edge after edge is tried; each (prints, 2 kinds)."""

    widest_mm: Floats
    line_mm: Floats
    opened_mm2: Floats

    @classmethod
    def nothing(cls, prints: int) -> _Seen:
        """Before anything was tried."""
        zero, none = np.zeros((prints, 2)), np.full((prints, 2), -np.inf)
        return cls(widest_mm=none, line_mm=zero, opened_mm2=zero.copy())


def _pull(meetings: Meetings, blocks: Sequence[Inked], plan: RegisterPlan, size: tuple[float, float]) -> Floats:
    """How far the darker block may at most be drawn off each place; (n,)."""
    far = np.zeros(len(meetings.xy))
    for number in np.unique(meetings.under).tolist():
        there = meetings.under == number
        pair = (blocks[meetings.block], blocks[number])
        far[there] = worst_pull_mm(pair, meetings.xy[there], meetings.away[there], plan, size)
    return far


def _tried(
    meetings: Meetings,
    grids: Sequence[Depths],
    moves: Placements,
    plan: RegisterPlan,
    full_mm: tuple[float, float],
    *,
    seen: _Seen,
) -> Floats:
    """The share of prints in which each place fails; what each print shows is added to `seen`."""
    share = np.zeros(len(meetings.xy))
    before: Mask = np.zeros((plan.prints, 1), dtype=bool)  # whether the row that ends before these places fails
    for first in range(0, len(meetings.xy), max(_RUN, _CHUNK // plan.prints)):
        reached(first / len(meetings.xy))
        some = slice(first, first + max(_RUN, _CHUNK // plan.prints) + _RUN - 1)
        each = gaps(meetings, grids, moves, some)
        gap = _in_a_row(each, meetings.linked[some])
        rows = np.arange(gap.shape[1])
        middle = rows + first + _RUN // 2
        fails = gap >= max(plan.visible_mm, 1e-9)
        share[middle] = np.maximum(share[middle], fails.mean(axis=0))
        places = fails + (_RUN - 1.0) * (fails & ~np.hstack([before, fails])[:, :-1])  # a run's first row has them all
        before = fails[:, -1:] if fails.shape[1] else before
        for kind, mine in enumerate((~meetings.snow[middle], meetings.snow[middle])):
            full = mine & (meetings.overlap_mm[middle] >= full_mm[kind])
            worst = np.where(full, gap, -np.inf).max(axis=1, initial=-np.inf)
            seen.widest_mm[:, kind] = np.maximum(seen.widest_mm[:, kind], worst)
            line = np.where(mine, places, 0.0) * STEP_MM
            seen.line_mm[:, kind] += line.sum(axis=1)
            width = np.where(fails, each[:, rows + _RUN // 2], 0.0)
            seen.opened_mm2[:, kind] += (line * width).sum(axis=1)
    return share


def gaps(meetings: Meetings, grids: Sequence[Depths], moves: Placements, some: slice = slice(None)) -> Floats:
    """How wide it gapes at each place in each print, below 0 where another ink still covers it; (prints, n)."""
    xy = meetings.xy[some]
    cover = np.full((len(moves.shift), len(xy)), -np.inf)
    at_once = max(1, _AT_ONCE // max(len(xy), 1))
    for first in range(0, len(cover), at_once):
        band = slice(first, first + at_once)
        lie, mine = moves.of(band), cover[band]
        for number, depth in enumerate(grids):
            if number != meetings.block:
                np.maximum(mine, depth.at(*lie.between(meetings.block, number, xy)), out=mine)
    return -cover


def _in_a_row(gap: Floats, linked: Mask) -> Floats:
    """The narrowest of `_RUN` neighbouring gaps; -inf where they are not neighbours; (prints, n - _RUN + 1)."""
    count = gap.shape[1] - _RUN + 1
    least = np.min([gap[:, k : k + count] for k in range(_RUN)], axis=0)
    joined = np.all([linked[k : k + count] for k in range(_RUN - 1)], axis=0)
    return np.asarray(np.where(joined, least, -np.inf))
