"""The scene as columns: what stands where over the page, upright column by column, and what is hidden by it."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any, Literal, cast

import numpy as np
import shapely
from scipy import ndimage

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import tiles_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = [
    "Columns",
    "Grid",
    "bearer",
    "columns_of",
    "hiding",
    "panes",
    "pieces_of",
    "run_lengths",
    "spread",
    "tangled",
    "without_marks",
]

_FINEST_MM = 0.15
_CELLS = 1_000_000
_BEYOND_MM = 6.0  #: so far the shapes run on past the page's sides
_FINE_MM = 0.02
_ARC = 2
_BROAD_MM = 4.0  #: what is as thick hides the sky; thinner twigs hide half of it: snow drifts past them
_BOARD_MM = 25.0  #: and so does what is as long and straight, however thin,
_BOARD_DEG = np.arange(-40, 41, 4)  #: along one of these slopes
_LINE_MM, _LEVEL_MM = 2.5, 6.0  #: but no line from side to side of the page that is as thin, and level over so much,
_LINE_GAP_MM, _LINE_RISE_MM = 16.0, 1.5  #: with gaps no wider, across which it rises by no more
_BRIDGED = 1.5  #: snow bridges no gap wider than so many times the thinner of what bears it on both sides;
_ALWAYS_MM, _STEP = 0.6, 1.2  #: one so narrow it always does; breadths are told apart in steps no smaller than this
_TILE_MM = 28.0  #: so wide are the tiles: they overlap so far that smaller ones are offset twice over
_LAP_MM = 0.2  #: so far parts of what bears snow overlap at least, tile by tile
_MITRE = 1.5  #: no corner is drawn out further than so many times the distance
_LEAST_GAP_MM2 = 0.5
_WALL_MM = 3.5
_WALLED = 0.9  #: a hole with so much wall round it is a mark,
_UPRIGHT = 8.0  #: but not if it is a slot between two near pickets: so many times as tall as broad,
_STRAIGHT = 1.5  #: no broader with its lean and its bends than so many times by itself,
_PICKET, _BESIDE = 4.0, 0.2  #: and on either side, over so many of its breadths, so much is air
_PANE_MM2 = 9.0  #: in smaller holes between twigs no snow is drawn, and none fills them
_TANGLE_MM, _TANGLED = 4.0, (0.42, 0.58)  #: in a square so wide, mm of edges to a mm²: hardly a tangle, a tangle
_POINTED_MM, _POINTED = 0.15, (0.57, 0.63)  #: of needles, but not of twigs, less is left than this without their rims
_NEEDLES_MM = 0.55, 0.7  #: so broad on average, times the share that they take up of what is filled: needles, twigs
_LATTICE, _RAIL_MM = 6.0, 10.0  #: holes less than so many times as wide as the walls round them are thick belong to a
#: lattice, if those are no thicker: a roof on posts is none


@dataclass(frozen=True)
class Grid:
    """The grid of a page: square cells, row 0 lowest; so many columns lie beyond either side."""

    left: float
    bottom: float
    wide: int  #: columns, those beyond the sides too
    high: int  #: rows
    step: float  #: a cell's side, mm
    beyond: int

    @staticmethod
    def of(bounds: tuple[float, float, float, float]) -> Grid:
        """The grid over a page of these bounds; it depends on nothing else."""
        left, bottom, right, top = bounds
        step = max(_FINEST_MM, ((right - left) * (top - bottom) / _CELLS) ** 0.5)
        beyond = int(np.ceil(_BEYOND_MM / step))
        wide, high = (int(side / step + 0.5) for side in (right - left, top - bottom))  # the last middles lie on it
        return Grid(left - beyond * step, bottom, wide + 2 * beyond, high, step, beyond)

    @property
    def x(self) -> Floats:
        """Middle of each column, mm, (wide,)."""
        return np.asarray(self.left + (np.arange(self.wide) + 0.5) * self.step)

    @property
    def top(self) -> float:
        """Height of the page's upper edge, mm."""
        return self.bottom + self.high * self.step


@dataclass(frozen=True)
class Columns:
    """Where the shapes stand in each column: spans from `low` to `high`, sorted by column and height."""

    page: Grid
    column: Indices  #: (n,)
    low: Floats  #: mm, the page's lower edge where the shape runs on below it, (n,)
    high: Floats  #: mm, inf where it runs on above it, (n,)

    @cached_property
    def raster(self) -> Mask:
        """The cells whose middles lie in a shape; (high, wide)."""
        page = self.page
        edge = np.zeros((page.high + 1, page.wide), dtype=np.int16)
        for height, sign in ((self.low, 1), (self.high, -1)):
            row = np.ceil((np.clip(height, page.bottom, page.top) - page.bottom) / page.step - 0.5)
            np.add.at(edge, (np.clip(row, 0, page.high).astype(int), self.column), sign)
        return np.asarray(np.cumsum(edge, axis=0, dtype=np.int16)[:-1] > 0)


def columns_of(shapes: PolygonArray, page: Grid) -> Columns:
    """The spans of shapes, which may overlap; what meets the page's edge runs on past it."""
    rings = geometry.rings(shapes)
    after = np.arange(1, len(rings.xy) + 1)
    after[rings.start[1:] - 1] = rings.start[:-1]
    (x0, y0), (x1, y1) = rings.xy.T, rings.xy[after].T
    place0, place1 = ((x - page.left) / page.step - 0.5 for x in (x0, x1))
    inner = page.beyond, page.wide - page.beyond
    first = np.clip(np.ceil(np.minimum(place0, place1)), *inner).astype(int)
    count = np.clip(np.ceil(np.maximum(place0, place1)), *inner).astype(int) - first
    edge = np.repeat(np.arange(len(x0)), count)
    column = first[edge] + geometry.counted(count)
    height = y0[edge] + (column - place0[edge]) / (place1 - place0)[edge] * (y1 - y0)[edge]
    order = np.lexsort((height, column, rings.owner[rings.ring[edge]]))
    column, height = column[order], height[order]
    spans = _merged(column[::2], height[::2], height[1::2])
    column, low, high = (
        np.concatenate(both) for both in zip(_past(page, *spans, 0), spans, _past(page, *spans, 1), strict=True)
    )
    low = np.where(low < page.bottom + page.step / 2, page.bottom, low)
    high = np.where(high > page.top - page.step / 2, np.inf, high)
    some = (high > page.bottom) & (low < page.top) & (high - low > 1e-6)
    return Columns(page, column[some], low[some], high[some])


def _merged(column: Indices, low: Floats, high: Floats) -> tuple[Indices, Floats, Floats]:
    """The spans sorted by column and height, each column's that overlap as one."""
    order = np.lexsort((low, column))
    column, low, high = column[order], low[order], high[order]
    apart = column * (1 + high.max(initial=0) - low.min(initial=0))
    up_to = np.maximum.accumulate(high + apart)
    begins = np.append(True, (low + apart)[1:] >= up_to[:-1])[: len(low)]
    first = np.flatnonzero(begins)
    return column[first], low[first], np.maximum.reduceat(high, first) if len(first) else high


def _past(page: Grid, column: Indices, low: Floats, high: Floats, side: int) -> tuple[Indices, Floats, Floats]:
    """The spans of the page's first or last column, again for each column beyond that side."""
    which = column == (page.wide - page.beyond - 1 if side else page.beyond)
    beyond = np.repeat(np.arange(page.beyond) + (page.wide - page.beyond if side else 0), which.sum())
    return beyond, np.tile(low[which], page.beyond), np.tile(high[which], page.beyond)


def without_marks(
    shapes: PolygonArray, gaps: str, labels: Sequence[tuple[BaseGeometry, str]] = ()
) -> tuple[PolygonArray, PolygonArray]:
    """The shapes with those holes filled that are marks on them, not air behind them; and the lattices.

    The lattices are the holes that are air, where they are small for the walls round them, with those walls: rails
    of a fence shelter one another less than a picture in one plane tells, for snow drifts past both sides of them.

    A hole is air if what lies round it, as broad as half the hole and some millimetres, is not all wall: between the
    twigs of a crown or the rails of a fence there is more air near by, round an eye or a knot there is none. A slot
    between two pickets that stand near to one another is air, too.

    Parameters
    ----------
    gaps
        "marks": every hole is a mark; "open": none is; "guess": those with nine tenths of wall round them but slots.
    labels
        Areas in which it is another of these words, as of `Place.holes`.
    """
    holes = geometry.holes(shapes)
    if len(holes) == 0:
        return shapes, holes
    holes = shapely.normalize(holes)  # each begins at its own lowest corner: simplified the same whatever is elsewhere
    words = _words(holes, gaps, labels)
    tiny = (shapely.area(holes) < _LEAST_GAP_MM2) & (words != "open")
    if tiny.any():
        shapes = _filled(shapes, holes[tiny])
        holes, words = holes[~tiny], words[~tiny]
    if len(holes) == 0:
        return shapes, holes
    area = shapely.area(holes)
    band = np.maximum(np.sqrt(area) / 2, _WALL_MM)
    around = shapely.difference(shapely.buffer(shapely.simplify(holes, band / 8), band, quad_segs=2), holes)
    tiles, _ = tiles_of(shapely.disjoint_subset_union_all(shapes), 0.0)
    tiles = geometry.parts(tiles)  # piece by piece: what lies in no band is not overlaid
    walled = _solid(around, tiles)
    shut = walled > _WALLED * shapely.area(around)
    shut[shut] = ~_between_uprights(holes[shut], tiles)
    mark = (shut | (words == "marks")) & (words != "open")
    thick = walled / shapely.length(holes)
    lattice = ~mark & (np.sqrt(area) < _LATTICE * thick) & (thick < _RAIL_MM)
    return _filled(shapes, holes[mark]), geometry.parts(shapely.union_all(shapely.buffer(holes, 1.3 * thick)[lattice]))


def _solid(places: PolygonArray, tiles: PolygonArray) -> Floats:
    """How much of each place disjoint tiles cover, mm²; (n,)."""
    which, tile = shapely.STRtree(tiles).query(places, predicate="intersects")
    inside = shapely.area(shapely.intersection(places[which], tiles[tile]))
    return np.asarray(np.bincount(which, inside, minlength=len(places)))


def _between_uprights(holes: PolygonArray, tiles: PolygonArray) -> Mask:
    """Which holes are slots between two uprights up to thrice as broad as they, as near pickets are; (n,)."""
    left, low, right, high = shapely.bounds(holes).T
    wide = shapely.area(holes) / (high - low)
    slot = (high - low > _UPRIGHT * wide) & (right - left < _STRAIGHT * wide)
    reach = _PICKET * wide
    for outer, inner in ((left - reach, left), (right, right + reach)):
        beside = shapely.box(outer, low, inner, high)
        slot = slot & (_solid(beside, tiles) < (1 - _BESIDE) * shapely.area(beside))
    return np.asarray(slot)


def _filled(shapes: PolygonArray, holes: PolygonArray) -> PolygonArray:
    """The shapes with those of their holes filled."""
    inside = shapely.STRtree(shapes).query(holes, predicate="contains")[1]
    fit = np.concatenate([np.delete(shapes, inside), holes])  # edge to edge: far cheaper to unite than any shapes
    return geometry.parts(shapely.coverage_union_all(fit))


def _words(holes: PolygonArray, gaps: str, labels: Sequence[tuple[BaseGeometry, str]]) -> NDArray[np.str_]:
    """What each hole is: as said of an area that takes up most of it, or that lies in it for the most part."""
    words = np.full(len(holes), gaps, dtype="U8")
    for area, word in labels:
        pieces = geometry.parts(area)
        hole, piece = shapely.STRtree(pieces).query(holes, predicate="intersects")
        both = shapely.area(shapely.intersection(holes[hole], pieces[piece]))
        words[hole[both > np.minimum(shapely.area(holes)[hole], shapely.area(pieces)[piece]) / 2]] = word
    return words


def bearer(silhouette: BaseGeometry, *, bridging_mm: float, detail_mm: float) -> PolygonArray:
    """The silhouette with narrow gaps filled, and without what is narrower than `detail_mm` then; parts may overlap.

    A gap is filled up to `bridging_mm`, but no wider than `_BRIDGED` times the thinner of what stands on both its
    sides: from one twig to the next snow reaches no further than a twig is thick. Three steps of breadth are enough.
    """
    narrow = min(bridging_mm, _ALWAYS_MM)
    tiles, cells = _in_tiles(silhouette, narrow + detail_mm)
    solid = [_grown_back(_closed_within(tiles, narrow, detail_mm), cells, detail_mm)]
    thick, cells = _in_tiles(silhouette, 2 * bridging_mm + detail_mm)
    thinned = 0.0
    for gap in (np.sqrt(narrow * bridging_mm), bridging_mm):
        if gap > _STEP * narrow:
            broad = gap / _BRIDGED
            thick = _shrunk(thick, (broad - thinned) / 2, join="mitre" if thinned else "round")  # arcs stay arcs
            solid.append(_grown_back(_closed_within(thick, gap, detail_mm, thinned_mm=broad), cells, detail_mm))
            thinned = broad
    return np.concatenate(solid)


def _in_tiles(silhouette: BaseGeometry, reach: float) -> tuple[PolygonArray, PolygonArray]:
    """As `tiles_of`, with simpler outlines, and cells that overlap a little."""
    tiles, cells = tiles_of(silhouette, reach + _LAP_MM, side=_TILE_MM)
    lapping = shapely.buffer(cells, _LAP_MM, join_style="mitre")
    return np.asarray(shapely.simplify(tiles, _FINE_MM), dtype=object), np.asarray(lapping, dtype=object)


def _grown_back(within: PolygonArray, cells: PolygonArray, detail_mm: float) -> PolygonArray:
    grown = np.asarray(shapely.buffer(within, detail_mm / 2, quad_segs=_ARC), dtype=object)
    crossed = ~shapely.is_valid(grown)  # seldom, but GEOS's own buffer may cross itself by a hair
    grown[crossed] = shapely.make_valid(grown[crossed])
    return geometry.parts(shapely.intersection(grown, cells))


def _closed_within(shapes: PolygonArray, gap: float, detail_mm: float, *, thinned_mm: float = 0.0) -> PolygonArray:
    """What lies half a detail within the shapes with gaps so wide filled; they come thinned by so much.

    What was thinned gets its corners back: between two posts the gap is filled up to their tops.
    """
    grown = shapely.buffer(
        shapes,
        (gap + thinned_mm) / 2,
        quad_segs=_ARC,
        join_style="mitre" if thinned_mm else "round",
        mitre_limit=_MITRE,
    )
    return _shrunk(grown, (gap + detail_mm) / 2)


def _shrunk(shapes: PolygonArray, by: float, *, join: Literal["round", "mitre"] = "round") -> PolygonArray:
    """The shapes less a rim so broad: piece by piece, which is quicker; (n,), may be empty or multi-part."""
    pieces, shape = shapely.get_parts(shapes, return_index=True)
    less = shapely.buffer(pieces, -by, quad_segs=_ARC, join_style=join, mitre_limit=_MITRE)
    return geometry.regrouped(less, shape, len(shapes))


def panes(solid: Mask, page: Grid) -> Mask:
    """Air that is shut in on all sides, too little to show snow and sky: filled in part or whole it is a pane."""
    label, area_mm2 = pieces_of(~solid, page.step)
    return np.asarray((area_mm2 < _PANE_MM2)[label] & ~solid)


def pieces_of(mask: Mask, step: float) -> tuple[Indices, Floats]:
    """The number of the piece that each cell is in, 0 outside; and each piece's area by its number, mm²."""
    label, count = cast("tuple[Any, int]", ndimage.label(mask))
    return label, np.asarray(np.bincount(label.ravel(), minlength=count + 1) * step**2, dtype=np.float64)


def tangled(drawn: Mask, solid: Mask, page: Grid) -> tuple[Floats, Floats]:
    """How much twigs cross round about each cell, and how much they are needles, 0…1 both.

    By the length of their edges to gaps that snow would bridge. Needles are thinner and stand more densely; on a bough
    they carry its snow.

    Parameters
    ----------
    drawn, solid
        What is drawn, and with those gaps filled.
    """
    edges = np.zeros(drawn.shape, dtype=np.float32)
    edges[1:] += (drawn[1:] != drawn[:-1]) & solid[1:] & solid[:-1]
    edges[:, 1:] += (drawn[:, 1:] != drawn[:, :-1]) & solid[:, 1:] & solid[:, :-1]
    side = int(_TANGLE_MM / page.step) | 1
    inner = ndimage.binary_erosion(drawn, iterations=max(round(_POINTED_MM / page.step), 1))
    length, black, filled, broad = (
        ndimage.uniform_filter(np.asarray(each, dtype=np.float32), side)
        for each in (edges / page.step, drawn, solid, inner)
    )
    wide = 2 * black**2 / np.maximum(length * filled, 1e-6)
    needles = np.clip((_NEEDLES_MM[1] - wide) / (_NEEDLES_MM[1] - _NEEDLES_MM[0]), 0, 1)
    needles *= np.clip((_POINTED[1] - broad / np.maximum(black, 1e-6)) / (_POINTED[1] - _POINTED[0]), 0, 1)
    return np.clip((length - _TANGLED[0]) / (_TANGLED[1] - _TANGLED[0]), 0, 1), needles


def hiding(solid: Mask, lattice: Mask, page: Grid) -> Mask:
    """Of the cells where something stands those that hide the sky wholly: broad things and long straight boards."""
    coarse, mm = solid[::2, ::2], 2 * page.step
    broad = ndimage.distance_transform_edt(coarse) * mm >= _BROAD_MM / 2
    if broad.any():
        broad = ndimage.distance_transform_edt(~broad) * mm <= _BROAD_MM / 2 + mm
    beyond = page.beyond // 2
    within = coarse[:, beyond:-beyond]
    boards = _boards(within, mm)
    boards &= ~_from_side_to_side(boards, within, mm)
    boards = np.pad(boards, ((0, 0), (beyond, beyond)), mode="edge")
    hidden = np.repeat(np.repeat(broad | boards, 2, axis=0), 2, axis=1)
    return np.asarray(hidden[: solid.shape[0], : solid.shape[1]] & solid & ~lattice)


def _from_side_to_side(boards: Mask, solid: Mask, step: float) -> Mask:
    """Of the boards those on a thin, nearly level line from one side of the page to the other: a shore, no roof."""
    if not boards.any():
        return boards
    thin = solid & (run_lengths(solid.T).T * step <= _LINE_MM)
    level = ndimage.binary_opening(
        ndimage.maximum_filter(thin, (5, 1)), np.ones((1, int(_LEVEL_MM / step)), dtype=bool)
    )
    line = thin & level
    top = line & ~np.pad(line[1:], ((0, 1), (0, 0)))  # a line rises as its upper edge does, however thick it is
    near = 2 * int(_LINE_GAP_MM / step / 2) + 1  # what stands before a line parts it
    label, _ = ndimage.label(ndimage.maximum_filter(top, (max(int(_LINE_RISE_MM / step), 1), near)))
    across = (label > 0) & np.isin(label, np.intersect1d(label[:, 0], label[:, -1]))
    rows = np.arange(len(line))[:, None]
    edge = np.minimum.accumulate(np.where(top, rows, len(line) - 1)[::-1])[::-1]
    return np.asarray(boards & line & np.take_along_axis(across, edge, axis=0))


def _boards(solid: Mask, step: float) -> Mask:
    """The cells in straight runs of at least `_BOARD_MM`, level or up to as steep as roofs are.

    A board has air close above it: runs do not go on through the posts that a rope or a rail hangs between.
    """
    near = 2 * int(_BROAD_MM / step / 2) + 1
    buried = ndimage.minimum_filter1d(solid.view(np.uint8), near, axis=0, origin=-(near // 2), mode="nearest")
    every = (solid & (buried == 0))[:, ::2]  # every other column: a run is some forty of them long
    slopes = np.tan(np.radians(_BOARD_DEG))
    least = np.maximum((_BOARD_MM * np.cos(np.arctan(slopes)) / step / 2).astype(int), 1)
    wide = run_lengths(every.any(axis=0)[None])[0] >= least.min()  # no run goes on where a column holds nothing
    boards = np.zeros_like(every)
    rows, columns = (np.flatnonzero(some) for some in ((every & wide).any(axis=1), wide))
    if len(columns):
        here = np.s_[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
        boards[here] = _long_runs((every & wide)[here], slopes, least)
    return np.repeat(boards, 2, axis=1)[:, : solid.shape[1]] & solid


def _long_runs(thin: Mask, slopes: Floats, least: Indices) -> Mask:
    """The cells in runs of at least so many along one of these slopes of cells twice as wide as high; same shape."""
    runs = np.zeros_like(thin)
    column = 2 * np.arange(thin.shape[1])
    for slope, long in zip(slopes, least, strict=True):
        shift = np.rint(slope * column).astype(int)
        high = len(thin) + int(np.ptp(shift))  # of nothing above: what leaves at the top does not come in below
        rows = np.arange(high)[:, None]
        level = np.take_along_axis(np.pad(thin, ((0, high - len(thin)), (0, 0))), (rows + shift) % high, axis=0)
        runs |= np.take_along_axis(run_lengths(level) >= long, (rows - shift)[: len(thin)] % high, axis=0)
    return runs


def spread(mask: Mask, size: int) -> Mask:
    """Whether any cell of a square of so many cells a side, an odd number, round about each is in the mask; same shape.

    As scipy's ``maximum_filter``, several times as fast: so few cells are told apart by as many shifts.
    """
    for _ in mask.shape:
        beside = np.pad(mask, ((size // 2, size // 2), (0, 0)))
        near = beside[: len(mask)].copy()
        for k in range(1, size):
            np.logical_or(near, beside[k : k + len(mask)], out=near)
        mask = np.ascontiguousarray(near.T)
    return mask


def run_lengths(mask: Mask) -> Indices:
    """In each row, the length of the unbroken run that each cell lies in; 0 outside; same shape."""
    rows, columns = mask.shape
    flat = np.zeros(1 + rows * (columns + 1), dtype=bool)
    flat[1:].reshape(rows, columns + 1)[:, :-1] = mask
    change = np.flatnonzero(flat[1:] != flat[:-1])
    starts, stops = change[::2], change[1::2]
    length = np.zeros(len(flat) - 1, dtype=np.int64)
    length[starts], length[stops] = stops - starts, starts - stops  # no run begins where another has just ended
    return np.cumsum(length, out=length).reshape(rows, columns + 1)[:, :-1]
