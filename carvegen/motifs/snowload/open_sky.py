"""Open sky: how much of it each place sees past what stands above, and how far the wind comes freely."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Mask

__all__ = ["TWIG_MM", "WIDEST_DEG", "clear_upwind", "sky_seen"]

WIDEST_DEG = 65.0  #: snow comes from directions up to this far off the plumb line
TWIG_MM = 20.0  #: so far behind it a twig hides
_FOR_GOOD = 30_000  #: more than twice the rows of a page
_RAYS = 25
_LOW_DEG = (3.0, 10.0, 20.0, 32.0)  #: the rays along which the wind is looked for, over the horizon


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
