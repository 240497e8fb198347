"""All that the page shows of a print besides its shapes: words, numbers, a part of it in other weather."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.base.colour import hex_of
from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.base.streams import stream
from carvegen.marking.applying import reach_mm
from carvegen.marking.ends import habit_of
from carvegen.marking.marks import Meaning
from carvegen.motifs import motif
from carvegen.motifs.growth import Place
from carvegen.page.packed import step_for
from carvegen.page.table import own_marks
from carvegen.page.words import MEANINGS
from carvegen.writers.whole_print.print_png import Coat, print_png

if TYPE_CHECKING:
    from carvegen.base.parameters import Parameter
    from carvegen.page.table.desk import Desk
    from carvegen.prints.file.print_file import PrintBlock, PrintMotif

__all__ = ["by_hand", "state_of", "thumbnail"]


def state_of(desk: Desk) -> dict[str, Any]:
    """The print as the page is told of it."""
    print_, bare = desk.print_, desk.bare
    own = {id(mark) for mark in desk.marks.own}
    return {
        "version": desk.version, "name": print_.name, "folder": print_.path.parent.name, "file": print_.path.name,
        "size": [print_.width_mm, print_.height_mm], "window": list(print_.window), "step": step_for(desk.size),
        "paper": hex_of(print_.paper), "register_error_mm": print_.register_error_mm,
        "blocks": [_block(desk, block) for block in print_.blocks],
        "motifs": [_motif(desk, k, motif) for k, motif in enumerate(print_.motifs)],
        "marks": [own_marks.told(mark, fixed=id(mark) not in own) for mark in desk.marks.every],
        "meanings": [
            {"key": str(its), "label": str(its), "help": about, "graded": its.graded, "bare": its is Meaning.COMES_OUT}
            for its, about in MEANINGS.items()
        ],
        "land_mm": max((bed.limits.land_mm for bed in bare.beds), default=0.0),
        "flake_mm": max((habit_of(bed.motif, bed.settings).flake_mm for bed in bare.beds), default=0.0),
        "reach_mm": max((reach_mm(bed.motif, bed.settings, bed.limits) for bed in bare.beds), default=0.0),
        "notes": list(bare.notes),
    }  # fmt: skip


def _block(desk: Desk, block: PrintBlock) -> dict[str, Any]:
    setups = desk.setups[block.name]
    return {
        "name": block.name, "ink": hex_of(block.ink.colour) if block.ink else None,
        "opacity": block.ink.opacity if block.ink else None, "ink_name": block.name, "role": block.role,
        "prints": block.inked, "turned": block.role != "stencil", "state": block.state,
        "material": desk.shelf.material(block.material).name, "machines": [str(setup.machine.name) for setup in setups],
    }  # fmt: skip


def _motif(desk: Desk, k: int, entry: PrintMotif) -> dict[str, Any]:
    module = motif(entry.motif)
    white = desk.ground.whites[len(desk.ground.whites) - len(desk.print_.motifs) + k]
    return {
        "name": entry.name, "kept": bool(entry.kept),
        "blocks": [block.name for block in desk.print_.blocks if block.name in white.leaves],
        "presets": list(module.PRESETS),
        "preset": next((key for key, own in module.PRESETS.items() if module.Settings(**own) == entry.settings), None),
        "settings": [_setting(spec, getattr(entry.settings, spec.name)) for spec in parameters(module.Settings)],
    }  # fmt: skip


def _setting(setting: Parameter, value: object) -> dict[str, Any]:
    label = setting.name.removesuffix("_mm").removesuffix("_deg").replace("_", " ")
    return {
        "key": setting.name, "label": label, "help": setting.help, "kind": setting.unit,
        "unit": setting.unit if setting.unit in ("mm", "deg") else "", "least": setting.at_least,
        "most": setting.at_most, "value": list(value) if isinstance(value, tuple) else value,
    }  # fmt: skip


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


def by_hand(desk: Desk, k: int, said: Mapping[str, str]) -> bytes:
    """The middle of the print with some numbers of motif k's settings changed, all other white as it is; a PNG.

    Raises
    ------
    InputError
        If it has no such setting, or the number is not allowed.
    """
    before = desk.print_.motifs[k].settings
    numbers = {setting.name: getattr(before, setting.name) for setting in parameters(type(before))}
    changed = dict[str, float]()
    for key, text in said.items():
        was = numbers.get(key)
        if not isinstance(was, int | float) or isinstance(was, bool):
            raise InputError("must be a setting of this motif that is a number", value=key)
        try:
            changed[key] = int(text) if isinstance(was, int) else float(text)
        except ValueError:
            raise InputError("must be a number", value=text, field=key) from None
    return _part(desk, k, replace(before, **changed), "by hand")


def _part(desk: Desk, k: int, settings: Any, chance: str) -> bytes:  # noqa: ANN401
    its, bed = desk.print_.motifs[k], desk.bare.beds[k]
    width, height = (min(size, most) for size, most in zip(desk.size, _SIZE_MM, strict=True))
    middle = shapely.Point(desk.size[0] / 2, desk.size[1] / 2)
    about = shapely.centroid(desk.bare.drawing.union(its.on)) if its.on else middle
    left = min(max(about.x - width / 2, 0.0), desk.size[0] - width)
    bottom = min(max(about.y - height / 2, 0.0), desk.size[1] - height)
    window = shapely.box(left, bottom, left + width, bottom + height)
    area = geometry.solid(shapely.intersection(bed.place.area, window))
    place = Place(area=area, frame=window, shapes=bed.place.shapes)
    snow = bed.grown(settings, place, stream(bed.seed, "weather", its.name, chance))
    others = [desk.seen.shape(n) for n in desk.seen.near(window) if desk.seen.like(n)[1] != its.name]
    white = shapely.union_all([*snow, *others])
    coats = [
        Coat(ink=block.ink, land=geometry.solid(shapely.difference(
            shapely.intersection(desk.bare.pictures[block.name], window), white)))
        for block in desk.print_.blocks if block.ink is not None and block.name in desk.bare.pictures
    ]  # fmt: skip
    frame = (left, bottom, left + width, bottom + height)
    return print_png(desk.print_.paper, coats, frame, px_per_mm=_PX_PER_MM)
