"""Boughs inside a crown: where a silhouette has notches as a fir's, snow is guessed to go on along the boughs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from carvegen.motifs.shared.fields import waves_at
from carvegen.motifs.snowload.snowpack import USUAL_MM

if TYPE_CHECKING:
    from numpy.random import Generator

    from carvegen.base.limits import Limits
    from carvegen.geometry import Floats, Indices, Mask
    from carvegen.motifs.snowload.ledges import Ledges
    from carvegen.motifs.snowload.scene import Grid
    from carvegen.motifs.snowload.settings import Settings
    from carvegen.motifs.snowload.snow_shapes import Canvas

__all__ = ["in_front", "on_boughs"]

_NOTCH_MM, _MOUTH_MM = 2.0, 3.5  #: a notch closes to so little, and so far out it is wider than that
_CROWN_MM, _BOUGH_MM = 9.0, 4.0  #: it is one of a crown if what stands behind it is so broad, and the bough so thick
_SHORTEST_MM, _LONGEST_MM = 4.0, 16.0
_OUT_MM, _GROWS = 3.0, 0.2  #: a stroke begins so far out of the notch, along the edge of what bears snow there, and is
#: as thick as anywhere from so much of its length on: no step stands at the notch;
_WEDGE_MM = 0.6  #: up to so far in it may reach into that
_BEARS = 0.12  #: of the depth fallen: a bough that bears less outside bears none inside
_ECHO = 0.65  #: so many strokes have a shorter one below them, of two at one height one alone:
_SLIM, _TAPERS = 0.14, (0.5, 0.8)  #: that is no thicker than so much of the upper one's length; both run out by powers;
_LEVEL_MM = 3.0  #: notches on both sides of a crown that differ by no more in height
_DROOPS = 0.3  #: what hangs over a notch of a crown rises by no more than this outwards, and the bough ends in the air
_OFTENER, _PADS = 0.5, 0.6  #: where more than usual has fallen, more boughs bear and thicker pads
_TO = 0.97  #: of a stroke's length is drawn
_BACKED_MM, _BACKED = 0.4, 0.93  #: so much more than a stroke stands there, over so much of its length: no lone limb
_FRONT, _FROM_MM = 0.6, 4.0  #: a tier goes round the trunk: so much sky its front sees, so far out from the notch
_ACROSS = 0.28  #: of the crown's breadth: further in the trunk hides it


def in_front(ledges: Ledges, run_mm: Floats) -> Floats:
    """The share of the sky that a crown's boughs see at least, whatever hangs over them in the picture's plane; (n,).

    Each tier of a fir goes all round its trunk: what the picture shows of it is for the most part its front.
    """
    least = np.zeros(len(ledges))
    for side, sign in ((0, -1), (1, 1)):
        at = _notches(ledges, side, sign)
        at = at[_in_crown(ledges, run_mm, at)]
        notch = np.zeros(len(ledges), dtype=bool)
        notch[at] = True
        end = (ledges.first, ledges.last)[side]
        out = np.abs(np.arange(len(ledges)) - end) * ledges.step
        least = np.maximum(least, notch[end] * _FRONT * np.clip(out / _FROM_MM, 0, 1))
    return least


def _in_crown(ledges: Ledges, run_mm: Floats, at: Indices) -> Mask:
    return np.asarray((run_mm[at] > _CROWN_MM) & (ledges.thick[at] > _BOUGH_MM))


def on_boughs(
    canvas: Canvas, ledges: Ledges, depth: Floats, run_mm: Floats, settings: Settings, *, solid: Mask, limits: Limits,
    rng: Generator,
) -> None:  # fmt: skip
    """Draw strokes inwards from notches, each along its bough, with a ragged lower side and a thin end.

    Parameters
    ----------
    run_mm
        The breadth of what stands there, a little below each ledge, (n,).
    solid
        Where something stands, as the canvas.
    """
    much = settings.fallen_mm / USUAL_MM
    often = min(settings.boughs * (1 - 0.6 * settings.patchy) * max(much, 1.0) ** _OFTENER, 1.0)
    seed = int(rng.integers(2**63))
    bears = ledges.highest(depth, 12.0) > _BEARS * settings.fallen_mm
    slope = ledges.smoothed(ledges.slope, 2.0)
    sides = [(sign, _notches(ledges, side, sign)) for side, sign in ((0, -1), (1, 1))]
    sides = [(sign, at[_in_crown(ledges, run_mm, at) & bears[at]]) for sign, at in sides]
    for mine, others in zip(sides, sides[::-1], strict=True):
        sign, at = mine
        own, other, third = (ledges.chance(np.random.default_rng([seed, k]), at) for k in range(3))
        outdone = _outdone(ledges, run_mm, seed, mine, others)
        keep = (own < often) & (_ACROSS * run_mm[at] * (0.55 + 0.45 * third) > _SHORTEST_MM)
        at, own, other, third, outdone = at[keep], own[keep], other[keep], third[keep], outdone[keep]
        if len(at) == 0:
            continue
        rise = np.clip(sign * slope[at], 0.1, 1.0) * (0.6 + 0.5 * other)
        long = np.minimum(_ACROSS * run_mm[at], _LONGEST_MM) * (0.55 + 0.45 * third)
        thick = np.maximum((0.5 + 0.5 * own) * settings.fallen_mm**0.6 * max(much, 1.0) ** _PADS, 1.8 * limits.cut_mm)
        echo = np.maximum(np.minimum(0.8 * thick, _SLIM * long), 1.8 * limits.cut_mm)
        ragged = np.random.default_rng([seed, 3])
        _strokes(canvas, ledges, solid, at, sign, rise=rise, long=long, thick=thick, rng=ragged)
        more = (other < _ECHO) & (0.6 * long > _SHORTEST_MM) & ~outdone
        lower = (1.3 + 1.2 * third) * thick + 2 * limits.land_mm
        _strokes(
            canvas, ledges, solid, at[more], sign, rise=rise[more], long=0.6 * long[more], thick=echo[more],
            rng=ragged, tapers=_TAPERS[1], start_mm=(0.15 + 0.5 * own)[more] * long[more], lower_mm=lower[more],
        )  # fmt: skip


def _outdone(ledges: Ledges, run_mm: Floats, seed: int, mine: tuple[int, Indices], others: tuple[int, Indices]) -> Mask:
    """Which notches of a side have one on the crown's other side, as high, that is taken first: no pairs; (n,).

    Parameters
    ----------
    mine, others
        The way inwards on a side, -1 or 1, and its notches.
    """
    (sign, at), (_, other) = mine, others
    turn, turns = (ledges.chance(np.random.default_rng([seed, 4]), each) for each in (at, other))
    apart = sign * (ledges.x[other] - ledges.x[at][:, None])
    level = np.abs(ledges.base[other] - ledges.base[at][:, None]) < _LEVEL_MM
    return np.asarray((level & (apart > 0) & (apart < run_mm[at][:, None]) & (turns > turn[:, None])).any(axis=1))


def _notches(ledges: Ledges, side: int, sign: int) -> Indices:
    """The places at the chains' ends on that side where what hangs above comes down to them in a wedge."""
    here = np.arange(len(ledges))
    at = np.flatnonzero((here == (ledges.first, ledges.last)[side]) & (ledges.free[side] == -2))
    out = np.clip(at - sign * int(_MOUTH_MM / ledges.step), ledges.first[at], ledges.last[at])
    gap = ledges.ceiling - ledges.base
    wedge = (gap[at] < _NOTCH_MM) & (gap[out] > 1.5 * gap[at]) & (out != at)
    wedge &= ledges.ceiling[out] < ledges.ceiling[at] + _DROOPS * _MOUTH_MM
    wedge &= ledges.free[1 - side, (ledges.last, ledges.first)[side][at]] > -2
    return np.asarray(at[wedge & (ledges.base[at] > ledges.base[out])])


def _strokes(
    canvas: Canvas, ledges: Ledges, solid: Mask, at: Indices, sign: int, *, rise: Floats, long: Floats, thick: Floats,
    rng: Generator, tapers: float = _TAPERS[0], start_mm: Floats | float = 0.0, lower_mm: Floats | float = 0.0,
) -> None:  # fmt: skip
    """Strokes inwards from some way in, some way lower than the notch; thin towards both ends, or where it is open.

    Those from the notch itself begin outside it, under the edge of the bough, and grow from there.
    """
    if len(at) == 0:
        return
    first = np.rint(np.broadcast_to(start_mm, at.shape) / ledges.step).astype(int)
    columns = np.arange(-int(_OUT_MM / ledges.step), int(long.max() / ledges.step))[:, None]
    out = columns * ledges.step
    along, inwards = np.clip(out / long, 0, 1), out + first * ledges.step
    edge = np.clip(at + sign * np.minimum(columns, 0), ledges.first[at], ledges.last[at])
    middle = ledges.base[edge] + rise * np.clip(inwards, 0, None) * (1 - 0.3 * along) - lower_mm
    place = np.column_stack([(ledges.x[at] + sign * inwards).ravel(), middle.ravel()])
    wave = waves_at(place, rng, patch_mm=(1.8, 4.0)).reshape(middle.shape)
    grows = np.where(first == 0, (out + _OUT_MM) / (_OUT_MM + _GROWS * long), 2 * np.sqrt(along))
    half = thick * (1 - along) ** tapers * np.clip(grows, 0, 1) / 2
    low, high = middle - half * np.clip(1 + 0.5 * wave, 0.3, 1.7), middle + half
    column = ledges.column[at] + sign * (columns + first)
    on = along < _TO
    inner = on & (out > _WEDGE_MM)
    within = [_stands(solid, canvas.page, column, height) for height in (low - _BACKED_MM, high + _BACKED_MM)]
    on &= ((within[0] & within[1]) | ~inner).mean(axis=0) > _BACKED
    canvas.stroke(column[on], low[on], high[on])


def _stands(solid: Mask, page: Grid, column: Indices, height: Floats) -> Mask:
    """Whether something stands at each place; same shape."""
    row = np.clip((height - page.bottom) / page.step, 0, page.high - 1).astype(int)
    return np.asarray(solid[row, np.clip(column, 0, page.wide - 1)])
