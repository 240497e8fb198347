"""``carvegen snowload``: a block with the snow that lies on a drawing, from nothing to its files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from carvegen.cli import options

__all__ = ["command"]


@click.command(name="snowload")
@options.block_size
@options.setup
@options.places
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
    type=click.Choice(["sky", "key", "both"]),
    default="sky",
    show_default=True,
    help="sky: what rises above the shapes is cut; key: what lies on them; both: all of it.",
)
@options.motif("snowload", presets="snow")
@options.output
@options.mending
@options.as_json
@click.option(
    "--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True, help="Another seed, other snow."
)
@click.option("--name", default=None, help="The block's name, for notes and guide.  [default: as --block]")
def command(  # noqa: PLR0917
    out: Path,
    as_json: bool,
    seed: int,
    name: str | None,
    bearers: tuple[str, ...],
    which: str,
    **given: Any,  # noqa: ANN401
) -> int:
    r"""Lay snow on a drawing, take it out of a block, check it, and write its files into a folder.

    The same seed gives every block the same snow.

    \b
    carvegen snowload --size 200x150 --material linoleum --cutter v-60 --snow deep --seed 7 \
        --on "fir.svg width 60" --on "box 120 20 8 70" --block sky --out sky/
    """
    from dataclasses import replace

    from carvegen import geometry
    from carvegen.artwork.place import placed
    from carvegen.delivery import deliver
    from carvegen.loading import loaded_block
    from carvegen.making import strictest
    from carvegen.streams import stream

    say = options.teller(quiet=as_json)
    settings = options.motif_settings("snowload", given)
    ways = options.setups(given)
    limits = strictest(way.limits for way in ways)
    say("letting the snow settle")
    width, height = given["size"]
    shapes = geometry.joined(geometry.stack(placed(text, width_mm=width, height_mm=height) for text in bearers))
    ground = replace(options.ground(name or which, given), grow_from=shapes)
    block = loaded_block(ground, settings, limits, stream(seed, "snowload"), which=which)
    jobs = [way.on(block) for way in ways]
    delivery = deliver(jobs, out, options.style(given), say=say)
    return options.finish(delivery, out, as_json=as_json)
