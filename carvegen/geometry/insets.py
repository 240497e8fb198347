"""Insets of many plain outlines at once: every side moves inwards, and sides that vanish on the way are taken out.

GEOS insets one shape after another, and is asked for those alone of which nothing is sure here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["insets"]

_FEWEST = 3  #: sides that hold an area
_FLAT = 1e-9  #: sides shorter than it (mm), and turns whose sine is less, are left to GEOS


def insets(shapes: NDArray[np.object_], by_mm: float, most_mm: float) -> tuple[NDArray[np.object_], Mask]:
    """The places inside shapes at least `by_mm` from their outlines, and at most `most_mm` farther.

    As long as no side has vanished, the strip that each sweeps never turns over: the moved outline winds about a place
    once less than the outline for each time that it swept it. Where it crosses itself nowhere it holds just what is so
    deep. Of a convex outline, a vanished side bounds nothing that its neighbours don't, and all such may be left out
    together, as the others span what they do; where fewer than three sides are left, nothing is (own derivation, by
    plane geometry).

    Parameters
    ----------
    shapes
        Polygons without holes; (n,).
    by_mm
        How far inwards; above 0.
    most_mm
        Round corners that jut in the inset has a corner too, so much farther off at most.

    Returns
    -------
    tuple
        The insets, some of them empty, (n,); and which are sure, (n,): the others are empty, too.

    """
    inner = np.full(len(shapes), shapely.Polygon(), dtype=object)
    sure = np.zeros(len(shapes), dtype=bool)
    with np.errstate(divide="ignore", invalid="ignore"):  # a ring of which a number isn't one is not sure
        sides, convex, fine = _moved(shapes, by_mm, most_mm)
        whole = fine & ~sides.vanished
        sides.put_into(inner, whole)
        jutting = np.flatnonzero(whole & ~convex)
        crossed = jutting[~shapely.is_valid(inner[jutting])]
        inner[crossed], whole[crossed] = shapely.Polygon(), False
        sure[whole] = True
        sides = sides.of(fine & convex & ~whole)
        while len(sides.shape):
            all_, (sides, unsure) = sides.shape, sides.without_vanished()
            sure[all_] = True  # nothing is left of those
            sure[sides.shape] = False  # that are no more among them
            whole = ~unsure & ~sides.vanished
            sides.put_into(inner, whole)
            sure[sides.shape[whole]] = True
            sides = sides.of(~unsure & ~whole)
    return inner, sure


@dataclass(frozen=True, eq=False)
class _Sides:
    """The sides of outlines, ragged, each with the corner where it begins."""

    shape: Indices  #: the number of each outline's shape; (outlines,)
    start: Indices  #: where the sides of each begin; (outlines + 1,)
    along: Floats  #: x and y of each side's direction; (2, sides)
    corner: Floats  #: x and y of where it begins; mm, (2, sides)
    length: Floats  #: 0 or below where the side has vanished; mm, (sides,)

    @property
    def onward(self) -> Indices:
        """The number of the next side of the same outline; (sides,)."""
        return geometry.onward(self.start)

    @property
    def before(self) -> Indices:
        """The number of the side before it; (sides,)."""
        begins = np.arange(-1, len(self.length) - 1)
        begins[self.start[:-1]] = self.start[1:] - 1
        return begins

    @property
    def vanished(self) -> Mask:
        """Which outlines have a side that has vanished; (outlines,)."""
        return np.asarray(np.minimum.reduceat(self.length, self.start[:-1]) <= _FLAT)

    @property
    def size(self) -> Indices:
        """How many sides each outline has; (outlines,)."""
        return np.diff(self.start)

    def of(self, which: Mask) -> _Sides:
        """The outlines that are said, whole; `which`: (outlines,)."""
        stay = np.flatnonzero(np.repeat(which, self.size))
        return self._less(stay, self.shape[which], self.size[which])

    def _less(self, stay: Indices, shape: Indices, size: Indices) -> _Sides:
        """The sides that stay, so many of each of these shapes."""
        along, corner = self.along.take(stay, axis=1), self.corner.take(stay, axis=1)
        return _Sides(shape, geometry.starts(size), along, corner, self.length[stay])

    def put_into(self, inner: NDArray[np.object_], which: Mask) -> None:
        """Puts a polygon of each outline that is said where its shape is."""
        xy = self.corner.compress(np.repeat(which, self.size), axis=1).T
        inner[self.shape[which]] = geometry.polygons_of(xy, geometry.starts(self.size[which]))

    def without_vanished(self) -> tuple[_Sides, Mask]:
        """Convex outlines less the sides that have vanished, where three are left or more; and which are unsure.

        Others may have vanished by that.
        """
        goes = self.length <= _FLAT
        size = np.add.reduceat(~goes, self.start[:-1], dtype=np.int64)
        some = size >= _FEWEST
        stay = np.flatnonzero(~goes & np.repeat(some, self.size))
        rest = self._less(stay, self.shape[some], size[some])
        new = np.flatnonzero(goes[self.before][stay])
        unsure = np.zeros(len(rest.shape), dtype=bool)
        unsure[np.searchsorted(rest.start, new[rest.meet(new)], side="right") - 1] = True
        return rest, unsure

    def meet(self, new: Indices) -> Mask:
        """Lets sides begin where they meet the ones before them; at which it is unsure; (new,)."""
        back = self.before[new]
        one, other = self.along[:, back], self.along[:, new]
        sine = _turned(one, other)[0]
        between = self.corner[:, new] - self.corner[:, back]
        self.corner[:, new] = self.corner[:, back] + one * (_turned(between, other)[0] / sine)
        changed = np.concatenate([new, back])
        far = self.corner[:, self.onward[changed]] - self.corner[:, changed]
        self.length[changed] = (far * self.along[:, changed]).sum(axis=0)
        return np.asarray(np.abs(sine) <= _FLAT)


def _moved(shapes: NDArray[np.object_], by: float, most: float) -> tuple[_Sides, Mask, Mask]:
    """The sides of shapes moved inwards; which shapes are convex; in which nothing is too short or too sharp."""
    outline = geometry.rings(shapes)
    first, corner = outline.start[:-1], np.ascontiguousarray(outline.xy.T)
    still = _Sides(np.arange(len(shapes)), outline.start, corner, corner, corner[0])
    onward, before = still.onward, still.before
    along = corner.take(onward, axis=1) - corner
    length = np.sqrt(along[0] ** 2 + along[1] ** 2)
    along /= length
    sine, cosine = _turned(along.take(before, axis=1), along)
    half = sine / (1 + cosine)  # tan(a / 2)
    inwards = np.stack([-along[1], along[0]])
    least = np.minimum.reduceat(half, first)
    fine = (np.minimum.reduceat(length, first) > _FLAT) & (np.minimum.reduceat(cosine, first) > _FLAT - 1)
    fine &= by * (np.sqrt(1 + np.minimum(least, 0) ** 2) - 1) <= most
    length -= by * (half + half[onward])
    sides = _Sides(still.shape, outline.start, along, corner + by * (inwards + half * along), length)
    return sides, least >= 0, fine


def _turned(one: Floats, other: Floats) -> tuple[Floats, Floats]:
    """Sine and cosine of the turn from one direction to another, times their lengths; (2, n) each; (n,)."""
    return one[0] * other[1] - one[1] * other[0], one[0] * other[0] + one[1] * other[1]
