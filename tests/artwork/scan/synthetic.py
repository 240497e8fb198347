"""Synthetic scans: known shapes, painted, blurred, tilted, lit unevenly, on grained paper."""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np
import shapely
import shapely.affinity
from PIL import Image
from scipy.ndimage import gaussian_filter

from carvegen import geometry
from carvegen.geometry.coverage import coverage

WIDTH, HEIGHT = 60.0, 45.0  # mm of the sheet
DPI = 300
PX = DPI / 25.4


def shapes():
    """A disc, a wavy patch, a star, a plate with a hole, and a border round all; mm, y up."""
    t = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    wave = 8 * (1 + 0.2 * np.cos(5 * t))
    star = [((6, 2.7)[k % 2] * np.cos(np.pi * k / 5), (6, 2.7)[k % 2] * np.sin(np.pi * k / 5)) for k in range(10)]
    return geometry.polygon_array(
        [
            shapely.Point(17, 16).buffer(9, quad_segs=64),
            shapely.Polygon(np.column_stack([43 + wave * np.cos(t), 17 + wave * np.sin(t)])),
            shapely.Polygon(np.add(star, (12, 35))),
            shapely.box(24, 31, 55, 41).difference(shapely.Point(40, 36).buffer(3, quad_segs=64)),
            shapely.box(2, 2, 58, 43).difference(shapely.box(2.8, 2.8, 57.2, 42.2)),
        ]
    )


def turned(values, by_deg):
    return geometry.polygon_array(shapely.affinity.rotate(g, by_deg, origin=(WIDTH / 2, HEIGHT / 2)) for g in values)


def painted(values, size_px, scale=PX):
    """How much of each pixel the shapes cover; (height, width)."""
    return coverage(geometry.moved(values, (0, 0), scale=scale), size_px)


def sheet():
    return round(WIDTH * PX), round(HEIGHT * PX)


def worn(tone, *, blur=1.0, uneven=0.35, texture=3.0, noise=4.0, seed=1):
    """A picture as a scanner gives it: blurred, darker to one side, on grained paper, noisy; 0…255."""
    y, x = np.indices(tone.shape)
    light = 1 - uneven * ((x / tone.shape[1] - 0.2) ** 2 + (y / tone.shape[0] - 0.7) ** 2)
    grain, specks = _paper(seed, tone.shape)
    seen = gaussian_filter(tone, blur) * light + texture * grain + noise * specks
    return np.clip(np.round(seen), 0, 255).astype(np.uint8)


@lru_cache(maxsize=2)
def _paper(seed, shape):
    """The grain of a paper and the noise of a sensor; the same in all scans of one size and seed."""
    rng = np.random.Generator(np.random.PCG64(seed))
    grain = gaussian_filter(rng.normal(size=shape), 3)
    return grain / grain.std(), rng.normal(size=shape)


def saved(path, pixels, dpi=DPI, **how):
    Image.fromarray(pixels).save(path, **({"dpi": (dpi, dpi)} if dpi else {}), **{"compress_level": 1, **how})
    return path


def data(pixels, kind="PNG", **how):
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, kind, **how)
    return out.getvalue()


def matched(expected, truth):
    """For each true shape the found one that shares most with it."""
    return [expected[int(np.argmax(shapely.area(shapely.intersection(expected, shape))))] for shape in truth]


def corners_of(shape):
    """Corners that turn by more than 30 degrees."""
    rings = geometry.rings(geometry.polygon_array([shape]))
    ahead = rings.xy[rings.edge_ends] - rings.xy
    before = np.empty_like(ahead)
    before[rings.edge_ends] = ahead
    angle = np.arctan2(ahead[:, 1], ahead[:, 0]) - np.arctan2(before[:, 1], before[:, 0])
    sharp = np.abs((angle + np.pi) % (2 * np.pi) - np.pi) > np.radians(30)
    return shapely.MultiPoint(rings.xy[sharp])


def apart(expected, truth, *, corner_mm=0.5):
    """How far the outlines lie from one another, either way, away from the true corners; mm."""
    near = corners_of(truth).buffer(corner_mm)
    shapely.prepare(near)
    lines = [shape.boundary for shape in (expected, truth)]
    shapely.prepare(lines)
    off = []
    for line, other in (lines, lines[::-1]):
        points = shapely.points(shapely.get_coordinates(shapely.segmentize(line, 0.05)))
        off.append(shapely.distance(points[~shapely.intersects(points, near)], other).max())
    return max(off)
