"""``carvegen snowfall``: a block of falling snow, from nothing to its files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from carvegen.cli import options

__all__ = ["command"]


@click.command(name="snowfall")
@options.block_size
@options.setup
@options.places
@options.motif("snowfall", presets="weather")
@options.output
@options.mending
@options.as_json
@click.option(
    "--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True, help="Another seed, other snow."
)
@click.option("--name", default="sky", show_default=True, help="The block's name, for notes and guide.")
def command(out: Path, as_json: bool, seed: int, name: str, **given: Any) -> int:  # noqa: ANN401
    r"""Fill a block with falling snow, check it, and write its files into a folder.

    \b
    carvegen snowfall --size 200x150 --material linoleum --cutter laser-fine --seed 7 \
        --keep-clear "fir.svg width 60" --opening "circle 150 110 18" --out sky/
    """
    from carvegen.delivery import deliver
    from carvegen.making import grown_block, strictest
    from carvegen.streams import stream

    say = options.teller(quiet=as_json)
    settings = options.motif_settings("snowfall", given)
    ways = options.setups(given)
    limits = strictest(way.limits for way in ways)
    say("letting it snow")
    block = grown_block(options.ground(name, given), settings, limits, stream(seed, name, "snowfall"), by="snowfall")
    jobs = [way.on(block) for way in ways]
    delivery = deliver(jobs, out, options.style(given), say=say)
    return options.finish(delivery, out, as_json=as_json)
