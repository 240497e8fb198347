"""Pads of snow on the tiers of small firs: thick towards the tip, dark below, each its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.shared.minimum_width import closed, opened, tiles_of
from carvegen.motifs.snowload.firs.tiers import tiers_of
from carvegen.motifs.snowload.ledges import mixed
from carvegen.motifs.snowload.snowpack import USUAL_MM
from carvegen.motifs.snowload.wind import strength

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Mask, PolygonArray
    from carvegen.motifs.snowload.firs.tiers import Tiers
    from carvegen.motifs.snowload.settings import Settings

__all__ = ["on_tiers"]

_PLACES = 20  #: along a shoulder
_OVER, _UNDER, _GROWS = 0.5, 0.62, 0.6  #: so thick a pad is over and under the shoulder after a usual fall, mm, and
#: grows by this power
_LARGE_MM, _LADEN, _MOST_LADEN = 4.0, 0.8, 2.2  #: further than that from the next a tier bears more, by this power
_OF_TIER = (0.24, 0.3)  #: of the distance to the tier above, more or less, at the most,
_BREADTH = 0.32  #: and under the shoulder no more than so much of the tier's breadth,
_TO_AXIS = 0.42  #: nor nearer the fir's axis, from either side: a narrow top would be eaten to a post
_LEAST = 1.35  #: smallest cuts: it is no thinner
_HEM, _CLOSE_MM = 1.25, 0.15  #: lands: so much of a tier stays dark below; with no room for that and a little more, mm,
#: only every other one bears a pad
_SKY, _FRONT, _BARE = 0.25, 0.5, 0.3  #: a tier that sees less of the sky bears less, but its front sees so much of what
#: its fir sees anywhere; with so little of that it bears none
_LONG_MM, _SHORTEST_MM = 1.7, 0.9  #: on a short shoulder a pad is so long if there is room; a shorter one is a crumb
_POKES = 0.3  #: so many tips poke out
_JOINS = 0.8  #: a pad that reaches so far up the shoulder goes on to the notch,
_UPRIGHT = 2.5  #: but not on steeper ones (rise over run): the outline would be all white
_CAP = 0.75  #: of a top is white at the most
_CAP_MM, _CAP_FALLEN = 1.0, 0.04  #: its cap reaches so far down, and by so much of what has fallen further: longer it
#: would be a candle;
_STEM_MM, _STEM = 2.4, 0.5  #: the pads of its tier end so far below the tip, or so much of its length
_SMALL = 2.4  #: smallest cuts: a smaller cap would be a crumb; a top of which less than land would be left is all white
_TONGUES = 0.55  #: of the fronts bear a tongue from the notch, others a heap further in:
_FRONT_MM, _TILTS = 1.9, 0.4  #: where half a tier is so broad; it falls so much to its side
_SOFT_MM = 0.35  #: narrower inlets of the outline are filled
_CHANCES = 13  #: numbers for each place


def on_tiers(
    shapes: PolygonArray, settings: Settings, limits: Limits, *, stands: Callable[[Floats], Mask],
    comes: Callable[[Floats], Floats], share: Callable[[Floats], Floats], rng: Generator,
) -> PolygonArray:  # fmt: skip
    """Pads on the tiers of firs that are drawn as stacks of jagged triangles; disjoint, may be empty.

    Parameters
    ----------
    stands
        Whether something is drawn at places, mm, (n, 2): (n,).
    comes, share
        How much of the falling snow comes to places, and how much of it is wanted there: 0…1.
    """
    tiers = tiers_of(shapes, stands, _PLACES) if settings.scale == "near" else None
    if tiers is None:
        return geometry.empty()
    seed = int(rng.integers(2**63))
    own, fir = (_chances(each, np.random.default_rng([seed, k])) for k, each in enumerate((tiers.tip, tiers.fir)))
    lies = _seen(tiers, comes) * share(tiers.tip)
    pads = _Pads.of(tiers, settings, limits, lies=lies, own=own, fir=fir)
    over, under = _shoulders(tiers, pads, limits, settings, own)
    over_tops, tops = _caps(tiers, pads, own, fir)
    fronts = _fronts(tiers, pads, limits, settings, own)
    air = geometry.parts(shapely.union_all(np.concatenate([over, over_tops])))
    if len(air):
        tiles, _ = tiles_of(shapely.disjoint_subset_union_all(shapes), _SOFT_MM, shapely.union_all(air))
        air = geometry.parts(shapely.difference(air, shapely.union_all(tiles)))
    white = shapely.union_all(np.concatenate([air, under, tops, fronts]))
    return geometry.parts(opened(closed(white, _SOFT_MM), limits.cut_mm))


def _chances(places: Floats, rng: Generator) -> Floats:
    """Numbers 0…1 for each place, mm, by where it lies alone, (n, 2): (n, `_CHANCES`)."""
    key = np.ascontiguousarray(np.rint(places * 1000)).astype(np.int64).astype(np.uint64)
    key = key[:, :1] * np.uint64(0x9E3779B97F4A7C15) + key[:, 1:] * np.uint64(0xBF58476D1CE4E5B9)
    return mixed(key + rng.integers(2**63, size=_CHANCES, dtype=np.uint64))


def _seen(tiers: Tiers, comes: Callable[[Floats], Floats]) -> Floats:
    """How much of what falls comes to each tier, 0…1; (n,).

    Each goes round its trunk: what a neighbour hides of the sky at one side its front sees, as far as the fir itself.
    """
    out = np.column_stack([0.5 * tiers.side, np.ones(len(tiers))])
    sees = np.clip(np.maximum(comes(tiers.tip + out), comes(tiers.over + out)) / _SKY, 0, 1)
    most = np.zeros(len(sees))
    np.maximum.at(most, tiers.number, sees)
    return np.asarray(np.maximum(sees, _FRONT * most[tiers.number]))


@dataclass(frozen=True, eq=False)
class _Pads:
    """What lies on each tier; arrays (n,)."""

    on: Mask  #: whether a pad does,
    over: Floats  #: how thick over the shoulder, mm,
    under: Floats  #: and how far down below it
    begins: Floats  #: shares of the shoulder, from the tip on: so far it is bare,
    ends: Floats  #: and so far there is snow
    cap: Floats  #: how far down a top's cap reaches, mm; 0: there is none
    close: Mask  #: whether the tier above is so near that only one of the two bears a pad
    large: Floats  #: how many times as much lies there as on a usual tier, 1 or more
    full: Floats  #: how much lies there of what lies on a wide open tier after a usual fall, 0…1

    @property
    def joined(self) -> Mask:
        """Whether it reaches up to the notch, (n,)."""
        return np.asarray(self.ends == 1)

    @staticmethod
    def of(tiers: Tiers, settings: Settings, limits: Limits, *, lies: Floats, own: Floats, fir: Floats) -> _Pads:
        """The pads that lie on tiers by chance, to which so much comes."""
        deep, blows = settings.fallen_mm / USUAL_MM, strength(settings) * tiers.side
        long = tiers.long
        amount = deep**_GROWS * lies * (0.8 + 0.4 * fir[:, 0]) * (0.75 + 0.5 * own[:, 0]) * (1 + 0.3 * blows)
        apart = np.where(tiers.top, long, np.linalg.norm(tiers.over - tiers.tip, axis=1))
        room = apart * (0.7 + 0.6 * own[:, 0])
        large = np.where(tiers.top, 1, np.clip((apart / _LARGE_MM) ** _LADEN, 1, _MOST_LADEN))
        amount *= large
        over = np.minimum(_OVER * amount, _OF_TIER[0] * room)
        under = np.minimum(_UNDER * amount * (0.75 + 0.5 * settings.sticky), _OF_TIER[1] * room)
        wide, tall = np.abs(tiers.tip - tiers.notch).T
        under = np.minimum(under, _BREADTH * (2 * tiers.half + wide))
        more = np.clip(_LEAST * limits.cut_mm / np.maximum(over + under, 1e-6), 1, None)
        over, under = over * more, under * more
        hem = _HEM * limits.land_mm + _CLOSE_MM
        close = apart < over + under + hem
        some = (lies > _BARE) & (over + under > 0)  # none where the outline leaves no room over the tip
        on = some & (own[:, 1] < (1 - 0.4 * settings.patchy) * np.clip(1 + 0.5 * blows, 0, 1))
        on &= ~close | _every_other(tiers, fir[:, 4])
        begins = np.where(own[:, 3] < _POKES, 0.04 + 0.35 * own[:, 3], 0.0)
        reach = 0.25 + 0.28 * deep + 0.3 * settings.sticky + 0.5 * own[:, 2] + 0.2 * blows
        reach = np.maximum(reach, begins + _LONG_MM / long)
        reach = np.where(reach > _JOINS, 1.0, reach)
        cap = (_CAP_MM + _CAP_FALLEN * settings.fallen_mm) * (0.75 + 0.5 * fir[:, 2])
        cap = np.minimum(cap, (0.4 + 0.2 * fir[:, 2]) * long)
        cap = np.maximum(cap, _SMALL * limits.cut_mm)
        cap = np.where(long - cap < limits.land_mm, long, cap)
        stem = np.maximum(cap, np.minimum(_STEM_MM, _STEM * long)) + 2 * limits.land_mm
        short = np.where(tiers.top, stem, (~close & (tall > _UPRIGHT * wide)) * hem)
        ends = np.minimum(reach, 1 - short / long)
        on &= (ends - begins) * long > _SHORTEST_MM
        return _Pads(
            on, over, under, begins, ends, cap * some * tiers.top, close, large, np.clip(lies * deep**0.5, 0, 1)
        )


def _every_other(tiers: Tiers, chance: Floats) -> Mask:
    """Every other tier on each side of each fir, from the first or the second on by chance, (n,)."""
    order = np.lexsort((tiers.tip[:, 1], tiers.side, tiers.number))
    group = 2 * tiers.number[order] + (tiers.side[order] > 0)
    nth = np.arange(len(order)) - np.searchsorted(group, group)
    keep = np.zeros(len(order), dtype=bool)
    keep[order] = (nth + (tiers.side[order] > 0) + (chance[order] > 0.5)) % 2 == 0
    return keep


def _shoulders(
    tiers: Tiers, pads: _Pads, limits: Limits, settings: Settings, own: Floats
) -> tuple[PolygonArray, PolygonArray]:
    """What lies over the shoulders of the tiers, and what lies on the front below them; (those that bear,) each."""
    on = pads.on
    share = np.linspace(0, 1, _PLACES)
    at = share[None] * np.ones((on.sum(), 1))
    line, side = tiers.shoulder[on], tiers.side[on, None]
    long = tiers.long[on, None]
    chord = (tiers.notch - tiers.tip)[on] / long
    turn = np.gradient(line, axis=1)
    turn = turn / np.maximum(np.linalg.norm(turn, axis=2, keepdims=True), 1e-9) + chord[:, None]
    turn /= np.linalg.norm(turn, axis=2, keepdims=True)
    out = np.stack([side * turn[..., 1], -side * turn[..., 0]], axis=2)
    up = out + np.array([0, 0.5])
    up /= np.linalg.norm(up, axis=2, keepdims=True)
    begins, ends, joined = pads.begins[on, None], pads.ends[on, None], pads.joined[on, None]
    along = (at - begins) / (ends - begins)
    lies = (along >= 0) & (along <= 1)
    along = np.clip(along, 0, 1)
    span, total = long * (ends - begins), (pads.over + pads.under)[on, None]
    runs_out = np.where(joined, 1.0, np.sqrt(np.clip((1 - along) * span / (1.1 * total), 0, 1)))
    phase, lobe = np.pi * own[on, 4:7], 0.9 + 1.1 * total
    lumps = 0.22 * np.sin(2 * span * along / lobe + 2 * phase[:, :1])
    drips = 0.72 + 0.42 * np.abs(np.sin(np.pi * span / lobe * along ** (0.7 + 0.6 * own[on, 7:8]) + phase[:, 1:2]))
    high = np.sqrt(np.clip(along / 0.2, 0, 1)) * (1 - 0.5 * along) * (1 + settings.lumpy * lumps)
    high = pads.over[on, None] * high
    to_axis = np.clip(side * (line[..., 0] - tiers.notch[on, :1]) + tiers.half[on, None], 0, None)
    low = pads.under[on, None] * np.clip(along / 0.3, 0, 1) ** 0.7
    low = np.minimum(low, _TO_AXIS * to_axis / np.maximum(np.abs(out[..., 0]), 1e-9)) * drips
    thick = np.linalg.norm(line - tiers.under[on], axis=2)
    low = np.where(lies, np.minimum(low, np.clip(thick - _HEM * limits.land_mm, 0, None)), 0) * runs_out
    high = np.where(lies, np.maximum(high, _LEAST * limits.cut_mm - low), 0) * runs_out
    hangs = (pads.over[on] * (0.15 + 0.5 * own[on, 3]) * (pads.begins[on] == 0))[:, None]
    lip = line[:, 0] - hangs * chord + 0.3 * hangs * out[:, 0]
    upper = line + high[..., None] * up
    rings = np.concatenate([upper[:, ::-1], lip[:, None], line - 0.03 * out], axis=1)
    below = np.concatenate([line + 0.03 * out, (line - low[..., None] * out)[:, ::-1]], axis=1)
    return _filled(rings), _filled(below)


def _fronts(tiers: Tiers, pads: _Pads, limits: Limits, settings: Settings, own: Floats) -> PolygonArray:
    """What lies on the tiers' fronts: tongues inwards from their notches, and heaps further in; may be fewer."""
    half, tongue = tiers.half, (own[:, 8] < _TONGUES) & (pads.joined | (pads.large == 1))
    wide = half + 0.25 * np.abs(tiers.tip - tiers.notch)[:, 0]
    thick = pads.under * (0.75 + 0.5 * own[:, 9])
    long = np.where(
        tongue, half * (0.3 + 1.2 * own[:, 8]), np.clip(wide * (0.65 + 0.45 * own[:, 10]), 0, 5 * pads.large)
    )
    on = (
        pads.on
        & ~tiers.top
        & (own[:, 12] < settings.boughs)
        & np.where(tongue, pads.joined, own[:, 8] < 1.1 * pads.full)
    )
    on &= np.where(tongue, long > 0.5, (half > _FRONT_MM) & ~pads.close)
    half, thick, long, tongue = half[on, None], thick[on, None], long[on, None], tongue[on, None]
    side, own = tiers.side[on, None], own[on]
    along = np.linspace(0, 1, _PLACES)
    far = np.maximum(half * (0.3 + 0.5 * own[:, 11:12]), long / 2 + limits.land_mm / 2)
    x = np.where(tongue, long * (1.3 * along - 0.3), far + long * (along - 0.5))
    x = tiers.notch[on, :1] - side * x
    thick = np.clip(thick, np.where(tongue, 0, 0.27 * long), 0.42 * long)
    taper = np.where(tongue, np.clip(1 - along, 0, 1) ** 0.5, (5.2 * along * (1 - along) ** 1.4) ** 0.6)
    arch = np.where(tongue, -0.2 * along**2, 0.12 * (4 * along * (1 - along) - 1)) * np.minimum(long, 2.5)
    rise = np.where(tongue, (0.5 * own[:, 11:12] - 0.25) * along, _TILTS * (0.4 + own[:, 10:11]) * (along - 0.5)) * long
    tall = (tiers.notch - tiers.tip)[on, 1:]
    sinks = np.where(tongue, 1.2 * thick * np.clip(0.25 - along, 0, 1) / 0.25, (0.25 + 0.2 * own[:, 9:10]) * tall)
    top = tiers.notch[on, 1:] + arch + rise - sinks
    drips = 0.75 + 0.4 * np.abs(np.sin(np.pi * (long / (0.9 + 1.1 * thick) * along + own[:, 10:11])))
    low = top - thick * taper * drips
    high = top + np.where(tongue, 0, 0.25 * thick * taper)
    upper, lower = np.stack([x, high], axis=2), np.stack([x, low], axis=2)
    return _filled(np.concatenate([upper, lower[:, ::-1]], axis=1))


def _caps(tiers: Tiers, pads: _Pads, own: Floats, fir: Floats) -> tuple[PolygonArray, PolygonArray]:
    """The caps of the tops, a half on either side: what lies over them, and what on them."""
    on = pads.cap > 0
    apex, side = tiers.notch[on], tiers.side[on, None]
    long = tiers.long[on]
    whole = pads.cap[on] >= long
    reach = np.where(whole, long, np.minimum(pads.cap[on] * (0.75 + 0.5 * own[on, 2]), _CAP * long))
    down = np.linspace(0, 1, _PLACES)
    line = _from_apex(tiers.shoulder[on], down * (reach / long)[:, None])
    turn = line[:, -1] - apex
    turn = turn / np.linalg.norm(turn, axis=1, keepdims=True)
    out = np.stack([-side[:, 0] * turn[:, 1], side[:, 0] * turn[:, 0]], axis=1)
    up = np.array([0, 1.0]) * (1 - down[:, None] ** 0.5) + out[:, None] * down[:, None] ** 0.5
    phase = 2 * np.pi * own[on, 4:6]
    lumps = 1 + 0.15 * np.sin(reach[:, None] * down * 2.6 + phase[:, :1])
    high = pads.over[on, None] * np.sqrt(1 - down) * (1.1 - 0.3 * down) * lumps
    upper = line + high[..., None] * up
    low = np.column_stack(
        [apex[:, 0] - side[:, 0] * 0.05, apex[:, 1] - pads.cap[on] * np.where(whole, 1, 0.5 + 0.55 * fir[on, 3])]
    )
    rim = line[:, -1:] + down[:, None] * (low[:, None] - line[:, -1:])
    wide = np.abs(low - line[:, -1])[:, :1]
    rim[..., 1] += 0.3 * np.minimum(wide, 0.6) * np.sin(np.pi * (1.6 + own[on, 6:7]) * down + 3 * phase[:, 1:])
    top = np.column_stack([low[:, 0], apex[:, 1]])[:, None]
    below = np.concatenate([top, line, rim], axis=1)
    crown = np.column_stack([low[:, 0], upper[:, 0, 1]])[:, None]
    over = np.concatenate([crown, upper, line[:, ::-1] - 0.03 * out[:, None], top], axis=1)
    return _filled(over), _filled(below)


def _from_apex(shoulder: Floats, shares: Floats) -> Floats:
    """Places on shoulders, so many shares of each on from its upper end; (n, places, 2) and (n, shares)."""
    at = (1 - shares) * (_PLACES - 1)
    low = np.clip(at.astype(int), 0, _PLACES - 2)
    part = (at - low)[..., None]
    a, b = (np.take_along_axis(shoulder, (low + k)[..., None], axis=1) for k in (0, 1))
    return np.asarray(a + part * (b - a))


def _filled(outlines: Floats) -> PolygonArray:
    """The areas in outlines, (n, places, 2), that may cross themselves: (n,)."""
    return np.asarray(shapely.make_valid(shapely.polygons(outlines)), dtype=object)
