"""Settings that suit a print's face and drawing: other weather leaves them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from carvegen.motifs import motif

if TYPE_CHECKING:
    from carvegen.prints.file.keys import PrintMotif

__all__ = ["largest_for", "suited", "weather_of"]

_SCENE_MM2 = 200.0 * 150.0  #: the face that flakes are as large for as a weather says: our own choice
_SMALLEST_LARGE_MM = 2.0  #: on the smallest face the largest flakes are still larger than the finest


def largest_for(preset: str, size: tuple[float, float]) -> dict[str, float]:
    """The largest flake of a falling weather on a face of `size`, mm, as a setting; none where it is as it says.

    It goes by the root of the face's area, so a weather whose flakes are smaller than others' keeps that.
    """
    small = math.sqrt(max(0.0, size[0] * size[1]) / _SCENE_MM2)
    if small >= 1:
        return {}
    weather = motif("snowfall").Settings(**motif("snowfall").PRESETS.get(preset, {}))
    return {"largest_mm": max(_SMALLEST_LARGE_MM, round(weather.largest_mm * small, 1))}


def suited(entry: PrintMotif, preset: str, size: tuple[float, float]) -> dict[str, float]:
    """What a motif's other preset is to be with on a face of `size`, mm: what was set for its face and its drawing.

    What hides flakes goes by the drawing. The largest flake is that of the preset, made for the face anew, if it was
    made for the face before.
    """
    if entry.motif != "snowfall":
        return {}
    named: Mapping[str, Any] = motif(entry.motif).PRESETS[preset]
    usual = motif(entry.motif).Settings(**motif(entry.motif).PRESETS.get(entry.preset, {}))
    own = {key: getattr(entry.settings, key) for key in ("hidden", "largest_mm")}
    changed = {key: value for key, value in own.items() if value != getattr(usual, key)}
    result = {"hidden": changed["hidden"]} if "hidden" in changed and "hidden" not in named else {}
    return result | (largest_for(preset, size) if "largest_mm" in changed else {})


def weather_of(entry: PrintMotif, size: tuple[float, float]) -> str | None:
    """Which preset a motif grows by, as it is or as it suits the print; None if more of it was set."""
    module = motif(entry.motif)
    for preset, named in module.PRESETS.items():
        as_named = module.Settings(**named)
        if entry.settings in (as_named, replace(as_named, **suited(entry, preset, size))):
            return preset
    return None
