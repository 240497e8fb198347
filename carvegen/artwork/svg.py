"""SVG drawings: the elements that leave ink, walked in order and turned into polygons."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np
import shapely

from carvegen import geometry
from carvegen.artwork import bounds, css, expansion, page, primitives, strokes, transforms
from carvegen.artwork.clean import cleaned
from carvegen.artwork.drawing import EVERYTHING, Artwork, Notes, Wanted
from carvegen.artwork.page import Page, State
from carvegen.artwork.region import region
from carvegen.artwork.xmltree import Node, parse
from carvegen.errors import InputError
from carvegen.geometry import PolygonArray

__all__ = ["read_svg"]

_GROUPS = frozenset({"svg", "g", "a", "switch"})
_SILENT = frozenset(
    {"animate", "animateMotion", "animateTransform", "clipPath", "cursor", "defs", "desc", "filter", "linearGradient",
     "marker", "mask", "metadata", "pattern", "radialGradient", "script", "set", "solidColor", "style", "symbol",
     "title", "view"}
)  # fmt: skip
_HAIRLINE_MM = 0.36  #: a little more than 1 pt: no narrower groove is meant by a line in a file for checking
_TEXT = frozenset({"text", "tspan", "textPath", "tref"})


def read_svg(data: bytes, *, units: str | None = None, scale: float = 1.0, wanted: Wanted = EVERYTHING) -> Artwork:
    """The drawing in an SVG file.

    Parameters
    ----------
    data
        The file's bytes.
    units
        What a number without a unit means: mm, cm, in or pt; by default 1/96 inch, as SVG says.
    scale
        Enlarges everything, the page too.
    wanted
        Which layers are read, and what a thin outline stands for.

    Raises
    ------
    InputError
        If the file is broken, or holds what can't be turned into shapes truly: text, clip paths, masks.
    """
    root = parse(data)
    if root.tag != "svg":
        raise InputError("is XML, but no SVG drawing", value=f"<{root.tag or '?'}>", hint="save the drawing as SVG")
    notes = Notes()
    sheet = _enlarged(page.page_of(root, units, notes), scale)
    raw = _Reader(root, notes, wanted).layers(sheet)
    if not sheet.found and not sheet.true_size:
        sheet, notes = _enlarged(sheet, _unsized(raw)), Notes()  # read once more, fine enough for its new size
        page.page_of(root, units, notes)
        raw = _Reader(root, notes, wanted).layers(sheet)
    layers = cleaned(raw, notes)
    return Artwork(layers, sheet.width_mm, sheet.height_mm, notes.lines(), true_size=sheet.true_size)


def _unsized(raw: dict[str, list[PolygonArray]]) -> float:
    """The scale that gives the longer side of the shapes the size of a page that has none."""
    shapes = np.concatenate([geometry.empty(), *(part for parts in raw.values() for part in parts)])
    x0, y0, x1, y1 = shapely.total_bounds(shapes)
    longer = max(x1 - x0, y1 - y0)
    return float(page.UNSIZED_MM / longer) if longer > 1e-9 else 1.0


def _enlarged(sheet: Page, scale: float) -> Page:
    move = transforms.after((scale, 0, 0, scale, 0, 0), sheet.move)
    if sheet.width_mm is None or sheet.height_mm is None:
        return replace(sheet, move=move)
    return replace(sheet, move=move, width_mm=sheet.width_mm * scale, height_mm=sheet.height_mm * scale)


class _Reader:
    """Walks the elements; gathers each layer's polygons."""

    def __init__(self, root: Node, notes: Notes, wanted: Wanted) -> None:
        self.root, self.sheet, self.notes, self.wanted = root, css.Sheet.of(root), notes, wanted
        for selector in self.sheet.unknown:
            notes.add("a style rule is too elaborate and is not followed", f"{selector[:40]!r}")
        self.named = {node.attributes["id"]: node for node in root.walk() if "id" in node.attributes}
        self.found: dict[str, list[PolygonArray]] = {}
        self.points = self.images = 0
        self.white = self.coloured = False

    def layers(self, sheet: Page) -> dict[str, list[PolygonArray]]:
        """Every layer's polygons, not yet cleaned."""
        expansion.check_count(self.root, self.named, _SILENT)
        waiting = [(self.root, State(sheet.move, sheet.frame))]
        while waiting:
            node, state = waiting.pop()
            try:
                waiting.extend(reversed(list(self._step(node, state))))
            except InputError as error:
                raise error.within(node.place) from None
        if self.white and self.coloured:
            self.notes.add("white shapes count as shapes, like those of any other colour")
        if self.images and not any(self.found.values()):
            raise InputError("holds only a picture made of dots", hint="trace it into paths, then save again")
        return self.found

    def _step(self, node: Node, state: State) -> Iterator[tuple[Node, State]]:
        """Draw one element; its children, with what they take over."""
        if node.tag in _SILENT or not node.tag:
            return
        style = css.styled(node, state.style, self.sheet)
        if style["display"] == "none" or css.number(style["opacity"]) == 0:
            return
        inner = replace(state, style=style, top=node is self.root)
        if node is not self.root:
            inner = replace(inner, move=transforms.after(state.move, transforms.parse(style["transform"])))
        if state.top:
            inner = replace(inner, layer=_layer_name(node))
            if self.wanted.leaves_out(inner.layer or "", self.notes):
                return
        if node.tag in _GROUPS or node.tag == "use":
            self._check_effects(node, style)
            yield from self._use(node, inner) if node.tag == "use" else self._children(node, inner)
        else:
            self._leaf(node, inner)

    def _children(self, node: Node, state: State) -> Iterator[tuple[Node, State]]:
        if node.tag == "svg" and node is not self.root:
            state = page.nested(node, state, node)
        children = node.children
        if node.tag == "switch":
            children = [child for child in children if "requiredExtensions" not in child.attributes][:1]
        return ((child, state) for child in children)

    def _use(self, node: Node, state: State) -> Iterator[tuple[Node, State]]:
        href = node.attributes.get("href", "")
        if not href.startswith("#"):
            raise InputError(
                "shows something from another file", value=href[:60], hint="paste it into the drawing itself"
            )
        target = self.named.get(href[1:])
        if target is None:
            self.notes.add("something re-used is not in the file and is left out", node.place)
            return
        if href in state.used:
            raise InputError("contains itself", value=href, hint="unlink the clones in the drawing program")
        x, y = (primitives.length(node, key, state.frame[k]) for k, key in enumerate(("x", "y")))
        state = replace(
            state, move=transforms.after(state.move, (1, 0, 0, 1, x, y)), used=state.used | {href}, top=False
        )
        if target.tag == "symbol":
            state = page.nested(target, state, node)
            style = css.styled(target, state.style, self.sheet)
            self._check_effects(target, style)
            yield from ((child, replace(state, style=style)) for child in target.children)
        elif target.tag not in _SILENT:
            yield target, state

    def _leaf(self, node: Node, state: State) -> None:
        if node.tag in _TEXT:
            if state.style["visibility"] == "visible" and any(part.text.strip() for part in node.walk()):
                raise InputError("is text, whose shapes lie in a font", hint="convert text to paths first")
        elif node.tag == "image":
            self.images += 1
            self.notes.add("a picture made of dots is left out", node.place)
        elif node.tag not in primitives.KINDS:
            self.notes.add(f"<{node.tag}> is not understood and is left out", node.place)
        elif state.style["visibility"] == "visible":
            self._check_effects(node, state.style)
            self._draw(node, state)

    def _draw(self, node: Node, state: State) -> None:
        scale = transforms.stretch(state.move)
        if not scale < 1e9:
            raise InputError("is scaled up without measure", hint="check its transform")
        if scale < 1e-9:
            self.notes.add("a shape is scaled down to nothing and is left out", node.place)
            return
        lines = primitives.lines(node, state.frame, bounds.TOLERANCE_MM / scale)
        self.points += sum(len(line.xy) for line in lines)
        bounds.check_points(self.points)
        for line in lines:
            bounds.check_reach(transforms.apply(state.move, line.xy))
        shapes = self.found.setdefault(state.layer or "", [])
        for kind, ink in (("fill", self._fill), ("stroke", self._stroke)):
            if css.is_painted(state.style, kind) and not (kind == "fill" and node.tag == "line"):
                self._colour(node, state.style, kind)
                shapes.append(ink(node, state, lines))

    def _fill(self, node: Node, state: State, lines: list[primitives.Line]) -> PolygonArray:
        found = region(
            [transforms.apply(state.move, line.xy) for line in lines], evenodd=state.style["fill-rule"] == "evenodd"
        )
        if any(not line.closed and len(line.xy) > 2 and (line.xy[0] != line.xy[-1]).any() for line in lines):
            self.notes.add("an open outline is filled as if a straight line closed it", node.place)
        if found.crossing_at:
            x, y = found.crossing_at
            self.notes.add("an outline crosses itself and is mended by its fill rule", f"near {x:.1f}, {y:.1f} mm")
        if found.flat and not css.is_painted(state.style, "stroke"):
            self.notes.add("an outline without area is left out", node.place)
        return found.shapes

    def _stroke(self, node: Node, state: State, lines: list[primitives.Line]) -> PolygonArray:
        style, scale = state.style, transforms.stretch(state.move)
        pen = strokes.Pen(
            width=primitives.measure(style["stroke-width"], float(np.hypot(*state.frame)) / 2**0.5),
            cap=style["stroke-linecap"], join=style["stroke-linejoin"],
            limit=css.number(style["stroke-miterlimit"]) or 4.0, tolerance=bounds.TOLERANCE_MM / scale,
        )  # fmt: skip
        if pen.width < 0 or not np.isfinite(pen.width):
            raise InputError("has a line width that can't be drawn", value=style["stroke-width"], hint="0.5mm, say")
        if self.wanted.outlines and not css.is_painted(style, "fill") and _encloses(lines, pen.width * scale):
            self.notes.add("a thin outline without a fill is taken as the shape that it encloses")
            return self._fill(node, state, lines)
        if style["stroke-dasharray"] not in ("none", ""):
            self.notes.add("a dashed line is taken as unbroken", node.place)
        if pen.width == 0:
            return geometry.empty()
        bounds.check_reach(np.array([pen.width * scale]))
        area = strokes.outlined(lines, pen)
        return shapely.transform(area, lambda xy: transforms.apply(state.move, xy)) if len(area) else area

    def _colour(self, node: Node, style: Mapping[str, str], kind: str) -> None:
        white = css.is_white(style, kind)
        self.white, self.coloured = self.white or white, self.coloured or not white
        if style[kind].startswith("url("):
            self.notes.add("a shaded or patterned paint is taken as solid", node.place)
        if (css.number(style[f"{kind}-opacity"]) or 1) < 1:
            self.notes.add("a see-through shape is taken as solid", node.place)

    def _check_effects(self, node: Node, style: Mapping[str, str]) -> None:
        for effect, words in (("clip-path", "is cut off by a clip path"), ("mask", "is covered by a mask")):
            if style[effect] not in ("none", ""):
                raise InputError(words, value=style[effect], hint="intersect the shapes with it, then remove it")
        if style["vector-effect"] == "non-scaling-stroke" and css.is_painted(style, "stroke"):
            raise InputError("has a line whose width has no size of its own", hint="convert the line to a path")
        if style["filter"] not in ("none", ""):
            self.notes.add("a filter effect (blur, shadow) is left out", node.place)
        if (css.number(style["opacity"]) or 1) < 1:
            self.notes.add("a see-through shape is taken as solid", node.place)
        if any(style[f"marker{end}"] not in ("none", "") for end in ("", "-start", "-mid", "-end")):
            self.notes.add("arrow heads and other markers are left out", node.place)


def _encloses(lines: list[primitives.Line], width_mm: float) -> bool:
    """Whether lines drawn so thin only say where a shape lies."""
    return width_mm <= _HAIRLINE_MM and all(line.closed or (line.xy[0] == line.xy[-1]).all() for line in lines)


def _layer_name(node: Node) -> str:
    """A top-level group's title, else its id."""
    if node.tag != "g":
        return ""
    titles = [child.text.strip() for child in node.children if child.tag == "title"]
    return next((title for title in titles if title), node.attributes.get("id", ""))
