"""Words for every command: sensible, wrong and hostile, drawn by Hypothesis from what each command declares."""

from __future__ import annotations

from pathlib import Path

import click
from hypothesis import strategies as st

from carvegen.interfaces.cli import _COMMANDS, command_of

__all__ = ["command_lines", "samples"]

_GOOD = 3  #: the first of each list can be used; in two lines of three only such words are drawn
_LENGTHS = ("1", "0.4", "1.5 mm", "0", "3mm", "0.2cm", "1in", "12pt", "-1", "900", "nan", "inf", "1e9", "", "a", "½")
_ANGLES = ("0", "30", "45deg", "90", "400", "nan", "north")
_NUMBERS = ("0.1", "0.5", "0.3", "0", "1", "-1", "3", "1e6", "nan", "inf", "x")
_SIZES = ("40x30", "30x20mm", "4x3cm", "2x1in", "5x5", "0x0", "40", "40x", "9999x9999", "axb", "-4x3", "40×30")
_TEXTS = ("sky", "", "x" * 300, "a/b", "ä ö 雪", "\n", "../x", "2026-11-25", "9 May", "<b>&")
_SHAPES = (
    "circle 15 12 4", "box 5 5 10 8", "fir.svg width 12", "fir.svg", "fir.svg at 3 4 width 9", "fir.svg#none", "no.svg",
    "circle 5", "box 1 1 -3 4", "circle nan 1 1", "wrong.svg", "grey.png", "", "fir.svg size 60", "circle 15 12 400",
)  # fmt: skip
_FILES = ("fir.svg", "wrong.svg", "grey.png", "print.toml", "wrong.toml", "no.svg", ".", "block.dxf")
_PROFILES = ("linoleum", "cherry", "vinyl-soft", "v-60", "laser-fine", "flat-1", "u-2", "hand", "laser-bed", "lino", "")
_OUT = ("out", "deep/er/out", "fir.svg", "")


def samples(folder: Path) -> None:
    """Files that the words name."""
    from PIL import Image

    square = '<svg xmlns="http://www.w3.org/2000/svg" width="20mm" height="30mm" viewBox="0 0 20 30">{}</svg>'
    (folder / "fir.svg").write_text(square.format('<path d="M2 2L18 2L10 28Z"/>'), encoding="utf-8")
    (folder / "wrong.svg").write_text(square.format('<path d="M2 nan"/><text>hm</text>')[:-9], encoding="utf-8")
    (folder / "wrong.toml").write_text('[print]\nname = 3\nsize_mm = ["a", nan]\n', encoding="utf-8")
    (folder / "print.toml").write_text('[print]\nname = "x"\nsize_mm = [30, 20]\n', encoding="utf-8")
    (folder / "block.dxf").write_text("  0\nSECTION\n  2\nENTITIES\n  0\nENDSEC\n  0\nEOF\n", encoding="ascii")
    Image.linear_gradient("L").resize((90, 60)).save(folder / "grey.png")


def command_lines() -> st.SearchStrategy[list[str]]:
    """A command with what it needs, and up to six more of its options."""
    leaves = _leaves()
    return st.tuples(st.sampled_from(sorted(leaves)), st.sampled_from([True, True, False])).flatmap(
        lambda drawn: _line(drawn[0], leaves[drawn[0]], good=drawn[1])
    )


def _leaves() -> dict[tuple[str, ...], click.Command]:
    result: dict[tuple[str, ...], click.Command] = {}
    waiting = {(name,): command_of(name) for name in _COMMANDS}
    while waiting:
        path, command = waiting.popitem()
        if isinstance(command, click.Group):
            waiting |= {(*path, name): sub for name, sub in command.commands.items()}
        else:
            result[path] = command
    return result


def _line(path: tuple[str, ...], command: click.Command, *, good: bool) -> st.SearchStrategy[list[str]]:
    needed = [param for param in command.params if param.required]
    others = [param for param in command.params if not param.required and param.name != "help"]
    some = st.lists(st.sampled_from(others), max_size=6) if others else st.just([])
    return some.flatmap(
        lambda more: st.tuples(*(_words(param, good=good) for param in [*needed, *more])).map(
            lambda words: [*path, *(word for group in words for word in group)]
        )
    )


def _words(param: click.Parameter, *, good: bool) -> st.SearchStrategy[list[str]]:
    values = st.sampled_from(_values(param)[: _GOOD if good else None])
    if isinstance(param, click.Argument):
        return values.map(lambda value: [value])
    if getattr(param, "is_flag", False):
        return st.just([param.opts[0]])
    return values.map(lambda value: [param.opts[0], value])


def _values(param: click.Parameter) -> tuple[str, ...]:
    name, kind = param.name or "", param.type
    named: dict[str, tuple[str, ...]] = {
        "material": ("linoleum", "cherry", "linoleum", *_PROFILES),
        "cutter": ("v-60", "laser-fine", "v-30", *_PROFILES),
        "machines": ("hand", "laser-bed", "router-bed", *_PROFILES),
        "like": ("laser-fine", "linoleum", "v-60", *_PROFILES),
        "out": ("out", "out", "deep/er/out", *_OUT), "file": ("fir.svg", "print.toml", "fir.svg", *_FILES),
        "folders": (".", "no", "fir.svg"), "sources": ("fir.svg width 20", "box 5 5 10 8", "fir.svg", *_SHAPES),
        "mask": ("grey.png", "circle 15 12 9", "grey.png", *_SHAPES), "day": ("2026-11-25", "2026-11-25", *_TEXTS),
        "keep_clear": _SHAPES, "opening": _SHAPES, "name": ("sky", "my-own", "a", *_TEXTS),
    }  # fmt: skip
    if name in named:
        return named[name]
    if isinstance(kind, click.Choice):
        choices = tuple(map(str, kind.choices))
        return (*choices, *choices[:1] * _GOOD, "none of these")
    if isinstance(kind, click.types.IntParamType):
        return ("1", "7", "3", "0", "-1", "x", "99999999999999999999")
    if isinstance(kind, click.Path):
        return _FILES
    by_type = {"SIZE": ("40x30", "30x20mm", "40x30", *_SIZES), "LENGTH": _LENGTHS, "ANGLE": _ANGLES}
    return by_type.get(kind.name, _NUMBERS if kind.name.startswith("float") else (*_SHAPES, *_TEXTS))
