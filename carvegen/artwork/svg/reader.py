"""SVG drawings: the elements that leave ink, walked in order and turned into polygons."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

import shapely
from shapely.geometry.base import BaseGeometry

from carvegen import geometry
from carvegen.artwork import bounds
from carvegen.artwork.drawing import (
    EVERYTHING,
    Artwork,
    Notes,
    Wanted,
    known_mm_in,
    labels_in,
    plain_name,
)
from carvegen.artwork.outlines import colours as by_colour
from carvegen.artwork.outlines.clean import cleaned
from carvegen.artwork.outlines.crossings import take_overlaps
from carvegen.artwork.svg import (
    basic_shapes,
    expansion,
    page,
    style,
    transforms,
)
from carvegen.artwork.svg.ink import Extent, LayerGatherer, refused
from carvegen.artwork.svg.page import DrawingPage, State
from carvegen.artwork.svg.paints import Paints
from carvegen.artwork.svg.transforms import Transform
from carvegen.artwork.svg.xmltree import Node, parse
from carvegen.base.errors import InputError
from carvegen.geometry import PolygonArray

__all__ = ["drawn", "read_svg"]

_GROUPS = frozenset({"svg", "g", "a", "switch"})
_SILENT = frozenset(
    {"animate", "animateMotion", "animateTransform", "clipPath", "cursor", "defs", "desc", "filter", "linearGradient",
     "marker", "mask", "metadata", "pattern", "radialGradient", "script", "set", "solidColor", "style", "symbol",
     "title", "view"}
)  # fmt: skip
_LOOSE = frozenset({"a", "switch", "use"})  #: what else draws outside groups
_WORD = re.compile(r"[^\W\d_]{2,}")
_NUMBERED = basic_shapes.KINDS | {"svg", "shape", "object", "id", "xmlid", "layer"}  #: in ids that programs number
_TEXT = frozenset({"text", "tspan", "textPath", "tref"})
_AS_PATHS = "convert text to paths first: pick it in your drawing program and turn it into outlines (paths, curves)"
_MAX_CLIPS = 32  #: clip paths inside clip paths


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
        Which layers are read, what a thin outline stands for, and how fine curves are.

    Raises
    ------
    InputError
        If the file is broken, or holds what can't be turned into shapes truly: text, masks.
    """
    root = parse(data)
    if root.kind != "svg":
        raise InputError("is XML, but no SVG drawing", value=f"<{root.kind or '?'}>", hint="save the drawing as SVG")
    words = [child.text or "" for child in root if child.kind in ("title", "desc")]  # type: ignore[attr-defined]
    if wanted.outlines is None:
        wanted = replace(wanted, outlines=bool(labels_in(words)[0]))
    notes = Notes()
    sheet = _enlarged(page.page_of(root, units, notes), scale)
    reader = _Reader(root, notes, wanted, lone=_lone_shape(root))
    raw = reader.layers(sheet)
    if not sheet.exists and not sheet.true_size:
        sheet, notes = _enlarged(sheet, _unsized(raw)), Notes()  # read once more, fine enough for its new size
        page.page_of(root, units, notes)
        reader = _Reader(root, notes, wanted, lone=reader.lone)
        raw = reader.layers(sheet)
    budget = reader.ink.budget
    take_overlaps(geometry.stack(part for parts in raw.values() for part in parts), budget)
    layers, colours = cleaned(by_colour.by_depth(raw, notes) if wanted.by_colour else raw, notes), dict[str, str]()
    if wanted.by_colour:
        layers, colours = by_colour.seen(layers, notes, budget)
    return Artwork(
        layers, sheet.width_mm, sheet.height_mm, notes.lines(), sheet.true_size, wanted.tolerance_mm,
        *labels_in(words), inside=_inside(root), known_mm=known_mm_in(words), colours=colours,
    )  # fmt: skip


def drawn(root: Node, sheet: DrawingPage, notes: Notes, ink: LayerGatherer) -> dict[str, list[PolygonArray]]:
    """What leaves ink below a root element, as `ink` gathers it; not yet cleaned."""
    reader = _Reader(root, notes, ink.wanted)
    reader.ink = ink
    return reader.layers(sheet)


def _unsized(raw: Mapping[str, list[PolygonArray]]) -> float:
    """The scale that gives the longer side of the shapes the size of a page that has none."""
    shapes = geometry.stack(part for parts in raw.values() for part in parts)
    x0, y0, x1, y1 = shapely.total_bounds(shapes) if len(shapes) else (0.0, 0.0, 0.0, 0.0)
    longer = max(x1 - x0, y1 - y0)
    return float(page.UNSIZED_MM / longer) if longer > 1e-9 else 1.0


def _enlarged(sheet: DrawingPage, scale: float) -> DrawingPage:
    sheet = replace(sheet, px_mm=sheet.px_mm * scale)
    move = Transform().scale(scale).transform(sheet.move)
    if sheet.width_mm is None or sheet.height_mm is None:
        return replace(sheet, move=move)
    return replace(sheet, move=move, width_mm=sheet.width_mm * scale, height_mm=sheet.height_mm * scale)


class _Reader:
    """Walks the elements; what leaves ink goes to `ink`. A lone shape is a layer of its own, as a group is."""

    def __init__(self, root: Node, notes: Notes, wanted: Wanted, *, lone: Node | None = None) -> None:
        self.root, self.notes, self.wanted, self.lone = root, notes, wanted, lone
        self.sheet, self.ink = style.StyleSheet.of(root), LayerGatherer(notes, wanted, bounds.Budget())
        for selector in self.sheet.unknown:
            notes.add("a style rule is too elaborate and is not followed", f"{selector[:40]!r}")
        self.named: dict[str, Node] = {}
        for node in root.walk():
            self.named.setdefault(node.get("id", ""), node)
        self.paints = Paints(root, self.named, self.sheet)
        self.images = 0
        self.clips: dict[tuple[str, Transform], BaseGeometry] = {}

    def layers(self, sheet: DrawingPage) -> dict[str, list[PolygonArray]]:
        """Every layer's polygons, not yet cleaned."""
        expansion.check_count(self.root, self.named, _SILENT)
        self.ink.px_mm = sheet.px_mm if sheet.true_size else None
        self._walk([(self.root, State(sheet.move, sheet.frame))])
        self.wanted.check(self.notes, *(name for names in _inside(self.root).values() for name in names))
        shapes = self.ink.finished()
        if self.images and not any(shapes.values()):
            raise InputError("holds only a picture made of dots", hint="trace it into paths, then save again")
        return shapes

    def _walk(self, waiting: list[tuple[Node, State]]) -> None:
        while waiting:
            node, state = waiting.pop()
            try:
                waiting.extend(reversed(list(self._step(node, state))))
            except InputError as error:
                raise error.within(node.place) from None

    def _step(self, node: Node, state: State) -> Iterator[tuple[Node, State]]:
        """Draw one element; its children, with what they take over."""
        if node.kind in _SILENT or not node.kind:
            return
        look = style.styled(node, state.style, self.sheet)
        if look["display"] == "none" or not (state.clipping or style.is_seen(look)):
            return
        seen = style.number(look["opacity"])
        opacity = state.opacity * (1.0 if seen is None else min(max(seen, 0.0), 1.0))
        inner = replace(state, style=look, top=node is self.root, opacity=opacity)
        if node.kind == "g":
            inner = replace(inner, groups=(*state.groups, _names(node)))
        if look["transform"] and node is not self.root:
            inner = replace(inner, move=state.move.transform(transforms.parse(look["transform"])))
        if state.top or state.left_out:
            name = node.get("id", "") if node is self.lone else _layer_name(node)
            left_out = self.wanted.leaves_out(name, self.notes) if state.top else not self._is_asked(node)
            if left_out and not any(map(self._is_asked, node.walk())):
                return
            inner = replace(inner, layer=name, left_out=left_out)
        if node.kind in _GROUPS or node.kind == "use":
            self.ink.check_effects(node, look)
            inner = self._clipped(node, inner)
            yield from self._use(node, inner) if node.kind == "use" else self._children(node, inner)
        else:
            self._leaf(node, inner)

    def _is_asked(self, node: Node) -> bool:
        """Whether a group is the layer that is asked for, however deep it lies."""
        name = node.get("id", "") if node is self.lone else _layer_name(node)
        return bool(self.wanted.only) and plain_name(name) in self.wanted.only

    def _children(self, node: Node, state: State) -> Iterator[tuple[Node, State]]:
        if node.kind == "svg" and node is not self.root:
            state = page.nested(node, state, node)
        children: list[Node] = list(node)  # type: ignore[arg-type]
        if node.kind == "switch":
            children = [child for child in children if "requiredExtensions" not in child.attrib][:1]
        state = replace(state, style=style.handed_down(state.style))
        return ((child, state) for child in children)

    def _use(self, node: Node, state: State) -> Iterator[tuple[Node, State]]:
        href = node.get("href", "")
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
        x, y = (basic_shapes.length(node, key, state.frame[k]) for k, key in enumerate(("x", "y")))
        state = replace(
            state, move=state.move.translate(x, y), used=state.used | {href}, top=False,
            style=style.handed_down(state.style),
        )  # fmt: skip
        if target.kind in ("symbol", "svg"):
            look = style.styled(target, state.style, self.sheet)
            self.ink.check_effects(target, look)
            state = self._clipped(target, page.nested(target, replace(state, style=look), node))
            state = replace(state, style=style.handed_down(look))
            yield from ((child, state) for child in target)  # type: ignore[misc]
        elif target.kind not in _SILENT:
            yield target, state

    def _leaf(self, node: Node, state: State) -> None:
        if node.kind in _TEXT:
            if state.style["visibility"] == "visible" and any((part.text or "").strip() for part in node.walk()):
                raise InputError("is text, whose shapes lie in a font", hint=_AS_PATHS)
        elif node.kind == "image":
            self.images += 1
            self.notes.add("a picture made of dots is left out", node.place)
        elif node.kind not in basic_shapes.KINDS:
            self.notes.add(f"<{node.kind}> is not understood and is left out", node.place)
        elif state.style["visibility"] == "visible":
            self.ink.check_effects(node, state.style)
            if not state.clipping:
                state = replace(state, style=self.paints.plain(node, state.style, self.notes))
            self.ink.draw(node, self._clipped(node, state))

    def _clipped(self, node: Node, state: State) -> State:
        """The state inside the element's clip path, if it has one."""
        clip_path = state.style["clip-path"]
        if clip_path in ("none", "") or isinstance(self.ink, Extent):
            return state
        href = style.target(clip_path)
        target = self.named.get(href or "")
        if target is None or target.kind != "clipPath" or len(state.used) > _MAX_CLIPS or f"#{href}" in state.used:
            raise refused("is cut off by a clip path that can't be followed", clip_path)
        move = state.move
        if target.get("clipPathUnits") == "objectBoundingBox":
            x0, y0, x1, y1 = self.ink.box(node, state) if node.kind in basic_shapes.KINDS else self._extent(node, state)
            move = move.transform((x1 - x0, 0, 0, y1 - y0, x0, y0))
        key = (f"#{href}", move)
        if key not in self.clips:
            self.clips[key] = self._inside(target, replace(state, move=move, used=state.used | {key[0]}))
        return replace(state, clip=page.within(state.clip, self.clips[key]))

    def _extent(self, node: Node, state: State) -> tuple[float, float, float, float]:
        """The box round all that a group or a re-used element shows, in its own units (SVG 1.1 section 7.11)."""
        ink, notes, images = self.ink, self.notes, self.images
        self.ink = extent = Extent(Notes(), self.wanted, ink.budget)
        self.notes = extent.notes
        inner = replace(state, move=transforms.Identity, clip=None)
        try:
            self._walk(list(self._use(node, inner) if node.kind == "use" else self._children(node, inner)))
            return extent.total()
        finally:
            self.ink, self.notes, self.images = ink, notes, images

    def _inside(self, target: Node, state: State) -> BaseGeometry:
        """What a clip path leaves, in print view."""
        look = style.styled(target, style.FIRST, self.sheet)
        state = replace(state, style=look, layer="", top=False, clip=None, clipping=True)
        if look["transform"]:
            state = replace(state, move=state.move.transform(transforms.parse(look["transform"])))
        state = self._clipped(target, state)
        state = replace(state, style=style.handed_down(look))
        outer, self.ink = self.ink, self.ink.apart()
        try:
            self._walk([(child, state) for child in target if child.kind not in _GROUPS])  # type: ignore[attr-defined, misc]
            shapes = geometry.stack(self.ink.finished().get("", []))
            take_overlaps(shapes, outer.budget)
            return shapely.union_all(shapes)
        finally:
            self.ink = outer


def _names(node: Node) -> tuple[str, ...]:
    """All that a group is called: its titles, what drawing programs label it, its id."""
    titles = [(child.text or "").strip() for child in node if child.kind == "title"]  # type: ignore[attr-defined]
    labels = [value.strip() for key, value in node.attrib.items() if key.rpartition("}")[2] == "label"]
    return tuple(dict.fromkeys(filter(None, (*titles, *labels, node.get("id", "")))))


def _inside(root: Node) -> dict[str, tuple[str, ...]]:
    """The names of the groups in each top-level group that has a name, without its own."""
    inside = {}
    for top in root:
        names = [_layer_name(node) for node in top.walk() if node is not top][::-1]  # type: ignore[attr-defined]
        inside[_layer_name(top)] = tuple(dict.fromkeys(filter(None, names)))  # type: ignore[arg-type]
    return {name: names for name, names in inside.items() if name and names}


def _lone_shape(root: Node) -> Node | None:
    """The one shape that lies beside groups in none of them, such as a sky, if its id is a word of hers."""
    drawn: list[Node] = list(root)  # type: ignore[arg-type]
    loose = [node for node in drawn if node.kind in basic_shapes.KINDS or node.kind in _LOOSE]
    if len(loose) != 1 or loose[0].kind in _LOOSE or not any(map(_layer_name, drawn)):
        return None
    words = {word.lower() for word in _WORD.findall(loose[0].get("id", ""))}
    return loose[0] if words - _NUMBERED else None


def _layer_name(node: Node) -> str:
    """A group's title, else its label in the program that drew it, else its id."""
    return next(iter(_names(node)), "") if node.kind == "g" else ""
