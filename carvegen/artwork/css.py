"""How an SVG element looks: attributes, style sheets, style attributes, what is handed down."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from carvegen.artwork.xmltree import Node

__all__ = ["Sheet", "is_painted", "is_white", "styled"]

#: Properties that children take over (SVG 1.1 appendix N), with their first values.
INHERITED = {
    "color": "black", "fill": "black", "fill-opacity": "1", "fill-rule": "nonzero", "stroke": "none",
    "stroke-dasharray": "none", "stroke-linecap": "butt", "stroke-linejoin": "miter", "stroke-miterlimit": "4",
    "stroke-opacity": "1", "stroke-width": "1", "visibility": "visible",
    "marker-start": "none", "marker-mid": "none", "marker-end": "none", "marker": "none",
}  # fmt: skip
OWN = {
    "display": "inline", "opacity": "1", "clip-path": "none", "mask": "none", "filter": "none", "vector-effect": "none",
    "transform": "",
}  # fmt: skip
_RULE = re.compile(r"([^{}]*)\{([^{}]*)\}")
_SELECTOR = re.compile(r"(\*|[A-Za-z][\w-]*)?((?:[.#][\w-]+)*)")
_COMMENT = re.compile(r"/\*.*?\*/|<!--|-->", re.DOTALL)


@dataclass(frozen=True)
class _Rule:
    tag: str
    names: frozenset[str]  #: as ".class" and "#id"
    weight: tuple[int, int, int]
    values: Mapping[str, str]


@dataclass(frozen=True)
class Sheet:
    """The style rules of a file, weakest first, and the selectors that aren't understood."""

    rules: tuple[_Rule, ...] = ()
    unknown: tuple[str, ...] = ()

    @classmethod
    def of(cls, root: Node) -> Sheet:
        """All rules in the file's <style> elements."""
        rules: list[_Rule] = []
        unknown: list[str] = []
        for text in (node.text for node in root.walk() if node.tag == "style"):
            for selectors, body in _RULE.findall(_COMMENT.sub("", text)):
                values = declarations(body)
                for selector in selectors.split(","):
                    rule = _rule(selector.strip(), values)
                    if rule is None:
                        unknown.append(selector.strip())
                    else:
                        rules.append(rule)
        return cls(tuple(sorted(rules, key=lambda rule: rule.weight)), tuple(unknown))

    def values(self, node: Node) -> dict[str, str]:
        """What the rules say about a node."""
        names = {f".{name}" for name in node.attributes.get("class", "").split()}
        names.add(f"#{node.attributes.get('id', '')}")
        found: dict[str, str] = {}
        for rule in self.rules:
            if rule.tag in ("", "*", node.tag) and rule.names <= names:
                found.update(rule.values)
        return found


def declarations(text: str) -> dict[str, str]:
    """Property and value of each declaration, without !important."""
    found = {}
    for part in text.split(";"):
        key, colon, value = part.partition(":")
        if colon:
            found[key.strip().lower()] = value.replace("!important", "").strip()
    return found


def styled(node: Node, above: Mapping[str, str], sheet: Sheet) -> dict[str, str]:
    """Every property of a node, given its parent's."""
    said = {key: value.strip() for key, value in node.attributes.items() if key in INHERITED or key in OWN}
    said |= sheet.values(node)
    said |= declarations(node.attributes.get("style", ""))
    style = {**{key: above.get(key, first) for key, first in INHERITED.items()}, **OWN}
    for key, value in said.items():
        if key in style:
            style[key] = above.get(key, style[key]) if value == "inherit" else value
    return style


def is_painted(style: Mapping[str, str], kind: str) -> bool:
    """Whether the fill or the stroke leaves a mark."""
    paint = _paint(style, kind)
    if paint in ("none", "transparent", "") or number(style[f"{kind}-opacity"]) == 0:
        return False
    if re.fullmatch(r"#[0-9a-f]{3}0|#[0-9a-f]{6}00", paint):
        return False
    return not re.fullmatch(r"(rgb|hsl)a?\([^)]*[,/]\s*0*\.?0*%?\s*\)", paint) or paint.count(",") == 2


def is_white(style: Mapping[str, str], kind: str) -> bool:
    """Whether the paint is plain white."""
    paint = _paint(style, kind).replace(" ", "")
    return paint in ("white", "#fff", "#ffffff", "rgb(255,255,255)", "rgb(100%,100%,100%)")


def number(text: str) -> float | None:
    """A plain number or a percentage as a share; None if it is neither."""
    try:
        return float(text[:-1]) / 100 if text.endswith("%") else float(text)
    except ValueError:
        return None


def _paint(style: Mapping[str, str], kind: str) -> str:
    paint = style[kind].strip().lower()
    return style["color"].strip().lower() if paint == "currentcolor" else paint


def _rule(selector: str, values: Mapping[str, str]) -> _Rule | None:
    match = _SELECTOR.fullmatch(selector)
    if not selector or match is None:
        return None
    names = re.findall(r"[.#][\w-]+", match[2])
    ids = sum(name[0] == "#" for name in names)
    tag = match[1] or ""
    return _Rule(tag, frozenset(names), (ids, len(names) - ids, int(tag not in ("", "*"))), values)
