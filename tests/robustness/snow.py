"""Falling snow keeps its limits: presets, seeds, sizes, materials and machines."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
import shapely

from carvegen.base.streams import stream
from carvegen.blocks.from_motif import Ground, grown_block
from carvegen.blocks.job import Job, setups_for
from carvegen.checks import checked
from carvegen.motifs.snowfall import PRESETS, Settings
from tests.cases import SHELF

__all__ = ["RULES", "WAYS", "faults", "limits_broken", "printed", "snow"]

RULES = ("land-width", "small-island", "cut-width")
WAYS = (
    ("linoleum", "laser-fine", "laser"),
    ("linoleum", "v-60", "router"),
    ("linoleum", "v-60", "hand"),
    ("cherry", "laser-fine", "laser"),
    ("maple-end-grain", "v-60", "router"),
    ("maple-end-grain", "v-30", "hand"),
)
SIZES = (60, 60, 60, 60, 80, 80, 100, 120, 200, 400)
END_GRAIN_MM = 120
_EVERY = 25


def faults(number: int, *, sizes: tuple[int, ...] = SIZES) -> Iterator[str]:
    """What is wrong with the block of this number: a finding of land, island or cut, or other white than asked."""
    preset = sorted(PRESETS)[number % len(PRESETS)]
    material, cutter, machine = WAYS[number // len(PRESETS) % len(WAYS)]
    rng = np.random.default_rng(number)
    width = int(rng.choice(sizes))
    width = min(width, END_GRAIN_MM) if "end-grain" in material else width
    height = round(width * float(rng.choice([0.6, 0.75, 1.0])))
    setup_ = setups_for(SHELF, material=material, cutter=cutter, kinds=[machine])[0]
    chosen: dict[str, Any] = dict(PRESETS[preset])
    settings = Settings(**chosen)
    ground = Ground(name="sky", width_mm=width, height_mm=height)
    block = grown_block(ground, settings, setup_.limits, stream(number, "law"), by="snowfall")
    label = f"{number}: {preset}, {width} x {height} mm, {material}, {cutter}, {machine}"
    white = shapely.area(block.cuts).sum() / (width * height)
    if abs(white - settings.snow) > 0.01:
        yield f"{label}: {settings.snow:.1%} white asked, {white:.1%} came"
    yield from limits_broken(setup_.on(block), label)


def limits_broken(job: Job, label: str) -> Iterator[str]:
    """Each finding of land, island or cut on a job, in a line."""
    for each in checked(job):
        if each.rule in RULES:
            yield f"{label}: {each.rule} ({each.severity.label}) {each.measured:.3f} for {each.limit:.3f} at {each.at}"


def printed(faults: Callable[[int], Iterator[str]], blocks: int, start: int) -> int:
    """Print each fault of so many blocks as it is seen, and now and then how far it is; how many there are."""
    seen = 0
    for done, number in enumerate(range(start, start + blocks), 1):
        for fault in faults(number):
            seen += 1
            print(fault, flush=True)
        if done % _EVERY == 0 or done == blocks:
            print(f"{done} of {blocks} blocks from {start}, {seen} faults, {time.process_time():.0f} s", flush=True)
    return seen


def snow(blocks: int, start: int) -> int:
    """Print each fault of so many blocks of falling snow; how many there are."""
    return printed(faults, blocks, start)
