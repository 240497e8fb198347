"""Paths with fewer points: what a straight piece stands for lies within a bound of it, in plan and in depth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.paths import Paths

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["THIN_MM", "points_kept", "thinned", "with_points"]

THIN_MM = 0.004  #: of the 0.02 mm that a cutter may enter land, the share of points left out; our own choice


def thinned(paths: Paths, off_mm: float = THIN_MM) -> Paths:
    """The paths without points that lie within `off_mm` of the straight piece that takes their place, in space."""
    return with_points(paths, points_kept(paths, off_mm))


def with_points(paths: Paths, kept: Mask) -> Paths:
    """The paths with these of their points; (points,). Every path keeps one at least."""
    start = np.concatenate([[0], np.cumsum(np.add.reduceat(kept.astype(np.int64), paths.start[:-1]))])
    return Paths(paths.xyz.compress(kept, axis=0), start, paths.closed)


def points_kept(paths: Paths, off_mm: float | Floats, *, room: PolygonArray | None = None) -> Mask:
    """Which points are needed so that all others lie within `off_mm` of the straight piece that takes their place.

    Every path keeps its first point and a point where it is farthest from the piece, again and again (source:
    douglas-peucker), all paths at once. Ends of open paths stay; a closed path keeps three points at least.

    Parameters
    ----------
    off_mm
        One bound for all, or one for each path; (paths,).
    room
        If given, a straight piece takes the place of points only where it lies in one of these shapes.

    Returns
    -------
    Mask
        (points,)
    """
    kept = np.zeros(len(paths.xyz), dtype=bool)
    if not len(paths):
        return kept
    bound, own = np.broadcast_to(np.asarray(off_mm, dtype=np.float64), len(paths)), np.arange(len(paths))
    first, last = paths.start[:-1], paths.start[1:] - 1
    kept[first] = True
    kept[last[~paths.closed]] = True
    begin, end = first.copy(), np.where(paths.closed, last + 1, last)  # a closed path's end is its first point
    to = np.where(paths.closed, first, last)
    while len(begin := begin[(open_ := end - begin > 1)]):
        end, to, own = end[open_], to[open_], own[open_]
        off, middle = _farthest(paths.xyz, begin, end, to)
        split = off > bound[own]
        if room is not None:
            near = np.flatnonzero(~split)
            split[near] = ~_within(room, paths.xyz[begin[near], :2], paths.xyz[to[near], :2])
        begin, end, to, middle, own = begin[split], end[split], to[split], middle[split], own[split]
        kept[middle] = True
        begin, end, to, own = (
            np.concatenate([begin, middle]), np.concatenate([middle, end]), np.concatenate([middle, to]),
            np.concatenate([own, own]),
        )  # fmt: skip
    few = paths.closed & (np.add.reduceat(kept, first) < _FEWEST)
    return np.asarray(kept | few[paths.owner])


_FEWEST = 3  #: points of a closed path


def _within(room: PolygonArray, begin: Floats, end: Floats) -> Mask:
    """Which straight pieces lie wholly in one of the shapes."""
    inside = np.zeros(len(begin), dtype=bool)
    inside[shapely.STRtree(geometry.lines(begin, end)).query(room, predicate="covers")[1]] = True
    return inside


def _farthest(xyz: Floats, begin: Indices, end: Indices, to: Indices) -> tuple[Floats, Indices]:
    """For each stretch how far the farthest of its inner points lies from its straight piece, and which it is."""
    count = end - begin - 1
    shift = np.cumsum(count) - count
    piece = np.repeat(np.arange(len(count)), count)
    point = np.arange(len(piece)) + (begin + 1 - shift)[piece]
    first = xyz.take(begin, axis=0)
    along, at = xyz.take(to, axis=0) - first, xyz.take(point, axis=0)
    at -= first.take(piece, axis=0)
    scaled = along / np.maximum((along**2).sum(axis=1), 1e-18)[:, None]
    share = np.clip(np.einsum("ij,ij->i", at, scaled.take(piece, axis=0)), 0, 1)
    at -= share[:, None] * along.take(piece, axis=0)
    square = np.einsum("ij,ij->i", at, at)
    most = np.maximum.reduceat(square, shift)
    where = np.flatnonzero(square == most[piece])
    return np.sqrt(most), point[where[np.searchsorted(piece[where], np.arange(len(count)))]]
