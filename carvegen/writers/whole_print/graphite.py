"""Graphite rubbed over what stands: the tooth of the paper takes it in grains, the edge of the land takes most."""

from __future__ import annotations

from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from carvegen.base.streams import stream

if TYPE_CHECKING:
    from carvegen.geometry import Floats

__all__ = ["paper_tooth", "rubbed"]

# What follows was found by looking at rubbings of our own; our own choice.
_TILE = 768  #: pixels of noise, which go on seamlessly
_GRAIN_MM = 0.09  #: size of the paper's grain
_CLOUD_MM = 1.2  #: over which the pressure of the hand changes
_STROKE_MM = (0.12, 2.5)  #: width and length of the pencil's strokes
_SLANT = 0.7  #: of the strokes: across by so much for each step down
_TAKES = 0.8  #: of the grains take graphite on level land
_SOFT = 0.55  #: over how much of the tooth's range a grain goes from bare to full
_RIM_MM = 0.3  #: from the edge of the land inwards, where the sheet bends over it and takes more
_RIM = 0.3  #: so much more
_LEAST = 0.3  #: of full graphite lies on land between the grains
_SMUDGE = 0.06  #: graphite that the flat of the lead leaves where nothing stands


def paper_tooth(shape: tuple[int, int], px_per_mm: float) -> Floats:
    """How high the paper's fibres stand towards the pencil; (rows, columns), evenly spread over 0…1.

    Noise of three kinds: grain, the strokes of the pencil, and the pressure of the hand; the same for the same size.
    """
    grain, strokes, cloud = _noises(px_per_mm)
    row, column = np.arange(shape[0])[:, None], np.arange(shape[1])
    plain, slanted = row % _TILE, (row + (_SLANT * column).astype(int)) % _TILE
    column = column % _TILE
    mixed = 0.75 * grain[plain, column] + 0.5 * strokes[slanted, column] + 0.3 * cloud[plain, column]
    return np.asarray(0.5 + 0.5 * np.tanh(0.8 * mixed))


@cache
def _noises(px_per_mm: float) -> tuple[Floats, ...]:
    """Tiles of the three kinds of noise, as alike for every print as its paper is; not to be changed."""
    rng = stream(0, "rubbing", "tooth")
    tile = rng.standard_normal((3, _TILE, _TILE), dtype=np.float32)
    sizes = ((_GRAIN_MM, _GRAIN_MM), _STROKE_MM, (_CLOUD_MM, _CLOUD_MM))
    return tuple(
        _even(ndimage.gaussian_filter(noise, [px_per_mm * mm for mm in size], mode="wrap"))
        for noise, size in zip(tile, sizes, strict=True)
    )


def rubbed(land: Floats, tooth: Floats, px_per_mm: float) -> Floats:
    """How much graphite lies on the paper over a land.

    Parameters
    ----------
    land
        How much of each pixel stands, 0…1; (rows, columns).
    tooth
        As `paper_tooth` gives it, of the same shape.
    """
    inside = ndimage.gaussian_filter(land, _RIM_MM * px_per_mm, mode="nearest")
    rim = np.clip(2 * (1 - inside), 0, 1) * land
    takes = _TAKES + _RIM * rim
    grains = _LEAST + (1 - _LEAST) * np.clip((tooth - (1 - takes)) / _SOFT, 0, 1)
    return np.asarray(land * grains + (1 - land) * _SMUDGE * np.clip((tooth - 0.8) / _SOFT, 0, 1))


def _even(noise: Floats) -> Floats:
    spread = float(noise.std())
    return np.asarray(noise / spread if spread else noise)
