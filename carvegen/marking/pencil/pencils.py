"""The pencils of a sheet, learnt from its own strip, and which of them each coloured pixel is."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from carvegen.base.colour import ciede2000, cielab, hex_of, screen
from carvegen.base.errors import InputError
from carvegen.marking.pencil.areas import covered, share_of_deepest, stroke_depth
from carvegen.marking.pencil.evened import PX_PER_MM

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from carvegen.base.colour import Rgb
    from carvegen.geometry import Floats, Mask
    from carvegen.marking.marks import Meaning
    from carvegen.marking.pencil.evened import Evened, Light
    from carvegen.marking.pencil.layout import Box, Format

__all__ = ["Pencil", "check_apart", "learnt", "nearest_pencil"]

Which: TypeAlias = NDArray[np.int8]  #: number of the pencil of each pixel; `UNKNOWN`, or -1 for none

REFUSED_APART, DOUBTFUL_APART = 12.0, 15.0  #: CIEDE2000; our own choice, by trials (see the tests' table)

_USED = 0.05  #: share of a half of a box that must be coloured
_GREY, _GREY_SHARE = 0.3, 0.1  #: density, and share of a box, that tell of a grey pencil
_STEPS = 6  #: depths at which a pencil's direction is known
_FEWEST = 60  #: pixels to learn from
_LEAST_SPREAD, _MOST_SPREAD = 0.10, 0.3  #: how far a pencil strays from its direction, radians
_STRAY = 4.5  #: half the square of how many spreads off a colour is in no box: 3
_WORST = 8.0
_VOTE_MM = 1.5  #: neighbours so near vote: a stroke is of one pencil
_LIGHT_BY = 0.85  #: a half for a light hand that is deeper than this share of the firm one tells nothing
_USUAL_LIGHT = 0.45  #: then it would be so deep


@dataclass(frozen=True, eq=False)
class Course:
    """The directions of a pencil's colours, from shallow to deep.

    A glaze has one direction at all depths; a pencil that hides what is under it bends as it covers more, and on a
    tint in another way than on white.
    """

    depth: Floats
    angle: Floats  #: radians
    spread: float  #: how far colours stray from that, radians

    @classmethod
    def of(cls, hue: Floats) -> Course:
        """The course of coloured pixels; (n, 2)."""
        depth = np.hypot(*hue.T)
        order = np.argsort(depth)
        pieces = np.array_split(order, _STEPS)
        middle = np.array([depth[piece].mean() for piece in pieces])
        angle = np.unwrap([np.arctan2(hue[piece, 1].sum(), hue[piece, 0].sum()) for piece in pieces])
        off = np.abs(cls(middle, angle, 0.0).off(hue))[order[len(order) // 2 :]]
        return cls(middle, angle, float(np.clip(1.48 * np.median(off), _LEAST_SPREAD, _MOST_SPREAD)))

    def off(self, hue: Floats) -> Floats:
        """How far off its direction colours are, radians; (n,)."""
        off = np.arctan2(hue[:, 1], hue[:, 0]) - np.interp(np.hypot(*hue.T), self.depth, self.angle)
        return np.asarray((off + np.pi) % (2 * np.pi) - np.pi)


@dataclass(frozen=True, kw_only=True, eq=False)
class Pencil:
    """A pencil as its box shows it."""

    meaning: Meaning
    courses: tuple[Course, ...]  #: on white, and on the strip's tint
    firm: float  #: how deep strokes of a firm hand are
    light: float  #: and of a light one
    colour: Rgb  #: of the firm half

    @property
    def lab(self) -> Floats:
        """CIELAB of the firm half."""
        return cielab(np.asarray(self.colour, dtype=np.float64))

    def score(self, hue: Floats, noise: Floats) -> Floats:
        """How well colours fit it, 0 best; (n,)."""
        doubt = (noise / np.maximum(np.hypot(*hue.T), 1e-6)) ** 2
        scores = [-(course.off(hue) ** 2) / (2 * (course.spread**2 + doubt)) for course in self.courses]
        return np.asarray(np.max(scores, axis=0))


def learnt(sheet: Evened, form: Format) -> tuple[Pencil, ...]:
    """The pencils in the boxes of the strip; an empty box has none.

    Raises
    ------
    InputError
        If no box has a pencil, or one has a grey one.
    """
    result = [pencil for box in form.boxes for pencil in _in_box(sheet, box, form)]
    if not result:
        raise InputError(
            "has no pencil in any box of its strip", hint="scribble each pencil in the box of its meaning, firmly"
        )
    return tuple(result)


def _pixels(part: tuple[float, float, float, float], form: Format) -> tuple[slice, slice]:
    left, bottom, right, top = part
    high = form.size[1]
    return (
        slice(round((high - top) * PX_PER_MM), round((high - bottom) * PX_PER_MM)),
        slice(round(left * PX_PER_MM), round(right * PX_PER_MM)),
    )


def _in_box(sheet: Evened, box: Box, form: Format) -> Iterator[Pencil]:
    halves = [_pixels(half, form) for half in (box.firm, box.light)]
    hues = [sheet.hue[half] for half in halves]
    lead = [sheet.coloured[half] for half in halves]
    if max(on.mean() for on in lead) < _USED or sum(on.sum() for on in lead) < _FEWEST:
        _check_grey(sheet, box, halves)
        return
    firm, light = (_depth(hue, on, sheet.blur_mm) for hue, on in zip(hues, lead, strict=True))
    firm = firm or light
    white = _white(box)
    parts = [[(hue[rows], on[rows]) for hue, on in zip(hues, lead, strict=True)]
             for rows in (slice(None, white), slice(white + 4, None))]  # fmt: skip
    colours = [np.vstack([hue[on] for hue, on in part]).astype(np.float64) for part in parts]
    many = [colour for colour in colours if len(colour) >= _FEWEST] or [np.vstack(colours)]
    yield Pencil(
        meaning=box.meaning, courses=tuple(map(Course.of, many)), firm=firm,
        light=light if 0 < light < _LIGHT_BY * firm else _USUAL_LIGHT * firm,
        colour=_strong_colour(sheet, halves[0] if lead[0].mean() >= _USED else halves[1], _white(box)),
    )  # fmt: skip


def _white(box: Box) -> int:
    """Rows of a half above its tint."""
    return int(box.white_mm * PX_PER_MM) - 2


def _check_grey(sheet: Evened, box: Box, halves: Sequence[tuple[slice, slice]]) -> None:
    """Refuse graphite: the sheet is grey itself."""
    around = np.concatenate([sheet.grey[rows.stop + 9 : rows.stop + 15, columns].ravel() for rows, columns in halves])
    paper = float(np.quantile(around, 0.9))  # in the shade, if an edge of it runs through
    white = [sheet.grey[rows, columns][: _white(box)] for rows, columns in halves]
    if max(float((grey > paper + _GREY).mean()) for grey in white) > _GREY_SHARE:
        raise InputError(
            "holds a grey or black pencil, which can't be told from the sheet's own grey",
            where=f"the box {box.meaning!s}", hint="take a coloured pencil",
        )  # fmt: skip


def _depth(hue: Light, lead: Mask, blur_mm: float) -> float:
    depth = np.hypot(hue[..., 0], hue[..., 1])
    on = covered(share_of_deepest(depth), lead, blur_mm)
    return stroke_depth(depth[on]) if on.sum() >= _FEWEST // 2 else 0.0


def _strong_colour(sheet: Evened, half: tuple[slice, slice], high: int) -> Rgb:
    """The colour of the deeper coloured pixels of a half, where it is not tinted."""
    rows, columns = half
    white = slice(rows.start, rows.start + high)
    hue, light = sheet.hue[white, columns], sheet.light[white, columns]
    depth = np.hypot(hue[..., 0], hue[..., 1])
    on = depth > sheet.floor[white, columns]
    on &= depth >= np.median(depth[on]) if on.any() else True
    red, green, blue = np.round(screen(light[on].mean(axis=0, dtype=np.float64))).astype(int).tolist()
    return red, green, blue


def check_apart(pencils: Sequence[Pencil]) -> list[str]:
    """What is to be said of pencils that are alike.

    Raises
    ------
    InputError
        If two are too much alike to be told apart.
    """
    faults = []
    for one, other in itertools.combinations(pencils, 2):
        apart = float(ciede2000(one.lab, other.lab))
        which = f"the pencils for {one.meaning!s} ({hex_of(one.colour)}) and {other.meaning!s} ({hex_of(other.colour)})"
        if apart < REFUSED_APART:
            raise InputError(
                f"{which} are too much alike: they must be {REFUSED_APART:g} apart (CIEDE2000)", value=round(apart, 1),
                hint="take another colour for one of them, on a fresh sheet",
            )  # fmt: skip
        if apart < DOUBTFUL_APART:
            faults.append(f"{which} are only {apart:.1f} apart (CIEDE2000): below {DOUBTFUL_APART:g} some may be taken "
                        "for the other; look at the picture of what was understood")  # fmt: skip
    return faults


def nearest_pencil(hue: Light, lead: Mask, pencils: Sequence[Pencil], floor: Light) -> Which:
    """The pencil of each pixel: its number, `len(pencils)` if it is of none, -1 where there is no colour.

    Parameters
    ----------
    hue
        (height, width, 2).
    lead
        Which pixels are coloured; (height, width).
    floor
        How deep a colour must be to count; (height, width).
    """
    rows, columns = np.nonzero(lead)
    noise = np.asarray(floor[rows, columns] / 2, dtype=np.float64)
    colours = hue[rows, columns].astype(np.float64)
    best, which = np.zeros(lead.shape, dtype=np.float32), np.full(lead.shape, -1, dtype=np.int8)
    size = round(_VOTE_MM * PX_PER_MM)
    for k, pencil in enumerate([*pencils, None]):
        vote = np.zeros(lead.shape, dtype=np.float32)
        score = pencil.score(colours, noise) if pencil else np.full(len(rows), -_STRAY)
        vote[rows, columns] = np.maximum(score, -_WORST) + _WORST
        ndimage.uniform_filter(vote, size, output=vote)
        more = vote > best
        which[more], best[more] = k, vote[more]
    which[~lead] = -1
    return which
