"""Flake outlines: round to squarish, softly irregular, no two alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats

__all__ = ["SMALLEST_REACH", "outlines", "superellipse"]

#: An outline reaches nowhere less than this share of its largest reach: bounds how thin a flake can be.
SMALLEST_REACH = 0.6

_HARMONICS = np.arange(2, 7)
_ROUGHNESS = 0.17  #: standard deviation of the second harmonic; higher ones fall as 1/k
_LONGEST = 1.5  #: length over breadth at most


def superellipse(angle: Floats, exponent: Floats) -> Floats:
    """Polar reach of ``|x|^n + |y|^n = 1`` (G. Lamé 1818): 2 is the circle, large n the square; broadcasts."""
    return np.asarray((np.abs(np.cos(angle)) ** exponent + np.abs(np.sin(angle)) ** exponent) ** (-1 / exponent))


def outlines(
    count: int,
    points: int,
    *,
    round_share: float,
    rng: Generator,
    longer: float = 0.0,
    along_deg: float = 0.0,
) -> Floats:
    """Star-shaped outlines about the origin that reach 1 at most and `SMALLEST_REACH` at least.

    Parameters
    ----------
    round_share
        Share of round flakes; the rest is squarish.
    longer
        0: elongation and turn are left to chance; 1: all are drawn out along `along_deg`.

    Returns
    -------
    Floats
        (count, points, 2), counter-clockwise, not repeated at the end. Star-shaped, so never self-crossing.
    """
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False) + rng.uniform(0, 2 * np.pi / points, (count, 1))
    exponent = _exponents(count, round_share, rng)[:, None]
    turn = rng.uniform(0, np.pi, (count, 1))
    reach = superellipse(angle - turn, exponent) * _drawn_out(angle, count, longer, along_deg, rng)
    reach *= np.exp(_waves(angle, rng))
    reach /= reach.max(axis=1, keepdims=True)
    reach = SMALLEST_REACH + (1 - SMALLEST_REACH) * _eased((reach - SMALLEST_REACH) / (1 - SMALLEST_REACH))
    return np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=-1)


def _exponents(count: int, round_share: float, rng: Generator) -> Floats:
    round_ones = rng.random(count) < round_share
    return np.where(round_ones, rng.uniform(1.8, 2.4, count), 2.6 + rng.gamma(2.0, 0.9, count))


def _drawn_out(angle: Floats, count: int, longer: float, along_deg: float, rng: Generator) -> Floats:
    """Reach of an ellipse of mean reach about 1: by chance, or along the wind."""
    ratio = np.minimum(np.exp(np.abs(rng.normal(0, 0.14, (count, 1))) + 0.3 * longer), _LONGEST)
    chance = rng.uniform(-90, 90, (count, 1))
    axis = np.radians(along_deg + (1 - longer) * chance + longer * rng.normal(0, 12, (count, 1)))
    return np.asarray(1 / np.sqrt((np.cos(angle - axis) ** 2) / ratio + np.sin(angle - axis) ** 2 * ratio))


def _waves(angle: Floats, rng: Generator) -> Floats:
    count = len(angle)
    size = rng.normal(0, 1, (count, len(_HARMONICS))) * (_ROUGHNESS / _HARMONICS)
    phase = rng.uniform(0, 2 * np.pi, (count, len(_HARMONICS)))
    return np.asarray(sum(size[:, [k]] * np.cos(wave * angle + phase[:, [k]]) for k, wave in enumerate(_HARMONICS)))


def _eased(share: Floats) -> Floats:
    """Softly keep a share above 0: unchanged near 1, never below 0."""
    return np.asarray(np.logaddexp(0, share * 6) / np.logaddexp(0, 6.0))
