"""Open sky: how much of it a place sees past the shapes above, and how much stands below it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from PIL import Image, ImageDraw
from scipy.ndimage import distance_transform_edt

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["WIDEST_DEG", "Obstacles", "obstacles"]

WIDEST_DEG = 65.0  #: snow comes from directions up to this far off its main one
_RAYS = 33
_PIXELS = 800_000  #: of the whole field, about
_FINEST_MM = 0.04
_STEPS = 400


@dataclass(frozen=True, eq=False)
class Obstacles:
    """Shapes as a field of distances to them, on square pixels; row 0 lies lowest."""

    clear: Floats  #: distance of each pixel to the shapes, mm; 0 inside
    below: Floats  #: unbroken height of the shapes from each pixel downwards, mm
    corner: Floats  #: of pixel (0, 0), mm
    pixel: float  #: mm

    def open_sky(self, xy: Floats, *, fall_deg: float = -90.0, reach_mm: float = np.inf) -> Floats:
        """The share of the falling snow that reaches each place; (n,), 0…1.

        Snow falls along `fall_deg` and, with the weight cos²t, from directions t up to `WIDEST_DEG` off it. A
        ray is blocked by the first shape that it meets; what is met at a distance counts ``1 - distance /
        reach_mm``: the picture is flat, the thing in front of us is not, and snow drifts past it.

        The occlusion follows source: foldes-benes, there with rays into
        the half-space; here they lie in the picture's plane and fade. Beside an endless wall of height H, at a
        distance x, without fading: ``1 - (f(T) - f(t1)) / 2 f(T)`` with ``f(t) = t/2 + sin(2t)/4``,
        ``t1 = atan(x / H)``, T the widest direction (own integration).
        """
        off = np.radians(WIDEST_DEG) * ((np.arange(_RAYS) + 0.5) / _RAYS * 2 - 1)
        angle = np.radians(fall_deg + 180) + off
        weight = np.cos(off) ** 2 / (np.cos(off) ** 2).sum()
        met = self.distance(xy, np.column_stack([np.cos(angle), np.sin(angle)]), reach_mm)
        return np.asarray(np.clip(met / reach_mm if np.isfinite(reach_mm) else np.isinf(met), 0, 1) @ weight)

    def distance(self, xy: Floats, directions: Floats, reach_mm: float = np.inf) -> Floats:
        """How far a ray goes from each place in each (unit) direction until it meets a shape, mm; (n, k).

        Infinite where it meets none within `reach_mm`. All rays walk at once, each by the distance that is
        surely clear (source: hart-1996).
        """
        gone = np.zeros((len(xy), len(directions)))
        met = np.full(gone.shape, np.inf)
        place, way = np.nonzero(np.ones(gone.shape, dtype=bool))
        for _ in range(_STEPS):
            if len(place) == 0:
                break
            at = xy[place] + gone[place, way, None] * directions[way]
            clear, outside = self._looked_up(self.clear, at)
            hit = (clear <= 0) & ~outside
            met[place[hit], way[hit]] = gone[place[hit], way[hit]]
            gone[place, way] += np.maximum(clear - self.pixel, self.pixel / 2)
            on = ~hit & ~outside & (gone[place, way] < reach_mm)
            place, way = place[on], way[on]
        return met

    def thickness(self, xy: Floats) -> Floats:
        """How far the shapes reach down unbroken from each place, mm; (n,)."""
        return self._looked_up(self.below, xy)[0]

    def _looked_up(self, values: Floats, xy: Floats) -> tuple[Floats, Mask]:
        column, row = np.floor((xy - self.corner) / self.pixel).astype(int).T
        high, wide = values.shape
        outside = (column < 0) | (row < 0) | (column >= wide) | (row >= high)
        return values[np.clip(row, 0, high - 1), np.clip(column, 0, wide - 1)], outside


def obstacles(shapes: PolygonArray) -> Obstacles:
    """The field of `shapes`; there must be at least one."""
    left, bottom, right, top = (float(side) for side in shapely.total_bounds(shapes))
    pixel = max(_FINEST_MM, ((right - left) * (top - bottom) / _PIXELS) ** 0.5)
    corner = np.array([left, bottom]) - 4 * pixel
    wide, high = (int(np.ceil(side / pixel)) + 8 for side in (right - left, top - bottom))
    mask = _filled(shapes, corner, pixel, (wide, high))
    return Obstacles(distance_transform_edt(~mask) * pixel, _run_down(mask) * pixel, corner, pixel)


def _filled(shapes: PolygonArray, corner: Floats, pixel: float, size: tuple[int, int]) -> Mask:
    image = Image.new("1", size, 0)
    pen = ImageDraw.Draw(image)
    for ring, ink in _inked(shapes):
        pen.polygon([(x, y) for x, y in (np.asarray(ring.coords) - corner) / pixel - 0.5], fill=ink)
    return np.asarray(image, dtype=bool)


def _inked(shapes: PolygonArray) -> list[tuple[shapely.LinearRing, int]]:
    """Rings with the ink to fill them with, larger shapes first: one may lie in another's hole."""
    largest_first = shapes[np.argsort(-shapely.area(shapely.envelope(shapes)), kind="stable")]
    return [(ring, ink) for it in largest_first for ring, ink in [(it.exterior, 1), *((h, 0) for h in it.interiors)]]


def _run_down(mask: Mask) -> Floats:
    row = np.arange(len(mask))[:, None]
    last_clear = np.maximum.accumulate(np.where(mask, -1, row), axis=0)
    return np.asarray(np.where(mask, row - last_clear, 0), dtype=np.float64)
