"""How snow comes to lie: the motif's grow, by its settings."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.ndimage import grey_closing, grey_opening

from carvegen import geometry
from carvegen.base.progress import each_part, reached
from carvegen.motifs.growth import Growth, lying_on
from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.shared.minimum_width import closed, loosened, standing, thin_parts, within
from carvegen.motifs.shared.over_edge import ground_over, held_over, run_on, strip_mm, supported
from carvegen.motifs.snowload.firs.boughs import in_front, on_boughs
from carvegen.motifs.snowload.firs.pads import on_tiers
from carvegen.motifs.snowload.ledges import ledges_of
from carvegen.motifs.snowload.open_sky import clear_upwind, hill_behind, shore_drawn, sky_before, water_before
from carvegen.motifs.snowload.scene import (
    Grid,
    bearer,
    columns_of,
    hiding,
    panes,
    pieces_of,
    run_lengths,
    tangled,
    without_marks,
)
from carvegen.motifs.snowload.settling import (
    Settled,
    before_brinks,
    borne,
    crags,
    domed,
    ends_of,
    heaped,
    leant,
    left_on_slopes,
    limited,
    pointed,
    settled,
    slumped,
)
from carvegen.motifs.snowload.snow_shapes import (
    Canvas,
    across_feet,
    bare_rock,
    contoured,
    cuttable,
    fielded,
    lips,
    lying_ground,
    massive,
    outlined,
    patched,
    reaching,
    shown_bark,
    specks,
    summits,
    tongues,
    without_holes_far_from,
)
from carvegen.motifs.snowload.twigs import on_twigs
from carvegen.motifs.snowload.wind import drifted, lee_sides, strength

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.motifs.growth import Place
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.scene import Columns
    from carvegen.motifs.snowload.settings import Settings
    from carvegen.motifs.snowload.settling import Ends

    _Share = Callable[[Floats], Floats]  #: of the snow that is wanted at places, (n, 2): 0…1, (n,)

__all__ = ["before_shore", "grow"]

_CLIFF_MM, _CLIFF = 0.85, 0.3  #: a base that falls by more, or by more than this share of the depth fallen, is an edge
_LEAN_DEG = 38.0  #: a gale drives the snow so far off the plumb line
_RUNS_OUT = 0.9  #: beside what is kept bare it lies thinner within so many times what has fallen
_SHARED_MM = 4.0  #: lumps take their snow from so near, and three times the depth fallen further
_LUMPY = 1.2  #: lumps are so many times as deep as a thing bears at the most
_DIRT_MM2, _CAP_MM = 4.0, 5.5  #: a smaller piece that is also shorter reads as dirt,
_THIN_MM = 1.5  #: where less than this has fallen, ever smaller ones are read as snow
_UPRIGHT, _UPRIGHT_MM2 = 1.3, 12.0  #: one so many times as tall as broad must be larger: it is a plug in a corner;
_ROUND, _LEVEL = 0.8, 1.05  #: and so must one so round (1: a disc) and so many times as tall: a ball among twigs
_LEAST_CAP_MM2, _TALL_MM, _ON_TOP_MM = 1.2, 8.0, 0.3  #: but such a piece is the cap of what stands so tall, so near to
#: its top, or has drifted in under a roof,
_TWO_MM = 1.5  #: but not where a gap is bridged so near: those are the tips of two twigs
_LIES, _FLAT, _LINE_MM = 0.75, 0.72, 3.0  #: or is lower than so many times its breadth, no rounder, and so long: a line
#: on a twig
_PEAK_MM = 4.0  #: steep ground is a peak where it is highest so far about; the white of its head may be as small
_MOUTH_MM, _BOARD_MM = 1.5, 2.0  #: so near to the open end, on what is thicker than twigs
_RUN_MM = 4.0  #: so far below a ledge it is looked how broad what stands there is
_GROUND_MM = (8.0, 14.0)  #: and here, whether it is ground: a deck on piles is none
_SHRED, _THIN = 0.17, 1.05  #: times the detail: what is thinner on average is an edge of what is hardly broader than
#: the detail, and a twig is on average no broader
_BURIES_MM2 = 30.0  #: a smaller heap, in which twigs stayed in sight, would be torn to rags
_TIP = 6  #: times the detail: a shorter way round is that of a point, no twig
_ON_CROWNS = 0.8  #: of what would be bare boughs of firs hold so much at the most: the more the wetter
_NOTCH_MM, _NOTCHED_MM, _LEVELS_MM = 1.0, 13.0, 5.0  #: a notch so deep between sides of what is so broad is filled
#: level, as far as that
_SLANTS, _POST_MM = 0.2, 3.0  #: a rail slants from so much on (rise over run), wholly from twice; a post is as tall:
_GATHERS, _RUNS_OUT_BELOW = 0.9, 3.0  #: uphill of it so much more lies, downhill so much less, as a logarithm
_ENDS_MM = 2.5  #: but less so near to where that ends: no step stands there
_LEVELLINGS = 3  #: times, so that it comes down from the sides
_SWELL_MM, _SWELLS_MM = 0.13, (3.0, 7.0)  #: it swells by so much after a fall of 1 mm, in waves so long
_SUMMIT_MM = 1.0  #: a summit is highest so far about
_NEAR_TOP_MM = 1.0  #: a column's middle lies no further from the very top of what is steep
_TIP_MM2, _TIP_MM, _OVER_TIP_MM = 1.5, 2.5, 0.25  #: no dark tip so small, within so much, stays on a white summit:
#: white lies so thick over it
_CRUMB, _OVER_CRUMB_MM, _TOUCH_MM = 0.6, 0.1, 0.001  #: a crumb is so round (1: a disc); white lies so thick over it,
#: and touches it
_CLEAR_MM = 0.1  #: holes that lie further from all white have no part in that
_LAND_MM = 4.0, 2.0  #: thicker, and wholly by so much more, is land and no deck,
_FROM_SIDE_TO_SIDE = 0.8  #: of the page's breadth,
_EVEN_LAND_MM = 2.0  #: nor is what is so even all along;
_SLENDER_MM, _OVER_LAND_MM = 8.0, 1.5  #: what is no broader and rises over it by more stands on it
_ON_HILL = 0.55  #: of the depth lies on a hill far behind: its snow lies down its side, not on top of it
_NO_TIMBER, _TIMBER_MM = 0.9, 10.0  #: so much (share) less bark shows on caps, and on what is broader: roofs
_MANTLE = 0.12  #: of what has fallen lies across the heads of steep ground
_TURNS = np.radians(np.arange(0, 91, 15))  #: it goes round corners in these steps
_LEAST_SKY_MM2, _BESIDE_PANE_MM = 4.6, 0.5  #: so much sky stays over snow in air that is shut in, and beside it;
_FULL = 0.6  #: but a fork that snow takes up so much of is filled
_DRAWS_BACK = 1.3  #: lands: so far the white stays off a slot that it would shut
_LEAST_MM2 = 1.0  #: no smaller piece is drawn, a post's cap neither, however much has fallen
_LEAST_LINE_MM2, _LINED_MM = 0.55, 1.3  #: a line on a twig is so large and so long at least,
_LEAST_PAD_MM2 = 0.45  #: a pad on a fir's tier so large,
_GOES_ON_MM2 = 2.0  #: a cap goes on past a hanging twig that parts it, with pieces so large,
_PARTED_MM = 0.1  #: no further apart than the twig may be broad and so much,
_LEVEL_WITH = 0.5  #: and over so much of the lower one's height beside it
_TALLEST, _SLIM = 1.6, 0.75  #: no more times as tall as broad, and no rounder
_LEAST_MM = 0.12  #: thinner snow is not drawn
_BARE_LAND_MM, _BARE_SKY = 20.0, 0.2  #: where so much land with less sky stays bare it is said: it may lie before what
_BANK_MM, _EVEN_MM, _SHUT_MM = 10.0, 1.0, 3.0  #: a flat so high at least, even within so much and so near under a shore
_ALMOST_ALL = 3, 50, 97  #: per cent of its places, may hold a bank
_BARE_AIR_MM = 5.0  #: is drawn above it, with so much air between

#: Shares of the time, measured: heaps, those of what stands in front, what holds of both, and its fringe.
_TIMES, _NO_FRONTS = (0.4, 0.2, 0.2, 0.2), (0.6, 0.0, 0.2, 0.2)


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Snow on the place's shapes.

    Parameters
    ----------
    place
        What the snow lies on, where anything may be cut, and how thick it lies where (`density`).
    limits
        Any two cuts end at least ``limits.land_mm`` apart, no part is narrower than ``limits.cut_mm``, and what is
        left of the shapes is no narrower than the land where it was not so before.

    Returns
    -------
    Growth
        Heaps; their parts on the shapes; a fringe at the ragged edges. All may be empty.
    """
    settings = settings.drawn_to_scale
    page = shapely.box(*shapely.bounds(place.area))
    silhouette = geometry.cropped(shapely.disjoint_subset_union_all(place.shapes), page)
    settling, drawing, showing, *before = rng.spawn(5)
    heaping, in_front, holding, fringing = each_part(_TIMES if len(place.fronts) else _NO_FRONTS)
    with heaping:
        heaps = _heaps(silhouette, settings, place, limits, (settling, drawing))
    if len(place.fronts):
        fronts = shapely.intersection(shapely.union_all(place.fronts), page)
        if len(heaps.water):
            fronts = geometry.solid(
                shapely.difference(fronts, shapely.buffer(shapely.union_all(heaps.water), _TOUCH_MM))
            )
        with in_front:
            heaps = heaps.with_caps(_heaps(fronts, settings, place, limits, before))
    if len(heaps.core) == len(heaps.lines) == len(heaps.pads) == 0:
        return Growth(cuts=geometry.empty())
    frame = place.edge
    area, shapes = ground_over(place.area, frame), ground_over(silhouette, frame)
    core = np.concatenate([_rounded(heaps.core, 2 * settings.detail_mm), heaps.pads])
    white = _over_tips(_without_specks(core, silhouette, limits), silhouette, heaps.tips)
    white = geometry.cropped(run_on(white, frame, strip_mm(limits)), area)
    thin = _twigs(settings, silhouette, white, limits, showing)
    on_top = shapely.STRtree(thin).query(heaps.tips, predicate="dwithin", distance=_NEAR_TOP_MM)[1]
    dark = shapely.union_all(np.delete(thin, on_top))
    near = shapely.disjoint_subset_union_all(np.concatenate([geometry.parts(white), heaps.lines]))
    printed = standing(shapes, limits.land_mm, near=near)
    lined = shapely.union_all(heaps.lines)
    snow = _without_crumbs(shapely.union(shapely.difference(white, dark), lined), shapes, limits)
    with holding:
        over = held_over(snow, area, frame, limits, printed=printed)
    area_mm2, is_line = shapely.area(shapely.intersection(over, frame)), _lines(over, lined)
    reads = _reads(over, settings, heaps.tops) & (area_mm2 > _LEAST_MM2)
    reads |= is_line & (area_mm2 > _LEAST_LINE_MM2) | _padded(over, heaps.pads) & (area_mm2 > _LEAST_PAD_MM2)
    over = over[_going_on(over, reads, max(settings.detail_mm, limits.land_mm) + _PARTED_MM)]
    may = heaps.may[np.unique(shapely.STRtree(heaps.may).query(over, predicate="intersects")[1])]
    fringe = run_on(shapely.difference(shapely.disjoint_subset_union_all(may), dark), frame, strip_mm(limits))
    with fringing:
        free = loosened(over, geometry.cropped(fringe, area), area, limits, printed=printed)
    cuts = within(over, frame)
    free = supported(within(free, frame), frame, strip_mm(limits))
    return Growth(cuts=cuts, on_shapes=lying_on(cuts, place), free=free, remark=heaps.remark)


def before_shore(settings: Settings, place: Place) -> BaseGeometry:
    """Where the snow depends on a hill that a layer further back draws, mm; empty: on none.

    All that lies before the hill's far shore, if thin lines of the place's shapes draw that; and streaks of water.
    """
    if not len(place.further_back) or not len(place.shapes):
        return shapely.Polygon()
    settings, page = settings.drawn_to_scale, shapely.box(*shapely.bounds(place.area))
    shore = _shore_further_back(place, Grid.of(page.bounds))
    if not shore:
        return shapely.Polygon()
    drawn = [geometry.cropped(shapely.union_all(each), page) for each in (place.shapes, place.fronts) if len(each)]
    return shapely.union_all([_before(shore, each, settings, place) for each in drawn])


def _before(shore: int, silhouette: BaseGeometry, settings: Settings, place: Place) -> BaseGeometry:
    """What of a silhouette's snow depends on such a shore, at a row of every other one."""
    drawn, _ = without_marks(geometry.parts(silhouette), settings.gaps, place.holes)
    if len(drawn) == 0:
        return shapely.Polygon()
    page = Grid.of(place.area.bounds)
    solid, bears = _bearing_of(drawn, settings)
    stands = _stands(columns_of(solid, page), bears)
    if hill_behind(stands)[1]:
        return shapely.Polygon()
    left, bottom, right, _ = place.area.bounds
    high = page.bottom + 2 * page.step * shore
    streaks = shapely.buffer(shapely.union_all(water_before(drawn, high)), _TOUCH_MM)
    if not shore_drawn(stands, shore).any():
        return streaks
    return shapely.difference(shapely.box(left, bottom, right, high), streaks)


def _bearing_of(drawn: PolygonArray, settings: Settings) -> tuple[PolygonArray, bool]:
    """What of the shapes is broad enough for heaps, or all of it; and whether anything is."""
    solid = bearer(shapely.union_all(drawn), bridging_mm=settings.bridging_mm, detail_mm=settings.detail_mm)
    return (solid, True) if len(solid) else (drawn, False)


def _stands(bearing: Columns, bears: bool) -> Mask:
    """What stands on the page, every other cell of every other row; twigs that bear no heap hide no sky."""
    beyond = bearing.page.beyond // 2
    return np.asarray(bearing.raster[::2, ::2][:, beyond:-beyond] & bears)


def _heaps(
    silhouette: BaseGeometry, settings: Settings, place: Place, limits: Limits, rngs: Sequence[Generator]
) -> _Heaps:
    """The heaps on a silhouette that one would cut, and what goes with them."""
    scene = _Scene.of(silhouette, settings, place)
    if scene is None:
        return _Heaps()
    settling, drawing = rngs
    lining = drawing.spawn(1)[0]
    reached(0.4)
    share = _share_of(place, settings)
    if not scene.bears:
        pads = scene.pads(silhouette, share, limits, drawing)
        return _Heaps(lines=scene.lines(pads, share, limits, lining), pads=pads)
    ends = ends_of(scene.ledges, settings, settling.spawn(1)[0])
    snow = scene.snow(share, limits, ends, settling)
    reached(0.65)
    core, may = scene.drawn(snow, limits, ends, drawing)
    reached(0.85)
    tops = scene.tops(ends)
    core = core[_reads(core, settings, tops)]
    pads = scene.pads(silhouette, share, limits, drawing)
    lines = scene.lines(np.concatenate([core, pads]), share, limits, lining)
    return _Heaps(core, may, tops, scene.tips(), lines, pads, scene.remark(), scene.water)


@dataclass(frozen=True, eq=False)
class _Heaps:
    """Snow on a silhouette before it is made to hold; nothing by default."""

    core: PolygonArray = field(default_factory=geometry.empty)  #: heaps that one would cut
    may: PolygonArray = field(default_factory=geometry.empty)  #: the white that may come out
    tops: PolygonArray = field(default_factory=geometry.empty)  #: points: what bears small heaps
    tips: PolygonArray = field(default_factory=geometry.empty)  #: points: summits
    lines: PolygonArray = field(default_factory=geometry.empty)  #: on twigs that bear no heap
    pads: PolygonArray = field(default_factory=geometry.empty)  #: on the tiers of small firs
    remark: str = ""  #: what stays bare, and why
    water: PolygonArray = field(default_factory=geometry.empty)  #: streaks that bear none

    def with_caps(self, caps: _Heaps) -> _Heaps:
        """These and those of what stands in front."""
        core, may = (geometry.joined(np.concatenate(both)) for both in ((self.core, caps.core), (self.may, caps.may)))
        tops, tips, lines, pads = (
            np.concatenate([getattr(self, name), getattr(caps, name)]) for name in ("tops", "tips", "lines", "pads")
        )
        return _Heaps(core, may, tops, tips, lines, pads, self.remark, self.water)


@dataclass(frozen=True, eq=False)
class _Scene:
    """What the snow lies on, and how much sky each ledge sees."""

    settings: Settings
    page: Grid
    ledges: Ledges
    solid: Mask
    drawn_columns: Columns  #: what is drawn of it,
    shape: Mask  #: and as cells
    comes: Floats  #: the share of the falling snow that comes to every other cell of every other row
    panes: Mask  #: air between twigs that shows no snow
    broad: Mask  #: of what stands there, what hides the sky wholly
    sky: Floats  #: past broad things, (n,)
    seen: Floats  #: past twigs too, each of which hides half, (n,)
    row: np.ndarray
    run_mm: Floats  #: the breadth of what stands there, a little below each ledge, (n,)
    ground_mm: Floats  #: the least breadth from there on down, (n,)
    foot_mm: Floats  #: and that furthest down, below the notches of rock, (n,)
    across: Floats  #: and where it is broadest: the share of the page that it takes up, (n,)
    crown: Floats  #: the share of the sky that the boughs of a crown see at least, (n,)
    bears: bool  #: whether anything is broad enough for heaps
    water: PolygonArray  #: streaks of water before a hill, which are not among what is drawn
    shore: float  #: the height of its far shore, mm; the page's lower edge: there is none
    on_hill: Mask  #: which ledges lie on the hill, (n,)

    @staticmethod
    def of(silhouette: BaseGeometry, settings: Settings, place: Place) -> _Scene | None:
        """The scene; None where nothing is drawn, or no air lies over it."""
        drawn, lattice = without_marks(geometry.parts(silhouette), settings.gaps, place.holes)
        if len(drawn) == 0:
            return None
        solid, bears = _bearing_of(drawn, settings)
        page = Grid.of(place.area.bounds)
        bearing = columns_of(solid, page)
        coarse, beyond = np.s_[::2, ::2], page.beyond // 2  # the sky is alike over a millimetre
        stands = _stands(bearing, bears)
        hill, shore = hill_behind(stands)
        if not shore:
            shore = _shore_further_back(place, page)
            hill = shore_drawn(stands, shore) if shore else hill
        shore_mm = page.bottom + 2 * page.step * shore
        water = water_before(drawn, shore_mm) if shore else geometry.empty()
        if len(water):
            solid, drawn = (each[~_meet(each, water)] for each in (solid, drawn))
            bearing = columns_of(solid, page)
        if not np.isfinite(bearing.high).any():  # there is no air over it
            return None
        shape = columns_of(drawn, page)
        ledges = ledges_of(bearing, shape, cliff_mm=max(_CLIFF_MM, _CLIFF * settings.fallen_mm))
        cells = bearing.raster
        row = np.clip(np.ceil((ledges.base - page.bottom) / page.step).astype(int), 0, page.high - 1)
        lean = _LEAN_DEG * strength(settings)
        hides = cells & bears
        broad = hiding(hides, columns_of(lattice, page).raster, page)
        above, beside = np.minimum((row + 1) // 2, (page.high - 1) // 2), ledges.column // 2
        past_broad, past_all = sky_before(
            broad[coarse], (hides & ~broad)[coarse], hill, shore, beyond=beyond, step=2 * page.step, lean_deg=lean
        )
        runs = run_lengths(cells)
        run_mm, *lower = (
            (runs[np.clip(row - int(down / page.step), 0, page.high - 1), ledges.column] * page.step).astype(np.float64)
            for down in (_RUN_MM, *_GROUND_MM)
        )
        crown = in_front(ledges, run_mm)
        least = settings.boughs * crown
        comes = (past_broad + past_all) / 2
        sky, seen = np.maximum(past_broad[above, beside], least), np.maximum(comes[above, beside], least)
        ground_mm = np.minimum.reduce([run_mm, *lower])
        within = zip((_RUN_MM, *_GROUND_MM), (run_mm, *lower), strict=True)
        broadest = np.maximum.reduce([run * (ledges.thick > down) for down, run in within])
        return _Scene(
            settings,
            page,
            ledges,
            cells,
            shape,
            shape.raster,
            comes,
            panes(cells, page),
            broad,
            sky,
            seen,
            row,
            run_mm,
            ground_mm,
            lower[-1],
            broadest / (page.wide * page.step),
            crown,
            bears,
            water,
            shore_mm,
            hill[np.clip(above - 2, 0, None), np.clip(beside - beyond, 0, hill.shape[1] - 1)],
        )

    @cached_property
    def clear(self) -> Floats:
        """How far it is clear of broad things upwind, mm, along a few low rays: every other cell of every other row."""
        return clear_upwind(self.broad[::2, ::2], 2 * self.page.step, to_right=strength(self.settings) > 0)

    @cached_property
    def air(self) -> tuple[Indices, Floats]:
        """The pieces of air that what is drawn leaves, as `pieces_of` tells them."""
        return pieces_of(~self.shape, self.page.step)

    @property
    def tangled(self) -> Floats:
        """How much twigs that are no needles cross round about each ledge, 0…1: snow falls through them; (n,)."""
        cross, needles = tangled(self.shape, self.solid, self.page)
        return self.ledges.smoothed((cross * (1 - needles))[self.row, self.ledges.column], 1.0)

    @cached_property
    def summits(self) -> Mask:
        """The places that are highest close by on steep ground, (n,)."""
        ledges = self.ledges
        summit = (ledges.base >= ledges.highest(ledges.base, _SUMMIT_MM)) & (crags(ledges) > 0)
        return np.asarray(summit & (ledges.highest(lying_ground(ledges, self.foot_mm), _PEAK_MM) > 0))

    def remark(self) -> str:
        """What to say of what stays bare though snow may be wanted there; mostly nothing."""
        return "; ".join(filter(None, [self._sheltered_land(), self._hill(), self._water(), self._bank()]))

    @property
    def _on_page(self) -> Mask:
        """The ledges within the page's sides, (n,)."""
        return (self.ledges.column >= self.page.beyond) & (self.ledges.column < self.page.wide - self.page.beyond)

    def _hill(self) -> str:
        """What to say of a hill under which snow lies."""
        under = self._on_page & (self.ledges.base < self.shore)
        if under.sum() * self.ledges.step < _BARE_LAND_MM:
            return ""
        return (
            f"what ends at y {self.shore:.0f} mm from side to side is taken for a hill far behind, so snow lies below "
            'it, too; if it is a roof, mark what is under it "less"'
        )

    def _water(self) -> str:
        if not len(self.water):
            return ""
        x, y = shapely.get_coordinates(shapely.centroid(self.water[0]))[0]
        many, where = len(self.water), f"x {x:.0f}, y {y:.0f} mm"
        what = f"a thin streak below the far shore, at {where}, counts"
        if many > 1:
            what = f"{many} thin streaks below the far shore, the first at {where}, count"
        return f"{what} as water and bear no snow; draw things on which snow lies in a layer of their own"

    def _bank(self) -> str:
        """What to say of a flat that begins level right under the far shore, where no snow has room: mostly nothing.

        It is water; but a near bank that is drawn in one with it has no edge of its own that snow could lie on.
        """
        page = self.page
        below = self.shape[: max(int((self.shore - page.bottom) / page.step), 1), page.beyond : -page.beyond]
        low, middle, high = np.percentile(np.logical_and.accumulate(below).sum(axis=0) * page.step, _ALMOST_ALL)
        apart = self.shore - page.bottom - middle
        if self.shore <= page.bottom or low < _BANK_MM or high - low > _EVEN_MM or apart > _SHUT_MM:
            return ""
        return (
            f"what begins at y {page.bottom + middle:.0f} mm, right under the far shore, is one flat from side to "
            "side, as water is, and bears no snow; if a near bank is part of it, draw the bank as a layer of its own"
        )

    def _sheltered_land(self) -> str:
        """What to say of land that stays bare because what is drawn high above it counts as a roof; mostly nothing."""
        ledges = self.ledges
        bare = ledges.ground & (self.foot_mm > _GROUND_MM[1]) & (self.sky < _BARE_SKY)
        bare &= (ledges.ceiling - ledges.base > _BARE_AIR_MM) & np.isfinite(ledges.ceiling)
        bare &= self._on_page
        long = bare.sum() * ledges.step
        if long < _BARE_LAND_MM:
            return ""
        middle = np.flatnonzero(bare)[bare.sum() // 2]
        where = f"x {ledges.x[middle]:.0f}, y {ledges.base[middle]:.0f} mm"
        return (
            f"{long:.0f} mm of land round {where} stays bare: what is drawn above it in the same layers counts as a "
            "roof; if it is a hill behind, draw the land in a layer of its own, with snow of its own"
        )

    def tips(self) -> PolygonArray:
        """The summits of steep ground, which no dark speck crowns when they are white."""
        return geometry.dots(np.column_stack([self.ledges.x, self.ledges.base])[self.summits])

    def tops(self, ends: Ends) -> PolygonArray:
        """The highest places of what stands upright and free, as posts do, and of peaks; mouths under a roof."""
        ledges = self.ledges
        top = np.isfinite(ends.crest) & (ledges.below_tip <= 0) & (ledges.thick > _TALL_MM)
        top &= ledges.highest(ledges.bridged.astype(np.float64), _TWO_MM) == 0
        mouth = np.isfinite(ledges.ceiling) & (ledges.breadth > _BOARD_MM)
        mouth &= (ends.free & (ends.away < _MOUTH_MM)).any(axis=0)
        peak = self.summits & (ledges.base >= ledges.highest(ledges.base, _PEAK_MM))
        peak &= (ends.away > _MOUTH_MM).all(axis=0)
        rail = np.isfinite(slumped(ledges, ends, self.settings))
        return geometry.dots(np.column_stack([ledges.x, ledges.base])[top | mouth | peak | rail])

    def snow(self, share: _Share, limits: Limits, ends: Ends, rng: Generator) -> Settled:
        """The snow at rest."""
        settings, ledges = self.settings, self.ledges
        where = np.column_stack([ledges.x, ledges.base])
        depth = settings.fallen_mm * self.seen * share(where)
        depth *= np.exp(0.4 * settings.lumpy * waves_at(where, rng, patch_mm=(14.0, 14.0)))
        depth *= 1 - self._bare(where, rng)
        lost = 0.0
        if strength(settings):
            low = np.clip(self.row + 3, 0, self.page.high - 1)
            clear = self.clear[:, low // 2, ledges.column // 2]
            depth, lost = drifted(ledges, depth, settings, clear=clear, sky=self.sky)
        blown = lost
        lumps = 0.3 * waves_at(where, rng, patch_mm=(1.6 + settings.fallen_mm,) * 2)
        lumps += 0.1 * waves_at(where, rng, patch_mm=(1.2 + 0.3 * settings.fallen_mm,) * 2)
        lumps += _at_walls(ledges, ends, settings)
        bears = borne(ledges, settings, lying_ground(ledges, self.foot_mm))
        bears *= ~self.panes[self.row, ledges.column] * (1 - self.tangled)
        rest = settled(ledges, depth, settings, sky=self.sky, ends=ends, bears=bears, land_mm=limits.land_mm)
        uneven = np.exp(settings.lumpy * lumps) * (1 - _hollows(ledges, ends, settings))
        lumpy = ledges.reshaped(rest.depth * uneven, rest.depth, _SHARED_MM + 3 * settings.fallen_mm)
        lumpy = ledges.calmed(lumpy, 0.2 + 0.12 * settings.fallen_mm, 0.3)
        lumpy = ledges.smoothed(lumpy, 0.15 + 0.05 * settings.fallen_mm)
        capped = np.where(pointed(ledges), domed(ledges, lumpy, ends), lumpy)
        capped = heaped(ledges, capped, slumped(ledges, ends, settings))
        lost, lumpy = lost + float((lumpy - capped).sum()), capped
        left = left_on_slopes(ledges, settings, ends, rng.spawn(1)[0])
        most = np.minimum(np.minimum(_LUMPY * bears, left), ledges.room(limits.land_mm))
        most = np.where(np.isfinite(ends.crest), most, np.minimum(most, limited(ledges, lumpy, ends).min(axis=0)))
        swell = _SWELL_MM * settings.fallen_mm**0.5 * sum(waves_at(where, rng, patch_mm=(of, of)) for of in _SWELLS_MM)
        lying = _level_in_notches(ledges, np.minimum(lumpy, most), uneven**0.3, swell, self.run_mm)
        lying = np.minimum(lying, before_brinks(ledges, lying, settings, ends))
        lying = np.maximum(lying, np.minimum(leant(ledges, lying), ledges.room(limits.land_mm)))
        lying = lying * self._below_sky(lying)
        return Settled(lying, rest.fallen + blown, rest.lost + lost + float((lumpy - lying).sum()))

    def lines(self, heaps: PolygonArray, share: _Share, limits: Limits, rng: Generator) -> PolygonArray:
        """Lines of snow on twigs on which none of the heaps lies."""
        settings, page = self.settings, self.page
        if settings.scale == "far" or settings.twigs == 0:
            return geometry.empty()
        air, area_mm2 = self.air
        taken = columns_of(heaps, page).raster if len(heaps) else np.zeros_like(self.shape)
        canvas = Canvas.blank(page)
        on_twigs(
            canvas, self.drawn_columns, settings, limits, heaps=taken, air_mm2=area_mm2[air],
            seen=self._comes_to(share), rng=rng,
        )  # fmt: skip
        return contoured(canvas.cover, page, least_mm2=_LEAST_LINE_MM2)

    def pads(self, silhouette: BaseGeometry, share: _Share, limits: Limits, rng: Generator) -> PolygonArray:
        """Snow on the tiers of small firs."""
        page = self.page

        def cells(where: Floats, per: int) -> tuple[Indices, Indices]:
            row, column = ((where - (page.left, page.bottom)) / page.step / per).astype(int).T[::-1]
            return np.clip(row, 0, (page.high - 1) // per), np.clip(column, 0, (page.wide - 1) // per)

        return on_tiers(
            geometry.parts(silhouette), self.settings, limits, stands=lambda where: self.shape[cells(where, 1)],
            comes=lambda where: self.comes[cells(where, 2)], share=share, rng=rng.spawn(1)[0],
        )  # fmt: skip

    def _comes_to(self, share: _Share) -> Callable[[Ledges], Floats]:
        def seen(ledges: Ledges) -> Floats:
            row = np.ceil((ledges.base - self.page.bottom) / self.page.step).astype(int)
            comes = self.comes[np.clip((row + 1) // 2, 0, len(self.comes) - 1), ledges.column // 2]
            return np.asarray(comes * share(np.column_stack([ledges.x, ledges.base])))

        return seen

    def _far_land(self) -> tuple[Floats, Mask]:
        """How much each ledge is land that ends above the page's lower edge, so lies far off behind water, 0…1; (n,).

        It runs from side to side, uneven, and as thick as no timber. And which ledges are those of slender things on
        it, as of trees: so far off they are bare; (n,).
        """
        ledges, broad = self.ledges, np.clip(20 * self.across - 19, 0, 1)
        land = ~ledges.ground * broad * np.clip((ledges.thick - _LAND_MM[0]) / _LAND_MM[1], 0, 1)
        on, none = np.flatnonzero(land), (np.zeros(len(ledges)), np.zeros(len(ledges), dtype=bool))
        if len(np.unique(ledges.column[on])) < _FROM_SIDE_TO_SIDE * self.page.wide:
            return none
        columns, which = np.unique(ledges.column[on], return_inverse=True)
        line, foot = np.full(len(columns), -np.inf), np.full(len(columns), np.inf)
        np.maximum.at(line, which, ledges.base[on])
        np.minimum.at(foot, which, (ledges.base - ledges.thick)[on])
        every = np.arange(self.page.wide)
        line = grey_opening(np.interp(every, columns, line), (int(_SLENDER_MM / ledges.step),), mode="nearest")
        if np.ptp(line) < _EVEN_LAND_MM:
            return none
        foot = np.interp(every, columns, grey_closing(foot, (int(_SLENDER_MM / ledges.step),), mode="nearest"))
        above = ledges.base > line[ledges.column] + _OVER_LAND_MM
        own = above & (land > 0) & (ledges.base - ledges.thick > foot[ledges.column] - _OVER_LAND_MM)
        trees = above & (np.bincount(ledges.first, own, minlength=len(ledges))[ledges.first] > 0)
        return np.clip(ledges.smoothed(land * ~above, 1.0), 0, 1), trees

    def _below_sky(self, depth: Floats) -> Floats:
        """The share of the depth that leaves, in air that what is drawn shuts in, sky enough to cut round; (n,)."""
        ledges = self.ledges
        air, area = self.air
        which = air[self.row, ledges.column]
        white = np.bincount(which, depth * ledges.step, minlength=len(area))
        share = np.clip((area - _LEAST_SKY_MM2) / np.maximum(white, 1e-9), 0, 1)
        share[white > _FULL * area] = 1
        share[0] = 1
        return np.asarray(1 - ledges.highest(1 - share[which], _BESIDE_PANE_MM))

    def _bare(self, where: Floats, rng: Generator) -> Floats:
        """The share that has been shaken off or melted away, in patches, from all but broad things."""
        from scipy.special import ndtri

        settings = self.settings
        if settings.patchy == 0:
            return np.zeros(len(where))
        wave = (waves_at(where, rng, patch_mm=(9.0, 9.0)) + 0.5 * waves_at(where, rng, patch_mm=(3.5, 3.5))) / 1.118
        bare = np.clip((ndtri(settings.patchy) - wave) * 2 + 0.5, 0, 1)
        holds = min(settings.sticky, _ON_CROWNS) * (self.crown > 0)
        return bare * np.clip(2 - self.ledges.thick / 8, 0, 1) * (1 - holds)

    def drawn(self, snow: Settled, limits: Limits, ends: Ends, rng: Generator) -> tuple[PolygonArray, PolygonArray]:
        """The white that must come out, and that which may: where it is less sure that snow lies."""
        settings, ledges, page = self.settings, self.ledges, self.page
        depth = np.where(snow.depth > _LEAST_MM, snow.depth, 0.0)
        inner, patching = rng.spawn(2)
        field = fielded(ledges, self.ground_mm, far=settings.scale == "far")
        patches, (hill, on_it) = patched(ledges, patching), self._far_land()
        depth = depth * (1 - hill * np.clip(1 - _ON_HILL * patches, 0, 1)) * ~on_it
        fields = np.maximum(field, hill) * (1 - crags(ledges))
        below = reaching(ledges, depth, settings, ends, fields, patches=patches, land_mm=limits.land_mm, rng=rng)
        ground = field if settings.scale == "far" else lying_ground(ledges, self.foot_mm)
        feet = across_feet(ledges, depth, below, fields, self.shape, page=page, limits=limits)
        heads, white, share = summits(ledges, ground, settings), below, tongues(page, limits, rng)
        depth, below = np.maximum(depth, np.minimum(heads, _mantle(ledges, settings))), np.maximum(below, heads)
        depth = cuttable(ledges, depth, below, limits.cut_mm)
        inside = Canvas.blank(page)
        on_boughs(inside, ledges, depth, self.run_mm, settings, solid=self.shape, limits=limits, rng=inner)
        elsewhere = inside.cover * self.solid
        bark = Canvas.blank(page)
        land = np.maximum.reduce([field, hill, massive(ledges, self.ground_mm), self.on_hill])
        land = np.maximum(land, _NO_TIMBER * (np.isfinite(ends.crest) | (ledges.breadth > _TIMBER_MM)))
        below = shown_bark(ledges, below, settings, land, limits=limits, rng=rng)
        bare_rock(bark, ledges, white, heads, share)
        shows = 1 - bark.cover
        where = np.column_stack([ledges.x, ledges.base])
        doubt = (
            (0.12 + 0.06 * settings.fallen_mm)
            * (1.6 - self.seen)
            * np.clip(0.6 + 0.8 * waves_at(where, rng, patch_mm=(4.0, 4.0)), 0, 2)
        )
        whites = []
        for more in (0.0, doubt):
            canvas = Canvas.blank(page)
            some = depth > 0
            low, high = ledges.base - below - more, np.where(some, ledges.base + depth + more, -np.inf)
            canvas.stroke(ledges.column, low, high)
            canvas.stroke(*feet)
            lips(canvas, ledges, np.asarray(depth + more * some, dtype=np.float64), ends, blows=strength(settings))
            whites.append(
                outlined(
                    np.maximum(canvas.cover * shows, elsewhere),
                    self.solid | self.panes,
                    page,
                    least_mm2=_LEAST_MM2,
                )
            )
        return whites[0], whites[1]


def _mantle(ledges: Ledges, settings: Settings) -> Floats:
    """How deep, plumb, the white lies that is equally thick across the heads of steep ground, round corners too; (n,).

    By its thickness over the slope alone it would stand as a horn right beside a shoulder.
    """
    across = _MANTLE * settings.fallen_mm
    surfaces = (ledges.highest(ledges.base, across * np.sin(turn)) + across * np.cos(turn) for turn in _TURNS)
    return np.asarray(np.maximum.reduce(list(surfaces)) - ledges.base)


def _shore_further_back(place: Place, page: Grid) -> int:
    """The row of every other one at which a hill ends that a layer further back draws; 0: none does."""
    beyond = page.beyond // 2
    layers = (columns_of(geometry.parts(layer), page).raster[::2, ::2] for layer in place.further_back)
    return max((hill_behind(each[:, beyond:-beyond])[1] for each in layers), default=0)


def _meet(pieces: PolygonArray, others: PolygonArray) -> Mask:
    """Which pieces meet one of the others, (n,)."""
    return np.isin(np.arange(len(pieces)), shapely.STRtree(pieces).query(others, predicate="intersects")[1])


def _reads(pieces: PolygonArray, settings: Settings, tops: PolygonArray) -> Mask:
    """Which pieces one would cut: large ones, long ones if they lie, and those on a top or in a mouth; (n,)."""
    small = min(settings.fallen_mm / _THIN_MM, 1.0)
    area = shapely.area(pieces) / small**2
    left, low, right, high = shapely.bounds(pieces).T
    tall, disc = (high - low) / (right - left), 4 * np.pi * shapely.area(pieces) / shapely.length(pieces) ** 2
    upright = ((tall > _UPRIGHT) | (tall > _LEVEL) & (disc > _ROUND)) & (area < _UPRIGHT_MM2)
    reads = ((area > _DIRT_MM2) | (shapely.length(pieces) > 2 * small * _CAP_MM)) & ~upright
    lies = (tall < _LIES) & (disc < _FLAT) & (shapely.length(pieces) > 2 * _LINE_MM)
    reads |= lies & (area > _LEAST_CAP_MM2)
    capped = shapely.STRtree(pieces).query(tops, predicate="dwithin", distance=_ON_TOP_MM)[1]
    reads[capped] |= area[capped] > _LEAST_CAP_MM2
    return np.asarray(reads)


def _going_on(pieces: PolygonArray, reads: Mask, apart_mm: float) -> Mask:
    """Which pieces read, or go on from one that does sideways past a twig: so a cap tapers off; (n,)."""
    large = reads | (shapely.area(pieces) > _GOES_ON_MM2)
    one, other = shapely.STRtree(pieces).query(pieces, predicate="dwithin", distance=apart_mm)
    left, low, right, high = shapely.bounds(pieces).T
    beside = np.minimum(high[one], high[other]) - np.maximum(low[one], low[other])
    beside = beside > _LEVEL_WITH * np.minimum((high - low)[one], (high - low)[other])
    beside &= (left[one] > right[other]) | (left[other] > right[one])
    beside &= large[one] & large[other]
    group = geometry.linked_groups(len(pieces), one[beside], other[beside])
    return np.asarray(large & np.isin(group, group[reads]))


def _padded(pieces: PolygonArray, pads: PolygonArray) -> Mask:
    """Which pieces are pads on firs or hold one, (n,)."""
    return _meet(pieces, pads)


def _lines(pieces: PolygonArray, lined: BaseGeometry) -> Mask:
    """Which pieces are lines on twigs: long, slim and not upright; (n,)."""
    left, low, right, high = shapely.bounds(pieces).T
    long, area = shapely.length(pieces) / 2, shapely.area(pieces)
    lined = geometry.prepared(lined)
    lies = (high - low < _TALLEST * (right - left)) & (np.pi * area / long**2 < _SLIM)
    return np.asarray(lies & (long > _LINED_MM) & shapely.intersects(lined, pieces))


def _without_specks(core: PolygonArray, silhouette: BaseGeometry, limits: Limits) -> BaseGeometry:
    """The white with the specks of sky that it shuts in filled, or opened where that makes a pillar.

    A slot that can't be opened stays.
    """
    if len(core) == 0:
        return shapely.Polygon()
    closes, opens = specks(core, silhouette)
    white = shapely.disjoint_subset_union_all(np.concatenate([core, closes]))
    if len(opens) == 0:
        return white
    back = shapely.buffer(opens, _DRAWS_BACK * limits.land_mm, quad_segs=2)
    drawn_back = geometry.parts(shapely.difference(white, shapely.union_all(back)))
    drawn_back = drawn_back[shapely.STRtree(drawn_back).query(back, predicate="dwithin", distance=0.02)[1]]
    still = (
        shapely.union_all(np.concatenate(specks(drawn_back, silhouette, 1.5))) if len(drawn_back) else shapely.Point()
    )
    shut = shapely.intersects(opens, still)
    opened = back[~shut & (shapely.area(opens) > _LEAST_MM2)]
    return shapely.difference(white, shapely.union_all(opened))


def _over_tips(white: BaseGeometry, silhouette: BaseGeometry, tops: PolygonArray) -> BaseGeometry:
    """The white with the small dark tips that it leaves of white summits: each would be a speck in the air."""
    around = shapely.buffer(tops, _TIP_MM, quad_segs=2)
    around = around[shapely.intersects(white, around)]
    left = geometry.parts(shapely.difference(shapely.intersection(silhouette, shapely.union_all(around)), white))
    left = left[(shapely.area(left) < _TIP_MM2) & (shapely.length(left) < 2 * _TIP_MM + 2)]
    left = left[np.unique(shapely.STRtree(left).query(tops, predicate="dwithin", distance=_NEAR_TOP_MM)[1])]
    return shapely.union_all([white, *geometry.offset(left, _OVER_TIP_MM, quad_segs=4)]) if len(left) else white


def _without_crumbs(white: BaseGeometry, drawn: BaseGeometry, limits: Limits) -> BaseGeometry:
    """The white with the crumbs that it leaves of what it buries, such as the tip of a twig behind a cap.

    A crumb stands alone, with a shorter way round it than round the smallest dot, and is not slim as needles are.
    """
    whites = geometry.parts(white)
    left = geometry.parts(shapely.difference(without_holes_far_from(drawn, whites, _CLEAR_MM), white))
    round_mm = shapely.length(left)
    left = left[(round_mm < np.pi * limits.dot_mm) & (4 * np.pi * shapely.area(left) > _CRUMB * round_mm**2)]
    left = left[shapely.dwithin(geometry.prepared(white), left, _TOUCH_MM)]
    over = geometry.offset(left, _OVER_CRUMB_MM, quad_segs=4)
    return shapely.disjoint_subset_union_all(np.concatenate([whites, over])) if len(left) else white


def _rounded(pieces: PolygonArray, width: float) -> PolygonArray:
    """The pieces, small ones with inlets narrower than the width filled: twigs in them would tear them to rags."""
    small = shapely.area(pieces) < _BURIES_MM2
    return np.concatenate([pieces[~small], geometry.parts(closed(pieces[small], width))])


def _level_in_notches(ledges: Ledges, depth: Floats, uneven: Floats, swell: Floats, run_mm: Floats) -> Floats:
    """The depth with the snow nearly level in notches of massive things, as between two firs: no zigzag.

    Nor a ruled line: it is so many times as deep as level, and swells by so many mm where it is no thinner.
    """
    massive = ledges.hollow(run_mm, _LEVELS_MM) + run_mm > _NOTCHED_MM  # on both sides
    notch = massive & (ledges.hollow(ledges.base, _LEVELS_MM) > _NOTCH_MM) & (crags(ledges) > 0)
    sides = (ledges.highest(notch.astype(np.float64), _LEVELS_MM) > 0) & (crags(ledges) > 0)
    over, level = np.where((notch | sides) & (depth > 0), _LEVELS_MM, 0.0), depth
    for _ in range(_LEVELLINGS):
        level = ledges.calmed(level, np.minimum(over[:-1], over[1:]), 0.0)
    swollen = np.clip(level * uneven + np.clip(level, 0, 1) * swell, 0, None)
    within = ledges.rising_gently(np.sign(over), 1 / _ENDS_MM, _ENDS_MM)
    return np.asarray(depth + within * (swollen - depth))


def _at_walls(ledges: Ledges, ends: Ends, settings: Settings) -> Floats:
    """How much higher snow on rails and the like lies right at what stands there, mostly lower, as a logarithm; (n,).

    Without it the line between two posts would be as straight as a shelf. On a slanting rail it gathers at the uphill
    side of a post and runs out towards its downhill side. On broad ground there are hollows instead.
    """
    rises = ledges.smoothed(np.clip(ledges.slope, -1, 1), 6.0)
    level = np.clip(1 - np.abs(rises) / 0.6, 0, 1)
    wide = (ledges.last - ledges.first + 1) * ledges.step
    level *= np.clip(wide / settings.fallen_mm - 0.5, 0, 1) * (1 - _broad(ledges))
    near = np.exp(-ends.away / (0.6 + 0.4 * settings.fallen_mm)) * ~ends.free
    slants = np.clip((np.abs(rises) - _SLANTS) / _SLANTS, 0, 1) * (1 - _broad(ledges)) * (ends.wall > _POST_MM)
    gathers = np.where(np.stack([rises > 0, rises < 0]), _GATHERS, -_RUNS_OUT_BELOW)
    return np.asarray(
        level * (near * (0.7 * lee_sides(settings) - 2.2 * ends.kind)).sum(axis=0)
        + (slants * near * gathers).sum(axis=0)
    )


def _broad(ledges: Ledges) -> Floats:
    """How much the thing below is as broad as ground, 0…1; (n,)."""
    return np.clip((ledges.breadth - 3) / 3, 0, 1)


def _hollows(ledges: Ledges, ends: Ends, settings: Settings) -> Floats:
    """The share that is missing on broad level ground right at what stands in it, 0…1; (n,).

    What stands there is warmer and turns the wind: round posts and trunks snow lies in a hollow, which the wind
    digs out, most of all before them (common practice, no source). On rails and limbs, too narrow for it, is none.
    """
    blows = strength(settings)
    dug = abs(blows) + blows * np.array([[-0.5], [0.5]])
    level = np.clip(1.3 - 2 * np.abs(ledges.smoothed(np.clip(ledges.slope, -1, 1), 4.0)), 0, 1)
    level *= _broad(ledges)
    near = np.exp(-ends.away / (0.5 + 0.3 * settings.fallen_mm)) * ~ends.free
    deep = (0.25 + 0.5 * ends.kind) * (1 + dug)
    return np.asarray(level * np.clip((near * deep).sum(axis=0), 0, 0.75))


def _share_of(place: Place, settings: Settings) -> _Share:
    """The share of the snow that is wanted at places: none where it is kept bare or right beside that."""
    kept_bare = shapely.difference(shapely.box(*shapely.bounds(place.area)), place.area)
    return lambda where: np.asarray(place.density_at(where) * _away_from(kept_bare, where, settings))


def _away_from(kept_bare: BaseGeometry, where: Floats, settings: Settings) -> Floats:
    """0 where it is kept bare, and so near to it that the snow beside it runs out before, 1 elsewhere; (n,)."""
    if shapely.is_empty(kept_bare):
        return np.ones(len(where))
    near = shapely.distance(geometry.prepared(kept_bare), shapely.points(where))
    return np.clip(near / (_RUNS_OUT * settings.fallen_mm) - 0.5, 0, 1)


def _twigs(
    settings: Settings, silhouette: BaseGeometry, white: BaseGeometry, limits: Limits, rng: Generator
) -> PolygonArray:
    """Twigs and needles too thin to bear snow that stay in sight, with land enough to stand in.

    Those that poke out of the white do so more often than those it buries.
    """
    if settings.detail_mm == 0 or settings.detail_kept == 0:
        return geometry.empty()
    thin = thin_parts(silhouette, settings.detail_mm, near=white)
    thin = thin[(shapely.area(thin) > settings.detail_mm**2 / 8) & (shapely.length(thin) > _TIP * settings.detail_mm)]
    thin = thin[shapely.STRtree(thin).query(white, predicate="intersects")]
    wide = 2 * shapely.area(thin) / np.maximum(shapely.length(thin) - 2 * settings.detail_mm, settings.detail_mm)
    # GEOS may find no inside at all: then all is thin
    twigs = (wide > _SHRED * settings.detail_mm) & (wide < _THIN * settings.detail_mm)
    thin, wide = thin[twigs], wide[twigs]
    if len(thin) == 0:
        return thin
    from scipy.special import ndtr

    rank = ndtr(waves_at(shapely.get_coordinates(shapely.centroid(thin)), rng, patch_mm=(1.5, 1.5)))
    buried = shapely.contains_properly(geometry.prepared(white), thin)
    heaps = geometry.parts(white)
    heaps = heaps[shapely.area(heaps) > _BURIES_MM2]
    kept = settings.detail_kept * np.where(buried, settings.detail_kept, 1.0) > rank
    kept &= _meet(thin, heaps)
    return np.asarray(
        shapely.buffer(thin[kept], np.clip((limits.land_mm - wide[kept]) / 2, 0, None) + 0.02, quad_segs=2)
    )
