"""Photographs of what was cut, proofed or coloured: laid on the plan, or read as marks; what is said of each."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import shapely

from carvegen import geometry
from carvegen.artwork.on_plan import LaidError, PoorFitError
from carvegen.artwork.scan import corners_from
from carvegen.base.colour import hex_of
from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.blocks.comparison import SCAN_TOLERANCE_MM, DifferenceKind, difference, in_order, land_in, lands_in, spots
from carvegen.blocks.views import View
from carvegen.delivery.first_proof import first_proof
from carvegen.interfaces.page.beginning import finite
from carvegen.interfaces.page.work.processes import BUILT
from carvegen.marking.marks import Mark, Meaning
from carvegen.marking.pencil.layout import MarkingSheet
from carvegen.marking.pencil.sheet_reading import read_sheets
from carvegen.writers.whole_print.compare_png import compare_png
from carvegen.writers.whole_print.marks_read import marks_png
from carvegen.writers.whole_print.ringed_png import RING_LEGEND

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.blocks.comparison import Difference, DifferentPlace
    from carvegen.prints.file.print_file import Print

__all__ = ["DRAWN", "MARKED", "compared", "read_coloured"]

_PICTURE, _SHEET = "on-plan.png", "still-to-cut.pdf"
#: What is drawn of comparisons; each photograph has names of its own, for two windows may compare at once.
DRAWN = re.compile(r"upload-\d+-(on-plan\.png|still-to-cut(-[^/\\.]+)?\.pdf)")


def compared(print_: Print, seen: Path, wish: Mapping[str, Any], out: Path) -> tuple[tuple[Mark, ...], dict[str, Any]]:
    """A picture laid on the plan as it is built: its sentences, and what was drawn of it in the folder `out`.

    The marks are those by which the plan would follow what is gone.

    It is laid by the drawing itself, from the corners on where these are said; by the corners alone if too little is
    drawn to tell its place. Where it can't be laid, `fault` says why, and the corners are asked for.

    Parameters
    ----------
    wish
        `block`, its name, or "" for a print of all inks; `corners`, eight numbers in pixels, or none; `view` "print" or
        "block", for a picture that is laid by its corners alone.

    Raises
    ------
    InputError
        If the print is not built, or the block is not in it.
    """
    plan, name = print_.path.parent / BUILT, wish.get("block")
    lands = lands_in(plan)
    if name and (not isinstance(name, str) or name not in lands):
        raise InputError("must be a block that is built", value=name, hint=f"one of: {', '.join(lands)}; build first")
    asked: dict[str, Any] = {"block": name or None, "corners": None, "dpi": None, "view": None, "tolerance": None}
    corners = wish.get("corners")
    if corners is not None:
        asked["corners"] = _corners(corners)
    if not name:
        inked = {block.name: block.ink for block in print_.blocks if block.inked and block.ink is not None}
        asked |= {"inks": tuple(inked), "coats": tuple(inked.values()), "paper": print_.paper}
    picture, sheet = (out / f"{seen.stem}-{file}" for file in (_PICTURE, _SHEET))
    try:
        proof = first_proof(plan, seen, picture, sheet, asked)
    except PoorFitError as error:
        return (), {"fault": f"It does not fit the plan: {error.laid.fit.fault}.", "sheets": []}
    except LaidError as error:
        return (), {"fault": f"It {error.message}: choose the block that it shows.", "sheets": []}
    if proof is not None:
        lines = [line for line in proof.lines() if str(sheet.parent) not in line]
        blocks = zip(proof.names, proof.sheets, strict=True)
        to_cut = {spot.block for spot in proof.spots if spot.kind.stands}
        sheets = [{"block": block, "file": path.name} for block, path in blocks if block in to_cut]
        legend = [{"colour": hex_of(colour), "words": words} for colour, words in RING_LEGEND]
        told = {"fault": "", "lines": lines, "sheets": sheets, "picture": picture.name, "legend": legend}
        return _following(proof.sure_spots), told  # what may be a glove, a shadow or a hair is not followed
    if corners is None or not name:
        fault = "Too little is drawn on the plan to tell where the picture lies on it"
        return (), {"fault": f"{fault}{'' if name else ': choose one block'}.", "sheets": []}
    view = View(wish["view"]) if wish.get("view") in [known.value for known in View] else View.PRINT
    size = (print_.width_mm, print_.height_mm)
    land = land_in(seen, view=view, scan={"corners": corners_from(asked["corners"]), "size_mm": size})
    return _by_corners(difference(str(name), lands[str(name)], land, SCAN_TOLERANCE_MM), size, picture)


def _following(spots: Sequence[DifferentPlace]) -> tuple[Mark, ...]:
    """Marks by which the plan leaves bare what is gone of each block, on that block alone."""
    gone = {name: [spot.shape for spot in spots if spot.block == name and not spot.kind.stands]
            for name in dict.fromkeys(spot.block for spot in spots)}  # fmt: skip
    return tuple(
        Mark(meaning=Meaning.COMES_OUT, shape=shapely.union_all(shapes), key="", blocks=(name,))
        for name, shapes in gone.items() if shapes
    )  # fmt: skip


def _by_corners(
    difference: Difference, size: tuple[float, float], picture: Path
) -> tuple[tuple[Mark, ...], dict[str, Any]]:
    """The same of a plan with too little on it to tell its place."""
    save_file(
        picture,
        compare_png([(shapely.intersection(difference.before, difference.after), difference.cut, difference.land)]),
    )
    apart = in_order(spots(difference, geometry.box(*size)))
    lines = [*_lines(apart)] or [f"{difference.name}: as planned, within {SCAN_TOLERANCE_MM:g} mm"]
    lines = [f"{difference.name}: laid on the plan by its corners", *lines]
    return _following(apart), {"fault": "", "lines": lines, "sheets": [], "picture": picture.name, "legend": []}


def _lines(spots: Sequence[DifferentPlace]) -> Iterator[str]:
    """What differs, by kind."""
    for kind in DifferenceKind:
        lot = [spot for spot in spots if spot.kind is kind]
        if lot:
            area = sum(spot.shape.area for spot in lot)
            yield f"{kind.value}: {len(lot)} place{'s' * (len(lot) > 1)}, {area:.2f} mm²; {kind.remedy}"


def _corners(wish: object) -> str:
    if not isinstance(wish, list) or len(wish) != 8:
        raise InputError("must be eight numbers", value=wish, field="corners")
    return " ".join(f"{finite(value, 'corners'):.2f}" for value in wish)


MARKED = "pencil-marks.png"  #: what was understood, drawn


def read_coloured(print_: Print, pages: Sequence[Path], out: Path) -> tuple[tuple[Mark, ...], dict[str, Any]]:
    """The marks on photographs of a print's sheet, one page each, and what is said of them; their picture into `out`.

    Raises
    ------
    InputError
        If one can't be read, shows no sheet or another print's, or its pencils can't be told apart.
    """
    sheet = MarkingSheet(name=print_.name, window=print_.window)
    names = {path: f"photograph {k}" for k, path in enumerate(pages, start=1)}
    try:
        sheets = read_sheets(pages, sheet)
    except InputError as error:
        for path, name in names.items():
            error.where = error.where.replace(str(path), name)
        raise
    save_file(out / MARKED, marks_png(sheets, sheet))
    notes = list(sheets.notes)
    for path, name in names.items():
        notes = [note.replace(path.name, name) for note in notes]
    return sheets.marks, {"lines": [*_mark_lines(sheets.marks)], "notes": notes}


def _mark_lines(marks: Sequence[Mark]) -> list[str]:
    """How many places of each meaning there are, and how large they are together."""
    lots = {meaning: [mark for mark in marks if mark.meaning is meaning] for meaning in Meaning}
    return [
        f"{meaning}: {len(lot)} place{'s' * (len(lot) > 1)}, "
        f"{sum(float(shapely.area(mark.shape)) for mark in lot):.0f} mm²"
        for meaning, lot in lots.items() if lot
    ]  # fmt: skip
