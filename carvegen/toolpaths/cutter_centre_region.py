"""Where a cutter's centre may go, and what it reaches from there.

Arrays here are aligned: one geometry for each piece of ground, which may be empty or fall into several polygons.
A path never enters the land: the arcs of shapely's buffers are inscribed, so every buffer is made wider by what
its chords would lack.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.facts import cutting
from carvegen.geometry.insets import insets

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.blocks.block import Block
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import Indices, Mask, PolygonArray

__all__ = [
    "SAG_MM", "Fit", "centres", "fit", "ground", "grown", "holds_disc", "least_mm", "left",
    "over_edge", "shrunk", "without", "worth",
]  # fmt: skip

SAG_MM = 0.002  #: chords lie at most this far from their arcs
_DEPTHS = 65  #: at which cutters are compared
_RIDGE_SHARE = 0.2  #: of the depth: ridges that a pointed or round cutter may leave on the floor; our own choice
_AT_ONCE = 8192  #: shapes shrunk together: so few that their corners stay near the processor
_POLYGON = int(shapely.GeometryType.POLYGON)
_OVERRUN = 0.5  #: how far a cutter's centre runs out over the block's edge, as a share of its distance from land
_SLIVER_MM = 0.02  #: what is narrower is the error of buffers, and not a place that was left
_WIDER = 1.5  #: an arc is cut into the nearest number of chords (GEOS): the widest spans so many times what is asked
_SURELY = 0.95  #: a disc by this share smaller is in no doubt for the error of a buffer
_SIMPLIFIED = 0.012  #: buffers take their input this much simpler, as a share of the distance (GEOS: one hundredth)


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How one cutter goes about a cut whose wall another one may shape."""

    cutter: Cutter
    face_mm: float  #: half the width of its groove at the face
    floor_mm: float  #: half the width that it clears on the floor, but for a low ridge
    inset_mm: float  #: how far its centre stays from the edge of the land, so that its flank keeps off the wall
    walls: bool  #: whether its flank at that distance is the wall


def fit(cutter: Cutter, waller: Cutter, depth_mm: float) -> Fit:
    """How `cutter`, its tip at `depth_mm`, keeps off the wall that `waller` leaves at that depth.

    The wall at each depth stands back from the edge of the land by what the waller's groove is narrower there
    than at the face; the cutter's groove must stay inside at every depth.
    """
    below = np.linspace(0, depth_mm, _DEPTHS)
    own, other = (cutting.half_width_mm(each, below, depth_mm) for each in (cutter, waller))
    asked = own + other[0] - other
    inset = float(asked.max())
    ridge = cutting.half_width_mm(cutter, np.array([depth_mm * (1 - _RIDGE_SHARE)]), depth_mm)
    return Fit(
        cutter=cutter,
        face_mm=float(own[0]),
        floor_mm=float(ridge[0]),
        inset_mm=inset,
        walls=bool(np.ptp(asked) < 1e-9),
    )


def ground(block: Block) -> PolygonArray:
    """The pieces of what the cutter may clear: cuts that touch one another or a cut-out are one."""
    return geometry.joined(geometry.free_of_grid(_with_cut_outs(block)))


def over_edge(shapes: PolygonArray, block: Block, inset_mm: float) -> tuple[PolygonArray, Mask]:
    """The shapes, those that reach the block's edge with the strip outside it beside them, and which do; aligned.

    Over that edge the cutter may run out.
    """
    board = block.board
    open_ = ~geometry.wholly_in(board, shapes)
    wide = shapes.copy()
    x0, y0, x1, y1 = shapely.bounds(shapes[open_]).reshape(-1, 4).T
    reach = 2 * inset_mm
    strips = shapely.difference(shapely.box(x0 - reach, y0 - reach, x1 + reach, y1 + reach), board)
    wide[open_] = shapely.union(shapes[open_], strips)
    return wide, open_


def centres(wide: PolygonArray, block: Block, inset_mm: float, barred: PolygonArray) -> NDArray[np.object_]:
    """Where a cutter's centre may be: at least `inset_mm` off the land, and outside `barred`."""
    region = shrunk(wide, inset_mm)
    over = _OVERRUN * inset_mm
    room = block.board.buffer(over, join_style="mitre")
    shapely.prepare(room)
    out = ~shapely.covers(room, region)
    region[out] = shapely.intersection(region[out], room)
    return without(region, barred)


def without(shapes: NDArray[np.object_], barred: PolygonArray) -> NDArray[np.object_]:
    """The shapes less what is barred."""
    zone = shapely.union_all(barred)
    shapely.prepare(zone)
    met = shapely.intersects(zone, shapes)
    less = shapes.copy()
    less[met] = shapely.difference(shapes[met], zone)
    return less


def shrunk(shapes: NDArray[np.object_], by_mm: float) -> NDArray[np.object_]:
    """The places inside the shapes at least `by_mm` from their outlines, and at most `SAG_MM` farther."""
    return geometry.stack(_shrunk(shapes[k : k + _AT_ONCE], by_mm) for k in range(0, len(shapes), _AT_ONCE))


def _shrunk(shapes: NDArray[np.object_], by_mm: float) -> NDArray[np.object_]:
    quads = _quads(by_mm)
    inner = np.full(len(shapes), shapely.Polygon(), dtype=object)
    x0, y0, x1, y1 = shapely.bounds(shapes).reshape(-1, 4).T  # no disc is larger or wider than what it lies in
    room = np.minimum(x1 - x0, y1 - y0) > 2 * by_mm
    room[room] = shapely.area(shapes[room]) > math.pi * (_SURELY * by_mm) ** 2
    plain = np.flatnonzero(room)
    for ask, asked in ((shapely.get_type_id, _POLYGON), (shapely.get_num_interior_rings, 0)):
        plain = plain[ask(shapes[plain]) == asked]
    inner[plain], sure = insets(shapes[plain], by_mm, SAG_MM)
    inner[plain] = _without_slivers(inner[plain])
    room[plain[sure]] = False
    inner[room] = geometry.offset(shapes[room], -by_mm / _chord(quads), quad_segs=quads)
    return inner


def _without_slivers(inner: NDArray[np.object_]) -> NDArray[np.object_]:
    """The insets, but for those so narrow that a cutter would go there and back in one place."""
    thin = np.flatnonzero(shapely.area(inner) <= SAG_MM * shapely.length(inner))  # others hold a disc of that radius
    inner[thin[shapely.is_empty(geometry.offset(inner[thin], -SAG_MM))]] = shapely.Polygon()
    return inner


def grown(shapes: NDArray[np.object_], by_mm: float) -> NDArray[np.object_]:
    """Every place within `by_mm` of the shapes, and at most `SAG_MM` more."""
    quads = _quads(by_mm)
    return geometry.offset(shapes, by_mm / _chord(quads), quad_segs=quads)


def left(target: NDArray[np.object_], reached: NDArray[np.object_], by_mm: float) -> NDArray[np.object_]:
    """What of the target nothing has reached: pieces with some width, whole; aligned.

    Parameters
    ----------
    by_mm
        How far off the cutter worked: the error of buffers grows with it.
    """
    met = ~shapely.is_empty(reached) & ~shapely.is_empty(target)
    rest, owner = geometry.owned_parts(shapely.difference(target[met], reached[met]))
    less = target.copy()
    less[met] = geometry.regrouped(*worth(rest, owner, by_mm), int(met.sum()))
    return less


def worth(rest: PolygonArray, owner: Indices, by_mm: float) -> tuple[PolygonArray, Indices]:
    """The pieces that are more than the error of a buffer by `by_mm`: a disc of that width fits into them."""
    big = holds_disc(rest, least_mm(by_mm))
    return rest[big], owner[big]


def holds_disc(shapes: PolygonArray, radius_mm: float, *, quad_segs: int = 2) -> Mask:
    """Which shapes a disc of this radius fits into, which at corners that jut in has `quad_segs` chords to a quarter.

    A polygon holds a disc of radius area / perimeter, none wider than its bounds and none larger than itself; a star
    about its centroid one as large as that sees all of it. Most are told by that.
    """
    x0, y0, x1, y1 = shapely.bounds(shapes).reshape(-1, 4).T
    area = shapely.area(shapes)
    big: Mask = area > radius_mm * shapely.length(shapes)
    large = (np.minimum(x1 - x0, y1 - y0) > 2 * radius_mm) & (area > math.pi * (_SURELY * radius_mm) ** 2)
    unsure = np.flatnonzero(~big & large)
    big[unsure] = geometry.room_inside(shapes[unsure]) * _SURELY > radius_mm
    unsure = unsure[~big[unsure]]
    big[unsure] = ~shapely.is_empty(geometry.offset(shapes[unsure], -radius_mm, quad_segs=quad_segs))
    return big


def least_mm(by_mm: float) -> float:
    """The radius of the least disc that is more than the error of a buffer by `by_mm`."""
    return (_SLIVER_MM + _SIMPLIFIED * by_mm) / 2


def _with_cut_outs(block: Block) -> PolygonArray:
    """The cuts, and the cut-outs that touch one."""
    met = np.unique(shapely.STRtree(block.cut_outs).query(block.lowered, predicate="intersects")[1])
    return geometry.stack([block.lowered, block.cut_outs[met]])


def _quads(by_mm: float) -> int:
    """Chords in a quarter of a circle of this radius whose sag is at most `SAG_MM`."""
    by_mm = abs(by_mm)
    if by_mm <= SAG_MM:
        return 1
    return max(2, math.ceil(_WIDER * math.pi / (4 * math.acos(1 - SAG_MM / by_mm))))


def _chord(quads: int) -> float:
    """How near the chords of a unit circle come to its centre."""
    return math.cos(_WIDER * math.pi / (4 * quads))
