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
_OUT, _IN, _GROWS = (
    0.5,
    0.62,
    0.6,
)  #: a pad is so thick over and under the shoulder where as much as usual has fallen, mm,
#: and grows by this power
_OF_TIER = (0.24, 0.3)  #: and so much of the distance to the tier above at the most
_LEAST = 1.35  #: smallest cuts: it is no thinner
_HEM = 1.25  #: lands: so much of a tier stays dark below it
_SKY = 0.25  #: of the sky: what sees less bears less

_SHORTEST_MM = 0.9  #: a shorter one is a crumb
_SOFT_MM = 0.35  #: narrower inlets of its outline are filled
_FRONT = 0.5  #: of the sky that its fir sees anywhere a tier sees at least
_FRONT_MM, _TILTS = (
    1.9,
    0.4,
)  #: heaps lie on the fronts of tiers whose half is so broad, and fall so much to the side there
_BREADTH = 0.32  #: of a tier's breadth is white below a shoulder at the most
_CLOSE_MM = 0.15  #: and so much more
_LONG_MM = 1.7  #: on short shoulders a pad is so long at least
_UPRIGHT = 2.5  #: steeper ones (rise over run) end below the notch: the outline would be all white
_CAP, _CAP_MM = 0.75, 1.5  #: of a top is white at the most, and so much at least where there is room
_CHANCES = 12  #: numbers for each tier


def on_tiers(
    shapes: PolygonArray, settings: Settings, limits: Limits, *, stands: Callable[[Floats], Mask],
    comes: Callable[[Floats], Floats], rng: Generator,
) -> PolygonArray:  # fmt: skip
    """Pads on the tiers of firs that are drawn as stacks of jagged triangles; disjoint, may be empty.

    Parameters
    ----------
    stands
        Whether something is drawn at places, mm, (n, 2): (n,).
    comes
        How much of what falls comes to places, and is wanted there, 0…1.
    """
    tiers = tiers_of(shapes, stands, _PLACES)
    if settings.scale == "far" or settings.boughs == 0 or len(tiers) == 0:
        return geometry.empty()
    seed = int(rng.integers(2**63))
    own, fir = (_chances(each, np.random.default_rng([seed, k])) for k, each in enumerate((tiers.tip, tiers.fir)))
    pads = _sized(tiers, settings, limits, comes, own, fir)
    halves = _caps(tiers, pads, own, fir)
    out, inner = _shoulders(tiers, pads, limits, settings, own)
    fronts = _fronts(tiers, pads, limits, own)
    over = geometry.parts(shapely.union_all([*out, *halves[0]]))
    within = np.concatenate([inner, fronts, halves[1]])
    if len(over):
        tiles, _ = tiles_of(shapely.disjoint_subset_union_all(shapes), 0.5, shapely.union_all(over))
        over = geometry.parts(shapely.difference(over, shapely.union_all(tiles)))
    white = shapely.union_all(np.concatenate([over, shapely.make_valid(within)]))
    return geometry.parts(opened(closed(white, _SOFT_MM), limits.cut_mm))


def _chances(places: Floats, rng: Generator) -> Floats:
    """Numbers 0…1 for each place, mm, by where it lies alone, (n, 2): (n, `_CHANCES`)."""
    key = np.ascontiguousarray(np.rint(places * 1000)).astype(np.int64).astype(np.uint64)
    key = key[:, :1] * np.uint64(0x9E3779B97F4A7C15) + key[:, 1:] * np.uint64(0xBF58476D1CE4E5B9)
    return mixed(key + rng.integers(2**63, size=_CHANCES, dtype=np.uint64))


@dataclass(frozen=True, eq=False)
class _Pads:
    """What lies on each tier; arrays (n,)."""

    on: Mask  #: whether anything does
    over: Floats  #: how thick over the shoulder, mm,
    under: Floats  #: and how far down below it
    begins: Floats  #: shares of the shoulder, from the tip on: so far it is bare,
    ends: Floats  #: and so far there is snow,
    joined: Mask  #: up to the notch
    cap: Floats  #: how far down a top's cap reaches, mm
    close: Mask  #: whether the tier above is so near that only one of the two bears a pad
    full: Floats  #: how much lies there of what lies on a wide open tier after a usual fall, 0…1


def _sized(
    tiers: Tiers, settings: Settings, limits: Limits, comes: Callable[[Floats], Floats], own: Floats, fir: Floats
) -> _Pads:
    deep = settings.fallen_mm / USUAL_MM
    blows = strength(settings) * tiers.side
    long = np.hypot(*(tiers.notch - tiers.tip).T)
    apart = np.where(tiers.top, long, np.hypot(*(tiers.over - tiers.tip).T))
    sees = _seen(tiers, comes)
    amount = sees * (0.8 + 0.4 * fir[:, 0]) * (0.75 + 0.5 * own[:, 0]) * (1 + 0.3 * blows)
    over = np.minimum(_OUT * deep**_GROWS * amount, _OF_TIER[0] * apart)
    under = np.minimum(_IN * deep**_GROWS * amount * (0.75 + 0.5 * settings.sticky), _OF_TIER[1] * apart)
    under = np.minimum(under, _BREADTH * (2 * tiers.half + np.abs(tiers.tip - tiers.notch)[:, 0]))
    more = np.clip(_LEAST * limits.cut_mm / np.maximum(over + under, 1e-6), 1, None)
    bears = own[:, 1] < (1 - 0.4 * settings.patchy) * np.clip(1 + 0.5 * blows, 0, 1)
    close = apart < over * more + under * more + _HEM * limits.land_mm + _CLOSE_MM
    bears &= ~close | _every_other(tiers, fir[:, 4])
    begins = np.where(own[:, 3] < 0.3, 0.04 + 0.35 * own[:, 3], 0.0)
    reach = 0.5 + 0.28 * deep + 0.3 * settings.sticky + 0.5 * (own[:, 2] - 0.5) + 0.2 * blows
    reach = np.minimum(np.maximum(reach, begins + _LONG_MM / long), 1)
    cap = np.clip(0.7 + 0.3 * settings.fallen_mm, _CAP_MM, None) * (0.75 + 0.5 * fir[:, 2])
    cap = np.minimum(cap, (0.4 + 0.2 * fir[:, 2]) * long)
    below = 1 - (cap + 2 * limits.land_mm) / long
    steep = ~close & (np.abs(tiers.tip - tiers.notch) @ [-_UPRIGHT, 1] > 0)
    most = np.where(steep, 1 - (_HEM * limits.land_mm + 0.2) / long, 1.0)
    ends = np.where(tiers.top, np.minimum(reach, below), np.minimum(np.where(reach > 0.8, 1.0, reach), most))
    on = bears & (sees > 0.3) & ((ends - begins) * long > _SHORTEST_MM)
    return _Pads(
        on,
        over * more,
        under * more,
        begins,
        ends,
        (ends == 1) & ~tiers.top,
        cap,
        close,
        np.clip(sees * deep**0.5, 0, 1),
    )


def _every_other(tiers: Tiers, chance: Floats) -> Mask:
    """Every other tier on each side of each fir, from the first or the second on by chance, (n,)."""
    _, fir = np.unique(tiers.fir, axis=0, return_inverse=True)
    order = np.lexsort((tiers.tip[:, 1], tiers.side, fir.ravel()))
    group = fir.ravel()[order] * 2 + (tiers.side[order] > 0)
    nth = np.arange(len(order)) - np.searchsorted(group, group)
    keep = np.zeros(len(order), dtype=bool)
    keep[order] = (nth + (tiers.side[order] > 0) + (chance[order] > 0.5)) % 2 == 0
    return keep


def _seen(tiers: Tiers, comes: Callable[[Floats], Floats]) -> Floats:
    """How much of what falls comes to each tier, 0…1; (n,).

    Each goes round its trunk: what a neighbour hides of the sky at one side its front sees, as far as the fir itself.
    """
    out = np.column_stack([0.5 * tiers.side, np.ones(len(tiers))])
    sees = np.clip(np.maximum(comes(tiers.tip + out), comes(tiers.over + out)) / _SKY, 0, 1)
    _, fir = np.unique(tiers.fir, axis=0, return_inverse=True)
    most = np.zeros(len(sees))
    np.maximum.at(most, fir.ravel(), sees)
    return np.asarray(np.maximum(sees, _FRONT * most[fir.ravel()]))


def _shoulders(
    tiers: Tiers, pads: _Pads, limits: Limits, settings: Settings, own: Floats
) -> tuple[PolygonArray, PolygonArray]:
    """What lies over the shoulders of the tiers, and what lies on the front below them; (those that bear,) each."""
    on = pads.on
    share = np.linspace(0, 1, _PLACES)
    at = share[None] * np.ones((on.sum(), 1))
    line, side = tiers.shoulder[on], tiers.side[on, None]
    long = np.hypot(*(tiers.notch - tiers.tip)[on].T)[:, None]
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
    low = pads.under[on, None] * np.clip(along / 0.3, 0, 1) ** 0.7 * drips
    thick = np.linalg.norm(line - tiers.under[on], axis=2)
    low = np.where(lies, np.minimum(low, np.clip(thick - _HEM * limits.land_mm, 0, None)), 0) * runs_out
    high = np.where(lies, np.maximum(high, _LEAST * limits.cut_mm - low), 0) * runs_out
    high = np.minimum(high, _wedge(tiers, pads, limits, long, chord, at))
    hangs = (pads.over[on] * (0.15 + 0.5 * own[on, 3]) * (pads.begins[on] == 0))[:, None]
    lip = line[:, 0] - hangs * chord + 0.3 * hangs * out[:, 0]
    upper = line + high[..., None] * up
    rings = np.concatenate([upper[:, ::-1], lip[:, None], line - 0.03 * out], axis=1)
    below = np.concatenate([line + 0.03 * out, (line - low[..., None] * out)[:, ::-1]], axis=1)
    return shapely.make_valid(shapely.polygons(rings)), shapely.make_valid(shapely.polygons(below))


def _wedge(tiers: Tiers, pads: _Pads, limits: Limits, long: Floats, chord: Floats, at: Floats) -> Floats:
    """How thick it has room under the tier above; all of that where no sky would be left over it."""
    on = pads.on
    hangs = (tiers.over - tiers.tip)[on]
    near = (hangs * chord).sum(axis=1, keepdims=True) / long
    gap = np.abs(chord[:, :1] * hangs[:, 1:] - chord[:, 1:] * hangs[:, :1])
    near = np.clip(near, 0.05, 0.98)
    wedge = gap * np.clip((1 - at) / (1 - near), 0, 1)
    outside = gap + 1.2 * (near - at) * long
    room = np.where(at > near, wedge, outside)
    return np.where(tiers.top[on, None], np.inf, room)


def _fronts(tiers: Tiers, pads: _Pads, limits: Limits, own: Floats) -> PolygonArray:
    """What lies on the tiers' fronts: tongues inwards from their notches, and heaps further in; may be fewer."""
    half, tongue = tiers.half, own[:, 8] < 0.55
    wide = half + 0.25 * np.abs(tiers.tip - tiers.notch)[:, 0]
    thick = pads.under * (0.75 + 0.5 * own[:, 9])
    long = np.where(tongue, half * (0.3 + 1.2 * own[:, 8]), np.clip(wide * (0.65 + 0.45 * own[:, 10]), 0, 5))
    on = pads.on & ~tiers.top & np.where(tongue, pads.joined, own[:, 8] < 1.1 * pads.full)
    on &= np.where(tongue, long > 0.5, (half > _FRONT_MM) & ~pads.close)
    half, tongue, thick, long = (each[on, None] for each in (half, tongue, thick, long))
    side, own = tiers.side[on, None], own[on]
    along = np.linspace(0, 1, _PLACES)
    far = np.maximum(half * (0.3 + 0.5 * own[:, 11:]), long / 2 + limits.land_mm / 2)
    x = np.where(tongue, long * (1.3 * along - 0.3), far + long * (along - 0.5))
    x = tiers.notch[on, :1] - side * x
    thick = np.clip(thick, np.where(tongue, 0, 0.27 * long), 0.42 * long)
    taper = np.where(tongue, np.clip(1 - along, 0, 1) ** 0.5, (5.2 * along * (1 - along) ** 1.4) ** 0.6)
    arch = np.where(tongue, -0.2 * along**2, 0.12 * (4 * along * (1 - along) - 1)) * np.minimum(long, 2.5)
    rise = np.where(tongue, (0.5 * own[:, 11:] - 0.25) * along, _TILTS * (0.4 + own[:, 10:11]) * (along - 0.5)) * long
    tall = (tiers.notch - tiers.tip)[on, 1:]
    sinks = np.where(tongue, 1.2 * thick * np.clip(0.25 - along, 0, 1) / 0.25, (0.25 + 0.2 * own[:, 9:10]) * tall)
    top = tiers.notch[on, 1:] + arch + rise - sinks
    drips = 0.75 + 0.4 * np.abs(np.sin(np.pi * (long / (0.9 + 1.1 * thick) * along + own[:, 10:11])))
    low = top - thick * taper * drips
    high = top + np.where(tongue, 0, 0.25 * thick * taper)
    upper, lower = np.stack([x, high], axis=2), np.stack([x, low], axis=2)
    return np.asarray(shapely.make_valid(shapely.polygons(np.concatenate([upper, lower[:, ::-1]], axis=1))))


def _caps(tiers: Tiers, pads: _Pads, own: Floats, fir: Floats) -> tuple[PolygonArray, PolygonArray]:
    """The caps of the tops, a half on either side: what lies over them, and what on them."""
    on = tiers.top & (pads.over > 0)
    apex, side = tiers.notch[on], tiers.side[on, None]
    long = np.hypot(*(tiers.notch - tiers.tip)[on].T)
    reach = pads.cap[on] * (0.75 + 0.5 * own[on, 2])
    down = np.linspace(0, 1, _PLACES)
    line = _from_apex(tiers.shoulder[on], down * np.minimum(reach / long, _CAP)[:, None])
    turn = line[:, -1] - apex
    turn = turn / np.linalg.norm(turn, axis=1, keepdims=True)
    out = np.stack([-side[:, 0] * turn[:, 1], side[:, 0] * turn[:, 0]], axis=1)
    up = np.array([0, 1.0]) * (1 - down[:, None] ** 0.5) + out[:, None] * down[:, None] ** 0.5
    phase = 2 * np.pi * own[on, 4:6]
    lumps = 1 + 0.15 * np.sin(reach[:, None] * down * 2.6 + phase[:, :1])
    high = pads.over[on, None] * np.sqrt(1 - down) * (1.1 - 0.3 * down) * lumps
    upper = line + high[..., None] * up
    low = np.column_stack([apex[:, 0] - side[:, 0] * 0.05, apex[:, 1] - pads.cap[on] * (0.5 + 0.55 * fir[on, 3])])
    rim = line[:, -1:] + down[:, None] * (low[:, None] - line[:, -1:])
    wide = np.abs(low - line[:, -1])[:, :1]
    rim[..., 1] += 0.3 * np.minimum(wide, 0.6) * np.sin(np.pi * (1.6 + own[on, 6:7]) * down + 3 * phase[:, 1:])
    top = np.column_stack([low[:, 0], apex[:, 1]])[:, None]
    below = np.concatenate([top, line, rim], axis=1)
    crown = np.column_stack([low[:, 0], upper[:, 0, 1]])[:, None]
    over = np.concatenate([crown, upper, line[:, ::-1] - 0.03 * out[:, None], top], axis=1)
    return tuple(np.asarray(shapely.make_valid(shapely.polygons(each))) for each in (over, below))


def _from_apex(shoulder: Floats, shares: Floats) -> Floats:
    """Places on shoulders, so many shares of each on from its upper end; (n, places, 2) and (n, shares)."""
    at = (1 - shares) * (_PLACES - 1)
    low = np.clip(at.astype(int), 0, _PLACES - 2)
    part = (at - low)[..., None]
    a, b = (np.take_along_axis(shoulder, (low + k)[..., None], axis=1) for k in (0, 1))
    return np.asarray(a + part * (b - a))
