"""Messages about a print file: file, line, key, value and what to do, whatever part of the program finds the fault."""

from __future__ import annotations

import pytest

from carvegen.base.errors import CarvegenError
from carvegen.facts.profiles import Library
from carvegen.prints.cut_blocks import plates_of, setups_of
from carvegen.prints.file.key_lines import line_of
from carvegen.prints.file.print_file import read_print
from carvegen.prints.picture import pictured

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
CHANGE
[[blocks]]
name = "other"
role = "background"
ink = "#a9bfcb"
layers = ["*"]
material = "linoleum"
cutter = "v-60"
"""


@pytest.mark.parametrize(
    ("line", "key", "number"),
    [
        ("depth_mm = 40", "depth_mm", 12),
        ("thickness_mm = 1.2", "depth_mm", 5),  # the depth is the material's own: only the table can be told
        ("grain_deg = 200", "grain_deg", 12),
        ("opacity = 2", "opacity", 12),
        ("for = ['laser']\nmachines = ['none']", "machines", 13),
        ("for = ['laser']\nlayer = 3", "layer", 13),
        ("bevel_deg = 90", "bevel_deg", 12),
    ],
)
def test_a_fault_names_line_and_key_not_an_option(tmp_path, line, key, number):
    path = tmp_path / "print.toml"
    path.write_text(PRINT.replace("CHANGE", line))
    with pytest.raises(CarvegenError) as raised:
        setups_of(read_print(path, Library()), Library())
    owner = "the first entry of the first block's" if key == "machines" else "the first block's"
    assert str(raised.value).startswith(f"{path}: line {number}: {owner} {key}: ")
    assert raised.value.hint
    assert "--" not in str(raised.value) + raised.value.hint


def test_the_line_of_a_key_in_the_second_of_two_tables():
    text = PRINT.replace("CHANGE", "depth_mm = 1")
    lines = text.splitlines()
    assert lines[line_of(text, "blocks[1].cutter") - 1] == 'cutter = "v-60"'
    assert line_of(text, "blocks[1].cutter") == len(lines)
    assert lines[line_of(text, "blocks[1].depth_mm") - 1] == "[[blocks]]"
    assert line_of(text, "motifs[0]") == 0


def _motif(rest: str) -> str:
    return PRINT.replace("CHANGE", "") + f'[[motifs]]\nmotif = "snowfall"\n{rest}\n'


@pytest.mark.parametrize(
    ("text", "place", "hint"),
    [
        (_motif("settings.smallest_mm = 9\nsettings.largest_mm = 3"), "the first motif's settings.smallest_mm: must "
         "not be larger than largest_mm 3 mm", "change one of the two"),
        (_motif("settings.far = 0\nsettings.middle = 0\nsettings.near = 0"),
         "the first motif's settings.far, middle, near: ", ""),
        (_motif('keep_clear = ["box 0.5 0.5 59 39"]'), "the first motif: keep_clear, [[openings]], [print] margin_mm: "
         "nothing of the block is left", "they cover the face"),
        (PRINT.replace("CHANGE", "for = ['hand']").replace("v-60", "laser-fine", 1), "first block's cutter: goes into",
         "add its kind of machine with for"),
        (PRINT.replace("CHANGE", "machines = ['laser-generic', 'laser-generic-2']"), "first block's machines: must be",
         ""),
    ],
)  # fmt: skip
def test_a_fault_of_the_library_is_told_by_keys(tmp_path, text, place, hint):
    path = tmp_path / "print.toml"
    path.write_text(text)
    with pytest.raises(CarvegenError) as raised:
        values = read_print(path, Library())
        setups = setups_of(values, Library())
        limits = {name: setups[name][0].limits for name in setups}
        pictured(values, plates_of(values, setups), limits, say=lambda _: None)
    assert place in str(raised.value)
    assert hint in raised.value.hint
    assert "--" not in str(raised.value) + raised.value.hint
