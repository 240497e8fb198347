"""What the page is told of a print besides its shapes: its blocks, motifs, marks and figures as plain values."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from carvegen.base.colour import hex_of
from carvegen.base.parameters import parameters
from carvegen.base.words import shortened
from carvegen.interfaces.page.packed import step_for
from carvegen.interfaces.page.table import own_marks
from carvegen.interfaces.page.table.locked import locked_with
from carvegen.interfaces.page.wording import IN_SHORT, MEANINGS, recut_words
from carvegen.marking.applying import reach_mm
from carvegen.marking.ends import habit_of
from carvegen.marking.marks import Meaning
from carvegen.motifs import motif
from carvegen.prints.file.editing import NO_WEATHER
from carvegen.prints.file.suited import weather_of

if TYPE_CHECKING:
    from carvegen.base.parameters import Parameter
    from carvegen.interfaces.page.table.desk import Desk
    from carvegen.interfaces.page.table.locked import Recut
    from carvegen.prints.file.print_file import PrintBlock, PrintMotif

__all__ = ["recut_entry", "state_of"]

_NAMED, _NAME = 3, 30  #: layers that a motif's label names, and how many letters of each


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
        "marks": [own_marks.mark_entry(mark, fixed=id(mark) not in own) for mark in desk.marks.every],
        "meanings": [
            {
                "key": str(meaning), "short": IN_SHORT[meaning], "help": about, "graded": meaning.graded,
                "bare": meaning is Meaning.COMES_OUT,
            }
            for meaning, about in MEANINGS.items()
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
        "cut_with": [f"{setup.machine.name}: {setup.cutter.name}" for setup in setups],
        "cut_by": {"material": block.material, "cutter": block.cutter, "for": [setup.machine.kind for setup in setups]},
    }  # fmt: skip


def _motif(desk: Desk, k: int, entry: PrintMotif) -> dict[str, Any]:
    module = motif(entry.motif)
    preset = weather_of(entry, desk.size)
    white = desk.ground.whites[len(desk.ground.whites) - len(desk.print_.motifs) + k]
    return {
        "name": entry.name, "called": entry.called, "kept": bool(entry.kept), "about": _about(entry, preset),
        "locks": [desk.print_.motifs[j].name for j in locked_with(desk.print_, [k])],
        "blocks": [block.name for block in desk.print_.blocks if block.name in white.leaves],
        "presets": [*module.PRESETS, NO_WEATHER], "preset": preset,
        "settings": [
            _setting(setting, getattr(entry.settings, setting.name)) for setting in parameters(module.Settings)
        ],
    }  # fmt: skip


def _about(entry: PrintMotif, preset: str | None) -> str:
    """What tells a motif from others of its kind: the layers that it lies on, and its weather."""
    layers = ", ".join(shortened(name, _NAME) for name in entry.on[:_NAMED])
    more = f" and {len(entry.on) - _NAMED} more" if len(entry.on) > _NAMED else ""
    lies = "lying on" if entry.motif == "snowload" else "on"
    return ", ".join(filter(None, [layers and f"{lies} {layers}{more}", preset]))


def _setting(setting: Parameter, value: object) -> dict[str, Any]:
    label = setting.name.removesuffix("_mm").removesuffix("_deg").replace("_", " ")
    return {
        "key": setting.name, "label": label, "help": setting.help, "kind": setting.unit,
        "unit": setting.unit if setting.unit in ("mm", "deg") else "", "least": setting.at_least,
        "most": setting.at_most, "value": list(value) if isinstance(value, tuple) else value,
    }  # fmt: skip


def recut_entry(done: Recut) -> dict[str, Any] | None:
    """What became of locked snow when others came to cut it: in words, and where; None if nothing is locked."""
    if not (done.kept or done.mended or len(done.gone) or len(done.new)):
        return None
    lots = {"mended": done.changed, "gone": done.gone, "new": done.new}
    return {
        "say": recut_words(done.kept, done.mended, len(done.gone), len(done.new)),
        "shapes": [{"how": how, "rings": own_marks.rings_of(shape)} for how, lot in lots.items() for shape in lot],
    }  # fmt: skip
