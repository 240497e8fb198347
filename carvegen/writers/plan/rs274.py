"""Plain RS-274 programs of a router's plan: one for each cutter, straight moves only, every word in `WORDS`.

Words and rules: source: nistir-6556, iso-6983-1; no macros, no cycles, no arcs, no offsets, no change of tools within a
program.
"""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np

from carvegen.base.errors import InputError, RefusedError
from carvegen.base.units import MM_PER
from carvegen.blocks.job import permit
from carvegen.blocks.views import View, corner, seen
from carvegen.facts import feeds
from carvegen.facts.profiles import Verdict
from carvegen.toolpaths.motion.moves import (
    ACROSS,
    APPROACH_MM,
    CUT,
    DOWN,
    by_cutter,
    moves_of,
    starts_of,
)
from carvegen.toolpaths.paths import Work, joined, paths_seen

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from carvegen.blocks.job import Job
    from carvegen.facts.feeds import Start
    from carvegen.toolpaths.paths import Operation, Paths, Plan

__all__ = ["WAIT_S", "WORDS", "Program", "programs"]

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

WAIT_S = 3  #: for the spindle; common practice, no source

_DECIMALS = {"mm": 4, "in": 5}
_LINE = 72


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
        Spindle speed and feeds by the cutter's key; those of `moves.starts_of` where none is given.

    Raises
    ------
    RefusedError
        For a laser's plan, and for a material that a router must not cut.
    InputError
        For a plan of the hand, and for a machine whose profile names no safe height.
    """
    job = plan.job
    safe = _safe_height_mm(job)
    begin = starts_of(job, plan.operations) | dict(starts or {})
    written = []
    for number, operations in enumerate(by_cutter(plan.operations), start=1):
        key = operations[0].cutter.key
        text = "\n".join(_lines(plan, operations, begin[key], safe, number)) + "\n"
        written.append(Program(text=text, cutter=key))
    return tuple(written)


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


def _lines(plan: Plan, operations: Sequence[Operation], start: Start, safe: float, number: int) -> Iterator[str]:
    job = plan.job
    unit = _Unit.of(job)
    moved = [replace(operation, paths=_moved(operation, job)) for operation in operations]
    extent = _extent(joined([operation.paths for operation in moved]), unit)
    for text in (*_head(job, operations, start, safe, number), *extent):
        yield from _comment(text)
    yield f"G17 {unit.word} G40 G49 G54 G80 G90 G94"
    yield f"G0 Z{unit.length(safe)}"
    yield f"S{start.spindle_rpm:.0f} M3"
    yield f"G4 P{WAIT_S}"
    yield from _moves(moved, start, safe, unit)
    yield "M5"
    yield "M2"


def _moves(operations: Sequence[Operation], start: Start, safe: float, unit: _Unit) -> Iterator[str]:
    """Every move as a line, each operation's behind its name."""
    moves = moves_of(operations, start, safe)
    number, last = -1, 0.0
    rows = (moves.to.tolist(), moves.kind.tolist(), moves.feed_mm_min.tolist(), moves.operation.tolist())
    for (x, y, z), kind, feed, own in zip(*rows, strict=True):
        if own != number:
            number = own
            yield from _comment(_asks(operations[own], unit))
        if kind == ACROSS:
            yield f"G0 X{unit.length(x)} Y{unit.length(y)}"
        elif kind == CUT:
            f = "" if feed == last else f" F{unit.feed(feed)}"
            yield f"G1 X{unit.length(x)} Y{unit.length(y)} Z{unit.length(z)}{f}"
            last = feed
        elif kind == DOWN:
            yield f"G1 Z{unit.length(z)} F{unit.feed(feed)}"
            last = feed
        else:
            yield f"G0 Z{unit.length(z)}"


_ASKS = {
    Work.CLEAR: "clear the floor of the cuts",
    Work.WALL: "follow the walls, for climb milling",
    Work.CENTRE_LINE: "follow in three dimensions, as deep as the cut is wide",
    Work.CUT_THROUGH: "cut through the block, into a board under it",
    Work.CUT_BLOCK: "cut the block out of its sheet, into a board under it",
}


def _asks(operation: Operation, unit: _Unit) -> str:
    """What an operation does, its depth in the program's own unit."""
    return f"{operation.name}: {_ASKS[operation.work]}; deepest {unit.in_words(operation.depth_mm)}"


def _head(job: Job, operations: Sequence[Operation], start: Start, safe: float, number: int) -> Iterator[str]:
    """What whoever runs it must know."""
    block, unit = job.block, _Unit.of(job)
    yield f"Block {block.name}, program {number}: {job.machine.name}"
    thick = unit.in_words(job.thickness_mm)
    yield f"Material {job.material.name}, {thick} thick; declared: {job.declared or 'NOT DECLARED'}"
    if job.permit.verdict is Verdict.ASK:
        yield f"OPEN QUESTION, settle it first: {job.permit.why}"
    yield f"Cutter {_cutter(operations[0], unit)}: change it before this program, and set its length"
    yield f"Units {unit.name}; plane XY; places, not steps; feed in {unit.name} a minute"
    yield f"Zero: X and Y at {_CORNERS[job.machine.origin]}, Z at the face, up is positive"
    size = f"{unit.in_words(block.width_mm)} x {unit.in_words(block.height_mm)}"
    yield f"The block lies face up and is cut {'mirrored' if block.turned else 'as the print shows it'}: {size}"
    deepest = unit.in_words(max(operation.depth_mm for operation in operations))
    yield f"Safe height {unit.in_words(safe)} above the face: see that clamps are lower. Deepest {deepest}"
    yield f"Fast down to {unit.in_words(APPROACH_MM)} above the face: it must be that flat"
    feed, down = (unit.feed_in_words(mm_min) for mm_min in (start.feed_mm_min, start.plunge_mm_min))
    yield f"Start {start.spindle_rpm:.0f} rpm, {feed}, down {down}"
    yield feeds.CAUTION
    yield "Run it in the air above the block first. The machine's manual and a trained operator come before this text"


def _cutter(operation: Operation, unit: _Unit) -> str:
    """The cutter by the name of its profile, which counts in millimetres; else by its key and its size."""
    cutter = operation.cutter
    if unit.name == "mm":
        return cutter.name
    sizes = (("diameter_mm", "across"), ("tip_mm", "at its tip"))
    measures = [f"{unit.in_words(cutter.values[name])} {where}" for name, where in sizes if name in cutter.values]
    return ", ".join([cutter.key.upper(), *measures])


def _extent(paths: Paths, unit: _Unit) -> Iterator[str]:
    """From where to where the middle of the cutter goes."""
    if len(paths):
        low, high = paths.xyz.min(axis=0), paths.xyz.max(axis=0)
        ranges = (f"{axis} {unit.length(a)} to {unit.length(b)}" for axis, a, b in zip("XYZ", low, high, strict=True))
        yield f"The cutter's middle goes from {', '.join(ranges)}"


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

    def in_words(self, mm: float) -> str:
        """A length given in mm, in words."""
        return f"{mm / MM_PER[self.name]:.{_DECIMALS[self.name] - 1}f}".rstrip("0").rstrip(".") + f" {self.name}"

    def feed_in_words(self, mm_min: float) -> str:
        """A feed given in mm a minute, in words."""
        return f"{mm_min / MM_PER[self.name]:.{0 if self.name == 'mm' else 1}f} {self.name}/min"

    def length(self, mm: float) -> str:
        """A length given in mm, in this unit."""
        text = f"{mm / MM_PER[self.name]:.{_DECIMALS[self.name]}f}"
        return text.lstrip("-") if not text.strip("-0.") else text


def _moved(operation: Operation, job: Job) -> Paths:
    """The paths as the block lies, counted from the machine's zero."""
    paths = paths_seen(operation.paths, job.block.width_mm, seen(job, View.BLOCK).view)
    zero = corner(job.machine.origin, job.block.width_mm, job.block.height_mm)
    return replace(paths, xyz=paths.xyz - np.array([*zero, 0.0]))


def _comment(text: str) -> Iterator[str]:
    """A text as comments of short lines, without anything that a control reads as more than a comment."""
    plain = unicodedata.normalize("NFKD", text.replace("×", "x")).encode("ascii", "ignore").decode()
    plain = plain.translate(str.maketrans("();%", "[],/"))
    for line in textwrap.wrap(plain, _LINE) or [""]:
        yield f"(- {line})"
