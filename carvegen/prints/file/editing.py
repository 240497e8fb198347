"""A print file with a few values changed: all else in it, comments and line ends too, stays as it is."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from carvegen.base.errors import InputError

if TYPE_CHECKING:
    from pathlib import Path

__all__ = [
    "NO_WEATHER", "OF_A_PIECE", "edited", "with_cutting", "with_grown_by", "with_marks_file", "with_mending",
    "with_weather",
]  # fmt: skip

NO_WEATHER = "none"  #: what is chosen for a motif of which nothing is to grow

#: What a block's table says of its piece of material, by key: it goes with that.
OF_A_PIECE = MappingProxyType({
    "declare": "composition", "thickness_mm": "thickness", "depth_mm": "depth of cut", "grain_deg": "grain",
})  # fmt: skip
_BOM = b"\xef\xbb\xbf"


def edited(path: Path, raw: bytes, change: Callable[[Any], None]) -> bytes:
    """The bytes of a print file with what `change` changes in its document.

    Raises
    ------
    InputError
        If it is no TOML.
    """
    import tomlkit
    from tomlkit.exceptions import TOMLKitError

    try:
        document: Any = tomlkit.parse(raw.decode("utf-8-sig"))
    except (UnicodeDecodeError, TOMLKitError) as error:
        raise InputError("can't be read", where=str(path), hint=str(error)) from None
    change(document)
    text: str = tomlkit.dumps(document)
    if raw.count(b"\r\n") == raw.count(b"\n"):
        text = text.replace("\r\n", "\n").replace("\n", "\r\n")
    return (_BOM if raw.startswith(_BOM) else b"") + text.encode()


def with_marks_file(path: Path, raw: bytes, name: str) -> bytes:
    """The print file with one more drawing of marks."""
    import tomlkit

    def add(document: Any) -> None:  # noqa: ANN401
        if "marks" not in document:
            document["marks"] = tomlkit.table()
        document["marks"]["files"] = [*document["marks"].get("files", []), name]

    return edited(path, raw, add)


def with_mending(path: Path, raw: bytes, block: int) -> bytes:
    """The print file with a block that is mended where a limit breaks."""

    def change(document: Any) -> None:  # noqa: ANN401
        document["blocks"][block]["mend"] = True

    return edited(path, raw, change)


def with_cutting(
    path: Path, raw: bytes, kinds: Sequence[str], material: str, cutter: str, *, before: Sequence[Sequence[str]]
) -> bytes:
    """The print file with all blocks cut by these kinds of machine, of a material, by a cutter; each as it is where "".

    What a block's table says of its piece of the former material goes. Of another material no kinds of machine come
    to those `before`, for each block, that nobody chose.
    """

    def change(document: Any) -> None:  # noqa: ANN401
        for table, so_far in zip(document["blocks"], before, strict=True):
            if material and table.get("material") != material:
                table.setdefault("for", list(so_far))
                table["material"] = material
                for key in OF_A_PIECE:
                    table.pop(key, None)
            if kinds and set(table.get("for", ())) != set(kinds):
                table["for"] = list(kinds)
            if cutter and table.get("cutter") != cutter:
                table["cutter"] = cutter

    return edited(path, raw, change)


def with_grown_by(path: Path, raw: bytes, motifs: Mapping[int, Sequence[Mapping[str, Any]]]) -> bytes:
    """The print file with what marks of each of these motifs were done by; nothing of one that has no mark."""
    import tomlkit

    def change(document: Any) -> None:  # noqa: ANN401
        for k, entries in motifs.items():
            table = document["motifs"][k]
            table.pop("marks_grew_by", None)
            if entries:
                array = tomlkit.array()
                for entry in entries:
                    row = tomlkit.inline_table()
                    row.update(entry)
                    array.append(row)
                table["marks_grew_by"] = array.multiline(multiline=True)

    return edited(path, raw, change)


def with_weather(path: Path, raw: bytes, motif: int, preset: str, settings: Mapping[str, Any]) -> bytes:
    """The print file with another preset of a motif, which puts its own settings out, or with some settings changed.

    `NO_WEATHER` for a preset leaves both as they are, and none of the motif grows until it has other weather.
    """
    import tomlkit

    def change(document: Any) -> None:  # noqa: ANN401
        table = document["motifs"][motif]
        if preset == NO_WEATHER:
            table["grows"] = False
            return
        table.pop("grows", None)
        if preset:
            table["preset"] = preset
            table.pop("settings", None)
        if settings:
            own = tomlkit.inline_table()
            own.update({**table.get("settings", {}), **settings})
            table["settings"] = own

    return edited(path, raw, change)
