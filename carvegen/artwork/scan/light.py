"""Uneven light: how bright the bare paper is over the picture, and the picture divided by it."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image

from carvegen.artwork.scan.sampling import blurred

if TYPE_CHECKING:
    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Floats, Mask

__all__ = ["PAPER", "beside_glare", "evened", "paper_light", "softly_parted", "spread"]

#: The tone that bare paper has in an evened picture; what is above leaves room for the paper's grain.
PAPER = 235.0

_TILES = 64  # across the longer side
_LOOKS = 24  # pixels looked at along a tile's side
_NEAR = 0.08  # a tile this close to the light's surface, as a share, shows bare paper
_FEWEST = 0.02  # share of tiles that must show it
_GLARES, _GLARE_TILES, _GLARE_EDGE = 1.2, 21, 3  #: times as bright as around; a glare is narrower; our own choice
_LOOK_PX, _EDGE_PX = 1000, 9  #: longer side, or up to twice that, in which edges are looked for, and how wide one is
_STEP = 0.4  #: of the difference between shape and paper, by which tones differ across an edge; our own choice
_ABOVE = 500.0  # how much more a tile above the surface counts than one below


def paper_light(tone: Bytes, *, bent: bool = True) -> Floats | None:
    """How bright bare paper is in each of about 64 x 64 tiles, 0…255; None where too little paper is seen.

    The brightest tenth of a tile is bare paper if any is in it. A surface of second degree is laid over the
    tiles' logarithms from above, by least squares that weigh what lies above it far more (an expectile,
    source: newey-powell), then through the tiles near to it, then bent to
    these and their like nearby, if it may be `bent`. Inked tiles lie far below and don't count, so solid blacks are not
    taken for shadow.
    """
    return _light_by(_brightest(tone), bent=bent)


def _light_by(tiles: Floats, *, bent: bool = True) -> Floats | None:
    logs = np.log(np.maximum(tiles, 1.0)).ravel()
    basis = _basis(*tiles.shape)
    height = basis @ _enveloping(basis, logs)
    for _ in range(3):
        paper = np.abs(logs - height) < _NEAR
        if paper.mean() < _FEWEST or paper.sum() < 2 * basis.shape[1]:
            return None
        height = basis @ _solved(basis[paper], logs[paper])
    rest = np.zeros_like(height)
    for _ in range(4 if bent else 0):  # each time a little further into the shadows
        rest = _bent((logs - height).reshape(tiles.shape), paper.reshape(tiles.shape)).ravel()
        paper = np.abs(logs - height - rest) < _NEAR
    return np.asarray(np.exp(np.minimum(height + rest, np.log(255.0))).reshape(tiles.shape))


def beside_glare(tone: Bytes) -> tuple[Floats | None, Mask]:
    """`paper_light` without what is narrow and far brighter than all around it; and where that is, for each tile.

    For a picture that is lit so unevenly that a lamp alone does not make it so.
    """
    from scipy.ndimage import binary_dilation, median_filter

    tiles = _brightest(tone)
    around = median_filter(tiles, _GLARE_TILES)
    bright = tiles > _GLARES * around
    return _light_by(np.where(bright, around, tiles)), np.asarray(binary_dilation(bright, iterations=_GLARE_EDGE))


def evened(tone: Bytes, light: Floats) -> Bytes:
    """The picture as if bare paper were `PAPER` everywhere; same shape."""
    rows, columns = (spread(size, count) for size, count in zip(tone.shape, light.shape, strict=True))
    across = (PAPER / light).astype(np.float32) @ columns.T
    out = np.empty_like(tone)
    step = max(1, 4_000_000 // tone.shape[1])
    for first in range(0, tone.shape[0], step):
        band = slice(first, first + step)
        out[band] = np.clip(tone[band] * (rows[band] @ across) + np.float32(0.5), 0, 255)
    return out


def softly_parted(tone: Bytes, even: Bytes, level: float, depth: float) -> tuple[Mask, float]:
    """What of an evened picture is lighter than a level and runs out into what is darker; coarse, and a share.

    Light changes slowly, a shape ends at an edge: where the evened picture passes the level and the picture itself
    shows no edge, light that was taken out was a shape, or some is left.

    Parameters
    ----------
    depth
        By what part of the paper's tone shapes are darker.

    Returns
    -------
    tuple
        The places, with the outline's pieces that are no edges; (rows, columns), about `_LOOK_PX` of the longer. And
        the share of all outlines that these are.
    """
    from scipy.ndimage import label, maximum_filter, minimum_filter

    step = max(1, max(tone.shape) // _LOOK_PX)
    seen, evener = (blurred(np.asarray(Image.fromarray(each).reduce(step)), 1.0) for each in (tone, even))
    top = maximum_filter(seen, _EDGE_PX)
    edge = top - minimum_filter(seen, _EDGE_PX) > _STEP * depth * top
    outline = (maximum_filter(evener, 3) > level) & (minimum_filter(evener, 3) <= level)
    soft = outline & ~edge
    places, _ = label((evener > level) | soft)
    out = np.isin(places, np.unique(places[soft])) & (places > 0)
    return np.asarray(out), float(soft.sum() / max(outline.sum(), 1))


def _brightest(tone: Bytes) -> Floats:
    side = max(-(-max(tone.shape) // _TILES), 4)
    step = max(side // _LOOKS, 1)
    rows, columns = (max(size // side, 1) for size in tone.shape)
    down = np.linspace(0, tone.shape[0], rows + 1).astype(int)
    across = np.linspace(0, tone.shape[1], columns + 1).astype(int)
    return np.array(
        [
            [_upper_decile(tone[top:foot:step, left:right:step]) for left, right in pairwise(across)]
            for top, foot in pairwise(down)
        ]
    )


def _upper_decile(values: Bytes) -> float:
    """``numpy.percentile(values, 90)``, which takes longer to begin than to sort some hundred values."""
    place = 0.9 * (values.size - 1)
    low, high = int(place), min(int(place) + 1, values.size - 1)
    parted = np.partition(values, (low, high), axis=None)
    return float(parted[low]) + (place - low) * (float(parted[high]) - float(parted[low]))


def _basis(rows: int, columns: int) -> Floats:
    y, x = (v.ravel() for v in np.meshgrid(_centred(rows), _centred(columns), indexing="ij"))
    return np.column_stack([np.ones_like(x), x, y, x * x, x * y, y * y])


def _centred(count: int) -> Floats:
    return (np.arange(count) + 0.5) / count * 2 - 1


def _enveloping(basis: Floats, logs: Floats) -> Floats:
    """Coefficients of the surface that the brightest tiles carry."""
    surface = _solved(basis, logs)
    for _ in range(40):
        weight = np.where(logs > basis @ surface, np.sqrt(_ABOVE), 1.0)
        surface = _solved(basis * weight[:, None], logs * weight)
    return surface


def _solved(basis: Floats, values: Floats) -> Floats:
    """Least squares by the normal equations: of six columns from -1 to 1, a tenth of the time of singular values."""
    return np.asarray(np.linalg.lstsq(basis.T @ basis, basis.T @ values, rcond=None)[0], dtype=np.float64)


def _bent(rest: Floats, paper: Mask) -> Floats:
    """What the surface misses, taken from the paper's tiles nearby; nothing where there are none."""
    known = blurred(paper.astype(float), 1.5)
    return np.asarray(blurred(np.where(paper, rest, 0.0), 1.5) / (known + 0.02))


def spread(size: int, count: int) -> np.ndarray[tuple[int, int], np.dtype[np.float32]]:
    """Weights that take values at `count` tiles' centres to `size` pixels, linearly; (size, count)."""
    place = np.clip((np.arange(size) + 0.5) * count / size - 0.5, 0, count - 1)
    low = np.minimum(place.astype(int), max(count - 2, 0))
    weights = np.zeros((size, count), dtype=np.float32)
    weights[np.arange(size), low] = 1 - (place - low)
    weights[np.arange(size), np.minimum(low + 1, count - 1)] += (place - low).astype(np.float32)
    return weights
