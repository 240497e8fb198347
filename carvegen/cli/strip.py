"""Write a test strip: cut it once, measure it, and keep what you measured as profiles of your own."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from carvegen.cli import options

__all__ = ["command"]


@click.command("strip")
@options.bare_setup
@options.plain_output
@options.as_json
def command(**given: Any) -> None:  # noqa: ANN401
    """Write a test strip for a material and a cutter, and a page on how to read it.

    Ladders of land, dots and cuts, a comb for the kerf, a bar and a tapering cut for the wall.
    """
    from carvegen.strip_delivery import deliver_strip

    out: Path = given["out"]
    made, before = deliver_strip(
        options.setups(given), out, transfer=given["transfer"], paper=given["paper"], dxf=given["dxf"],
        pale_guide=given["pale_guide"],
        say=options.teller(quiet=given["as_json"]),
    )  # fmt: skip
    if given["as_json"]:
        click.echo(json.dumps({"out": str(out), "files": made, "earlier": asdict(before)}, indent=1))
        return
    if not options.quiet():
        click.echo(f"Written to {out}:")
        width = max(map(len, made))
        for name, purpose in made.items():
            click.echo(f"  {name.ljust(width)}  {purpose}")
    options.tell_earlier(before)
