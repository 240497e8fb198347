"""``carvegen mark``: a page in the browser on which a print is looked at, marked and built."""

from __future__ import annotations

import contextlib
from pathlib import Path

import click

from carvegen.base.errors import InputError
from carvegen.interfaces.cli import options

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
    files at once: closing the window loses nothing of it. About a minute after the window is closed the program ends,
    and a build that is at work is stopped. Without a file it begins with the sample, with a drawing or with a
    photograph of a block, in a new folder here.

    \b
    carvegen mark
    carvegen mark landing/print.toml
    """
    from carvegen.interfaces.page.guard import pointer_to
    from carvegen.interfaces.page.serving import Served, serve
    from carvegen.interfaces.page.wording import command_for

    if file is not None and not file.is_file():
        raise InputError("is not there", where=str(file), hint="carvegen new landing writes one to start from")

    path = None if file is None else file.resolve()
    folder = Path.cwd() if path is None else path.parent
    typed = [word for own in folders for word in ("--profiles", str(own))] + (["--port", str(port)] if port else [])
    with contextlib.ExitStack() as stack:

        def at(address: str) -> None:
            click.echo(f"Open: {address}")
            click.echo("Ctrl-C ends it, and so does closing the page, a minute later. All is in the print's files.")
            pointer = None if no_browser else stack.enter_context(pointer_to(address, folder))
            if pointer is not None:
                click.launch(str(pointer))

        def left(last: Path | None) -> None:
            with contextlib.suppress(OSError):  # its terminal may be gone
                click.echo(
                    f"Ended: for a minute no window has shown the page. To open it again: {command_for(last, typed)}"
                )

        try:
            serve(
                Served(path=path, folder=folder, port=port, options=tuple(typed)),
                options.library(folders),
                at=at,
                left=left,
            )
        except KeyboardInterrupt:
            with contextlib.suppress(OSError):  # its terminal may be gone
                click.echo("Ended. What was done on the page is in the print's files.")
