"""The sheet seen straight on, then without its light and its grey: what is left has colour, and only pencils have."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.polynomial.polynomial import polyvander
from numpy.typing import NDArray
from scipy import ndimage

from carvegen.artwork.scan.light import spread
from carvegen.base.colour import linear

if TYPE_CHECKING:
    from carvegen.artwork.scan.pixels import Bytes, ScanPicture
    from carvegen.geometry import Floats, Mask
    from carvegen.marking.pencil.corner_marks import PaperMap

__all__ = ["PX_PER_MM", "Evened", "Light", "evened", "straightened"]

PX_PER_MM = 6  #: of the straightened sheet

Light: TypeAlias = NDArray[np.float32]  #: shares of light, or densities; (height, width, channels)


def straightened(picture: ScanPicture, paper: PaperMap) -> Light:
    """The paper, `PX_PER_MM` pixels a millimetre, first row at the top, red, green and blue as shares of light."""
    step = max(1, int(paper.scale() / PX_PER_MM))
    columns, rows = (round(side * PX_PER_MM) for side in paper.size)
    x, y = _places(paper, (np.arange(columns) + 0.5) / PX_PER_MM, paper.size[1] - (np.arange(rows) + 0.5) / PX_PER_MM)
    where = np.stack([(y - (step - 1) / 2) / step, (x - (step - 1) / 2) / step])
    out = np.empty((rows, columns, 3), dtype=np.float32)
    table = linear(np.arange(256.0)).astype(np.float32)
    for k, channel in enumerate(picture.colour):
        small = _reduced(table, channel, step)
        out[..., k] = ndimage.map_coordinates(small, where, order=1, mode="nearest", output=np.float32)
    return out


def _places(paper: PaperMap, x: Floats, y: Floats) -> tuple[Light, Light]:
    """Pixels of a grid of places: columns at `x`, rows at `y`; as `PaperMap` says, without a list of all points."""
    h = paper.matrix
    across, down = (polyvander(2 * at / side - 1, 3) for at, side in zip((x, y), paper.size, strict=True))
    below = (h[2, 0] * x + h[2, 2])[None] + (h[2, 1] * y)[:, None]
    result = []
    for k in range(2):
        flat = ((h[k, 0] * x + h[k, 2])[None] + (h[k, 1] * y)[:, None]) / below
        bend = np.zeros((4, 4))
        bend[tuple(np.transpose([(i, j) for i in range(4) for j in range(4 - i)]))] = paper.bend[:, k]
        result.append((flat + down @ bend.T @ across.T).astype(np.float32))
    return result[0], result[1]


def _reduced(table: NDArray[np.float32], channel: Bytes, step: int) -> NDArray[np.float32]:
    """A channel as shares of light, means of `step` x `step` pixels."""
    high, wide = (side // step for side in channel.shape)
    out = np.zeros((high, wide), dtype=np.float32)
    for i in range(step):
        for j in range(step):
            out += table[channel[i : high * step : step, j : wide * step : step]]
    return np.asarray(out / np.float32(step * step), dtype=np.float32)


_CELL = 2 * PX_PER_MM  #: pixels along the side of a cell
_LOOK = 3  #: every so many pixels of a cell are looked at
_BRIGHT = 0.85  #: the quantile of a cell that shows its paper, if any is in it
_NEAR, _HUELESS = 0.04, 0.05  #: how far below the light, and from grey, a cell of bare paper may lie; densities
_DARKEST, _BRIGHTEST = 0.02, 1.3
_QUIET = 0.06  #: colour within a cell that has no pencil in it spreads no more
_SHADE = 0.2  #: how much colour light may have of its own
_NOISE_SHARE = 2.5  #: how much more than usual a cell may be coloured to count as bare
_NEAR_CELLS, _FAR_CELLS = 1.2, 8.0  #: over so many cells the light's colour is taken from bare ones
_SMOOTH_MM, _SMOOTHER_MM = 0.1, 0.2
_SMOOTH_PX = 1.3  #: of the picture as it was taken
_LEAST_FLOOR, _NOISES = 0.07, 5.0  #: what is coloured: more than this, and than so much noise


@dataclass(frozen=True, eq=False)
class Evened:
    """A sheet in even white light."""

    light: Light  #: shares of the paper's light; (height, width, 3)
    hue: Light  #: optical densities seen along grey; (height, width, 2)
    grey: Light  #: mean optical density; (height, width)
    floor: Light  #: longer hues are coloured; (height, width)
    blur_mm: float  #: by which all is blurred, standard deviation

    @cached_property
    def coloured(self) -> Mask:
        """Which pixels are coloured; (height, width)."""
        return np.asarray(self.depth > self.floor)

    @cached_property
    def depth(self) -> Light:
        """How coloured each pixel is; (height, width)."""
        return np.asarray(np.hypot(self.hue[..., 0], self.hue[..., 1]), dtype=np.float32)


def evened(light: Light, picture_px_per_mm: float) -> Evened:
    """The sheet in even white light.

    Pictures often keep colour at half the sharpness of light and dark, so that thin grey lines in coloured light get a
    colour of their own: all is blurred by somewhat more than one of their pixels.

    The paper's light is a cubic surface in each channel, through the brightest of each cell. By Beer and Lambert layers
    over one another add their optical densities; grey adds the same in every channel. Seen along grey the sheet's own
    print is gone, and a layer of one pencil lies in one direction, the further out the thicker it is. What colour bare
    cells then have is the light's own, a shadow's say, or the printer's black: it is taken out nearby.
    """
    paper = _paper(light)
    flat = light / paper
    blur_mm = max(_SMOOTH_MM, _SMOOTH_PX / picture_px_per_mm)
    blur = blur_mm * PX_PER_MM
    density = -np.log(np.clip(ndimage.gaussian_filter(flat, (blur, blur, 0)), _DARKEST, _BRIGHTEST))
    red, green, blue = (density[..., k] for k in range(3))
    hue = np.stack([(red - green) / np.float32(2**0.5), (red + green - 2 * blue) / np.float32(6**0.5)], axis=-1)
    grey = density.mean(axis=-1)
    bare = _without_tint(hue, grey)
    floor = _NOISES * _noise(hue, bare)
    if np.median(floor) > _LEAST_FLOOR:  # few pixels or little light: finer strokes are lost in it anyway
        for k in range(2):
            hue[..., k] = ndimage.gaussian_filter(hue[..., k], _SMOOTHER_MM * PX_PER_MM)
        floor, blur_mm = _NOISES * _noise(hue, bare), float(np.hypot(blur_mm, _SMOOTHER_MM))
    return Evened(flat, hue, grey, _enlarged(np.maximum(floor, _LEAST_FLOOR), light.shape)[..., 0], blur_mm)


def _cells(values: Light) -> Floats:
    """What is looked at of each cell; (rows, columns, n, …)."""
    rows, columns = values.shape[0] // _CELL, values.shape[1] // _CELL
    cut = values[: rows * _CELL, : columns * _CELL].reshape(rows, _CELL, columns, _CELL, -1)
    cut = cut[:, 1::_LOOK, :, 1::_LOOK].transpose(0, 2, 1, 3, 4)
    return np.asarray(cut.reshape(rows, columns, -1, values.shape[2] if values.ndim == 3 else 1))


def _paper(light: Light) -> Light:
    """How bright bare paper is everywhere; the light's shape."""
    bright = np.log(np.maximum(np.quantile(_cells(light), _BRIGHT, axis=2), 1e-3))
    rows, columns = bright.shape[:2]
    y, x = (side.ravel() for side in np.mgrid[-1 : 1 : rows * 1j, -1 : 1 : columns * 1j])
    basis = np.column_stack([x**i * y**j for i in range(4) for j in range(4 - i)])
    logs = bright.reshape(-1, 3)
    keep = np.ones(len(logs), dtype=bool)
    for _ in range(8):
        kept = basis * keep[:, None]
        # normal equations of ten unknowns; a strip of paper holds fewer, and the rest stay small
        surface = basis @ np.linalg.lstsq(kept.T @ basis, kept.T @ logs, rcond=1e-9)[0]
        off = logs - surface
        bare = (off.min(axis=1) > -_NEAR) & (np.ptp(off, axis=1) < _HUELESS)
        if bare.sum() < 4 * basis.shape[1] or np.array_equal(bare, keep):
            break
        keep = bare
    return _enlarged(np.exp(surface).reshape(bright.shape), light.shape[:2])


def _enlarged(cells: Floats, size: tuple[int, ...]) -> Light:
    """Values of cells, linearly between their middles; (height, width, …)."""
    rows, columns = (spread(side // _CELL * _CELL, count) for side, count in zip(size[:2], cells.shape, strict=False))
    out = np.empty((*size[:2], cells.shape[2]), dtype=np.float32)
    for k in range(cells.shape[2]):
        whole = rows @ cells[..., k].astype(np.float32) @ columns.T
        out[..., k] = np.pad(whole, [(0, size[0] - whole.shape[0]), (0, size[1] - whole.shape[1])], mode="edge")
    return out


def _without_tint(hue: Light, grey: Light) -> Mask:
    """Take the light's own colour out of `hue`; which cells are bare."""
    looks = _cells(hue)
    tint = np.median(looks, axis=2)
    apart = np.quantile(np.hypot(*np.moveaxis(looks - tint[:, :, None], -1, 0)), 0.9, axis=2)
    usual = float(np.quantile(apart, 0.25))
    bare = (apart < max(_QUIET, _NOISE_SHARE * usual)) & (np.hypot(*np.moveaxis(tint, -1, 0)) < _SHADE)
    bare = np.asarray(ndimage.binary_erosion(bare, border_value=1))
    local = _nearby(tint, bare)
    hue -= _enlarged(np.clip(local, -_SHADE, _SHADE), hue.shape)
    darkness = np.median(_cells(grey[..., None]), axis=2)[..., 0]
    if bare.sum() > 50:  # a camera's curve may give grey a colour: the same everywhere
        rest, dark = (tint - local)[bare], darkness[bare] - darkness[bare].mean()
        hue -= grey[..., None] * (dark @ rest / max(float(dark @ dark), 1e-6)).astype(np.float32)
    return bare


def _noise(hue: Light, bare: Mask) -> Floats:
    """How coloured bare paper is by noise around each cell: more where there is less light; (rows, columns, 1)."""
    depth = np.median(np.hypot(*np.moveaxis(_cells(hue), -1, 0)), axis=2)
    return _nearby(depth[..., None], bare)


def _nearby(tint: Floats, bare: Mask) -> Floats:
    """The colour of the bare cells around each cell: of the next ones, or of those further away if there are none."""
    weights = [ndimage.gaussian_filter(bare * 1.0, size) for size in (_NEAR_CELLS, _FAR_CELLS)]
    total = weights[0] + 1e-3 * weights[1] + 1e-9
    result = np.empty_like(tint)
    for k in range(tint.shape[-1]):
        known = tint[..., k] * bare
        near, far = (ndimage.gaussian_filter(known, size) for size in (_NEAR_CELLS, _FAR_CELLS))
        result[..., k] = (near + 1e-3 * far) / total
    return result
