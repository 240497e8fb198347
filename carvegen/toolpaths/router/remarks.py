"""What the operator of a router must know of a plan: feeds to try, ways down, what stays uncut."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import shapely

from carvegen.facts import feeds
from carvegen.toolpaths.motion.moves import starts_of
from carvegen.toolpaths.paths import Work
from carvegen.toolpaths.unmade.shortfalls import beside

if TYPE_CHECKING:
    from carvegen.blocks.job import Job
    from carvegen.geometry import PolygonArray
    from carvegen.toolpaths.cutter_centre_region import Fit
    from carvegen.toolpaths.paths import Operation, Plan
    from carvegen.toolpaths.settings import PathSettings

__all__ = ["ASKS", "about_barred", "about_depth", "about_feeds", "about_paths", "about_unreached", "in_passes"]

#: What an operation asks of the operator.
ASKS = {
    Work.CLEAR: "clear the floor of the cuts",
    Work.WALL: "follow the walls, which lie on the right of the way (climb milling, spindle clockwise)",
}

_FINE_MM2 = 400.0  #: of floor, from which on a straight cutter is worth naming beside a point; our own choice


def in_passes(passes: int) -> str:
    """How often, in words."""
    return "in one pass" if passes == 1 else f"in {passes} passes"


def about_depth(job: Job, depth_mm: float) -> Iterator[str]:
    """That the floor is kept."""
    if depth_mm < job.depth_mm - 1e-9:
        keeps = f"{job.material.name} keeps {job.material.floor_mm:g} mm under a cut"
        yield f"Cut {max(depth_mm, 0):g} mm deep and not {job.depth_mm:g} mm: {keeps}."


def about_paths(job: Job, steps: Sequence[Operation], settings: PathSettings, fits: Sequence[Fit]) -> Iterator[str]:
    """How cutters get down, and where they run out over the block."""
    flat = [step for step in steps if step.cutter.form == "flat"]
    if flat and settings.plunge:
        yield "Flat cutters may go straight down here: take only cutters that are ground to cut at their middle."
    elif flat:
        yield (
            f"Flat cutters go down along their way at {settings.ramp_deg:g} degrees, and straight down only where "
            "a larger cutter has been."
        )
    out = max((_out_mm(step, job) for step in steps if step.work is not Work.CUT_BLOCK), default=0.0)
    if out > 0:
        yield (
            f"Where a cut reaches the block's edge, the middle of the cutter runs out over it by up to {out:.1f} mm: "
            "nothing may stand there."
        )
    through = [step for step in steps if step.work in (Work.CUT_THROUGH, Work.CUT_BLOCK)]
    if through:
        deep = max(step.depth_mm for step in through)
        yield f"Flutes must be longer than {deep:g} mm to cut through; a board that may be cut lies under the block."
    if fits and not flat and _cleared_mm2(steps, fits) > _FINE_MM2:
        key = job.machine.usual_straight_cutter
        such = f", such as {key}," if key else ""
        yield (
            f"A point clears wide floors in very fine steps: a straight cutter named besides{such} does it far sooner "
            "where it fits."
        )


def about_barred(job: Job, settings: PathSettings, widest_mm: float) -> Iterator[str]:
    """Cuts that lie too near to a clamp."""
    if not len(settings.no_go):
        return
    met = int(beside(job.block.lowered, settings.no_go, 2 * widest_mm).sum())
    yield "No cutter comes nearer to a clamp than its own half-width at the face; holder and nut are wider: look."
    if met:
        which = "1 cut lies" if met == 1 else f"{met} cuts lie"
        yield f"{which} so near to a clamp that part may stay uncut: move the clamp, or cut that part afterwards."


def about_unreached(unreached: PolygonArray, not_through: int) -> Iterator[str]:
    """What stays land although it was to be white."""
    if len(unreached):
        area = float(shapely.area(unreached).sum())
        places = "1 place" if len(unreached) == 1 else f"{len(unreached)} places"
        yield (
            f"{places}, {area:.2f} mm² in all, can't be reached by any cutter of the set and will print: sharp inner "
            "corners and cuts narrower than the cutter. Finish them by hand, or name a smaller cutter besides."
        )
    if not_through:
        which = "1 cut-out is" if not_through == 1 else f"{not_through} cut-outs are"
        yield f"{which} not cut: no straight cutter of the set fits. Name one besides, or cut it by hand."


def about_feeds(plan: Plan) -> Iterator[str]:
    """Where to begin with each cutter, as the program has it and the time counts it, and the caution with it."""
    for key, start in starts_of(plan.job, plan.operations).items():
        held = f"; held back by {start.held_back}" if start.held_back else ""
        yield (
            f"{key.upper()}: try {start.spindle_rpm:.0f} rpm, {start.feed_mm_min:.0f} mm/min along and "
            f"{start.plunge_mm_min:.0f} mm/min down, {start.pass_mm:.2g} mm a pass (chip {start.chip_mm:.3f} mm a "
            f"tooth, flutes {start.flutes}, {start.surface_m_min:.0f} m/min at its edge{held}; {start.source})."
        )
    if plan.operations:
        yield feeds.CAUTION


def _out_mm(operation: Operation, job: Job) -> float:
    x, y = operation.paths.xyz[:, 0], operation.paths.xyz[:, 1]
    return float(max(-x.min(), -y.min(), x.max() - job.block.width_mm, y.max() - job.block.height_mm))


def _cleared_mm2(operations: Sequence[Operation], fits: Sequence[Fit]) -> float:
    """The floor cleared, from the length of ways and the least width of a cutter."""
    clearing = [step for step in operations if step.work is Work.CLEAR]
    length = sum(float(step.paths.lengths.sum()) / max(step.passes, 1) for step in clearing)
    return length * min(fit.floor_mm for fit in fits)
