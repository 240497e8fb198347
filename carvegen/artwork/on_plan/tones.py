"""A picture in the one channel that tells land from cut, and parted midway between both in any light."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from scipy import ndimage

from carvegen.artwork.on_plan.plan import resized
from carvegen.base.colour import cielab

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.laid_picture import Laid
    from carvegen.artwork.on_plan.plan import Tone, TonePlan
    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Mask

__all__ = [
    "COLOUR_PX",
    "PARTING",
    "above_cut",
    "colour_tells",
    "cut_share",
    "drawn_tone",
    "parted",
    "ranged",
    "toned",
]

COLOUR_PX = 800  #: longer side of the picture that gives its inks' colour
_NEAR_PX = 12  #: what differs within so much is drawn
_STANDS_OUT = 4.0  #: medians of how far colours lie from those around them
_RANGE = (0.005, 0.995)
_TILE_MM, _TILE_PX = 4.0, 12  #: of the picture in which land and cut are looked for
_PURE, _ENOUGH = 0.02, 0.06
_AS_LIGHT = 5.0  #: L* by which land and cut of one lightness differ at most; our own choice
_ALIKE = 1.04  #: cut must be so much lighter than land
_NEARNESS, _CUT = 0.3, (0.4, 2.5)  #: of the step from land to cut, in logarithms
_CLEAREST = 0.9  #: of the steps from land to cut beside it; our own choice
_CLEARER = 3.0  #: than as many the other way, which are stains; our own choice
_BENT = 6
_STIFF = 1e-3  #: what holds the surface's curvature down where few tiles say it
_AROUND, _ENOUGH_TILES = 1.5, 12  #: standard deviation of a mean around a tile, in tiles; fewer make no surface
_WHITEST = 252.0  #: in glare a picture gets no lighter
PARTING = 96.0


def drawn_tone(image: Image.Image) -> Tone:
    """How light a picture is along the colour in which its drawing differs most from what is around; 0…255.

    Pale yellow hardly differs from paper in lightness: by the first principal component of what is left of the
    colours when their surroundings are taken away.
    """
    return np.asarray(toned(image, image), dtype=np.float32)


def toned(image: Image.Image, look: Image.Image, *, evenly: bool = False) -> Image.Image:
    """A picture in that one channel, by the colours of `look`: the picture or what counts of it, smaller perhaps.

    With `evenly` all that stands out counts alike: what is drawn all over, more than the sheet's edge on a dark table.
    """
    if image.mode == "L":
        return image
    step = max(1, max(look.size) // COLOUR_PX)
    small = np.asarray(look.reduce(step), dtype=np.float32)
    rest = (small - ndimage.uniform_filter(small, (_NEAR_PX, _NEAR_PX, 0))).reshape(-1, 3)
    if evenly:
        far = np.linalg.norm(rest, axis=1, keepdims=True)
        rest = rest * np.minimum(1, _STANDS_OUT * np.median(far) / np.maximum(far, 1e-6))
    weight = np.linalg.eigh(np.cov(rest.T))[1][:, -1]
    weight = np.clip(weight * np.sign(weight.sum()), 0, None)
    if not weight.any():  # an even colour
        weight = np.ones(3)
    red, green, blue = (float(value) for value in weight / weight.sum())
    return image.convert("L", (red, green, blue, 0))


def ranged(tone: Tone) -> Tone:
    """A tone from 0 to 1, but for the few pixels that are lighter or darker than nearly all."""
    low, high = np.quantile(tone[::4, ::4], _RANGE)
    return np.asarray(np.clip((tone - low) / max(high - low, 1.0), 0, 1), dtype=np.float32)


def colour_tells(laid: Laid) -> bool:
    """Whether land and cut differ in colour more than in how light they are, and hardly in that."""
    lab = cielab(np.asarray(laid.seen_at(_TILE_PX / _TILE_MM).image.convert("RGB"), dtype=np.float64))
    light, a, b = (above_cut(np.asarray(channel, dtype=np.float32), laid.plan) for channel in np.moveaxis(lab, -1, 0))
    return abs(light) < min(_AS_LIGHT, float(np.hypot(a, b)))


def above_cut(values: Tone, plan: TonePlan) -> float:
    """By how much a picture's values are higher on land than on the cuts beside it, in the mean of its tiles."""
    rows, columns = (max(round(side / _TILE_MM), 2) for side in plan.size_mm[::-1])
    small, drawn = (resized(tone, (columns * _TILE_PX, rows * _TILE_PX)) for tone in (values, plan.tone))
    on, known = _tiles(small, drawn < _PURE, (rows, columns))
    beside, some = _tiles(small, drawn > 1 - _PURE, (rows, columns))
    both = known & some
    return float((on - beside)[both].mean()) if both.any() else 0.0


def parted(tone: Tone, plan: TonePlan) -> Bytes:
    """The picture over the tone midway between land and cut there, so that `PARTING` parts them; 0…255.

    What land looks like is taken from where the plan has land, place by place, as a smooth surface: light falls off, a
    shadow lies over it, wet ink glares. What stands out from the surface is not followed: there it may be cut. The
    surface begins where the picture shows land and cut side by side: where a large area is all cut, or not cut at all,
    nothing tells the one from the other but the light around it.
    """
    both = surfaces(tone, plan)
    if both is None:
        return np.asarray(np.clip(tone, 0, 255), dtype=np.uint8)
    of_land, of_cut = both
    middle = (np.exp(of_land) + np.minimum(np.exp(of_cut), _WHITEST)) / 2 - 1
    return np.asarray(np.clip(tone * (PARTING / np.maximum(_spanned(middle, tone), 1)), 0, 255), dtype=np.uint8)


def cut_share(tone: Tone, plan: TonePlan, *, where: Mask | None = None) -> Tone:
    """How far from land to cut each pixel lies in the light there, by its tone's logarithm: 0 land, 1 cut; (h, w).

    Zero everywhere if cut is not lighter than land. Light is that `where` the drawing shows, and goes on from there;
    without it all that is near to it counts, a shadow with it.
    """
    both = surfaces(tone, plan, where=where)
    if both is None:
        return np.zeros_like(tone)
    of_land, of_cut = both
    return np.asarray((np.log(tone + 1) - _spanned(of_land, tone)) / _spanned(np.maximum(of_cut - of_land, 1e-3), tone))


def _spanned(tiles: NDArray[np.float64], tone: Tone) -> Tone:
    """Values of tiles for each pixel of a picture."""
    size = tone.shape[::-1]
    return np.asarray(Image.fromarray(tiles.astype(np.float32)).resize(size, Image.Resampling.BICUBIC))


def surfaces(
    tone: Tone, plan: TonePlan, *, where: Mask | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
    """The logarithms of what land and cut look like in each tile; None if cut is not lighter than land."""
    rows, columns = (max(round(side / _TILE_MM), 2) for side in plan.size_mm[::-1])
    small = resized(tone, (columns * _TILE_PX, rows * _TILE_PX)) + 1
    drawn = resized(plan.tone, (columns * _TILE_PX, rows * _TILE_PX))
    land, cut = ndimage.maximum_filter(drawn, 3) < _PURE, ndimage.minimum_filter(drawn, 3) > 1 - _PURE
    if where is not None:
        shown = resized(where.astype(np.float32), (columns * _TILE_PX, rows * _TILE_PX)) > 1 / 2
        land, cut = land & shown, cut & shown
    step = float(np.log(np.median(small[cut]) / np.median(small[land]))) if land.any() and cut.any() else 0.0
    on, known = _tiles(np.log(small), land, (rows, columns))
    beside, some = _tiles(np.log(small), cut, (rows, columns))
    steps = _spread(beside, some) - _spread(on, known)
    local = steps[known & np.isfinite(steps)]
    stain, clearest = np.quantile(local, (1 - _CLEAREST, _CLEAREST)).tolist() if len(local) else (0.0, 0.0)
    if step < clearest / 2 and clearest > -_CLEARER * stain:  # most of what is to be cut still stands
        step = clearest
    if step <= np.log(_ALIKE):
        return None
    near = _NEARNESS * step
    of_land = _surface(on, known, near, first=known & (steps > step * _CUT[0]))
    rest = beside - of_land
    clear = some & (rest > step * _CUT[0]) & (rest < step * _CUT[1])
    return of_land, of_land + _surface(np.where(clear, rest, 0), clear, near)


def _tiles(values: Tone, mask: Mask, shape: tuple[int, int]) -> tuple[NDArray[np.float64], Mask]:
    """Means of what is in a mask in each tile, and in which tiles there is enough."""
    weight = mask.reshape(shape[0], _TILE_PX, shape[1], _TILE_PX).sum(axis=(1, 3))
    total = np.where(mask, values, 0).reshape(shape[0], _TILE_PX, shape[1], _TILE_PX).sum(axis=(1, 3))
    return total / np.maximum(weight, 1), weight >= _ENOUGH * _TILE_PX**2


def _spread(values: NDArray[np.float64], known: Mask) -> NDArray[np.float64]:
    """Means of what is known around each tile; not a number where nothing is."""
    share = ndimage.gaussian_filter(known.astype(float), _AROUND)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(np.where(share > 1e-3, ndimage.gaussian_filter(values * known, _AROUND) / share, np.nan))


def _surface(
    values: NDArray[np.float64], known: Mask, near: float, *, first: Mask | None = None
) -> NDArray[np.float64]:
    """A smooth surface through the tiles that are known: of second degree, then bent to those that lie near it.

    The former by the tiles of `first` alone, if these are enough.
    """
    if known.sum() < _ENOUGH_TILES:
        return np.full(values.shape, float(np.median(values[known])) if known.any() else 0.0)
    y, x = np.mgrid[-1 : 1 : values.shape[0] * 1j, -1 : 1 : values.shape[1] * 1j]
    basis = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    plain = first if first is not None and first.sum() >= _ENOUGH_TILES else known
    weight, stiff = plain.astype(float), np.diag([0.0, 0, 0, 1, 1, 1]) * _STIFF * plain.sum()
    for _ in range(12):
        normal = (basis[plain] * weight[plain][:, None]).T
        plane = basis @ np.linalg.solve(normal @ basis[plain] + stiff, normal @ values[plain])
        weight = plain / (1 + ((values - plane) / (near / 2)) ** 2)
    bent = plane
    for _ in range(_BENT):
        close = known & (np.abs(values - bent) < near)
        share = ndimage.gaussian_filter(close.astype(float), 1.5)
        bent = plane + ndimage.gaussian_filter(np.where(close, values - plane, 0), 1.5) / (share + 0.02)
    return np.asarray(bent)
