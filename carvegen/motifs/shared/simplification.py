"""Outlines with fewer vertices, stretch by stretch: what changes elsewhere on an outline changes nothing here."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, cast

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import Indices, Mask, PolygonArray, Rings

__all__ = ["simplified"]

_AMONG = 10  #: a stretch ends at a vertex that is chosen among so many to either side
_SHORT = 2 * _AMONG  #: outlines with fewer vertices stay as they are
_MIX = 0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0xBF58476D1CE4E5B9


def simplified(shapes: PolygonArray, by_mm: float) -> PolygonArray:
    """The polygons with outlines that lie nowhere further than `by_mm` off; (n,), each valid, possibly in parts.

    To simplify a line (Douglas-Peucker) asks the whole of it. So each outline is parted first, at vertices chosen by
    their own place and their near neighbours' alone.
    """
    if len(shapes) == 0:
        return shapes
    rings = geometry.rings(shapes)
    index, line = _stretches(rings)
    thin = shapely.simplify(shapely.linestrings(rings.xy[index], indices=line), by_mm, preserve_topology=False)
    xy, of = shapely.get_coordinates(thin, return_index=True)
    goes_on = np.append(of[1:] == of[:-1], False)  # the last point of a stretch is the first of the next
    ring_of_line = _ring_of(rings, index[np.flatnonzero(np.diff(line, prepend=-1))])
    xy, ring = xy[goes_on], ring_of_line[of[goes_on]]
    xy, ring = _as_before_if_collapsed(rings, xy, ring)
    count = np.bincount(ring, minlength=len(rings))
    closing = np.cumsum(count) - 1
    first = closing + 1 - count
    closed = np.insert(xy, closing + 1, xy[first], axis=0)
    starts = np.append(0, np.cumsum(count + 1))
    polygons = np.append(np.flatnonzero(~rings.hole), len(rings))
    made = shapely.from_ragged_array(cast("Any", shapely.GeometryType.POLYGON), closed, (starts, polygons))
    return np.asarray(shapely.make_valid(made), dtype=object)


def _stretches(rings: Rings) -> tuple[Indices, Indices]:
    """The vertices of all stretches, one after another, both ends included, and each one's stretch."""
    count = np.diff(rings.start)
    chosen = _chosen(rings, count)
    turn = np.minimum.reduceat(np.where(chosen, _within(rings, count), len(chosen)), rings.start[:-1])
    order = np.repeat(rings.start[:-1], count) + (_within(rings, count) + np.repeat(turn, count)) % np.repeat(
        count, count
    )
    begins = np.flatnonzero(chosen[order])
    ends = np.append(begins[1:], len(order))
    length = ends - begins + 1
    line = np.repeat(np.arange(len(begins)), length)
    step = geometry.counted(length)
    at = begins[line] + step
    ring = _ring_of(rings, order[begins])
    back = at >= rings.start[1:][ring][line]  # past the ring's end: at its first vertex again
    at[back] = rings.start[:-1][ring][line][back]
    return order[at], line


def _within(rings: Rings, count: Indices) -> Indices:
    return np.asarray(np.arange(len(rings.xy)) - np.repeat(rings.start[:-1], count))


def _ring_of(rings: Rings, vertices: Indices) -> Indices:
    return np.asarray(np.searchsorted(rings.start, vertices, side="right") - 1)


def _chosen(rings: Rings, count: Indices) -> Mask:
    """The vertices at which stretches begin; at least one on each ring."""
    place = np.rint(rings.xy * 1e4).astype(np.int64).astype(np.uint64)
    rank = place[:, 0] * np.uint64(_MIX[0]) ^ place[:, 1] * np.uint64(_MIX[1])
    rank = (rank ^ (rank >> np.uint64(29))) * np.uint64(_MIX[2])
    within, first, length = _within(rings, count), np.repeat(rings.start[:-1], count), np.repeat(count, count)
    chosen = np.ones(len(rank), dtype=bool)
    for away in range(1, _AMONG + 1):
        for step in (-away, away):
            chosen &= rank <= rank[first + (within + step) % length]
    return np.asarray(chosen | (length < _SHORT))


def _as_before_if_collapsed(rings: Rings, xy: Any, ring: Indices) -> tuple[Any, Indices]:  # noqa: ANN401
    lost = np.bincount(ring, minlength=len(rings)) < 3
    every = np.repeat(np.arange(len(rings)), np.diff(rings.start))
    back, stays = lost[every], ~lost[ring]
    xy, ring = np.concatenate([xy[stays], rings.xy[back]]), np.concatenate([ring[stays], every[back]])
    order = np.argsort(ring, kind="stable")
    return xy[order], ring[order]
