"""A page of SVG 1.1 in millimetres: svgwrite makes the document, long lists of shapes are spliced in."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
import svgwrite

from carvegen import geometry
from carvegen.writers.coordinates import ring_texts

if TYPE_CHECKING:
    from carvegen.geometry import Floats, PolygonArray
    from carvegen.writers.sheet import TextLine

__all__ = ["SvgPage", "paths"]

#: Width of a line that only says where, in mm.
HAIRLINE_MM = 0.1


class SvgPage:
    """A page that shows left…right, bottom…top of a drawing with y up, at true size.

    One user unit is 1 mm. No shape carries a transform: y is turned when the numbers are written.
    """

    def __init__(self, *, left: float, bottom: float, right: float, top: float, title: str, about: str) -> None:
        self._left, self._top = left, top
        width, height = round(right - left, 3), round(top - bottom, 3)
        self.drawing = svgwrite.Drawing(
            size=(f"{width:g}mm", f"{height:g}mm"),
            viewBox=f"0 0 {width:g} {height:g}",
            profile="full",
            debug=False,  # its checks take longer than the writing; tests hold files against the DTD
        )
        self.drawing.set_desc(title=title, desc=about)
        self._spliced: dict[str, str] = {}

    def group(self, name: str, title: str, about: str, **style: Any) -> Any:  # noqa: ANN401
        """A new group with an id, a title and a description."""
        group = self.drawing.g(id=name, **style)
        group.set_desc(title=title, desc=about)
        return self.drawing.add(group)

    def shapes(self, name: str, shapes: PolygonArray) -> None:
        """Put shapes into the group `name`, one closed path a shape."""
        self.spliced(name, paths(shapes, left=self._left, top=self._top))

    def lines(self, name: str, ends: Floats) -> None:
        """Put straight lines, (n, 4) as x, y, x, y, into the group `name`."""
        placed = ((*self.at(x, y), *self.at(to_x, to_y)) for x, y, to_x, to_y in ends.tolist())
        self.spliced(name, "".join(f'<line x1="{a}" x2="{c}" y1="{b}" y2="{d}" />' for a, b, c, d in placed))

    def spliced(self, name: str, elements: str) -> None:
        """Put elements, as text in the page's own coordinates, into the group `name`."""
        self._spliced[name] = self._spliced.get(name, "") + elements

    def at(self, x: float, y: float) -> tuple[float, float]:
        """A place of the drawing on the page."""
        return round(x - self._left, 3), round(self._top - y, 3)

    def words(self, group: Any, line: TextLine, **style: Any) -> None:  # noqa: ANN401
        """Add a line of words to a group."""
        group.add(self.drawing.text(line.text, insert=self.at(*line.at), font_size=line.size_mm, **style))

    def polygon(self, group: Any, shape: Any, **style: Any) -> None:  # noqa: ANN401
        """Add one plain outline to a group."""
        corners = [self.at(x, y) for x, y in shape.exterior.coords[:-1]]
        group.add(self.drawing.polygon(corners, **style))

    def to_text(self) -> str:
        """The whole file."""
        text = self.drawing.tostring().replace(' xmlns:ev="http://www.w3.org/2001/xml-events"', "")
        pieces, done = [], 0
        for place, shapes in sorted((self._place(text, name), body) for name, body in self._spliced.items()):
            pieces += [text[done:place], shapes]
            done = place
        return '<?xml version="1.0" encoding="UTF-8"?>\n' + "".join([*pieces, text[done:]]) + "\n"

    @staticmethod
    def _place(text: str, name: str) -> int:
        """Where the shapes of a group go: behind its description."""
        end = "</desc>"
        return text.index(end, text.index(f'id="{name}"')) + len(end)


def paths(shapes: PolygonArray, *, left: float, top: float) -> str:
    """One closed path a shape, holes in the same path; x from `left`, y downwards from `top`."""
    found = geometry.rings(shapes)
    texts = ring_texts(np.column_stack([found.xy[:, 0] - left, top - found.xy[:, 1]]), found.start)
    closed = [f"M{text[:-1]}Z" for text in texts]
    first = np.searchsorted(found.owner, np.arange(len(shapes) + 1)).tolist()
    each = ["".join(closed[a:b]) for a, b in itertools.pairwise(first)]
    return "".join(f'\n<path d="{d}"/>' for d in each)
