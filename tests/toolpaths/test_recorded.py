"""What laser, router and V follow on a small block, in figures (`tests/recorded.py`)."""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np
import pytest
import shapely

from carvegen.blocks.job import USUAL_MACHINES
from carvegen.toolpaths import plan_for, promises
from carvegen.toolpaths.settings import PathSettings
from carvegen.toolpaths.simulation.simulated_block import simulated
from tests.cases import SHELF, block, box, disc, setup, shapes
from tests.recorded import Parts, Scenes, compare, of_plan, of_shapes, telling


def blob(x: float, y: float, size: float, turn: float) -> shapely.Polygon:
    angle = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    reach = size / 2 * (1 + 0.25 * np.sin(2 * angle + turn) + 0.12 * np.sin(5 * angle + 2 * turn))
    return shapely.Polygon(np.column_stack([x + reach * np.cos(angle), y + reach * np.sin(angle)]))


#: Blobs large and small, one with an island, a fine slot, a wedge, one over the edge; two cut-outs, one with a core.
CUTS = [
    blob(5, 5, 6, 0.4), blob(11, 4, 3, 1.0), blob(15, 5, 2.2, 2.0), blob(6, 13, 8, 2.6).difference(disc(6, 13, 1.2)),
    box(12, 8, 0.5, 6), shapely.Polygon([(14, 8), (22, 9), (14, 10.5)]), blob(19, 4, 1.1, 3.0),
    shapely.intersection(blob(1, 21, 5, 0.8), shapely.box(0, 0, 30, 22)),
]  # fmt: skip
OUTS = [blob(18, 16, 6, 1.3).difference(disc(18, 16, 1.0)), disc(27, 5, 1.6)]


def planned(material: str, cutter: str, *also: str, out: bool = False, looked_at: bool = False, **values: Any) -> Parts:
    depth, settings = values.pop("depth", None), dict(values)
    machine = SHELF.machine(USUAL_MACHINES[SHELF.cutter(cutter).machines[0]])
    if cutter.startswith("v-"):
        machine = SHELF.machine(USUAL_MACHINES["router"])
    on = block(*CUTS, size=(30.0, 22.0), cut_outs=OUTS if out else ())
    choices = PathSettings(also_cutters=tuple(map(SHELF.cutter, also)), **settings)
    plan = plan_for(setup(material, cutter, machine=machine, depth=depth).on(on), choices)
    assert plan is not None
    parts = dict(of_plan(plan))
    parts["promises"] = {"broken": len(promises.broken(plan, choices))}
    for operation in plan.operations:
        parts[f"{operation.name} in land"] = {"mm": promises.into_land_mm(plan, operation)}
    if looked_at:
        seen = simulated(plan, 0.08)
        parts |= {"left": of_shapes(seen.block.cuts), "height": {"sum": float(seen.relief.height.sum())}}
        for name, one in (("lost", seen.lost), ("missed", seen.missed)):
            parts[name] = {key: value for key, value in one.to_dict().items() if isinstance(value, int | float)}
    return parts


CLAMP = shapes(box(24, 0, 6, 5), box(0, 18, 3, 4))
PLANS: Scenes = {
    "laser, shapes": partial(planned, "birch-plywood", "laser-fine", out=True),
    "laser, lines": partial(planned, "birch-plywood", "laser-fine", lowered="lines", line_spacing_mm=0.3, out=True),
    "laser, contours": partial(
        planned, "birch-plywood", "laser-fine", lowered="contours", line_spacing_mm=0.3, lead_in_mm=0.5, out=True,
        cut_edge=True, shoulder_steps=3,
    ),
    "laser, wide, no tabs": partial(planned, "linoleum", "laser-wide", tabs=False, no_go=CLAMP, lowered="lines",
                                    line_spacing_mm=0.5),
    "router, rings": partial(planned, "basswood", "flat-1", looked_at=True),
    "router, lines, two cutters": partial(planned, "basswood", "flat-1", "flat-3", cleared="lines", depth=2.5),
    "router, cut out": partial(planned, "birch-plywood", "flat-1", out=True, cut_edge=True, plunge=True, no_go=CLAMP),
    "router, ball": partial(planned, "cherry", "ball-1", ramp_deg=12.0, pass_mm=0.4),
    "router, taper": partial(planned, "linoleum", "taper-0.5", "flat-3", out=True),
    "V": partial(planned, "cherry", "v-60", depth=1.0, looked_at=True),
    "V, cleared before": partial(planned, "linoleum", "v-30", "flat-1", out=True, cut_edge=True, no_go=CLAMP),
}  # fmt: skip
SCENES: Scenes = {name: partial(telling, plan) for name, plan in PLANS.items()}


@pytest.mark.parametrize("scene", SCENES)
def test_it_is_planned_as_before(scene: str) -> None:
    compare("toolpaths", scene, SCENES[scene]())
