"""Times router paths on the working size beside the plain way: the whole land grown by the cutter, ring by ring.

Run with ``python -m tests.bench.router_paths``; seconds of processor time.
"""

from __future__ import annotations

from dataclasses import replace

import shapely

from carvegen import geometry
from carvegen.blocks.block import Block
from carvegen.blocks.job import setups_for
from carvegen.facts.profiles import Library
from carvegen.toolpaths import cutter_centre_region
from carvegen.toolpaths.router.planner import router_plan
from carvegen.toolpaths.settings import PathSettings
from tests.bench.working_size import block_of, flakes, setup, timed

SETS = (("v-30", ("flat-1",)), ("flat-1", ()))
SHARE = 0.02  #: of the working size that the plain way is run on
DEPTH_MM = 0.5


def plain_rings(block: Block, inset_mm: float, step_mm: float) -> list[shapely.Geometry]:
    """Every ring of one cutter: the land of the whole block in one piece, grown again and again."""
    land = shapely.difference(block.face, shapely.union_all(block.cuts))
    rings, off = [], inset_mm
    while not (free := shapely.difference(block.face, shapely.buffer(land, off, quad_segs=16))).is_empty:
        rings.append(shapely.boundary(free))
        off += step_mm
    return rings


def main() -> None:
    shelf = Library()
    cuts, part = flakes(setup()), flakes(setup(), share=SHARE)
    for own, also in SETS:
        setup_ = setups_for(shelf, material="maple-end-grain", cutter=own, kinds=["router"], depth_mm=DEPTH_MM)[0]
        setup_ = replace(setup_, cutter=replace(setup_.cutter, smallest_cut_mm=0.2))
        settings = PathSettings(also_cutters=tuple(map(shelf.cutter, also)))
        job = setup_.on(block_of(cuts))
        seconds, plan = timed(lambda job=job, settings=settings: router_plan(job, settings))
        each = cutter_centre_region.fit(setup_.cutter, setup_.cutter, DEPTH_MM)
        few = block_of(part, share=SHARE)
        plain, _ = timed(lambda few=few, one=each: plain_rings(few, one.inset_mm, 0.7 * one.floor_mm))
        name = " + ".join((own, *also))
        slow = plain * len(cuts) / len(part)
        print(f"{name}: {seconds:.1f} s; the whole land grown: {slow:.0f} s ({len(part)} flakes, scaled)")
        paths = sum(len(operation.paths) for operation in plan.operations)
        points = sum(len(operation.paths.xyz) for operation in plan.operations)
        print(f"  {paths} paths, {points / 1e6:.1f} M points, {len(geometry.parts(plan.unreached))} places unreached")


if __name__ == "__main__":
    main()
