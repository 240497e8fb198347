"""The face's own sides in a picture: straight lines that hold a place which the drawing leaves loose."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from carvegen.artwork.on_plan.plan import laid_by
from carvegen.artwork.on_plan.plan_fit import judged

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.plan import Matrix, Plan, Seen, Tone
    from carvegen.artwork.on_plan.plan_fit import Fit

__all__ = ["held_by_sides"]

_LOOSE_MM = 0.1  #: a place that is known so well at the face's corners needs no more; our own choice
_PX_PER_MM = 6.0
_ROOM_MM = 1.5  #: how far to both sides an edge is looked for
_PIECE_MM = 4.0  #: of a side, in which its edge is looked for
_LEAST_STEP = 0.01  #: of the picture's range; less is no edge
_NEAR_MM, _MOSTLY = 0.15, 0.5  #: so many pieces must lie so near one straight line
_SAWN_MM, _COUNTS = 0.1, 12  #: a side is as true as so many places, each known as well as that; our own choice
_AGREES_MM = 0.1  #: a side that lies no farther from where the drawing has it agrees
_FEWEST, _ROUNDS = 6, 12


@dataclass(frozen=True, eq=False)
class _Side:
    """Where the picture shows one side of the face."""

    xy: NDArray[np.float64]  #: places on it by the plan, mm; (n, 2)
    outwards: NDArray[np.float64]  #: of length 1; (2,)
    off: NDArray[np.float64]  #: how far outwards from there it is seen, mm; (n,)


def held_by_sides(plan: Plan, seen: Seen, place: Matrix, fit: Fit) -> tuple[Fit, Matrix]:
    """The place once more, with the face's sides where the picture shows them and the drawing does not deny them.

    A block stands out from the table by its sides, and a block that prints all of its face from the paper. By least
    squares: what the drawing says of a homography's eight figures, with its own certainty, beside the sides' offsets.
    """
    if fit.fault or not _LOOSE_MM < fit.corners_mm < np.inf:
        return fit, place
    known = np.linalg.inv(fit.spread)
    held, pull = np.zeros((8, 8)), np.zeros(8)
    for side in _sides(plan, seen, place):
        steps = np.einsum("nki,k->ni", fit.steps(side.xy), side.outwards)
        doubt = 2 * np.sqrt(np.einsum("ni,ij,nj->n", steps, fit.spread, steps).max())
        if np.median(np.abs(side.off)) <= max(doubt, _AGREES_MM):
            weight = _COUNTS / len(side.off) / _SAWN_MM**2
            held += weight * steps.T @ steps
            pull += weight * steps.T @ side.off
    if not held.any():
        return fit, place
    figures = np.asarray(np.linalg.solve(known + held, pull), dtype=np.float64)
    nearer = np.asarray(np.matmul(place, fit.moved_by(figures)), dtype=np.float64)
    better = replace(judged(plan, seen, nearer), held=held)
    return (fit, place) if better.fault else (better, nearer)


def _sides(plan: Plan, seen: Seen, place: Matrix) -> Iterator[_Side]:
    """The sides of a face that stand out from what is around it."""
    for first, last in zip(plan.corners, np.roll(plan.corners, -1, axis=0), strict=True):
        long = float(np.hypot(*(last - first)))
        along = (last - first) / long
        out = np.array([along[1], -along[0]])
        corner = first + _ROOM_MM * out
        strip = np.array([
            [along[0] / _PX_PER_MM, -out[0] / _PX_PER_MM, corner[0]],
            [along[1] / _PX_PER_MM, -out[1] / _PX_PER_MM, corner[1]],
            [0, 0, 1],
        ])  # fmt: skip
        tone = laid_by(seen, place @ strip, (int(long * _PX_PER_MM), int(2 * _ROOM_MM * _PX_PER_MM)))
        at, off = _edges(tone)
        near = _on_a_line(at / long - 0.5, off)
        if near.sum() >= max(_FEWEST, _MOSTLY * (long // _PIECE_MM)):
            yield _Side(xy=first + at[near, None] * along, outwards=out, off=off[near])


def _edges(strip: Tone) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """How far along a strip pieces of it show an edge, and how far out from its middle that lies; mm, (n,) each."""
    wide = round(_PIECE_MM * _PX_PER_MM)
    count = strip.shape[1] // wide
    profile = strip[:, : count * wide].reshape(len(strip), count, wide).mean(axis=2)
    steep = np.abs(np.gradient(ndimage.gaussian_filter1d(profile, 1.0, axis=0), axis=0))
    row, piece = np.nan_to_num(steep).argmax(axis=0), np.arange(count)
    shown = np.isfinite(steep).all(axis=0) & (row > 0) & (row < len(strip) - 1)
    shown[shown] &= steep[row[shown], piece[shown]] > _LEAST_STEP
    row, piece = row[shown], piece[shown]
    before, here, after = (steep[row + by, piece] for by in (-1, 0, 1))
    top = np.clip((after - before) / np.maximum(2 * (2 * here - before - after), 1e-9), -0.5, 0.5)
    return (piece + 0.5) * _PIECE_MM, _ROOM_MM - (row + top + 0.5) / _PX_PER_MM


def _on_a_line(along: NDArray[np.float64], off: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Which offsets lie near the straight line of most of them: from the commonest on, outliers weigh less."""
    if len(off) < _FEWEST:
        return np.zeros(len(off), dtype=bool)
    bins = np.arange(-_ROOM_MM, _ROOM_MM + 0.05, 0.1)
    common = ndimage.gaussian_filter1d(np.histogram(off, bins)[0].astype(float), 2)
    basis = np.stack([np.ones_like(along), along], axis=1)
    line, loose = np.array([bins[common.argmax()] + 0.05, 0.0]), 0.5
    for _ in range(_ROUNDS):
        weight = 1 / (1 + ((off - basis @ line) / loose) ** 2) ** 2
        line = np.linalg.solve((basis * weight[:, None]).T @ basis, (basis * weight[:, None]).T @ off)
        loose = max(0.7 * loose, _NEAR_MM / 2)
    return np.asarray(np.abs(off - basis @ line) < _NEAR_MM)
