"""How to press and read an embossing strip: a page in Markdown."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.blocks.embossing.embossing_strip import DEEPEST_MM, LADDERS
from carvegen.blocks.embossing.paper_strain import bridged, taut

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.embossing.embossing_strip import EmbossingStrip
    from carvegen.blocks.job import Setup
    from carvegen.facts.profiles import Paper
    from carvegen.writers.block.die_sheet import Steps

__all__ = ["embossing_page", "embossing_steps"]


def embossing_page(strip: EmbossingStrip, setup: Setup, counter: Setup) -> str:
    """The page for whoever presses the strip into a paper and reads it."""
    paragraphs = [*_pressing(strip, setup, counter), *_reading(strip), *_keeping(strip.paper)]
    return "\n\n".join(paragraphs) + "\n"


def embossing_steps(strip: EmbossingStrip) -> Steps:
    """The strip's relief, from the face down: what stays, and what is lowered to which depth."""
    layers = [("FACES", "stay standing: the faces of the highest pieces", strip.faces)]
    for number, terrace in enumerate(strip.terraces(), start=1):
        what = "faces of lower pieces" if terrace.faces else "a step of the walls"
        name = f"{'FACE' if terrace.faces else 'WALL'} STEP {number}"
        layers.append((name, f"lower to {terrace.depth_mm:.3f} mm: {what}", terrace.shapes))
    return layers


def _pressing(strip: EmbossingStrip, setup: Setup, counter: Setup) -> Iterator[str]:
    """What the die and its counter-sheet are, and how they are pressed."""
    block = strip.block
    yield f"# Embossing strip: {strip.paper.name}"
    yield (
        f"A die of {block.width_mm:g} x {block.height_mm:g} mm, {setup.material.name}, {setup.thickness_mm:g} mm "
        f"thick. Its floor lies {DEEPEST_MM:g} mm below its highest faces (block.svg or block.dxf); faces and walls "
        "are lowered in steps, each to the depth that its layer in wall.svg and wall.dxf says. Smooth the walls with "
        "fine abrasive paper until no step is felt, and round all upper edges to 0.2 mm: a sharp edge cuts the paper."
    )
    yield (
        f"Against it lies a counter-sheet: {counter.material.name}, {counter.thickness_mm:g} mm thick, with the holes "
        "of the folder `counter`."
    )
    yield "## Press it"
    yield (
        "Soak and blot the paper as you do for an edition. Die face up, the sheet on it, the counter-sheet on top, "
        "edge on edge with the die; press as you will press. The shapes rise towards you. Cover the edges of the "
        "plate, and keep fingers and loose sleeves away from the press; its own manual and the workshop's rules go "
        "before this page. Let the sheet dry, then look along it under low light, front and back."
    )


def _reading(strip: EmbossingStrip) -> Iterator[str]:
    """What each row of pieces tries out, and how far the sheet is stretched over the steps."""
    yield "## What the pieces show"
    yield (
        "As the print shows it, number 1 is at the left and asks least, number 8 most. Note the last before the first "
        "that failed. Many are meant to fail."
    )
    rows = [
        "| row from the top | " + " | ".join(str(k) for k in range(1, 9)) + " | look for | kept by |",
        "| --- |" + " ---: |" * 8 + " --- | --- |",
    ]
    for ladder in LADDERS:
        sizes = " | ".join(f"{size:g}" for size in ladder.sizes)
        rows.append(f"| {ladder.name} | {sizes} | {ladder.about} | `{ladder.option}` |")
    yield "\n".join(rows)
    yield "How far the sheet is stretched over the steps of height, %, from the least to the most that two models say:"
    heights = [piece.how for piece in strip.pieces[: len(LADDERS[0].sizes)]]
    rows = [
        "| height | " + " | ".join(f"{how.relief_mm:g}" for how in heights) + " |",
        "| --- |" + " ---: |" * len(heights),
        f"| stretch | {' | '.join(f'{100 * bridged(how).down:.0f}…{100 * taut(how).down:.0f}' for how in heights)} |",
    ]
    yield "\n".join(rows)


def _keeping(paper: Paper) -> Iterator[str]:
    """The command that keeps what was read, and how a print file names it."""
    yield "## Keep what you read"
    yield "Leave out what you did not read."
    options = " ".join(f"{ladder.option} ..." for ladder in LADDERS)
    yield (
        f"```\ncarvegen profiles measured paper --like {paper.key} --name my-{paper.key} --date YYYY-MM-DD {options} "
        "--out my-profiles\n```"
    )
    yield (
        f'In a print file, `paper_profile = "my-{paper.key}"` under [print] holds every die against it; build with '
        "`--profiles my-profiles`."
    )
