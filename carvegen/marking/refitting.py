"""What is locked, when others come to cut it: what holds stays point by point, the rest is mended where it lies."""

from __future__ import annotations

from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.limits import Limits
from carvegen.base.words import nearest
from carvegen.geometry.necks import necks
from carvegen.marking.applying import reach_mm
from carvegen.marking.ends import LITTLE
from carvegen.marking.near_land import weak_places
from carvegen.motifs.shared.minimum_width import closed, opened

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from numpy.typing import NDArray
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Indices, Mask, PolygonArray
    from carvegen.marking.applying import Bed
    from carvegen.marking.marks import Mark
    from carvegen.motifs.growth import Place

__all__ = ["grew_entry", "grew_in", "refitted", "zone_of"]

_SLACK_MM = 0.02  #: so much more than a limit is left: arcs are polygons and coordinates lie on a grid
_FILLING = 4  #: in so many goes notches are filled; those that stay are cut wider, further along with each go
_ROUNDS = 12  #: what is still too near after so many is cut back around each weak place, more with each go
_LAST = 16  #: what is too near after so many stays so, and is found with all other weak land
_SLIM = 0.5  #: of the smallest cut: what is slimmer is not widened to it, it goes; our own choice
_MOSTLY = 0.5  #: of a slim shape that crosses the zone's rim: if more lies beyond, it is not the zone's, and stays
_LEAST_MM, _MOST_MM = 0.01, 120.0  #: of a limit that is read: about what the ranges of profiles can make of one
_TAKEN_OUT = "take this line out: the mark is done anew then"
_ARC = 8
_HAIR_MM = 2 * geometry.GRID_MM


def grew_entry(key: str, attempt: int, limits: Limits) -> dict[str, Any]:
    """What a print file says of the limits that a mark was done by: its key, its try, and each limit by its name."""
    return {"mark": key, "try": attempt, **asdict(limits)}


def grew_in(entries: Iterable[Any], where: str = "") -> Mapping[tuple[str, int], Limits]:
    """The limits that marks were done by, as `grew_entry` wrote them; `where` names the key of the print file.

    Parameters
    ----------
    entries
        Names and values, as a mapping or in pairs. A text is five limits in order, the try and the key: so it was
        written once.

    Raises
    ------
    InputError
        If one is not so, or a limit is none that a block can have.
    """
    result = {}
    for entry in entries:
        key, attempt, values = _of_line(entry, where) if isinstance(entry, str) else _of_table(dict(entry), where)
        result[key, attempt] = _checked(Limits(**values), where)
    return result


_LIMITS = tuple(each.name for each in fields(Limits))


def _of_table(entry: dict[str, Any], where: str) -> tuple[str, int, dict[str, float]]:
    known = ("mark", "try", *_LIMITS)
    for name in known:
        if name not in entry:
            raise InputError(f"{name} is missing", value=entry.get("mark"), where=where, hint=_TAKEN_OUT)
    for name, value in entry.items():
        if name not in known:
            raise InputError(f"{name} is not known here", value=value, where=where, hint=nearest(name, known))
    key, attempt = entry["mark"], entry["try"]
    if type(attempt) is not int or attempt < 0 or not isinstance(key, str) or not key:
        raise InputError("must name a mark by its key, and a try", value=f"{key} {attempt}", where=where,
                         hint=_TAKEN_OUT)  # fmt: skip
    for name in _LIMITS:
        if not isinstance(entry[name], (int, float)):
            raise InputError(f"{name} must be a number", value=entry[name], where=where, hint=_TAKEN_OUT)
    return key, attempt, {name: float(entry[name]) for name in _LIMITS}


def _of_line(text: str, where: str) -> tuple[str, int, dict[str, float]]:
    *by, attempt, key = [*text.split(" ", 6), *[""] * 7][:7]
    try:
        values, number = dict(zip(_LIMITS, map(float, by), strict=True)), int(attempt)
    except ValueError:
        values, number, key = {}, 0, ""
    if not key or number < 0:
        raise InputError("must be five limits, a try and the key of a mark", value=text, where=where, hint=_TAKEN_OUT)
    return key, number, values


def _checked(limits: Limits, where: str) -> Limits:
    for name, value in asdict(limits).items():
        least, most, unit = (-360.0, 360.0, "deg") if name == "grain_deg" else (_LEAST_MM, _MOST_MM, "mm")
        if not least <= value <= most:  # nor what is no number
            raise InputError(
                f"{name} must be {least:g} to {most:g} {unit}", value=value, where=where, hint=_TAKEN_OUT
            )  # fmt: skip
    return limits


def zone_of(marks: Iterable[Mark], bed: Bed) -> BaseGeometry:
    """Where marks that were done by other limits may have changed anything of a motif."""
    reach = reach_mm(bed.motif, bed.settings, bed.limits)
    return shapely.union_all([shapely.buffer(mark.shape, reach, quad_segs=4) for mark in marks])


def refitted(
    cuts: PolygonArray, others: PolygonArray, *, zone: BaseGeometry, place: Place, limits: Limits,
    white: BaseGeometry | None = None,
) -> PolygonArray:  # fmt: skip
    """The cuts as they hold by these limits; those that do already are the same objects, and nothing comes.

    What is slimmer than the smallest cut is widened to it, or goes. Land that is too narrow between two is widened
    at the cost of the smaller one, which is parted where it gets too slim; in a bay of one it is cut away. Where other
    white lies over a cut's edge, the notches between the two are filled, but for a land round all others.

    Parameters
    ----------
    others
        Other white, which stays.
    zone
        Nothing comes and nothing is cut back outside it; what crosses its rim may go whole, but for what is slim and
        lies mostly outside.
    white
        What is marked to come out: it is never taken back.
    """
    white = shapely.Polygon() if white is None else white
    zone = geometry.prepared(zone)
    was = cuts
    beyond = shapely.dwithin(cuts, place.edge.exterior, _HAIR_MM)  # a cutter comes from over the edge
    wide = beyond | _wide(cuts, limits, zone, white)
    first = [cut if fits else _wide_enough(cut, limits, zone, place) for cut, fits in zip(cuts, wide, strict=True)]
    origin = np.arange(len(cuts))
    cuts, origin = _pieces(first, origin)
    for turn in range(_LAST):
        weak = weak_places(cuts, others, place, limits)
        weak = weak[shapely.intersects(weak, zone)] if len(weak) else weak
        if not len(weak):
            break
        done = _round(cuts, weak, others=others, zone=zone, place=place, limits=limits, white=white, turn=turn)
        cuts, origin = _pieces(done, origin)
    left = np.bincount(origin, weights=shapely.area(cuts), minlength=len(was)) if len(cuts) else np.zeros(len(was))
    little = (left < LITTLE * shapely.area(was)) & ~shapely.intersects(was, white)
    return cuts[~little[origin]] if len(cuts) else cuts


def _pieces(shapes: Iterable[BaseGeometry], origin: Indices) -> tuple[PolygonArray, Indices]:
    """The polygons that shapes fall into, and what each comes of."""
    lots = [np.array([shape], dtype=object) if shape.geom_type == "Polygon" and not shape.is_empty
            else geometry.parts(shape) for shape in shapes]  # fmt: skip
    return geometry.stack(lots), np.repeat(origin, [len(lot) for lot in lots])


def _wide(cuts: PolygonArray, limits: Limits, zone: BaseGeometry, white: BaseGeometry) -> Mask:
    """Which cuts a cutter reaches, or are not asked about; (n,)."""
    cut = limits.cut_mm - _HAIR_MM
    narrow = _slim(cuts, limits)
    places = necks(geometry.rings(cuts), cut)
    if len(places):
        lines = geometry.lines(places.start, places.end)
        lines = lines[shapely.intersects(lines, zone)]
        narrow[np.unique(shapely.STRtree(cuts).query(lines, predicate="dwithin", distance=_HAIR_MM)[1])] = True
    return ~(narrow & shapely.intersects(cuts, zone)) | shapely.intersects(cuts, white)


def _wide_enough(shape: BaseGeometry, limits: Limits, zone: BaseGeometry, place: Place) -> BaseGeometry:
    """A cut that is too slim, parted at narrow places; slim all over, it is widened; nothing if it is far too slim."""
    cut = limits.cut_mm + _SLACK_MM
    core = shapely.intersection(opened(shape, cut), shape)
    if shapely.area(core) >= LITTLE * shapely.area(shape):
        kept = shapely.union(core, shapely.difference(shape, zone))
    else:
        disc: Any = shapely.maximum_inscribed_circle(geometry.polygon_array([shape]), tolerance=_SLACK_MM / 4)
        across = 2 * float(shapely.length(disc)[0])
        wider = shapely.buffer(shape, (cut - across) / 2 + _SLACK_MM, quad_segs=_ARC)
        kept = shapely.intersection(wider, shapely.union(shapely.intersection(place.area, zone), shape))
        outside = shapely.area(shapely.difference(shape, zone))
        slim = across < _SLIM * limits.cut_mm or _slim(np.array([kept], dtype=object), limits)[0]
        if slim and outside > _MOSTLY * shapely.area(shape):
            return shape
        kept = shapely.Polygon() if slim else kept
    return geometry.on_grid(kept)


def _slim(cuts: NDArray[np.object_], limits: Limits) -> Mask:
    """Which cuts no cutter enters anywhere; (n,)."""
    return np.asarray(shapely.is_empty(geometry.offset(cuts, -(limits.cut_mm - _HAIR_MM) / 2 + geometry.GRID_MM)))


def _round(
    cuts: PolygonArray, weak: PolygonArray, *, others: PolygonArray, zone: BaseGeometry, place: Place, limits: Limits,
    white: BaseGeometry, turn: int,
) -> list[BaseGeometry]:  # fmt: skip
    """The cuts with land made wider at each weak place; the later the turn, the less is filled and the more goes."""
    every = np.concatenate([cuts, others])
    size = shapely.area(every)
    stays = np.arange(len(every)) >= len(cuts)
    stays[: len(cuts)] = shapely.intersects(cuts, white) | ~shapely.intersects(cuts, zone)
    size[stays] = np.inf
    line, shape = shapely.STRtree(every).query(weak, predicate="dwithin", distance=_HAIR_MM)
    beside: dict[int, set[int]] = {}
    bays: dict[int, list[int]] = {}
    at_edge = shapely.dwithin(weak, place.edge.exterior, _HAIR_MM)
    edges: dict[int, list[int]] = {}
    late: dict[int, list[int]] = {}
    notches: dict[tuple[int, int], list[int]] = {}
    for k in range(len(weak)):
        ends = sorted(shape[line == k].tolist(), key=lambda n: (size[n], n))
        if turn >= _ROUNDS:
            late.setdefault(ends[0], []).append(k)
        elif len(ends) == 1 and at_edge[k] and not stays[ends[0]]:
            edges.setdefault(ends[0], []).append(k)
        elif len(ends) == 1 and ends[0] < len(cuts):
            bays.setdefault(ends[0], []).append(k)
        elif len(ends) == 2 and (pair := _overlapping(every, stays, ends)):
            notches.setdefault(pair, []).append(k)
        elif len(ends) > 1 and not stays[ends[0]]:
            beside.setdefault(ends[0], set()).update(ends[1:])
    need, result = limits.land_mm + _SLACK_MM, list(cuts)
    for k, lines in bays.items():
        result[k] = _without_bays(cuts[k], weak[lines], zone, place, need)
    slots: dict[int, list[BaseGeometry]] = {}
    for (k, other), lines in notches.items():
        if turn < _FILLING:  # both are one white, which nothing parts
            fill = _notch(every, (k, other), weak[lines], zone=zone, place=place, need=need)
            result[k] = geometry.on_grid(shapely.union(result[k], fill))
        else:
            near = shapely.union_all(shapely.buffer(weak[lines], (turn - _FILLING + 2) * need, quad_segs=2))
            slot = shapely.buffer(every[other], need, quad_segs=_ARC)
            slots.setdefault(k, []).append(shapely.intersection(slot, near))
    wider = {k: shapely.buffer(weak[n], (turn - _ROUNDS + 1) * need, quad_segs=_ARC) for k, n in late.items()}
    slots |= {k: list(discs) for k, discs in wider.items() if not stays[k]}
    rim = shapely.buffer(place.edge.exterior, need, quad_segs=_ARC)
    for k in sorted({*beside, *edges, *slots}):
        around = shapely.union_all(shapely.buffer(every[sorted(beside.get(k, ()))], need, quad_segs=_ARC))
        near = shapely.union_all(shapely.buffer(weak[edges.get(k, [])], 2 * need, quad_segs=2))
        around = shapely.union_all([around, shapely.intersection(rim, near), *slots.get(k, ())])
        left = shapely.difference(result[k], shapely.intersection(around, zone))
        inside = shapely.intersection(opened(left, limits.cut_mm + _SLACK_MM), left)
        left = shapely.union(inside, shapely.difference(left, zone))
        result[k] = geometry.on_grid(left)
    return result


def _overlapping(every: PolygonArray, stays: Mask, ends: Sequence[int]) -> tuple[int, int] | None:
    """A shape that may change and the other, if one lies over the edge of the other; the smaller of two that may."""
    one, other = ends if not stays[ends[0]] else reversed(ends)
    area = float(shapely.area(shapely.intersection(every[one], every[other])))
    return None if stays[one] or area < geometry.GRID_MM else (one, other)


def _notch(
    every: PolygonArray, pair: tuple[int, int], lines: PolygonArray, *, zone: BaseGeometry, place: Place, need: float
) -> BaseGeometry:  # fmt: skip
    """What closes notches between two shapes, one of which lies over the edge of the other, a land off all others."""
    both = shapely.union_all(every[list(pair)])
    fill = shapely.difference(_without_bays(both, lines, zone, place, need), both)
    near = np.setdiff1d(shapely.STRtree(every).query(fill, predicate="dwithin", distance=need), pair)
    fill = shapely.difference(fill, shapely.union_all(shapely.buffer(every[near], need, quad_segs=_ARC)))
    return shapely.intersection(shapely.buffer(fill, _HAIR_MM, quad_segs=1), place.edge)  # a little into both


def _without_bays(
    shape: BaseGeometry, lines: PolygonArray, zone: BaseGeometry, place: Place, need: float
) -> BaseGeometry:  # fmt: skip
    """A cut with bays and holes in it filled where the land in them is too narrow."""
    near = shapely.intersection(shapely.union_all(shapely.buffer(lines, need, quad_segs=2)), zone)
    barred = shapely.union(shape, shapely.union_all(shapely.buffer(lines, _SLACK_MM, quad_segs=1)))
    fill = shapely.difference(closed(barred, need, quad_segs=_ARC), shape)
    fill = shapely.intersection(shapely.intersection(fill, near), place.area)
    whole = shapely.union(shape, shapely.buffer(fill, geometry.GRID_MM, quad_segs=1))
    return geometry.on_grid(shapely.intersection(whole, shapely.union(place.area, shape)))
