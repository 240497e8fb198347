"""The folder `register` of a built print: what a register error does, as figures and as a picture."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from carvegen.base.colour import lightness
from carvegen.delivery.step_keys import hashed
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
from carvegen.writers.whole_print.templates import block_template, paper_template, template_svg
from carvegen.writers.whole_print.templates_pdf import template_pdf

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.blocks.job import Setup
    from carvegen.prints.file.print_file import Print
    from carvegen.prints.misregister.trials import Outcome

__all__ = ["PURPOSE", "register_files", "register_recipe"]

FOLDER = "register"

#: What its files are for.
PURPOSE = {
    f"{FOLDER}/register.png": "where a white line or an ink on the snow shows when register is off, and how often",
    f"{FOLDER}/register.json": "the same in figures, and the overlap that would hide it",
    f"{FOLDER}/boards.pdf": "template of the boards at 1:1, with stops or pin holes: print at 100 %",
    f"{FOLDER}/boards.svg": "the same on one sheet",
    f"{FOLDER}/sheets.pdf": "template of the sheets of paper at 1:1, and how they lie: print at 100 %",
    f"{FOLDER}/sheets.svg": "the same on one sheet",
}
_LEAST_MM = 0.15  #: bare paper no further than this behind an edge is beside it


def register_recipe(given: Print, ways: Mapping[str, Sequence[Setup]]) -> dict[str, str]:
    """All that goes into these files besides the blocks' shapes and the picture of the print."""
    from carvegen import __version__

    stuff = {block.name: ways[block.name][0].material for block in given.blocks}
    woods = [(block.name, stuff[block.name].key, stuff[block.name].grain, block.grain_deg) for block in given.blocks]
    inks = [(block.name, block.role, block.ink) for block in given.blocks]
    return {
        "carvegen": hashed(__version__),
        "register": hashed(given.register),
        "trap": hashed((given.trap_mm, given.register_error_mm)),
        "seed": hashed(given.seed),
        "size": hashed((given.name, given.width_mm, given.height_mm, given.files.get("paper"))),
        "material": hashed(woods),
        "inks": hashed(inks),
    }


def register_files(
    given: Print,
    ways: Mapping[str, Sequence[Setup]],
    lands: Mapping[str, BaseGeometry],
    printed: bytes,
    notes: Sequence[Mapping[str, Any]] = (),
) -> tuple[dict[str, bytes | str], dict[str, Any]]:
    """The files by name, and the figures; none of these if fewer than two blocks print.

    Parameters
    ----------
    lands
        What each block prints.
    printed
        The picture of the print, PNG.
    notes
        What was told of all blocks, as `Finding.to_dict` says it: of it, where paper is bare unasked.
    """
    blocks, files = _inked(given, ways, lands), _templates(given)
    if len(blocks) < 2:
        return files, {}
    plan, size = given.register, (given.width_mm, given.height_mm)
    overlaps = (given.trap_mm, given.register_error_mm)
    found = outcome(
        blocks,
        plan,
        size,
        seed=given.seed,
        reach_mm=1.3 * max(overlaps) + _LEAST_MM,
        full_mm=(0.9 * overlaps[0], 0.9 * overlaps[1]),
    )
    bare = [its for its in notes if its["rule"] == "bare-paper"]
    told = figures(found, blocks, plan, max(size), overlaps, bare=bare)
    words = [line.strip() + "." * (not line.endswith(".")) for line in register_lines(told)]
    picture = register_png(printed, given.window, (_shown(found, 0), _shown(found, 1)), words)
    text = json.dumps(told, indent=1) + "\n"
    return {f"{FOLDER}/register.png": picture, f"{FOLDER}/register.json": text, **files}, told


def _templates(given: Print) -> dict[str, bytes | str]:
    size, paper = (given.width_mm, given.height_mm), given.files.get("paper", "A4")
    boards = block_template(given.name, given.register, size)
    sheets = paper_template(given.name, given.register, size)
    return {
        f"{FOLDER}/boards.pdf": template_pdf(boards, paper),
        f"{FOLDER}/boards.svg": template_svg(boards),
        f"{FOLDER}/sheets.pdf": template_pdf(sheets, paper),
        f"{FOLDER}/sheets.svg": template_svg(sheets),
    }


def _inked(given: Print, ways: Mapping[str, Sequence[Setup]], lands: Mapping[str, BaseGeometry]) -> tuple[Inked, ...]:
    found = []
    for block in given.blocks:
        if block.ink is not None and block.name in lands:
            material = ways[block.name][0].material
            moves = wood_of(material.key, material.grain)
            found.append(
                Inked(name=block.name, land=lands[block.name], lightness=lightness(block.ink.colour), moves=moves,
                      grain_deg=block.grain_deg)
            )  # fmt: skip
    return tuple(found)


def _shown(found: Outcome, kind: int) -> Shown:
    xy, share, *_ = of_kind(found, kind)
    return Shown(name=KINDS[kind].name, xy=xy, share=share, worst=spots(xy, share))
