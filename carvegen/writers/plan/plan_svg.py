"""SVG of a plan: paths in named groups in working order, block view, at true size."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

import numpy as np

from carvegen.blocks.layer_names import BLOCK_EDGE, LAYERS, NOTES
from carvegen.blocks.views import View, seen
from carvegen.toolpaths.paths import paths_seen
from carvegen.writers.coordinates import point_texts
from carvegen.writers.plan.plan_layers import plan_layers
from carvegen.writers.plan.plan_sheet import plan_sheet
from carvegen.writers.svg_page import HAIRLINE_MM, SvgPage

if TYPE_CHECKING:
    from carvegen.geometry import Mask
    from carvegen.toolpaths.paths import Paths, Plan

__all__ = ["first_of_shape", "plan_svg"]


def plan_svg(plan: Plan) -> str:
    """What the machine follows, group after group, path after path, in the order of work.

    Areas that are lowered as shapes are filled, their holes in the same path; all else are thin lines, closed
    where they are closed. How deep a line goes is not in the drawing: the words and the DXF say it.
    """
    shown, layers = seen(plan.job, View.BLOCK), plan_layers(plan)
    sheet = plan_sheet(plan, shown, layers, origin=False)
    page = SvgPage(
        left=sheet.left, bottom=sheet.bottom, right=sheet.right, top=sheet.top,
        title=f"{shown.name}, paths, {shown.view.value} view", about=f"{shown.view.words} Millimetres, 1:1.",
    )  # fmt: skip
    for layer, operation in zip(layers, plan.operations, strict=True):
        area = operation.area_lines_mm is not None
        look = (
            {"fill": layer.colour, "stroke": "none", "fill_rule": "evenodd"} if area else
            {"fill": "none", "stroke": layer.colour, "stroke_width": HAIRLINE_MM}
        )  # fmt: skip
        page.group(layer.xml_name, layer.name, layer.asks, **look)
        paths = paths_seen(operation.paths, shown.width_mm, shown.view)
        page.spliced(layer.xml_name, _texts(paths, left=sheet.left, top=sheet.top, area=area))
    edge = LAYERS[BLOCK_EDGE]
    group = page.group(edge.xml_name, edge.name, edge.asks, fill="none", stroke=edge.colour, stroke_width=HAIRLINE_MM)
    page.polygon(group, shown.face)
    words = LAYERS[NOTES]
    notes = page.group(
        words.xml_name, words.name, words.asks, fill=words.colour, stroke="none", font_family="sans-serif"
    )
    page.polygon(notes, sheet.bar)
    page.shapes(words.xml_name, shown.mark)
    for line in sheet.lines:
        page.words(notes, line)
    return page.to_text()


def _texts(paths: Paths, *, left: float, top: float, area: bool) -> str:
    """A path element for each path, or for each shape with its holes."""
    xy = np.column_stack([paths.xyz[:, 0] - left, top - paths.xyz[:, 1]])
    texts = point_texts(xy, paths.start, ("", " ", " "))
    ends = ["Z" if shut else "" for shut in paths.closed.tolist()]
    each = [f"M{text[:-1]}{end}" for text, end in zip(texts, ends, strict=True)]
    if area:
        first = np.flatnonzero(first_of_shape(paths)).tolist()
        each = ["".join(each[a:b]) for a, b in itertools.pairwise([*first, len(each)])]
    return "".join(f'\n<path d="{d}"/>' for d in each)


def first_of_shape(paths: Paths) -> Mask:
    """Of closed paths that are outlines of shapes, each followed by its holes, which are outlines; (paths,).

    Holes run the other way round than outlines.
    """
    if not len(paths):
        return np.zeros(0, dtype=bool)
    ends = np.arange(1, len(paths.xyz) + 1)
    ends[paths.start[1:] - 1] = paths.start[:-1]
    x, y = paths.xyz[:, 0], paths.xyz[:, 1]
    around = np.add.reduceat(x * y[ends] - x[ends] * y, paths.start[:-1])
    return np.asarray((around > 0) == (around[0] > 0))
