"""The order of cutting by hand, as zones: what is fine, what lies along the land, what is cleared last."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.checks.islands import islands_of
from carvegen.facts import cutting
from carvegen.geometry.widths import first_narrow
from carvegen.toolpaths.cutter_centre_region import holds_disc
from carvegen.writers.guide.guide_samples import Entry

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from carvegen.blocks.job import Job
    from carvegen.blocks.views import Seen
    from carvegen.geometry import Floats, Indices, PolygonArray

__all__ = ["Zones", "tool_lines", "zones_of"]

_LEAST_EDGE_MM = 1.2  #: along the land one groove is cut before the floor is cleared; at least so wide
_LEAST_FLOOR_MM = 2.0  #: a floor narrower than this is not worth another tool
_SLIVER_MM = 0.1  #: narrower bits that are left between zones belong to their neighbour
_THIN = 1.5  #: times the narrowest land: thinner land has its walls marked
_TICKS_MM = 4.0  #: between marks
_TICK_MM = (0.2, 1.2)  #: where a mark begins and ends, from the wall into the cut
_SMALL_MM = 4.0  #: land enclosed by a cut, no larger than a disc so wide, is outlined heavily
_MEASURED = 60  #: floors whose width is measured, the largest first


@dataclass(frozen=True, kw_only=True, eq=False)
class Zones:
    """Parts of the cuts in the order in which a hand cuts them, and marks on the way; in the guide's own view."""

    narrow: PolygonArray  #: first: whole cuts, too narrow for more than one tool
    corners: PolygonArray  #: first, too: what else is too narrow
    edges: PolygonArray  #: then, one groove wide along the land
    floors: PolygonArray  #: last
    thin: Floats  #: strokes into the cut where the land beside it is thin, (n, 4) as x, y, x, y
    stands: PolygonArray  #: small land inside cuts that is easily cut away by mistake
    widest_floor_mm: float  #: 0 without floors
    parted: PolygonArray  #: the cuts, whole, that are not among the narrow ones

    @property
    def fine(self) -> PolygonArray:
        """All that comes first."""
        return geometry.stack([self.narrow, self.corners])


def zones_of(job: Job, shown: Seen) -> Zones:
    """The zones of a block as its guide shows it: of what is not cut yet."""
    edge = max(_LEAST_EDGE_MM, cutting.groove_mm(job.cutter, job.depth_mm, lean_deg=job.lean_deg))
    inner = _opened(geometry.offset(shown.lowered, -edge), _LEAST_FLOOR_MM / 2)
    wide = ~shapely.is_empty(inner)
    floors, cuts = inner[wide], shown.lowered[wide]
    corners = _corners(shapely.difference(cuts, geometry.offset(floors, edge + _SLIVER_MM)))
    edges = shapely.difference(shapely.difference(cuts, floors), corners)
    floors = _left(geometry.parts(floors), shown)
    narrow, small = shown.lowered[~wide], geometry.snapped(_left(geometry.parts(corners), shown))
    whole = len(shown.cut_before) == 0  # else the zone of a cut is not the cut itself
    return Zones(
        narrow=narrow if whole else geometry.empty(),
        corners=small if whole else geometry.stack([geometry.snapped(_left(narrow, shown)), small]),
        parted=cuts if whole else shown.lowered,
        edges=geometry.snapped(_left(geometry.parts(edges), shown)),
        floors=geometry.snapped(floors),
        thin=_strokes(job, shown),
        stands=_small(islands_of(shown.cuts)),
        widest_floor_mm=_widest(floors),
    )


def _left(shapes: PolygonArray, shown: Seen) -> PolygonArray:
    """What of the shapes is not cut yet."""
    if len(shown.cut_before) == 0:
        return shapes
    return geometry.parts(shapely.difference(shapes, shapely.union_all(shown.cut_before)))


def _corners(left: NDArray[np.object_]) -> NDArray[np.object_]:
    """Of each remainder of a wide cut what is no mere sliver, as one shape that may be empty; (n,)."""
    bits, owner = shapely.get_parts(left, return_index=True)
    kept = (shapely.get_type_id(bits) == 3) & holds_disc(bits, _SLIVER_MM, quad_segs=8)
    corners = np.full(len(left), shapely.MultiPolygon(), dtype=object)
    if kept.any():
        shapely.multipolygons(bits[kept], indices=owner[kept], out=corners)
    return corners


def tool_lines(job: Job, zones: Zones) -> Iterator[Entry]:
    """Which tool where, by width and depth, in the order of cutting."""
    depth = job.depth_mm
    groove = cutting.groove_mm(job.cutter, depth, lean_deg=job.lean_deg)
    tool = job.cutter.name + (f", leaned by {abs(job.lean_deg):g} degrees" if job.lean_deg else "")
    if len(zones.fine):
        words = f"1. Darkest grey, {_places(zones.fine)}: {tool}. {_depths(job)}{_beyond(zones.fine, groove)}"
        yield Entry(words=words, shows="fine")
    if len(zones.edges):
        yield Entry(
            words=f"2. Middle grey, along the land: {tool}, {depth:g} mm deep; its groove is {groove:.1f} mm wide.",
            shows="edges",
        )
    if len(zones.floors):
        yield Entry(
            words=f"3. Lightest grey, {_places(zones.floors)}, up to {zones.widest_floor_mm:.0f} mm wide: clear last, "
            f"to {depth:g} mm, with a U-gouge about {_gouge_mm(zones.widest_floor_mm):g} mm wide; towards the land no "
            "nearer than the groove.",
            shows="floors",
        )


def _depths(job: Job) -> str:
    """How deep a V goes by the width of the cut: both its walls meet there."""
    cutter, depth, lean = job.cutter, job.depth_mm, job.lean_deg
    if cutter.form != "v":
        return f"Depth {depth:g} mm where its sweep goes in, less where the cut is narrower."
    included, tip = cutter.values["included_deg"], cutter.values["tip_mm"]
    widest = cutting.v_width_mm(included, tip, depth, lean_deg=lean)
    widths = [width for width in (0.5, 1.0, 1.5, 2.0, 3.0) if tip < width < widest - 0.05]
    steps = [f"{width:g} mm wide {cutting.v_depth_mm(included, tip, width, lean_deg=lean):.1f}" for width in widths]
    deep = ", ".join([*steps, f"{widest:.1f} mm and wider {depth:g}"])
    return f"Depth by width, in mm: {deep}."


def _beyond(fine: PolygonArray, groove_mm: float) -> str:
    """What is to be done where one groove does not clear a cut that has no floor; empty without such."""
    wide = fine[holds_disc(fine, groove_mm / 2 + _SLIVER_MM, quad_segs=8)]
    if len(wide) == 0:
        return ""
    return (
        f" Wider than its groove of {groove_mm:.1f} mm: {_places(wide)}, up to {_widest(wide):.0f} mm; groove along "
        "the land first, then take out the middle with more strokes or a narrow U-gouge."
    )


def _gouge_mm(widest_mm: float) -> float:
    """A gouge that clears a floor in a few strokes: a third of its width, of the usual sizes; common practice."""
    return max((size for size in (2.0, 3.0, 5.0, 8.0, 12.0) if size <= widest_mm / 3), default=2.0)


def _places(shapes: PolygonArray) -> str:
    return "1 place" if len(shapes) == 1 else f"{len(shapes)} places"


def _opened(shapes: NDArray[np.object_], radius: float) -> NDArray[np.object_]:
    """What a disc of the radius reaches inside each; (n,), may be empty or fall apart."""
    opened, some = shapes.copy(), np.flatnonzero(~shapely.is_empty(shapes))
    opened[some] = geometry.offset(geometry.offset(shapes[some], -radius), radius)
    return opened


def _strokes(job: Job, shown: Seen) -> Floats:
    """Where the land is thin: strokes down the wall's slope, `_TICKS_MM` apart, that end in the cut."""
    if len(job.block.cuts) == 0:
        return np.empty((0, 4))
    narrow = first_narrow(job.block.land_rings, _THIN * job.limits.land_mm, _ticked)
    if len(narrow) == 0:
        return np.empty((0, 4))
    away = narrow.at - narrow.centre
    away /= np.linalg.norm(away, axis=1, keepdims=True)
    begin, end = (narrow.at + far * away for far in _TICK_MM)
    inside = np.unique(job.block.cut_tree.query(geometry.dots(end), predicate="within")[0])
    ends = [shown.places(map(tuple, places[inside].tolist())) for places in (begin, end)]
    return np.asarray(np.round(np.hstack(ends), 3), dtype=np.float64)


def _ticked(at: Floats, inward: Floats) -> Indices:
    """Which places on the outline share a stroke: those in one cell of a grid that face one cell; (n,)."""
    own, beside = (np.floor(xy / _TICKS_MM).astype(np.int64) for xy in (at, at - inward))
    turn = beside - own + 1  # 0 to 2: a cell is wider than the step of 1 mm into the cut
    low, high = own.min(axis=0, initial=0), own.max(axis=0, initial=0)
    cell = (own[:, 0] - low[0]) * (high[1] - low[1] + 1) + own[:, 1] - low[1]
    return np.asarray(9 * cell + 3 * turn[:, 0] + turn[:, 1], dtype=np.int64)


def _small(islands: PolygonArray) -> PolygonArray:
    return islands[shapely.area(islands) < np.pi * (_SMALL_MM / 2) ** 2]


def _widest(floors: PolygonArray) -> float:
    """Across the largest disc that fits into a floor."""
    if len(floors) == 0:
        return 0.0
    large = floors[np.argsort(-shapely.area(floors), kind="stable")[:_MEASURED]]
    return 2 * float(shapely.length(shapely.maximum_inscribed_circle(large, tolerance=0.1)).max())
