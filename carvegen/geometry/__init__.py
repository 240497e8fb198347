"""Arrays of polygons and the operations that several stages share.

Millimetres, print view (as the paper shows it), x right, y up, origin at the face's lower left corner.
A `PolygonArray` is a 1-D object array of valid, non-empty shapely polygons; shapes of one array don't
overlap unless a function says so. Only this file narrows shapely's types.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeAlias, cast

import numpy as np
import shapely
from numpy.typing import NDArray

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

__all__ = [
    "GRID_MM",
    "LARGE",
    "Floats",
    "Indices",
    "Mask",
    "PolygonArray",
    "Rings",
    "both",
    "box",
    "close_pairs",
    "closed_polygons",
    "counted",
    "cropped",
    "difference",
    "dots",
    "empty",
    "farthest",
    "filled",
    "free_of_grid",
    "gone",
    "holes",
    "inside_box",
    "intersection",
    "joined",
    "lines",
    "linked_groups",
    "mirrored",
    "moved",
    "near_groups",
    "offset",
    "on_grid",
    "onward",
    "owned_parts",
    "parts",
    "polygon_array",
    "polygons_of",
    "prepared",
    "regrouped",
    "reversed_rings",
    "rings",
    "room_inside",
    "snapped",
    "solid",
    "stack",
    "stacked",
    "star_radii",
    "starts",
    "to_outline",
    "touching_groups",
    "union",
    "wholly_in",
    "without_inner",
]

Floats: TypeAlias = NDArray[np.float64]
Indices: TypeAlias = NDArray[np.int64]
Mask: TypeAlias = NDArray[np.bool_]
PolygonArray: TypeAlias = NDArray[np.object_]

#: Coordinates are snapped to this grid before they are written: 1 µm, far below what any machine places.
GRID_MM = 0.001

LARGE = 1000  #: corners from which on a shape's sides are put into a tree


@dataclass(frozen=True)
class Rings:
    """The rings of many polygons as flat arrays: outlines and holes, open (first point not repeated).

    ``xy[start[k]:start[k + 1]]`` is ring k; it belongs to polygon ``owner[k]`` and is a hole where
    ``hole[k]``. Outlines run counter-clockwise, holes clockwise.
    """

    xy: Floats  #: (n, 2)
    start: Indices  #: (rings + 1,)
    owner: Indices  #: (rings,)
    hole: Mask  #: (rings,)

    def __len__(self) -> int:
        return len(self.owner)

    @property
    def sizes(self) -> Indices:
        """How many points each ring has; (rings,)."""
        return np.diff(self.start)

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """What each ring has, (rings, …), at each of its points; (n, …)."""
        return np.repeat(values, self.sizes, axis=0)

    @property
    def ring(self) -> Indices:
        """The number of each point's ring; (n,)."""
        return self.spread(np.arange(len(self)))

    @property
    def twice_areas(self) -> Floats:
        """Twice the area within each ring, below 0 where it runs clockwise; mm², (rings,)."""
        start, size, ends = self.start[:-1], self.sizes, self.edge_ends
        x, y = (side - np.repeat(side[start], size) for side in self.xy.T)  # from a near point: no digits are lost
        return np.asarray(np.add.reduceat(x * y.take(ends) - x.take(ends) * y, start))

    @property
    def edge_ends(self) -> Indices:
        """For each point the index of the next point of its ring; (n,)."""
        return onward(self.start)


def counted(sizes: Indices) -> Indices:
    """0, 1, … for each of the runs of these sizes, one after another."""
    return np.arange(sizes.sum()) - np.repeat(np.cumsum(sizes) - sizes, sizes)


def starts(sizes: NDArray[Any]) -> Indices:
    """Where each of the runs of these sizes begins, one after another, and where the last ends; (runs + 1,)."""
    return np.append(0, np.cumsum(sizes))


def onward(start: Indices) -> Indices:
    """For each item of the runs that begin there the next of its run, of the last the first; start: (runs + 1,)."""
    ends = np.arange(1, start[-1] + 1)
    ends[start[1:] - 1] = start[:-1]
    return ends


def polygon_array(shapes: Iterable[BaseGeometry]) -> PolygonArray:
    """A `PolygonArray` of `shapes`; may be empty."""
    result = list(shapes)
    array = np.empty(len(result), dtype=object)
    array[:] = result
    return array


def empty() -> PolygonArray:
    """A `PolygonArray` without shapes."""
    return np.empty(0, dtype=object)


def stack(arrays: Iterable[PolygonArray]) -> PolygonArray:
    """Several arrays as one, in order; may be empty."""
    return np.concatenate([empty(), *arrays])


def parts(geometry: Any) -> PolygonArray:  # noqa: ANN401
    """Every polygon with an area in a geometry or an array of them; lines and points are dropped."""
    return owned_parts(np.atleast_1d(np.asarray(geometry, dtype=object)))[0]


def owned_parts(shapes: NDArray[np.object_]) -> tuple[PolygonArray, Indices]:
    """Every polygon with an area in an array of geometries, and the number of the geometry that it belongs to.

    What is a polygon stays the same object: only the others are taken apart, which copies.
    """
    result, owner = shapes, np.arange(len(shapes))
    while (many := shapely.get_type_id(result) > _POLYGON).any():
        pieces, inner = shapely.get_parts(result[many], return_index=True)
        owner = np.concatenate([owner[~many], owner[many][inner]])
        order = np.argsort(owner, kind="stable")
        result, owner = np.concatenate([result[~many], pieces])[order], owner[order]
    kept = (shapely.get_type_id(result) == _POLYGON) & (shapely.area(result) > 0)
    return result[kept], owner[kept]


def solid(shape: Any) -> BaseGeometry:  # noqa: ANN401
    """The polygons of a geometry, or of an array of them, as one geometry; lines and points are dropped.

    An intersection holds lines and points where outlines only touch, and GEOS refuses to lay such a mixture over
    anything on a grid.
    """
    if np.ndim(shape) == 0 and shapely.get_type_id(shape) in (_POLYGON, _MULTIPOLYGON):
        return cast("BaseGeometry", shape)
    return cast("BaseGeometry", shapely.multipolygons(parts(shape)))


def regrouped(pieces: NDArray[np.object_], group: Indices, count: int) -> NDArray[np.object_]:
    """The polygons of disjoint pieces, each group's as one multipolygon; (count,), empty where a group has none."""
    groups = np.full(count, shapely.MultiPolygon(), dtype=object)
    polygons, piece = owned_parts(pieces)
    own = group[piece]
    order = np.argsort(own, kind="stable")
    shapely.multipolygons(polygons[order], indices=own[order], out=groups)
    return groups


def intersection(shape: Any, other: Any) -> BaseGeometry:  # noqa: ANN401
    """What two shapes share as polygons on the grid; geometries, which may hold lines and points."""
    return solid(shapely.intersection(solid(shape), solid(other), grid_size=GRID_MM))


def difference(shape: Any, taken: Any) -> BaseGeometry:  # noqa: ANN401
    """A shape without another as polygons on the grid; geometries, which may hold lines and points."""
    return solid(shapely.difference(solid(shape), solid(taken), grid_size=GRID_MM))


def without_inner(shapes: NDArray[np.object_], inner: NDArray[np.object_]) -> NDArray[np.object_]:
    """Each shape less the inner one beside it; (n,), may hold empty or multi-part geometries.

    Plain polygons that lie one properly inside the other need no overlay: the inner one's outline is a hole.
    """
    left = shapes.copy()
    some = np.flatnonzero(~shapely.is_empty(inner))
    shapes, inner = shapes[some], inner[some]
    ringed = ~shapely.is_empty(shapes)
    for each in (shapes, inner):
        ringed &= (shapely.get_type_id(each) == _POLYGON) & (shapely.get_num_interior_rings(each) == 0)
    ringed[ringed] = shapely.contains_properly(shapes[ringed], inner[ringed])
    holes = shapely.get_exterior_ring(inner[ringed])
    left[some[ringed]] = shapely.polygons(shapely.get_exterior_ring(shapes[ringed]), holes=holes[:, None])
    left[some[~ringed]] = shapely.difference(shapes[~ringed], inner[~ringed])
    return left


def gone(before: BaseGeometry, after: BaseGeometry) -> BaseGeometry:
    """What of a shape is not there any more: the difference, which may hold lines and points.

    Holes that both have alike, with nothing of either inside, are closed in both first: a land of which little has
    changed has hundreds of them.
    """
    lots = [parts(before), parts(after)]
    rings, owner = shapely.get_rings(stack(lots), return_index=True)
    outer, own = np.diff(owner, prepend=-1) > 0, owner < len(lots[0])
    areas = np.asarray(shapely.polygons(rings), dtype=object)
    key = np.asarray(shapely.to_wkb(shapely.normalize(areas)), dtype=object)
    both = set(key[own & ~outer].tolist()) & set(key[~own & ~outer].tolist())
    alike = np.flatnonzero(~outer & np.fromiter((each in both for each in key.tolist()), np.bool_, len(key)))
    held, _ = shapely.STRtree(shapely.get_point(rings[outer], 0)).query(areas[alike], predicate="intersects")
    kept = np.delete(np.arange(len(rings)), np.delete(alike, held))
    closed = np.asarray(shapely.polygons(rings[kept], indices=owner[kept]), dtype=object)
    one, other = (shapely.multipolygons(lot) for lot in np.split(closed, [len(lots[0])]))
    return cast("BaseGeometry", shapely.difference(one, other))


def cropped(shape: BaseGeometry, area: BaseGeometry) -> BaseGeometry:
    """The shape as far as it lies in the area; itself if it does so wholly: to ask that is far cheaper."""
    return shape if shapely.covers(area, shape) else shapely.intersection(shape, area)


def union(*shapes: Any) -> BaseGeometry:  # noqa: ANN401
    """Shapes united as polygons on the grid; geometries or arrays of them, which may hold lines and points."""
    return solid(shapely.union_all(stack(map(parts, shapes)), grid_size=GRID_MM))


def both(one: BaseGeometry, other: BaseGeometry) -> BaseGeometry:
    """The same of two shapes each of which is valid: laid over one another once.

    `union` takes any polygons, and so lays them over one another pair by pair, those that are apart again and again.
    """
    return solid(shapely.union(solid(one), solid(other), grid_size=GRID_MM))


def joined(shapes: PolygonArray) -> PolygonArray:
    """The union of `shapes` as separate polygons.

    Only shapes that touch are united, group by group: far cheaper than the union of all when most
    stand alone.
    """
    group = touching_groups(shapes)
    order = np.argsort(group, kind="stable")
    starts = np.flatnonzero(np.diff(group[order], prepend=-1))
    sizes = np.diff(starts, append=len(order))
    alone = shapes[order[starts[sizes == 1]]]
    united = [
        shapely.union_all(shapes[order[start : start + size]])
        for start, size in zip(starts[sizes > 1], sizes[sizes > 1], strict=True)
    ]
    return np.concatenate([alone, parts(polygon_array(united))]) if united else alone


def touching_groups(shapes: PolygonArray) -> Indices:
    """A group number for each shape; shapes that touch, directly or through others, share one; (n,)."""
    return linked_groups(len(shapes), *shapely.STRtree(shapes).query(shapes, predicate="intersects"))


def near_groups(shapes: PolygonArray, distance: float) -> Indices:
    """The same of shapes that are not more than `distance` apart; (n,)."""
    return linked_groups(len(shapes), *shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=distance))


def linked_groups(count: int, left: Indices, right: Indices) -> Indices:
    """A group number for each of so many; those that pairs link, directly or through others, share one; (count,).

    Each group is called by the first of its members until no pair disagrees; scipy's ``connected_components`` says the
    same, and takes longer to load than this to run.
    """
    group = np.arange(count)
    while True:
        one, other = group[left], group[right]
        apart = one != other
        if not apart.any():
            first = group == np.arange(count)
            return (np.cumsum(first) - 1)[group]
        left, right, one, other = (part[apart] for part in (left, right, one, other))
        np.minimum.at(group, np.maximum(one, other), np.minimum(one, other))
        while not np.array_equal(first := group[group], group):
            group = first


def close_pairs(shapes: PolygonArray, distance: float) -> tuple[Indices, Indices, Floats]:
    """Pairs (i < j) of different shapes not more than `distance` apart, and how far apart each is."""
    left, right = shapely.STRtree(shapes).query(shapes, predicate="dwithin", distance=distance)
    once = left < right
    left, right = left[once], right[once]
    return left, right, np.asarray(shapely.distance(shapes[left], shapes[right]), dtype=np.float64)


def closed_polygons(corners: Floats) -> PolygonArray:
    """Polygons of as many corners each, (n, corners, 2); (n,)."""
    closed = np.concatenate([corners, corners[:, :1]], axis=1)
    each_, points = np.arange(len(closed) + 1), closed.shape[1]
    ragged = shapely.from_ragged_array(shapely.GeometryType.POLYGON, closed.reshape(-1, 2), (each_ * points, each_))
    return np.asarray(ragged, dtype=object)


def polygons_of(xy: Floats, start: Indices, count: Indices | None = None) -> PolygonArray:
    """Polygons of open rings as in `Rings`, of `count` rings each, its outline first, or of one; (n,)."""
    number = np.arange(len(start) - 1)
    point = np.arange(len(xy) + len(number)) - np.repeat(number, np.diff(start) + 1)
    point[start[1:] + number] = start[:-1]
    first = np.arange(len(start)) if count is None else starts(count)
    offsets = start + np.arange(len(start)), first
    return np.asarray(shapely.from_ragged_array(shapely.GeometryType.POLYGON, xy.take(point, axis=0), offsets))


def lines(start: Floats, end: Floats) -> NDArray[np.object_]:
    """Straight lines between points; (n,)."""
    return np.asarray(shapely.linestrings(np.stack([start, end], axis=1)), dtype=object)


def dots(xy: Floats) -> NDArray[np.object_]:
    """Points; (n,)."""
    return np.asarray(shapely.points(xy), dtype=object)


def prepared(shape: shapely.Geometry) -> BaseGeometry:
    """A copy of a shape that is prepared for many questions, to be asked by one thread.

    A shape that others may hold, too, is never prepared itself: GEOS builds a prepared shape's index while it is asked,
    and two threads that ask at once end the process.
    """
    own = cast("BaseGeometry", shapely.set_srid(shape, shapely.get_srid(shape)))  # a clone: points, grid and all
    shapely.prepare(own)
    return own


def offset(shapes: PolygonArray, by: Floats | float, *, quad_segs: int = 8) -> NDArray[np.object_]:
    """Shapes grown by a disc (or shrunk, below 0); (n,), may hold empty or multi-part geometries.

    The disc is a polygon inscribed in the circle: outward offsets are short by up to
    ``by (1 - cos(pi / (4 quad_segs)))``.
    """
    return np.asarray(shapely.buffer(shapes, by, quad_segs=quad_segs), dtype=object)


def filled(shapes: PolygonArray) -> PolygonArray:
    """The shapes without their holes."""
    if not shapely.get_num_interior_rings(shapes).any():
        return shapes
    return np.asarray(shapely.polygons(shapely.get_exterior_ring(shapes)), dtype=object)


def farthest(shapes: PolygonArray, others: NDArray[np.object_]) -> Floats:
    """How far the corners of each shape lie from the other beside it at most; 0 where that is empty; mm, (n,)."""
    xy, number = shapely.get_coordinates(shapes, return_index=True)
    points, far = dots(xy), np.zeros(len(shapes))
    large = shapely.get_num_coordinates(others)[number] > LARGE
    away = np.zeros(len(xy))
    away[~large] = shapely.distance(points[~large], others[number[~large]])
    same = np.array([id(other) for other in others])[number]
    for one in np.unique(same[large]).tolist():
        corner = np.flatnonzero(large & (same == one))
        other = prepared(others[number[corner[0]]])
        out = corner[~shapely.contains_properly(other, points[corner])]
        away[out] = to_outline(other, points[out])
    np.fmax.at(far, number, away)
    return far


def to_outline(shape: BaseGeometry, points: NDArray[np.object_]) -> Floats:
    """How far points lie from the outline of a shape with very many corners: by a tree of its sides."""
    outline = rings(parts(shape))
    sides = lines(outline.xy, outline.xy[outline.edge_ends])
    (number, _), away = shapely.STRtree(sides).query_nearest(points, all_matches=False, return_distance=True)
    return np.asarray(away[np.argsort(number)], dtype=np.float64)


def free_of_grid(shapes: Any) -> Any:  # noqa: ANN401
    """The shapes without the precision grid that they carry: GEOS rounds to it all that is made of them.

    An offset rounded so may lie on itself, and nothing can be laid over that: shapes are freed before they are offset.
    Polygons of which none carries one stay the same objects.
    """
    if np.all(shapely.get_type_id(shapes) == _POLYGON) and not np.any(shapely.get_precision(shapes)):
        return shapes
    return shapely.from_wkb(shapely.to_wkb(shapes))  # which holds no grid, and is quicker than to set none


def mirrored(shapes: PolygonArray, width: float) -> PolygonArray:
    """The shapes as a block of this width carries them: x becomes ``width - x``."""
    return _transformed(shapes, lambda xy: np.column_stack([width - xy[:, 0], xy[:, 1]]))


def moved(shapes: PolygonArray, offset: tuple[float, float], *, scale: float = 1.0) -> PolygonArray:
    """The shapes scaled about the origin, then moved by `offset`."""
    return _transformed(shapes, lambda xy: xy * scale + np.asarray(offset))


def on_grid(shape: BaseGeometry) -> BaseGeometry:
    """The polygons of a geometry on the `GRID_MM` grid, as one: every number the nearest, and GEOS no longer bound."""
    return solid(shapely.set_precision(shapely.set_precision(shape, GRID_MM), 0, mode="pointwise"))


def snapped(shapes: PolygonArray) -> PolygonArray:
    """The shapes with coordinates on the `GRID_MM` grid, valid, without repeated points.

    What falls to nothing on the grid is left out; a shape that falls apart gives several.
    """
    if len(shapes) == 0:
        return empty()
    many = shapely.get_num_interior_rings(shapes) > _MANY_HOLES
    if not many.any():
        return parts(shapely.set_precision(shapes, GRID_MM))
    result = polygon_array(shapes)
    result[many] = shapely.remove_repeated_points(shapely.set_precision(shapes[many], GRID_MM, mode="pointwise"))
    rest = ~many | ~shapely.is_valid(result)
    result[rest] = shapely.set_precision(shapes[rest], GRID_MM)
    return parts(result)


def holes(shapes: PolygonArray) -> PolygonArray:
    """The holes in polygons, as polygons."""
    return stack(shapely.polygons(shape.interiors) for shape in shapes.tolist() if shape.interiors)


def rings(shapes: PolygonArray) -> Rings:
    """The rings of `shapes`, outlines counter-clockwise and holes clockwise, none repeated at its end."""
    if len(shapes) == 0:
        none = np.empty(0, dtype=np.int64)
        return Rings(np.empty((0, 2)), np.zeros(1, dtype=np.int64), none, none.astype(bool))
    owner, hole = np.arange(len(shapes)), np.zeros(len(shapes), dtype=bool)
    count = 1 + shapely.get_num_interior_rings(shapes)
    size = shapely.get_num_coordinates(shapes).astype(np.int64)
    holed = count > 1
    if holed.any():
        owner = np.repeat(owner, count)
        hole = np.ones(len(owner), dtype=bool)
        hole[starts(count)[:-1]] = False
        size = np.repeat(size, count)
        size[holed[owner]] = shapely.get_num_coordinates(shapely.get_rings(shapes[holed]))
    ends = np.cumsum(size)
    open_ = np.ones(int(ends[-1]), dtype=bool)
    open_[ends - 1] = False
    result = Rings(shapely.get_coordinates(shapes).compress(open_, axis=0), starts(size - 1), owner, hole)
    wrong = np.flatnonzero((result.twice_areas < 0) != hole)
    if len(wrong):
        size = result.sizes[wrong]
        begin, nth = np.repeat(result.start[wrong], size), counted(size)
        back = np.where(nth == 0, 0, np.repeat(size, size) - nth)  # the first stays first
        result.xy[begin + nth] = result.xy[begin + back]
    return result


def room_inside(shapes: PolygonArray) -> Floats:
    """A radius that fits into each shape, about its outline's centroid; 0 where none is known to; (n,).

    How far off the nearest of the lines through its edges runs, if all leave the centroid on their left.
    """
    return star_radii(shapes)[0]


def star_radii(shapes: PolygonArray) -> tuple[Floats, Floats]:
    """The radius of a disc about each outline's centroid that sees all of the shape, and of one that holds it; (n,).

    The first is `room_inside`: from everywhere in that disc all of the shape is in sight; 0 where none is known.
    """
    outlines = rings(shapes)
    if len(outlines) == 0:
        return np.empty(0), np.empty(0)
    start, size = outlines.start[:-1], outlines.sizes
    ends = outlines.edge_ends
    x, y = (side - np.repeat(side[start], size) for side in outlines.xy.T)  # from a near point: no digits are lost
    to_x, to_y = x[ends], y[ends]
    crossed = x * to_y - to_x * y
    area = np.maximum(3 * np.add.reduceat(crossed, start), 1e-12)
    middle_x, middle_y = (np.add.reduceat(side * crossed, start) / area for side in (x + to_x, y + to_y))
    to_x -= x
    to_y -= y
    middle_x, middle_y = np.repeat(middle_x, size), np.repeat(middle_y, size)
    away = crossed + middle_y * to_x - middle_x * to_y
    away /= np.maximum(np.sqrt(to_x**2 + to_y**2), 1e-12)
    room = np.maximum(np.minimum.reduceat(away, start), 0.0)
    far = np.sqrt(np.maximum.reduceat((x - middle_x) ** 2 + (y - middle_y) ** 2, start))
    return np.where(np.bincount(outlines.owner) == 1, room[~outlines.hole], 0.0), far[~outlines.hole]


def wholly_in(area: BaseGeometry, shapes: PolygonArray) -> Mask:
    """Whether each shape lies in the area and touches its outline nowhere."""
    box = shapely.bounds(area)
    mask = inside_box(shapes, box, 0.0)
    if not shapely.equals(area, shapely.box(*box)):
        mask[mask] = shapely.contains_properly(prepared(area), shapes[mask])
    return mask


def inside_box(shapes: PolygonArray, box: Floats, margin: float) -> Mask:
    """Whether each shape lies in the box (left, bottom, right, top), further than the margin from its sides."""
    left, bottom, right, top = shapely.bounds(shapes).T
    across = (left > box[0] + margin) & (right < box[2] - margin)
    return np.asarray(across & (bottom > box[1] + margin) & (top < box[3] - margin))


def reversed_rings(rings: Rings) -> Rings:
    """The rings run the other way round: what was on the left is on the right."""
    ring = rings.ring
    back = rings.start[ring] + rings.start[ring + 1] - 1 - np.arange(len(rings.xy))
    return Rings(rings.xy.take(back, axis=0), rings.start, rings.owner, rings.hole)


def stacked(first: Rings, second: Rings) -> Rings:
    """Both lots of rings; the owners of the second are numbered after those of the first."""
    shift = int(first.owner.max(initial=-1)) + 1
    return Rings(
        np.concatenate([first.xy, second.xy]),
        np.concatenate([first.start, second.start[1:] + len(first.xy)]),
        np.concatenate([first.owner, second.owner + shift]),
        np.concatenate([first.hole, second.hole]),
    )


_POLYGON, _MULTIPOLYGON = 3, 6
#: The whole of a polygon is laid over itself to put it on the grid, at a cost that grows as the square of its holes;
#: one with more holes has its points rounded one by one, and is laid over only if that spoils it.
_MANY_HOLES = 200


def _transformed(shapes: PolygonArray, move: Any) -> PolygonArray:  # noqa: ANN401
    if len(shapes) == 0:
        return empty()
    return shapely.transform(shapes, move)


def box(width: float, height: float) -> Polygon:
    """The rectangle from the origin to (width, height)."""
    return shapely.box(0, 0, width, height)
