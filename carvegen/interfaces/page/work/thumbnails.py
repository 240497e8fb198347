"""A part of the print with one motif by other settings, as a small picture."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.base.streams import stream
from carvegen.motifs import motif
from carvegen.prints.file.editing import NO_WEATHER
from carvegen.prints.file.suited import suited
from carvegen.writers.whole_print.print_png import Coat, print_png

if TYPE_CHECKING:
    from shapely import Point

    from carvegen.geometry import PolygonArray
    from carvegen.interfaces.page.table.desk import Desk

__all__ = ["by_hand", "thumbnail"]

AtDesk = Callable[[], AbstractContextManager["Desk"]]

_SIZE_MM = (60.0, 45.0)
_LYING_MM = (28.0, 21.0)  #: of snow that lies: its depth differs by parts of a millimetre
_GROWS_MM = (240.0, 180.0)  #: round it snow grows, on a small face all of it: that bounds what a picture costs; our own
_PX_WIDE = 240


def thumbnail(at_desk: AtDesk, name: str, preset: str) -> bytes:
    """A part of the print with a motif by one of its presets, or with none of it, all other white as it is; a PNG.

    Each preset is grown as the print would grow it: on the whole face, or so much of a large one as a picture may
    cost. On a part alone, boards that go on past its sides would be ground, and the share that is asked would fall on
    what of the sky happens to be there.

    Parameters
    ----------
    at_desk
        The desk, held still: it is held only to be read, not while the motif grows.

    Raises
    ------
    InputError
        If it has no such preset.
    """
    with at_desk() as desk:
        entry, size = desk.print_.motifs[desk.motif_called(name)], desk.size
    module = motif(entry.motif)
    if preset == NO_WEATHER:
        return _part(at_desk, name, None)
    if preset not in module.PRESETS:
        raise InputError("must be a preset of this motif", value=preset, hint=f"one of: {', '.join(module.PRESETS)}")
    return _part(at_desk, name, module.Settings(**{**module.PRESETS[preset], **suited(entry, preset, size)}))


def by_hand(at_desk: AtDesk, name: str, changes: Mapping[str, str]) -> bytes:
    """A part of the print with some numbers of a motif's settings changed, all other white as it is; a PNG.

    Raises
    ------
    InputError
        If it has no such setting, or the number is not allowed.
    """
    with at_desk() as desk:
        before = desk.print_.motifs[desk.motif_called(name)].settings
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
    return _part(at_desk, name, replace(before, **changed))


def _part(at_desk: AtDesk, name: str, settings: Any) -> bytes:  # noqa: ANN401
    """The picture of a motif by these settings; None for none of it."""
    with at_desk() as desk:
        frame = _frame(desk, name)
        window = shapely.box(*frame)
        others = [desk.seen.shape(n) for n in desk.seen.near(window) if desk.seen.like(n)[1] != name]
        bed, print_, pictures = desk.bare.beds[desk.motif_called(name)], desk.print_, desk.bare.pictures
        entry, size = print_.motifs[desk.motif_called(name)], desk.size
    place, middle = bed.place, shapely.centroid(window)
    if any(side > most for side, most in zip(size, _GROWS_MM, strict=True)):
        wide = shapely.box(*_about(middle, _GROWS_MM, size))
        place = replace(place, area=geometry.solid(shapely.intersection(place.area, wide)), frame=wide)
    grows = settings is not None
    snow = bed.grown(settings, place, stream(bed.seed, "print", entry.motif, str(entry.nth))) if grows else ()
    white = shapely.union_all([*snow, *others])
    coats = [
        Coat(ink=block.ink, land=geometry.solid(shapely.difference(
            shapely.intersection(pictures[block.name], window), white)))
        for block in print_.blocks if block.ink is not None and block.name in pictures
    ]  # fmt: skip
    return print_png(print_.paper, coats, frame, px_per_mm=_PX_WIDE / (frame[2] - frame[0]))


def _frame(desk: Desk, name: str) -> tuple[float, float, float, float]:
    """Left, bottom, right, top of what is shown, mm: where most snow lies on what it lies on, or about the middle."""
    k = desk.motif_called(name)
    entry = desk.print_.motifs[k]
    heaps = geometry.polygon_array(desk.stock.shapes[n] for n in desk.shapes_of(k)) if entry.on else geometry.empty()
    most_mm = _LYING_MM if len(heaps) else _SIZE_MM
    width, height = (min(size, most) for size, most in zip(desk.size, most_mm, strict=True))
    about = shapely.Point(desk.size[0] / 2, desk.size[1] / 2)
    if len(heaps):
        about = _where_most(heaps, width, height)
    elif entry.on:
        about = shapely.centroid(desk.bare.drawing.union(entry.on))
    return _about(about, (width, height), desk.size)


def _about(middle: Point, most: tuple[float, float], size: tuple[float, float]) -> tuple[float, float, float, float]:
    """A rectangle about a place, as large as it may be and as lies on a face of that size."""
    width, height = (min(side, large) for side, large in zip(size, most, strict=True))
    left = min(max(middle.x - width / 2, 0.0), size[0] - width)
    bottom = min(max(middle.y - height / 2, 0.0), size[1] - height)
    return left, bottom, left + width, bottom + height


def _where_most(heaps: PolygonArray, width: float, height: float) -> Point:
    """The middle of a window of that size in which heaps show most of their outlines: there their depth is seen."""
    middles: Any = shapely.centroid(heaps)
    x, y = shapely.get_coordinates(middles).T
    windows = shapely.box(x - width / 2, y - height / 2, x + width / 2, y + height / 2)
    at, of = shapely.STRtree(heaps).query(windows, predicate="intersects")
    lengths = shapely.length(shapely.intersection(shapely.boundary(heaps[of]), windows[at]))
    best: Point = middles[int(np.argmax(np.bincount(at, weights=lengths, minlength=len(heaps))))]
    return best
