"""A kept motif that no longer is as it grew: a drawing changed under it, or a hand edited it and broke a limit."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.geometry.necks import necks
from carvegen.marking.kept_file import marks_of
from carvegen.motifs.growth import Growth, plain
from carvegen.motifs.shared.minimum_width import held

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Mask, PolygonArray
    from carvegen.marking.kept_file import Kept, Surroundings

__all__ = ["APART_MM", "Adapted", "adapted", "kept_findings"]

_HAIR_MM = 0.01  #: a drawing that differs by no more has not changed
APART_MM = 0.02  #: so much more than the land is left between white and other white, for the grid's sake
_TOUCHES_MM = 0.05  #: a fringe so near to a shape is that shape's


@dataclass(frozen=True, kw_only=True, eq=False)
class Adapted:
    """What there is of a kept motif on the drawing as it is now."""

    growth: Growth
    gone: PolygonArray = field(default_factory=geometry.empty)  #: kept shapes that went
    come: PolygonArray = field(default_factory=geometry.empty)  #: those that grew in their place

    def lines(self, name: str) -> list[str]:
        """In words; nothing if nothing has changed."""
        if len(self.gone) + len(self.come) == 0:
            return []
        stay = len(self.growth.cuts) - len(self.come)
        came = f"; {len(self.come)} grew there" if len(self.come) else ""
        return [
            f"{name}: the drawing has changed under {len(self.gone)} of {len(self.gone) + stay} kept shapes, which went"
            f"{came}; all others are as they were kept"
        ]


def adapted(
    kept: Kept,
    now: Surroundings,
    limits: Limits,
    *,
    room: Callable[[], BaseGeometry],
    again: Callable[[], Growth] | None,
    beside: PolygonArray | None = None,
    hers: PolygonArray | None = None,
) -> Adapted:
    """The kept shapes, but for those whose part of the drawing has changed.

    Whoever draws something where the motif must not be takes away the shapes that it meets. Snow also goes where things
    that hide or bear it have changed, and grows again there; it keeps a land from all that stays.

    Parameters
    ----------
    now
        What the motif depends on, as it is now.
    room
        Where it may be taken out.
    again
        Grows the motif anew on the drawing as it is now; None for one whose shapes only go.
    beside
        Other white that went or came: what lies near it grows again, too.
    hers
        Those of the shapes that stay wherever they don't lie on what is newly kept clear.
    """
    growth = kept.growth
    if kept.memory is None:
        return Adapted(growth=growth)
    old, new = kept.memory.surroundings.by_name(), now.by_name()
    changed = [name for name in old if name in new and not shapely.equals(old[name], new[name])]
    if not changed and (beside is None or not len(beside)):
        return Adapted(growth=growth)
    if again is None:
        zone = _wide(shapely.difference(new["clear"], old["clear"]))
        met = _near(growth.cuts, zone, 0.0)
        fringe = _near(growth.free, geometry.stack([zone, growth.cuts[met]]), _TOUCHES_MM)
        return Adapted(growth=replace(growth, cuts=growth.cuts[~met], free=growth.free[~fringe]), gone=growth.cuts[met])
    zone = _wide(shapely.union_all([shapely.symmetric_difference(old[name], new[name]) for name in changed]))
    zone = zone if beside is None else geometry.stack([zone, beside])
    if not len(zone):
        return Adapted(growth=growth)
    fixed = np.isin(marks_of(growth.cuts), marks_of(geometry.empty() if hers is None else hers))
    fixed &= ~_near(growth.cuts, _wide(shapely.difference(new["clear"], old["clear"])), 0.0)
    return _grown_again(growth, zone, limits, fixed=fixed, room=room(), again=again)


def _grown_again(
    growth: Growth, zone: PolygonArray, limits: Limits, *, fixed: Mask, room: BaseGeometry,
    again: Callable[[], Growth],
) -> Adapted:  # fmt: skip
    """The shapes beside the zone replaced by what grows there now, but for those that are fixed; (cuts,)."""
    land = limits.land_mm
    met = _near(growth.cuts, zone, land) & ~fixed
    stays, gone = growth.cuts[~met], growth.cuts[met]
    fresh = again()
    place = geometry.stack([zone, gone])
    come = fresh.cuts[_near(fresh.cuts, place, land)]
    tight = _near(come, stays, land + APART_MM)
    back = _taken_back(come[tight], stays, limits, room)
    come = np.concatenate([come[~tight], back[_near(back, place, land)]])
    left = growth.free[~_near(growth.free, place, _TOUCHES_MM)]
    free = fresh.free[_near(fresh.free, come, _TOUCHES_MM)]
    free = free[~_near(free, geometry.stack([stays, left]), land)]
    new = plain(replace(fresh, cuts=come, free=free))
    cuts, fringe = np.concatenate([stays, new.cuts]), np.concatenate([left, new.free])
    return Adapted(growth=replace(growth, cuts=cuts, free=fringe), gone=gone, come=new.cuts)


def _taken_back(shapes: PolygonArray, stays: PolygonArray, limits: Limits, room: BaseGeometry) -> PolygonArray:
    """Shapes cut back until they keep a land from those that stay, and hold."""
    if len(shapes) == 0:
        return shapes
    beside = shapely.union_all(stays[_near(stays, shapes, limits.land_mm + APART_MM)])
    left = shapely.difference(shapely.union_all(shapes), shapely.buffer(beside, limits.land_mm + APART_MM, quad_segs=8))
    return held(left, room, limits) if len(geometry.parts(left)) else geometry.empty()


def _near(shapes: PolygonArray, others: PolygonArray, distance: float) -> Mask:
    """Which shapes come so near to any of the others; (n,)."""
    near = np.zeros(len(shapes), dtype=bool)
    if len(shapes) and len(others):
        near[np.unique(shapely.STRtree(shapes).query(others, predicate="dwithin", distance=distance)[1])] = True
    return near


def _wide(shape: Any) -> PolygonArray:  # noqa: ANN401
    """The pieces of a difference that are more than the grid's doing."""
    pieces = geometry.parts(shape)
    return pieces[~shapely.is_empty(geometry.offset(pieces, -_HAIR_MM / 2))] if len(pieces) else pieces


RULE = "kept-shape"
_GRID_SLACK_MM = 0.003  #: shapes lie on a grid of a thousandth
_LEAST_MM2 = 0.01  #: less of a shape over what it keeps out of is not told


def kept_findings(
    name: str, edited: PolygonArray, cuts: PolygonArray, clear: BaseGeometry, limits: Limits
) -> Iterator[Finding]:
    """What the edited shapes of the motif called `name` break; they are taken as they are all the same.

    Parameters
    ----------
    edited
        The cuts that are not as they grew.
    cuts
        All of them.
    clear
        What the motif keeps out of.
    """
    if len(edited) == 0:
        return
    yield from _narrow_lands(name, edited, cuts, limits)
    yield from _narrow_cuts(name, edited, limits)
    over = shapely.intersection(edited, clear)
    for place in over[shapely.area(over) > _LEAST_MM2]:
        yield _finding(
            place, float(shapely.area(place)), 0.0, f"an edited shape of {name} lies on what the motif keeps out of",
            "move it, or leave it if you want it there", unit="mm²", severity=Severity.ADVICE, kind="clear",
        )  # fmt: skip


def _narrow_lands(name: str, edited: PolygonArray, cuts: PolygonArray, limits: Limits) -> Iterator[Finding]:
    """Land between cuts, at least one of them edited, or in the bays of one."""
    window = shapely.union_all(geometry.offset(edited, 2 * limits.land_mm, quad_segs=2))
    near = cuts[np.unique(shapely.STRtree(cuts).query(window, predicate="intersects"))]
    white = shapely.union_all(near)
    result = necks(geometry.rings(geometry.parts(shapely.difference(window, white))), limits.land_mm)
    ends = shapely.boundary(white)
    shapely.prepare(ends)
    own = shapely.dwithin(geometry.dots(result.start), ends, _GRID_SLACK_MM)
    own &= shapely.dwithin(geometry.dots(result.end), ends, _GRID_SLACK_MM)
    chords = geometry.lines(result.start, result.end)
    beside = shapely.STRtree(edited).query(chords, predicate="dwithin", distance=_GRID_SLACK_MM)[0]
    own &= np.isin(np.arange(len(result)), beside)
    for k in np.flatnonzero(own & (result.width < limits.land_mm - _GRID_SLACK_MM)).tolist():
        yield _finding(
            chords[k], float(result.width[k]), limits.land_mm,
            f"land beside an edited shape of {name} is too narrow to stand; mending changes it, if the block is mended",
            "move the shape, or join the two cuts", kind="land",
        )  # fmt: skip


def _narrow_cuts(name: str, edited: PolygonArray, limits: Limits) -> Iterator[Finding]:
    """Edited shapes, or parts of them, that the smallest cut does not reach."""
    small = shapely.is_empty(geometry.offset(edited, -(limits.cut_mm / 2 - _GRID_SLACK_MM)))
    why, remedy = (
        f"an edited shape of {name} is too narrow to be cut; mending changes it",
        "make it wider, or take it out",
    )
    for shape in edited[small]:
        wide = 2 * float(shapely.length(shapely.maximum_inscribed_circle(shape, tolerance=_GRID_SLACK_MM)))
        yield _finding(shape, wide, limits.cut_mm, why, remedy, kind="cut")
    result = necks(geometry.rings(edited[~small]), limits.cut_mm)
    chords = geometry.lines(result.start, result.end)
    for k in np.flatnonzero(result.width < limits.cut_mm - _GRID_SLACK_MM).tolist():
        yield _finding(chords[k], float(result.width[k]), limits.cut_mm, why, remedy, kind="cut")


def _finding(
    place: BaseGeometry, measured: float, limit: float, why: str, remedy: str, *, kind: str, unit: str = "mm",
    severity: Severity = Severity.RISK,
) -> Finding:  # fmt: skip
    chord = shapely.get_dimensions(place) == 1
    at = shapely.centroid(place) if chord else shapely.point_on_surface(place)
    return Finding(
        rule=RULE, kind=kind, severity=severity, at=(round(at.x, 3), round(at.y, 3)), measured=measured, limit=limit,
        unit=unit, why=why, remedy=remedy,
    )  # fmt: skip
