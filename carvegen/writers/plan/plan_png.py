"""PNG of a plan: what is followed in the colours of its layers, the ways between as faint broken lines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from PIL import Image, ImageColor, ImageDraw, ImageFont

from carvegen import geometry
from carvegen.blocks.views import View, seen
from carvegen.toolpaths.laser.scanning import row_crossings
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.paths import paths_seen
from carvegen.writers.formats.picture_words import rows_of_words
from carvegen.writers.formats.png_bytes import flat_png
from carvegen.writers.plan.plan_drawing import plan_layers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.blocks.layer_names import FileLayer
    from carvegen.geometry import Floats
    from carvegen.toolpaths.paths import Paths, Plan

__all__ = ["legend_words", "plan_png"]

Inks: TypeAlias = "NDArray[np.uint8]"  #: of each pixel the number of its ink; (rows, columns)

_WORDS = (60, 58, 54)
#: The drawing is one of inks, by their number; those of operations come after these.
_COLOURS = ((244, 242, 236), (255, 255, 252), (120, 112, 100), (176, 170, 160))
_GROUND, _FACE, _EDGE, _DASH = range(len(_COLOURS))
_FEW = 16  #: inks of which a table tells what each four of them give together
_ROWS = 32  #: of pixels gone over together: so few that they stay near the processor
_MARGIN_MM = 14.0
_PIXELS = 9_000_000  #: of the drawing at most, before it is drawn twice as fine
_FINER = 2  #: drawn so many times as fine, then made smaller, so that lines are smooth
_DASH_MM = 1.2
_MOST_DASHES = 20_000  #: moves between paths that are drawn of one layer; more would hide the paths


@dataclass(frozen=True)
class _Sheet:
    """Where millimetres of the block go on a picture that is drawn finer than it is shown."""

    scale: float
    top_mm: float
    margin_mm: float

    def at(self, xy: Floats) -> Floats:
        """Places on the block as pixels; (n, 2)."""
        return np.column_stack([xy[:, 0] + self.margin_mm, self.top_mm + self.margin_mm - xy[:, 1]]) * self.scale


def plan_png(plan: Plan, *, px_per_mm: float = 8.0) -> bytes:
    """A picture of the paths in block view, with a line for each layer: what it is, how long it is, its time."""
    shown, layers = seen(plan.job, View.BLOCK), plan_layers(plan)
    margin = max(_MARGIN_MM, shown.waste_mm + 2.0)
    width, height = shown.width_mm + 2 * margin, shown.height_mm + 2 * margin
    scale = min(px_per_mm, math.sqrt(_PIXELS / (width * height)))
    fine = _Sheet(scale * _FINER, shown.height_mm, margin)
    size = [-(-round(side * fine.scale) // _FINER) * _FINER for side in (width, height)]
    picture = Image.new("L", (size[0], size[1]), _GROUND)
    corners = fine.at(np.array([[0, shown.height_mm], [shown.width_mm, 0]]))
    ImageDraw.Draw(picture).rectangle([*corners[0], *corners[1]], fill=_FACE, outline=_EDGE)
    inked = np.asarray(picture)
    for ink, operation in enumerate(plan.operations, start=len(_COLOURS)):
        paths = paths_seen(operation.paths, shown.width_mm, shown.view)
        inked = (_followed if operation.area_lines_mm is None else _filled)(inked, paths, ink, fine)
    colours = np.array([*_COLOURS, *(ImageColor.getrgb(layer.colour)[:3] for layer in layers)], dtype=np.uint8)
    drawn = _smaller(inked, colours)
    return flat_png([drawn, np.asarray(_legend(drawn.shape[1], plan, layers))], px_per_mm=scale)


def _filled(inked: Inks, paths: Paths, ink: int, fine: _Sheet) -> Inks:
    """Closed shapes in an ink above all before, by the even-odd rule: what lies in their holes keeps its own.

    All shapes at once: where outlines cross the middle of a column of pixels, inside and outside change.
    """
    (x, y), (height, width) = np.ascontiguousarray(fine.at(paths.xyz[:, :2]).T), inked.shape
    _, column, crossed = row_crossings(y, x, paths.onward, 1.0)
    shown = (column >= 0) & (column < width)
    if not shown.all():
        column, crossed = column[shown], crossed[shown]
    row = np.clip(np.ceil(crossed - 0.5).astype(np.int64), 0, height)
    inside = np.zeros((height + 1, width), dtype=np.uint8)
    np.add.at(inside.reshape(-1), row * width + column, np.uint8(1))  # of another type: ten times as slow
    for upper, lower in pairwise(inside):  # a running sum down the rows: six times as quick as numpy's along them
        np.add(lower, upper, out=lower)
    for first in range(0, height, _ROWS):
        rows, below = inside[first : min(first + _ROWS, height)], inked[first : first + _ROWS]
        np.bitwise_and(rows, 1, out=rows)
        np.multiply(rows, np.uint8(ink), out=rows)
        np.maximum(rows, below, out=rows)
    begins = paths.start[:-1]
    at_x, at_y = (np.clip(side[begins], 0, n - 1).astype(np.int64) for side, n in ((x, width), (y, height)))
    inside[at_y, at_x] = ink  # what is smaller than a pixel is seen, too
    return inside[:-1]


def _smaller(inked: Inks, colours: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Each square of four pixels as the mean of their colours; (rows, columns, 3).

    Few inks: four of them are one number, and a table tells the mean.
    """
    if len(colours) > _FEW:
        picture = Image.fromarray(inked)
        picture.putpalette(colours.tobytes())
        return np.asarray(picture.convert("RGB").reduce(_FINER))
    each = np.zeros((_FEW, 4), dtype=np.uint16)
    each[: len(colours), :3] = colours
    two = (each[:, None] + each).reshape(-1, 4)
    table = ((two[:, None] + two + 2) // 4).astype(np.uint8).view(np.uint32).reshape(-1)
    height, width = (side // _FINER for side in inked.shape)
    drawn = np.empty((height, width), dtype=np.uint32)
    for first in range(0, height, _ROWS):
        rows = inked[_FINER * first : _FINER * (first + _ROWS)]
        four = (rows[::2] | rows[1::2] << 4).view(np.uint16)
        table.take(four, out=drawn[first : first + _ROWS], mode="clip")  # else it is copied first
    return drawn.view(np.uint8).reshape(height, width, 4)[..., :3]


def _followed(inked: Inks, paths: Paths, ink: int, fine: _Sheet) -> Inks:
    """Lines that are followed, over the ways between them."""
    picture = Image.fromarray(inked)
    pen = ImageDraw.Draw(picture)
    _dashes(pen, paths, fine)
    flat, start = fine.at(paths.xyz[:, :2]).ravel().tolist(), (2 * paths.start).tolist()
    thick = max(1, round(0.12 * fine.scale))
    for first, last, shut in zip(start[:-1], start[1:], paths.closed.tolist(), strict=True):
        line = flat[first:last]
        if len(line) > 2:
            pen.line([*line, *line[:2]] if shut else line, fill=ink, width=thick)
        else:
            x, y = line
            pen.ellipse([x - thick, y - thick, x + thick, y + thick], fill=ink)
    return np.asarray(picture)


def _dashes(pen: ImageDraw.ImageDraw, paths: Paths, fine: _Sheet) -> None:
    """Broken lines from where each path ends to where the next begins."""
    begin, end = fine.at(paths.exits[:-1, :2])[:_MOST_DASHES], fine.at(paths.entries[1:, :2])[:_MOST_DASHES]
    step = end - begin
    count = np.ceil(np.hypot(step[:, 0], step[:, 1]) / (_DASH_MM * fine.scale)).astype(np.int64)
    which = np.repeat(np.arange(len(count)), count)
    dash = geometry.counted(count)
    for side in (0, 1):  # every second stretch of each move
        share = ((dash + 0.5 * side) / count[which])[:, None]
        ends = begin[which] + share * step[which]
        if side == 0:
            first = ends
    for one, other in zip(first.tolist(), ends.tolist(), strict=True):
        pen.line([*one, *other], fill=_DASH, width=1)


def _legend(width: int, plan: Plan, layers: list[FileLayer]) -> Image.Image:
    """What stands below a picture of this width: a line of words and a swatch for each layer."""
    size = max(12, width // 60)
    font = ImageFont.load_default(size=size)
    legend: list[tuple[str | None, str]] = [
        (layer.colour, f"{k}. {layer.name}: {note}")
        for k, (layer, note) in enumerate(zip(layers, legend_words(plan), strict=True), start=1)
    ]
    words = seen(plan.job, View.BLOCK).view.words
    legend.append((None, f"{plan.job.block.name}, paths. {words} Broken: ways between cuts."))
    lines = [
        (colour if k == 0 else None, (3 if colour else 1) * size, row)
        for colour, text in legend
        for k, row in enumerate(rows_of_words(text, font, width - 4 * size))
    ]
    room = round(size * 1.6)
    picture = Image.new("RGB", (width, room * (len(lines) + 1)), _COLOURS[_GROUND])
    pen = ImageDraw.Draw(picture)
    for k, (colour, left, row) in enumerate(lines):
        y = k * room + room // 3
        if colour:
            pen.rectangle([size, y + size // 6, 2 * size, y + size], fill=colour)
        pen.text((left, y), row, fill=_WORDS, font=font)
    return picture


def legend_words(plan: Plan) -> list[str]:
    """What the picture says of each operation: how long, how many strokes, how much time."""
    times = timing.times(plan)
    if times is None:
        return [f"{_length(float(step.paths.lengths.sum()))}, passes: {step.passes}" for step in plan.operations]
    return [f"{_length(time.work_mm)}, strokes: {time.strokes}, about {timing.spoken(time.whole_s)}" for time in times]


def _length(mm: float) -> str:
    return f"{mm:.0f} mm" if mm < 1000 else f"{mm / 1000:.1f} m"
