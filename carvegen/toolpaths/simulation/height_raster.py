"""The block as a raster while a cutter passes over it: heights, and how far inside the cut each place lies.

Every straight piece of a path lowers what lies within the cutter's reach, pixel by pixel, by closed forms of the
distance to the piece: no sampling along it. Beside the heights the raster keeps, for each pixel, how far the edge
of the cut at the face is away; its zero line is found between pixels, far finer than they are.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

import contourpy
import numpy as np
import shapely

from carvegen import geometry
from carvegen.toolpaths.simulation.tool_sweep import Pieces, groove_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.facts.profiles import Cutter
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.toolpaths.paths import Paths
    from carvegen.toolpaths.simulation.tool_sweep import Groove

__all__ = ["Relief", "untouched"]

_BEYOND = 3  #: pixels beside the cut, and beside the block
_CHUNK = 60_000  #: pixels looked at together: as many as a processor holds near
_SMOOTH = 0.05  #: of a pixel: outlines are made this much simpler


@dataclass(frozen=True, eq=False)
class Relief:
    """A raster over a block and a little beyond; the first row is the lowest. `cut` and `lower` change it in place."""

    px_mm: float
    corner: tuple[float, float]  #: middle of the first pixel, mm
    height: NDArray[np.float32]  #: mm, 0 at the face and negative below it; (rows, columns)
    edge: NDArray[np.float32]  #: how far inside the cut at the face, mm; negative outside; (rows, columns)

    def cut(self, paths: Paths, cutter: Cutter, depth_mm: float) -> None:
        """Follow paths with a cutter; a beam goes as deep as `depth_mm`, any other as deep as its paths."""
        groove = groove_of(cutter, depth_mm)
        a, b = _pieces(paths, groove.longest_mm)
        if cutter.form == "laser":
            a[:, 2] = b[:, 2] = -depth_mm
        level = a[:, 2] == b[:, 2]
        for one, other in (_lowest(a[level], b[level]), _stepped(a[~level], b[~level], groove.step_mm)):
            low, size = self._boxes(one, other, groove.half_mm(np.minimum(one[:, 2], other[:, 2])))
            pieces = Pieces.of(one, other)
            for some in _chunks(size[:, 0] * size[:, 1]):
                self._stamp(pieces.some(some), low[some], size[some], groove)

    def lower(self, outlines: Paths, depth_mm: float, edge_mm: float) -> None:
        """Lower all that lies inside closed paths and not in their holes; they run `edge_mm` inside the cut."""
        inside = self._filled(outlines)
        self.height[inside] = np.minimum(self.height[inside], -depth_mm)
        self.edge[inside] = np.maximum(self.edge[inside], edge_mm)

    def outlines(self) -> PolygonArray:
        """What is cut at the face."""
        x = self.corner[0] + self.px_mm * np.arange(self.edge.shape[1])
        y = self.corner[1] + self.px_mm * np.arange(self.edge.shape[0])
        maker = contourpy.contour_generator(x, y, self.edge, fill_type=contourpy.FillType.OuterOffset)
        points, offsets = cast("Any", maker.filled(0.0, math.inf))
        pieces = [_polygon(xy, at) for xy, at in zip(points, offsets, strict=True)]
        plain = shapely.simplify(geometry.polygon_array(pieces), _SMOOTH * self.px_mm, preserve_topology=True)
        return geometry.parts(shapely.make_valid(plain))

    def _filled(self, outlines: Paths) -> Mask:
        """Pixels inside an odd number of closed paths: along each row, each side that is crossed turns in to out."""
        at = (outlines.xyz[:, :2] - self.corner) / self.px_mm
        to = outlines.onward
        low, high = (np.ceil(end(at[:, 1], at[to, 1])).astype(np.int64) for end in (np.minimum, np.maximum))
        low, high = (np.clip(end, 0, self.height.shape[0]) for end in (low, high))
        side = np.repeat(np.arange(len(at)), high - low)
        row = low[side] + np.arange(len(side)) - np.repeat(np.cumsum(high - low) - (high - low), high - low)
        (x, y), (dx, dy) = at[side].T, (at[to] - at)[side].T
        column = np.clip(np.ceil(x + (row - y) * dx / dy), 0, self.height.shape[1]).astype(np.int64)
        turns = np.zeros((self.height.shape[0], self.height.shape[1] + 1), dtype=np.uint8)
        np.add.at(turns, (row, column), 1)
        return np.asarray(np.cumsum(turns[:, :-1], axis=1, dtype=np.uint8) % 2 == 1)

    def _boxes(self, a: Floats, b: Floats, half: Floats) -> tuple[Indices, Indices]:
        """The first column and row, and how many of each, that every piece may touch."""
        reach = (half + _BEYOND * self.px_mm)[:, None]
        most = np.array(self.height.shape[::-1])
        low = np.ceil((np.minimum(a, b)[:, :2] - reach - self.corner) / self.px_mm).astype(np.int64)
        high = np.floor((np.maximum(a, b)[:, :2] + reach - self.corner) / self.px_mm).astype(np.int64) + 1
        low, high = np.clip(low, 0, most), np.clip(high, 0, most)
        return low, np.maximum(high - low, 0)

    def _stamp(self, pieces: Pieces, low: Indices, size: Indices, groove: Groove) -> None:
        """Lower what a few pieces reach."""
        count = size[:, 0] * size[:, 1]
        piece = np.repeat(np.arange(len(count)), count)
        within = geometry.counted(count)
        row, column = np.divmod(within, size[piece, 0])
        row, column = row + low[piece, 1], column + low[piece, 0]
        x, y = self.corner[0] + column * self.px_mm, self.corner[1] + row * self.px_mm
        edge, height = groove.passed(x, y, pieces, piece)
        pixel = row * self.height.shape[1] + column
        np.maximum.at(self.edge.reshape(-1), pixel, edge.astype(np.float32))
        deep = height < 0
        np.minimum.at(self.height.reshape(-1), pixel[deep], height[deep].astype(np.float32))


def untouched(width_mm: float, height_mm: float, px_mm: float) -> Relief:
    """The raster of a block that nothing has cut."""
    columns, rows = (math.ceil(side / px_mm) + 2 * _BEYOND for side in (width_mm, height_mm))
    first = (0.5 - _BEYOND) * px_mm
    edge = np.full((rows, columns), -_BEYOND * px_mm, dtype=np.float32)
    return Relief(px_mm, (first, first), np.zeros((rows, columns), dtype=np.float32), edge)


def _pieces(paths: Paths, longest_mm: float) -> tuple[Floats, Floats]:
    """Beginnings and ends of the straight pieces of paths, none much longer than asked; (n, 3) each."""
    ends = np.arange(1, len(paths.xyz) + 1)
    last = paths.start[1:] - 1
    alone = (np.diff(paths.start) == 1) & ~paths.closed
    ends[last] = np.where(paths.closed | alone, paths.start[:-1], -1)
    begin = np.flatnonzero(ends >= 0)
    a, b = paths.xyz[begin], paths.xyz[ends[begin]]
    parts = np.maximum(1, np.ceil(np.hypot(*(b - a)[:, :2].T) / longest_mm)).astype(np.int64)
    piece = np.repeat(np.arange(len(parts)), parts)
    share = (geometry.counted(parts) / parts[piece])[:, None]
    step = (b - a)[piece]
    return a[piece] + share * step, a[piece] + (share + 1 / parts[piece, None]) * step


def _lowest(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    """Of level pieces that lie over one another the lowest: what passes above it cuts nothing more."""
    ends = np.round(np.column_stack([a[:, :2], b[:, :2]]) / geometry.GRID_MM).astype(np.int64)
    order = np.lexsort([a[:, 2], *ends.T])
    new = np.append(True, (np.diff(ends[order], axis=0) != 0).any(axis=1))[: len(order)]
    kept = np.sort(order[new])
    return a[kept], b[kept]


def _stepped(a: Floats, b: Floats, step_mm: float) -> tuple[Floats, Floats]:
    """Sloped pieces as short level ones, each at the height of its middle; as they are for a step of 0."""
    if not step_mm or not len(a):
        return a, b
    parts = np.maximum(1, np.ceil(np.linalg.norm(b - a, axis=1) / step_mm)).astype(np.int64)
    piece = np.repeat(np.arange(len(parts)), parts)
    share = (geometry.counted(parts) / parts[piece])[:, None]
    step, each = (b - a)[piece], 1 / parts[piece, None]
    one, other, middle = (a[piece] + (share + more) * step for more in (0 * each, each, each / 2))
    one[:, 2] = other[:, 2] = middle[:, 2]
    return one, other


def _chunks(count: Indices) -> Iterator[slice]:
    """Runs of pieces whose pixels together are about `_CHUNK`."""
    if not len(count):
        return
    block = np.cumsum(count) // _CHUNK
    starts = np.flatnonzero(np.diff(block, prepend=-1)).tolist()
    for begin, end in zip(starts, [*starts[1:], len(count)], strict=True):
        yield slice(begin, end)


def _polygon(xy: Floats, at: Indices) -> shapely.Polygon:
    rings = [xy[i:j] for i, j in zip(at[:-1].tolist(), at[1:].tolist(), strict=True)]
    return shapely.Polygon(rings[0], rings[1:])
