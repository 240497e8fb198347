"""Coordinates as text: many rings at once, three decimals, no loop over points."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from carvegen.geometry import GRID_MM

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from carvegen.geometry import Floats, Indices

__all__ = ["point_texts", "ring_texts"]

_DECIMALS = 3
_AT_ONCE = 50_000  #: points written together


def ring_texts(xy: Floats, start: Indices, *, before: str = "", between: str = " ", after: str = " ") -> list[str]:
    r"""One text a ring: for each of its points `before`, x, `between`, y, `after`.

    Parameters
    ----------
    xy
        Points in mm, (n, 2); written on the `GRID_MM` grid, as ``12.500``.
    start
        Ring k is ``xy[start[k]:start[k + 1]]``; (rings + 1,).
    before, between, after
        ASCII text around the numbers, such as a group code and a line feed.

    Returns
    -------
    list[str]
        As long as there are rings; may be empty.

    Examples
    --------
    >>> ring_texts(np.array([[0, 1.5], [-0.0001, 12]]), np.array([0, 2]), after=",")
    ['0.000 1.500,0.000 12.000,']
    """
    return point_texts(xy, start, [before, between, after])


def point_texts(points: Floats, start: Indices, marks: Sequence[str]) -> list[str]:
    """One text a line of points: the numbers of each point with the texts `marks` before, between and after them.

    Parameters
    ----------
    points
        (n, k) in mm; written on the `GRID_MM` grid.
    start
        Line j is ``points[start[j]:start[j + 1]]``; (lines + 1,).
    marks
        k + 1 ASCII texts.
    """
    if len(points) == 0:
        return [""] * (len(start) - 1)
    texts: list[str] = []
    first = 0
    while first < len(start) - 1:  # part by part: tables that lie near the processor are filled in half the time
        last = max(first + 1, int(np.searchsorted(start, start[first] + _AT_ONCE, side="right")) - 1)
        texts += _texts(points[start[first] : start[last]], start[first : last + 1] - start[first], marks)
        first = last
    return texts


def _texts(points: Floats, start: Indices, marks: Sequence[str]) -> list[str]:
    if len(points) == 0:
        return [""] * (len(start) - 1)
    steps = np.round(points / GRID_MM).astype(np.int64)
    columns = [_fixed(marks[0], len(points))]
    for k in range(points.shape[1]):
        columns += [_numbers(steps[:, k]), _fixed(marks[k + 1], len(points))]
    table = np.concatenate(columns, axis=1)
    used = table != 0
    ends = np.concatenate([[0], np.cumsum(np.count_nonzero(used, axis=1))])[start].tolist()
    text = table[used].tobytes().decode("ascii")
    return [text[begin:end] for begin, end in itertools.pairwise(ends)]


def _fixed(text: str, rows: int) -> NDArray[np.uint8]:
    """The same bytes in each row."""
    return np.broadcast_to(np.frombuffer(text.encode("ascii"), dtype=np.uint8), (rows, len(text)))


def _numbers(steps: NDArray[np.int64]) -> NDArray[np.uint8]:
    """Each number of grid steps as digits with a decimal point, one row a number; 0 = no character."""
    rest = np.abs(steps)
    digits = max(_DECIMALS + 1, len(str(int(rest.max()))))
    rest = rest.astype(np.uint32) if digits < 10 else rest
    table = np.zeros((len(steps), digits + 2), dtype=np.uint8)
    table[:, 0] = np.where(steps < 0, ord("-"), 0)
    table[:, -1 - _DECIMALS] = ord(".")
    for place in range(digits):
        column = -1 - place if place < _DECIMALS else -2 - place
        above = rest // 10
        digit, rest = rest - above * 10, above
        table[:, column] = digit + ord("0")
        if place > _DECIMALS:
            table[(digit == 0) & (rest == 0), column] = 0
    return table
