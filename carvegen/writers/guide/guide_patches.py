"""Zones of a thumb's length that a hand finishes one after the other: how many cuts, how long, a box to tick."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.motion.timing import hand_minutes
from carvegen.toolpaths.register_lines import ARM_MM, register_places

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.blocks.job import Job
    from carvegen.blocks.views import Seen
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["PATCH_MM", "GuideZone", "border_strokes", "patch_rows", "patches_of"]

PATCH_MM = 40.0  #: about what a hand cuts without laying the block another way; our own choice
_ROOM_MM = 2.2  #: radius of land that carries a number
_PITCH_MM = 0.6  #: of the places where room is sought first
_CLOSE_MM = 0.3  #: how closely that land is sought
_FEW = 16  #: of those places one is looked at first
_EVERY = 8  #: of the points of cuts one is looked at first
_ASIDE = np.array([(0, 0), (1, 0), (-1, 0), (0, 1), (0, -1)])  #: in its middle, or aside, where a ring is drawn there
_STROKE_MM = 1.0  #: length of a stroke in the margin where zones meet: all the room that a sheet has beside a board
_CLEAR_MM = 1.5  #: from a stroke to a register cross, or else they are taken for one line
_TOUCHED_MM2 = 0.01  #: less of a cut in a zone is none


@dataclass(frozen=True, kw_only=True)
class GuideZone:
    """A zone of the block, in the guide's own view, mm."""

    number: int
    box: tuple[float, float, float, float]  #: left, bottom, right, top
    cuts: int  #: whose middle lies in it
    minutes: tuple[float, float] | None  #: of a quick hand and of a slow one
    rooms: tuple[tuple[float, float], ...]  #: land that has room for its number, the widest first, or else floors


def patches_of(job: Job, shown: Seen, floors: PolygonArray) -> tuple[GuideZone, ...]:
    """The zones with something to cut, row by row from the top, to and fro as the hand goes.

    `floors`: wide cuts that are cleared last, where a number hides nothing.

    From the top down, so that the hand rests on what is not cut yet (common practice, no source). The times
    of all zones together are that of the block (`timing.by_hand_min`).
    """
    boxes = _boxes(shown.width_mm, shown.height_mm)
    rectangles = shapely.box(*boxes.T)
    cuts = np.concatenate([shown.to_cut, shown.cut_outs])
    middles = shapely.point_on_surface(cuts)
    holder = np.full(len(cuts), -1)
    at, zone = shapely.STRtree(rectangles).query(middles, predicate="intersects")
    holder[at[::-1]] = zone[::-1]  # on a common side, the first
    count = np.bincount(holder[holder >= 0], minlength=len(boxes))
    area, length = (np.zeros(len(boxes)) for _ in range(2))
    k, j = shapely.STRtree(cuts).query(rectangles) if len(cuts) else (np.empty(0, int), np.empty(0, int))
    pieces = cuts[j]
    length_of = shapely.length(pieces)
    over = ~_inside(pieces, boxes[k])
    pieces[over] = shapely.intersection(pieces[over], rectangles[k[over]])
    length_of[over] = shapely.length(shapely.intersection(shapely.boundary(cuts[j[over]]), rectangles[k[over]]))
    area_of = shapely.area(pieces)
    np.add.at(area, k, np.where(j < len(shown.to_cut), area_of, 0.0))
    np.add.at(length, k, length_of)
    before, gone = shown.cut_before, shapely.STRtree(shown.cut_before)
    roomy = _may_have_room(boxes, np.concatenate([cuts, before]))
    covered = np.zeros(len(boxes))
    np.add.at(covered, k, area_of)
    wide = shapely.STRtree(floors)
    patches: list[GuideZone] = []
    for own in np.flatnonzero((count > 0) | (covered > _TOUCHED_MM2)).tolist():
        box = tuple(boxes[own].tolist())
        taken = geometry.stack([pieces[k == own], before[gone.query(rectangles[own])]])
        patches.append(
            GuideZone(
                number=len(patches) + 1, box=box, cuts=int(count[own]),
                rooms=(_room(rectangles[own], taken) if roomy[own] else ())
                + _room_on(floors[wide.query(rectangles[own])], boxes[own]),
                minutes=hand_minutes(float(length[own]), float(area[own]) / 100, job.material),
            )
        )  # fmt: skip
    return tuple(patches)


def patch_rows(patches: Sequence[GuideZone]) -> tuple[tuple[str, ...], ...]:
    """The zones as a table's rows, the heading first; the last cell of each is to be ticked."""
    head = ("zone", "from the left, mm", "from below, mm", "cuts", "minutes", "done")
    return (head, *map(_row, patches))


def _row(patch: GuideZone) -> tuple[str, ...]:
    left, bottom, right, top = patch.box
    return (
        str(patch.number), f"{left:.0f} to {right:.0f}", f"{bottom:.0f} to {top:.0f}", str(patch.cuts or "-"),
        _spoken(patch.minutes), "",
    )  # fmt: skip


def _spoken(minutes: tuple[float, float] | None) -> str:
    if minutes is None:
        return "-"
    quick, slow = (max(1, round(minute)) for minute in minutes)
    return f"{quick}" if quick == slow else f"{quick} to {slow}"


def border_strokes(shown: Seen) -> Floats:
    """Strokes outside the board where the zones meet, so that none can be carved; (n, 4) as x, y, x, y.

    None stands at a register cross, whose arm marks the same place and would run on in it.
    """
    x, y = _borders(shown.width_mm)[1:-1], _borders(shown.height_mm)[1:-1]
    left, bottom, right, top = shown.board.bounds
    below, above = (np.column_stack([x, np.full_like(x, side)]) for side in (bottom, top))
    before, behind = (np.column_stack([np.full_like(y, side), y]) for side in (left, right))
    up, across = np.array([0.0, _STROKE_MM]), np.array([_STROKE_MM, 0.0])
    edges = ((below, -up), (above, up), (before, -across), (behind, across))
    strokes = np.round(np.concatenate([np.hstack([feet, feet + out]) for feet, out in edges]), 3)
    crosses = geometry.dots(np.array(register_places(shown.width_mm, shown.height_mm)))
    near = shapely.STRtree(crosses).query(geometry.lines(strokes[:, :2], strokes[:, 2:]), predicate="dwithin",
                                          distance=ARM_MM + _CLEAR_MM)[0]  # fmt: skip
    return np.asarray(np.delete(strokes, near, axis=0))


def _borders(side_mm: float) -> Floats:
    """Where zones begin and end along a side."""
    return np.linspace(0, side_mm, max(1, round(side_mm / PATCH_MM)) + 1)


def _boxes(width_mm: float, height_mm: float) -> np.ndarray:
    """Rectangles of about `PATCH_MM` that cover the face, in working order; (n, 4) as left, bottom, right, top."""
    x, y = _borders(width_mm), _borders(height_mm)[::-1]
    columns, rows = len(x) - 1, len(y) - 1
    order = [
        (row, column)
        for row in range(rows)
        for column in (range(columns) if row % 2 == 0 else reversed(range(columns)))
    ]
    return np.array([(x[column], y[row + 1], x[column + 1], y[row]) for row, column in order])


def _inside(shapes: PolygonArray, boxes: Floats) -> Mask:
    """Whether each shape lies within the box beside it; (n,)."""
    bounds = shapely.bounds(shapes).reshape(-1, 4)
    return np.asarray((bounds[:, :2] >= boxes[:, :2]).all(axis=1) & (bounds[:, 2:] <= boxes[:, 2:]).all(axis=1))


def _may_have_room(boxes: Floats, cuts: PolygonArray) -> Mask:
    """In which boxes a number may have room beside these cuts.

    A disc with room for a number has a place of a grid so near to its middle that a disc round that place, smaller by
    half the grid's diagonal, holds no cut and stays in the box.
    """
    from scipy.spatial import cKDTree

    reach = _ROOM_MM - _PITCH_MM / math.sqrt(2)
    grids = [_grid(box, reach) for box in boxes]
    places, owner = np.concatenate(grids), np.repeat(np.arange(len(boxes)), [len(each) for each in grids])
    points = shapely.get_coordinates(cuts)[::_EVERY]  # looked at first: most places lie near one
    near = cKDTree(points, balanced_tree=False) if len(points) else None
    room = np.zeros(len(boxes), dtype=bool)
    few = np.arange(len(places)) % _FEW == 0  # tell it of most boxes in which there is room
    for some in (few, ~few):
        left = np.flatnonzero(some & ~room[owner])
        if near is not None and len(left):
            left = left[np.isinf(near.query(places[left], distance_upper_bound=reach)[0])]
        met = shapely.STRtree(geometry.dots(places[left])).query(cuts, predicate="dwithin", distance=reach)[1]
        room[owner[np.delete(left, met)]] = True
    return room


def _grid(box: Floats, inset: float) -> Floats:
    """Places `_PITCH_MM` apart or nearer over all of a box that is `inset` off its sides; (n, 2)."""
    sides = []
    for low, high in ((box[0], box[2]), (box[1], box[3])):
        count = max(math.ceil((high - low - 2 * inset) / _PITCH_MM), 0)
        middle, half = (low + high) / 2, count * _PITCH_MM / 2
        sides.append(np.linspace(middle - half, middle + half, count + 1))
    return np.stack(np.meshgrid(*sides), axis=-1).reshape(-1, 2)


def _room(rectangle: shapely.Polygon, pieces: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Places for a number on the widest lands in a zone in which it has room."""
    gone = shapely.multipolygons(geometry.joined(geometry.parts(pieces)))
    return _widest_rooms(geometry.parts(shapely.difference(rectangle, gone)))


def _room_on(floors: PolygonArray, box: Floats) -> tuple[tuple[float, float], ...]:
    """Places for a number on the widest floors in a zone in which it has room."""
    return _widest_rooms(geometry.parts(shapely.clip_by_rect(floors, *box)))


def _widest_rooms(land: PolygonArray) -> tuple[tuple[float, float], ...]:
    if len(land) == 0:
        return ()
    largest = land[np.argsort(-shapely.area(land), kind="stable")[:3]]
    circles = shapely.maximum_inscribed_circle(largest, tolerance=_CLOSE_MM)
    radii = shapely.length(circles)
    order = np.argsort(-radii, kind="stable")
    order = order[radii[order] >= _ROOM_MM]
    middles = shapely.get_coordinates(circles).reshape(-1, 2, 2)[order, 0]
    places = middles + _ASIDE[:, None] * (radii[order] - _ROOM_MM)[:, None]
    return tuple((x, y) for x, y in np.round(places.reshape(-1, 2), 3).tolist())
