"""Times the motifs at a working size beside plain ways, by CPU time: ``python -m tests.bench.motifs``.

The plain way of each is what one writes first: shapes made one after another in a Python loop, each measured with
shapely against all made before. It is run on a part and scaled by its share of the output, which flatters it, for
its cost grows faster than that; the plain frost, grain and lying snow hold less than ours (no branches, no necks, no
tapers). The last column is what four times the face costs, in times of one.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial
from typing import Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.limits import Limits
from carvegen.base.streams import stream
from carvegen.geometry import PolygonArray
from carvegen.motifs import motif
from carvegen.motifs.growth import Place

LIMITS = Limits(land_along_mm=0.5, land_across_mm=0.5, cut_mm=0.4, dot_mm=0.8)
WIDTH, HEIGHT = 150.0, 100.0
STEP_MM = 0.25


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def trees(times: int) -> PolygonArray:
    """Bare trees side by side: forks down to twigs."""
    grown = []
    for k in range(times):
        rng, limbs = stream(5, "bench", str(k)), []
        ends = [(np.array([WIDTH * (k + 0.5), 2.0]), np.pi / 2, 22.0, 3.0)]
        while ends:
            foot, angle, reach, half = ends.pop()
            tip = foot + reach * np.array([np.cos(angle), np.sin(angle)])
            limbs.append(shapely.LineString([foot, tip]).buffer(half))
            if half > 0.3:
                ends += [(tip, angle + turn + rng.normal(0, 0.1), reach * 0.78, half * 0.66) for turn in (-0.45, 0.45)]
        grown.append(shapely.union_all(limbs))
    return geometry.parts(np.array(grown, dtype=object))


def ours(name: str, times: int) -> PolygonArray:
    """A motif's cuts on a face of so many times the working size, wider as it is larger."""
    face = shapely.box(0, 0, WIDTH * times, HEIGHT)
    on = trees(times) if name == "snowload" else geometry.empty()
    settings = motif(name).Settings(**next(iter(motif(name).PRESETS.values())))
    return motif(name).grow(settings, Place(area=face, shapes=on), LIMITS, stream(7, "bench", name)).cuts


def apart(shape: shapely.Geometry, placed: list[shapely.Geometry], least: float) -> bool:
    return all(shape.distance(other) >= least for other in placed)


def plain_snowfall(count: int) -> float:
    """Dart throwing; returns how many flakes lie."""
    rng, placed = stream(7, "bench", "darts"), []
    while len(placed) < count:
        turn = np.sort(rng.uniform(0, 2 * np.pi, 24))
        reach = rng.uniform(0.4, 2.0) * rng.uniform(0.8, 1, 24)
        middle = rng.uniform(0, [WIDTH, HEIGHT])
        flake = shapely.Polygon(middle + reach[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])).buffer(0)
        if apart(flake, placed, LIMITS.land_mm):
            placed.append(flake)
    return count


def plain_frost(length_mm: float) -> float:
    """Arms that step while nothing is in their way; returns their length, mm."""
    rng, done, arms = stream(7, "bench", "arms"), 0.0, []
    while done < length_mm:
        line, angle = [rng.uniform(0, [WIDTH, HEIGHT])], rng.uniform(0, 2 * np.pi)
        for _ in range(int(rng.integers(8, 60))):
            angle += rng.normal(0, 0.02)
            line.append(line[-1] + STEP_MM * np.array([np.cos(angle), np.sin(angle)]))
            if not apart(shapely.LineString(line[-2:]), arms, LIMITS.land_mm + LIMITS.cut_mm):
                break
            done += STEP_MM
        arms.append(shapely.LineString(line).buffer(LIMITS.cut_mm / 2))
    return done


def plain_grain(length_mm: float) -> float:
    """Wavy lines drawn one under the other, each kept if it leaves the land; returns their length, mm."""
    lines, x, done = [], np.arange(0, WIDTH, STEP_MM), 0.0
    while done < length_mm:
        y = 1.1 * len(lines) + 2 * np.sin(x / 30) + 0.1 * np.sin(x / 4)
        line = shapely.LineString(np.column_stack([x, y])).buffer(LIMITS.cut_mm / 2)
        if apart(line, lines, 0.0):
            lines.append(line)
        done += WIDTH
    return done


def plain_snowload(length_mm: float) -> float:
    """Columns of snow on what a plumb line meets first, united and smoothed; returns the length covered, mm."""
    whole, columns = shapely.union_all(trees(1)), []
    for x in np.arange(0, WIDTH, STEP_MM)[: int(length_mm / STEP_MM)]:
        hit = shapely.LineString([(x, 0), (x, HEIGHT)]).intersection(whole)
        columns += [shapely.box(x, line.bounds[3], x + STEP_MM, line.bounds[3] + 2) for line in shapely.get_parts(hit)]
    return 2 * shapely.union_all(columns).buffer(0.5).buffer(-1).buffer(0.5).length and length_mm


def half_outline(cuts: PolygonArray) -> float:
    """Length of strokes, mm: half their outlines."""
    return float(shapely.length(cuts).sum()) / 2


#: Each motif's plain way, the part on which it is run, and how much output there is of that kind.
PLAIN: dict[str, tuple[Callable[[float], float], float, Callable[[PolygonArray], float]]] = {
    "snowfall": (plain_snowfall, 300, len),
    "frost": (plain_frost, 500.0, half_outline),
    "grain": (plain_grain, 4000.0, half_outline),
    "snowload": (plain_snowload, 40.0, lambda cuts: WIDTH),
}


def main() -> None:
    """Print the table."""
    print(f"{WIDTH:g} × {HEIGHT:g} mm, CPU seconds\n")
    print(f"{'motif':<10}{'cuts':>7}{'ours':>9}{'plain':>9}{'ratio':>8}{'x4 cuts':>9}{'x4 time':>9}")
    for name, (plain, part, measure) in PLAIN.items():
        ours(name, 1)  # what is loaded at first use is not counted
        seconds, cuts = timed(partial(ours, name, 1))
        slow, made = timed(partial(plain, part))
        slow *= max(measure(cuts) / made, 1.0)
        larger, more = timed(partial(ours, name, 4))
        row = f"{name:<10}{len(cuts):>7}{seconds:>9.2f}{slow:>9.1f}{slow / seconds:>8.1f}"
        print(f"{row}{len(more) / len(cuts):>9.1f}{larger / seconds:>9.1f}")


if __name__ == "__main__":
    main()
