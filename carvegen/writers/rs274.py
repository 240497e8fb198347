"""Plain RS-274 programs of a router's plan: one for each cutter, straight moves only, every word in `WORDS`.

Words and rules as in NISTIR 6556 (Kramer, Proctor, Messina 2000, "The NIST RS274/NGC Interpreter, version 3") and
ISO 6983-1: no macros, no cycles, no arcs, no offsets, no change of tools within a program.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import groupby
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from carvegen.errors import InputError, RefusedError
from carvegen.facts import feeds
from carvegen.facts.profiles import Verdict
from carvegen.job import permit
from carvegen.toolpaths.paths import joined
from carvegen.units import MM_PER
from carvegen.writers.views import View, corner, paths_seen, seen

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from carvegen.facts.feeds import Start
    from carvegen.geometry import Floats
    from carvegen.job import Job
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = ["APPROACH_MM", "WAIT_S", "WORDS", "Program", "programs"]

#: Every word that a program may hold, and what it says there.
WORDS: Mapping[str, str] = MappingProxyType({
    "G0": "go straight to a place as fast as the machine moves: only above the block",
    "G1": "go straight to a place at the feed F: the cutter cuts",
    "G4": "wait for as many seconds as P says: the spindle gets to its speed",
    "G17": "the plane is XY; nothing here depends on it",
    "G20": "lengths are inches",
    "G21": "lengths are millimetres",
    "G40": "no allowance for the cutter's radius: the paths hold it already",
    "G49": "no allowance for the cutter's length: set it by touching the block's face",
    "G54": "the first of the machine's zero points: set it to the corner and the face that the program names",
    "G80": "no cycle goes on from earlier",
    "G90": "coordinates are places, counted from zero, not steps",
    "G94": "the feed F is a length a minute",
    "M2": "the program ends",
    "M3": "the spindle turns clockwise, as seen from above, at the speed S",
    "M5": "the spindle stops",
    "F": "feed, in mm or inches a minute",
    "P": "seconds to wait, with G4",
    "S": "turns of the spindle a minute",
    "X": "to the right, as the block lies face up before you",
    "Y": "away from you, as the block lies face up before you",
    "Z": "height: 0 at the block's face, negative in the block",
})  # fmt: skip

APPROACH_MM = 1.0  #: down to this height above the face at full speed, from there on at the plunge feed; our own choice
WAIT_S = 3  #: for the spindle; common practice, no source

_DECIMALS = {"mm": 4, "in": 5}
_FEED_STEP_MM = 10.0  #: feeds are rounded down to this, so that they don't change at every move
_LINE = 72
_SAME_MM = 0.001  #: a path that begins so near to where the last one ended goes on from it


@dataclass(frozen=True, kw_only=True)
class Program:
    """One program: what one cutter does without a change of tools."""

    text: str
    cutter: str  #: its key


def programs(plan: Plan, starts: Mapping[str, Start] | None = None) -> tuple[Program, ...]:
    """The programs of a plan in the order in which they are run; the cutter is changed between them.

    Parameters
    ----------
    starts
        Spindle speed and feeds by the cutter's key; those of `feeds.starting_point` where none is given.

    Raises
    ------
    RefusedError
        For a laser's plan, and for a material that a router must not cut.
    InputError
        For a plan of the hand, and for a machine whose profile names no safe height.
    """
    job = plan.job
    safe = _safe_height_mm(job)
    found = []
    for number, (_, group) in enumerate(groupby(plan.operations, key=lambda its: its.cutter.key), start=1):
        operations = tuple(group)
        key = operations[0].cutter.key
        start = (starts or {}).get(key) or _usual(job, operations)
        text = "\n".join(_lines(plan, operations, start, safe, number)) + "\n"
        found.append(Program(text=text, cutter=key))
    return tuple(found)


def _safe_height_mm(job: Job) -> float:
    """The height for travel; refused wherever there must be no program."""
    if job.machine.kind == "laser" or job.cutter.form == "laser":
        raise RefusedError(
            "no program is written for a laser: its words differ from machine to machine, and power is the operator's",
            hint="hand over the SVG or DXF and let the operator set it",
        )
    permit(job.material, "router")
    if job.machine.kind != "router":
        raise InputError("must be a router", value=job.machine.key, where="machine", hint="choose a router's profile")
    if job.machine.safe_height_mm is None:
        raise InputError(
            "must name a safe_height_mm for a program", value=job.machine.key, where="machine",
            hint="add it to the machine's profile: clear of the block, of clamps and of whatever stands on the bed",
        )  # fmt: skip
    return job.machine.safe_height_mm


def _usual(job: Job, operations: Sequence[Operation]) -> Start:
    cutter = operations[0].cutter
    deep = min(feeds.pass_depth_mm(job.material.key, cutter), max(its.depth_mm for its in operations))
    return feeds.starting_point(job.material.key, cutter, job.machine, deep)


def _lines(plan: Plan, operations: Sequence[Operation], start: Start, safe: float, number: int) -> Iterator[str]:
    job = plan.job
    unit = _Unit.of(job)
    moves = [(operation, _moved(operation, job)) for operation in operations]
    for text in (*_head(job, operations, start, safe, number), *_extent(joined([paths for _, paths in moves]), unit)):
        yield from _comment(text)
    yield f"G17 {unit.word} G40 G49 G54 G80 G90 G94"
    yield f"G0 Z{unit.length(safe)}"
    yield f"S{start.spindle_rpm:.0f} M3"
    yield f"G4 P{WAIT_S}"
    for operation, paths in moves:
        yield from _comment(f"{operation.name}: {operation.asks}")
        for _ in range(operation.passes):
            yield from _followed(paths, start, safe, unit)
    yield "M5"
    yield "M2"


def _head(job: Job, operations: Sequence[Operation], start: Start, safe: float, number: int) -> Iterator[str]:
    """What whoever runs it must know."""
    block, unit = job.block, _Unit.of(job)
    yield f"Block {block.name}, program {number}: {job.machine.name}"
    yield f"Material {job.material.name}, {job.thickness_mm:g} mm thick; declared: {job.declared or 'NOT DECLARED'}"
    if job.permit.verdict is Verdict.ASK:
        yield f"OPEN QUESTION, settle it first: {job.permit.why}"
    yield f"Cutter {operations[0].cutter.name}: change it before this program, and set its length"
    yield f"Units {unit.name}; plane XY; places, not steps; feed in {unit.name} a minute"
    yield f"Zero: X and Y at {_CORNERS[job.machine.origin]}, Z at the face, up is positive"
    yield f"The block lies face up and is cut mirrored: {block.width_mm:g} x {block.height_mm:g} mm"
    yield f"Safe height {safe:g} mm above the face: see that clamps are lower. Deepest {_deepest(operations):g} mm"
    yield f"Fast down to {APPROACH_MM:g} mm above the face: it must be that flat"
    yield f"Start {start.spindle_rpm:.0f} rpm, {start.feed_mm_min:.0f} mm/min, down {start.plunge_mm_min:.0f} mm/min"
    yield feeds.CAUTION
    yield "Run it in the air above the block first. The machine's manual and a trained operator come before this text"


def _deepest(operations: Sequence[Operation]) -> float:
    return round(max(its.depth_mm for its in operations), 3)


def _extent(paths: Paths, unit: _Unit) -> Iterator[str]:
    """From where to where the middle of the cutter goes."""
    if len(paths):
        low, high = paths.xyz.min(axis=0), paths.xyz.max(axis=0)
        ways = (f"{axis} {unit.length(a)} to {unit.length(b)}" for axis, a, b in zip("XYZ", low, high, strict=True))
        yield f"The cutter's middle goes from {', '.join(ways)}"


_CORNERS = {
    "lower-left": "the block's lower left corner",
    "lower-right": "the block's lower right corner",
    "upper-left": "the block's upper left corner",
    "upper-right": "the block's upper right corner",
    "middle": "the middle of the block",
}


@dataclass(frozen=True)
class _Unit:
    """The unit of the machine's numbers."""

    name: str
    word: str

    @classmethod
    def of(cls, job: Job) -> _Unit:
        return cls(job.machine.units, "G21" if job.machine.units == "mm" else "G20")

    def feed(self, mm_min: float) -> str:
        """A feed given in mm a minute, in this unit a minute."""
        return f"{mm_min / MM_PER[self.name]:.2f}"

    def length(self, mm: float) -> str:
        """A length given in mm, in this unit."""
        text = f"{mm / MM_PER[self.name]:.{_DECIMALS[self.name]}f}"
        return text.lstrip("-") if not text.strip("-0.") else text


def _moved(operation: Operation, job: Job) -> Paths:
    """The paths as the block lies, counted from the machine's zero."""
    paths = paths_seen(operation.paths, job.block.width_mm, seen(job, View.BLOCK).view)
    zero = corner(job.machine.origin, job.block.width_mm, job.block.height_mm)
    return replace(paths, xyz=paths.xyz - np.array([*zero, 0.0]))


def _followed(paths: Paths, start: Start, safe: float, unit: _Unit) -> Iterator[str]:
    """Each path: above its beginning, down, along, and up again; on without lifting where the next one begins."""
    up, near = f"G0 Z{unit.length(safe)}", f"G0 Z{unit.length(APPROACH_MM)}"
    onward = np.linalg.norm(paths.entries[1:] - paths.exits[:-1], axis=1) < _SAME_MM
    onward = np.concatenate([[False], onward, [False]]).tolist()
    last = 0.0
    for k in range(len(paths)):
        way = paths.xyz[paths.start[k] : paths.start[k + 1]]
        way = np.concatenate([way, way[:1]]) if paths.closed[k] else way
        feed = _feeds(np.vstack([(*way[0, :2], APPROACH_MM), way]), start)
        if not onward[k]:
            yield f"G0 X{unit.length(way[0, 0])} Y{unit.length(way[0, 1])}"
            yield near
            yield f"G1 Z{unit.length(way[0, 2])} F{unit.feed(feed[0])}"
            last = feed[0]
        for (x, y, z), speed in zip(way[1:].tolist(), feed[1:].tolist(), strict=True):
            f = "" if speed == last else f" F{unit.feed(speed)}"
            yield f"G1 X{unit.length(x)} Y{unit.length(y)} Z{unit.length(z)}{f}"
            last = speed
        if not onward[k + 1]:
            yield up


def _feeds(way: Floats, start: Start) -> Floats:
    """The feed of each move: no faster downwards than the plunge feed, whatever the slope; (n - 1,)."""
    step = np.diff(way, axis=0)
    fall = -step[:, 2] / np.maximum(np.linalg.norm(step, axis=1), 1e-12)
    slowed = np.where(fall > 0, start.plunge_mm_min / np.maximum(fall, 1e-12), np.inf)
    feed = np.minimum(start.feed_mm_min, slowed)
    return np.maximum(np.floor(feed / _FEED_STEP_MM) * _FEED_STEP_MM, np.minimum(feed, _FEED_STEP_MM))


def _comment(text: str) -> Iterator[str]:
    """A text as comments of short lines, without anything that a control reads as more than a comment."""
    plain = unicodedata.normalize("NFKD", text.replace("×", "x")).encode("ascii", "ignore").decode()
    plain = plain.translate(str.maketrans("();%", "[],/"))
    for line in textwrap.wrap(plain, _LINE) or [""]:
        yield f"(- {line})"
