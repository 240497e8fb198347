"""``carvegen snowload``: a block with the snow that lies on a drawing, from nothing to its files."""

from __future__ import annotations

from typing import Any

import click

from carvegen.interfaces.cli import options
from carvegen.interfaces.cli.make.maker import make, maker_options

__all__ = ["command"]

_FIRST = ("bearers", "which", "size", "material", "cutter", "preset", "keep_clear", "seed", "kinds", "out")


@click.command(name="snowload", cls=options.Command, first=_FIRST)
@click.option(
    "--on",
    "bearers",
    multiple=True,
    required=True,
    metavar="SHAPE",
    help='What the snow lies on: FILE, "FILE at X Y width W" or a shape in words; may be given more than once.',
)
@click.option(
    "--block",
    "which",
    type=options.OneOf(["sky", "key", "both"]),
    default="sky",
    show_default=True,
    help="sky: what rises above the shapes is cut; key: what lies on them; both: all of it.",
)
@maker_options("snowload", presets="snow", name="snow")
def command(bearers: tuple[str, ...], which: str, **args: Any) -> int:  # noqa: ANN401
    """Lay snow on a drawing, take it out of a block, check it, and write its files into a folder.

    The same seed and name give every block the same snow.

    \b
    carvegen snowload --size 200x150 --material linoleum --cutter v-60 --snow deep --seed 7 \\
        --on "fir.svg width 60" --on "box 120 20 8 70" --block sky --out sky/
    """
    from functools import partial

    from carvegen.blocks.from_motif import loaded_block

    grow = partial(loaded_block, which=which)
    return make("snowload", args, stage="letting the snow settle", sources=bearers, grow=grow)
