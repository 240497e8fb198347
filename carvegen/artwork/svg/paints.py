"""Paints of SVG shapes, each as one colour: those of CSS, gradients by their mean; patterns tell none."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

import numpy as np
import tinycss2.color4

from carvegen.artwork.drawing import Notes
from carvegen.artwork.svg.style import FIRST, Style, StyleSheet, handed_down, number, styled, target
from carvegen.artwork.svg.xmltree import Node
from carvegen.base.colour import from_cielab, linear, screen

__all__ = ["Paints", "hex_colour", "is_painted", "is_white"]

_KINDS = ("fill", "stroke")
#: XYZ of linear Display P3, from its primaries and the white of D65 (from memory; the test derives it).
_P3 = np.array([[0.486571, 0.265668, 0.198217], [0.228975, 0.691739, 0.079287], [0.0, 0.045113, 1.043944]])


class Paints:
    """The gradients of a file, each as one colour."""

    def __init__(self, root: Node, named: Mapping[str, Node], sheet: StyleSheet) -> None:
        self.root, self.named, self.sheet = root, named, sheet
        self.means: dict[str, str] = {}
        self.looks: dict[Node, Style] = {}

    def plain(self, node: Node, look: Style, notes: Notes) -> Style:
        """A shape's style with plain colours in place of gradients; what tells no colour is noted and stays."""
        look = {**look, **{kind: self._solid(node, look[kind], notes) for kind in _KINDS if "url(" in look[kind]}}
        for kind in _KINDS:
            if is_painted(look, kind) and "url(" not in look[kind] and not hex_colour(look, kind):
                notes.add(
                    f"a colour that can't be read ({look[kind][:40]}) is taken as solid, and no ink is told by it"
                )
        return look

    def _solid(self, node: Node, paint: str, notes: Notes) -> str:
        """A gradient's mean; or what is written behind one that is not there; or the paint as it was."""
        link, _, otherwise = paint.partition(")")
        name = target(f"{link})") or ""
        if name not in self.named and otherwise.strip():
            return otherwise.strip()
        if name in self.named and self.named[name].kind.endswith("Gradient"):
            if name not in self.means:
                self.means[name] = self._mean(name)
            if self.means[name] == "none":
                notes.add("a gradient without colours paints nothing", node.place)
            elif _hex_of(self.means[name]):
                notes.add("a shaded paint is taken as solid, in its mean colour", node.place)
            return self.means[name]
        notes.add("a patterned paint is taken as solid, and no ink is told by it", node.place)
        return paint

    def _mean(self, name: str) -> str:
        """The mean colour of a gradient on white paper, from 0 to 1 of its offsets; or one in it that can't be read."""
        used = set[str]()
        while not (stops := [node for node in self.named[name] if node.kind == "stop"]):  # type: ignore[attr-defined]
            used.add(name)
            name = self.named[name].get("href", "")[1:]
            if name in used or name not in self.named:
                return "none"  # SVG 1.1 section 13.2.4: one without stops paints nothing
        looks = [self._look(stop) for stop in stops]  # type: ignore[arg-type]
        cover = np.array([_cover(look) for look in looks])
        if not cover.any():
            return "none"
        written = [_paint(look, "stop-color") for look in looks]
        colour = [_screen(_colour(paint)) for paint in written]
        for paint in (paint for paint, c, part in zip(written, colour, cover, strict=True) if c is None and part):
            return paint or "none"
        on_paper = 1 + cover[:, None] * (np.array([np.ones(3) if c is None else c for c in colour]) - 1)
        offset = np.maximum.accumulate(
            [min(max(number(stop.get("offset", "0").strip()) or 0.0, 0.0), 1.0) for stop in stops]
        )
        return _hex(np.trapezoid(on_paper[[0, *range(len(stops)), -1]], [0, *offset, 1], axis=0))

    def _look(self, node: Node) -> Style:
        """Every property of a node, with all that is handed down to it."""
        if node not in self.looks:
            parent = self._look(self.parents[node]) if node in self.parents else FIRST
            self.looks[node] = styled(node, handed_down(parent), self.sheet, parent=parent)
        return self.looks[node]

    @functools.cached_property
    def parents(self) -> dict[Node, Node]:
        """What each node of the file lies in."""
        return {child: node for node in self.root.walk() for child in node}  # type: ignore[misc]


def _cover(look: Style) -> float:
    opacity, colour = number(look["stop-opacity"]), _colour(_paint(look, "stop-color"))
    return min(max(1.0 if opacity is None else opacity, 0.0), 1.0) * (1.0 if colour is None else float(colour.alpha))


def is_painted(style: Style, kind: str) -> bool:
    """Whether the fill or the stroke leaves a mark."""
    paint, opacity = _paint(style, kind), number(style[f"{kind}-opacity"])
    if paint in ("none", "") or (opacity is not None and opacity <= 0):
        return False
    colour = _colour(paint)
    return colour is None or bool(colour.alpha > 0)


def is_white(style: Style, kind: str) -> bool:
    """Whether the paint is plain white."""
    return hex_colour(style, kind) == "#ffffff"


def hex_colour(style: Style, kind: str) -> str:
    """``"#rrggbb"`` of the paint; "" if it tells no colour."""
    return _hex_of(_paint(style, kind))


@functools.lru_cache(maxsize=10_000)
def _hex_of(paint: str) -> str:
    channels = _screen(_colour(paint))
    return "" if channels is None else _hex(channels)


def _hex(channels: Any) -> str:  # noqa: ANN401
    return "#" + "".join(f"{round(255 * min(max(float(channel), 0.0), 1.0)):02x}" for channel in channels)


def _paint(style: Style, kind: str) -> str:
    paint = style[kind].strip().lower()
    return style["color"].strip().lower() if paint == "currentcolor" else paint


@functools.lru_cache(maxsize=10_000)
def _colour(text: str) -> Any:  # noqa: ANN401
    try:
        result = tinycss2.color4.parse_color(text)
    except ValueError:  # "color()"
        return None
    return None if isinstance(result, str) else result


def _screen(colour: Any) -> Any:  # noqa: ANN401
    """The channels of sRGB, 0…1, of a colour of CSS; None for a space that is not read, and beyond all measure.

    Lab and LCH are of D50 in CSS, and what is white stays white here, without Bradford's adaptation.
    """
    if colour is None or not np.isfinite(list(colour.to(colour.space))).all():
        return None
    with np.errstate(all="ignore"):
        channels = _channels(colour)
    return channels if channels is not None and np.isfinite(channels).all() else None


def _channels(colour: Any) -> Any:  # noqa: ANN401
    if colour.space in ("srgb", "hsl", "hwb"):
        return list(colour.to("srgb"))[:3]
    channels = np.array(list(colour.to(colour.space))[:3])
    if colour.space == "srgb-linear":
        return screen(channels) / 255
    if colour.space == "display-p3":
        colour = tinycss2.color4.Color("xyz-d65", _P3 @ linear(255 * channels), 1)
    try:
        return from_cielab(np.array(list(colour.to("lab"))[:3])) / 255
    except NotImplementedError:
        return None
