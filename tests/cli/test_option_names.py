"""The library speaks of fields; the command line has an option for each, and says that."""

from __future__ import annotations

import ast  # noqa: TID251  one thread
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest

import carvegen
from carvegen.base.errors import InputError
from carvegen.interfaces.cli import _COMMANDS, command_of
from carvegen.interfaces.cli.options.option_values import option_of
from carvegen.motifs import motif
from carvegen.prints.file.print_file import read_print
from tests.cases import SHELF, layer, small_print
from tests.cli.running import run, small

ROOT = Path(carvegen.__file__).parent
#: Writers of pages that tell what to type: the command line's words are what they are about.
_PAGES = {"writers/note/block_note.py", "writers/note/strip_page.py", "writers/note/embossing_page.py"}
_PAGES |= {"delivery/block_folder.py", "toolpaths/unmade/shortfalls.py", "blocks/embossing/embossing_strip.py"}
_PAGES |= {"prints/recut.py", "blocks/embossing/pressing.py", "prints/file/keys.py"}
#: What stands in a module that speaks of either: others are not parsed.
_MAY_SPEAK = re.compile(r"\b(?:field|names)\s*=|--[a-z]")


@cache
def _library() -> dict[str, list[ast.AST]]:
    """Calls and texts of each module beside the command line that may name a field or an option."""
    files = [
        path
        for path in sorted(ROOT.rglob("*.py"))
        if not path.relative_to(ROOT).as_posix().startswith("interfaces/cli/")
    ]
    texts = {path.relative_to(ROOT).as_posix(): path.read_text(encoding="utf-8") for path in files}
    return {name: _nodes(text) for name, text in texts.items() if _MAY_SPEAK.search(text)}


def _nodes(text: str) -> list[ast.AST]:
    return [node for node in ast.walk(ast.parse(text)) if isinstance(node, ast.Call | ast.Constant)]


def _commands() -> Iterator[click.Command]:
    waiting: list[click.Command] = [command_of(name) for name in _COMMANDS]
    while waiting:
        command = waiting.pop()
        yield command
        waiting += command.commands.values() if isinstance(command, click.Group) else []


def test_no_command_has_two_options_of_one_name():
    for command in _commands():
        words = [word for parameter in command.params for word in (*parameter.opts, *parameter.secondary_opts)]
        assert len(words) == len(set(words)), command.name
        names = [each.name for each in command.params if each.expose_value]
        assert len(names) == len(set(names)), command.name


def _words(node: ast.expr) -> list[str]:
    return [each.value for each in ast.walk(node) if isinstance(each, ast.Constant) and isinstance(each.value, str)]


def test_every_field_that_an_error_speaks_of_has_an_option():
    fields = {
        word
        for name, nodes in _library().items()
        if not name.startswith("interfaces/page/")  # what is wrong there is said on the page, which has no options
        for call in nodes
        if isinstance(call, ast.Call) and getattr(call.func, "id", "").endswith(("Error", "check_words"))
        for keyword in call.keywords
        if keyword.arg in {"field", "names"}
        for word in _words(keyword.value)
    }
    assert len(fields) > 30
    options = {word for command in _commands() for parameter in command.params for word in parameter.opts}
    assert sorted(name for name in fields if option_of(name) not in options) == []


def test_the_library_does_not_speak_of_options():
    said = {
        f"{name}: {node.value}"
        for name, nodes in _library().items()
        if name not in _PAGES
        for node in nodes
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        if re.search(r"(?:^|[^-\w])--[a-z]", node.value)
    }
    assert said == set()


@pytest.mark.parametrize(
    ("name", "field"), [("snowfall", "wind_towards_deg"), ("frost", "reach_mm"), ("grain", "knot_mm")]
)
def test_a_setting_out_of_range_is_told_by_its_option(name, field, capsys, tmp_path):
    option = option_of(field)
    ran = run(capsys, name, *small()[1:], f"{option}=99999", "--out", tmp_path / "out")
    assert (ran.code, option in ran.err.partition(": must lie in")[0]) == (2, True)


def test_a_remedy_names_options(capsys, tmp_path):
    ran = run(capsys, *small(), "--margin", "1", "--keep-clear", "box 0.5 0.5 39 29", "--out", tmp_path / "out")
    assert "carvegen: --keep-clear, --opening, --margin: nothing of the block is left" in ran.err
    ran = run(capsys, *small(), "--smallest", "9", "--largest", "3", "--out", tmp_path / "out")
    assert "carvegen: --smallest: must not be larger than --largest 3 mm" in ran.err


def test_python_speaks_of_fields():
    with pytest.raises(InputError, match="smallest_mm: must not be larger than largest_mm 3 mm"):
        motif("snowfall").Settings(smallest_mm=9, largest_mm=3)


@pytest.mark.parametrize("option", ["--simulated", "--program", "--no-paths", "--width-map", "--mend", "--no-mend"])
def test_what_a_print_file_says_is_told_to_who_asks_build_for_it_and_can_be_written_so(option, capsys, tmp_path):
    path, values = tmp_path / "print.toml", small_print(layer("POST", "box 20 0 8 25"), blocks={"key": ["POST"]})
    path.write_text(values, encoding="utf-8")
    ran = run(capsys, "build", path, option, "--out", tmp_path / "out")
    assert (ran.code, f"{option} is said in the print file" in ran.err) == (2, True)
    key, table = re.search(r"write (\w+ = \w+) under (\S+),", ran.err).groups()
    after = f"\n{key}\n" if table == "[[blocks]]" else f"\n{table}\n{key}\n"  # its only block is the last table
    path.write_text(f"{values}{after}", encoding="utf-8")
    read_print(path, SHELF)


@pytest.mark.parametrize("option", ["--no-material", "--no-for", "--no-line-spacing"])
def test_a_key_that_is_no_yes_or_no_has_no_option_against_it(option, capsys):
    ran = run(capsys, "build", "print.toml", option, "--out", "out")
    assert (ran.code, "write " in ran.err, f"No such option '{option}'" in ran.err) == (2, False, True)


def _texts(tree: list[ast.AST]) -> Iterator[str]:
    """Texts as they are said, an X in the place of what is filled in."""
    for node in tree:
        if isinstance(node, ast.JoinedStr):
            yield "".join(str(part.value) if isinstance(part, ast.Constant) else "X" for part in node.values)
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.value


def _told(text: str) -> Iterator[tuple[click.Command, str]]:
    """The options that a text names after a command, with that command."""
    for said in re.findall(r"carvegen ([a-z]+ [^;\n]*)", text):
        words = said.split()
        if words[0] not in _COMMANDS:
            continue
        command = command_of(words.pop(0))
        while isinstance(command, click.Group) and words and words[0] in command.commands:
            command = command.commands[words.pop(0)]
        yield from ((command, option) for option in re.findall(r"(?<![-\w])--[a-z-]+", " ".join(words)))


def test_every_option_that_a_note_or_a_remedy_names_with_a_command_is_one_of_that_command():
    files = {path: path.read_text(encoding="utf-8") for path in ROOT.rglob("*.py")}
    spoken = [ast.walk(ast.parse(text)) for text in files.values() if re.search("carvegen [a-z]+ .*--[a-z]", text)]
    report = {each for tree in spoken for text in _texts(list(tree)) for each in _told(text)}
    assert len(report) > 30
    strange = [
        f"{command.name} {option}" for command, option in report
        if option not in {word for parameter in command.params for word in (*parameter.opts, *parameter.secondary_opts)}
    ]  # fmt: skip
    assert strange == []
