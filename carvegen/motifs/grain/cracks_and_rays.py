"""Marks on a board beside its rings: cracks from its ends, and the rays that the saw lays bare."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.shared.points import poisson
from carvegen.motifs.shared.strokes import Strokes

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.motifs.shared.points import Window

__all__ = ["end_checks", "flecks", "in_any", "silver", "spindles"]

_POINTS = 16  #: of a short mark
_LONG_POINTS = 40  #: of a crack


def spindles(window: Window, per_mm2: float, rng: Generator, *, shortest_mm: float, least_mm: float) -> Strokes:
    """Rays cut across, as on a flat-sawn face: short marks along the grain, which runs along y."""
    start = poisson(window, per_mm2, rng)
    count = len(start)
    span = shortest_mm * rng.uniform(1.05, 2, count)
    lean = np.radians(90 + rng.normal(0, 2, count))
    share = np.linspace(0, 1, _POINTS)
    ahead = np.column_stack([np.cos(lean), np.sin(lean)]) * span[:, None]
    xy = start[:, None] + share[:, None] * ahead[:, None]
    half = np.maximum(0.9 * least_mm * (1 - (2 * share - 1) ** 2), least_mm / 2)
    return Strokes(xy.reshape(-1, 2), np.repeat(np.arange(count), _POINTS), np.tile(half, count))


def flecks(window: Window, per_mm2: float, rng: Generator, *, least_mm: float) -> PolygonArray:
    """Rays laid bare, as on a quarter-sawn face: bowed lenses across the grain, in flocks; some overlap."""
    spine, share = _spines(window, per_mm2, rng)
    count = len(spine)
    if count == 0:
        return geometry.empty()
    thick = rng.gamma(3.0, 0.15, (count, 1)) + 0.8 * least_mm
    body = np.stack([np.zeros((count, _POINTS)), thick * (1 - share**2)], axis=-1)
    rims = np.concatenate([spine - body, (spine + body)[:, ::-1]], axis=1)
    return np.asarray(shapely.polygons(rims), dtype=object)


def silver(window: Window, per_mm2: float, rng: Generator, *, widest_mm: float, least_mm: float) -> Strokes:
    """The same rays where they catch the light: cut, widest somewhere along, pointed at both ends."""
    spine, share = _spines(window, per_mm2, rng)
    count = len(spine)
    peak = rng.uniform(-0.5, 0.5, (count, 1))
    swell = np.where(share < peak, (share + 1) / (peak + 1), (1 - share) / (1 - peak))
    half = rng.uniform(0.25, 0.7, (count, 1)) * widest_mm * swell**0.8
    line = np.repeat(np.arange(count), _POINTS)
    return Strokes(spine.reshape(-1, 2), line, np.maximum(half, least_mm / 2).ravel())


def _spines(window: Window, per_mm2: float, rng: Generator) -> tuple[Floats, Floats]:
    """The middle lines of rays across the grain, (n, points, 2), and the share -1…1 along them of each point."""
    middle = poisson(window, per_mm2, rng)
    middle = middle[waves_at(middle, rng, patch_mm=(14.0, 20.0)) + rng.normal(0, 0.35, len(middle)) > 0.3]
    count = len(middle)
    lean = np.radians(24 * waves_at(middle, rng, patch_mm=(40.0, 60.0)) + rng.normal(0, 5, count))[:, None]
    long = np.minimum(rng.gamma(2.0, 1.6, (count, 1)) + 1.2, 5.7)
    share = np.linspace(-1, 1, _POINTS)
    bow = 0.09 * long * np.sin(2.2 * share + rng.uniform(0, 6, (count, 1)))
    along = np.stack([np.cos(lean) * long * share, np.sin(lean) * long * share + bow], axis=-1)
    return middle[:, None] + along, share


def in_any(shapes: PolygonArray, xy: Floats) -> Mask:
    """Whether each point lies in any of the shapes; (n,)."""
    mask = np.zeros(len(xy), dtype=bool)
    mask[shapely.STRtree(shapes).query(geometry.dots(xy), predicate="intersects")[0]] = True
    return mask


def end_checks(window: Window, per_mm: float, rng: Generator, *, widest_mm: float, least_mm: float) -> Strokes:
    """Cracks that run in from the lower and upper side of the window, widest there; they begin outside it."""
    height = window.top - window.bottom
    count = rng.poisson(2 * per_mm * (window.right - window.left))
    side = rng.uniform(window.left, window.right, count)
    upper = rng.random(count) < 0.5
    span = np.minimum(rng.gamma(3.0, 6.0, count) + 5, height / 2)
    share = np.linspace(-0.2, 1, _LONG_POINTS)
    inward = share * span[:, None]
    y = np.where(upper[:, None], window.top - inward, window.bottom + inward).ravel()
    line = np.repeat(np.arange(count), _LONG_POINTS)
    wobble = 0.6 * waves_at(np.column_stack([1e3 * line, y]), rng, patch_mm=(1.0, 12.0))
    open_ = rng.uniform(0.2, 0.6, (count, 1)) * widest_mm * np.clip(1 - share, 0, 1) ** 0.7
    xy = np.column_stack([np.repeat(side, _LONG_POINTS) + wobble, y])
    return Strokes(xy, line, np.maximum(open_, least_mm / 2).ravel())
