"""Straight sides in a picture: the face's own, which hold a place that the drawing leaves loose, and the board's.

An old block may be sawn askew, and is then not laid down by its corner.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, ClassVar

import numpy as np
from scipy import ndimage

from carvegen.artwork.on_plan.plan import laid_by
from carvegen.artwork.on_plan.plan_fit import judged
from carvegen.artwork.scan.quad import block_corners
from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.laid_picture import Laid
    from carvegen.artwork.on_plan.plan import ImagePyramid, Matrix, Tone, TonePlan
    from carvegen.artwork.on_plan.plan_fit import PlanFit

__all__ = ["BY_OLD_CUTS", "BoardSides", "board_sides", "held_by_sides"]

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


def held_by_sides(plan: TonePlan, seen: ImagePyramid, place: Matrix, fit: PlanFit) -> tuple[PlanFit, Matrix]:
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


def _sides(plan: TonePlan, seen: ImagePyramid, place: Matrix) -> Iterator[_Side]:
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


BY_OLD_CUTS = "line it up by two old cuts, far apart: its corner and its sides do not bring it into register"

_LOOK_PX = 2600  #: longer side of the picture in which the sides are looked for
_SQUARE_DEG = 1.5  #: a board's corners are so square; our own choice
_LEAST_FACE = 0.9  #: of the face's area that a board has; our own choice


@dataclass(frozen=True, kw_only=True)
class BoardSides:
    """A board as the block itself shows it, face up, beside the face of its plan: mm, x right, y up."""

    LEAST_MM: ClassVar = 0.3  #: a drawing that lies no farther off is laid by its corner; our own choice

    corner: tuple[float, float]  #: where its lower left corner lies, from the face's
    turn_deg: float  #: by how much it is turned, counter-clockwise
    off_mm: float  #: how far the face's corners lie from where a face in the board's middle has them, at most

    @property
    def words(self) -> str:
        """Where it lies; nothing if the drawing lies straight in its middle."""
        if self.off_mm <= self.LEAST_MM:
            return ""
        x, y = self.corner
        return (
            f"the drawing lies up to {self.off_mm:.1f} mm off the middle of its board. Face up, the board's lower left "
            f"corner is at x {x:.1f}, y {y:.1f} mm from the face's, turned by {self.turn_deg:.1f} degrees"
        )


def board_sides(laid: Laid) -> BoardSides | None:
    """The board in a picture of a block itself; None if it is a print, or four square sides do not stand out."""
    picture = laid.part
    step = max(1, -(-max(picture.width, picture.height) // _LOOK_PX))
    if not laid.mirrored:
        return None
    try:
        corners = block_corners(replace(picture, image=picture.image.convert("L").reduce(step))) * step
    except InputError:
        return None
    return _beside(laid, corners)


def _beside(laid: Laid, corners: NDArray[np.float64]) -> BoardSides | None:
    """The board with such corners, in pixels, beside the face; None if it is no rectangle round most of that."""
    there = np.column_stack([laid.part_lens.straight(corners), np.ones(4)]) @ np.linalg.inv(laid.part_place).T
    size = np.array(laid.plan.size_mm)
    xy = size - there[:, :2] / there[:, 2:]  # as the block shows it: mirrored, and y up
    xy = xy[np.argsort(np.arctan2(*(xy - xy.mean(axis=0)).T[::-1]))]  # from the lower left on, counter-clockwise
    along = np.roll(xy, -1, axis=0) - xy
    turns = (np.degrees(np.arctan2(along[:, 1], along[:, 0])) - 90 * np.arange(4) + 180) % 360 - 180
    turn, long = float(turns.mean()), np.hypot(*along.T)
    if np.ptp(turns) > _SQUARE_DEG or long[0] * long[1] < _LEAST_FACE * size.prod():
        return None
    cos, sin = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    face = np.array([[0, 0], [size[0], 0], size, [0, size[1]]])
    off = (face - size / 2) @ np.array([[cos, sin], [-sin, cos]]) + xy.mean(axis=0) - face
    x, y = xy[0].tolist()
    return BoardSides(corner=(x, y), turn_deg=turn, off_mm=float(np.hypot(*off.T).max()))
