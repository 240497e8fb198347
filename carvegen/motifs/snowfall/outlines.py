"""Flake outlines: round, nearly square, a few crisp; the larger the softer at the corners, no two alike."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

if TYPE_CHECKING:
    from carvegen.geometry import Floats
    from carvegen.motifs.snowfall.chance import Draws

__all__ = ["SMALLEST_REACH", "nearest_line", "outlines", "rounded_until", "superellipse"]

#: Unit vectors as complex numbers: directions turn by products, at a tenth of what sines and cosines of angles cost.
Directions: TypeAlias = NDArray[np.complex128]

#: An outline reaches nowhere less than this share of its largest reach: bounds how thin a flake can be.
SMALLEST_REACH = 0.6

_HARMONICS = np.arange(2, 7)  #: of the unevenness
_ROUGHNESS = 0.15  #: standard deviation of the second harmonic of a usual flake; higher ones fall as 1/k
_OVAL = 0.29  #: standard deviation of the logarithm of length over breadth,
_LONGEST = 1.6  #: which is no more
_SIDES = 6  #: of a chip at most
_CHIPPED = 0.35  #: share of chips with three, five or six sides among those that aren't round,
_FACETS = 0.07  #: and of crisp four-sided ones
_NICKED = 0.25  #: share of round flakes with one side cut straight
_CRISPEST = 4.5  #: exponent of large squarish flakes at most: they are soft at the corners
_HABITS = np.cumsum([0.3, 0.25, 0.15])  #: shares of large flakes: dented, one side off, bitten;
_DENTED, _SIDE_OFF, _BITTEN, _LOBED = range(4)  #: the others have a second lobe
#: Radians about the middle over which corners of large flakes are eased (a Gaussian's deviation); of small ones half.
_SOFT = 0.3
_WAIST = 0.3  #: large outlines may reach nowhere less than so much less
_DENTS = 3  #: of one at most
_FLATS = 3  #: sides cut straight of those that are not cut round


def superellipse(direction: Directions, exponent: Floats) -> Floats:
    """Polar reach of ``|x|^n + |y|^n = 1`` (source: lame-1818): 2 is the circle, large n the square; broadcasts."""
    return np.asarray((np.abs(direction.real) ** exponent + np.abs(direction.imag) ** exponent) ** (-1 / exponent))


def _turned(by: Floats) -> Directions:
    """The directions at these angles."""
    direction = np.empty(by.shape, dtype=np.complex128)
    direction.real, direction.imag = np.cos(by), np.sin(by)
    return direction


def outlines(
    draws: Draws,
    points: int,
    *,
    round_share: float,
    longer: Floats,
    along_deg: float,
    large: Floats | float = 0.0,
    crisp: Floats | float = 1.0,
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
    large
        0: a few strokes of the tool, plain or crisp; 1: so large that its outline shows many; (n,).
    crisp
        How many of the crisp four-sided ones there are: 0 none, 1 as among small ones; (n,).

    Returns
    -------
    Floats
        (n, points, 2), counter-clockwise, not repeated at the end. Star-shaped, so never self-crossing.
    """
    every = _turned(np.linspace(0, 2 * np.pi, points, endpoint=False))
    direction = _turned(draws.uniform(0, 2 * np.pi / points)) * every
    turn = draws.uniform(0, 2 * np.pi)
    kinds, exponents = draws.random(3), draws.random(2)
    round_ones = kinds[:, 0] < round_share
    kind = np.where(round_ones, 1.0, kinds[:, 1])
    large = np.broadcast_to(large, len(draws))
    crisp = _FACETS * np.clip(1 - longer, 0, 1) * np.minimum(crisp, 1 - large)  # the wind leaves few
    chips, facets = kind < _CHIPPED, (kind >= _CHIPPED) & (kind < _CHIPPED + crisp)
    nicked = round_ones & (kinds[:, 2] < _NICKED)
    squarish = 3.4 - 1.2 * np.log(exponents).sum(axis=1)  # a gamma distribution of shape 2
    squarish -= large * np.maximum(squarish - _CRISPEST, 0)
    exponent = np.where(round_ones, 1.9 + 0.4 * exponents[:, 0], squarish)[:, None]
    back, others = _turned(-turn), ~chips & ~facets
    reach = np.ones(direction.shape)
    reach[others] = superellipse(direction.compress(others, axis=0) * back[others], exponent[others])
    reach[chips] = _chip(direction.compress(chips, axis=0) * back[chips], draws.of(chips))
    reach[nicked] = np.minimum(reach[nicked], _facet(direction[nicked], draws.of(nicked)))
    reach *= _drawn_out(direction, longer[:, None], along_deg, draws)
    reach *= np.exp(_waves(direction, draws))
    many = np.flatnonzero(large > 0)
    reach[many] = _worked(direction[many], reach[many], large[many, None], draws.of(many))
    eased = gaussian_filter1d(reach, _SOFT * points / (2 * np.pi), axis=1, mode="wrap", truncate=2.5)
    reach += (1 + large[:, None]) / 2 * (eased - reach)
    direction[facets], reach[facets] = _four_cuts(direction[facets], draws.of(facets))
    reach /= reach.max(axis=1, keepdims=True)
    least = SMALLEST_REACH - _WAIST * large[:, None]
    reach = least + (1 - least) * _eased((reach - least) / (1 - least))
    direction *= reach
    return direction.view(np.float64).reshape(*direction.shape, 2)


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
    steep = np.arange(len(outline))
    for power in (0.7, 0.7, 0.6, 0.5, 0.0):
        asked = rounder if len(steep) == len(rounder) else rounder.take(steep, axis=0)
        steep = steep[nearest_line(asked) < least[steep]]  # what is round enough stays so
        reach = np.hypot(rounder[steep, :, 0], rounder[steep, :, 1])[..., None]
        rounder[steep] *= reach ** (power - 1)
    return rounder


def nearest_line(outline: Floats) -> Floats:
    """How far from the origin the nearest of the lines through an outline's edges runs; (n,)."""
    x, y = np.moveaxis(outline, -1, 0)
    to_x, to_y = (np.concatenate([side[:, 1:], side[:, :1]], axis=1) for side in (x, y))
    area = x * to_y - y * to_x
    to_x -= x
    to_y -= y
    return np.asarray((area / np.sqrt(to_x**2 + to_y**2)).min(axis=1, initial=np.inf))


def _chip(direction: Directions, draws: Draws) -> Floats:
    """Polar reach of polygons whose straight sides lie at unequal distances, their corners softened; (n, points).

    Side k at distance d is reached at ``d / cos(angle - its square)``; the p-norm of the inverses is a soft least.
    """
    sides = np.array([3, 5, _SIDES])[np.searchsorted([0.4, 0.75], draws.random())]
    power = draws.uniform(6.0, 14.0)
    total = np.zeros(direction.shape)
    for k in range(_SIDES):
        turn, away, some = draws.uniform(-0.28, 0.28), draws.uniform(0.75, 1.15), np.flatnonzero(k < sides)
        square = 2 * np.pi * (k + turn[some]) / sides[some]
        nearness = np.clip((direction.take(some, axis=0) * _turned(-square)).real, 0, None) / away[some]
        total[some] += nearness ** power[some]
    return np.asarray(np.maximum(total, 2.0**-power) ** (-1 / power))


def _facet(direction: Directions, draws: Draws) -> Floats:
    """Polar reach of a straight cut past the middle of each; (n, points)."""
    square = draws.uniform(0, 2 * np.pi)
    return np.asarray(draws.uniform(0.66, 0.9) / np.maximum((direction * _turned(-square)).real, 1e-3))


def _worked(direction: Directions, reach: Floats, large: Floats, draws: Draws) -> Floats:
    """The polar reach of large flakes: some dented, one side off, bitten or lobed."""
    kind, depth = draws.random(2).T
    habit = np.searchsorted(_HABITS, kind)
    usual = reach.mean(axis=1, keepdims=True)
    strength = np.where(habit == _DENTED, 0.26 + 0.14 * depth, 0.1)[:, None]
    worked = _dented(direction, reach, large, strength, draws)
    off = direction * _turned(-draws.uniform(0, 2 * np.pi))
    for which, do in ((_SIDE_OFF, _side_off), (_BITTEN, _bitten), (_LOBED, _lobed)):
        some = np.flatnonzero(habit == which)
        worked[some] = do(off[some], worked[some], usual[some], large[some], draws.of(some))
    return worked


def _side_off(off: Directions, reach: Floats, usual: Floats, large: Floats, draws: Draws) -> Floats:
    """A broad straight side, as one stroke of a flat gouge leaves it."""
    away = usual * (1.1 - large * draws.uniform(0.45, 0.8))
    return np.asarray(np.minimum(reach, away / np.maximum(off.real, 1e-3)))


def _bitten(off: Directions, reach: Floats, _: Floats, large: Floats, draws: Draws) -> Floats:
    """A bay as round as the gouge that left it standing."""
    deep, broad = large * draws.uniform(0.4, 0.75), draws.uniform(0.4, 0.75)
    return np.asarray(reach * np.exp(-deep * np.exp(-((np.angle(off) / broad) ** 4))))


def _lobed(off: Directions, reach: Floats, usual: Floats, large: Floats, draws: Draws) -> Floats:
    """A second lobe: the polar reach of a disc whose middle lies less than the usual reach away."""
    away, radius = usual * large * draws.uniform(0.75, 0.98), usual * draws.uniform(0.4, 0.75)
    inside = radius**2 - (away * off.imag) ** 2
    lobe = np.where(inside > 0, away * off.real + np.sqrt(np.maximum(inside, 0)), 0)
    return np.asarray(np.maximum(reach, lobe))


def _dented(direction: Directions, reach: Floats, large: Floats, strength: Floats, draws: Draws) -> Floats:
    """Dents of unequal depth and breadth, as a gouge leaves them between its strokes, and some sides cut straight."""
    dented = np.zeros(direction.shape)
    for _ in range(_DENTS):
        off = np.angle(direction * _turned(-draws.uniform(0, 2 * np.pi)))
        deep, broad = strength * draws.random() ** 1.5, draws.uniform(0.16, 0.5)
        dented += (deep + 0.1 * strength) * np.exp(-((off / broad) ** 2) / 2)
    reach = reach * np.exp(-large * dented)
    usual = reach.mean(axis=1, keepdims=True)
    for _ in range(_FLATS):
        square, away = draws.uniform(0, 2 * np.pi), 1.15 - 0.37 * large * draws.random() ** 0.7
        reach = np.minimum(reach, usual * away / np.maximum((direction * _turned(-square)).real, 1e-3))
    return np.asarray(reach)


def _four_cuts(direction: Directions, draws: Draws) -> tuple[Directions, Floats]:
    """Directions and polar reach of crisp four-sided shapes, as a flat gouge leaves them in four strokes; (n, points).

    The sides lie at unequal distances and stand nearly square; the points nearest to the four corners move into them.
    """
    angle, rows = np.angle(direction), np.arange(len(direction))
    square = draws.uniform(0, 2 * np.pi) + np.pi / 2 * (np.arange(4) + draws.uniform(-0.1, 0.1, 4))
    away = draws.uniform(0.66, 0.86, 4)
    for k in range(4):
        one, other = k, (k + 1) % 4
        turn = square[:, other] - square[:, one] + (2 * np.pi if other == 0 else 0)
        corner = square[:, one] + np.arctan2(away[:, other] - away[:, one] * np.cos(turn), away[:, one] * np.sin(turn))
        off = (angle - corner[:, None] + np.pi) % (2 * np.pi) - np.pi
        nearest = np.abs(off).argmin(axis=1)
        angle[rows, nearest] -= off[rows, nearest]
    near = np.cos(angle[..., None] - square[:, None, :]) / away[:, None, :]
    return _turned(angle), np.asarray(1 / near.max(axis=2))


def _drawn_out(direction: Directions, longer: Floats, along_deg: float, draws: Draws) -> Floats:
    """Reach of an ellipse of mean reach about 1: by chance, or along the wind."""
    ratio = np.minimum(np.exp(np.abs(_OVAL * draws.normal()) + 0.3 * longer), _LONGEST)
    axis = np.radians(along_deg + (1 - longer) * draws.uniform(-90, 90) + longer * 12 * draws.normal())
    off = direction * _turned(-axis)
    return np.asarray(1 / np.sqrt(off.real**2 / ratio + off.imag**2 * ratio))


def _waves(direction: Directions, draws: Draws) -> Floats:
    """The logarithm of the reach's unevenness: many flakes all but smooth, a few rough.

    A sum of ``size cos(k angle + phase)`` for k = 2, 3, …, as the real part of a polynomial in the direction.
    """
    rough = _ROUGHNESS * np.clip(-0.85 * np.log(draws.random()), 0.15, 2.2)
    size = draws.normal(len(_HARMONICS)) * (rough / _HARMONICS)
    wave = size * _turned(draws.uniform(0, 2 * np.pi, len(_HARMONICS)))
    total = np.zeros_like(direction)
    for nth in reversed(range(len(_HARMONICS))):
        total *= direction
        total += wave[:, [nth]]
    return np.asarray((total * direction * direction).real)


def _eased(share: Floats) -> Floats:
    """Softly keep a share above 0: unchanged near 1, never below 0."""
    return np.asarray(np.log1p(np.exp(share * 6)) / np.log1p(np.exp(6.0)))
