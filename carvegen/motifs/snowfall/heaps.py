"""Masses as heaps of flakes: filled within, rough at the rim, in pieces where they are narrow beside what they join."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import opened

if TYPE_CHECKING:
    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["heaped", "mean_radius", "without_tails"]

# All of these are our own choice, by eye.
_FILLED_MM = 1.5  #: deep in a mass gaps narrower than twice this are filled,
_DEEP_MM = 1.3  #: but not so near to its rim: there its flakes show
_NECK = 0.45  #: what a disc of so much of a mass's mean radius does not pass is a neck, an arm or a knob,
_NECK_MM = 1.6  #: but no larger a disc
_ARM = 2.2  #: a knob that is so many of the disc's radii long is an arm, and goes
_CRUMB = 0.02  #: what is smaller, in radii squared, is none of these,
_CRUMB_CUTS = 3.0  #: and pieces smaller than so many smallest cuts squared don't stay
_SOLID = 0.94  #: what fills so much of its hull has no tail
_SEEN_MM2 = 1.0  #: smaller ones show no tail
_HEAD = 0.55  #: of a clump's mean radius: what a disc of this does not fill,
_TAIL = 1.4  #: and is so many of the disc's radii long, and alone, is a tail
_POLYGON = 3
_ROUND = 1.02  #: arcs are polygons: a body is drawn so much larger
_TOUCHES_MM = 0.01
_PLAIN_MM = 0.1  #: bodies are looked for in outlines that are simplified so far


def heaped(shapes: PolygonArray, apart_mm: float, limits: Limits) -> PolygonArray:
    """The shapes filled deep within, and parted where they are narrow beside the bodies that they join there.

    Flakes that fall thick link into chains; of these only what is as broad as a heap stays: its arms and necks go.

    Parameters
    ----------
    shapes
        Polygons or multipolygons, mm; (n,).

    Returns
    -------
    PolygonArray
        As many, multi-part; may be empty. What goes of a neck leaves its two bodies about `apart_mm` apart.
    """
    shapes, plain = shapes.copy(), shapely.simplify(shapes, _PLAIN_MM)
    broad = np.flatnonzero(mean_radius(shapes) > _DEEP_MM)
    full = shapely.buffer(shapely.buffer(plain[broad], _FILLED_MM, quad_segs=3), -_FILLED_MM - _DEEP_MM, quad_segs=3)
    full = _made(full, limits)  # what is deep in a gap alone may be a crumb
    shapes[broad], plain[broad] = shapely.union(shapes[broad], full), shapely.union(plain[broad], full)
    narrow, whose = _narrow(plain, np.minimum(_NECK * mean_radius(shapes), _NECK_MM))
    which, of = np.unique(whose, return_inverse=True)
    wide = shapely.buffer(narrow, apart_mm / 2, quad_segs=3)
    gaps = np.asarray(shapely.geometrycollections(wide, indices=of), dtype=object)
    left = shapely.difference(shapes[which], shapely.union_all(gaps[:, None], axis=1)) if len(which) else gaps
    pieces, nth = shapely.get_parts(left, return_index=True)
    large = shapely.area(pieces) > _CRUMB_CUTS * limits.cut_mm**2
    shapes[which] = shapely.Polygon()
    some = np.unique(nth[large])
    parted = shapely.multipolygons(pieces[large], indices=np.searchsorted(some, nth[large]))
    shapes[which[some]] = _made(np.asarray(parted, dtype=object), limits)
    return shapes


def _made(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """What the cutter makes of each: no corner is left where something has gone."""
    return np.asarray(opened(shapes, _ROUND * limits.cut_mm + 2 * _TOUCHES_MM), dtype=object)


def mean_radius(shapes: PolygonArray) -> Floats:
    """The radius of the disc with the area of each, mm; (n,)."""
    return np.asarray(np.sqrt(shapely.area(shapes) / np.pi))


def without_tails(shapes: PolygonArray, limits: Limits) -> PolygonArray:
    """The shapes, those without it that are a round head with one straight tail: keyholes, tadpoles; (n,)."""
    large = np.flatnonzero(shapely.area(shapes) > _SEEN_MM2)
    doubtful = large[shapely.area(shapes[large]) < _SOLID * shapely.area(shapely.convex_hull(shapes[large]))]
    radius = _HEAD * mean_radius(shapes[doubtful])
    knobs, whose, _, far = _knobs(shapely.simplify(shapes[doubtful], _PLAIN_MM), radius)
    tail = far > _TAIL * radius[whose]
    tail &= np.bincount(whose[tail], minlength=len(doubtful))[whose] == 1
    left = shapes.copy()
    which = doubtful[whose[tail]]
    cut = _made(shapely.difference(shapes[which], knobs[tail]), limits)
    whole = (shapely.get_type_id(cut) == _POLYGON) & ~shapely.is_empty(cut)  # what links two heads is no tail
    left[which[whole]] = cut[whole]
    return left


def _narrow(shapes: PolygonArray, radius: Floats) -> tuple[PolygonArray, Indices]:
    """Necks between the bodies that a disc of this radius fills in each shape, and long arms; and whose each is."""
    rest, whose, touched, far = _knobs(shapes, radius)
    goes = (touched > 1) | ((touched == 1) & (far > _ARM * radius[whose]))
    return rest[goes], whose[goes]


def _knobs(shapes: PolygonArray, radius: Floats) -> tuple[PolygonArray, Indices, Indices, Floats]:
    """What such discs don't fill of each shape: whose it is, how many bodies it touches, how far it goes."""
    bodies = shapely.buffer(shapely.buffer(shapes, -radius, quad_segs=4), _ROUND * radius + _PLAIN_MM / 2, quad_segs=4)
    rest, whose = shapely.get_parts(shapely.difference(shapes, bodies), return_index=True)
    large = shapely.area(rest) > _CRUMB * radius[whose] ** 2
    rest, whose = rest[large], whose[large]
    body, of = shapely.get_parts(bodies, return_index=True)
    i, j = shapely.STRtree(body).query(rest, predicate="dwithin", distance=_TOUCHES_MM)
    touched = np.bincount(i[of[j] == whose[i]], minlength=len(rest))
    return rest, whose, touched, geometry.farthest(rest, bodies[whose])
