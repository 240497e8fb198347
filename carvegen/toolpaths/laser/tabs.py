"""Tabs and lead-ins: a cut-out's line with gaps that hold the part, or begun in what falls out."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen.toolpaths.paths import Paths, joined

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray

__all__ = ["led_in", "tab_count", "tab_mm", "tabbed"]

_SHARE = 0.25  #: of the thickness that a tab is wide; common practice, no source
_WIDTHS_MM = (0.5, 2.0)  #: and its least and most; common practice, no source
_APART_MM = 80.0  #: tabs lie at most so far apart; common practice, no source
_COUNTS = (2, 8)
_SHORTEST_MM = 30.0  #: a shorter line has no room for tabs that are easy to cut; our own choice
_PLACES = 24  #: looked at for each tab


def tab_mm(thickness_mm: float) -> float:
    """How wide a tab is at the face: a quarter of the thickness, 0.5 to 2 mm."""
    return float(np.clip(_SHARE * thickness_mm, *_WIDTHS_MM))


def tab_count(length_mm: float) -> int:
    """How many tabs a line of this length gets: 2, and more so that they lie at most 80 mm apart, up to 8; or none."""
    return int(np.clip(math.ceil(length_mm / _APART_MM), *_COUNTS)) if length_mm >= _SHORTEST_MM else 0


def tabbed(path: Paths, gap_mm: float) -> Paths:
    """One closed path as open pieces with a gap for each tab, in the order in which they follow on it.

    The line is parted into equal stretches, and in each the gap lies where the line turns least: there a tab is
    easiest to cut and to pare.
    """
    length = float(path.lengths[0])
    count = tab_count(length)
    if not count:
        return path
    xy = np.concatenate([path.xyz, path.xyz[:1]])
    at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(xy, axis=0), axis=1))])
    middles = _straightest(xy[:, :2], at, count, gap_mm)
    return joined([
        _stretch(xy, at, begin + gap_mm / 2, end - gap_mm / 2)
        for begin, end in zip(middles, [*middles[1:], middles[0] + length], strict=True)
    ])  # fmt: skip


def _straightest(xy: Floats, at: Floats, count: int, gap: float) -> list[float]:
    """In each of so many equal stretches of a closed line the place where it turns least within `gap`."""
    length = float(at[-1])
    step = np.diff(xy, axis=0)
    heading = np.arctan2(step[:, 1], step[:, 0])
    turn = np.abs((heading - np.roll(heading, 1) + np.pi) % (2 * np.pi) - np.pi)
    stretch = length / count
    within = ((np.arange(_PLACES) + 0.5) / _PLACES * 0.5 + 0.25) * stretch
    places = np.arange(count)[:, None] * stretch + within
    far = np.abs((places[..., None] - at[:-1] + length / 2) % length - length / 2)
    bent = np.where(far < gap, turn, 0.0).sum(axis=2)
    best = np.argmin(np.round(bent, 6) + 1e-6 * np.abs(within - stretch / 2) / stretch, axis=1)
    return [float(places[k, place]) for k, place in enumerate(best)]


def _stretch(xyz: Floats, at: Floats, begin: float, end: float) -> Paths:
    """An open piece of a closed line between two lengths along it; `end` may lie past its beginning."""
    length = at[-1]
    along = np.concatenate([at[:-1], at[:-1] + length, [2 * length]])
    points = np.concatenate([xyz[:-1], xyz[:-1], xyz[:1]])
    inner = (along > begin + 1e-6) & (along < end - 1e-6)
    ends = np.column_stack([np.interp([begin, end], along, points[:, k]) for k in range(3)])
    piece = np.concatenate([ends[:1], points[inner], ends[1:]])
    return Paths(piece, np.array([0, len(piece)]), np.zeros(1, dtype=bool))


def led_in(paths: Paths, waste: PolygonArray, lead_mm: float) -> Paths:
    """Closed paths that begin `lead_mm` off, to their left, where that lies in their own waste; else as they are.

    Parameters
    ----------
    waste
        For each path the shape that falls out, whose outline it is; (paths,).
    """
    closed = np.flatnonzero(paths.closed)
    first, after, before = (
        paths.xyz[place, :2] for place in (paths.start[closed], paths.start[closed] + 1, paths.start[closed + 1] - 1)
    )
    along = _unit(after - first) + _unit(first - before)
    inward = _unit(np.column_stack([-along[:, 1], along[:, 0]]))
    begin = first + lead_mm * inward
    lead_lines = shapely.linestrings(np.stack([begin, first + inward * min(1e-3, lead_mm / 2)], axis=1))
    good = shapely.contains_properly(waste[closed], lead_lines)
    leads = dict(zip(closed[good].tolist(), begin[good].tolist(), strict=True))
    return joined([_led(paths, k, leads.get(k)) for k in range(len(paths))])


def _led(paths: Paths, k: int, begin: list[float] | None) -> Paths:
    own = paths.xyz[paths.start[k] : paths.start[k + 1]]
    if begin is not None:
        own = np.concatenate([[[*begin, own[0, 2]]], own, own[:1]])
    return Paths(own, np.array([0, len(own)]), np.array([bool(paths.closed[k]) and begin is None]))


def _unit(vectors: Floats) -> Floats:
    size = np.hypot(vectors[:, 0], vectors[:, 1])[:, None]
    return np.asarray(vectors / np.where(size > 0, size, 1.0), dtype=np.float64)
