"""Knots: dented ellipses with rings of their own, no two alike, and how the grain flows round them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import accumulate
from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.grain.levels import traced
from carvegen.motifs.shared.fields import smoothstep
from carvegen.motifs.shared.strokes import Strokes, gathered, own_noise

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats, Indices, Mask

__all__ = ["CALM", "Knot", "Look", "flowed", "hard_years", "knot_strokes", "random_knots", "ring_widths"]

#: Log-normal first-order autoregressive ring widths. Beech (source: silva-fennica-1255): mean 2.80 mm,
#: standard deviation 1.01 mm (36 % of the mean), first-order autocorrelation 0.61.
RING_UNEVEN = 0.36
RING_MEMORY = 0.61


def ring_widths(count: int, mean_mm: float, rng: Generator) -> Floats:
    """Widths of successive rings, from the pith outwards; mm, (count,).

    The logarithms follow ``x[k] = m x[k - 1] + e[k]``; spread and memory are those of measured beech
    (`RING_UNEVEN`, `RING_MEMORY`; that widths of tree rings are autoregressive: source: matalas-1962).
    """
    spread = np.sqrt(np.log1p(RING_UNEVEN**2))
    shock = rng.normal(size=count + _RUN_IN) * np.sqrt(1 - RING_MEMORY**2)
    steady = _remembering(shock, RING_MEMORY)[_RUN_IN:]
    return np.asarray(mean_mm * np.exp(spread * steady - spread**2 / 2))


def hard_years(count: int, rng: Generator) -> Floats:
    """How much narrower rings are in runs of hard years, and wider in good decades, mean 1 over all; (count,).

    A tree that is shaded, eaten bare or dry for some years lays down a bundle of narrow rings, and recovers within
    a few (suppression and release, source: fritts-1976; lengths and depth from memory).
    """
    swing = rng.normal(0, _SWING * np.sqrt(1 - _LASTS**2), count + _RUN_IN)
    log = _remembering(swing, _LASTS)[_RUN_IN:]
    start = int(rng.integers(0, _APART[1]))
    while start < count:
        years = int(rng.integers(*_HARD))
        depth, share = rng.uniform(0.35, 0.9), (np.arange(years) + 0.5) / years
        run = log[start : start + years]
        run -= depth * np.minimum(1.0, 2.5 * (1 - share))[: len(run)]
        start += years + int(rng.integers(*_APART))
    factor = np.exp(log)
    return np.asarray(factor / factor.mean())


def _remembering(shocks: Floats, memory: float) -> Floats:
    """The series ``x[k] = memory x[k - 1] + shocks[k]``; (n,)."""
    return np.array(list(accumulate(shocks.tolist(), lambda before, new: memory * before + new)))


_SWING, _LASTS = 0.2, 0.93  #: spread of the decades' logarithm, and how alike successive years are (by eye)
_HARD, _APART = (4, 11), (9, 32)  #: years that a hard time lasts, and from one to the next
_RUN_IN = 50  #: rings drawn before the first, so that the series starts steady


@dataclass(frozen=True, kw_only=True)
class Knot:
    """A knot on the face: an ellipse, softly dented, with its heart off the middle."""

    xy: Floats  #: (2,), mm in the board's frame
    across_mm: float  #: half its width across the grain
    longer: float  #: length along the grain over width
    turn_deg: float
    dents: Floats  #: (2, harmonics): size and phase of the dents
    heart: Floats  #: (2,), the heart's place, of the half widths
    dead: bool  #: dead knots are bounded by bark; live ones have grown in

    @property
    def size_mm(self) -> float:
        """Its longer half."""
        return self.across_mm * max(self.longer, 1.0)

    def reach(self, xy: Floats) -> Floats:
        """How far out points lie: 0 in the middle, 1 on the rim; (n,)."""
        place = self._unit(xy)
        return np.asarray(np.hypot(place[:, 0], place[:, 1]))

    def rings(self, xy: Floats) -> Floats:
        """The same about the heart: 0 at the heart, 1 on the rim, between them circles that drift; (n,).

        The circle of radius s has its middle at ``heart (1 - s)``: a quadratic in s.
        """
        away, heart = self._unit(xy) - self.heart, self.heart
        lean, rest = away @ heart, 1 - heart @ heart
        return np.asarray((lean + np.sqrt(lean**2 + rest * (away**2).sum(axis=1))) / rest)

    def near(self, xy: Floats, times: float) -> Indices:
        """The points that may lie within so many rim radii of its middle."""
        away = np.abs(xy - self.xy)
        return np.flatnonzero((away < times * _DENTED * self.size_mm).all(axis=1))

    def holds(self, xy: Floats) -> Mask:
        """Whether points lie inside the rim; (n,)."""
        mask, near = np.zeros(len(xy), dtype=bool), self.near(xy, 1.0)
        mask[near] = self.reach(xy[near]) < 1
        return mask

    def point(self, unit: Floats) -> Floats:
        """Points of the face from places in the knot, 1 the rim before dents; (n, 2)."""
        turn = np.radians(self.turn_deg)
        cos, sin = np.cos(turn), np.sin(turn)
        turned = (unit * [self.across_mm, self.across_mm * self.longer]) @ np.array([[cos, sin], [-sin, cos]])
        return np.asarray(turned + self.xy)

    def _unit(self, xy: Floats) -> Floats:
        turn = np.radians(self.turn_deg)
        cos, sin = np.cos(turn), np.sin(turn)
        place = (xy - self.xy) @ np.array([[cos, -sin], [sin, cos]]) / [self.across_mm, self.across_mm * self.longer]
        angle = np.arctan2(place[:, 1], place[:, 0])[:, None]
        size, phase = self.dents
        dent = (size * np.cos((2 + np.arange(len(size))) * angle + phase)).sum(axis=1)
        return np.asarray(place / (1 + dent * np.minimum(np.hypot(*place.T), 1) ** 2)[:, None])


def random_knots(
    wanted: float, reach: tuple[float, float], *, width_mm: float, dead: float, plane_deg: float, rng: Generator
) -> tuple[Knot, ...]:
    """Knots strewn over the face within `reach` of its middle, none touching; no two alike.

    Where the board is quarter-sawn a branch lies in the face: its knot is drawn out.
    """
    count = int(wanted) + int(rng.random() < wanted % 1)
    knots: list[Knot] = []
    for _ in range(8 * count):
        if len(knots) == count:
            break
        knot = _random_knot(reach, width_mm, dead, plane_deg, rng)
        far = [np.hypot(*(knot.xy - other.xy)) > 1.6 * (knot.size_mm + other.size_mm) for other in knots]
        if all(far):
            knots.append(knot)
    return tuple(knots)


def _random_knot(reach: tuple[float, float], width_mm: float, dead: float, plane_deg: float, rng: Generator) -> Knot:
    across = width_mm / 2 * float(np.exp(rng.normal(0.0, 0.42)))
    spike = np.sin(np.radians(plane_deg)) ** 2 * rng.random()
    return Knot(
        xy=rng.uniform(-0.9, 0.9, 2) * reach,
        across_mm=across,
        longer=float(np.exp(rng.normal(0.25, 0.22)) * (1 + 1.2 * spike)),
        turn_deg=float(rng.normal(0, 16)),
        dents=np.stack([np.clip(rng.normal(0, 0.13, 4), -0.2, 0.2) / np.arange(1, 5), rng.uniform(0, 2 * np.pi, 4)]),
        heart=rng.uniform(-0.3, 0.3, 2),
        dead=bool(rng.random() < dead),
    )


def flowed(values: Floats, at_knot: float, reach: Floats) -> Floats:
    """A field bent so that its level lines flow round a knot.

    ``f' = f0 + (f - f0)(1 - 1/r²)``, r the distance in rim radii and f0 the field's value at the knot. For an
    even field ``f = x`` it is the stream function of a doublet in an even stream, the flow round a cylinder
    (that grain flows so: source: goodman-bodig): the rim is itself a level line, and lines lie twice as
    close at its shoulders. From `CALM` / 2 rim radii on the bend is faded out; at `CALM` it has gone.
    """
    fade = np.clip(2 - 2 * reach / CALM, 0, 1)
    return np.asarray(at_knot + (values - at_knot) * (1 - smoothstep(fade) / np.maximum(reach, 1.0) ** 2))


#: So many rim radii from a knot the grain no longer knows of it.
CALM = 8.0


@dataclass(frozen=True, kw_only=True)
class Look:
    """How heavily a knot is cut; mm."""

    pitch_mm: float  #: from ring to ring, on average
    line_mm: float  #: width of a ring's line where it is strong
    rim_mm: float  #: width of the rim
    least_mm: float  #: narrowest line


def knot_strokes(knot: Knot, look: Look, rng: Generator) -> tuple[Strokes, Floats]:
    """The rings, the rim and the cracked heart of a knot, broken here and there, and their ranks.

    Ranks are 20 and more for rings, 30 for the rim, 40 for the heart.
    """
    widths = ring_widths(int(3 * knot.across_mm / look.pitch_mm) + 3, look.pitch_mm, rng)
    radii = 1 - np.cumsum(np.concatenate([[0.0], widths])) / knot.across_mm
    radii = radii[(radii * knot.across_mm > 0.6 * look.pitch_mm) | (radii == 1)]
    lines, level = _rings(knot, radii, rng)
    weight = np.exp(rng.normal(0, 0.25, len(radii)))[level] if len(level) else np.empty(0)
    rim = level == 0
    vigour = own_noise(lines, max(knot.across_mm, 2.0), rng) + np.where(rim, 1.7 if knot.dead else 1.0, 1.25)
    full = np.where(rim, look.rim_mm, look.line_mm * weight)
    strong = np.clip(vigour / 1.9, 0, 1)
    half = np.where(vigour > 0, look.least_mm + np.maximum(full - look.least_mm, 0) * strong, 0.0) / 2
    heart = _heart(knot, rng)
    hearts = heart.with_half(np.maximum(heart.half * look.rim_mm, look.least_mm / 2))
    rank = np.concatenate([vigour + np.where(rim, 30.0, 20.0), np.full(len(heart), 40.0)])
    return gathered([lines.with_half(half), hearts]), rank


def _rings(knot: Knot, radii: Floats, rng: Generator) -> tuple[Strokes, Indices]:
    size = knot.size_mm * _DENTED
    step = max(knot.across_mm / 24, 0.04)
    u, v = (np.arange(-size, size + step, step) + middle for middle in knot.xy)
    reach = knot.rings(np.stack(np.meshgrid(u, v), axis=-1).reshape(-1, 2)).reshape(len(v), len(u))
    return traced(u, v, reach, radii, rng)


def _heart(knot: Knot, rng: Generator) -> Strokes:
    """Cracks from the heart: one short one, or a star of them in a dead knot; half-widths are shares of the rim's."""
    rays = int(rng.integers(2, 4)) if knot.dead else 1
    angle = rng.uniform(0, 2 * np.pi) + np.arange(rays) * 2 * np.pi / rays + rng.normal(0, 0.3, rays)
    reach = rng.uniform(0.45, 0.85, rays) if knot.dead else rng.uniform(0.3, 0.5, rays)
    away = np.linspace(0, 1, _CRACK)
    lines = []
    for turn, far, bow in zip(angle, reach, 0.5 * rng.normal(size=rays), strict=True):
        out = (away * far)[:, None] * np.column_stack([np.cos(turn + bow * away), np.sin(turn + bow * away)])
        lines.append(Strokes(knot.point(knot.heart + out), np.zeros(_CRACK, dtype=np.int64), 0.4 * (1 - away)))
    return gathered(lines)


_DENTED = 1.5  #: a dent may push the rim out by less than this
_CRACK = 12  #: points of a crack
