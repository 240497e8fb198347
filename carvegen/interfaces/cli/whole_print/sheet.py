"""``carvegen sheet``: a sheet to mark with coloured pencils, and what is understood of a photograph of it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import click

from carvegen.base.errors import InputError
from carvegen.interfaces.cli import options

if TYPE_CHECKING:
    from carvegen.facts.profiles import Library
    from carvegen.marking.pencil.layout import MarkingSheet
    from carvegen.marking.pencil.sheet_reading import SheetsRead
    from carvegen.prints.file.print_file import Print

__all__ = ["command"]


@click.command(name="sheet")
@click.argument("file", metavar="PRINT.TOML", type=click.Path(path_type=Path))
@click.option(
    "-o", "--out", metavar="FILE", required=True, type=click.Path(path_type=Path),
    help="The file to write: the sheet in .pdf, or with --read the marks in .svg, their picture in .png beside it.",
)  # fmt: skip
@click.option(
    "--paper", type=options.OneOf(["A4", "Letter"]), default="A4", show_default=True, help="Paper of the sheet."
)
@click.option(
    "--read", "scans", metavar="SCAN", multiple=True, type=click.Path(path_type=Path),
    help="A photograph or scan of a coloured page; give it once for each page.",
)  # fmt: skip
@options.profile_folders
@options.as_json
def command(
    file: Path, *, out: Path, paper: str, scans: tuple[Path, ...], folders: tuple[Path, ...], as_json: bool
) -> None:
    """Write a print in pale grey at 1:1 to be marked with coloured pencils, or read the marks from photographs of it.

    Scribble each pencil in the box of its meaning, hatch on the picture, photograph or scan the whole page. Look at the
    picture of what was understood before you use the marks. If the print is built in a folder beside its file, and
    nothing has changed since, the sheet is quick.

    \b
    carvegen sheet landing/print.toml -o sheet.pdf
    carvegen sheet landing/print.toml --read sheet.jpg -o landing/pencil.svg
    """
    from carvegen.marking.pencil.layout import MarkingSheet
    from carvegen.prints.file.print_file import read_print

    ending = ".svg" if scans else ".pdf"
    if out.suffix.lower() != ending:
        raise InputError(f"must end in {ending}", value=str(out), where="--out")
    shelf = options.library(folders)
    print_ = read_print(file, shelf)
    if scans:
        _read(scans, print_, MarkingSheet(name=print_.name, window=print_.window), out, as_json=as_json)
    else:
        _print(print_, shelf, out, paper, as_json=as_json)


def _print(print_: Print, shelf: Library, out: Path, paper: str, *, as_json: bool) -> None:
    from carvegen.base.files import save_file
    from carvegen.delivery.print_build import marking_sheet

    data, pages = marking_sheet(print_, shelf, paper, say=options.teller(quiet=as_json))
    save_file(out, data)
    if as_json:
        click.echo(json.dumps({"out": str(out), "paper": paper, "pages": pages}, indent=1))
    elif not options.quiet():
        click.echo(
            f"{out}: {pages} page{'s' if pages > 1 else ''} of {paper}. Print at 100 %, colour, photograph, then:"
        )
        click.echo(f"  carvegen sheet {print_.path} --read PHOTOGRAPH -o {print_.path.parent / 'pencil.svg'}")


def _read(scans: tuple[Path, ...], print_: Print, sheet: MarkingSheet, out: Path, *, as_json: bool) -> None:
    from carvegen.base.files import save_file
    from carvegen.marking.pencil.sheet_reading import read_sheets
    from carvegen.writers.whole_print.marks_read import marks_png, marks_svg

    picture = out.with_suffix(".png")
    if clash := [path for path in scans if path.resolve() in (out.resolve(), picture.resolve())]:
        raise InputError("must not overwrite the picture that is read", value=str(clash[0]), where="--out")
    if there := [path for path in (out, picture) if path.exists()]:
        raise InputError("is there already", value=str(there[0]), where="--out", hint="name another, or move it away")
    sheets = read_sheets(scans, sheet)
    drawn, shown = marks_svg(sheets, print_.name, (print_.width_mm, print_.height_mm)), marks_png(sheets, sheet)
    save_file(picture, shown)
    save_file(out, drawn)
    options.tell_notes(sheets.notes)
    if as_json:
        record = {"out": str(out), "picture": str(picture), "marks": _figures(sheets), "notes": list(sheets.notes)}
        click.echo(json.dumps(record, indent=1))
    elif not options.quiet():
        for figure in _figures(sheets):
            click.echo(f"{figure['key']}: {figure['area_mm2']:.0f} mm², strength {figure['strength']:g}")
        click.echo(f"{len(sheets.marks)} marks in {out}. Look at {picture} first: it shows what was understood.")


def _figures(sheets: SheetsRead) -> list[dict[str, object]]:
    return [
        {"key": mark.key, "meaning": str(mark.meaning), "strength": mark.strength,
         "area_mm2": round(float(mark.shape.area), 2)}
        for mark in sheets.marks
    ]  # fmt: skip
