"""The narrow places of a region, one by one: necks, tips and islands that are too thin.

A *neck* is narrowest somewhere along its way; its width is exact (see `carvegen.geometry.necks`). A *tip* only gets
narrower until it ends, in a point or bluntly. An *island* is too thin all round.
"""

from __future__ import annotations

import enum
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen.geometry import linked_groups
from carvegen.geometry.edges import Outline
from carvegen.geometry.necks import Necks, necks_of
from carvegen.geometry.widths import FINE, Widths, local_widths_of

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Rings

__all__ = ["FINE", "Narrow", "NarrowKind", "Spread", "narrow_places", "narrow_spread"]


#: A tip too narrow over less than this share of the limit is a nick in a wall: walls that meet at less than a
#: right angle are too narrow over half the limit at least.
_CHIP = 0.25
_ASTRAY = 2 * 2**0.5 / 3  #: limits, over `fine`: two places may lie so much nearer to one another than measured
_IN_CELL = 0.7  #: a cell's side to its longest way across, a little less than the root of a half


class NarrowKind(enum.IntEnum):
    """What sort of narrow place."""

    NECK = 0
    TIP = 1
    ISLAND = 2


@dataclass(frozen=True)
class Narrow:
    """Narrow places; arrays of one length, in the order of `at`."""

    at: Floats  #: one wall at the narrowest point, mm, (n, 2)
    to: Floats  #: the other wall there
    width: Floats  #: mm
    length: Floats  #: how far along it is too narrow, mm
    direction_deg: Floats  #: in which it runs
    kind: Indices
    first: Indices  #: ring of the one wall
    second: Indices  #: ring of the other

    def __len__(self) -> int:
        return len(self.width)

    def chosen(self, which: Indices) -> Narrow:
        """Some of the places."""
        return Narrow(*(getattr(self, name)[which] for name in self.__dataclass_fields__))


@dataclass(frozen=True)
class Spread:
    """Narrow places and how far each goes along the walls."""

    places: Narrow
    thin: Widths  #: the inner discs along them
    place: Indices  #: for each disc the number of its place; -1 if it belongs to none that counts


def narrow_places(
    outlines: Rings, limit: float, *, limit_at: Callable[[Floats], Floats] | None = None, fine: int = FINE
) -> Narrow:
    """Every place where the region on the left of `outlines` is narrower than asked; see `narrow_spread`."""
    return narrow_spread(outlines, limit, limit_at=limit_at, fine=fine).places


def narrow_spread(
    outlines: Rings,
    limit: float,
    *,
    limit_at: Callable[[Floats], Floats] | None = None,
    fine: int = FINE,
) -> Spread:
    """Every place where the region on the left of `outlines` is narrower than asked, and the discs along it.

    Parameters
    ----------
    limit
        The largest width that is asked anywhere, mm.
    limit_at
        The width asked of a piece that runs in a direction in degrees; `limit` everywhere if not given.
    fine
        Lengths are right to a third of the limit over this. Where it is less than `FINE`, places are one that may be
        so by `FINE`: in a corner of a right angle a disc's centre lies off by the root of two times that third.
    """
    outline = Outline(outlines)
    tight = necks_of(outline, limit)
    if limit_at is not None:
        tight = tight.chosen(tight.width < limit_at(tight.direction_deg))
    thin = local_widths_of(outline, limit, limit_at=limit_at, fine=fine)
    if len(tight) + len(thin) == 0:
        return Spread(_none(), thin, np.empty(0, dtype=np.int64))
    reach = limit / 2 + (_ASTRAY * limit / fine if fine < FINE else 0)
    group = _groups(np.concatenate([(tight.start + tight.end) / 2, thin.centre]), reach)
    result = _described(outlines, tight, thin, group, limit)
    kept = np.flatnonzero((result.kind != NarrowKind.TIP) | (result.length > _CHIP * limit))
    kept = kept[np.lexsort((result.at[kept, 1], result.at[kept, 0]))]
    place = np.full(len(result), -1)
    place[kept] = np.arange(len(kept))
    return Spread(result.chosen(kept), thin, place[group[len(tight) :]])


def _described(outlines: Rings, tight: Necks, thin: Widths, group: Indices, limit: float) -> Narrow:
    """The narrowest point of each group, in their order; an exact neck where it has one."""
    count = int(group.max()) + 1
    of_neck, of_thin = group[: len(tight)], group[len(tight) :]
    ring = outlines.ring
    has_neck = np.bincount(of_neck, minlength=count) > 0
    lone = ~has_neck[of_thin]
    width = np.concatenate([tight.width, thin.width[lone]])
    order = np.lexsort((width, np.concatenate([of_neck, of_thin[lone]])))
    groups = np.concatenate([of_neck, of_thin[lone]])[order]
    best = order[np.flatnonzero(np.diff(groups, prepend=-1))]
    at = np.concatenate([tight.start, thin.at[lone]])[best]
    to = np.concatenate([tight.end, thin.across[lone]])[best]
    away = to - at
    narrow = Narrow(
        at=at,
        to=to,
        width=width[best],
        length=np.bincount(of_thin, thin.length, count) / 2,
        direction_deg=np.degrees(np.arctan2(away[:, 1], away[:, 0])) + 90,
        kind=np.where(has_neck, NarrowKind.NECK, NarrowKind.TIP),
        first=np.concatenate([tight.first, ring[thin.edge[lone]]])[best],
        second=np.concatenate([tight.second, ring[thin.other[lone]]])[best],
    )
    narrow.kind[_round_islands(outlines, thin, of_thin, limit)] = NarrowKind.ISLAND
    return narrow


def _round_islands(outlines: Rings, thin: Widths, group: Indices, limit: float) -> Indices:
    """Groups that take in the whole outline of a piece of the region.

    Not so near its corners, where walls meet at a right angle or more: a strip's two ends and what of its sides
    lies within half its width come to four widths.
    """
    ring = outlines.ring
    ends = outlines.xy[outlines.edge_ends] - outlines.xy
    whole = np.bincount(ring, np.hypot(ends[:, 0], ends[:, 1]), len(outlines))
    around = np.bincount(ring[thin.edge], thin.length, len(outlines))
    islands = (around > whole - 4 * limit) & (outlines.twice_areas > 0)
    on_island = islands[ring[thin.edge]]
    return np.unique(group[on_island])


def _groups(centres: Floats, reach: float) -> Indices:
    """A number for each place; places no further than `reach` from one another share it.

    Pieces of outline are no longer than a third of the limit, so neighbours' discs are no further apart. All in one
    cell of a grid are close: only cells are linked, which are far fewer. They are numbered as they come, as groups are.
    """
    from scipy.spatial import cKDTree

    column, row = np.floor((centres - centres.min(axis=0)) / (_IN_CELL * reach)).astype(np.int64).T
    _, first, cell = np.unique(column * (row.max() + 1) + row, return_index=True, return_inverse=True)
    number = np.empty_like(first)
    number[np.argsort(first)] = np.arange(len(first))
    cell = number[cell]
    one, other = cell[cKDTree(centres).query_pairs(reach, output_type="ndarray").T]
    apart = one != other
    return linked_groups(len(first), one[apart], other[apart])[cell]


def _none() -> Narrow:
    none, ids = np.empty(0), np.empty(0, dtype=np.int64)
    return Narrow(np.empty((0, 2)), np.empty((0, 2)), none, none, none, ids, ids, ids)
