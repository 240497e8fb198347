"""The medial axis of shapes: middles of the discs that touch an outline in two places or more, with their radii.

Edges of the outline's Voronoi diagram between two segments are straight and the radius changes evenly along
them; those between a segment and a corner are parabolas, and between two corners the radius is a hyperbola: these
are cut into straight pieces.

The axis and its discs: source: blum-1967.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.progress import part, reached
from carvegen.geometry.diagrams import (
    STEPS_PER_MM,
    Diagrams,
    Parabola,
    Site,
)
from carvegen.geometry.edges import dot, either, unit
from carvegen.geometry.skeletons import Skeletons, are_simple

if TYPE_CHECKING:
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["MedialAxis", "medial_axis", "pruned"]

_STRAIGHT_MM = 0.008  #: outlines are taken as straight within this while the axis is sought
_SAME_MM = 1e-9  #: radii and lengths nearer than this are one
_FEW_SIDES = 64  #: corners of a shape up to which every side is looked at, for many points at once
_AT_ONCE = 50_000  #: distances worked out at a time: what they need stays close to the processor
_NEAR_MM = 0.002  #: bent branches are straight pieces within this
_FEWEST = 4  #: points of a ring, the last of which is the first
_BEYOND_MM = 0.02  #: an axis ends at discs so much larger than those that are asked for: more than radii are wrong by


@dataclass(frozen=True)
class MedialAxis:
    """Points of the axis and the straight links between them; along a link the radius changes evenly."""

    xy: Floats  #: (n, 2), mm
    radius: Floats  #: of the largest disc round each point that stays in the shape, mm; (n,)
    shape: Indices  #: number of the shape; (n,)
    links: Indices  #: pairs of points; (m, 2)

    @property
    def lengths(self) -> Floats:
        """Length of each link, mm."""
        (x, y), (a, b) = np.ascontiguousarray(self.xy.T), self.links.T
        return np.asarray(np.hypot(x[a] - x[b], y[a] - y[b]))

    @property
    def facing_deg(self) -> Floats:
        """For each link the angle between the two places that a disc touches: 180 where the walls are parallel."""
        fall = np.abs(np.diff(self.radius[self.links], axis=1)[:, 0])
        return np.asarray(2 * np.degrees(np.arccos(np.clip(fall / np.maximum(self.lengths, 1e-12), 0, 1))))

    def split(self, radius: float) -> MedialAxis:
        """The same axis with a point wherever the radius passes this one."""
        ends = self.radius[self.links] - radius
        cut = either(ends > _SAME_MM) & either(ends < -_SAME_MM)
        first, other = self.links.compress(cut, axis=0).T
        new = len(self.xy) + np.arange(len(first))
        share = ends[cut, 0] / (ends[cut, 0] - ends[cut, 1])
        links = [self.links.compress(~cut, axis=0), np.column_stack([first, new]), np.column_stack([new, other])]
        return self._with_points(np.flatnonzero(cut), share, np.concatenate(links))

    def within(self, zone: shapely.Geometry) -> MedialAxis:
        """What of the links lies in a zone; of shapes whose axis has room in a box there, all does."""
        zone = geometry.prepared(zone)
        whole = self._boxes_in(zone)[self.shape[self.links[:, 0]]]
        asked = np.flatnonzero(~whole)
        lines = geometry.lines(*self.xy[self.links[asked].T])
        whole[asked] = shapely.covers(zone, lines)
        met = np.flatnonzero(~whole[asked] & shapely.intersects(zone, lines))
        pieces, which = shapely.get_parts(shapely.intersection(lines[met], zone), return_index=True)
        solid = shapely.length(pieces) > _SAME_MM
        link = np.repeat(asked[met[which[solid]]], 2)
        ends = shapely.get_coordinates(pieces[solid]).reshape(-1, 2)
        share = np.hypot(*(ends - self.xy[self.links[link, 0]]).T) / self.lengths[link]
        new = (len(self.xy) + np.arange(len(link))).reshape(-1, 2)
        return self._with_points(link, share, np.concatenate([self.links[whole], new]))

    def _boxes_in(self, zone: shapely.Geometry) -> Mask:
        """Whether the box round all linked points of each shape lies in a zone; (shapes,)."""
        count, linked = int(self.shape.max(initial=-1)) + 1, np.zeros(len(self.xy), dtype=bool)
        linked[self.links] = True
        shape, inside = self.shape[linked], np.zeros(count, dtype=bool)
        low, high = np.full((2, count), np.inf), np.full((2, count), -np.inf)
        for axis in (0, 1):
            np.minimum.at(low[axis], shape, self.xy[linked, axis])
            np.maximum.at(high[axis], shape, self.xy[linked, axis])
        inside[shape] = True
        inside[inside] = shapely.covers(zone, shapely.box(*low[:, inside], *high[:, inside]))
        return inside

    def _with_points(self, on: Indices, share: Floats, links: Indices) -> MedialAxis:
        """The axis with further points, each at a share of a link, and with other links."""
        a, b = self.links[on].T
        xy = self.xy.take(a, axis=0)
        xy += share[:, None] * (self.xy.take(b, axis=0) - xy)
        radius = self.radius[a] + share * (self.radius[b] - self.radius[a])
        return MedialAxis(
            np.concatenate([self.xy, xy]),
            np.concatenate([self.radius, radius]),
            np.concatenate([self.shape, self.shape[a]]),
            links,
        )

    def with_links(self, which: Indices) -> MedialAxis:
        """Some of the links, with their points and all points of shapes that have no link."""
        links = self.links.take(which, axis=0)
        bare = np.ones(int(self.shape.max(initial=-1)) + 1, dtype=bool)
        bare[self.shape[links[:, 0]]] = False
        kept = bare[self.shape]
        kept[links] = True
        place = np.cumsum(kept) - 1
        return MedialAxis(
            self.xy.compress(kept, axis=0), self.radius.compress(kept), self.shape.compress(kept), place.take(links)
        )


def medial_axis(shapes: PolygonArray, *, corner_mm: float = 0.012, most_mm: float = math.inf) -> MedialAxis:
    """The medial axis inside `shapes`, without the twigs that run into blunt corners.

    Parameters
    ----------
    corner_mm
        A twig is left out where the disc at its foot reaches to within this of its tip: what facets of a curve
        bring with them. Of a shape whose whole axis is no more than that, no link stays.
    most_mm
        The largest discs that are asked for: what has larger ones may be missing, and the foot of a twig is there.

    Notes
    -----
    Points of the axis lie right to 8 µm, and exactly where outlines have no curves. Radii at points are exact;
    between two points the disc may lack or pass the outline by 10 µm.
    """
    with part(0, 0.2):
        plain, owner = _straightened(shapes)
    simple = np.flatnonzero(are_simple(plain))
    with part(0.2, 0.6):
        result = Skeletons.of(plain[simple], most_mm + corner_mm + _BEYOND_MM)  # its ends are pruned, too
    rest = np.ones(len(plain), dtype=bool)
    rest[simple[result.sure]] = False
    axis = _joined(_of_skeletons(result, owner[simple]), _of_diagrams(plain[rest], owner[rest]))
    reached(0.8)
    axis = _measured(axis, shapes, result.corners)
    reached(0.95)
    return pruned(axis, corner_mm)


def _of_skeletons(skeletons: Skeletons, owner: Indices) -> MedialAxis:
    """The axes of simple shapes that may be believed, not yet measured; `owner`: the number of each shape."""
    links = skeletons.links.compress(skeletons.sure[skeletons.shape[skeletons.links[:, 0]]], axis=0)
    return MedialAxis(skeletons.points, np.zeros(len(skeletons.points)), owner[skeletons.shape], links)


def _of_diagrams(plain: PolygonArray, owner: Indices) -> MedialAxis:
    """The axes of other shapes, not yet measured."""
    outline = geometry.rings(plain)
    diagrams = Diagrams.of(outline, len(plain))
    reached(0.7)
    shapely.prepare(plain)
    of_point = np.repeat(np.arange(len(plain)), diagrams.points_each)
    inner = _inner(plain[of_point], diagrams.points, diagrams.links)
    reached(0.77)
    links, one, two = diagrams.links[inner], diagrams.one[inner], diagrams.two[inner]
    a, b = outline.xy, outline.xy[outline.edge_ends]
    return _sampled(diagrams.points, owner[of_point], links, Site.of(a, b, one), Site.of(a, b, two))


def _joined(one: MedialAxis, other: MedialAxis) -> MedialAxis:
    """Both axes as one."""
    links = np.concatenate([one.links, other.links + len(one.xy)])
    return MedialAxis(
        np.concatenate([one.xy, other.xy]),
        np.concatenate([one.radius, other.radius]),
        np.concatenate([one.shape, other.shape]),
        links,
    )


def _inner(shape_at: PolygonArray, points: Floats, links: Indices) -> Mask:
    """Which links lie inside their shapes: one that ends in a corner is looked at in its middle."""
    inside = np.asarray(shapely.contains_xy(shape_at, points), dtype=bool)[links]
    doubtful = np.flatnonzero(inside[:, 0] != inside[:, 1])
    middle = points[links[doubtful]].mean(axis=1)
    inner = np.asarray(inside.all(axis=1))
    inner[doubtful] = shapely.contains_xy(shape_at[links[doubtful, 0]], middle)
    return inner


def _measured(axis: MedialAxis, shapes: PolygonArray, first: int) -> MedialAxis:
    """The axis with the radius at each linked point measured to the shapes as they are; 0 at so many first, corners."""
    ends = np.zeros(len(axis.xy), dtype=bool)
    ends[axis.links] = True
    ends[:first] = False
    corners = shapely.get_num_coordinates(shapes)[axis.shape]
    radius = np.zeros(len(axis.xy))
    few = np.flatnonzero(ends & (corners <= _FEW_SIDES))
    small = np.flatnonzero(shapely.get_num_coordinates(shapes) <= _FEW_SIDES)
    radius[few] = _to_few_sides(shapes[small], axis.xy[few], np.searchsorted(small, axis.shape[few]))
    some = np.flatnonzero(ends & (corners > _FEW_SIDES) & (corners <= geometry.LARGE))
    own, their = np.unique(axis.shape[some], return_inverse=True)
    radius[some] = shapely.distance(shapely.boundary(shapes[own])[their], geometry.dots(axis.xy[some]))
    many = ends & (corners > geometry.LARGE)
    for k in np.unique(axis.shape[many]).tolist():
        point = np.flatnonzero(many & (axis.shape == k))
        radius[point] = geometry.to_outline(shapes[k], geometry.dots(axis.xy[point]))
    return replace(axis, radius=radius)


def _to_few_sides(shapes: PolygonArray, xy: Floats, owner: Indices) -> Floats:
    """How far points lie from the outlines of their shapes, which have few sides: from every one of them.

    Shapes with as many sides are done at once, some points at a time, for which there is room close by.
    """
    outline = geometry.rings(shapes)
    along = unit(step := outline.xy.take(outline.edge_ends, axis=0) - outline.xy)
    sides = (*outline.xy.T, *along.T, dot(step, along))
    count = np.bincount(outline.owner, outline.sizes, minlength=len(shapes)).astype(np.int16)
    begin = geometry.starts(count)[:-1]
    order = np.argsort(count[owner], kind="stable")
    ends = np.searchsorted(count[owner[order]], np.arange(_FEW_SIDES + 1), side="right")
    row = np.empty(len(shapes), dtype=np.int64)
    result = np.empty(len(xy))
    for many in np.flatnonzero(np.diff(ends, prepend=0)).tolist():
        alike = np.flatnonzero(count == many)
        row[alike] = np.arange(len(alike))
        their = np.stack([side[begin[alike, None] + np.arange(many)] for side in sides])
        of = order[ends[many - 1] : ends[many]]
        for batch in np.array_split(of, len(of) * many // _AT_ONCE + 1):
            shape = row[owner[batch]]
            result[batch] = _to_sides(xy.take(batch, axis=0), tuple(column.take(shape, axis=0) for column in their))
    return result


def _to_sides(xy: Floats, sides: tuple[Floats, ...]) -> Floats:
    """How far points lie from the nearest of their sides, each (points, sides); what is given is used up."""
    x, y, along_x, along_y, length = sides
    np.subtract(xy[:, :1], x, out=x)
    np.subtract(xy[:, 1:], y, out=y)
    on = x * along_x
    on += y * along_y
    x *= along_y
    y *= along_x
    x -= y
    x *= x
    on -= np.clip(on, 0, length, out=length)
    on *= on
    x += on
    return np.asarray(np.sqrt(x.min(axis=1)))


def pruned(axis: MedialAxis, corner_mm: float) -> MedialAxis:
    """The axis without twigs whose discs lose no more than `corner_mm` of the shape.

    What a twig's end would lose: its length, less the change of radius along it (erosion
    thickness, source: erosion-thickness). From the ends inwards, the largest loss of what hung on a point counts on.
    """
    links, length = axis.links, axis.lengths
    loss = np.zeros(len(axis.xy))
    kept, left = np.ones(len(links), dtype=bool), np.arange(len(links))
    degree = np.bincount(links.ravel(), minlength=len(axis.xy))
    active = np.flatnonzero(either(degree[links] == 1))
    while len(active):
        ends = links.take(active, axis=0)
        leaf = np.where(degree[ends[:, 0]] == 1, ends[:, 0], ends[:, 1])
        root = ends[:, 0] + ends[:, 1] - leaf
        alone = (degree[leaf] == 1) & (degree[root] == 1)
        smaller = alone & (axis.radius[leaf] > axis.radius[root])
        leaf, root = np.where(smaller, root, leaf), np.where(smaller, leaf, root)
        lost = loss[leaf] + length[active] - (axis.radius[root] - axis.radius[leaf])
        goes = lost <= corner_mm
        gone, root, leaf, lost = active[goes], root[goes], leaf[goes], lost[goes]
        kept[gone] = False
        np.maximum.at(loss, root, lost)
        for end in (root, leaf):
            np.subtract.at(degree, end, 1)
        left = left.compress(kept[left])
        active = _hanging(links, left, degree, root)
    return axis.with_links(left)


def _hanging(links: Indices, left: Indices, degree: Indices, roots: Indices) -> Indices:
    """Which of the links that are left end in one of `roots`, now that nothing else does."""
    bare = np.zeros(len(degree), dtype=bool)
    bare[roots[degree[roots] == 1]] = True
    return left.compress(either(bare.take(links.take(left, axis=0))))


def _straightened(shapes: PolygonArray) -> tuple[PolygonArray, Indices]:
    """The shapes with fewer corners, on the grid of the diagrams, and the number of the shape that each was."""
    fewer = shapely.simplify(shapes, _STRAIGHT_MM, preserve_topology=False)  # quicker, but it may drop what it parts
    lost = np.abs(shapely.area(fewer) - shapely.area(shapes)) > _STRAIGHT_MM * shapely.length(shapes) / 2
    lost |= (shapely.get_num_interior_rings(shapes) > 0) | shapely.is_empty(fewer)
    fewer[lost] = shapely.simplify(shapes[lost], _STRAIGHT_MM, preserve_topology=True)
    reached(0.5)
    result, owner = shapely.get_parts(_on_grid(fewer), return_index=True)
    solid = shapely.area(result) > 0
    return np.asarray(result[solid], dtype=object), np.asarray(owner[solid], dtype=np.int64)


def _on_grid(shapes: PolygonArray) -> PolygonArray:
    """The shapes on the grid of the diagrams: point by point, and laid over themselves only where that spoils one."""
    rounded = shapes.copy()
    plain = (shapely.get_type_id(shapes) == shapely.GeometryType.POLYGON) & ~shapely.is_empty(shapes)
    plain &= shapely.get_num_interior_rings(shapes) == 0
    rounded[plain] = _rounded(shapes[plain])
    rounded[~plain] = shapely.remove_repeated_points(
        shapely.set_precision(shapes[~plain], 1 / STEPS_PER_MM, mode="pointwise")
    )
    spoilt = ~shapely.is_valid(rounded) | shapely.is_empty(rounded)
    rounded[spoilt] = shapely.set_precision(shapes[spoilt], 1 / STEPS_PER_MM)
    return rounded


def _rounded(outlines: PolygonArray) -> PolygonArray:
    """Shapes without holes with points on the grid of the diagrams, none at the place of the one before it."""
    if not len(outlines):
        return outlines
    first = geometry.starts(shapely.get_num_coordinates(outlines))
    steps = np.rint(shapely.get_coordinates(outlines) * STEPS_PER_MM)
    apart = np.append(True, either(steps[1:] != steps[:-1]))
    apart[first[:-1]] = True
    few = np.add.reduceat(apart, first[:-1], dtype=np.int64) < _FEWEST
    apart |= np.repeat(few, np.diff(first))  # such a shape is spoilt as it is
    ring = geometry.starts(np.add.reduceat(apart, first[:-1], dtype=np.int64))
    made = shapely.from_ragged_array(
        shapely.GeometryType.POLYGON, steps.compress(apart, axis=0) / STEPS_PER_MM, (ring, np.arange(len(ring)))
    )
    return np.asarray(made, dtype=object)


def _sampled(points: Floats, shape: Indices, links: Indices, one: Site, two: Site) -> MedialAxis:
    """The edges as straight links along which the radius changes evenly to within `_NEAR_MM`; not yet measured."""
    start, end = points[links[:, 0]], points[links[:, 1]]
    mixed = one.is_line != two.is_line
    curve = Parabola.between(one, two)
    corners = np.hypot(*(one.a - two.a).T) / 2
    gap = np.maximum(np.where(mixed, curve.gap, corners), _NEAR_MM)
    run = np.where(mixed, np.abs(dot(end - start, curve.along)), np.hypot(*(end - start).T))
    bent = ~(one.is_line & two.is_line)
    pieces = np.where(bent, np.maximum(np.ceil(run / np.sqrt(8 * gap * _NEAR_MM)), 1), 1).astype(np.int64)
    edge = np.repeat(np.arange(len(links)), pieces - 1)
    share = (geometry.counted(pieces - 1) + 1) / pieces[edge]
    inner = start[edge] + share[:, None] * (end - start)[edge]
    inner = np.where(mixed[edge, None], curve.at(inner, edge), inner)
    owner = np.concatenate([shape, shape[links[edge, 0]]])
    return MedialAxis(
        np.concatenate([points, inner]), np.zeros(len(owner)), owner, _chained(links, pieces, len(points))
    )


def _chained(links: Indices, pieces: Indices, points: int) -> Indices:
    """Each link by way of the points that lie on it, which are numbered from `points` on."""
    link = np.repeat(np.arange(len(links)), pieces)
    place = geometry.counted(pieces)
    before = points + geometry.starts(pieces - 1)[:-1]
    left = np.where(place == 0, links[link, 0], before[link] + place - 1)
    right = np.where(place == pieces[link] - 1, links[link, 1], before[link] + place)
    return np.column_stack([left, right])
