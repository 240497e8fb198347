"""Rims of paler ink shut in between a thing and the snow round it are printed by the thing's own ink."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import plain_name
from carvegen.motifs.shared.minimum_width import closed
from carvegen.prints.picture.fitting import SPARE_MM

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.prints.layers import LayeredDrawing
    from carvegen.prints.marked.marked_whites import White
    from carvegen.prints.separation import Plate

__all__ = ["without_rims"]

_CRUMB_MM2, _LARGE_MM2 = 0.01, 1.5  #: less is not seen; more shows what is behind; our own choice
_FREE = 0.25  #: of its outline may go on into the paler ink: more is a corner between thing and snow
_BY_SNOW, _BY_THING = 0.3, 0.2  #: and so much at least is the snow's, and the thing's
_MEETS_MM = 0.02  #: above the grid


def without_rims(
    drawing: LayeredDrawing, plates: Sequence[Plate], pictures: Mapping[str, BaseGeometry], *,
    lying: Sequence[White], whites: Sequence[White], limits: Mapping[str, Limits],
) -> LayeredDrawing:  # fmt: skip
    """The drawing, each thing as broad at its narrow ends as the snow leaves it room to stand.

    Snow keeps off the tip of a bough by half a land: what stands there prints in the bough's ink, whole, not as a
    crescent of a paler one round it.

    Parameters
    ----------
    pictures
        What of the picture is in the ink of each plate, white and all, by name.
    lying
        Snow that lies on things; each of the `whites` is bare.
    limits
        Of each block, by name.
    """
    layers, wide = list(drawing.layers), max(limits[name].land_mm for name in pictures) + 2 * SPARE_MM
    for plate in plates:
        paler = any(other.lightness > plate.lightness + 1e-9 for other in plates)
        own = [white for white in lying if plate.name in white.leaves]
        if plate.ground or plate.under_all or not own or not paler:
            continue
        darker = [pictures[other.name] for other in plates if other.lightness < plate.lightness - 1e-9]
        snow = geometry.stack(white.shapes for white in own)
        rims = _rims(pictures[plate.name], snow, [white.shapes for white in whites], darker, wide)
        for k, lot in _by_layer(rims, drawing, plate).items():
            layers[k] = replace(layers[k], shape=geometry.union(geometry.parts([layers[k].shape]), lot))
    return drawing if all(a is b for a, b in zip(layers, drawing.layers, strict=True)) else drawing.with_layers(layers)


def _rims(
    picture: BaseGeometry, snow: PolygonArray, whites: Sequence[PolygonArray], darker: Sequence[BaseGeometry],
    wide: float,
) -> PolygonArray:  # fmt: skip
    """What lies narrowly between a thing and snow, and next to nothing else but these; disjoint, may be empty."""
    snow = snow[shapely.dwithin(snow, geometry.prepared(picture), wide)]
    if len(snow) == 0:
        return geometry.empty()
    lies = shapely.union_all(snow)
    thing = shapely.intersection(picture, shapely.buffer(lies, 2 * wide, quad_segs=2))
    lies = shapely.intersection(lies, shapely.buffer(thing, 2 * wide, quad_segs=2))
    both = shapely.union(thing, lies)
    gaps = geometry.parts(shapely.difference(closed(both, wide), both))
    gaps = gaps[(shapely.area(gaps) > _CRUMB_MM2) & (shapely.area(gaps) < _LARGE_MM2)]
    others = geometry.stack([*whites, geometry.parts(darker)])
    taken = others[np.unique(shapely.STRtree(others).query(gaps, predicate="intersects")[1])]
    gaps = geometry.parts(shapely.difference(gaps, shapely.union_all(taken)))
    edges = shapely.boundary(gaps)
    by_snow, by_thing = (_share(edges, each) for each in (lies, thing))
    shut = (by_snow > _BY_SNOW) & (by_thing > _BY_THING) & (1 - by_snow - by_thing < _FREE)
    return gaps[shut & (shapely.area(gaps) > _CRUMB_MM2)]


def _share(edges: PolygonArray, shape: BaseGeometry) -> Floats:
    """The share of each outline that is a shape's, (n,)."""
    along = shapely.intersection(edges, shapely.buffer(shape, _MEETS_MM, quad_segs=1))
    return np.asarray(shapely.length(along) / np.maximum(shapely.length(edges), geometry.GRID_MM))


def _by_layer(rims: PolygonArray, drawing: LayeredDrawing, plate: Plate) -> dict[int, PolygonArray]:
    """The rims, each by the number of the layer of the plate that it meets most, if it meets any."""
    if len(rims) == 0:
        return {}
    names, over = {plain_name(name) for name in plate.layers}, geometry.offset(rims, _MEETS_MM, quad_segs=2)
    own = [k for k, layer in enumerate(drawing.layers) if plain_name(layer.name) in names]
    along = np.array([shapely.length(shapely.intersection(shapely.boundary(over), drawing.layers[k].shape)) for k in own])
    if not len(own):
        return {}
    most = np.where(along.max(axis=0) > 0, along.argmax(axis=0), -1)
    return {own[j]: over[most == j] for j in np.unique(most[most >= 0]).tolist()}
