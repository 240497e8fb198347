"""A plan as a drawing: paths on layers in working order, block view, as SVG and as DXF of release 2000 or 12."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from shapely.affinity import translate

from carvegen import geometry
from carvegen.blocks.layer_names import BLOCK_EDGE, CUT_AREA, CUT_OUT, LAYERS, REGISTER, FileLayer, coloured
from carvegen.blocks.views import View, corner, seen
from carvegen.toolpaths.paths import Paths, Work, from_rings, paths_seen
from carvegen.writers.formats.dxf_file import dxf_of
from carvegen.writers.formats.svg_page import svg_of
from carvegen.writers.sheet import MARGIN_MM, Drawing, DrawnLayer, around, margin_mm

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from carvegen.blocks.views import Seen
    from carvegen.geometry import Indices, Mask
    from carvegen.toolpaths.paths import Operation, Plan
    from carvegen.writers.sheet import Sheet

__all__ = ["level_runs", "plan_dxf", "plan_layers", "plan_svg"]

_NARROWEST_MM = 150.0

#: DXF colour indices of half saturation, by what is done; the first that is free is taken. What often lies side by side
#: is of unlike lightness, too, so that eyes that confuse red and green tell it apart; our own choice.
_INDICES: dict[Work, tuple[int, ...]] = {
    Work.SCORE: (225, 215),
    Work.LOWER: (133, 145),
    Work.CLEAR: (143, 177, 121, 31, 147, 157, 167),
    Work.SHOULDER: (97, 237, 177, 153, 181, 141),
    Work.WALL: (237, 97, 211, 64, 247, 205, 195),
    Work.CENTRE_LINE: (155, 165),
    Work.CUT_THROUGH: (33, 23, 43, 53),
    Work.CUT_BLOCK: (53, 43, 23),
}
_REST = tuple(range(15, 250, 10))
#: Layers of the block's own files whose shop colours hold here too, where the shop gave none of this name.
_ALIKE = {
    Work.LOWER: CUT_AREA, Work.CLEAR: CUT_AREA, Work.CUT_THROUGH: CUT_OUT, Work.CUT_BLOCK: CUT_OUT,
    Work.SCORE: REGISTER,
}  # fmt: skip

_ORIGINS = {
    "lower-left": "the block's lower left corner as it lies face up",
    "lower-right": "the block's lower right corner as it lies face up",
    "upper-left": "the block's upper left corner as it lies face up",
    "upper-right": "the block's upper right corner as it lies face up",
    "middle": "the middle of the block",
}


def plan_svg(plan: Plan) -> str:
    """What the machine follows, group after group, path after path, in the order of work.

    Areas that are lowered as shapes are filled, their holes in the same path; all else are thin lines, closed
    where they are closed. How deep a line goes is not in the drawing: the words and the DXF say it.
    """
    shown, layers = seen(plan.job, View.BLOCK), plan_layers(plan)
    paths = [paths_seen(operation.paths, shown.width_mm, shown.view) for operation in plan.operations]
    return svg_of(_drawing(plan, layers, paths, _plan_sheet(plan, shown, layers, origin=False), (0.0, 0.0)))


def plan_dxf(plan: Plan, version: str = "R2000") -> str:
    """The same, each path at its depth, in the order of work.

    What is straight down is left out, and long level ways are lines of their own (`level_runs`). One stretch that
    begins where the last ended goes on from it without lifting. The origin is the corner that the machine's profile
    names.

    Raises
    ------
    InputError
        If `version` is not one of `VERSIONS`.
    """
    shown, layers = seen(plan.job, View.BLOCK), plan_layers(plan)
    paths = [level_runs(paths_seen(operation.paths, shown.width_mm, shown.view)) for operation in plan.operations]
    shift = _origin_shift(plan, shown)
    sheet = _shifted(_plan_sheet(plan, shown, layers, origin=True), *shift)
    return dxf_of(_drawing(plan, layers, paths, sheet, shift), version)


def _drawing(
    plan: Plan, layers: Sequence[FileLayer], paths: Sequence[Paths], sheet: Sheet, shift: tuple[float, float]
) -> Drawing:
    """The paths of each operation and the block's edge, `shift` to the right and up."""
    shown = seen(plan.job, View.BLOCK)
    edge = from_rings(geometry.rings(geometry.polygon_array([shown.face])))
    away = np.array([*shift, 0.0])
    filled = [operation.area_lines_mm is not None for operation in plan.operations]
    drawn = zip([*layers, LAYERS[BLOCK_EDGE]], [*paths, edge], [*filled, False], strict=True)
    return Drawing(
        title=f"{shown.name}, paths, {shown.view.value} view",
        about=f"{shown.view.words} Millimetres, 1:1.",
        sheet=sheet,
        layers=tuple(
            DrawnLayer(layer=layer, what=replace(lines, xyz=lines.xyz + away) if away.any() else lines, filled=area)
            for layer, lines, area in drawn
        ),
        mark=geometry.moved(shown.mark, shift),
    )


def _plan_sheet(plan: Plan, shown: Seen, layers: list[FileLayer], *, origin: bool) -> Sheet:
    """The sheet of a file with paths; `origin`: whether its numbers begin at the machine's own corner."""
    where = (
        f" Numbers begin at {_ORIGINS[plan.job.machine.origin]}; x to the right, y upwards."
        if origin
        else (
            f" The block's upper left corner lies {margin_mm(shown):g} mm from the left and from the upper edge of "
            "this page."
        )
    )
    tool = "beam" if plan.job.machine.kind == "laser" else "cutter"
    colours = "Colours are the shop's own" if plan.job.machine.layer_colours else "Colours carry no meaning"
    words = [
        f"{shown.name}: PATHS, in working order. {shown.view.words}",
        f"Block {shown.width_mm:g} x {shown.height_mm:g} mm. UNITS=MM.{where} Lines are where the middle of the "
        f"{tool} goes: its width is allowed for; allow for nothing more.",
        *(f"{k}. {layer.name} ({layer.drawn}): {layer.asks}." for k, layer in enumerate(layers, start=1)),
        "BLOCK EDGE: where the block lies; NOTES: to be read and measured: neither is worked.",
        *_arrow(shown),
        f"{colours}: set each layer by its name, as the shop does it. Read the note first.",
    ]
    return around(shown, max(shown.width_mm, _NARROWEST_MM - 2 * MARGIN_MM), words)


def _arrow(shown: Seen) -> Iterator[str]:
    """What the arrow with the block's name is for."""
    if len(shown.mark):
        direction = "right" if shown.view is View.PLAIN else "left"
        yield f"Arrow above the block, among NOTES: it points to the {direction} here. If not, the file was flipped."


def _shifted(sheet: Sheet, x: float, y: float) -> Sheet:
    """The sheet moved."""
    return replace(
        sheet, left=sheet.left + x, right=sheet.right + x, bottom=sheet.bottom + y, top=sheet.top + y,
        bar=translate(sheet.bar, x, y),
        lines=tuple(replace(line, at=(line.at[0] + x, line.at[1] + y)) for line in sheet.lines),
    )  # fmt: skip


def _origin_shift(plan: Plan, shown: Seen) -> tuple[float, float]:
    """How far all moves so that the machine's corner is the origin."""
    x, y = corner(plan.job.machine.origin, shown.width_mm, shown.height_mm)
    return -x, -y


_SAME_MM = 0.0005  #: nearer numbers are written alike
_SHORTEST = 4  #: sides of a level stretch that is worth a line of its own beside a slope; our own choice
_RING = 3  #: sides of a closed path at least
_DROP, _LEVEL, _SLOPE = 0, 1, 2


def level_runs(paths: Paths) -> Paths:
    """The same ways in the same order, each path cut where it goes straight down and where long level ways begin.

    What is straight down between two stretches is left out: the next one's height says it. A path that goes
    nowhere but down stays, and so does a closed path.
    """
    if paths.closed.all():
        return paths
    kind = _kinds(paths)
    first = paths.start[:-1]
    sides = np.flatnonzero(kind >= 0)
    if not len(sides):  # closed paths and single points only
        return paths
    own, side_kind = paths.owner[sides], kind[sides]
    begins = np.append(True, (np.diff(own) != 0) | (np.diff(side_kind) != 0))
    run = np.cumsum(begins) - 1
    short = (side_kind == _LEVEL) & (np.bincount(run)[run] < _SHORTEST) & _beside_slope(own, side_kind, begins)[run]
    side_kind = np.where(short, _SLOPE, side_kind)
    begins = np.append(True, (np.diff(own) != 0) | (np.diff(side_kind) != 0))
    at = np.flatnonzero(begins)
    ends = np.append(at[1:], len(sides)) - 1
    kept = side_kind[at] != _DROP
    begin, end = sides[at[kept]], sides[ends[kept]] + 1
    whole = np.flatnonzero(paths.closed | (np.diff(paths.start) == 1))
    return _stretches(
        paths, np.concatenate([begin, first[whole]]), np.concatenate([end, paths.start[1:][whole] - 1]),
        np.concatenate([np.zeros(len(begin), dtype=bool), paths.closed[whole]]),
    )  # fmt: skip


def _kinds(paths: Paths) -> Indices:
    """What each side is, by its first point: straight down, level or sloped; -1 where no open path's side begins."""
    step = np.abs(np.diff(paths.xyz, axis=0, append=paths.xyz[-1:]))
    down = step[:, :2].max(axis=1) < _SAME_MM
    level = np.round(paths.xyz[:, 2], 3) == np.round(np.append(paths.xyz[1:, 2], paths.xyz[-1, 2]), 3)
    kind = np.where(level, _LEVEL, np.where(down, _DROP, _SLOPE))
    only = np.maximum.reduceat(np.where(np.isin(np.arange(len(kind)), paths.start[1:] - 1), 0, kind), paths.start[:-1])
    kind = np.where((only == _DROP)[paths.owner], _SLOPE, kind)
    kind[paths.start[1:] - 1] = -1
    return np.where(paths.closed[paths.owner], -1, kind)


def _beside_slope(own: Indices, side_kind: Indices, begins: Mask) -> Mask:
    """Which stretches follow a slope of their path or are followed by one; (stretches,)."""
    at = np.flatnonzero(begins)
    path, kind = own[at], side_kind[at]
    after = np.append(False, (path[1:] == path[:-1]) & (kind[:-1] == _SLOPE))
    before = np.append((path[1:] == path[:-1]) & (kind[1:] == _SLOPE), False)
    return np.asarray(after | before)


def _stretches(paths: Paths, begin: Indices, end: Indices, closed: Mask) -> Paths:
    """From point to point, in the order of the paths; what comes back to its first point is closed."""
    order = np.argsort(begin, kind="stable")
    begin, end, closed = begin[order], end[order], closed[order]
    comes_back = ~closed & (end - begin >= _RING) & (np.abs(paths.xyz[begin] - paths.xyz[end]).max(axis=1) < _SAME_MM)
    count = end - begin + 1 - comes_back
    start = np.concatenate([[0], np.cumsum(count)])
    within = np.arange(start[-1]) - np.repeat(start[:-1], count)
    return Paths(paths.xyz[np.repeat(begin, count) + within], start, closed | comes_back)


def plan_layers(plan: Plan) -> list[FileLayer]:
    """A layer for each operation; told by name and words, coloured by the shop's own table where it has one."""
    shop = plan.job.machine.layer_colours
    taken = {layer.index for layer in LAYERS.values() if layer.name not in (CUT_AREA, CUT_OUT, REGISTER)}
    taken |= set(shop.values())
    layers = []
    for operation in plan.operations:
        index = shop.get(operation.name) or shop.get(_ALIKE.get(operation.work, ""))
        if index is None:
            index = next(free for free in (*_INDICES[operation.work], *_REST, *range(1, 256)) if free not in taken)
            taken.add(index)
        layers.append(coloured(_layer(operation), index))
    return layers


def _layer(operation: Operation) -> FileLayer:
    return FileLayer(name=operation.name, colour="", index=0, drawn=_drawn(operation), asks=operation.asks)


def _drawn(operation: Operation) -> str:
    if operation.area_lines_mm is not None:
        return "filled closed shapes"
    back = _come_back(operation.paths)
    if operation.paths.closed.all():
        return "closed lines"
    return "closed lines, led into" if back.all() else "open and closed lines" if back.any() else "open lines"


def _come_back(paths: Paths) -> Mask:
    """Whether each path ends where it has been before, seen from above: round a shape, after a ramp or a lead-in."""
    xy, last = paths.xyz[:, :2], paths.start[1:] - 1
    ends = np.repeat(xy[last], np.diff(paths.start), axis=0)
    met = np.abs(xy - ends).max(axis=1) <= geometry.GRID_MM
    met[last] = False
    return paths.closed | np.logical_or.reduceat(met, paths.start[:-1])
