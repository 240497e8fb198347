"""Toolpaths: what the cutter follows, from a job to ordered paths."""

from __future__ import annotations

import importlib
from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, cast

from carvegen.base.collector import collector_at_rest

if TYPE_CHECKING:
    from carvegen.blocks.job import Job
    from carvegen.toolpaths.paths import Plan
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["PLANNERS", "plan_for"]

#: The function that plans, by kind of machine and form of cutter; "" is any form that is not named.
PLANNERS: Mapping[tuple[str, str], str] = MappingProxyType({
    ("laser", ""): "laser.planner.laser_plan",
    ("router", "v"): "v_carving.planner.v_plan",
    ("router", ""): "router.planner.router_plan",
})  # fmt: skip


@collector_at_rest()
def plan_for(job: Job, settings: PathSettings) -> Plan | None:
    """The plan of a job; None for the hand, and for a cutter that no planner knows."""
    kind, form = job.machine.kind, job.cutter.form
    named = PLANNERS.get((kind, form)) or PLANNERS.get((kind, ""))
    if named is None:
        return None
    module, _, function = named.rpartition(".")
    return cast("Plan", getattr(importlib.import_module(f"{__name__}.{module}"), function)(job, settings))
