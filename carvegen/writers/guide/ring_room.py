"""Room for rings and their letters on the guide: they stand on land, on floors or in the margin, over no edge."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.geometry.coverage import coverage
from carvegen.writers.sheet import MARGIN_MM, register_shapes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from carvegen.blocks.views import Seen
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.writers.guide.guide_zones import Zones

    Box = tuple[float, float, float, float]  # left, bottom, right, top

__all__ = ["RingRoom", "drawn_bounds", "word_at"]

_AROUND_MM = MARGIN_MM - 2.0  #: as far as the register crosses reach: 200 x 150 mm go on one sheet of A4
_CELL_MM = 0.5
_RIM_MM = 0.2  #: half the width of the lines along face and board, and a little
_CLEAR_MM = 0.4  #: from the middle of a ring's line to a cut: half its width, half the outline's, and 0.2 of white
_CRUMB = 1e-6  #: shares of a cell below this come from rounding
_CORNERS = 72
_SHOWS = 0.25  #: so great a share of a ring must be seen
_GROWS = 1.3
_LARGEST_MM = 9.0  #: a wider ring points at nothing
_WORD_MM = (20.0, -1.0, 5.0)  #: room of the test word: to both sides of its beginning, from and to above its foot
_WORD_OFF_MM = 3.0  #: from the face, or from the groove round it, to the foot of the test word
_ARROW: Box = (-2.0, -MARGIN_MM, 16.0, -0.5)  #: room of the grain's arrow


def drawn_bounds(shown: Seen) -> Box:
    """Left, bottom, right and top of the guide's drawing: the block with its margin."""
    out = max(_AROUND_MM, shown.waste_mm + 1.0)
    return (-out, -out, shown.width_mm + out, shown.height_mm + out)


def word_at(shown: Seen) -> tuple[float, float]:
    """Where the test word begins: above the face, or above the groove round it."""
    xy = shown.places([(0.0, shown.height_mm + shown.moat_mm + _WORD_OFF_MM)])[0].tolist()
    return xy[0], xy[1]


class RingRoom:
    """What is drawn on a guide already, and must not be hidden."""

    def __init__(self, shown: Seen, zones: Zones, borders: Floats) -> None:
        cuts = [zones.fine, zones.edges, shown.cut_before, shown.cut_outs, shown.free]
        strokes = shapely.buffer(geometry.lines(borders[:, :2], borders[:, 2:]), _RIM_MM)
        self._shapes = geometry.stack([*cuts, strokes, *_beside(shown)])
        self._tree = shapely.STRtree(self._shapes)
        self._bounds = drawn_bounds(shown)
        self._drawn = self._touched(self._shapes)
        self._labels = np.zeros_like(self._drawn)

    def ring(self, at: tuple[float, float], radius: float) -> tuple[float, Floats]:
        """The smallest ring no smaller than this of which enough is seen: its radius and its lines, (n, 4)."""
        widest = max(radius, _LARGEST_MM)
        best = (0.0, radius, np.empty((0, 4)))
        while radius <= widest:
            lines = self._clear(_circle(at, radius))
            share = float(np.hypot(*(lines[:, 2:] - lines[:, :2]).T).sum()) / (2 * math.pi * radius)
            best = max(best, (share, radius, lines), key=lambda option: option[0])
            if share >= _SHOWS:
                break
            radius *= _GROWS
        return best[1], best[2]

    def leader(self, at: tuple[float, float], radius: float, box: Box) -> Floats:
        """Lines from a ring's rim to a label's box, where they cross nothing; (n, 4)."""
        line = shapely.shortest_line(shapely.Point(at).buffer(radius), shapely.box(*box))
        return self._clear(shapely.get_coordinates(line)) if shapely.length(line) > _CELL_MM else np.empty((0, 4))

    def label(self, at: tuple[float, float], size: tuple[float, float], rings: Mask) -> Box | None:
        """The box of this size nearest to a place that hides nothing, or None; what it takes is taken from then on.

        Parameters
        ----------
        rings
            Cells of boxes round the rings; they are hidden only where nothing else is left.
        """
        taken, ringed = (_in_boxes(mask, size) for mask in (self._drawn | self._labels, rings))
        hidden = np.where(taken, np.inf, 20.0 * ringed)
        if not np.isfinite(hidden).any():
            return None
        columns, rows = (np.arange(count) for count in hidden.shape[::-1])
        left, bottom = self._bounds[0] + columns * _CELL_MM, self._bounds[1] + rows * _CELL_MM
        away = np.hypot(left + size[0] / 2 - at[0], (bottom + size[1] / 2 - at[1])[:, None])
        row, column = np.unravel_index(np.argmin(hidden + away), hidden.shape)
        x, y = float(left[column]), float(bottom[row])
        box = (x, y, x + size[0], y + size[1])
        self._labels |= self.cells([box])
        return box

    def _clear(self, xy: Floats) -> Floats:
        """A line where it crosses nothing that is drawn, as straight pieces; (n, 4)."""
        line = shapely.LineString(xy)
        near = self._shapes[self._tree.query(line, predicate="dwithin", distance=_CLEAR_MM)]
        window = np.asarray(line.bounds) + np.array([-1, -1, 1, 1])
        cuts = shapely.buffer(shapely.clip_by_rect(near, *window), _CLEAR_MM, quad_segs=4)
        seen = shapely.get_parts(shapely.difference(line, shapely.union_all(cuts)))
        ends = [np.hstack([piece[:-1], piece[1:]]) for piece in map(shapely.get_coordinates, seen) if len(piece) > 1]
        return np.asarray(np.round(np.concatenate(ends), 3), dtype=np.float64) if ends else np.empty((0, 4))

    def cells(self, boxes: Sequence[Box]) -> Mask:
        """Which cells boxes touch; the first row is the lowest."""
        return self._touched(shapely.box(*np.array(boxes).reshape(-1, 4).T))

    def _touched(self, shapes: PolygonArray) -> Mask:
        """The same of shapes."""
        left, bottom, right, top = self._bounds
        size = (math.ceil((right - left) / _CELL_MM), math.ceil((top - bottom) / _CELL_MM))
        every = geometry.parts(shapes)  # where they overlap, their shares add up: they touch
        cells = geometry.moved(every, (-left / _CELL_MM, -bottom / _CELL_MM), scale=1 / _CELL_MM)
        return np.asarray(coverage(cells, size)[::-1] > _CRUMB)


def _beside(shown: Seen) -> list[PolygonArray]:
    """What else is drawn: the face's edge, stops, marks, the test word and the arrow."""
    word = word_at(shown)
    side, low, high = _WORD_MM
    rims = [shapely.boundary(outline).buffer(_RIM_MM) for outline in (shown.face, shown.board)]
    words = shapely.box(word[0] - side, word[1] + low, word[0] + side, word[1] + high)
    more = geometry.polygon_array([*rims, words, shapely.box(*_ARROW)])
    return [shown.stops, register_shapes(shown), shown.kept, more]


def _circle(at: tuple[float, float], radius: float) -> Floats:
    angle = np.linspace(0, 2 * np.pi, _CORNERS + 1)
    return np.column_stack([at[0] + radius * np.cos(angle), at[1] + radius * np.sin(angle)])


def _in_boxes(mask: Mask, size: tuple[float, float]) -> Mask:
    """Whether a box covers any cell of a mask, for each cell that may be its lower left corner."""
    sums = np.zeros((mask.shape[0] + 1, mask.shape[1] + 1), dtype=np.int32)
    np.cumsum(np.cumsum(mask, axis=0, dtype=np.int32), axis=1, out=sums[1:, 1:])
    wide, high = (math.ceil(side / _CELL_MM) for side in size)
    return np.asarray(sums[high:, wide:] - sums[:-high, wide:] - sums[high:, :-wide] + sums[:-high, :-wide] > 0)
