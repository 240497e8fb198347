"""``carvegen undo``: a print's own files as they were before the last command that changed them."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from pathlib import Path

import click

from carvegen.base.errors import InputError
from carvegen.interfaces.cli import options

__all__ = ["command"]


@click.command(name="undo")
@click.argument("file", metavar="PRINT.TOML", type=click.Path(path_type=Path))
@options.as_json
def command(file: Path, as_json: bool) -> None:
    """Put back what the last command changed in a print file and its kept files; again, what the one before it did.

    What you have edited since, such as a mark typed into the print file, is not lost: it is laid beside, under another
    name; what you typed before stays. What was done on the page of carvegen mark since is taken back there first.

    \b
    carvegen undo landing/print.toml
    """
    from carvegen.marking.journal import undo

    if not file.is_file():
        raise InputError("is not there", where=str(file), hint="name the print file that carvegen keep has changed")
    _leave_the_page_alone(file)
    done = undo(file.parent, file.name)
    if as_json:
        click.echo(json.dumps(asdict(done), indent=1))
        return
    click.echo(f"Undone: {done.what}")
    for name in done.back:
        click.echo(f"  as it was: {name}")
    for name in done.away:
        click.echo(f"  taken away: {name}")
    for name, beside in done.beside.items():
        click.echo(f"  {name} was edited since; that now lies beside, as {beside}")
    click.echo(f"{done.more} more can be undone." if done.more else "Nothing more can be undone.")


def _leave_the_page_alone(file: Path) -> None:
    """Refuse while the page has the print, or while gestures stand that came after the last command."""
    from carvegen.marking.gesture_journal import gestures_since
    from carvegen.marking.journal import held, last_changed_s

    lease = held(file.parent, file.name)
    if lease is None:
        raise InputError("is open on the page", where=str(file), hint="take it back there, or close the page first")
    os.close(lease)
    last = last_changed_s(file.parent, file.name)
    if last and (count := gestures_since(file.parent, file.name, last)):
        raise InputError(
            "was marked on the page since", value=f"{count} gesture{'s' if count > 1 else ''}", where=str(file),
            hint=f"take these back there first (carvegen mark {file}, Take back): they build on what would be undone",
        )  # fmt: skip
