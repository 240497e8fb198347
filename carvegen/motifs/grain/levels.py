"""Level lines of a field on a grid, as strokes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import contourpy
import numpy as np
import shapely

from carvegen.motifs.shared.strokes import Strokes

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices

__all__ = ["traced"]

_SAG_MM = 0.003  #: how far a traced line may stray from the level line of the grid
_LONGEST_MM = 0.8  #: between two points of a line


def traced(x: Floats, y: Floats, values: Floats, levels: Floats, rng: Generator) -> tuple[Strokes, Indices]:
    """The lines on which a field takes each of the levels, and for each point the index of its level.

    Parameters
    ----------
    x, y
        The grid, mm, (nx,) and (ny,).
    values
        The field on it, (ny, nx).
    rng
        Where closed lines start.

    Returns
    -------
    Strokes
        Lines that never meet (level lines of one field can't), half-widths 0.
    Indices
        (n,)
    """
    generator = contourpy.contour_generator(x, y, values, name="serial", line_type="Separate")
    by_level = (generator.lines(level) for level in levels.tolist())  # all in one call can't be interrupted
    level_lines = [(k, np.asarray(line)) for k, lines in enumerate(by_level) for line in lines if len(line) > 2]
    lines = [_started_anew(line, rng.random()) for _, line in level_lines]
    if not lines:
        return Strokes(np.empty((0, 2)), np.empty(0, dtype=np.int64), np.empty(0)), np.empty(0, dtype=np.int64)
    index = np.repeat(np.arange(len(lines)), [len(line) for line in lines])
    strings = shapely.linestrings(np.concatenate(lines), indices=index)
    even = shapely.segmentize(shapely.simplify(strings, _SAG_MM), _LONGEST_MM)
    xy, line = shapely.get_coordinates(even, return_index=True)
    level = np.array([k for k, _ in level_lines])[line]
    return Strokes(xy, np.asarray(line, dtype=np.int64), np.zeros(len(line))), level


def _started_anew(line: Floats, share: float) -> Floats:
    """A closed line with its start moved on by a share of its points; open ones as they are."""
    if (line[0] != line[-1]).any():
        return line
    rolled = np.roll(line[:-1], -int(share * (len(line) - 1)), axis=0)
    return np.concatenate([rolled, rolled[:1]])
