"""Marks at work one after the other, each on what lies about it; what was worked out before is not worked out again."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.marking.applying import in_order, marked, reach_mm
from carvegen.motifs.growth import Growth

if TYPE_CHECKING:
    from numpy.random import Generator
    from shapely.geometry.base import BaseGeometry

    from carvegen.geometry import PolygonArray
    from carvegen.marking.applying import Bed, Grow
    from carvegen.marking.marks import Mark
    from carvegen.motifs.growth import Place

__all__ = ["Memory", "marked_nearby", "seen_mm"]

_MORE_MM = 4.0  #: so much further than a mark reaches all is looked at that its work may depend on
_WIDER = 2.0  #: and so many times as far as it reaches
_MOST = 20_000  #: pieces of work that are remembered


def seen_mm(bed: Bed) -> float:
    """How far beyond a mark its work depends on anything."""
    return _WIDER * reach_mm(bed.motif, bed.settings, bed.limits) + _MORE_MM


@dataclass(frozen=True)
class Memory:
    """What marks have made of what lay about them, while a print stays open."""

    _made: dict[bytes, Growth] = field(default_factory=dict)

    def get(self, key: bytes) -> Growth | None:
        """What was made, if it is known."""
        growth = self._made.pop(key, None)
        if growth is not None:
            self._made[key] = growth  # the last asked is the last to go
        return growth

    def put(self, key: bytes, growth: Growth) -> None:
        """Remember what was made."""
        self._made[key] = growth
        if len(self._made) > _MOST:
            del self._made[next(iter(self._made))]


def marked_nearby(growth: Growth, marks: Sequence[Mark], bed: Bed, memory: Memory) -> Growth:
    """What `carvegen.marking.applying.marked` makes, each mark on what lies about it alone."""
    for mark in in_order(marks):
        if not shapely.is_empty(mark.shape):
            growth = _one(growth, mark, bed.of(mark), memory)
    return growth


def _one(growth: Growth, mark: Mark, bed: Bed, memory: Memory) -> Growth:
    area = shapely.buffer(mark.shape, seen_mm(bed), quad_segs=4)
    shapely.prepare(area)
    cuts, cuts_away = _split(growth.cuts, area)
    free, free_away = _split(growth.free, area)
    hers, hers_away = _split(growth.to_decide, area)
    others, _ = _split(bed.others, area)
    key = _key(mark, bed, cuts, free, hers, others)
    made = memory.get(key)
    if made is None:
        near = replace(bed, others=others, grow=_remembered(bed, memory))
        made = marked(Growth(cuts=cuts, free=free, to_decide=hers), [mark], near)
        memory.put(key, made)
    return replace(
        growth, cuts=np.concatenate([cuts_away, made.cuts]), free=np.concatenate([free_away, made.free]),
        to_decide=np.concatenate([hers_away, made.to_decide]), on_shapes=geometry.empty(),
    )  # fmt: skip


def _remembered(bed: Bed, memory: Memory) -> Grow | None:
    """How the motif grows, but the same is grown once."""
    grow = bed.grow
    if grow is None:
        return None

    def growing(settings: Any, place: Place, rng: Generator) -> PolygonArray:  # noqa: ANN401
        fingerprint = hashlib.blake2b(
            repr((bed.name, bed.limits, settings, rng.bit_generator.state)).encode(), digest_size=16
        )
        fingerprint.update(shapely.to_wkb(place.area))
        fingerprint.update(b"" if place.frame is None else shapely.to_wkb(place.frame))
        growth = memory.get(fingerprint.digest())
        if growth is None:
            growth = Growth(cuts=grow(settings, place, rng))
            memory.put(fingerprint.digest(), growth)
        return growth.cuts

    return growing


def _split(shapes: PolygonArray, area: BaseGeometry) -> tuple[PolygonArray, PolygonArray]:
    """The shapes that meet an area, and the rest."""
    met = shapely.intersects(area, shapes)
    return shapes[met], shapes[~met]


def _key(mark: Mark, bed: Bed, *arrays: PolygonArray) -> bytes:
    fingerprint = hashlib.blake2b(
        repr((bed.name, bed.limits, mark.key, mark.meaning, mark.strength, mark.attempt)).encode(), digest_size=16
    )
    fingerprint.update(shapely.to_wkb(mark.shape))
    for shapes in arrays:
        fingerprint.update(len(shapes).to_bytes(4, "little"))
        for wkb in shapely.to_wkb(shapes).tolist():
            fingerprint.update(wkb)
    return fingerprint.digest()
