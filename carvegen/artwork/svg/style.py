"""How an SVG element looks: attributes, style sheets (tinycss2, cssselect2), style attributes, what is handed down."""

from __future__ import annotations

import functools
import math
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import cssselect2
import tinycss2

from carvegen.artwork.svg.pathdata import NUMBER
from carvegen.artwork.svg.xmltree import Node
from carvegen.base.errors import InputError
from carvegen.base.units import MM_PER

__all__ = [
    "FIRST",
    "PX_MM",
    "Style",
    "StyleSheet",
    "handed_down",
    "is_seen",
    "lengths",
    "measure",
    "number",
    "styled",
    "target",
]

Style = Mapping[str, str]

#: Properties that children take over (SVG 1.1 appendix N), with their first values.
_INHERITED = {
    "color": "black", "fill": "black", "fill-opacity": "1", "fill-rule": "nonzero", "clip-rule": "nonzero",
    "stroke": "none", "stroke-dasharray": "none", "stroke-dashoffset": "0", "stroke-linecap": "butt",
    "stroke-linejoin": "miter", "stroke-miterlimit": "4", "stroke-opacity": "1", "stroke-width": "1",
    "visibility": "visible", "marker-start": "none", "marker-mid": "none", "marker-end": "none", "marker": "none",
}  # fmt: skip
_OWN = {
    "display": "inline", "opacity": "1", "clip-path": "none", "mask": "none", "filter": "none",
    "vector-effect": "none", "overflow": "", "transform": "", "stop-color": "black", "stop-opacity": "1",
}  # fmt: skip
#: What nothing says.
FIRST: Style = {**_INHERITED, **_OWN}
_NO_EFFECT = frozenset({"charset", "font-face", "keyframes", "namespace"})  #: at-rules without shapes
_MAX_STEPS = 20_000_000  #: of matching selectors to elements

#: 1/96 inch, the length of one px (CSS Values 3, section 6.2).
PX_MM = 25.4 / 96
#: User units in one of each unit.
_PX_PER = {unit: mm / PX_MM for unit, mm in MM_PER.items()} | {"": 1.0, "px": 1.0, "pc": 16.0, "q": 0.25 / PX_MM}
_LENGTH = re.compile(rf"\s*({NUMBER})\s*([A-Za-z]*|%)\s*")
_URL = re.compile(r"""url\(\s*["']?\s*#([^"')]+?)\s*["']?\s*\)""")


@dataclass
class StyleSheet:
    """What the file's style rules say about each element, and the rules that aren't followed."""

    plain: dict[Node, dict[str, str]] = field(default_factory=dict)
    important: dict[Node, dict[str, str]] = field(default_factory=dict)
    unknown: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, root: Node) -> StyleSheet:
        """The rules of all <style> elements, matched to the elements."""
        sheet, matcher = cls(), cssselect2.Matcher()
        nodes = list(root.walk())
        count, depth = len(nodes), max(node.depth for node in nodes)
        for text in (node.text for node in nodes if node.kind == "style" and node.text):
            for rule in _read(tinycss2.parse_stylesheet, text):
                if rule.type == "qualified-rule":
                    count += sheet._add(rule, matcher, len(nodes), depth)
                elif rule.type != "at-rule" or rule.lower_at_keyword not in _NO_EFFECT:
                    sheet.unknown.append(f"@{rule.at_keyword}" if rule.type == "at-rule" else rule.message)
                if count > _MAX_STEPS:
                    raise InputError("has too many style rules for its elements", hint="save it as plain SVG")
        if matcher.order:
            for wrapped in cssselect2.ElementWrapper.from_xml_root(root).iter_subtree():
                sheet._match(matcher, wrapped)
        return sheet

    def _add(self, rule: Any, matcher: Any, nodes: int, depth: int) -> int:  # noqa: ANN401
        """Take one rule; how many steps matching it may take."""
        selector = tinycss2.serialize(rule.prelude).strip()
        joints = len(re.findall(r"[\s>+~]+", selector.replace(",", "")))
        steps: int = nodes * max(depth, 2) ** min(joints, 30)
        if "(" in selector or steps > _MAX_STEPS:
            self.unknown.append(selector)
            return 0
        try:
            for compiled in cssselect2.compile_selector_list(rule.prelude):
                matcher.add_selector(compiled, tuple(_declarations(tinycss2.serialize(rule.content))))
        except cssselect2.SelectorError:
            self.unknown.append(selector)
            return 0
        return steps

    def _match(self, matcher: Any, wrapped: Any) -> None:  # noqa: ANN401
        for *_, pseudo, declarations in matcher.match(wrapped):
            for key, value, important in declarations if pseudo is None else ():
                into = self.important if important else self.plain
                into.setdefault(wrapped.etree_element, {})[key] = value


def _read(parse: Callable[..., list[Any]], text: str) -> list[Any]:
    try:
        return parse(text, skip_comments=True, skip_whitespace=True)
    except ValueError:  # Python reads no whole number of thousands of digits
        raise InputError("has a style that can't be read", value=text[:40], hint="save it as plain SVG") from None


@functools.lru_cache(maxsize=10_000)
def _declarations(text: str) -> tuple[tuple[str, str, bool], ...]:
    """Property, value and whether it is important, of each declaration that can be read."""
    declarations = _read(tinycss2.parse_blocks_contents, text)
    return tuple(
        (one.lower_name, tinycss2.serialize(one.value).strip(), one.important)
        for one in declarations if one.type == "declaration"
    )  # fmt: skip


def styled(node: Node, above: Style, sheet: StyleSheet, *, parent: Style | None = None) -> Style:
    """Every property of a node, given what is `handed_down` to it; ``inherit`` takes from all that the parent has."""
    own_look = {key: value.strip() for key, value in node.items() if key in FIRST}
    own_look |= sheet.plain.get(node, {})
    own = _declarations(node.get("style", "")) if "style" in node.keys() else ()  # noqa: SIM118
    own_look |= {key: value for key, value, important in own if not important}
    own_look |= sheet.important.get(node, {})
    own_look |= {key: value for key, value, important in own if important}
    if not own_look:
        return above
    return {**above, **{key: _resolved(key, value, parent or above) for key, value in own_look.items() if key in FIRST}}


def _resolved(key: str, value: str, above: Style) -> str:
    lower = value.lower()
    if lower == "inherit" or (lower == "unset" and key in _INHERITED):
        return above[key]
    return FIRST[key] if lower in ("initial", "unset") else value


def handed_down(style: Style) -> Style:
    """What an element hands down to its children."""
    return {**style, **_OWN}


def is_seen(style: Style) -> bool:
    """Whether an element is shown at all."""
    share = number(style["opacity"])
    return style["display"] != "none" and not (share is not None and share <= 0)


def number(text: str) -> float | None:
    """A plain number or a percentage as a share; None if it is neither, or not finite."""
    try:
        share = float(text[:-1]) / 100 if text.endswith("%") else float(text)
    except ValueError:
        return None
    return share if math.isfinite(share) else None


def measure(text: str, whole: float, *, what: str = "length") -> float:
    """User units in `text`; percentages are of `whole`."""
    match = _LENGTH.fullmatch(text)
    unit = match[2].lower() if match else ""
    if match is None or (unit != "%" and unit not in _PX_PER) or not math.isfinite(float(match[1])):
        raise InputError(f"has a {what} that can't be read", value=text[:40], hint="write it in mm or px")
    return float(match[1]) * (whole / 100 if unit == "%" else _PX_PER[unit])


def target(text: str) -> str | None:
    """The name that ``url(#name)`` points to."""
    match = _URL.fullmatch(text)
    return match[1] if match else None


def lengths(text: str, whole: float) -> Iterator[float]:
    """User units in a list of lengths."""
    return (measure(part, whole) for part in re.split(r"[\s,]+", text.strip()))
