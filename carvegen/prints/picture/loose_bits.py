"""Bits of drawn things that snow has cut off from the rest of them lie under the snow as well, on every block."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import plain_name
from carvegen.base.findings import Finding, Severity
from carvegen.prints.layers import LayeredDrawing
from carvegen.prints.marked.marked_whites import White
from carvegen.prints.picture.fitting import SPARE_MM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.prints.separation import Layer, Plate

__all__ = ["OVER", "Covered", "covered"]

_SHORT_MM, _LITTLE_MM2 = 3.5, 1.5  #: what is shorter, or less, is a bit if it is not drawn so small; our own choice
_CRUMB_MM2 = 0.05  #: of less nothing is to be seen
_MOST = 0.5  #: of a thing is the thing, whatever is cut off from it
_TOUCHES_MM = 0.02  #: above the grid
_NEXT_MM = 0.1  #: what lies so near is next to it: hairs are left between flats that were parted by colours
_BESIDE = 0.05  #: of its outline: what meets so much of a darker ink is held by that for an eye; our own choice
OVER = "snow over what it cut off"  #: the name of what is white besides


@dataclass(frozen=True, kw_only=True, eq=False)
class Covered:
    """A drawing without loose bits, what of it is to be white besides, and what is to be said of them."""

    drawing: LayeredDrawing
    whites: tuple[White, ...]
    findings: Mapping[str, tuple[Finding, ...]]  #: by the block on which a bit would stand


def covered(
    drawing: LayeredDrawing, plates: Sequence[Plate], pictures: Mapping[str, BaseGeometry], whites: Sequence[White], *,
    lying: Sequence[White], stays: BaseGeometry, limits: Mapping[str, Limits],
) -> Covered:  # fmt: skip
    """What snow leaves of things drawn that is small and cut off: it goes, and snow closes over what lay between it.

    Where a bit sticks out of the snow, what is drawn behind or beside it prints.

    Parameters
    ----------
    pictures
        What of the picture is in the ink of each plate, white and all, by name.
    whites
        All that is white by motifs.
    lying
        Those of them that lie on things: a flake may take the end of a twig off.
    stays
        What is marked to stay.
    limits
        Of each block, by name.
    """
    layers, more, findings = drawing.layers, list[White](), dict[str, tuple[Finding, ...]]()
    for plate in plates:
        own = [white for white in lying if plate.name in white.leaves]
        paler = [other for other in plates if other.lightness > plate.lightness + 1e-9]
        darker = [other for other in plates if other.lightness < plate.lightness - 1e-9 and not other.ground]
        if plate.ground or plate.under_all or not own or (darker and not paler):  # the palest is ground to all else
            continue
        white = [white for white in whites if plate.name in white.leaves]
        dark = shapely.union_all([pictures[other.name] for other in darker])
        land_mm = max(limits[name].land_mm for name in pictures)
        bits = _bits(pictures[plate.name], white, dark)
        snow = geometry.union(*(white.shapes for white in own))
        bits = bits[shapely.dwithin(bits, snow, land_mm) & ~shapely.intersects(bits, stays)]
        if len(bits) == 0:
            continue
        layers = _without(layers, plate, bits, [other for other in plates if other not in paler], paler)
        rest = shapely.difference(shapely.union(pictures[plate.name], dark), shapely.union_all(_widened(bits)))
        closed = _closed(bits, white, rest, land_mm)
        leaves = frozenset[str].intersection(*(white.leaves for white in own))
        more += [White(name=OVER, shapes=closed, leaves=leaves)] if len(closed) else []
        findings[plate.name] = tuple(map(_finding, bits[shapely.area(bits) > _CRUMB_MM2]))
    if layers is not drawing.layers:
        drawing = drawing.with_layers(layers)
    return Covered(drawing=drawing, whites=tuple(more), findings=findings)


def _without(
    layers: tuple[Layer, ...], plate: Plate, bits: PolygonArray, others: Sequence[Plate], paler: Sequence[Plate]
) -> tuple[Layer, ...]:
    """The layers without bits of those of a plate; the layer of a paler ink that meets most of a bit goes on there.

    In a drawing that was parted by its colours nothing is drawn behind what stands in front.
    """
    done, gone, own = list(layers), _widened(bits), _named([plate])
    for k, layer in enumerate(layers):
        if plain_name(layer.name) in own:
            done[k] = replace(layer, shape=geometry.solid(shapely.difference(layer.shape, shapely.union_all(gone))))
    further = _named(paler) - _named(others)
    edges, along = shapely.boundary(_widened(bits, _NEXT_MM)), np.zeros((len(done), len(gone)))
    seen: BaseGeometry = shapely.Polygon()
    for k, layer in enumerate(done):
        if plain_name(layer.name) in further:
            along[k] = shapely.length(shapely.intersection(edges, shapely.difference(layer.shape, seen)))
        seen = shapely.union(seen, layer.shape)
    for k in np.flatnonzero(along.any(axis=1)).tolist():
        goes_on = _widened(bits[along.argmax(axis=0) == k], _NEXT_MM)
        done[k] = replace(done[k], shape=geometry.union(geometry.parts([done[k].shape]), goes_on))
    return tuple(done)


def _widened(bits: PolygonArray, by_mm: float = _TOUCHES_MM) -> PolygonArray:
    """Bits and a little round them: no hair is left."""
    wide: PolygonArray = shapely.buffer(bits, by_mm, join_style="mitre")
    return wide


def _named(plates: Sequence[Plate]) -> set[str]:
    return {plain_name(name) for plate in plates for name in plate.layers}


def _bits(picture: BaseGeometry, whites: Sequence[White], dark: BaseGeometry) -> PolygonArray:
    """The small pieces that white leaves of larger things, without what meets a darker ink."""
    things: PolygonArray = geometry.parts(picture)
    tree = shapely.STRtree(things)
    shapes = geometry.stack(white.shapes for white in whites)
    shape, thing = tree.query(shapes, predicate="intersects")
    met = np.unique(thing)
    large = met[~_small(things[met])]
    if len(large) == 0:
        return geometry.empty()
    things, over = things[large], shapes[np.unique(shape[np.isin(thing, large)])]  # the rest of the snow is much more
    pieces, of = shapely.get_parts(shapely.difference(things, geometry.union(over)), return_index=True)
    bit = _small(pieces) & (shapely.area(pieces) < _MOST * shapely.area(things[of]))
    bits = pieces[bit]
    edges = shapely.boundary(bits)
    along = shapely.length(shapely.intersection(edges, shapely.buffer(dark, _NEXT_MM, quad_segs=1)))
    own: PolygonArray = bits[along <= _BESIDE * shapely.length(edges)]
    return own


def _small(pieces: PolygonArray) -> Mask:
    """Which pieces are short or little; (n,)."""
    corners = shapely.oriented_envelope(pieces)
    longest = np.array([_longest_side(corner) for corner in corners])
    return np.asarray((longest < _SHORT_MM) | (shapely.area(pieces) < _LITTLE_MM2))


def _longest_side(box: BaseGeometry) -> float:
    return float(np.hypot(*np.diff(shapely.get_coordinates(box), axis=0).T).max(initial=0.0))


def _closed(bits: PolygonArray, whites: Sequence[White], rest: BaseGeometry, land_mm: float) -> PolygonArray:
    """What closes the snow over bits, but for the room that things beside need to stand."""
    zone = shapely.buffer(shapely.union_all(bits), land_mm + SPARE_MM, quad_segs=4)
    shapes = geometry.stack(white.shapes for white in whites)
    near = geometry.union(shapes[shapely.dwithin(shapes, zone, 2 * land_mm)])
    near = shapely.intersection(near, shapely.buffer(zone, 4 * land_mm, quad_segs=2))
    room = shapely.buffer(shapely.difference(rest, near), land_mm / 2 + SPARE_MM, quad_segs=4)
    closed = shapely.buffer(shapely.buffer(near, land_mm, quad_segs=8), -land_mm, quad_segs=8)
    new = geometry.parts(shapely.difference(shapely.intersection(closed, zone), shapely.union(near, room)))
    new = shapely.buffer(new[shapely.area(new) > _CRUMB_MM2], _TOUCHES_MM, quad_segs=2)
    snow: PolygonArray = geometry.snapped(geometry.parts(shapely.union_all(new)))
    return snow


def _finding(bit: BaseGeometry) -> Finding:
    x, y = shapely.get_coordinates(shapely.point_on_surface(bit))[0].round(3).tolist()
    return Finding(
        rule="mended-away", kind="twigs", severity=Severity.ADVICE, at=(x, y), measured=float(shapely.area(bit)),
        limit=_CRUMB_MM2, unit="mm²",
        why="snow has cut a small part of the drawing off from the rest of it; it is gone from all blocks",
        remedy='draw "stays" over what is to go on printing, or keep the snow off it',
    )  # fmt: skip
