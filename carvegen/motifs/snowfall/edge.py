"""Where snow ends: at the edge of the face, at what is kept clear, and the land that must hold there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.narrow import Kind, narrow_places
from carvegen.motifs.shared.minimum_width import opened
from carvegen.motifs.shared.trimming import firm
from carvegen.motifs.snowfall.chance import chance_at
from carvegen.motifs.snowfall.land import FINE_MM, SLACK_MM, without_specks

if TYPE_CHECKING:
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray, Rings
    from carvegen.motifs.snowfall.settings import Settings

__all__ = ["bounded"]

_FILLS = 3  #: rounds in which narrow land at the edge is opened; what is left then is widened
_BITES = 3
_CORNER = 0.3  #: so much, in smallest cuts squared, may stay uncut in a corner at the frame


def bounded(
    shapes: PolygonArray, area: BaseGeometry, frame: Polygon, limits: Limits, settings: Settings
) -> PolygonArray:
    """The shapes cut off by the area; those near the frame run out over it square to it.

    Parameters
    ----------
    area
        Where cuts may lie.
    frame
        Rectangle of the face: land ends there.
    settings
        Whether shapes may be cut off at the edge, and how many go on behind what is kept clear.
    """
    shapely.prepare(area)
    inner = shapely.buffer(frame, -limits.land_mm - SLACK_MM, join_style="mitre")
    shapely.prepare(inner)
    within = shapely.contains_properly(area, shapes)
    clear = shapely.contains_properly(inner, shapes)
    whole = within & clear & _made(shapes, limits)
    if not settings.cut_at_edge:
        return shapes[whole]
    middle = shapely.get_coordinates(shapely.centroid(shapes))
    goes_on = within | ~clear | (chance_at(middle) < settings.hidden)
    crossing = shapes[~whole & goes_on & shapely.intersects(frame, shapes)]
    if len(crossing) == 0:
        return shapes[whole]
    clear_of = geometry.each(shapely.difference, frame, area)
    shapely.prepare(clear_of)
    out = _run_out(crossing, frame, limits)
    shut = shapely.intersects(clear_of, out)
    behind = _one_side(geometry.each(shapely.difference, out[shut], clear_of), limits)
    pieces = np.concatenate([geometry.parts(out[~shut]), behind])
    edge = _firm(pieces, clear_of, frame, limits)
    return _joined(shapes[whole], edge[_made(edge, limits)], limits)


def _joined(whole: PolygonArray, edge: PolygonArray, limits: Limits) -> PolygonArray:
    """All of them, without whole shapes that those at the edge have come near."""
    near = shapely.STRtree(whole).query(edge, predicate="dwithin", distance=limits.land_mm)[1]
    return np.concatenate([np.delete(whole, np.unique(near)), edge])


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


def _one_side(cut: PolygonArray, limits: Limits) -> PolygonArray:
    """The pieces of shapes that something stands across; where it is too thin to be cut on both sides, the largest."""
    pieces, whose = shapely.get_parts(cut, return_index=True)
    solid = (shapely.get_type_id(pieces) == 3) & (shapely.area(pieces) > 0)
    pieces, whose = pieces[solid], whose[solid]
    i, j, _ = geometry.close_pairs(pieces, limits.land_mm)
    kin = whose[i] == whose[j]
    size = shapely.area(pieces)
    return np.delete(pieces, np.unique(np.where(size[i] < size[j], i, j)[kin]))


def _run_out(shapes: PolygonArray, frame: BaseGeometry, limits: Limits) -> PolygonArray:
    """Shapes near a side of the frame drawn out over it, square to it, as a cutter runs out, and no further."""
    left, bottom, right, top = shapely.bounds(frame)
    deep = max(limits.land_mm, limits.cut_mm) + SLACK_MM
    beyond_it = shapely.buffer(frame, 2 * deep, join_style="mitre")
    shapes = geometry.each(shapely.intersection, shapes, beyond_it)
    for side, way in (
        (shapely.box(left - deep, bottom, left + deep, top), (-1, 0)),
        (shapely.box(right - deep, bottom, right + deep, top), (1, 0)),
        (shapely.box(left, bottom - deep, right, bottom + deep), (0, -1)),
        (shapely.box(left, top - deep, right, top + deep), (0, 1)),
    ):
        strip, whose = shapely.get_parts(geometry.each(shapely.intersection, shapes, side), return_index=True)
        if len(strip) == 0:
            continue
        beyond = geometry.moved(strip, (2.5 * deep * way[0], 2.5 * deep * way[1]))
        swept = shapely.convex_hull(shapely.union(strip, beyond))
        for k in np.unique(whose).tolist():
            shapes[k] = shapely.union_all(np.append(swept[whose == k], shapes[k]))
    return np.asarray(geometry.each(shapely.intersection, shapes, beyond_it), dtype=object)


def _firm(pieces: PolygonArray, clear_of: BaseGeometry, frame: Polygon, limits: Limits) -> PolygonArray:
    """The pieces as far as a cutter reaches them and the land between them and to the frame holds (exact).

    Land that is too narrow is cut away with them, up to the frame. Where it must stay, the pieces are taken back by
    discs of the land's width; a piece that in the end still leaves narrow land goes.
    """
    land, inside = limits.land_mm, pieces
    for nth in range(_FILLS + _BITES + 1):
        pieces = _without_ledges(_reached(pieces, limits), frame, limits)
        inside = geometry.parts(geometry.each(shapely.intersection, pieces, frame))
        if not shapely.is_empty(clear_of):  # what a cutter reaches may run over it by a hair
            met = shapely.intersects(clear_of, inside)
            cut_off = geometry.parts(geometry.each(shapely.difference, inside[met], clear_of))
            inside = np.concatenate([inside[~met], cut_off])
        inside = geometry.snapped(inside)
        if len(inside) == 0:
            break
        ground = geometry.parts(geometry.each(shapely.difference, frame, shapely.union_all(inside)))
        weak = np.concatenate([_narrow(geometry.rings(ground), width) for width in (land, land / 2)])
        specks = _specks(ground, limits)
        if len(weak) + len(specks) == 0 or nth == _FILLS + _BITES:
            break
        if nth < _FILLS:
            thin = np.concatenate([specks, _thin(ground, weak, limits)])
            filled = shapely.union_all(np.concatenate([pieces, geometry.offset(thin, 2 * geometry.GRID_MM)]))
            out = _run_out(geometry.parts(filled), frame, limits)
            pieces = geometry.parts(geometry.each(shapely.difference, out, clear_of))
        else:
            bites = geometry.offset(weak, (1 + (nth - _FILLS) / 2) * (land / 2 + SLACK_MM), quad_segs=8)
            pieces = geometry.parts(geometry.each(shapely.difference, pieces, shapely.union_all(bites)))
    return firm(inside, frame, land_mm=land)


def _without_ledges(pieces: PolygonArray, frame: Polygon, limits: Limits) -> PolygonArray:
    """The pieces without what no cutter reaches from within the frame: cut off square to its sides."""
    inside = geometry.snapped(geometry.parts(geometry.each(shapely.intersection, pieces, frame)))
    missed = geometry.parts(
        geometry.each(shapely.difference, inside, opened(inside, limits.cut_mm + SLACK_MM, quad_segs=8))
    )
    missed = missed[shapely.area(missed) > _CORNER * limits.cut_mm**2]
    if len(missed) == 0:
        return pieces
    boxes = geometry.offset(np.asarray(shapely.envelope(missed), dtype=object), geometry.GRID_MM, quad_segs=1)
    left = geometry.parts(geometry.each(shapely.difference, pieces, shapely.union_all(_run_out(boxes, frame, limits))))
    return _reached(left, limits)


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
    local = geometry.parts(geometry.each(shapely.intersection, ground, near))
    thin = geometry.parts(geometry.each(shapely.difference, local, opened(local, width, quad_segs=8)))
    if len(thin) == 0:
        return thin
    beside = shapely.STRtree(thin).query(weak, predicate="dwithin", distance=SLACK_MM)[1]
    return np.asarray(thin[np.unique(beside)])


def _narrow(ground: Rings, width: float) -> PolygonArray:
    """Lines across the places where the land is narrower, but for its corners."""
    found = narrow_places(ground, width)
    weak = found.chosen(np.flatnonzero((found.kind != Kind.TIP) | (found.length > 0.95 * width)))
    return geometry.lines(weak.at, weak.to)


def _reached(pieces: PolygonArray, limits: Limits) -> PolygonArray:
    """What a round cutter of the smallest cut reaches of each, without crumbs."""
    reached = shapely.simplify(opened(pieces, limits.cut_mm + 2 * SLACK_MM), FINE_MM)
    found = geometry.snapped(without_specks(geometry.parts(reached), limits))
    return found[shapely.area(found) > 1.5 * limits.cut_mm**2]
