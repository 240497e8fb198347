"""The working size, 50,000 flakes on 300 × 200 mm, and the plain ways beside which it is timed."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import ezdxf
import numpy as np
import shapely
import svgwrite

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.blocks.block import Block
from carvegen.blocks.job import Setup, setups_for
from carvegen.facts.profiles import Library
from carvegen.motifs import snowfall
from carvegen.motifs.growth import Place

FLAKES = 50_000
WIDTH, HEIGHT = 300.0, 200.0


def setup() -> Setup:
    """End grain, whose fine land lets 50,000 flakes stand on the face; a cutter as fine as that needs."""
    setup_ = setups_for(Library(), material="maple-end-grain", cutter="v-30", kinds=["hand"])[0]
    return replace(setup_, cutter=replace(setup_.cutter, smallest_cut_mm=0.2), depth_mm=0.5)


def settings() -> snowfall.Settings:
    return snowfall.Settings(
        snow=0.17, smallest_mm=0.32, largest_mm=0.8, deep=0.5, gathered=0.25, torn=0.1, flurry_mm=14,
    )  # fmt: skip


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def flakes(setup_: Setup, *, share: float = 1.0) -> geometry.PolygonArray:
    """The flakes of a block with this share of the working size's area."""
    side = share**0.5
    margin = setup_.limits.land_mm
    area = shapely.box(margin, margin, WIDTH * side - margin, HEIGHT * side - margin)
    grown = snowfall.grow(settings(), Place(area=area), setup_.limits, stream(7, "bench")).cuts
    return grown[: round(FLAKES * share)]


def block_of(cuts: geometry.PolygonArray, *, share: float = 1.0) -> Block:
    side = share**0.5
    return Block(name="bench", width_mm=WIDTH * side, height_mm=HEIGHT * side, cuts=cuts)


def frost(points: int = 100_000) -> geometry.PolygonArray:
    """One cut that grows from the lower edge in some hundred bent needles."""
    rng = stream(7, "bench", "frost")
    needles = points // 400
    pitch, share = (WIDTH - 2) / needles, np.linspace(0, 1, 200)
    slim = min(1.0, pitch)  # needles that stand closer are thinner, or they would meet
    walls = []
    for k in range(needles):
        half = pitch * 0.33 * (1 - share) + slim * (0.05 + 0.03 * np.sin(40 * share + k))
        x = 1 + pitch * (k + 0.5 + 0.25 * np.sin(6 * share))
        y = 3 + rng.uniform(20, HEIGHT - 50) * share
        walls += [np.column_stack([x - half, y]), np.column_stack([x + half, y])[::-1]]
    return geometry.polygon_array([shapely.Polygon(np.concatenate([[(0.6, 0.6)], *walls, [(WIDTH - 0.6, 0.6)]]))])


def plain_darts(setup_: Setup, count: int) -> int:
    """Dart throwing: every flake is measured against every one before it."""
    rng = stream(7, "bench", "darts")
    placed = geometry.empty()
    side = (WIDTH * HEIGHT * count / FLAKES) ** 0.5
    while len(placed) < count:
        turn = np.sort(rng.uniform(0, 2 * np.pi, 24))
        reach = rng.uniform(0.2, 0.4) * rng.uniform(0.8, 1, 24)
        xy = rng.uniform(0, side, 2) + reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        flake = shapely.Polygon(xy)
        if len(placed) == 0 or shapely.distance(placed, flake).min() >= setup_.limits.land_mm:
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


def raw_dxf(rings: geometry.Rings) -> str:
    """The text of outlines as closed polylines, by string formatting alone: the time it takes is the unit."""
    report = []
    for k in range(len(rings)):
        xy = rings.xy[rings.start[k] : rings.start[k + 1]].tolist()
        head = f"0\nLWPOLYLINE\n8\nCUT AREA\n90\n{len(xy)}\n70\n1\n"
        report.append(head + "".join(["10\n%.3f\n20\n%.3f\n" % (x, y) for x, y in xy]))  # noqa: UP031  twice as fast
    return "".join(report)
