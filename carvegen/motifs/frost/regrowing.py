"""Frost that grows again in a region: on from the stubs round it and from the pane's edge, joined to what is there."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.frost.arms import Arms, Crystals
from carvegen.motifs.frost.branching import SIXTY
from carvegen.motifs.frost.contours import Contour
from carvegen.motifs.frost.crystals import Thicket
from carvegen.motifs.frost.growing import Pane, region_of, with_feathers, with_more
from carvegen.motifs.frost.ice import iced
from carvegen.motifs.frost.seeding import sown
from carvegen.motifs.frost.stubs import Severed, severed

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.motifs.frost.seeding import Sowing
    from carvegen.motifs.frost.settings import Settings
    from carvegen.motifs.frost.stubs import Bridge, Stub
    from carvegen.motifs.growth import Place

__all__ = ["Regrown", "regrown"]

_DEPTH_MM, _DEPTH = 1.5, 0.25  #: what reaches less into the region stays; no more than so much of its largest disc
_OUT = 0.5  #: of the flake: so far beyond the region arms may end
_TRIES = 24  #: of a bridge, until one is clear
_SWAY = 0.16  #: of its length, how far a bridge swings out at most
_PER_MM = 0.034  #: radius above the least for each mm of an arm, as feathers have it
_SHORT = 0.3  #: of a feather: a usual side-branch
_ASLANT = 2.3  #: of its half-breadth: so far ahead the end of a stub may reach at one side
_SHORT_WAY = 1.5  #: a stem that could grow so many times as far as its bridge forks
_AT_MM = 0.02  #: something stands on a stub if it is so near to its middle
_SHORT_EDGE, _FANS = 2.0, 3  #: an edge that is no longer, in feathers, has hardly a fan; so often more are sown
_FAR = 4.0  #: distances of two thin arms: nearer ends are not bridged, both grow on
_NEAR = 3.0  #: breadths about its ends in which a bridge may touch what is there


@dataclass(frozen=True, kw_only=True, eq=False)
class Regrown:
    """What there is after a region of the frost has grown again."""

    ice: PolygonArray  #: what has stayed
    new: PolygonArray  #: what has grown; it abuts on the stubs it grows from
    ends: PolygonArray  #: lines where what stays was cut and nothing has grown on


def regrown(
    ice: PolygonArray, others: PolygonArray, *, mark: BaseGeometry, zone: BaseGeometry, settings: Settings,
    place: Place, limits: Limits, rng: Generator, flake_mm: float,
) -> Regrown:  # fmt: skip
    """Crystals with what lies in the mark grown anew, and nothing changed outside the zone.

    Parameters
    ----------
    ice
        The crystals that meet the mark.
    others
        All other white that arms keep a land from.
    flake_mm
        The zone is wider than the mark by this and a land.
    """
    pane_region = region_of(settings, place)
    mark = geometry.solid(shapely.intersection(mark, pane_region))
    edges = shapely.boundary(pane_region if len(place.shapes) == 0 else shapely.union_all(place.shapes))
    widest: Any = mark
    room = 0.0 if shapely.is_empty(mark) else float(shapely.length(shapely.maximum_inscribed_circle(widest)))
    left = severed(
        ice, mark, zone, edges, depth_mm=min(_DEPTH_MM, _DEPTH * room), least_mm=limits.cut_mm - 2 * geometry.GRID_MM
    )
    fixed = np.concatenate([left.ice, others[shapely.intersects(others, zone)] if len(others) else others])
    region = geometry.solid(shapely.difference(shapely.intersection(zone, pane_region), shapely.union_all(fixed)))
    if shapely.is_empty(region):
        return Regrown(ice=left.ice, new=geometry.empty(), ends=_cut_ends(left, geometry.empty()))

    behind = _behind(left, limits)
    shapely.prepare(behind)

    def density(xy: Floats) -> Floats:
        away = shapely.distance(mark, geometry.dots(xy))
        share = np.clip(1 - away / (_OUT * flake_mm), 0, 1) * ~shapely.contains_xy(behind, xy[:, 0], xy[:, 1])
        return np.asarray(place.density_at(xy) * share)

    feet = shapely.intersection(edges, shapely.buffer(mark, 10 * geometry.GRID_MM))
    pane = Pane(settings, replace(place, density=density), limits, region, edges=feet)
    joints = shapely.union_all([shapely.buffer(stub.end, 1.5 * pane.land) for stub in left.stubs])
    bed = replace(pane.bed, open_feet=True, stems=left.ice, clear=behind, joints=joints)
    branching, bridging, going_on, fans, *others_rng = rng.spawn(7)
    walls = pane.walls[~_at_stubs(pane, pane.walls, left)]
    thicket = Thicket(pane.habit, walls, branching, wall_gap=pane.land, open_feet=True)
    middle = shapely.get_coordinates(shapely.centroid(mark))[0]
    unbridged = _bridge(thicket, pane, left.bridges, bridging, fixed=fixed, middle=middle)
    _grow_on(thicket, pane, (*left.open, *unbridged), going_on)
    short = len(pane.edge) * pane.spacing < _SHORT_EDGE * settings.feather_mm
    for fan in fans.spawn(_FANS if short and len(pane.edge) else 0):
        with_feathers(thicket, pane, fan)
    new = iced(with_more(thicket, pane, *others_rng), bed)
    return Regrown(ice=left.ice, new=new, ends=_cut_ends(left, new))


def _behind(left: Severed, limits: Limits) -> BaseGeometry:
    """The land beside stubs: what grows on from them begins where they end."""
    by = limits.land_mm + limits.cut_mm
    about = shapely.union_all([stub.behind(2 * stub.half + by) for stub in left.stubs])
    return geometry.solid(shapely.difference(about, shapely.union_all(left.ice)))


def _at_stubs(pane: Pane, xy: Floats, left: Severed) -> Mask:
    """Points of outlines where what grows on from a stub passes, or comes to one."""
    there = np.zeros(len(xy), dtype=bool)
    for stub in left.stubs:
        away = xy - stub.at
        along, across = away @ stub.ahead, np.abs(away @ np.array([-stub.ahead[1], stub.ahead[0]]))
        deep = _NEAR * (stub.half + pane.habit.apart)
        there |= (along > -deep) & (along < _ASLANT * stub.half + pane.least) & (across < stub.half + pane.land / 2)
    return there


def _cut_ends(left: Severed, new: PolygonArray) -> PolygonArray:
    """The ends of stubs on which nothing stands."""
    at = [shapely.Point(stub.at) for stub in left.stubs]
    bare = [stub.end for stub, here in zip(left.stubs, at, strict=True) if not shapely.dwithin(new, here, _AT_MM).any()]
    return np.array(bare, dtype=object)


def _grow_on(thicket: Thicket, pane: Pane, stubs: tuple[Stub, ...], rng: Generator) -> None:
    """Feathers and branches that grow on from stubs, the stoutest first."""
    stubs = tuple(sorted(stubs, key=lambda stub: -stub.half))
    if not stubs:
        return
    half = np.maximum([stub.half for stub in stubs], pane.least)
    large = (half - pane.least) / _PER_MM
    usual = _SHORT * pane.settings.feather_mm * np.exp(rng.normal(0, 0.4, len(stubs)))
    planned = np.clip(np.maximum(large, usual), 3 * pane.habit.shortest, pane.settings.reach_mm)
    stem = large > usual
    for lot in (np.flatnonzero(stem), np.flatnonzero(~stem)):
        crystals, arms = sown(_on_stubs(pane), _feet(stubs), lot, planned[lot], rng, splay=0.12, shy=0.0)
        thicket.grow(crystals, replace(
            arms, root=half[lot], phase=np.full(len(lot), -np.pi / 2), order=np.where(stem[lot], 0, 1),
            chance=0.5 * rng.random(len(lot)),
        ))  # fmt: skip


def _on_stubs(pane: Pane) -> Sowing:
    return replace(pane.sowing, inset_mm=None)


def _feet(stubs: tuple[Stub, ...]) -> Contour:
    ahead = np.array([stub.ahead for stub in stubs])
    return Contour(np.array([stub.at for stub in stubs]), ahead, ahead, np.zeros(len(stubs), dtype=bool))


def _bridge(
    thicket: Thicket, pane: Pane, bridges: tuple[Bridge, ...], rng: Generator, *, fixed: PolygonArray, middle: Floats
) -> list[Stub]:
    """Stems across the mark to what would hang in the air, with branches of their own; stubs without one."""
    taken = list(fixed)
    every: dict[int, Floats] = {}
    without: list[Stub] = []
    grown_by, stems = Crystals.none(), Arms.none()
    for bridge in sorted(bridges, key=lambda its: -its.root.half):
        tip, *more = bridge.tips
        path = _path(pane, bridge.root, tip, taken, rng)
        if path is None:
            without.append(bridge.root)
            continue
        paths, parent, sprung = [path], [-1], [0.0]
        root, end = [max(bridge.root.half, pane.least)], [max(tip.half - pane.least, 1e-6)]
        taken.append(shapely.LineString(path).buffer(max(root[0], tip.half)))
        for side in more:
            if (found := _side_path(pane, path, side, taken, rng, root=bridge.root, half=root[0])) is None:
                continue
            along, branch = found
            paths.append(branch)
            parent.append(0)
            sprung.append(along)
            root.append(max(min(1.1 * side.half, 0.8 * root[0]), pane.least))
            end.append(max(side.half - pane.least, 1e-6))
            taken.append(shapely.LineString(branch).buffer(max(root[-1], side.half)))
        crystals, arms = _led(pane, bridge.root, paths, rng, parent=parent, sprung=sprung, root=root, end=end)
        arms = _with_fork(pane, bridge.root, crystals, arms, rng, path=path, middle=middle)
        every |= {len(stems) + k: its for k, its in enumerate(paths)}
        mothers = np.where(arms.parent < 0, -1, arms.parent + len(stems))
        stems = stems.with_more(replace(arms, crystal=arms.crystal + len(grown_by), parent=mothers))
        grown_by = grown_by.with_more(crystals)
    thicket.grow(grown_by, stems, every)
    return without


def _with_fork(
    pane: Pane, stub: Stub, crystals: Crystals, arms: Arms, rng: Generator, *, path: Floats, middle: Floats
) -> Arms:
    """The arms, and from a stout stem whose way is short a feather of its own, towards the middle of the mark."""
    planned = min((stub.half - pane.least) / _PER_MM * float(np.exp(rng.normal(0, 0.2))), pane.settings.reach_mm)
    if planned < _SHORT_WAY * pane.step * len(path):
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
    crystals, arms = sown(_on_stubs(pane), _feet((stub,) * count), np.arange(count), length, rng, splay=0.0, shy=0.0)
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
        geometry.dots(np.array([root.at, tip.at])), [_NEAR * (root.half + pane.habit.apart) + foot_mm,
                                                    _NEAR * (tip.half + pane.habit.apart)],
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
