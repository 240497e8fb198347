"""A setting is one line: a field of its class, from which command line, print file, schema and reference have it."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import click
import pytest
from click.testing import CliRunner

from carvegen.base.errors import InputError
from carvegen.base.parameters import choice, colour, flag, length, parameters, span, text, texts, whole
from carvegen.delivery.block_folder import style_of
from carvegen.facts.profiles import Library
from carvegen.interfaces.cli import command_of
from carvegen.interfaces.cli.options.output import paths
from carvegen.prints.file import keys
from carvegen.prints.file.declared_values import FilePlace, value_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.file.schema import reference, schema
from carvegen.toolpaths import settings
from carvegen.toolpaths.settings import FileSettings, PathSettings, PathsWanted
from tests.changes import other_than

KEYS = {each.key: each for each in keys.keys_of("files")}
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


@dataclass(frozen=True, kw_only=True, eq=False)
class _More(PathSettings):
    dwell_mm: float = length(0.25, help="how long the cutter dwells, said as a way", at_least=0, at_most=9)
    corners: str = choice("round", among=("round", "sharp"), help="how corners are taken")
    rounds: int = whole(3, help="how many rounds are run", at_least=1, at_most=7)
    coolant: bool = flag(False, help="let mist cool the cutter")


@pytest.fixture
def _one_line_more(monkeypatch):
    """The module of keys as it is when the class has these fields."""
    monkeypatch.setattr(settings, "PathSettings", _More)
    monkeypatch.setattr(keys, "TABLES", dict(keys.TABLES) | {"files": (FileSettings, PathsWanted, _More)})


@pytest.mark.usefixtures("_one_line_more")
def test_a_setting_of_paths_that_is_added_is_everywhere(tmp_path):
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


@pytest.mark.parametrize(
    ("table", "key", "option"),
    [
        ("blocks", "more_cutters", "also_cutters"), ("blocks", "no_go", "no_go"), ("blocks", "mend", "mend"),
        ("motifs", "clearance_mm", "clearance_mm"),
    ],
)  # fmt: skip
def test_option_and_key_are_one_declaration(table, key, option):
    said = next(each.help for each in keys.keys_of(table) if each.key == key)
    shown = next(parameter.help for parameter in command_of("frost").params if parameter.name == option)
    assert shown.lower().startswith(said.lower())


def test_flakes_that_go_behind_what_is_kept_clear_stay_off_by_nothing():
    default = {
        name: next(parameter.default for parameter in command_of(name).params if parameter.name == "clearance_mm")
        for name in ("snowfall", "snowload", "frost", "grain")
    }
    assert default == {"snowfall": "0", "snowload": "1", "frost": "1", "grain": "1"}


@dataclass(frozen=True, kw_only=True)
class _Table:
    """One field of every kind that a table of the print file may have."""

    soak_mm: float = length(0.5, help="how far water soaks in", at_least=0, at_most=4)
    sheen: str = choice("matt", among=("matt", "gloss"), help="how the ink dries")
    coats: int = whole(1, help="how often it is rolled", at_least=1, at_most=5)
    oiled: bool = flag(False, help="rubbed with oil before")
    edge_ink: str = colour("#000000", help="colour of its edge", key="rim")
    words: str = text("", help="what is said of it", form="[a-z]+")
    shops: tuple[str, ...] = texts(help="who sells it", among=("here", "there"))


_MORE = _Table(
    soak_mm=2.0, sheen="gloss", coats=3, oiled=True, edge_ink="#ff0000", words="soft", shops=("here", "there")
)


@pytest.mark.parametrize("table", ["print", "layers", "blocks", "marked", "motifs"])
def test_a_key_that_is_added_to_a_table_is_everywhere(tmp_path, monkeypatch, table):
    """In the schema, on the reference's page, read and checked, and changed by the test of what is built again."""
    many = keys.LISTS if table in keys.LISTS else keys.TABLES
    kind = dataclasses.make_dataclass("_Longer", [], bases=(_Table, many[table][0]), frozen=True, kw_only=True)
    monkeypatch.setattr(keys, "LISTS" if many is keys.LISTS else "TABLES", dict(many) | {table: (kind,)})
    of = schema()["properties"][table]
    of = of.get("items", of)["properties"]
    assert of["soak_mm"] == {
        "description": "how far water soaks in", "default": 0.5, "type": "number", "minimum": 0, "maximum": 4,
    }  # fmt: skip
    assert [of[key]["type"] for key in ("coats", "oiled", "rim", "words", "shops")] == [
        "integer", "boolean", "string", "string", "array",
    ]  # fmt: skip
    assert "| `soak_mm` | number, 0 to 4 | 0.5 | how far water soaks in |" in reference()
    assert '| `rim` | colour, `"#rrggbb"` | #000000 | colour of its edge |' in reference()
    plain = {one.key: getattr(_MORE, one.name) for one in parameters(_Table)}
    read = {item.key: value_of(FilePlace("print.toml", []), item.key, item, _as_toml(plain[item.key]))
            for item in keys.keys_of(table) if item.key in plain}  # fmt: skip
    assert read == plain
    assert keys.filled(_Table, read) == dataclasses.replace(_MORE, edge_ink=(255, 0, 0))
    faults: list[InputError] = []
    for parameter in parameters(_Table):
        value_of(
            FilePlace("print.toml", faults),
            parameter.key,
            parameter,
            {"soak_mm": 5, "shops": ["nowhere"]}.get(parameter.key, 1.5),
        )
    assert len(faults) == len(plain)
    for parameter in (each for each in parameters(_Table) if each.unit not in ("text", "texts")):
        assert other_than(parameter, parameter.default) != parameter.default


def _as_toml(value):
    return list(value) if isinstance(value, tuple) else value


@dataclass(frozen=True)
class _Air:
    damp: tuple[float, float] = span((40.0, 60.0), help="lowest and highest", at_least=5, at_most=95)
    rest_mm: float | None = length(None, help="what the method asks for, by default", at_least=0, at_most=9)


@pytest.mark.parametrize(
    ("name", "good", "bad"), [("damp", (5.0, 95), (4, 50)), ("damp", (50, 50), (50,)), ("rest_mm", None, 9.5)]
)
def test_two_numbers_and_what_something_else_says(name, good, bad):
    each = next(parameter for parameter in parameters(_Air) if parameter.name == name)
    assert each.allows(good)
    assert not each.allows(bad)
