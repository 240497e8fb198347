"""The print file's reference in Markdown, made from its schema."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from carvegen.prints.file.schema import schema

__all__ = ["reference"]

_ANY = 1e9  #: a bound beyond this is none to a reader

_ABOUT = {
    "print": "must be there, once",
    "register": "how the blocks are laid in register, and what errors are allowed for",
    "artwork": "the drawings",
    "files": "how the files are written",
    "layers": "[[layers]], one table a layer: shapes beside those of the drawings",
    "blocks": "[[blocks]], one table a block, in printing order",
    "openings": "[[openings]], cut through every block, as for a shape that is embossed",
    "highlights": "[[highlights]], stay bare paper",
    "marks": "what is marked by hand: what comes out, stays, is left to the carver, grows denser, thinner or anew",
    "marked": "[[marked]], the same in words",
    "motifs": "[[motifs]], what grows; `carvegen motifs` lists their presets and settings",
}


def reference() -> str:
    """Every table of a print file with its keys, what they may be, and what holds without them."""
    return "\n".join(_lines(schema())) + "\n"


def _lines(whole: Mapping[str, Any]) -> Iterator[str]:
    for number, (name, table) in enumerate(whole["properties"].items()):
        if number:
            yield ""
        its = table.get("items", table)
        yield f"**`{name}`**: {_ABOUT.get(name, '')}".removesuffix(": ")
        yield ""
        yield "| key | may be | without it | what it is |"
        yield "| --- | --- | --- | --- |"
        for key, value in its["properties"].items():
            without = "must be there" if key in its["required"] else _plain(value.get("default")) or "–"
            yield f"| `{key}` | {_may_be(value)} | {without} | {_safe(value.get('description', ''))} |"


def _may_be(value: Mapping[str, Any]) -> str:
    if "enum" in value:
        return ", ".join(f"`{word}`" for word in value["enum"])
    kind = value["type"]
    if kind == "array":
        many = f"{value['maxItems']} of: " if "maxItems" in value else "list of: "
        return many + _may_be(value["items"])
    if kind in {"number", "integer"}:
        said = "whole number" if kind == "integer" else "number"
        return f"{said}{_between(value['minimum'], value['maximum'])}" if "minimum" in value else said
    if kind == "string":
        return 'colour, `"#rrggbb"`' if value.get("pattern", "").startswith("^#") else "text"
    return {"boolean": "true or false", "object": "a table"}[kind]


def _between(least: float, most: float) -> str:
    return f", {least:g} or more" if most > _ANY else f", {least:g} to {most:g}"


def _plain(value: Any) -> str:  # noqa: ANN401
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ", ".join(map(str, value)) or ""
    return f"{value:g}" if isinstance(value, int | float) else str(value)


def _safe(text: str) -> str:
    return text.replace("|", "/")
