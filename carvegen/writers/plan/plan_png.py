"""PNG of a plan: what is followed in the colours of its layers, the ways between as faint broken lines."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from carvegen import geometry
from carvegen.blocks.views import View, seen
from carvegen.toolpaths.laser.scanning import row_crossings
from carvegen.toolpaths.motion import timing
from carvegen.toolpaths.paths import paths_seen
from carvegen.writers.formats.picture_words import rows_of_words
from carvegen.writers.formats.png_bytes import png_bytes
from carvegen.writers.plan.plan_drawing import plan_layers

if TYPE_CHECKING:
    from carvegen.blocks.layer_names import FileLayer
    from carvegen.geometry import Floats
    from carvegen.toolpaths.paths import Paths, Plan

__all__ = ["legend_words", "plan_png"]

_GROUND, _FACE, _EDGE, _WORDS, _DASH = (244, 242, 236), (255, 255, 252), (120, 112, 100), (60, 58, 54), (176, 170, 160)
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
    size = (round(width * fine.scale), round(height * fine.scale))
    picture = Image.new("RGB", size, _GROUND)
    pen = ImageDraw.Draw(picture)
    corners = fine.at(np.array([[0, shown.height_mm], [shown.width_mm, 0]]))
    pen.rectangle([*corners[0], *corners[1]], fill=_FACE, outline=_EDGE)
    for layer, operation in zip(layers, plan.operations, strict=True):
        paths = paths_seen(operation.paths, shown.width_mm, shown.view)
        if operation.area_lines_mm is None:
            _dashes(pen, paths, fine)
            _followed(pen, paths, layer, fine)
        else:
            _filled(picture, paths, layer, fine)
    return png_bytes(_with_words(picture.reduce(_FINER), plan, layers), px_per_mm=scale, flat=True)


def _filled(picture: Image.Image, paths: Paths, layer: FileLayer, fine: _Sheet) -> None:
    """Closed shapes in the layer's colour, by the even-odd rule: what lies in their holes keeps its own.

    All shapes at once: where outlines cross the middle of a column of pixels, inside and outside change.
    """
    xy, (width, height) = fine.at(paths.xyz[:, :2]), picture.size
    _, column, y = row_crossings(xy[:, ::-1], xy.take(paths.onward, axis=0)[:, ::-1], 1.0)
    shown = (column >= 0) & (column < width)
    row = np.clip(np.ceil(y[shown] - 0.5), 0, height).astype(np.int64)
    inside = np.zeros((height + 1, width), dtype=np.uint8)
    np.add.at(inside.reshape(-1), row * width + column[shown], np.uint8(1))  # of another type: ten times as slow
    for upper, lower in pairwise(inside):  # a running sum down the rows: six times as quick as numpy's along them
        np.add(lower, upper, out=lower)
    inside &= 1
    x, y = np.clip(xy[paths.start[:-1]], 0, [width - 1, height - 1]).astype(np.int64).T
    inside[y, x] = 1  # what is smaller than a pixel is seen, too
    picture.paste(layer.colour, mask=Image.fromarray(inside[:-1].view(bool)))


def _followed(pen: ImageDraw.ImageDraw, paths: Paths, layer: FileLayer, fine: _Sheet) -> None:
    flat, start = fine.at(paths.xyz[:, :2]).ravel().tolist(), (2 * paths.start).tolist()
    thick = max(1, round(0.12 * fine.scale))
    for first, last, shut in zip(start[:-1], start[1:], paths.closed.tolist(), strict=True):
        line = flat[first:last]
        if len(line) > 2:
            pen.line([*line, *line[:2]] if shut else line, fill=layer.colour, width=thick)
        else:
            x, y = line
            pen.ellipse([x - thick, y - thick, x + thick, y + thick], fill=layer.colour)


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


def _with_words(picture: Image.Image, plan: Plan, layers: list[FileLayer]) -> Image.Image:
    """The picture with a line of words and a swatch for each layer under it."""
    size = max(12, picture.width // 60)
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
        for k, row in enumerate(rows_of_words(text, font, picture.width - 4 * size))
    ]
    room = round(size * 1.6)
    whole = Image.new("RGB", (picture.width, picture.height + room * (len(lines) + 1)), _GROUND)
    whole.paste(picture)
    pen = ImageDraw.Draw(whole)
    for k, (colour, left, row) in enumerate(lines):
        y = picture.height + k * room + room // 3
        if colour:
            pen.rectangle([size, y + size // 6, 2 * size, y + size], fill=colour)
        pen.text((left, y), row, fill=_WORDS, font=font)
    return whole


def legend_words(plan: Plan) -> list[str]:
    """What the picture says of each operation: how long, how many strokes, how much time."""
    times = timing.times(plan)
    if times is None:
        return [f"{_length(float(step.paths.lengths.sum()))}, passes: {step.passes}" for step in plan.operations]
    return [f"{_length(time.work_mm)}, strokes: {time.strokes}, about {timing.spoken(time.whole_s)}" for time in times]


def _length(mm: float) -> str:
    return f"{mm:.0f} mm" if mm < 1000 else f"{mm / 1000:.1f} m"
