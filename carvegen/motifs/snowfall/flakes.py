"""Flakes as they would fall, before any land is kept: places, sizes, outlines, torn clumps."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from carvegen import geometry
from carvegen.motifs.snowfall.chance import Draws, keys
from carvegen.motifs.snowfall.outlines import outlines, rounded_until

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.base.limits import Limits
    from carvegen.geometry import (
        Floats,
        Indices,
        Mask,
        PolygonArray,
    )

__all__ = ["FILLED", "PLAINER", "Flakes", "Looks", "drawn", "falling", "passes_mm", "shrunk_mm", "sized"]

FILLED = 0.72  #: a flake's area over its disc's, on average
_ROUNDEST = 0.75  #: over its reach, the radius of the disc that passes in one that has shrunk as far as it may
_SAG_MM = 0.012  #: a chord may stray this far from the curve
_STEPS = np.array([12, 16, 20, 28, 40, 60])  #: points of outlines
_LOT = 5000  #: outlines drawn at a time: their numbers stay in a processor's cache
_MOST = 5  #: crystals that stick to the first of a clump
_HOLDS = 1.15  #: a torn clump lies in a disc so much larger than a flake's
_LARGE = 2.4  #: flakes of so many times the least size may be torn,
PECK_MM = 0.5  #: if they reach further than what a tool makes in a peck or two
PLAINER = 0.6  #: in a mass or a clump, whose rim shows its flakes in part only, they are so much less worked
_PLAIN_MM = (0.9, 1.4)  #: reaches up to which a flake may be a plain disc or square, and from which none is


@dataclass(frozen=True, kw_only=True, eq=False)
class Looks:
    """What all flakes share."""

    least_mm: float  #: least reach of a flake
    passes_mm: float  #: radius of the disc that passes all through each
    most_mm: float  #: largest reach
    round: float
    torn: float
    longer: Floats  #: how much the wind draws out each layer's flakes, 0…1
    along_deg: float
    worked: float = 1.0  #: 1: large ones show many strokes of the tool; 0: they are plain


@dataclass(frozen=True, eq=False)
class Flakes:
    """Flakes in the air; arrays of one length."""

    xy: Floats  #: (n, 2), mm
    reach: Floats  #: of the disc about `xy` that holds each, mm
    layer: Indices  #: 0 far, 1 middle, 2 near
    key: NDArray[np.uint64]  #: each one's own
    torn: Mask  #: whether it is a clump of several crystals
    mark: NDArray[np.uint64]  #: its own, another once it is moved or shrunk
    packed: Floats  #: 0 in thin air to 1 where flakes lie so thick that they are one mass
    shape: PolygonArray  #: None until it is drawn; of torn ones their crystals, which lie over one another

    def __len__(self) -> int:
        return len(self.reach)

    def with_more(self, other: Flakes) -> Flakes:
        """These flakes, then the others."""
        pairs = ((getattr(self, name), getattr(other, name)) for name in self.__dataclass_fields__)
        return Flakes(*(np.concatenate(pair) for pair in pairs))

    def chosen(self, which: Indices | Mask) -> Flakes:
        """Some of the flakes."""
        rows = np.flatnonzero(which) if which.dtype == bool else which
        return Flakes(*(getattr(self, name).take(rows, axis=0) for name in self.__dataclass_fields__))

    def changed(self, scale: Floats, shift: Floats) -> Flakes:
        """The flakes, not drawn yet, shrunk and moved."""
        mark, which = self.mark.copy(), np.flatnonzero((scale != 1) | (shift != 0).any(axis=1))
        mark[which] = keys(mark[which], *np.column_stack([scale, shift])[which].view(np.uint64).T)
        return replace(self, xy=self.xy + shift, reach=self.reach * scale, mark=mark)


def shrunk_mm(limits: Limits) -> float:
    """The least reach of a flake that shrinks beside another."""
    return passes_mm(limits) / _ROUNDEST


def passes_mm(limits: Limits) -> float:
    """The radius of the disc that passes all through each flake."""
    return limits.cut_mm / 2 * 1.03 + 2 * geometry.GRID_MM


def sized(looks: Looks, draws: Draws, median_mm: Floats, spread: Floats) -> Floats:
    """Reaches about a median, log-normal; softly kept above the least and below the most; (n,)."""
    wish = np.log(median_mm / 2) + spread * draws.normal()[:, 0]
    low, high = np.log(looks.least_mm), np.log(max(looks.most_mm, 1.05 * looks.least_mm))
    soft = 0.12
    above = low + soft * np.logaddexp(0, (wish - low) / soft)
    return np.asarray(np.exp(np.minimum(high - soft * np.logaddexp(0, (high - above) / soft), high)))


def falling(
    looks: Looks, xy: Floats, reach: Floats, layer: Indices, *, key: NDArray[np.uint64], packed: Floats
) -> Flakes:
    """The flakes at these places, some of them torn by their own chance; not drawn yet."""
    size = np.log2(reach / (_LARGE * looks.least_mm))
    torn = Draws(key, drawn=8).random()[:, 0] < looks.torn * np.clip(0.7 + 1.0 * size, 0, 2.4)
    torn &= reach > PECK_MM
    return Flakes(xy, np.where(torn, _HOLDS * reach, reach), layer, key, torn, key, packed, np.full(len(xy), None))


def drawn(looks: Looks, flakes: Flakes) -> PolygonArray:
    """The flakes' shapes, each drawn by its own chance."""
    draws = Draws(flakes.key, drawn=9)
    shape, alone, torn = flakes.shape.copy(), ~flakes.torn, np.flatnonzero(flakes.torn)
    shape[alone] = _outlined(looks, flakes.xy[alone], flakes.reach[alone], flakes.layer[alone], draws.of(alone))
    if len(torn):
        reach = flakes.reach[torn] / _HOLDS
        shape[torn] = _clumped(looks, flakes.xy[torn], reach, flakes.layer[torn], draws.of(torn))
    return shape


def _outlined(looks: Looks, xy: Floats, reach: Floats, layer: Indices, draws: Draws) -> PolygonArray:
    """Their polygons."""
    shapes = np.empty(len(xy), dtype=object)
    need = np.pi / np.sqrt(2 * _SAG_MM / np.maximum(reach, 1e-6))
    low, high = _PLAIN_MM
    size = np.clip((reach - low) / (high - low), 0, 1)
    large = looks.worked * size
    points = _STEPS[np.minimum(np.searchsorted(_STEPS, need), len(_STEPS) - 1)]
    lots = [(count, np.flatnonzero(points == count)) for count in _STEPS.tolist()]
    for count, which in ((count, lot[k : k + _LOT]) for count, lot in lots for k in range(0, len(lot), _LOT)):
        unit = outlines(
            draws.of(which),
            count,
            round_share=looks.round,
            longer=looks.longer[layer[which]],
            along_deg=looks.along_deg,
            large=large[which],
            crisp=1 - size[which],
        )
        unit = rounded_until(unit, looks.passes_mm / reach[which])
        corners = xy[which, None, :] + reach[which, None, None] * unit
        shapes[which] = geometry.closed_polygons(np.round(corners / geometry.GRID_MM) * geometry.GRID_MM)
    return shapes


def _clumped(looks: Looks, xy: Floats, reach: Floats, layer: Indices, draws: Draws) -> PolygonArray:
    """Each a clump of crystals that have stuck to one another, torn at its rim, about as large as a flake; in pieces.

    Large falling flakes are aggregates (source: gunn-marshall).
    """
    count, here = len(xy), np.arange(len(xy))
    size, place = np.zeros((count, _MOST + 1)), np.zeros((count, _MOST + 1, 2))
    size[:, 0] = np.maximum(reach * draws.uniform(0.36, 0.54)[:, 0], looks.least_mm)
    most = 1 + np.floor(draws.random()[:, 0] ** 1.3 * np.clip(1.5 + 1.5 * np.log2(reach / looks.least_mm), 1, _MOST))
    last = np.zeros(count, dtype=np.int64)
    for k in range(1, _MOST + 1):
        chance = draws.random(4)
        earlier = np.minimum((chance[:, 0] * 1.5 * k).astype(np.int64), last)
        own = np.maximum(reach * np.exp(np.log(0.26) + chance[:, 1] * np.log(0.6 / 0.26)), looks.least_mm)
        turn = 2 * np.pi * chance[:, 2]
        away = 0.9 * size[here, earlier] + (0.4 + 0.45 * chance[:, 3]) * own
        spot = place[here, earlier] + away[:, None] * np.column_stack([np.cos(turn), np.sin(turn)])
        fits = (most >= k) & (np.hypot(*spot.T) + own <= _HOLDS * reach)
        size[fits, k], place[fits, k], last[fits] = own[fits], spot[fits], k
    whose, which = np.nonzero(size > 0)
    own_key = Draws(draws.key[whose] + which.astype(np.uint64) * np.uint64(0x51_7C_C1_B7_27_22_0A_95), drawn=64)
    plainer = replace(looks, worked=looks.worked * (1 - PLAINER))
    members = _outlined(plainer, xy[whose] + place[whose, which], size[whose, which], layer[whose], own_key)
    return np.asarray(shapely.geometrycollections(members, indices=whose), dtype=object)
