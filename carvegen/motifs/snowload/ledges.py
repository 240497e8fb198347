"""Ledges: every place where air stands over something solid, in chains from end to end."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator
    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.motifs.snowload.scene import Columns

__all__ = ["Ledges", "ledges_of", "mixed"]

_FAR = 1e5  #: more than any height, mm
_DEEP_MM = 5.0  #: so far down it is looked for how broad a thing is
_BRIDGED_MM = 0.05  #: with less air below nothing is bridged: outlines are thinned out
_SLOT = 2.5  #: a gap so many times as deep as broad is a slot
_AIR_MM = 1.0  #: under what hangs above at least
_SLIT_MM, _SLIT_NEAR_MM = 2.0, 1.0  #: no wider than that within so much it is a slit
_NEAR_MM = (1.5, 4.0, 4.0)  #: what is short somewhere is taken from so near, and what is short then


@dataclass(frozen=True, eq=False)
class Ledges:
    """One place a column and shelf; chain after chain, each from left to right."""

    step: float
    column: Indices  #: (n,)
    x: Floats  #: mm
    base: Floats  #: height on which the snow lies, mm
    ceiling: Floats  #: height of what is above, mm; may be inf
    thick: Floats  #: how far down what is drawn reaches there, mm
    breadth: Floats  #: of what is drawn a little below, across it, mm
    ground: Mask  #: whether it reaches the page's lower edge
    void: Floats  #: air between the base and what is drawn, where a gap is bridged, mm; inf: nothing
    slope: Floats  #: rise over run of the base
    linked: Mask  #: whether the next place goes on with this chain
    first: Indices  #: the chain's first place
    last: Indices  #: and its last
    under: Indices  #: the ledge below in the same column; -1: none
    free: Indices  #: (2, n) at a chain's left and right end: the ledge below the edge, -1 none, -2 no free edge
    wall: Indices  #: (2, n) at a chain's left and right end: the ledge on what stands there, -1 none
    hung: Mask  #: whether it spans a slot beside a wall: nothing holds snow there

    def __len__(self) -> int:
        return len(self.column)

    def chance(self, rng: Generator, at: Indices | None = None) -> Floats:
        """A number 0…1 for each place, by where it lies alone: what changes elsewhere does not change it."""
        at = np.arange(len(self)) if at is None else at
        key = self.column[at].astype(np.uint64) * np.uint64(0x9E3779B97F4A7C15)
        key += np.rint(self.base[at] / self.step).astype(np.int64).astype(np.uint64) * np.uint64(0xBF58476D1CE4E5B9)
        return mixed(key + rng.integers(2**63, dtype=np.uint64))

    @property
    def bridged(self) -> Mask:
        """Which places span a gap, with air between them and what is drawn, (n,)."""
        return _bridged(self.void)

    @property
    def below_tip(self) -> Floats:
        """How far each place lies below the highest of its chain, mm, (n,)."""
        heads, chain = np.unique(self.first, return_inverse=True)
        return np.asarray(np.maximum.reduceat(self.base, heads)[chain] - self.base)

    def rises(self, within_mm: float) -> Floats:
        """How high what stands at the chain's left and right end rises over the end, mm; inf: past all snow; (2, n)."""
        over = self.highest(self.base, within_mm)[np.maximum(self.wall, 0)] - self.base
        ends = np.stack([self.first, self.last])
        return np.take_along_axis(np.where(self.wall >= 0, over, np.inf), ends, axis=1)

    def calmed(self, depth: Floats, over_mm: Floats | float, least_mm: float) -> Floats:
        """The depth with the snow's surface evened out, wherever it is deeper than `least_mm`; its sum is kept."""
        links = self.linked[:-1] & (np.minimum(depth[:-1], depth[1:]) > least_mm)
        return self.filled(diffused(depth, links * (over_mm / self.step) ** 2 / 2, np.diff(self.base)))

    def filled(self, depth: Floats) -> Floats:
        """The depth with what is below nothing filled from near by, so that the sum is kept but for a trifle."""
        for near_mm in _NEAR_MM:
            short = np.clip(-depth, 0, None)
            depth = depth + short - self.smoothed(short, near_mm)
        return np.clip(depth, 0, None)

    def reshaped(self, new: Floats, old: Floats, near_mm: float) -> Floats:
        """The new depth with as much snow as the old had, near by; its sum is kept."""
        return self.filled(new - self.smoothed(new - old, near_mm))

    def highest(self, values: Floats, within_mm: float) -> Floats:
        """The highest value on the same chain within so many mm of each place."""
        return np.maximum(*(self.highest_to(values, side, within_mm) for side in (-1, 1)))

    def rising_gently(self, values: Floats, rise: float, within_mm: float) -> Floats:
        """The values, no more than `rise` for each mm above any other on the same chain within so many mm."""
        x = rise * self.x
        from_left = x - self.highest_to(x - values, -1, within_mm)
        return np.minimum(from_left, -x - self.highest_to(-x - values, 1, within_mm))

    def room(self, land_mm: float) -> Floats:
        """How deep it may lie under what hangs above: so much air stays that the sky behind is not shut in, mm.

        None in a slit, which is nowhere near by wide enough for snow and sky.
        """
        over = self.ceiling - self.base
        return np.maximum(over - max(land_mm, _AIR_MM), 0) * (self.highest(over, _SLIT_NEAR_MM) > _SLIT_MM)

    def hollow(self, surface: Floats, within_mm: float) -> Floats:
        """How much higher a surface rises on both sides on the same chain within so many mm, and no less than 0."""
        return np.minimum(*(self.highest_to(surface, side, within_mm) for side in (-1, 1))) - surface

    def away_from(self, places: Mask, side: int, within_mm: float) -> Floats:
        """How far off the nearest of these is to that side on the same chain, mm; inf: further than so many; (n,)."""
        return np.asarray(-self.highest_to(np.where(places, -side * self.x, -np.inf), side, within_mm) - side * self.x)

    def highest_to(self, values: Floats, side: int, within_mm: float) -> Floats:
        """The highest value from each place on to one side, no further than so many mm."""
        reach, step, here = int(within_mm / self.step), 1, np.arange(len(values))
        while reach > 0:
            step = min(step, reach)
            values = np.maximum(values, values[np.clip(here + side * step, self.first, self.last)])
            reach -= step
            step *= 2
        return values

    def smoothed(self, values: Floats, over_mm: Floats | float, where: Mask | None = None) -> Floats:
        """Values spread along the chains, their sum kept; not across places that are not in `where`."""
        links = self.linked[:-1] if where is None else self.linked[:-1] & where[:-1] & where[1:]
        return diffused(values, links * (over_mm / self.step) ** 2 / 2)


def mixed(key: NDArray[np.uint64]) -> Floats:
    """A number 0…1 for each key, unlike for keys that are near to one another; same shape."""
    for shift, by in ((30, 0xBF58476D1CE4E5B9), (27, 0x94D049BB133111EB)):  # the mixing steps of splitmix64
        key = (key ^ (key >> np.uint64(shift))) * np.uint64(by)
    return np.asarray((key ^ (key >> np.uint64(31))) / 2.0**64)


def diffused(values: Floats, along: Floats, drive: Floats | None = None) -> Floats:
    """One implicit step of diffusion: ``v' + D^T k (D v' + d) = v``; what leaves one place comes to the next.

    Parameters
    ----------
    along
        k of each link to the next place, (n - 1,).
    drive
        d, differences of what the values lie on, (n - 1,).
    """
    from scipy.linalg.lapack import dgtsv  # what solve_banded calls, and takes longer to than it runs

    if len(values) < 2:
        return values
    middle = np.ones(len(values))
    middle[:-1] += along
    middle[1:] += along
    right = np.array(values, dtype=np.float64)
    if drive is not None:
        flow = along * drive
        right[:-1] += flow
        right[1:] -= flow
    return np.asarray(dgtsv(-along, middle, -along, right)[3])


def ledges_of(bearing: Columns, drawn: Columns, *, cliff_mm: float) -> Ledges:
    """The ledges on `bearing`; a base that falls by more than `cliff_mm` from one column to the next ends a chain."""
    page = bearing.page
    column, base = bearing.column, bearing.high
    above = np.append(np.where(column[1:] == column[:-1], bearing.low[1:], np.inf), np.inf)
    order = np.flatnonzero(np.isfinite(base))
    column, base, above = column[order], base[order], above[order]
    right, left = _nearest(column, base, 1), _nearest(column, base, -1)
    here = np.arange(len(column))
    ok = (right >= 0) & (left[right] == here) & (np.abs(base - base[right]) <= cliff_mm)
    ok &= np.minimum(above, above[right]) > np.maximum(base, base[right])
    order = _chained(np.where(ok, right, -1), column)
    column, base, above = column[order], base[order], above[order]
    thick, void, ground = _drawn_below(drawn, column, base)
    under = _below(column, base, column, base - 1e-6)
    goes_on, hung = _without_hung(bearing, column, base, void, ok[order])
    number, first, last = _chains(goes_on)
    free, wall = np.full((2, len(order)), -2), np.full((2, len(order)), -1)
    for side, ends in ((0, first), (1, last)):
        free[side, ends], wall[side, ends] = _over(bearing, column, base, ends, 2 * side - 1)
        beside = np.clip(ends + 2 * side - 1, 0, len(order) - 1)
        drops = hung[beside] & ~hung[ends] & (np.abs(column[beside] - column[ends]) == 1)
        drops &= np.abs(base[beside] - base[ends]) <= cliff_mm
        free[side, ends[drops]], wall[side, ends[drops]] = under[beside[drops]], -1
    slope, breadth = _slope(base, goes_on, page.step), _breadth(drawn, column, base - void, thick)
    return Ledges(
        page.step, column, page.x[column], base, above, thick, breadth, ground, void, slope, goes_on,
        first[number], last[number], under, free, wall, hung,
    )  # fmt: skip


def _chains(goes_on: Mask) -> tuple[Indices, Indices, Indices]:
    """The number of each place's chain, and each chain's first and last place."""
    starts = np.append(True, ~goes_on[:-1])[: len(goes_on)]
    first = np.flatnonzero(starts)
    return np.cumsum(starts) - 1, first, np.append(first[1:], len(goes_on)) - 1


def _without_hung(bearing: Columns, column: Indices, base: Floats, void: Floats, goes_on: Mask) -> tuple[Mask, Mask]:
    """The links without those to what hangs in the air; and which places do.

    What is filled between two things that reach as high spans from one to the other. Beside a wall it would be a plug
    in a slot, unless the slot ends near below: a fork.
    """
    bridged = _bridged(void)
    run, begin, end = _chains(goes_on & bridged & np.append(bridged[1:], False))
    _, first, last = _chains(goes_on)
    walled = np.zeros(len(run), dtype=bool)
    for ends, side in ((first, -1), (last, 1)):
        walled[ends] |= _over(bearing, column, base, ends, side)[0] == -2
    deep = np.maximum.reduceat(void, begin) > _SLOT * (end - begin + 1) * bearing.page.step
    hung = (deep & (walled[begin] | walled[end]) & bridged[begin])[run]
    return goes_on & (hung == np.append(hung[1:], False)), hung


def _bridged(void: Floats) -> Mask:
    return void > _BRIDGED_MM


def _nearest(column: Indices, base: Floats, side: int) -> Indices:
    """For each place that in the next column whose base is nearest; -1 where there is none. Sorted by column, base."""
    key, wanted = column * _FAR + base, (column + side) * _FAR + base
    at = np.searchsorted(key, wanted)
    around = np.clip(np.stack([at - 1, at]), 0, len(key) - 1)
    apart = np.where(column[around] == column + side, np.abs(base[around] - base), np.inf)
    best = np.take_along_axis(around, apart.argmin(axis=0)[None], axis=0)[0]
    return np.where(np.isfinite(apart.min(axis=0)), best, -1)


def _chained(right: Indices, column: Indices) -> Indices:
    """The order in which each chain's places follow one another, chains by their first place."""
    first = np.arange(len(right))
    linked = np.flatnonzero(right >= 0)
    first[right[linked]] = linked
    for _ in range(len(right).bit_length()):  # each time twice as far to the left
        first = first[first]
    return np.lexsort((column, first))


def _below(column: Indices, base: Floats, at: Indices, height: Floats) -> Indices:
    """The highest ledge at or below each height in column `at`; -1 where there is none."""
    order = np.lexsort((base, column))
    place = np.searchsorted((column * _FAR + base)[order], at * _FAR + height, side="right") - 1
    nearest = order[np.clip(place, 0, None)]
    return np.where((place >= 0) & (column[nearest] == at), nearest, -1)


def _over(bearing: Columns, column: Indices, base: Floats, ends: Indices, side: int) -> tuple[Indices, Indices]:
    """What lies below the edge at the chains' ends: a ledge, -1 nothing, -2 if a wall or the page's end is there.

    And the ledge on that wall; -1 where there is none.
    """
    beside = column[ends] + side
    span = np.searchsorted(bearing.column * _FAR + np.clip(bearing.low, -_FAR / 4, _FAR / 4),
                           beside * _FAR + base[ends] + 0.05, side="right") - 1  # fmt: skip
    span = np.clip(span, 0, None)
    wall = (bearing.column[span] == beside) & (bearing.high[span] > base[ends] + 0.05)
    outside = (beside < 0) | (beside >= bearing.page.wide)
    below = _below(column, base, beside, np.where(wall, bearing.high[span] + 1e-6, base[ends]))
    on = wall & ~outside & np.isfinite(bearing.high[span])
    return np.where(wall | outside, -2, below), np.where(on, below, -1)


def _drawn_below(drawn: Columns, column: Indices, base: Floats) -> tuple[Floats, Floats, Mask]:
    """How far down what is drawn reaches below each base, the air between, and whether it is the ground."""
    key = drawn.column * _FAR + np.clip(drawn.low, -_FAR / 4, _FAR / 4)
    span = np.clip(np.searchsorted(key, column * _FAR + base, side="right") - 1, 0, None)
    some = drawn.column[span] == column
    void = np.where(some, np.clip(base - drawn.high[span], 0, None), np.inf)
    thick = np.where(some, np.minimum(base, drawn.high[span]) - drawn.low[span], 0)
    return thick, void, some & (drawn.low[span] <= drawn.page.bottom)


def _breadth(drawn: Columns, column: Indices, top: Floats, thick: Floats) -> Floats:
    """The widest disc about a place below each ledge that fits into what is drawn, mm.

    No further down than `_DEEP_MM`, nor past the air below it: what stands under a rope makes the rope no broader.
    """
    from scipy import ndimage

    page = drawn.page
    step = 2 * page.step
    across = 2 * step * ndimage.distance_transform_edt(drawn.raster[::2, ::2]).astype(np.float32)
    top = np.where(np.isfinite(top), top, page.bottom)
    low = top - np.minimum(thick, _DEEP_MM)
    widest = np.zeros(len(column))
    left, right = column // 2, np.minimum((column + 1) // 2, across.shape[1] - 1)  # of a column between two: the mean
    for down in np.arange(0, _DEEP_MM, step):
        row = np.clip((np.maximum(top - down, low) - page.bottom) / step, 0, len(across) - 1).astype(int)
        widest = np.maximum(widest, (across[row, left] + across[row, right]) / 2)
    return np.minimum(widest, thick)


def _slope(base: Floats, linked: Mask, step: float) -> Floats:
    rise = np.where(linked[:-1], np.diff(base), 0.0)
    count = np.concatenate([linked[:-1], [False]]).astype(float) + np.concatenate([[False], linked[:-1]])
    total = np.concatenate([rise, [0]]) + np.concatenate([[0], rise])
    return np.asarray(total / np.maximum(count, 1) / step)
