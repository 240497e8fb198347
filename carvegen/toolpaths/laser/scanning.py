"""Areas filled with lines: parallel from side to side, or nested along their outlines."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import each_part
from carvegen.geometry.edges import either
from carvegen.toolpaths.paths import (
    Paths,
    from_rings,
    joined,
    no_paths,
    picked,
)
from carvegen.toolpaths.sequence.order import ordered

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices, Mask, PolygonArray, Rings

__all__ = [
    "begun_at", "contours", "from_leftmost", "go_round", "outlines", "ringed_outlines", "row_crossings",
    "scan_lines",
]  # fmt: skip

_TURNS_MM2 = 1e-9  #: of a side's triangle with the middle, twice: more than rounding
_FEWEST = 3  #: points of a ring
_SHORTEST_MM = 0.02  #: a line shorter than it burns a spot that its neighbours burn anyway


def scan_lines(shapes: PolygonArray, spacing_mm: float) -> Paths:
    """Level lines inside shapes, row by row upwards, there and back in turn.

    Row k lies at ``(k + 1/2) spacing``. Where an outline is crossed is found for all edges at once, and
    crossings of one row and shape pair up by the even-odd rule.
    """
    rings = geometry.rings(shapes)
    x, y = np.ascontiguousarray(rings.xy.T)
    edge, row, x = row_crossings(x, y, rings.edge_ends, spacing_mm)
    order = np.lexsort((x, rings.owner[rings.ring[edge]], row))
    row, left, right = row[order][::2], x[order][::2], x[order][1::2]
    long = right - left >= _SHORTEST_MM
    row, left, right = row[long], left[long], right[long]
    back = row % 2 == 1
    order = np.lexsort((np.where(back, -right, left), row))
    begin, end = np.where(back, right, left)[order], np.where(back, left, right)[order]
    y = (row[order] + 0.5) * spacing_mm
    xyz = np.stack([np.column_stack([side, y, np.zeros(len(y))]) for side in (begin, end)], axis=1)
    return Paths(xyz.reshape(-1, 3), 2 * np.arange(len(y) + 1), np.zeros(len(y), dtype=bool))


def row_crossings(x: Floats, y: Floats, onward: Indices, spacing: float) -> tuple[Indices, Indices, Floats]:
    """Where edges cross a row: the edge, the row and x; an even number for each row and closed outline.

    An edge runs from the point of its number to the one that is `onward`; (points,) each.
    """
    above = np.ceil(y / spacing - 0.5).astype(np.int64)  # the first row not below each point
    to_above = above.take(onward)
    count = np.abs(to_above - above)  # a corner on a row counts once for two edges
    crosses = np.flatnonzero(count)
    count, low = count.take(crosses), np.minimum(above, to_above).take(crosses)
    which = np.repeat(np.arange(len(crosses)), count)
    row = np.arange(len(which)) + (low - (np.cumsum(count) - count)).take(which)
    ends = onward.take(crosses)
    x, y, to_x, to_y = x.take(crosses), y.take(crosses), x.take(ends), y.take(ends)
    left, bottom, wide, high = (side.take(which) for side in (x, y, to_x - x, to_y - y))
    return crosses.take(which), row, left + ((row + 0.5) * spacing - bottom) / high * wide


def contours(shapes: PolygonArray, spacing_mm: float, *, most: int = 0) -> tuple[Paths, Indices]:
    """Outlines of the shapes, and inside them outlines `spacing_mm` further in until nothing is left.

    Shape by shape in the order given, in each from the inside outwards; every ring begins at its left. Where a
    shape falls into several on the way, its rings come by a short way instead.

    Parameters
    ----------
    most
        So many times at most; 0: until nothing is left.

    Returns
    -------
    tuple
        The rings, and for each the number of its shape.

    """
    rings, owners, levels = [], [], []
    owner, level = np.arange(len(shapes)), 0
    while len(shapes) and (not most or level < most):
        paths, whose = outlines(shapes)
        rings.append(paths)
        owners.append(owner[whose])
        levels.append(np.full(len(paths), level))
        smaller = geometry.offset(shapes, -spacing_mm)
        pieces, where = shapely.get_parts(smaller, return_index=True)
        whole = shapely.area(pieces) > 0
        shapes, owner, level = pieces[whole], owner[where[whole]], level + 1
    if not rings:
        return no_paths(), np.empty(0, dtype=np.int64)
    all_, level_of = np.concatenate(owners), np.concatenate(levels)
    order = np.lexsort((-level_of, all_))
    return _branches_in_order(picked(joined(rings), order), all_[order], level_of[order])


def _branches_in_order(paths: Paths, owner: Indices, level: Indices) -> tuple[Paths, Indices]:
    """Rings shape by shape; those of a shape with several on one level by a short way."""
    alike = (np.diff(owner) == 0) & (np.diff(level) == 0)
    parts, done = [], 0
    spans = np.searchsorted(owner, np.unique(owner[1:][alike])[:, None] + [0, 1])
    for (begin, end), ordering in zip(spans.tolist(), each_part(np.ptp(spans, axis=1).tolist()), strict=True):
        with ordering:
            parts += [picked(paths, np.arange(done, begin)), ordered(picked(paths, np.arange(begin, end)))]
        done = end
    return joined([*parts, picked(paths, np.arange(done, len(paths)))]), owner


def from_leftmost(paths: Paths) -> Paths:
    """Closed paths, each begun at its leftmost point, so that nested ones begin near one another."""
    first, x = paths.start[:-1], np.ascontiguousarray(paths.xyz[:, 0])
    hit = np.flatnonzero(x == np.repeat(np.minimum.reduceat(x, first), np.diff(paths.start)))
    return begun_at(paths, hit[np.searchsorted(hit, first)] - first)


def outlines(shapes: PolygonArray) -> tuple[Paths, Indices]:
    """The rings of shapes on the grid of all files, each begun at its left; and for each the number of its shape.

    Rounded point by point; a shape that doesn't stay whole so (points fall together, edges cross) is laid on the
    grid as a whole, or what of it is narrower than the grid would be followed there and back.
    """
    rings = geometry.rings(shapes)
    on_grid = _on_grid(rings)
    paths, whose, whole = from_rings(on_grid), on_grid.owner, _whole(shapes, rings, on_grid)
    if not whole.all():
        rest = np.flatnonzero(~whole)
        others = _laid_on_grid(shapes[rest])
        kept = np.append(whole[whose], np.ones(len(others), dtype=bool))
        paths, whose = joined([paths, from_rings(others)]), np.append(whose, rest[others.owner])
        order = np.flatnonzero(kept)[np.argsort(whose[kept], kind="stable")]
        paths, whose = picked(paths, order), whose[order]
    return from_leftmost(paths), whose


def ringed_outlines(
    shapes: NDArray[np.object_], inner: NDArray[np.object_], nested: Mask | None = None
) -> tuple[Paths, Mask]:
    """As `outlines`, of shapes less the inner ones beside them, where that leaves plain rings; and where it does, (n,).

    Told are rings of which neither line surely crosses itself and one lies properly in the other, on the grid: of each
    its outline, then its hole. Of `nested` ones, (n,), it is known that they lie so, and GEOS is not asked.
    """
    ringed = np.ones(len(shapes), dtype=bool)
    for each in (inner, shapes):  # mostly few have one inside
        some = each[ringed]
        plain = (shapely.get_type_id(some) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(some)
        ringed[ringed] = plain & (shapely.get_num_interior_rings(some) == 0)
    rings = _on_grid(_every_second_turned(geometry.rings(np.column_stack([shapes[ringed], inner[ringed]]).ravel())))
    round_ = _go_round_in_pairs(rings, int(np.count_nonzero(ringed)))
    ringed[ringed], rings = round_, _of_pairs(rings, round_)
    told = np.zeros(np.count_nonzero(ringed), dtype=bool) if nested is None else nested[ringed]
    told[~told] = _nested(_of_pairs(rings, ~told))
    ringed[ringed], rings = told, _of_pairs(rings, told)
    return from_leftmost(from_rings(rings)), ringed


def _every_second_turned(rings: Rings) -> Rings:
    """Outlines, every second of which is run as a hole; where it begins stays."""
    hole = np.arange(len(rings)) % 2 == 1
    first, size, nth = rings.spread(rings.start[:-1]), rings.spread(rings.sizes), geometry.counted(rings.sizes)
    point = first + np.where(rings.spread(hole) & (nth > 0), size - nth, nth)
    return replace(rings, xy=rings.xy.take(point, axis=0), hole=hole)


def _go_round_in_pairs(rings: Rings, pairs: int) -> Mask:
    """Of which pairs, owner 2k and 2k + 1, both go round; (pairs,)."""
    return np.asarray(np.bincount(rings.owner[go_round(rings)] // 2, minlength=pairs) == 2)


def _nested(rings: Rings) -> Mask:
    """Of which pairs the second lies in the first and touches it nowhere; (pairs,)."""
    outer, inner = geometry.polygons_of(rings.xy, rings.start).reshape(-1, 2).T
    return np.asarray(shapely.contains_properly(outer, inner))


def _of_pairs(rings: Rings, which: Mask) -> Rings:
    """The rings of the pairs that are said, numbered anew."""
    if which.all():
        return rings
    kept = which[rings.owner // 2]
    xy = rings.xy.compress(rings.spread(kept), axis=0)
    count = np.count_nonzero(kept)
    return geometry.Rings(xy, geometry.starts(rings.sizes[kept]), np.arange(count), rings.hole[kept])


def _whole(shapes: PolygonArray, rings: Rings, on_grid: Rings) -> Mask:
    """Which shapes stay what they are where the points of their rings are rounded one by one; (shapes,)."""
    count = np.bincount(rings.owner, minlength=len(shapes))
    whole = np.zeros(len(shapes), dtype=bool)
    whole[on_grid.owner[go_round(on_grid)]] = True
    whole &= count == 1
    unsure = ~whole & (np.bincount(on_grid.owner, minlength=len(shapes)) == count)
    unsure[on_grid.owner[(on_grid.twice_areas < 0) != on_grid.hole]] = False
    asked = unsure[on_grid.owner]
    points, size = on_grid.spread(asked), on_grid.sizes[asked]
    whole[unsure] = shapely.is_valid(
        geometry.polygons_of(on_grid.xy.compress(points, axis=0), geometry.starts(size), count[unsure])
    )
    return whole


def _laid_on_grid(shapes: PolygonArray) -> Rings:
    """The rings of shapes, laid on the grid as a whole where rounding spoils them."""
    on_grid = shapely.transform(shapes, _to_grid)
    spoilt = ~shapely.is_valid(on_grid)
    on_grid[spoilt] = shapely.set_precision(shapes[spoilt], geometry.GRID_MM)
    pieces, whose = geometry.owned_parts(on_grid)
    rings = _on_grid(geometry.rings(pieces))
    return replace(rings, owner=whose[rings.owner])


def go_round(rings: Rings | Paths) -> Mask:
    """Which closed lines surely cross themselves nowhere: each side leaves the middle on its left, in one turn.

    Of a hole on its right.
    Such a line meets every ray from the middle once (star-shaped; plane geometry).
    """
    first, sizes, onward = rings.start[:-1], np.diff(rings.start), geometry.onward(rings.start)
    points = rings.xyz if isinstance(rings, Paths) else rings.xy
    x, y = (side - np.repeat(np.add.reduceat(side, first) / sizes, sizes) for side in points.T[:2])
    to_y = y[onward]
    swept = x * to_y - x[onward] * y
    if not isinstance(rings, Paths) and rings.hole.any():
        swept[rings.spread(rings.hole)] *= -1
    left = np.minimum.reduceat(swept, first) > _TURNS_MM2
    turns = np.add.reduceat((y < 0) & (to_y >= 0), first, dtype=np.int64)
    return np.asarray(left & (turns == 1))


def _to_grid(xy: Floats) -> Floats:
    return np.round(xy / geometry.GRID_MM) * geometry.GRID_MM


def _on_grid(rings: Rings) -> Rings:
    """Rings on the grid of all files, without points that fall together there; one that falls to a line is left out."""
    if not len(rings):
        return rings
    steps, first = np.round(rings.xy / geometry.GRID_MM), rings.start[:-1]
    apart = np.empty(len(steps), dtype=bool)
    apart[1:] = either(steps[1:] != steps[:-1])
    apart[first] = either(steps.take(first, axis=0) != steps.take(rings.start[1:] - 1, axis=0))
    count = np.add.reduceat(apart, first, dtype=np.int64)
    kept = count >= _FEWEST
    if not kept.all():
        apart &= rings.spread(kept)
    xy = (steps if apart.all() else steps.compress(apart, axis=0)) * geometry.GRID_MM
    return geometry.Rings(xy, geometry.starts(count[kept]), rings.owner[kept], rings.hole[kept])


def begun_at(paths: Paths, place: Indices) -> Paths:
    """Closed paths, each begun at the point of this number, counted from where it began; (paths,)."""
    count = np.diff(paths.start)
    point = np.arange(len(paths.xyz)) + np.repeat(place, count)
    point -= np.where(point < np.repeat(paths.start[1:], count), 0, np.repeat(count, count))
    return Paths(paths.xyz.take(point, axis=0), paths.start, paths.closed)
