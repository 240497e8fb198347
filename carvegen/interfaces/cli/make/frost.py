"""``carvegen frost``: a block with frost from its edge or from outlines, from nothing to its files."""

from __future__ import annotations

from typing import Any

import click

from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.make.maker import make, maker_options

__all__ = ["command"]

_FIRST = ("sources", "size", "material", "cutter", "preset", "keep_clear", "opening", "seed", "kinds", "out")


@click.command(name="frost", cls=options.Command, first=_FIRST)
@click.option(
    "--from",
    "sources",
    multiple=True,
    metavar="SHAPE",
    help='Whose outline the frost grows from: FILE, "FILE at X Y width W", "box X Y W H".  [default: the edge]',
)
@maker_options("frost", presets="look", name="frost")
def command(sources: tuple[str, ...], **args: Any) -> int:  # noqa: ANN401
    """Let frost grow on a block from its edge or from outlines, check it, and write its files into a folder.

    \b
    carvegen frost --size 200x150 --material basswood --cutter v-60 --look needles --seed 7 --out pane/
    carvegen frost --size 200x150 --material linoleum --cutter v-60 \\
        --from "box 40 30 120 90" --inward --out window/
    """
    return make("frost", args, stage="letting it freeze", sources=sources)
