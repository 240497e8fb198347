"""The key of a build's step: a hash of all its inputs, each by name too, so that what differs says why it is run."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import fields, is_dataclass
from enum import Enum
from pathlib import Path, PurePath
from typing import Any

import numpy as np
import shapely
from shapely.geometry.base import BaseGeometry

from carvegen.base.files import file_hash

__all__ = ["Recipe", "contents_of_files", "differences", "digest", "digests", "inputs_of"]

Recipe = Mapping[str, str]  #: the inputs of a step by name, each as the hash of all that it holds

#: Fields as a person calls them; "" where the names of what is inside are enough.
_WORDS = {
    "print_": "", "style": "", "paths": "", "setups": "material, cutter or machine", "no_go": "clamps",
    "counter_setups": "material or machine of the counter-sheet", "also_cutters": "further cutters",
    "stands": "what stands", "hidden_by": "what hides the ink",
}  # fmt: skip


def digests(inputs: object) -> dict[str, str]:
    """Every input of a step by name, and the version of the code.

    Parameters
    ----------
    inputs
        A frozen dataclass. Each of its fields is an input; so is each field of a frozen dataclass in it, each value of
        a mapping, and each field of each value that has a name.
    """
    from carvegen import __version__

    hashes = {"carvegen": digest(__version__)}
    for name, value in _inputs(inputs):
        new = digest(value)
        hashes[name] = digest([hashes[name], new]) if name in hashes else new
    return hashes


def _inputs(inputs: Any, under: str = "") -> Iterator[tuple[str, object]]:  # noqa: ANN401
    for name, value in ((spec.name, getattr(inputs, spec.name)) for spec in fields(inputs)):
        word = " ".join(filter(None, (under, _word(name))))
        if is_dataclass(value):
            yield from _inputs(value, word)
        elif isinstance(value, Mapping):
            yield f"order of {word}", list(value)
            yield from ((f"{word} of {key}", part) for key, part in value.items())
        elif isinstance(value, tuple) and value and all(is_dataclass(part) and hasattr(part, "name") for part in value):
            yield f"order of {word}", [part.name for part in value]
            for part in value:
                yield from inputs_of(part)
        else:
            yield word, value


def inputs_of(part: Any) -> Iterator[tuple[str, object]]:  # noqa: ANN401
    """Each field of a value that has a name, such as a motif, as an input of a step."""
    return ((f"{_word(spec.name)} of {part.name}", getattr(part, spec.name)) for spec in fields(part))


def _word(name: str) -> str:
    if name in _WORDS:
        return _WORDS[name]
    return " ".join(word for word in name.split("_") if word not in ("mm", "deg"))


def digest(value: object) -> str:
    """A short hash of all that a frozen value holds.

    Raises
    ------
    TypeError
        If something in it is of a kind that nobody can hash whole: nothing is passed over.
    """
    pieces: list[bytes] = []
    _add(value, pieces)
    sha256 = hashlib.sha256()
    for piece in pieces:
        sha256.update(piece)
    return sha256.hexdigest()[:16]


def _add(value: Any, pieces: list[bytes]) -> None:  # noqa: ANN401
    """Add all that a value holds, and where each part of it ends."""
    if value is None or isinstance(value, (str, bytes, int, float, Enum)):
        text = repr(float(value) if isinstance(value, float) else value).encode()
        pieces += (b"%d:" % len(text), text)
    elif isinstance(value, PurePath):
        pieces.append(b"path;")  # where it lies changes nothing; what is read from there is an input of its own
    elif isinstance(value, BaseGeometry):
        _add((shapely.get_precision(value), shapely.to_wkb(value)), pieces)
    elif isinstance(value, np.ndarray):
        held = value.tolist() if value.dtype == object else value.tobytes()
        _add_all("array", (value.dtype.str, *value.shape, held), pieces)
    elif is_dataclass(value):
        named = ((spec.name, getattr(value, spec.name)) for spec in fields(value))
        _add_all(type(value).__name__, named, pieces)
    elif isinstance(value, Mapping):
        _add_all("mapping", ((key, value[key]) for key in sorted(value, key=str)), pieces)
    elif isinstance(value, (set, frozenset)):
        _add_all("set", sorted(map(digest, value)), pieces)
    elif isinstance(value, (tuple, list)):
        _add_all("list", value, pieces)
    else:
        raise TypeError(f"no input of a step can be a {type(value).__name__}")


def _add_all(kind: str, values: Iterable[object], pieces: list[bytes]) -> None:
    pieces.append(f"{kind}(".encode())
    for value in values:
        _add(value, pieces)
    pieces.append(b")")


def contents_of_files(value: object, folder: Path) -> dict[str, str]:
    """The hash of every file that a text in a frozen value names, as seen from a folder, by its name there."""
    names = {name for text in _texts(value) if (name := _file_in(folder, text))}
    return {name: file_hash(folder / name) for name in sorted(names)}


def _texts(value: Any) -> Iterator[str]:  # noqa: ANN401
    if isinstance(value, str):
        yield value
    elif is_dataclass(value):
        for spec in fields(value):
            yield from _texts(getattr(value, spec.name))
    elif isinstance(value, (tuple, list, Mapping)):
        for part in value.values() if isinstance(value, Mapping) else value:
            yield from _texts(part)


def _file_in(folder: Path, text: str) -> str:
    """The name of a file that a text starts with; "" if there is none, as with the name of a layer."""
    words = text.split(" ")
    for end in range(len(words), 0, -1):
        name = " ".join(words[:end])
        for own in (name, name.rpartition("#")[0]):
            if own and os.path.isfile(folder / own):  # noqa: PTH113 (a text too long for a name is none)
                return own
    return ""


def differences(old: Recipe, new: Recipe) -> list[str]:
    """What differs between two sets of inputs, in words; new things first, each once; none if nothing does."""
    come, gone = _whole(new, old), _whole(old, new)
    words = [
        *(_phrase(_owner(name, come), "is new", "is read now") for name in new if name not in old),
        *(_phrase(name, "changed", "was edited") for name in new if name in old and old[name] != new[name]),
        *(_phrase(_owner(name, gone), "is gone", "is no longer read") for name in old if name not in new),
    ]
    follows = {line.replace("preset of ", "settings of ", 1) for line in words if line.startswith("preset of ")}
    words = [line for line in words if line not in follows]  # a preset brings other settings
    wanted = {line for line in words if not (line.startswith(_FOLLOWS) if come or gone else line == _OTHER_FILES)}
    return [line for line in dict.fromkeys(words) if line in wanted or not wanted]


def _whole(names: Recipe, others: Recipe) -> set[str]:
    """The things, such as blocks, of which several inputs are among the names and none among the others."""
    owners = [_owner_of(name) for name in names]
    return {owner for owner in owners if owner and owners.count(owner) > 1} - set(map(_owner_of, others))


def _owner_of(name: str) -> str:
    return "" if name.startswith((_FILE, _KEPT, "order of ")) else name.partition(" of ")[2]


def _owner(name: str, whole: set[str]) -> str:
    """What is told of in place of an input: the thing of which it is one, if all of that came or went."""
    return owner if (owner := _owner_of(name)) in whole else name


#: What changes of itself where something comes or goes: an order, and an ink's rank among the others.
_FOLLOWS = ("order of ", "ink colour of ", "other files are read")
_FILE, _KEPT, _OTHER_FILES = "contents of ", "kept of ", "other files are read"


def _phrase(name: str, how: str, file_how: str) -> str:
    """One thing that differs, as she knows it: a file by what was done to it, a kept motif by its name."""
    if name.startswith(_FILE):
        return f"{name.removeprefix(_FILE)} {file_how}"
    if name.startswith(_KEPT):
        return f"{name.removeprefix(_KEPT)} was kept or let go"
    known = {"order of contents": _OTHER_FILES, "carvegen": "carvegen is another version"}
    return known.get(name) or f"{name} {how}"
