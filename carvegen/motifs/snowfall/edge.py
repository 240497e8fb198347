"""Where snow ends: at the edge of the face, at what is kept clear, and the land that must hold there."""

from __future__ import annotations

import itertools
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import NarrowKind, Spread, narrow_spread
from carvegen.geometry.necks import necks
from carvegen.motifs.shared.minimum_width import opened
from carvegen.motifs.snowfall.chance import Draws, chance_at, keys
from carvegen.motifs.snowfall.clumps import SLACK_MM, fine, largest_of_each, without_specks
from carvegen.motifs.snowfall.land import BODY
from carvegen.motifs.snowfall.readable import masses

if TYPE_CHECKING:
    from collections.abc import Sequence

    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.motifs.snowfall.flakes import Flakes
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["apart", "bounded", "crossing", "taken_back", "without_hairs"]

_FILLS = 2  #: rounds in which narrow land at the edge is opened; what is left then is widened
_BITES = 3
_NOWHERE = shapely.Polygon()
_OVER = 0.45  #: the middle of a flake that crosses a side lies so near to it, in its reaches
_SEEN = 0.5  #: of a single flake behind what is kept clear, in one piece, or it goes: half ones read as chips
_FINE = 8  #: the lengths of tips are measured to a third of their width over so much
_LONG = 0.95  #: a tip that is longer, in the land that is asked, is no corner:
_SHARES = np.linspace(0.5, 1, 9)  #: asked may be so much of the land
_GONE = 0.5  #: chance that one that would just touch a side, or just not, goes; else it moves out over it
_TRIMS = 3  #: times that what is missed is taken off
_HAIR_MM = 0.006  #: narrower than any tool's trace
_BEVEL = 2.5  #: hairs, by which the end of a tip is taken back with the hairs at its sides
_RIM = 12.0  #: lands, or cuts: what lies further within the face than this is whole, and holds
_ROUGH = 0.05  #: of that, how near to an outline is near enough to tell so
_CORNER = 0.22  #: so much, in smallest cuts squared, may stay uncut in a corner at the frame


def crossing(flakes: Flakes, frame: Polygon, limits: Limits) -> Flakes:
    """The flakes, those at a side of the frame half out over it, or gone: none just touches it or just not.

    The land between a flake and a side that it runs out over is blunt where its middle lies near that side.
    """
    low, high = np.split(np.array(shapely.bounds(frame)), 2)
    stays, body, shift = np.ones(len(flakes), dtype=bool), BODY * flakes.reach, np.zeros_like(flakes.xy)
    for nth, (axis, side, inward) in enumerate(((0, low[0], 1), (0, high[0], -1), (1, low[1], 1), (1, high[1], -1))):
        deep = inward * (flakes.xy[:, axis] - side)
        shy = np.flatnonzero((deep > _OVER * body) & (deep < flakes.reach + limits.land_mm + SLACK_MM))
        goes, where = Draws(keys(flakes.key[shy], 5), drawn=2 * nth).random(2).T
        stays &= deep > -_OVER * body
        stays[shy[goes < _GONE]] = False
        shift[shy, axis] += inward * ((2 * where - 1) * _OVER * body[shy] - deep[shy])
    return flakes.changed(np.ones(len(flakes)), shift).chosen(stays)


def bounded(
    shapes: PolygonArray, area: BaseGeometry, frame: Polygon, limits: Limits, settings: Settings, *,
    hides: Sequence[tuple[BaseGeometry, Mask]] = (),
) -> PolygonArray:  # fmt: skip
    """The shapes cut off by the area; those near the frame run out over it.

    Parameters
    ----------
    area
        Where cuts may lie.
    frame
        Rectangle of the face: land ends there.
    settings
        Whether shapes may be cut off at the edge, and how many go on behind what is kept clear: none of which less than
        half is seen, but all masses.
    hides
        What else is kept clear of some of the shapes, and of which; no two of these masks share a shape.
    """
    clear = geometry.inside_box(shapes, shapely.bounds(frame), limits.land_mm)
    within = geometry.wholly_in(area, shapes)
    for what, some in hides:
        within &= ~(some & shapely.intersects(geometry.prepared(what), shapes))
    if not settings.cut_at_edge:
        return shapes[within]
    whole = within & clear
    rest = np.flatnonzero(~whole)
    middle = shapely.get_coordinates(shapely.centroid(shapes[rest]))
    goes_on = within[rest] | ~clear[rest] | masses(shapes[rest], settings) | (chance_at(middle) < settings.hidden)
    at_edge = rest[goes_on & shapely.intersects(frame, shapes[rest])]
    clear_of = shapely.difference(frame, area)
    lots = [(shapely.union(clear_of, what), some) for what, some in hides]
    lots.append((clear_of, ~np.any([some for _, some in hides], axis=0) if hides else np.ones(len(shapes), dtype=bool)))
    unfilled = shapely.union_all([what for what, _ in hides])
    inner = _inner(shapely.union(clear_of, unfilled), frame, limits)
    pieces = []
    for behind, own in lots:
        those = shapes[at_edge[own[at_edge]]]
        stays = masses(those, settings) | _mostly_seen(those, behind, frame)
        pieces.append(_cut_off(those[stays], behind, frame, inner, limits))
    edge = _firm(np.concatenate(pieces), clear_of, frame, limits, unfilled=unfilled)
    return _joined(shapes[whole], edge, limits)


def taken_back(shapes: PolygonArray, clear_of: BaseGeometry, frame: Polygon, limits: Limits) -> PolygonArray:
    """The shapes cut off where they come upon what is kept clear, as `bounded` cuts them off."""
    return _firm(_cut_off(shapes, clear_of, frame, _NOWHERE, limits), clear_of, frame, limits, unfilled=_NOWHERE)


def apart(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes but the smaller of any two that are nearer than the land."""
    i, j, _ = geometry.close_pairs(shapes, limits.land_mm)
    size = shapely.area(shapes)
    return np.delete(shapes, np.unique(np.where(size[i] < size[j], i, j)))


def _joined(whole: PolygonArray, edge: PolygonArray, limits: Limits) -> PolygonArray:
    """All of them; of two that have come near, a whole one and one at the edge, the smaller goes."""
    shapes = np.concatenate([whole, edge])
    j, i = shapely.STRtree(whole).query(edge, predicate="dwithin", distance=limits.land_mm)
    j = j + len(whole)
    less = shapely.area(shapes[i]) < shapely.area(shapes[j])
    return np.delete(shapes, np.unique(np.where(less, i, j)))


def _cut_off(
    shapes: PolygonArray, clear_of: BaseGeometry, frame: Polygon, inner: BaseGeometry, limits: Limits
) -> PolygonArray:  # fmt: skip
    """The shapes within the frame and out of what is kept clear, as far as a cutter reaches them."""
    inside = shapely.intersection(shapes, frame)
    shut = shapely.intersects(clear_of, inside)
    pieces = np.concatenate([geometry.parts(inside[~shut]), _one_side(inside[shut], clear_of, limits)])
    return _reached(pieces, frame, limits, inner)


def _mostly_seen(shapes: PolygonArray, clear_of: BaseGeometry, frame: Polygon) -> Mask:
    """Of which shapes half of what lies on the face, or more, is seen in one piece; (n,)."""
    seen = np.ones(len(shapes), dtype=bool)
    which = np.flatnonzero(shapely.intersects(clear_of, shapes))
    inside = shapely.intersection(shapes[which], frame)
    parts, whose = shapely.get_parts(shapely.difference(inside, clear_of), return_index=True)
    most = np.zeros(len(which))
    np.maximum.at(most, whose, shapely.area(parts))
    seen[which] = most >= _SEEN * shapely.area(inside)
    return seen


def _one_side(shapes: PolygonArray, clear_of: BaseGeometry, limits: Limits) -> PolygonArray:
    """The pieces of shapes that something stands across; where it is too thin to be cut on both sides, the largest."""
    pieces, whose = shapely.get_parts(shapely.difference(shapes, clear_of), return_index=True)
    solid = (shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > 0)
    pieces, whose = pieces[solid], whose[solid]
    i, j, _ = geometry.close_pairs(pieces, limits.land_mm)
    kin = whose[i] == whose[j]
    size = shapely.area(pieces)
    return np.delete(pieces, np.unique(np.where(size[i] < size[j], i, j)[kin]))


def _firm(
    pieces: PolygonArray, clear_of: BaseGeometry, frame: Polygon, limits: Limits, *, unfilled: BaseGeometry
) -> PolygonArray:
    """The pieces as far as the land between them and to the frame holds (exact).

    Land that is too narrow is cut away with them, up to the frame, then they are taken back from it; where neither
    helps the smallest piece beside it goes. As long as any is narrow there are fewer pieces: it ends.
    """
    asked, touched = np.ones(len(pieces), dtype=bool), np.zeros(len(pieces), dtype=bool)
    inner = _inner(shapely.union(clear_of, unfilled), frame, limits)
    for nth in itertools.count():
        near = _near(pieces, asked, 3 * limits.land_mm)
        weak, specks = _weak(pieces[near], frame, inner, limits)
        places = np.concatenate([weak, specks])
        place, beside = shapely.STRtree(pieces).query(places, predicate="dwithin", distance=2 * geometry.GRID_MM)
        if len(beside) == 0:
            if not touched.any():
                return pieces
            asked, touched = touched, np.zeros(len(pieces), dtype=bool)  # looked at once more before they are left
            if np.array_equal(_near(pieces, asked, 3 * limits.land_mm), near):  # the same again
                return pieces
            continue
        bad = np.unique(beside)
        touched[_near(pieces, bad, 3 * limits.land_mm)] = True
        if nth < _FILLS:
            anew = _filled(pieces[bad], (weak, specks), clear_of, frame, limits, inner=inner, unfilled=unfilled)
        elif nth < _FILLS + _BITES:
            bites = geometry.offset(places, (1 + (nth - _FILLS) / 2) * (limits.land_mm / 2 + SLACK_MM))
            left = geometry.parts(shapely.difference(pieces[bad], shapely.union_all(bites)))
            anew = _reached(left, frame, limits, inner)
        else:
            order = np.lexsort((shapely.area(pieces)[beside], place))
            bad = np.unique(beside[order[np.flatnonzero(np.diff(place[order], prepend=-1))]])
            anew = geometry.empty()
            asked[_near(pieces, bad, 3 * limits.land_mm)] = True
        pieces = np.concatenate([np.delete(pieces, bad), anew])
        asked = np.concatenate([np.delete(asked, bad), np.ones(len(anew), dtype=bool)])
        touched = np.concatenate([np.delete(touched, bad), np.ones(len(anew), dtype=bool)])
        if nth < _FILLS + _BITES:
            asked[: len(pieces) - len(anew)] = False
    raise AssertionError


def _made(shapes: PolygonArray, limits: Limits) -> Mask:
    """Whether a cutter makes each in one piece: looked at where one is small or has bays."""
    area, made = shapely.area(shapes), np.ones(len(shapes), dtype=bool)
    small = area < 2.5 * limits.cut_mm**2
    doubtful = np.flatnonzero(small | (area < 0.93 * shapely.area(shapely.convex_hull(shapes))))
    inner = geometry.offset(shapes[doubtful], -(limits.cut_mm - geometry.GRID_MM) / 2)
    back = shapely.area(geometry.offset(inner, limits.cut_mm / 2))
    lost = small[doubtful] & (area[doubtful] - back > 0.3 * limits.cut_mm**2)
    made[doubtful] = (shapely.get_num_geometries(inner) == 1) & ~shapely.is_empty(inner) & ~lost
    return made


def _near(pieces: PolygonArray, which: Indices | Mask, apart: float) -> Indices:
    """Those nearer than so much to some of the pieces, and these themselves."""
    return np.unique(shapely.STRtree(pieces).query(pieces[which], predicate="dwithin", distance=apart)[1])


def _inner(clear_of: BaseGeometry, frame: Polygon, limits: Limits) -> BaseGeometry:
    """The parts of the face that neither its frame nor what is kept clear is near to; those that are worth while."""
    deep = _RIM * max(limits.land_mm, limits.cut_mm)
    inner = shapely.buffer(frame, -deep, join_style="mitre")
    if shapely.is_empty(clear_of):
        return inner
    plain = shapely.simplify(clear_of, _ROUGH * deep)
    parts = geometry.parts(shapely.difference(inner, shapely.buffer(plain, (1.5 + _ROUGH) * deep, quad_segs=1)))
    return geometry.solid(parts[shapely.area(parts) > deep**2])


def _weak(
    pieces: PolygonArray, frame: Polygon, inner: BaseGeometry, limits: Limits
) -> tuple[PolygonArray, PolygonArray]:  # fmt: skip
    """Lines across the land beside the pieces where it is too narrow, and pieces of it too small to stand.

    Only outside of `inner`, in which masses that reach far into the face are as they were.
    """
    land = limits.land_mm
    far = shapely.intersects(inner, pieces)
    rim: BaseGeometry = frame
    if far.any():
        rim = shapely.difference(frame, inner)
        pieces = np.concatenate([pieces[~far], geometry.parts(shapely.difference(pieces[far], inner))])
    ground = geometry.parts(shapely.difference(rim, shapely.union_all(pieces)))
    rings = geometry.rings(ground)
    between = necks(geometry.reversed_rings(geometry.rings(pieces)), land)
    thin = narrow_spread(rings, land, fine=_FINE)
    weak = np.concatenate([_across_land(thin, limits), geometry.lines(between.start, between.end)])
    if not far.any():
        return weak, _specks(ground, limits)
    whole = ~shapely.dwithin(ground, inner, geometry.GRID_MM)
    return weak[~shapely.dwithin(weak, inner, 5 * land)], _specks(ground[whole], limits)


def _filled(
    pieces: PolygonArray, places: tuple[PolygonArray, PolygonArray], clear_of: BaseGeometry, frame: Polygon,
    limits: Limits, *, inner: BaseGeometry, unfilled: BaseGeometry,
) -> PolygonArray:  # fmt: skip
    """The pieces with what is too narrow beside them, out to the frame."""
    weak, specks = places
    ground = geometry.parts(shapely.difference(frame, shapely.union_all(pieces)))
    thin = np.concatenate([specks, _thin(ground, weak, limits)])
    thin = _run_out(geometry.parts(geometry.offset(thin, 2 * geometry.GRID_MM)), frame, limits)
    thin = geometry.parts(shapely.difference(thin, unfilled)) if not shapely.is_empty(unfilled) else thin
    full = shapely.intersection(shapely.union_all(np.concatenate([pieces, thin])), frame)
    return _reached(geometry.parts(shapely.difference(full, clear_of)), frame, limits, inner)


def _run_out(shapes: PolygonArray, frame: BaseGeometry, limits: Limits) -> PolygonArray:
    """Shapes near a side of the frame drawn out over it, square to it, as a cutter runs out, and no further."""
    left, bottom, right, top = shapely.bounds(frame)
    deep = max(limits.land_mm, limits.cut_mm) + SLACK_MM
    beyond_it = shapely.buffer(frame, 2 * deep, join_style="mitre")
    shapes = shapely.intersection(shapes, beyond_it)
    for side, outward in (
        (shapely.box(left - deep, bottom, left + deep, top), (-1, 0)),
        (shapely.box(right - deep, bottom, right + deep, top), (1, 0)),
        (shapely.box(left, bottom - deep, right, bottom + deep), (0, -1)),
        (shapely.box(left, top - deep, right, top + deep), (0, 1)),
    ):
        strip, whose = shapely.get_parts(shapely.intersection(shapes, side), return_index=True)
        if len(strip) == 0:
            continue
        beyond = geometry.moved(strip, (2.5 * deep * outward[0], 2.5 * deep * outward[1]))
        swept = shapely.convex_hull(shapely.union(strip, beyond))
        for k in np.unique(whose).tolist():
            shapes[k] = shapely.union_all(np.append(swept[whose == k], shapes[k]))
    return np.asarray(shapely.intersection(shapes, beyond_it), dtype=object)


def _boxes_run_out(shapes: PolygonArray, frame: Polygon, limits: Limits) -> PolygonArray:
    """The boxes round shapes near sides of the frame, drawn out over these."""
    deep, bounds, sides = max(limits.land_mm, limits.cut_mm) + SLACK_MM, shapely.bounds(shapes), shapely.bounds(frame)
    outward = np.array([-1, -1, 1, 1])
    over = outward * (bounds - sides) > -deep
    return np.asarray(shapely.box(*np.where(over, sides + 2 * deep * outward, bounds).T), dtype=object)


def _specks(ground: PolygonArray, limits: Limits) -> PolygonArray:
    """Pieces of land that can't stand alone."""
    least = 1.1 * max(limits.dot_mm, limits.land_mm)
    small = ground[shapely.area(ground) < 16 * least**2]
    room = 2 * shapely.length(shapely.maximum_inscribed_circle(small, tolerance=0.02))
    return small[room < least]


def _thin(ground: PolygonArray, weak: PolygonArray, limits: Limits) -> PolygonArray:
    """The parts of the land about the weak places that no disc of the land's width fills."""
    width = limits.land_mm + 2 * SLACK_MM
    near = shapely.union_all(geometry.offset(weak, 3 * width, quad_segs=2))
    local = geometry.parts(shapely.intersection(ground, near))
    thin = geometry.parts(shapely.difference(local, opened(local, width, quad_segs=8)))
    if len(thin) == 0:
        return thin
    beside = shapely.STRtree(thin).query(weak, predicate="dwithin", distance=SLACK_MM)[1]
    return np.asarray(thin[np.unique(beside)])


def _across_land(narrow: Spread, limits: Limits) -> PolygonArray:
    """Lines across the places where the land is narrower, but for its corners."""
    places = narrow.places
    weak = places.chosen(np.flatnonzero((places.kind != NarrowKind.TIP) | (_longest(narrow, limits) > _LONG)))
    return geometry.lines(weak.at, weak.to)


def _longest(narrow: Spread, limits: Limits) -> Floats:
    """How long each narrow place is at most, in times of any land that may be asked there; (n,).

    That is less along the grain, and on a shallower block: a tip that ends bluntly is a corner by a wide land, and
    by a narrower one it may be none. Where walls are as long as they are apart, half the length that a disc stands
    for lies where it is narrower than the disc.
    """
    places, discs = narrow.places, narrow.thin.chosen(narrow.place >= 0)
    place, most = narrow.place[narrow.place >= 0], np.zeros(len(places))
    for asked in (limits, replace(limits, land_along_mm=limits.land_mm, land_across_mm=limits.land_mm)):
        at_disc, at_place = asked.land_at(discs.direction_deg), asked.land_at(places.direction_deg)
        for share in _SHARES:
            narrower = np.clip(share * at_disc - discs.width + discs.length / 2, 0, discs.length)
            most = np.maximum(most, np.bincount(place, narrower, len(places)) / (2 * share * at_place))
    return most


def _reached(
    pieces: PolygonArray, frame: Polygon, limits: Limits, inner: BaseGeometry = _NOWHERE
) -> PolygonArray:  # fmt: skip
    """The pieces without what no round cutter of the smallest cut reaches from within the frame, each made in one.

    A corner that is missed by no more than shows stays one. At the frame they are cut off square to its sides.
    """
    pieces = fine(geometry.parts(without_hairs(pieces)))
    done = []
    for _ in range(_TRIMS):
        some, missed, _ = _missed(pieces, inner, limits)
        if len(missed) == 0:
            break
        at_frame = shapely.distance(missed, shapely.boundary(frame)) < SLACK_MM
        boxes = _boxes_run_out(missed[at_frame], frame, limits)
        gone = shapely.union_all(np.concatenate([geometry.offset(missed[~at_frame], 4 * geometry.GRID_MM), boxes]))
        left = geometry.parts(without_hairs(shapely.difference(pieces[some], gone)))
        done.append(pieces[~some])
        pieces = fine(without_specks(left, limits))
    else:
        pieces = np.delete(pieces, _missed(pieces, inner, limits)[2])
    pieces = geometry.stack([*done, pieces])
    made = _made(pieces, limits)
    rest = _largest_part(pieces[~made], limits)
    return np.concatenate([pieces[made], _reached(rest, frame, limits)]) if len(rest) else pieces[made]


def _largest_part(pieces: PolygonArray, limits: Limits) -> PolygonArray:
    """Of each piece that a cutter makes in several the largest; the others are cut off where they hang on it."""
    inner = geometry.offset(pieces, -(limits.cut_mm - geometry.GRID_MM) / 2)
    several = np.flatnonzero(shapely.get_num_geometries(inner) > 1)
    cores, whose = shapely.get_parts(inner[several], return_index=True)
    largest = largest_of_each(cores, whose)
    lots = shapely.geometrycollections(np.delete(cores, largest), indices=np.delete(whose, largest))
    others = geometry.offset(np.asarray(lots, dtype=object), limits.cut_mm / 2 + _HAIR_MM)
    parts, whose = shapely.get_parts(shapely.difference(pieces[several], others), return_index=True)
    return np.asarray(parts[largest_of_each(parts, whose)], dtype=object)


def _missed(
    pieces: PolygonArray, inner: BaseGeometry, limits: Limits
) -> tuple[Mask, PolygonArray, Indices]:  # fmt: skip
    """Which pieces a round cutter does not make all of, what it leaves of them that shows, and whose tips are long.

    A thin tip has less of an area than a blunt corner, and shows where it goes on for longer than the cutter is wide.
    What is so long, and no hair, has an area of a hair times that. Of `inner` nothing is looked at.
    """
    far = shapely.intersects(inner, pieces)
    pieces = pieces.copy()
    pieces[far] = shapely.difference(pieces[far], inner)
    reached = opened(pieces, limits.cut_mm + SLACK_MM, quad_segs=8)
    lost, slight = shapely.area(pieces) - shapely.area(reached), _CORNER * limits.cut_mm**2
    least = limits.cut_mm - _BEVEL * _HAIR_MM
    doubtful = np.flatnonzero(lost > _HAIR_MM * limits.cut_mm)
    corners, whose = shapely.get_parts(shapely.difference(pieces[doubtful], reached[doubtful]), return_index=True)
    shows = (_across(corners) > least) | (shapely.area(corners) > slight)
    shows &= ~(far[doubtful[whose]] & shapely.dwithin(corners, inner, limits.cut_mm))
    missed, nth = shapely.get_parts(opened(corners[shows], _HAIR_MM), return_index=True)  # no hair joins two corners
    whose = doubtful[whose[shows]][nth]
    long = _across(missed) > least
    long[long] = geometry.farthest(missed[long], reached[whose[long]]) > least
    some = lost > slight
    some[whose[long]] = True
    return some, missed[long | (shapely.area(missed) > slight)], np.unique(whose[long])


def _across(shapes: PolygonArray) -> Floats:
    """How far it is across each one's box from corner to corner, mm; (n,)."""
    left, bottom, right, top = shapely.bounds(shapes).T
    return np.asarray(np.hypot(right - left, top - bottom))


def without_hairs(shapes: PolygonArray) -> PolygonArray:
    """The shapes without what is thinner than any tool's trace; corners stay as they are; (n,)."""
    inner = shapely.buffer(shapes, -_HAIR_MM / 2, join_style="mitre")
    return np.asarray(shapely.buffer(inner, _HAIR_MM / 2, join_style="mitre"), dtype=object)
