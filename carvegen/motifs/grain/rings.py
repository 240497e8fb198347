"""Widths of growth rings, as measured in wood: uneven, and like their neighbours."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats

__all__ = ["RING_MEMORY", "RING_UNEVEN", "hard_years", "ring_widths"]

#: Log-normal first-order autoregressive ring widths. Beech (source: silva-fennica-1255): mean 2.80 mm,
#: standard deviation 1.01 mm (36 % of the mean), first-order autocorrelation 0.61.
RING_UNEVEN = 0.36
RING_MEMORY = 0.61


def ring_widths(count: int, mean_mm: float, rng: Generator) -> Floats:
    """Widths of successive rings, from the pith outwards; mm, (count,).

    The logarithms follow ``x[k] = m x[k - 1] + e[k]``; spread and memory are those of measured beech
    (`RING_UNEVEN`, `RING_MEMORY`; that widths of tree rings are autoregressive: source: matalas-1962).
    """
    from scipy.signal import lfilter

    spread = np.sqrt(np.log1p(RING_UNEVEN**2))
    shock = rng.normal(size=count + _RUN_IN) * np.sqrt(1 - RING_MEMORY**2)
    steady = lfilter([1.0], [1.0, -RING_MEMORY], shock)[_RUN_IN:]
    return np.asarray(mean_mm * np.exp(spread * steady - spread**2 / 2))


def hard_years(count: int, rng: Generator) -> Floats:
    """How much narrower rings are in runs of hard years, and wider in good decades, mean 1 over all; (count,).

    A tree that is shaded, eaten bare or dry for some years lays down a bundle of narrow rings, and recovers within
    a few (suppression and release, source: fritts-1976; lengths and depth from memory).
    """
    from scipy.signal import lfilter

    swing = rng.normal(0, _SWING * np.sqrt(1 - _LASTS**2), count + _RUN_IN)
    log = lfilter([1.0], [1.0, -_LASTS], swing)[_RUN_IN:]
    start = int(rng.integers(0, _APART[1]))
    while start < count:
        years = int(rng.integers(*_HARD))
        depth, share = rng.uniform(0.35, 0.9), (np.arange(years) + 0.5) / years
        run = log[start : start + years]
        run -= depth * np.minimum(1.0, 2.5 * (1 - share))[: len(run)]
        start += years + int(rng.integers(*_APART))
    factor = np.exp(log)
    return np.asarray(factor / factor.mean())


_SWING, _LASTS = 0.2, 0.93  #: spread of the decades' logarithm, and how alike successive years are (by eye)
_HARD, _APART = (4, 11), (9, 32)  #: years that a hard time lasts, and from one to the next
_RUN_IN = 50  #: rings drawn before the first, so that the series starts steady
