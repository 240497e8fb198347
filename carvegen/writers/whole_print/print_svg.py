"""SVG: the whole print at true size in flat exact colours, and the outlines of all blocks over one another."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from carvegen import geometry
from carvegen.base.colour import (
    hex_of,
    linear,
    screen_rgb,
    solids,
)
from carvegen.writers.formats.svg_page import SvgPage
from carvegen.writers.sheet import TextLine
from carvegen.writers.whole_print.embossed_relief import wall_patches

if TYPE_CHECKING:
    from collections.abc import Mapping

    from shapely.geometry.base import BaseGeometry

    from carvegen.base.colour import Ink, Rgb
    from carvegen.writers.whole_print.embossed_relief import PressedFace
    from carvegen.writers.whole_print.print_png import Coat, Window

__all__ = ["outlines_svg", "overlaps", "print_svg"]

_MOST_OVERLAPS = 200  #: so many overlaps of inks are drawn at most
_CRUMB_MM2 = 1e-4
_LINE_MM = 0.22
_TINT = 0.1
_TEXT_MM = 3.0
_ABOUT = "PRINT VIEW: as the paper will show it. Millimetres, 1:1. Not for a machine."
#: Outlines by their place in the printing order: hues of our own, told apart in grey too by their dashes.
_HUES = ("#3d6f8f", "#b0563a", "#20242e", "#5f7f4a", "#7a5a8f", "#a8742a")
_DASHES = ("none", "2,0.6", "none", "0.8,0.6", "3,0.6,0.6,0.6", "0.4,0.4")


def print_svg(
    paper: Rgb, coats: Sequence[Coat], window: Window, *, pressed: Sequence[PressedFace] = (), title: str = "print"
) -> str:
    """The blocks printed over one another, every overlap of inks in the colour that `colour.overprinted` gives it.

    Each overlap is a shape over those of fewer inks, so that no light gaps show between them.
    """
    page, face = SvgPage(window, title=title, about=_ABOUT), shapely.box(*window)
    page.polygon(page.group("PAPER", "bare paper", fill=hex_of(paper), stroke="none"), face)
    for number, (which, shape) in enumerate(overlaps(coats, face)):
        inks = [coats[k].ink for k in which]
        about = "printed by block " + ", then ".join(str(coats[k].number or k + 1) for k in which)
        look: dict[str, Any] = {"fill": _colour(paper, inks), "stroke": "none", "fill_rule": "evenodd"}
        page.group(f"INKS-{number + 1}", about, shapes=geometry.parts(shape), **look)
    for number, piece in enumerate(pressed):
        for k, (patch, light) in enumerate(wall_patches(piece)):
            tone = hex_of(screen_rgb(np.clip(linear(paper) * light, 0, 1)))
            look = {"fill": tone, "stroke": tone, "stroke_width": 0.02}
            page.group(f"RELIEF-{number + 1}-{k + 1}", "wall of an embossed shape", shapes=patch, **look)
    return page.to_text()


def outlines_svg(coats: Mapping[str, Coat], window: Window, *, pressed: Mapping[str, PressedFace]) -> str:
    """The lands of all blocks as outlines over a faint tint of their ink, a group each, in printing order.

    The first printed lies lowest; a legend says which is which.
    """
    left, bottom, right, top = window
    lands = {name: coat.land for name, coat in coats.items()} | {name: piece.face for name, piece in pressed.items()}
    low = bottom - (len(lands) + 1) * 1.6 * _TEXT_MM
    page = SvgPage((left, low, right, top), title="lands of all blocks", about=_ABOUT)
    face = shapely.box(*window)
    for k, (name, land) in enumerate(lands.items()):
        hue, dash = _HUES[k % len(_HUES)], _DASHES[k % len(_DASHES)]
        fill = hex_of(coats[name].ink.colour) if name in coats else "#ffffff"
        page.group(
            name, f"printed as number {k + 1}", name=f"BLOCK-{k + 1}", fill=fill, fill_opacity=_TINT, stroke=hue,
            stroke_width=_LINE_MM, stroke_dasharray=dash, fill_rule="evenodd",
            shapes=geometry.parts(shapely.intersection(land, face)),
        )  # fmt: skip
    _legend(page, list(lands), left, bottom)
    return page.to_text()


def _legend(page: SvgPage, names: Sequence[str], left: float, bottom: float) -> None:
    notes = page.group("LEGEND", "which outline is which", font_family="sans-serif", fill="#20242e")
    for k, name in enumerate(names):
        y = bottom - (k + 1) * 1.6 * _TEXT_MM
        start, end = page.at(left + 1, y + 0.3 * _TEXT_MM), page.at(left + 13, y + 0.3 * _TEXT_MM)
        notes.add(page.drawing.line(start, end, stroke=_HUES[k % len(_HUES)], stroke_width=2 * _LINE_MM,
                                    stroke_dasharray=_DASHES[k % len(_DASHES)]))  # fmt: skip
        place = "lowest" if k == 0 else "on top of all" if k == len(names) - 1 else "over those named before"
        page.words(notes, TextLine(at=(left + 15, y), size_mm=_TEXT_MM, text=f"{k + 1}  {name}: {place}"))


def overlaps(coats: Sequence[Coat], face: BaseGeometry) -> Iterator[tuple[tuple[int, ...], BaseGeometry]]:
    """Every set of inks that lie over one another somewhere, fewer first, with where all of them do."""
    stacks: list[tuple[tuple[int, ...], Any]] = [
        ((k,), geometry.solid(shapely.intersection(coat.land, face))) for k, coat in enumerate(coats)
    ]
    lands, count = [shape for _, shape in stacks], 0
    while stacks and count < _MOST_OVERLAPS:
        yield from stacks
        count += len(stacks)
        more = [((*which, k), geometry.solid(shapely.intersection(shape, lands[k]))) for which, shape in stacks
                for k in range(which[-1] + 1, len(lands))]  # fmt: skip
        stacks = [(which, shape) for which, shape in more if shapely.area(shape) > _CRUMB_MM2]


def _colour(paper: Rgb, inks: Sequence[Ink]) -> str:
    return hex_of(screen_rgb(solids(paper, inks)))
