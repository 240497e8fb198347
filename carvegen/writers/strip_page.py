"""How to read a test strip: a page in Markdown with every rung's size and the command that keeps what was measured."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carvegen.teststrip import BAR_MM, PIECE_MM, PIECES, WEDGE_MM

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.job import Setup
    from carvegen.teststrip import Ladder, Strip

__all__ = ["strip_page"]

_OPTIONS = {
    "land_across_mm": "--land-across",
    "land_along_mm": "--land-along",
    "dot_mm": "--dot",
    "cut_mm": "--cut",
}


def strip_page(strip: Strip, setup: Setup) -> str:
    """The page for whoever reads the strip after it was cut, washed and printed."""
    return "\n".join(_lines(strip, setup)) + "\n"


def _lines(strip: Strip, setup: Setup) -> Iterator[str]:
    block = strip.block
    yield f"# Test strip: {setup.material.name}, {setup.cutter.name}"
    yield ""
    yield (
        f"A piece of {block.width_mm:g} x {block.height_mm:g} mm, cut once at the depth of a real block, inked and "
        "printed. Grain runs along the long side. Many rungs are meant to fail: the one beside the last that failed is "
        "your limit."
    )
    yield ""
    yield "## The ladders"
    yield ""
    yield "Rung 1 is beside the small triangle. Sizes in mm, as drawn."
    yield ""
    yield "| ladder | " + " | ".join(str(k) for k in range(1, len(strip.ladders[0].sizes_mm) + 1)) + " | look for |"
    yield "| --- |" + " ---: |" * len(strip.ladders[0].sizes_mm) + " --- |"
    yield from (_ladder_row(ladder) for ladder in strip.ladders)
    yield ""
    yield "## The wall"
    yield ""
    widest, length = WEDGE_MM
    yield (
        f"- The bar between the two cuts that are open at the lower edge is drawn {BAR_MM:g} mm wide. Measure it with "
        "callipers at the face and at its foot, and the depth of the cut beside it."
    )
    yield (
        f"- The cut that tapers is {widest:g} mm wide at its left end and nothing {length:g} mm further. Measure from "
        "its tip to where its flat floor ends: there both walls meet. No callipers reach a narrow foot; this does."
    )
    if strip.has_comb:
        yield ""
        yield "## The kerf"
        yield ""
        yield (
            f"The {PIECES} pieces, each drawn {PIECE_MM:g} mm wide, are cut out ALONG THEIR OUTLINES, without any "
            "compensation. Push them together, side to side and all the same way up, and measure across all of them at "
            "the face, then turned over at the back."
        )
    yield ""
    yield "## Keep what you measured"
    yield ""
    other = " In the place of --bar-foot you may give --floor-ends, from the tapering cut." * (setup.cutter.form == "v")
    yield f"Leave out what you did not measure.{other} The date is the day on which you cut and measured the strip."
    yield ""
    yield "```"
    yield from _commands(strip, setup)
    yield "```"
    yield ""
    yield (
        "Both write a profile into the folder `my-profiles`; every value that you give says that you measured it, and "
        "when. Use it with `--profiles my-profiles`. Cautions and refusals of the profile it starts from stay."
    )


def _ladder_row(ladder: Ladder) -> str:
    return f"| {ladder.name} | " + " | ".join(f"{size:g}" for size in ladder.sizes_mm) + f" | {ladder.about} |"


def _commands(strip: Strip, setup: Setup) -> Iterator[str]:
    own = "my-" + setup.cutter.key
    own_readings = {
        "laser": "--comb-face ... --comb-back ... --thickness ... ", "v": "--bar-foot ... --depth ... ",
    }  # fmt: skip
    values = f"{own_readings.get(setup.cutter.form, '')}--bar-face ... --cut ..."
    yield (
        f"carvegen profiles measured cutter --like {setup.cutter.key} --name {own} --date YYYY-MM-DD "
        f"{values} --out my-profiles"
    )
    rungs = " ".join(f"{_OPTIONS[ladder.key]} ..." for ladder in strip.ladders)
    yield (
        f"carvegen profiles measured material --like {setup.material.key} --name my-{setup.material.key} "
        f"--cutter {own} --profiles my-profiles --date YYYY-MM-DD {rungs} --out my-profiles"
    )
