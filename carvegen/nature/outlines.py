"""Flake outlines: round, nearly square, chipped; smooth or rough, soft at the corners, no two alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.geometry import Floats

__all__ = ["SMALLEST_REACH", "outlines", "rounded_until", "superellipse"]

#: An outline reaches nowhere less than this share of its largest reach: bounds how thin a flake can be.
SMALLEST_REACH = 0.6

_HARMONICS = np.arange(2, 7)
_ROUGHNESS = 0.15  #: standard deviation of the second harmonic of a usual flake; higher ones fall as 1/k
_LONGEST = 1.6  #: length over breadth at most
_SIDES = 6  #: of a chip at most
_CHIPPED = 0.35  #: share of chips with three, five or six sides among those that aren't round,
_FACETS = 0.35  #: and of crisp four-sided ones
_NICKED = 0.25  #: share of round flakes with one side cut straight


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
        Share of round flakes; the rest is squarish, or chips of three to six sides.
    longer
        0: elongation and turn are left to chance; 1: all are drawn out along `along_deg`.

    Returns
    -------
    Floats
        (count, points, 2), counter-clockwise, not repeated at the end. Star-shaped, so never self-crossing.
    """
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False) + rng.uniform(0, 2 * np.pi / points, (count, 1))
    turn = rng.uniform(0, 2 * np.pi, (count, 1))
    round_ones = rng.random(count) < round_share
    kind = np.where(round_ones, 1.0, rng.random(count))
    chips, facets = kind < _CHIPPED, (kind >= _CHIPPED) & (kind < _CHIPPED + _FACETS)
    nicked = round_ones & (rng.random(count) < _NICKED)
    exponent = np.where(round_ones, rng.uniform(1.9, 2.3, count), 3.4 + rng.gamma(2.0, 1.2, count))[:, None]
    reach = superellipse(angle - turn, exponent)
    reach[chips] = _chip(angle[chips] - turn[chips], rng)
    reach[nicked] = np.minimum(reach[nicked], _facet(angle[nicked], rng))
    reach *= _drawn_out(angle, count, longer, along_deg, rng)
    reach *= np.exp(_waves(angle, rng))
    angle[facets], reach[facets] = _four_cuts(angle[facets], rng)
    reach /= reach.max(axis=1, keepdims=True)
    reach = SMALLEST_REACH + (1 - SMALLEST_REACH) * _eased((reach - SMALLEST_REACH) / (1 - SMALLEST_REACH))
    return np.stack([reach * np.cos(angle), reach * np.sin(angle)], axis=-1)


def rounded_until(outline: Floats, least: Floats) -> Floats:
    """Outlines as little rounder as it takes for a disc of radius `least`, or a smaller one, to pass all through them.

    If the lines through all edges leave the disc about the origin on their left, the outline is star-shaped about
    each of its points K. Where a disc fits at x, so do those on the way to the origin, for they lie in the hull of it
    and K: what its middle can reach hangs together.

    Parameters
    ----------
    outline
        Star-shaped about the origin, (n, points, 2).
    least
        At most `SMALLEST_REACH` of the largest reach, (n,).
    """
    rounder = outline.copy()
    for power in (0.7, 0.7, 0.6, 0.5, 0.0):
        steep = np.flatnonzero(_nearest_line(rounder) < least)
        reach = np.hypot(rounder[steep, :, 0], rounder[steep, :, 1])[..., None]
        rounder[steep] *= reach ** (power - 1)
    return rounder


def _nearest_line(outline: Floats) -> Floats:
    """How far from the origin the nearest of the lines through an outline's edges runs; (n,)."""
    ahead = np.roll(outline, -1, axis=1)
    area = outline[..., 0] * ahead[..., 1] - outline[..., 1] * ahead[..., 0]
    return np.asarray((area / np.hypot(*np.moveaxis(ahead - outline, -1, 0))).min(axis=1))


def _chip(angle: Floats, rng: Generator) -> Floats:
    """Polar reach of polygons whose straight sides lie at unequal distances, their corners softened; (n, points).

    Side k at distance d is reached at ``d / cos(angle - its square)``; the p-norm of the inverses is a soft least.
    """
    count = len(angle)
    sides = rng.choice([3, 5, _SIDES], count, p=[0.4, 0.35, 0.25])[:, None]
    power = rng.uniform(6.0, 14.0, (count, 1))
    total = np.zeros_like(angle)
    for k in range(_SIDES):
        square = 2 * np.pi * (k + rng.uniform(-0.28, 0.28, (count, 1))) / sides
        nearness = np.clip(np.cos(angle - square), 0, None) / rng.uniform(0.75, 1.15, (count, 1))
        total += np.where(k < sides, nearness**power, 0)
    return np.asarray(np.maximum(total, 2.0**-power) ** (-1 / power))


def _facet(angle: Floats, rng: Generator) -> Floats:
    """Polar reach of a straight cut past the middle of each; (n, points)."""
    square = rng.uniform(0, 2 * np.pi, (len(angle), 1))
    return np.asarray(rng.uniform(0.66, 0.9, (len(angle), 1)) / np.maximum(np.cos(angle - square), 1e-3))


def _four_cuts(angle: Floats, rng: Generator) -> tuple[Floats, Floats]:
    """Angles and polar reach of crisp four-sided shapes, as four strokes of a flat gouge leave them; (n, points) each.

    The sides lie at unequal distances and stand nearly square; the points nearest to the four corners move into them.
    """
    count, rows = len(angle), np.arange(len(angle))
    square = rng.uniform(0, 2 * np.pi, (count, 1)) + np.pi / 2 * (np.arange(4) + rng.uniform(-0.1, 0.1, (count, 4)))
    away = rng.uniform(0.66, 0.86, (count, 4))
    angle = angle.copy()
    for k in range(4):
        one, other = k, (k + 1) % 4
        turn = square[:, other] - square[:, one] + (2 * np.pi if other == 0 else 0)
        corner = square[:, one] + np.arctan2(away[:, other] - away[:, one] * np.cos(turn), away[:, one] * np.sin(turn))
        off = (angle - corner[:, None] + np.pi) % (2 * np.pi) - np.pi
        nearest = np.abs(off).argmin(axis=1)
        angle[rows, nearest] -= off[rows, nearest]
    near = np.cos(angle[..., None] - square[:, None, :]) / away[:, None, :]
    return angle, np.asarray(1 / near.max(axis=2))


def _drawn_out(angle: Floats, count: int, longer: float, along_deg: float, rng: Generator) -> Floats:
    """Reach of an ellipse of mean reach about 1: by chance, or along the wind."""
    ratio = np.minimum(np.exp(np.abs(rng.normal(0, 0.16, (count, 1))) + 0.3 * longer), _LONGEST)
    chance = rng.uniform(-90, 90, (count, 1))
    axis = np.radians(along_deg + (1 - longer) * chance + longer * rng.normal(0, 12, (count, 1)))
    return np.asarray(1 / np.sqrt((np.cos(angle - axis) ** 2) / ratio + np.sin(angle - axis) ** 2 * ratio))


def _waves(angle: Floats, rng: Generator) -> Floats:
    """The logarithm of the reach's unevenness: many flakes all but smooth, a few rough."""
    count = len(angle)
    rough = _ROUGHNESS * np.clip(rng.gamma(1.3, 0.7, (count, 1)), 0.15, 2.2)
    size = rng.normal(0, 1, (count, len(_HARMONICS))) * (rough / _HARMONICS)
    phase = rng.uniform(0, 2 * np.pi, (count, len(_HARMONICS)))
    return np.asarray(sum(size[:, [k]] * np.cos(wave * angle + phase[:, [k]]) for k, wave in enumerate(_HARMONICS)))


def _eased(share: Floats) -> Floats:
    """Softly keep a share above 0: unchanged near 1, never below 0."""
    return np.asarray(np.logaddexp(0, share * 6) / np.logaddexp(0, 6.0))
