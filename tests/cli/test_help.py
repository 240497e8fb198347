"""Help is laid out by the job: what is asked for first comes first, all else under headings, nothing is lost."""

from __future__ import annotations

import re

import click
import pytest
from click.testing import CliRunner

from carvegen.interfaces.cli import _COMMANDS, _ROOMS, command_of
from carvegen.interfaces.cli.options.option_values import FIRST, Command

LAID_OUT = [name for name in _COMMANDS if isinstance(command_of(name), Command)]


def sections(name: str) -> dict[str, list[str]]:
    """The options under each heading of a command's help, as they are written."""
    shown = CliRunner().invoke(command_of(name), ["--help"], terminal_width=100).output
    result: dict[str, list[str]] = {}
    for line in shown.splitlines():
        if heading := re.fullmatch(r"(\w.*):", line):
            result[heading[1]] = []
        elif result and (option := re.match(r"  (?:-\w, )?(--?[\w-]+)", line)):
            result[list(result)[-1]].append(option[1])
    return result


@pytest.mark.parametrize("name", LAID_OUT)
def test_a_commands_help_begins_with_at_most_ten_options_and_shows_each_option_once(name):
    command = command_of(name)
    shown = sections(name)
    assert next(iter(shown)) == FIRST
    assert 1 <= len(shown[FIRST]) == len(command.first) <= 10
    every = [option for options in shown.values() for option in options]
    known = [
        get_param
        for get_param in command.get_params(click.Context(command))
        if isinstance(get_param, click.Option) and not get_param.hidden
    ]
    assert len(every) == len(set(every)) == len(known)


@pytest.mark.parametrize("name", LAID_OUT)
def test_what_is_required_is_among_the_first(name):
    command = command_of(name)
    required = {
        parameter.name for parameter in command.params if isinstance(parameter, click.Option) and parameter.required
    }
    assert required <= set(command.first)


def test_the_commands_stand_in_the_order_of_the_job_and_none_is_missing():
    from carvegen.interfaces.cli import _group

    shown = CliRunner().invoke(_group, ["--help"], terminal_width=100).output
    names = re.findall(r"^  ([a-z]+)  ", shown, flags=re.M)
    assert names == [name for lines in _ROOMS.values() for name in lines]


@pytest.mark.parametrize("name", ["check", "mend"])
def test_a_file_that_is_asked_for_is_not_listed_as_an_option(name):
    shown = CliRunner().invoke(command_of(name), ["--help"], terminal_width=100).output
    assert not re.search(r"^  FILE$", shown, re.MULTILINE)


def test_help_shows_no_bounds_that_nobody_meets():
    assert "9223372036854775807" not in CliRunner().invoke(command_of("snowfall"), ["--help"]).output


def test_without_words_the_whole_help_is_shown_also_where_it_is_piped(capsys):
    from tests.cli.running import run

    ran = run(capsys)
    shown = ran.out + ran.err
    assert "\n  snowfall " in shown
    assert "\\n" not in shown
    assert "…" not in shown.replace("… ", "")
