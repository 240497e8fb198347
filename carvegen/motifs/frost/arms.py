"""Arms of crystals as columns, and the points that they have grown through."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import TYPE_CHECKING

import numpy as np
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from collections.abc import Callable

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["Arms", "Crystals", "Trail"]


@dataclass(frozen=True)
class Crystals:
    """What the arms of one crystal share: a foot and a lattice that wavers from place to place."""

    foot: Floats  #: (n, 2), mm
    square: Floats  #: direction in which the first arm leaves the edge, radians, (n,)
    axis: Floats  #: direction to which it turns at once, (n,)
    sway: Floats  #: amplitude of its waves, radians, (n,)
    wave: Floats  #: wave vectors, radians per mm, (n, 2)
    sweep: Floats  #: how fast side-branches turn towards the tip of their feather (below 0: away), radians per mm
    loose: Mask  #: whether it lies in the open, not on an edge

    def turned_at(self, crystal: Indices, xy: Floats) -> Floats:
        """The direction of each crystal's axis at a place, radians: the same for all its arms; (n,)."""
        away = xy - self.foot[crystal]
        waves = np.sin((away * self.wave[crystal]).sum(axis=1)) * self.sway[crystal]
        return np.asarray(self.axis[crystal] + waves)

    @classmethod
    def none(cls) -> Crystals:
        """No crystals yet."""
        plane, whole = ("foot", "wave"), {"loose": "bool"}
        return cls(*(np.empty((0, 2) if f.name in plane else 0, whole.get(f.name, "float64")) for f in fields(cls)))

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
    curl: Floats  #: by how much it leaves that angle at its root, radians per mm of its length
    coil: Floats  #: by how much more with each mm, radians per mm squared
    planned: Floats  #: length if nothing is in its way, mm
    root: Floats  #: radius at its root, mm
    end: Floats  #: by how much thicker its tip stays than the thinnest arm, mm; 0: it runs out
    phase: Floats  #: where its thickness and its outline swell, radians
    airy: Floats  #: distance of its branches over their length: small a comb, large a fern
    shy: Floats  #: how many times the land it keeps from what is in its way; at least 1
    chance: Floats  #: it grows only where at least this share of the motif is wanted
    pace: Indices  #: it steps every so many rounds
    knob: Floats  #: by how much broader its tip ends where there is room, mm
    length: Floats  #: mm grown
    tip: Floats  #: (n, 2), mm
    sprouts_at: Floats  #: mm along it where it branches next on the left and on the right, (n, 2)
    live: Mask

    @classmethod
    def none(cls) -> Arms:
        """No arms yet."""
        whole = dict.fromkeys(("crystal", "parent", "side", "order", "pace"), "int64") | {"live": "bool"}
        plane = ("tip", "sprouts_at")
        return cls(*(np.empty((0, 2) if f.name in plane else 0, whole.get(f.name, "float64")) for f in fields(cls)))

    def __len__(self) -> int:
        return len(self.crystal)

    def own_turn(self, which: Indices) -> Floats:
        """How far arms stand off their crystal's first axis at their tips, radians."""
        along = self.length[which]
        return np.asarray(self.turn[which] + (self.curl[which] + self.coil[which] * along) * along)

    def bending(self, which: Indices) -> Floats:
        """How fast arms turn at their tips, radians per mm, to the left above 0."""
        return np.asarray(self.curl[which] + 2 * self.coil[which] * self.length[which])

    def chosen(self, which: Indices | Mask) -> Arms:
        """Some of the arms, copied."""
        return Arms(*(getattr(self, f.name)[which] for f in fields(self)))

    def with_more(self, other: Arms) -> Arms:
        """These arms, then the others."""
        return Arms(*(np.concatenate([getattr(self, f.name), getattr(other, f.name)]) for f in fields(self)))


@dataclass(frozen=True)
class _Tree:
    """A tree over some points of a trail."""

    points: Indices
    tree: cKDTree
    widest: float  #: largest radius of its points, mm


class Trail:
    """Points with arm, length along it and radius; those near a place are found fast while more come.

    A few k-d trees of growing size (the logarithmic method, source: bentley-saxe): a point is moved to
    a larger tree at most about log n times. Stout and thin points stand in trees of their own, so that one stout
    stem makes nobody look far for thin arms.
    """

    def __init__(self, stout: float = np.inf) -> None:
        self.stout = stout  #: from this radius on points are stout
        self.xy, self.arm = np.empty((64, 2)), np.empty(64, dtype=np.int64)
        self.along, self.radius = np.empty(64), np.empty(64)
        self.count = 0
        self.widest = 0.0
        self._trees: tuple[list[_Tree], list[_Tree]] = ([], [])

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
        stout = radius >= self.stout
        for trees, which in zip(self._trees, (~stout, stout), strict=True):
            self._plant(trees, start + np.flatnonzero(which))

    def near(self, xy: Floats, reach: Callable[[float], float]) -> tuple[Indices, Indices, Floats]:
        """Pairs (place, point) not more than ``reach(r)`` apart, and how far; r is at least the point's radius."""
        asked = cKDTree(xy)
        trees = [tree for lot in self._trees for tree in lot]
        pairs = [asked.sparse_distance_matrix(tree.tree, reach(tree.widest), output_type="ndarray") for tree in trees]
        place = np.concatenate([np.empty(0, dtype=np.int64), *(pair["i"] for pair in pairs)])
        points = [tree.points[pair["j"]] for tree, pair in zip(trees, pairs, strict=True)]
        point = np.concatenate([np.empty(0, dtype=np.int64), *points])
        return place, point, np.concatenate([np.empty(0), *(pair["v"] for pair in pairs)])

    def _plant(self, trees: list[_Tree], points: Indices) -> None:
        """Put points into a tree, along with those of the trees that aren't much larger."""
        if len(points) == 0:
            return
        while trees and len(trees[-1].points) <= 2 * len(points):
            points = np.concatenate([trees.pop().points, points])
        tree = cKDTree(self.xy[points], balanced_tree=False, compact_nodes=False)
        trees.append(_Tree(points, tree, float(self.radius[points].max())))

    def _double(self) -> None:
        self.xy = np.concatenate([self.xy, np.empty_like(self.xy)])
        self.arm = np.concatenate([self.arm, np.empty_like(self.arm)])
        self.along = np.concatenate([self.along, np.empty_like(self.along)])
        self.radius = np.concatenate([self.radius, np.empty_like(self.radius)])
