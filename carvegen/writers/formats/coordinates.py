"""Coordinates as text: many rings at once, three decimals, no loop over points."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.geometry import GRID_MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices

__all__ = ["point_texts", "ring_texts"]

_DECIMALS = 3
_AT_ONCE = 20_000  #: points written together
_END = "\x01"  #: behind each line in a table


def ring_texts(
    xy: Floats, start: Indices, *, before: str = "", between: str = " ", after: str = " ", first: str = "",
    last: str = "",
) -> list[str]:  # fmt: skip
    r"""One text a ring: for each of its points `before`, x, `between`, y, `after`.

    Parameters
    ----------
    xy
        Points in mm, (n, 2); written on the `GRID_MM` grid, as ``12.500``.
    start
        Ring k is ``xy[start[k]:start[k + 1]]``; (rings + 1,).
    before, between, after
        ASCII text around the numbers, such as a group code and a line feed.
    first, last
        What stands behind a ring's first and last point instead, as many letters as `after`; empty: the same.

    Returns
    -------
    list[str]
        As long as there are rings; may be empty.

    Examples
    --------
    >>> ring_texts(np.array([[0, 1.5], [-0.0001, 12]]), np.array([0, 2]), after=",", last=";")
    ['0.000 1.500,0.000 12.000;']
    """
    return point_texts(xy, start, [before, between, after], first=first, last=last)


def point_texts(points: Floats, start: Indices, marks: Sequence[str], *, first: str = "", last: str = "") -> list[str]:
    """One text a line of points: the numbers of each point with the texts `marks` before, between and after them.

    Parameters
    ----------
    points
        (n, k) in mm; written on the `GRID_MM` grid.
    start
        Line j is ``points[start[j]:start[j + 1]]``; (lines + 1,).
    marks
        k + 1 ASCII texts.
    first, last
        As in `ring_texts`.
    """
    full = np.diff(start) > 0
    edges = np.append(start[:-1][full], start[-1])
    texts: list[str] = []
    line = 0
    while line < len(edges) - 1:  # part by part: tables that lie near the processor are filled in half the time
        end = max(line + 1, int(np.searchsorted(edges, edges[line] + _AT_ONCE, side="right")) - 1)
        texts += _texts(points[edges[line] : edges[end]], edges[line : end + 1] - edges[line], marks, first, last)
        line = end
    if full.all():
        return texts
    left = iter(texts)
    return [next(left) if some else "" for some in full.tolist()]


def _texts(points: Floats, start: Indices, marks: Sequence[str], first: str, last: str) -> list[str]:
    """The same of lines that have a point each."""
    steps = np.round(points / GRID_MM).astype(np.int64)
    columns = [_fixed(marks[0], len(points))]
    for k in range(points.shape[1]):
        columns += [_numbers(steps[:, k]), _fixed(marks[k + 1], len(points))]
    table = np.concatenate([*columns, _fixed("\0", len(points))], axis=1)
    for mark, rows in ((first, start[:-1]), (last, start[1:] - 1)):
        if mark:
            table[rows, -1 - len(mark) : -1] = np.frombuffer(mark.encode("ascii"), dtype=np.uint8)
    table[start[1:] - 1, -1] = ord(_END)
    return table.tobytes().translate(None, b"\0").decode("ascii").split(_END)[:-1]


def _fixed(text: str, rows: int) -> NDArray[np.uint8]:
    """The same bytes in each row."""
    return np.broadcast_to(np.frombuffer(text.encode("ascii"), dtype=np.uint8), (rows, len(text)))


def _numbers(steps: NDArray[np.int64]) -> NDArray[np.uint8]:
    """Each number of grid steps as digits with a decimal point, one row a number; 0 = no character."""
    rest = np.abs(steps)
    digits = max(_DECIMALS + 1, len(str(int(rest.max()))))
    rest = rest.astype(np.uint32) if digits < 10 else rest
    table = np.zeros((digits + 2, len(steps)), dtype=np.uint8)  # digit by digit: each lies in one piece
    table[0] = np.where(steps < 0, ord("-"), 0)
    table[-1 - _DECIMALS] = ord(".")
    for place in range(digits):
        row = -1 - place if place < _DECIMALS else -2 - place
        above = rest // 10
        digit, rest = rest - above * 10, above
        table[row] = digit + ord("0")
        if place > _DECIMALS:
            table[row, (digit == 0) & (rest == 0)] = 0
    return table.T
