"""Paths as flat arrays, and the operations of a plan that a machine works one after another."""

from __future__ import annotations

import enum
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.blocks.views import points_seen

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.base.findings import Finding
    from carvegen.blocks.job import Job
    from carvegen.blocks.views import View
    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
        Rings,
    )

__all__ = ["Operation", "Paths", "Plan", "Work", "from_rings", "joined", "no_paths", "paths_seen", "picked"]


class Work(enum.Enum):
    """What an operation does to the block."""

    LOWER = "lower"  #: lines that together lower an area
    SHOULDER = "shoulder"  #: rings beside a land that leave its wall sloped
    CLEAR = "clear"  #: the floor of a cut, away from its wall
    WALL = "wall"  #: once along the wall, for its final shape
    CENTRE_LINE = "centre line"  #: a V between two edges, its depth by its width
    CUT_THROUGH = "cut through"
    CUT_BLOCK = "cut out block"  #: round the block, which lies in a larger sheet
    SCORE = "score"  #: a mark on the face


@dataclass(frozen=True, eq=False)
class Paths:
    """Many polylines: ``xyz[start[k]:start[k + 1]]`` is path k, in the order and direction in which it is followed.

    A closed path's first point is not repeated. Millimetres, print view, z 0 at the face and negative below it.
    """

    xyz: Floats  #: (n, 3)
    start: Indices  #: (paths + 1,)
    closed: Mask  #: (paths,)

    def __len__(self) -> int:
        return len(self.closed)

    @property
    def owner(self) -> Indices:
        """For each point the number of its path; (n,)."""
        return np.repeat(np.arange(len(self)), np.diff(self.start))

    @property
    def onward(self) -> Indices:
        """For each point the number of the one after it: of an open path's last that point itself; (points,)."""
        ends = np.arange(1, len(self.xyz) + 1)
        last = self.start[1:] - 1
        ends[last] = np.where(self.closed, self.start[:-1], last)
        return ends

    @property
    def lengths(self) -> Floats:
        """The length of each path in mm, a closed one with its closing side; (paths,)."""
        if not len(self):
            return np.empty(0)
        steps = np.linalg.norm(self.xyz.take(self.onward, axis=0) - self.xyz, axis=1)
        return np.asarray(np.add.reduceat(steps, self.start[:-1]), dtype=np.float64)

    @property
    def entries(self) -> Floats:
        """Where each path begins; (paths, 3)."""
        return self.xyz.take(self.start[:-1], axis=0)

    @property
    def exits(self) -> Floats:
        """Where each path ends: a closed one where it began; (paths, 3)."""
        return np.where(self.closed[:, None], self.entries, self.xyz.take(self.start[1:] - 1, axis=0))


@dataclass(frozen=True, kw_only=True, eq=False)
class Operation:
    """One layer of a plan: paths that one cutter follows in their order."""

    name: str  #: the layer's name in files, such as "WALL FLAT-1"; unlike any other of the plan
    work: Work
    asks: str  #: what it asks of the operator, in words
    cutter: Cutter
    paths: Paths
    depth_mm: float  #: the deepest that it goes below the face
    pass_mm: float | None = None  #: the deepest that a turning cutter takes at once; None: its whole depth
    passes: int = 1  #: how often the paths are to be followed, if they don't hold every pass themselves
    area_lines_mm: float | None = (
        None  #: closed shapes whose inside is lowered line by line, this far apart; None: followed
    )
    cautions: tuple[str, ...] = ()  #: what belongs to this operation and no other


@dataclass(frozen=True, kw_only=True, eq=False)
class Plan:
    """What a machine does to a block: operations in the order in which they are worked."""

    job: Job
    operations: tuple[Operation, ...]
    unreached: PolygonArray = field(default_factory=geometry.empty)  #: planned cut that no cutter reaches: it prints
    covered: PolygonArray = field(default_factory=geometry.empty)  #: planned cut that a clamp covers: it prints, too
    remarks: tuple[str, ...] = ()  #: what the operator must know of this plan
    findings: tuple[Finding, ...] = ()  #: what was asked for and is not made


def no_paths() -> Paths:
    """No path at all."""
    return Paths(np.empty((0, 3)), np.zeros(1, dtype=np.int64), np.zeros(0, dtype=bool))


def from_rings(rings: Rings, z_mm: float | Floats = 0.0) -> Paths:
    """A closed path along each ring, at one height or at one for each point."""
    height = np.broadcast_to(np.asarray(z_mm, dtype=np.float64), len(rings.xy))
    return Paths(np.column_stack([rings.xy, height]), rings.start, np.ones(len(rings), dtype=bool))


def paths_seen(paths: Paths, width_mm: float, view: View) -> Paths:
    """Paths of a block of this width in a view, in the same order and direction of work."""
    return replace(paths, xyz=points_seen(paths.xyz, width_mm, view))


def joined(parts: Sequence[Paths]) -> Paths:
    """The paths of several, one after another."""
    parts = [part for part in parts if len(part)]
    if not parts:
        return no_paths()
    counts = np.concatenate([np.diff(part.start) for part in parts])
    start = np.concatenate([[0], np.cumsum(counts)])
    return Paths(np.concatenate([part.xyz for part in parts]), start, np.concatenate([part.closed for part in parts]))


def picked(paths: Paths, order: Indices) -> Paths:
    """The paths of these numbers, in this order."""
    counts = np.diff(paths.start)[order]
    start = np.concatenate([[0], np.cumsum(counts)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], counts)
    return Paths(paths.xyz.take(np.repeat(paths.start[order], counts) + within, axis=0), start, paths.closed[order])
