"""Stems across a gap in the frost: from a stub to what hung on it, by another course each time, clear of all else."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.branching import SIXTY
from carvegen.motifs.frost.contours import Contour
from carvegen.motifs.frost.seeding import sown

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import Floats, PolygonArray
    from carvegen.motifs.frost.crystals import Thicket
    from carvegen.motifs.frost.growing import Pane
    from carvegen.motifs.frost.seeding import Sowing
    from carvegen.motifs.frost.stubs import Bridge, Stub

__all__ = ["NEAR", "PER_MM", "bridge", "feet", "on_stubs"]

PER_MM = 0.034  #: radius above the least for each mm of an arm, as feathers have it
_TRIES = 24  #: of a bridge, until one is clear
_SWAY = 0.16  #: of its length, how far a bridge swings out at most
_FAR = 4.0  #: distances of two thin arms: nearer ends are not bridged, both grow on
_SHORT_PATH = 1.5  #: a stem that could grow so many times as far as its bridge forks
NEAR = 3.0  #: breadths about its ends in which a bridge may touch what is there


def on_stubs(pane: Pane) -> Sowing:
    """What crystals share that grow on stubs: their feet are open."""
    return replace(pane.sowing, inset_mm=None)


def feet(stubs: tuple[Stub, ...]) -> Contour:
    """The stubs as places where crystals may start."""
    ahead = np.array([stub.ahead for stub in stubs])
    return Contour(np.array([stub.at for stub in stubs]), ahead, ahead, np.zeros(len(stubs), dtype=bool))


def bridge(
    thicket: Thicket, pane: Pane, bridges: tuple[Bridge, ...], rng: Generator, *, fixed: PolygonArray, middle: Floats
) -> list[Stub]:
    """Stems across the mark to what would hang in the air, with branches of their own; stubs without one."""
    taken = list(fixed)
    every: dict[int, Floats] = {}
    without: list[Stub] = []
    grown_by, stems = Crystals.none(), Arms.none()
    for gap in sorted(bridges, key=lambda gap: -gap.root.half):
        tip, *more = gap.tips
        path = _path(pane, gap.root, tip, taken, rng)
        if path is None:
            without.append(gap.root)
            continue
        paths, parent, sprung = [path], [-1], [0.0]
        root, end = [max(gap.root.half, pane.least)], [max(tip.half - pane.least, 1e-6)]
        taken.append(shapely.LineString(path).buffer(max(root[0], tip.half)))
        for side in more:
            if (branching := _side_path(pane, path, side, taken, rng, root=gap.root, half=root[0])) is None:
                continue
            along, branch = branching
            paths.append(branch)
            parent.append(0)
            sprung.append(along)
            root.append(max(min(1.1 * side.half, 0.8 * root[0]), pane.least))
            end.append(max(side.half - pane.least, 1e-6))
            taken.append(shapely.LineString(branch).buffer(max(root[-1], side.half)))
        crystals, arms = _led(pane, gap.root, paths, rng, parent=parent, sprung=sprung, root=root, end=end)
        arms = _with_fork(pane, gap.root, crystals, arms, rng, path=path, middle=middle)
        every |= {len(stems) + k: path for k, path in enumerate(paths)}
        mothers = np.where(arms.parent < 0, -1, arms.parent + len(stems))
        stems = stems.with_more(replace(arms, crystal=arms.crystal + len(grown_by), parent=mothers))
        grown_by = grown_by.with_more(crystals)
    thicket.grow(grown_by, stems, every)
    return without


def _with_fork(
    pane: Pane, stub: Stub, crystals: Crystals, arms: Arms, rng: Generator, *, path: Floats, middle: Floats
) -> Arms:
    """The arms, and from a stout stem whose path is short a feather of its own, towards the middle of the mark."""
    planned = min((stub.half - pane.least) / PER_MM * float(np.exp(rng.normal(0, 0.2))), pane.settings.reach_mm)
    if planned < _SHORT_PATH * pane.step * len(path):
        return arms
    at = int(0.4 * len(path))
    ahead = path[min(at + 1, len(path) - 1)] - path[max(at - 1, 0)]
    away = middle - path[at]
    side = 1 if ahead[0] * away[1] - ahead[1] * away[0] > 0 else -1
    lattice = crystals.turned_at(np.array([0]), path[[at]])[0]
    fork = replace(
        arms.chosen(np.array([0])), parent=np.array([0]), side=np.array([side]), sprung_at=np.array([at * pane.step]),
        turn=np.array([np.arctan2(ahead[1], ahead[0]) + side * SIXTY - lattice]), planned=np.array([planned]),
        root=np.array([max(0.85 * stub.half, pane.least)]), end=np.zeros(1), tip=path[[at]],
    )  # fmt: skip
    return arms.with_more(fork)


def _led(
    pane: Pane, stub: Stub, paths: list[Floats], rng: Generator, *, parent: list[int], sprung: list[float],
    root: list[float], end: list[float],
) -> tuple[Crystals, Arms]:  # fmt: skip
    """One crystal whose arms follow the paths."""
    count = len(paths)
    length = np.array([pane.step * (len(path) - 1) + 1e-6 for path in paths])
    crystals, arms = sown(on_stubs(pane), feet((stub,) * count), np.arange(count), length, rng, splay=0.0, shy=0.0)
    first = Crystals(*(getattr(crystals, name)[:1] for name in Crystals.__dataclass_fields__))
    return first, replace(
        arms, crystal=np.zeros(count, dtype=np.int64), parent=np.array(parent), sprung_at=np.array(sprung),
        side=np.where(np.array(parent) < 0, 0, 1), root=np.array(root), end=np.array(end),
        phase=np.full(count, -np.pi / 2), curl=np.zeros(count), coil=np.zeros(count), chance=np.zeros(count),
        knob=np.zeros(count), tip=np.array([path[0] for path in paths]), shy=np.ones(count),
    )  # fmt: skip


def _path(
    pane: Pane, root: Stub, tip: Stub, taken: list[BaseGeometry], rng: Generator, *, foot_mm: float = 0.0
) -> Floats | None:
    """Points a step apart from one stub to the other, by another course each time, clear of what is there."""
    far = float(np.hypot(*(tip.at - root.at)))
    half = max(root.half, tip.half, pane.least)
    if far < _FAR * pane.habit.apart + 2 * half:
        return None
    ends = shapely.buffer(
        geometry.dots(np.array([root.at, tip.at])), [NEAR * (root.half + pane.habit.apart) + foot_mm,
                                                    NEAR * (tip.half + pane.habit.apart)],
    )  # fmt: skip
    about = shapely.difference(shapely.union_all(taken), shapely.union_all(ends))
    shapely.prepare(about)
    for k in range(_TRIES):
        swing = _SWAY * (1 - k / _TRIES) * rng.uniform(-1, 1)
        path = _course(root, tip, swing=swing, pull=rng.uniform(0.7, 1.3, 2), step=pane.step)
        line = shapely.LineString(path)
        if not shapely.dwithin(about, line, half + pane.land):
            return path
    return None


def _course(root: Stub, tip: Stub, *, swing: float, pull: Floats, step: float) -> Floats:
    """A cubic from stub to stub that leaves and meets them straight and swings out by a share of the distance."""
    far = float(np.hypot(*(tip.at - root.at)))
    t = np.linspace(0, 1, max(int(8 * far / step), 16))[:, None]
    start, end = far * pull[0] * root.ahead, -far * pull[1] * tip.ahead
    curve = (
        (2 * t**3 - 3 * t**2 + 1) * root.at + (t**3 - 2 * t**2 + t) * start
        + (3 * t**2 - 2 * t**3) * tip.at + (t**3 - t**2) * end
    )  # fmt: skip
    chord = (tip.at - root.at) / max(far, 1e-9)
    curve = curve + swing * far * np.sin(np.pi * t) ** 2 * np.array([-chord[1], chord[0]])
    beyond = curve[-1] - tip.ahead * (tip.half + step)
    line = shapely.LineString(np.vstack([curve, beyond]))
    places = np.arange(0, float(shapely.length(line)), step)
    return np.round(shapely.get_coordinates(shapely.line_interpolate_point(line, places)), 3)


def _side_path(
    pane: Pane, trunk: Floats, tip: Stub, taken: list[BaseGeometry], rng: Generator, *, root: Stub, half: float
) -> tuple[float, Floats] | None:
    """Where along the trunk a side-stem springs that leads to a stub, and the points on it."""
    ahead = np.gradient(trunk, axis=0)
    ahead /= np.maximum(np.hypot(*ahead.T), 1e-9)[:, None]
    away = tip.at - trunk
    far = np.hypot(*away.T)
    turned = ahead[:, 0] * away[:, 1] - ahead[:, 1] * away[:, 0]
    angle = np.arctan2(np.abs(turned), (ahead * away).sum(axis=1))
    margin = int(2 * pane.habit.apart / pane.step)
    fit = np.abs(angle - SIXTY * rng.uniform(0.7, 1.0)) + 0.01 * far
    fit[:margin] = fit[len(fit) - margin :] = np.inf
    at = int(np.argmin(fit))
    if not np.isfinite(fit[at]) or far[at] < pane.habit.shortest:
        return None
    side = np.sign(turned[at])
    turn = min(SIXTY, float(angle[at]) + 0.2) * side
    leaves = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]]) @ ahead[at]
    start = replace(root, at=trunk[at], ahead=leaves, half=min(1.1 * tip.half, half))
    path = _path(pane, start, tip, taken, rng, foot_mm=half)
    return None if path is None else (at * pane.step, path)
