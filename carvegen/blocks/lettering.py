"""Letters as closed outlines, for words that are cut or printed with a block."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import reportlab
import shapely
from fontTools.pens.basePen import BasePen
from fontTools.ttLib import TTFont

from carvegen import geometry

if TYPE_CHECKING:
    from carvegen.geometry import PolygonArray

__all__ = ["lettered"]

_FONT = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"  # comes with reportlab
_CAPITAL = 0.729  #: height of its capitals, of the em
_BENDS = 4  #: chords of a curve: a letter is a few millimetres high


class _Outline(BasePen):  # type: ignore[misc]
    """Gathers a glyph's rings, curves as chords."""

    def __init__(self, glyphs: Any) -> None:  # noqa: ANN401
        super().__init__(glyphs)
        self.rings: list[list[tuple[float, float]]] = []

    def _moveTo(self, pt: tuple[float, float]) -> None:  # noqa: N802 - the name is fontTools'
        self.rings.append([pt])

    def _lineTo(self, pt: tuple[float, float]) -> None:  # noqa: N802
        self.rings[-1].append(pt)

    def _qCurveToOne(self, pt1: tuple[float, float], pt2: tuple[float, float]) -> None:  # noqa: N802
        start = np.array(self.rings[-1][-1])
        for t in np.linspace(0, 1, _BENDS + 1)[1:]:
            x, y = (1 - t) ** 2 * start + 2 * t * (1 - t) * np.array(pt1) + t**2 * np.array(pt2)
            self.rings[-1].append((float(x), float(y)))


@lru_cache(maxsize=1)
def _font() -> tuple[Any, dict[int, str], float]:
    font = TTFont(_FONT)
    return font.getGlyphSet(), font.getBestCmap(), _CAPITAL * font["head"].unitsPerEm


@lru_cache(maxsize=256)
def _glyph(letter: str) -> tuple[PolygonArray, float]:
    """The outlines of a letter, capitals 1 high, and how far the next one stands off; "?" for one that is not there."""
    glyphs, names, height = _font()
    glyph = glyphs[names.get(ord(letter), names[ord("?")])]
    pen = _Outline(glyphs)
    glyph.draw(pen)
    rings = [shapely.linearrings(ring) for ring in pen.rings if len(ring) > 2]
    shape = shapely.build_area(shapely.geometrycollections(rings)) if rings else shapely.Polygon()
    return geometry.moved(geometry.parts(shape), (0.0, 0.0), scale=1 / height), float(glyph.width) / height


def lettered(text: str) -> PolygonArray:
    """A line of words as outlines: capitals 1 high, from the origin to the right along the base line."""
    shapes, x = [], 0.0
    for letter in text:
        outlines, width = _glyph(letter)
        shapes.append(geometry.moved(outlines, (x, 0.0)))
        x += width
    return geometry.stack(shapes)
