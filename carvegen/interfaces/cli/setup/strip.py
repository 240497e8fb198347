"""Write a test strip: cut it once, measure it, and keep what you measured as profiles of your own."""

from __future__ import annotations

import json
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from carvegen.base.errors import InputError
from carvegen.interfaces.cli import options

if TYPE_CHECKING:
    from carvegen.base.previous_run import Earlier

__all__ = ["command"]


@click.command("strip", cls=options.Command, first=("material", "cutter", "emboss", "out"))
@click.option(
    "--emboss",
    metavar="PAPER",
    default="",
    help="An embossing strip for this paper instead, a die of the material: steps, slopes, corners, gaps.",
)
@options.bare_setup
@options.plain_output
@options.as_json
def command(**args: Any) -> None:  # noqa: ANN401
    """Write a test strip for a material and a cutter, and a page on how to read it.

    Ladders of land, dots and cuts, a comb for the kerf (how wide a laser or a cutter cuts), a bar and a tapering cut
    for the wall. With --emboss a die and its counter-sheet instead, that try out what a paper bears.

    \b
    carvegen strip --material linoleum --cutter v-60 --out strip
    """
    out: Path = args["out"]
    made, before = _embossing(args) if args["emboss"] else _cutting(args)
    if args["as_json"]:
        click.echo(json.dumps({"out": str(out), "files": made, "earlier": asdict(before)}, indent=1))
        return
    if not options.quiet():
        click.echo(f"Written to {out}:")
        width = max(map(len, made))
        for name, purpose in made.items():
            click.echo(f"  {name.ljust(width)}  {purpose}")
    options.tell_earlier(before)
    picture = next((name for name in made if name.endswith(".png")), None)
    if picture is not None:
        options.look_first(out / picture)


def _cutting(args: dict[str, Any]) -> tuple[dict[str, str], Earlier]:
    from carvegen.delivery.strip_folder import deliver_strip

    return deliver_strip(
        options.setups(args), args["out"], transfer=args["transfer"], paper=args["paper"], dxf=args["dxf"],
        pale_guide=args["pale_guide"], say=options.teller(quiet=args["as_json"]),
    )  # fmt: skip


def _embossing(args: dict[str, Any]) -> tuple[dict[str, str], Earlier]:
    from carvegen.delivery.embossing_folder import deliver_embossing_strip

    if args["depth_mm"] is not None:
        raise InputError("is not chosen here", where="--depth", hint="leave it out: the strip's highest step sets it")
    shelf = options.library(args["folders"])
    return deliver_embossing_strip(
        options.setups(args), shelf.paper(args["emboss"]), shelf, args["out"], transfer=args["transfer"],
        sheet=args["paper"], dxf=args["dxf"], pale_guide=args["pale_guide"],
        say=options.teller(quiet=args["as_json"]),
    )  # fmt: skip
