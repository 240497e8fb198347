"""The JSON schema of a print file, for editors, and its reference in Markdown: made from what the reader reads."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from functools import cache
from typing import Any

from carvegen.base.parameters import ANY, Parameter, parameters
from carvegen.motifs import motif, summaries
from carvegen.prints.file.declared_values import LONGEST
from carvegen.prints.file.keys import LISTS, TABLES, keys_of

__all__ = ["SCHEMA_NAME", "reference", "schema", "schema_text"]

SCHEMA_NAME = "print.schema.json"
_COLOUR = "^#[0-9a-fA-F]{6}$"


def schema() -> dict[str, Any]:
    """A JSON schema (draft 2020-12) that print files keep.

    It says what a value may be; what one value asks of another (names of layers, materials at hand, a block's ink)
    only the reader knows.
    """
    tables: dict[str, Any] = {name: _table(keys_of(name)) for name in TABLES}
    tables |= {name: {"type": "array", "items": _table(keys_of(name))} for name in LISTS}
    tables["blocks"]["minItems"] = 1
    tables["motifs"]["items"]["allOf"] = [_of_motif(name) for name in sorted(summaries())]
    tables["motifs"]["items"]["properties"]["motif"]["enum"] = sorted(summaries())
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "carvegen print file",
        "description": "A relief print: its blocks, artwork, motifs and rules.",
        **_object(tables, ["print", "blocks"]),
    }


@cache
def schema_text() -> str:
    """The schema as its file holds it."""
    return json.dumps(schema(), indent=1) + "\n"


def _table(keys: Sequence[Parameter]) -> dict[str, Any]:
    return _object(
        {setting.key: _value(setting) for setting in keys}, [setting.key for setting in keys if setting.required]
    )


def _object(properties: dict[str, Any], required: list[str]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


def _value(setting: Parameter) -> dict[str, Any]:
    about: dict[str, Any] = {"description": f"{setting.help} (share)" if setting.unit == "share" else setting.help}
    if not setting.required and setting.default not in (None, "") and setting.unit != "table":
        about["default"] = list(setting.default) if isinstance(setting.default, tuple) else setting.default
    return {**about, **_form(setting)}


def _form(setting: Parameter) -> dict[str, Any]:
    number: dict[str, Any] = {"type": "integer" if setting.unit == "whole" else "number"}
    if setting.bounded:
        number |= {"minimum": setting.at_least, "maximum": setting.at_most}
    text: dict[str, Any] = {"type": "string", "minLength": 1, "maxLength": LONGEST, "pattern": r"\S"}
    if setting.among:
        text = {"enum": list(setting.among)}
    elif setting.form:
        text["pattern"] = f"^({setting.form})$"
    return {
        "text": text,
        "choice": text,
        "texts": {"type": "array", "items": text},
        "flag": {"type": "boolean"},
        "colour": {"type": "string", "pattern": _COLOUR},
        "span": {"type": "array", "items": number, "minItems": 2, "maxItems": 2},
        "table": {"type": "object"},
        "entries": {
            "type": "array",
            "items": {**text, "type": ["object", "string"], "additionalProperties": {"type": ["number", "string"]}},
        },
    }.get(setting.unit, number)


def _of_motif(name: str) -> dict[str, Any]:
    """What holds for the table of one motif: its presets and its own settings."""
    module = motif(name)
    settings = _table(parameters(module.Settings))
    properties = {"preset": {"enum": list(module.PRESETS)}, "settings": settings}
    return {"if": {"properties": {"motif": {"const": name}}}, "then": {"properties": properties}}


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


_FIRST = (
    "To look things up in: nobody needs all of it. `carvegen new` writes a print file with what a print needs, "
    "explained line by line; what a file does not say is as the third column has it. A name in two brackets, "
    "`[[blocks]]`, begins a table of which there may be several, a name in one, `[print]`, the only one of its kind."
)


def reference() -> str:
    """Every table of a print file with its keys, what they may be, and what holds without them."""
    return "\n".join((_FIRST, "", *_lines(schema()))) + "\n"


def _lines(whole: Mapping[str, Any]) -> Iterator[str]:
    for number, (name, table) in enumerate(whole["properties"].items()):
        if number:
            yield ""
        held = table.get("items", table)
        yield f"**`{name}`**: {_ABOUT.get(name, '')}".removesuffix(": ")
        yield ""
        yield "| key | may be | without it | what it is |"
        yield "| --- | --- | --- | --- |"
        for key, value in held["properties"].items():
            without = "must be there" if key in held["required"] else _plain(value.get("default")) or "–"
            yield f"| `{key}` | {_may_be(value)} | {without} | {value.get('description', '').replace('|', '/')} |"


def _may_be(value: Mapping[str, Any]) -> str:
    if "enum" in value:
        return ", ".join(f"`{word}`" for word in value["enum"])
    kind = value["type"]
    if isinstance(kind, list):
        return " or ".join(_may_be({**value, "type": one}) for one in kind)
    if kind == "array":
        many = f"{value['maxItems']} of: " if "maxItems" in value else "list of: "
        return many + _may_be(value["items"])
    if kind in {"number", "integer"}:
        number = "whole number" if kind == "integer" else "number"
        return f"{number}{_between(value['minimum'], value['maximum'])}" if "minimum" in value else number
    if kind == "string":
        return 'colour, `"#rrggbb"`' if value.get("pattern", "").startswith("^#") else "text"
    return {"boolean": "true or false", "object": "a table"}[kind]


def _between(least: float, most: float) -> str:
    return f", {least:g} or more" if most > ANY else f", {least:g} to {most:g}"


def _plain(value: Any) -> str:  # noqa: ANN401
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list):
        return ", ".join(map(str, value)) or ""
    return f"{value:g}" if isinstance(value, int | float) else str(value)
