"""Each rule of a print file alone, from both sides; how the reference says what a value may be; how blocks grow."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from carvegen.base.errors import InputError
from carvegen.base.parameters import ANY, REQUIRED
from carvegen.facts.register import RegisterPlan
from carvegen.marking.marks import HoleMeaning, Meaning
from carvegen.prints.file import key_lines, print_file, schema
from carvegen.prints.file.declared_values import FilePlace
from carvegen.prints.file.keys import keys_of
from carvegen.prints.misregister import block_placement
from tests.cases import SHELF


def told(check, *asked) -> list[tuple[str, str]]:
    """The last word of each place and the message of each fault."""
    faults: list[InputError] = []
    check(FilePlace("print.toml", faults), *asked)
    return [(str(fault.where).removeprefix("print.toml: "), fault.message) for fault in faults]


# ── rules ────────────────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("name", "fault"),
    [
        ("sky", ""),
        ("key", "is there twice"),
        ("", ""),
        ("inks", "keeps something else"),
        ("lands", "keeps something else"),
        ("con", "Windows"),
        ("com1", "Windows"),
        ("lpt9", "Windows"),
        ("com0", ""),
        ("com10", ""),
    ],
)
def test_a_block_is_not_called_as_another_or_as_a_folder_that_is_kept(name: str, fault: str) -> None:
    said = print_file.block_name_fault(name, {"key", ""})
    assert (fault in said) if fault else said == ""


def block_of(name: str, role: str, *layers: str, ink: str = "#264b5e", **more: Any) -> dict[str, Any]:
    return {"name": name, "role": role, "layers": layers, "ink": ink, "material": "linoleum", "cutter": "v-60", **more}


@pytest.mark.parametrize(
    ("blocks", "faults"),
    [
        ([], [("blocks", "has no block")]),
        ([block_of("a", "key", "POST")], []),
        (
            [block_of("a", "key", "POST"), block_of("a", "tone", "SEA")],
            [("the second block's name", "is there twice")],
        ),
        ([block_of("a", "background", "*")], []),
        ([block_of("a", "ground", "*")], []),
        ([block_of("a", "background")], []),
        ([block_of("a", "emboss", "MOON", ink="")], []),
        ([block_of("a", "tone", "SEA", ink="")], [("ink", "is missing: a tone block")]),
        ([block_of("a", "ground", "*", ink="")], [("ink", "is missing: a ground block")]),
        ([block_of("a", "key")], [("layers", "names no layer")]),
        ([block_of("a", "tone")], [("layers", "names no layer")]),
        ([block_of("a", "tone", "*")], [("layers", 'has "*"')]),
        ([block_of("a", "emboss", "*", ink="")], [("layers", 'has "*"')]),
        ([block_of("a", "key", "POST", material="lino")], [("material", "must be a known material")]),
        ([block_of("a", "key", "POST", cutter="v-61")], [("cutter", "must be a known cutter")]),
        ([block_of("a", "key", "POST", machines=("mine",))], [("machines", "must be a known machine")]),
        ([block_of("a", "key", "POST", more_cutters=("flat-3",))], []),
        ([block_of("a", "key", "POST", more_cutters=("u-3",))], [("more_cutters", "must be a known cutter")]),
    ],
)
def test_rules_of_blocks(blocks, faults) -> None:
    said = told(print_file._check_blocks, blocks, SHELF)
    assert len(said) == len(faults)
    for (where, message), (key, fault) in zip(said, faults, strict=True):
        assert key in where
        assert message.startswith(fault)


def test_a_further_cutter_goes_into_a_router() -> None:
    other = next(key for key in SHELF.keys("cutters") if "router" not in SHELF.cutter(key).machines)
    said = told(print_file._check_blocks, [block_of("a", "key", "POST", more_cutters=(other,))], SHELF)
    assert [message for _, message in said] == ["must be a cutter that goes into a router"]


@pytest.mark.parametrize(("shape", "gaps", "fault"), [("", "", True), ("circle 1 1 1", "", False), ("", "open", False)])
def test_a_table_of_a_layer_says_something_of_it(shape, gaps, fault: bool) -> None:
    said = told(print_file._check_layers, [{"shape": "x", "gaps": ""}, {"shape": shape, "gaps": gaps}])
    assert said == [("the second layer's shape", "is missing")] * fault


@pytest.mark.parametrize(
    ("motifs", "fault"),
    [
        ([{"motif": "snowfall"}, {"motif": "snowfall"}, {"motif": "frost"}], ""),
        ([{"motif": "snowfall"}, {"motif": "frost", "name": "Snowfall 1"}], "is that of another motif, too"),
        ([{"motif": "snowfall"}, {"motif": "frost", "name": "Snowfall 2"}], ""),
        ([{"motif": "frost", "name": "?!"}], "must hold a letter or a digit"),
        ([{"motif": "frost", "kept": "a.svg"}, {"motif": "grain", "kept": "b.svg"}], ""),
        ([{"motif": "frost", "kept": "a.svg"}, {"motif": "grain", "kept": "a.svg"}], "is that of another motif, too"),
        ([{"motif": "frost", "kept": ""}, {"motif": "grain", "kept": ""}], ""),
        ([{"name": "a"}, {"name": "a"}], ""),  # which motif is not said: that is told elsewhere
    ],
)
def test_motifs_are_called_apart(motifs, fault: str) -> None:
    assert [message for _, message in told(print_file._check_names, motifs)] == [fault] * bool(fault)


def marked(**each: Any) -> dict[str, Any]:
    return {
        "motifs": [{"motif": "snowfall"}, {"motif": "snowfall"}, {"motif": "frost", "name": "near"}],
        "blocks": [{"name": "key"}], "marked": [each],
    }  # fmt: skip


@pytest.mark.parametrize(
    ("mark", "faults"),
    [
        ({"meaning": Meaning.STAYS, "for": ("snowfall 2", "snowfall", "Near")}, []),
        ({"meaning": Meaning.STAYS, "for": ("snowfall 3",)}, [("for", "must be a motif of this print")]),
        ({"meaning": Meaning.STAYS, "for": ("near", "frost 1")}, [("for", "must be a motif of this print")]),
        ({"meaning": Meaning.STAYS, "blocks": ("key",)}, []),
        ({"meaning": Meaning.STAYS, "blocks": ("sky",)}, [("blocks", "must be a block of this print")]),
        ({"meaning": Meaning.COMES_OUT}, []),
        ({"meaning": Meaning.COMES_OUT, "for": ("frost",)}, [("for", "has no meaning here")]),
        ({"meaning": next(iter(HoleMeaning))}, []),
        ({"meaning": next(iter(HoleMeaning)), "strength": 1.0, "try": 1, "blocks": ()}, []),
        ({"meaning": next(iter(HoleMeaning)), "strength": 0.5}, [("strength", "has no meaning here")]),
        ({"meaning": next(iter(HoleMeaning)), "try": 2}, [("try", "has no meaning here")]),
        ({"meaning": next(iter(HoleMeaning)), "blocks": ("key",)}, [("blocks", "has no meaning here")]),
        ({"meaning": Meaning.STAYS, "strength": 0.5, "try": 2}, []),
    ],
)
def test_rules_of_marks(mark, faults) -> None:
    said = told(print_file._check_marked, marked(**mark))
    assert len(said) == len(faults)
    for (where, message), (key, fault) in zip(said, faults, strict=True):
        assert f"mark's {key}" in where or f"of the first mark's {key}" in where
        assert message == fault


@pytest.mark.parametrize(
    ("table", "message"),
    [(REQUIRED, "is missing"), ("words", "must be a table"), ([], "must be a table")],
)
def test_a_table_that_is_none_is_told_and_its_keys_are_not_asked_for(table, message: str) -> None:
    faults: list[InputError] = []
    each = print_file._table(FilePlace("print.toml", faults), "print", table, keys_of("print"))
    assert [fault.message for fault in faults] == [message]
    assert "[print]" in faults[0].hint
    assert (each["trap_mm"], "name" in each) == (0.5, False)


def test_a_list_of_tables_is_one_and_unknown_keys_are_told() -> None:
    assert told(print_file._tables, "openings", {"shape": "x"}) == [("openings", "must be a list of tables")]
    said = told(print_file._tables, "openings", [{"shape": "circle 1 1 1"}, {"shape": "box 1 1 1 1", "shpe": 1}])
    assert said == [("the second opening's shpe", "is not known here")]
    assert [print_file._heading(name) for name in ("print", "blocks[1]", "blocks")] == [
        "[print]", "[[blocks]]", "[[blocks]]",
    ]  # fmt: skip


def test_one_fault_is_raised_as_it_is_and_several_as_one() -> None:
    one, other = InputError("is wrong", hint="mend it"), InputError("is missing")
    print_file.all_at_once([], "print.toml")
    with pytest.raises(InputError, match="is wrong") as raised:
        print_file.all_at_once([one], "print.toml")
    assert raised.value is one
    with pytest.raises(InputError, match="has 2 faults") as raised:
        print_file.all_at_once([one, other], "print.toml")
    assert raised.value.message.count("what to do") == 1


def test_names_become_names_of_files() -> None:
    assert print_file.file_name("Near  flakes, 2!") == "near-flakes-2"
    assert print_file.file_name("?") == ""
    assert print_file.usual_name("frost", 0) == "frost 1"


# ── where and what ───────────────────────────────────────────────────────────────────────────────────────────────

TEXT = """[print]
name = "a"
[[blocks]]
name = "sky"
# depth_mm = 3
[[blocks]] # the key
depth_mm = 1
layers = ["A"]
[files]
pass_mm = 2
"""


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("print.name", 2),
        ("blocks[0].name", 4),
        ("blocks[0].depth_mm", 3),
        ("blocks[1].depth_mm", 7),
        ("blocks[1].layers[0]", 8),
        ("blocks[1].pass_mm", 6),
        ("blocks[2].name", 0),
        ("files.pass_mm", 10),
        ("marks.scans", 0),
    ],
)
def test_on_which_line_a_key_is_written(key: str, line: int) -> None:
    assert key_lines.line_of(TEXT, key) == line


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("print.name", "print.name"),
        ("blocks[9].depth_mm", "the tenth block's depth_mm"),
        ("blocks[10].depth_mm", "block 11's depth_mm"),
        ("blocks[1]", "the second block"),
        ("motifs[0].on[2]", "the third entry of the first motif's on"),
        ("other[0].on", "other[0].on"),
    ],
)
def test_whose_key_it_is_is_said_in_words(key: str, words: str) -> None:
    assert key_lines._in_words(key) == words


@pytest.mark.parametrize(
    ("field", "table", "key"),
    [
        ("depth_mm", "blocks[1]", "depth_mm"),
        ("also_cutters", "blocks[0]", "more_cutters"),
        ("wind", "motifs[0]", "settings.wind"),
        ("wind", "blocks[0]", "wind"),
        ("blocks", "print", "[[blocks]]"),
        ("pass_mm", "blocks[0]", "[files] pass_mm"),
        ("attempt", "marked[0]", "try"),
    ],
)
def test_a_field_of_the_library_has_a_key(field: str, table: str, key: str) -> None:
    assert key_lines.key_named(field, table) == key
    assert key_lines.help_of("trap_mm", "print").key == "trap_mm"
    assert key_lines.help_of("trap_mm", "blocks[0]") is None


@pytest.mark.parametrize(
    ("value", "words"),
    [
        ({"enum": ["a", "b"]}, "`a`, `b`"),
        ({"type": "array", "items": {"type": "string"}}, "list of: text"),
        ({"type": "array", "items": {"type": "number"}, "maxItems": 2}, "2 of: number"),
        ({"type": "integer", "minimum": 1, "maximum": 6}, "whole number, 1 to 6"),
        ({"type": "number", "minimum": 0.5, "maximum": 2 * ANY}, "number, 0.5 or more"),
        ({"type": "number"}, "number"),
        ({"type": "string", "pattern": "^#[0-9]"}, 'colour, `"#rrggbb"`'),
        ({"type": "string", "pattern": "x"}, "text"),
        ({"type": "boolean"}, "true or false"),
        ({"type": "object"}, "a table"),
    ],
)
def test_what_a_value_may_be_in_words(value, words: str) -> None:
    assert schema._may_be(value) == words


def test_what_holds_without_a_key_in_words() -> None:
    values = (None, True, False, ["a", 2], [], 0.5, 300.0, "open")
    assert [schema._plain(value) for value in values] == ["", "true", "false", "a, 2", "", "0.5", "300", "open"]


def test_a_key_has_a_default_in_the_schema_where_it_may_be_left_out() -> None:
    own = {table: schema._table(keys_of(table)) for table in ("print", "blocks", "motifs")}
    assert own["print"]["properties"]["trap_mm"]["default"] == 0.5
    assert (own["print"]["properties"]["trap_mm"]["minimum"], own["print"]["properties"]["trap_mm"]["maximum"]) == (
        0,
        3,
    )
    assert "default" not in own["print"]["properties"]["paper_mm"]
    assert "default" not in own["print"]["properties"]["name"]
    assert own["print"]["required"] == ["name", "size_mm"]
    assert own["motifs"]["properties"]["blocks"]["default"] == ["*"]
    assert "default" not in own["motifs"]["properties"]["settings"]
    size = own["print"]["properties"]["size_mm"]
    assert (size["type"], size["minItems"], size["maxItems"]) == ("array", 2, 2)
    assert own["blocks"]["properties"]["role"]["enum"][0] == "key"
    assert own["blocks"]["properties"]["name"]["pattern"].startswith("^([a-z0-9]")
    assert own["print"]["properties"]["seed"]["type"] == "integer"
    assert own["blocks"]["properties"]["mend"]["type"] == "boolean"


# ── how blocks lie ───────────────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize("grain_deg", [0, 30, 90])
def test_growth_along_a_grain_and_across_it(grain_deg: float) -> None:
    """A step along the grain grows by the one share, one across it by the other."""
    (growth,) = block_placement._grown([np.array([0.01]), np.array([0.03])], grain_deg)
    c, s = math.cos(math.radians(grain_deg)), math.sin(math.radians(grain_deg))
    assert growth @ (c, s) == pytest.approx(0.01 * np.array([c, s]))
    assert growth @ (-s, c) == pytest.approx(0.03 * np.array([-s, c]))


def test_how_far_growth_pulls_a_place() -> None:
    arm, away = np.array([(10.0, 0), (0, 10.0), (10, 10)]), np.array([(1.0, 0), (0, -1.0), (1, 0)])
    assert block_placement._pulled((0.01, 0.03), 0.0, arm, away) == pytest.approx([0.1, 0.3, 0.1])
    assert block_placement._pulled((0.01, 0.03), 90.0, arm, away) == pytest.approx([0.3, 0.1, 0.3])


@pytest.mark.parametrize("spread", ["even", "normal"])
def test_shifts_lie_in_the_disc_of_the_tolerance_or_spread_half_of_it_each_way(spread) -> None:
    """Even: half of all in the disc of 1/√2 of it, by area; normal: of standard deviation half of it."""
    plan = SimpleNamespace(spread=spread, off_mm=0.4, prints=20000)
    each = block_placement._shifts(np.random.default_rng(2), plan)
    if spread == "normal":
        assert each.std(axis=0) == pytest.approx([0.2, 0.2], rel=0.03)
        return
    far = np.hypot(*each.T)
    assert far.max() == pytest.approx(0.4, rel=0.01)
    assert far.max() <= 0.4
    assert np.mean(far < 0.4 / math.sqrt(2)) == pytest.approx(0.5, abs=0.02)
    assert each.mean(axis=0) == pytest.approx([0, 0], abs=0.01)


def test_a_block_and_the_paper_each_have_half_of_what_two_of_them_may_differ() -> None:
    plan = RegisterPlan(
        spread="even", prints=20000, turn_deg=0.0, paper_stretch_along_percent=2.0, paper_stretch_across_percent=1.0,
        moisture_change_percent=0.0,
    )  # fmt: skip
    block = SimpleNamespace(moves=(0.0, 0.0), grain_deg=0.0)
    each = block_placement._turns(np.random.default_rng(2), plan, block, 100.0)
    assert np.abs(each[:, 0, 0]).max() == pytest.approx(0.01, rel=0.01)
    assert np.abs(each[:, 1, 1]).max() == pytest.approx(0.005, rel=0.01)
    assert np.abs(each[:, 0, 1]).max() == pytest.approx(0, abs=1e-12)
    normal = block_placement._turns(np.random.default_rng(2), replace(plan, spread="normal"), block, 100.0)
    assert normal[:, 0, 0].std() == pytest.approx(0.005, rel=0.03), "half of that is one standard deviation"


def test_the_tables_of_the_reference_are_parted_by_one_empty_line_each() -> None:
    lines = schema.reference().splitlines()
    heads = [k for k, text in enumerate(lines) if text.startswith("**")]
    assert len(heads) > 5
    assert [(lines[k - 2] == "", lines[k - 1] == "") for k in heads] == [(False, True)] * len(heads)


def test_a_key_before_all_tables_is_none_of_a_table_that_is_not_there() -> None:
    text = "depth_mm = 3\n[print]\ndepth_mm = 4\n"
    assert key_lines.line_of(text, "blocks[0].depth_mm") == 0
    assert key_lines.line_of(text, "print.depth_mm") == 3


@pytest.mark.parametrize(
    ("name", "nth", "line"),
    [("blocks", 0, 3), ("blocks", 1, 5), ("blocks", 2, 7), ("print", 0, 1), ("marks", 0, 0), ("motifs", 0, 8)],
)
def test_a_table_begins_at_its_head_or_where_it_is_written_in_one_line(name: str, nth: int, line: int) -> None:
    lines = ["[print]", "size = 1", "[[blocks]]", "", " [[ blocks ]]  # two", "", "blocks = [{}]", "motifs = []"]
    assert key_lines._head(lines, name, nth) == line
