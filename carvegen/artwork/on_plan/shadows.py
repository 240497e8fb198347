"""Light that falls piece by piece on a picture laid on its plan: a shadow's own factor, the same for inks and paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from PIL import Image
from scipy import ndimage

from carvegen.artwork.on_plan.plan import resized

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.laid_picture import Laid
    from carvegen.geometry import Mask

__all__ = ["evenly_lit", "light_over"]

_PX_PER_MM, _CELL_PX = 2.0, 6  #: of the picture in which light is looked for, and a cell of it
_ENOUGH_PX, _RARE = 4, 1e-3  #: of a colour in a cell; of the face
_STEP, _PART = 0.12, 0.35  #: light of one piece differs by less from cell to cell; than that part of two colours' step
_JUMP = 0.1  #: in one cell, from which on a piece's edge is followed pixel by pixel
_TINTED = 0.06  #: between channels, in logarithms, from one end of the light to the other; our own choice
_MOST_COLOURS = 12
_ROUNDS = 8


def light_over(laid: Laid) -> NDArray[np.float32] | None:
    """The logarithm of the light on the face, 0 where it is brightest; (height, width); None if too little tells.

    A shadow multiplies all inks and paper by one factor, another ink does not: light is told in the cells in which two
    colours of the plan agree on it, and goes on from there to neighbours that are hardly brighter or darker.
    """
    image = laid.seen_at(_PX_PER_MM).image.convert("RGB")
    rows, columns = (max(side // _CELL_PX, 2) for side in (image.height, image.width))
    size = columns * _CELL_PX, rows * _CELL_PX
    log = np.log(np.asarray(image.resize(size, Image.Resampling.BOX), dtype=np.float32) + 2)
    kinds, count = _colours(resized(laid.plan.tone, size))
    if count < 2:
        return None
    means, known = _means(log, kinds, count, (rows, columns))
    colours = _own_colours(means, known)
    light = means - colours[:, None, None]
    step = _least_step(colours)
    agreed = _agreeing(light, known, colours)
    cell = (light * known[..., None]).sum(axis=0) / np.maximum(known.sum(axis=0), 1)[..., None]
    grown = _grown(agreed, cell, np.asarray(known.any(axis=0)), min(_STEP, _PART * step))
    if grown.mean() < 1 / 10:
        return None
    cast = np.quantile((cell - cell.mean(axis=-1, keepdims=True))[grown], (0.05, 0.95), axis=0)
    if np.ptp(cast, axis=0).max() > _TINTED:  # an ink that fades, which a shadow does not look like
        return None
    nearest = ndimage.distance_transform_edt(~grown, return_distances=False, return_indices=True)
    own = cell.mean(axis=-1)[tuple(nearest)].astype(np.float32)
    smooth = ndimage.median_filter(own, 3)
    followed = _followed(smooth, log, colours, kinds)
    return np.asarray(followed - np.quantile(smooth, 0.95), dtype=np.float32)


def evenly_lit(image: Image.Image, light: NDArray[np.float32] | None) -> Image.Image:
    """A picture of a face, in one channel or three, as if the brightest light lay on all of it."""
    if light is None:
        return image
    gain = np.asarray(Image.fromarray(np.exp(-light)).resize(image.size, Image.Resampling.BILINEAR))
    bands = (Image.fromarray(np.clip(np.asarray(band) * gain, 0, 255).astype(np.uint8)) for band in image.split())
    return Image.merge(image.mode, tuple(bands))


def _colours(drawn: NDArray[np.float32]) -> tuple[NDArray[np.int64], int]:
    """For each pixel which of the plan's tones it has, -1 where two meet; and how many there are."""
    pure = ndimage.maximum_filter(drawn, 3) - ndimage.minimum_filter(drawn, 3) < 1 / 100
    tones = np.round(drawn * 100).astype(int)
    often = [k for k in np.argsort(-np.bincount(tones[pure], minlength=1))[:_MOST_COLOURS]
             if (pure & (tones == k)).mean() > _RARE]  # fmt: skip
    number = np.full(max(int(tones.max()), 100) + 1, -1)
    number[often] = np.arange(len(often))
    return np.where(pure, number[tones], -1), len(often)


def _means(
    log: NDArray[np.float32], kinds: NDArray[np.int64], count: int, shape: tuple[int, int]
) -> tuple[NDArray[np.float64], Mask]:
    """Mean logarithms of each colour in each cell, (colours, rows, columns, 3), and where there is enough of it."""
    row, column = (np.arange(side) // _CELL_PX for side in kinds.shape)
    cell = row[:, None] * shape[1] + column
    there = kinds >= 0
    place = kinds[there] * shape[0] * shape[1] + cell[there]
    many = np.bincount(place, minlength=count * shape[0] * shape[1])
    sums = [np.bincount(place, log[..., k][there], minlength=len(many)) for k in range(3)]
    means = np.stack(sums, axis=-1) / np.maximum(many, 1)[:, None]
    return means.reshape(count, *shape, 3), (many >= _ENOUGH_PX).reshape(count, *shape)


def _own_colours(means: NDArray[np.float64], known: Mask) -> NDArray[np.float64]:
    """Logarithms of the colours in one light, by the cells that show several; (colours, 3)."""
    colours = np.stack([np.median(value[there], axis=0) if there.any() else np.zeros(3)
                        for value, there in zip(means, known, strict=True)])  # fmt: skip
    several = known.sum(axis=0) > 1
    for _ in range(_ROUNDS):
        light = ((means - colours[:, None, None]) * known[..., None]).sum(axis=0)
        light /= np.maximum(known.sum(axis=0), 1)[..., None]
        for k, value in enumerate(means):
            both = known[k] & several
            if both.any():
                colours[k] = np.median((value - light)[both], axis=0)
    return colours


def _least_step(colours: NDArray[np.float64]) -> float:
    return min(float(np.abs(a - b).max()) for k, a in enumerate(colours) for b in colours[k + 1 :])


def _agreeing(light: NDArray[np.float64], known: Mask, colours: NDArray[np.float64]) -> Mask:
    """The cells in which two colours tell the same light."""
    agreed = np.zeros(known.shape[1:], dtype=bool)
    for k in range(len(colours)):
        for other in range(k):
            near = min(_STEP, _PART * float(np.abs(colours[k] - colours[other]).max()))
            agreed |= known[k] & known[other] & (np.abs(light[k] - light[other]).max(axis=-1) < near)
    return agreed


def _grown(agreed: Mask, cell: NDArray[np.float64], known: Mask, step: float) -> Mask:
    """The cells that are told, and all that lead on from them by small steps."""
    flat = [np.abs(np.diff(cell, axis=axis)).max(axis=-1) < step for axis in (0, 1)]
    down = flat[0] & known[1:] & known[:-1]
    across = flat[1] & known[:, 1:] & known[:, :-1]
    cells, before = agreed.copy(), -1
    while cells.sum() != before:
        before = int(cells.sum())
        meets = down & (cells[1:] | cells[:-1])
        cells[1:] |= meets
        cells[:-1] |= meets
        meets = across & (cells[:, 1:] | cells[:, :-1])
        cells[:, 1:] |= meets
        cells[:, :-1] |= meets
    return cells


def _followed(
    cell: NDArray[np.float32], log: NDArray[np.float32], colours: NDArray[np.float64], kinds: NDArray[np.int64]
) -> NDArray[np.float32]:
    """Light pixel by pixel: smooth inside a piece, at its edge what the pixel itself shows between both sides."""
    size = kinds.shape[::-1]

    def spread(values: NDArray[np.float32], how: Image.Resampling = Image.Resampling.BILINEAR) -> NDArray[np.float32]:
        return np.asarray(Image.fromarray(values).resize(size, how))

    low, high = ndimage.minimum_filter(cell, 3), ndimage.maximum_filter(cell, 3)
    smooth, edge = spread(cell), spread(high - low) > _JUMP
    if not edge.any():
        return smooth
    pure = kinds >= 0
    own = np.where(pure, (log - colours[kinds]).mean(axis=-1), 0).astype(np.float32)
    share = ndimage.gaussian_filter(pure.astype(np.float32), 1)
    own = np.where(share > 1 / 10, ndimage.gaussian_filter(own, 1) / np.maximum(share, 1e-3), smooth)
    return np.where(edge, np.clip(own, spread(low), spread(high)), smooth)
