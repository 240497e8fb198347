"""Frost: feathers and needles of ice that grow from an edge or an outline."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.motifs.frost.settings import PRESETS, Settings

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.motifs.growth import Growth, Place

__all__ = ["PRESETS", "Settings", "grow"]


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """As `frost.growing.grow` tells; it is imported when something grows, not when settings are asked for."""
    from carvegen.motifs.frost import growing

    return growing.grow(settings, place, limits, rng)
