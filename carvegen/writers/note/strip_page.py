"""How to read a test strip: a page in Markdown, and for the hand a guide with numbered rungs and tables to fill in."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.blocks.test_strip import (
    BAR_MM,
    PIECE_MM,
    PIECES,
    WEDGE_MM,
)
from carvegen.writers.guide.hand_guide import Label, Table

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.job import Setup
    from carvegen.blocks.test_strip import Ladder, Strip
    from carvegen.writers.guide.hand_guide import Guide

__all__ = ["strip_guide", "strip_page"]

_OPTIONS = {
    "land_across_mm": "--land-across",
    "land_along_mm": "--land-along",
    "dot_mm": "--dot",
    "cut_mm": "--cut",
}


def strip_page(strip: Strip, setup: Setup) -> str:
    """The page for whoever reads the strip after it was cut, washed and printed."""
    return "\n\n".join([*_reading(strip, setup), *_keeping(strip, setup)]) + "\n"


def strip_guide(guide: Guide, strip: Strip, setup: Setup) -> Guide:
    """The guide of a strip by which it is cut and read: its rungs numbered, with tables of what to write down.

    It has no marks on land that is thin or small: that is what the strip tries out.
    """
    places = guide.shown.places(place for ladder in strip.ladders for place in ladder.rungs)
    numbers = [str(k) for ladder in strip.ladders for k in range(1, len(ladder.rungs) + 1)]
    return replace(
        guide,
        zones=replace(guide.zones, thin=np.empty((0, 4)), stands=geometry.empty()),
        shows=tuple(one for one in guide.shows if one.shows not in {"thin", "stands", "borders"}),
        borders=np.empty((0, 4)),
        facts=(*guide.facts, _MEANT),
        labels=tuple(Label(at=(x, y), text=text) for (x, y), text in zip(places.tolist(), numbers, strict=True)),
        tables=(_rungs_table(strip), _readings_table(setup)),
    )


_ALONG = (
    "The beam follows the outlines, on the ladders and at the bar as on the comb: each land comes out one kerf "
    "narrower than drawn, each cut one kerf wider. Give the sizes as drawn: the commands below allow for the kerf, so "
    "keep the cutter first."
)
_MEANT = "Cut it once, as drawn. Many rungs are meant to fail: mend none of them."


def _rungs_table(strip: Strip) -> Table:
    numbers = [str(k) for k in range(1, len(strip.ladders[0].sizes_mm) + 1)]
    rows = (
        (ladder.name, *(f"{size:g}" for size in ladder.sizes_mm), ladder.about, "", _OPTIONS[ladder.key])
        for ladder in strip.ladders
    )
    return Table(
        heading="What the rungs show",
        words=(
            "Numbers as on the drawing; rung 1 is beside the small triangle. Sizes in mm, as drawn. Ring the last rung "
            "that failed and write down the size of the one beside it: that is your limit.",
        ),
        rows=(("ladder", *numbers, "look for", "write it here", "kept by"), *rows),
    )


def _readings_table(setup: Setup) -> Table:
    widest, length = WEDGE_MM
    bar = f"the bar between the two cuts that are open at the lower edge, drawn {BAR_MM:g} mm wide"
    rows = [(f"{bar}: at the face", "", "--bar-face")]
    if setup.cutter.form == "v":
        rows += [
            ("the same: at its foot", "", "--bar-foot"),
            ("the depth of the cut beside it", "", "--depth"),
            (
                f"or, in the place of its foot: the cut that tapers, {widest:g} mm wide and {length:g} mm long, from "
                "its tip to where its flat floor ends",
                "", "--floor-ends",
            ),
        ]  # fmt: skip
    rows.append(("the day on which it was cut and measured, year-month-day", "", "--date"))
    return Table(
        heading="What to measure, and when",
        words=("The page how-to-read.md has the commands that keep these.",),
        rows=(("reading, mm", "write it here", "kept by"), *rows),
    )


def _reading(strip: Strip, setup: Setup) -> Iterator[str]:
    """What the strip is, and what to look for and measure on it."""
    block, (widest, length) = strip.block, WEDGE_MM
    yield f"# Test strip: {setup.material.name}, {setup.cutter.name}"
    yield (
        f"A piece of {block.width_mm:g} x {block.height_mm:g} mm, cut once at the depth of a real block, inked and "
        "printed. Grain runs along the long side. Many rungs are meant to fail: the one beside the last that failed is "
        "your limit."
    )
    yield "## The ladders"
    yield "Rung 1 is beside the small triangle. Sizes in mm, as drawn."
    if setup.cutter.form == "laser":
        yield _ALONG
    rows = [
        "| ladder | " + " | ".join(str(k) for k in range(1, len(strip.ladders[0].sizes_mm) + 1)) + " | look for |",
        "| --- |" + " ---: |" * len(strip.ladders[0].sizes_mm) + " --- |",
    ]
    yield "\n".join([*rows, *(_ladder_row(ladder) for ladder in strip.ladders)])
    yield "## The wall"
    yield (
        f"- The bar between the two cuts that are open at the lower edge is drawn {BAR_MM:g} mm wide. Measure it with "
        "callipers at the face and at its foot, and the depth of the cut beside it.\n"
        f"- The cut that tapers is {widest:g} mm wide at its left end and nothing {length:g} mm further. Measure from "
        "its tip to where its flat floor ends: there both walls meet. No callipers reach a narrow foot; this does."
    )
    if strip.has_comb:
        yield "## The kerf"
        yield (
            f"The {PIECES} pieces, each drawn {PIECE_MM:g} mm wide, are cut out ALONG THEIR OUTLINES, without any "
            "compensation. Push them together, side to side and all the same way up, and measure across all of them at "
            "the face, then turned over at the back."
        )


def _keeping(strip: Strip, setup: Setup) -> Iterator[str]:
    """The commands that keep what was measured, and what they write."""
    yield "## Keep what you measured"
    other = " In the place of --bar-foot you may give --floor-ends, from the tapering cut." * (setup.cutter.form == "v")
    yield f"Leave out what you did not measure.{other} The date is the day on which you cut and measured the strip."
    yield "\n".join(["```", *_commands(strip, setup), "```"])
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
    both = f"my-{setup.material.key}-{setup.cutter.key}"  # what holds depends on the cutter, too
    yield (
        f"carvegen profiles measured material --like {setup.material.key} --name {both} "
        f"--cutter {own} --profiles my-profiles --date YYYY-MM-DD {rungs} --out my-profiles"
    )
