"""How many elements an SVG draws once everything re-used is counted; told before anything is drawn."""

from __future__ import annotations

from collections.abc import Collection, Mapping

from carvegen.artwork import bounds
from carvegen.artwork.svg.xmltree import Node
from carvegen.base.errors import InputError

__all__ = ["check_count"]


def check_count(root: Node, named: Mapping[str, Node], silent: Collection[str]) -> None:
    """Refuse a drawing whose <use> elements unfold to more than `MAX_SHAPES`; loops are found while drawing."""
    counts: dict[int, int] = {}
    opened: set[int] = set()
    waiting = [root]
    while waiting:
        node = waiting[-1]
        below = _below(node, named, silent)
        missing = [part for part in below if id(part) not in counts and id(part) not in opened]
        if missing and id(node) not in opened:
            opened.add(id(node))
            waiting.extend(missing)
            continue
        waiting.pop()
        counts[id(node)] = min(1 + sum(counts.get(id(part), 0) for part in below), 10 * bounds.MAX_SHAPES)
    if counts[id(root)] > bounds.MAX_SHAPES:
        raise InputError(
            f"draws more than {bounds.MAX_SHAPES} elements, re-used ones counted",
            hint="simplify the drawing, or split it into several files",
        )


def _below(node: Node, named: Mapping[str, Node], silent: Collection[str]) -> list[Node]:
    """What drawing a node draws besides itself."""
    if node.kind == "use":
        target = named.get(node.get("href", "")[1:])
        return [] if target is None else [target]
    return [child for child in node if child.kind and child.kind not in silent]  # type: ignore[attr-defined, misc]
