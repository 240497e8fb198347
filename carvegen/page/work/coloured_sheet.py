"""Photographs of the marking sheet, coloured with pencils: what is understood of them, before any of it is a mark."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import shapely

from carvegen.base.errors import InputError
from carvegen.base.files import save_file
from carvegen.marking.marks import Meaning
from carvegen.marking.pencil.layout import MarkingSheet
from carvegen.marking.pencil.reading import read_sheets
from carvegen.page.words import MEANINGS
from carvegen.writers.whole_print.marks_read import marks_png

if TYPE_CHECKING:
    from pathlib import Path

    from carvegen.marking.marks import Mark
    from carvegen.prints.file.print_file import Print

__all__ = ["PICTURE", "read_coloured"]

PICTURE = "pencil-marks.png"  #: what was understood, drawn


def read_coloured(given: Print, pages: Sequence[Path], out: Path) -> tuple[tuple[Mark, ...], dict[str, Any]]:
    """The marks on photographs of a print's sheet, one page each, and what is said of them; their picture into `out`.

    Raises
    ------
    InputError
        If one can't be read, shows no sheet or another print's, or its pencils can't be told apart.
    """
    sheet = MarkingSheet(name=given.name, window=given.window)
    names = {path: f"photograph {k}" for k, path in enumerate(pages, start=1)}
    try:
        found = read_sheets(pages, sheet)
    except InputError as error:
        for path, name in names.items():
            error.where = error.where.replace(str(path), name)
        raise
    save_file(out / PICTURE, marks_png(found, sheet))
    notes = list(found.notes)
    for path, name in names.items():
        notes = [note.replace(path.name, name) for note in notes]
    return found.marks, {"lines": [*_lines(found.marks)], "notes": notes}


def _lines(marks: Sequence[Mark]) -> list[str]:
    """How many places of each meaning there are, and how large they are together."""
    lots = {meaning: [its for its in marks if its.meaning is meaning] for meaning in Meaning}
    return [
        f"{MEANINGS[meaning][0]}: {len(its)} place{'s' * (len(its) > 1)}, "
        f"{sum(float(shapely.area(mark.shape)) for mark in its):.0f} mm²"
        for meaning, its in lots.items() if its
    ]  # fmt: skip
