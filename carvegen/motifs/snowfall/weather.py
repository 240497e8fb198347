"""The weather: how many flakes of each layer fall where, flurries within flurries, the same through any window.

A log-Gaussian Cox process (source: log-gaussian-cox): Poisson points whose density is the exponential of a Gaussian
field. With C(r) the field's covariance, the pair correlation of the points is ``exp(C(r))``.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import gaussian_filter, map_coordinates

from carvegen.motifs.shared.fields import turned_sides
from carvegen.motifs.snowfall.chance import Draws, keys

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["CELL_MM", "Cells", "Octave", "counts", "covariance", "field", "in_cells"]

CELL_MM = 0.6  #: the density is even within a cell of this size
_SAMPLES = 2.0  #: of a field's lattice in one standard deviation of its kernel
_REACH = 4  #: standard deviations of the kernel that count
_SPLINE = 1 / 3  #: variance of the cubic B-spline between samples, in samples squared
_COARSE = 0.62  #: of a patch's size: a field is asked for no nearer, and cubic between (source: keys-1981)
_MOST = 40  #: flakes in one cell at most


@dataclass(frozen=True)
class Octave:
    """Patches of one size: white noise under a Gaussian kernel, drawn out along a direction."""

    key: int
    size_mm: float  #: standard deviation of the kernel across its longer axis
    height: float  #: standard deviation of the field
    stretch: float = 1.0  #: the kernel is so much longer along
    along_deg: float = 0.0


@dataclass(frozen=True)
class Cells:
    """A window of the endless lattice of cells; cell (0, 0) begins at the place (0, 0) of the weather."""

    left: int
    bottom: int
    columns: int
    rows: int

    @property
    def spans(self) -> tuple[tuple[int, int], tuple[int, int]]:
        """The first column and how many, the first row and how many."""
        return (self.left, self.columns), (self.bottom, self.rows)

    def values_in(self, part: Cells, values: Floats) -> Floats:
        """Of values in these cells, (k, n), those in a part of them."""
        column, row = part.left - self.left, part.bottom - self.bottom
        sheets = values.reshape(-1, self.rows, self.columns)
        return sheets[:, row : row + part.rows, column : column + part.columns].reshape(len(sheets), -1)

    @cached_property
    def column(self) -> Indices:
        """The column of each cell, row by row; (n,)."""
        return np.tile(np.arange(self.left, self.left + self.columns), self.rows)

    @cached_property
    def row(self) -> Indices:
        """The row of each cell; (n,)."""
        return np.repeat(np.arange(self.bottom, self.bottom + self.rows), self.columns)

    @cached_property
    def middle(self) -> Floats:
        """Their middles, mm in the weather; (n, 2)."""
        return np.asarray((np.column_stack([self.column, self.row]) + 0.5) * CELL_MM, dtype=np.float64)


def field(octave: Octave, xy: Floats) -> Floats:
    """The octave's height at places of the weather; (n,). Each place has its own, whatever else is asked."""
    x, y = turned_sides(xy[:, 0], xy[:, 1], -octave.along_deg)
    x /= octave.stretch * octave.size_mm / _SAMPLES
    y /= octave.size_mm / _SAMPLES
    spread = np.sqrt(_SAMPLES**2 - _SPLINE)
    pad = int(np.ceil(_REACH * spread)) + 3
    low = np.floor([x.min(), y.min()]).astype(int) - pad
    high = np.ceil([x.max(), y.max()]).astype(int) + pad + 1
    column, row = (np.arange(a, b) for a, b in zip(low, high, strict=True))
    key = keys(octave.key, column[:, None], row[None, :])
    noise = Draws(key.ravel()).normal().reshape(key.shape)
    smooth = gaussian_filter(noise, spread, mode="constant", truncate=_REACH)
    values = map_coordinates(smooth, np.stack([x - low[0], y - low[1]]), order=3, prefilter=False)
    return np.asarray(octave.height * 2 * np.sqrt(np.pi) * _SAMPLES * values)


def in_cells(octave: Octave, cells: Cells) -> Floats:
    """The octave's height in the middle of each cell; (n,). Large patches are asked for in few places only."""
    step = 2 ** int(max(np.log2(_COARSE * octave.size_mm / CELL_MM), 0))
    if step == 1:
        return field(octave, cells.middle)
    (first_x, across), (first_y, up) = (_between(*span, step) for span in cells.spans)
    column, row = np.arange(first_x[0], first_x[-1] + 4), np.arange(first_y[0], first_y[-1] + 4)
    middle = np.stack(np.meshgrid(column + 0.5, row + 0.5), axis=-1).reshape(-1, 2) * step * CELL_MM
    coarse = field(octave, middle).reshape(len(row), len(column))
    rows = np.asarray(sum(up[:, [k]] * coarse.take(first_y - row[0] + k, axis=0) for k in range(4)))
    return np.asarray(sum(across[:, k] * rows.take(first_x - column[0] + k, axis=1) for k in range(4))).ravel()


def _between(begin: int, count: int, step: int) -> tuple[Indices, Floats]:
    """For each of so many cells from `begin` the first of four that are `step` times as large, and their weights."""
    place = (np.arange(begin, begin + count) + 0.5) / step - 0.5
    first = np.floor(place).astype(np.int64)
    t = place - first
    weights = [
        (-t + 2 * t**2 - t**3) / 2, 1 - (5 * t**2 - 3 * t**3) / 2, (t + 4 * t**2 - 3 * t**3) / 2, (t**3 - t**2) / 2
    ]  # fmt: skip
    return first - 1, np.stack(weights, axis=1)


def covariance(octave: Octave, apart_mm: Floats) -> Floats:
    """The field's covariance at two places so far apart, across its longer axis."""
    return np.asarray(octave.height**2 * np.exp(-(apart_mm**2) / (4 * octave.size_mm**2)))


def counts(mean: Floats, chance: Floats) -> Indices:
    """Poisson counts of these means by inversion: more for a larger mean, never fewer; (n,)."""
    count = np.zeros(len(mean), dtype=np.int64)
    open_ = np.flatnonzero(chance > np.exp(-mean))
    term = np.exp(-mean[open_])
    total = term.copy()
    for k in range(1, _MOST + 1):
        if len(open_) == 0:
            break
        count[open_] = k
        term = term * mean[open_] / k
        total = total + term
        on = chance[open_] > total
        open_, term, total = open_[on], term[on], total[on]
    return count
