"""Where flakes would fall: flurries of clumps that rise out of the calm and fade into it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.nature.fields import noise_at
from carvegen.nature.points import offspring, poisson, thomas

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats
    from carvegen.motifs.snowfall.sky import Sky

__all__ = ["clumping_chance", "fading", "falling", "larger_within", "places"]

_STRAY = 0.02  #: chance that a flake falls in the calm all the same
_SHARPER = 0.6  #: the power of the rise grows by so much of the calm each time that twice as many fall
_FLAKES_PER_CLUMP = 8.0  #: at least, on average
_CLUMPS_APART = 4.0  #: clumps lie so far apart at least, on average, in flakes; more flakes make them denser, not more
_CLUMP_UNEVEN = 0.8  #: shape of the gamma distribution of clump sizes: many singles, some big ones
_TIGHT = (-0.25, 0.5)  #: how far a clump spreads, in flakes: mean and deviation of the logarithm
_HEART = 0.75  #: of the rise; from there on most flakes that find room stay
_EVEN = 0.1  #: a sky less uneven than this is taken for even
_TUFTS = 4.0  #: flakes: size of the tufts in which a flurry frays out
_BENT = 0.3  #: how far the bands of a squall wander, in patches


def places(sky: Sky, supply: float, rng: Generator) -> Floats:
    """Where flakes would fall: flurries of clumps of flakes, and flakes by chance, fewer in the calm."""
    return falling(sky, supply, rng)[0]


def falling(sky: Sky, supply: float, rng: Generator) -> tuple[Floats, Floats]:
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


def _rise(sky: Sky, xy: Floats, rng: Generator) -> Floats:
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


def _falls(sky: Sky, rise: Floats, dense: float) -> Floats:
    """The chance that a flake falls at each place: next to none in the calm, rising slowly outside it.

    Where many times the usual number falls (`dense`), because there is little room, calm and fringe stay as thin.
    """
    more = max(dense, 1.0)
    return np.asarray(_STRAY / more + (1 - _STRAY) * rise ** (1.5 + _SHARPER * sky.settings.calm * np.log2(more)))


def fading(sky: Sky, xy: Floats, rise: Floats, roomy: float, rng: Generator) -> Floats:
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


def larger_within(radius: Floats, rise: Floats, rng: Generator) -> Floats:
    """The same radii in another order: the largest more often in the heart of a flurry, specks at its rim."""
    if rise.max(initial=0) < _EVEN:
        return radius
    wish = np.argsort(np.argsort(rise + rng.random(len(rise))))
    return np.asarray(np.sort(radius)[wish])


def clumping_chance(sky: Sky, radius: Floats) -> Floats:
    """The larger a flake, the likelier it is several that have stuck together."""
    return np.asarray(1.4 * sky.settings.grown_together * np.clip(radius / sky.least - 1.7, 0, 2) / 2)
