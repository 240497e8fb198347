"""How long paths take, from speeds and accelerations; an estimate, never a setting."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.facts import feeds
from carvegen.toolpaths.motion.moves import (
    DOWN,
    by_cutter,
    moves_of,
    starts_of,
)
from carvegen.toolpaths.paths import Work

if TYPE_CHECKING:
    from carvegen.blocks.block import Block
    from carvegen.blocks.job import Job
    from carvegen.facts.profiles import Machine, Material
    from carvegen.geometry import Floats
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = [
    "Time", "by_hand_min", "corner_mm_s", "hand_minutes", "move_s", "moves_s", "path_s", "raster_s", "spoken",
    "time_of", "times",
]  # fmt: skip

#: How far a machine may round a corner while it slows down as little as that allows; our own choice.
CORNER_MM = 0.02
_SAFE_MM = 10.0  #: for travel, where the machine's profile names no safe height; common practice, no source


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
    """Time along all paths, each from rest to rest, slower round corners and never faster than can be braked."""
    if not len(paths):
        return 0.0
    step, turn = _steps(paths)
    return float(_steps_s(step, turn, np.full(len(step), speed_mm_s), acceleration_mm_s2).sum())


def moves_s(places: Floats, speed_mm_s: Floats, acceleration_mm_s2: float) -> Floats:
    """Time of each straight move of a row from rest to rest, each at its own speed at most; (moves,).

    Parameters
    ----------
    places
        Where the row begins, and where each move ends; (moves + 1, 3).
    speed_mm_s
        Of each move; (moves,).
    """
    move = np.diff(places, axis=0)
    step = np.linalg.norm(move, axis=1)
    moving = np.flatnonzero(step > 0)
    along = move[moving] / step[moving, None]
    turn = np.full(len(moving) + 1, math.pi)
    turn[1:-1] = np.arccos(np.clip((along[1:] * along[:-1]).sum(axis=1), -1, 1))
    seconds = np.zeros(len(step))
    seconds[moving] = _steps_s(step[moving], turn, speed_mm_s[moving], acceleration_mm_s2)
    return seconds


def _steps_s(step: Floats, turn: Floats, speed: Floats, acceleration: float) -> Floats:
    """Time of each step of a row, no faster at a place than its turn and both speeds allow; (steps,).

    With u = v², speeding up along a length s is ``u + 2 a s``: forwards and backwards a running minimum.
    """
    slower = np.minimum(np.append(speed, np.inf), np.append(np.inf, speed))
    cap = np.minimum(corner_mm_s(turn, acceleration), slower) ** 2
    gain = np.concatenate([[0.0], np.cumsum(2 * acceleration * step)])
    forth = np.minimum.accumulate(cap - gain) + gain
    back = np.minimum.accumulate((forth + gain)[::-1])[::-1] - gain
    square = np.clip(back, 0, None)
    begin, end = square[:-1], square[1:]
    top = np.sqrt(np.minimum(speed**2, acceleration * step + (begin + end) / 2))
    ramps = (2 * top - np.sqrt(begin) - np.sqrt(end)) / acceleration
    run = step - (2 * top**2 - begin - end) / (2 * acceleration)
    moving = step > 0
    return np.where(moving, ramps + np.clip(run, 0, None) / np.where(moving, top, 1.0), 0.0)


def _steps(paths: Paths) -> tuple[Floats, Floats]:
    """All steps of all paths in one row, and the turn at each of its points; half a turn at a path's ends.

    Between two paths lies a step of no length. (steps,), (steps + 1,).
    """
    count = np.diff(paths.start) + paths.closed
    within = geometry.counted(count)
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


def times(plan: Plan) -> tuple[Time, ...] | None:
    """The time of each operation of a plan; None where the machine's profile says nothing of its pace."""
    machine = plan.job.machine
    if machine.travel_mm_s is None or machine.acceleration_mm_s2 is None:
        return None
    if machine.kind == "router":
        return _by_moves(plan, machine.travel_mm_s, machine.acceleration_mm_s2)
    if machine.work_mm_s is None:
        return None
    before: list[Operation | None] = [None, *plan.operations[:-1]]
    return tuple(
        time_of(operation, plan.job, before=last) for operation, last in zip(plan.operations, before, strict=True)
    )


def _by_moves(plan: Plan, travel_mm_s: float, acceleration_mm_s2: float) -> tuple[Time, ...]:
    """A router's: the sum over the very moves that a program writes, at their feeds."""
    safe = plan.job.machine.safe_height_mm or _SAFE_MM
    starts, times = starts_of(plan.job, plan.operations), []
    for group in by_cutter(plan.operations):
        moves = moves_of(group, starts[group[0].cutter.key], safe)
        places = np.concatenate([moves.to[:1], moves.to])
        length = np.linalg.norm(np.diff(places, axis=0), axis=1)
        seconds = moves_s(places, np.where(moves.fast, travel_mm_s, moves.feed_mm_min / 60), acceleration_mm_s2)
        for k in range(len(group)):
            cut, fast = ((moves.operation == k) & which for which in (~moves.fast, moves.fast))
            strokes = int((moves.kind[moves.operation == k] == DOWN).sum())
            times.append(
                Time(
                    strokes=strokes, work_mm=float(length[cut].sum()), travel_mm=float(length[fast].sum()),
                    work_s=float(seconds[cut].sum()) + strokes * (plan.job.machine.start_s or 0.0),
                    travel_s=float(seconds[fast].sum()),
                )
            )  # fmt: skip
    return tuple(times)


def time_of(operation: Operation, job: Job, *, before: Operation | None = None) -> Time:
    """The time of a laser's operation at the pace of a machine's profile, all passes together.

    Areas that are handed over as shapes are taken line by line over the rectangle about them. Elsewhere each
    path is followed once a pass, with straight moves from each end to the next beginning, at the pace for its depth
    and its material.

    Parameters
    ----------
    before
        The operation from whose end the head comes.
    """
    machine = job.machine
    travel, quick = machine.travel_mm_s, machine.acceleration_mm_s2
    if travel is None or machine.work_mm_s is None or quick is None:
        raise ValueError("the machine's profile has no pace")
    paths, passes = operation.paths, operation.passes
    if operation.area_lines_mm is not None:
        return _raster_time(operation, machine, operation.area_lines_mm)
    moves_mm = np.linalg.norm(paths.entries[1:] - paths.exits[:-1], axis=1)
    back = np.linalg.norm(paths.entries[:1] - paths.exits[-1:], axis=1)
    far = np.concatenate([*[moves_mm] * passes, *[back] * (passes - 1), _from(before, paths)])
    length = passes * float(paths.lengths.sum())
    starts = passes * len(paths) * (machine.start_s or 0.0)
    return Time(
        strokes=passes * len(paths), work_mm=length, travel_mm=float(far.sum()),
        work_s=passes * path_s(paths, _laser_mm_s(operation, job), quick) + starts,
        travel_s=float(move_s(far, travel, quick).sum()),
    )  # fmt: skip


def _from(before: Operation | None, paths: Paths) -> Floats:
    """The way from the end of the operation before; (0 or 1,)."""
    if before is None or not len(before.paths):
        return np.empty(0)
    return np.asarray(np.linalg.norm(paths.entries[:1] - before.paths.exits[-1:], axis=1), dtype=np.float64)


def _laser_mm_s(operation: Operation, job: Job) -> float:
    """The pace of a beam along lines: fast where it lowers, by the thickness where it cuts through."""
    machine = job.machine
    if operation.work in (Work.CUT_THROUGH, Work.CUT_BLOCK):
        return feeds.through_mm_s(job.material.key, machine, operation.depth_mm)
    usual = machine.work_mm_s or 1.0
    return usual if operation.work is Work.SCORE else machine.raster_mm_s or usual


def _raster_time(operation: Operation, machine: Machine, spacing_mm: float) -> Time:
    x, y, _ = operation.paths.xyz.T
    width, height = (float(np.ptp(side)) if len(side) else 0.0 for side in (x, y))
    speed = machine.raster_mm_s or machine.travel_mm_s or 1.0
    whole = raster_s(
        width, height, spacing_mm=spacing_mm, speed_mm_s=speed, turn_s=machine.turn_s or 0.0, passes=operation.passes
    )
    lines = math.ceil(height / spacing_mm) * operation.passes
    return Time(strokes=lines, work_mm=lines * width, travel_mm=0.0, work_s=whole, travel_s=0.0)


def by_hand_min(block: Block, material: Material) -> tuple[float, float] | None:
    """Minutes to cut a block by hand, from a quick hand to a slow one; None where nothing is known of the material.

    Every outline once at the material's pace along a line, and the cut areas cleared at its pace for areas: the
    paces are common practice and no more. Time one patch of 50 x 50 mm and scale by it. What is cut already
    takes no time.
    """
    import shapely

    length = float(shapely.length(block.to_cut).sum() + shapely.length(block.cut_outs).sum())
    return hand_minutes(length, float(shapely.area(block.to_cut).sum()) / 100, material)


def hand_minutes(length: float, area_cm2: float, material: Material) -> tuple[float, float] | None:
    """Minutes for outlines of so many mm and for areas to be cleared, of a quick hand and of a slow one."""
    if material.hand_line_slow_mm_min is None or material.hand_clear_slow_cm2_min is None:
        return None
    line_fast = material.hand_line_fast_mm_min or material.hand_line_slow_mm_min
    clear_fast = material.hand_clear_fast_cm2_min or material.hand_clear_slow_cm2_min
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
