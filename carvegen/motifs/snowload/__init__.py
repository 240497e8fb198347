"""Snow that lies on what is drawn: trees, roofs, posts, ropes, ground."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.motifs.snowload.settings import PRESETS, Settings

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.motifs.growth import Growth, Place

__all__ = ["PRESETS", "Settings", "before_shore", "grow"]


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """As `snowload.growing.grow` tells; it is imported when something grows, not when settings are asked for."""
    from carvegen.motifs.snowload import growing

    return growing.grow(settings, place, limits, rng)


def before_shore(settings: Settings, place: Place) -> BaseGeometry:
    """As `snowload.growing.before_shore` tells; imported as late."""
    from carvegen.motifs.snowload import growing

    return growing.before_shore(settings, place)
