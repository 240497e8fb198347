"""A die that presses a shape into the paper: rounded corners, a bevelled wall, and whether the paper bears it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding, Severity
from carvegen.blocks.embossing.paper_strain import bridged, taut

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.facts.profiles import Paper
    from carvegen.geometry import Floats, PolygonArray

__all__ = [
    "Die", "Pressing", "Ring", "counter_holes", "counter_thickness_mm", "depth_under_edge", "die_for", "edge_offset",
    "findings", "hole_round", "paper_thickness_mm", "rounded", "stop_depth_mm", "wall_rings",
]  # fmt: skip

#: What a corner may differ from its arc: discs are polygons of 128 corners, and coordinates lie on a grid.
TOLERANCE_MM = 0.005

_ARC = 32  #: pieces of a quarter circle
_ROUNDS = 6
_SPARE_MM = 0.001
_SEEN_MM2 = 0.5  #: a part that stays flat is told from this size
_PAPER_G_CM3 = 0.55  #: bulk of soft cotton paper (common practice, no source)
_DAMP_GIVES = (0.10, 0.15)  #: strain of damp paper: risk above the first, tears above the second (common practice)
_USUAL_RELIEF_MM = (0.3, 1.5)  #: common practice, no source; trade dies 0.15…0.64 (source: emboss-bevel)
_STOP_BELOW_MM = 0.1  #: our own choice
_USUAL_PAPER_G = (250.0, 350.0)  #: common practice, no source


@dataclass(frozen=True, kw_only=True)
class Pressing:
    """How a die presses, and into which paper."""

    relief_mm: float  #: from the die's face to its floor
    bevel_deg: float = 45.0  #: of the wall, from the vertical: 30…60, or it cuts the paper (source: emboss-bevel)
    edge_mm: float = 0.2  #: radius of the rounded edge between face and wall (common practice)
    corner_mm: float = 0.5  #: smallest radius of a corner seen from above, inwards and outwards; our own choice
    paper_g_m2: float = 300.0
    paper_mm: float = 0.0  #: its thickness; 0: by its weight
    back: bool = True  #: pressed from the back of the sheet: raised in the print
    bears: Paper | None = None  #: what this paper bears, as it was measured

    @property
    def run_mm(self) -> float:
        """How far the wall reaches sideways, from the end of the face to the foot."""
        return edge_offset(self, self.relief_mm) + self.round_mm

    @property
    def round_mm(self) -> float:
        """How much of the flat face the rounded edge takes: ``r tan((90° - bevel) / 2)``."""
        return self.edge_mm * math.tan(math.radians(90 - self.bevel_deg) / 2)

    @property
    def sheet_mm(self) -> float:
        """The paper's thickness."""
        return self.paper_mm or paper_thickness_mm(self.paper_g_m2)

    @property
    def strain(self) -> float:
        """How far the paper is stretched over the wall at least (`paper_strain.bridged`)."""
        return bridged(self).down


@dataclass(frozen=True, kw_only=True, eq=False)
class Die:
    """A die, print view, mm: its wall goes from `face` out to `foot`."""

    pressing: Pressing
    face: BaseGeometry  #: the highest part, to the line where face and wall would meet without the rounded edge
    foot: BaseGeometry  #: where the wall ends on the floor
    lost: PolygonArray  #: what was asked for and is too small to be pressed


@dataclass(frozen=True, kw_only=True, eq=False)
class Ring:
    """One step of a wall: lowered to `depth_mm` below the face."""

    depth_mm: float
    shapes: PolygonArray


def paper_thickness_mm(weight_g_m2: float) -> float:
    """The usual thickness of soft cotton paper of this weight: weight by a bulk of 0.55 g/cm³."""
    return weight_g_m2 / _PAPER_G_CM3 / 1000


def edge_offset(how: Pressing, depth_mm: float) -> float:
    """How far outside the line of the face the wall is at a depth; below 0 where the edge is rounded off.

    An arc of radius `edge_mm` touches face and wall; below it the wall runs out by ``depth tan(bevel)``.
    """
    slope = math.radians(90 - how.bevel_deg)
    if how.edge_mm > 0 and depth_mm < how.edge_mm * (1 - math.cos(slope)):
        return math.sqrt(how.edge_mm**2 - (how.edge_mm - depth_mm) ** 2) - how.round_mm
    return depth_mm * math.tan(math.radians(how.bevel_deg))


def depth_under_edge(how: Pressing, offset_mm: Floats) -> Floats:
    """How deep the die lies below its face at distances outside the face's line; `edge_offset` undone; same shape."""
    out = np.asarray(offset_mm, dtype=np.float64)
    turn = how.edge_mm * math.cos(math.radians(how.bevel_deg)) - how.round_mm
    arc = np.clip(out + how.round_mm, 0, how.edge_mm)
    edge = how.edge_mm - np.sqrt(np.maximum(how.edge_mm**2 - arc**2, 0))
    wall = out / math.tan(math.radians(how.bevel_deg))
    return np.clip(np.where(out < turn, edge, wall), 0, how.relief_mm)


def rounded(shape: BaseGeometry, outward_mm: float, inward_mm: float) -> BaseGeometry:
    """The shape with no corner sharper than these radii, and no part or gap narrower than their discs.

    Openings by a disc of the outward radius and closings by one of the inward radius, in turn until nothing changes
    by more than the tolerance: each is idempotent, what both leave alone has no sharper corner. What discs of the
    outward radius don't reach is lost.
    """
    result: Any = shape
    for _ in range(_ROUNDS):
        opened = _grown(_grown(result, -outward_mm), outward_mm)
        result = _grown(_grown(opened, inward_mm), -inward_mm)
        if shapely.is_empty(result) or shapely.hausdorff_distance(result, opened) < TOLERANCE_MM:
            break
    whole: BaseGeometry = shapely.union_all(geometry.parts(result))
    return whole


def die_for(shapes: PolygonArray, how: Pressing, *, clear_mm: float, least_mm: float) -> Die:
    """The die that presses shapes: its foot stays inside each by `clear_mm`, so that no ink is pressed up.

    Parameters
    ----------
    clear_mm
        How far blocks may be out of register; corners that point inwards are rounded by at least this.
    least_mm
        Narrowest face that the material holds.
    """
    wanted = shapely.union_all(shapes)
    inside = max(clear_mm, how.corner_mm) + how.run_mm - how.round_mm
    outward = max(how.corner_mm, least_mm / 2)
    face = rounded(_grown(wanted, -inside - _SPARE_MM), outward, how.corner_mm + how.run_mm - how.round_mm)
    foot = _grown(face, how.run_mm - how.round_mm)
    face, foot = (shapely.union_all(geometry.snapped(geometry.parts(shape))) for shape in (face, foot))
    flat = geometry.parts(shapely.difference(wanted, _grown(face, 1.6 * inside + how.corner_mm)))
    return Die(pressing=how, face=face, foot=foot, lost=flat[shapely.area(flat) > _SEEN_MM2])


def wall_rings(die: Die, *, step_mm: float = 0.1) -> tuple[Ring, ...]:
    """The die's wall as steps for a machine, from the face down: rings, each lowered to one depth.

    Each step's depth is that of its middle, so that the stair lies as far above the wall as below it. Rings lie
    beside one another without gaps; the last ends at the foot.
    """
    how = die.pressing
    count = max(2, math.ceil(how.relief_mm / step_mm))
    depths = np.linspace(0, how.relief_mm, count + 1)
    outlines = [_grown(die.face, edge_offset(how, depth)) for depth in depths[:-1]] + [die.foot]
    result = []
    for (inner, outer), (low, high) in zip(pairwise(outlines), pairwise(depths.tolist()), strict=True):
        shapes = geometry.snapped(geometry.parts(shapely.difference(outer, inner)))
        result.append(Ring(depth_mm=round((low + high) / 2, 4), shapes=shapes))
    return tuple(result)


def counter_holes(die: Die) -> PolygonArray:
    """Holes of the sheet that lies on the paper against the die: its foot and the paper's thickness beside it."""
    return geometry.snapped(geometry.parts(hole_round(die.foot, die.pressing)))


def hole_round(foot: BaseGeometry, how: Pressing) -> BaseGeometry:
    """The counter-sheet's hole round a foot: the paper's thickness beside it, further off in corners that point inward.

    There the thickness would leave the foot's radius less itself, a point where the paper is thick: the hole is closed
    by a disc of the smallest radius of a corner.
    """
    hole = _grown(foot, how.sheet_mm)
    closed: BaseGeometry = shapely.union(hole, _grown(_grown(hole, how.corner_mm), -how.corner_mm))
    return closed


def counter_thickness_mm(how: Pressing, usual_mm: float) -> float:
    """How thick the sheet against the die must be: as usual, but no thinner than the relief and a fifth of it.

    What rises then stays clear of what lies behind the sheet, which is pressed thinner (common practice, no source).
    """
    return max(usual_mm, math.ceil(12 * how.relief_mm - 1e-9) / 10)


def stop_depth_mm(how: Pressing) -> float:
    """How far a stop is lowered below the die's face: what holds the sheet's edge stands, and the press misses it.

    It stands as high above the floor as the paper is thick, and always ends `_STOP_BELOW_MM` below the face.
    """
    return round(max(_STOP_BELOW_MM, how.relief_mm - how.sheet_mm), 2)


def findings(die: Die, wanted: PolygonArray) -> Iterator[Finding]:
    """What the paper or the die can't bear, as findings.

    Parameters
    ----------
    wanted
        The shapes that were to be pressed.
    """
    how = die.pressing
    risk, tears = _DAMP_GIVES
    if how.bears is not None:
        yield from _beyond(how, how.bears)
    elif how.strain > risk:
        yield Finding(
            rule="emboss-strain", severity=Severity.BREAKS if how.strain > tears else Severity.RISK, at=None,
            measured=100 * how.strain, limit=100 * (tears if how.strain > tears else risk), unit="%",
            why="damp paper is stretched further than it bears over the die's wall, and tears along it (10 to 15 %: "
            "common practice, no source)",
            remedy=f"press no deeper than {_bearable(how):.2f} mm into this paper, or take a heavier one",
        )  # fmt: skip
    else:
        yield from _may_tear(how)
    if how.bears is None:
        yield from _usual(how)
    for piece in die.lost:
        at = shapely.point_on_surface(piece)
        yield Finding(
            rule="emboss-small", severity=Severity.RISK, at=(at.x, at.y),
            measured=2 * float(shapely.length(shapely.maximum_inscribed_circle(piece, tolerance=0.02))),
            limit=2 * (how.run_mm + 2 * how.corner_mm), unit="mm",
            why="so narrow a part, its walls and the room for register off, leaves no face: it stays flat paper",
            remedy="draw it larger, press less deep, or make the wall steeper",
        )  # fmt: skip
    yield from _gaps(die)
    yield from _over(die, wanted)


def _beyond(how: Pressing, paper: Paper) -> Iterator[Finding]:
    """Where the die asks for more than the paper bore on its strip: what tore there tears here."""
    for rule, key, value, limit, over, unit, what in (
        ("emboss-depth", "depth_mm", how.relief_mm, paper.relief_largest_mm, True, "mm", "so high a step"),
        ("emboss-bevel", "bevel_deg", how.bevel_deg, paper.bevel_least_deg, False, "deg", "so steep a wall"),
        ("emboss-corner", "corner_mm", how.corner_mm, paper.corner_least_mm, False, "mm", "so sharp a corner"),
    ):
        if value > limit if over else value < limit:
            yield Finding(
                rule=rule, severity=Severity.BREAKS, at=None, measured=value, limit=limit, unit=unit,
                why=f"{what} is more than {paper.name} bears ({paper.sources.get(_PAPER_KEYS[key], 'its profile')})",
                remedy=f"set {key} to {limit:g} or {'less' if over else 'more'}",
            )  # fmt: skip


_PAPER_KEYS = {"depth_mm": "relief_largest_mm", "bevel_deg": "bevel_least_deg", "corner_mm": "corner_least_mm"}


def _may_tear(how: Pressing) -> Iterator[Finding]:
    """Where the least that the paper is stretched is well, and the most is not."""
    most, tears = taut(how), _DAMP_GIVES[1]
    worst = max(most.down, most.area)
    if worst > tears:
        yield Finding(
            rule="emboss-stretch", severity=Severity.ADVICE, at=None, measured=100 * worst, limit=100 * tears, unit="%",
            why="if no paper slides in from beside, the sheet stretches at the sharpest corner. "
            f"It does so by {100 * most.down:.0f} % down the wall and up to {100 * most.along:.0f} % along it (taut "
            f"band); the least, bridged, is {100 * how.strain:.0f} %",
            remedy="press an embossing strip of this paper first (carvegen strip --emboss), make corner_mm larger, or "
            "press less deep",
        )  # fmt: skip


def _bearable(how: Pressing) -> float:
    """The deepest relief at which the paper is not stretched too far, in steps of 0.01 mm."""
    depths = np.arange(0.01, how.relief_mm, 0.01)
    good = [depth for depth in depths.tolist() if replace(how, relief_mm=depth).strain <= _DAMP_GIVES[0]]
    return max(good, default=0.0)


def _usual(how: Pressing) -> Iterator[Finding]:
    low, high = _USUAL_RELIEF_MM
    if not low <= how.relief_mm <= high:
        shallow = how.relief_mm < low
        yield Finding(
            rule="emboss-depth", severity=Severity.ADVICE if shallow else Severity.RISK, at=None,
            measured=how.relief_mm, limit=low if shallow else high, unit="mm",
            why="so shallow a relief hardly shows" if shallow else "hand presses seldom press so deep a relief cleanly",
            remedy=f"set depth_mm between {low:g} and {high:g}",
        )  # fmt: skip
    light, heavy = _USUAL_PAPER_G
    if not light <= how.paper_g_m2 <= heavy:
        thin = how.paper_g_m2 < light
        yield Finding(
            rule="emboss-paper", severity=Severity.RISK if thin else Severity.ADVICE, at=None,
            measured=how.paper_g_m2, limit=light if thin else heavy, unit="g/m2",
            why="thin paper tears over the wall" if thin else "heavy paper follows small shapes badly",
            remedy="take cotton paper of 250 to 350 g/m² (common practice, no source), soaked and blotted; press a "
            "test piece first",
        )  # fmt: skip


def _gaps(die: Die) -> Iterator[Finding]:
    """Floors between two walls that are too narrow for the paper to reach."""
    paper = die.pressing.bears
    room = 2 * die.pressing.sheet_mm if paper is None else paper.gap_least_mm
    left, right, apart = geometry.close_pairs(geometry.parts(die.foot), room)
    feet = geometry.parts(die.foot)
    for k, j, gap in zip(left.tolist(), right.tolist(), apart.tolist(), strict=True):
        line = shapely.shortest_line(feet[k], feet[j])
        (x, y), to = line.coords[0], line.coords[-1]
        yield Finding(
            rule="emboss-gap", severity=Severity.RISK, at=(x, y), to=to, measured=gap, limit=room, unit="mm",
            why="between these two raised shapes the paper does not come down to the floor: they run into one",
            remedy="move them apart, or press less deep",
        )  # fmt: skip


def _over(die: Die, wanted: PolygonArray) -> Iterator[Finding]:
    """Where rounded corners lead the wall out of the opening."""
    out = geometry.parts(shapely.difference(die.foot, shapely.union_all(wanted)))
    for piece in out[shapely.area(out) > TOLERANCE_MM]:
        at = shapely.point_on_surface(piece)
        yield Finding(
            rule="emboss-edge", severity=Severity.RISK, at=(at.x, at.y), measured=math.sqrt(shapely.area(piece)),
            limit=0.0, unit="mm", why="the rounded wall reaches under ink here", remedy="draw the notch wider",
        )  # fmt: skip


def _grown(shape: Any, by: float) -> Any:  # noqa: ANN401
    return shapely.buffer(shape, by, quad_segs=_ARC)
