"""Figures of what grows, is separated, mended, planned or found, recorded from our own output.

They show that something has changed, not that it was right: nothing outside the program says so. Who changes it on
purpose looks at it (`gallery/build.py`, `python -m tests.lying_sheet FOLDER`) and records it anew; the table's
difference goes into the same commit:

python -m tests.recorded motifs > tests/motifs/recorded.toml    or checks, geometry, prints, toolpaths
python -m tests.recorded motifs "fresh fir"                     only scenes that have it in their names

Each room has its scenes in `test_recorded.py` and its table beside it: a scene, its parts, figures of each. Figures are
mm, mm², degrees and seconds; `x` and `y` are the middle of all, `z` is a path's mean height. They are compared to
1 in 50,000, or 0.0005: coordinates lie on a grid of 0.001, so that a last digit that another build of numpy rounds
otherwise moves a corner here and there by one step. What grows is held as tightly, for the
same numbers grow the same; lying snow less (`WIDER` in `tests/motifs`).
"""

from __future__ import annotations

import argparse
import importlib
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
import shapely

from carvegen import geometry
from carvegen.base.findings import Finding
from carvegen.base.progress import heard
from carvegen.toolpaths.motion.timing import times
from carvegen.toolpaths.paths import Paths, Plan

REL, ABS = 2e-5, 5e-4
Figures = Mapping[str, float]
Parts = Mapping[str, Figures]
Scenes = Mapping[str, Callable[[], Parts]]  #: what makes a scene's parts, by the scene's name

_HERE = Path(__file__).parent
_MEANT = "if that is meant, python -m tests.recorded"


def of_shapes(shapes: Iterable[shapely.Geometry] | shapely.Geometry) -> Figures:
    """Of areas: how many pieces, holes, how large, where, and how far from their middle."""
    pieces = geometry.parts(shapes)
    area, whole = shapely.area(pieces), float(shapely.area(pieces).sum())
    if not whole:
        return {"count": len(pieces)}
    xy = shapely.get_coordinates(shapely.centroid(pieces))
    x, y = area @ xy / whole
    return {
        "count": len(pieces),
        "holes": int(shapely.get_num_interior_rings(pieces).sum()),
        "area": whole,
        "outline": float(shapely.length(pieces).sum()),
        "x": x,
        "y": y,
        "apart": float(area @ np.hypot(*(xy - (x, y)).T)) / whole,
    }


def of_values(**values: np.ndarray | float) -> Figures:
    """Of arrays of numbers: how many, their sum, and how they lie along the array."""
    figures: dict[str, float] = {}
    for name, value in values.items():
        each = np.ravel(np.asarray(value, dtype=float))
        figures |= {name: float(each.sum())}
        if each.size > 1:
            order = np.linspace(0, 1, each.size)
            figures |= {f"{name}_s": each.size, f"{name}_along": float(order @ each)}
    return figures


def of_paths(paths: Paths) -> Figures:
    """Of paths: how many, closed, their points, length, middle and depth, and which turn they take."""
    x, y, z = paths.xyz.T
    if not len(paths):
        return {"paths": 0}
    a, b = paths.xyz, paths.xyz.take(paths.onward, axis=0)
    long = np.linalg.norm(b - a, axis=1)
    middle = long @ (a + b) / 2 / max(float(long.sum()), 1e-9)
    return {
        "paths": len(paths),
        "closed": int(paths.closed.sum()),
        "points": len(x),
        "length": float(long.sum()),
        "x": middle[0],
        "y": middle[1],
        "z": middle[2],
        "depths": float(z.sum()),
        "turn": float((x * b[:, 1] - y * b[:, 0]).sum()) / 2,
        "entries": float(np.linspace(0, 1, len(paths)) @ np.abs(paths.entries).sum(axis=1)),
    }


def of_plan(plan: Plan) -> Parts:
    """Of a plan: each operation's paths and time, what is left, and how much is told."""
    parts: dict[str, Figures] = {}
    spent = times(plan) or (None,) * len(plan.operations)
    for operation, time in zip(plan.operations, spent, strict=True):
        more: dict[str, float] = {"deep": operation.depth_mm, "passes": operation.passes}
        more |= {} if operation.pass_mm is None else {"pass": operation.pass_mm}
        if time is not None:
            more |= {"work_s": time.work_s, "travel": time.travel_mm, "travel_s": time.travel_s}
            more |= {"strokes": time.strokes}
        parts[operation.name] = of_paths(operation.paths) | more
    parts["unreached"], parts["covered"] = of_shapes(plan.unreached), of_shapes(plan.covered)
    parts["said"] = {"remarks": len(plan.remarks), "findings": len(plan.findings)}
    return parts


def of_findings(findings: Iterable[Finding]) -> Parts:
    """Of findings, by rule and kind: how many, how grave, and the sums of what was measured and where."""
    parts: dict[str, dict[str, float]] = {}
    for each in findings:
        part = parts.setdefault(f"{each.rule} {each.kind}".strip(), {})
        at, to = each.at or (0.0, 0.0), each.to or (0.0, 0.0)
        more = {"count": 1, each.severity.label: 1, "measured": each.measured, "limit": each.limit}
        more |= {"length": each.length_mm or 0.0, "run": each.direction_deg or 0.0}
        more |= {"x": at[0], "y": at[1], "to_x": to[0], "to_y": to[1], "walls": len(each.between)}
        for name, value in more.items():
            part[name] = part.get(name, 0.0) + float(value)
    return parts


def telling(make: Callable[[], Parts]) -> Parts:
    """What comes of a piece of work, and the shares that it told were done. Not of one that may be remembered."""
    shares: list[float] = []
    with heard(shares.append):
        parts = make()
    return {**parts, "told": of_values(share=shares)}


def compare(room: str, scene: str, parts: Parts, wider: Figures = MappingProxyType({})) -> None:
    """Fail with every figure that differs from the room's table; some parts may differ by a larger share."""
    was = tomllib.loads((_HERE / room / "recorded.toml").read_text(encoding="utf-8"))[scene]
    for part in wider.keys() & parts.keys() & was.keys():
        assert parts[part] == pytest.approx(was[part], rel=wider[part], abs=ABS), f"{scene}, {part}: {_MEANT} {room}"
    now, was = (_flat({part: each[part] for part in each if part not in wider}) for each in (parts, was))
    assert now == pytest.approx(was, rel=REL, abs=ABS), f"{scene}: {_MEANT} {room}"


def _flat(parts: Parts) -> Figures:
    return {f"{part}: {name}": value for part, figures in parts.items() for name, value in figures.items()}


def written(scenes: Scenes) -> str:
    """The table: scenes, their parts, a line each."""
    lines: list[str] = []
    for scene, made in scenes.items():
        lines.append(f'["{scene}"]')
        for part, figures in made().items():
            values = ", ".join(f"{name.replace(' ', '_')} = {_digits(value)}" for name, value in figures.items())
            lines.append(f'"{part}" = {{ {values} }}' if values else f'"{part}" = {{}}')
        lines.append("")
    return "\n".join(lines).rstrip()


def _digits(value: float) -> str:
    """Seven digits that count, four after the point at most."""
    number = float(value)
    return str(int(number)) if number == int(number) else f"{number:.{max(1, min(4, 6 - len(str(int(abs(number))))))}f}"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("room")
    parser.add_argument("named", nargs="?", default="")
    asked = parser.parse_args()
    scenes: Scenes = importlib.import_module(f"tests.{asked.room}.test_recorded").SCENES
    print(written({name: made for name, made in scenes.items() if asked.named in name}))


if __name__ == "__main__":
    main()
