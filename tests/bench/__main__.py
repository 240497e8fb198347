"""Times the working size, 50,000 flakes on 300 × 200 mm, in units and beside the plain ways; then 5,000 to 200,000.

Plain ways that would take too long are run on a part and scaled by the number of shapes, which flatters those
that grow faster than that. ``--quick`` leaves the other sizes and the crowded blocks out; ``--whole`` runs the plain
land check on the whole block; ``--base`` times the sample's build and README's command beside an earlier state.

``python -m tests.bench --paths`` times the toolpaths instead: the laser's of 50,000 flakes, the router's of as many,
the V's of 2,000 grain lines and a simulated block; or each alone, such as ``python -m tests.bench.laser_paths``.
``python -m tests.bench.proof_page`` measures the proof sheet of the working size in a browser.
"""

from __future__ import annotations

import argparse
import importlib
from pathlib import Path

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks import checked
from tests.bench.table import beside_base, of_one_size, of_sizes
from tests.bench.working_size import HEIGHT, WIDTH, block_of, flakes, frost, plain_opening, setup, timed


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
        print(f"{name}: all checks {seconds:.1f} s, the plain way {plain:.1f} s; {len(report)} findings")


def whole_plate() -> None:
    """The plain land check on the whole block."""
    setup_ = setup()
    cuts = flakes(setup_)
    seconds, _ = timed(lambda: plain_opening(block_of(cuts), setup_.limits.land_mm))
    print(f"opening of the whole plate: {seconds:.0f} s for {len(cuts):,} flakes")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="the first table only")
    parser.add_argument("--whole", action="store_true", help="run the plain land check on the whole block (minutes)")
    parser.add_argument("--base", type=Path, help="a worktree of an earlier state, to time beside")
    parser.add_argument("--paths", action="store_true", help="time laser, router and V paths instead (minutes)")
    values = parser.parse_args()
    if values.paths:
        for name in ("laser_paths", "router_paths", "v_paths"):
            print(f"\n{name}")
            importlib.import_module(f"tests.bench.{name}").main()
        return
    of_one_size()
    if values.base:
        beside_base(values.base)
    if values.whole:
        whole_plate()
    if not values.quick:
        of_sizes()
        crowded()


if __name__ == "__main__":
    main()
