"""DXF of a plan, release 2000 or 12: paths on named layers in working order, block view, millimetres."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from carvegen import geometry
from carvegen.blocks.layer_names import BLOCK_EDGE, LAYERS, NOTES
from carvegen.blocks.views import View, seen
from carvegen.toolpaths.paths import Paths, from_rings, paths_seen
from carvegen.writers.block.block_dxf import ascii_text, with_entities
from carvegen.writers.coordinates import point_texts
from carvegen.writers.plan.plan_layers import plan_layers
from carvegen.writers.plan.plan_sheet import origin_shift, plan_sheet, shifted

if TYPE_CHECKING:
    from carvegen.blocks.layer_names import Layer
    from carvegen.geometry import Indices, Mask
    from carvegen.toolpaths.paths import Plan

__all__ = ["level_runs", "plan_dxf"]


def plan_dxf(plan: Plan, version: str = "R2000") -> str:
    """What the machine follows, layer after layer, path after path, in the order of work.

    Level stretches are flat polylines at their height (LWPOLYLINE in R2000), what slopes is a 3-D POLYLINE;
    closed where it is closed. One stretch that begins where the last ended goes on from it without lifting. The
    origin is the corner that the machine's profile names.

    Raises
    ------
    InputError
        If `version` is not one of `VERSIONS`.
    """
    shown = seen(plan.job, View.BLOCK)
    layers = plan_layers(plan)
    x, y = origin_shift(plan, shown)
    sheet = shifted(plan_sheet(plan, shown, layers, origin=True), x, y)
    parts = [
        (layer, level_runs(paths_seen(operation.paths, shown.width_mm, shown.view)))
        for layer, operation in zip(layers, plan.operations, strict=True)
    ]
    parts.append((LAYERS[BLOCK_EDGE], from_rings(geometry.rings(geometry.polygon_array([shown.face])))))
    moved = [(layer, replace(paths, xyz=paths.xyz + np.array([x, y, 0.0]))) for layer, paths in parts]
    notes = geometry.stack([geometry.polygon_array([sheet.bar]), geometry.moved(shown.mark, (x, y))])
    moved.append((LAYERS[NOTES], from_rings(geometry.rings(notes))))
    names = [layer for layer, _ in moved]
    if version == "R12":
        return with_entities(version, sheet, names, lambda _, handle: (_old(moved), handle))
    return with_entities(version, sheet, names, lambda owner, handle: _new(moved, owner, handle))


def _level(paths: Paths) -> Mask:
    """Which paths lie at one height; (paths,)."""
    z = np.round(paths.xyz[:, 2], 3)
    if not len(paths):
        return np.zeros(0, dtype=bool)
    low, high = (ends.reduceat(z, paths.start[:-1]) for ends in (np.minimum, np.maximum))
    return np.asarray(low == high)


def _new(parts: list[tuple[Layer, Paths]], owner: str, handle: int) -> tuple[list[str], int]:
    """Entities of release 2000, with a handle each."""
    pieces: list[str] = []
    for layer, paths in parts:
        level, name = _level(paths).tolist(), ascii_text(layer.name)
        flat = point_texts(paths.xyz[:, :2], paths.start, (" 10\n", "\n 20\n", "\n"))
        counts, shut = np.diff(paths.start).tolist(), paths.closed.tolist()
        heights = np.round(paths.entries[:, 2], 3).tolist()
        places, start = np.round(paths.xyz, 3) + 0.0, paths.start.tolist()
        for k, text in enumerate(flat):
            if level[k]:
                pieces.append(
                    f"  0\nLWPOLYLINE\n  5\n{handle:X}\n330\n{owner}\n100\nAcDbEntity\n  8\n{name}\n100\nAcDbPolyline\n"
                    f" 90\n{counts[k]}\n 70\n{int(shut[k])}\n 38\n{heights[k]:.3f}\n{text}"
                )
                handle += 1
            else:
                pieces.append(_deep(places[start[k] : start[k + 1]].tolist(), shut[k], owner, handle, name))
                handle += counts[k] + 2
    return pieces, handle


def _deep(places: list[list[float]], closed: bool, owner: str, handle: int, name: str) -> str:
    """One path of varying depth as a 3-D polyline of release 2000."""
    common = f"100\nAcDbEntity\n  8\n{name}\n"
    head = (
        f"  0\nPOLYLINE\n  5\n{handle:X}\n330\n{owner}\n{common}100\nAcDb3dPolyline\n 66\n1\n"
        f" 10\n0.0\n 20\n0.0\n 30\n0.0\n 70\n{8 + int(closed)}\n"
    )
    begin, inner = "  0\nVERTEX\n  5\n", f"\n330\n{handle:X}\n{common}100\nAcDbVertex\n100\nAcDb3dPolylineVertex\n"
    points = "".join(
        f"{begin}{handle + 1 + k:X}{inner} 10\n{x:.3f}\n 20\n{y:.3f}\n 30\n{z:.3f}\n 70\n32\n"
        for k, (x, y, z) in enumerate(places)
    )
    return f"{head}{points}  0\nSEQEND\n  5\n{handle + 1 + len(places):X}\n330\n{handle:X}\n{common}"


def _old(parts: list[tuple[Layer, Paths]]) -> list[str]:
    """Entities of release 12, which have no handles."""
    pieces: list[str] = []
    for layer, paths in parts:
        level, name = _level(paths), layer.r12_name
        for flat in (True, False):
            kind = "" if flat else " 70\n32\n"
            marks = (f"  0\nVERTEX\n  8\n{name}\n 10\n", "\n 20\n", "\n 30\n", f"\n{kind}")
            texts = point_texts(paths.xyz, paths.start, marks)
            if flat:
                chosen = texts
            else:
                chosen = [one if its else other for one, other, its in zip(chosen, texts, level, strict=True)]
        heights = np.round(paths.entries[:, 2], 3).tolist()
        for k, text in enumerate(chosen):
            flags = int(paths.closed[k]) + (0 if level[k] else 8)
            height = heights[k] if level[k] else 0.0
            pieces.append(
                f"  0\nPOLYLINE\n  8\n{name}\n 66\n1\n 10\n0.0\n 20\n0.0\n 30\n{height:.3f}\n 70\n{flags}\n{text}"
                f"  0\nSEQEND\n  8\n{name}\n"
            )
    return pieces


_SAME_MM = 0.0005  #: nearer numbers are written alike
_SHORTEST = 4  #: sides of a level stretch that is worth a line of its own beside a slope; our own choice
_RING = 3  #: sides of a closed path at least
_DROP, _LEVEL, _SLOPE = 0, 1, 2


def level_runs(paths: Paths) -> Paths:
    """The same ways in the same order, each path cut where it goes straight down and where long level ways begin.

    What is straight down between two stretches is left out: the next one's height says it. A path that goes
    nowhere but down stays, and so does a closed path.
    """
    if not len(paths):
        return paths
    kind = _kinds(paths)
    first = paths.start[:-1]
    sides = np.flatnonzero(kind >= 0)
    if not len(sides):  # closed paths and single points only
        return paths
    own, its = paths.owner[sides], kind[sides]
    begins = np.append(True, (np.diff(own) != 0) | (np.diff(its) != 0))
    run = np.cumsum(begins) - 1
    short = (its == _LEVEL) & (np.bincount(run)[run] < _SHORTEST) & _beside_slope(own, its, begins)[run]
    its = np.where(short, _SLOPE, its)
    begins = np.append(True, (np.diff(own) != 0) | (np.diff(its) != 0))
    at = np.flatnonzero(begins)
    ends = np.append(at[1:], len(sides)) - 1
    kept = its[at] != _DROP
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


def _beside_slope(own: Indices, its: Indices, begins: Mask) -> Mask:
    """Which stretches follow a slope of their path or are followed by one; (stretches,)."""
    at = np.flatnonzero(begins)
    path, kind = own[at], its[at]
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
