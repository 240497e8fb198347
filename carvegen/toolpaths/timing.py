"""How long paths take, from speeds and accelerations; an estimate, never a setting."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.block import Block
    from carvegen.facts.profiles import Machine, Material
    from carvegen.geometry import Floats
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = [
    "Time", "by_hand_min", "clearing_s", "corner_mm_s", "move_s", "path_s", "raster_s", "spoken", "time_of", "times",
    "vector_s",
]  # fmt: skip

#: How far a machine may round a corner while it slows down as little as that allows; our own choice.
CORNER_MM = 0.02


@dataclass(frozen=True, kw_only=True)
class Time:
    """What an operation takes: lengths in mm, times in seconds, all passes together."""

    strokes: int  #: how often the cutter begins
    work_mm: float
    travel_mm: float
    work_s: float
    travel_s: float

    @property
    def whole_s(self) -> float:
        """Work and travel."""
        return self.work_s + self.travel_s


def move_s(length_mm: Floats, speed_mm_s: float, acceleration_mm_s2: float) -> Floats:
    """Time of straight moves from rest to rest: speed up, run, slow down, or no run where it is too short.

    ``t = s/v + v/a`` if ``s >= v²/a``, else ``2 sqrt(s/a)``; same shape as `length_mm`.
    """
    full = length_mm / speed_mm_s + speed_mm_s / acceleration_mm_s2
    short = 2 * np.sqrt(length_mm / acceleration_mm_s2)
    return np.where(length_mm >= speed_mm_s**2 / acceleration_mm_s2, full, short)


def corner_mm_s(turn_rad: Floats, acceleration_mm_s2: float, off_mm: float = CORNER_MM) -> Floats:
    """The fastest that a corner is passed if the way is rounded by an arc that leaves it by `off_mm` at most.

    The arc that touches both sides and lies `off_mm` from the corner has the radius
    ``r = off cos(t/2) / (1 - cos(t/2))``, and its speed is ``sqrt(a r)``. `turn_rad` is the change of direction.
    """
    cosine = np.clip(np.cos(turn_rad / 2), 0, 1 - 1e-12)
    square: Floats = acceleration_mm_s2 * off_mm * cosine / (1 - cosine)
    return np.sqrt(square)


def path_s(paths: Paths, speed_mm_s: float, acceleration_mm_s2: float) -> float:
    """Time along all paths, each from rest to rest, slower round corners and never faster than can be braked.

    With u = v², speeding up along a length s is ``u + 2 a s``: forwards and backwards a running minimum.
    """
    if not len(paths):
        return 0.0
    step, turn = _steps(paths)
    if not len(step):
        return 0.0
    cap = np.minimum(corner_mm_s(turn, acceleration_mm_s2), speed_mm_s) ** 2
    gain = np.concatenate([[0.0], np.cumsum(2 * acceleration_mm_s2 * step)])
    forth = np.minimum.accumulate(cap - gain) + gain
    back = np.minimum.accumulate((forth + gain)[::-1])[::-1] - gain
    square = np.clip(back, 0, None)
    begin, end = square[:-1], square[1:]
    top = np.sqrt(np.minimum(speed_mm_s**2, acceleration_mm_s2 * step + (begin + end) / 2))
    ramps = (2 * top - np.sqrt(begin) - np.sqrt(end)) / acceleration_mm_s2
    run = step - (2 * top**2 - begin - end) / (2 * acceleration_mm_s2)
    moving = step > 0
    return float((ramps + np.clip(run, 0, None) / np.where(moving, top, 1.0))[moving].sum())


def _steps(paths: Paths) -> tuple[Floats, Floats]:
    """All steps of all paths in one row, and the turn at each of its points; half a turn at a path's ends.

    Between two paths lies a step of no length. (steps,), (steps + 1,).
    """
    count = np.diff(paths.start) + paths.closed
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    first = np.repeat(paths.start[:-1], count)
    xyz = paths.xyz[first + within % np.repeat(np.diff(paths.start), count)]
    move = np.diff(xyz, axis=0)
    ends = np.cumsum(count)[:-1] - 1
    move[ends] = 0.0
    step = np.linalg.norm(move, axis=1)
    along = move / np.where(step > 0, step, 1.0)[:, None]
    turn = np.full(len(xyz), math.pi)
    turn[1:-1] = np.arccos(np.clip((along[1:] * along[:-1]).sum(axis=1), -1, 1))
    still = np.zeros(len(xyz), dtype=bool)
    still[ends], still[ends + 1] = True, True
    turn[still] = math.pi
    return step, turn


def raster_s(
    width_mm: float, height_mm: float, *, spacing_mm: float, speed_mm_s: float, turn_s: float, passes: int = 1
) -> float:
    """Time to go over a rectangle line by line: ``(H/i) (W/v + t)`` for each pass."""
    return passes * height_mm / spacing_mm * (width_mm / speed_mm_s + turn_s)


def vector_s(length_mm: float, *, speed_mm_s: float, strokes: int, start_s: float) -> float:
    """Time along lines at one speed, with a pause at each beginning: ``length/speed + strokes t``."""
    return length_mm / speed_mm_s + strokes * start_s


def clearing_s(area_mm2: float, *, step_mm: float, feed_mm_min: float, passes: int, more: float = 0.0) -> float:
    """Time to clear an area in lanes: ``area / (step feed) passes``, and a share more for ramps and ways."""
    return 60 * area_mm2 / (step_mm * feed_mm_min) * passes * (1 + more)


def times(plan: Plan) -> tuple[Time, ...] | None:
    """The time of each operation of a plan; None where the machine's profile says nothing of its pace."""
    machine = plan.job.machine
    if machine.travel_mm_s is None or machine.work_mm_s is None or machine.acceleration_mm_s2 is None:
        return None
    return tuple(time_of(operation, machine) for operation in plan.operations)


def time_of(operation: Operation, machine: Machine) -> Time:
    """The time of an operation at the pace of a machine's profile, all passes together.

    Areas that are handed over as shapes are taken line by line over the rectangle about them. Elsewhere each
    path is followed once a pass, with straight ways from each end to the next beginning.
    """
    travel, work, quick = machine.travel_mm_s, machine.work_mm_s, machine.acceleration_mm_s2
    if travel is None or work is None or quick is None:
        raise ValueError("the machine's profile has no pace")
    paths, passes = operation.paths, operation.passes
    ways = np.linalg.norm(paths.entries[1:] - paths.exits[:-1], axis=1)
    if operation.area_lines_mm is not None:
        return _raster_time(operation, machine, operation.area_lines_mm)
    length = passes * float(paths.lengths.sum())
    starts = passes * len(paths) * (machine.start_s or 0.0)
    return Time(
        strokes=passes * len(paths), work_mm=length, travel_mm=passes * float(ways.sum()),
        work_s=passes * path_s(paths, work, quick) + starts, travel_s=passes * float(move_s(ways, travel, quick).sum()),
    )  # fmt: skip


def _raster_time(operation: Operation, machine: Machine, spacing_mm: float) -> Time:
    xy = operation.paths.xyz[:, :2]
    width, height = np.ptp(xy, axis=0).tolist() if len(xy) else (0.0, 0.0)
    speed = machine.raster_mm_s or machine.travel_mm_s or 1.0
    whole = raster_s(
        width, height, spacing_mm=spacing_mm, speed_mm_s=speed, turn_s=machine.turn_s or 0.0, passes=operation.passes
    )
    lines = math.ceil(height / spacing_mm) * operation.passes
    return Time(strokes=lines, work_mm=lines * width, travel_mm=0.0, work_s=whole, travel_s=0.0)


def by_hand_min(block: Block, material: Material) -> tuple[float, float] | None:
    """Minutes to cut a block by hand, from a quick hand to a slow one; None where nothing is known of the material.

    Every outline once at the material's pace along a line, and the cut areas cleared at its pace for areas: the
    paces are common practice and no more. Time one patch of 50 x 50 mm and scale by it.
    """
    if material.hand_line_slow_mm_min is None or material.hand_clear_slow_cm2_min is None:
        return None
    line_fast = material.hand_line_fast_mm_min or material.hand_line_slow_mm_min
    clear_fast = material.hand_clear_fast_cm2_min or material.hand_clear_slow_cm2_min
    import shapely

    length = float(shapely.length(block.lowered).sum() + shapely.length(block.cut_outs).sum())
    area_cm2 = float(shapely.area(block.lowered).sum()) / 100
    return (
        length / line_fast + area_cm2 / clear_fast,
        length / material.hand_line_slow_mm_min + area_cm2 / material.hand_clear_slow_cm2_min,
    )


def spoken(seconds: float) -> str:
    """A time as a person says it: seconds up to a minute and a half, then minutes, then hours."""
    if seconds < 90:
        return f"{seconds:.0f} s"
    minutes = round(seconds / 60)
    return f"{minutes} min" if minutes < 90 else f"{minutes // 60} h {minutes % 60:02d} min"
