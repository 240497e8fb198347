"""A setting is one line: a field of its class, from which command line, print file, schema and reference have it."""

from __future__ import annotations

import importlib
from dataclasses import dataclass

import click
import pytest
from click.testing import CliRunner

from carvegen.base.errors import InputError
from carvegen.base.parameters import choice, flag, length, parameters, span, whole
from carvegen.cli.options.paths import paths
from carvegen.delivery.block_folder import style_of
from carvegen.facts.profiles import Library
from carvegen.facts.register import Plan
from carvegen.prints.file import keys
from carvegen.prints.file.print_file import read_print
from carvegen.prints.file.reference import reference
from carvegen.prints.file.schema import schema
from carvegen.toolpaths import settings
from carvegen.toolpaths.settings import FileSettings, PathSettings

KEYS = {key.name: key for key in keys.TABLES["files"]}
PRINT = """[print]
name = "a"
size_mm = [60, 40]
[[blocks]]
name = "sky"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "linoleum"
cutter = "v-60"
"""


def test_a_table_of_files_becomes_a_style():
    files = {name: key.default for name, key in KEYS.items()} | {"dxf": "R12", "lowered": "lines", "tabs": False}
    style = style_of(files)
    assert (style.dxf, style.paths.lowered, style.paths.tabs) == ("R12", "lines", False)
    assert style_of(files | {"paths": False}).paths is None


@pytest.mark.parametrize(
    ("table", "classes"), [("files", (FileSettings, PathSettings)), ("register", (Plan,))], ids=["files", "register"]
)
def test_the_defaults_of_a_table_are_those_of_its_class(table, classes):
    for its in (its for kind in classes for its in parameters(kind)):
        key = next(key for key in keys.TABLES[table] if key.name == its.name)
        assert (key.help, key.default, key.among) == (its.help, its.default, its.among)
        if key.range is not None:
            assert (key.range.at_least, key.range.at_most) == (its.at_least, its.at_most)


@dataclass(frozen=True, kw_only=True, eq=False)
class _More(PathSettings):
    dwell_mm: float = length(0.25, help="how long the cutter dwells, said as a way", at_least=0, at_most=9)
    corners: str = choice("round", among=("round", "sharp"), help="how corners are taken")
    rounds: int = whole(3, help="how many rounds are run", at_least=1, at_most=7)
    coolant: bool = flag(False, help="let mist cool the cutter")


@pytest.fixture
def _one_line_more(monkeypatch):
    """The module of keys as it is when the class has these fields."""
    with monkeypatch.context() as patched:
        patched.setattr(settings, "PathSettings", _More)
        tables = dict(keys.TABLES) | {"files": keys._declared(_More)}
        for module in ("schema", "print_file", "key_lines"):
            patched.setattr(importlib.import_module(f"carvegen.prints.file.{module}"), "TABLES", tables)
        yield


@pytest.mark.usefixtures("_one_line_more")
def test_a_setting_that_is_added_is_everywhere(tmp_path):
    shown = CliRunner().invoke(paths()(click.command()(lambda **_: None)), ["--help"], terminal_width=120).output
    for words in (
        "--dwell LENGTH",
        "--corners [round|sharp]",
        "--rounds NUMBER",
        "--coolant",
        "[default: 0.25]",
    ):
        assert words in shown
    of = schema()["properties"]["files"]["properties"]
    assert of["dwell_mm"] == {
        "description": "how long the cutter dwells, said as a way", "default": 0.25, "type": "number", "minimum": 0,
        "maximum": 9,
    }  # fmt: skip
    assert (of["corners"]["enum"], of["rounds"]["type"], of["coolant"]["type"]) == (
        ["round", "sharp"], "integer", "boolean",
    )  # fmt: skip
    assert "| `dwell_mm` | number, 0 to 9 | 0.25 | how long the cutter dwells, said as a way |" in reference()
    file = tmp_path / "print.toml"
    file.write_text(PRINT + '[files]\ndwell_mm = 2\ncorners = "sharp"\n')
    read = read_print(file, Library()).files
    assert [read[name] for name in ("dwell_mm", "corners", "rounds", "coolant")] == [2.0, "sharp", 3, False]
    file.write_text(PRINT + "[files]\ndwell_mm = 10\n")
    with pytest.raises(InputError, match=r"line 12: files.dwell_mm: must lie in 0…9 mm, got 10"):
        read_print(file, Library())
    with pytest.raises(InputError, match="dwell_mm: must lie in 0…9 mm, got 10"):
        _More(dwell_mm=10)


@dataclass(frozen=True)
class _Air:
    damp: tuple[float, float] = span((40.0, 60.0), help="lowest and highest", at_least=5, at_most=95)
    rest_mm: float | None = length(None, help="what the method asks for, by default", at_least=0, at_most=9)


@pytest.mark.parametrize(
    ("name", "good", "bad"), [("damp", (5.0, 95), (4, 50)), ("damp", (50, 50), (50,)), ("rest_mm", None, 9.5)]
)
def test_two_numbers_and_what_something_else_says(name, good, bad):
    its = next(its for its in parameters(_Air) if its.name == name)
    assert its.allows(good)
    assert not its.allows(bad)
