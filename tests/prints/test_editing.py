"""A print file changed by the program: what was asked is in it, all else stays, to the line ends."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from carvegen.base.errors import InputError
from carvegen.prints.file.editing import with_cutting, with_grown_by, with_marks_file, with_mending, with_weather

PATH = Path("print.toml")
TEXT = """# her own words
[print]
name = "post"  # and here

[[blocks]]
name = "sky"

[[motifs]]
motif = "snowfall"
settings = { snow = 0.2, wind = 0.5 }
"""


def lines_changed(before: bytes, after: bytes) -> list[str]:
    return [line for line in after.decode().splitlines() if line not in before.decode().splitlines()]


@pytest.mark.parametrize("raw", [TEXT.encode(), b"\xef\xbb\xbf" + TEXT.replace("\n", "\r\n").encode()])
def test_one_thing_is_changed_and_nothing_else(raw) -> None:
    done = with_mending(PATH, raw, 0)
    assert lines_changed(raw, done) == ["mend = true"]
    assert done.count(b"\r\n") == (done.count(b"\n") if b"\r\n" in raw else 0)
    assert done.startswith(b"\xef\xbb\xbf") == raw.startswith(b"\xef\xbb\xbf")
    assert b"# her own words" in done and b"# and here" in done


def test_drawings_of_marks_are_added_one_after_another() -> None:
    once = with_marks_file(PATH, TEXT.encode(), "one.svg")
    twice = with_marks_file(PATH, once, "two.svg")
    assert tomllib.loads(once.decode())["marks"]["files"] == ["one.svg"]
    assert tomllib.loads(twice.decode())["marks"]["files"] == ["one.svg", "two.svg"]


def test_weather_puts_settings_out_or_changes_some() -> None:
    """A preset takes the place of what was set; single settings leave the others, and the preset, as they are."""

    def motif(preset: str, settings: dict, raw: bytes = TEXT.encode()) -> dict:
        return tomllib.loads(with_weather(PATH, raw, 0, preset, settings).decode())["motifs"][0]

    assert motif("heavy", {}) == {"motif": "snowfall", "preset": "heavy"}
    assert motif("", {"wind": 0.1}) == {"motif": "snowfall", "settings": {"snow": 0.2, "wind": 0.1}}
    assert motif("heavy", {"wind": 0.1}) == {"motif": "snowfall", "preset": "heavy", "settings": {"wind": 0.1}}
    assert motif("", {}) == {"motif": "snowfall", "settings": {"snow": 0.2, "wind": 0.5}}


@pytest.mark.parametrize("raw", [b"[print", b"\xff\xfe"])
def test_what_is_no_toml_is_refused_with_its_file(raw) -> None:
    with pytest.raises(InputError, match=r"print\.toml: can't be read"):
        with_mending(PATH, raw, 0)


CUT = """[[blocks]]
name = "sky"
material = "linoleum"
cutter = "v-60"
thickness_mm = 3.2
depth_mm = 1.5

[[blocks]]
name = "key"
material = "plywood"
for = ["router"]
"""


@pytest.mark.parametrize(
    ("kinds", "material", "cutter", "sky", "key"),
    [
        ((), "", "", {}, {}),
        # what is said of the former piece goes with it, and no kinds of machine come that nobody chose
        ((), "plywood", "", {"material": "plywood", "for": ["laser"], "thickness_mm": None, "depth_mm": None}, {}),
        ((), "", "u-2", {"cutter": "u-2"}, {"cutter": "u-2"}),
        (("router",), "", "", {"for": ["router"]}, {}),
        (("router", "laser"), "", "", {"for": ["router", "laser"]}, {"for": ["router", "laser"]}),
        ((), "linoleum", "v-60", {}, {"material": "linoleum", "cutter": "v-60"}),
    ],
)
def test_all_blocks_are_cut_by_what_is_asked_and_stay_else_as_they_are(kinds, material, cutter, sky, key) -> None:
    before = tomllib.loads(CUT)["blocks"]
    done = with_cutting(PATH, CUT.encode(), kinds, material, cutter, before=[["laser"], ["hand"]])
    wanted = [{**table, **changed} for table, changed in zip(before, (sky, key), strict=True)]
    assert tomllib.loads(done.decode())["blocks"] == [
        {name: value for name, value in table.items() if value is not None} for table in wanted
    ]
    if not kinds and not material and not cutter:
        assert done == CUT.encode()


def test_the_same_cutting_asked_in_another_order_writes_nothing() -> None:
    raw = CUT.replace('["router"]', '[ "router", "laser" ]').encode()
    only = raw.partition(b'[[blocks]]\nname = "key"')
    key = b"".join(only[1:])
    assert with_cutting(PATH, key, ("laser", "router"), "plywood", "", before=[["hand"]]) == key


def test_what_marks_were_done_by_is_written_of_those_that_have_any() -> None:
    rows = [{"mark": "one", "try": 1, "land_along_mm": 0.5}, {"mark": "other", "try": 2, "land_along_mm": 0.6}]
    once = with_grown_by(PATH, TEXT.encode(), {0: rows})
    assert tomllib.loads(once.decode())["motifs"][0]["marks_grew_by"] == rows
    assert with_grown_by(PATH, once, {0: []}) == TEXT.encode()
