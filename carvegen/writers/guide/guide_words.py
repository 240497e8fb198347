"""The words of the hand guide: what is known of the block, what is drawn, and what is done one after the other."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.blocks.views import View
from carvegen.toolpaths.motion.timing import by_hand_min
from carvegen.writers.guide.guide_samples import Entry

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.blocks.job import Job
    from carvegen.blocks.views import Seen
    from carvegen.geometry import PolygonArray
    from carvegen.writers.guide.guide_zones import Zones

__all__ = ["CAUTION", "UNFINISHED", "facts", "how_long", "legend", "steps"]

#: The last line of the sheet, which may lie on the bench without the note.
CAUTION = (
    "Block against a stop, both hands behind the edge, cut away from yourself, tools sharp. The tool maker's "
    "instructions and your workshop's rules go before this sheet."
)
#: How a block is begun that is only the snow of a drawing.
UNFINISHED = (
    "Not the whole block: only what the snow takes out of your own key drawing. Bring your drawing onto the block as "
    "ever, lay this guide over it so that the thin broken outlines meet your shapes, and mark the grey."
)


def facts(job: Job, shown: Seen) -> tuple[str, ...]:
    """What is known of block, tool and time."""
    return (
        f"Block {shown.width_mm:g} x {shown.height_mm:g} mm, {job.material.name}, {job.thickness_mm:g} mm thick.",
        f"Tool: {job.cutter.name}. Depth of the cut areas: {job.depth_mm:g} mm. {_walls(job)}",
        f"Narrowest land {job.limits.land_mm:.2f} mm, smallest free-standing dot {job.limits.dot_mm:.2f} mm.",
        *_time(job),
    )


def _time(job: Job) -> tuple[str, ...]:
    """How long it takes, where the material's paces are known; the note tells how that is computed."""
    minutes = by_hand_min(job.block, job.material)
    if minutes is None:
        return ()
    return (how_long(minutes, "the snow" if job.block.unfinished else "it"),)


def how_long(minutes: tuple[float, float], what: str = "it") -> str:
    """How long cutting by hand takes a quick hand and a slow one, and how she finds her own time."""
    quick, slow = map(_spent, minutes)
    time = f"about {quick}" if quick == slow else f"about {quick} if you are quick, {slow} if you are slow"
    return f"By hand {what} takes {time}. Time yourself on a patch of 50 x 50 mm and work out the rest from that."


def _spent(minutes: float) -> str:
    """A time no finer than it can be known: to five minutes, to half an hour, to an hour."""
    if minutes < 55:
        return f"{max(5, 5 * round(minutes / 5))} minutes"
    hours = round(2 * minutes / 60) / 2 if minutes < 600 else round(minutes / 60)
    return "1 hour" if hours == 1 else f"{hours:g} hours"


def _walls(job: Job) -> str:
    """What the tool's walls will be like; an upright one asks for a slope cut by hand."""
    one, other = sorted(float(side.min()) for side in (job.wall.near_deg, job.wall.far_deg))
    if one < 1:
        return "Walls: as cut they stand upright or lean in; slope them so that the land is wider at its foot."
    if job.lean_deg:
        return (
            f"Walls, the tool leaned by {abs(job.lean_deg):g} degrees: {one:.0f} degrees from the vertical on one side "
            f"of a cut, {other:.0f} on the other; the land is wider at its foot."
        )
    return f"Walls: {one:.0f} degrees from the vertical, the land wider at its foot."


def legend(job: Job, shown: Seen, zones: Zones) -> Iterator[Entry]:
    """What is drawn, with a sample where a sample helps."""
    if job.block.unfinished:
        yield Entry(
            words="Grey: the snow that comes out of your key drawing. Cut it away, the darkest first, the lightest "
            "last; a line of your drawing that runs into the grey ends there.",
            shows="tones",
        )
        yield Entry(words="White: yours. It does not all stay: cut your own drawing there, as ever.")
    else:
        yield Entry(
            words="Grey: cut away, the darkest first, the lightest last. White: leave standing, it prints.",
            shows="tones",
        )
    if len(shown.cut_before):
        yield Entry(
            words="Palest grey with level lines: cut already. Nothing to do there; find your way by it.", shows="before"
        )
    if len(shown.cut_outs):
        yield Entry(words="Coarse hatching: goes through the whole thickness.", shows="through")
    if len(shown.free):
        yield Entry(
            words="Fine hatching, outlined, of the snow's own edge or of a mark of yours: yours to decide, gouge in "
            f"hand; it may go or stay. {_where(shown.free)}",
            shows="free",
        )
    if len(zones.stands):
        yield Entry(words="Heavy outline: small land inside a cut. Leave it standing, do not cut.", shows="stands")
    if len(zones.thin):
        yield Entry(
            words="Short strokes into the grey: the land beside them is thin. Slope its wall that way, wide at the "
            "foot.",
            shows="thin",
        )
    if len(shown.kept):
        yield Entry(words=f"Thin broken outline: {_kept(job)}", shows="kept")
    yield from _around(job, shown)


def _where(shapes: PolygonArray) -> str:
    """How many, and where the largest is, as the sheet lies: small ones are not found by looking."""
    x, y = shapely.get_coordinates(shapely.point_on_surface(shapes[int(np.argmax(shapely.area(shapes)))]))[0].tolist()
    count = "1 place" if len(shapes) == 1 else f"{len(shapes)} places, the largest"
    return f"{count} at {x:.0f} mm from the left, {y:.0f} mm from below."


def _kept(job: Job) -> str:
    if job.block.unfinished:
        return "the shapes of your drawing that the snow lies on. Lay them over your own to find your way."
    return "artwork that is kept clear, to find your way by."


def _around(job: Job, shown: Seen) -> Iterator[Entry]:
    """What stands outside the block."""
    yield Entry(
        words="Frame: the block's edge. Crosses outside it: register, the same on every block of this size.",
        shows="frame",
    )
    if len(shown.stops):
        yield Entry(
            words="Outlines in the waste: stops for the sheet, or pin holes. Outer frame: the board; leave the "
            "waste on."
        )
    side = "left" if shown.view is not View.PLAIN else "right"
    yield Entry(
        words=f"Arrow with the name: on the block it points to the {side}. If it does not, the guide was flipped.",
        shows=f"arrow {side}",
    )
    if job.material.grain == "side":
        yield Entry(words="Double arrow under the block: the grain.", shows="grain")


def steps(shown: Seen, zones: Zones) -> Iterator[str]:
    """What is done one after the other; only what this block asks for.

    Order of cutting (source: fletcher-1916, phillips-1926); the rest is common practice, no source.
    """
    yield "Measure the bar on the print. If it is not 100 mm, print again at 100 %."
    yield "Lay the guide to the block's edges; look at the test word before anything is traced or pasted."
    if len(zones.fine):
        yield "In each zone cut the fine cuts first, from its middle outwards."
    if len(zones.edges):
        yield f"{'Then cut' if len(zones.fine) else 'Cut'} a groove along the land of each wide cut."
    if len(zones.fine) or len(zones.edges):
        yield "Each wall slopes out from under the land, never in under it."
    if len(zones.floors):
        yield "Clear the floors last, towards waste and away from the land, deeper towards their middle."
    if len(shown.cut_outs):
        yield (
            "Openings that go through: bore or stab a hole in the waste, then cut from the hole towards the outline, "
            "from both faces if the block is thick; pare to the line at the very end."
        )
    yield CAUTION
