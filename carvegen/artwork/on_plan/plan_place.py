"""Where a plan lies in a picture: turn, size, place and perspective by the drawing itself, as one homography.

Nothing needs to be marked. From the likeliest places of a first look a homography by least squares on pictures freed
of their light, from coarse to fine (source: baker-matthews).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from scipy import ndimage

from carvegen.artwork.on_plan.first_look import FACE_PX, LEVEL_PX, first_look
from carvegen.artwork.on_plan.plan import MOST_PX_PER_MM, laid, levelled, levelled_face, through
from carvegen.base.progress import each_part, reached

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.plan import ImagePyramid, Matrix, Tone, TonePlan

__all__ = ["best_place", "is_mirrored", "refined"]

_LEVEL_MM = 6.0  #: light is even within so much
_LEVELS_PX = (96, 192, 400, 800, 1600)  #: longer side of the plan, from coarse to fine
_POINTS = 24_000  #: looked at in each step
_STEPS = 8
_DAMPED = 1e-7  #: so much of the mean is added to the normal equations' diagonal
_DOUBT = 0.2  #: what differs by more begins to weigh less
_STEEP = 0.2  #: an edge is so steep beside the steepest
_STILL_PX = 0.003
_TIMES = (0.6, 0.25, 0.15)  #: shares of the time, estimated: first looks, the likeliest nearer, one of them refined


def is_mirrored(place: Matrix, plan: TonePlan) -> bool:
    """Whether the picture shows the plan's mirror image there."""
    one, two, three, _ = through(place, plan.corners)
    return bool(np.linalg.det(np.stack([two - one, three - one])) < 0)


def best_place(
    plan: TonePlan, seen: ImagePyramid, *, corners: Sequence[NDArray[np.float64]] = (), px_per_mm: float | None = None
) -> Matrix:
    """The homography that takes places on the plan to where the picture shows them.

    It is the best that was found: whether it is right, `judged` says.

    Parameters
    ----------
    corners
        Fours of points in the picture that may be the plan's or the paper's corners, clockwise; (4, 2) each, pixels.
    px_per_mm
        Of the picture, if it is known, as of a scan.

    Returns
    -------
    Matrix
        From millimetres on the plan, y down from its upper left corner, to pixels, (0, 0) the picture's corner; (3, 3).
    """
    looking, nearing, refining = each_part(_TIMES)
    with looking:
        places = first_look(plan, seen, corners, px_per_mm)
    with nearing:
        likely = []
        for place in places:
            likely.append(_refined(plan, seen, place, _LEVELS_PX[:2]))
            reached(len(likely) / len(places))
    with refining:
        return refined(plan, seen, max(likely, key=lambda place: _likeness(plan, seen, place)))


def refined(plan: TonePlan, seen: ImagePyramid, place: Matrix) -> Matrix:
    """The homography once more, from one that is nearly right."""
    return _refined(plan, seen, place, _LEVELS_PX[2:])


def _refined(plan: TonePlan, seen: ImagePyramid, place: Matrix, levels: Sequence[int]) -> Matrix:
    """The place by least squares, from coarse to fine, as fine as picture and plan are."""
    most = min(MOST_PX_PER_MM, plan.px_per_mm)
    for level in levels:
        scale = level / max(plan.size_mm)
        twice = scale < most and level in (_LEVELS_PX[0], _LEVELS_PX[-2])
        for _ in range(1 + twice):
            place = _stepped(plan, seen, place, min(scale, most))
        if scale >= most:
            break
    return place


def _drawn_points(face: Tone) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of pixels beside the drawing's edges, at most about `_POINTS`, evenly chosen."""
    steep = np.hypot(*np.gradient(face))
    chosen = np.flatnonzero(steep > _STEEP * np.quantile(steep, 0.99))
    return np.divmod(chosen[:: max(1, len(chosen) // _POINTS)], face.shape[1])


def _pair(plan: TonePlan, seen: ImagePyramid, place: Matrix, scale: float) -> tuple[Tone, Tone]:
    """Plan and picture, both levelled, on the plan's grid."""
    sigma = max(_LEVEL_MM * scale, LEVEL_PX)
    face = levelled_face(plan, scale, sigma)
    return face, levelled(laid(seen, place, (face.shape[1], face.shape[0]), scale), sigma)


def _likeness(plan: TonePlan, seen: ImagePyramid, place: Matrix) -> float:
    """Correlation of plan and picture at a place."""
    one, other = _pair(plan, seen, place, 2 * FACE_PX / max(plan.size_mm))
    return float(np.corrcoef(one.ravel(), other.ravel())[0, 1]) if other.std() > 1e-3 else -1.0


def _stepped(plan: TonePlan, seen: ImagePyramid, place: Matrix, scale: float) -> Matrix:
    """Gauss and Newton's steps for a homography of the plan that brings the picture onto it; outliers weigh less."""
    face, here = _pair(plan, seen, place, scale)
    rows, columns = face.shape
    y, x = _drawn_points(face)
    want = face[y, x].astype(np.float64)
    slopes = [here, *np.gradient(here)]
    half = max(rows, columns) / 2
    to_unit = np.array([[1 / half, 0, -columns / 2 / half], [0, 1 / half, -rows / 2 / half], [0, 0, 1]])
    from_unit = np.linalg.inv(to_unit)
    u, v = through(to_unit, np.column_stack([x + 0.5, y + 0.5])).T
    change = np.eye(3)
    for _ in range(_STEPS):
        p, q = through(from_unit @ change, np.column_stack([u, v])).T - 0.5
        inside = (p > 0) & (q > 0) & (p < columns - 1) & (q < rows - 1)
        if inside.mean() < 0.5:
            return place
        value, down, across = (
            ndimage.map_coordinates(picture, [q[inside], p[inside]], order=1, output=np.float64) for picture in slopes
        )
        gx, gy, a, b = across * half, down * half, u[inside], v[inside]
        back = -(gx * a + gy * b)
        jacobian = np.stack([gx * a, gx * b, gx, gy * a, gy * b, gy, back * a, back * b], axis=1)
        rest = want[inside] - value
        weight = 1 / (1 + (rest / (max(1.5 * np.median(np.abs(rest)), _DOUBT))) ** 2)
        normal = (jacobian * weight[:, None]).T @ jacobian
        if not normal.any():  # one tone all over: it says nothing of where it lies
            return place
        move = np.linalg.solve(
            normal + _DAMPED * np.trace(normal) / 8 * np.eye(8), (jacobian * weight[:, None]).T @ rest
        )
        change = change @ (np.eye(3) + np.append(move, 0.0).reshape(3, 3))
        if np.abs(move).max() * half < _STILL_PX:
            break
    to_mm = np.diag([1 / scale, 1 / scale, 1])
    return np.asarray(place @ to_mm @ from_unit @ change @ to_unit @ np.linalg.inv(to_mm))
