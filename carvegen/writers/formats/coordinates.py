"""Coordinates as text: many rings at once, three decimals, no loop over points."""

from __future__ import annotations

from functools import cache
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
_WORD = 4  #: letters that are laid into a table at once: a point and its decimals
_WHOLE, _BELOW = 10_000, 1_000  #: numbers of mm that a word holds, and of those with a sign before them


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
    """The same of lines that have a point each: a table of letters, four in a word, in which 0 is none."""
    steps = np.round(points / GRID_MM).astype(np.int64)
    numbers = [_numbers(column) for column in steps.T]
    fixed = [_in_words(mark) for mark in (*marks[:-1], f"{marks[-1]}\0")]  # room for the end
    row = [fixed[0]]
    for number, mark in zip(numbers, fixed[1:], strict=True):
        row += [bytes(_WORD * len(number)), mark]
    table = np.empty((len(points), sum(map(len, row)) // _WORD), dtype=np.uint32)
    table[:] = np.frombuffer(b"".join(row), dtype=np.uint32)
    at = len(fixed[0]) // _WORD
    for number, mark in zip(numbers, fixed[1:], strict=True):
        for column in number:
            table[:, at] = column
            at += 1
        at += len(mark) // _WORD
    letters = table.view(np.uint8)
    after = letters.shape[1] - len(fixed[-1])
    for text, rows in ((first, start[:-1]), (last, start[1:] - 1)):
        if text:
            letters[rows, after : after + len(text)] = np.frombuffer(text.encode("ascii"), dtype=np.uint8)
    letters[start[1:] - 1, -1] = ord(_END)
    return table.tobytes().translate(None, b"\0").decode("ascii").split(_END)[:-1]


def _in_words(text: str) -> bytes:
    """Letters in whole words."""
    return text.encode("ascii").ljust(-(-len(text) // _WORD) * _WORD, b"\0")


def _numbers(steps: NDArray[np.int64]) -> list[NDArray[np.uint32]]:
    """Numbers of grid steps in words of letters: of each number the first word, then the next."""
    away, signed = np.abs(steps), int(steps.min()) < 0
    whole = away // 10**_DECIMALS
    if int(whole.max()) < (_BELOW if signed else _WHOLE):
        wholes, parts = _in_order()
        away -= whole * 10**_DECIMALS
        return [wholes.take(whole + _WHOLE * (steps < 0) if signed else whole), parts.take(away)]
    letters = _digits(steps)
    table = np.zeros((len(steps), -(-letters.shape[1] // _WORD) * _WORD), dtype=np.uint8)
    table[:, -letters.shape[1] :] = letters
    return list(table.view(np.uint32).T)


@cache
def _in_order() -> tuple[NDArray[np.uint32], NDArray[np.uint32]]:
    """A word for each whole number, first those that are not below 0, and one for each that follows its point."""
    scale = 10**_DECIMALS
    above, below = _digits(np.arange(_WHOLE) * scale)[:, 1:-_WORD], _digits(-1 - np.arange(_BELOW) * scale)[:, :-_WORD]
    words = [np.concatenate([above, below]), _digits(np.arange(scale))[:, -_WORD:]]
    wholes, parts = (np.ascontiguousarray(each).view(np.uint32).ravel() for each in words)
    return wholes, parts


def _digits(steps: NDArray[np.int64]) -> NDArray[np.uint8]:
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
