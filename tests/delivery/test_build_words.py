"""Why a step of a build is run again, in words of what she did; and which of several tables a message means."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from carvegen.base.limits import Limits
from carvegen.delivery.build_record import RECORD
from carvegen.delivery.print_build import Built, _left_alone, each_once
from carvegen.delivery.print_steps import _asked, moved
from carvegen.delivery.step_keys import differences
from carvegen.interfaces.cli.whole_print.build import _what_moved
from carvegen.prints.file.key_lines import placed
from carvegen.prints.file.keys import PrintMotif


def test_what_she_did_is_named_and_not_how_it_is_hashed() -> None:
    old = {"order of contents": "1", "contents of drawing.svg": "a", "kept of snowfall 1": "x", "seed": "1"}
    new = {"order of contents": "2", "contents of drawing.svg": "b", "contents of kept/snowfall-1.svg": "c",
           "kept of snowfall 1": "y", "seed": "2"}  # fmt: skip
    assert differences(old, new) == [
        "kept/snowfall-1.svg is read now", "drawing.svg was edited", "snowfall 1 was kept or let go", "seed changed",
    ]  # fmt: skip
    assert differences({**old, "contents of marks.svg": "d"}, old) == ["marks.svg is no longer read"]


def test_a_block_that_comes_or_goes_is_told_once() -> None:
    one = {"order of blocks": "1", "name of sky": "1", "ink colour of sky": "1", "layers of sky": "1", "seed": "1"}
    two = {**one, "order of blocks": "2", "name of lamp": "1", "ink colour of lamp": "1", "ink colour of sky": "2",
           "layers of lamp": "1"}  # fmt: skip
    assert differences(one, two) == ["lamp is new"]
    assert differences(two, {**one, "seed": "2"}) == ["seed changed", "lamp is gone"]
    assert differences(one, {**one, "layers of sky": "2", "order of blocks": "3"}) == [
        "order of blocks changed", "layers of sky changed",
    ]  # fmt: skip
    assert differences(one, {**one, "bevel of sky": "2"}) == ["bevel of sky is new"]
    why = {"sky": "lamp is new", "tone": "layers of tone changed; lamp is new", "lamp": "not built before; lamp is new"}
    assert each_once(why) == {"sky": "lamp is new", "tone": "layers of tone changed", "lamp": "not built before"}


SNOW = SimpleNamespace(
    motifs=[PrintMotif(motif="snowfall", name=f"snowfall {k + 1}", nth=k, settings=None) for k in (0, 1)]
)
KINDS = {"kinds of key": "1"}


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        (KINDS, "Moved: falling snow 1 and falling snow 2. It grows by the strictest limits of"),
        ({**KINDS, "settings of snowfall 1": "1"}, "Moved: falling snow 2. It grows by the strictest"),
        ({**KINDS, "kept of snowfall 1": "1"}, "Moved: falling snow 2. It grows by the strictest"),
        (
            {"kinds of snowfall 1 board": "1", "settings of snowfall 11": "1"},
            "Moved: falling snow 1 and falling snow 2. It",
        ),
        ({**KINDS, "seed": "1"}, ""),
    ],
)
def test_snow_that_moves_unasked_is_told_with_why(changed, said) -> None:
    """Its own are the inputs of its own table, not whatever is called alike."""
    old, new = (
        {f"{of}falling snow {k}": what for k in (1, 2) for of, what in (("", shape), ("limits of ", limits))}
        for shape, limits in (("a", "land of 0.5 mm"), ("b", "land of 0.73 mm for key"))
    )
    inputs = dict.fromkeys(changed, "0"), changed
    told = moved(SNOW, (old, new), inputs)
    assert [line.startswith(said) for line in told] == ([True] if said else [])
    assert all("land of 0.73 mm for key. Before: land of 0.5 mm." in line for line in told)
    assert moved(SNOW, ({}, new), inputs) == moved(SNOW, (new, new), inputs) == ()


def test_what_moved_for_another_reason_is_told_with_that() -> None:
    old, new = {"falling snow 1": "a"}, {"falling snow 1": "b", "limits of falling snow 1": ""}
    assert moved(SNOW, (old, new), ({"x": "0"}, {"x": "1"})) == ("Moved: falling snow 1. Changed: x changed.",)


def test_it_is_told_how_to_keep_what_moved() -> None:
    built = Built(files={}, blocks={}, proofs="", register="", report={}, moved=("Moved: falling snow 1.",))
    said = _what_moved(built, Path("mine/print.toml"))
    assert said[0] == "Moved: falling snow 1."
    assert "carvegen keep mine/print.toml before" in said[1]
    assert _what_moved(replace(built, moved=()), Path("mine/print.toml")) == []


def test_who_asks_for_the_strictest_limits_is_named() -> None:
    coarse = Limits(land_along_mm=0.7, land_across_mm=0.7, cut_mm=0.4, dot_mm=0.5)
    fine = replace(coarse, land_along_mm=0.5, land_across_mm=0.5)
    assert _asked({"sky": fine, "key": coarse}) == "land of 0.7 mm and cuts of 0.4 mm for key"
    assert _asked({"sky": fine, "key": fine}) == "land of 0.5 mm and cuts of 0.4 mm"


def test_nothing_that_differs_goes_without_a_word() -> None:
    """What is said decides what is built."""
    old = {"order of contents": "1", "carvegen": "0.1"}
    assert differences(old, {**old, "order of contents": "2"}) == ["other files are read"]
    assert differences(old, {**old, "carvegen": "0.2"}) == ["carvegen is another version"]
    assert differences(old, old) == []


def test_tables_are_counted_from_one(tmp_path) -> None:
    (tmp_path / "print.toml").write_text('[[highlights]]\nshape = "a"\n\n[[highlights]]\nshape = "b"\n')
    said = placed(tmp_path / "print.toml", "highlights[1].shape")
    assert said.endswith("line 5: the second highlight's shape")
    assert placed(tmp_path / "print.toml", "print.name").endswith("print.name")


def test_of_a_list_with_equal_values_the_entry_is_counted(tmp_path) -> None:
    (tmp_path / "print.toml").write_text('[[blocks]]\nname = "sky"\nmachines = ["co2", "co2"]\n')
    said = placed(tmp_path / "print.toml", "blocks[0].machines[1]")
    assert said.endswith("line 3: the second entry of the first block's machines")
    assert placed(tmp_path / "none.toml", "blocks[11].layers[10]").endswith(": entry 11 of block 12's layers")


def test_a_presets_settings_are_not_named_beside_it():
    old = {"preset of snowfall 1": "flurry", "settings of snowfall 1": "a", "settings of snowfall 2": "b"}
    new = {"preset of snowfall 1": "heavy", "settings of snowfall 1": "c", "settings of snowfall 2": "d"}
    assert differences(old, new) == ["preset of snowfall 1 changed", "settings of snowfall 2 changed"]
    assert differences(old, {**old, "settings of snowfall 1": "c"}) == ["settings of snowfall 1 changed"]


@pytest.mark.parametrize(
    ("hers", "words"),
    [
        (["mine.txt"], "mine.txt"),
        (["key/mine.txt"], "key/mine.txt"),  # beside files of the build
        (["key/hand/mine.txt", "photos/a.jpg", "photos/b.jpg"], "key/hand/mine.txt, photos/"),
        ([f"{k}.txt" for k in range(7)], "0.txt, 1.txt, 2.txt, 3.txt, 4.txt and 2 more"),
        ([".hidden", "key/proof.svg", "key/.hidden"], ""),
    ],
)
def test_what_stands_in_the_folder_of_a_first_build_is_told_wherever_it_lies_in_it(tmp_path, hers, words) -> None:
    for name in hers:
        (tmp_path / "built" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "built" / name).touch()
    names = frozenset({"print.png", "key/proof.svg", "key/hand/note.md"})
    said = [f"The folder built holds files of your own, which stay: {words}."] if words else []
    assert _left_alone(tmp_path / "built", names) == said
    (tmp_path / "built" / RECORD).touch()  # not the first
    assert _left_alone(tmp_path / "built", names) == []
