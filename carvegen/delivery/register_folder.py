"""The folder `register` of a built print: what a register error does, as figures and as a picture."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from carvegen.base.colour import lightness
from carvegen.facts.register import wood_of
from carvegen.prints.misregister.block_placement import Inked
from carvegen.prints.misregister.figures import (
    KINDS,
    figures,
    of_kind,
    register_lines,
    spots,
)
from carvegen.prints.misregister.trials import outcome
from carvegen.writers.whole_print.register_png import Shown, register_png
from carvegen.writers.whole_print.templates import block_template, paper_template, template_pdf, template_svg

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.findings import Finding
    from carvegen.facts.register import RegisterPlan
    from carvegen.prints.cut_blocks import Setups
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.misregister.trials import TrialOutcome
    from carvegen.writers.whole_print.print_png import Window

__all__ = ["FIGURES", "PURPOSE", "RegisterInputs", "register_files", "register_inputs", "register_trials"]

FOLDER = "register"
FIGURES = f"{FOLDER}/register.json"

#: What its files are for.
PURPOSE = {
    f"{FOLDER}/register.png": "where a white line or an ink on the snow shows when register is off, and how often",
    FIGURES: "the same in figures, and the overlap that would hide it",
    f"{FOLDER}/boards.pdf": "template of the boards at 1:1, with stops or pin holes: print at 100 %",
    f"{FOLDER}/boards.svg": "the same on one sheet",
    f"{FOLDER}/sheets.pdf": "template of the sheets of paper at 1:1, and how they lie: print at 100 %",
    f"{FOLDER}/sheets.svg": "the same on one sheet",
}
_LEAST_MM = 0.15  #: bare paper no further than this behind an edge is beside it


@dataclass(frozen=True, kw_only=True, eq=False)
class RegisterInputs:
    """All that the folder is made of."""

    name: str  #: of the print
    width_mm: float
    height_mm: float
    window: Window  #: what of it the paper shows
    sheet: str  #: on which the templates are printed, such as "A4"
    seed: int
    trap_mm: float
    register_error_mm: float
    register: RegisterPlan
    blocks: tuple[Inked, ...]
    picture_of_the_print: str  #: the key of the step that draws it
    bare: tuple[Mapping[str, Any], ...]  #: findings of paper that is bare unasked, as `Finding.to_dict` says them

    @property
    def size(self) -> tuple[float, float]:
        """Width and height of the face, mm."""
        return self.width_mm, self.height_mm

    @property
    def overlaps_mm(self) -> tuple[float, float]:
        """Between inks, and along the snow."""
        return self.trap_mm, self.register_error_mm


def register_inputs(
    print_: Print, setups: Setups, lands: Mapping[str, BaseGeometry], picture: str, notes: Iterable[Finding]
) -> RegisterInputs:
    """What the folder is made of.

    Parameters
    ----------
    lands
        What each block prints.
    picture
        The key of the step that draws the picture of the print.
    notes
        What was told of all blocks: of it, where paper is bare unasked.
    """
    return RegisterInputs(
        name=print_.name, width_mm=print_.width_mm, height_mm=print_.height_mm, window=print_.window,
        sheet=print_.files.get("paper", "A4"), seed=print_.seed, trap_mm=print_.trap_mm,
        register_error_mm=print_.register_error_mm, register=print_.register, blocks=_inked(print_, setups, lands),
        picture_of_the_print=picture, bare=tuple(note.to_dict() for note in notes if note.rule == "bare-paper"),
    )  # fmt: skip


def register_trials(inputs: RegisterInputs) -> TrialOutcome | None:
    """What becomes of many prints; None if fewer than two blocks print."""
    if len(inputs.blocks) < 2:
        return None
    trap_mm, error_mm = inputs.overlaps_mm
    return outcome(
        inputs.blocks,
        inputs.register,
        inputs.size,
        seed=inputs.seed,
        reach_mm=1.3 * max(inputs.overlaps_mm) + _LEAST_MM,
        full_mm=(0.9 * trap_mm, 0.9 * error_mm),
    )


def register_files(
    inputs: RegisterInputs, trials: TrialOutcome | None, printed: bytes
) -> tuple[dict[str, bytes | str], dict[str, Any]]:
    """The files by name, and the figures; none of these, and templates alone, if nothing was tried.

    Parameters
    ----------
    printed
        The picture of the print, PNG.
    """
    files = _templates(inputs)
    if trials is None:
        return files, {}
    record = figures(trials, inputs.blocks, inputs.register, max(inputs.size), inputs.overlaps_mm, bare=inputs.bare)
    words = [line.strip() + "." * (not line.endswith(".")) for line in register_lines(record)]
    picture = register_png(printed, inputs.window, (_shown(trials, 0), _shown(trials, 1)), words)
    text = json.dumps(record, indent=1) + "\n"
    return {f"{FOLDER}/register.png": picture, FIGURES: text, **files}, record


def _templates(inputs: RegisterInputs) -> dict[str, bytes | str]:
    boards = block_template(inputs.name, inputs.register, inputs.size)
    sheets = paper_template(inputs.name, inputs.register, inputs.size)
    return {
        f"{FOLDER}/boards.pdf": template_pdf(boards, inputs.sheet),
        f"{FOLDER}/boards.svg": template_svg(boards),
        f"{FOLDER}/sheets.pdf": template_pdf(sheets, inputs.sheet),
        f"{FOLDER}/sheets.svg": template_svg(sheets),
    }


def _inked(print_: Print, setups: Setups, lands: Mapping[str, BaseGeometry]) -> tuple[Inked, ...]:
    inked = []
    for block in print_.blocks:
        if block.ink is not None and block.name in lands:
            material = setups[block.name][0].material
            moves = wood_of(material.key, material.grain)
            inked.append(
                Inked(name=block.name, land=lands[block.name], lightness=lightness(block.ink.colour), moves=moves,
                      grain_deg=block.grain_deg)
            )  # fmt: skip
    return tuple(inked)


def _shown(trials: TrialOutcome, kind: int) -> Shown:
    xy, share, *_ = of_kind(trials, kind)
    return Shown(name=KINDS[kind].name, xy=xy, share=share, worst=spots(xy, share))
