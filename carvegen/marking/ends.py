"""Ends where a mark cuts a motif back: ragged and round, run out thin, or settled like snow; never a straight cliff."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
import shapely.affinity

from carvegen import geometry
from carvegen.motifs.shared.fields import noise_at
from carvegen.motifs.shared.minimum_width import closed, opened

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely import Polygon
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask, PolygonArray

__all__ = ["LITTLE", "Habit", "cut_back", "habit_of", "left_alone", "lowered", "ragged", "raised", "room", "with_above"]

_STEPS = 48  #: levels in which an end is run out
_LIFTS = 16  #: levels in which a heap is raised
_ALONG_MM = 0.4  #: discs of a ragged edge stand so near to one another
_ARC = 8
_RAGGED = 0.25  #: of a flake: how far a ragged edge swells at most
_LONG = 0.5  #: of a flake: how far an end runs on at most
_ABOVE = 0.25  #: of a flake: so high what lies on things is cut back with what bore it;
_HOVERS = 0.6  #: so high or low what is left over or under that goes whole, if it is
LITTLE = 0.35  #: less than this share of all: a shape of which no more is left goes whole
_SLACK_MM = 0.01
_SPARE_MM = 0.04  #: so much more is asked than must hold: arcs are polygons
_CRUMB = 1.5  #: smaller pieces than so many cuts squared are left out


@dataclass(frozen=True, kw_only=True)
class Habit:
    """How the shapes of a motif lie and end."""

    flake_mm: float  #: no change reaches further beyond a mark than this and a land
    whole: bool = False  #: shapes go whole, as flakes do; others are cut back
    settles: bool = False  #: it lies on things: an end falls from above, and its foot stays
    springs: bool = False  #: it grows from an edge, as branches do
    long: float = 1.0  #: how far an end runs on, in half-breadths of the shape


def habit_of(motif: str, settings: Any) -> Habit:  # noqa: ANN401
    """The habit of a motif with its settings; what is not known falls in flakes."""
    if motif == "snowload":
        return Habit(flake_mm=max(4.0, 2 * settings.fallen_mm), settles=True, long=3.0)
    if motif in ("grain", "frost"):
        return Habit(flake_mm=6.0, springs=motif == "frost", long=6.0 if motif == "grain" else 4.0)
    return Habit(flake_mm=getattr(settings, "largest_mm", 6.0), whole=True)


def ragged(region: BaseGeometry, habit: Habit, rng: Generator) -> BaseGeometry:
    """The region and a strip beyond it that swells and ebbs, by at most a quarter of a flake."""
    line = shapely.segmentize(shapely.boundary(region), _ALONG_MM)
    xy = shapely.get_coordinates(line)
    swell = 0.5 + 0.5 * np.clip(noise_at(xy, rng, patch_mm=0.8 * habit.flake_mm, octaves=2), -0.9, 1)
    discs = shapely.buffer(geometry.dots(xy), _RAGGED * habit.flake_mm * swell, quad_segs=_ARC)
    return geometry.solid(shapely.union_all([region, *discs]))


def with_above(region: BaseGeometry, shape: Polygon, habit: Habit) -> BaseGeometry:
    """The region, and what of a shape lies on what it takes of it, if it lies on things: no higher than that is thick.

    So a strip along a fir's flank goes on beyond the region, and a low heap does not hover above it.
    """
    if not habit.settles:
        return region
    above = [region]
    for taken in geometry.parts(shapely.intersection(shape, region)):
        over = _swept(taken, min(_ABOVE * habit.flake_mm, 2 * room(taken)))
        gaps = geometry.parts(shapely.difference(over, shape))
        gaps = gaps[shapely.area(gaps) > _SLACK_MM**2]  # what is above a gap lies on something else
        above.append(shapely.difference(over, _swept(geometry.union(gaps), _ABOVE * habit.flake_mm)))
    return geometry.solid(shapely.union_all(above))


def left_alone(rest: PolygonArray, shape: Polygon, region: BaseGeometry, habit: Habit) -> Mask:
    """Which pieces of a shape are a little of it just over or under what the region takes, hovering or a sliver; (n,).

    Only if they lie on things: others end where they are cut back.
    """
    if not habit.settles or len(rest) == 0:
        return np.zeros(len(rest), dtype=bool)
    taken = geometry.solid(shapely.intersection(shape, region))
    high = min(_HOVERS * habit.flake_mm, 2 * room(taken))
    over, under = _swept(taken, high), _swept(taken, -high)
    little = shapely.area(rest) < LITTLE * shapely.area(shape)
    return np.asarray(little & (shapely.covers(over, rest) | shapely.covers(under, rest)))


def _swept(region: BaseGeometry, by: float) -> BaseGeometry:
    """The region and all that lies above it, so far up; below it, if that is negative."""
    rings = geometry.rings(geometry.parts(region))
    low, high = rings.xy, rings.xy[rings.edge_ends]
    up = np.array([0.0, by])
    over = np.asarray(shapely.polygons(np.stack([low, high, high + up, low + up], axis=1)), dtype=object)
    over = over[shapely.area(over) > 0]
    moved = geometry.moved(geometry.parts(region), (0, by))
    return geometry.solid(shapely.union_all([region, *over, *moved]))


def cut_back(shape: Polygon, bite: BaseGeometry, habit: Habit, limits: Limits) -> PolygonArray:
    """What stays of a shape out of which `bite` is taken, its new ends run out; beyond a flake it is as it was."""
    near, thick = _near(shape, bite, habit)
    long = min(habit.long * thick / 2, _LONG * habit.flake_mm)
    return _run_out(shape, bite, _profile(long, thick, habit), habit, limits, near=near)


def lowered(shape: Polygon, mark: BaseGeometry, share: float, habit: Habit, limits: Limits) -> PolygonArray:
    """The shape thinner by a share inside the mark, and as it was at its rim."""
    near, thick = _near(shape, mark, habit)
    deep = max(min(0.9 * room(mark), _LONG * habit.flake_mm), _SLACK_MM)
    inner = shapely.buffer(mark, -deep, quad_segs=_ARC)
    along = np.linspace(0, deep, _STEPS)
    off = share * thick * (1 + np.cos(np.pi * along / deep)) / 2
    return _run_out(shape, inner, (along, off), habit, limits, near=near, through=False)


def raised(shape: Polygon, mark: BaseGeometry, share: float, habit: Habit) -> BaseGeometry:
    """What lies on a heap when it is thicker by a share inside the mark, and as it was at its rim; the heap with it."""
    near, thick = _near(shape, mark, habit)
    deep = max(min(0.9 * room(mark), _LONG * habit.flake_mm), _SLACK_MM)
    most = share * min(thick, _LONG * habit.flake_mm)
    layers = [near]
    for along in np.linspace(deep / _LIFTS, deep, _LIFTS):
        lifted = shapely.intersection(near, shapely.buffer(mark, -along, quad_segs=_ARC))
        by = most * (1 - np.cos(np.pi * along / deep)) / 2
        layers += [shapely.affinity.translate(lifted, 0.0, up) for up in (0.5 * by, by)]
    return geometry.solid(shapely.union_all(layers))


def _near(shape: Polygon, bite: BaseGeometry, habit: Habit) -> tuple[BaseGeometry, float]:
    """What of a shape lies about the bite, and how thick it is there."""
    near = geometry.solid(shapely.intersection(shape, shapely.buffer(bite, habit.flake_mm, quad_segs=2)))
    return near, float(np.clip(2 * room(near), _SLACK_MM, habit.flake_mm))


def room(shape: BaseGeometry) -> float:
    """The radius of the largest disc inside a shape, mm; 0 if it has no area."""
    whole: Any = shape
    return 0.0 if shapely.is_empty(shape) else float(shapely.length(shapely.maximum_inscribed_circle(whole)))


def _profile(long: float, thick: float, habit: Habit) -> tuple[Floats, Floats]:
    """How far from the bite how much is taken off: flakes end round, all else runs out."""
    left = np.linspace(0, 1, _STEPS)
    along = 1 - np.sqrt(1 - left**2) if habit.whole else (2 / np.pi * np.arcsin(left)) ** 1.4
    return along * long, thick * (1 - left)


def _run_out(
    shape: Polygon, bite: BaseGeometry, profile: tuple[Floats, Floats], habit: Habit, limits: Limits, *,
    near: BaseGeometry, through: bool = True,
) -> PolygonArray:  # fmt: skip
    """The shape beyond the bite, by `profile` thinner the nearer it comes."""
    along, off = profile
    bite = shapely.simplify(bite, _SLACK_MM) if through else bite
    last = shapely.buffer(bite, along[-1], quad_segs=_ARC)
    layers = [shapely.difference(shape, last)]
    around = geometry.solid(shapely.intersection(near, shapely.buffer(last, _SLACK_MM, quad_segs=2)))
    for far, less in zip(along, off, strict=True):
        thin = geometry.solid(shapely.intersection(_thinned(near, less, habit), around))
        clear = shapely.buffer(bite, far, quad_segs=_ARC) if through or far > 0 else shapely.Polygon()
        layers.append(shapely.difference(thin, clear))
    made = shapely.union_all(layers)
    off_it = closed(shapely.difference(last, made), limits.cut_mm + _SPARE_MM, quad_segs=_ARC)
    off_it = opened(off_it, limits.land_mm + _SPARE_MM, quad_segs=_ARC)
    off_it = shapely.union(off_it, bite) if through else off_it
    pieces = geometry.snapped(geometry.parts(shapely.difference(shape, off_it)))
    crumbs = (shapely.area(pieces) < _CRUMB * limits.cut_mm**2) & shapely.intersects(pieces, last)
    return np.asarray(pieces[~crumbs])


def _thinned(shape: BaseGeometry, by: float, habit: Habit) -> BaseGeometry:
    """The shape without so much of it: from above where it lies on things, else from both sides, half of it each."""
    if by <= 0:
        return shape
    if habit.settles:
        lower = shapely.transform(shape, lambda xy: xy - (0.0, by))
        return geometry.solid(shapely.intersection(shape, lower))
    return shapely.buffer(shape, -by / 2, quad_segs=_ARC)
