"""Times a V's centre lines for 2,000 grain lines, and a simulated block, beside plain ways; CPU seconds.

The plain way to a centre line: each cut drawn on a raster of 0.02 mm, thinned by scikit-image's medial axis with its
distance transform; run on a part and scaled. The plain way to a simulated V: one cone after another.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import shapely
from skimage.draw import polygon2mask
from skimage.morphology import medial_axis

from carvegen import geometry
from carvegen.base.streams import stream
from carvegen.blocks.block import Block
from carvegen.blocks.job import Job, setups_for
from carvegen.facts.profiles import Library
from carvegen.geometry import medial
from carvegen.motifs import grain
from carvegen.motifs.growth import Place
from carvegen.toolpaths import plan_for
from carvegen.toolpaths.paths import Plan
from carvegen.toolpaths.sequence.order import ordered
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.simulation.simulated_block import simulated
from carvegen.toolpaths.v_carving.centre_lines import centre_lines

LINES = 2000
PART = 10


def timed(work: Callable[[], Any]) -> tuple[float, Any]:
    begin = time.process_time()
    result = work()
    return time.process_time() - begin, result


def job(width: float, height: float) -> Job:
    shelf = Library()
    setup = setups_for(shelf, material="cherry", cutter="v-60", kinds=["router"], depth_mm=1.0)[0]
    place = Place(area=shapely.box(0, 0, width, height))
    cuts = grain.grow(grain.Settings(ring_mm=1.8), place, setup.limits, stream(7, "bench")).cuts
    return setup.on(Block(name="bench", width_mm=width, height_mm=height, cuts=cuts))


def plain_centre_lines(cuts: geometry.PolygonArray, px: float = 0.02) -> int:
    points = 0
    for shape in cuts:
        x, y, right, top = shape.bounds
        size = (math.ceil((right - x) / px) + 3, math.ceil((top - y) / px) + 3)
        mask = polygon2mask(size, (shapely.get_coordinates(shape.exterior) - (x, y)) / px + 1)
        points += int(medial_axis(mask, return_distance=True)[0].sum())
    return points


def plain_relief(plan: Plan, width: float, height: float, px: float = 0.05) -> float:
    """Seconds for all of the plan, from one path of its centre lines."""
    operation = plan.operations[-1]
    low = np.zeros((round(height / px), round(width / px)))
    y, x = (np.indices(low.shape) + 0.5) * px
    places = operation.paths.xyz[:20]
    begin = time.process_time()
    for px_, py_, pz in places:
        np.minimum(low, pz + np.hypot(x - px_, y - py_) / math.tan(math.radians(30)), out=low)
    each = (time.process_time() - begin) / len(places)
    return each * sum(float(step.paths.lengths.sum()) for step in plan.operations) / (px / 2)


def main() -> None:
    some = job(300, 200)
    tiles = math.ceil(LINES / len(some.block.cuts))
    cuts = geometry.stack(geometry.moved(some.block.cuts, (0, 210.0 * k)) for k in range(tiles))[:LINES]
    seconds, paths = timed(lambda: ordered(centre_lines(medial.medial_axis(cuts), some.cutter, 1.0)))
    plain, _ = timed(lambda: plain_centre_lines(cuts[:: LINES // PART]))
    points = int(shapely.get_num_coordinates(cuts).sum())
    print(f"{len(cuts):,} grain lines of {points:,} points: {len(paths):,} centre lines, ordered")
    print(f"  ours {seconds:.1f} s; thinned rasters {plain * LINES / PART:.0f} s (from {PART} lines)")
    small = job(100, 80)
    plan = plan_for(small, PathSettings())
    assert plan is not None
    seconds, each = timed(lambda: simulated(plan, 0.05))
    report, _ = timed(each.to_dict)
    print(f"simulated 100 x 80 mm at 0.05 mm, {len(small.block.cuts)} cuts")
    print(
        f"  ours {seconds:.1f} s, and {report:.1f} s for what differs; cone by cone {plain_relief(plan, 100, 80):.0f} s"
    )


if __name__ == "__main__":
    main()
