"""All that the page knows of a print besides its shapes, in words and numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from carvegen.base.colour import hex_of
from carvegen.base.parameters import parameters
from carvegen.marking.applying import reach_mm
from carvegen.marking.ends import habit_of
from carvegen.marking.marks import Meaning
from carvegen.motifs import motif
from carvegen.page.packed import step_for
from carvegen.page.table import own_marks
from carvegen.page.words import MEANINGS, motif_words

if TYPE_CHECKING:
    from carvegen.base.parameters import Parameter
    from carvegen.page.table.desk import Desk
    from carvegen.prints.file.print_file import PrintBlock, PrintMotif

__all__ = ["state_of"]


def state_of(desk: Desk) -> dict[str, Any]:
    """The print as the page is told of it."""
    given, bare = desk.given, desk.bare
    own = {id(mark) for mark in desk.marks.own}
    return {
        "version": desk.version, "name": given.name, "folder": given.path.parent.name, "file": given.path.name,
        "size": [given.width_mm, given.height_mm], "window": list(given.window), "step": step_for(desk.size),
        "paper": hex_of(given.paper), "register_error_mm": given.register_error_mm,
        "blocks": [_block(desk, block) for block in given.blocks],
        "motifs": [_motif(desk, k, its) for k, its in enumerate(given.motifs)],
        "marks": [own_marks.told(mark, fixed=id(mark) not in own) for mark in desk.marks.every],
        "meanings": [
            {"key": str(its), "label": label, "help": about, "graded": its.graded, "bare": its is Meaning.COMES_OUT}
            for its, (label, about) in MEANINGS.items()
        ],
        "land_mm": max((bed.limits.land_mm for bed in bare.beds), default=0.0),
        "flake_mm": max((habit_of(bed.motif, bed.settings).flake_mm for bed in bare.beds), default=0.0),
        "reach_mm": max((reach_mm(bed.motif, bed.settings, bed.limits) for bed in bare.beds), default=0.0),
        "notes": list(bare.notes),
    }  # fmt: skip


def _block(desk: Desk, block: PrintBlock) -> dict[str, Any]:
    ways = desk.ways[block.name]
    return {
        "name": block.name, "ink": hex_of(block.ink.colour) if block.ink else None,
        "opacity": block.ink.opacity if block.ink else None, "ink_name": block.name, "role": block.role,
        "prints": block.inked, "turned": block.role != "stencil", "state": block.state,
        "material": desk.shelf.material(block.material).name, "machines": [str(way.machine.name) for way in ways],
    }  # fmt: skip


def _motif(desk: Desk, k: int, its: PrintMotif) -> dict[str, Any]:
    module = motif(its.motif)
    white = desk.ground.whites[len(desk.ground.whites) - len(desk.given.motifs) + k]
    return {
        "name": its.name, "label": motif_words(its.name), "kept": bool(its.kept),
        "blocks": [block.name for block in desk.given.blocks if block.name in white.leaves],
        "presets": list(module.PRESETS),
        "preset": next((key for key, own in module.PRESETS.items() if module.Settings(**own) == its.settings), None),
        "settings": [_setting(spec, getattr(its.settings, spec.name)) for spec in parameters(module.Settings)],
    }  # fmt: skip


def _setting(its: Parameter, value: object) -> dict[str, Any]:
    label = its.name.removesuffix("_mm").removesuffix("_deg").replace("_", " ")
    return {
        "key": its.name, "label": label, "help": its.help, "kind": its.unit,
        "unit": its.unit if its.unit in ("mm", "deg") else "", "least": its.at_least, "most": its.at_most,
        "value": list(value) if isinstance(value, tuple) else value,
    }  # fmt: skip
