"""``carvegen keep``: what has grown of a print, in files that the build takes as they are."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import click

from carvegen.interfaces.cli import options

if TYPE_CHECKING:
    from carvegen.prints.file.print_file import Print

__all__ = ["command"]


@click.command(name="keep")
@click.argument("file", metavar="PRINT.TOML", type=click.Path(path_type=Path))
@click.option(
    "--motif",
    "names",
    multiple=True,
    metavar="NAME",
    help='Only this one, by its name, or its kind and number: "falling snow 1"; may be given more than once.',
)
@click.option("--release", is_flag=True, help="Let them grow again: the print file names no kept file any more.")
@options.profile_folders
@options.as_json
def command(file: Path, names: tuple[str, ...], release: bool, folders: tuple[Path, ...], as_json: bool) -> None:
    """Keep what has grown: each motif's shapes go into an SVG beside the print file, which names it.

    While a motif is kept, carvegen build takes its shapes from there. Edit them in any drawing program: move, turn,
    scale, redraw, add, delete; nothing else moves. Kept again, it is kept as the build takes it now.

    \b
    carvegen keep landing/print.toml
    carvegen keep landing/print.toml --motif "falling snow 2"
    carvegen keep landing/print.toml --release
    """
    from carvegen.prints.file.print_file import read_print

    shelf = options.library(folders)
    print_ = read_print(file, shelf)
    if release:
        _release(print_, names, as_json)
        return
    from carvegen.prints.cut_blocks import picture_of, setups_of
    from carvegen.prints.keeping import check_growing, keep

    check_growing(print_, names)
    picture = picture_of(print_, setups_of(print_, shelf), say=options.teller(quiet=as_json))
    options.tell_notes(picture.notes)
    kept = keep(print_, picture.motifs, names)
    if as_json:
        click.echo(json.dumps({"kept": kept, "notes": list(picture.notes)}, indent=1))
        return
    own = {motif.motif.name: motif for motif in picture.motifs}
    for name, path in kept.items():
        click.echo(f"{own[name].motif.called}: {len(own[name].growth.cuts)} shapes kept in {file.parent / path}")
    click.echo(f"{file} names them. To take this back: carvegen undo {file}")


def _release(print_: Print, names: Sequence[str], as_json: bool) -> None:
    from carvegen.prints.keeping import release

    let_go = release(print_, names)
    if as_json:
        click.echo(json.dumps({"released": {motif.name: motif.file for motif in let_go}}, indent=1))
        return
    for released in let_go:
        click.echo(
            f"{released.name} grows again; the file {print_.path.parent / released.file} stays, and nothing reads it"
        )
    click.echo(f"To take this back: carvegen undo {print_.path}")
