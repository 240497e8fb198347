"""Cleaning: polygons on the grid, valid, disjoint within their layer, without doubles or slivers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.outlines.colours import PARTED
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from carvegen.artwork.drawing import Notes
    from carvegen.geometry import PolygonArray

__all__ = ["SLIVER_MM2", "cleaned"]

#: A polygon smaller than this is no shape but a trace of rounding: a square of 0.01 mm.
SLIVER_MM2 = 1e-4


def cleaned(layers: Mapping[str, Sequence[PolygonArray]], notes: Notes) -> dict[str, PolygonArray]:
    """Each layer's polygons joined, once `take_overlaps` has counted them; what was dropped goes to `notes`.

    Layers left with nothing are left out.

    Raises
    ------
    InputError
        If nothing is left, or it is larger than `MAX_MM`.
    """
    joined = {name: _layer(np.concatenate(shapes), name, notes) for name, shapes in layers.items() if shapes}
    joined = {name: shapes for name, shapes in joined.items() if len(shapes)}
    if not joined:
        raise InputError(
            "holds no shape with an area",
            hint="only filled shapes, or lines with a width, can be cut: give them a fill or a stroke",
        )
    _check_size(np.concatenate(list(joined.values())))
    return joined


def _layer(shapes: PolygonArray, name: str, notes: Notes) -> PolygonArray:
    called = name.partition(PARTED)[0]
    place = f"in layer {called!r}" if called else ""
    solid = _snapped(_valid(shapes))
    once = _without_doubles(solid)
    for _ in range(len(solid) - len(once)):
        notes.add("an outline lies twice on the same place; it is taken once", place)
    joined = _valid(geometry.joined(once))
    kept = joined[shapely.area(joined) >= SLIVER_MM2]
    lost = max(len(joined) - len(kept), 0) + max(len(shapes) - len(solid), 0)
    if lost:
        notes.add(f"{lost} specks smaller than {SLIVER_MM2:g} square mm are left out", place)
    return kept


def _valid(shapes: PolygonArray) -> PolygonArray:
    good = shapely.is_valid(shapes)
    if good.all():
        return geometry.parts(shapes)
    return geometry.parts(np.where(good, shapes, shapely.make_valid(shapes)))


def _snapped(shapes: PolygonArray) -> PolygonArray:
    """`geometry.snapped`, quicker where rounding alone leaves a shape valid."""
    if len(shapes) == 0:
        return shapes
    rounded = np.asarray(shapely.transform(shapes, lambda xy: np.round(xy, 3)), dtype=object)
    good = shapely.is_valid(rounded) & (shapely.area(rounded) > 0)
    whole = np.asarray(shapely.remove_repeated_points(rounded[good]), dtype=object)
    return geometry.stack([whole, geometry.snapped(shapes[~good])])


def _without_doubles(shapes: PolygonArray) -> PolygonArray:
    keys = shapely.to_wkb(shapely.normalize(shapes))
    first = {key: k for k, key in reversed(list(enumerate(keys)))}
    return shapes[sorted(first.values())] if first else shapes


def _check_size(shapes: PolygonArray) -> None:
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    size = max(x1 - x0, y1 - y0)
    if size > bounds.MAX_MM:
        raise InputError(
            f"may be at most {bounds.MAX_MM:g} mm across",
            value=round(float(size), 1), hint="check the drawing's unit and scale",
        )  # fmt: skip
