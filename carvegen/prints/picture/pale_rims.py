"""Rims of paler ink shut in between a thing and the snow round it are printed by the thing's own ink."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import plain_name
from carvegen.base.findings import Finding, Severity
from carvegen.motifs.shared.minimum_width import closed
from carvegen.prints.picture.fitting import SPARE_MM

if TYPE_CHECKING:
    from collections.abc import Collection, Mapping, Sequence

    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.prints.layers import LayeredDrawing
    from carvegen.prints.marked.marked_whites import White
    from carvegen.prints.separation import Plate

__all__ = ["without_rims"]

_CRUMB_MM2, _LARGE_MM2 = 0.01, 1.5  #: less is not seen; more shows what is behind; our own choice
_BY_SNOW, _BY_THING = 0.3, 0.2  #: of its outline so much at least is the snow's, and the thing's
_MEETS_MM, _TOUCHES_MM = 0.02, 0.005  #: above the grid


def without_rims(
    drawing: LayeredDrawing, plates: Sequence[Plate], pictures: Mapping[str, BaseGeometry], *,
    bears: Collection[str], lying: Sequence[White], whites: Sequence[White], limits: Mapping[str, Limits],
) -> tuple[LayeredDrawing, dict[str, Finding]]:  # fmt: skip
    """The drawing, each thing as broad at its narrow ends as the snow leaves it room to stand.

    Snow keeps off the tip of a bough by half a land: what stands there prints in the bough's ink, whole, not as a
    crescent of a paler one round it.

    Parameters
    ----------
    pictures
        What of the picture is in the ink of each plate, white and all, by name.
    bears, lying
        Layers on which snow lies, and that; each of the `whites` is bare.
    limits
        Of each block, by name.

    Returns
    -------
    tuple
        That drawing, and what is to be said once of all that a plate prints so, by the plate's name.
    """
    told = dict[str, Finding]()
    if not pictures:  # a die or a stencil alone prints nothing
        return drawing, told
    layers, wide = list(drawing.layers), max(limits[name].land_mm for name in pictures) + 2 * SPARE_MM
    palest = max(plates, key=lambda plate: plate.lightness)
    for plate in plates:
        own = [white for white in lying if plate.name in white.leaves]
        if plate.ground or plate.under_all or not own or plate is palest:
            continue
        others = [pictures[other.name] for other in plates if other is not plate and other is not palest]
        snow = geometry.stack(white.shapes for white in own)
        names = {plain_name(name) for name in plate.layers} & {plain_name(name) for name in bears}
        things = [k for k, layer in enumerate(layers) if plain_name(layer.name) in names]
        picture = shapely.intersection(pictures[plate.name], shapely.union_all([layers[k].shape for k in things]))
        rims = _rims(picture, snow, [white.shapes for white in whites], others, wide)
        lots = _by_layer(rims, drawing, things)
        if lots:
            told[plate.name] = _finding(geometry.stack(lots.values()))
        for k, lot in lots.items():
            layers[k] = replace(layers[k], shape=geometry.union(geometry.parts([layers[k].shape]), lot))
    return (drawing.with_layers(layers) if told else drawing), told


def _finding(rims: PolygonArray) -> Finding:
    areas, count = shapely.area(rims), len(rims)
    x, y = shapely.get_coordinates(shapely.point_on_surface(rims[np.argmax(areas)]))[0].round(3).tolist()
    where = f"at {count} places, here the largest," if count > 1 else "here"
    return Finding(
        rule="pale-rims", severity=Severity.ADVICE, at=(x, y), measured=float(areas.sum()), limit=_CRUMB_MM2,
        unit="mm²",
        why=f"{where} only a narrow rim of paler ink was left between a thing and the snow on it; the thing's own ink "
        "prints it",
        remedy="none is needed; where the paler ink is to show, mark the place to have less snow",
    )  # fmt: skip


def _rims(
    picture: BaseGeometry, snow: PolygonArray, whites: Sequence[PolygonArray], inks: Sequence[BaseGeometry],
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
    others = geometry.stack([*whites, geometry.parts(inks)])
    taken = others[np.unique(shapely.STRtree(others).query(gaps, predicate="intersects")[1])]
    gaps = geometry.parts(shapely.difference(gaps, shapely.union_all(taken)))
    gaps = _shut_in(gaps, both, wide)
    edges = shapely.boundary(gaps)
    beside = (_share(edges, lies) > _BY_SNOW) & (_share(edges, thing) > _BY_THING)
    return gaps[beside & (shapely.area(gaps) > _CRUMB_MM2)]


def _shut_in(gaps: PolygonArray, both: BaseGeometry, wide: float) -> PolygonArray:
    """What of gaps lies no nearer to where they open into the paler ink: there a corner is no rim."""
    near = shapely.intersection(both, shapely.buffer(shapely.union_all(gaps), _MEETS_MM, quad_segs=1))
    free = shapely.difference(shapely.boundary(gaps), shapely.buffer(near, _TOUCHES_MM, quad_segs=1))
    return geometry.parts(shapely.difference(gaps, shapely.buffer(free, wide, quad_segs=4)))


def _share(edges: PolygonArray, shape: BaseGeometry) -> Floats:
    """The share of each outline that is a shape's, (n,)."""
    along = shapely.intersection(edges, shapely.buffer(shape, _MEETS_MM, quad_segs=1))
    return np.asarray(shapely.length(along) / np.maximum(shapely.length(edges), geometry.GRID_MM))


def _by_layer(rims: PolygonArray, drawing: LayeredDrawing, things: Sequence[int]) -> dict[int, PolygonArray]:
    """The rims, each by the number of the one of these layers that it meets most, if it meets any."""
    if len(rims) == 0:
        return {}
    over = geometry.offset(rims, _MEETS_MM, quad_segs=2)
    along = np.stack([shapely.area(shapely.intersection(over, drawing.layers[k].shape)) for k in things])
    most = np.where(along.max(axis=0) > 0, along.argmax(axis=0), -1)
    return {things[j]: over[most == j] for j in np.unique(most[most >= 0]).tolist()}
