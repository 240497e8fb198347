"""Flake outlines: round, nearly square, chipped; smooth or rough, soft at the corners, no two alike."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from carvegen.geometry import Floats
    from carvegen.motifs.snowfall.chance import Draws

__all__ = ["SMALLEST_REACH", "nearest_line", "outlines", "rounded_until", "superellipse"]

#: An outline reaches nowhere less than this share of its largest reach: bounds how thin a flake can be.
SMALLEST_REACH = 0.6

_HARMONICS = np.arange(2, 7)
_ROUGHNESS = 0.15  #: standard deviation of the second harmonic of a usual flake; higher ones fall as 1/k
_LONGEST = 1.6  #: length over breadth at most
_SIDES = 6  #: of a chip at most
_CHIPPED = 0.35  #: share of chips with three, five or six sides among those that aren't round,
_FACETS = 0.14  #: and of crisp four-sided ones
_NICKED = 0.25  #: share of round flakes with one side cut straight


def superellipse(angle: Floats, exponent: Floats) -> Floats:
    """Polar reach of ``|x|^n + |y|^n = 1`` (source: lame-1818): 2 is the circle, large n the square; broadcasts."""
    return np.asarray((np.abs(np.cos(angle)) ** exponent + np.abs(np.sin(angle)) ** exponent) ** (-1 / exponent))


def outlines(
    draws: Draws,
    points: int,
    *,
    round_share: float,
    longer: Floats,
    along_deg: float,
) -> Floats:
    """Star-shaped outlines about the origin that reach 1 at most and `SMALLEST_REACH` at least.

    Parameters
    ----------
    draws
        A stream for each flake.
    round_share
        Share of round flakes; the rest is squarish, or chips of three to six sides.
    longer
        0: elongation and turn are left to chance; 1: drawn out along `along_deg`; (n,).

    Returns
    -------
    Floats
        (n, points, 2), counter-clockwise, not repeated at the end. Star-shaped, so never self-crossing.
    """
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False) + draws.uniform(0, 2 * np.pi / points)
    turn = draws.uniform(0, 2 * np.pi)
    kinds, exponents = draws.random(3), draws.random(2)
    round_ones = kinds[:, 0] < round_share
    kind = np.where(round_ones, 1.0, kinds[:, 1])
    chips, facets = kind < _CHIPPED, (kind >= _CHIPPED) & (kind < _CHIPPED + _FACETS)
    nicked = round_ones & (kinds[:, 2] < _NICKED)
    squarish = 3.4 - 1.2 * np.log(exponents).sum(axis=1)  # a gamma distribution of shape 2
    exponent = np.where(round_ones, 1.9 + 0.4 * exponents[:, 0], squarish)[:, None]
    reach = superellipse(angle - turn, exponent)
    reach[chips] = _chip(angle[chips] - turn[chips], draws.of(chips))
    reach[nicked] = np.minimum(reach[nicked], _facet(angle[nicked], draws.of(nicked)))
    reach *= _drawn_out(angle, longer[:, None], along_deg, draws)
    reach *= np.exp(_waves(angle, draws))
    angle[facets], reach[facets] = _four_cuts(angle[facets], draws.of(facets))
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
        steep = np.flatnonzero(nearest_line(rounder) < least)
        reach = np.hypot(rounder[steep, :, 0], rounder[steep, :, 1])[..., None]
        rounder[steep] *= reach ** (power - 1)
    return rounder


def nearest_line(outline: Floats) -> Floats:
    """How far from the origin the nearest of the lines through an outline's edges runs; (n,)."""
    ahead = np.roll(outline, -1, axis=1)
    area = outline[..., 0] * ahead[..., 1] - outline[..., 1] * ahead[..., 0]
    return np.asarray((area / np.hypot(*np.moveaxis(ahead - outline, -1, 0))).min(axis=1))


def _chip(angle: Floats, draws: Draws) -> Floats:
    """Polar reach of polygons whose straight sides lie at unequal distances, their corners softened; (n, points).

    Side k at distance d is reached at ``d / cos(angle - its square)``; the p-norm of the inverses is a soft least.
    """
    sides = np.array([3, 5, _SIDES])[np.searchsorted([0.4, 0.75], draws.random())]
    power = draws.uniform(6.0, 14.0)
    total = np.zeros_like(angle)
    for k in range(_SIDES):
        square = 2 * np.pi * (k + draws.uniform(-0.28, 0.28)) / sides
        nearness = np.clip(np.cos(angle - square), 0, None) / draws.uniform(0.75, 1.15)
        total += np.where(k < sides, nearness**power, 0)
    return np.asarray(np.maximum(total, 2.0**-power) ** (-1 / power))


def _facet(angle: Floats, draws: Draws) -> Floats:
    """Polar reach of a straight cut past the middle of each; (n, points)."""
    square = draws.uniform(0, 2 * np.pi)
    return np.asarray(draws.uniform(0.66, 0.9) / np.maximum(np.cos(angle - square), 1e-3))


def _four_cuts(angle: Floats, draws: Draws) -> tuple[Floats, Floats]:
    """Angles and polar reach of crisp four-sided shapes, as four strokes of a flat gouge leave them; (n, points) each.

    The sides lie at unequal distances and stand nearly square; the points nearest to the four corners move into them.
    """
    rows = np.arange(len(angle))
    square = draws.uniform(0, 2 * np.pi) + np.pi / 2 * (np.arange(4) + draws.uniform(-0.1, 0.1, 4))
    away = draws.uniform(0.66, 0.86, 4)
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


def _drawn_out(angle: Floats, longer: Floats, along_deg: float, draws: Draws) -> Floats:
    """Reach of an ellipse of mean reach about 1: by chance, or along the wind."""
    ratio = np.minimum(np.exp(np.abs(0.16 * draws.normal()) + 0.3 * longer), _LONGEST)
    axis = np.radians(along_deg + (1 - longer) * draws.uniform(-90, 90) + longer * 12 * draws.normal())
    return np.asarray(1 / np.sqrt((np.cos(angle - axis) ** 2) / ratio + np.sin(angle - axis) ** 2 * ratio))


def _waves(angle: Floats, draws: Draws) -> Floats:
    """The logarithm of the reach's unevenness: many flakes all but smooth, a few rough."""
    rough = _ROUGHNESS * np.clip(-0.85 * np.log(draws.random()), 0.15, 2.2)
    size = draws.normal(len(_HARMONICS)) * (rough / _HARMONICS)
    phase = draws.uniform(0, 2 * np.pi, len(_HARMONICS))
    return np.asarray(sum(size[:, [k]] * np.cos(wave * angle + phase[:, [k]]) for k, wave in enumerate(_HARMONICS)))


def _eased(share: Floats) -> Floats:
    """Softly keep a share above 0: unchanged near 1, never below 0."""
    return np.asarray(np.logaddexp(0, share * 6) / np.logaddexp(0, 6.0))
