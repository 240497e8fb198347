"""Small samples of what the guide's drawing shows, to stand before the words that explain it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from carvegen.geometry import Floats

__all__ = [
    "BEFORE_TONE", "BORDERS_MM", "FREE_TONE", "HATCH_TONE", "HEAVY_MM", "OUTLINE_MM", "SAMPLE_MM", "THROUGH_MM",
    "Entry", "Lines", "Sample", "sample",
]  # fmt: skip

BORDERS_MM = 0.3  #: width of the strokes where zones meet
BEFORE_TONE = 0.95  #: lightness of what is cut already; a printer that leaves it white still draws its lines
FREE_TONE = 0.45  #: lightness of the hatching over free zones
HEAVY_MM = 0.4  #: width of the outline round small land
HATCH_TONE = 0.35  #: lightness of outlines and hatching
OUTLINE_MM = 0.1  #: width of the line along a cut's edge, half of it inside
THROUGH_MM = 0.25  #: width of hatching over what goes through

SAMPLE_MM = (9.0, 2.8)  #: width and height of a sample


@dataclass(frozen=True, kw_only=True)
class Entry:
    """A line of the guide's words, with what it speaks of."""

    words: str
    shows: str = ""  #: the sample before it; nothing: none


@dataclass(frozen=True, kw_only=True, eq=False)
class Lines:
    """Straight lines of one kind."""

    ends: Floats  #: (n, 4) as x, y, x, y
    width_mm: float
    tone: float
    broken: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Sample:
    """What is drawn, from (0, 0) to `SAMPLE_MM`: filled boxes, then lines."""

    boxes: tuple[tuple[float, float, float, float, float], ...]  #: left, bottom, right, top, lightness
    lines: tuple[Lines, ...]


def sample(shows: str, tones: Sequence[float]) -> Sample:
    """The sample of one kind, in the guide's own tones.

    Parameters
    ----------
    shows
        "tones" (all three), "fine", "edges", "floors", "before", "through", "free", "stands", "thin",
        "borders", "kept", "frame" (with a cross), "arrow left", "arrow right", "grain" or "tick" (an empty
        box).
    """
    w, h = SAMPLE_MM
    one = {"fine": 0, "edges": 1, "floors": 2}
    if shows == "tones":
        return Sample(
            boxes=tuple((k * w / 3, 0, (k + 1) * w / 3, h, tone) for k, tone in enumerate(tones)), lines=(_FRAME,)
        )
    if shows in one:
        return Sample(boxes=((0, 0, w, h, tones[one[shows]]),), lines=(_FRAME,))
    if shows == "before":
        return Sample(boxes=((0, 0, w, h, BEFORE_TONE),), lines=(_FRAME, _LEVEL))
    if shows == "stands":
        return Sample(boxes=((0, 0, w, h, tones[0]), (3.4, 0.7, 5.6, h - 0.7, 1.0)), lines=(_FRAME, _LAND))
    if shows == "thin":
        return Sample(boxes=((0, 0, 4.2, h, tones[0]), (4.8, 0, w, h, tones[0])), lines=(_FRAME, _STROKES))
    return Sample(boxes=(), lines=_LINES[shows])


def _round(left: float, bottom: float, right: float, top: float) -> Floats:
    corners = np.array([(left, bottom), (right, bottom), (right, top), (left, top)])
    return np.hstack([corners, np.roll(corners, -1, axis=0)])


def _slanting(gap: float, slope: int) -> Floats:
    """Lines at 45 degrees over the whole sample, cut off at its sides."""
    w, h = SAMPLE_MM
    foot = np.arange(gap / 2 - h, w, gap)
    begin, end = np.clip(-foot, 0, h), np.clip(w - foot, 0, h)
    ends = np.column_stack([foot + begin, begin, foot + end, end])
    return ends if slope > 0 else ends * (1, -1, 1, -1) + (0, h, 0, h)


_WHOLE = _round(0, 0, *SAMPLE_MM)
_FRAME = Lines(ends=_WHOLE, width_mm=OUTLINE_MM, tone=HATCH_TONE)
_LEVEL = Lines(ends=np.array([(0, 1.4, SAMPLE_MM[0], 1.4)]), width_mm=OUTLINE_MM, tone=FREE_TONE)
_LAND = Lines(ends=_round(3.4, 0.7, 5.6, SAMPLE_MM[1] - 0.7), width_mm=HEAVY_MM, tone=0.0)
_STROKES = Lines(
    ends=np.array([(x, y, x + 1.0 * direction, y) for x, direction in ((4.0, -1), (5.0, 1)) for y in (0.8, 2.0)]),
    width_mm=0.25, tone=0.0,
)  # fmt: skip
_MIDDLE = SAMPLE_MM[1] / 2
_HEADS = {
    side: np.array([(x, _MIDDLE, x + side * 1.2, _MIDDLE + up) for up in (-0.7, 0.7)])
    for side, x in ((1, 1.0), (-1, SAMPLE_MM[0] - 1.0))
}
_SHAFT = np.array([(1.0, _MIDDLE, SAMPLE_MM[0] - 1.0, _MIDDLE)])
_LINES: Mapping[str, tuple[Lines, ...]] = {
    "through": (
        Lines(ends=_slanting(2.2, 1), width_mm=THROUGH_MM, tone=HATCH_TONE),
        Lines(ends=_WHOLE, width_mm=THROUGH_MM, tone=HATCH_TONE),
    ),
    "free": (
        Lines(ends=_slanting(1.1, -1), width_mm=OUTLINE_MM, tone=FREE_TONE),
        Lines(ends=_WHOLE, width_mm=OUTLINE_MM, tone=FREE_TONE),
    ),
    "tick": (Lines(ends=_round(SAMPLE_MM[0] - SAMPLE_MM[1], 0, *SAMPLE_MM), width_mm=0.2, tone=0.0),),
    "borders": (
        Lines(ends=np.array([(0.0, 0.4, SAMPLE_MM[0], 0.4)]), width_mm=0.3, tone=0.0),
        Lines(ends=np.array([(4.5, 0.4, 4.5, 2.4)]), width_mm=BORDERS_MM, tone=HATCH_TONE),
    ),
    "frame": (
        Lines(ends=_round(0.0, 0.0, 5.0, SAMPLE_MM[1]), width_mm=0.3, tone=0.0),
        Lines(ends=np.array([(6.4, _MIDDLE, 9.0, _MIDDLE), (7.7, 0.1, 7.7, 2.7)]), width_mm=0.2, tone=0.0),
    ),
    "arrow left": (Lines(ends=np.vstack([_SHAFT, _HEADS[1]]), width_mm=0.3, tone=0.0),),
    "arrow right": (Lines(ends=np.vstack([_SHAFT, _HEADS[-1]]), width_mm=0.3, tone=0.0),),
    "grain": (Lines(ends=np.vstack([_SHAFT, _HEADS[1], _HEADS[-1]]), width_mm=0.3, tone=0.0),),
    "kept": (Lines(ends=_WHOLE, width_mm=OUTLINE_MM, tone=HATCH_TONE, broken=True),),
}
