"""Where a key stands in a print file: its line, for messages."""

from __future__ import annotations

import re
from pathlib import Path

from carvegen.base.parameters import Parameter, parameters
from carvegen.motifs import motif, summaries
from carvegen.prints.file.keys import LISTS, TABLES, keys_of

__all__ = ["help_of", "key_named", "line_of", "placed"]

_STEP = re.compile(r"([^.\[\]]+)(?:\[(\d+)\])?")
_NUMBER = re.compile(r"\[\d+\]")
_IN_LIST = re.compile(r"(?P<list>\w+)\[(?P<nth>\d+)\](?:\.(?P<key>.+?)(?:\[(?P<entry>\d+)\])?)?")

#: What one table of a list is called.
_ONE_OF = {
    "layers": "layer", "blocks": "block", "openings": "opening", "highlights": "highlight", "marked": "mark",
    "motifs": "motif",
}  # fmt: skip

#: Fields of the library whose key is called otherwise.
_KEYS = {"also_cutters": "more_cutters", "declared": "declare", "grow_from": "on"}


def placed(path: Path, key: str) -> str:
    """The file, the line and the key, as far as they can be told."""
    try:
        line = line_of(path.read_text(encoding="utf-8"), key)
    except (OSError, UnicodeDecodeError):
        line = 0
    return f"{path}: line {line}: {_in_words(key)}" if line else f"{path}: {_in_words(key)}"


_ORDINALS = ("first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def _in_words(key: str) -> str:
    """Whose key it is, counted from one: ``the second block's depth_mm``, ``the first entry of block 12's layers``."""
    table = _IN_LIST.fullmatch(key)
    if table is None or table["list"] not in LISTS:
        return key
    one = _ONE_OF[table["list"]]
    whose = _nth(int(table["nth"]), one)
    if table["key"] is None:
        return whose
    key = _NUMBER.sub("", table["key"])
    return f"{whose}'s {key}" if table["entry"] is None else f"{_nth(int(table['entry']), 'entry')} of {whose}'s {key}"


def _nth(which: int, one: str) -> str:
    """One of several, the first for 0: ``the second block``, ``block 12``."""
    return f"the {_ORDINALS[which]} {one}" if which < len(_ORDINALS) else f"{one} {which + 1}"


def line_of(text: str, key: str) -> int:
    """The number of the line, 1 for the first, on which a key such as ``blocks[1].depth_mm`` is written.

    The line of its table's head if the key itself is not there; 0 if that is not there either. Words in quotes that
    look like keys at the beginning of a line of a longer text may lead it astray.
    """
    table, *inner = _STEP.findall(key)
    lines = text.splitlines()
    head = _head(lines, table[0], int(table[1] or 0))
    if not head:
        return 0
    end = next((k for k in range(head, len(lines)) if lines[k].lstrip().startswith("[")), len(lines))
    for name, _ in inner[:1]:
        for k in range(head, end):
            if re.match(rf"\s*[\"']?{re.escape(name)}[\"']?\s*=", lines[k]):
                return k + 1
    return head


def _head(lines: list[str], name: str, nth: int) -> int:
    wanted = re.compile(rf"\s*\[\[?\s*{re.escape(name)}\s*\]\]?\s*(#.*)?$")
    heads = [k + 1 for k, line in enumerate(lines) if wanted.match(line)]
    if nth < len(heads):
        return heads[nth]
    plain = [k + 1 for k, line in enumerate(lines) if re.match(rf"\s*{re.escape(name)}\s*=", line)]
    return plain[0] if plain else 0


def key_named(field: str, table: str) -> str:
    """What a field of the library is called in a print file, seen from a table such as ``blocks[1]``.

    The key itself if the table has it, ``settings.`` before a motif's own, and else the key with the table that has it.
    """
    name = _KEYS.get(field, field)
    own = keys_of(_plain(table))
    if key := next((setting.key for setting in own if name in (setting.key, setting.name)), ""):
        return key
    if name in _settings(table):
        return f"settings.{name}"
    if name in LISTS:
        return f"[[{name}]]"
    for other in TABLES:
        if key := next((setting.key for setting in keys_of(other) if name in (setting.key, setting.name)), ""):
            return f"[{other}] {key}"
    return name


def help_of(key: str, table: str) -> Parameter | None:
    """What is declared of a key."""
    return next((setting for setting in keys_of(_plain(table)) if setting.key == key), None)


def _plain(table: str) -> str:
    return table.partition("[")[0]


def _settings(table: str) -> list[str]:
    """Names of the settings of all motifs, for a table of motifs."""
    if not table.startswith("motifs"):
        return []
    return [setting.name for name in sorted(summaries()) for setting in parameters(motif(name).Settings)]
