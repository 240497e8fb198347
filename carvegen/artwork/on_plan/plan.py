"""What a picture should show, and pictures of any size, as tones on the plan's own grid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from scipy import ndimage

from carvegen import geometry
from carvegen.base.colour import cielab, overprinted, screen
from carvegen.geometry.coverage import coverage

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Ink, Rgb

Tone: TypeAlias = NDArray[np.float32]
Matrix: TypeAlias = NDArray[np.float64]

__all__ = [
    "MOST_PX_PER_MM",
    "ImagePyramid",
    "Matrix",
    "Tone",
    "TonePlan",
    "face_at",
    "laid",
    "laid_by",
    "levelled",
    "levelled_face",
    "plan_of",
    "plan_of_inks",
    "resized",
    "scale_of",
    "through",
]

_FLAT = 0.2  #: contrast beside the whole picture's below which nothing is drawn
MOST_PX_PER_MM = 6.0  #: of a plan, and of any look at one
_COARSER = 2.0  #: a blur is worked out on pixels as large as its standard deviation over this
_MOST_PIXELS = 8_000_000  #: of a plan
_SMALLEST_PX = 300  #: of a picture's smaller ones


@dataclass(frozen=True, eq=False)
class TonePlan:
    """What should be seen, first row at the top."""

    tone: Tone  #: how light, 0 where ink or land is, 1 paper; (height, width)
    px_per_mm: float
    faces: dict[tuple[float, float], Tone] = field(default_factory=dict, repr=False)  #: it, levelled, by scale and blur
    is_print: bool = False  #: in several inks, which no block shows: its picture is not mirrored

    @property
    def size_mm(self) -> tuple[float, float]:
        """Width and height."""
        return self.tone.shape[1] / self.px_per_mm, self.tone.shape[0] / self.px_per_mm

    @property
    def corners(self) -> NDArray[np.float64]:
        """Upper left, upper right, lower right, lower left, mm, y down; (4, 2)."""
        width, height = self.size_mm
        return np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float64)


def plan_of(shape: BaseGeometry, size_mm: tuple[float, float]) -> TonePlan:
    """The plan of a land: what prints, on a face with its lower left corner at (0, 0).

    Parameters
    ----------
    shape
        Print view, mm, y up.
    """
    scale, size = _plan_scale(size_mm)
    return TonePlan((1 - _covered(shape, scale, size)).astype(np.float32), scale)


def plan_of_inks(
    lands: Mapping[str, BaseGeometry], coats: Mapping[str, Ink], paper: Rgb, size_mm: tuple[float, float]
) -> TonePlan:
    """The plan of a print in several inks, as light as it comes out; `coats` in printing order."""
    scale, size = _plan_scale(size_mm)
    light = overprinted(paper, [(ink, _covered(lands[name], scale, size)) for name, ink in coats.items()])
    return TonePlan((cielab(screen(light))[..., 0] / 100).astype(np.float32), scale, is_print=len(coats) > 1)


def _plan_scale(size_mm: tuple[float, float]) -> tuple[float, tuple[int, int]]:
    """Pixels a millimetre of a plan, and its columns and rows."""
    width, height = size_mm
    scale = min(MOST_PX_PER_MM, float(np.sqrt(_MOST_PIXELS / (width * height))))
    return scale, (max(round(width * scale), 8), max(round(height * scale), 8))


def _covered(shape: BaseGeometry, scale: float, size: tuple[int, int]) -> NDArray[np.float64]:
    return coverage(geometry.moved(geometry.parts(shape), (0, 0), scale=scale), size)


class ImagePyramid:
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
        tone = self.steps[k]
        across, down = tone.shape[1] / self.shape[1], tone.shape[0] / self.shape[0]
        return self._framed[k], np.array([[across, 0, 1], [0, down, 1], [0, 0, 1]])

    @cached_property
    def _framed(self) -> list[Image.Image]:
        return [Image.fromarray(np.pad(tone, 1, constant_values=np.nan)) for tone in self.steps]


def laid(seen: ImagePyramid, place: Matrix, size: tuple[int, int], px_per_mm: float, corner_mm: float = 0.0) -> Tone:
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


def laid_by(seen: ImagePyramid, matrix: Matrix, size: tuple[int, int]) -> Tone:
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


def face_at(plan: TonePlan, px_per_mm: float) -> Tone:
    """The plan in whole pixels of exactly that size: what is left of one at its right and lower edge is left out."""
    across, down = (max(int(side * px_per_mm + 1e-6), 2) for side in plan.size_mm)
    by = plan.px_per_mm / px_per_mm
    box = (0.0, 0.0, min(across * by, plan.tone.shape[1]), min(down * by, plan.tone.shape[0]))
    return np.array(Image.fromarray(plan.tone).resize((across, down), Image.Resampling.BOX, box), dtype=np.float32)


def levelled_face(plan: TonePlan, scale: float, sigma: float) -> Tone:
    """The plan so large, without its light; made once for each scale and blur."""
    key = (scale, sigma)
    if key not in plan.faces:
        plan.faces[key] = levelled(face_at(plan, scale), sigma)
    return plan.faces[key]


def levelled(tone: Tone, sigma: float) -> Tone:
    """A picture without its light: less its surroundings, over their spread; 0 where it ends or nothing is drawn."""
    there = np.isfinite(tone)
    filled = np.where(there, tone, 0).astype(np.float32)
    whole = bool(there.all())
    known = _all_known(tone.shape, sigma) if whole else _smoothed(there.astype(np.float32), sigma)
    known = np.maximum(known, 1e-3)
    rest = np.where(there, filled - _smoothed(filled, sigma) / known, 0).astype(np.float32)
    spread = _smoothed(rest**2, sigma) / known
    floor = _FLAT**2 * float(np.quantile(spread if whole else spread[there], 0.9)) if there.any() else 1.0
    return np.asarray(np.clip(rest / np.sqrt(np.maximum(spread, 0) + floor + 1e-8), -3, 3), dtype=np.float32)


@lru_cache(maxsize=4)  # pictures of one size follow one another
def _all_known(shape: tuple[int, int], sigma: float) -> Tone:
    return _smoothed(np.ones(shape, dtype=np.float32), sigma)


def _smoothed(tone: Tone, sigma: float) -> Tone:
    """A Gaussian blur, worked out on a smaller picture where it is wide."""
    factor = int(min(sigma / _COARSER, *(side / 4 for side in tone.shape)))
    if factor < 2:
        return np.asarray(ndimage.gaussian_filter(tone, sigma))
    high, wide = tone.shape
    small = resized(tone, (wide // factor, high // factor))
    smooth = Image.fromarray(ndimage.gaussian_filter(small, sigma / factor))
    return np.array(smooth.resize((wide, high), Image.Resampling.BILINEAR), dtype=np.float32)


def through(matrix: Matrix, xy: NDArray[np.float64]) -> NDArray[np.float64]:
    """Where a homography takes points; (n, 2)."""
    there = np.column_stack([xy, np.ones(len(xy))]) @ matrix.T
    return np.asarray(there[:, :2] / there[:, 2:])


def scale_of(matrix: Matrix, at: tuple[float, float]) -> float:
    """By how much a homography enlarges at a place: the root of how areas grow there."""
    here = through(matrix, np.array(at) + np.array([(0, 0), (1, 0), (0, 1)]))
    return float(np.sqrt(abs(np.linalg.det(here[1:] - here[0]))))
