"""A part of the print with one motif by other settings, as a small picture."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.base.streams import stream
from carvegen.motifs import motif
from carvegen.motifs.growth import Place
from carvegen.writers.whole_print.print_png import Coat, print_png

if TYPE_CHECKING:
    from carvegen.page.table.desk import Desk

__all__ = ["by_hand", "thumbnail"]

_SIZE_MM = (60.0, 45.0)
_PX_PER_MM = 4.0


def thumbnail(desk: Desk, k: int, preset: str) -> bytes:
    """The middle of the print with motif k by one of its presets, all other white as it is; a PNG.

    Raises
    ------
    InputError
        If it has no such preset.
    """
    module = motif(desk.print_.motifs[k].motif)
    if preset not in module.PRESETS:
        raise InputError("must be a preset of this motif", value=preset, hint=f"one of: {', '.join(module.PRESETS)}")
    return _part(desk, k, module.Settings(**module.PRESETS[preset]), preset)


def by_hand(desk: Desk, k: int, changes: Mapping[str, str]) -> bytes:
    """The middle of the print with some numbers of motif k's settings changed, all other white as it is; a PNG.

    Raises
    ------
    InputError
        If it has no such setting, or the number is not allowed.
    """
    before = desk.print_.motifs[k].settings
    numbers = {setting.name: getattr(before, setting.name) for setting in parameters(type(before))}
    changed = dict[str, float]()
    for key, text in changes.items():
        was = numbers.get(key)
        if not isinstance(was, int | float) or isinstance(was, bool):
            raise InputError("must be a setting of this motif that is a number", value=key)
        try:
            changed[key] = int(text) if isinstance(was, int) else float(text)
        except ValueError:
            raise InputError("must be a number", value=text, field=key) from None
    return _part(desk, k, replace(before, **changed), "by hand")


def _part(desk: Desk, k: int, settings: Any, chance: str) -> bytes:  # noqa: ANN401
    entry, bed = desk.print_.motifs[k], desk.bare.beds[k]
    width, height = (min(size, most) for size, most in zip(desk.size, _SIZE_MM, strict=True))
    middle = shapely.Point(desk.size[0] / 2, desk.size[1] / 2)
    about = shapely.centroid(desk.bare.drawing.union(entry.on)) if entry.on else middle
    left = min(max(about.x - width / 2, 0.0), desk.size[0] - width)
    bottom = min(max(about.y - height / 2, 0.0), desk.size[1] - height)
    window = shapely.box(left, bottom, left + width, bottom + height)
    area = geometry.solid(shapely.intersection(bed.place.area, window))
    place = Place(area=area, frame=window, shapes=bed.place.shapes)
    snow = bed.grown(settings, place, stream(bed.seed, "weather", entry.name, chance))
    others = [desk.seen.shape(n) for n in desk.seen.near(window) if desk.seen.like(n)[1] != entry.name]
    white = shapely.union_all([*snow, *others])
    coats = [
        Coat(ink=block.ink, land=geometry.solid(shapely.difference(
            shapely.intersection(desk.bare.pictures[block.name], window), white)))
        for block in desk.print_.blocks if block.ink is not None and block.name in desk.bare.pictures
    ]  # fmt: skip
    frame = (left, bottom, left + width, bottom + height)
    return print_png(desk.print_.paper, coats, frame, px_per_mm=_PX_PER_MM)
