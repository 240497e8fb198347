"""PNG: where a register error shows, place by place, over the pale print."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from carvegen.writers.formats.picture_words import rows_of_words
from carvegen.writers.formats.png_bytes import SMALL, png_bytes

if TYPE_CHECKING:
    from carvegen.geometry import Floats, Indices

__all__ = ["Shown", "register_png"]

#: Shares of prints from which on each colour is used, and its word.
_STEPS = ((0.01, "1-5"), (0.05, "5-15"), (0.15, "15-30"), (0.30, "over 30"))
#: Of either kind, the rarest first. Each is much darker than the one before it, so that eyes that confuse red and
#: green tell them apart, too; amber and blue are told apart by all, and no step is so dark that its hue is lost.
_COLOURS = (("#ffe190", "#f2a03a", "#c8431b", "#6b0000"), ("#c2e3df", "#5cb0c4", "#2468ae", "#0e1760"))
_RADIUS_MM = 0.42
_PALE = 0.68  #: how far the print is drawn towards white
_LINE_MM = 5.2  #: height of a line of the legend, on a picture 200 mm wide
_WORDS = "#2a2723"


@dataclass(frozen=True, kw_only=True, eq=False)
class Shown:
    """One kind of fault: its name, its places, in which share of prints each fails, and the numbers of the worst."""

    name: str
    xy: Floats
    share: Floats
    worst: Sequence[int]


def register_png(
    printed: bytes, window: tuple[float, float, float, float], kinds: tuple[Shown, Shown], words: Sequence[str]
) -> bytes:
    """The places over the pale print, with a legend under it.

    Parameters
    ----------
    printed
        The picture of the print, PNG.
    window
        The piece of the face that it shows: left, bottom, right, top, mm.
    words
        Lines of the legend.
    """
    picture = Image.open(io.BytesIO(printed)).convert("RGB")
    scale = picture.width / (window[2] - window[0])
    pale = Image.blend(picture, Image.new("RGB", picture.size, "#ffffff"), _PALE)
    line = round(_LINE_MM * picture.width / 200)
    font = ImageFont.load_default(size=0.62 * line)
    room = picture.width - 1.6 * line
    rows = [row for text in words for row in rows_of_words(text, font, room)]
    page = Image.new("RGB", (picture.width, picture.height + line * (len(rows) + 5)), "#ffffff")
    page.paste(pale, (0, 0))
    pen = ImageDraw.Draw(page)
    for colours, kind in zip(_COLOURS, kinds, strict=True):
        _dots(pen, kind, colours, window, scale)
    _rings(pen, kinds, window, scale)
    _legend(pen, kinds, rows, picture.height, line)
    return png_bytes(page, px_per_mm=scale, level=SMALL)


def _dots(pen: ImageDraw.ImageDraw, kind: Shown, colours: Sequence[str], window: Sequence[float], scale: float) -> None:
    """Rare places first, so that frequent ones lie on top."""
    level = _levels(kind)
    for k in np.argsort(kind.share, kind="stable").tolist():
        if level[k] >= 0:
            x, y = (kind.xy[k, 0] - window[0]) * scale, (window[3] - kind.xy[k, 1]) * scale
            r = _RADIUS_MM * scale * (0.7 + 0.2 * float(level[k]))
            pen.ellipse((x - r, y - r, x + r, y + r), fill=colours[level[k]])


def _levels(kind: Shown) -> Indices:
    """Which of `_STEPS` each place has reached; -1: none; (n,)."""
    return np.searchsorted([step for step, _ in _STEPS], kind.share, side="right") - 1


def _rings(pen: ImageDraw.ImageDraw, kinds: Sequence[Shown], window: Sequence[float], scale: float) -> None:
    """A ring round each of the worst places, and beside it how often it fails, where it hides no other's words."""
    font = ImageFont.load_default(size=max(8.0, 2.8 * scale))
    room = (window[2] - window[0]) * scale, (window[3] - window[1]) * scale
    worst = [
        (colours[max(_levels(kind)[k], 0)], kind, k)
        for colours, kind in zip(_COLOURS, kinds, strict=True)
        for k in kind.worst
    ]
    at = [((kind.xy[k, 0] - window[0]) * scale, (window[3] - kind.xy[k, 1]) * scale) for _, kind, k in worst]
    for (own, _, _), (x, y) in zip(worst, at, strict=True):
        for colour, width in (("#ffffff", 1.1), (own, 0.45)):
            r = 3.0 * scale + width * scale / 2
            pen.ellipse((x - r, y - r, x + r, y + r), outline=colour, width=max(1, round(width * scale)))
    r = 3.6 * scale
    taken = [(x - r, y - r, x + r, y + r) for x, y in at]
    for (_, kind, k), (x, y) in zip(worst, at, strict=True):
        text = f"{100 * kind.share[k]:.0f} %"
        half, high = pen.textlength(text, font=font) / 2 + 0.3 * scale, 1.5 * scale
        middles = [
            (min(max(x + right, half + 2), room[0] - half - 2), y + down)
            for right, down in _beside(half, scale) if high <= y + down <= room[1] - high
        ]  # fmt: skip
        boxes = [(left - half, top - high, left + half, top + high) for left, top in middles]
        best = min(range(len(boxes)), key=lambda n: sum(_common(boxes[n], other) for other in taken))
        taken.append(boxes[best])
        pen.text(middles[best], text, fill=_WORDS, font=font, anchor="mm", stroke_width=round(0.3 * scale),
                 stroke_fill="#ffffff")  # fmt: skip


def _beside(half: float, scale: float) -> list[tuple[float, float]]:
    """Where words so wide may stand beside a ring, the best first: right and down from its middle, pixels."""
    far, aside = 5.2 * scale, half + 3.8 * scale
    return [(0, -far), (0, far), (aside, 0), (-aside, 0), *((x, y) for y in (-far, far) for x in (aside, -aside))]


def _common(one: Sequence[float], other: Sequence[float]) -> float:
    """The area that two boxes share."""
    wide, high = (min(one[k + 2], other[k + 2]) - max(one[k], other[k]) for k in (0, 1))
    return max(wide, 0.0) * max(high, 0.0)


def _legend(pen: ImageDraw.ImageDraw, kinds: Sequence[Shown], rows: Sequence[str], top: int, line: int) -> None:
    font = ImageFont.load_default(size=0.62 * line)
    y, left = top + line * 0.9, line * 0.8
    pen.text((left, y), "How many of 100 prints show a fault at a place:", fill=_WORDS, font=font, anchor="lm")
    for colours, kind in zip(_COLOURS, kinds, strict=True):
        y += line * 1.15
        pen.text((left, y), kind.name, fill=_WORDS, font=font, anchor="lm")
        x = left + 7.5 * line
        for colour, (_, word) in zip(colours, _STEPS, strict=True):
            pen.rectangle((x, y - 0.3 * line, x + 0.6 * line, y + 0.3 * line), fill=colour)
            pen.text((x + 0.9 * line, y), word, fill=_WORDS, font=font, anchor="lm")
            x += 4 * line
    y += line * 0.5
    for row in rows:
        y += line
        pen.text((left, y), row, fill=_WORDS, font=font, anchor="lm")
