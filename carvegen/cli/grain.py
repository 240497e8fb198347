"""``carvegen grain``: a block of wood grain, from nothing to its files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from carvegen.cli import options

__all__ = ["command"]


@click.command(name="grain")
@options.block_size
@options.setup
@options.places
@click.option(
    "--boards",
    multiple=True,
    metavar="SHAPE",
    help='Closed shapes that are boards: FILE, "FILE at X Y width W", "box X Y W H".  [default: the whole face]',
)
@options.motif("grain", presets="board")
@options.output
@options.mending
@options.as_json
@click.option(
    "--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True, help="Another seed, another log."
)
@click.option("--name", default="boards", show_default=True, help="The block's name, for notes and guide.")
def command(out: Path, as_json: bool, seed: int, name: str, boards: tuple[str, ...], **given: Any) -> int:  # noqa: ANN401
    r"""Fill a block, or the boards drawn on it, with wood grain, check it, and write its files into a folder.

    \b
    carvegen grain --size 150x100 --material cherry --cutter v-60 --board flat-sawn --out plank/
    carvegen grain --size 150x100 --material linoleum --cutter v-60 --board weathered \
        --boards "box 0 0 150 24" --boards "box 0 26 150 30" --direction 0 --out jetty/
    """
    from dataclasses import replace

    from carvegen import geometry
    from carvegen.artwork.place import placed
    from carvegen.delivery import deliver
    from carvegen.making import grown_block, strictest
    from carvegen.streams import stream

    say = options.teller(quiet=as_json)
    settings = options.motif_settings("grain", given)
    ways = options.setups(given)
    limits = strictest(way.limits for way in ways)
    say("sawing the boards")
    width, height = given["size"]
    shapes = geometry.stack(placed(text, width_mm=width, height_mm=height) for text in boards)
    ground = replace(options.ground(name, given), grow_from=shapes)
    block = grown_block(ground, settings, limits, stream(seed, name, "grain"), by="grain")
    jobs = [way.on(block) for way in ways]
    delivery = deliver(jobs, out, options.style(given), say=say)
    return options.finish(delivery, out, as_json=as_json)
