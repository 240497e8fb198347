"""Rings of one pocket one after another without lifting, depth by depth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.fewer_points import THIN_MM
from carvegen.toolpaths.paths import (
    Paths,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.router.ramps import Descent, entered, without_repeats

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["pocketed"]

_TOUCH_MM = THIN_MM + 1e-6  #: rings on the outline of where the cutter may go lie so far beyond it


def pocketed(rings: Paths, part: Indices, room: PolygonArray, down: Descent, *, ramped: Mask) -> Paths:
    """Closed paths at the face as they are followed with all their passes, linked where they can be.

    From ring to ring of a pocket the cutter stays down where the straight way between them lies in `room`. A
    pocket is done pass by pass, each begun at its first ring; between passes the cutter stays down, too, where
    the straight way back does.

    Parameters
    ----------
    rings
        The rings of a part follow one another, inner before outer.
    part
        For each ring the number of its polygon in `room`; (rings,).
    room
        Where the middle of the cutter may go.
    ramped
        Which paths may be gone down along; the others are entered straight down; (rings,).
    """
    if not len(rings):
        return no_paths()
    rings = _facing(rings, part)
    at = rings.entries[:, :2]
    linked = np.append(False, part[1:] == part[:-1])
    to = np.flatnonzero(linked)
    linked[to] = _clear(room, part[to], at[to - 1], at[to])
    first = np.flatnonzero(~linked)
    chain = np.cumsum(~linked) - 1
    heads = entered(picked(rings, first), down, ramped=ramped[first], room=room)
    last = np.append(first[1:], len(rings)) - 1
    back = _clear(room, part[first], at[last], heads.entries[:, :2])
    back &= last - first != 1  # of two rings the way back is the link: no line is followed twice
    return _passes(heads, _opened(picked(rings, np.flatnonzero(linked))), chain[linked], back, down)


def _facing(rings: Paths, part: Indices) -> Paths:
    """The same rings, each begun where it is nearest to where the next one of its part begins.

    Of each part the last but one first, of all parts at once.
    """
    begin, count, xy = rings.start[:-1].copy(), np.diff(rings.start), rings.xyz[:, :2]
    ends = np.flatnonzero(np.diff(part, append=-1))
    before_last = ends[np.searchsorted(ends, np.arange(len(rings)))] - np.arange(len(rings))
    order = np.argsort(before_last, kind="stable")
    for some in np.split(order, np.cumsum(np.bincount(before_last))[:-1])[1:]:
        ring = np.repeat(np.arange(len(some)), count[some])
        point = np.repeat(rings.start[some], count[some]) + geometry.counted(count[some])
        step = xy[point] - xy[begin[some + 1]][ring]
        far = np.einsum("ij,ij->i", step, step)
        nearest = np.flatnonzero(far == np.minimum.reduceat(far, geometry.starts(count[some])[:-1])[ring])
        begin[some] = point[nearest[np.searchsorted(ring[nearest], np.arange(len(some)))]]
    owner = rings.owner
    within = np.arange(len(owner)) - rings.start[owner]
    turned = (within + (begin - rings.start[:-1])[owner]) % count[owner]
    return Paths(rings.xyz[rings.start[owner] + turned], rings.start, rings.closed)


def _clear(room: PolygonArray, part: Indices, begin: Floats, end: Floats) -> Mask:
    """Whether the straight ways lie in their parts, or beside them no farther than rings do.

    Most are inside: what is wider is made only where one is not.
    """
    clear = np.asarray((begin == end).all(axis=1))
    some = np.flatnonzero(~clear)
    lines = geometry.lines(begin[some], end[some])
    clear[some] = shapely.covers(room[part[some]], lines)
    out = np.flatnonzero(~clear[some])
    parts, which = np.unique(part[some[out]], return_inverse=True)
    clear[some[out]] = shapely.covers(shapely.buffer(room[parts], _TOUCH_MM, quad_segs=1)[which], lines[out])
    return clear


def _opened(rings: Paths) -> Paths:
    """Closed paths as open ones that end where they began."""
    count = np.diff(rings.start)
    start = np.concatenate([[0], np.cumsum(count + 1)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], count + 1)
    point = np.repeat(rings.start[:-1], count + 1) + within % np.repeat(count, count + 1)
    return Paths(rings.xyz[point], start, np.zeros(len(rings), dtype=bool))


def _passes(heads: Paths, tails: Paths, chain: Indices, back: Mask, down: Descent) -> Paths:
    """Each chain's head and tails, pass after pass; one path where the way back is clear, else one for each pass."""
    k = np.arange(down.passes)
    step = down.depth_mm / down.passes
    parts = [_lowered(heads, j * step) for j in k.tolist()] + [_lowered(tails, (j + 1) * step) for j in k.tolist()]
    pieces = joined(parts)
    own = np.concatenate([np.tile(np.arange(len(heads)), down.passes), np.tile(chain, down.passes)])
    turn = np.concatenate([np.repeat(k, len(heads)), np.repeat(k, len(tails))])
    is_tail = np.arange(len(own)) >= len(heads) * down.passes
    order = np.lexsort([np.arange(len(own)), is_tail, turn, own])
    pieces, own, turn, is_tail = picked(pieces, order), own[order], turn[order], is_tail[order]
    begins = ~is_tail & ((turn == 0) | ~back[own])
    path = np.cumsum(begins) - 1
    return without_repeats(pieces.xyz, path[pieces.owner], int(begins.sum()))


def _lowered(paths: Paths, by_mm: float) -> Paths:
    return Paths(paths.xyz - (0.0, 0.0, by_mm), paths.start, paths.closed)
