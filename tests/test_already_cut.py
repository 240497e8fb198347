"""A block that is cut already: nothing is put back, what would have to come back is told, what may be cut is said."""

from __future__ import annotations

import json
import shutil

import pytest
import shapely

from tests.cli.running import run
from tests.test_dies import PRINT

OPEN = PRINT.partition('[[blocks]]\nname = "die"')[0]
NAMED = 'name = "key"\n'


def again(capsys, folder, text: str):
    (folder / "print.toml").write_text(text)
    ran = run(capsys, "build", folder / "print.toml", "--out", folder / "built", "--json")
    return ran, json.loads(ran.out)


def land(folder, name: str):
    return shapely.from_wkb((folder / "built" / "lands" / f"{name}.wkb").read_bytes())


@pytest.fixture(scope="module")
def first(tmp_path_factory):
    from carvegen.cli import main

    folder = tmp_path_factory.mktemp("print")
    (folder / "print.toml").write_text(OPEN)
    with pytest.raises(SystemExit):
        main(["build", str(folder / "print.toml"), "--out", str(folder / "built")])
    return folder


@pytest.fixture
def copy(first, tmp_path):
    return shutil.copytree(first, tmp_path / "print")


def found(told, rule: str):
    return [its for its in told["report"]["blocks"]["key"] if its["rule"] == rule]


def test_what_would_have_to_stand_again_breaks_at_its_place(copy, capsys):
    wider = OPEN.replace(NAMED, NAMED + 'state = "cut"\n').replace("box 12 0 10 30", "box 12 0 12 30")
    ran, told = again(capsys, copy, wider)
    assert ran.code == 1
    broken = found(told, "cut-already")
    assert len(broken) == 1
    assert broken[0]["severity"] == "breaks"
    assert broken[0]["measured"] == pytest.approx(2 * 30, rel=0.02)
    assert broken[0]["at_mm"][0] == pytest.approx(23, abs=1)
    assert land(copy, "key").area == pytest.approx(300, rel=0.01)


def test_cuts_may_grow_and_what_is_cut_on_is_said_until_it_is_given_as_cut(copy, capsys):
    narrower = OPEN.replace(NAMED, NAMED + 'state = "cut"\n').replace("box 12 0 10 30", "box 12 0 8 30")
    _, told = again(capsys, copy, narrower)
    assert not found(told, "cut-already")
    assert found(told, "cut-on")[0]["measured"] == pytest.approx(2 * 30, rel=0.02)
    assert land(copy, "key").area == pytest.approx(240, rel=0.01)
    back = again(capsys, copy, narrower.replace("box 12 0 8 30", "box 12 0 10 30"))[1]
    assert not found(back, "cut-already")  # what was planned but is not known as cut still stands
    assert land(copy, "key").area == pytest.approx(300, rel=0.01)


def test_a_cut_block_of_which_nothing_is_known_is_told(copy, capsys):
    text = OPEN.replace(NAMED, NAMED + 'state = "cut"\ncut_land = "none.svg"\n')
    ran, _ = again(capsys, copy, text)
    assert ran.code == 2
    assert "blocks[1].cut_land" in ran.err + ran.out
