"""Cuts made to hold: what is too narrow to stand or to cut is taken back until nothing is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.necks import Necks, necks
from carvegen.motifs.shared.simplification import simplified

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, PolygonArray, Rings

__all__ = [
    "Corners",
    "Standing",
    "closed",
    "held",
    "loosened",
    "opened",
    "standing",
    "thin_parts",
    "tiles_of",
    "within",
]

_SLACK_MM = 0.02  #: arcs are polygons and coordinates lie on a grid: so much more is asked than must hold
_FINE_MM = 0.008  #: how far an outline may be simplified
_HAIR_MM = 0.001  #: corners nearer to a line than this make GEOS offset it ten times and more as slowly;
_ROUGH_MM = 0.004  #: and those nearer than this too, where no limit hangs on it
_THINNED = 0.02  #: of an offset: by so much more than GEOS means to, an outline it has thinned out may lie otherwise
_LONG = 60  #: outlines with more corners are worth a tree
_ROUNDS = 12
_CUT_BACK = 2  #: rounds in which patches of a fringe are cut back before they are left out
_ARC = 4
_ROUGH_ARC = 2
_FINEST_MM = 0.15  #: smaller patches of a fringe are left out
_TILE_MM = 28.0  #: tiles begin at multiples of it: smaller ones are overlapped, and looked at twice, over more of them


@dataclass(frozen=True, eq=False)
class Standing:
    """What of shapes that print is as wide as the land from the start, in tiles."""

    tiles: PolygonArray  #: (n,), of each tile every piece by itself; those of different tiles overlap
    cells: PolygonArray  #: (n,), the tile that each belongs to
    number: Indices  #: (n,), of each among those that stood before anything was cut off
    corners: Corners  #: of those

    def near(self, places: PolygonArray) -> Standing:
        """The pieces that meet any of `places`."""
        met = np.unique(shapely.STRtree(self.tiles).query(places, predicate="intersects")[1])
        return Standing(self.tiles[met], self.cells[met], self.number[met], self.corners)


class Corners:
    """Where pieces are narrower than the land as they are: by a hair, or in corners; worked out when asked."""

    def __init__(self, pieces: PolygonArray, land_mm: float) -> None:
        self._pieces, self._land_mm = pieces, land_mm
        self._known = np.full(len(pieces), None, dtype=object)

    def of(self, number: Indices) -> NDArray[np.object_]:
        """Those of some of the pieces; (n,)."""
        new = np.unique(number[shapely.is_missing(self._known[number])])
        if len(new):
            thin, piece = _thin(self._pieces[new], self._land_mm)
            groups = geometry.regrouped(thin, piece, len(new))
            self._known[new] = geometry.offset(groups, self._land_mm / 4, quad_segs=_ROUGH_ARC)
        return np.asarray(self._known[number], dtype=object)


def standing(shape: BaseGeometry, land_mm: float, *, near: BaseGeometry) -> Standing:
    """The shape, as far as it lies near the cuts to come, ready to be asked what is left of it."""
    tiles, cells = tiles_of(shape, 2 * land_mm, near)
    wide, tile = geometry.owned_parts(opened(tiles, land_mm, quad_segs=_ROUGH_ARC))
    return Standing(wide, cells[tile], np.arange(len(wide)), Corners(wide, land_mm))


def thin_parts(shape: BaseGeometry, width: float, *, near: BaseGeometry) -> PolygonArray:
    """The parts of the shape that are narrower than `width`, near `near`, in tiles."""
    tiles, cells = tiles_of(shape, 2 * width, near)
    wide = opened(shapely.simplify(tiles, _ROUGH_MM), width, quad_segs=_ROUGH_ARC)
    thin = shapely.difference(tiles, wide)
    return geometry.parts(shapely.intersection(thin, cells))


def tiles_of(
    shape: BaseGeometry, reach: float, near: BaseGeometry | None = None, *, side: float = _TILE_MM
) -> tuple[PolygonArray, PolygonArray]:
    """The shape cut into tiles that overlap by `reach`, and the cells of a grid that they cover.

    Offsets of one outline with thousands of vertices cost far more than those of its pieces. `reach` is how far
    away a change of the shape may change the result. If `near` is given, only what lies within `reach` of it.
    The cells, `side` wide, are the same whatever the shape is, and a tile's outline begins at its own lowest corner:
    what changes elsewhere changes nothing in a tile.
    """
    if shapely.is_empty(shape):
        return geometry.empty(), geometry.empty()
    left, bottom, right, top = np.floor(shapely.bounds(shape) / side).astype(int).tolist()
    columns, rows = np.arange(left, right + 1) * side, np.arange(bottom, top + 1) * side
    x, y = (each.ravel() for each in np.meshgrid(columns, rows))
    cells = np.asarray(shapely.box(x, y, x + side, y + side), dtype=object)
    if near is not None:
        cells = cells[shapely.intersects(geometry.prepared(near), cells)]
    bounds = shapely.bounds(cells) + np.array([-reach, -reach, reach, reach])
    tiles = _clipped(shape, bounds)
    if near is not None:
        around = shapely.simplify(_clipped(near, bounds), reach / 20, preserve_topology=False)
        tiles = shapely.intersection(tiles, shapely.buffer(around, reach, quad_segs=_ROUGH_ARC))
    kept = ~shapely.is_empty(tiles)
    return tiles[kept], cells[kept]


def _clipped(shape: BaseGeometry, bounds: Floats) -> PolygonArray:
    """The shape cut off by each of the bounds: upright strips of it first, so that few tiles look at all of it."""
    low, high = shapely.bounds(shape)[[1, 3]]
    sides, strip = np.unique(bounds[:, ::2], axis=0, return_inverse=True)
    strips = [shapely.clip_by_rect(shape, left, low - 1, right, high + 1) for left, right in sides.tolist()]
    tiles = geometry.polygon_array(
        shapely.clip_by_rect(strips[k], *bound)
        for k, bound in zip(strip.ravel().tolist(), bounds.tolist(), strict=True)
    )
    return np.asarray(shapely.normalize(shapely.make_valid(tiles)), dtype=object)


def opened(shape: Any, width: float, *, quad_segs: int = _ARC) -> Any:  # noqa: ANN401
    """What a disc of diameter `width` reaches from within: parts narrower than that fall away.

    GEOS thins an outline out from its first vertex on before it offsets it, so each begins at its own lowest corner.
    """
    inner = _shrunk(shapely.normalize(np.atleast_1d(shape)), width / 2, quad_segs)
    inner = shapely.normalize(inner.reshape(np.shape(shape)))
    return shapely.make_valid(shapely.buffer(inner, width / 2, quad_segs=quad_segs))  # GEOS 3.14: not always valid


def _shrunk(shapes: NDArray[np.object_], by: float, quad_segs: int) -> NDArray[np.object_]:
    """The shapes less a rim so broad, as GEOS gives them but for the order of parts: one by one is quicker; (n,).

    Where an outline has many corners close together GEOS may thin out a whole inlet before it shrinks the shape, and
    leave a rim far too slim: that piece is shrunk side by side of its outline, of which nothing is thinned out.
    """
    pieces, owner = shapely.get_parts(shapes, return_index=True)
    less = shapely.buffer(pieces, -by, quad_segs=quad_segs)
    outline = shapely.boundary(pieces)
    shapely.prepare(outline[shapely.get_num_coordinates(outline) > _LONG])  # looked up by a tree
    slim = shapely.dwithin(outline, shapely.boundary(less), _rim(by, quad_segs))
    less[slim] = [_shrunk_by_sides(piece, by, quad_segs) for piece in pieces[slim]]
    if len(pieces) == len(shapes) and not shapely.is_empty(shapes).any():
        return np.asarray(less, dtype=object)
    whole = geometry.regrouped(less, owner, len(shapes))
    count = shapely.get_num_geometries(whole)
    whole[count == 0] = shapely.Polygon()
    whole[count == 1] = shapely.get_geometry(whole[count == 1], 0)
    return whole


def _rim(by: float, quad_segs: int) -> float:
    """The slimmest rim that is as good as `by`: its arcs are chords (plane geometry), and outlines are thinned out.

    GEOS rounds the number of chords of an arc: one spans one and a half times its share at the most.
    """
    return float(by * (np.cos(1.5 * np.pi / 4 / quad_segs) - _THINNED))


def _shrunk_by_sides(piece: BaseGeometry, by: float, quad_segs: int) -> BaseGeometry:
    outline = geometry.rings(geometry.parts(piece))
    sides = geometry.lines(outline.xy, outline.xy[outline.edge_ends])
    rims = shapely.buffer(sides, by, quad_segs=quad_segs)
    return shapely.difference(shapely.make_valid(piece), shapely.union_all(rims))


def closed(shape: Any, width: float, *, quad_segs: int = _ARC) -> Any:  # noqa: ANN401
    """The shape with gaps and inlets narrower than `width` filled."""
    outer = shapely.normalize(shapely.buffer(shapely.normalize(shape), width / 2, quad_segs=quad_segs))
    return shapely.make_valid(shapely.buffer(outer, -width / 2, quad_segs=quad_segs))  # GEOS 3.14: not always valid


def _closed_apart(shape: BaseGeometry, width: float) -> PolygonArray:
    """As `closed`, in polygons: what GEOS shrinks one by one it shrinks and mends quicker."""
    outer = geometry.parts(shapely.buffer(shapely.normalize(shape), width / 2, quad_segs=_ARC))
    back = geometry.offset(shapely.normalize(outer), -width / 2, quad_segs=_ARC)
    return geometry.parts(shapely.make_valid(back))


def held(
    cuts: BaseGeometry, area: BaseGeometry, limits: Limits, *,
    ground: BaseGeometry | None = None, printed: Standing | None = None,
) -> PolygonArray:  # fmt: skip
    """The cuts with all that breaks a limit taken back; disjoint, on the grid; may be empty.

    1. Gaps and inlets narrower than the land are filled (closing by half the land), islands smaller than the
       dot too. 2. What a disc of the smallest cut does not reach is left out (opening by half the cut).
    3. Where a neck of the land or of a cut is left that is too narrow (`carvegen.geometry.necks`, exact), the cuts are
       taken back by discs of at least the land's width, and again from 2 until nothing is found.

    Step 3 only takes back, so it ends; and only what a weak place touches is opened again, so that what is weak in one
    place changes nothing in another. What it leaves is the union of discs as wide as the land with a land that
    was wide enough, and a union of sets each filled by such discs is filled by them.

    Parameters
    ----------
    area
        The cuts stay within it.
    ground
        What stands but for the cuts; by default the area, so that land between a cut and its edge counts too.
    printed
        Shapes that print, out of which the cuts are taken: what is left of them and was wide enough before
        stays so.
    """
    ground = area if ground is None else ground
    cuts = _without_specks(_closed_apart(cuts, limits.land_mm + _SLACK_MM), limits)
    shape = shapely.intersection(cuts, area)
    asked = geometry.parts(shape)
    pieces, same = within(_reachable(asked, limits), area), geometry.empty()
    for _ in range(_ROUNDS):
        weak = _weak(pieces, ground, limits, printed.near(asked) if printed else None, same)
        if len(weak) == 0:
            return np.concatenate([same, pieces])
        asked = geometry.offset(weak, limits.land_mm + 2 * limits.cut_mm)  # as far as a crumb goes with it
        taken, pieces = shapely.union_all(weak), np.concatenate([same, pieces])
        meets = shapely.intersects(pieces, taken)
        left = shapely.difference(shapely.disjoint_subset_union_all(pieces[meets]), taken)
        same, pieces = pieces[~meets], within(_reachable(geometry.parts(left), limits), area)
    return _apart(np.concatenate([same, pieces]), weak)


def within(pieces: PolygonArray, area: BaseGeometry) -> PolygonArray:
    """The pieces, cut off where they lie over the area's edge, be it by a hair where an outline was simplified."""
    over = ~shapely.covers(geometry.prepared(area), pieces)
    back = geometry.snapped(geometry.parts(shapely.intersection(pieces[over], area)))
    return np.concatenate([pieces[~over], back])


def _slivers(before: Standing, cuts: PolygonArray, width: float) -> PolygonArray:
    """What disjoint cuts leave narrower than `width` of shapes that were wider there before."""
    before = before.near(cuts)  # in what they do not touch nothing has become narrower
    tile, cut = shapely.STRtree(cuts).query(before.tiles, predicate="intersects")
    left = shapely.difference(before.tiles, geometry.regrouped(cuts[cut], tile, len(before.tiles)))
    thin, tile = _thin(left, width)
    large = shapely.area(thin) > (width / 4) ** 2
    large[large] = shapely.intersects(thin[large], before.cells[tile[large]])
    thin, tile = thin[large], tile[large]
    new = shapely.difference(thin, before.corners.of(before.number[tile]))
    new = geometry.parts(shapely.intersection(new, before.cells[tile]))
    return new[shapely.area(new) > (width / 4) ** 2]


def _thin(shapes: PolygonArray, width: float) -> tuple[PolygonArray, Indices]:
    """Parts narrower than `width`, but not the corners that a disc of that width just doesn't fill; whose they are."""
    shapes = shapely.simplify(shapely.normalize(shapes), _HAIR_MM)  # wherever their outlines begin
    pieces, shape = shapely.get_parts(shapely.make_valid(shapes), return_index=True)  # one by one is quicker
    wide = geometry.offset(geometry.offset(pieces, -width / 2, quad_segs=_ARC), 0.75 * width, quad_segs=_ARC)
    thin, piece = shapely.get_parts(shapely.difference(pieces, shapely.make_valid(wide)), return_index=True)
    solid = shapely.get_dimensions(thin) == 2
    return np.asarray(thin[solid], dtype=object), np.asarray(shape[piece[solid]])


def loosened(
    cuts: PolygonArray, fringe: BaseGeometry, area: BaseGeometry, limits: Limits, *, printed: Standing
) -> PolygonArray:
    """What of a fringe may be cut too or left: with none of it and with all of it, cuts and land hold as by `held`.

    Where cutting a patch would make a weak place it is cut back from it; patches at which that helps not, in a few
    rounds, are left out whole, until there is none. Disjoint; may be empty.
    """
    taken = shapely.disjoint_subset_union_all(cuts)
    wide = _closed_apart(shapely.union(fringe, taken), limits.land_mm + _SLACK_MM)
    wide = shapely.intersection(geometry.joined(_reachable(wide, limits)), area)
    loose = _patches(shapely.difference(wide, taken))
    reach, rounds = _SLACK_MM, 0
    weak = _broken(np.concatenate([cuts, loose]), area, limits, printed.near(loose))
    while len(loose) and len(weak):
        rounds += 1
        tree = shapely.STRtree(loose)
        by, touched = tree.query(weak, predicate="dwithin", distance=reach)
        by_far = tree.query_nearest(np.delete(weak, by))[1]
        less = np.unique(np.concatenate([touched, by_far]))
        whole = by_far if rounds <= _CUT_BACK else less  # each patch by what is weak at it, not elsewhere on the face
        back = geometry.offset(weak, 1.3 * limits.land_mm, quad_segs=_ROUGH_ARC)
        some = shapely.disjoint_subset_union_all(loose[np.setdiff1d(less, whole)])
        left = _patches(shapely.difference(some, shapely.union_all(back)))
        if rounds > _CUT_BACK:
            reach *= 2  # what is weak again and again soon stands alone
        gone = geometry.parts(
            shapely.difference(shapely.disjoint_subset_union_all(loose[less]), shapely.disjoint_subset_union_all(left))
        )
        loose = np.concatenate([np.delete(loose, less), left])
        places, both = np.concatenate([gone, weak]), np.concatenate([cuts, loose])
        weak = _broken_round(places, both, area, limits, printed.near(loose))
    return loose


def _broken(cuts: PolygonArray, area: BaseGeometry, limits: Limits, printed: Standing) -> PolygonArray:
    """Weak places, and islands that can't stand alone, of cuts that touch one another."""
    pieces = geometry.joined(cuts)
    return np.concatenate([_weak(pieces, area, limits, printed), _specks(pieces, limits)])


def _broken_round(
    places: PolygonArray, cuts: PolygonArray, area: BaseGeometry, limits: Limits, printed: Standing
) -> PolygonArray:  # fmt: skip
    """As `_broken`, but only round places outside of which the cuts hold and have not changed.

    Nothing further away than the land is wide can have become weak; what is judged is cut off some lands further out.
    """
    margin = 3 * limits.land_mm + limits.dot_mm
    window = shapely.union_all(shapely.box(*(shapely.bounds(places) + margin * np.array([-1, -1, 1, 1])).T))
    shapely.prepare(window)
    near = cuts[shapely.intersects(window, cuts)]
    near, tiles = shapely.intersection(near, window), printed.near(places)
    tiles = Standing(shapely.intersection(tiles.tiles, window), tiles.cells, tiles.number, tiles.corners)
    weak = _broken(geometry.parts(near), shapely.intersection(area, window), limits, tiles)
    close = shapely.STRtree(places).query(weak, predicate="dwithin", distance=1.5 * limits.land_mm)[0]
    return np.asarray(weak[np.unique(close)], dtype=object)


def _patches(shapes: Any) -> PolygonArray:  # noqa: ANN401
    pieces = geometry.snapped(geometry.parts(shapes))
    return pieces[shapely.area(pieces) > _FINEST_MM**2]


def _without_specks(pieces: PolygonArray, limits: Limits) -> BaseGeometry:
    """Disjoint pieces with their islands filled that can't stand alone."""
    return shapely.disjoint_subset_union_all(np.concatenate([pieces, _specks(pieces, limits)]))


def _specks(pieces: PolygonArray, limits: Limits) -> PolygonArray:
    """Islands in the pieces that can't stand alone."""
    holes = geometry.holes(pieces)
    stands = ~shapely.is_empty(shapely.buffer(holes, -max(limits.dot_mm, limits.land_mm) / 2))
    return np.asarray(holes[~stands])


def _reachable(pieces: PolygonArray, limits: Limits) -> PolygonArray:
    """What a round cutter of the smallest cut reaches in each, without crumbs."""
    width = limits.cut_mm + _SLACK_MM
    reached = opened(pieces, width)
    lost = shapely.is_empty(reached)  # by GEOS 3.14 even large shapes, at odd distances: ask a little more of these
    reached[lost] = opened(pieces[lost], 1.01 * width)
    pieces = geometry.snapped(geometry.parts(simplified(geometry.parts(reached), _FINE_MM)))
    return pieces[shapely.area(pieces) > 1.5 * limits.cut_mm**2]


def _weak(
    pieces: PolygonArray, area: BaseGeometry, limits: Limits, printed: Standing | None, good: PolygonArray | None = None
) -> PolygonArray:  # fmt: skip
    """What to take back from the cuts: round every neck, and beside every sliver.

    Among `good` cuts none is weak, only between them and the pieces: of them only the nearest are looked at.
    """
    if len(pieces) == 0:
        return pieces
    land, tree = limits.land_mm, shapely.STRtree(pieces)
    good = geometry.empty() if good is None else good
    near = good[np.unique(tree.query(good, predicate="dwithin", distance=land)[0])]
    cuts = np.concatenate([pieces, near])
    taken = geometry.parts(shapely.disjoint_subset_union_all(cuts))
    lands = necks(_round_cuts(area, taken), land)
    if len(near):
        chords = geometry.lines(lands.start, lands.end)
        lands = lands.chosen(np.unique(tree.query(chords, predicate="dwithin", distance=geometry.GRID_MM)[0]))
    parts = necks(geometry.rings(pieces), limits.cut_mm)
    patches = [_capsules(lands, land / 2), _capsules(parts, land / 2)]
    if printed is not None:
        patches.append(_beside(_slivers(printed, taken, land), printed, land))
    return np.concatenate(patches)


def _round_cuts(area: BaseGeometry, cuts: PolygonArray) -> Rings:
    """The outlines of the land that disjoint cuts leave of an area: their own where none reaches its edge."""
    if shapely.contains_properly(geometry.prepared(area), cuts).all():
        return geometry.stacked(geometry.rings(geometry.parts(area)), geometry.reversed_rings(geometry.rings(cuts)))
    return geometry.rings(geometry.parts(shapely.difference(area, geometry.solid(cuts))))


def _beside(slivers: PolygonArray, printed: Standing, land: float) -> PolygonArray:
    """What of the printed shapes lies beside the slivers: air beyond them may stay cut."""
    around = geometry.offset(slivers, land)
    which, tile = shapely.STRtree(printed.tiles).query(around, predicate="intersects")
    return geometry.parts(shapely.intersection(around[which], printed.tiles[tile]))


def _capsules(necks: Necks, radius: float) -> PolygonArray:
    return geometry.offset(geometry.lines(necks.start, necks.end), radius + _SLACK_MM)


def _apart(pieces: PolygonArray, weak: PolygonArray) -> PolygonArray:
    """The pieces that no weak place touches: the last way out."""
    touched = shapely.STRtree(pieces).query(weak, predicate="intersects")[1]
    return np.delete(pieces, np.unique(touched))
