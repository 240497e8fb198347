"""Times the working size, 50,000 flakes on 300 × 200 mm, beside the plain ways, as ratios with peak memory.

Plain ways that would take too long are run on a part and scaled by the number of shapes, which flatters those
that grow faster than that. ``--whole`` runs the plain land check on the whole block.

``python -m tests.bench --paths`` times the toolpaths instead: the laser's of 50,000 flakes, the router's of as many,
the V's of 2,000 grain lines and a simulated block; or each alone, such as ``python -m tests.bench.laser_paths``.
``python -m tests.bench.proof_page`` measures the proof sheet of the working size in a browser.
"""

from __future__ import annotations

import argparse
import importlib
import resource
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import shapely
import svgwrite

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.blocks.block import Block
from carvegen.blocks.job import Job, Setup, setups_for
from carvegen.checks import checked, land_width
from carvegen.checks.survey import Survey
from carvegen.facts.profiles import Library
from carvegen.motifs import snowfall
from carvegen.motifs.growth import Place
from carvegen.writers.block.block_dxf import machine_dxf
from carvegen.writers.block.block_svg import machine_svg

FLAKES = 50_000
WIDTH, HEIGHT = 300.0, 200.0


@dataclass
class Figure:
    """One line of the table: ours, and the plain way scaled to the same number of shapes."""

    name: str
    ours: float
    plain: float
    scaled: str = ""

    def line(self) -> str:
        return f"{self.name:<34}{self.ours:9.2f} s {self.plain:10.1f} s {self.plain / self.ours:8.1f} x   {self.scaled}"


def setup() -> Setup:
    """End grain, whose fine land lets 50,000 flakes stand on the face; a cutter as fine as that needs."""
    way = setups_for(Library(), material="maple-end-grain", cutter="v-30", kinds=["hand"])[0]
    return replace(way, cutter=replace(way.cutter, smallest_cut_mm=0.2), depth_mm=0.5)


def settings() -> snowfall.Settings:
    return snowfall.Settings(
        snow=0.165, smallest_mm=0.34, largest_mm=0.9, deep=0.5, gathered=0.25, torn=0.1, flurry_mm=14,
    )  # fmt: skip


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def flakes(way: Setup, *, share: float = 1.0) -> geometry.PolygonArray:
    """The flakes of a block with this share of the working size's area."""
    side = share**0.5
    margin = way.limits.land_mm
    area = shapely.box(margin, margin, WIDTH * side - margin, HEIGHT * side - margin)
    grown = snowfall.grow(settings(), Place(area=area), way.limits, stream(7, "bench")).cuts
    return grown[: round(FLAKES * share)]


def block_of(cuts: geometry.PolygonArray, *, share: float = 1.0) -> Block:
    side = share**0.5
    return Block(name="bench", width_mm=WIDTH * side, height_mm=HEIGHT * side, cuts=cuts)


def plain_darts(way: Setup, count: int) -> int:
    """Dart throwing: every flake is measured against every one before it."""
    rng = stream(7, "bench", "darts")
    placed = geometry.empty()
    side = (WIDTH * HEIGHT * count / FLAKES) ** 0.5
    while len(placed) < count:
        turn = np.sort(rng.uniform(0, 2 * np.pi, 24))
        reach = rng.uniform(0.2, 0.4) * rng.uniform(0.8, 1, 24)
        xy = rng.uniform(0, side, 2) + reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        flake = shapely.Polygon(xy)
        if len(placed) == 0 or shapely.distance(placed, flake).min() >= way.limits.land_mm:
            placed = np.append(placed, flake)
    return len(placed)


def plain_opening(block: Block, least: float) -> float:
    """The whole plate opened by half the land, and what is missing: slow, and blind to necks between small rounds."""
    land = shapely.difference(block.face, shapely.union_all(block.cuts))
    opened = land.buffer(-least / 2).buffer(least / 2)
    return float(shapely.area(shapely.difference(land, opened)))


def plain_dxf(cuts: geometry.PolygonArray, folder: Path) -> None:
    document = ezdxf.new("R2000")
    space = document.modelspace()
    for shape in cuts:
        space.add_lwpolyline(list(shape.exterior.coords[:-1]), close=True, dxfattribs={"layer": "CUT AREA"})
    document.saveas(folder / "plain.dxf")


def plain_svg(cuts: geometry.PolygonArray) -> str:
    drawing = svgwrite.Drawing(size=("300mm", "200mm"), viewBox="0 0 300 200")
    for shape in cuts:
        drawing.add(drawing.polygon([(round(x, 3), round(HEIGHT - y, 3)) for x, y in shape.exterior.coords[:-1]]))
    return drawing.tostring()


def run(*, whole: bool) -> None:
    way = setup()
    seconds, cuts = timed(lambda: flakes(way))
    job: Job = way.on(block_of(cuts))
    points = int(shapely.get_num_coordinates(cuts).sum())
    print(f"{len(cuts):,} flakes, {points:,} points on {WIDTH:g} × {HEIGHT:g} mm; land {way.limits.land_mm:g} mm\n")
    print(f"{'':<34}{'ours':>11} {'plain':>12} {'ratio':>10}")
    total = seconds
    few = 1500
    plain, _ = timed(lambda: plain_darts(way, few))
    print(Figure("generate / dart throwing", seconds, plain * len(cuts) / few, f"{few} flakes, scaled").line())
    seconds, report = timed(lambda: checked(job))
    total += seconds
    share = 1.0 if whole else 0.1
    part = cuts if whole else flakes(way, share=share)
    plain, _ = timed(lambda: plain_opening(block_of(part, share=share), way.limits.land_mm))
    scaled = plain * len(cuts) / len(part)
    print(Figure("all checks / plate opening", seconds, scaled, f"{len(part)} flakes").line())
    fresh = way.on(block_of(cuts))
    seconds, _ = timed(lambda: list(land_width.find(Survey(fresh))))
    print(Figure("  land widths alone / the same", seconds, scaled, f"{len(part)} flakes").line())
    seconds, text = timed(lambda: machine_svg(job))
    total += seconds
    plain, _ = timed(lambda: plain_svg(cuts[:2000]))
    print(Figure("SVG / svgwrite, validated", seconds, plain * len(cuts) / 2000, "2000 flakes, scaled").line())
    seconds, text = timed(lambda: machine_dxf(job))
    total += seconds
    with tempfile.TemporaryDirectory() as folder:
        plain, _ = timed(lambda: plain_dxf(cuts[:2000], Path(folder)))
    print(Figure("DXF / ezdxf document API", seconds, plain * len(cuts) / 2000, "2000 flakes, scaled").line())
    print(f"\nwhole case {total:.1f} s; {report.breaks} break of {len(report)} findings; DXF {len(text) / 1e6:.0f} MB")
    print(f"peak memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6:.2f} GB (plain ways included)")


def frost(points: int = 100_000) -> geometry.PolygonArray:
    """One cut that grows from the lower edge in some hundred bent needles."""
    rng = stream(7, "bench", "frost")
    needles = points // 400
    pitch, share = (WIDTH - 2) / needles, np.linspace(0, 1, 200)
    walls = []
    for k in range(needles):
        half = pitch * 0.33 * (1 - share) + 0.05 + 0.03 * np.sin(40 * share + k)
        x = 1 + pitch * (k + 0.5 + 0.25 * np.sin(6 * share))
        y = 3 + rng.uniform(20, HEIGHT - 50) * share
        walls += [np.column_stack([x - half, y]), np.column_stack([x + half, y])[::-1]]
    return geometry.polygon_array([shapely.Polygon(np.concatenate([[(0.6, 0.6)], *walls, [(WIDTH - 0.6, 0.6)]]))])


def wavy_lines(rows: int = 250, columns: int = 8) -> geometry.PolygonArray:
    """Dense wood grain: 2,000 lines of 240 points."""
    pitch, length = (HEIGHT - 4) / rows, (WIDTH - 2) / columns
    share = np.linspace(0, 1, 120)
    half = 0.11 + 0.11 * np.sin(np.pi * share) ** 0.5
    lines = []
    for row in range(rows):
        for column in range(columns):
            x = 1 + length * column + (length - 1.2) * share
            y = 2 + pitch * (row + 0.5) + 0.8 * np.sin(x / 9) + 0.3 * np.sin(x / 2.3)
            walls = np.column_stack([x, y - half]), np.column_stack([x, y + half])[::-1]
            lines.append(shapely.Polygon(np.concatenate(walls)))
    cuts = geometry.polygon_array(lines)
    return cuts[shapely.within(cuts, shapely.box(0.3, 0.3, WIDTH - 0.3, HEIGHT - 0.3))]


def crowded() -> None:
    """Blocks that shortcuts for many small shapes do not help."""
    for name, cuts in (("one frost cut", frost()), ("wavy lines", wavy_lines())):
        job = setup().on(block_of(cuts))
        seconds, report = timed(lambda job=job: checked(job))
        plain, _ = timed(lambda job=job: plain_opening(job.block, job.limits.land_mm))
        print(Figure(f"{name}: all checks", seconds, plain, f"{len(report)} findings").line())


def growth() -> None:
    """Ten times the shapes: how many times the time."""
    way = setup()
    times = []
    for share in (0.1, 1.0):
        job = way.on(block_of(flakes(way, share=share), share=share))
        job.block.land_rings  # noqa: B018  counted with neither
        times.append(timed(lambda job=job: checked(job))[0])
    print(f"checks: {times[0]:.2f} s for 5,000 flakes, {times[1]:.2f} s for 50,000: {times[1] / times[0]:.1f} times")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--whole", action="store_true", help="run the plain land check on the whole block (minutes)")
    parser.add_argument("--paths", action="store_true", help="time laser, router and V paths instead (minutes)")
    given = parser.parse_args()
    if given.paths:
        for name in ("laser_paths", "router_paths", "v_paths"):
            print(f"\n{name}")
            importlib.import_module(f"tests.bench.{name}").main()
        return
    run(whole=given.whole)
    growth()
    crowded()


if __name__ == "__main__":
    main()
