"""Settings that suit a print's face and drawing: other weather leaves them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from carvegen.motifs import motif
from carvegen.prints.file.editing import NO_WEATHER

if TYPE_CHECKING:
    from carvegen.prints.file.keys import PrintMotif

__all__ = ["NEW_SNOWFALL", "largest_for", "suited", "weather_of"]

NEW_SNOWFALL: Mapping[str, float] = {"hidden": 0.0}  #: how flakes lie before and behind drawn things in a new print
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
    made for the face before; one that was set otherwise stays, and no smaller than the smallest.
    """
    if entry.motif != "snowfall":
        return {}
    named: Mapping[str, Any] = motif(entry.motif).PRESETS[preset]
    usual = motif(entry.motif).Settings(**motif(entry.motif).PRESETS.get(entry.preset, {}))
    result: dict[str, float] = {}
    if entry.settings.hidden != usual.hidden and "hidden" not in named:
        result["hidden"] = entry.settings.hidden
    largest = entry.settings.largest_mm
    if largest == largest_for(entry.preset, size).get("largest_mm"):
        result |= largest_for(preset, size)
    elif largest != usual.largest_mm:
        result["largest_mm"] = max(largest, motif(entry.motif).Settings(**named).smallest_mm)
    return result


def weather_of(entry: PrintMotif, size: tuple[float, float]) -> str | None:
    """Which preset a motif grows by, as it is or as a new print begins with it; None if more of it was set.

    `NO_WEATHER` of one that does not grow.
    """
    if not (entry.grows or entry.kept):
        return NO_WEATHER
    module = motif(entry.motif)
    for preset, named in module.PRESETS.items():
        made = [NEW_SNOWFALL, largest_for(preset, size)] if entry.motif == "snowfall" else []
        more = [dict(named)]
        for each in made:
            more += [{**one, **each} for one in more]
        if entry.settings in [module.Settings(**one) for one in more]:
            return preset
    return None
