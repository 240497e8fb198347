"""A page of SVG 1.1 in millimetres: svgwrite makes the document, long lists of shapes are spliced in."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING, Any

import numpy as np
import svgwrite

from carvegen import geometry
from carvegen.base.collector import collector_at_rest
from carvegen.toolpaths.paths import Paths
from carvegen.writers.formats.coordinates import ring_texts

if TYPE_CHECKING:
    from carvegen.blocks.layer_names import FileLayer
    from carvegen.geometry import Floats, Indices, Mask, PolygonArray
    from carvegen.writers.sheet import Drawing, DrawnLayer, Sheet, TextLine

__all__ = ["SvgPage", "first_of_shape", "paths", "svg_of", "turned_areas"]

#: Width of a line that only says where, in mm.
HAIRLINE_MM = 0.1


class SvgPage:
    """A page that shows left…right, bottom…top of a drawing with y up, at true size.

    One user unit is 1 mm. No shape carries a transform: y is turned when the numbers are written.
    """

    def __init__(self, bounds: tuple[float, float, float, float], *, title: str, about: str) -> None:
        left, bottom, right, top = bounds
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

    def group(
        self, title: str, about: str, *, name: str = "", shapes: PolygonArray | None = None,
        lines: Floats | None = None, **style: Any,  # noqa: ANN401
    ) -> Any:  # noqa: ANN401  # fmt: skip
        """A new group with a title, a description and an id, which is the title without blanks or `name`.

        Parameters
        ----------
        shapes
            What it holds, one closed path a shape.
        lines
            Straight lines that it holds, (n, 4) as x, y, x, y.
        """
        name = name or title.replace(" ", "-")
        group = self.drawing.g(id=name, **style)
        group.set_desc(title=title, desc=about)
        if shapes is not None:
            self.spliced(name, paths(shapes, left=self._left, top=self._top))
        if lines is not None:
            ends = ((*self.at(x, y), *self.at(to_x, to_y)) for x, y, to_x, to_y in lines.tolist())
            self.spliced(name, "".join(f'<line x1="{a}" x2="{c}" y1="{b}" y2="{d}" />' for a, b, c, d in ends))
        return self.drawing.add(group)

    def layer(self, layer: FileLayer, **how: Any) -> Any:  # noqa: ANN401
        """A new group for a layer, as `group` makes it."""
        return self.group(layer.name, layer.asks, name=layer.xml_name, **how)

    def notes(self, layer: FileLayer, sheet: Sheet, mark: PolygonArray | None = None) -> Any:  # noqa: ANN401
        """A group with a sheet's check bar and words, and a mark among them, all in the colour of its layer."""
        notes = self.layer(layer, shapes=mark, fill=layer.colour, stroke="none", font_family="sans-serif")
        self.polygon(notes, sheet.bar)
        for line in sheet.lines:
            self.words(notes, line)
        return notes

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
    rings = geometry.rings(shapes)
    texts = ring_texts(np.column_stack([rings.xy[:, 0] - left, top - rings.xy[:, 1]]), rings.start, last="Z")
    return _elements(texts, np.flatnonzero(~rings.hole))


def _elements(texts: list[str], first: Indices) -> str:
    """A path element for each shape: texts of its rings, the next shape's beginning at the numbers in `first`."""
    if not texts:
        return ""
    if len(first) == len(texts):
        return '\n<path d="M' + '"/>\n<path d="M'.join(texts) + '"/>'
    begins = ["M"] * len(texts)
    for ring in first.tolist():
        begins[ring] = '"/>\n<path d="M'
    return "".join(itertools.chain.from_iterable(zip(begins, texts, strict=True)))[len('"/>') :] + '"/>'


@collector_at_rest()
def svg_of(drawing: Drawing) -> str:
    """A drawing as a file: a group for each layer, closed shapes filled or as hairlines, the words below."""
    sheet = drawing.sheet
    page = SvgPage(sheet.bounds, title=drawing.title, about=drawing.about)
    for drawn in drawing.layers:
        if isinstance(drawn.what, Paths):
            page.layer(drawn.layer, **_look(drawn))
            page.spliced(drawn.layer.xml_name, _texts(drawn.what, left=sheet.left, top=sheet.top, area=drawn.filled))
        else:
            page.layer(drawn.layer, shapes=drawn.what, **_look(drawn))
    if drawing.notes is not None:
        page.notes(drawing.notes, sheet, drawing.mark)
    return page.to_text()


def _look(drawn: DrawnLayer) -> dict[str, Any]:
    if drawn.filled:
        return {"fill": drawn.layer.colour, "stroke": "none", "fill_rule": "evenodd"}
    line = {"fill": "none", "stroke": drawn.layer.colour, "stroke_width": HAIRLINE_MM}
    return line if isinstance(drawn.what, Paths) else {**line, "fill_rule": "evenodd"}


def _texts(paths: Paths, *, left: float, top: float, area: bool) -> str:
    """A path element for each path, or for each shape with its holes."""
    xy = np.column_stack([paths.xyz[:, 0] - left, top - paths.xyz[:, 1]])
    texts = ring_texts(xy, paths.start, last="Z")
    if not paths.closed.all():
        texts = [text if shut else text[:-1] for text, shut in zip(texts, paths.closed.tolist(), strict=True)]
    return _elements(texts, np.flatnonzero(first_of_shape(paths)) if area else np.arange(len(texts)))


def first_of_shape(paths: Paths) -> Mask:
    """Of closed paths that are outlines of shapes, each followed by its holes, which are outlines; (paths,).

    Holes run the other way round than outlines.
    """
    around = turned_areas(paths)
    return np.asarray((around > 0) == (around[:1] > 0))


def turned_areas(paths: Paths) -> Floats:
    """What each closed path encloses, in mm², less than nothing where it runs clockwise; (paths,)."""
    if not len(paths):
        return np.zeros(0)
    x, y, ends = paths.xyz[:, 0], paths.xyz[:, 1], paths.onward
    return np.asarray(np.add.reduceat(x * y[ends] - x[ends] * y, paths.start[:-1]) / 2)
