"""New snow, fitted to the drawing and to what is white before it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks.mending.shape_edits import lands, opening, runs
from carvegen.geometry.narrow import narrow_spread
from carvegen.motifs.growth import Growth
from carvegen.motifs.shared.minimum_width import within
from carvegen.motifs.shared.over_edge import ground_over, held_over
from carvegen.motifs.snowfall.readable import mass_mm2, uncut
from carvegen.prints.flake_fit import settled
from carvegen.prints.picture.growing_room import NOTHING, Room, kept_out

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import PolygonArray
    from carvegen.geometry.widths import Widths
    from carvegen.prints.file.print_file import PrintMotif
    from carvegen.prints.picture.growing_room import GrowingRooms

__all__ = ["SPARE_MM", "Begun", "fallen", "loaded"]

_MEETS_MM = 0.01  #: outlines this near meet
SPARE_MM = 0.08  #: so much more than the land a bar is given: what is held to limits asks a little more, and is
#: simplified; on either side half of it is less than an eye tells apart
_NARROW, _SHORT = 3.0, 15.0  #: lands: a gap between two lobes of snow that is broader or longer shows what is
#: behind, else it is a rag; our own choice
_BRICK_MM2, _ABOVE_MM, _SHELTERED = 3.0, 0.3, 0.5  #: a bit of snow so small, of which so much has what stands in front
#: so near above it, is a brick below that; our own choice
_BITS = 0.25  #: of a land squared: bits of snow so small beside snow that lies already show on no print; our own choice
_LITTLE = 0.02  #: of a gap: no more of a thing is in it, or it stays
_LOST = 0.01  #: of the face: so much falling snow is left out untold

Begun = tuple[Room, Growth]  #: new snow as it grew there


def fallen(
    rooms: GrowingRooms, motif: PrintMotif, begun: Begun, limits: Limits, *,
    before: BaseGeometry, leaves: frozenset[str],
) -> tuple[Growth, list[str]]:  # fmt: skip
    """Flakes: those too near to other white, or that leave slivers of a block, are left out; a note if many are."""
    room, snow = begun
    cuts = snow.cuts
    for figure in room.figures:
        cuts = uncut(cuts, figure)
    flakes = settled(
        cuts, before, [rooms.pictures[name] for name in sorted(leaves)], limits,
        area=room.area, frame=room.edge, mass_mm2=mass_mm2(motif.settings),
        bars=room.bars,
    )  # fmt: skip
    lost = float(shapely.area(snow.cuts).sum() - shapely.area(flakes).sum()) / shapely.area(rooms.face)
    if lost <= _LOST:
        return replace(snow, cuts=flakes), []
    crowded = _beside_white(snow.cuts, flakes, before, limits) / shapely.area(rooms.face)
    return replace(snow, cuts=flakes), [
        f"{motif.called}: snow on {lost:.0%} of the face is left out, {_left_out(lost, min(crowded, lost))}"
    ]


def _left_out(lost: float, crowded: float) -> str:
    """Why so much of the snow is left out, and what helps; shares of the face.

    Smaller flakes find room between outlines, but beside other white as much of them goes: measured on a landing, 542
    and 187 mm² with flakes up to 7 mm, 357 and 187 mm² up to 2 mm. More snow then falls on what is free.
    """
    shares = {
        "too near to other white (raise snow, and more falls elsewhere)": crowded,
        "at outlines (let flakes be smaller, or raise snow)": lost - crowded,
    }
    told = {why: share for why, share in shares.items() if share >= _LOST / 2}
    return " and ".join(f"{share:.0%} {why}" if len(told) > 1 else why for why, share in told.items())


def _beside_white(cuts: PolygonArray, left: PolygonArray, white: BaseGeometry, limits: Limits) -> float:
    """How much of what is left out of flakes lies too near to other white, mm²."""
    gone = geometry.parts(shapely.difference(shapely.multipolygons(cuts), shapely.multipolygons(left)))
    return float(shapely.area(gone[shapely.dwithin(gone, white, limits.land_mm + SPARE_MM)]).sum())


def loaded(
    rooms: GrowingRooms, motif: PrintMotif, begun: Begun, limits: Limits, *,
    before: BaseGeometry, heaps: PolygonArray, dark: BaseGeometry,
) -> tuple[Growth, list[str]]:  # fmt: skip
    """Lying snow: grown whole, then hidden where something stands in front of what it lies on; what is noted of that.

    Parameters
    ----------
    heaps
        Those that lie already: one with those further back, no land parts them.
    dark
        What the darkest ink shows: no snow closes over it.
    """
    room, snow = begun
    area, frame = room.area, room.edge
    white, hidden = geometry.union(snow.cuts), rooms.hidden_by(motif)
    further: BaseGeometry = NOTHING
    if not shapely.is_empty(before):
        further = _lying_behind(heaps, shapely.difference(white, hidden))
    hidden = kept_out(hidden, shapely.difference(before, further), limits)
    front, notes = rooms.in_front(motif, shapely.difference(white, hidden))
    hidden = shapely.union(hidden, front)
    if shapely.is_empty(hidden) and shapely.is_empty(further):
        return snow, notes
    seen = ground_over(shapely.difference(area, hidden), frame)
    ground = ground_over(area, frame)  # what hides the snow stands, and so the snow reaches up to it
    own = shapely.difference(white, hidden)
    own = shapely.difference(own, _beside_bars(hidden, shapely.union(own, further), limits))
    if not shapely.is_empty(further):
        own = shapely.difference(own, _before_bars(rooms.drawing.union(motif.on), own, further, limits))
    cuts = held_over(shapely.union(own, further), seen, frame, limits, ground=ground)
    cuts = _without_bricks(cuts, front)
    if not shapely.is_empty(further):
        more = _more_than_bits(opening(shapely.difference(own, further), 2 * SPARE_MM), limits)
        over = shapely.buffer(more, limits.land_mm + 2 * SPARE_MM)
        cuts = geometry.parts(shapely.intersection(geometry.union(cuts), over))
        cuts = _with_slivers(cuts, own, further, geometry.union(rooms.drawing.union(motif.on), dark), limits)
    free = geometry.parts(shapely.intersection(snow.free, seen))
    return Growth(cuts=within(cuts, frame), free=free), notes


def _more_than_bits(more: BaseGeometry, limits: Limits) -> BaseGeometry:
    """What new snow adds to snow that lies already, without slivers and bits: round these nothing grows together."""
    pieces = geometry.parts(more)
    return shapely.union_all(pieces[shapely.area(pieces) > _BITS * limits.land_mm**2])


def _without_bricks(snow: PolygonArray, front: BaseGeometry) -> PolygonArray:
    """Snow without small bits right below what stands in front, as between the feet of firs: none falls there."""
    low = snow[small := shapely.area(snow) < _BRICK_MM2]
    raised = shapely.difference(shapely.transform(low, lambda xy: xy + np.array([0, _ABOVE_MM])), low)
    covered = shapely.area(shapely.intersection(raised, front)) > _SHELTERED * shapely.area(raised)
    return np.delete(snow, np.flatnonzero(small)[covered])


def _with_slivers(
    cuts: PolygonArray, own: BaseGeometry, further: BaseGeometry, things: BaseGeometry, limits: Limits
) -> PolygonArray:
    """New snow, closed over slivers of what is further back that it shuts in with snow that lies already.

    They are no twigs or lines of these things, narrow and short: a rag of paler ink amid the snow.
    """
    narrow = _NARROW / 2 * limits.land_mm
    gaps = geometry.holes(geometry.parts(geometry.union(geometry.union(cuts), further)))
    gaps = gaps[(shapely.length(gaps) < 2 * _SHORT * limits.land_mm) & shapely.dwithin(gaps, own, SPARE_MM)]
    gaps = gaps[shapely.dwithin(gaps, further, SPARE_MM) & shapely.is_empty(geometry.offset(gaps, -narrow))]
    gaps = gaps[shapely.area(shapely.intersection(gaps, things)) < _LITTLE * shapely.area(gaps)]
    if len(gaps) == 0:
        return cuts
    closed = geometry.offset(gaps, 2 * _MEETS_MM, quad_segs=2)
    return geometry.snapped(geometry.parts(shapely.union(geometry.union(cuts), shapely.union_all(closed))))


def _beside_bars(things: BaseGeometry, white: BaseGeometry, limits: Limits) -> BaseGeometry:
    """What narrow bars of things with white on both sides need to stand: as wide as the land, no wider.

    Else the snow would be taken back by discs round each narrow place: a halo of paler ink beside each twig.
    """
    wide = limits.land_mm + SPARE_MM
    near = shapely.intersection(geometry.parts(things), shapely.buffer(geometry.free_of_grid(white), wide, quad_segs=1))
    thin = _narrow(near, white, white, wide)
    return lands(thin.centre, runs(thin.centre, thin.edge, limits.land_mm), wide)


def _before_bars(things: BaseGeometry, own: BaseGeometry, further: BaseGeometry, limits: Limits) -> BaseGeometry:
    """What new snow leaves of bars of what it lies on, with snow behind them that lies already: as wide as the land."""
    wide = limits.land_mm + SPARE_MM
    near = shapely.intersection(geometry.parts(own), shapely.buffer(geometry.free_of_grid(further), wide))
    around = shapely.buffer(geometry.free_of_grid(near), wide)
    land = shapely.difference(shapely.difference(shapely.union_all(around), own), further)
    thin = _narrow(land, further, own, wide)
    thin = thin.chosen(shapely.intersects(geometry.prepared(things), geometry.dots(thin.centre)))
    return lands(thin.at, runs(thin.at, thin.edge, limits.land_mm), 2 * wide)


def _narrow(land: Any, here: BaseGeometry, there: BaseGeometry, wide: float) -> Widths:  # noqa: ANN401
    """Where land is narrower between what is here and what is there, in the order of the walls here."""
    outlines = geometry.rings(geometry.parts(land))
    thin = narrow_spread(outlines, wide).thin
    meets = shapely.dwithin(geometry.prepared(here), geometry.dots(thin.at), _MEETS_MM)
    meets &= shapely.dwithin(geometry.prepared(there), geometry.dots(thin.across), _MEETS_MM)
    thin = thin.chosen(meets)
    return thin.chosen(np.lexsort((np.hypot(*(thin.at - outlines.xy[thin.edge]).T), thin.edge)))


def _lying_behind(heaps: PolygonArray, white: BaseGeometry) -> BaseGeometry:
    """The heaps that lie already where these would: both are one heap then, no land parts them."""
    return geometry.union(heaps[shapely.intersects(heaps, white)])
