"""Falling snow: flurries within flurries, in layers from far to near, of flakes of many sizes, round to squarish."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.motifs.snowfall.settings import PRESETS, Settings

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.motifs.growth import Growth, Place

__all__ = ["PRESETS", "Settings", "grow"]


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """As `snowfall.falling.grow` tells; it is imported when something grows, not when settings are asked for."""
    from carvegen.motifs.snowfall import falling

    return falling.grow(settings, place, limits, rng)
