"""What the commands that make a block from a motif share: their options, and the way from them to the files."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import click

from carvegen.cli import options
from carvegen.cli.make.kept import kept_options, with_kept
from carvegen.cli.make.marks import marks_option, read_marked

if TYPE_CHECKING:
    from carvegen.blocks.block import Block

__all__ = ["make", "maker_options"]

_NEXT = "Next: the same command with --mend clears what the smallest changes can clear."


def maker_options(motif: str, *, presets: str, name: str) -> Callable[[Any], Any]:
    """All options of a command that makes a block of a motif; `presets` names the option for its presets."""
    every = (
        options.block_size,
        options.setup,
        options.places,
        options.motif(motif, presets=presets),
        options.output,
        options.paths(),
        options.mending,
        kept_options,
        marks_option,
        options.as_json,
        click.option(
            "--seed",
            type=options.SEED,
            default=1,
            show_default=True,
            help="A number; another one gives another pattern of the same kind.",
        ),
        click.option("--name", default=name, show_default=True, help="The block's name, for notes and guide."),
    )

    def decorate(function: Any) -> Any:  # noqa: ANN401
        for option in reversed(every):
            function = option(function)
        return function

    return decorate


def make(
    by: str,
    given: Mapping[str, Any],
    *,
    stage: str,
    sources: Sequence[str] = (),
    grow: Callable[..., Block] | None = None,
) -> int:
    """Grow the motif named `by` on a block, check it, write its files; the exit code.

    Parameters
    ----------
    stage
        What is told while it grows.
    sources
        Drawings that it lies on or grows from.
    grow
        Makes the block instead of `carvegen.blocks.from_motif.grown_block`.
    """
    from carvegen.base.streams import stream
    from carvegen.blocks.from_motif import grown_block, strictest
    from carvegen.delivery.block_folder import check_folder, deliver

    doubts, say = options.doubts(), options.teller(quiet=given["as_json"])
    check_folder(given["out"])
    settings = options.motif_settings(by, given)
    ways = options.setups(given)
    limits = strictest(way.limits for way in ways)
    ground = options.ground(given["name"], given, sources=sources)
    marks = read_marked(given, by=by)
    ground = with_kept(ground, settings, limits, given, by=by)
    ground = marks.on(ground, settings, limits, by=by, seed=given["seed"])
    say(stage)
    rng = stream(given["seed"], given["name"], by)
    if grow is None:
        block = grown_block(ground, settings, limits, rng, by=by, say=lambda remark: options.keep_notes([remark]))
    else:
        block = grow(ground, settings, limits, rng, by=by)
    block = marks.kept_by(block)
    delivery = deliver(
        [way.on(block) for way in ways], given["out"], options.style(given), say=say,
        processes=options.processes(given["jobs"]),
    )  # fmt: skip
    remedy = "" if given["mend"] else _NEXT
    return options.finish(delivery, given["out"], as_json=given["as_json"], doubts=doubts, remedy=remedy)
