"""Clumps of snow in crowns: where thin twigs cross densely they bear together what none of them would alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from carvegen import geometry
from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.scene import Grid, pieces_of
from carvegen.motifs.snowload.snow_shapes import contoured

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["in_crowns"]

_TANGLE, _TANGLE_MM = 0.25, 1.0  #: a crown is where more of a tangle lies, seen over so much
_BEARS_MM, _ABOVE_MM, _ABOVE = (2.0, 1.6), 1.0, 0.35  #: twigs near below bear, in a box so broad and high; off goes so
#: much of those in such a box above, whose lower side is so high
_SEES = 0.4  #: so much of it lies where no sky is seen, too
_PATCH_MM, _UNEVEN = (2.6, 1.3), 0.7  #: clumps are on average so broad and high, and uneven by so much, as a logarithm
_SOFT_MM = (0.3, 1.0)  #: how soft, up and across
_DENSE, _DEEP_MM, _POWER = 0.30, 7.0, 0.4  #: where more lies than ``_DENSE (_DEEP_MM / fallen_mm) ** _POWER / twigs``,
#: in mm of upper sides for a mm², is a clump;
_DOUBT = 0.85  #: where more than so much of that lies, the carver decides
_LIMB_MM, _SHELTERS_MM = 1.4, 3.0  #: what is as broad stays before the clumps, and so far below it lies none
_LEAST_MM2 = 3.0  #: a smaller one is an egg
_SUNK_MM = 0.6  #: so far above the lower side of the lowest twig a clump begins
_SPANS = 0.25  #: beside twigs it spans so much of the gaps that snow bridges
_WHITE_MM2 = 1.2  #: of what the limbs leave of it


def in_crowns(
    drawn: Mask, tangle: Floats, page: Grid, settings: Settings, *, limits: Limits, sky: Floats,
    share: Callable[[Floats], Floats], rng: Generator,
) -> tuple[PolygonArray, PolygonArray]:  # fmt: skip
    """The clumps that must come out, and those that may: on the densest twigs below open air.

    Parameters
    ----------
    drawn, tangle
        What is drawn, and how much twigs cross there, 0…1; (rows, columns) of the page.
    sky
        The share of the falling snow that comes to every other cell of every other row.
    share
        Of places, mm, (n, 2): how much of it is wanted there, 0…1.
    """
    left, bottom = page.left - page.step / 2, page.bottom - page.step / 2  # every other cell keeps its middle
    coarse = Grid(left, bottom, (page.wide + 1) // 2, (page.high + 1) // 2, 2 * page.step, page.beyond // 2)
    crown = ndimage.gaussian_filter(tangle[::2, ::2], _TANGLE_MM / coarse.step) > _TANGLE
    if settings.twigs == 0 or not crown.any():
        return geometry.empty(), geometry.empty()
    rows, columns = np.nonzero(crown)
    where = np.column_stack([coarse.x[columns], coarse.bottom + (rows + 0.5) * coarse.step])
    uneven = np.exp(_UNEVEN * waves_at(where, rng, patch_mm=_PATCH_MM))
    lies = np.zeros(crown.shape)
    lies[crown] = _bearing(drawn, page)[crown] * (_SEES + (1 - _SEES) * sky[crown]) * uneven * share(where)
    limbs = _opened(drawn[::2, ::2], _LIMB_MM / 2, coarse)
    lies[_under(limbs, int(_SHELTERS_MM / coarse.step))] = 0
    lies = ndimage.gaussian_filter(lies, np.array(_SOFT_MM) / coarse.step)
    dense = _DENSE * (_DEEP_MM / settings.fallen_mm) ** _POWER / settings.twigs
    bears = _bears(drawn[::2, ::2], settings.bridging_mm, coarse)
    must, may = (_clumps(_on(lies > dense * times, bears), limbs, coarse, limits) for times in (1.0, _DOUBT))
    return must, may


def _bearing(drawn: Mask, page: Grid) -> Floats:
    """Upper sides of twigs a little below every other cell, less those above, mm for a mm²: upright twigs have none."""
    across, down = (max(int(length / page.step), 1) for length in _BEARS_MM)
    sides = np.zeros(drawn.shape, dtype=np.float32)
    sides[:-1] = drawn[:-1] & ~drawn[1:]
    density = ndimage.uniform_filter(sides / page.step, (down, across), mode="constant")
    below, above = down // 2, int((_BEARS_MM[1] / 2 + _ABOVE_MM) / page.step)
    under, over = np.zeros_like(density), np.zeros_like(density)
    under[below:], over[: len(over) - above] = density[: len(density) - below], density[above:]
    return np.asarray((under - _ABOVE * over)[::2, ::2])


def _under(mask: Mask, rows: int) -> Mask:
    """The cells of a mask, and those so many rows below each."""
    high = np.where(mask, np.arange(len(mask))[:, None], np.inf)
    return np.asarray(np.minimum.accumulate(high[::-1], axis=0)[::-1] - np.arange(len(mask))[:, None] <= rows)


def _clumps(lies: Mask, limbs: Mask, page: Grid, limits: Limits) -> PolygonArray:
    """What lies, as clumps that can be cut and that limbs part."""
    white = _opened(lies, limits.cut_mm, page)
    white = _large(white, _LEAST_MM2, page)
    white = _large(_opened(white & ~limbs, limits.cut_mm, page), _WHITE_MM2, page)
    return contoured(white.astype(np.float64), page, least_mm2=_WHITE_MM2)


def _bears(twigs: Mask, bridging_mm: float, page: Grid) -> Mask:
    """Where twigs bear a clump: but for their lower side, and a little to both sides, as snow bridges gaps."""
    sunk = max(round(_SUNK_MM / page.step), 1)
    bears = twigs.copy()
    bears[sunk:] &= twigs[:-sunk]
    return np.asarray(ndimage.maximum_filter1d(bears, 2 * int(_SPANS * bridging_mm / page.step) + 1, axis=1))


def _on(white: Mask, bears: Mask) -> Mask:
    """What of the white does not hang in the air: in each upright run of it nothing lies below what bears it."""
    rows = np.arange(len(white))[:, None]
    low, bottom = (np.maximum.accumulate(np.where(of, rows, -1), axis=0) for of in (bears, ~white))
    return np.asarray(white & (low > bottom))


def _large(white: Mask, least_mm2: float, page: Grid) -> Mask:
    label, area_mm2 = pieces_of(white, page.step)
    return np.asarray(white & (area_mm2 > least_mm2)[label])


def _opened(mask: Mask, radius_mm: float, page: Grid) -> Mask:
    """What discs of a radius cover that lie in the mask."""
    reach = int(radius_mm / page.step)
    away = np.hypot(*np.mgrid[-reach : reach + 1, -reach : reach + 1])
    return np.asarray(ndimage.binary_opening(mask, away * page.step <= radius_mm))
