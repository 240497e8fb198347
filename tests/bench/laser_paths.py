"""Times the laser's ordered paths of 50,000 flakes beside a plain twin; run as ``python -m tests.bench.laser_paths``.

The twin insets each flake by itself and always goes on to the nearest that is left, found by looking at all: it is
run on a part and scaled by the number of flakes, which flatters it, as its order grows with the square.
"""

from __future__ import annotations

import numpy as np
import shapely

from carvegen.blocks.job import Job, setups_for
from carvegen.facts.profiles import Library
from carvegen.geometry import Floats, PolygonArray
from carvegen.toolpaths.laser.beam import beam_half_mm
from carvegen.toolpaths.laser.planner import laser_plan
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.settings import LOWERED, PathSettings
from carvegen.writers.plan.plan_drawing import plan_dxf, plan_svg
from carvegen.writers.plan.plan_png import plan_png
from tests.bench.working_size import block_of, flakes, setup, timed

PART = 2000


def laser_job(cuts: PolygonArray) -> Job:
    setup_ = setups_for(Library(), material="maple-end-grain", cutter="laser-fine", kinds=["laser"], depth_mm=0.5)[0]
    return setup_.on(block_of(cuts))


def plain(cuts: PolygonArray, half: float) -> float:
    """The way between outlines that one after another insets and seeks; in mm."""
    starts = []
    for shape in cuts:
        inner = shape.buffer(-half)
        starts += [part.exterior.coords[0] for part in shapely.get_parts(inner) if not part.is_empty]
    left, here, walked = np.array(starts), np.zeros(2), 0.0
    while len(left):
        far = np.hypot(*(left - here).T)
        k = int(np.argmin(far))
        here, walked = left[k], walked + float(far[k])
        left = np.delete(left, k, axis=0)
    return walked


def ways(plan: Floats) -> float:
    step = np.diff(plan, axis=0)
    return float(np.hypot(step[:, 0], step[:, 1]).sum())


def main() -> None:
    cuts = flakes(setup())
    job = laser_job(cuts)
    half = beam_half_mm(job, job.depth_mm)
    part = cuts[np.argsort(shapely.get_x(shapely.centroid(cuts)), kind="stable")[:PART]]
    slow, length = timed(lambda: plain(part, half))
    per_mm = ways(laser_plan(laser_job(part), PathSettings(shoulder_steps=0)).operations[-1].paths.entries[:, :2])
    print(f"{len(cuts):,} flakes; the twin: {slow * len(cuts) / PART:.1f} s, {PART} flakes, scaled")
    print(f"travel of these {PART}: {per_mm / 1000:.2f} m, the twin's {length / 1000:.2f} m\n")
    for lowered in LOWERED:
        for steps in (0, 2):
            seconds, plan = timed(
                lambda how=lowered, k=steps: laser_plan(job, PathSettings(lowered=how, shoulder_steps=k))
            )
            paths = sum(len(step.paths) for step in plan.operations)
            hours = sum(each.whole_s for each in timing.times(plan) or ()) / 3600
            print(f"{lowered:<9} {steps} steps {seconds:6.2f} s  {paths:,} paths, {hours:.1f} h")
    plan = laser_plan(job, PathSettings())
    for name, write in (("paths.dxf", plan_dxf), ("paths.svg", plan_svg), ("paths.png", plan_png)):
        print(f"{name:<17} {timed(lambda one=write: one(plan))[0]:6.2f} s")


if __name__ == "__main__":
    main()
