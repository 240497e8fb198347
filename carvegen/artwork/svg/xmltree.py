"""XML to a small tree of elements: nothing fetched, nothing expanded without bound."""

from __future__ import annotations

import re
from collections.abc import Iterator
from xml.etree.ElementTree import Element
from xml.parsers import expat

from carvegen.artwork import bounds
from carvegen.base.errors import InputError

__all__ = ["Node", "parse"]

SVG_SPACE = "http://www.w3.org/2000/svg"
_LINK = "http://www.w3.org/1999/xlink}href"
_LONG = 10_000  #: path data longer than this is counted before it is read
_MAX_ENTITY = 10_000
_MAX_EXPANSION = 64_000_000


class Node(Element):
    """One element; `kind` is its local name, empty for another vocabulary's; `text` is all of its own text."""

    kind = ""
    line = depth = 0

    @property
    def place(self) -> str:
        """How to find the element in the file."""
        name = self.get("id")
        return f"<{self.kind}{f' id={name!r}' if name else ''}> in line {self.line}"

    def walk(self) -> Iterator[Node]:
        """The node and all below it."""
        waiting = [self]
        while waiting:
            node = waiting.pop()
            yield node
            waiting.extend(node)  # type: ignore[arg-type]


def parse(data: bytes) -> Node:
    """The root element of an XML file.

    Entities are taken only if they are short plain text of the file's own; anything from outside is refused.

    Raises
    ------
    InputError
        If it is cut short, not well formed, nested too deep, too large, or would expand.
    """
    tree = _Tree(data)
    try:
        tree.parser.Parse(data, True)
    except expat.ExpatError as error:
        raise InputError(
            f"is not whole, well-formed XML: {expat.ErrorString(error.code)}",
            where=f"line {error.lineno}",
            hint="open it in the drawing program and save it again as plain SVG",
        ) from None
    except (ValueError, LookupError, UnicodeError):
        raise InputError("has letters in an unknown encoding", hint="save it again as UTF-8") from None
    if tree.root is None:
        raise InputError("holds no element", hint="save the drawing again as plain SVG")
    return tree.root


class _Tree:
    """Handlers that build the tree; they raise at the first thing that is not welcome."""

    def __init__(self, data: bytes) -> None:
        self.parser = expat.ParserCreate(namespace_separator="}")
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._open
        self.parser.EndElementHandler = self._close
        self.parser.CharacterDataHandler = self._text
        self.parser.EntityDeclHandler = self._entity
        self.parser.AttlistDeclHandler = self._default
        self.parser.SkippedEntityHandler = self._skipped
        self.root: Node | None = None
        self.stack: list[Node] = []
        self.count = self.numbers = 0
        self.references = data.count(b"&")

    def _open(self, name: str, attributes: dict[str, str]) -> None:
        self.count += 1
        line = self.parser.CurrentLineNumber
        if self.count > bounds.MAX_ELEMENTS:
            raise _too_much("elements", bounds.MAX_ELEMENTS, line)
        if len(self.stack) >= bounds.MAX_DEPTH:
            raise _too_much("groups inside groups", bounds.MAX_DEPTH, line)
        for key in ("d", "points"):
            if len(attributes.get(key, "")) > _LONG:
                self.numbers += bounds.numbers_in(attributes[key]) // 2
                bounds.check_points(self.numbers)
        if _LINK in attributes:
            attributes.setdefault("href", attributes[_LINK])
        node = Node(f"{{{name}" if "}" in name else name, attributes)
        node.kind, node.line, node.depth, node.text = _local(name), line, len(self.stack), ""
        if self.stack:
            self.stack[-1].append(node)
        if self.root is None:
            self.root = node
        self.stack.append(node)

    def _close(self, _name: str) -> None:
        self.stack.pop()

    def _text(self, text: str) -> None:
        self.stack[-1].text = (self.stack[-1].text or "") + text

    def _entity(
        self,
        name: str,
        is_parameter: bool,
        value: str | None,
        _base: str | None,
        system: str | None,
        _public: str | None,
        _notation: str | None,
    ) -> None:
        inside = value or ""
        if is_parameter or system is not None or value is None:
            raise self._refused(f"takes something from outside the file (entity {name!r})")
        if re.search(r"[&<]", inside) or len(inside) > _MAX_ENTITY or len(inside) * self.references > _MAX_EXPANSION:
            raise self._refused(f"has an abbreviation that unfolds without bound (entity {name!r})")

    def _default(self, _element: str, attribute: str, _kind: str, default: str | None, _required: bool) -> None:
        if default is not None and not attribute.startswith("xmlns"):
            raise self._refused(f"declares a default for {attribute!r}")

    def _skipped(self, name: str, _is_parameter: bool) -> None:
        raise self._refused(f"names something that is not in the file (entity {name!r})")

    def _refused(self, message: str) -> InputError:
        return InputError(
            message, where=f"line {self.parser.CurrentLineNumber}", hint="save the drawing again as plain SVG"
        )


def _too_much(what: str, most: int, line: int) -> InputError:
    return InputError(
        f"may hold at most {most} {what}", where=f"line {line}", hint="ungroup or simplify the drawing, then save again"
    )


def _local(name: str) -> str:
    space, _, local = name.rpartition("}")
    return local if space in ("", SVG_SPACE) else ""
