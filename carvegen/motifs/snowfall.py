"""Falling snow: flurries and clumps of flakes of many sizes, round to squarish."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.errors import InputError
from carvegen.growth import Growth
from carvegen.measures.necks import necks
from carvegen.nature.fields import noise_at
from carvegen.nature.outlines import SMALLEST_REACH, outlines
from carvegen.nature.packing import Discs, packed
from carvegen.nature.points import Window, offspring, poisson, thomas
from carvegen.parameters import angle, check_all, flag, length, share

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, PolygonArray
    from carvegen.growth import Place
    from carvegen.limits import Limits

__all__ = ["PRESETS", "Settings", "grow"]


@dataclass(frozen=True, kw_only=True)
class Settings:
    """How the snow falls."""

    snow: float = share(0.08, at_most=0.6, help="share of the face that turns white")
    smallest_mm: float = length(0.8, at_least=0.05, at_most=50, help="smallest flake, across")
    largest_mm: float = length(5.0, at_least=0.05, at_most=100, help="largest flake, across")
    near_far: float = share(0.5, help="0: all flakes alike far; 1: few near and large, many far and small")
    clumping: float = share(0.7, help="0: flakes strewn evenly by chance; 1: all in clumps and flurries")
    flurry_mm: float = length(22.0, at_least=1, at_most=500, help="size of a flurry")
    calm: float = share(0.25, at_most=0.95, help="share of the sky where little falls")
    calm_size_mm: float = length(60.0, at_least=2, at_most=1000, help="size of the calm patches")
    wind: float = share(0.15, help="0: still air; 1: a gale that stretches flurries and tilts flakes")
    wind_towards_deg: float = angle(-70.0, help="direction in which the snow is driven; 0 is to the right, -90 down")
    round: float = share(0.6, help="share of round flakes; the others are squarish")
    grown_together: float = share(0.35, help="share of flakes that grow together into lumpy shapes")
    cut_at_edge: bool = flag(False, help="flakes may be cut off by the edge and by what is kept clear")

    def __post_init__(self) -> None:
        check_all(self)
        if self.smallest_mm > self.largest_mm:
            raise InputError(
                f"must not be larger than --largest {self.largest_mm:g} mm", value=self.smallest_mm, where="--smallest"
            )


#: Weathers by name: what differs from the defaults.
PRESETS: Mapping[str, Mapping[str, float]] = {
    "flurry": {},
    "steady": {"clumping": 0.3, "calm": 0.05, "near_far": 0.5, "wind": 0.05, "snow": 0.08},
    "heavy": {
        "snow": 0.15,
        "smallest_mm": 1.0,
        "largest_mm": 8.0,
        "near_far": 0.35,
        "calm": 0.1,
        "grown_together": 0.6,
        "clumping": 0.6,
        "flurry_mm": 30.0,
    },
    "sparse": {"snow": 0.025, "largest_mm": 4.0, "calm": 0.45, "near_far": 0.6, "clumping": 0.6},
    "squall": {
        "snow": 0.07,
        "wind": 0.85,
        "wind_towards_deg": -25.0,
        "clumping": 0.8,
        "flurry_mm": 26.0,
        "calm": 0.3,
        "calm_size_mm": 24.0,
        "largest_mm": 4.0,
        "near_far": 0.7,
    },
}

_STRAY = 0.02  #: chance that a flake falls in the calm all the same
_FLAKES_PER_CLUMP = 8.0
_CLUMP_UNEVEN = 0.8  #: shape of the gamma distribution of clump sizes: many singles, some big ones
_FILLED = 0.74  #: a flake's area over its disc's, on average; steers the supply only
_SURPLUS = 1.15  #: so much more is drawn than needed: where flakes grow together they cover less
_SLACK_MM = 0.004  #: snapping to the grid may move each of two outlines by less than half of this
_CROWDING = 2.5  #: how fast more are drawn than needed when they lie crowded; found by trying
_TRIES = 4
_FULL = 1.1  #: more flakes that cover less than this much more have no room left,
_IDLE = 2  #: if that happens so many times running: once may only be a sky with few flurries
_MOST = 2_000_000  #: candidates at most: beyond, the flakes asked for are too small for the face
_CROWD = 20  #: candidates at most for each place that the smallest flake takes with its land
_SATELLITES = 4  #: flakes that may grow onto one
_ROUNDING = 1.02  #: makes up for circles drawn as polygons, and for outlines that GEOS smooths by 1 % of an offset
_SAG_MM = 0.01  #: a chord may stray this far from the curve


def grow(settings: Settings, place: Place, limits: Limits, rng: Generator) -> Growth:
    """Flakes inside the place's area, whole or cut off by it.

    Parameters
    ----------
    place
        Where snow may fall, and how densely.
    limits
        Any two flakes end at least ``limits.land_mm`` apart and no flake is narrower than ``limits.cut_mm``.

    Returns
    -------
    Growth
        Disjoint flakes. They cover about ``settings.snow`` of the area, or less where the land that must
        stay leaves no room; may be empty.
    """
    area_mm2 = float(shapely.area(place.area))
    if area_mm2 <= 0:
        raise InputError(
            "leaves no room for snow", where="area", hint="make --keep-clear, --opening or --margin smaller"
        )
    target = settings.snow * area_mm2
    sky = _Sky(settings, place, limits)
    most = min(_MOST, _CROWD * area_mm2 / (2 * sky.least + sky.gap) ** 2)
    discs, supply, idle = _none(), sky.first_supply(target), 0
    for _ in range(_TRIES):
        tried = _fallen(sky, min(supply, most), rng.spawn(1)[0])
        idle = idle + 1 if _cover(tried) < _FULL * _cover(discs) else 0
        discs = max(discs, tried, key=_cover)
        if _cover(discs) >= _SURPLUS * target or idle == _IDLE:
            break
        supply *= 2.5
    return Growth(cuts=_thinned(_drawn(sky, discs, rng.spawn(1)[0]), target, rng))


def _cover(discs: Discs) -> float:
    """Rough area of the flakes in the discs, mm²."""
    return _FILLED * np.pi * float((discs.radius**2).sum())


class _Sky:
    """The settings, where the snow falls, and what follows from both."""

    def __init__(self, settings: Settings, place: Place, limits: Limits) -> None:
        self.settings, self.place, self.area, self.limits = settings, place, place.area, limits
        shapely.prepare(self.area)
        self.heart = shapely.buffer(self.area, -(max(settings.largest_mm, 2 * limits.cut_mm) + limits.land_mm))
        shapely.prepare(self.heart)
        self.window = Window(*(float(side) for side in shapely.bounds(self.area)))
        self.gap = limits.land_mm + _SLACK_MM
        self.passes = limits.cut_mm / 2 * _ROUNDING + geometry.GRID_MM
        self.least = max(settings.smallest_mm / 2, self.passes / SMALLEST_REACH)
        self.most = max(settings.largest_mm / 2, self.least)
        self.stretch = 1 + 4 * settings.wind

    def first_supply(self, target_mm2: float) -> float:
        """How many flakes to draw at first: the more, the more crowded they will lie with their gaps."""
        sample = _radii(self, 2000, np.random.Generator(np.random.PCG64(1)))
        count = target_mm2 / float(_FILLED * np.pi * (sample**2).mean())
        crowded = count * np.pi * float(((sample + self.gap / 2) ** 2).mean()) / float(shapely.area(self.area))
        return count * 1.6 * (1 + (_CROWDING * crowded) ** 2)


def _none() -> Discs:
    return Discs(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64))


def _fallen(sky: _Sky, supply: float, rng: Generator) -> Discs:
    """Discs in their places: first those that others grow onto, then these others, then the rest."""
    places, sizes, growth = rng.spawn(3)
    xy = _inside(sky, _places(sky, supply, places))
    radius = _radii(sky, len(xy), sizes)
    order = np.argsort(-radius * np.exp(sizes.normal(0, 0.25, len(xy))), kind="stable")
    wanted = _fitted(sky, Discs(np.round(xy[order], 3), radius[order], np.arange(len(xy))))
    seeds = growth.random(len(wanted)) < 0.4 * sky.settings.grown_together
    placed = _packed(sky, wanted.chosen(seeds), _none())
    grown = _fitted(sky, _satellites(placed, growth))
    placed = _attached(sky, placed, _packed(sky, grown, placed))
    return placed.with_more(_packed(sky, wanted.chosen(~seeds), placed))


def _packed(sky: _Sky, wanted: Discs, placed: Discs) -> Discs:
    radius = packed(wanted, placed, gap=sky.gap, least=sky.least)
    return Discs(wanted.xy, radius, wanted.family).chosen(radius > 0)


def _places(sky: _Sky, supply: float, rng: Generator) -> Floats:
    """Where flakes would fall: flurries of clumps of flakes, and flakes by chance, fewer in the calm."""
    settings, window = sky.settings, sky.window
    scattered = poisson(window, supply * (1 - settings.clumping) / window.area, rng)
    flurry_mm = min(settings.flurry_mm, window.diagonal)
    flurries_per_mm2 = 1 / (2 * flurry_mm) ** 2
    clumps_per_mm2 = supply * settings.clumping / _FLAKES_PER_CLUMP / window.area
    wind = {"stretch": sky.stretch, "along_deg": settings.wind_towards_deg}
    clumps = thomas(
        window,
        parents_per_mm2=flurries_per_mm2,
        mean_count=clumps_per_mm2 / flurries_per_mm2,
        spread_mm=flurry_mm / 2,
        rng=rng,
        **wind,
    )
    counts = rng.poisson(rng.gamma(_CLUMP_UNEVEN, _FLAKES_PER_CLUMP / _CLUMP_UNEVEN, len(clumps)))
    typical = 2 * (sky.least * sky.most) ** 0.5 + sky.gap
    clumped = offspring(clumps, counts, typical * rng.uniform(0.7, 1.8, len(clumps)), rng, **wind)
    xy = window.within(np.concatenate([scattered, clumped]))
    return xy[rng.random(len(xy)) < _falls(sky, xy, rng) * sky.place.density_at(xy)]


def _falls(sky: _Sky, xy: Floats, rng: Generator) -> Floats:
    """The chance that a flake falls at each place: next to none in the calm, rising slowly outside it."""
    settings = sky.settings
    if len(xy) == 0:
        return np.ones(len(xy))
    evenly = poisson(sky.window, 4000 / sky.window.area, rng)
    noise = noise_at(
        np.concatenate([xy, evenly]),
        rng,
        patch_mm=settings.calm_size_mm,
        stretch=sky.stretch,
        along_deg=settings.wind_towards_deg,
    )
    here, elsewhere = noise[: len(xy)], noise[len(xy) :]
    height = np.searchsorted(np.sort(elsewhere), here) / max(len(elsewhere), 1)
    above = np.clip((height - settings.calm) / (1 - settings.calm), 0, 1)
    return np.asarray(_STRAY + (1 - _STRAY) * above**1.5)


def _radii(sky: _Sky, count: int, rng: Generator) -> Floats:
    """Disc radii: of flakes alike far, a log-normal bell; of near and far ones, a power law.

    Flakes of one size spread evenly through the air at distances z look 1/z as large and are seen z² as
    often, so their sizes s on the picture are found as ``s^-4 ds`` (plane perspective; own derivation).
    """
    low, high = sky.least, sky.most
    even = np.exp(rng.normal(np.log(low * high) / 2, 0.2 * np.log(max(high / low, 1.0001)), count))
    power = low * (1 - rng.random(count) * (1 - (low / high) ** 3)) ** (-1 / 3)
    far = rng.random(count) < sky.settings.near_far
    return np.clip(np.where(far, power * np.exp(rng.normal(0, 0.1, count)), even), low, high)


def _inside(sky: _Sky, xy: Floats) -> Floats:
    return xy[shapely.contains_xy(sky.area, xy[:, 0], xy[:, 1])]


def _fitted(sky: _Sky, discs: Discs) -> Discs:
    """Discs shrunk to what the area's edge leaves; those that would be too small are left out.

    Whole flakes end at the edge. Flakes that may be cut off either lie well over the edge (centre within
    half a radius of it: the edge then cuts them at a blunt angle) or leave a full land beside it.
    """
    away = _distance_to_edge(sky, discs.xy)
    inside = shapely.contains_xy(sky.area, discs.xy[:, 0], discs.xy[:, 1])
    crossing = (away <= discs.radius / 2) & (sky.settings.cut_at_edge)
    room = away - (sky.gap if sky.settings.cut_at_edge else _SLACK_MM)
    radius = np.where(crossing, discs.radius, np.minimum(discs.radius, room))
    return Discs(discs.xy, radius, discs.family).chosen(inside & (radius >= sky.least))


def _distance_to_edge(sky: _Sky, xy: Floats) -> Floats:
    """How far each point is from the area's edge; infinite where it is too far to matter."""
    away = np.full(len(xy), np.inf)
    outer = np.flatnonzero(~shapely.contains_xy(sky.heart, xy[:, 0], xy[:, 1]))
    if len(outer) == 0:
        return away
    edge = geometry.rings(geometry.parts(sky.area))
    tree = shapely.STRtree(geometry.lines(edge.xy, edge.xy[edge.edge_ends]))
    (asked, _), found = tree.query_nearest(geometry.dots(xy[outer]), return_distance=True, all_matches=False)
    away[outer[asked]] = found
    return away


def _satellites(placed: Discs, rng: Generator) -> Discs:
    """Discs that overlap the placed ones deeply enough to grow together with them."""
    times = np.minimum(rng.geometric(0.5, len(placed)), _SATELLITES)
    parent = np.repeat(np.arange(len(placed)), times)
    radius = placed.radius[parent] * rng.uniform(0.5, 1.0, len(parent))
    away = SMALLEST_REACH * (placed.radius[parent] + radius) * rng.uniform(0.75, 1.05, len(parent))
    turn = rng.uniform(0, 2 * np.pi, len(parent))
    xy = placed.xy[parent] + away[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
    return Discs(np.round(xy, 3), radius, placed.family[parent])


def _attached(sky: _Sky, placed: Discs, grown: Discs) -> Discs:
    """The placed discs with those of the grown that do grow onto theirs and end apart from their siblings.

    The discs that surely lie in two flakes must meet along a chord of at least the smallest cut; a sibling
    that neither meets an earlier one so nor keeps the gap is left out.
    """
    parent = np.searchsorted(np.sort(placed.family), grown.family)
    parent = np.argsort(placed.family, kind="stable")[parent]
    holds = _chord(grown, placed.chosen(parent)) >= sky.limits.cut_mm
    grown = grown.chosen(holds)
    order = np.argsort(grown.family, kind="stable")
    for apart in range(1, _SATELLITES):
        a, b = order[:-apart], order[apart:]
        siblings = grown.family[a] == grown.family[b]
        first, second = grown.chosen(a), grown.chosen(b)
        clear = np.hypot(*(first.xy - second.xy).T) >= first.radius + second.radius + sky.gap
        bad = siblings & ~clear & (_chord(first, second) < sky.limits.cut_mm)
        grown.radius[np.maximum(a, b)[bad]] = 0
    return placed.with_more(grown.chosen(grown.radius > 0))


def _chord(one: Discs, other: Discs) -> Floats:
    """Length of the chord in which the sure inner discs of two flakes meet; 0 where they don't; (n,)."""
    r1, r2 = SMALLEST_REACH * one.radius, SMALLEST_REACH * other.radius
    apart = np.maximum(np.hypot(*(one.xy - other.xy).T), 1e-9)
    along = (apart**2 + r1**2 - r2**2) / (2 * apart)
    chord = 2 * np.sqrt(np.clip(r1**2 - along**2, 0, None))
    return np.where(apart <= np.abs(r1 - r2), 2 * np.minimum(r1, r2), chord)


def _thinned(flakes: PolygonArray, target_mm2: float, rng: Generator) -> PolygonArray:
    """Flakes left out by chance until the target is met; the order stays."""
    order = rng.permutation(len(flakes))
    stays = np.zeros(len(flakes), dtype=bool)
    stays[order] = np.cumsum(shapely.area(flakes[order])) <= target_mm2
    return flakes[stays]


def _drawn(sky: _Sky, discs: Discs, rng: Generator) -> PolygonArray:
    """The flakes' polygons: families grown together, cut off by the area where asked, on the grid."""
    _, family, size = np.unique(discs.family, return_inverse=True, return_counts=True)
    shapes = _outlined(sky, discs, rng)
    alone = size[family] == 1
    lumps = _open(sky, geometry.snapped(_grown_together(sky, shapes[~alone], family[~alone])))
    flakes = np.concatenate([shapes[alone], lumps])
    return _open(sky, geometry.snapped(_cut_off(sky, flakes))) if sky.settings.cut_at_edge else flakes


def _open(sky: _Sky, shapes: PolygonArray) -> PolygonArray:
    """The shapes without those that have a hole or a bay whose land is too narrow; few if any."""
    outlines = geometry.rings(shapes)
    pinched = necks(geometry.reversed_rings(outlines), sky.limits.land_mm)
    bad = np.concatenate([outlines.owner[pinched.first], outlines.owner[outlines.hole]])
    return np.delete(shapes, np.unique(bad))


def _outlined(sky: _Sky, discs: Discs, rng: Generator) -> PolygonArray:
    settings = sky.settings
    shapes = np.empty(len(discs), dtype=object)
    need = np.pi / np.sqrt(2 * _SAG_MM / np.maximum(discs.radius, 1e-6))
    steps = np.array([24, 36, 56, 84])
    points = steps[np.minimum(np.searchsorted(steps, 1.2 * need), len(steps) - 1)]
    for count in steps:
        which = np.flatnonzero(points == count)
        unit = outlines(
            len(which),
            int(count),
            round_share=settings.round,
            rng=rng,
            longer=0.8 * settings.wind,
            along_deg=settings.wind_towards_deg,
        )
        xy = discs.xy[which, None, :] + discs.radius[which, None, None] * unit
        shapes[which] = shapely.polygons(np.round(xy / geometry.GRID_MM) * geometry.GRID_MM)
    return shapes


def _grown_together(sky: _Sky, shapes: PolygonArray, family: Indices) -> PolygonArray:
    """One lumpy shape a family: united, inlets narrower than the land filled, tips thinner than the cut taken off.

    Filling is the morphological closing with half the land: it can't bring the shape nearer than the land
    to another that was not nearer before.
    """
    order = np.argsort(family, kind="stable")
    starts = np.flatnonzero(np.diff(family[order], prepend=-1))
    united = np.asarray(shapely.union_all(_ragged(shapes[order], starts), axis=1), dtype=object)
    land = sky.gap / 2
    return _rounded(sky, geometry.offset(geometry.offset(united, land), -land))


def _ragged(shapes: PolygonArray, starts: Indices) -> PolygonArray:
    """Rows of shapes, one a family, filled up with None."""
    sizes = np.diff(starts, append=len(shapes))
    row = np.repeat(np.arange(len(starts)), sizes)
    column = np.arange(len(shapes)) - np.repeat(starts, sizes)
    table = np.full((len(starts), int(sizes.max(initial=1))), None, dtype=object)
    table[row, column] = shapes
    return table


def _cut_off(sky: _Sky, flakes: PolygonArray) -> PolygonArray:
    whole = shapely.contains_properly(sky.area, flakes)
    return np.concatenate([flakes[whole], _rounded(sky, shapely.intersection(flakes[~whole], sky.area))])


def _rounded(sky: _Sky, shapes: PolygonArray) -> PolygonArray:
    """The largest piece of each shape, holes filled, that a round cutter of the smallest cut passes through.

    Pieces are told apart where the cutter's middle can't pass: what only its rim would join stays narrow.
    """
    whole = geometry.filled(geometry.parts(shapes))  # a thin side of a ring, taken off, would leave a bay
    pieces, whose = shapely.get_parts(geometry.offset(whole, -sky.passes), return_index=True)
    order = np.lexsort((-shapely.area(pieces), whose))
    first = order[np.flatnonzero(np.diff(whose[order], prepend=-1))]
    return geometry.filled(geometry.parts(geometry.offset(pieces[first], sky.passes)))
