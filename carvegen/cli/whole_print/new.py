"""``carvegen new``: a print file to start from, with a drawing to build it from."""

from __future__ import annotations

import json
from pathlib import Path

import click

from carvegen.base.errors import InputError
from carvegen.cli import options

__all__ = ["command"]


@click.command(name="new")
@click.argument("folder", required=False, type=click.Path(path_type=Path))
@click.option("--schema", is_flag=True, help="Write only the JSON schema of print files, for editors, to the output.")
@click.option("--keys", is_flag=True, help="Write only the list of all that a print file may hold, to the output.")
def command(folder: Path | None, schema: bool, keys: bool) -> None:
    """Put a sample print into a new folder: a print file with comments, its drawing, and the schema for editors.

    \b
    carvegen new landing
    carvegen build landing/print.toml --out landing/built
    """
    from carvegen.base.files import settled, staged_folder, write_file
    from carvegen.prints.file.samples import FILES, sample
    from carvegen.prints.file.schema import SCHEMA_NAME
    from carvegen.prints.file.schema import schema as made

    if keys:
        from carvegen.prints.file.schema import reference

        click.echo(reference(), nl=False)
        return
    text = json.dumps(made(), indent=1) + "\n"
    if schema:
        click.echo(text, nl=False)
        return
    if folder is None:
        raise InputError("names no folder", where="FOLDER", hint="carvegen new landing, or carvegen new --schema")
    with settled(folder):
        there = [name for name in (*FILES, SCHEMA_NAME) if (folder / name).exists()]
    if there:
        raise InputError(f"holds {there[0]} already", value=str(folder), where="FOLDER", hint="name another folder")
    with staged_folder(folder, owned=frozenset()) as stage:
        for name in FILES:
            write_file(stage / name, sample(name))
        write_file(stage / SCHEMA_NAME, text)
    click.echo(f"Written to {folder}: {', '.join((*FILES, SCHEMA_NAME))}")
    click.echo(f"Next: carvegen build {folder / 'print.toml'} --out {folder / 'built'}")
    options.look_first(folder / "landing-in-colours.svg")
