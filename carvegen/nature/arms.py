"""Arms of crystals as columns, and the points that they have grown through."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Arms", "Crystals", "Trail"]


@dataclass(frozen=True)
class Crystals:
    """What the arms of one crystal share: a foot and a lattice that bends away from it."""

    foot: Floats  #: (n, 2), mm
    square: Floats  #: direction in which the first arm leaves the edge, radians, (n,)
    axis: Floats  #: direction to which it turns at once, and with it the lattice, (n,)
    bend: Floats  #: how fast the lattice turns with the distance from the foot, radians per mm, (n,)
    sway: Floats  #: amplitude of its waves, radians, (n,)
    wave: Floats  #: wave vectors, radians per mm, (n, 2)
    sweep: Floats  #: how fast side-branches turn towards the tip of their feather (below 0: away), radians per mm

    def turned_at(self, crystal: Indices, xy: Floats) -> Floats:
        """The direction of each crystal's first axis at a place, radians: the same for all its arms; (n,)."""
        away = xy - self.foot[crystal]
        waves = np.sin((away * self.wave[crystal]).sum(axis=1)) * self.sway[crystal]
        return np.asarray(self.axis[crystal] + self.bend[crystal] * np.hypot(away[:, 0], away[:, 1]) + waves)

    @classmethod
    def none(cls) -> Crystals:
        """No crystals yet."""
        return cls(*(np.empty((0, 2) if f.name in ("foot", "wave") else 0) for f in fields(cls)))

    def __len__(self) -> int:
        return len(self.axis)

    def with_more(self, other: Crystals) -> Crystals:
        """These, then the others."""
        return Crystals(*(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self)))


@dataclass(frozen=True)
class Arms:
    """Arms, one a row; the last four columns change while they grow."""

    crystal: Indices
    parent: Indices  #: the arm it springs from; -1: it grows from the edge
    side: Indices  #: 1 left of the parent, -1 right of it, 0 no parent
    order: Indices  #: 0 a feather, 1 its side-branch, …
    sprung_at: Floats  #: mm along the parent
    turn: Floats  #: angle from the crystal's first axis, radians
    curl: Floats  #: by how much it leaves that angle, radians per mm of its length
    planned: Floats  #: length if nothing is in its way, mm
    root: Floats  #: radius at its root, mm
    shy: Floats  #: how many times the land it keeps from what is in its way; at least 1
    chance: Floats  #: it grows only where at least this share of the motif is wanted
    pace: Indices  #: it steps every so many rounds
    knob: Floats  #: by how much broader its tip ends where there is room, mm
    length: Floats  #: mm grown
    tip: Floats  #: (n, 2), mm
    sprouts_at: Floats  #: mm along it where it branches next
    live: Mask

    @classmethod
    def none(cls) -> Arms:
        """No arms yet."""
        whole = dict.fromkeys(("crystal", "parent", "side", "order", "pace"), "int64") | {"live": "bool"}
        return cls(*(np.empty((0, 2) if f.name == "tip" else 0, whole.get(f.name, "float64")) for f in fields(cls)))

    def __len__(self) -> int:
        return len(self.crystal)

    def own_turn(self, which: Indices) -> Floats:
        """How far arms stand off their crystal's first axis at their tips, radians."""
        return np.asarray(self.turn[which] + self.curl[which] * self.length[which])

    def chosen(self, which: Indices | Mask) -> Arms:
        """Some of the arms, copied."""
        return Arms(*(getattr(self, f.name)[which] for f in fields(self)))

    def with_more(self, other: Arms) -> Arms:
        """These arms, then the others."""
        return Arms(*(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self)))


class Trail:
    """Points with arm, length along it and radius; those near a place are found fast while more come.

    A few k-d trees of growing size (J. Bentley & J. Saxe 1980, the logarithmic method): a point is moved to
    a larger tree at most about log n times.
    """

    def __init__(self) -> None:
        self.xy, self.arm = np.empty((64, 2)), np.empty(64, dtype=np.int64)
        self.along, self.radius = np.empty(64), np.empty(64)
        self.count = 0
        self.widest = 0.0
        self._trees: list[tuple[int, cKDTree]] = []  # first point, tree

    def add(self, xy: Floats, arm: Indices, along: Floats, radius: Floats) -> None:
        """Append points."""
        if len(arm) == 0:
            return
        end = self.count + len(arm)
        while end > len(self.arm):
            self._double()
        for column, new in ((self.xy, xy), (self.arm, arm), (self.along, along), (self.radius, radius)):
            column[self.count : end] = new
        start, self.count = self.count, end
        self.widest = max(self.widest, float(radius.max()))
        while self._trees and self._trees[-1][1].n <= 2 * (end - start):
            start = self._trees.pop()[0]
        self._trees.append((start, cKDTree(self.xy[start:end])))

    def near(self, xy: Floats, reach: float) -> tuple[Indices, Indices, Floats]:
        """Pairs (place, point) not more than `reach` apart, and how far apart."""
        asked = cKDTree(xy)
        found = [(s, asked.sparse_distance_matrix(tree, reach, output_type="ndarray")) for s, tree in self._trees]
        place = np.concatenate([np.empty(0, dtype=np.int64), *(pairs["i"] for _, pairs in found)])
        point = np.concatenate([np.empty(0, dtype=np.int64), *(pairs["j"] + start for start, pairs in found)])
        return place, point, np.concatenate([np.empty(0), *(pairs["v"] for _, pairs in found)])

    def _double(self) -> None:
        self.xy = np.concatenate([self.xy, np.empty_like(self.xy)])
        self.arm = np.concatenate([self.arm, np.empty_like(self.arm)])
        self.along = np.concatenate([self.along, np.empty_like(self.along)])
        self.radius = np.concatenate([self.radius, np.empty_like(self.radius)])
