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
from carvegen.nature.aggregates import MEMBER_POWER, aggregated, passed, united
from carvegen.nature.fields import noise_at
from carvegen.nature.outlines import SMALLEST_REACH, outlines, rounded_until
from carvegen.nature.packing import Discs, packed
from carvegen.nature.points import Window, offspring, poisson, thomas
from carvegen.nature.trimming import firm
from carvegen.parameters import angle, check_all, flag, length, share

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.random import Generator

    from carvegen.geometry import Floats, Mask, PolygonArray
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
    hidden: float = share(0.6, help="share of the flakes beside what is kept clear that may be partly hidden behind it")
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
        "snow": 0.06,
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
_SHARPER = 0.6  #: the power of the rise grows by so much of the calm each time that twice as many fall
_FLAKES_PER_CLUMP = 8.0  #: at least, on average
_CLUMPS_APART = 4.0  #: clumps lie so far apart at least, on average, in flakes; more flakes make them denser, not more
_CLUMP_UNEVEN = 0.8  #: shape of the gamma distribution of clump sizes: many singles, some big ones
_FILLED = 0.74  #: a flake's area over its disc's, on average; steers the supply only
_SURPLUS = 1.15  #: so much more is drawn than needed: where flakes grow together they cover less
_LEANER = 0.2  #: flakes that the wind draws out fill so much less of their discs in a gale
_SLACK_MM = 0.004  #: snapping to the grid may move each of two outlines by less than half of this
_CROWDING = 2.5  #: how fast more are drawn than needed when they lie crowded; found by trying
_TRIES = 4
_FULL = 1.1  #: more flakes that cover less than this much more have no room left,
_DIMINISHING = 1.8  #: power by which more must fall to cover more, where they lie crowded
_IDLE = 2  #: if that happens so many times running: once may only be a sky with few flurries
_MOST = 2_000_000  #: candidates at most: beyond, the flakes asked for are too small for the face
_CROWD = 6  #: candidates at most for each place that the smallest flake takes with its land
_UNEVEN_GAPS = 0.7  #: shape of the gamma distribution of what flakes keep beyond the land: most little, some much
_ROOMY = 1.2  #: its mean in an open sky, in lands
_YIELDS = 0.6  #: it falls by so much each time that they find too little room
_CROWDED = 0.22  #: share of snow from which on it is none
_TIGHT = (-0.25, 0.5)  #: how far a clump spreads, in flakes: mean and deviation of the logarithm
_WORTH_HIDING = 1.6  #: smallest flakes: smaller ones are not cut across by what is kept clear
_HEARTY = 0.9  #: how much the heart of a flurry attracts large flakes; 0: not at all
_HEART = 0.75  #: of the rise; from there on most flakes that find room stay
_EVEN = 0.1  #: a sky less uneven than this is taken for even
_TUFTS = 4.0  #: flakes: size of the tufts in which a flurry frays out
_BENT = 0.3  #: how far the bands of a squall wander, in patches
_SPREAD = 1.4  #: a clump's disc beside that of a flake with as much in it
_SHRINKS = 0.55  #: a flake that must shrink further, to find room, falls elsewhere
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
    enough = _SURPLUS * (1 + _LEANER * settings.wind) * target
    sky = _Sky(settings, place, limits)
    most = min(_MOST, _CROWD * area_mm2 / (2 * sky.least + sky.gap) ** 2)
    discs, supply, idle = _none(), sky.usual, 0
    for k in range(_TRIES):
        tried = _fallen(sky, min(supply, most), rng.spawn(1)[0], roomy=sky.roomy * _YIELDS**k)
        idle = idle + 1 if _cover(tried) < _FULL * _cover(discs) else 0
        discs = max(discs, tried, key=_cover)
        if _cover(discs) >= enough or idle == _IDLE:
            break
        supply *= float(np.clip((1.3 * enough / max(_cover(discs), 1e-9)) ** _DIMINISHING, 1.4, 8))
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
        self.gap = limits.land_mm * _ROUNDING + _SLACK_MM
        self.passes = limits.cut_mm / 2 * _ROUNDING + geometry.GRID_MM
        self.least = max(settings.smallest_mm / 2, self.passes / SMALLEST_REACH)
        self.most = max(settings.largest_mm / 2, self.least)
        self.wind = {"stretch": 1 + 4 * settings.wind**1.3, "along_deg": settings.wind_towards_deg}
        towards = np.radians(settings.wind_towards_deg)
        self.across = np.array([-np.sin(towards), np.cos(towards)])
        self.uneven = 1 - (1 - settings.clumping) * (1 - settings.calm)
        self.typical = 2 * (self.least * self.most) ** 0.5 + self.gap
        self.beside = self.gap if settings.cut_at_edge else _SLACK_MM
        self.roomy = _ROOMY * float(np.clip(1 - settings.snow / _CROWDED, 0, 1))
        self.kept = self._kept()
        self.usual = self.first_supply(settings.snow * float(shapely.area(self.area)))

    def _kept(self) -> shapely.STRtree | None:
        """The area's edges that don't lie on the sides of its window: what is kept clear."""
        edge = geometry.rings(geometry.parts(self.area))
        start, end = edge.xy, edge.xy[edge.edge_ends]
        inner = self.window.depth((start + end) / 2) > geometry.GRID_MM
        return shapely.STRtree(geometry.lines(start[inner], end[inner])) if inner.any() else None

    def first_supply(self, target_mm2: float) -> float:
        """How many flakes to draw at first: the more, the more crowded they will lie with their gaps."""
        sample = _radii(self, 2000, np.random.Generator(np.random.PCG64(1)))
        count = target_mm2 / float(_FILLED * np.pi * (sample**2).mean())
        halo = (0.5 + self.roomy) * self.gap
        crowded = count * np.pi * float(((sample + halo) ** 2).mean()) / float(shapely.area(self.area))
        return count * 4.0 * (1 + (_CROWDING * crowded) ** 2)


def _none() -> Discs:
    return Discs(np.empty((0, 2)), np.empty(0), np.empty(0, dtype=np.int64))


def _fallen(sky: _Sky, supply: float, rng: Generator, *, roomy: float) -> Discs:
    """Discs in their places: first those that become clumps, and the flakes in each of these, then the rest."""
    places, sizes, growth = rng.spawn(3)
    xy, rise = _falling(sky, supply, places)
    here = shapely.contains_xy(sky.area, xy[:, 0], xy[:, 1])
    xy, rise = xy[here], rise[here]
    radius = _larger_within(_radii(sky, len(xy), sizes), _HEARTY * sky.uneven * rise, sizes)
    order = np.argsort(-radius * np.exp(sizes.normal(0, 0.25, len(xy))), kind="stable")
    drops = _Drops(
        radius=radius[order],
        halo=roomy * sky.gap * sizes.gamma(_UNEVEN_GAPS, 1 / _UNEVEN_GAPS, len(xy)),
        hides=(sizes.random(len(xy)) < sky.settings.hidden) & (radius[order] > _WORTH_HIDING * sky.least),
        stays=(sizes.random(len(xy)) < _fading(sky, xy, rise, roomy, sizes))[order],
    )
    clumped = growth.random(len(xy)) < _clumping_chance(sky, drops.radius)
    drops.radius[clumped] *= _SPREAD
    wanted = _fitted(sky, Discs(np.round(xy[order], 3), drops.radius, np.arange(len(xy))), drops)
    seeds = clumped[wanted.family]
    clumps = _packed(sky, wanted.chosen(seeds), _none(), drops)
    placed = aggregated(clumps, least=sky.least, cut=sky.limits.cut_mm, rng=growth)
    fallen = placed.with_more(_packed(sky, wanted.chosen(~seeds), placed, drops))
    return fallen.chosen(drops.stays[fallen.family])


@dataclass(frozen=True, eq=False)
class _Drops:
    """What was drawn for each flake that falls; a disc's family is its number here."""

    radius: Floats  #: wished for, mm
    halo: Floats  #: kept beyond the land from all others, so that no two gaps are alike, mm
    hides: Mask  #: whether what is kept clear may cut across it
    stays: Mask  #: whether it falls at all: the others only keep room free, so that flurries fade instead of fill


def _larger_within(radius: Floats, rise: Floats, rng: Generator) -> Floats:
    """The same radii in another order: the largest more often in the heart of a flurry, specks at its rim."""
    if rise.max(initial=0) < _EVEN:
        return radius
    wish = np.argsort(np.argsort(rise + rng.random(len(rise))))
    return np.asarray(np.sort(radius)[wish])


def _fading(sky: _Sky, xy: Floats, rise: Floats, roomy: float, rng: Generator) -> Floats:
    """The chance that a flake that found room stays: high in the heart of a flurry, low at its rim, in tufts.

    Thinned after they were packed, the flakes lie the looser the further out; thinned before, room for more would
    be left wherever many fall, and all be as dense up to a hard rim.
    """
    uneven = sky.uneven * ((roomy / sky.roomy) ** 1.6 if sky.roomy > 0 else 0.5)
    if uneven < _EVEN:
        return np.ones(len(xy))
    tufts = noise_at(xy, rng, patch_mm=_TUFTS * sky.typical, octaves=2, **sky.wind)
    heart = np.clip((rise - 0.05) / _HEART + 0.5 * tufts, 0, 1)
    return np.asarray(1 - uneven * (1 - heart**2 * (3 - 2 * heart)))


def _clumping_chance(sky: _Sky, radius: Floats) -> Floats:
    """The larger a flake, the likelier it is several that have stuck together."""
    return np.asarray(1.4 * sky.settings.grown_together * np.clip(radius / sky.least - 1.7, 0, 2) / 2)


def _packed(sky: _Sky, wanted: Discs, placed: Discs, drops: _Drops) -> Discs:
    """The discs that find room, with their halo; those that had to shrink too far are left out as well."""
    halo = drops.halo[wanted.family]
    roomy = Discs(wanted.xy, wanted.radius + halo, wanted.family)
    radius = packed(roomy, placed, gap=sky.gap, least=sky.least) - halo
    fits = (radius >= sky.least) & (radius >= _SHRINKS * drops.radius[wanted.family])
    found = Discs(wanted.xy, radius, wanted.family).chosen(fits)
    return found.chosen(_stands(sky, found, drops))


def _places(sky: _Sky, supply: float, rng: Generator) -> Floats:
    """Where flakes would fall: flurries of clumps of flakes, and flakes by chance, fewer in the calm."""
    return _falling(sky, supply, rng)[0]


def _falling(sky: _Sky, supply: float, rng: Generator) -> tuple[Floats, Floats]:
    """Where flakes would fall, and how far within a flurry: 0 in the calm, 1 in its heart."""
    settings, window = sky.settings, sky.window
    scattered = poisson(window, supply * (1 - settings.clumping) / window.area, rng)
    flurry_mm = min(settings.flurry_mm, window.diagonal)
    flurries_per_mm2 = 1 / (2 * flurry_mm) ** 2
    typical = sky.typical
    flakes_per_mm2 = supply * settings.clumping / window.area
    clumps_per_mm2 = min(flakes_per_mm2 / _FLAKES_PER_CLUMP, 1 / (_CLUMPS_APART * typical) ** 2)
    clumps = thomas(
        window,
        parents_per_mm2=flurries_per_mm2,
        mean_count=clumps_per_mm2 / flurries_per_mm2,
        spread_mm=flurry_mm / 2,
        rng=rng,
        **sky.wind,
    )
    mean = flakes_per_mm2 / max(clumps_per_mm2, 1e-12)
    counts = rng.poisson(rng.gamma(_CLUMP_UNEVEN, mean / _CLUMP_UNEVEN, len(clumps)))
    clumped = offspring(clumps, counts, typical * np.exp(rng.normal(*_TIGHT, len(clumps))), rng, **sky.wind)
    xy = window.within(np.concatenate([scattered, clumped]))
    dense = supply / max(sky.usual, 1.0)
    rise = _rise(sky, xy, rng)
    falls = rng.random(len(xy)) < _falls(sky, rise, dense) * sky.place.density_at(xy)
    return xy[falls], rise[falls]


def _rise(sky: _Sky, xy: Floats, rng: Generator) -> Floats:
    """How far each place lies within what falls: 0 in the calm, 1 in the heart of a flurry, by rank; (n,).

    Broad and small patches together, on a bent ground: no two flurries or bands of one breadth.
    """
    settings, size = sky.settings, sky.settings.calm_size_mm
    if len(xy) == 0:
        return np.ones(len(xy))
    points = np.concatenate([xy, poisson(sky.window, 4000 / sky.window.area, rng)])
    if sky.uneven >= _EVEN:
        points = points + _BENT * size * noise_at(points, rng, patch_mm=1.3 * size, octaves=1)[:, None] * sky.across
    noise = noise_at(points, rng, patch_mm=size, **sky.wind)
    if sky.uneven >= _EVEN:
        noise += 0.45 * noise_at(points, rng, patch_mm=0.37 * size, octaves=2, **sky.wind)
    here, elsewhere = noise[: len(xy)], noise[len(xy) :]
    height = np.searchsorted(np.sort(elsewhere), here) / max(len(elsewhere), 1)
    return np.asarray(np.clip((height - settings.calm) / (1 - settings.calm), 0, 1))


def _falls(sky: _Sky, rise: Floats, dense: float) -> Floats:
    """The chance that a flake falls at each place: next to none in the calm, rising slowly outside it.

    Where many times the usual number falls (`dense`), because there is little room, calm and fringe stay as thin.
    """
    more = max(dense, 1.0)
    return np.asarray(_STRAY / more + (1 - _STRAY) * rise ** (1.5 + _SHARPER * sky.settings.calm * np.log2(more)))


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


def _fitted(sky: _Sky, discs: Discs, drops: _Drops) -> Discs:
    """Discs shrunk to what the area's edge leaves; those that would be too small are left out.

    Whole flakes end at the edge. Flakes that may be cut off either lie well over the edge (centre within
    half a radius of it: the edge then cuts them at a blunt angle) or leave a full land beside it.
    """
    radius = discs.radius.copy()
    for away, over in _edges(sky, discs, drops):
        room = away - sky.beside - drops.halo[discs.family] / 2
        radius = np.where(over & (away <= radius / 2), radius, np.minimum(radius, room))
    fitted = Discs(discs.xy, radius, discs.family).chosen(radius >= sky.least)
    return fitted.chosen(_stands(sky, fitted, drops))


def _stands(sky: _Sky, discs: Discs, drops: _Drops) -> Mask:
    """Whether discs keep clear of each edge, or lie well over it where it may cut them."""
    stands = np.ones(len(discs), dtype=bool)
    for away, over in _edges(sky, discs, drops):
        stands &= (away >= discs.radius + sky.beside) | (over & (away <= discs.radius / 2))
    return stands


def _edges(sky: _Sky, discs: Discs, drops: _Drops) -> tuple[tuple[Floats, Mask], ...]:
    """How far off the window's sides and what is kept clear are, and whether these may cut across each disc."""
    across = np.full(len(discs), sky.settings.cut_at_edge)
    return (
        (sky.window.depth(discs.xy), across),
        (_distance_to_kept(sky, discs.xy), across | drops.hides[discs.family]),
    )


def _distance_to_kept(sky: _Sky, xy: Floats) -> Floats:
    """How far each point is from the area's edge within the window; infinite where it is too far to matter."""
    away = np.full(len(xy), np.inf)
    outer = np.flatnonzero(~shapely.contains_xy(sky.heart, xy[:, 0], xy[:, 1]))
    if sky.kept is None or len(outer) == 0:
        return away
    (asked, _), found = sky.kept.query_nearest(geometry.dots(xy[outer]), return_distance=True, all_matches=False)
    away[outer[asked]] = found
    return away


def _thinned(flakes: PolygonArray, target_mm2: float, rng: Generator) -> PolygonArray:
    """Flakes left out by chance until the target is met; the order stays."""
    order = rng.permutation(len(flakes))
    stays = np.zeros(len(flakes), dtype=bool)
    stays[order] = np.cumsum(shapely.area(flakes[order])) <= target_mm2
    return flakes[stays]


def _drawn(sky: _Sky, discs: Discs, rng: Generator) -> PolygonArray:
    """The flakes' polygons: clumps grown together, cut off by the area where it may cut them, on the grid."""
    _, family, size = np.unique(discs.family, return_inverse=True, return_counts=True)
    alone = size[family] == 1
    shapes = _outlined(sky, discs, np.where(alone, 1.0, MEMBER_POWER), rng)
    clumps = united(shapes[~alone], family[~alone], land=sky.gap, passes=sky.passes)
    return _cut_off(sky, np.concatenate([shapes[alone], _open(sky, geometry.snapped(clumps))]))


def _open(sky: _Sky, shapes: PolygonArray) -> PolygonArray:
    """The shapes without those that have a hole or a bay whose land is too narrow; few if any."""
    outlines = geometry.rings(shapes)
    pinched = necks(geometry.reversed_rings(outlines), sky.limits.land_mm)
    bad = np.concatenate([outlines.owner[pinched.first], outlines.owner[outlines.hole]])
    return np.delete(shapes, np.unique(bad))


def _outlined(sky: _Sky, discs: Discs, power: Floats, rng: Generator) -> PolygonArray:
    """Outlines in the discs, their reach raised to `power`."""
    settings = sky.settings
    shapes = np.empty(len(discs), dtype=object)
    need = np.pi / np.sqrt(2 * _SAG_MM / np.maximum(discs.radius, 1e-6))
    steps = np.array([16, 24, 36, 56, 84])
    points = steps[np.minimum(np.searchsorted(steps, np.where(power < 1, 1.0, 1.2) * need), len(steps) - 1)]
    points[power == 1] = np.maximum(points[power == 1], 24)
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
        unit *= np.hypot(unit[..., 0], unit[..., 1])[..., None] ** (power[which, None, None] - 1)
        unit = rounded_until(unit, sky.passes / discs.radius[which])
        xy = discs.xy[which, None, :] + discs.radius[which, None, None] * unit
        shapes[which] = shapely.polygons(np.round(xy / geometry.GRID_MM) * geometry.GRID_MM)
    return shapes


def _cut_off(sky: _Sky, flakes: PolygonArray) -> PolygonArray:
    """The flakes, those that lie over the area's edge cut off by it."""
    whole = shapely.covers(sky.area, flakes)
    if not whole.all():
        left = passed(shapely.intersection(flakes[~whole], sky.area), sky.passes)
        flakes = np.concatenate([flakes[whole], _open(sky, geometry.snapped(left))])
    if not sky.settings.cut_at_edge:
        return flakes
    return firm(flakes, shapely.box(*shapely.bounds(sky.area)), land_mm=sky.limits.land_mm)
