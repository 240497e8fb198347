"""The verbs of the interface for scripts: set up, grow or draw a block, check, mend, write it; build a whole print."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from carvegen import geometry
from carvegen.artwork.place import placed
from carvegen.base.errors import InputError
from carvegen.base.parameters import parameters
from carvegen.base.streams import stream
from carvegen.base.words import nearest
from carvegen.blocks.from_drawing import drawn_block
from carvegen.blocks.from_motif import Ground, grown_block, strictest
from carvegen.blocks.job import setups_for
from carvegen.checks import checked
from carvegen.checks.mending import mended_for_all
from carvegen.delivery.block_folder import Style, deliver
from carvegen.facts.profiles import Library
from carvegen.motifs import motif as motif_module

if TYPE_CHECKING:
    from carvegen.base.findings import Report
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Setup
    from carvegen.blocks.views import View
    from carvegen.delivery.block_folder import Delivery
    from carvegen.delivery.print_build import Built
    from carvegen.geometry import PolygonArray

__all__ = ["build", "check", "draw", "grow", "mend", "setups", "write"]


def setups(material: str, cutter: str, *, profiles: Sequence[Path | str] = (), **more: Any) -> tuple[Setup, ...]:  # noqa: ANN401
    """One setup for each kind of machine that the material allows, that of the cutter first.

    Parameters
    ----------
    material, cutter
        Keys of profiles, as `carvegen profiles list` shows them.
    profiles
        Folders with profiles of your own.
    more
        As in `carvegen.blocks.job.setups_for`: `thickness_mm`, `depth_mm`, `grain_deg`, `kinds`, `declared` …

    Raises
    ------
    InputError
        For an unknown profile or a value that can't be used.
    RefusedError
        If the cutter's kind of machine must never meet the material.
    """
    return setups_for(Library(tuple(map(Path, profiles))), material=material, cutter=cutter, **more)


def grow(
    motif: str,
    size_mm: tuple[float, float],
    setups: Sequence[Setup],
    *,
    preset: str = "",
    settings: Mapping[str, float] | None = None,
    seed: int = 1,
    name: str = "sky",
    on: Sequence[str] = (),
    keep_clear: Sequence[str] = (),
    openings: Sequence[str] = (),
    margin_mm: float = 0.0,
    clearance_mm: float = 1.0,
) -> Block:
    """A block with a motif grown on it, wide enough for the strictest of the setups.

    Parameters
    ----------
    motif, preset
        As `carvegen motifs` lists them; without a preset the motif's first.
    size_mm
        Width and height of the face.
    settings
        What differs from the preset, by name, such as ``{"largest_mm": 4}``.
    seed, name
        Both choose the random numbers: the same pair gives the same block.
    on, keep_clear, openings
        What it lies on or grows from, what it stays away from, what is cut through: files or words, such as
        ``"landing.svg width 120"`` or ``"circle 152 88 16"``; mm, print view, y upwards.
    margin_mm, clearance_mm
        The strip along the edge, and the distance from `keep_clear`, that stay free.

    Returns
    -------
    Block
        Its cuts keep the limits by construction.

    Raises
    ------
    InputError
        For an unknown motif or preset, a setting out of its range, a shape that can't be read.
    """
    width, height = size_mm

    def shapes(texts: Sequence[str]) -> PolygonArray:
        return geometry.stack(placed(text, width_mm=width, height_mm=height) for text in texts)

    chosen = _settings(motif, preset, settings or {})
    ground = Ground(
        name=name, width_mm=width, height_mm=height, grow_from=shapes(on), keep_clear=shapes(keep_clear),
        openings=shapes(openings), margin_mm=margin_mm, clearance_mm=clearance_mm,
    )  # fmt: skip
    limits = strictest(setup.limits for setup in setups)
    return grown_block(ground, chosen, limits, stream(seed, name, motif), by=motif)


def _settings(motif: str, preset: str, settings: Mapping[str, float]) -> Any:  # noqa: ANN401
    """The settings of a motif: those of a preset, or of the motif's first, and what differs from them."""
    module = motif_module(motif)
    presets = module.PRESETS
    if preset and preset not in presets:
        raise InputError(f"is no preset of {motif}", value=preset, where="preset", hint=nearest(preset, presets))
    known = {setting.name for setting in parameters(module.Settings)}
    for unknown in settings.keys() - known:
        raise InputError(f"is no setting of {motif}", value=unknown, where="settings", hint=nearest(unknown, known))
    return module.Settings(**{**presets[preset or next(iter(presets))], **settings})


def draw(file: Path | str, size_mm: tuple[float, float] | None = None, *, view: View | None = None) -> Block:
    """A block from a drawing of its cuts (SVG, DXF).

    Parameters
    ----------
    size_mm
        Width and height of the face, if no layer BLOCK EDGE gives them.
    view
        From which side the drawing shows the block; what the file says of itself, by default.

    Raises
    ------
    InputError
        If the file can't be read, or holds nothing to cut.
    """
    return drawn_block(Path(file), size_mm=size_mm, view=view).block


def check(block: Block, setup: Setup) -> Report:
    """All findings of a block in a setup: what breaks a limit, what is a risk, what looks contrived."""
    return checked(setup.on(block))


def mend(block: Block, setups: Sequence[Setup]) -> Block:
    """The block with the smallest changes to its cuts that clear what breaks a limit in any of the setups."""
    jobs, _ = mended_for_all([setup.on(block) for setup in setups], say=lambda _: None)
    return jobs[0].block


def write(block: Block, setups: Sequence[Setup], folder: Path | str) -> Delivery:
    """All files of a block in a folder, or none: a proof, and for each setup its files and note.

    Raises
    ------
    InputError
        If the folder can't be written, or holds files of another origin under the same names.
    """
    return deliver([setup.on(block) for setup in setups], Path(folder), Style(), say=lambda _: None)


def build(print_file: Path | str, folder: Path | str, *, profiles: Sequence[Path | str] = ()) -> Built:
    """A whole print from its file, every block in register; only what has changed is made again.

    Raises
    ------
    InputError
        If something in the print file, a drawing or a profile can't be used, or the folder can't be written.
    RefusedError
        If a block would be dangerous to make.
    """
    from carvegen.delivery.print_build import build_print
    from carvegen.prints.file.print_file import read_print

    library = Library(tuple(map(Path, profiles)))
    return build_print(read_print(Path(print_file), library), Path(folder), library, say=lambda _: None)
