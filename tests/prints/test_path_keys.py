"""A print file's choices about toolpaths are those that the settings declare."""

from __future__ import annotations

import pytest

from carvegen.base.parameters import parameters
from carvegen.delivery.block_folder import style_of
from carvegen.prints.file.keys import TABLES
from carvegen.toolpaths.settings import (
    CLEARED,
    LOWERED,
    MOST_STEPS,
    PathSettings,
)

KEYS = {key.name: key for key in TABLES["files"]}


@pytest.mark.parametrize("its", list(parameters(PathSettings)), ids=lambda its: its.name)
def test_each_declared_choice_has_its_key_with_the_same_words_range_and_default(its):
    key = KEYS[its.name]
    assert key.help == its.help
    assert float(key.default) == its.default
    if its.unit != "flag":
        assert (key.range.at_least, key.range.at_most) == (its.at_least, its.at_most)


def test_words_and_steps_are_the_same():
    usual = PathSettings()
    assert KEYS["lowered"].among == LOWERED
    assert KEYS["cleared"].among == CLEARED
    assert KEYS["shoulder_steps"].range.at_most == MOST_STEPS
    assert [KEYS[name].default for name in ("lowered", "cleared", "shoulder_steps")] == [
        usual.lowered, usual.cleared, usual.shoulder_steps,
    ]  # fmt: skip


def test_a_table_of_files_becomes_a_style():
    files = {name: key.default for name, key in KEYS.items()} | {"dxf": "R12", "lowered": "lines", "tabs": False}
    style = style_of(files)
    assert (style.dxf, style.paths.lowered, style.paths.tabs) == ("R12", "lines", False)
    assert style_of(files | {"paths": False}).paths is None
