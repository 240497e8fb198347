"""Where a sheet lies in a picture: its corner marks, the code of its dots, and the map from paper to pixels."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.polynomial.polynomial import polyvander
from scipy import ndimage

from carvegen.artwork.scan.frame import homography, wound_clockwise
from carvegen.base.errors import InputError
from carvegen.base.units import PAPERS
from carvegen.marking.pencil.layout import DOT_MM, HOLE_MM, RING_MM, SMALL_DOT_MM, decoded, formats

if TYPE_CHECKING:
    from collections.abc import Iterator

    from carvegen.artwork.scan.pixels import Bytes
    from carvegen.geometry import Floats, Mask
    from carvegen.marking.pencil.layout import Format

__all__ = ["PaperMap", "Placed", "placed"]

_LONG_PX = 1800  #: longer side of the picture in which corner marks are looked for
_LOCAL_PX = 81  #: breadth over which it is told how light the paper is there
_DARK = 0.72  #: darker than this share of its surroundings is dark
_MARK_PX = (14, 80)  #: how large a corner mark may be there: sheets that fill a third of the picture or all of it
_NARROWEST = 0.45  #: width beside height of a mark seen aslant
_MOST_MARKS = 9
_RING_SHARE = 1 - (HOLE_MM / RING_MM) ** 2

_DOT_REACH_MM, _NEAR_MM, _RING_REACH_MM = 2.9, 2.0, 5.4  #: how far around a mark's place it is looked for
_SAMPLES = 31  #: along a side of what is looked at
_FAINT = 0.25  #: darkness below this, of 1, is not of a mark
_NOISE = 0.04
_FEWEST = 0.75  #: share of all marks that must be seen
_BETWEEN = math.pi * DOT_MM * SMALL_DOT_MM  #: mm²: larger dots are large

_LEAST_PX_PER_MM = 5.0
_MOST_BLUR_MM = 0.32  #: standard deviation
_MOST_OFF_MM = 0.12  #: root mean square of what the map leaves


@dataclass(frozen=True, eq=False)
class PaperMap:
    """From millimetres on the paper, y up, to pixels whose centres are whole numbers, y down.

    A homography, as a flat sheet is seen, and in it a polynomial of third degree for what lenses and bent paper do.
    """

    matrix: Floats  #: (3, 3)
    size: tuple[float, float]  #: of the paper, mm
    bend: Floats  #: coefficients of the polynomial's terms, pixels; (10, 2)

    def __call__(self, xy: Floats) -> Floats:
        """Pixels of places on the paper; (n, 2)."""
        there = np.column_stack([xy, np.ones(len(xy))]) @ self.matrix.T
        return np.asarray(there[:, :2] / there[:, 2:] + _terms(xy, self.size) @ self.bend)

    def scale(self) -> float:
        """Pixels in a millimetre at the paper's middle."""
        middle = np.array(self.size) / 2
        here = self(middle + np.array([(0, 0), (1, 0), (0, 1)]))
        return float(math.sqrt(abs(np.linalg.det(here[1:] - here[0]))))


def _terms(xy: Floats, size: tuple[float, float]) -> Floats:
    powers = polyvander((2 * xy / np.array(size) - 1).T, 3)  # (2, n, 4)
    return np.column_stack([powers[0, :, i] * powers[1, :, j] for i in range(4) for j in range(4 - i)])


@dataclass(frozen=True, eq=False)
class Placed:
    """A sheet as a picture shows it."""

    paper: PaperMap
    form: Format
    number: int  #: of the page, from 1
    sign: int  #: of the print
    off_mm: float  #: what the map leaves of the marks' places, root mean square


def placed(tone: Bytes) -> Placed:
    """The sheet in a picture, whichever way up.

    Parameters
    ----------
    tone
        How light each pixel is; (height, width).

    Raises
    ------
    InputError
        If no sheet can be found or read in it; with what is missing.
    """
    rings = _rings(tone)
    if len(rings) < 4 or rings[:, 2].all():
        raise _no_marks(rings)
    for corners, clockwise in _fours(rings):
        for paper in PAPERS:
            for form in formats(paper):
                first = PaperMap(homography(_ordered(form, clockwise), corners), form.size, np.zeros((10, 2)))
                code = decoded(_large(tone, first, form))
                if code is not None and code[0] == form.number:
                    if not clockwise:
                        raise InputError("is mirrored", hint="turn the picture over left to right, and read it again")
                    return _settled(tone, first, form, code[1:])
    raise InputError(
        "shows corner marks, but the row of dots along the sheet's top can't be read",
        hint="photograph it sharp, near and whole, nothing lying on the dots",
    )


def _no_marks(rings: Floats) -> InputError:
    if len(rings) >= 4:
        return InputError(
            "does not show which corner is which: of the corner marks none is without a dot",
            hint="the upper left one must be seen whole, and stay uncoloured",
        )
    return InputError(
        "shows too few of a marking sheet's four corner marks", value=len(rings),
        hint="photograph the whole sheet, sharp, filling the picture, its corners uncovered: carvegen sheet prints it",
    )  # fmt: skip


def _ordered(form: Format, clockwise: bool) -> Floats:
    """The corner marks' places, clockwise as they are seen, from the one without a dot."""
    return form.corners if clockwise else form.corners[[0, 3, 2, 1]]


def _rings(tone: Bytes) -> Floats:
    """Rings in a picture: middle in pixels, whether a dot is in it, and area; (n, 4), the largest first."""
    step = max(1, round(max(tone.shape) / _LONG_PX))
    high, wide = (side // step * step for side in tone.shape)
    small = tone[:high, :wide].reshape(high // step, step, wide // step, step).mean((1, 3), dtype=np.float32)
    dark = small < _DARK * ndimage.uniform_filter(small, _LOCAL_PX)
    label, _ = ndimage.label(dark)
    result = []
    for number, piece in enumerate(ndimage.find_objects(label), start=1):
        sides = [part.stop - part.start for part in piece]
        if _MARK_PX[0] < max(sides) < _MARK_PX[1] and min(sides) > _NARROWEST * max(sides):
            result += _ring(label[piece] == number, dark[piece], (piece[1].start, piece[0].start), step)
    result.sort(key=lambda ring: -ring[3])
    return np.array(result[:_MOST_MARKS]).reshape(-1, 4)


def _ring(
    mask: Mask, dark: Mask, corner: tuple[int, int], step: int
) -> list[tuple[float, float, float, float]]:  # fmt: skip
    """The one ring that a dark piece is, or none."""
    whole = ndimage.binary_fill_holes(mask)
    area = whole.sum()
    if abs(mask.sum() / area - _RING_SHARE) > 0.2 or abs(area / (math.pi / 4 * mask.size) - 1) > 0.2:
        return []
    y, x = (float(np.mean(side)) for side in np.nonzero(whole))
    reach = max(1, int(0.08 * min(mask.shape)))
    pip = dark[round(y) - reach : round(y) + reach + 1, round(x) - reach : round(x) + reach + 1].mean() > 0.5
    middle = [(value + start) * step + (step - 1) / 2 for value, start in zip((x, y), corner, strict=True)]
    return [(middle[0], middle[1], float(pip), float(area) * step**2)]


def _fours(rings: Floats) -> Iterator[tuple[Floats, bool]]:
    """Rings that may be the sheet's, from the one without a dot, seen clockwise; the widest apart first."""
    bare, dotted = (rings[rings[:, 2] == pip, :2] for pip in (0, 1))
    result = []
    for one, three in itertools.product(bare, itertools.combinations(dotted, 3)):
        around, turn = wound_clockwise(np.vstack([one, *three]))
        if (turn > 0).all():
            first = int(np.argmin(np.hypot(*(around - one).T)))
            result.append((turn.sum(), np.roll(around, -first, axis=0)))
    for (_, four), clockwise in itertools.product(sorted(result, key=lambda entry: -entry[0])[:8], (True, False)):
        yield four, clockwise


def _darkness(tone: Bytes, paper: PaperMap, at: Floats, reach: float) -> tuple[Floats, Floats]:
    """How dark it is around each place, 0 the paper there, and the offsets in mm; (n, s, s), (s,)."""
    offset = np.linspace(-reach, reach, _SAMPLES)
    x, y = np.meshgrid(offset, offset)
    where = (at[:, None] + np.column_stack([x.ravel(), y.ravel()])[None]).reshape(-1, 2)
    seen = paper(where)
    values = ndimage.map_coordinates(tone, [seen[:, 1], seen[:, 0]], order=1, mode="nearest", output=np.float64)
    values = values.reshape(len(at), _SAMPLES, _SAMPLES)
    white = np.quantile(values, 0.8, axis=(1, 2))
    return 1 - values / np.maximum(white, 1.0)[:, None, None], offset


def _large(tone: Bytes, paper: PaperMap, form: Format) -> Mask:
    """Which dots of the code are large."""
    dark, offset = _darkness(tone, paper, form.code_dots, _DOT_REACH_MM)
    ink = max(float(np.quantile(dark.max(axis=(1, 2)), 0.8)), _FAINT)
    area = np.where(dark > _FAINT * ink, dark, 0).sum(axis=(1, 2)) / ink * (offset[1] - offset[0]) ** 2
    return np.asarray(area > _BETWEEN)


def _settled(tone: Bytes, paper: PaperMap, form: Format, code: tuple[int, int]) -> Placed:
    """The map through all marks that are seen, checked."""
    if paper.scale() < _LEAST_PX_PER_MM:
        raise InputError(
            f"shows the sheet too small: it must have at least {_LEAST_PX_PER_MM:g} pixels in a millimetre",
            value=round(paper.scale(), 1), hint="go nearer, or scan it at 200 dots per inch or more",
        )  # fmt: skip
    dots = np.vstack([form.code_dots, form.plain_dots])
    for reach in (_DOT_REACH_MM, _NEAR_MM, _NEAR_MM):
        places, off, _ = _sought(tone, paper, form, dots, reach)
        paper = _fitted(paper, places, off)
    _, _, blur = _sought(tone, paper, form, dots, _DOT_REACH_MM)
    if blur > _MOST_BLUR_MM:
        raise InputError(
            "is blurred: a sharp edge is smeared over more than the reader can take (mm)", value=round(float(blur), 2),
            hint="hold the camera still, in more light, and let it focus on the sheet",
        )  # fmt: skip
    left = float(np.sqrt((_off(tone, paper, form, dots) ** 2).sum(axis=1).mean()))
    if left > _MOST_OFF_MM:
        raise InputError(
            "shows the sheet bent: its marks lie off their places (mm)", value=round(left, 2),
            hint="lay it flat under the camera, or scan it",
        )  # fmt: skip
    return Placed(paper, form, code[0], code[1], left)


def _off(tone: Bytes, paper: PaperMap, form: Format, dots: Floats) -> Floats:
    places, off, _ = _sought(tone, paper, form, dots, _NEAR_MM)
    return np.asarray(off[np.isfinite(places).all(axis=1)])


def _sought(
    tone: Bytes, paper: PaperMap, form: Format, dots: Floats, reach: float
) -> tuple[Floats, Floats, float]:  # fmt: skip
    """Places of the marks that are seen, how far from them each lies, mm; and the blur of the dots, mm."""
    rings, _ = _centroids(tone, paper, form.corners, _RING_REACH_MM)
    points, spread = _centroids(tone, paper, dots, reach)
    places, off = np.vstack([form.corners, dots]), np.vstack([rings, points])
    good = np.asarray(np.isfinite(off).all(axis=1))
    if good.mean() < _FEWEST:
        raise InputError(
            "hides too many of the sheet's dots", value=f"{int((~good).sum())} of {len(good)}",
            hint="photograph the whole sheet with nothing lying on it",
        )  # fmt: skip
    radius = DOT_MM
    plain = spread[len(form.code_dots) :]  # of a disc of radius r, blurred by s, the mean square radius is r²/2 + 2 s²
    blur = math.sqrt(max(float(np.nanmedian(plain)) - radius**2 / 2, 0.0) / 2)
    return places[good], off[good], blur


def _centroids(tone: Bytes, paper: PaperMap, at: Floats, reach: float) -> tuple[Floats, Floats]:
    """How far from its place the middle of each mark lies, NaN where none is seen; and its mean square radius; mm."""
    dark, offset = _darkness(tone, paper, at, reach)
    ink = max(float(np.median(dark.max(axis=(1, 2)))), _FAINT)
    weight = np.clip(dark / ink - _FAINT / 2, 0, None)
    total = weight.sum(axis=(1, 2))
    seen = (dark.max(axis=(1, 2)) > ink / 2) & (total > 0)
    total = np.where(seen, total, np.nan)
    x, y = (weight.sum(axis=axis) @ offset / total for axis in (1, 2))
    weight = np.clip(dark - _NOISE, 0, None)  # with all that blur has spread
    total = np.where(seen, weight.sum(axis=(1, 2)), np.nan)
    square = (weight.sum(axis=1) @ offset**2 + weight.sum(axis=2) @ offset**2) / total - x**2 - y**2
    return np.column_stack([x, y]), square


def _fitted(paper: PaperMap, places: Floats, off: Floats) -> PaperMap:
    """The map through places whose marks are seen `off` by so much; those far off all others count little."""
    seen = paper(places + off)
    weight = np.ones(len(places))
    for _ in range(4):
        matrix = _homography(places, seen, weight)
        flat = PaperMap(matrix, paper.size, np.zeros((10, 2)))
        root = np.sqrt(weight)[:, None]
        bend = np.linalg.lstsq(_terms(places, paper.size) * root, (seen - flat(places)) * root, rcond=None)[0]
        fitted = PaperMap(matrix, paper.size, np.asarray(bend, dtype=np.float64))
        miss = np.hypot(*(seen - fitted(places)).T)
        weight = 1 / (1 + (miss / (2 * np.median(miss) + 1e-6)) ** 2)
    return fitted


def _homography(places: Floats, seen: Floats, weight: Floats) -> Floats:
    """The homography nearest to many pairs by algebraic distance in even coordinates (source: hartley-zisserman)."""
    even, their = _evened(places), _evened(seen)
    (x, y), (u, v) = (places @ even[:2, :2] + even[:2, 2]).T, (seen @ their[:2, :2] + their[:2, 2]).T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows = np.vstack(
        [
            np.column_stack([x, y, one, zero, zero, zero, -u * x, -u * y, -u]) * weight[:, None],
            np.column_stack([zero, zero, zero, x, y, one, -v * x, -v * y, -v]) * weight[:, None],
        ]
    )
    result = np.linalg.svd(rows, full_matrices=False)[2][-1].reshape(3, 3)
    matrix = np.linalg.inv(their) @ result @ even
    return np.asarray(matrix / matrix[2, 2])


def _evened(xy: Floats) -> Floats:
    """The matrix that moves places about 0 and makes them of size 1."""
    middle, size = xy.mean(axis=0), xy.std()
    return np.array([[1 / size, 0, -middle[0] / size], [0, 1 / size, -middle[1] / size], [0, 0, 1]])
