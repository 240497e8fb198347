"""Crystals drawn as shapes: arms united, axils filled until the land in them is wide enough, proven, mended."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy.spatial import cKDTree

from carvegen import geometry
from carvegen.base.progress import reached
from carvegen.geometry.necks import necks
from carvegen.motifs.frost.branching import BranchingHabit, radius_at
from carvegen.motifs.shared.strokes import Strokes, drawn

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )
    from carvegen.motifs.frost.arms import Arms
    from carvegen.motifs.frost.crystals import Thicket

__all__ = ["IceBed", "iced"]

_EVERY = 2  #: every so many points of an arm become corners
_SAG_MM = 0.004  #: outlines may be simplified by so much
_SMOOTH = 0.01  #: GEOS smooths an outline by up to this share of the offset before it offsets it
_MENDS = 12
_STOPPED = 0.3  #: of its planned length: a feather that others stopped short of it is left out
_QUADS = 12
_HAIR_MM = 0.01  #: what is filled beside a stem is broader than twice this


@dataclass(frozen=True, kw_only=True, eq=False)
class IceBed:
    """Where the crystals lie, and what must hold."""

    region: BaseGeometry  #: they lie in it, mm
    land: float  #: between any two of them, and in their inlets
    cut: float  #: no part of a crystal is narrower
    open_feet: bool  #: feet open to what lies outside the region, else they end inside
    stems: PolygonArray = field(default_factory=geometry.empty)  #: ice beside the region on which crystals may grow on
    joints: BaseGeometry = field(default_factory=shapely.Polygon)  #: about feet on stems: narrow land there counts not
    clear: BaseGeometry = field(default_factory=shapely.Polygon)  #: crystals keep out of it, though it is land


def iced(thicket: Thicket, bed: IceBed) -> PolygonArray:
    """The crystals as disjoint polygons on the grid; no land between or inside them is narrower than asked.

    Arms that spring from one another leave an axil, in which the land runs to nothing. It is filled by the
    closing with a disc of the land's width (source: serra-1982), which brings no crystal nearer to another than the
    land. What is left is measured exactly; the smaller arm at each narrow place is taken away, until none is left: what
    has changed is drawn and measured again, with what lies beside it.
    """
    stays = _worth(thicket.arms, thicket.habit)
    knob = _roomy_knobs(thicket, stays)
    shapes, crystal = _drawn(thicket, stays, knob, bed)
    reached(0.45)
    asked = np.arange(len(shapes))
    for _ in range(_MENDS):
        faulty = _at_fault(thicket, stays, _narrow_places(shapes[asked], bed))
        if len(faulty) == 0:
            return shapes
        stays &= ~_with_branches(thicket.arms, faulty)
        changed = np.unique(thicket.arms.crystal[faulty])
        fresh, fresh_crystal = _drawn(thicket, stays & np.isin(thicket.arms.crystal, changed), knob, bed)
        left = ~np.isin(crystal, changed)
        shapes, crystal = np.concatenate([fresh, shapes[left]]), np.concatenate([fresh_crystal, crystal[left]])
        asked = np.unique(shapely.STRtree(shapes).query(fresh, predicate="dwithin", distance=2 * bed.land)[1])
    return _sound(shapes, bed)


def _worth(arms: Arms, habit: BranchingHabit) -> Mask:
    """Arms long enough to show, and whose mothers are; no feathers that others stopped as they began.

    Nor those that spring from a tip: they would make an elbow of it.
    """
    mother = np.maximum(arms.parent, 0)
    at_root = radius_at(habit, arms, mother, arms.sprung_at, arms.length[mother])
    least = np.where(arms.parent >= 0, 1.15 * habit.shortest + at_root, 0.7 * habit.shortest)
    stopped = (arms.parent < 0) & (arms.length < np.minimum(_STOPPED * arms.planned, 3.5 * habit.apart))
    elbow = (arms.parent >= 0) & (arms.sprung_at > 0) & (arms.sprung_at > arms.length[mother] - habit.least)
    least = np.where(stopped | elbow, np.inf, least)
    return ~_with_branches(arms, np.flatnonzero(arms.length < least))


def _with_branches(arms: Arms, which: Indices) -> Mask:
    """The arms `which`, and all that spring from them."""
    gone = np.zeros(len(arms), dtype=bool)
    gone[which] = True
    while True:
        more = gone | (gone[arms.parent] & (arms.parent >= 0))
        if (more == gone).all():
            return gone
        gone = more


def _drawn(thicket: Thicket, chosen: Mask, knob: Floats, bed: IceBed) -> tuple[PolygonArray, Indices]:
    """The outlines of the chosen arms, and the crystal of each."""
    strokes = _strokes(thicket, chosen, knob, bed.open_feet)
    if len(strokes) == 0:
        return geometry.empty(), np.empty(0, dtype=np.int64)
    first = np.flatnonzero(np.diff(strokes.line, prepend=-1))
    arms = drawn(strokes, first, np.append(first[1:], len(strokes)) - 1)
    crystals, owner = np.unique(thicket.arms.crystal[strokes.line[first]], return_inverse=True)
    pieces, whole = _closed(_united(arms, owner), thicket.habit.land, bed)
    return pieces, crystals[whole]


def _strokes(thicket: Thicket, chosen: Mask, knobs: Floats, open_feet: bool) -> Strokes:
    """The arms' axes, fewer points where they run straight, tapering to the length they have reached."""
    arms, trail = thicket.arms, thicket.trail
    point = np.flatnonzero(trail.arm[: trail.count] >= 0)
    point = point[chosen[trail.arm[point]]]
    point = point[np.lexsort((trail.along[point], trail.arm[point]))]
    arm, along = trail.arm[point], trail.along[point]
    number = np.rint(along / thicket.habit.step)
    last = np.append(arm[1:] != arm[:-1], True)
    knob = knobs[arm]
    to_tip = arms.length[arm] - along
    kept = (number % _EVERY == 0) | last | (to_tip < 8 * knob)
    knob, to_tip = knob[kept], to_tip[kept]
    point, arm, along = point[kept], arm[kept], along[kept]
    foot = (along == 0) & (arms.parent[arm] < 0) & ~thicket.crystals.loose[arms.crystal[arm]] & open_feet
    under = np.where(foot, 1.5 * arms.root[arm], 0.0)
    xy = trail.xy[point] - under[:, None] * _ahead(thicket.crystals.square[arms.crystal[arm]])
    size = thicket.habit.least + knob
    plate = knob * np.exp(-(((to_tip - 1.3 * size) / (1.2 * size)) ** 2))
    return Strokes(xy, arm, radius_at(thicket.habit, arms, arm, along - under, arms.length[arm]) + plate)


def _roomy_knobs(thicket: Thicket, chosen: Mask) -> Floats:
    """The knobs of the chosen arms whose tips are far enough from whatever grows beside them; else 0; (arms,)."""
    arms, trail, habit = thicket.arms, thicket.trail, thicket.habit
    knob = np.zeros(len(arms))
    asks = np.flatnonzero(chosen & (arms.knob > 0) & (arms.length > 2.5 * habit.apart))
    if len(asks) == 0:
        return knob
    point = np.flatnonzero((trail.arm[: trail.count] < 0) | chosen[trail.arm[: trail.count]])
    reach = habit.step + 2.3 * (habit.least + arms.knob[asks]) + habit.land + trail.widest
    near = cKDTree(trail.xy[point]).query_ball_point(arms.tip[asks], reach)
    free = [bool((trail.arm[point[neighbours]] == arm).all()) for arm, neighbours in zip(asks, near, strict=True)]
    knob[asks[free]] = arms.knob[asks[free]]
    return knob


def _ahead(angle: Floats) -> Floats:
    return np.column_stack([np.cos(angle), np.sin(angle)])


def _united(shapes: PolygonArray, owner: Indices) -> PolygonArray:
    """One shape an owner, numbered from 0 without gaps."""
    order = np.argsort(owner, kind="stable")
    ends = np.searchsorted(owner[order], np.arange(int(owner.max(initial=-1)) + 2))
    return geometry.polygon_array(
        shapely.union_all(shapes[order[a:b]]) if b - a > 1 else shapes[order[a]] for a, b in pairwise(ends.tolist())
    )


def _closed(ice: PolygonArray, land: float, bed: IceBed) -> tuple[PolygonArray, Indices]:
    """Axils filled and, where feet are open, what lies outside the region cut off; which crystal each piece is of."""
    half = land / 2 * (1 + _SMOOTH)
    filled = geometry.offset(geometry.offset(ice, half, quad_segs=_QUADS), -half, quad_segs=_QUADS)
    filled = shapely.simplify(filled, _SAG_MM)
    if len(bed.stems):
        clipped = _on_stems(shapely.difference(filled, bed.clear), half, bed)
    else:
        clipped = shapely.intersection(filled, bed.region)
    snapped = [geometry.parts(shape) for shape in shapely.set_precision(clipped, geometry.GRID_MM).tolist()]
    whole = np.repeat(np.arange(len(ice)), [len(parts) for parts in snapped])
    pieces = geometry.filled(geometry.stack(snapped))
    kept: Mask = ~shapely.is_empty(_shrunk(pieces, bed))
    return pieces[kept], whole[kept]


def _on_stems(ice: PolygonArray, half: float, bed: IceBed) -> PolygonArray:
    """The crystals in the region, their feet in the stems beside it, axils between both filled."""
    with_stems = _with_stems(ice, bed)
    filled = geometry.offset(geometry.offset(with_stems, half, quad_segs=_QUADS), -half, quad_segs=_QUADS)
    beside = shapely.difference(filled, shapely.union_all(np.concatenate([bed.stems, ice])))
    beside = geometry.offset(geometry.offset(beside, -_HAIR_MM), _HAIR_MM + geometry.GRID_MM)
    return np.asarray(shapely.intersection(shapely.union(ice, beside), geometry.union(bed.region, *bed.stems)))


def _with_stems(ice: PolygonArray, bed: IceBed) -> PolygonArray:
    """The crystals, each as one with so much of the stem it grows on as lies about its foot."""
    grows, on = shapely.STRtree(bed.stems).query(ice, predicate="intersects") if len(bed.stems) else (np.empty(0),) * 2
    ice = ice.copy()
    for k in np.unique(grows).tolist():
        stems = bed.stems[on[grows == k]]
        feet = shapely.buffer(shapely.intersection(ice[k], shapely.union_all(stems)), 2 * bed.land, quad_segs=2)
        ice[k] = geometry.solid(shapely.union_all([ice[k], *shapely.intersection(stems, feet)]))
    return ice


def _shrunk(shapes: PolygonArray, bed: IceBed) -> PolygonArray:
    """Where the middle of a disc as wide as the cut can be."""
    return geometry.offset(shapes, -bed.cut / 2, quad_segs=_QUADS)


def _narrow_places(shapes: PolygonArray, bed: IceBed) -> Floats:
    """Pairs of points on both sides of each place where the land or a crystal is too narrow; (n, 2, 2)."""
    lands = necks(_land(shapes, bed), bed.land)
    if len(bed.stems) and len(lands):  # the region may be narrow by itself
        near = shapely.STRtree(shapes)
        i, j = (near.query(geometry.dots(end), predicate="dwithin", distance=2 * geometry.GRID_MM)[0]
                for end in (lands.start, lands.end))  # fmt: skip
        own = np.union1d(i, j)
        lands = lands.chosen(own[~shapely.contains_xy(bed.joints, lands.start[own, 0], lands.start[own, 1])])
    shrunk = _shrunk(shapes, bed)
    pinches = [_pinch(shape) for shape in shrunk[shapely.get_num_geometries(shrunk) > 1].tolist()]
    return np.concatenate([np.stack([lands.start, lands.end], axis=1), np.reshape(pinches, (-1, 2, 2))])


def _pinch(shrunk: BaseGeometry) -> Floats:
    """The ends of the shortest way from one part to the others."""
    one, *others = shapely.get_parts(shrunk)
    return shapely.get_coordinates(shapely.shortest_line(one, shapely.union_all(others)))


def _at_fault(thicket: Thicket, stays: Mask, places: Floats) -> Indices:
    """At each narrow place, the smaller of the arms there."""
    arms, trail = thicket.arms, thicket.trail
    point = np.flatnonzero(trail.arm[: trail.count] >= 0)
    point = point[stays[trail.arm[point]]]
    if len(places) == 0 or len(point) == 0:
        return np.empty(0, dtype=np.int64)
    near = trail.arm[point[cKDTree(trail.xy[point]).query(places)[1]]]
    order, length = arms.order[near], arms.length[near]
    worse = (order[:, 1] > order[:, 0]) | ((order[:, 1] == order[:, 0]) & (length[:, 1] < length[:, 0]))
    return np.unique(near[np.arange(len(near)), worse.astype(int)])


def _sound(shapes: PolygonArray, bed: IceBed) -> PolygonArray:
    """The crystals without those that still have a narrow place, or lie beside one."""
    edges = geometry.dots(_narrow_places(shapes, bed).reshape(-1, 2))
    beside = shapely.STRtree(shapes).query(edges, predicate="dwithin", distance=2 * geometry.GRID_MM)[1]
    good: Mask = shapely.get_num_geometries(_shrunk(shapes, bed)) == 1
    good[beside] = False
    return shapes[good]


def _land(shapes: PolygonArray, bed: IceBed) -> geometry.Rings:
    """The outlines of the land, land on the left."""
    inner = np.asarray(shapely.contains_properly(bed.region, shapes), dtype=bool)
    around = geometry.reversed_rings(geometry.rings(shapes[inner]))
    if not bed.open_feet:
        return geometry.reversed_rings(geometry.rings(shapes))
    opened = geometry.parts(shapely.difference(bed.region, shapely.union_all(shapes[~inner])))
    return geometry.stacked(geometry.rings(opened), around)
