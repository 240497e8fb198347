"""``carvegen frost``: a block with frost from its edge or from outlines, from nothing to its files."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from carvegen.cli import options

__all__ = ["command"]


@click.command(name="frost")
@options.block_size
@options.setup
@options.places
@click.option(
    "--from",
    "sources",
    multiple=True,
    metavar="SHAPE",
    help='Whose outline the frost grows from: FILE, "FILE at X Y width W", "box X Y W H".  [default: the edge]',
)
@options.motif("frost", presets="look")
@options.output
@options.mending
@options.as_json
@click.option(
    "--seed", type=click.IntRange(0, 2**63 - 1), default=1, show_default=True, help="Another seed, other frost."
)
@click.option("--name", default="frost", show_default=True, help="The block's name, for notes and guide.")
def command(out: Path, as_json: bool, seed: int, name: str, sources: tuple[str, ...], **given: Any) -> int:  # noqa: ANN401
    r"""Let frost grow on a block from its edge or from outlines, check it, and write its files into a folder.

    \b
    carvegen frost --size 200x150 --material basswood --cutter v-60 --look needles --seed 7 --out pane/
    carvegen frost --size 200x150 --material linoleum --cutter v-60 \
        --from "box 40 30 120 90" --inward --out window/
    """
    from dataclasses import replace

    from carvegen import geometry
    from carvegen.artwork.place import placed
    from carvegen.delivery import deliver
    from carvegen.making import grown_block, strictest
    from carvegen.streams import stream

    say = options.teller(quiet=as_json)
    settings = options.motif_settings("frost", given)
    ways = options.setups(given)
    limits = strictest(way.limits for way in ways)
    say("letting it freeze")
    width, height = given["size"]
    shapes = geometry.stack(placed(text, width_mm=width, height_mm=height) for text in sources)
    ground = replace(options.ground(name, given), grow_from=shapes)
    block = grown_block(ground, settings, limits, stream(seed, name, "frost"), by="frost")
    jobs = [way.on(block) for way in ways]
    delivery = deliver(jobs, out, options.style(given), say=say)
    return options.finish(delivery, out, as_json=as_json)
