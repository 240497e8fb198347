"""A lens that bends straight lines: the first term of radial distortion, found by what is left of a plan's offsets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from scipy import optimize

    from carvegen.artwork.on_plan.plan import Matrix, Tone

__all__ = ["Lens", "solved"]

_ROUNDS = 12
_MOST = 0.15  #: stronger bending is no camera's; our own choice
_LEAST_MM = 0.1  #: a lens that moves nothing by so much is none
_FEWEST = 24
_TELLING = 20.0  #: an F ratio of one more unknown, below which what a lens explains may be chance; our own choice
_LOOSE_MM = 0.15  #: offsets larger than this weigh less


@dataclass(frozen=True, eq=False)
class Lens:
    """Where a camera puts what a pinhole would put at p: at c + (p - c) (1 + k r²), r the distance from c over a reach.

    The first radial term of Brown's model (from memory). Strength k is negative for a barrel.
    """

    strength: float
    middle: NDArray[np.float64]  #: c, pixels; (2,)
    reach: float  #: where r is 1: half the picture's diagonal, pixels

    @classmethod
    def none(cls, size: tuple[int, int]) -> Lens:
        """A lens that bends nothing, for a picture of this width and height."""
        middle = np.array(size, dtype=np.float64) / 2
        return cls(0.0, middle, float(np.hypot(*middle)))

    def bent(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """Where the picture shows points of the straight one; (n, 2)."""
        out = xy - self.middle
        r2 = (out**2).sum(axis=1, keepdims=True) / self.reach**2
        return np.asarray(self.middle + out * (1 + self.strength * r2))

    def straight(self, xy: NDArray[np.float64]) -> NDArray[np.float64]:
        """The inverse of `bent`, by repetition; (n, 2)."""
        there = xy
        for _ in range(_ROUNDS if self.strength else 0):
            r2 = ((there - self.middle) ** 2).sum(axis=1, keepdims=True) / self.reach**2
            there = self.middle + (xy - self.middle) / (1 + self.strength * r2)
        return there

    def within(self, shrink: float, corner: tuple[float, float] = (0.0, 0.0)) -> Lens:
        """The same lens for pixels of a picture made smaller `shrink` times, from a corner of it on."""
        return Lens(self.strength, (self.middle - np.array(corner)) / shrink, self.reach / shrink)

    def straightened(self, tone: Tone) -> Tone:
        """The picture as a pinhole would show it; same shape, not a number where it ends."""
        y, x = np.mgrid[0 : tone.shape[0], 0 : tone.shape[1]].astype(np.float32)
        u, v = x + 0.5 - self.middle[0], y + 0.5 - self.middle[1]
        by = 1 + self.strength * (u**2 + v**2) / self.reach**2
        where = np.stack([v * by + self.middle[1] - 0.5, u * by + self.middle[0] - 0.5])
        return np.asarray(ndimage.map_coordinates(tone, where, order=1, cval=np.nan, output=np.float32))


def solved(
    middle: NDArray[np.float64], move: NDArray[np.float64], place: Matrix, lens: Lens, size_mm: tuple[float, float]
) -> tuple[Matrix, Lens] | None:
    """The homography and the lens by which a plan's places lie where they are seen; None if no lens is needed.

    Parameters
    ----------
    middle, move
        Places on the plan and how far from there they are seen by `place` and `lens`; mm, (n, 2) each.
    size_mm
        Of the plan.
    """
    if len(middle) < _FEWEST:
        return None
    seen = lens.bent(_through(place, middle + move))
    px_per_mm = float(np.sqrt(abs(np.linalg.det(place[:2, :2]))))
    to_unit = np.diag([1 / size_mm[0], 1 / size_mm[1], 1.0])
    start = place @ np.linalg.inv(to_unit) / place[2, 2]
    scale = np.array([*np.abs(start[:2]).max(axis=1).repeat(3), 1.0, 1.0, 1.0])

    if _telling_at_first(_through(place, middle), seen, lens, px_per_mm) < _TELLING / 4:
        return None
    from scipy import optimize  # late: it takes a sixth of a second, and most lenses bend too little to need it

    def rest(values: NDArray[np.float64]) -> NDArray[np.float64]:
        matrix = np.append(values[:8] * scale[:8], 1.0).reshape(3, 3) @ to_unit
        one = Lens(float(values[8]), lens.middle, lens.reach)
        return np.asarray((one.bent(_through(matrix, middle)) - seen).ravel() / px_per_mm)

    def fitted(first: NDArray[np.float64], bound: float) -> optimize.OptimizeResult:
        limits = np.full(9, np.inf)
        limits[8] = bound
        return optimize.least_squares(rest, first, loss="soft_l1", f_scale=_LOOSE_MM, bounds=(-limits, limits))

    flat = np.append(start.ravel()[:8] / scale[:8], 0.0)
    plain, bending = fitted(flat, 1e-9), fitted(flat, _MOST)
    bent = Lens(float(bending.x[8]), lens.middle, lens.reach)
    matrix = np.append(bending.x[:8] * scale[:8], 1.0).reshape(3, 3) @ to_unit
    there = _through(matrix, np.array([[0, 0], [size_mm[0], 0], size_mm, [0, size_mm[1]]], dtype=np.float64))
    bends_mm = np.linalg.norm(bent.bent(there) - there, axis=1).max() / px_per_mm
    telling = (plain.cost - bending.cost) / max(bending.cost, 1e-12) * (2 * len(middle) - 9)
    if telling < _TELLING or bends_mm < _LEAST_MM:
        return None
    return matrix, bent


def _telling_at_first(
    there: NDArray[np.float64], seen: NDArray[np.float64], lens: Lens, px_per_mm: float
) -> float:  # fmt: skip
    """About how telling a lens's strength is, as `_TELLING` counts it: by small changes of a homography and of it."""
    x, y = ((there - lens.middle) / lens.reach).T
    one, none = np.ones_like(x), np.zeros_like(x)
    across = [x, y, one, none, none, none, x * x, x * y, x * (x * x + y * y)]
    down = [none, none, none, x, y, one, x * y, y * y, y * (x * x + y * y)]
    basis = np.concatenate([np.stack(across, axis=1), np.stack(down, axis=1)])
    off = (seen - lens.bent(there)).T.ravel() / px_per_mm
    costs = []
    for count in (8, 9):
        weight = np.ones_like(off)
        for _ in range(_ROUNDS):  # the soft L1 loss, by weights
            root = np.sqrt(weight)
            rest = off - basis[:, :count] @ np.linalg.lstsq(basis[:, :count] * root[:, None], off * root)[0]
            weight = 1 / np.sqrt(1 + (rest / _LOOSE_MM) ** 2)
        costs.append(float((1 / weight - 1).sum()))
    return (costs[0] - costs[1]) / max(costs[1], 1e-12) * (len(off) - 9)


def _through(matrix: Matrix, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    there = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
    return np.asarray(there[:, :2] / there[:, 2:])
