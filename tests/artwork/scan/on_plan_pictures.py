"""Plans of a block, and pictures of it as people take them; perspective by scikit-image."""

from __future__ import annotations

from functools import cache, lru_cache

import numpy as np
import shapely
from scipy import ndimage
from skimage.transform import ProjectiveTransform, warp

from carvegen import geometry
from carvegen.geometry.coverage import coverage

SIZE = (120.0, 80.0)
PX = 6.0
FACE = shapely.box(0, 0, *SIZE)


@cache
def blots(seed=1, count=70, size=SIZE, largest=3.5):
    """Wavy patches strewn over a face."""
    rng = np.random.default_rng(seed)
    t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    made = []
    for _ in range(count):
        radius = rng.uniform(0.8, largest) * (1 + 0.25 * np.cos(3 * t + rng.uniform(0, 6)))
        made.append(shapely.Polygon(np.column_stack([radius * np.cos(t), radius * np.sin(t)]) + rng.uniform(4, size)))
    return shapely.union_all(made)


@cache
def sky(seed=1):
    """A block with cut snow and a post that is cut, too."""
    return shapely.difference(FACE, shapely.union(blots(seed), shapely.box(70, 0, 78, 45)))


@cache
def key(seed=2):
    """A block of lines: the post, rails and blots."""
    land = shapely.union_all([blots(seed), shapely.box(70, 0, 78, 45), shapely.box(10, 20, 110, 22.5)])
    return shapely.intersection(land, FACE)


def painted(land, px=PX, size=SIZE):
    return coverage(geometry.moved(geometry.parts(land), (0, 0), scale=px), tuple(round(side * px) for side in size))


def cut_by_hand(cover, most_mm=0.3, seed=0, px=PX):
    """Edges wander by up to `most_mm`, now here, now there."""
    down, across = _wandering(seed, cover.shape, px)
    rows, columns = np.indices(cover.shape)
    there = [rows + down * most_mm * px, columns + across * most_mm * px]
    return ndimage.map_coordinates(cover, there, order=1, mode="nearest")


@lru_cache(maxsize=2)
def _wandering(seed, shape, px):
    """How far a hand goes astray down and across, -1 to 1; the same in all pictures of one size and seed."""
    rng = np.random.default_rng(seed)
    waves = [ndimage.gaussian_filter(rng.normal(size=shape), 2.0 * px) for _ in range(2)]
    return [np.clip(wave / wave.std() / 2, -1, 1) for wave in waves]


def photographed(
    cover, *, ink=(40, 50, 70), paper=(240, 236, 226), table=None, margin=8.0, turn=3.0, aslant=0.03, mirrored=False,
    size=(640, 486), fill=0.8, shadow=0.0, hand=False, seed=0, px=PX, lens=0.0,
):  # fmt: skip
    """A photograph and the true way from mm on the plan, y down, to its pixels; (rows, columns, 3), (3, 3).

    With a `lens` that way leads to the pixels of a picture without one: see `bent`.
    """
    shaken = np.random.default_rng(seed).uniform(-1, 1, (4, 2))
    edge = round(margin * px)
    sheet = np.pad(cover, edge)[:, :: -1 if mirrored else 1]
    high, wide = sheet.shape
    box = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], float)
    angle = np.radians(turn)
    spin = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    scale = fill * min(size[0] / wide, size[1] / high)
    there = (box - box.mean(axis=0)) @ spin * scale * (1 + aslant * shaken) + np.array(size) / 2
    transform = ProjectiveTransform.from_estimate(box, there)
    half = np.array([[1, 0, 0.5], [0, 1, 0.5], [0, 0, 1]])  # scikit-image counts from a pixel's middle
    inner = ProjectiveTransform(np.linalg.inv(half) @ transform.params @ half).inverse
    back = (lambda xy: inner(unbent(xy + 0.5, size, lens) - 0.5)) if lens else inner
    seen = warp(sheet, back, output_shape=size[::-1], order=1)[..., None]
    colour = np.array(paper) * (1 - seen) + np.array(ink) * seen
    if table is not None:
        on = warp(np.ones_like(sheet), back, output_shape=size[::-1], order=1)[..., None]
        colour = colour * on + np.array(table) * (1 - on)
    rows, columns = np.indices(size[::-1])
    light = 1 - 0.25 * ((columns / size[0] - 0.3) ** 2 + (rows / size[1] - 0.6) ** 2)
    if shadow:
        light *= 1 - shadow / (1 + np.exp(-(columns + rows / 2 - 0.6 * size[0]) / (0.02 * size[0])))
    colour *= light[..., None]
    if hand:
        palm = ((columns / size[0] - 1) / 0.3) ** 2 + ((rows / size[1] - 1) / 0.35) ** 2 < 1
        colour[palm] = (205, 150, 120)
    colour = ndimage.gaussian_filter(colour, (0.7, 0.7, 0)) + _noise(seed, colour.shape)
    flip = np.array([[-px, 0, wide - edge], [0, px, edge], [0, 0, 1]])
    plain = np.array([[px, 0, edge], [0, px, edge], [0, 0, 1]])
    return np.clip(colour, 0, 255).astype(np.uint8), transform.params @ (flip if mirrored else plain)


@lru_cache(maxsize=2)
def _noise(seed, shape):
    """Of a sensor; the same in all pictures of one size and seed."""
    rng = np.random.default_rng(seed)
    rng.uniform(-1, 1, (4, 2))
    return 3 * rng.normal(size=shape)


def bent(xy, size, lens):
    """Where a lens puts pixels: from the middle outwards 1 + lens r² times as far, r = 1 at the picture's corners.

    The first term of radial distortion, as cameras' calibrations have it (D. C. Brown's model; from memory).
    """
    middle = np.array(size) / 2
    out = xy - middle
    return middle + out * (1 + lens * (out**2).sum(axis=1, keepdims=True) / (middle**2).sum())


def unbent(xy, size, lens):
    """The other way round, by repetition."""
    middle, there = np.array(size) / 2, xy
    for _ in range(12):
        r2 = ((there - middle) ** 2).sum(axis=1, keepdims=True) / (middle**2).sum()
        last, there = there, middle + (xy - middle) / (1 + lens * r2)
        if np.abs(there - last).max() < 1e-6:
            break
    return there


def off_mm(place, true, size=SIZE):
    """How far places of the plan lie off, by one homography and by the other."""
    x, y = np.meshgrid(np.linspace(4, size[0] - 4, 7), np.linspace(4, size[1] - 4, 5))
    points = np.stack([x.ravel(), y.ravel(), np.ones(x.size)])
    back = np.linalg.inv(place) @ true @ points
    return np.hypot(*(back[:2] / back[2] - points[:2]))


def off_mm_through(expected, true, picture_px, lens, size=SIZE):
    """How far places of the plan lie off in a picture that is laid, its lens with it."""
    x, y = np.meshgrid(np.linspace(4, size[0] - 4, 7), np.linspace(4, size[1] - 4, 5))
    points = np.column_stack([x.ravel(), y.ravel(), np.ones(x.size)])
    there = points @ true.T
    pixels = bent(there[:, :2] / there[:, 2:], picture_px, lens)
    straight = np.column_stack([expected.lens.straight(pixels), np.ones(len(pixels))])
    back = straight @ np.linalg.inv(expected.place).T
    return np.hypot(*(back[:, :2] / back[:, 2:] - points[:, :2]).T)
