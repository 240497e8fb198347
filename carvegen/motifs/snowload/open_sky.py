"""Open sky: how much of it each place sees past what stands above, and how far the wind comes freely."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy import ndimage

from carvegen import geometry
from carvegen.motifs.snowload.scene import run_lengths

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.geometry import Floats, Indices, Mask, PolygonArray

__all__ = [
    "TWIG_MM",
    "WIDEST_DEG",
    "clear_upwind",
    "hill_behind",
    "shore_drawn",
    "sky_before",
    "sky_seen",
    "water_before",
]

WIDEST_DEG = 65.0  #: snow comes from directions up to this far off the plumb line
TWIG_MM = 20.0  #: so far behind it a twig hides
_FOR_GOOD = 30_000  #: more than twice the rows of a page
_RAYS = 25
_LOW_DEG = (3.0, 10.0, 20.0, 32.0)  #: the rays along which the wind is looked for, over the horizon
#: Of a far shore and its hill, shares of the page's side (the square root of its area):
_LEVEL, _GAP, _EDGE = 0.04, 0.11, 0.013  #: no shorter piece of it counts, no wider gap is in it, it comes so near to
_EVEN = 0.02  #: the page's sides, and lies within so much from one to the other
_FREE = 0.75  #: so much of its length is in sight, and of the hill under open sky, at least
_FLANK, _HIGH = 0.025, 0.07  #: the hill is so high all along, and at half of its places
_PEAK = 0.13  #: what rises over less of its length is no part of its line: a parapet, a chimney, a fir
_UNEVEN, _PARTS = 0.45, (10, 50, 90)  #: it is uneven by so many times its middle height, over such per cent of it
_SAG = 0.025  #: its line sags by so much: a gable's or a vault's does nowhere,
_LOW, _LOWS = 0.015, 2  #: and is as low as at its lowest, or hardly higher, at no more places: rows of gables are
_HELD = 0.03  #: what holds it up reaches down from its foot so far, and
_CLEARS = 0.02  #: stands no higher than its line by so much: a post before it does
_ALMOST_ALL = 2, 98  #: per cent of the foot's places between which it is measured
_LINE = 0.02  #: what draws its shore is no thicker
_UNDER_MM, _BELOW_MM = 1.5, 4.0  #: streaks of water lie so far under the shore; things so far below the page count
_STREAK_MM, _SLENDER = 1.5, 8.0  #: a streak of water is no thicker, so many times as long at least,
_RIPPLES = 0.08  #: is no higher than it is thick by more than so many times its length,
_LONE_MM, _CLEAR_MM = 1.5, 3.0  #: and is alone: nothing so near beside it, nothing so near over or under it


def hill_behind(solid: Mask) -> tuple[Mask, int]:
    """The cells of hills that end at a far shore, and the row of the highest such shore; 0: there is none.

    What lies below a far shore lies before the hill, not under it. Such a shore is level and runs from one side of the
    page to the other, with air below it and nothing that holds it up; the hill over it has open sky above, is high,
    and its line is uneven. A deck is as thick all along, whatever stands on it; an arch and a bough are not level, a
    roof ends within the page, rests on posts, or sags nowhere. What looks like either is taken for a roof (our own
    choice). All goes by shares of the page: twice as large it is the same.

    Parameters
    ----------
    solid
        What stands there, (rows, columns) of the page, row 0 lowest.
    """
    foot = solid.copy()
    foot[0] = False
    foot[1:] &= ~solid[:-1]
    edge, shore = np.zeros((len(solid) + 1, solid.shape[1]), dtype=np.int16), 0
    if foot.any(axis=0).mean() >= _FREE:
        tall = run_lengths(solid.T).T
        foot &= tall >= _FLANK * _side(solid)
        for at, across in _shores(foot):
            top = at + tall[at, across]
            if (top < len(solid)).mean() > _FREE and _is_hill(solid, at, across, top):
                edge[at, across], edge[top, across] = 1, -1
                shore = max(shore, int(np.median(at)))
    return np.cumsum(edge, axis=0, dtype=np.int16)[:-1] > 0, shore


def shore_drawn(solid: Mask, shore: int) -> Mask:
    """The cells of what draws, as a thin line, the far shore of a hill that stands in another layer.

    Parameters
    ----------
    solid
        What stands there, (rows, columns) of the page, row 0 lowest.
    shore
        The row of the shore.
    """
    side, line = _side(solid), np.zeros_like(solid)
    near = np.s_[max(int(shore - _EVEN * side), 0) : int(shore + _EVEN * side) + 1]
    tall = run_lengths(solid.T).T
    line[near] = (solid & (tall <= _LINE * side))[near]
    return line


def _side(solid: Mask) -> float:
    """The side of a square as large as the page, in cells."""
    return float(solid.size**0.5)


def _is_hill(solid: Mask, at: Indices, across: Indices, top: Indices) -> bool:
    """Whether what ends at such a lower edge, up to rows `top`, is a hill and no roof."""
    side, columns = _side(solid), np.arange(solid.shape[1])
    low, high = np.percentile(at, _ALMOST_ALL)
    line = np.full(len(columns), np.inf)
    np.minimum.at(line, across, top - np.median(at))
    seen = np.isfinite(line)
    line = np.interp(columns, columns[seen], line[seen])
    line = np.asarray(ndimage.grey_opening(line, (max(int(_PEAK * side), 1),), mode="nearest"))
    least, middle, most = np.percentile(line, _PARTS)
    uneven = middle > _HIGH * side and most - least > _UNEVEN * middle and _sag(line) > _SAG * side
    lows = ndimage.label(line <= line.min() + _LOW * side)[1]
    before = np.s_[max(int(low - _HELD * side), 0) : int(high) + 1]
    through = solid[before].all(axis=0) & ~seen
    above = np.argmin(np.pad(solid[int(high) :], ((0, 1), (0, 0))), axis=0) + high - np.median(at)
    held = through & (above < line + _CLEARS * side)
    return bool(uneven and high - low < _EVEN * side and lows <= _LOWS and not held.any())


def _sag(line: Floats) -> float:
    """How far a line lies at most under the least one over it that sags nowhere."""
    at = np.arange(len(line))
    ends = [(0, -1.0), (at[-1], -1.0)]
    hull = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints([*zip(at, line, strict=True), *ends])))
    x, y = hull[:-1][hull[:-1, 1] >= 0].T
    order = np.argsort(x)
    return float((np.interp(at, x[order], y[order]) - line).max())


def _shores(foot: Mask) -> Iterator[tuple[Indices, Indices]]:
    """Rows and columns of those lower edges that run nearly level from side to side, each by itself."""
    side = _side(foot)
    level = ndimage.maximum_filter(foot, (5, 1))
    level = ndimage.binary_opening(level, np.ones((1, int(_LEVEL * side)), dtype=bool))
    near = 2 * int(_EVEN * side / 2) + 1, 2 * int(_GAP * side / 2) + 1
    label, _ = ndimage.label(ndimage.maximum_filter(level, near))
    for each in np.setdiff1d(np.intersect1d(label[:, 0], label[:, -1]), [0]):
        row, column = np.nonzero(foot & level & (label == each))
        across, edge = np.unique(column), _EDGE * side
        if len(across) >= _FREE * foot.shape[1] and across[0] < edge and across[-1] >= foot.shape[1] - edge:
            yield np.asarray(row), np.asarray(column)


def water_before(shapes: PolygonArray, shore_mm: float) -> PolygonArray:
    """The shapes that are streaks of water below a far shore at such a height: thin, long, level, each quite alone.

    An oar has a blade, a rope sags, a gunwale rises, rails and planks lie over one another (our own choice).
    """
    west, south, east, _ = shapely.total_bounds(shapes)
    top = shore_mm - _UNDER_MM
    shapes = geometry.parts(shapely.clip_by_rect(shapes, west, south - _BELOW_MM, east, top))
    left, low, right, high = shapely.bounds(shapes).T
    area, half_round = shapely.area(shapes), shapely.length(shapes) / 2
    thick = (half_round - np.sqrt(np.clip(half_round**2 - 4 * area, 0, None))) / 2  # of a strip of that area and rim
    streak = (thick <= _STREAK_MM) & (right - left >= _SLENDER * thick) & (high < top)
    streak &= high - low - thick <= _RIPPLES * (right - left)
    at = np.flatnonzero(streak)
    at = at[shapely.is_empty(shapely.buffer(shapes[at], -_STREAK_MM / 2))]
    around = shapely.box(left[at] - _LONE_MM, low[at] - _CLEAR_MM, right[at] + _LONE_MM, high[at] + _CLEAR_MM)
    near, _ = shapely.STRtree(shapes).query(around, predicate="intersects")
    return np.asarray(shapes[at[np.bincount(near, minlength=len(at)) == 1]], dtype=object)


def sky_before(
    broad: Mask, twigs: Mask, hill: Mask, shore: int, *, beyond: int, step: float, lean_deg: float
) -> tuple[Floats, Floats]:
    """As `sky_seen`, but what lies below the far shore of a hill lies before it: the hill hides no sky there.

    Parameters
    ----------
    hill, shore
        As `hill_behind` tells them.
    beyond
        So many columns lie beyond either side of the page.
    """
    seen = sky_seen(broad, twigs, step=step, lean_deg=lean_deg)
    if shore:
        hill = np.pad(hill, ((0, 0), (beyond, beyond)), mode="edge")
        for past, before in zip(
            seen, sky_seen(broad & ~hill, twigs & ~hill, step=step, lean_deg=lean_deg), strict=True
        ):
            past[:shore] = before[:shore]
    return seen


def sky_seen(
    broad: Mask, twigs: Mask | None = None, *, step: float = 1.0, lean_deg: float = 0.0
) -> tuple[Floats, Floats]:
    """The share of the falling snow that reaches each cell past what is broad, and past twigs too, 0…1.

    Both (rows, columns) as the masks, row 0 lowest.

    Snow falls from directions t up to `WIDEST_DEG` off the plumb line with the weight cos²t about the direction that
    it leans to; a ray that meets what is broad is lost, however far away. Behind a twig the air closes again: it hides
    what lies within `TWIG_MM` behind it. At the sides what is hidden runs on.

    Occlusion (source: fearing-2000, foldes-benes), there with rays into the half-space;
    here in the picture's plane. Beside an endless wall of height H at a distance x the share is ``1 - (f(T) - f(t1)) /
    2 f(T)`` with ``f(t) = t/2 + sin(2t)/4``, ``t1 = atan(x / H)``, T the widest direction (own integration).

    Parameters
    ----------
    twigs
        What else stands there.
    step
        A cell's side, mm.
    lean_deg
        Where most snow comes from, off the plumb line; above 0: it is driven to the right.
    """
    widest = np.radians(WIDEST_DEG)
    off = ((np.arange(_RAYS) + 0.5) / _RAYS * 2 - 1) * widest
    weight = (np.cos(off) ** 2 / (np.cos(off) ** 2).sum()).astype(np.float32)
    turn = np.clip(off + np.radians(lean_deg), -1.4, 1.4)
    sideways = np.tan(turn)
    rows, columns = broad.shape
    behind = np.maximum(np.rint(TWIG_MM * np.cos(turn) / step), 1).astype(np.int16)[:, None]
    dark = np.zeros((_RAYS, columns), dtype=np.int16)  # so many rows from here on
    past_broad, past_all = (np.empty(broad.shape, dtype=np.float32) for _ in range(2))
    column, gone = np.arange(columns), np.zeros(_RAYS, dtype=int)
    begin = np.arange(_RAYS)[:, None] * columns
    stands = np.flatnonzero(broad.any(axis=1) if twigs is None else (broad | twigs).any(axis=1))
    top = int(stands.max(initial=0))
    past_broad[top + 1 :] = past_all[top + 1 :] = weight @ np.ones((_RAYS, columns), dtype=bool)
    for row in range(top, -1, -1):  # all rays go down together, row by row
        to = np.rint(sideways * (rows - row)).astype(int)
        source = column - (to - gone)[:, None]
        np.clip(source, 0, columns - 1, out=source)
        source += begin
        dark = np.maximum(dark.take(source), 1)
        dark -= 1
        if twigs is not None and twigs[row].any():
            np.maximum(dark, behind * twigs[row], out=dark)
        dark[:, broad[row]] = _FOR_GOOD
        gone = to
        past_broad[row] = weight @ (dark < _FOR_GOOD // 2)
        past_all[row] = weight @ (dark == 0)
    return past_broad.astype(np.float64), past_all.astype(np.float64)


def clear_upwind(solid: Mask, step: float, *, to_right: bool) -> Floats:
    """How far it is clear from each cell towards the wind, mm, along a few low rays; (4, rows, columns)."""
    facing = solid if to_right else solid[:, ::-1]
    rows, columns = facing.shape
    climb = np.tan(np.radians(_LOW_DEG))
    clear, gone = np.full((len(climb), rows), 1e3), np.zeros(len(climb), dtype=int)
    distance = np.empty((len(climb), rows, columns), dtype=np.float32)
    row = np.arange(rows)
    for column in range(columns):
        to = np.rint(climb * column).astype(int)
        source = np.clip(row + (to - gone)[:, None], 0, rows - 1)
        clear = np.where(facing[:, column], 0.0, np.take_along_axis(clear, source, axis=1) + step)
        gone = to
        distance[:, :, column] = clear
    return np.asarray(distance if to_right else distance[:, :, ::-1], dtype=np.float64)
