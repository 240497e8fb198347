"""Where a plan may lie in a picture: turn and size by the spectra, place by a normalised correlation.

In log-polar coordinates turn and size of a spectrum are shifts (source: reddy-chatterji). Four corners, where some are
known or guessed, are one more start. The plan's mirror image is tried all the same, so that a block is told from its
print.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import chain
from typing import TYPE_CHECKING

import numpy as np
from scipy import fft, ndimage

from carvegen.artwork.on_plan.plan import laid, levelled, levelled_face
from carvegen.artwork.scan.frame import homography
from carvegen.base.progress import reached

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from carvegen.artwork.on_plan.plan import ImagePyramid, Matrix, Tone, TonePlan

__all__ = ["FACE_PX", "LEVEL_PX", "alike_places", "first_look"]

FACE_PX = 128  #: longer side of the plan in the first look
_ROOM = 2.5  #: the first look's field, times the plan
_SPECTRUM_PX = 256
_RADII, _ANGLES = 192, 360  #: of a log-polar spectrum: half a turn, as spectra repeat after it
_LOWEST, _HIGHEST = 5.0, 120.0  #: frequencies looked at, cycles in `_SPECTRUM_PX`
_TURNS = 2  #: peaks of a log-polar correlation that are followed
_SIZES = (0.3, 3.0)  #: of what is looked for, beside the plan drawn as large as the picture
_FOLLOWED = 4  #: places that are looked at more closely
_SURE = 0.5  #: where a place is so much alike no others are tried; at most 0.32 on 77 wrong pictures
_TRIED = 0.1  #: share of the time that is left which a place takes; nobody knows how many come
_BEHIND = 0.6  #: what is less alike beside the best is not
_UNLIKE = 1.6  #: sides of four corners that differ more from the plan's are not its own
LEVEL_PX = 5.0  #: light is even within so much of the first look


def first_look(
    plan: TonePlan, seen: ImagePyramid, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None
) -> list[Matrix]:
    """The likeliest places, the best first."""
    places = alike_places(plan, seen, corners, px_per_mm)
    return [place for alike, place in places[:_FOLLOWED] if alike > _BEHIND * places[0][0]]


def alike_places(
    plan: TonePlan, seen: ImagePyramid, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None
) -> list[tuple[float, Matrix]]:
    """All places that were tried, and how much alike plan and picture are there, -1 to 1; the most first."""
    scale = FACE_PX / max(plan.size_mm)
    face = levelled_face(plan, scale, LEVEL_PX)
    shape = tuple(fft.next_fast_len(round(_ROOM * side), real=True) for side in face.shape)
    template = _Template(face, shape)
    places: list[tuple[float, Matrix]] = []
    for starts in _starts(plan, seen, corners, px_per_mm):
        for place in starts:
            places.append(_best_shift(template, seen, place, scale))
            reached(1 - (1 - _TRIED) ** len(places))
        places.sort(key=lambda one: -one[0])
        if places and places[0][0] > _SURE:
            break
    return places


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


def _best_shift(template: _Template, seen: ImagePyramid, place: Matrix, scale: float) -> tuple[float, Matrix]:
    """The place moved on the plan to where both are most alike."""
    rows, columns = template.shape
    down, across = template.room
    to_field = np.array([[1, 0, -across / scale], [0, 1, -down / scale], [0, 0, 1]])
    field = levelled(laid(seen, place @ to_field, (columns, rows), scale), LEVEL_PX)
    alike = template.likeness(field)[: rows - template.face.shape[0] + 1, : columns - template.face.shape[1] + 1]
    j, i = np.unravel_index(int(alike.argmax()), alike.shape)
    shift = np.array([[1, 0, (i - across) / scale], [0, 1, (j - down) / scale], [0, 0, 1]])
    return float(alike[j, i]), place @ shift


def _starts(
    plan: TonePlan, seen: ImagePyramid, corners: Sequence[NDArray[np.float64]], px_per_mm: float | None
) -> Iterator[Iterator[Matrix]]:
    """Places from which to look, the likeliest first; each as it is and mirrored, so that no symmetry is overlooked.

    By corners; by the picture's own and its spectrum; by spectra of what the corners show straight on.
    """
    high, wide = seen.shape
    whole = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], dtype=np.float64)
    yield chain.from_iterable(_on_corners(plan, four) for four in corners)
    yield chain(_on_corners(plan, whole), _by_spectra(plan, seen, np.eye(3), px_per_mm))
    yield chain.from_iterable(_by_spectra(plan, seen, _straight_view(four), px_per_mm) for four in corners)


def _on_corners(plan: TonePlan, four: NDArray[np.float64]) -> Iterator[Matrix]:
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


def _by_spectra(plan: TonePlan, seen: ImagePyramid, view: Matrix, px_per_mm: float | None) -> Iterator[Matrix]:
    """Turn and size from the spectra, the plan's middle on the picture's."""
    high, wide = seen.shape
    shrink = _SPECTRUM_PX / max(high, wide)
    here = laid(seen, view, (round(wide * shrink), round(high * shrink)), shrink)
    scale = _SPECTRUM_PX / max(plan.size_mm)
    face = levelled_face(plan, scale, LEVEL_PX * _SPECTRUM_PX / FACE_PX)
    theirs = _log_polar(levelled(here, LEVEL_PX * _SPECTRUM_PX / FACE_PX))
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


def _similar(plan: TonePlan, turn: float, size: float, flip: int, middle: NDArray[np.float64]) -> Matrix:
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
