"""The JSON schema of a print file, for editors: made from the declarations that the reader reads."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from carvegen.base.parameters import Parameter, parameters
from carvegen.motifs import motif, summaries
from carvegen.prints.file.keys import (
    LISTS,
    TABLES,
    Key,
    Kind,
)

__all__ = ["SCHEMA_NAME", "schema"]

SCHEMA_NAME = "print.schema.json"

_COLOUR = "^#[0-9a-fA-F]{6}$"


def schema() -> dict[str, Any]:
    """A JSON schema (draft 2020-12) that print files keep.

    It says what a value may be; what one value asks of another (names of layers, materials at hand, a block's ink)
    only the reader knows.
    """
    tables: dict[str, Any] = {name: _table(keys) for name, keys in TABLES.items()}
    tables |= {name: {"type": "array", "items": _table(keys)} for name, keys in LISTS.items()}
    tables["blocks"]["minItems"] = 1
    tables["motifs"]["items"]["allOf"] = [_of_motif(name) for name in sorted(summaries())]
    tables["motifs"]["items"]["properties"]["motif"]["enum"] = sorted(summaries())
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "carvegen print file",
        "description": "A relief print: its blocks, artwork, motifs and rules.",
        **_object(tables, ["print", "blocks"]),
    }


def _table(keys: Sequence[Key]) -> dict[str, Any]:
    return _object({key.name: _value(key) for key in keys}, [key.name for key in keys if key.required])


def _object(properties: dict[str, Any], required: list[str]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


def _value(key: Key) -> dict[str, Any]:
    said: dict[str, Any] = {"description": key.help}
    if not key.required and key.default not in (None, "") and key.kind != Kind.SETTINGS:
        said["default"] = list(key.default) if isinstance(key.default, tuple) else key.default
    return {**said, **_form(key)}


def _form(key: Key) -> dict[str, Any]:
    number: dict[str, Any] = {"type": "integer" if key.kind == Kind.WHOLE else "number"}
    if key.range:
        number |= {"minimum": key.range.at_least, "maximum": key.range.at_most}
    text: dict[str, Any] = {"type": "string", "minLength": 1, "maxLength": 200, "pattern": r"\S"}
    if key.among:
        text = {"enum": list(key.among)}
    elif key.form:
        text["pattern"] = f"^({key.form})$"
    return {
        Kind.TEXT: text,
        Kind.TEXTS: {"type": "array", "items": text},
        Kind.NUMBER: number,
        Kind.WHOLE: number,
        Kind.FLAG: {"type": "boolean"},
        Kind.COLOUR: {"type": "string", "pattern": _COLOUR},
        Kind.SIZE: {"type": "array", "items": number, "minItems": 2, "maxItems": 2},
        Kind.SETTINGS: {"type": "object"},
    }[key.kind]


def _of_motif(name: str) -> dict[str, Any]:
    """What holds for the table of one motif: its presets and its own settings."""
    module = motif(name)
    settings = _object({its.name: _setting(its) for its in parameters(module.Settings)}, [])
    properties = {"preset": {"enum": list(module.PRESETS)}, "settings": settings}
    return {"if": {"properties": {"motif": {"const": name}}}, "then": {"properties": properties}}


def _setting(its: Parameter) -> dict[str, Any]:
    if its.unit == "flag":
        return {"type": "boolean", "description": its.help, "default": bool(its.default)}
    if its.unit == "choice":
        return {"enum": list(its.among), "description": its.help, "default": its.default}
    number = {"type": "integer" if its.unit == "whole" else "number", "minimum": its.at_least, "maximum": its.at_most}
    return {**number, "description": f"{its.help} ({its.unit})", "default": its.default}
