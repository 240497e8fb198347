"""``carvegen mark``: a page in the browser on which a print is looked at, marked and built."""

from __future__ import annotations

from pathlib import Path

import click

from carvegen.base.errors import InputError
from carvegen.cli import options

__all__ = ["command"]


@click.command(name="mark")
@click.argument("file", metavar="[PRINT.TOML]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--port", type=click.IntRange(0, 65535), default=0, help="Port of this computer to serve on.  [default: any free]"
)
@click.option("--no-browser", is_flag=True, help="Only say the address; open no browser.")
@options.profile_folders
def command(file: Path | None, port: int, no_browser: bool, folders: tuple[Path, ...]) -> None:
    """Open a print in the browser: look at it, mark where snow goes and stays, touch flakes, get the files.

    The page is served from this computer to this computer alone. All that is done on it is written to the print's own
    files at once; closing the window loses nothing. Without a file it begins with the sample, with a drawing or with a
    photograph of a block, in a new folder here.

    \b
    carvegen mark
    carvegen mark landing/print.toml
    """
    from carvegen.page.serving import Served, serve

    if file is not None and not file.is_file():
        raise InputError("is not there", where=str(file), hint="carvegen new landing writes one to start from")

    def at(address: str) -> None:
        click.echo(f"Open: {address}")
        click.echo("Ctrl-C ends it; so does closing the page. All that is done is in the print's files.")
        if not no_browser:
            click.launch(address)

    path = None if file is None else file.resolve()
    serve(
        Served(path=path, folder=Path.cwd() if path is None else path.parent, port=port),
        options.library(folders),
        at=at,
    )
