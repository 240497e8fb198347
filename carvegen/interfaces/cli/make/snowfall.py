"""``carvegen snowfall``: a block of falling snow, from nothing to its files."""

from __future__ import annotations

from typing import Any

import click

from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.make.maker import make, maker_options

__all__ = ["command"]

_FIRST = ("size", "material", "cutter", "preset", "snow", "keep_clear", "opening", "seed", "kinds", "out")


@click.command(name="snowfall", cls=options.Command, first=_FIRST)
@maker_options("snowfall", presets="weather", name="sky")
def command(**args: Any) -> int:  # noqa: ANN401
    """Fill a block with falling snow, check it, and write its files into a folder.

    \b
    carvegen snowfall --size 200x150 --material linoleum --cutter laser-fine --seed 7 \\
        --keep-clear "fir.svg width 60" --opening "circle 150 110 18" --out sky/
    """
    return make("snowfall", args, stage="letting it snow")
