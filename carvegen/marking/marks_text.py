"""Marks as a drawing: what `carvegen.marking.marks_file` reads, in the order that they have."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape, quoteattr

import shapely

from carvegen import geometry
from carvegen.base.words import shortened
from carvegen.marking.marks import Mark, Meaning
from carvegen.marking.marks_file import SIGN

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

__all__ = ["marks_text"]

#: How each meaning looks in a drawing program; the meaning is the group's title.
_LOOKS = {
    Meaning.COMES_OUT: "#b5533c", Meaning.STAYS: "#3f6f5f", Meaning.CARVER_DECIDES: "#c9a26b",
    Meaning.MORE: "#4a6fa5", Meaning.LESS: "#8a6d9e", Meaning.GROW_AGAIN: "#7d7d5a",
}  # fmt: skip


def marks_text(marks: Iterable[Mark], size: tuple[float, float], *, title: str) -> str:
    """An SVG at true size: a group for each run of marks that are alike but for where they lie.

    Parameters
    ----------
    marks
        Of the print view, on the grid.
    size
        Width and height of the face, mm.
    """
    width, height = (f"{value:.6f}".rstrip("0").rstrip(".") for value in size)
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" version="1.1" width="{width}mm" height="{height}mm" '
        f'viewBox="0 0 {width} {height}">',
        f"<title>{escape(shortened(title))}, marks</title>",
        "<desc>PRINT VIEW, true size, one unit is 1 mm. Groups are named by what is to be done where their shapes "
        "lie.</desc>",
        f"<metadata>{SIGN}</metadata>",
        *itertools.chain.from_iterable(
            _group(like, run, size[1]) for like, run in itertools.groupby(marks, key=_likeness)
        ),
        "</svg>",
    ]
    return "\n".join(lines) + "\n"


def _likeness(mark: Mark) -> tuple[Meaning, int, tuple[str, ...], tuple[str, ...]]:
    return mark.meaning, mark.attempt, mark.motifs, mark.blocks


def _group(
    like: tuple[Meaning, int, tuple[str, ...], tuple[str, ...]], marks: Iterable[Mark], top: float
) -> Iterator[str]:
    """A group with a meaning, in groups for what it is for."""
    meaning, attempt, motifs, blocks = like
    around = [*motifs, *blocks]
    yield from (f"<g><title>{escape(name)}</title>" for name in around)
    nth = f" {attempt}" if attempt > 1 else ""
    yield f'<g fill="{_LOOKS[meaning]}" fill-rule="evenodd" stroke="none"><title>{meaning}{nth}</title>'
    for mark in marks:
        strength = f' opacity="{mark.strength:g}"' if meaning.graded else ""
        yield f'<path id={quoteattr(mark.key)}{strength} d="{_outline(mark.shape, top)}"/>'
    yield "</g>" * (len(around) + 1)


def _outline(shape: BaseGeometry, top: float) -> str:
    finer = 3 if round(top, 3) == top else 6  # so that turning y back falls on the grid again
    rings = [ring for part in geometry.parts(shape) for ring in (part.exterior, *part.interiors)]
    return "".join(
        f"M{' '.join(f'{x:.3f} {top - y:.{finer}f}' for x, y in shapely.get_coordinates(ring)[:-1].tolist())}Z"
        for ring in rings
    )
