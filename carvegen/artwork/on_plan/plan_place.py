"""Where a plan lies in a picture: turn, size, place and perspective by the drawing itself, as one homography.

Nothing needs to be marked. Turn and size come from the spectra, seen in log-polar coordinates, where both are shifts
(source: reddy-chatterji); place from a normalised correlation; then a homography by least squares on pictures freed
of their light, from coarse to fine (source: baker-matthews). Four corners, where some are known or guessed, are one
more start. The plan's mirror image is tried all the same, so that a block is told from its print.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import fft, ndimage

from carvegen import geometry
from carvegen.artwork.scan.frame import homography
from carvegen.base.colour import cielab, overprinted, screen
from carvegen.geometry.coverage import coverage

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Ink, Rgb

__all__ = [
    "Matrix",
    "Plan",
    "Seen",
    "Tone",
    "face_at",
    "found_place",
    "is_mirrored",
    "laid",
    "laid_by",
    "levelled",
    "plan_of",
    "refined",
    "resized",
    "scale_of",
]

Tone: TypeAlias = NDArray[np.float32]
Matrix: TypeAlias = NDArray[np.float64]

_FACE_PX = 128  #: longer side of the plan in the first look
_ROOM = 2.5  #: the first look's field, times the plan
_SPECTRUM_PX = 256
_RADII, _ANGLES = 192, 360  #: of a log-polar spectrum: half a turn, as spectra repeat after it
_LOWEST, _HIGHEST = 5.0, 120.0  #: frequencies looked at, cycles in `_SPECTRUM_PX`
_TURNS = 2  #: peaks of a log-polar correlation that are followed
_SIZES = (0.3, 3.0)  #: of what is looked for, beside the plan drawn as large as the picture
_FOLLOWED = 4  #: places that are looked at more closely
_BEHIND = 0.6  #: what is less alike beside the best is not
_UNLIKE = 1.6  #: sides of four corners that differ more from the plan's are not its own
_LEVEL_MM = 6.0  #: light is even within so much
_LEVEL_PX = 5.0  #: and within so much of the first look
_FLAT = 0.2  #: contrast beside the whole picture's below which nothing is drawn
_LEVELS_PX = (96, 192, 400, 800, 1600)  #: longer side of the plan, from coarse to fine
_MOST_PX_PER_MM = 6.0
_POINTS = 24_000  #: looked at in each step
_STEPS = 8
_DAMPED = 1e-7  #: so much of the mean is added to the normal equations' diagonal
_DOUBT = 0.2  #: what differs by more begins to weigh less
_STEEP = 0.2  #: an edge is so steep beside the steepest
_STILL_PX = 0.003
_COARSER = 3.0  #: a blur is worked out on pixels as large as its standard deviation over this
_MOST_PIXELS = 8_000_000  #: of a plan
_SMALLEST_PX = 300  #: of a picture's smaller ones


@dataclass(frozen=True, eq=False)
class Plan:
    """What should be seen, first row at the top."""

    tone: Tone  #: how light, 0 where ink or land is, 1 paper; (height, width)
    px_per_mm: float
    faces: dict[tuple[float, float], Tone] = field(default_factory=dict, repr=False)  #: it, levelled, by scale and blur

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return self.tone.shape[1] / self.px_per_mm, self.tone.shape[0] / self.px_per_mm

    @property
    def corners(self) -> NDArray[np.float64]:
        """Upper left, upper right, lower right, lower left, mm, y down; (4, 2)."""
        width, height = self.size_mm
        return np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float64)


def plan_of(shape: BaseGeometry, size_mm: tuple[float, float]) -> Plan:
    """The plan of a land: what prints, on a face with its lower left corner at (0, 0).

    Parameters
    ----------
    shape
        Print view, mm, y up.
    """
    scale, size = _plan_scale(size_mm)
    return Plan((1 - _covered(shape, scale, size)).astype(np.float32), scale)


def plan_of_inks(
    lands: Mapping[str, BaseGeometry], coats: Mapping[str, Ink], paper: Rgb, size_mm: tuple[float, float]
) -> Plan:
    """The plan of a print in several inks, as light as it comes out; `coats` in printing order."""
    scale, size = _plan_scale(size_mm)
    light = overprinted(paper, [(ink, _covered(lands[name], scale, size)) for name, ink in coats.items()])
    return Plan((cielab(screen(light))[..., 0] / 100).astype(np.float32), scale)


def _plan_scale(size_mm: tuple[float, float]) -> tuple[float, tuple[int, int]]:
    """Pixels a millimetre of a plan, and its columns and rows."""
    width, height = size_mm
    scale = min(_MOST_PX_PER_MM, float(np.sqrt(_MOST_PIXELS / (width * height))))
    return scale, (max(round(width * scale), 8), max(round(height * scale), 8))


def _covered(shape: BaseGeometry, scale: float, size: tuple[int, int]) -> NDArray[np.float64]:
    return coverage(geometry.moved(geometry.parts(shape), (0, 0), scale=scale), size)


class Seen:
    """A picture, and smaller ones of it for coarser looks.

    Parameters
    ----------
    tone
        How light it is, 0 to 1; (height, width).
    """

    def __init__(self, tone: Tone) -> None:
        self.steps = [tone]
        while max(self.steps[-1].shape) > _SMALLEST_PX:
            high, wide = self.steps[-1].shape
            self.steps.append(resized(self.steps[-1], (wide // 2, high // 2)))

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        high, wide = self.steps[0].shape
        return high, wide

    def step(self, shrink: float) -> tuple[Image.Image, Matrix]:
        """The picture that is smaller by no more than `shrink`, a frame of nothing round it, and the matrix to it."""
        k = int(np.clip(np.log2(max(shrink, 1.0)), 0, len(self.steps) - 1))
        its = self.steps[k]
        across, down = its.shape[1] / self.shape[1], its.shape[0] / self.shape[0]
        return self._framed[k], np.array([[across, 0, 1], [0, down, 1], [0, 0, 1]])

    @cached_property
    def _framed(self) -> list[Image.Image]:
        return [Image.fromarray(np.pad(its, 1, constant_values=np.nan)) for its in self.steps]


def is_mirrored(place: Matrix, plan: Plan) -> bool:
    """Whether the picture shows the plan's mirror image there."""
    one, two, three, _ = _through(place, plan.corners)
    return bool(np.linalg.det(np.stack([two - one, three - one])) < 0)


def found_place(
    plan: Plan, seen: Seen, *, corners: Sequence[NDArray[np.float64]] = (), px_per_mm: float | None = None
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
    places = _first_look(plan, seen, corners, px_per_mm)
    looked = [_refined(plan, seen, place, _LEVELS_PX[:2]) for _, place in places]
    likeness = [_likeness(plan, seen, place) for place in looked]
    return _refined(plan, seen, looked[int(np.argmax(likeness))], _LEVELS_PX[2:])


def refined(plan: Plan, seen: Seen, place: Matrix) -> Matrix:
    """The homography once more, from one that is nearly right."""
    return _refined(plan, seen, place, _LEVELS_PX[2:])


def laid(seen: Seen, place: Matrix, size: tuple[int, int], px_per_mm: float, corner_mm: float = 0.0) -> Tone:
    """The picture as it lies on the plan; (height, width), and not a number where the picture ends.

    Parameters
    ----------
    size
        Columns and rows.
    corner_mm
        How far the upper left corner lies beyond the plan's.
    """
    to_mm = np.array([[1 / px_per_mm, 0, -corner_mm], [0, 1 / px_per_mm, -corner_mm], [0, 0, 1]])
    return laid_by(seen, place @ to_mm, size)


def laid_by(seen: Seen, matrix: Matrix, size: tuple[int, int]) -> Tone:
    """The picture as a homography of columns and rows to its pixels shows it; (rows, columns), as `laid`."""
    picture, smaller = seen.step(scale_of(matrix, (size[0] / 2, size[1] / 2)))
    moved = smaller @ matrix
    coefficients = tuple((moved / moved[2, 2]).ravel()[:8])
    got = picture.transform(
        size, Image.Transform.PERSPECTIVE, coefficients, Image.Resampling.BILINEAR, fillcolor=float("nan")
    )
    return np.array(got, dtype=np.float32)


def resized(tone: Tone, size: tuple[int, int]) -> Tone:
    """Means over as many columns and rows as are asked for."""
    return np.array(Image.fromarray(tone).resize(size, Image.Resampling.BOX), dtype=np.float32)


def face_at(plan: Plan, px_per_mm: float) -> Tone:
    """The plan in whole pixels of exactly that size: what is left of one at its right and lower edge is left out."""
    across, down = (max(int(side * px_per_mm + 1e-6), 2) for side in plan.size_mm)
    by = plan.px_per_mm / px_per_mm
    box = (0.0, 0.0, min(across * by, plan.tone.shape[1]), min(down * by, plan.tone.shape[0]))
    return np.array(Image.fromarray(plan.tone).resize((across, down), Image.Resampling.BOX, box), dtype=np.float32)


def levelled(tone: Tone, sigma: float) -> Tone:
    """A picture without its light: less its surroundings, over their spread; 0 where it ends or nothing is drawn."""
    there = np.isfinite(tone)
    filled = np.where(there, tone, 0).astype(np.float32)
    known = np.maximum(_smoothed(there.astype(np.float32), sigma), 1e-3)
    rest = np.where(there, filled - _smoothed(filled, sigma) / known, 0).astype(np.float32)
    spread = _smoothed(rest**2, sigma) / known
    floor = _FLAT**2 * float(np.quantile(spread[there], 0.9)) if there.any() else 1.0
    return np.asarray(np.clip(rest / np.sqrt(np.maximum(spread, 0) + floor + 1e-8), -3, 3), dtype=np.float32)


def _smoothed(tone: Tone, sigma: float) -> Tone:
    """A Gaussian blur, worked out on a smaller picture where it is wide."""
    factor = int(min(sigma / _COARSER, *(side / 4 for side in tone.shape)))
    if factor < 2:
        return np.asarray(ndimage.gaussian_filter(tone, sigma))
    high, wide = tone.shape
    small = resized(tone, (wide // factor, high // factor))
    smooth = Image.fromarray(ndimage.gaussian_filter(small, sigma / factor))
    return np.array(smooth.resize((wide, high), Image.Resampling.BILINEAR), dtype=np.float32)


def _through(matrix: Matrix, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    there = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
    return np.asarray(there[:, :2] / there[:, 2:])


def scale_of(matrix: Matrix, at: tuple[float, float]) -> float:
    """By how much a homography enlarges at a place: the root of how areas grow there."""
    here = _through(matrix, np.array(at) + np.array([(0, 0), (1, 0), (0, 1)]))
    return float(np.sqrt(abs(np.linalg.det(here[1:] - here[0]))))


# The first look.


def _first_look(
    plan: Plan, seen: Seen, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None
) -> list[tuple[float, Matrix]]:
    """The likeliest places, the best first, with how alike plan and picture are there."""
    scale = _FACE_PX / max(plan.size_mm)
    face = _face(plan, scale, _LEVEL_PX)
    shape = tuple(fft.next_fast_len(round(_ROOM * side), real=True) for side in face.shape)
    template = _Template(face, shape)
    found = [_best_shift(template, seen, place, scale) for place in _starts(plan, seen, corners, px_per_mm)]
    found.sort(key=lambda its: -its[0])
    return [its for its in found[:_FOLLOWED] if its[0] > _BEHIND * found[0][0]]


class _Template:
    """The plan's transform, for a normalised correlation with many fields."""

    def __init__(self, face: Tone, shape: tuple[int, ...]) -> None:
        self.face, self.shape = face, shape
        self.room = tuple((whole - side) // 2 for whole, side in zip(shape, face.shape, strict=True))
        self.transform = np.conj(fft.rfft2(face - face.mean(), shape))
        self.window = np.conj(fft.rfft2(np.ones_like(face), shape))
        self.norm = float(np.sqrt(((face - face.mean()) ** 2).sum()))

    def likeness(self, field: Tone) -> Tone:
        """Of the face and the field, for every shift of it."""
        other = fft.irfft2(fft.rfft2(field) * self.transform, self.shape)
        power = fft.irfft2(fft.rfft2(field**2) * self.window, self.shape)
        return np.asarray(other / (self.norm * np.sqrt(np.maximum(power, 0.1 * power.max()) + 1e-6)), np.float32)


def _best_shift(template: _Template, seen: Seen, place: Matrix, scale: float) -> tuple[float, Matrix]:
    """The place moved on the plan to where both are most alike."""
    rows, columns = template.shape
    down, across = template.room
    to_field = np.array([[1, 0, -across / scale], [0, 1, -down / scale], [0, 0, 1]])
    field = levelled(laid(seen, place @ to_field, (columns, rows), scale), _LEVEL_PX)
    alike = template.likeness(field)[: rows - template.face.shape[0] + 1, : columns - template.face.shape[1] + 1]
    j, i = np.unravel_index(int(alike.argmax()), alike.shape)
    shift = np.array([[1, 0, (i - across) / scale], [0, 1, (j - down) / scale], [0, 0, 1]])
    return float(alike[j, i]), place @ shift


def _face(plan: Plan, scale: float, sigma: float) -> Tone:
    key = (scale, sigma)
    if key not in plan.faces:
        plan.faces[key] = levelled(face_at(plan, scale), sigma)
    return plan.faces[key]


def _starts(
    plan: Plan, seen: Seen, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None
) -> Iterator[Matrix]:
    """Places from which to look: by corners and by spectra, each as it is and mirrored."""
    high, wide = seen.shape
    whole = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=np.float64)
    for four in (*corners, whole):
        yield from _on_corners(plan, four)
    views = [np.eye(3), *(_straight_view(four) for four in corners)]
    for view in views:
        yield from _by_spectra(plan, seen, view, px_per_mm)


def _on_corners(plan: Plan, four: NDArray[np.float64]) -> Iterator[Matrix]:
    """The plan's corners on four others, whichever is the first, seen from both sides."""
    width, height = plan.size_mm
    side = np.linalg.norm(np.roll(four, -1, axis=0) - four, axis=1)
    for turn in range(4):
        across, down = (side[(turn + k) % 4] + side[(turn + k + 2) % 4] for k in (0, 1))
        if 1 / _UNLIKE < across / down * height / width < _UNLIKE:
            put = np.roll(four, -turn, axis=0)
            yield homography(plan.corners, put)
            yield homography(plan.corners, put[[1, 0, 3, 2]])


def _straight_view(four: NDArray[np.float64]) -> Matrix:
    """From a picture seen straight on, if the four points are a rectangle's corners, to the picture."""
    side = np.linalg.norm(np.roll(four, -1, axis=0) - four, axis=1)
    width, height = side[0] + side[2], side[1] + side[3]
    box = np.array([[0, 0], [width, 0], [width, height], [0, height]]) / 2
    return homography(box - box.mean(axis=0) + four.mean(axis=0), four)


def _by_spectra(plan: Plan, seen: Seen, view: Matrix, px_per_mm: float | None) -> Iterator[Matrix]:
    """Turn and size from the spectra, the plan's middle on the picture's."""
    high, wide = seen.shape
    shrink = _SPECTRUM_PX / max(high, wide)
    here = laid(seen, view, (round(wide * shrink), round(high * shrink)), shrink)
    scale = _SPECTRUM_PX / max(plan.size_mm)
    face = _face(plan, scale, _LEVEL_PX * _SPECTRUM_PX / _FACE_PX)
    theirs = _log_polar(levelled(here, _LEVEL_PX * _SPECTRUM_PX / _FACE_PX))
    middle = np.array([wide, high]) / 2
    for flip in (1, -1):
        for turn, size in _peaks(theirs, _log_polar(face[:, ::flip])):
            size_px = size * scale / shrink
            exact = [px_per_mm] if px_per_mm is not None and abs(np.log(size_px / px_per_mm)) < 0.1 else []
            for half in (0, np.pi):
                yield view @ _similar(plan, turn + half, exact[0] if exact else size_px, flip, middle)
        if px_per_mm is not None:
            for half in range(4):
                yield view @ _similar(plan, half * np.pi / 2, px_per_mm, flip, middle)


def _similar(plan: Plan, turn: float, size: float, flip: int, middle: NDArray[np.float64]) -> Matrix:
    """The plan turned, enlarged, perhaps mirrored, its middle at a place."""
    cos, sin = size * np.cos(turn), size * np.sin(turn)
    linear = np.array([[cos, -sin], [sin, cos]]) @ np.diag([flip, 1])
    out = np.eye(3)
    out[:2, :2] = linear
    out[:2, 2] = middle - linear @ (np.array(plan.size_mm) / 2)
    return out


def _log_polar(tone: Tone) -> Tone:
    """The spectrum's size by angle and logarithm of frequency; (angles, radii)."""
    n = _SPECTRUM_PX
    window = np.outer(np.hanning(tone.shape[0]), np.hanning(tone.shape[1])).astype(np.float32)
    size = np.log1p(np.abs(np.fft.fftshift(fft.fft2(tone[:n, :n] * window[:n, :n], (n, n)))))
    angle = np.arange(_ANGLES)[:, None] * np.pi / _ANGLES
    radius = _LOWEST * np.exp(np.arange(_RADII) / _RADII * np.log(_HIGHEST / _LOWEST))
    where = np.stack([n / 2 + radius * np.sin(angle), n / 2 + radius * np.cos(angle)])
    polar = ndimage.map_coordinates(size, where, order=1, output=np.float32)
    polar -= polar.mean(axis=0)
    return np.asarray(polar / (polar.std(axis=0) + 1e-6), dtype=np.float32)


def _peaks(seen: Tone, plan: Tone) -> Iterator[tuple[float, float]]:
    """By how much the plan is turned (radians, clockwise on the screen) and enlarged in the picture."""
    long = 2 * _RADII
    alike = fft.irfft2(fft.rfft2(seen, (_ANGLES, long)) * np.conj(fft.rfft2(plan, (_ANGLES, long))), (_ANGLES, long))
    step = np.log(_HIGHEST / _LOWEST) / _RADII
    size = np.exp(-(((np.arange(long) + _RADII) % long) - _RADII) * step)
    alike[:, (size < _SIZES[0]) | (size > _SIZES[1])] = -np.inf
    for _ in range(_TURNS):
        j, i = np.unravel_index(int(alike.argmax()), alike.shape)
        yield j * np.pi / _ANGLES, float(size[i])
        rows = (np.arange(j - 8, j + 9)) % _ANGLES
        alike[rows[:, None], (np.arange(i - 10, i + 11)) % long] = -np.inf


# Closer looks.


def _refined(plan: Plan, seen: Seen, place: Matrix, levels: Sequence[int]) -> Matrix:
    """The place by least squares, from coarse to fine, as fine as picture and plan are."""
    most = min(_MOST_PX_PER_MM, plan.px_per_mm)
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


def _pair(plan: Plan, seen: Seen, place: Matrix, scale: float) -> tuple[Tone, Tone]:
    """Plan and picture, both levelled, on the plan's grid."""
    sigma = max(_LEVEL_MM * scale, _LEVEL_PX)
    face = _face(plan, scale, sigma)
    return face, levelled(laid(seen, place, (face.shape[1], face.shape[0]), scale), sigma)


def _likeness(plan: Plan, seen: Seen, place: Matrix) -> float:
    """Correlation of plan and picture at a place."""
    one, other = _pair(plan, seen, place, 2 * _FACE_PX / max(plan.size_mm))
    return float(np.corrcoef(one.ravel(), other.ravel())[0, 1]) if other.std() > 1e-3 else -1.0


def _stepped(plan: Plan, seen: Seen, place: Matrix, scale: float) -> Matrix:
    """Gauss and Newton's steps for a homography of the plan that brings the picture onto it; outliers weigh less."""
    face, here = _pair(plan, seen, place, scale)
    rows, columns = face.shape
    y, x = _drawn_points(face)
    want = face[y, x].astype(np.float64)
    slopes = [here, *np.gradient(here)]
    half = max(rows, columns) / 2
    to_unit = np.array([[1 / half, 0, -columns / 2 / half], [0, 1 / half, -rows / 2 / half], [0, 0, 1]])
    from_unit = np.linalg.inv(to_unit)
    u, v = _through(to_unit, np.column_stack([x + 0.5, y + 0.5])).T
    change = np.eye(3)
    for _ in range(_STEPS):
        p, q = _through(from_unit @ change, np.column_stack([u, v])).T - 0.5
        inside = (p > 0) & (q > 0) & (p < columns - 1) & (q < rows - 1)
        if inside.mean() < 0.5:
            return place
        value, down, across = (
            ndimage.map_coordinates(its, [q[inside], p[inside]], order=1, output=np.float64) for its in slopes
        )
        gx, gy, a, b = across * half, down * half, u[inside], v[inside]
        back = -(gx * a + gy * b)
        jacobian = np.stack([gx * a, gx * b, gx, gy * a, gy * b, gy, back * a, back * b], axis=1)
        rest = want[inside] - value
        weight = 1 / (1 + (rest / (max(1.5 * np.median(np.abs(rest)), _DOUBT))) ** 2)
        normal = (jacobian * weight[:, None]).T @ jacobian
        move = np.linalg.solve(
            normal + _DAMPED * np.trace(normal) / 8 * np.eye(8), (jacobian * weight[:, None]).T @ rest
        )
        change = change @ (np.eye(3) + np.append(move, 0.0).reshape(3, 3))
        if np.abs(move).max() * half < _STILL_PX:
            break
    to_mm = np.diag([1 / scale, 1 / scale, 1])
    return np.asarray(place @ to_mm @ from_unit @ change @ to_unit @ np.linalg.inv(to_mm))
