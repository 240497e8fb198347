"""README and the gallery's pages: links lead somewhere, pictures are there, commands are as the program takes them."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

from carvegen.interfaces.cli import _COMMANDS, command_of
from tests.writers.test_sentences import WORDS

HOME = Path(__file__).parent.parent
PAGES = [HOME / "README.md", *sorted((HOME / "gallery").glob("*.md"))]
NOT_TYPED = re.compile(r"FILE|FOLDER|PRINT\.toml|SHELL|…|\[| A B")


def _slug(heading: str) -> str:
    """What a heading is called in a link (common practice of Markdown's viewers, no source)."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def links(page: Path) -> list[str]:
    text = re.sub(r"```.*?```", "", page.read_text(encoding="utf-8"), flags=re.DOTALL)
    return re.findall(r"\]\(([^)\s]+)\)", text)


def commands(page: Path) -> list[str]:
    """Every command of a page that stands as it is typed, in a block of code or in a sentence."""
    text = page.read_text(encoding="utf-8")
    blocks = re.findall(r"```\n(.*?)```", text, flags=re.DOTALL)
    inline = re.findall(r"`([^`]+)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL))
    every = [line for block in blocks for line in block.splitlines()] + [" ".join(each.split()) for each in inline]
    typed = [part.strip() for line in every for part in re.split(r"&&|;", line)]
    result = [re.sub(r"^\.venv[/\\](bin|Scripts)[/\\]", "", part) for part in typed]
    return [part for part in result if part.startswith("carvegen ") and not NOT_TYPED.search(part)]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_link_of_a_page_leads_somewhere(page):
    for link in links(page):
        if re.match(r"https?:", link):
            continue
        name, _, anchor = link.partition("#")
        target = page.parent / name if name else page
        assert target.exists(), link
        headings = re.findall(r"^#+ (.*)$", target.read_text(encoding="utf-8"), re.MULTILINE) if anchor else []
        assert not anchor or anchor in map(_slug, headings), link


def test_every_page_of_the_gallery_is_linked_from_readme():
    linked = {(HOME / link).name for link in links(PAGES[0])}
    assert {page.name for page in PAGES[1:]} <= linked


def test_the_steps_lead_on_to_keeping_and_marking_before_she_cuts():
    assert {"keep-and-mark.md#keep-what-has-grown", "keep-and-mark.md#mark-it"} <= set(
        links(HOME / "gallery" / "steps.md")
    )


def parsed(line: str) -> None:
    """Read a line as the program would, without running it: unknown options, words and missing ones fail."""
    _, name, *rest = shlex.split(line)
    command = command_of(name)
    while isinstance(command, click.Group) and rest:
        name, *rest = rest
        command = command.commands[name]
    if not isinstance(command, click.Group):
        command.make_context(name, rest)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_command_of_a_page_is_one_that_the_program_takes(page, monkeypatch):
    monkeypatch.chdir(HOME)
    for line in commands(page):
        if len(shlex.split(line)) > 2:  # a command that is only named is in the table
            _complete(line)


def _complete(line: str) -> None:
    """A command that stands in a sentence may lack what was said before it; all else must be right."""
    try:
        parsed(line)
    except click.MissingParameter:
        return
    except click.ClickException as error:
        pytest.fail(f"{line}: {error.format_message()}")


def examples(name: str) -> list[str]:
    """The lines of a command's help that are to be typed."""
    text = (command_of(name).help or "").replace("\\\n", " ")
    return [" ".join(line.split()) for line in text.splitlines() if line.strip().startswith("carvegen ")]


@pytest.mark.parametrize("name", _COMMANDS)
def test_every_example_in_a_commands_help_is_one_that_the_program_takes(name, monkeypatch):
    monkeypatch.chdir(HOME)
    for line in examples(name):
        parsed(line)


def test_most_commands_have_an_example():
    assert sum(bool(examples(name)) for name in _COMMANDS) >= 14


@pytest.mark.parametrize("page", [page for page in PAGES if page.name != "print-file.md"], ids=lambda page: page.name)
def test_no_sentence_of_a_page_is_too_long_to_read(page):
    """25 words, as for findings (`tests.writers.test_sentences`); lists of figures and tables are left out."""
    text = re.sub(r"```.*?```|^\|.*?$", "", page.read_text(encoding="utf-8"), flags=re.DOTALL | re.MULTILINE)
    text = re.sub(r"Exit codes: [^.]*\.", "", re.sub(r"`[^`]*`", "it", re.sub(r"\]\([^)]*\)", "]", text)))
    parts = re.split(r"\n\n|\n- |\n *\d+\. ", text)
    said = [one for part in parts for one in re.split(r"(?<=[.!?:;])\s+", part)]
    assert [one for one in said if len(one.split()) > WORDS] == []


def test_readme_says_the_job_then_two_commands_then_shows_pictures_and_is_short():
    """What it does, how to see it, how to test it, and only then a picture: at most a screen before the first."""
    text = PAGES[0].read_text(encoding="utf-8")
    before, *_ = text.split("![", 1)
    assert before.index("winter version") < before.index("carvegen new landing") < before.index(".venv/bin/pytest")
    assert len(before.split()) <= 180
    assert len(text.split()) <= 1500
