"""The register of sources: whole, pointed to by key, nothing in it dead, and told with its mark."""

from __future__ import annotations

import ast  # noqa: TID251  one thread
import json
import re
import tomllib
from pathlib import Path

import pytest
from click.testing import CliRunner

from carvegen.base.errors import CarvegenError
from carvegen.facts import sources as register
from carvegen.facts.profiles import shipped
from carvegen.facts.sources import MARKS, cited, parts, sources
from carvegen.interfaces.cli.setup.profiles import command

ROOT = Path(__file__).parents[2]
_POINTER = re.compile(r"source:\s+((?:[a-z0-9]+(?:-[a-z0-9]+)+)(?:,\s+(?:#:?\s+)?[a-z0-9]+(?:-[a-z0-9]+)+)*)")


def pointers() -> dict[str, str]:
    """Every key that code and tests point to, as ``source: key, key``, with a file that does."""
    result = {}
    for path in [*ROOT.glob("carvegen/**/*.py"), *ROOT.glob("tests/**/*.py")]:
        for match in _POINTER.finditer(path.read_text(encoding="utf-8")):
            result |= dict.fromkeys(re.findall(r"[a-z0-9]+(?:-[a-z0-9]+)+", match[1]), path.name)
    return result


def in_profiles() -> set[str]:
    """Every source, key or mark that a shipped file of facts names."""
    result: set[str] = set()

    def walk(value: object) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                if key in ("source", "chart_source", "fine_source"):
                    result.update(parts(inner))
                elif key == "sources":
                    result.update(inner)
                else:
                    walk(inner)
        elif isinstance(value, list):
            for inner in value:
                walk(inner)

    for path in shipped().glob("**/*.toml"):
        if path.name != "sources.toml":
            walk(tomllib.loads(path.read_text(encoding="utf-8")))
    return result


def test_every_entry_is_whole() -> None:
    assert len(sources()) > 40
    for source in sources().values():
        assert all(text.strip() for text in (source.citation, source.edition, source.where, source.says))
        assert ";" not in source.citation  # it stands between two citations


def test_what_is_pointed_to_is_in_the_register_or_a_mark() -> None:
    assert in_profiles() <= sources().keys() | set(MARKS)
    unknown = {key: file for key, file in pointers().items() if key not in sources()}
    assert unknown == {}


def test_no_entry_is_dead() -> None:
    assert sources().keys() - in_profiles() - pointers().keys() == set()


#: A work written out in code: initials, a name and a year; or two names and a year.
_WRITTEN_OUT = re.compile(
    r"(?:[A-Z]\.\s+)+[A-Z]\w+[^.\n]{0,40}\s(?:18|19|20)\d\d\b"
    r"|[A-Z]\w+(?:,?\s+(?:&|and)\s+[A-Z]\w+|\s+et\s+al\.),?\s+(?:18|19|20)\d\d\b"
)


def test_a_work_is_pointed_to_by_its_key_and_not_written_out_in_code() -> None:
    assert _WRITTEN_OUT.search("as (J. Bernsen 1986, ICPR)") and _WRITTEN_OUT.search("(Mardia & Jupp 2000, ch. 1)")
    result = {
        f"{path.relative_to(ROOT)}: {match[0]}"
        for path in ROOT.glob("carvegen/**/*.py")
        for match in _WRITTEN_OUT.finditer(path.read_text(encoding="utf-8"))
    }
    assert result == set()


PUBLISHED = [
    (path, node)
    for path in sorted((ROOT / "tests/published").glob("*.py"))
    for node in ast.parse(path.read_text(encoding="utf-8")).body
    if isinstance(node, ast.FunctionDef) and node.name.startswith("test_")
]


@pytest.mark.parametrize(("path", "node"), PUBLISHED, ids=[f"{path.stem}-{node.name}" for path, node in PUBLISHED])
def test_every_published_check_points_to_its_source(path, node) -> None:
    """In its lines, those of its table, or the caption of its file."""
    lines = path.read_text(encoding="utf-8").splitlines()
    start = min([node.lineno, *(each.lineno for each in node.decorator_list)])
    caption = ast.get_docstring(ast.parse("\n".join(lines))) or ""
    assert _POINTER.search("\n".join([caption, *lines[start - 1 : node.end_lineno]]))


@pytest.mark.parametrize("words", ["safety page", "community", "blog", "forum", "notes)", "(notes", "encyclop"])
def test_no_source_is_called_what_nobody_can_look_up(words) -> None:
    named = [*in_profiles(), *(source.citation for source in sources().values())]
    assert [name for name in named if words in name.lower()] == []


def test_a_key_is_told_as_its_citation_and_memory_says_so() -> None:
    assert cited("eh40; common practice, no source") == (
        "HSE, EH40/2005 Workplace exposure limits; common practice, no source"
    )
    assert cited("serra-1982") == "J. Serra, Image Analysis and Mathematical Morphology (from memory)"
    assert cited("measured by the user, 2026-03-09") == "measured by the user, 2026-03-09"


def test_an_entry_with_a_field_missing_is_refused(monkeypatch, tmp_path) -> None:
    (tmp_path / "sources.toml").write_text('[one]\ncitation = "a"\nseen = true\n')
    monkeypatch.setattr(register, "shipped", lambda: tmp_path)
    with pytest.raises(CarvegenError, match="edition"):
        register.sources.__wrapped__()


def test_the_command_prints_them_all() -> None:
    text = CliRunner().invoke(command, ["sources"]).output
    for source in sources().values():
        assert f"{source.key}: {source.citation}" in text
        assert source.says in text
    assert text.count("from memory\n") == sum(not source.seen for source in sources().values())
    rows = json.loads(CliRunner().invoke(command, ["sources", "--json"]).output)
    assert {row["key"]: row["seen"] for row in rows} == {key: source.seen for key, source in sources().items()}
