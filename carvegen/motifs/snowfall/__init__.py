"""Falling snow: flurries within flurries, in layers from far to near, of flakes of many sizes, round to squarish."""

from __future__ import annotations

from carvegen.motifs.snowfall.falling import grow
from carvegen.motifs.snowfall.settings import PRESETS, Settings

__all__ = ["PRESETS", "Settings", "grow"]
