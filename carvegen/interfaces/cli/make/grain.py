"""``carvegen grain``: a block of wood grain, from nothing to its files."""

from __future__ import annotations

from typing import Any

import click

from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.make.maker import make, maker_options

__all__ = ["command"]

_FIRST = ("boards", "size", "material", "cutter", "preset", "keep_clear", "opening", "seed", "kinds", "out")


@click.command(name="grain", cls=options.Command, first=_FIRST)
@click.option(
    "--boards",
    multiple=True,
    metavar="SHAPE",
    help='Closed shapes that are boards: FILE, "FILE at X Y width W", "box X Y W H".  [default: the whole face]',
)
@maker_options("grain", presets="board", name="boards")
def command(boards: tuple[str, ...], **args: Any) -> int:  # noqa: ANN401
    """Fill a block, or the boards drawn on it, with wood grain, check it, and write its files into a folder.

    \b
    carvegen grain --size 150x100 --material cherry --cutter v-60 --board flat-sawn --out plank/
    carvegen grain --size 150x100 --material linoleum --cutter v-60 --board weathered \\
        --boards "box 0 0 150 24" --boards "box 0 26 150 30" --direction 0 --out jetty/
    """
    return make("grain", args, stage="sawing the boards", sources=boards)
